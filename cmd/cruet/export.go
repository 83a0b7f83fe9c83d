package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"cruet/internal/sheet"
	"cruet/internal/store"
)

const (
	linesExt    = ".jsonl"
	columnsName = "columns.csv"
	photosName  = "photos"
)

func (a *app) exportCommand() *cobra.Command {
	var force bool
	cmd := &cobra.Command{
		Use: "export DIR|FILE.jsonl", Short: "Write everything as CSV or JSON Lines, for other programs",
		Long: `Write all records for other programs, as of one moment: into a new DIR as CSV
(RFC 4180), one file for each kind of record, with columns.csv saying what each
column means, and the photos; or into one FILE.jsonl as JSON Lines, one record a
line, without photos. - writes JSON Lines to standard output.

Times are UTC (RFC 3339), volumes mL, masses g. A CSV cell that a spreadsheet would
run begins with an apostrophe; line breaks in a note become LF. "cruet import" reads
either into an empty folder of records. For safe-keeping use "cruet backup".`,
		Example: `  cruet export records
  cruet export records.jsonl`,
		Args: exactly("The DIR or FILE.jsonl"),
	}
	cmd.Flags().BoolVar(&force, "force", false, "replace FILE.jsonl if it is there already")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		to := args[0]
		lines := to == "-" || strings.HasSuffix(strings.ToLower(to), linesExt)
		if lines {
			if err := (outFile{name: to, force: force}).check(); err != nil {
				return err
			}
		} else if entries, err := os.ReadDir(to); err == nil && len(entries) > 0 {
			return fail("Name a DIR that is not there yet.", "%s is not empty; nothing was written.", to)
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			n, err := r.db.ExportCount(ctx)
			if err != nil {
				return err
			}
			count := a.counter(int(n), "records")
			switch {
			case to == "-":
				return exportLines(ctx, r.db, a.out, count)
			case lines:
				err = wholeFile(to, func(w io.Writer) error { return exportLines(ctx, r.db, w, count) })
			default:
				err = wholeFolder(to, func(dir string) error { return exportFolder(ctx, r.db, dir, count) })
			}
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.out, "%s: %s written.\n", to, plural(int(n), "record"))
			return err
		})
	}
	return cmd
}

// counter counts records on a progress bar, when there is one.
func (a *app) counter(of int, what string) func() {
	bar, done := a.progress(of, what), 0
	return func() {
		if done++; bar != nil && done <= of && (done%5000 == 0 || done == of) {
			bar(done)
		}
	}
}

func exportLines(ctx context.Context, db *store.DB, w io.Writer, count func()) error {
	lines := sheet.NewLineWriter(w, store.ExportTables())
	err := db.Export(ctx, func(r sheet.Row) error { count(); return lines.Row(r) })
	return errors.Join(err, lines.Flush())
}

func exportFolder(ctx context.Context, db *store.DB, dir string, count func()) (err error) {
	writers := map[string]*sheet.Writer{}
	var files []*os.File
	defer func() {
		for _, f := range files {
			err = errors.Join(err, f.Sync(), f.Close())
		}
	}()
	open := func(name string, columns []sheet.Column) (*sheet.Writer, error) {
		f, err := os.OpenFile(filepath.Join(dir, name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return nil, err
		}
		files = append(files, f)
		return sheet.NewWriter(f, columns)
	}
	about, err := open(columnsName, []sheet.Column{{Name: "file"}, {Name: "column"}, {Name: "means"}})
	if err != nil {
		return err
	}
	for _, t := range store.ExportTables() {
		if writers[t.Name], err = open(t.Name+".csv", t.Columns); err != nil {
			return err
		}
		if err := about.Values([]string{t.Name + ".csv", "", t.Means}); err != nil {
			return err
		}
		for _, c := range t.Columns {
			if err := about.Values([]string{t.Name + ".csv", c.Name, c.Means}); err != nil {
				return err
			}
		}
	}
	if err := db.Export(ctx, func(r sheet.Row) error { count(); return writers[r.Table].Values(r.Values) }); err != nil {
		return err
	}
	for _, w := range writers {
		if err := w.Flush(); err != nil {
			return err
		}
	}
	if err := about.Flush(); err != nil {
		return err
	}
	return db.CopyPhotos(dir)
}

// wholeFile writes a file beside its place, syncs and renames it.
func wholeFile(name string, write func(io.Writer) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(name), ".cruet-*")
	if err != nil {
		return &hinted{fmt.Errorf("writing %s: %w", name, err), "Check that its folder is there and may be written to."}
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, f.Close(), os.Remove(f.Name()))
		}
	}()
	if err := write(f); err != nil {
		return err
	}
	if err := errors.Join(f.Chmod(0o644), f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}

