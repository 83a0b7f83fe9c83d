package store

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// baseChecked makes titrations of the kitchen carry a statement of strength.
func baseChecked(t testing.TB, db *DB, clock *clock) {
	t.Helper()
	b := larder.BaseCheck{Base: "sodium hydroxide 0.1 mol/L", Against: &chem.Standardisation{Runs: []chem.KHPRun{{KHPG: 0.2042, BaseML: 10}, {KHPG: 0.2042, BaseML: 10}}, MassTolG: 0.001, BuretteTolML: 0.02}}
	if _, err := db.Bench(ctx, act(), larder.NewBench{When: clock.daysAgo(1), Body: b}); err != nil {
		t.Fatal(err)
	}
}

// 3500 mL at some acidity a: to 5 it takes 3500 × (a / 5 − 1), surely only
// 3500 × ((a − U) / 5 − 1), by C1 V1 = C2 V2. Logged as an act, the same water
// leaves the same volume and acidity on record as was expected.
func TestFinishThenDilute(t *testing.T) {
	db, clock := kitchen(t)
	baseChecked(t, db, clock)
	tag := start(t, db, damson()).Jars[0].Tag
	add(t, db, tag, body(larder.StageChange{To: larder.Acetic, VolumeML: ml(3500), Starter: &larder.Feed{From: larder.FromAir}}))
	add(t, db, tag, body(larder.Titration{Titration: chem.Titration{SampleML: 5, BaseMolPerL: 0.1, SampleTolML: 0.02, BuretteTolML: 0.02, Replicates: []chem.Replicate{{EndML: 52}, {EndML: 52.1}, {EndML: 52}}}}))
	add(t, db, tag, body(larder.StageChange{To: larder.Finished}))
	clock.pass(time.Hour)

	f, err := db.Finish(ctx, []larder.Tag{tag}, nil, []chem.Millilitres{250}, clock.now)
	if err != nil || f.Plan.TargetGPer100ML != 5 || f.Plan.Water == nil || len(f.Plan.NotYet) > 0 {
		t.Fatalf("%+v, %v", f.Plan, err)
	}
	a, u := float64(f.Plan.Acidity.GPer100ML), float64(f.Plan.Acidity.ExpandedUGPer100ML)
	if want := 3500 * ((a-u)/5 - 1); math.Abs(float64(f.Plan.AddML)-want) > 0.01 || want < 100 {
		t.Errorf("%g mL of water, want %g", float64(f.Plan.AddML), want)
	}
	if low := float64(f.Plan.Expected.LowerGPer100ML); math.Abs(low-5) > 1e-6 {
		t.Errorf("the lower bound after it is %g, want 5", low)
	}
	// Computed strength shows nothing: it must be measured again.
	if now, after := verdict.Of(verdict.GivingAway, f.Verdict), verdict.Of(verdict.GivingAway, f.After); now.Answer == verdict.NotProven || after.Answer != verdict.NotProven {
		t.Errorf("giving away: %s now, %s after the water", now.Answer, after.Answer)
	}
	add(t, db, tag, body(larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: &f.Plan.AddML}}))
	s := jar(t, db, tag).State
	if math.Abs(float64(*s.VolumeML-f.Plan.ExpectedML)) > 0.01 || s.Acidity.Basis != larder.Computed || math.Abs(float64(s.Acidity.GPer100ML-f.Plan.Expected.GPer100ML)) > 1e-9 {
		t.Errorf("on record %g mL at %+v, expected %+v", float64(*s.VolumeML), s.Acidity, f.Plan.Expected)
	}
}

// A lot keeps what was put in to infuse until it was bottled; what is put into the
// rest of the jar later is not in its bottles.
func TestLotKeepsWhatWasInfused(t *testing.T) {
	db, c := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	finish(t, db, tag)
	infuse := func(name string) {
		c.pass(time.Hour)
		add(t, db, tag, body(larder.Transfer{What: larder.Infused, Feed: &larder.Feed{From: larder.FromOther, Name: name}}))
		c.pass(time.Hour)
	}
	plain := bottle(t, db, 1, tag)
	infuse("orange peel")
	first := bottle(t, db, 1, tag)
	infuse("bay")
	for name, row := range map[string]struct {
		id   string
		want []string
	}{"plain": {plain.Lot.ID, nil}, "infused": {first.Lot.ID, []string{"orange peel"}}} {
		if l, err := db.Lot(ctx, row.id); err != nil || !slices.Equal(l.Lot.Infused, row.want) {
			t.Errorf("%s: %q, %v; want %q", name, l.Lot.Infused, err, row.want)
		}
	}
	f, err := db.Finish(ctx, []larder.Tag{tag}, nil, nil, c.now)
	if v := verdict.Of(verdict.GivingAway, f.Verdict); err != nil || !strings.Contains(strings.Join(v.Against(), " "), "orange peel, bay") {
		t.Errorf("the bench: %q, %v", v.Against(), err)
	}
}

