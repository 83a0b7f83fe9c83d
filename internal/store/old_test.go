package store

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// update makes the database of the newest version and the history it shows
// afresh: go test ./internal/store -run TestOldDatabases -update. Once a version
// is released its file stays as it is.
var update = flag.Bool("update", false, "write testdata/db of the newest schema version")

const oldFolder = "../../testdata/db"

// Every database in the folder, one per released version, opens in today's
// program, has today's tables, is sound, shows the history written down when it
// was made, and can be written to.
func TestOldDatabases(t *testing.T) {
	texts, err := migrations()
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		makeOld(t, fmt.Sprintf("version-%d", len(texts)))
	}
	names, err := filepath.Glob(oldFolder + "/*.db")
	if err != nil || len(names) != len(texts) {
		t.Fatalf("%d old databases for %d versions, %v; add the newest with -update", len(names), len(texts), err)
	}
	fresh := schemaOf(t, openIn(t, t.TempDir(), Options{}))
	for _, name := range names {
		t.Run(filepath.Base(name), func(t *testing.T) {
			data, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, FileName), data, 0o600); err != nil {
				t.Fatal(err)
			}
			db := openIn(t, dir, Options{Now: newClock().Now})
			if got := schemaOf(t, db); got != fresh {
				t.Errorf("its tables are\n%s\na fresh database's\n%s\nA released migration was edited; before the first release, use -update.", got, fresh)
			}
			sound(t, db)
			want, err := os.ReadFile(strings.TrimSuffix(name, ".db") + ".txt")
			if err != nil {
				t.Fatal(err)
			}
			if got := told(t, db); got != string(want) {
				t.Errorf("it shows\n%s\nwant\n%s", got, want)
			}
			shelf, err := db.Shelf(ctx, false)
			if err != nil || len(shelf) == 0 {
				t.Fatalf("%d jars on the shelf, %v", len(shelf), err)
			}
			add(t, db, shelf[0].Jar.Tag, ph(3.1))
			start(t, db, damson())
			sound(t, db)
		})
	}
}

