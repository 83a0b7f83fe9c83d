package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// outFile is where -o puts a document: a file, or "-" for stdout.
type outFile struct {
	name  string
	force bool
}

// check refuses to overwrite, before any work is done.
func (o outFile) check() error {
	if o.name == "" {
		return &usageError{message: "-o is missing: the FILE to write, or - for standard output."}
	}
	if o.name == "-" || o.force {
		return nil
	}
	switch _, err := os.Lstat(o.name); {
	case err == nil:
		return fail("Name another file with -o, or add --force to replace it.", "%s is there already; nothing was written.", o.name)
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("looking at %s: %w", o.name, err)
	}
	return nil
}

// checkIfNamed is check where a file need not be named.
func (o outFile) checkIfNamed() error {
	if o.name == "" {
		return nil
	}
	return o.check()
}

// write writes the document beside its place, syncs and renames it, so that it
// is there whole or not at all.
func (o outFile) write(stdout io.Writer, document []byte) (err error) {
	if o.name == "-" {
		_, err := stdout.Write(document)
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(o.name), ".cruet-*")
	if err != nil {
		return &hinted{fmt.Errorf("writing %s: %w", o.name, err), "Check that the folder of -o is there and may be written to."}
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, f.Close(), os.Remove(f.Name()))
		}
	}()
	if _, err := f.Write(document); err != nil {
		return fmt.Errorf("writing %s: %w", o.name, err)
	}
	// A temporary file is private; a document is as readable as any other.
	if err := f.Chmod(0o644); err != nil {
		return fmt.Errorf("writing %s: %w", o.name, err)
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("writing %s: %w", o.name, err)
	}
	if err := f.Close(); err != nil {
		return fmt.Errorf("writing %s: %w", o.name, err)
	}
	if err := os.Rename(f.Name(), o.name); err != nil {
		return errors.Join(fmt.Errorf("writing %s: %w", o.name, err), os.Remove(f.Name()))
	}
	return nil
}
