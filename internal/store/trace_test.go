package store

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/verdict"
)

func trace(t testing.TB, db *DB, kind larder.SubjectKind, id string) larder.Trace {
	t.Helper()
	tr, err := db.Trace(ctx, larder.Subject{Kind: kind, ID: id})
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// reaches are the depths of the jars on one side of a trace.
func reaches(tr larder.Trace, side func(larder.TraceJar) *int) map[larder.Tag]int {
	out := map[larder.Tag]int{}
	for _, j := range tr.Jars {
		if d := side(j); d != nil {
			out[j.Tag] = *d
		}
	}
	return out
}

func backward(j larder.TraceJar) *int { return j.Back }
func onward(j larder.TraceJar) *int   { return j.Forward }

// pass starts n single jars of wine with 3 L each.
func jarsOfWine(t testing.TB, db *DB, n int) []larder.Tag {
	t.Helper()
	b := damson()
	b.Jars = n
	var tags []larder.Tag
	for _, j := range start(t, db, b).Jars {
		tags = append(tags, j.Tag)
	}
	return tags
}

func topUp(t testing.TB, db *DB, from, to larder.Tag, volume float64) Saved {
	t.Helper()
	return add(t, db, to, body(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: from, VolumeML: ml(volume)}}))
}

// A trace follows time: what was poured into a jar after something had left it
// is not in what left.
func TestTraceFollowsTime(t *testing.T) {
	db, c := kitchen(t)
	j := jarsOfWine(t, db, 4)
	crock, early, late, fruit := j[0], j[1], j[2], j[3]
	c.pass(time.Hour)
	topUp(t, db, crock, early, 100)
	c.pass(time.Hour)
	topUp(t, db, fruit, crock, 200)
	c.pass(time.Hour)
	topUp(t, db, crock, late, 100)
	c.pass(time.Hour)
	topUp(t, db, late, crock, 50) // its own descendant: a cycle
	c.pass(time.Hour)
	if got, want := reaches(trace(t, db, larder.SubjectJar, string(fruit)), onward), (map[larder.Tag]int{fruit: 0, crock: 1, late: 2}); !reflect.DeepEqual(got, want) {
		t.Errorf("the fruit reached %v, want %v", got, want)
	}
	if got, want := reaches(trace(t, db, larder.SubjectJar, string(early)), backward), (map[larder.Tag]int{crock: 1}); !reflect.DeepEqual(got, want) {
		t.Errorf("the early jar came from %v, want %v", got, want)
	}
	tr := trace(t, db, larder.SubjectJar, string(crock))
	if got, want := reaches(tr, backward), (map[larder.Tag]int{fruit: 1, late: 1, crock: 2}); !reflect.DeepEqual(got, want) {
		t.Errorf("the crock came from %v, want %v", got, want)
	}
	if got, want := reaches(tr, onward), (map[larder.Tag]int{crock: 0, early: 1, late: 1}); !reflect.DeepEqual(got, want) {
		t.Errorf("the crock went into %v, want %v", got, want)
	}
	// The fruit's 3 L, the crock's 2.9 L and the late jar's 3 L that it met.
	b := trace(t, db, larder.SubjectJar, string(fruit)).Balance
	if b.MadeML != 8900 || b.OnHandML != 8900 || b.UnaccountedML != 0 || b.EffectivenessPercent != 100 {
		t.Errorf("the balance is %+v", b)
	}
}

// Two pourings dated with the same day are in neither order, so the trace takes
// both for possible.
func TestTraceOfVagueDates(t *testing.T) {
	db, c := kitchen(t)
	n := damson()
	n.When, n.Jars = c.daysAgo(9), 3
	var j []larder.Tag
	for _, one := range start(t, db, n).Jars {
		j = append(j, one.Tag)
	}
	on := func(w larder.When, from, to larder.Tag) {
		add(t, db, to, larder.NewEntry{When: w, Body: larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: from, VolumeML: ml(10)}}})
	}
	morning := larder.ExactAt(c.daysAgo(3).At.Add(-4 * time.Hour))
	on(morning, j[1], j[2])      // at 8:00
	on(c.daysAgo(3), j[0], j[1]) // some time that day
	if got := reaches(trace(t, db, larder.SubjectJar, string(j[0])), onward); len(got) != 3 {
		t.Errorf("it reached %v", got)
	}
	on(c.daysAgo(1), j[2], j[0]) // surely later
	if got := reaches(trace(t, db, larder.SubjectJar, string(j[2])), backward); !reflect.DeepEqual(got, map[larder.Tag]int{j[1]: 1, j[0]: 2}) {
		t.Errorf("it came from %v", got)
	}
}

