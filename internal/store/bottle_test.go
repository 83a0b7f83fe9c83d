package store

import (
	"errors"
	"maps"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

func TestBottleAndGive(t *testing.T) {
	db, clock := kitchen(t)
	if err := db.SetKitchen(ctx, larder.Kitchen{Name: "Quince Yard", TimeZone: "UTC"}); err != nil {
		t.Fatal(err)
	}
	tag := start(t, db, damson()).Jars[0].Tag
	finish(t, db, tag)
	clock.pass(time.Hour)
	lot := bottle(t, db, 12, tag)
	if lot.Lot.ID != "L261125A" || lot.Lot.Name != "Damson wine vinegar" || lot.Lot.Acidity.Basis != larder.ByTitration ||
		math.Abs(float64(lot.Lot.Acidity.GPer100ML)-5.06) > 0.01 || lot.Lot.Heated || !reflect.DeepEqual(lot.Lot.Ingredients, []string{"damson wine", "live vinegar"}) || len(lot.Bottles) != 12 {
		t.Fatalf("the lot is %+v", lot)
	}
	holdsML(t, db, tag, 500)
	seen := map[larder.Tag]bool{}
	for i, b := range lot.Bottles {
		if kind, err := db.TagKind(ctx, b.Tag); kind != "bottle" || err != nil || seen[b.Tag] || !b.Tag.IsBottle() || b.Number != i+1 || b.SizeML != 250 {
			t.Errorf("bottle %d is %+v, its tag a %q's, %v", i, b, kind, err)
		}
		seen[b.Tag] = true
	}
	into := history(t, db, tag).WentInto
	if len(into) != 1 || into[0].ToLot != lot.Lot.ID || *into[0].VolumeML != 3000 {
		t.Errorf("the jar went into %+v", into)
	}
	if p, err := db.BottleByTag(ctx, lot.Bottles[3].Tag); err != nil || p.Lot.ID != lot.Lot.ID || p.Bottle.Number != 4 || p.Bottle.Gift != nil {
		t.Errorf("its bottle is %+v, %v", p, err)
	}
	gift, err := db.Give(ctx, act(), lot.Bottles[3].Tag, larder.NewGift{To: "choir supper", Note: "with thanks"})
	if err != nil || gift.Bottle.Gift == nil || gift.Bottle.Gift.To != "choir supper" || gift.Bottle.Gift.By != "ro" || !gift.Bottle.Gift.When.At.Equal(clock.now) {
		t.Errorf("given: %+v, %v", gift.Bottle, err)
	}
	_, err = db.Give(ctx, act(), lot.Bottles[3].Tag, larder.NewGift{To: "ana"})
	refused(t, err, "", "already given to choir supper")
	var missing *larder.NotFoundError
	if _, err := db.Give(ctx, act(), tag, larder.NewGift{To: "ana"}); !errors.As(err, &missing) {
		t.Errorf("a jar was given: %v", err)
	}
	if _, err := db.Lot(ctx, "L000000A"); !errors.As(err, &missing) {
		t.Errorf("a lot that is not here: %v", err)
	}
	second := bottle(t, db, 1, tag)
	lots, err := db.Lots(ctx)
	if err != nil || len(lots) != 2 || second.Lot.ID != "L261125B" || lots[0].Lot.ID != second.Lot.ID || lots[1].Bottles != 12 || lots[1].Given != 1 {
		t.Errorf("the lots are %+v, %v", lots, err)
	}
	if r := sound(t, db); r.Lots != 2 || r.Bottles != 13 || r.Gifts != 1 {
		t.Errorf("check counts %+v", r)
	}
}

func TestLotOfTwoJars(t *testing.T) {
	db, _ := kitchen(t)
	s := start(t, db, damson())
	finish(t, db, s.Jars[0].Tag)
	finish(t, db, s.Jars[1].Tag)
	add(t, db, s.Jars[1].Tag, body(larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: ml(500)}}))
	lot := bottle(t, db, 15, s.Jars[0].Tag, s.Jars[1].Tag)
	// 3750 mL out of 3500 and 4000 mL, shared out alike: 1750 and 2000. The
	// second's acidity fell to 3500/4000 of the same titration, so the mean is
	// (1750 + 2000 × 0.875) / 3750 of it: c1·V1 = c2·V2.
	want := 5.0563784 * (1750 + 2000*0.875) / 3750
	if a := lot.Lot.Acidity; a.Basis != larder.Computed || math.Abs(float64(a.GPer100ML)-want) > 1e-4 {
		t.Errorf("the lot's acidity is %+v, want %g computed", a, want)
	}
	holdsML(t, db, s.Jars[0].Tag, 1750)
	holdsML(t, db, s.Jars[1].Tag, 2000)
	sound(t, db)
}

