package store

import (
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

func vessel(size, volume float64) larder.Part {
	return larder.Part{SizeML: chem.Millilitres(size), VolumeML: chem.Millilitres(volume)}
}

// split, move and blend do so at once and fail the test when refused.
func split(t testing.TB, db *DB, from larder.Tag, parts ...larder.Part) Filled {
	t.Helper()
	f, err := db.Split(ctx, act(), from, larder.NewSplit{Parts: parts})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func move(t testing.TB, db *DB, from larder.Tag, n larder.NewMove) Filled {
	t.Helper()
	f, err := db.Move(ctx, act(), from, n)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func blend(t testing.TB, db *DB, n larder.NewBlend) Filled {
	t.Helper()
	f, err := db.Blend(ctx, act(), n)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func stateText(t testing.TB, db *DB, tag larder.Tag) string {
	t.Helper()
	text, err := json.Marshal(jar(t, db, tag).State)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// A split keeps batch and stage, letters go on, what is known of the liquid
// goes along, and the volumes add up.
func TestSplit(t *testing.T) {
	db, c := kitchen(t)
	s := start(t, db, damson())
	a := s.Jars[0].Tag
	finish(t, db, a) // 3500 mL
	spares, err := db.IssueSpares(ctx, act(), 1)
	if err != nil {
		t.Fatal(err)
	}
	c.pass(time.Hour)
	second := vessel(500, 400)
	second.SpareTag, second.Place = spares[0], "cellar"
	n := larder.NewSplit{Parts: []larder.Part{vessel(2000, 1500), second}, Note: "for herbs"}
	key := act()
	f, err := db.Split(ctx, key, a, n)
	if err != nil {
		t.Fatal(err)
	}
	holdsML(t, db, a, 1600)
	holdsML(t, db, f.Jars[0].Tag, 1500)
	holdsML(t, db, f.Jars[1].Tag, 400)
	if f.Jars[0].Letter != "C" || f.Jars[1].Letter != "D" || f.Jars[1].Tag != spares[0] || f.Jars[1].Place != "cellar" || f.Jars[0].Place != "pantry" {
		t.Errorf("the new jars are %+v", f.Jars)
	}
	if f.Batch.ID != s.Batch.ID || len(f.From) != 1 || f.From[0].Tag != a {
		t.Errorf("the batch is %+v, from %+v", f.Batch, f.From)
	}
	was, is := jar(t, db, a).State, f.Jars[0].State
	if is.Stage != larder.Finished || *is.Acidity != *was.Acidity || is.Acidity.Basis != larder.ByTitration || is.Starter != was.Starter || !is.StrainedAt.Equal(*was.StrainedAt) {
		t.Errorf("the part is %+v of %+v", is, was)
	}
	p := history(t, db, f.Jars[0].Tag)
	if len(p.CameFrom) != 1 || p.CameFrom[0].FromJar != a || p.CameFrom[0].What != larder.SplitOff || *p.CameFrom[0].VolumeML != 1500 {
		t.Errorf("it came from %+v", p.CameFrom)
	}
	again, err := db.Split(ctx, key, a, n)
	if err != nil || !again.Replayed || len(again.Jars) != 2 || again.Jars[0].Tag != f.Jars[0].Tag {
		t.Errorf("sent again: %+v, %v", again, err)
	}
	sound(t, db)
	// Splitting all of it empties the jar.
	split(t, db, a, vessel(2000, 1600))
	if st := jar(t, db, a).State; st.Stage != larder.Empty || *st.VolumeML != 0 {
		t.Errorf("the jar is %+v", st)
	}
	sound(t, db)
}

func TestMove(t *testing.T) {
	db, c := kitchen(t)
	a := start(t, db, damson()).Jars[0].Tag
	add(t, db, a, body(larder.Action{What: larder.MouldSeen}))
	add(t, db, a, body(larder.Hold{Reason: "it was a mother"}))
	c.pass(time.Hour)
	f := move(t, db, a, larder.NewMove{SizeML: 4000, VolumeML: ml(2900), Place: "shelf 2"})
	holdsML(t, db, f.Jars[0].Tag, 2900)
	if st := jar(t, db, a).State; st.Stage != larder.Empty {
		t.Errorf("the old jar is %+v", st)
	}
	if f.Jars[0].State.MouldAt == nil || f.Jars[0].State.Stage != larder.Alcoholic {
		t.Errorf("the new jar is %+v", f.Jars[0].State)
	}
	tr := trace(t, db, larder.SubjectJar, string(a))
	if b := tr.Balance; b.MadeML != 3000 || b.OnHandML != 2900 || b.UsedML != 100 || b.UnaccountedML != 0 || b.EffectivenessPercent != 100 {
		t.Errorf("the balance is %+v", b)
	}
	sound(t, db)
}

// A blend begins a batch: its acidity is the mean by volume, computed; its
// recipe is what went in by share; the bases that differ make it "other".
func TestBlend(t *testing.T) {
	db, c := kitchen(t)
	wine := start(t, db, damson()).Jars[0].Tag // 3000 mL of 6000 mL made
	n := damson()
	n.Name, n.Base, n.Jars, n.FillML, n.TargetGPer100ML = "Cider", larder.Juice, 1, ml(2000), 6
	n.Stage = larder.Alcoholic
	n.Ingredients = []larder.Ingredient{{Name: "apple juice", Amount: chem.Amount{Value: 2, Unit: "L", VolumeML: 2000}, Supplier: "Low Orchard, Mill Lane"}}
	cider := start(t, db, n).Jars[0].Tag
	finish(t, db, wine)  // 3500 mL at 5.05
	finish(t, db, cider) // 3500 mL
	c.pass(time.Hour)
	add(t, db, cider, body(larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: ml(500)}}))
	c.pass(time.Hour)
	f := blend(t, db, larder.NewBlend{Name: "House vinegar", SizeML: 5000, Pours: []larder.Pour{{Jar: wine, VolumeML: 1000}, {Jar: cider}}})
	if f.Batch.Base != larder.OtherBase || f.Batch.TargetGPer100ML != 6 || f.Batch.Name != "House vinegar" || f.Jars[0].Letter != "A" {
		t.Errorf("the batch is %+v", f.Batch)
	}
	holdsML(t, db, f.Jars[0].Tag, 5000)
	holdsML(t, db, wine, 2500)
	if jar(t, db, cider).State.Stage != larder.Empty {
		t.Error("the cider's jar is not empty")
	}
	got, a, b := f.Jars[0].State.Acidity, jar(t, db, wine).State.Acidity, jar(t, db, cider).State.Acidity
	want := (1000*a.GPer100ML + 4000*b.GPer100ML) / 5000
	if got == nil || got.Basis != larder.Computed || (got.GPer100ML-want) > 1e-9 || (want-got.GPer100ML) > 1e-9 {
		t.Errorf("the acidity is %+v, want %g", got, want)
	}
	if w := f.Jars[0].State.WaterPart; w < 0.0999 || w > 0.1001 { // 500 mL of 4000, of which all went into 5000
		t.Errorf("the water's part is %g", w)
	}
	// 1000 of the 6000 mL that the recipe of 3000 mL stands for; the whole cider.
	if names := larder.IngredientsByWeight(f.Batch.Ingredients); !slices.Equal(names, []string{"apple juice", "damson wine"}) {
		t.Errorf("the ingredients are %v", f.Batch.Ingredients)
	}
	if i := f.Batch.Ingredients[0]; i.Amount.VolumeML != 500 || f.Batch.Ingredients[1].Supplier == "" {
		t.Errorf("the ingredients are %v", f.Batch.Ingredients)
	}
	sound(t, db)
	// The titration behind it was wrong: the blend does not keep what rested on it.
	for _, e := range history(t, db, wine).Entries {
		if e.Kind == larder.KindTitration {
			if _, err := db.Strike(ctx, act(), e.ID, "wrong base"); err != nil {
				t.Fatal(err)
			}
		}
	}
	if s := jar(t, db, f.Jars[0].Tag).State; s.Acidity != nil {
		t.Errorf("the blend keeps %+v", s.Acidity)
	}
	sound(t, db)
}

func TestInfusing(t *testing.T) {
	db, _ := kitchen(t)
	a := start(t, db, damson()).Jars[0].Tag
	finish(t, db, a)
	before := jar(t, db, a).State
	add(t, db, a, body(larder.Transfer{What: larder.Infused, Feed: &larder.Feed{From: larder.FromOther, Name: "tarragon", MassG: new(chem.Grams(20)), Supplier: "Herb Farm"}}))
	s := jar(t, db, a).State
	if !slices.Equal(s.Infused, []string{"tarragon"}) || *s.VolumeML != *before.VolumeML || s.Acidity.Basis != larder.ByTitration {
		t.Errorf("the jar is %+v", s)
	}
	_, err := db.Append(ctx, act(), a, body(larder.Transfer{What: larder.Infused, Feed: &larder.Feed{From: larder.FromOther, Name: "wine", VolumeML: ml(10)}}))
	refused(t, err, "feed_volume_ml", "weighed, not poured")
	tr := trace(t, db, larder.SubjectNamed, "Tarragon")
	if len(tr.Forward) != 1 || tr.Forward[0].Supplier != "Herb Farm" || *tr.Forward[0].MassG != 20 || tr.Forward[0].ToJar != a {
		t.Errorf("tarragon went into %+v", tr.Forward)
	}
}

// Each of these is refused in a sentence and leaves nothing behind.
func TestTransfersRefused(t *testing.T) {
	db, c := kitchen(t)
	s := start(t, db, damson())
	a, b := s.Jars[0].Tag, s.Jars[1].Tag
	n := damson()
	n.Name, n.Jars, n.FillML = "unmeasured", 1, nil
	unknown := start(t, db, n).Jars[0].Tag
	gone, held := start(t, db, damson()).Jars[0].Tag, start(t, db, damson()).Jars[1].Tag
	add(t, db, gone, body(larder.StageChange{To: larder.Discarded, Reason: "mould"}))
	add(t, db, held, body(larder.Hold{On: true, Reason: "white fur"}))
	c.pass(time.Hour)
	before := rows(t, db)
	states := map[larder.Tag]string{}
	for _, tag := range []larder.Tag{a, b, unknown, gone, held} {
		states[tag] = stateText(t, db, tag)
	}
	trySplit := func(from larder.Tag, when larder.When, parts ...larder.Part) error {
		_, err := db.Split(ctx, act(), from, larder.NewSplit{When: when, Parts: parts})
		return err
	}
	tryBlend := func(when larder.When, size float64, pours ...larder.Pour) error {
		_, err := db.Blend(ctx, act(), larder.NewBlend{Name: "x", When: when, SizeML: chem.Millilitres(size), Pours: pours})
		return err
	}
	tryMove := func(from larder.Tag, n larder.NewMove) error {
		_, err := db.Move(ctx, act(), from, n)
		return err
	}
	tryFeed := func(to larder.Tag, f larder.Feed) error {
		_, err := db.Append(ctx, act(), to, body(larder.Transfer{What: larder.TopUp, Feed: &f}))
		return err
	}
	spare := vessel(1000, 500)
	spare.SpareTag = b
	twice := vessel(1000, 500)
	twice.SpareTag = "000000"
	for name, one := range map[string]struct {
		err         error
		field, says string
	}{
		"more than there is":          {trySplit(a, larder.When{}, vessel(2000, 2000), vessel(2000, 1001)), "volume_ml", "cannot be taken out"},
		"into nothing":                {trySplit(a, larder.When{}), "parts", "into which vessels"},
		"a part of nothing":           {trySplit(a, larder.When{}, vessel(500, 0)), "parts[0].volume_ml", "nothing is no split"},
		"a part that does not fit":    {trySplit(a, larder.When{}, vessel(500, 501)), "parts[0].volume_ml", "cannot hold"},
		"no vessel":                   {trySplit(a, larder.When{}, vessel(0, 100)), "parts[0].size_ml", "how much the new vessel holds"},
		"a split of a retired jar":    {trySplit(gone, larder.When{}, vessel(500, 100)), "", "is discarded"},
		"a split of a held jar":       {trySplit(held, larder.When{}, vessel(500, 100)), "", "on hold: white fur"},
		"before the jar existed":      {trySplit(a, c.daysAgo(9), vessel(500, 100)), "when", "before jar " + string(a) + " was started"},
		"a tag that is no spare":      {trySplit(a, larder.When{}, spare), "parts[0].spare_tag", "not a spare one"},
		"a spare tag twice":           {trySplit(a, larder.When{}, twice, twice), "parts[1].spare_tag", "named twice"},
		"a move of nobody knows what": {tryMove(unknown, larder.NewMove{SizeML: 5000}), "volume_ml", "does not say how much"},
		"a move into too small":       {tryMove(a, larder.NewMove{SizeML: 2000}), "volume_ml", "cannot hold"},
		"a move of a held jar":        {tryMove(held, larder.NewMove{SizeML: 5000}), "", "on hold"},
		"a move onto its own tag":     {tryMove(a, larder.NewMove{SizeML: 5000, SpareTag: a}), "spare_tag", "not a spare one"},
		"a blend of one":              {tryBlend(larder.When{}, 5000, larder.Pour{Jar: a}), "jars", "joins 2 to"},
		"a blend with itself":         {tryBlend(larder.When{}, 5000, larder.Pour{Jar: a, VolumeML: 10}, larder.Pour{Jar: a, VolumeML: 10}), "jars", "named twice"},
		"a blend with a held jar":     {tryBlend(larder.When{}, 5000, larder.Pour{Jar: a, VolumeML: 10}, larder.Pour{Jar: held, VolumeML: 10}), "jars", "on hold"},
		"a blend that does not fit":   {tryBlend(larder.When{}, 5000, larder.Pour{Jar: a}, larder.Pour{Jar: b}), "volume_ml", "cannot hold"},
		"a blend of too much":         {tryBlend(larder.When{}, 5000, larder.Pour{Jar: a, VolumeML: 3001}, larder.Pour{Jar: b, VolumeML: 1}), "volume_ml", "cannot be taken out"},
		"a blend of what is unknown":  {tryBlend(larder.When{}, 5000, larder.Pour{Jar: a, VolumeML: 1}, larder.Pour{Jar: unknown}), "jars", "Say how much"},
		"a blend before it existed":   {tryBlend(c.daysAgo(9), 5000, larder.Pour{Jar: a, VolumeML: 1}, larder.Pour{Jar: b, VolumeML: 1}), "when", "was started"},
		"a starter from a held jar":   {tryFeed(a, larder.Feed{From: larder.FromJar, Jar: held, VolumeML: ml(10)}), "feed_jar", "on hold: white fur"},
		"a mother from a held jar":    {tryFeed(a, larder.Feed{From: larder.FromJar, Jar: held, Mother: true}), "feed_jar", "on hold: white fur"},
		"a jar into itself":           {tryFeed(a, larder.Feed{From: larder.FromJar, Jar: a, VolumeML: ml(10)}), "feed_jar", "cannot give to itself"},
	} {
		t.Run(name, func(t *testing.T) { refused(t, one.err, one.field, one.says) })
	}
	if after := rows(t, db); !maps.Equal(after, before) {
		t.Errorf("rows went from %v to %v", before, after)
	}
	for tag, want := range states {
		if got := stateText(t, db, tag); got != want {
			t.Errorf("jar %s went from %s to %s", tag, want, got)
		}
	}
	if _, err := db.Append(ctx, act(), a, body(larder.Transfer{What: larder.SplitOff, Feed: &larder.Feed{From: larder.FromJar, Jar: b, VolumeML: ml(1)}})); err == nil {
		t.Error("a split was logged by hand")
	}
}

// Striking a split, a move or a blend puts back all jars that it touched; the new
// ones never were, their tags stay used. Once something else was logged of a new
// jar, that must be struck first.
func TestStrikeOfATransfer(t *testing.T) {
	db, c := kitchen(t)
	s := start(t, db, damson())
	a, b := s.Jars[0].Tag, s.Jars[1].Tag
	finish(t, db, a)
	finish(t, db, b)
	for name, do := range map[string]func() Filled{
		"split": func() Filled { return split(t, db, a, vessel(1000, 1000), vessel(1000, 500)) },
		"all":   func() Filled { return split(t, db, a, vessel(5000, 3500)) },
		"move":  func() Filled { return move(t, db, a, larder.NewMove{SizeML: 5000}) },
		"blend": func() Filled {
			return blend(t, db, larder.NewBlend{Name: "x", SizeML: 5000, Pours: []larder.Pour{{Jar: a, VolumeML: 1000}, {Jar: b}}})
		},
		"blend2": func() Filled {
			return blend(t, db, larder.NewBlend{Name: "y", SizeML: 5000, Pours: []larder.Pour{{Jar: b, VolumeML: 1000}, {Jar: a}}})
		},
	} {
		t.Run(name, func(t *testing.T) {
			c.pass(time.Hour)
			before := stateText(t, db, a) + stateText(t, db, b)
			f := do()
			if stateText(t, db, a)+stateText(t, db, b) == before {
				t.Fatal("nothing happened")
			}
			child := f.Jars[0].Tag
			c.pass(time.Minute)
			e := add(t, db, child, ph(3.2))
			_, err := db.Strike(ctx, act(), f.Entry, "wrong jar")
			refused(t, err, "", "has a reading logged since")
			if _, err := db.Strike(ctx, act(), e.Entry.ID, "not read"); err != nil {
				t.Fatal(err)
			}
			if _, err := db.Strike(ctx, act(), f.Entry, "wrong jar"); err != nil {
				t.Fatal(err)
			}
			if after := stateText(t, db, a) + stateText(t, db, b); after != before {
				t.Errorf("the jars were\n%s\nand are\n%s", before, after)
			}
			for _, j := range f.Jars {
				if st := jar(t, db, j.Tag).State; st.Stage != larder.Void || st.VolumeML != nil {
					t.Errorf("the new jar is %+v", st)
				}
				if kind, err := db.TagKind(ctx, j.Tag); err != nil || kind != "jar" {
					t.Errorf("its tag is a %s's, %v", kind, err)
				}
				if p := history(t, db, j.Tag); len(p.CameFrom) != 0 || !strings.Contains(p.Entries[0].Body.(larder.Strike).Reason, "wrong jar") {
					t.Errorf("its page shows %+v", p)
				}
				_, err := db.Append(ctx, act(), j.Tag, ph(3))
				refused(t, err, "", "never was")
				_, err = db.Append(ctx, act(), j.Tag, body(larder.Hold{On: true, Reason: "x"}))
				refused(t, err, "", "never was")
			}
			sound(t, db)
		})
	}
	// Striking the entry of the new jar takes back the same act.
	f := split(t, db, a, vessel(1000, 1000))
	entries := history(t, db, f.Jars[0].Tag).Entries
	if _, err := db.Strike(ctx, act(), entries[len(entries)-1].ID, "wrong jar"); err != nil {
		t.Error(err)
	}
	holdsML(t, db, a, 3500)
	sound(t, db)
}

// What was logged of later days stays with the jar when a split is logged late.
func TestSplitLoggedLate(t *testing.T) {
	db, c := kitchen(t)
	n := damson()
	n.When = c.daysAgo(20)
	a := start(t, db, n).Jars[0].Tag
	dated := func(days int, e larder.NewEntry) larder.NewEntry { e.When = c.daysAgo(days); return e }
	add(t, db, a, dated(18, body(larder.StageChange{To: larder.Acetic, VolumeML: ml(3000), Starter: &larder.Feed{From: larder.FromAir}})))
	add(t, db, a, dated(3, titration()))
	add(t, db, a, dated(2, body(larder.Action{What: larder.Pasteurised, TempC: new(chem.Celsius(65)), Minutes: new(30.0)})))
	f, err := db.Split(ctx, act(), a, larder.NewSplit{When: c.daysAgo(10), Parts: []larder.Part{vessel(1000, 1000)}})
	if err != nil {
		t.Fatal(err)
	}
	if s := f.Jars[0].State; s.Acidity != nil || s.HeatedAt != nil || s.Stage != larder.Acetic {
		t.Errorf("ten days ago it was %+v", s)
	}
	sound(t, db)
}
