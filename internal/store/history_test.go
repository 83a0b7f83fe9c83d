package store

import (
	"database/sql"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"cruet/internal/larder"
)

// Pages of any length join to the whole history, newest first, although many
// entries bear one time and others are logged in between.
func TestHistoryPages(t *testing.T) {
	db, clock := kitchen(t)
	n := damson()
	n.When = clock.daysAgo(60)
	tag := start(t, db, n).Jars[0].Tag
	for i := range 23 {
		e := ph(3 + float64(i)/100)
		e.When = clock.daysAgo(i % 4)
		add(t, db, tag, e)
	}
	whole := history(t, db, tag)
	if len(whole.Entries) != 24 || whole.Older != nil {
		t.Fatalf("%d entries, older %v", len(whole.Entries), whole.Older)
	}
	newestFirst := func(a, b larder.Entry) int {
		if c := b.When.At.Compare(a.When.At); c != 0 {
			return c
		}
		return int(b.Seq - a.Seq)
	}
	if !slices.IsSortedFunc(whole.Entries, newestFirst) {
		t.Error("the history is not in order, the newest first")
	}
	for limit := range 26 {
		var joined []larder.Entry
		from := Cursor{}
		for pages := 0; ; pages++ {
			p, err := db.History(ctx, tag, from, limit)
			if err != nil || pages > 30 {
				t.Fatalf("page %d of %d: %v", pages, limit, err)
			}
			if len(p.Entries) == 0 || len(p.Entries) > max(1, limit) {
				t.Fatalf("page %d of %d has %d entries", pages, limit, len(p.Entries))
			}
			joined = append(joined, p.Entries...)
			if p.Older == nil {
				break
			}
			from = *p.Older
		}
		if !reflect.DeepEqual(joined, whole.Entries) {
			t.Errorf("pages of %d do not join to the whole history", limit)
		}
	}
	first, err := db.History(ctx, tag, Cursor{}, 10)
	if err != nil {
		t.Fatal(err)
	}
	clock.pass(time.Hour)
	add(t, db, tag, ph(3.9))
	second, err := db.History(ctx, tag, *first.Older, 100)
	if err != nil || !reflect.DeepEqual(slices.Concat(first.Entries, second.Entries), whole.Entries) {
		t.Errorf("an entry between two pages broke them: %v", err)
	}
}

// No page may read a table from end to end, which would be slow after years.
func TestQueriesUseIndexes(t *testing.T) {
	db, _ := kitchen(t)
	bench := ` WHERE kind = ? AND name = ? ORDER BY happened_ms DESC, seq DESC LIMIT 1`
	for _, query := range []string{
		newestSQL, olderSQL,
		entrySQL + ` WHERE jar = ? ORDER BY seq`,
		entrySQL + ` WHERE id = ?`,
		jarsOfActSQL, entriesOfActSQL, filledSQL, measuredSQL,
		`SELECT kind FROM act WHERE key = ?`,
		edgesAt("from_jar"), edgesAt("to_jar"), edgesAt("to_lot"),
		jarSQL + ofBatchSQL, listedSQL + ofBatchSQL,
		jarSQL + ` WHERE tag = ?`,
		batchSQL + ` WHERE id = ?`,
		bottleSQL + ` WHERE bottle.tag = ?`,
		bottleSQL + ` WHERE bottle.lot = ? ORDER BY number`,
		giftSQL + ` FROM gift WHERE bottle = ? AND back_act IS NOT NULL ORDER BY seq`,
		`SELECT total(ml) FROM flow WHERE jar = ?`,
		`SELECT from_name FROM edge WHERE from_name = ? COLLATE NOCASE AND from_name <> '' AND NOT struck LIMIT 1`,
		`SELECT name FROM recipe WHERE name = ? LIMIT 1`,
		`SELECT id FROM lot WHERE act = ? AND NOT void`,
		`SELECT fingerprint, ref FROM act WHERE key = ?`,
		benchSQL + bench,
	} {
		plan := planOf(t, db, query)
		if strings.Contains(plan, "SCAN") || !strings.Contains(plan, "SEARCH") {
			t.Errorf("%s\nreads a whole table:\n%s", query, plan)
		}
		if (query == newestSQL || query == olderSQL) && (strings.Contains(plan, "TEMP B-TREE") || !strings.Contains(plan, "COVERING INDEX entry_jar")) {
			t.Errorf("%s\nsorts, or looks entries up one by one:\n%s", query, plan)
		}
	}
	// An index of the live jars alone, in the order of the shelf; for lists it holds
	// all that is asked.
	if plan := planOf(t, db, jarSQL+` WHERE live = 1 ORDER BY batch_id DESC, length(letter), letter`); plan != "SCAN jar USING INDEX jar_shelf" {
		t.Errorf("the shelf is read by:\n%s", plan)
	}
	if plan := planOf(t, db, standingSQL); plan != "SCAN jar USING COVERING INDEX jar_shelf" {
		t.Errorf("a list of jars is read by:\n%s", plan)
	}
	// A plan that reads all must be told from one that does not.
	if plan := planOf(t, db, entrySQL+` WHERE note = ?`); !strings.Contains(plan, "SCAN") {
		t.Errorf("a search by note reads:\n%s", plan)
	}
}

