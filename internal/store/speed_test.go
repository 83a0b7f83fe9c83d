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
// pragmas: both are on disk when they return. Since a logged reading is more rows than
// one, all that it writes is compared with that INSERT, too, written by the C library
// and by the driver that the store stands on, with nothing read or reckoned: no store
// on that driver could be nearer.
func BenchmarkSpeedDurable(b *testing.B) {
	if cDriver == "" {
		needed.Missing(b, "the C library needs cgo")
	}
	db, tag := started(b, b.TempDir())
	bare := bareIn(b, cDriver, "_journal_mode=WAL&_synchronous=FULL&_foreign_keys=ON&_busy_timeout=10000")
	inGo := bareIn(b, "sqlite", "_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=foreign_keys(ON)&_pragma=busy_timeout(10000)")
	const each = 40
	insert := func() {
		for range each {
			bare.one()
		}
	}
	for b.Loop() {
		bare.know(3 * rounds * each)
		ratio(b, "of-a-bare-INSERT-in-C", func() {
			for range each {
				must[store.Saved](b)(db.Append(ctx, newAct(), tag, reading()))
			}
		}, insert)
		for name, rows := range map[string]*bareRows{"its-rows-in-C/bare": bare, "its-rows-in-Go/bare": inGo} {
			ratio(b, name, func() {
				for range each {
					rows.all()
				}
			}, insert)
		}
	}
}

// bareRows writes into a kitchen of its own what a logged reading does, by a driver
// alone.
type bareRows struct {
	b     *testing.B
	jar   larder.Tag
	known []uuid.UUID // acts that an entry may refer to
	run   func(query string, args ...any)
}

func bareIn(b *testing.B, driver, pragmas string) *bareRows {
	b.Helper()
	dir := b.TempDir()
	_, tag := started(b, dir)
	pool := must[*sql.DB](b)(sql.Open(driver, "file:"+filepath.Join(dir, store.FileName)+"?"+pragmas))
	b.Cleanup(func() { pool.Close() })
	conn := must[*sql.Conn](b)(pool.Conn(ctx))
	b.Cleanup(func() { conn.Close() })
	prepared := map[string]*sql.Stmt{}
	return &bareRows{b, tag, nil, func(query string, args ...any) {
		if prepared[query] == nil {
			prepared[query] = must[*sql.Stmt](b)(conn.PrepareContext(ctx, query))
		}
		must[sql.Result](b)(prepared[query].Exec(args...))
	}}
}

// know writes n acts at once.
func (r *bareRows) know(n int) {
	r.run("BEGIN")
	for range n {
		id := uuid.Must(uuid.NewV7())
		r.known = append(r.known, id)
		r.act(id)
	}
	r.run("COMMIT")
}

func (r *bareRows) act(id uuid.UUID) {
	const print = `x'000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f'`
	r.run(`INSERT INTO act (key, kind, fingerprint, ref, by, recorded_ms) VALUES (?, 'entry', `+print+`, ?, 'ro', ?)`, id[:], id.String(), time.Now().UnixMilli())
}

func (r *bareRows) entry(id uuid.UUID) {
	now := time.Now().UnixMilli()
	r.run(`INSERT INTO entry (id, act, jar, happened_ms, precision, spread_days, recorded_ms, by, note, kind, body) VALUES (?, ?, ?, ?, 'exact', 0, ?, 'ro', '', 'reading', '{"ph":3.31,"temp_c":21,"instrument":"bench meter","ph_mark":"the meter was never calibrated"}')`,
		id[:], id[:], r.jar, now, now)
}

// one writes the entry alone, of an act that is known.
func (r *bareRows) one() {
	r.entry(r.known[0])
	r.known = r.known[1:]
}

// all writes the act, its entry and the jar's state in one transaction.
func (r *bareRows) all() {
	id := uuid.Must(uuid.NewV7())
	r.run("BEGIN IMMEDIATE")
	r.act(id)
	r.entry(id)
	state := larder.State{Stage: larder.Must, PH: &larder.Measured[chem.PH]{Value: 3.31, When: larder.ExactAt(time.Now()), Entry: id}}
	r.run(`UPDATE jar SET state = json_set(state, '$.ph', json(?)), listed = ? WHERE tag = ?`, `{"value":3.31,"entry":"`+id.String()+`"}`, state.ListedText(), r.jar)
	r.run("COMMIT")
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