// From a bought starter to the person who got a bottle, and back, with the
// figures of a recall: made, on hand, with others, used, unaccounted.
func TestTraceToTheGift(t *testing.T) {
	db, c := kitchen(t)
	n := damson()
	n.Ingredients[0].Supplier = "Hill Wines, Castle Road"
	tag := start(t, db, n).Jars[0].Tag
	add(t, db, tag, body(larder.StageChange{To: larder.Acetic, VolumeML: ml(2900), Starter: &larder.Feed{From: larder.FromBought, Name: "Live Cider Vinegar", VolumeML: ml(100), Live: true,
		Acidity: new(chem.GramsPer100ML(5)), Supplier: "Corner shop", SupplierLot: "B77"}}))
	c.pass(time.Hour)
	add(t, db, tag, titration())
	add(t, db, tag, body(larder.StageChange{To: larder.Finished}))
	c.pass(time.Hour)
	lot := bottle(t, db, 8, tag) // 2 L of 3 L
	if _, err := db.Give(ctx, act(), lot.Bottles[0].Tag, larder.NewGift{To: "ana"}); err != nil {
		t.Fatal(err)
	}
	add(t, db, tag, body(larder.StageChange{To: larder.Discarded, Reason: "spilt on the stairs"}))
	s, err := db.FindSubject(ctx, "live cider vinegar", "")
	if err != nil || s.Kind != larder.SubjectNamed || s.ID != "Live Cider Vinegar" {
		t.Fatalf("it is %+v, %v", s, err)
	}
	tr := trace(t, db, s.Kind, s.ID)
	if f := tr.Forward; len(f) != 2 || f[0].SupplierLot != "B77" || f[0].Supplier != "Corner shop" || *f[0].StatedAcidity != 5 || !f[0].Live || f[0].Depth != 1 || f[1].ToLot != lot.Lot.ID || f[1].Depth != 2 {
		t.Errorf("it went into %+v", f)
	}
	if p := tr.People(); len(p) != 1 || p[0].Name != "ana" || p[0].Bottles != 1 {
		t.Errorf("the people are %+v", p)
	}
	// 3000 in the jar before, 100 bought; straining took 100 away.
	want := larder.Balance{MadeML: 3100, OnHandML: 1750, GivenML: 250, UsedML: 1000, DiscardedML: 1000, UnaccountedML: 100}
	want.EffectivenessPercent = 3000.0 / 3100 * 100
	tr = trace(t, db, larder.SubjectJar, string(tag))
	if tr.Balance.EffectivenessPercent < 96.774 || tr.Balance.EffectivenessPercent > 96.775 {
		t.Errorf("effectiveness is %g", tr.Balance.EffectivenessPercent)
	}
	tr.Balance.EffectivenessPercent = want.EffectivenessPercent
	if !reflect.DeepEqual(tr.Balance, want) {
		t.Errorf("the balance is %+v, want %+v", tr.Balance, want)
	}
	if len(tr.Lots) != 1 || tr.Lots[0].Bottles != 8 || tr.Lots[0].Given != 1 || tr.Lots[0].MadeML != 2000 || tr.Lots[0].GivenML != 250 {
		t.Errorf("the lots are %+v", tr.Lots)
	}
	back := trace(t, db, larder.SubjectBottle, string(lot.Bottles[0].Tag))
	if len(back.Back) != 2 || back.Back[0].FromJar != tag || back.Back[1].FromName != "Live Cider Vinegar" || len(back.Batches) != 1 || back.Batches[0].Ingredients[0].Supplier == "" {
		t.Errorf("the bottle came from %+v of %+v", back.Back, back.Batches)
	}
	if len(back.Bottles) != 1 || back.Bottles[0].Gift.To != "ana" || back.Balance.GivenML != 250 || back.Balance.EffectivenessPercent != 100 {
		t.Errorf("the bottle is %+v, %+v", back.Bottles, back.Balance)
	}
	if tr := trace(t, db, larder.SubjectNamed, "Damson Wine"); len(tr.Gifts()) != 1 || tr.Balance.MadeML != 3100+3000 {
		t.Errorf("the ingredient reached %+v, %+v", tr.Gifts(), tr.Balance)
	}
	if names, err := db.Named(ctx); err != nil || !reflect.DeepEqual(names, []string{"damson wine", "Live Cider Vinegar"}) {
		t.Errorf("names are %v, %v", names, err)
	}
	for _, text := range []string{"saffron", "L000101Z"} {
		var missing *larder.NotFoundError
		if _, err := db.FindSubject(ctx, text, ""); !errors.As(err, &missing) {
			t.Errorf("%q is %v", text, err)
		}
	}
	for _, kind := range []larder.SubjectKind{larder.SubjectJar, larder.SubjectBottle, larder.SubjectLot, larder.SubjectBatch, larder.SubjectNamed} {
		var missing *larder.NotFoundError
		if _, err := db.Trace(ctx, larder.Subject{Kind: kind, ID: "999"}); !errors.As(err, &missing) {
			t.Errorf("a trace of %s 999: %v", kind, err)
		}
	}
}