func planOf(t *testing.T, db *DB, query string) string {
	t.Helper()
	args := make([]any, strings.Count(query, "?"))
	rows, err := db.read.Query(`EXPLAIN QUERY PLAN `+query, args...)
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	lines, err := collect(rows, func(r *sql.Rows) (string, error) {
		var id, parent, unused int
		var detail string
		err := r.Scan(&id, &parent, &unused, &detail)
		return detail, err
	})
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(lines, "\n")
}

func TestCheckFindsDamage(t *testing.T) {
	for name, row := range map[string]struct{ statement, says string }{
		"a state that was tampered with": {`UPDATE jar SET state = json_set(state, '$.volume_ml', 1) WHERE letter = 'A'`, "state kept for jar"},
		"an entry that was changed":      {`UPDATE entry SET body = json_set(body, '$.volume_ml', 1) WHERE kind = 'stage'`, "state kept for jar"},
		"an entry of no jar":             {`UPDATE entry SET jar = '000000' WHERE seq = 1`, "refer to something that is not there"},
		"a gift of no bottle":            {`INSERT INTO gift SELECT 9, '000000', 'none', key, 'ana', 0, 'day', 0, '', '', 0, NULL, '', '', 0 FROM act LIMIT 1`, "rows of gift refer"},
		"a step of lineage dropped":      {`DELETE FROM edge`, "steps of lineage are kept"},
		"a step of lineage bent":         {`UPDATE edge SET early_ms = 1`, "The lineage kept for entry"},
		"a change of volume bent":        {`UPDATE flow SET ml = ml + 1`, "The change of volume kept for entry"},
		"a change of volume of nothing":  {`INSERT INTO flow SELECT 999, 'made', tag, 0, 1 FROM jar LIMIT 1`, "kept for entry 999"},
		"one side of a pouring":          {`UPDATE entry SET body = json_set(body, '$.volume_ml', 90) WHERE kind = 'transfer' AND body LIKE '%gave%'`, "differ by 10.0 mL"},
		"a hold that nobody put on":      {`UPDATE jar SET hold = 'x' WHERE letter = 'A'`, "hold kept for 1 jars"},
		"a list that shows another":      {`UPDATE jar SET listed = (SELECT listed FROM jar WHERE letter = 'B') WHERE letter = 'A'`, "What lists show of jar"},
		"a jar that left the shelf":      {`UPDATE jar SET live = 0 WHERE letter = 'A'`, "What lists show of jar"},
		"a recipe that cannot be found":  {`DELETE FROM recipe`, "1 lines of recipes"},
		"an index that lies":             {`PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = 'CREATE INDEX entry_act ON entry (jar)' WHERE name = 'entry_act'`, "damaged"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			db := openIn(t, dir, Options{})
			s := start(t, db, damson())
			topUp(t, db, s.Jars[0].Tag, s.Jars[1].Tag, 100)
			sound(t, db)
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			raw(t, dir, `PRAGMA foreign_keys = OFF`, row.statement)
			r, err := openIn(t, dir, Options{}).Check(ctx)
			if err != nil || !strings.Contains(strings.Join(r.Findings, "\n"), row.says) {
				t.Errorf("check finds %q, %v; want %q", r.Findings, err, row.says)
			}
		})
	}
}

