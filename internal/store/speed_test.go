package store_test

import (
	"context"
	"database/sql"
	"flag"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/needed"
	"cruet/internal/store"
	"cruet/internal/store/bulk"
)

// The benchmarks of this file print ratios of two ways that were measured by
// turns in one run, since the times themselves are the machine's:
//
//	go test ./internal/store -run XXX -bench Speed -benchtime 1x
var manyEntries = flag.Int("entries", 1_000_000, "how many entries the benchmarks' kitchen of many years has")

var ctx = context.Background()

// rounds is how often two ways are measured by turns; the median of their ratios
// is told.
const rounds = 15

// ratio measures two ways by turns and reports the median of how many times longer
// the first takes.
func ratio(b *testing.B, name string, one, other func()) {
	b.Helper()
	ratios := make([]float64, rounds)
	for i := range rounds {
		a, z := took(one), took(other)
		ratios[i] = float64(a) / float64(z)
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[rounds/2], name)
}

func took(do func()) time.Duration {
	begun := time.Now()
	do()
	return time.Since(begun)
}

func must[T any](b *testing.B) func(T, error) T {
	return func(v T, err error) T {
		b.Helper()
		if err != nil {
			b.Fatal(err)
		}
		return v
	}
}

func newAct() larder.Act { return larder.Act{Key: uuid.Must(uuid.NewV7()), By: "ro"} }

func reading() larder.NewEntry {
	return larder.NewEntry{Body: larder.Reading{PH: new(chem.PH(3.31)), TempC: new(chem.Celsius(21)), Instrument: "bench meter"}}
}

func started(b *testing.B, dir string) (*store.DB, larder.Tag) {
	b.Helper()
	db := must[*store.DB](b)(store.Open(ctx, dir, store.Options{}))
	b.Cleanup(func() { db.Close() })
	s := must[store.Started](b)(db.Start(ctx, newAct(), larder.NewBatch{Name: "Quince", Base: larder.Juice, Jars: 1, JarSizeML: 5000, FillML: new(chem.Millilitres(3000)), TargetGPer100ML: 5}))
	return db, s.Jars[0].Tag
}

// BenchmarkSpeedDurable compares a logged reading, through all of the store, with
// one INSERT of the same row into the same table by the C library under the same
// pragmas: both are on disk when they return.
func BenchmarkSpeedDurable(b *testing.B) {
	if cDriver == "" {
		needed.Missing(b, "the C library needs cgo")
	}
	db, tag := started(b, b.TempDir())
	other := b.TempDir()
	_, bareTag := started(b, other)
	bare := must[*sql.DB](b)(sql.Open(cDriver, "file:"+filepath.Join(other, store.FileName)+"?_journal_mode=WAL&_synchronous=FULL&_foreign_keys=ON&_busy_timeout=10000"))
	defer bare.Close()
	bare.SetMaxOpenConns(1)
	insert := must[*sql.Stmt](b)(bare.Prepare(`INSERT INTO entry (id, act, jar, happened_ms, precision, spread_days, recorded_ms, by, note, kind, body) VALUES (?, ?, ?, ?, 'exact', 0, ?, 'ro', '', 'reading', '{"ph":3.31,"temp_c":21,"instrument":"bench meter","ph_mark":"the meter was never calibrated"}')`))
	const each = 40
	for b.Loop() {
		acts := bareActs(b, bare, rounds*each)
		ratio(b, "of-a-bare-INSERT-in-C", func() {
			for range each {
				must[store.Saved](b)(db.Append(ctx, newAct(), tag, reading()))
			}
		}, func() {
			for _, id := range acts[:each] {
				now := time.Now().UnixMilli()
				must[sql.Result](b)(insert.Exec(id[:], id[:], bareTag, now, now))
			}
			acts = acts[each:]
		})
	}
}

// bareActs are the acts that the rows which a bare INSERT writes refer to.
func bareActs(b *testing.B, bare *sql.DB, n int) []uuid.UUID {
	tx := must[*sql.Tx](b)(bare.Begin())
	defer tx.Rollback()
	ids := make([]uuid.UUID, n)
	for i := range ids {
		ids[i] = uuid.Must(uuid.NewV7())
		must[sql.Result](b)(tx.Exec(`INSERT INTO act (key, kind, fingerprint, ref, by, recorded_ms) VALUES (?, 'entry', x'00', '', 'ro', 0)`, ids[i][:]))
	}
	if err := tx.Commit(); err != nil {
		b.Fatal(err)
	}
	return ids
}

// BenchmarkSpeedTogether compares 32 clients, each waiting for its answers, with
// one, in entries a second; and tells how much longer than the median the slowest
// hundredth of eight clients that read, then write, wait.
func BenchmarkSpeedTogether(b *testing.B) {
	db, tag := started(b, b.TempDir())
	clients := func(n, each int, do func() error) []time.Duration {
		var wait sync.WaitGroup
		waited := make([]time.Duration, n*each)
		for i := range n {
			wait.Go(func() {
				for k := range each {
					waited[i*each+k] = took(func() {
						if err := do(); err != nil {
							b.Error(err)
						}
					})
				}
			})
		}
		wait.Wait()
		return waited
	}
	write := func() error { _, err := db.Append(ctx, newAct(), tag, reading()); return err }
	for b.Loop() {
		const entries = 320
		ratio(b, "x-throughput-of-32", func() { clients(1, entries, write) }, func() { clients(32, entries/32, write) })
		waited := clients(8, 60, func() error {
			if _, err := db.History(ctx, tag, store.Cursor{}, 50); err != nil {
				return err
			}
			return write()
		})
		slices.Sort(waited)
		b.ReportMetric(float64(waited[len(waited)*99/100])/float64(waited[len(waited)/2]), "p99/p50-of-8")
	}
}