func schemaOf(t *testing.T, db *DB) string {
	t.Helper()
	var all string
	err := db.read.QueryRow(`SELECT group_concat(sql, ';' || char(10)) FROM (SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY type, name)`).Scan(&all)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// told is all that a kitchen holds, for a person to read and compare.
func told(t *testing.T, db *DB) string {
	t.Helper()
	var b bytes.Buffer
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	k, err := db.Kitchen(ctx)
	if err != nil {
		t.Fatal(err)
	}
	say("kitchen %s, %s", k.Name, k.TimeZone)
	shelf, err := db.Shelf(ctx, true)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range shelf {
		say("\njar %s %s of %s (%s), %g mL, %s since %s", s.Jar.Tag, s.Jar.Letter, s.Batch.Name, s.Batch.Base, s.Jar.SizeML, s.Jar.State.Stage, s.Jar.State.StageSince.In(time.UTC))
		for _, i := range s.Batch.Ingredients {
			say("  from %s", i)
		}
		p := history(t, db, s.Jar.Tag)
		for _, e := range p.Entries {
			body, err := json.Marshal(e.Body)
			if err != nil {
				t.Fatal(err)
			}
			mark := ""
			if e.Struck() {
				mark = " STRUCK"
			}
			say("  %s, %s: %s %s%s %s", e.When.In(time.UTC), e.By, e.Kind, body, mark, e.Note)
		}
		for _, e := range p.CameFrom {
			say("  came from %s%s on %s", e.FromJar, e.FromName, e.When.In(time.UTC))
		}
		for _, e := range p.WentInto {
			say("  went into %s%s on %s", e.ToJar, e.ToLot, e.When.In(time.UTC))
		}
	}
	lots, err := db.Lots(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range lots {
		say("\nlot %s %s, %s, void %v", l.Lot.ID, l.Lot.Name, l.Lot.Acidity.LabelText(), l.Lot.Void)
		bottles, err := db.Lot(ctx, l.Lot.ID)
		if err != nil {
			t.Fatal(err)
		}
		for _, one := range bottles.Bottles {
			to := "here"
			if one.Gift != nil {
				to = "given to " + one.Gift.To + " on " + one.Gift.When.In(time.UTC)
			}
			say("  bottle %s no. %d, %g mL, %s", one.Tag, one.Number, one.SizeML, to)
		}
	}
	for _, l := range lots {
		log, err := db.LotLog(ctx, l.Lot.ID)
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range log {
			say("lot %s on hold %v on %s: %s", l.Lot.ID, h.On, h.When.In(time.UTC), h.Reason)
		}
	}
	gifts, err := db.Gifts(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range gifts {
		if b := g.Bottle.Gift.TakenBack; b != nil {
			say("bottle %s taken back from %s: %s", g.Bottle.Tag, g.Bottle.Gift.To, b.Reason)
		}
	}
	spares, err := db.Spares(ctx)
	if err != nil {
		t.Fatal(err)
	}
	say("\nspare tags %v", spares)
	for _, kind := range []larder.BenchKind{larder.KindCalibration, larder.KindBase, larder.KindControl} {
		book, err := db.BenchBook(ctx, kind, "", 100)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range book {
			body, err := json.Marshal(e.Body)
			if err != nil {
				t.Fatal(err)
			}
			say("bench %s, %s: %s struck %v", e.When.In(time.UTC), e.Kind, body, e.Struck)
		}
	}
	toldPlans(t, db, say)
	return b.String()
}

// toldPlans tells what is changed of the plans, and the rounds.
func toldPlans(t *testing.T, db *DB, say func(string, ...any)) {
	t.Helper()
	plans, err := db.Plans(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, kind := range larder.PlanKinds() {
		for _, s := range plans[kind].Steps(kind) {
			if s.Changed {
				say("plan for %s: %s %s", kind, s.ID, s.Rule())
			}
		}
	}
	rounds, err := db.Rounds(ctx, 100)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rounds {
		say("round of %s to %s, by %s", r.StartedAt.Format(time.RFC3339), r.EndedAt.Format(time.RFC3339), r.By)
		lines, err := db.RoundLines(ctx, r)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range lines {
			say("  jar %s: %d entries, skipped %v, flags %q", l.Jar, len(l.Entries), l.Skipped, l.Flags)
		}
	}
	if c, err := db.Calendar(ctx); err != nil || (c.Token == "") != (c.Space == uuid.Nil) {
		t.Fatalf("the calendar is %v, %v", c, err)
	} else if c.Token != "" {
		say("a calendar is open")
	}
}

// makeOld fills a kitchen with one of everything, through the same acts as a
// user's, and keeps it with what it shows.
func makeOld(t *testing.T, name string) {
	t.Helper()
	dir := t.TempDir()
	c := newClock()
	db := openIn(t, dir, Options{Now: func() time.Time { c.pass(time.Minute); return c.now }})
	if err := db.SetKitchen(ctx, larder.Kitchen{Name: "Quince Yard", MakerLine: "made by ro and mk", TimeZone: "Europe/Dublin"}); err != nil {
		t.Fatal(err)
	}
	spares, err := db.IssueSpares(ctx, act(), 3)
	if err != nil {
		t.Fatal(err)
	}
	benchBook(t, db, c)
	ale := larder.NewBatch{Name: "Barley", Base: larder.Ale, Jars: 1, JarSizeML: 5000, FillML: ml(4500), TargetGPer100ML: 5, When: c.daysAgo(150),
		Ingredients: []larder.Ingredient{{Name: "unhopped ale", Amount: chem.Amount{Value: 4.5, Unit: "L", VolumeML: 4500}}}, Place: "pantry"}
	barley := start(t, db, ale).Jars[0].Tag
	dated := func(days int, n larder.NewEntry) larder.NewEntry { n.When = c.daysAgo(days); return n }
	add(t, db, barley, dated(148, body(larder.StageChange{To: larder.Acetic, VolumeML: ml(4000), Starter: &larder.Feed{From: larder.FromBought, Name: "live vinegar", Acidity: new(chem.GramsPer100ML(5)), Live: true, VolumeML: ml(500)}})))
	add(t, db, barley, dated(60, titration()))
	pears := larder.NewBatch{Name: "Pear trimmings", Base: larder.FruitScraps, Jars: 2, JarSizeML: 3000, FillML: ml(2200), TargetGPer100ML: 5, SpareTags: spares[:1],
		When:        larder.When{At: c.daysAgo(61).At, Precision: larder.About, SpreadDays: 2},
		Ingredients: []larder.Ingredient{{Name: "peels and cores of pears", Amount: chem.Amount{Value: 2.4, Unit: "kg", MassG: 2400}}, {Name: "water", Amount: chem.Amount{Value: 4, Unit: "L", VolumeML: 4000}}}}
	s := start(t, db, pears)
	a, b := s.Jars[0].Tag, s.Jars[1].Tag
	add(t, db, a, dated(58, body(larder.Action{What: larder.Stirred})))
	add(t, db, a, dated(57, body(larder.StageChange{To: larder.Alcoholic})))
	add(t, db, a, dated(50, body(larder.StageChange{To: larder.Acetic, VolumeML: ml(1800), Starter: &larder.Feed{From: larder.FromJar, Jar: barley, VolumeML: ml(300), Mother: true}})))
	wrong := add(t, db, a, dated(20, ph(4.3)))
	add(t, db, a, dated(20, body(larder.Reading{PH: new(chem.PH(3.4)), TempC: new(chem.Celsius(21)), SG: new(chem.SpecificGravity(1.008)), Brix: new(chem.DegreesBrix(4.5)), ABV: new(chem.PercentVol(2)), Instrument: "bench pH"})))
	if _, err := db.Strike(ctx, act(), wrong.Entry.ID, "read upside down"); err != nil {
		t.Fatal(err)
	}
	add(t, db, b, dated(40, body(larder.Action{What: larder.MouldSeen})))
	add(t, db, b, dated(40, body(larder.Hold{On: true, Reason: "white fur on the fruit"})))
	add(t, db, b, dated(39, body(larder.StageChange{To: larder.Discarded, Reason: "the fur came back"})))
	add(t, db, b, note("jar scalded, Ærø apples next"))
	add(t, db, barley, dated(10, body(larder.StageChange{To: larder.Finished})))
	add(t, db, barley, dated(9, body(larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: ml(200)}})))
	bottle(t, db, 2, barley)
	if _, err := db.Strike(ctx, act(), history(t, db, barley).Entries[0].ID, "corks were missing"); err != nil {
		t.Fatal(err)
	}
	lot := bottle(t, db, 3, barley)
	if _, err := db.Give(ctx, act(), lot.Bottles[1].Tag, larder.NewGift{To: "the neighbours at no. 4", When: c.daysAgo(0), Note: "with pears"}); err != nil {
		t.Fatal(err)
	}
	oldTransfers(t, db, barley, a, lot)
	oldRound(t, db, barley, a)
	sound(t, db)
	text := told(t, db)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	for ending, content := range map[string][]byte{".db": data, ".txt": []byte(text)} {
		if err := os.WriteFile(filepath.Join(oldFolder, name+ending), content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// oldTransfers splits, moves, blends and infuses, and holds and takes back.
func oldTransfers(t *testing.T, db *DB, barley, pear larder.Tag, lot BottledLot) {
	t.Helper()
	parts := split(t, db, barley, vessel(1000, 800), vessel(1000, 700))
	small := move(t, db, parts.Jars[0].Tag, larder.NewMove{SizeML: 900, VolumeML: ml(790)}).Jars[0].Tag
	mixed := blend(t, db, larder.NewBlend{Name: "House vinegar", SizeML: 3000, Pours: []larder.Pour{{Jar: parts.Jars[1].Tag}, {Jar: pear, VolumeML: 500}}})
	add(t, db, mixed.Jars[0].Tag, body(larder.Transfer{What: larder.Infused, Feed: &larder.Feed{From: larder.FromOther, Name: "thyme", MassG: new(chem.Grams(12)), Supplier: "the herb stall"}}))
	wrong := split(t, db, pear, vessel(500, 300))
	if _, err := db.Strike(ctx, act(), wrong.Entry, "wrong jar"); err != nil {
		t.Fatal(err)
	}
	add(t, db, small, body(larder.Hold{On: true, Reason: "smells of glue"}))
	for _, on := range []bool{true, false} {
		if _, err := db.HoldLot(ctx, act(), lot.Lot.ID, larder.NewLotHold{On: on, Reason: "a cork crumbled"}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := db.Give(ctx, act(), lot.Bottles[2].Tag, larder.NewGift{To: "ana"}); err != nil {
		t.Fatal(err)
	}
	if _, err := db.TakeBack(ctx, act(), lot.Bottles[2].Tag, "wrong bottle"); err != nil {
		t.Fatal(err)
	}
}

// oldRound changes a plan, opens the calendar and goes through a measuring round.
func oldRound(t *testing.T, db *DB, barley, pear larder.Tag) {
	t.Helper()
	if err := db.SetPlan(ctx, larder.FruitScraps, larder.Plan{"must/strain": {First: 5, Last: 9}, "acetic/look": {First: 7, Last: 14, Off: true}}); err != nil {
		t.Fatal(err)
	}
	if _, err := db.RenewCalendar(ctx, act(), true); err != nil {
		t.Fatal(err)
	}
	r, err := db.BeginRound(ctx, act(), []larder.Tag{barley, pear})
	if err != nil {
		t.Fatal(err)
	}
	reading := ph(3.9).Body.(larder.Reading)
	titre := titration().Body.(larder.Titration)
	if _, err := db.MeasureInRound(ctx, act(), r.ID, pear, larder.Measuring{Note: "cloudy", Reading: &reading, Titration: &titre}); err != nil {
		t.Fatal(err)
	}
	if err := db.SkipInRound(ctx, act(), r.ID, barley); err != nil {
		t.Fatal(err)
	}
	if err := db.EndRound(ctx, act(), r.ID); err != nil {
		t.Fatal(err)
	}
}

func benchBook(t *testing.T, db *DB, c *clock) {
	t.Helper()
	for _, b := range []larder.BenchBody{
		larder.BaseCheck{Base: "lye A", StatedMolPerL: 0.1},
		larder.ControlSample{Meter: "bench pH", PH: 2.45, TempC: 21},
	} {
		if _, err := db.Bench(ctx, act(), larder.NewBench{When: c.daysAgo(70), Body: b}); err != nil {
			t.Fatal(err)
		}
	}
}
