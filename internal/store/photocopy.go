package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"cruet/internal/larder"
)

// CopyPhotos copies the photos into another folder, as they lie in this one.
func (db *DB) CopyPhotos(to string) error {
	names, err := db.photoFiles()
	if err != nil {
		return fmt.Errorf("store: photos: %w", err)
	}
	for _, name := range names {
		if err := copyPhoto(filepath.Join(db.dir, filepath.FromSlash(name)), filepath.Join(to, filepath.FromSlash(name))); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("store: photos: %w", err)
		}
	}
	return nil
}

// TakePhotos copies the photos of another folder into this one; one whose name is
// not the SHA-256 of its content is refused.
func (db *DB) TakePhotos(from string) error {
	other := DB{dir: from}
	names, err := other.photoFiles()
	if err != nil {
		return fmt.Errorf("store: photos: %w", err)
	}
	for _, name := range names {
		source, to := filepath.Join(from, filepath.FromSlash(name)), filepath.Join(db.dir, filepath.FromSlash(name))
		sum, err := hashFile(source)
		if err != nil {
			return fmt.Errorf("store: photos: %w", err)
		}
		if sum != photoMember().FindStringSubmatch(name)[1] {
			return larder.Refuse("", source+" is damaged. Take it from the kitchen's own folder or a backup again.")
		}
		if err := copyPhoto(source, to); err != nil && !errors.Is(err, fs.ErrExist) {
			return fmt.Errorf("store: photos: %w", err)
		}
	}
	return nil
}

// copyPhoto copies a file to where there is none yet.
func copyPhoto(from, to string) (err error) {
	f, err := os.Open(from)
	if err != nil {
		return err
	}
	defer f.Close()
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, f)
	return errors.Join(err, out.Sync(), out.Close(), syncFolder(filepath.Dir(to)))
}