// BenchmarkSpeedYears asks a kitchen of many years what pages ask.
func BenchmarkSpeedYears(b *testing.B) {
	dir := b.TempDir()
	size := bulk.Size{Entries: *manyEntries, Jars: max(20, *manyEntries/100), Live: 10, Bottles: *manyEntries / 10}
	begun := time.Now()
	must[[]larder.Tag](b)(bulk.Fill(ctx, dir, size, time.Now()))
	b.Logf("filled with %+v in %v", size, time.Since(begun).Round(time.Second))
	pool := must[*sql.DB](b)(sql.Open("sqlite", "file:"+filepath.Join(dir, store.FileName)+"?_pragma=mmap_size(268435456)"))
	defer pool.Close()
	pool.SetMaxOpenConns(1)
	all := func(s *sql.Stmt, args ...any) int {
		rows := must[*sql.Rows](b)(s.Query(args...))
		defer rows.Close()
		cols := must[[]string](b)(rows.Columns())
		into := make([]any, len(cols))
		for i := range into {
			into[i] = new(sql.RawBytes)
		}
		n := 0
		for ; rows.Next(); n++ {
			if err := rows.Scan(into...); err != nil {
				b.Fatal(err)
			}
		}
		if err := rows.Err(); err != nil {
			b.Fatal(err)
		}
		return n
	}
	// The jars are asked in an order of their own, as phones do.
	jars := must[*sql.Rows](b)(pool.Query(`SELECT tag FROM jar ORDER BY random() LIMIT 500`))
	var some []larder.Tag
	for jars.Next() {
		var tag larder.Tag
		if err := jars.Scan(&tag); err != nil {
			b.Fatal(err)
		}
		some = append(some, tag)
	}
	must[sql.Result](b)(pool.Exec(`CREATE INDEX plain_time ON entry (jar, happened_ms)`))

	b.Run("newest", func(b *testing.B) {
		const byTime = " FROM entry INDEXED BY plain_time "
		ours := must[*sql.Stmt](b)(pool.Prepare(store.NewestSQL))
		plain := must[*sql.Stmt](b)(pool.Prepare(`SELECT seq, id, act, jar, happened_ms, precision, spread_days, recorded_ms, by, note, kind, body, struck_by` + byTime + `WHERE jar = ? ORDER BY happened_ms DESC, seq DESC LIMIT ?`))
		same := must[*sql.Stmt](b)(pool.Prepare(strings.Replace(store.NewestSQL, "FROM entry ", byTime, 1)))
		ask := func(s *sql.Stmt) func() {
			return func() {
				for _, tag := range some {
					if n := all(s, tag, 50); n != 50 {
						b.Fatal(n)
					}
				}
			}
		}
		for b.Loop() {
			ratio(b, "of-a-plain-index", ask(ours), ask(plain))
			ratio(b, "of-a-plain-index-in-one-text", ask(ours), ask(same))
		}
	})
	b.Run("shelf", func(b *testing.B) {
		must[sql.Result](b)(pool.Exec(`UPDATE jar SET live = 1`)) // each that ever was
		defer pool.Exec(`UPDATE jar SET live = json_extract(state, '$.stage') NOT IN ('empty', 'discarded', 'void')`)
		ours := must[*sql.Stmt](b)(pool.Prepare(store.StandingSQL))
		const newest = `(SELECT body FROM entry WHERE jar = tag AND kind = '%s' AND struck_by IS NULL ORDER BY happened_ms DESC, seq DESC LIMIT 1)`
		sub := func(kind string) string { return fmt.Sprintf(newest, kind) }
		plain := must[*sql.Stmt](b)(pool.Prepare(`SELECT tag, ` + sub("reading") + ` FROM jar WHERE live = 1`))
		db := must[*store.DB](b)(store.Open(ctx, dir, store.Options{}))
		defer db.Close()
		// It tells more than a reading: what a list shows beside it, too.
		more := must[*sql.Stmt](b)(pool.Prepare(`SELECT tag, ` + sub("reading") + `, ` + sub("titration") + `, ` + sub("stage") + `, (SELECT total(ml) FROM flow WHERE flow.jar = tag) FROM jar WHERE live = 1`))
		for b.Loop() {
			ratio(b, "of-a-correlated-subquery", func() { all(ours) }, func() { all(plain) })
			ratio(b, "of-subqueries-for-all-it-shows", func() { all(ours) }, func() { all(more) })
			ratio(b, "of-the-whole-shelf's", func() { must[[]store.ShelfJar](b)(db.Standing(ctx)) }, func() { must[[]store.ShelfJar](b)(db.Shelf(ctx, false)) })
		}
	})
	must[sql.Result](b)(pool.Exec(`DROP INDEX plain_time`))

	b.Run("start", func(b *testing.B) {
		empty := b.TempDir()
		open := func(dir string) func() {
			return func() {
				for range 10 {
					db := must[*store.DB](b)(store.Open(ctx, dir, store.Options{}))
					must[larder.Today](b)(db.Today(ctx, time.Now()))
					if err := db.Close(); err != nil {
						b.Fatal(err)
					}
				}
			}
		}
		small := bulk.Size{Entries: 1000, Jars: 10, Live: 10}
		must[[]larder.Tag](b)(bulk.Fill(ctx, empty, small, time.Now()))
		for b.Loop() {
			ratio(b, "of-a-small-kitchen's", open(dir), open(empty))
		}
	})
}
