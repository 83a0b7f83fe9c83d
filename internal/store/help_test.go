package store

import (
	"context"
	"database/sql"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// clock is a kitchen clock that a test sets and moves on.
type clock struct{ now time.Time }

func (c *clock) Now() time.Time       { return c.now }
func (c *clock) pass(d time.Duration) { c.now = c.now.Add(d) }
func newClock() *clock                { return &clock{time.Date(2026, 11, 25, 9, 30, 0, 0, time.UTC)} }
func (c *clock) daysAgo(n int) larder.When {
	return larder.When{At: c.now.AddDate(0, 0, -n), Precision: larder.Day}
}

// openIn opens a kitchen in a folder of its own and closes it with the test.
func openIn(t testing.TB, dir string, opt Options) *DB {
	t.Helper()
	db, err := Open(context.Background(), dir, opt)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func kitchen(t testing.TB) (*DB, *clock) {
	t.Helper()
	c := newClock()
	return openIn(t, t.TempDir(), Options{Now: c.Now}), c
}

func act() larder.Act { return larder.Act{Key: uuid.Must(uuid.NewV7()), By: "ro"} }

func ml(v float64) *chem.Millilitres { return new(chem.Millilitres(v)) }

func damson() larder.NewBatch {
	return larder.NewBatch{
		Name: "Damson wine", Base: larder.Wine, Jars: 2, JarSizeML: 5000, FillML: ml(3000), TargetGPer100ML: 5,
		Ingredients: []larder.Ingredient{{Name: "damson wine", Amount: chem.Amount{VolumeML: 3000}}}, Place: "pantry",
	}
}

func start(t testing.TB, db *DB, n larder.NewBatch) Started {
	t.Helper()
	s, err := db.Start(context.Background(), act(), n)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func add(t testing.TB, db *DB, tag larder.Tag, n larder.NewEntry) Saved {
	t.Helper()
	s, err := db.Append(context.Background(), act(), tag, n)
	if err != nil {
		t.Fatalf("%+v: %v", n.Body, err)
	}
	return s
}

func body(b larder.Body) larder.NewEntry { return larder.NewEntry{Body: b} }

func ph(v float64) larder.NewEntry { return body(larder.Reading{PH: new(chem.PH(v))}) }

func note(text string) larder.NewEntry { return larder.NewEntry{Note: text, Body: larder.Note{}} }

// titration gives about 5.06 g/100 mL.
func titration() larder.NewEntry {
	return body(larder.Titration{Titration: chem.Titration{SampleML: 5, BaseMolPerL: 0.1, Replicates: []chem.Replicate{{EndML: 42}, {EndML: 42.2}}}})
}

// finish brings a fresh jar of wine to finished, with a titration.
func finish(t testing.TB, db *DB, tag larder.Tag) {
	t.Helper()
	add(t, db, tag, body(larder.StageChange{To: larder.Acetic, VolumeML: ml(3000), Starter: &larder.Feed{From: larder.FromBought, Name: "live vinegar", VolumeML: ml(500), Live: true}}))
	add(t, db, tag, titration())
	add(t, db, tag, body(larder.StageChange{To: larder.Finished}))
}

func bottle(t testing.TB, db *DB, count int, tags ...larder.Tag) BottledLot {
	t.Helper()
	n := larder.NewLot{Runs: []larder.Run{{Count: count, SizeML: 250}}}
	for _, tag := range tags {
		n.Pours = append(n.Pours, larder.Pour{Jar: tag})
	}
	lot, err := db.Bottle(context.Background(), act(), n)
	if err != nil {
		t.Fatal(err)
	}
	return lot
}

func jar(t testing.TB, db *DB, tag larder.Tag) larder.Jar {
	t.Helper()
	j, err := db.Jar(context.Background(), tag)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func history(t testing.TB, db *DB, tag larder.Tag) JarPage {
	t.Helper()
	p, err := db.History(context.Background(), tag, Cursor{}, 1000)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func holdsML(t testing.TB, db *DB, tag larder.Tag, want chem.Millilitres) {
	t.Helper()
	if v := jar(t, db, tag).State.VolumeML; v == nil || *v != want {
		t.Errorf("jar %s holds %v, want %g mL", tag, v, want)
	}
}

// sound fails when Check finds anything, or finds the wrong number of entries.
func sound(t testing.TB, db *DB) Report {
	t.Helper()
	r, err := db.Check(context.Background())
	if err != nil || len(r.Findings) > 0 {
		t.Fatalf("check: %v, %v", r.Findings, err)
	}
	listedLikeShelf(t, db)
	return r
}

// listedLikeShelf fails unless what is kept for lists is the shelf, jar by jar in
// its order.
func listedLikeShelf(t testing.TB, db *DB) {
	t.Helper()
	whole, err := db.Shelf(context.Background(), false)
	if err != nil {
		t.Fatal(err)
	}
	listed, err := db.Standing(context.Background())
	if err != nil || len(listed) != len(whole) {
		t.Fatalf("%d jars are listed, %d stand on the shelf, %v", len(listed), len(whole), err)
	}
	for i, want := range whole {
		want.Jar.State = want.Jar.State.Listed()
		if !reflect.DeepEqual(listed[i], want) {
			t.Fatalf("listed as %+v, want %+v", listed[i], want)
		}
	}
}

// refused fails unless err is Problems with that field and words.
func refused(t testing.TB, err error, field, says string) {
	t.Helper()
	var p larder.Problems
	if !errors.As(err, &p) || p[0].Field != field || !strings.Contains(err.Error(), says) {
		t.Errorf("the answer is %v (%T), want a problem with %q that says %q", err, err, field, says)
	}
}

// rows counts the rows of every table, to see that nothing was left behind.
func rows(t testing.TB, db *DB) map[string]int {
	t.Helper()
	counts := map[string]int{}
	names, err := db.read.Query(`SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'`)
	if err != nil {
		t.Fatal(err)
	}
	list, err := collect(names, func(r *sql.Rows) (s string, err error) { return s, r.Scan(&s) })
	if err != nil || len(list) == 0 {
		t.Fatalf("%d tables, %v", len(list), err)
	}
	for _, name := range list {
		var n int
		if err := db.read.QueryRow(`SELECT count(*) FROM ` + name).Scan(&n); err != nil {
			t.Fatal(err)
		}
		counts[name] = n
	}
	return counts
}
