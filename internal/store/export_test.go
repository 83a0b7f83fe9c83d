package store

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"cruet/internal/larder"
	"cruet/internal/sheet"
)

// dump is every row of every table, derived ones too, as text.
func dump(t testing.TB, db *DB) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for name := range rows(t, db) {
		list, err := db.read.Query(`SELECT * FROM ` + name)
		if err != nil {
			t.Fatal(err)
		}
		columns, err := list.Columns()
		if err != nil {
			t.Fatal(err)
		}
		values, into := make([]any, len(columns)), make([]any, len(columns))
		for i := range values {
			into[i] = &values[i]
		}
		for list.Next() {
			if err := list.Scan(into...); err != nil {
				t.Fatal(err)
			}
			var b strings.Builder
			for i, v := range values {
				fmt.Fprintf(&b, "%s=%#v ", columns[i], v)
			}
			out[name] = append(out[name], b.String())
		}
		if err := list.Err(); err != nil {
			t.Fatal(err)
		}
		slices.Sort(out[name])
	}
	return out
}

func sameDump(t testing.TB, have, want map[string][]string) {
	t.Helper()
	for name := range want {
		if !slices.Equal(have[name], want[name]) {
			for i := range max(len(have[name]), len(want[name])) {
				a, b := "nothing", "nothing"
				if i < len(have[name]) {
					a = have[name][i]
				}
				if i < len(want[name]) {
					b = want[name][i]
				}
				if a != b {
					t.Fatalf("%s has %d rows, want %d; first\n%s\nwant\n%s", name, len(have[name]), len(want[name]), a, b)
				}
			}
		}
	}
}

// asLines and asTables write an export and read it back.
func asLines(t testing.TB, db *DB) func() (sheet.Row, string, bool, error) {
	t.Helper()
	var b bytes.Buffer
	w := sheet.NewLineWriter(&b, ExportTables())
	if err := errors.Join(db.Export(ctx, w.Row), w.Flush()); err != nil {
		t.Fatal(err)
	}
	return sheet.NewLineReader(&b, ExportTables()).Next
}

func asTables(t testing.TB, db *DB) func() (sheet.Row, string, bool, error) {
	t.Helper()
	files, writers := map[string]*bytes.Buffer{}, map[string]*sheet.Writer{}
	for _, table := range ExportTables() {
		files[table.Name] = &bytes.Buffer{}
		w, err := sheet.NewWriter(files[table.Name], table.Columns)
		if err != nil {
			t.Fatal(err)
		}
		writers[table.Name] = w
	}
	if err := db.Export(ctx, func(r sheet.Row) error { return writers[r.Table].Values(r.Values) }); err != nil {
		t.Fatal(err)
	}
	var readers []*sheet.TableReader
	for _, table := range ExportTables() {
		if err := writers[table.Name].Flush(); err != nil {
			t.Fatal(err)
		}
		r, err := sheet.NewTableReader(files[table.Name], table.Name+".csv", table)
		if err != nil {
			t.Fatal(err)
		}
		readers = append(readers, r)
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
	}
}

// Whatever was done in a kitchen: exported as JSON Lines or as CSV and imported
// into an empty station it is the same, to the last row, what is derived included.
func TestExportComesBack(t *testing.T) {
	passed := map[string]int{}
	rapid.Check(t, func(r *rapid.T) {
		y := newYard(t, r, passed)
		y.late = true
		defer y.db.Close()
		for range rapid.IntRange(5, 25).Draw(r, "acts") {
			y.act()
		}
		note := rapid.SampledFrom([]string{"=1+1", "'quoted", "a,b \"c\"\nd", "-5", "ÄÖÜ 🍐", "tab\tin it"}).Draw(r, "note")
		if _, err := y.db.Append(ctx, act(), y.jars[0], larder.NewEntry{Note: note, Body: larder.Note{}}); err != nil {
			t.Fatal(err)
		}
		want := dump(t, y.db)
		for name, read := range map[string]func(testing.TB, *DB) func() (sheet.Row, string, bool, error){"JSON Lines": asLines, "CSV": asTables} {
			again := openIn(t, t.TempDir(), Options{Now: y.c.Now})
			n, err := again.Import(ctx, read(t, y.db))
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if count, err := y.db.ExportCount(ctx); err != nil || count != n {
				t.Fatalf("%d of %d records, %v", n, count, err)
			}
			sameDump(t, dump(t, again), want)
			if rep, err := again.Check(ctx); err != nil || len(rep.Findings) > 0 {
				t.Fatalf("%s: %+v, %v", name, rep, err)
			}
			again.Close()
		}
	})
	t.Log(passed)
}

// Every table and column of the records is exported or derived, and explained.
// Who may write stays with the station: an export does not tell it, and an import
// neither takes it away nor brings it.
func TestExportKeepsTheGuard(t *testing.T) {
	db, _ := kitchen(t)
	jarsOfWine(t, db, 1)
	if _, err := db.AddProgram(ctx, "scale"); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(db.SetPassphrase(ctx, "quince and salt"), db.SetAccess(ctx, larder.Access{Writers: larder.WritersEveryone, Look: larder.LookJars})); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	w := sheet.NewLineWriter(&b, ExportTables())
	if err := errors.Join(db.Export(ctx, w.Row), w.Flush()); err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"passphrase", "scale", "everyone"} {
		if strings.Contains(b.String(), word) {
			t.Errorf("the export tells %q", word)
		}
	}
	fresh, _ := kitchen(t)
	if err := fresh.SetPassphrase(ctx, "pears and honey"); err != nil {
		t.Fatal(err)
	}
	if _, err := fresh.Import(ctx, sheet.NewLineReader(strings.NewReader(b.String()), ExportTables()).Next); err != nil {
		t.Fatal(err)
	}
	if v, err := fresh.Visitor(ctx, ""); err != nil || !v.Access.Passphrase || v.Access.Writers == larder.WritersEveryone {
		t.Errorf("after the import: %+v, %v", v.Access, err)
	}
}

