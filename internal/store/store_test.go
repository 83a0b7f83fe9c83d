package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"cruet/internal/larder"
)

// files are the names and contents of a folder.
func files(t *testing.T, dir string) map[string]string {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, f := range list {
		data, err := os.ReadFile(filepath.Join(dir, f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		out[f.Name()] = string(data)
	}
	return out
}

// raw runs SQL on a kitchen's file behind the program's back.
func raw(t *testing.T, dir string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	for _, s := range statements {
		if _, err := db.Exec(s); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestOpenMakesTheFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a kitchen", "ä")
	db := openIn(t, dir, Options{})
	tag := start(t, db, damson()).Jars[0].Tag
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if left := files(t, dir); len(left) != 1 {
		t.Errorf("after closing the folder holds %d files, want the database alone", len(left))
	}
	info, err := os.Stat(dir)
	if err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("the folder is %v, %v; others can read it", info.Mode(), err)
	}
	again := openIn(t, dir, Options{})
	if p := history(t, again, tag); p.Batch.Name != "Damson wine" {
		t.Errorf("opened again, the jar is %+v", p)
	}
	sound(t, again)
}

func TestOddFolderNames(t *testing.T) {
	for _, name := range []string{"what?", "50%", "a#b", "a&b=c", "it's"} {
		dir := filepath.Join(t.TempDir(), name)
		start(t, openIn(t, dir, Options{}), damson())
		if _, err := os.Stat(filepath.Join(dir, FileName)); err != nil {
			t.Errorf("the records of folder %s are elsewhere: %v", name, err)
		}
	}
}

func TestNewerDatabaseIsRefusedUntouched(t *testing.T) {
	dir := t.TempDir()
	db := openIn(t, dir, Options{})
	start(t, db, damson())
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	texts, err := migrations()
	if err != nil {
		t.Fatal(err)
	}
	raw(t, dir, fmt.Sprintf(`PRAGMA user_version = %d`, len(texts)+1))
	before := files(t, dir)
	if len(before) != 1 {
		t.Fatalf("%d files", len(before))
	}
	_, err = Open(ctx, dir, Options{})
	var newer *NewerError
	if !errors.As(err, &newer) || newer.Have != len(texts)+1 || newer.Know != len(texts) || !strings.Contains(err.Error(), dir) {
		t.Fatalf("opening a newer database: %v", err)
	}
	if after := files(t, dir); !maps.Equal(before, after) {
		t.Errorf("the folder changed: %d files before, %d after", len(before), len(after))
	}
}

// A newer program that stopped without closing leaves its version in the
// write-ahead log alone.
func TestNewerDatabaseInTheLog(t *testing.T) {
	dir, copied := t.TempDir(), t.TempDir()
	db := openIn(t, dir, Options{})
	if _, err := db.write.Exec(`PRAGMA user_version = 1000`); err != nil {
		t.Fatal(err)
	}
	before := files(t, dir)
	delete(before, FileName+"-shm")
	for name, data := range before {
		if err := os.WriteFile(filepath.Join(copied, name), []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if len(before) != 2 || strings.Contains(before[FileName][60:64], "\x03\xe8") {
		t.Fatalf("the version is not in the log alone; %d files", len(before))
	}
	_, err := Open(ctx, copied, Options{})
	var newer *NewerError
	if !errors.As(err, &newer) || newer.Have != 1000 {
		t.Errorf("opening it: %v", err)
	}
	after := files(t, copied)
	delete(after, FileName+"-shm") // an index of the log, made anew at will
	if !maps.Equal(before, after) {
		t.Error("the records or their log changed")
	}
	// The same when it happens between looking and opening.
	if err := db.migrate(ctx, dir); !errors.As(err, &newer) {
		t.Errorf("a version that grew meanwhile: %v", err)
	}
}

func TestForeignFilesAreRefusedUntouched(t *testing.T) {
	for name, make := range map[string]func(dir string){
		"another program's database": func(dir string) { raw(t, dir, `CREATE TABLE song (title TEXT)`, `PRAGMA application_id = 7`) },
		"an unmarked database":       func(dir string) { raw(t, dir, `CREATE TABLE song (title TEXT)`) },
		"a text": func(dir string) {
			os.WriteFile(filepath.Join(dir, FileName), bytes.Repeat([]byte("not a database\n"), 300), 0o600)
		},
	} {
		dir := t.TempDir()
		make(dir)
		before := files(t, dir)
		if db, err := Open(ctx, dir, Options{}); err == nil {
			db.Close()
			t.Errorf("%s was opened", name)
		} else if !strings.Contains(err.Error(), FileName) {
			t.Errorf("%s: %v does not name the file", name, err)
		}
		if after := files(t, dir); !maps.Equal(before, after) {
			t.Errorf("%s was changed", name)
		}
	}
	empty := t.TempDir()
	if err := os.WriteFile(filepath.Join(empty, FileName), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	sound(t, openIn(t, empty, Options{}))
}

// Every connection of both pools, held at the same time so that each is another.
func TestPragmasOnEveryConnection(t *testing.T) {
	db, _ := kitchen(t)
	check := func(pool *sql.DB, count int, want map[string]string) {
		t.Helper()
		var held []*sql.Conn
		for range count {
			c, err := pool.Conn(ctx)
			if err != nil {
				t.Fatal(err)
			}
			held = append(held, c)
			for pragma, value := range want {
				var got string
				if err := c.QueryRowContext(ctx, `PRAGMA `+pragma).Scan(&got); err != nil || got != value {
					t.Errorf("connection %d: %s is %s, %v; want %s", len(held), pragma, got, err, value)
				}
			}
		}
		for _, c := range held {
			c.Close()
		}
	}
	check(db.write, 1, map[string]string{"foreign_keys": "1", "synchronous": "2", "journal_mode": "wal", "query_only": "0", "busy_timeout": "10000"})
	check(db.read, db.read.Stats().MaxOpenConnections, map[string]string{"foreign_keys": "1", "journal_mode": "wal", "query_only": "1", "busy_timeout": "10000"})
	if n := db.write.Stats().MaxOpenConnections; n != 1 {
		t.Errorf("%d connections write", n)
	}
}

func TestReadersCannotWrite(t *testing.T) {
	db, _ := kitchen(t)
	start(t, db, damson())
	for _, s := range []string{`DELETE FROM entry`, `UPDATE jar SET state = '{}'`, `INSERT INTO setting (name, value) VALUES ('a', 'b')`, `DROP TABLE gift`} {
		if _, err := db.read.Exec(s); err == nil || !strings.Contains(err.Error(), "readonly") {
			t.Errorf("%s through a reader: %v", s, err)
		}
	}
	sound(t, db)
}

// Entries are only ever added, and the references between tables hold.
func TestBrokenReferencesAreRefused(t *testing.T) {
	db, _ := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	for _, s := range []string{
		`DELETE FROM tag WHERE tag = '` + string(tag) + `'`, `DELETE FROM batch`, `DELETE FROM jar WHERE tag = '` + string(tag) + `'`, `DELETE FROM act`,
	} {
		if _, err := db.write.Exec(s); err == nil {
			t.Errorf("%s was done", s)
		}
	}
	sound(t, db)
}

// All write to the same jar, each after reading it; none may fail or be lost.
func TestManyAtOnce(t *testing.T) {
	db := openIn(t, t.TempDir(), Options{})
	tag := start(t, db, damson()).Jars[0].Tag
	together(t, 8, 12, func(i int) error { return readThenWrite(db, tag) })
	if n := len(history(t, db, tag).Entries); n != 1+8*12 {
		t.Errorf("the history has %d entries, want %d", n, 1+8*12)
	}
	sound(t, db)
}

// openTogether opens a fresh folder from two programs at the same moment: both
// may find no database and make one.
func openTogether(t *testing.T, dir string) (opened [2]*DB) {
	t.Helper()
	var failed [2]error
	var wait sync.WaitGroup
	for i := range opened {
		wait.Go(func() { opened[i], failed[i] = Open(ctx, dir, Options{}) })
	}
	wait.Wait()
	for i, err := range failed {
		if err != nil {
			t.Fatalf("program %d could not open the folder: %v", i, err)
		}
		t.Cleanup(func() { opened[i].Close() })
	}
	return opened
}

// One try would pass by luck about nine times in ten.
func TestTwoProgramsOpenAFreshFolder(t *testing.T) {
	for range 40 {
		openTogether(t, t.TempDir())
	}
}

// Two programs on one folder, as when a command runs beside the station.
func TestTwoProgramsAtOnce(t *testing.T) {
	dir := t.TempDir()
	opened := openTogether(t, dir)
	tag := start(t, opened[0], damson()).Jars[0].Tag
	together(t, 6, 10, func(i int) error {
		db := opened[i%2]
		if err := readThenWrite(db, tag); err != nil {
			return err
		}
		_, err := db.Start(ctx, act(), damson())
		return err
	})
	for _, db := range opened {
		if n := len(history(t, db, tag).Entries); n != 1+6*10 {
			t.Errorf("the history has %d entries, want %d", n, 1+6*10)
		}
		if r := sound(t, db); r.Jars != 2+2*6*10 {
			t.Errorf("%d jars, want %d", r.Jars, 2+2*6*10)
		}
	}
}

func readThenWrite(db *DB, tag larder.Tag) error {
	if _, err := db.History(ctx, tag, Cursor{}, 5); err != nil {
		return err
	}
	if _, err := db.Append(ctx, act(), tag, ph(3.3)); err != nil {
		return err
	}
	_, err := db.Shelf(ctx, false)
	return err
}

// together runs do in goroutines, each so many times, and fails on any error.
func together(t *testing.T, goroutines, times int, do func(i int) error) {
	t.Helper()
	var wait sync.WaitGroup
	for i := range goroutines {
		wait.Go(func() {
			for range times {
				if err := do(i); err != nil {
					t.Errorf("goroutine %d: %v", i, err)
					return
				}
			}
		})
	}
	wait.Wait()
}

// A check beside a working station reads one moment and finds nothing wrong.
func TestCheckWhileWriting(t *testing.T) {
	db := openIn(t, t.TempDir(), Options{})
	tag := start(t, db, damson()).Jars[0].Tag
	together(t, 4, 15, func(i int) error {
		if i > 0 {
			return readThenWrite(db, tag)
		}
		r, err := db.Check(ctx)
		if err == nil && len(r.Findings) > 0 {
			err = fmt.Errorf("findings: %v", r.Findings)
		}
		return err
	})
}

// The same act sent by many at once is recorded once.
func TestOneKeyManyAtOnce(t *testing.T) {
	db := openIn(t, t.TempDir(), Options{})
	tag := start(t, db, damson()).Jars[0].Tag
	a := act()
	together(t, 8, 2, func(int) error {
		s, err := db.Append(ctx, a, tag, ph(3.3))
		if err == nil && s.Entry.ID != a.Key {
			err = fmt.Errorf("the answer is entry %s", s.Entry.ID)
		}
		return err
	})
	if n := len(history(t, db, tag).Entries); n != 2 {
		t.Errorf("the history has %d entries, want 2", n)
	}
}

// The clock is read inside the transaction, so a clock that ends the request
// ends it half way.
func TestCancelledActLeavesNothing(t *testing.T) {
	clock := newClock()
	var cancel context.CancelFunc
	db := openIn(t, t.TempDir(), Options{Now: func() time.Time {
		if cancel != nil {
			cancel()
		}
		return clock.now
	}})
	s := start(t, db, damson())
	before := rows(t, db)
	for name, do := range map[string]func(context.Context) error{
		"start": func(ctx context.Context) error { _, err := db.Start(ctx, act(), damson()); return err },
		"entry": func(ctx context.Context) error { _, err := db.Append(ctx, act(), s.Jars[0].Tag, ph(3)); return err },
		"spare": func(ctx context.Context) error { _, err := db.IssueSpares(ctx, act(), 5); return err },
	} {
		var c context.Context
		c, cancel = context.WithCancel(context.Background())
		if err := do(c); !errors.Is(err, context.Canceled) {
			t.Errorf("%s, cancelled half way: %v", name, err)
		}
		gone, stop := context.WithCancel(context.Background())
		stop()
		if err := do(gone); !errors.Is(err, context.Canceled) {
			t.Errorf("%s, cancelled before: %v", name, err)
		}
		cancel = nil
		if after := rows(t, db); !maps.Equal(before, after) {
			t.Errorf("%s, cancelled, left %v, was %v", name, after, before)
		}
	}
	add(t, db, s.Jars[0].Tag, ph(3.3)) // the writer is free again
	sound(t, db)
}

func TestTagsAreNeverIssuedTwice(t *testing.T) {
	db, _ := kitchen(t)
	n := damson()
	n.Jars = larder.MaxJars
	seen := map[larder.Tag]bool{}
	for range 5 {
		for _, j := range start(t, db, n).Jars {
			if seen[j.Tag] {
				t.Fatalf("tag %s was issued twice", j.Tag)
			}
			seen[j.Tag] = true
			add(t, db, j.Tag, body(larder.StageChange{To: larder.Discarded, Reason: "mould"}))
		}
	}
	for tag := range seen { // a retired jar keeps its tag
		if kind, err := db.TagKind(ctx, tag); kind != "jar" || err != nil {
			t.Fatalf("the tag of a discarded jar is a %q's, %v", kind, err)
		}
		if history(t, db, tag).Jar.State.Stage != larder.Discarded {
			t.Fatalf("jar %s is not discarded", tag)
		}
		break
	}
	if kind, err := db.TagKind(ctx, "000000"); kind != "" || err != nil {
		t.Errorf("a tag never issued is a %q's, %v", kind, err)
	}
	// Tags are drawn from 25^5 or so; when one is taken another is drawn.
	err := db.inTx(ctx, act(), func(x *tx) error {
		for range 300 {
			tag, err := x.issue(ctx, "spare")
			if err != nil {
				return err
			}
			if seen[tag] {
				t.Errorf("tag %s was issued twice", tag)
			}
			seen[tag] = true
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}
