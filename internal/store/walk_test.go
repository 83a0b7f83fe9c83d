package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"cruet/internal/larder"
)

// allSteps reads the lineage of a kitchen that was filled through SQL.
func allSteps(t *testing.T, db *DB) []larder.Step {
	t.Helper()
	rows, err := db.read.Query(`SELECT edge.entry, coalesce(from_jar, ''), coalesce(to_jar, ''), coalesce(to_lot, ''), edge.happened_ms, entry.precision FROM edge JOIN entry ON entry.seq = edge.entry`)
	if err != nil {
		t.Fatal(err)
	}
	all, err := collect(rows, func(r *sql.Rows) (s larder.Step, err error) {
		var ms int64
		var precision string
		err = r.Scan(&s.Seq, &s.FromJar, &s.ToJar, &s.ToLot, &ms, &precision)
		s.When = when(ms, precision, 0)
		return s, err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func tracedAsNaively(t *testing.T, db *DB, all []larder.Step, tag larder.Tag) (back int) {
	t.Helper()
	tr := trace(t, db, larder.SubjectJar, string(tag))
	sameDepths(t, "back from "+string(tag), tr.Back, true, naiveDepths(all, true, func(s larder.Step) bool { return s.ToJar == tag }))
	sameDepths(t, "forward from "+string(tag), tr.Forward, false, naiveDepths(all, false, func(s larder.Step) bool { return s.FromJar == tag }))
	return len(tr.Back)
}

// A trace through a crock that is fed from many and drawn from for many, where there
// are far more ways than edges, tells each edge once and at its shortest distance.
func TestTraceThroughACrock(t *testing.T) {
	db, crock := bigKitchen(t, 120, 120)
	all := allSteps(t, db)
	tags := map[larder.Tag]bool{crock: true}
	for i := 0; i < len(all); i += 40 {
		tags[all[i].FromJar] = true
	}
	for tag := range tags {
		tracedAsNaively(t, db, all, tag)
	}
	lot := all[len(all)-1].ToLot
	sameDepths(t, "back from "+lot, trace(t, db, larder.SubjectLot, lot).Back, true, naiveDepths(all, true, func(s larder.Step) bool { return s.ToLot == lot }))
}

// A line is told to its beginning however long it is, and where two jars were poured
// into each other on one day, so that each may have come from the other, it ends.
func TestTraceOfALongLine(t *testing.T) {
	const long = 3*aheadSteps + 5
	for _, c := range []struct {
		name string
		n    int // jars of the line
		more func(b *bulkRows, line []larder.Tag, ms int64)
		back int // edges behind the last jar beside its line
	}{
		{"a line", long, nil, 0},
		{"just as long as is read at once", aheadSteps + 1, nil, 0},
		{"fed twice from one jar", long, func(b *bulkRows, line []larder.Tag, ms int64) {
			b.pour(line[long-4], line[long-3], ms+int64(long-3)*1000+1, larder.TopUp, 10)
		}, 1},
		{"fed from others too", long, func(b *bulkRows, line []larder.Tag, ms int64) {
			for i := range 3 {
				b.pour(b.jar(1, long+i, ms), line[long-3], ms+1+int64(i), larder.TopUp, 10)
			}
		}, 3},
		{"round on one day", long, func(b *bulkRows, line []larder.Tag, ms int64) {
			b.pour(line[3], line[2], ms+3000, larder.TopUp, 10)
			b.run(`UPDATE entry SET precision = 'day' WHERE happened_ms = ?`, ms+3000)
			b.run(`UPDATE edge SET early_ms = early_ms - 43200000, late_ms = late_ms + 43200000 WHERE happened_ms = ?`, ms+3000)
		}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			var line []larder.Tag
			db := bulkKitchen(t, func(b *bulkRows, now time.Time) {
				ms := now.AddDate(-1, 0, 0).UnixMilli()
				b.batch(1, "line", ms)
				for i := range c.n {
					line = append(line, b.jar(1, i, ms))
					if i > 0 {
						b.pour(line[i-1], line[i], ms+int64(i)*1000, larder.StarterIn, 10)
					}
				}
				if c.more != nil {
					c.more(b, line, ms)
				}
			})
			all := allSteps(t, db)
			if back := tracedAsNaively(t, db, all, line[c.n-1]); back != c.n-1+c.back {
				t.Errorf("%d steps back, want %d", back, c.n-1+c.back)
			}
			tracedAsNaively(t, db, all, line[2])
		})
	}
}

// A walk back from a time leaves out what came later.
func TestWalkBackUntil(t *testing.T) {
	var tags []larder.Tag
	var ms int64
	db := bulkKitchen(t, func(b *bulkRows, now time.Time) {
		ms = now.AddDate(-1, 0, 0).UnixMilli()
		b.batch(1, "three", ms)
		for i := range 3 {
			tags = append(tags, b.jar(1, i, ms))
		}
		b.pour(tags[0], tags[2], ms+1000, larder.TopUp, 10)
		b.pour(tags[1], tags[2], ms+2000, larder.TopUp, 10)
	})
	for until, want := range map[int64]string{ms: "", ms + 1000: string(tags[0]), ms + 1999: string(tags[0]), ms + 2000: fmt.Sprint(tags[1], tags[0]), math.MaxInt64: fmt.Sprint(tags[1], tags[0])} {
		found, err := walkBack(ctx, db.read, []larder.Tag{tags[2], tags[2]}, until)
		if err != nil {
			t.Fatal(err)
		}
		var from []any
		for _, s := range found {
			from = append(from, s.FromJar)
		}
		if got := fmt.Sprint(from...); got != want {
			t.Errorf("until %d it came from %q, want %q", until-ms, got, want)
		}
	}
}

// A trace that nobody waits for any more ends between two statements, and its
// connection is as good as before.
func TestTraceIsCancelled(t *testing.T) {
	db, crock := bigKitchen(t, 50, 50)
	trace(t, db, larder.SubjectJar, string(crock)) // which opens a connection
	before := db.read.Stats().OpenConnections
	gone, cancel := context.WithCancel(ctx)
	err := db.unwatched(gone, func(q querier) error {
		if _, err := walkForward(gone, q, []larder.Tag{crock}); err != nil {
			return err
		}
		cancel()
		_, err := walkForward(gone, q, []larder.Tag{crock})
		return err
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("it ended with %v", err)
	}
	if _, err := db.Trace(gone, larder.Subject{Kind: larder.SubjectJar, ID: string(crock)}); !errors.Is(err, context.Canceled) {
		t.Errorf("one that was cancelled before ended with %v", err)
	}
	if stats := db.read.Stats(); stats.InUse != 0 || stats.OpenConnections > before {
		t.Errorf("of %d connections %d are in use; there were %d", stats.OpenConnections, stats.InUse, before)
	}
	// It reads of one moment, and the next trace of the next.
	var forward, again int
	err = db.unwatched(ctx, func(q querier) error {
		first, err := walkForward(ctx, q, []larder.Tag{crock})
		if err != nil {
			return err
		}
		if _, err := db.write.Exec(`UPDATE edge SET struck = 1`); err != nil {
			return err
		}
		second, err := walkForward(ctx, q, []larder.Tag{crock})
		forward, again = len(first), len(second)
		return err
	})
	if err != nil || forward == 0 || again != forward {
		t.Errorf("%d steps, then %d, %v", forward, again, err)
	}
	if tr := trace(t, db, larder.SubjectJar, string(crock)); len(tr.Forward) != 0 {
		t.Errorf("%d steps are left", len(tr.Forward))
	}
}