func TestBottleRefuses(t *testing.T) {
	db, _ := kitchen(t)
	s := start(t, db, damson())
	a, b := s.Jars[0].Tag, s.Jars[1].Tag
	finish(t, db, a)
	before := rows(t, db)
	runs := []larder.Run{{Count: 2, SizeML: 250}}
	_, err := db.Bottle(ctx, act(), larder.NewLot{Pours: []larder.Pour{{Jar: a}, {Jar: b}}, Runs: runs})
	refused(t, err, "jars", "not finished")
	_, err = db.Bottle(ctx, act(), larder.NewLot{Pours: []larder.Pour{{Jar: a}}, Runs: []larder.Run{{Count: 15, SizeML: 250}}})
	refused(t, err, "volume_ml", "cannot be taken out")
	var missing *larder.NotFoundError
	if _, err := db.Bottle(ctx, act(), larder.NewLot{Pours: []larder.Pour{{Jar: "000000"}}, Runs: runs}); !errors.As(err, &missing) {
		t.Errorf("of a jar not here: %v", err)
	}
	if after := rows(t, db); !maps.Equal(before, after) {
		t.Errorf("refused, yet the rows went from %v to %v", before, after)
	}
	hold := add(t, db, a, body(larder.Hold{On: true, Reason: "mould"}))
	_, err = db.Bottle(ctx, act(), larder.NewLot{Pours: []larder.Pour{{Jar: a}}, Runs: runs})
	refused(t, err, "jars", "on hold: mould")
	if _, err := db.Strike(ctx, act(), hold.Entry.ID, "it was dust"); err != nil {
		t.Fatal(err)
	}
	bottle(t, db, 2, a)
}

func TestHoldStopsGiving(t *testing.T) {
	db, _ := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	finish(t, db, tag)
	lot := bottle(t, db, 2, tag)
	add(t, db, tag, body(larder.Hold{On: true, Reason: "smells of glue"}))
	_, err := db.Give(ctx, act(), lot.Bottles[0].Tag, larder.NewGift{To: "ana"})
	refused(t, err, "", "smells of glue")
	if p, err := db.BottleByTag(ctx, lot.Bottles[0].Tag); err != nil || !reflect.DeepEqual(p.Holds, []string{"jar " + string(tag) + ": smells of glue"}) {
		t.Errorf("the bottle's holds are %v, %v", p.Holds, err)
	}
	add(t, db, tag, body(larder.Hold{Reason: "it was the cloth"}))
	if _, err := db.Give(ctx, act(), lot.Bottles[0].Tag, larder.NewGift{To: "ana"}); err != nil {
		t.Error(err)
	}
}

func TestStrikeOfABottling(t *testing.T) {
	db, _ := kitchen(t)
	s := start(t, db, damson())
	a, b := s.Jars[0].Tag, s.Jars[1].Tag
	finish(t, db, a)
	finish(t, db, b)
	lot := bottle(t, db, 8, a, b)
	holdsML(t, db, a, 2500)
	if _, err := db.Strike(ctx, act(), history(t, db, b).Entries[0].ID, "the bottles burst"); err != nil {
		t.Fatal(err)
	}
	holdsML(t, db, a, 3500)
	holdsML(t, db, b, 3500)
	if l, err := db.Lot(ctx, lot.Lot.ID); err != nil || !l.Lot.Void || len(l.Bottles) != 8 {
		t.Errorf("the lot is %+v, %v; want it void and still there", l.Lot, err)
	}
	if p := history(t, db, a); len(p.WentInto) != 0 || !p.Entries[1].Struck() {
		t.Errorf("jar A still went into %+v", p.WentInto)
	}
	_, err := db.Give(ctx, act(), lot.Bottles[0].Tag, larder.NewGift{To: "ana"})
	refused(t, err, "", "was struck")

	again := bottle(t, db, 8, a, b)
	if again.Lot.ID == lot.Lot.ID {
		t.Error("a void lot's mark was used again")
	}
	if _, err := db.Give(ctx, act(), again.Bottles[0].Tag, larder.NewGift{To: "ana"}); err != nil {
		t.Fatal(err)
	}
	before := rows(t, db)
	_, err = db.Strike(ctx, act(), history(t, db, a).Entries[0].ID, "too late")
	refused(t, err, "", "were given away")
	if after := rows(t, db); !maps.Equal(before, after) {
		t.Errorf("refused, yet the rows went from %v to %v", before, after)
	}
	if l, err := db.Lot(ctx, again.Lot.ID); err != nil || l.Lot.Void {
		t.Errorf("the lot is %+v, %v", l.Lot, err)
	}
	sound(t, db)
}