// After any acts, refused and replayed ones among them, the stored states are
// those that the logs add up to, and what one jar got another gave: the volumes
// of all jars and bottles together are those that came in from outside.
func TestRandomActs(t *testing.T) {
	done := 0
	rapid.Check(t, func(r *rapid.T) {
		c := newClock()
		db := openIn(t, t.TempDir(), Options{Now: c.Now})
		defer db.Close()
		// Hundreds of kitchens need not outlive a power cut.
		if _, err := db.write.Exec(`PRAGMA synchronous = OFF`); err != nil {
			t.Fatal(err)
		}
		n := damson()
		n.Jars = 3
		var tags []larder.Tag
		for _, j := range start(t, db, n).Jars {
			tags = append(tags, j.Tag)
		}
		var written []larder.Entry
		for range rapid.IntRange(5, 25).Draw(r, "acts") {
			c.pass(time.Hour)
			tag, other := rapid.SampledFrom(tags).Draw(r, "jar"), rapid.SampledFrom(tags).Draw(r, "other")
			volume := ml(float64(rapid.IntRange(1, 1500).Draw(r, "volume_ml")))
			a := act()
			var err error
			switch rapid.IntRange(0, 7).Draw(r, "act") {
			case 0:
				_, err = db.Append(ctx, a, tag, ph(3.3))
			case 1:
				_, err = db.Append(ctx, a, tag, titration())
			case 2, 3:
				var s Saved
				s, err = db.Append(ctx, a, tag, body(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: other, VolumeML: volume}}))
				if err == nil {
					written = append(written, s.Entry)
				}
			case 4:
				moves := larder.MovesFrom(jar(t, db, tag).State.Stage)
				if len(moves) == 0 {
					continue
				}
				to := rapid.SampledFrom(moves[:min(3, len(moves))]).Draw(r, "move").To
				_, err = db.Append(ctx, a, tag, body(larder.StageChange{To: to, Reason: "it went so"}))
			case 5:
				_, err = db.Bottle(ctx, a, larder.NewLot{Pours: []larder.Pour{{Jar: tag}}, Runs: []larder.Run{{Count: 1, SizeML: *volume + 10}}})
			case 6:
				if len(written) == 0 {
					continue
				}
				_, err = db.Strike(ctx, a, rapid.SampledFrom(written).Draw(r, "strike").ID, "wrong jar")
			case 7:
				e := body(larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: volume}})
				if _, err = db.Append(ctx, a, tag, e); err == nil {
					again, err := db.Append(ctx, a, tag, e)
					if err != nil || !again.Replayed {
						r.Fatalf("sent again: %+v, %v", again, err)
					}
				}
			}
			if err == nil {
				done++
			}
		}
		report, err := db.Check(ctx)
		if err != nil || len(report.Findings) > 0 {
			r.Fatalf("check: %v, %v", report.Findings, err)
		}
		if in, out := volumes(t, db, tags); in-out > 1e-6 || out-in > 1e-6 {
			r.Fatalf("%g mL came in, %g mL is there or went out", in, out)
		}
	})
	if done < 100 {
		t.Errorf("only %d acts were accepted in all", done)
	}
}

// volumes are what came into the jars from outside, and what is in them, in
// bottles, or was poured away.
func volumes(t *testing.T, db *DB, tags []larder.Tag) (in, out float64) {
	t.Helper()
	for _, tag := range tags {
		in += 3000
		p := history(t, db, tag)
		for _, e := range p.CameFrom {
			if e.FromJar == "" {
				in += float64(*e.VolumeML)
			}
		}
		for _, e := range p.WentInto {
			if e.ToLot != "" {
				out += float64(*e.VolumeML)
			}
		}
		if s := p.Jar.State; s.Stage.Live() {
			out += float64(*s.VolumeML)
		} else {
			out += poured(p.Entries)
		}
	}
	return in, out
}

// poured is what was in a jar when it was emptied.
func poured(newestFirst []larder.Entry) float64 {
	var s larder.State
	for _, e := range slices.Backward(newestFirst) {
		if c, ok := e.Body.(larder.StageChange); ok && !c.To.Live() && !e.Struck() {
			return float64(*s.VolumeML)
		}
		if !e.Struck() {
			s = s.Apply(e)
		}
	}
	return 0
}
