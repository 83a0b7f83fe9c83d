package store

import (
	"errors"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/larder"
)

// A plan that was changed comes with every batch of its kind, however that is
// read, and with no other; what is as usual is not kept.
func TestPlanComesWithItsBatches(t *testing.T) {
	db, c := kitchen(t)
	scraps := damson()
	scraps.Base = larder.FruitScraps
	one := start(t, db, scraps)
	juice := damson()
	juice.Base = larder.Juice
	two := start(t, db, juice)
	strain := larder.Days{First: 3, Last: 5}
	usual := larder.Plan(nil).Steps(larder.FruitScraps)
	plan := larder.Plan{"must/strain": strain, usual[0].ID: usual[0].Usual}
	for range 2 { // doing it twice is doing it once
		if err := db.SetPlan(ctx, larder.FruitScraps, plan); err != nil {
			t.Fatal(err)
		}
	}
	plans, err := db.Plans(ctx)
	if err != nil || len(plans) != 1 || len(plans[larder.FruitScraps]) != 1 || plans[larder.FruitScraps]["must/strain"] != strain {
		t.Fatalf("the plans are %v, %v", plans, err)
	}
	batch, err := db.Batch(ctx, one.Jars[0].BatchID)
	if err != nil {
		t.Fatal(err)
	}
	shelf, err := db.Shelf(ctx, false)
	if err != nil {
		t.Fatal(err)
	}
	page := history(t, db, one.Jars[0].Tag)
	at := slices.IndexFunc(shelf, func(s ShelfJar) bool { return s.Jar.Tag == one.Jars[0].Tag })
	for name, b := range map[string]larder.Batch{"batch": batch, "shelf": shelf[at].Batch, "history": page.Batch} {
		if b.Plan["must/strain"] != strain {
			t.Errorf("%s: the plan is %v", name, b.Plan)
		}
	}
	if other, err := db.Batch(ctx, two.Jars[0].BatchID); err != nil || len(other.Plan) != 0 {
		t.Errorf("another kind's batch has the plan %v, %v", other.Plan, err)
	}
	c.pass(4 * 24 * time.Hour)
	today, err := db.Today(ctx, c.now)
	if err != nil || !slices.ContainsFunc(today.Tasks, func(task larder.Task) bool {
		return task.Jar == one.Jars[0].Tag && task.Do == larder.DoStrain && task.Urgency == larder.DueNow
	}) {
		t.Errorf("today's list is %+v, %v", today.Tasks, err)
	}
	var problems larder.Problems
	if err := db.SetPlan(ctx, larder.FruitScraps, larder.Plan{"must/strain": {First: 9, Last: 2}}); !errors.As(err, &problems) {
		t.Errorf("a window that ends before it begins was taken: %v", err)
	}
	if err := db.SetPlan(ctx, larder.FruitScraps, larder.Plan{"acetic/dance": {}}); !errors.As(err, &problems) {
		t.Errorf("an unknown step was taken: %v", err)
	}
	if plans, _ := db.Plans(ctx); plans[larder.FruitScraps]["must/strain"] != strain {
		t.Errorf("what was refused changed the plan: %v", plans)
	}
	if err := db.SetPlan(ctx, larder.FruitScraps, nil); err != nil {
		t.Fatal(err)
	}
	if plans, err := db.Plans(ctx); err != nil || len(plans) != 0 {
		t.Errorf("the usual plan is kept as %v, %v", plans, err)
	}
}

// The calendar's secret is new each time, keeps its space, and is gone when closed.
func TestCalendarSecret(t *testing.T) {
	db, _ := kitchen(t)
	seen := map[string]bool{"": true}
	var space uuid.UUID
	for range 5 {
		c, err := db.RenewCalendar(ctx, act(), true)
		if err != nil || seen[c.Token] || len(c.Token) < 26 {
			t.Fatalf("the calendar is %v, %v", c, err)
		}
		if space != uuid.Nil && c.Space != space {
			t.Error("the events would become others")
		}
		seen[c.Token], space = true, c.Space
	}
	if c, err := db.RenewCalendar(ctx, act(), false); err != nil || c.Token != "" || c.Space != space {
		t.Errorf("the closed calendar is %v, %v", c, err)
	}
}

// A round is one at a time, goes on after the program was closed, saves each jar
// whole or not at all, and takes what comes after its end.
func TestRoundSurvives(t *testing.T) {
	dir, clock := t.TempDir(), newClock()
	open := func() *DB {
		db, err := Open(ctx, dir, Options{Now: clock.Now})
		if err != nil {
			t.Fatal(err)
		}
		return db
	}
	db := open()
	jars := start(t, db, damson()).Jars
	tags := []larder.Tag{jars[0].Tag}
	for _, j := range jars[1:] {
		tags = append(tags, j.Tag)
	}
	begin := act()
	r, err := db.BeginRound(ctx, begin, tags)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := db.BeginRound(ctx, begin, tags); err != nil || again.ID != r.ID {
		t.Errorf("sent again it begins %v, %v", again, err)
	}
	var problems larder.Problems
	if _, err := db.BeginRound(ctx, act(), tags); !errors.As(err, &problems) {
		t.Errorf("a second round began beside the first: %v", err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	db = open()
	defer func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	}()
	still, err := db.OpenRound(ctx)
	if err != nil || still == nil || still.ID != r.ID || len(still.Jars) != len(tags) {
		t.Fatalf("after a restart the round is %v, %v", still, err)
	}
	reading := ph(3.2).Body.(larder.Reading)
	wrong := titration().Body.(larder.Titration)
	wrong.SampleML = 0
	before := len(history(t, db, tags[0]).Entries)
	if _, err := db.MeasureInRound(ctx, act(), r.ID, tags[0], larder.Measuring{Reading: &reading, Titration: &wrong}); !errors.As(err, &problems) {
		t.Errorf("half of a measuring was taken: %v", err)
	}
	if n := len(history(t, db, tags[0]).Entries); n != before {
		t.Errorf("%d entries of a refused measuring", n-before)
	}
	right := titration().Body.(larder.Titration)
	key := act()
	for range 2 {
		entries, err := db.MeasureInRound(ctx, key, r.ID, tags[0], larder.Measuring{Reading: &reading, Titration: &right, Note: "clear"})
		if err != nil || len(entries) != 2 || entries[0].Note != "clear" || entries[1].Kind != larder.KindTitration {
			t.Fatalf("measured %v, %v", entries, err)
		}
	}
	if n := len(history(t, db, tags[0]).Entries); n != before+2 {
		t.Errorf("%d entries of one measuring sent twice, want 2", n-before)
	}
	if err := db.EndRound(ctx, act(), r.ID); err != nil {
		t.Fatal(err)
	}
	late := start(t, db, damson()).Jars[0].Tag
	if _, err := db.MeasureInRound(ctx, act(), r.ID, late, larder.Measuring{Reading: &reading}); err != nil {
		t.Errorf("what was measured before the end was lost: %v", err)
	}
	if got, err := db.Round(ctx, r.ID); err != nil || got.EndedAt == nil || got.Jars[len(got.Jars)-1].Jar != late {
		t.Errorf("the round is %v, %v", got, err)
	}
	sound(t, db)
	if _, err := db.BeginRound(ctx, act(), tags[:1]); err != nil {
		t.Errorf("after the end no other begins: %v", err)
	}
	var missing *larder.NotFoundError
	if _, err := db.MeasureInRound(ctx, act(), uuid.New(), tags[0], larder.Measuring{Reading: &reading}); !errors.As(err, &missing) {
		t.Errorf("an unknown round took it: %v", err)
	}
}