func TestFinishTellsHolds(t *testing.T) {
	db, clock := kitchen(t)
	s := start(t, db, damson())
	a, b := s.Jars[0].Tag, s.Jars[1].Tag
	finish(t, db, a)
	finish(t, db, b)
	add(t, db, b, body(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: a, VolumeML: ml(100)}}))
	add(t, db, a, body(larder.Hold{On: true, Reason: "white fur"}))
	f, err := db.Finish(ctx, []larder.Tag{b}, nil, nil, clock.now)
	if err != nil || len(f.Plan.NotYet) != 1 || !strings.Contains(f.Plan.NotYet[0], "white fur") {
		t.Errorf("%q, %v", f.Plan.NotYet, err)
	}
	if v := verdict.Of(verdict.GivingAway, f.Verdict); v.Answer == verdict.Supported || !strings.Contains(strings.Join(v.Against(), " "), "white fur") {
		t.Errorf("%s: %q", v.Answer, v.Against())
	}
	_, err = db.Finish(ctx, []larder.Tag{b, b}, nil, nil, clock.now)
	refused(t, err, "jars", "named twice")
	_, err = db.Finish(ctx, make([]larder.Tag, larder.MaxLotJars+1), nil, nil, clock.now)
	refused(t, err, "jars", "1 to 20 jars")
	var missing *larder.NotFoundError
	if _, err := db.Finish(ctx, []larder.Tag{"000000"}, nil, nil, clock.now); !errors.As(err, &missing) {
		t.Errorf("an unknown jar: %v", err)
	}
}

// A lot whose titration is struck later is no longer measured, wherever it is
// read; so is one that rests on water which was struck, and one of a jar that
// took the reading along. Others keep theirs, and the record itself stays.
func TestLotAfterItsReadingIsStruck(t *testing.T) {
	db, clock := kitchen(t)
	s := start(t, db, damson())
	a, b := s.Jars[0].Tag, s.Jars[1].Tag
	add(t, db, a, body(larder.StageChange{To: larder.Acetic, VolumeML: ml(3000), Starter: &larder.Feed{From: larder.FromAir}}))
	reading := add(t, db, a, titration())
	add(t, db, a, body(larder.StageChange{To: larder.Finished}))
	finish(t, db, b)
	split, err := db.Split(ctx, act(), a, larder.NewSplit{Parts: []larder.Part{{SizeML: 1000, VolumeML: 500}}})
	if err != nil {
		t.Fatal(err)
	}
	clock.pass(time.Hour)
	plain, child, two, other := bottle(t, db, 2, a), bottle(t, db, 1, split.Jars[0].Tag), bottle(t, db, 4, a, b), bottle(t, db, 1, b)
	water := add(t, db, b, body(larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: ml(500)}}))
	diluted := bottle(t, db, 1, b)
	if diluted.Lot.Acidity.Basis != larder.Computed || two.Lot.Acidity.Basis != larder.Computed {
		t.Fatalf("%+v, %+v", diluted.Lot.Acidity, two.Lot.Acidity)
	}
	strike := func(id Saved) {
		if _, err := db.Strike(ctx, act(), id.Entry.ID, "read the wrong burette"); err != nil {
			t.Fatal(err)
		}
	}
	struck := func(l BottledLot) bool {
		t.Helper()
		got, err := db.Lot(ctx, l.Lot.ID)
		page, err2 := db.BottleByTag(ctx, l.Bottles[0].Tag)
		if err != nil || err2 != nil || got.Lot.Acidity != page.Lot.Acidity {
			t.Fatal(err, err2, got.Lot.Acidity, page.Lot.Acidity)
		}
		a := got.Lot.Acidity
		if gone := a.Basis == larder.NotMeasured; gone != strings.Contains(a.Why, "was struck since") || gone != (a.LabelText() == "acidity not measured") {
			t.Errorf("%+v, %q", a, a.LabelText())
		}
		return a.Basis == larder.NotMeasured
	}
	strike(water)
	if !struck(diluted) || struck(plain) || struck(other) {
		t.Error("after striking the water")
	}
	strike(reading)
	if !struck(plain) || !struck(child) || !struck(two) || struck(other) {
		t.Error("after striking the titration")
	}
	lots, err := db.Lots(ctx)
	gone := 0
	for _, l := range lots {
		if l.Lot.Acidity.Basis == larder.NotMeasured {
			gone++
		}
	}
	if err != nil || gone != 4 {
		t.Errorf("%d of %d lots are not measured, %v", gone, len(lots), err)
	}
	if v, err := db.VerdictOnGiving(ctx, lots[len(lots)-1].Lot, clock.now); err != nil || v.Answer == verdict.Supported {
		t.Errorf("giving away: %+v, %v", v, err)
	}
	sound(t, db)
}

// The bench judges open jars by their own stage, as their page does: a ferment is
// no vinegar yet, whatever it is to become.
func TestBenchJudgesWhatStandsThere(t *testing.T) {
	db, _ := kitchen(t)
	tag := jarsOfWine(t, db, 1)[0]
	for _, to := range []larder.Stage{"", larder.Acetic} {
		if to != "" {
			add(t, db, tag, body(larder.StageChange{To: to, VolumeML: ml(2800), Starter: &larder.Feed{From: larder.FromBought, Name: "live vinegar", Live: true, VolumeML: ml(100)}}))
		}
		f, err := db.Finish(ctx, []larder.Tag{tag}, nil, nil, db.clock())
		if err != nil {
			t.Fatal(err)
		}
		page, err := db.Outlook(ctx, tag, db.clock())
		if err != nil {
			t.Fatal(err)
		}
		for i, own := range page.Verdict {
			if f.Verdict[i].Use != own.Use || f.Verdict[i].Answer != own.Answer {
				t.Errorf("%s: the bench says %s of %s, the jar's page %s", f.Jars[0].State.Stage, f.Verdict[i].Answer, own.Use, own.Answer)
			}
		}
	}
}