// A hold stops all that came from the jar later, by liquid or by mother alone, and
// nothing that left for elsewhere before; lifting it frees them and keeps the story.
func TestHoldReachesDescendants(t *testing.T) {
	db, c := kitchen(t)
	j := jarsOfWine(t, db, 3)
	a, b, free := j[0], j[1], j[2]
	for _, tag := range j {
		finish(t, db, tag)
	}
	c.pass(time.Hour)
	add(t, db, b, body(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: a, Mother: true}}))
	c.pass(time.Hour)
	child := split(t, db, b, vessel(2000, 1000)).Jars[0].Tag
	before := bottle(t, db, 1, child)
	// An emptied jar can be held too: what came from it is still there.
	add(t, db, a, body(larder.StageChange{To: larder.Empty}))
	c.pass(time.Hour)
	hold := add(t, db, a, body(larder.Hold{On: true, Reason: "white fur"}))
	c.pass(time.Hour)
	_, err := db.Bottle(ctx, act(), larder.NewLot{Pours: []larder.Pour{{Jar: child}}, Runs: []larder.Run{{Count: 1, SizeML: 100}}})
	refused(t, err, "jars", "jar "+string(a)+", which is on hold: white fur")
	_, err = db.Give(ctx, act(), before.Bottles[0].Tag, larder.NewGift{To: "ana"})
	refused(t, err, "", "jar "+string(a)+": white fur")
	bottle(t, db, 1, free)
	for tag, want := range map[larder.Tag]int{a: 1, b: 1, child: 1, free: 0, before.Bottles[0].Tag: 1} {
		held, err := db.HeldAncestors(ctx, tag)
		if err != nil || len(held) != want || (want == 1 && held[0] != larder.Held{Jar: a, Reason: "white fur", Since: hold.Entry.When}) {
			t.Errorf("behind %s is %v, %v", tag, held, err)
		}
	}
	// What a hold stands behind is no food either, for a jar and for its bottles.
	for tag, lot := range map[larder.Tag]larder.Lot{child: before.Lot, free: {}} {
		o, err := db.Outlook(ctx, tag, c.now)
		if err != nil {
			t.Fatal(err)
		}
		findings := o.Verdict
		if lot.ID != "" {
			of, err := db.VerdictOfLot(ctx, lot, c.now)
			if err != nil {
				t.Fatal(err)
			}
			findings = append(findings, of...)
		}
		for _, f := range findings {
			if !f.Use.Food() || f.Use == verdict.Canning {
				continue
			}
			if told := strings.Contains(strings.Join(f.Against(), " "), "on hold: jar "+a.Spaced()+": white fur"); told != (tag == child) || told && f.Answer != verdict.No {
				t.Errorf("%s, %s: %s, %q", tag, f.Use, f.Answer, f.Against())
			}
		}
	}
	if p := history(t, db, child); len(p.Held) != 1 {
		t.Errorf("the page of the descendant shows %v", p.Held)
	}
	if tr := trace(t, db, larder.SubjectJar, string(child)); len(tr.Held) != 1 || tr.Held[0].Jar != a {
		t.Errorf("the trace shows %v", tr.Held)
	}
	// Lists mark what a hold stands behind, each as its own page says it.
	behind := func(want bool) {
		t.Helper()
		lots, err := db.Lots(ctx)
		if err != nil || len(lots) != 2 {
			t.Fatalf("%d lots, %v", len(lots), err)
		}
		for _, l := range lots {
			if l.Behind != (want && l.Lot.ID == before.Lot.ID) {
				t.Errorf("lot %s is marked %v", l.Lot.ID, l.Behind)
			}
		}
		tr := trace(t, db, larder.SubjectJar, string(b))
		for _, j := range tr.Jars {
			if j.Behind != (want && j.Tag != a) {
				t.Errorf("jar %s of the trace is marked %v", j.Tag, j.Behind)
			}
		}
		if len(tr.Lots) != 1 || tr.Lots[0].Behind != want {
			t.Errorf("the lots of the trace are %+v", tr.Lots)
		}
	}
	behind(true)
	// What was done before the hold and is logged late is a record.
	late := larder.NewGift{To: "ben", When: larder.ExactAt(before.Lot.When.At)}
	if _, err := db.Give(ctx, act(), before.Bottles[0].Tag, late); err != nil {
		t.Error(err)
	}
	if _, err := db.TakeBack(ctx, act(), before.Bottles[0].Tag, "ben brought it back unopened"); err != nil {
		t.Error(err)
	}
	add(t, db, a, body(larder.Hold{Reason: "it was flour"}))
	behind(false)
	bottle(t, db, 1, child)
	if _, err := db.Give(ctx, act(), before.Bottles[0].Tag, larder.NewGift{To: "ana"}); err != nil {
		t.Error(err)
	}
	var story []string
	for _, e := range history(t, db, a).Entries {
		if h, ok := e.Body.(larder.Hold); ok {
			story = append(story, h.Reason)
		}
	}
	if !reflect.DeepEqual(story, []string{"it was flour", "white fur"}) || hold.Entry.Struck() {
		t.Errorf("the story is %v", story)
	}
	sound(t, db)
}

