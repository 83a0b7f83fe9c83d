package store

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"cruet/internal/larder"
)

// bigKitchen fills a kitchen with a graph of jars and bottles, through SQL since
// the acts themselves would take minutes: batches of five jars started with
// mother from earlier jars, one perpetual crock that is fed from many and drawn
// from for many, and lots of fifty bottles, half of them given. Every jar
// descends from the first one.
func bigKitchen(t testing.TB, jars, bottles int) (*DB, larder.Tag) {
	t.Helper()
	db, c := kitchen(t)
	tx, err := db.write.BeginTx(ctx, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	run := func(query string, args ...any) {
		if _, err := tx.ExecContext(ctx, query, args...); err != nil {
			t.Fatalf("%s: %v", query, err)
		}
	}
	random := rand.New(rand.NewPCG(1, 2))
	key := make([]byte, 16)
	run(`INSERT INTO act (key, kind, fingerprint, ref, by, recorded_ms) VALUES (?, 'bulk', x'00', '', '', 0)`, key)
	tags := make([]larder.Tag, jars)
	seen := map[larder.Tag]bool{}
	begin := c.now.AddDate(-10, 0, 0).UnixMilli()
	step := (c.now.UnixMilli() - begin) / int64(jars+1)
	seq := 0
	entry := func(jar larder.Tag, ms int64, kind, body string) int {
		seq++
		id := fmt.Appendf(nil, "%016d", seq)
		run(`INSERT INTO entry (seq, id, act, jar, happened_ms, precision, spread_days, recorded_ms, by, note, kind, body) VALUES (?, ?, ?, ?, ?, 'exact', 0, ?, '', '', ?, ?)`,
			seq, id, key, jar, ms, ms, kind, body)
		return seq
	}
	flow := func(entry int, kind larder.FlowKind, jar larder.Tag, ms int64, ml float64) {
		run(`INSERT INTO flow (entry, kind, jar, happened_ms, ml) VALUES (?, ?, ?, ?, ?)`, entry, kind, jar, ms, ml)
	}
	pour := func(from, to larder.Tag, ms int64, what larder.TransferKind, ml float64) {
		out := entry(from, ms, "transfer", fmt.Sprintf(`{"what":"gave","to":%q,"volume_ml":%g}`, to, ml))
		flow(out, larder.FlowToJar, from, ms, -ml)
		in := entry(to, ms, "transfer", fmt.Sprintf(`{"what":%q,"feed":{"from":"jar","jar":%q,"volume_ml":%g}}`, what, from, ml))
		flow(in, larder.FlowFromJar, to, ms, ml)
		run(`INSERT INTO edge (entry, what, from_jar, from_name, to_jar, volume_ml, mother, happened_ms, early_ms, late_ms) VALUES (?, ?, ?, '', ?, ?, 1, ?, ?, ?)`,
			in, what, from, to, ml, ms, ms, ms)
	}
	perJar := bottles / jars
	for i := range tags {
		for {
			if tags[i], err = larder.NewJarTag(larder.MaxJarTag); err != nil {
				t.Fatal(err)
			}
			if !seen[tags[i]] {
				seen[tags[i]] = true
				break
			}
		}
		tag, ms := tags[i], begin+int64(i)*step
		if i%5 == 0 {
			run(`INSERT INTO batch (id, name, base, ingredients, happened_ms, precision, spread_days, target_g_per_100ml, jar_outer_diameter_mm, note, by, recorded_ms)
				VALUES (?, ?, 'juice', '[{"name":"apple juice","amount":{"value":15,"unit":"L","volume_ml":15000}}]', ?, 'exact', 0, 5, 0, '', '', ?)`, i/5+1, fmt.Sprintf("batch %d", i/5+1), ms, ms)
			run(`INSERT INTO recipe (name, batch_id) VALUES ('apple juice', ?)`, i/5+1)
		}
		run(`INSERT INTO tag (tag, kind, issued_ms) VALUES (?, 'jar', ?)`, tag, ms)
		run(`INSERT INTO jar (tag, batch_id, letter, size_ml, place, live, state) VALUES (?, ?, ?, 5000, '', 1, '{"stage":"finished","volume_ml":500}')`, tag, i/5+1, larder.JarLetter(i%5))
		first := entry(tag, ms, "stage", `{"to":"must","volume_ml":3000}`)
		flow(first, larder.FlowMade, tag, ms, 3000)
		if i > 0 {
			from := tags[0] // the crock, a third of the time
			if random.IntN(3) > 0 {
				from = tags[max(0, i-1-random.IntN(50))]
			}
			pour(from, tag, ms+1000, larder.StarterIn, 100)
			if i%3 == 0 { // and back into the crock, its own descendant
				pour(tag, tags[0], ms+2000, larder.TopUp, 100)
			}
		}
		if i%5 == 4 {
			lot := fmt.Sprintf("L%06d", i)
			run(`INSERT INTO lot (id, act, name, happened_ms, body) VALUES (?, ?, 'cider vinegar', ?, ?)`, lot, key, ms+3000, fmt.Sprintf(`{"id":%q,"when":{"precision":"exact"},"runs":[{"count":%d,"size_ml":250}]}`, lot, 5*perJar))
			for k := range 5 {
				jar := tags[i-k]
				out := entry(jar, ms+3000, "transfer", fmt.Sprintf(`{"what":"bottled","lot":%q,"volume_ml":2500}`, lot))
				flow(out, larder.FlowBottled, jar, ms+3000, -2500)
				run(`INSERT INTO edge (entry, what, from_jar, from_name, to_lot, volume_ml, mother, happened_ms, early_ms, late_ms) VALUES (?, 'bottled', ?, '', ?, 2500, 0, ?, ?, ?)`,
					out, jar, lot, ms+3000, ms+3000, ms+3000)
			}
			for n := range 5 * perJar {
				bottle, err := larder.NewBottleTag()
				if err != nil {
					t.Fatal(err)
				}
				run(`INSERT INTO tag (tag, kind, issued_ms) VALUES (?, 'bottle', ?)`, bottle, ms)
				run(`INSERT INTO bottle (tag, lot, number, size_ml) VALUES (?, ?, ?, 250)`, bottle, lot, n+1)
				if n%2 == 0 {
					run(`INSERT INTO gift (bottle, lot, act, to_whom, happened_ms, precision, spread_days, note, by, recorded_ms) VALUES (?, ?, ?, ?, ?, 'day', 0, '', '', ?)`,
						bottle, lot, key, fmt.Sprintf("house %d", random.IntN(200)), ms+4000, ms+4000)
				}
			}
		}
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	return db, tags[0]
}

// BenchmarkTrace walks 10,000 jars and 100,000 bottles: from the first jar,
// which all descend from; back from the last; from one that few descend from;
// and the question that every bottling asks while some jar is on hold. The ratio
// is to looking up one row by its key, in the same run.
func BenchmarkTrace(b *testing.B) {
	const jars, bottles = 10_000, 100_000
	db, first := bigKitchen(b, jars, bottles)
	var last larder.Tag
	if err := db.read.QueryRow(`SELECT jar FROM entry WHERE kind = 'stage' ORDER BY seq DESC LIMIT 1`).Scan(&last); err != nil {
		b.Fatal(err)
	}
	const lookups = 2000
	begun := time.Now()
	for range lookups {
		var kind string
		if err := db.read.QueryRow(`SELECT kind FROM tag WHERE tag = ?`, last).Scan(&kind); err != nil {
			b.Fatal(err)
		}
	}
	lookup := float64(time.Since(begun).Nanoseconds()) / lookups
	// A trace looks up each thing that it tells, and counts each bottle that it does
	// not list; so its ratio is told for each of these, too.
	ratio := func(b *testing.B, t larder.Trace) {
		all := float64(b.Elapsed().Nanoseconds()) / float64(b.N) / lookup
		b.ReportMetric(all, "lookups")
		b.ReportMetric(all/float64(len(t.Jars)+len(t.Back)+len(t.Forward)+len(t.Lots)+len(t.Bottles)+t.UnlistedBottles), "lookups/thing")
	}
	for _, c := range []struct {
		name   string
		listed int
	}{{"forward from the first jar", 1000}, {"with every bottle", bottles}} {
		b.Run(c.name, func(b *testing.B) {
			var t larder.Trace
			var err error
			for b.Loop() {
				t, err = db.TraceUpTo(ctx, larder.Subject{Kind: larder.SubjectJar, ID: string(first)}, c.listed)
				if err != nil || len(t.Jars) != jars || len(t.Bottles)+t.UnlistedBottles != bottles {
					b.Fatalf("%d jars, %d bottles, %v", len(t.Jars), len(t.Bottles), err)
				}
			}
			ratio(b, t)
		})
	}
	b.Run("forward from a late jar", func(b *testing.B) {
		var t larder.Trace
		var err error
		for b.Loop() {
			t, err = db.TraceUpTo(ctx, larder.Subject{Kind: larder.SubjectJar, ID: string(last)}, 0)
			if err != nil || len(t.Lots) != 1 {
				b.Fatalf("%d lots, %v", len(t.Lots), err)
			}
		}
		ratio(b, t)
	})
	b.Run("back from the last jar", func(b *testing.B) {
		var t larder.Trace
		var err error
		for b.Loop() {
			t, err = db.Trace(ctx, larder.Subject{Kind: larder.SubjectJar, ID: string(last)})
			if err != nil || len(t.Back) < jars/2 {
				b.Fatalf("%d steps back, %v", len(t.Back), err)
			}
		}
		ratio(b, t)
	})
	b.Run("an ingredient of all", func(b *testing.B) {
		for b.Loop() {
			t, err := db.Trace(ctx, larder.Subject{Kind: larder.SubjectNamed, ID: "apple juice"})
			if err != nil || len(t.Jars) != jars {
				b.Fatalf("%d jars, %v", len(t.Jars), err)
			}
		}
	})
	b.Run("holds behind the last jar", func(b *testing.B) {
		if _, err := db.write.Exec(`UPDATE jar SET hold = 'mould' WHERE tag = ?`, first); err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
			held, err := db.HeldAncestors(ctx, last)
			if err != nil || len(held) != 1 {
				b.Fatalf("%v, %v", held, err)
			}
		}
	})
}

// Every step of a walk, of either direction, is a search by an index: no table is
// read whole, whatever its size.
func TestTraceUsesIndexes(t *testing.T) {
	db, _ := bigKitchen(t, 50, 100)
	for name, query := range map[string]string{
		"back from a jar":    fmt.Sprintf(backSQL, intoJarSQL) + stepSQL,
		"back from a lot":    fmt.Sprintf(backSQL, intoLotSQL) + stepSQL,
		"forward from a jar": fmt.Sprintf(forwardSQL, outOfJarSQL) + stepSQL,
		"holds behind a jar": fmt.Sprintf(backSQL, intoJarSQL) + heldSQL,
		"is anything held":   `SELECT EXISTS (SELECT 1 FROM jar WHERE hold <> '')`,
	} {
		plan := planOf(t, db, query)
		for _, line := range strings.Split(plan, "\n") {
			table := strings.Fields(strings.TrimPrefix(line, "SCAN ") + " -")[0]
			if strings.HasPrefix(line, "SCAN") && !strings.Contains("begin walk j json_each CONSTANT", table) && !strings.Contains(line, "jar_hold") {
				t.Errorf("%s reads a whole table:\n%s", name, plan)
				break
			}
			if strings.Contains(line, "AUTOMATIC") {
				t.Errorf("%s builds an index of its own:\n%s", name, plan)
				break
			}
		}
		for _, index := range map[string][]string{"back from a jar": {"edge_in"}, "forward from a jar": {"edge_out"}}[name] {
			if strings.Count(plan, index) < 3 {
				t.Errorf("%s does not search %s at each step:\n%s", name, index, plan)
			}
		}
	}
}
