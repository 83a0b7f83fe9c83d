package main

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/verdict"
)

// demoZone is where the invented kitchen stands.
const demoZone = "Europe/Dublin"

// teller tells the demo's stories: it collects what happened, and does it day by
// day through the same acts as a user's, under a clock that stands at each
// act's own time.
type teller struct {
	db    *store.DB
	today time.Time
	clock time.Time
	acts  []demoAct
	// jars are the tags by batch and letter: "barley A". lots are the lot marks.
	jars map[string]larder.Tag
	lots map[string]string
}

type demoAct struct {
	at time.Time
	by string
	do func(context.Context, larder.Act) error
}

// buildDemo writes the invented kitchen into dir, dated relative to now.
func buildDemo(ctx context.Context, dir string, now time.Time) (err error) {
	loc, err := time.LoadLocation(demoZone)
	if err != nil {
		return err
	}
	t := &teller{today: now.In(loc), jars: map[string]larder.Tag{}, lots: map[string]string{}}
	t.clock = t.today
	if t.db, err = store.Open(ctx, dir, store.Options{Now: func() time.Time { return t.clock }}); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, t.db.Close()) }()
	err = t.db.SetKitchen(ctx, larder.Kitchen{Name: "Quince Yard", MakerLine: "Quince Yard. Questions? Ask ro or mk.", TimeZone: demoZone, Market: string(verdict.EU)})
	if err != nil {
		return err
	}
	if err := t.db.SetAccess(ctx, larder.Access{Writers: larder.WritersEveryone, Look: larder.LookAll}); err != nil {
		return err
	}
	t.bench()
	t.barley()
	t.honey()
	t.pear()
	t.damson()
	t.rosemary()
	t.quince()
	return t.tell(ctx)
}

// tell does all acts in the order of time.
func (t *teller) tell(ctx context.Context) error {
	sort.SliceStable(t.acts, func(i, j int) bool { return t.acts[i].at.Before(t.acts[j].at) })
	for _, a := range t.acts {
		t.clock = a.at
		key, err := uuid.NewV7()
		if err != nil {
			return err
		}
		if err := a.do(ctx, larder.Act{Key: key, By: a.by}); err != nil {
			return fmt.Errorf("on %s: %w", a.at.Format("2 Jan 15:04"), err)
		}
	}
	return nil
}

// on notes an act so many days before today. The hour is the kitchen's.
func (t *teller) on(daysAgo int, clock, by string, do func(context.Context, larder.Act) error) {
	at, err := time.Parse("15:04", clock)
	if err != nil {
		panic("demo: " + clock + " is not a time of day")
	}
	y, m, d := t.today.Date()
	t.acts = append(t.acts, demoAct{time.Date(y, m, d-daysAgo, at.Hour(), at.Minute(), 0, 0, t.today.Location()), by, do})
}

// start notes the start of a batch, whose jars are then known as "name A" and so on.
func (t *teller) start(daysAgo int, clock, by, name string, n larder.NewBatch) {
	t.on(daysAgo, clock, by, func(ctx context.Context, a larder.Act) error {
		s, err := t.db.Start(ctx, a, n)
		for _, j := range s.Jars {
			t.jars[name+" "+j.Letter] = j.Tag
		}
		return err
	})
}

// log notes an entry. body is asked for only when its time comes, since it may
// name a jar that gets its tag meanwhile.
func (t *teller) log(daysAgo int, clock, by, jar, note string, body func() larder.Body) {
	t.on(daysAgo, clock, by, func(ctx context.Context, a larder.Act) error {
		_, err := t.db.Append(ctx, a, t.jars[jar], larder.NewEntry{Note: note, Body: body()})
		if err != nil {
			err = fmt.Errorf("%s: %w", jar, err)
		}
		return err
	})
}

func (t *teller) stir(jar string, days ...int) {
	for _, d := range days {
		t.log(d, "08:10", "mk", jar, "", just(larder.Action{What: larder.Stirred}))
	}
}

func just(b larder.Body) func() larder.Body { return func() larder.Body { return b } }

// The demo's instruments.
const (
	benchPH         = "bench pH"
	burette         = "10 mL burette"
	hydrometer      = "hydrometer"
	ebulliometer    = "borrowed ebulliometer"
	sodiumHydroxide = "sodium hydroxide 0.100 mol/L"
)

func ph(value chem.PH, temp chem.Celsius) func() larder.Body {
	return just(larder.Reading{PH: &value, TempC: &temp, Instrument: benchPH})
}

func gravity(sg chem.SpecificGravity, temp chem.Celsius) func() larder.Body {
	return just(larder.Reading{SG: &sg, TempC: &temp, Instrument: hydrometer})
}

// titrated is a titration as this kitchen does it: 10 mL made up to 100 mL, of
// which 10 mL are titrated with 0.100 mol/L sodium hydroxide. So a burette
// difference of 1 mL is 0.6005 g/100 mL (60.052 g/mol of acetic acid).
func titrated(runs ...chem.Replicate) func() larder.Body {
	return just(larder.Titration{Instrument: burette, BaseName: sodiumHydroxide, Titration: chem.Titration{
		SampleML: 10, BaseMolPerL: 0.1, DilutionFactor: 10, Replicates: runs, SampleTolML: 0.02, BuretteTolML: 0.02,
	}})
}

// calibrate notes a calibration of the pH meter by the two buffers between which
// vinegar lies, and what it showed of them.
func (t *teller) calibrate(daysAgo int, clock string, temp chem.Celsius, tetroxalate, phthalate chem.PH) {
	t.benchBook(daysAgo, clock, "ro", larder.MeterCalibration{Meter: benchPH, CalibrationInput: chem.CalibrationInput{Points: []chem.CalibrationPoint{
		{Buffer: chem.Tetroxalate, TemperatureC: temp, ShownPH: &tetroxalate},
		{Buffer: chem.Phthalate, TemperatureC: temp, ShownPH: &phthalate},
	}}})
}

// checkBase notes a check of the base against phthalate, weighed to 1 mg.
func (t *teller) checkBase(daysAgo int, clock string, runs ...chem.KHPRun) {
	t.benchBook(daysAgo, clock, "ro", larder.BaseCheck{Base: sodiumHydroxide, Against: &chem.Standardisation{Runs: runs, MassTolG: 0.001, BuretteTolML: 0.02}})
}

// control notes the bought vinegar that each measuring round begins with.
func (t *teller) control(daysAgo int, clock string, ph chem.PH, temp chem.Celsius) {
	t.benchBook(daysAgo, clock, "ro", larder.ControlSample{Meter: benchPH, PH: ph, TempC: temp})
}

func (t *teller) benchBook(daysAgo int, clock, by string, b larder.BenchBody) {
	t.on(daysAgo, clock, by, func(ctx context.Context, a larder.Act) error {
		_, err := t.db.Bench(ctx, a, larder.NewBench{Body: b})
		return err
	})
}

func run2(start1, end1, start2, end2 chem.Millilitres) []chem.Replicate {
	return []chem.Replicate{{StartML: start1, EndML: end1}, {StartML: start2, EndML: end2}}
}

func volume(v chem.Millilitres) *chem.Millilitres { return &v }

func ingredient(name, amount string) larder.Ingredient {
	a, err := chem.ParseAmount(amount)
	if err != nil {
		panic("demo: " + err.Error())
	}
	return larder.Ingredient{Name: name, Amount: a}
}

// drink is an ingredient of which the alcohol is known.
func drink(name, amount string, abv chem.PercentVol) larder.Ingredient {
	i := ingredient(name, amount)
	i.ABVPercent = &abv
	return i
}