func TestHoldOfALot(t *testing.T) {
	db, c := kitchen(t)
	tag := jarsOfWine(t, db, 1)[0]
	finish(t, db, tag)
	lot := bottle(t, db, 2, tag)
	c.pass(time.Hour)
	if _, err := db.HoldLot(ctx, act(), lot.Lot.ID, larder.NewLotHold{Reason: "x"}); err == nil {
		t.Error("a lot that is not held was released")
	}
	_, err := db.HoldLot(ctx, act(), lot.Lot.ID, larder.NewLotHold{On: true})
	refused(t, err, "reason", "missing")
	held, err := db.HoldLot(ctx, act(), lot.Lot.ID, larder.NewLotHold{On: true, Reason: "a cork crumbled"})
	if err != nil || held.Lot.Hold != "a cork crumbled" {
		t.Fatalf("%+v, %v", held.Lot, err)
	}
	_, err = db.Give(ctx, act(), lot.Bottles[0].Tag, larder.NewGift{To: "ana"})
	refused(t, err, "", "lot "+lot.Lot.ID+": a cork crumbled")
	if h, err := db.HeldOfLot(ctx, lot.Lot.ID); err != nil || len(h) != 1 || h[0].Lot != lot.Lot.ID {
		t.Errorf("the lot is held by %v, %v", h, err)
	}
	bottle(t, db, 1, tag) // the jar itself is free
	if lots, err := db.Lots(ctx); err != nil || lots[1].Lot.Hold != "a cork crumbled" || lots[0].Lot.Hold != "" {
		t.Errorf("lots are %+v, %v", lots, err)
	}
	if _, err := db.HoldLot(ctx, act(), lot.Lot.ID, larder.NewLotHold{Reason: "only one bottle"}); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Give(ctx, act(), lot.Bottles[0].Tag, larder.NewGift{To: "ana"}); err != nil {
		t.Error(err)
	}
	log, err := db.LotLog(ctx, lot.Lot.ID)
	if err != nil || len(log) != 2 || !log[0].On || log[1].On || log[1].Reason != "only one bottle" || log[0].By != "ro" {
		t.Errorf("the lot's log is %+v, %v", log, err)
	}
	sound(t, db)
}