func TestExportKnowsEveryColumn(t *testing.T) {
	db, _ := kitchen(t)
	known := map[string]bool{}
	for _, table := range exportTables {
		for _, c := range table.columns {
			known[table.name+"."+c.column] = true
			if c.means == "" {
				t.Errorf("%s.%s is not explained", table.name, c.name)
			}
		}
	}
	for table, columns := range derivedColumns {
		for _, c := range columns {
			known[table+"."+c] = true
		}
	}
	for table := range rows(t, db) {
		if slices.Contains(derivedTables, table) || slices.Contains(guardTables, table) {
			continue
		}
		list, err := db.read.Query(`SELECT name FROM pragma_table_info(?)`, table)
		if err != nil {
			t.Fatal(err)
		}
		for list.Next() {
			var name string
			if err := list.Scan(&name); err != nil {
				t.Fatal(err)
			}
			if !known[table+"."+name] {
				t.Errorf("%s.%s is neither exported nor derived: add it to exporttables.go", table, name)
			}
			delete(known, table+"."+name)
		}
	}
	for name := range known {
		t.Errorf("there is no %s", name)
	}
}

// What does not fit is told with its line, and nothing is written.
func TestImportRefuses(t *testing.T) {
	db, _ := kitchen(t)
	jarsOfWine(t, db, 1)
	var b bytes.Buffer
	w := sheet.NewLineWriter(&b, ExportTables())
	if err := errors.Join(db.Export(ctx, w.Row), w.Flush()); err != nil {
		t.Fatal(err)
	}
	good := b.String()
	lines := strings.SplitAfter(good, "\n")
	jarLine := slices.IndexFunc(lines, func(s string) bool { return strings.HasPrefix(s, `{"record":"jar"`) })
	without := func(i int) string { return strings.Join(append(slices.Clone(lines[:i]), lines[i+1:]...), "") }
	for name, c := range map[string]struct{ text, says string }{
		"no JSON":           {"hello\n", "Line 1: it is no JSON object"},
		"a guard":           {`{"record":"setting","name":"access","value":{"writers":"everyone"}}` + "\n", "the station's own"},
		"no record":         {`{"a":1}` + "\n", `does not say which "record"`},
		"unknown record":    {`{"record":"person"}` + "\n", `no record "person"`},
		"a column too many": {strings.Replace(good, `{"record":"jar",`, `{"record":"jar","colour":"red",`, 1), `"colour" is no column`},
		"a column missing":  {strings.Replace(good, `"letter":"A",`, "", 1), "letter is missing"},
		"twice":             {good + lines[jarLine], "it is there twice"},
		"a jar missing":     {without(jarLine), "refers to one that is not there"},
		"an act missing":    {without(slices.IndexFunc(lines, func(s string) bool { return strings.HasPrefix(s, `{"record":"act"`) })), "refers to one that is not there"},
		"no time":           {strings.Replace(good, `Z"`, `"`, 1), "is not a time"},
		"no UUID":           {strings.Replace(good, `"record":"act","key":"`, `"record":"act","key":"x`, 1), "is not a UUID"},
		"bad body":          {strings.Replace(good, `"kind":"stage","body":{`, `"kind":"stage","body":{"to":5,`, 1), "do not add up"},
		"strange kind":      {strings.Replace(good, `"kind":"stage","body":{`, `"kind":"dance","body":{`, 1), "do not add up"},
		"a line too long":   {`{"record":"` + strings.Repeat("x", 17<<20) + `"}`, "longer than any record"},
	} {
		again := openIn(t, t.TempDir(), Options{})
		_, err := again.Import(ctx, sheet.NewLineReader(strings.NewReader(c.text), ExportTables()).Next)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %.300v, want it to say %q", name, err, c.says)
		}
		for table, n := range rows(t, again) {
			if n > 0 {
				t.Errorf("%s: %d rows of %s were written", name, n, table)
			}
		}
		again.Close()
	}
	var notNew *NotNewError
	if _, err := db.Import(ctx, sheet.NewLineReader(strings.NewReader(good), ExportTables()).Next); !errors.As(err, &notNew) {
		t.Errorf("into records: %v", err)
	}
	again := openIn(t, t.TempDir(), Options{})
	defer again.Close()
	if _, err := again.Import(ctx, sheet.NewLineReader(strings.NewReader(good), ExportTables()).Next); err != nil {
		t.Errorf("the good one: %v", err)
	}
}

// BenchmarkExport reads every record of a large kitchen.
func BenchmarkExport(b *testing.B) {
	db, _ := bigKitchen(b, 2000, 20_000)
	for b.Loop() {
		n := 0
		if err := db.Export(ctx, func(sheet.Row) error { n++; return nil }); err != nil || n < 30_000 {
			b.Fatalf("%d records, %v", n, err)
		}
	}
}
