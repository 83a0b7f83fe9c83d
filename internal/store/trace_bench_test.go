package store

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// bulkRows writes the rows of a graph of jars and bottles through SQL, since the
// acts themselves would take minutes.
type bulkRows struct {
	t      testing.TB
	tx     *sql.Tx
	random *rand.Rand
	key    []byte // of the one act that all rows are of
	seq    int
	issued map[larder.Tag]bool
}

// bulkKitchen lets fill write into a new kitchen, in one transaction.
func bulkKitchen(t testing.TB, fill func(b *bulkRows, now time.Time)) *DB {
	t.Helper()
	db, c := kitchen(t)
	tx, err := db.write.BeginTx(ctx, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	b := &bulkRows{t: t, tx: tx, random: rand.New(rand.NewPCG(1, 2)), key: make([]byte, 16), issued: map[larder.Tag]bool{}}
	b.run(`INSERT INTO act (key, kind, fingerprint, ref, by, recorded_ms) VALUES (?, 'bulk', x'00', '', '', 0)`, b.key)
	fill(b, c.now)
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	return db
}

func (b *bulkRows) run(query string, args ...any) {
	if _, err := b.tx.ExecContext(ctx, query, args...); err != nil {
		b.t.Fatalf("%s: %v", query, err)
	}
}

func (b *bulkRows) entry(jar larder.Tag, ms int64, kind, body string) int {
	b.seq++
	b.run(`INSERT INTO entry (seq, id, act, jar, happened_ms, precision, spread_days, recorded_ms, by, note, kind, body) VALUES (?, ?, ?, ?, ?, 'exact', 0, ?, '', '', ?, ?)`,
		b.seq, fmt.Appendf(nil, "%016d", b.seq), b.key, jar, ms, ms, kind, body)
	return b.seq
}

func (b *bulkRows) flow(entry int, kind larder.FlowKind, jar larder.Tag, ms int64, ml float64) {
	b.run(`INSERT INTO flow (entry, kind, jar, happened_ms, ml) VALUES (?, ?, ?, ?, ?)`, entry, kind, jar, ms, ml)
}

func (b *bulkRows) pour(from, to larder.Tag, ms int64, what larder.TransferKind, ml float64) {
	out := b.entry(from, ms, "transfer", fmt.Sprintf(`{"what":"gave","to":%q,"volume_ml":%g}`, to, ml))
	b.flow(out, larder.FlowToJar, from, ms, -ml)
	in := b.entry(to, ms, "transfer", fmt.Sprintf(`{"what":%q,"feed":{"from":"jar","jar":%q,"volume_ml":%g}}`, what, from, ml))
	b.flow(in, larder.FlowFromJar, to, ms, ml)
	b.run(`INSERT INTO edge (entry, what, from_jar, from_name, to_jar, volume_ml, mother, happened_ms, early_ms, late_ms) VALUES (?, ?, ?, '', ?, ?, 1, ?, ?, ?)`,
		in, what, from, to, ml, ms, ms, ms)
}

func (b *bulkRows) batch(id int, name string, ms int64) {
	b.run(`INSERT INTO batch (id, name, base, ingredients, happened_ms, precision, spread_days, target_g_per_100ml, jar_outer_diameter_mm, note, by, recorded_ms)
		VALUES (?, ?, 'juice', ?, ?, 'exact', 0, 5, 0, '', '', ?)`, id, name, fmt.Sprintf(`[{"name":"apple juice","amount":{"value":%[1]d,"unit":"L","volume_ml":%[1]d000}}]`, 12+id%7), ms, ms)
	b.run(`INSERT INTO recipe (name, batch_id) VALUES ('apple juice', ?)`, id)
}

func (b *bulkRows) tag(draw func() (larder.Tag, error), kind string, ms int64) larder.Tag {
	for {
		tag, err := draw()
		if err != nil {
			b.t.Fatal(err)
		}
		if b.issued[tag] {
			continue
		}
		b.issued[tag] = true
		b.run(`INSERT INTO tag (tag, kind, issued_ms) VALUES (?, ?, ?)`, tag, kind, ms)
		return tag
	}
}

// jar is a finished jar with 0.5 L left, as if its log said so.
func (b *bulkRows) jar(batch, i int, ms int64) larder.Tag {
	tag := b.tag(func() (larder.Tag, error) { return larder.NewJarTag(larder.MaxJarTag) }, "jar", ms)
	at := larder.ExactAt(time.UnixMilli(ms).UTC())
	state := larder.State{Stage: larder.Finished, StageSince: at, StartedAt: at, VolumeML: ml(500), PH: &larder.Measured[chem.PH]{Value: 3.1, When: at},
		Acidity: &larder.Acidity{GPer100ML: 5.2, ExpandedUGPer100ML: 0.3, Replicates: 2, Basis: larder.ByTitration, When: at}}
	text, err := json.Marshal(state)
	if err != nil {
		b.t.Fatal(err)
	}
	b.run(`INSERT INTO jar (tag, batch_id, letter, size_ml, place, live, state, listed) VALUES (?, ?, ?, 5000, '', 1, ?, ?)`, tag, batch, larder.JarLetter(i), string(text), state.ListedText())
	b.flow(b.entry(tag, ms, "stage", `{"to":"must","volume_ml":3000}`), larder.FlowMade, tag, ms, 3000)
	return tag
}

// lot bottles 2.5 L of each jar together and gives every second bottle to one of
// two hundred houses.
func (b *bulkRows) lot(id string, jars []larder.Tag, bottles int, ms int64) (first larder.Tag) {
	lot := larder.Lot{ID: id, Name: "cider vinegar", When: larder.ExactAt(time.UnixMilli(ms).UTC()), Runs: []larder.Run{{Count: bottles, SizeML: 250}}}
	body, err := json.Marshal(lot)
	if err != nil {
		b.t.Fatal(err)
	}
	b.run(`INSERT INTO lot (id, act, name, happened_ms, body) VALUES (?, ?, ?, ?, ?)`, id, b.key, lot.Name, ms, string(body))
	for _, jar := range jars {
		out := b.entry(jar, ms, "transfer", fmt.Sprintf(`{"what":"bottled","lot":%q,"volume_ml":2500}`, id))
		b.flow(out, larder.FlowBottled, jar, ms, -2500)
		b.run(`INSERT INTO edge (entry, what, from_jar, from_name, to_lot, volume_ml, mother, happened_ms, early_ms, late_ms) VALUES (?, 'bottled', ?, '', ?, 2500, 0, ?, ?, ?)`,
			out, jar, id, ms, ms, ms)
	}
	for n := range bottles {
		bottle := b.tag(larder.NewBottleTag, "bottle", ms)
		if n == 0 {
			first = bottle
		}
		b.run(`INSERT INTO bottle (tag, lot, number, size_ml) VALUES (?, ?, ?, 250)`, bottle, id, n+1)
		if n%2 == 0 {
			b.run(`INSERT INTO gift (bottle, lot, act, to_whom, happened_ms, precision, spread_days, note, by, recorded_ms) VALUES (?, ?, ?, ?, ?, 'day', 0, '', '', ?)`,
				bottle, id, b.key, fmt.Sprintf("house %d", b.random.IntN(200)), ms+1000, ms+1000)
		}
	}
	return first
}

// bigKitchen is a kitchen at its worst: batches of five jars started with mother
// from earlier jars, one perpetual crock that is fed from many and drawn from for
// many, and a lot of each batch, half of it given. Every jar descends from the first
// one, the crock.
func bigKitchen(t testing.TB, jars, bottles int) (*DB, larder.Tag) {
	t.Helper()
	tags := make([]larder.Tag, jars)
	db := bulkKitchen(t, func(b *bulkRows, now time.Time) {
		begin := now.AddDate(-10, 0, 0).UnixMilli()
		step := (now.UnixMilli() - begin) / int64(jars+1)
		for i := range tags {
			batch, ms := i/5+1, begin+int64(i)*step
			if i%5 == 0 {
				b.batch(batch, fmt.Sprintf("batch %d", batch), ms)
			}
			tags[i] = b.jar(batch, i%5, ms)
			if i > 0 {
				from := tags[0] // the crock, a third of the time
				if b.random.IntN(3) > 0 {
					from = tags[max(0, i-1-b.random.IntN(50))]
				}
				b.pour(from, tags[i], ms+1000, larder.StarterIn, 100)
				if i%3 == 0 { // and back into the crock, its own descendant
					b.pour(tags[i], tags[0], ms+2000, larder.TopUp, 100)
				}
			}
			if i%5 == 4 {
				b.lot(fmt.Sprintf("L%06d", i), tags[i-4:i+1], 5*(bottles/jars), ms+3000)
			}
		}
	})
	return db, tags[0]
}

// One line of mothers of linesKitchen, the oldest batch first.
type motherLine struct {
	jars    [][]larder.Tag // of each batch
	lots    []string
	bottles []larder.Tag // one of each lot
}

const (
	motherLines  = 50
	generations  = 40 // in ten years: about one in a quarter of a year
	jarsOfALine  = 5  // in each batch
	bottlesOfLot = 50
)

// linesKitchen is a kitchen of 10,000 jars and 100,000 bottles with lineages as a
// kitchen has them. The shape is invented: fifty lines of mothers over ten years, a
// new batch of five jars about once in a quarter of a year, all of them started with
// mother from one jar of that line's batch before; fifty bottles from each batch,
// half of them given. No crock joins the lines.
func linesKitchen(t testing.TB) (*DB, []motherLine) {
	t.Helper()
	lines := make([]motherLine, motherLines)
	db := bulkKitchen(t, func(b *bulkRows, now time.Time) {
		begin := now.AddDate(-10, 0, 0).UnixMilli()
		step := (now.UnixMilli() - begin) / (motherLines*generations + 1)
		for g := range generations {
			for l := range lines {
				line, n := &lines[l], g*motherLines+l
				ms := begin + int64(n)*step
				b.batch(n+1, fmt.Sprintf("batch %d", n+1), ms)
				var jars []larder.Tag
				for i := range jarsOfALine {
					jars = append(jars, b.jar(n+1, i, ms))
				}
				if g > 0 {
					from := line.jars[g-1][b.random.IntN(jarsOfALine)]
					for _, jar := range jars {
						b.pour(from, jar, ms+1000, larder.StarterIn, 100)
					}
				}
				id := fmt.Sprintf("L%06d", n)
				line.jars, line.lots = append(line.jars, jars), append(line.lots, id)
				line.bottles = append(line.bottles, b.lot(id, jars, bottlesOfLot, ms+3000))
			}
		}
	})
	return db, lines
}

// inLookups runs a trace and a hundred look-ups of one row by its key, each of another
// row, by turns. It reports the median of their ratios, and the ratio of the fastest of
// both, which other work on the machine disturbed least. Each thing that a trace tells
// is looked at, and each bottle that it only counts; so the median is told for each of
// these, too.
func inLookups(b *testing.B, db *DB, tags []larder.Tag, trace func() larder.Trace) {
	const lookups, fewest, most = 100, 5, 1001
	var ratios []float64
	var told larder.Trace
	asked := 0
	best, bestOf := time.Hour, time.Hour
	measure := func() {
		begun := time.Now()
		told = trace()
		took := time.Since(begun)
		begun = time.Now()
		for range lookups {
			var kind string
			asked++
			if err := db.read.QueryRow(`SELECT kind FROM tag WHERE tag = ?`, tags[asked%len(tags)]).Scan(&kind); err != nil {
				b.Fatal(err)
			}
		}
		all := time.Since(begun)
		ratios = append(ratios, float64(took)/float64(all)*lookups)
		best, bestOf = min(best, took), min(bestOf, all)
	}
	for b.Loop() {
		measure()
	}
	for begun := time.Now(); len(ratios) < fewest || (len(ratios) < most && time.Since(begun) < time.Second); {
		measure()
	}
	slices.Sort(ratios)
	median := ratios[len(ratios)/2]
	things := len(told.Jars) + len(told.Back) + len(told.Forward) + len(told.Lots) + len(told.Bottles) + told.UnlistedBottles
	b.ReportMetric(median, "lookups")
	b.ReportMetric(float64(best)/float64(bestOf)*lookups, "lookups-undisturbed")
	b.ReportMetric(float64(things), "things")
	b.ReportMetric(median/float64(things), "lookups/thing")
	b.ReportMetric(0, "ns/op") // with the look-ups, and the machine's
}

// pageBottles is how many bottles are listed for a page; more are only counted.
const pageBottles = 500

// BenchmarkTraceLines asks a kitchen of 10,000 jars and 100,000 bottles what a maker
// asks: this bottle, where is it from, and what else is? In look-ups of one row,
// measured in the same run.
func BenchmarkTraceLines(b *testing.B) {
	db, lines := linesKitchen(b)
	line := lines[len(lines)/2]
	var tags []larder.Tag
	for g := range generations {
		for _, l := range lines {
			tags = append(tags, l.jars[g]...)
		}
	}
	// motherOf is the jar that the line goes on from, where it does.
	motherOf := func(g int) larder.Tag {
		if g+1 == generations {
			return line.jars[g][0]
		}
		tr := trace(b, db, larder.SubjectJar, string(line.jars[g+1][0]))
		return tr.Back[0].FromJar
	}
	for _, at := range []struct {
		where string
		g     int
	}{{"the end", generations - 1}, {"the middle", generations / 2}, {"the beginning", 0}} {
		mother := motherOf(at.g)
		for _, c := range []struct {
			larder.Subject
			back, forward int // steps
		}{
			{larder.Subject{Kind: larder.SubjectBottle, ID: string(line.bottles[at.g])}, jarsOfALine * min(at.g+1, 2), 0},
			{larder.Subject{Kind: larder.SubjectLot, ID: line.lots[at.g]}, jarsOfALine * min(at.g+1, 2), 0},
			{larder.Subject{Kind: larder.SubjectJar, ID: string(mother)}, min(at.g, 1), 1},
		} {
			if at.g > 0 {
				c.back += at.g - 1
			}
			if c.Kind == larder.SubjectJar {
				c.forward += 2 * jarsOfALine * (generations - 1 - at.g) // a pouring and a bottling of each
			}
			b.Run(string(c.Kind)+" of "+at.where, func(b *testing.B) {
				inLookups(b, db, tags, func() larder.Trace {
					t, err := db.TraceUpTo(ctx, c.Subject, pageBottles)
					if err != nil || len(t.Back) != c.back || len(t.Forward) != c.forward {
						b.Fatalf("%d steps back, not %d, %d forward, not %d, %v", len(t.Back), c.back, len(t.Forward), c.forward, err)
					}
					return t
				})
			})
		}
	}
	b.Run("bottle of the end, with a hold on another line", func(b *testing.B) {
		for _, tag := range lines[0].jars[generations/2] {
			if _, err := db.write.Exec(`UPDATE jar SET hold = 'mould' WHERE tag = ?`, tag); err != nil {
				b.Fatal(err)
			}
		}
		inLookups(b, db, tags, func() larder.Trace {
			t, err := db.TraceUpTo(ctx, larder.Subject{Kind: larder.SubjectBottle, ID: string(line.bottles[generations-1])}, pageBottles)
			if err != nil || len(t.Held) > 0 {
				b.Fatalf("held by %v, %v", t.Held, err)
			}
			return t
		})
	})
}

// BenchmarkTrace walks as many at their worst, where each thing that is told, half of
// the kitchen or all of it, costs a look: from the first jar, which all descend from;
// back from the last; from one that few descend from; and the question that every
// bottling asks while some jar is on hold.
func BenchmarkTrace(b *testing.B) {
	const jars, bottles = 10_000, 100_000
	db, first := bigKitchen(b, jars, bottles)
	rows, err := db.read.Query(`SELECT jar FROM entry WHERE kind = 'stage' ORDER BY seq`)
	if err != nil {
		b.Fatal(err)
	}
	tags, err := collect(rows, func(r *sql.Rows) (tag larder.Tag, err error) { return tag, r.Scan(&tag) })
	if err != nil {
		b.Fatal(err)
	}
	last := tags[len(tags)-1]
	for _, c := range []struct {
		name    string
		subject larder.Subject
		listed  int
		whole   func(larder.Trace) bool
	}{
		{"forward from the first jar", larder.Subject{Kind: larder.SubjectJar, ID: string(first)}, pageBottles, func(t larder.Trace) bool { return len(t.Jars) == jars && t.UnlistedBottles == bottles }},
		{"with every bottle", larder.Subject{Kind: larder.SubjectJar, ID: string(first)}, bottles, func(t larder.Trace) bool { return len(t.Jars) == jars && len(t.Bottles) == bottles }},
		{"back from the last jar", larder.Subject{Kind: larder.SubjectJar, ID: string(last)}, pageBottles, func(t larder.Trace) bool { return len(t.Back) > jars/2 && len(t.Lots) == 1 }},
		{"an ingredient of all", larder.Subject{Kind: larder.SubjectNamed, ID: "apple juice"}, pageBottles, func(t larder.Trace) bool { return len(t.Jars) == jars }},
	} {
		b.Run(c.name, func(b *testing.B) {
			inLookups(b, db, tags, func() larder.Trace {
				t, err := db.TraceUpTo(ctx, c.subject, c.listed)
				if err != nil || !c.whole(t) {
					b.Fatalf("%d jars, %d bottles, %d lots, %d steps back, %v", len(t.Jars), len(t.Bottles)+t.UnlistedBottles, len(t.Lots), len(t.Back), err)
				}
				return t
			})
		})
	}
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
		"a step back": intoJarsSQL, "steps ahead": aheadSQL, "a step back from a lot": intoLotSQL, "a step forward": outOfJarsSQL, "where a name went": ofNameSQL,
		"jars": jarsSQL, "recipes": recipesSQL, "names of batches": namesSQL, "lots": lotsSQL, "counts": countSQL, "counts by size": mixedSQL, "bottles": bottlesSQL, "gifts": givenToSQL, "flows": flowsSQL, "jars on hold": onHoldSQL, "mould": mouldSQL,
	} {
		plan := planOf(t, db, query)
		for _, line := range strings.Split(plan, "\n") {
			table := strings.Fields(strings.TrimPrefix(line, "SCAN ") + " -")[0]
			if strings.HasPrefix(line, "SCAN") && !slices.Contains([]string{"s", "j", "b", "l", "json_each", "way"}, table) && !strings.Contains(line, "jar_hold") {
				t.Errorf("%s reads a whole table:\n%s", name, plan)
				break
			}
			if strings.Contains(line, "AUTOMATIC") {
				t.Errorf("%s builds an index of its own:\n%s", name, plan)
				break
			}
		}
		if index, times := map[string]string{"a step back": "edge_in", "steps ahead": "edge_in", "a step forward": "edge_out", "where a name went": "edge_name"}[name], 1+strings.Count(name, "ahead"); strings.Count(plan, index) < times {
			t.Errorf("%s does not search %s at each step:\n%s", name, index, plan)
		}
		t.Logf("%s\n%s", name, plan)
	}
}