// wholeFolder fills a folder beside its place and renames it.
func wholeFolder(name string, fill func(dir string) error) (err error) {
	work, err := os.MkdirTemp(filepath.Dir(filepath.Clean(name)), ".cruet-*")
	if err != nil {
		return &hinted{fmt.Errorf("writing %s: %w", name, err), "Check that its folder is there and may be written to."}
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	if err := fill(work); err != nil {
		return err
	}
	if err := os.Chmod(work, 0o755); err != nil {
		return err
	}
	if err := os.Remove(name); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return os.Rename(work, name)
}

func (a *app) importCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "import DIR|FILE.jsonl", Short: "Read an export into an empty folder of records",
		Long: `Read what "cruet export" wrote into a folder without records. All of it is taken or
nothing: what does not fit is told with its file and line.`,
		Example: `  cruet import records.jsonl --data /srv/cruet
  cruet import readings shelf.csv --preview`,
		Args: exactly("The DIR or FILE.jsonl"),
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		from := args[0]
		info, err := os.Stat(from)
		if err != nil {
			return &hinted{err, `"cruet export" makes what is read here.`}
		}
		return a.inKitchen(cmd, create, func(ctx context.Context, r room) error {
			next, size, closeAll, err := recordsIn(from, info.IsDir())
			if err != nil {
				return importTrouble(err)
			}
			defer closeAll()
			bar := a.progress(int(size.total>>10), "KiB")
			n, err := r.db.Import(ctx, func() (sheet.Row, string, bool, error) {
				if bar != nil && size.due() {
					bar(min(int(size.read>>10)+1, int(size.total>>10)))
				}
				return next()
			})
			size.stop(bar)
			if err != nil {
				return importTrouble(err)
			}
			if info.IsDir() {
				if err := r.db.TakePhotos(from); err != nil {
					return err
				}
			}
			_, err = fmt.Fprintf(a.out, "%s read from %s. \"cruet check\" verifies the records.\n", plural(int(n), "record"), from)
			return err
		})
	}
	cmd.AddCommand(a.importReadingsCommand())
	return cmd
}

// importTrouble adds what to do.
func importTrouble(err error) error {
	var notNew *store.NotNewError
	var wrong *sheet.RowError
	switch {
	case errors.As(err, &notNew):
		return &hinted{notNew, "Name a folder that is not there yet with --data."}
	case errors.As(err, &wrong):
		return &hinted{wrong, "Nothing was imported. Correct that line, or export again."}
	}
	return err
}

// readSize counts what was read of how much.
type readSize struct{ total, read, told int64 }

func (s *readSize) due() bool {
	if s.read-s.told < 1<<20 && s.read < s.total {
		return false
	}
	due := s.told < s.total
	s.told = s.read
	return due
}

// stop takes a bar away that did not come to its end, so that what went wrong is told
// on a line of its own.
func (s *readSize) stop(bar func(done int)) {
	if bar != nil && s.told > 0 && s.told < s.total {
		bar(int(s.total >> 10))
	}
}

type countingReader struct {
	io.Reader
	size *readSize
}

func (c countingReader) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	c.size.read += int64(n)
	return n, err
}

// recordsIn reads an export's records one after the other.
func recordsIn(from string, folder bool) (next func() (sheet.Row, string, bool, error), size *readSize, closeAll func(), err error) {
	size = &readSize{}
	var files []*os.File
	closeAll = func() {
		for _, f := range files {
			f.Close()
		}
	}
	open := func(name string) (io.Reader, error) {
		f, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		files = append(files, f)
		info, err := f.Stat()
		if err == nil {
			size.total += info.Size()
		}
		return countingReader{f, size}, err
	}
	if !folder {
		r, err := open(from)
		if err != nil {
			return nil, nil, closeAll, err
		}
		return sheet.NewLineReader(r, store.ExportTables()).Next, size, closeAll, nil
	}
	var readers []*sheet.TableReader
	for _, t := range store.ExportTables() {
		r, err := open(filepath.Join(from, t.Name+".csv"))
		if errors.Is(err, os.ErrNotExist) {
			closeAll()
			return nil, nil, closeAll, &sheet.RowError{Where: from, Why: "it has no " + t.Name + ".csv, so it is no whole export"}
		}
		if err != nil {
			return nil, nil, closeAll, err
		}
		table, err := sheet.NewTableReader(r, t.Name+".csv", t)
		if err != nil {
			closeAll()
			return nil, nil, closeAll, err
		}
		readers = append(readers, table)
	}
	return func() (sheet.Row, string, bool, error) {
		for len(readers) > 0 {
			row, where, more, err := readers[0].Next()
			if more || err != nil {
				return row, where, more, err
			}
			readers = readers[1:]
		}
		return sheet.Row{}, "", false, nil
	}, size, closeAll, nil
}