// The bench book: a reading takes the calibration in force, a titration the
// newest check of its base, and neither changes later.
func TestBenchBook(t *testing.T) {
	db, clock := kitchen(t)
	n := damson()
	n.When = clock.daysAgo(30)
	tag := start(t, db, n).Jars[0].Tag
	fresh := larder.BaseCheck{Base: "lye A", StatedMolPerL: 0.1}
	a := act()
	first, err := db.Bench(ctx, a, larder.NewBench{When: clock.daysAgo(3), Body: fresh})
	if err != nil || first.Body.Name() != "lye A" || first.By != "ro" {
		t.Fatalf("%+v, %v", first, err)
	}
	before := rows(t, db)
	if again, err := db.Bench(ctx, a, larder.NewBench{When: clock.daysAgo(3), Body: fresh}); err != nil || !reflect.DeepEqual(first, again) || !maps.Equal(before, rows(t, db)) {
		t.Errorf("sent again: %+v, %v", again, err)
	}
	e := titration()
	unnamed := e.Body.(larder.Titration)
	unnamed.BaseMolPerL = 0
	saved := add(t, db, tag, larder.NewEntry{Body: unnamed})
	got := saved.Entry.Body.(larder.Titration)
	if got.BaseID != first.ID || got.BaseMolPerL != 0.1 || got.BaseCheckedDaysAgo == nil || *got.BaseCheckedDaysAgo != 3 || saved.After.Acidity.StrengthMark != "" {
		t.Errorf("the titration took %+v", got)
	}
	if s := add(t, db, tag, func() larder.NewEntry { e := titration(); e.When = clock.daysAgo(10); return e }()); s.Entry.Body.(larder.Titration).BaseCheckedDaysAgo != nil {
		t.Error("a titration from before the check took it")
	}
	if _, err := db.StrikeBench(ctx, act(), first.ID); err != nil {
		t.Fatal(err)
	}
	if in, err := db.InForce(ctx, larder.KindBase, "", clock.now); err != nil || in != nil {
		t.Errorf("in force after its strike: %+v, %v", in, err)
	}
	var missing *larder.NotFoundError
	if _, err := db.StrikeBench(ctx, act(), first.ID); !errors.As(err, &missing) {
		t.Errorf("struck twice: %v", err)
	}
	if book, err := db.BenchBook(ctx, larder.KindBase, "", 10); err != nil || len(book) != 1 || !book[0].Struck {
		t.Errorf("the book holds %+v, %v", book, err)
	}
	if old, err := db.Entry(ctx, saved.Entry.ID); err != nil || old.Body.(larder.Titration).BaseID != first.ID {
		t.Errorf("the old titration became %+v, %v", old, err)
	}
	// The base was checked today, hour unknown; the clock says half past nine.
	today, err := db.Bench(ctx, act(), larder.NewBench{When: larder.When{At: clock.now.Add(150 * time.Minute), Precision: larder.Day}, Body: fresh})
	if err != nil {
		t.Fatal(err)
	}
	if got := add(t, db, tag, titration()).Entry.Body.(larder.Titration); got.BaseID != today.ID || *got.BaseCheckedDaysAgo != 0 {
		t.Errorf("the titration of the same day took %+v", got)
	}
	// What only the store attaches is not taken from the sender.
	forged := body(larder.Reading{TempC: new(chem.Celsius(20)), CorrectedPH: new(chem.PH(2)), CalibrationID: first.ID})
	if r := add(t, db, tag, forged).Entry.Body.(larder.Reading); r.CorrectedPH != nil || !strings.HasPrefix(r.CalibrationID.String(), "0000") {
		t.Errorf("a sender's own correction was kept: %+v", r)
	}
	sound(t, db)
}

func TestMeasurements(t *testing.T) {
	db, clock := kitchen(t)
	n := damson()
	n.When = clock.daysAgo(30)
	s := start(t, db, n)
	tag := s.Jars[0].Tag
	late := ph(3.2)
	late.When = clock.daysAgo(3)
	add(t, db, tag, late)
	early := ph(3.5)
	early.When = clock.daysAgo(9)
	wrong := add(t, db, tag, early)
	add(t, db, tag, note("cloudy"))
	if _, err := db.Strike(ctx, act(), wrong.Entry.ID, "misread"); err != nil {
		t.Fatal(err)
	}
	got, err := db.Measurements(ctx, tag)
	if err != nil || len(got) != 3 || got[0].Kind != larder.KindStage || got[1].Seq > got[2].Seq || !got[2].Struck() {
		t.Errorf("the measurements are %+v, %v", got, err)
	}
	if v, err := db.LiquidOfBatch(ctx, s.Batch.ID); err != nil || v == nil || *v != 6000 {
		t.Errorf("the batch's liquid is %v, %v; want 6000 mL", v, err)
	}
	n.FillML = nil
	if v, err := db.LiquidOfBatch(ctx, start(t, db, n).Batch.ID); err != nil || v != nil {
		t.Errorf("of a batch that nobody measured: %v, %v", v, err)
	}
}
