package store

import (
	"bytes"
	"errors"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"cruet/internal/larder"
	"cruet/internal/sheet"
)

// FuzzImport reads any bytes as an export in JSON Lines: all of it is taken, sound
// and the same when it is exported and read once more, or nothing is.
func FuzzImport(f *testing.F) {
	db, _ := kitchen(f)
	tags := jarsOfWine(f, db, 2)
	add(f, db, tags[0], ph(3.4))
	add(f, db, tags[1], titration())
	finish(f, db, tags[0])
	bottle(f, db, 2, tags[0])
	var whole bytes.Buffer
	w := sheet.NewLineWriter(&whole, ExportTables())
	if err := errors.Join(db.Export(ctx, w.Row), w.Flush()); err != nil {
		f.Fatal(err)
	}
	lines := strings.SplitAfter(whole.String(), "\n")
	f.Add(whole.String())
	f.Add(strings.Join(lines[:len(lines)/2], ""))
	for i := range lines { // without one record, or with some twice
		f.Add(strings.Join(slices.Concat(lines[:i], lines[i+1:], lines[i/2:i/2+i%2]), ""))
	}
	f.Add(strings.ReplaceAll(whole.String(), `"ph"`, `"pH"`))
	f.Add(strings.ReplaceAll(whole.String(), `3.4`, `1e999`))
	f.Add(`{"record":"tag"}`)
	folder, made := f.TempDir(), 0
	var empty *DB // stays so until an import is taken
	var before map[string][]string
	f.Cleanup(func() {
		if empty != nil {
			empty.Close()
		}
	})
	f.Fuzz(func(t *testing.T, text string) {
		if empty == nil {
			made++
			var err error
			if empty, err = Open(ctx, filepath.Join(folder, strconv.Itoa(made)), Options{}); err != nil {
				t.Fatal(err)
			}
			before = dump(t, empty)
		}
		db := empty
		if _, err := db.Import(ctx, sheet.NewLineReader(strings.NewReader(text), ExportTables()).Next); err != nil {
			var wrong larder.Problems
			var row *sheet.RowError
			if !errors.As(err, &wrong) && !errors.As(err, &row) {
				t.Fatalf("it fails as the station's fault: %v", err)
			}
			sameDump(t, dump(t, db), before)
			return
		}
		empty = nil
		defer db.Close()
		sound(t, db)
		again := openIn(t, t.TempDir(), Options{})
		if _, err := again.Import(ctx, asLines(t, db)); err != nil {
			t.Fatalf("what was imported is exported, and refused: %v", err)
		}
		sameDump(t, dump(t, again), dump(t, db))
	})
}