func TestGiftsTakenBack(t *testing.T) {
	db, c := kitchen(t)
	tag := jarsOfWine(t, db, 1)[0]
	finish(t, db, tag)
	lot := bottle(t, db, 3, tag)
	one, two := lot.Bottles[0].Tag, lot.Bottles[1].Tag
	_, err := db.TakeBack(ctx, act(), one, "never left")
	refused(t, err, "", "not given to anyone")
	give := func(tag larder.Tag, to string) {
		t.Helper()
		c.pass(time.Minute)
		if _, err := db.Give(ctx, act(), tag, larder.NewGift{To: to}); err != nil {
			t.Fatal(err)
		}
	}
	give(one, "ana")
	give(two, "ana")
	_, err = db.Give(ctx, act(), one, larder.NewGift{To: "ben"})
	refused(t, err, "", "already given to ana")
	_, err = db.TakeBack(ctx, act(), one, "")
	refused(t, err, "reason", "missing")
	back := act()
	for range 2 { // the second time changes nothing
		p, err := db.TakeBack(ctx, back, one, "wrong bottle")
		if err != nil || p.Bottle.Gift != nil || len(p.Taken) != 1 || p.Taken[0].TakenBack.Reason != "wrong bottle" || p.Taken[0].To != "ana" {
			t.Fatalf("%+v, %v", p, err)
		}
	}
	give(one, "ben")
	who, err := db.Recipients(ctx)
	if err != nil || len(who) != 2 || who[0].Name != "ana" || who[0].Bottles != 1 || who[1].Name != "ben" || who[1].Last.At != c.now {
		t.Errorf("they are %+v, %v", who, err)
	}
	gifts, err := db.Gifts(ctx)
	if err != nil || len(gifts) != 3 || gifts[0].Bottle.Gift.To != "ben" || gifts[2].Bottle.Gift.TakenBack == nil || gifts[1].Bottle.Gift.TakenBack != nil || gifts[0].LotName != lot.Lot.Name {
		t.Errorf("gifts are %+v, %v", gifts, err)
	}
	if lots, err := db.Lots(ctx); err != nil || lots[0].Given != 2 || lots[0].Bottles != 3 {
		t.Errorf("lots are %+v, %v", lots, err)
	}
	if r := sound(t, db); r.Gifts != 2 {
		t.Errorf("%d gifts stand", r.Gifts)
	}
}

// A lot names all that went into its jars, the heaviest first, and the wine that
// a blend or a starter brought along, since it may bring sulphites.
func TestLotIsMadeOf(t *testing.T) {
	db, c := kitchen(t)
	wine := jarsOfWine(t, db, 1)[0]
	n := damson()
	n.Name, n.Base, n.Stage, n.Jars, n.FillML = "Cider", larder.Juice, larder.Alcoholic, 1, ml(2000)
	n.Ingredients = []larder.Ingredient{{Name: "apple juice", Amount: chem.Amount{VolumeML: 1900}}, {Name: "honey", Amount: chem.Amount{MassG: 200}}}
	cider := start(t, db, n).Jars[0].Tag
	c.pass(time.Hour)
	add(t, db, cider, body(larder.StageChange{To: larder.Acetic, VolumeML: ml(2000), Starter: &larder.Feed{From: larder.FromJar, Jar: wine, VolumeML: ml(300)}}))
	add(t, db, cider, body(larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: ml(700)}}))
	add(t, db, cider, body(larder.Transfer{What: larder.Infused, Feed: &larder.Feed{From: larder.FromOther, Name: "thyme"}}))
	add(t, db, cider, body(larder.StageChange{To: larder.Finished}))
	c.pass(time.Hour)
	// 300 mL of wine, 700 mL of water, 200 g of honey, 1.9 L of juice in 3 L.
	lot := bottle(t, db, 2, cider).Lot
	if want := []string{"apple juice", "water", "damson wine", "honey", "thyme"}; !reflect.DeepEqual(lot.Ingredients, want) {
		t.Errorf("it is made of %v, want %v", lot.Ingredients, want)
	}
	if !reflect.DeepEqual(lot.Bases, []larder.Base{larder.Juice}) || !reflect.DeepEqual(lot.TraceBases, []larder.Base{larder.Wine}) || !slices.ContainsFunc(verdict.OnLot(lot, verdict.EU), func(s verdict.Short) bool { return s.ID == verdict.ShortSulphites }) {
		t.Errorf("its bases are %v and %v", lot.Bases, lot.TraceBases)
	}
	// What goes into the wine now did not go into that lot.
	add(t, db, wine, body(larder.StageChange{To: larder.Acetic, VolumeML: ml(2700), Starter: &larder.Feed{From: larder.FromJar, Jar: cider, VolumeML: ml(300)}}))
	add(t, db, wine, body(larder.StageChange{To: larder.Finished}))
	c.pass(time.Hour)
	mixed := blend(t, db, larder.NewBlend{Name: "Half and half", SizeML: 3000, Pours: []larder.Pour{{Jar: wine, VolumeML: 500}, {Jar: cider, VolumeML: 500}}}).Jars[0].Tag
	lot = bottle(t, db, 2, split(t, db, mixed, vessel(1000, 600)).Jars[0].Tag).Lot
	if !reflect.DeepEqual(lot.Bases, []larder.Base{larder.Wine, larder.Juice}) || lot.TraceBases != nil || lot.Ingredients[0] != "damson wine" || lot.Ingredients[1] != "apple juice" {
		t.Errorf("the blend's lot is made of %v, %v and %v", lot.Ingredients, lot.Bases, lot.TraceBases)
	}
}

// A text names one thing, several that are told, a mistyped tag, or nothing.
func TestFindSubject(t *testing.T) {
	db, _ := kitchen(t)
	n := damson()
	n.Name = "Cider"
	n.Ingredients = []larder.Ingredient{{Name: "cider"}, {Name: "100 % juice_a"}}
	first := start(t, db, n)
	n.Ingredients = []larder.Ingredient{{Name: "Cider"}, {Name: "honey"}}
	second := start(t, db, n)
	tag := first.Jars[0].Tag
	for _, c := range []struct {
		text string
		kind larder.SubjectKind
		want larder.Subject
	}{
		{string(tag), "", larder.Subject{Kind: larder.SubjectJar, ID: string(tag)}},
		{" " + strings.ToLower(string(tag)), "", larder.Subject{Kind: larder.SubjectJar, ID: string(tag)}},
		{"batch 2", "", larder.Subject{Kind: larder.SubjectBatch, ID: "2"}},
		{"2", larder.SubjectBatch, larder.Subject{Kind: larder.SubjectBatch, ID: "2"}},
		{"HONEY", "", larder.Subject{Kind: larder.SubjectNamed, ID: "honey"}},
		{"hon", "", larder.Subject{Kind: larder.SubjectNamed, ID: "honey"}},
		{"% juice_", "", larder.Subject{Kind: larder.SubjectNamed, ID: "100 % juice_a"}},
		{"cider", larder.SubjectNamed, larder.Subject{Kind: larder.SubjectNamed, ID: "Cider"}},
	} {
		got, err := db.FindSubject(ctx, c.text, c.kind)
		if err != nil || got.Kind != c.want.Kind || !strings.EqualFold(got.ID, c.want.ID) {
			t.Errorf("%q (%s) is %+v (%v), want %+v", c.text, c.kind, got, err, c.want)
		}
	}
	var several *larder.SeveralError
	if _, err := db.FindSubject(ctx, "cider", ""); !errors.As(err, &several) || len(several.Choices) != 3 {
		t.Errorf("cider: %v, want the ingredient and batches 1 and 2", err)
	} else if text := err.Error(); !strings.Contains(text, "batch 2, Cider; batch 1, Cider") || !strings.Contains(text, "(an ingredient)") || strings.Contains(text, "more") {
		t.Errorf("it says %q", text)
	}
	for i := range 30 {
		n.Name, n.Ingredients = fmt.Sprintf("Quince %d", i), nil
		start(t, db, n)
	}
	if _, err := db.FindSubject(ctx, "quince", ""); !errors.As(err, &several) || len(several.Choices) != 20 || !several.More {
		t.Errorf("quince: %v", err)
	}
	// A mistyped tag of letters alone may as well be a name; one with a digit may not.
	for !strings.ContainsAny(string(second.Jars[0].Tag), "0123456789") {
		second = start(t, db, n)
	}
	swapped := []byte(second.Jars[0].Tag)
	for i := 1; i < len(swapped); i++ {
		if swapped[i] != swapped[i-1] {
			swapped[i], swapped[i-1] = swapped[i-1], swapped[i]
			break
		}
	}
	var damaged *larder.TagError
	if _, err := db.FindSubject(ctx, string(swapped), ""); !errors.As(err, &damaged) || !strings.Contains(err.Error(), "mistyped") {
		t.Errorf("a damaged tag: %v", err)
	}
	for _, text := range []string{"%", "x_y", "batch 99", "L261125A", "no such thing"} {
		var missing *larder.NotFoundError
		if got, err := db.FindSubject(ctx, text, ""); text != "%" && !errors.As(err, &missing) {
			t.Errorf("%q is %+v, %v", text, got, err)
		}
	}
	if _, err := db.FindSubject(ctx, " ", ""); err == nil {
		t.Error("nothing at all was found")
	}
}

// Bottles that are only counted give the same figures as listed ones, also where
// a lot has bottles of two sizes and gifts were taken back.
func TestTraceCountsBottles(t *testing.T) {
	db, _ := kitchen(t)
	tag := jarsOfWine(t, db, 1)[0]
	for _, to := range []larder.Stage{larder.Acetic, larder.Finished} {
		add(t, db, tag, body(larder.StageChange{To: to, VolumeML: ml(3000), Starter: map[larder.Stage]*larder.Feed{larder.Acetic: {From: larder.FromAir}}[to]}))
	}
	for _, runs := range [][]larder.Run{{{Count: 2, SizeML: 500}, {Count: 3, SizeML: 100}}, {{Count: 4, SizeML: 250}}} {
		lot, err := db.Bottle(ctx, act(), larder.NewLot{Pours: []larder.Pour{{Jar: tag}}, Runs: runs})
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range []int{0, 1, 3} {
			if _, err := db.Give(ctx, act(), lot.Bottles[i].Tag, larder.NewGift{To: "ana"}); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := db.TakeBack(ctx, act(), lot.Bottles[1].Tag, "came back"); err != nil {
			t.Fatal(err)
		}
	}
	whole := trace(t, db, larder.SubjectJar, string(tag))
	counted, err := db.TraceUpTo(ctx, whole.Subject, 8)
	if err != nil || len(whole.Bottles) != 9 || len(counted.Bottles) != 0 || counted.UnlistedBottles != 9 {
		t.Fatalf("%d bottles listed, %d and %d counted (%v)", len(whole.Bottles), len(counted.Bottles), counted.UnlistedBottles, err)
	}
	if !reflect.DeepEqual(whole.Lots, counted.Lots) || !reflect.DeepEqual(whole.Balance, counted.Balance) {
		t.Errorf("counted %+v %+v\nlisted %+v %+v", counted.Lots, counted.Balance, whole.Lots, whole.Balance)
	}
	if l := whole.Lots; l[0].Given != 2 || l[0].GivenML != 600 || l[1].GivenML != 500 || l[0].MadeML != 1300 {
		t.Errorf("the lots are %+v", l)
	}
}
