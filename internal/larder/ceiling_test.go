package larder

import (
	"math"
	"slices"
	"strings"
	"testing"

	"cruet/internal/chem"
)

// A starter of bought vinegar brings acid along and takes part of the liquid: the
// acid that can be made of the rest is thinned, and its own is added. Sums by hand
// with the alcohol's density of OIML R 22 (0.78924 g/mL at 20 °C) and the molar
// masses of CIAAW (60.052 and 46.069).
func TestCeilingCountsTheStarter(t *testing.T) {
	const perABV = 0.78924 * 60.052 / 46.069 // g/100 mL of acid of 1 % vol
	starter := func(ml_, acidity float64) Transfer {
		f := Feed{From: FromBought, Name: "raw vinegar", Live: true, VolumeML: ml(ml_)}
		if acidity > 0 {
			f.Acidity = new(chem.GramsPer100ML(acidity))
		}
		return Transfer{What: StarterIn, Feed: &f}
	}
	abv := func(v float64) Reading { return Reading{ABV: new(chem.PercentVol(v))} }
	wine := Batch{TargetGPer100ML: 5, Ingredients: []Ingredient{{Name: "wine", Amount: chem.Amount{VolumeML: 1000}, ABVPercent: new(chem.PercentVol(12))}, {Name: "water", Amount: chem.Amount{VolumeML: 1000}}}}
	plain := Batch{TargetGPer100ML: 5}
	for name, row := range map[string]struct {
		batch Batch
		log   []Entry // begins with 2 L
		want  float64
		says  string
	}{
		"recipe":              {wine, logOf(logged{daysAgo(9), starter(500, 5)}), (6*perABV*2000 + 5*500) / 2500, "the ingredients, with 20 % of bought vinegar in it"},
		"with the stage":      {wine, logOf(logged{daysAgo(9), StageChange{To: Acetic, VolumeML: ml(2000), Starter: starter(500, 5).Feed}}), (6*perABV*2000 + 5*500) / 2500, "20 % of bought"},
		"recipe, two":         {wine, logOf(logged{daysAgo(9), starter(500, 5)}, logged{daysAgo(8), starter(500, 6)}), (6*perABV*2000 + 5*500 + 6*500) / 3000, "33 % of bought"},
		"recipe, then water":  {wine, logOf(logged{daysAgo(9), starter(500, 5)}, logged{daysAgo(8), water(500)}), (6*perABV*2000 + 5*500) / 3000, "with 17 % of water added since, with 17 % of bought"},
		"acidity not stated":  {wine, logOf(logged{daysAgo(9), starter(500, 0)}), 6 * perABV, "the ingredients"},
		"alcohol, then it":    {plain, logOf(logged{daysAgo(9), abv(11.5)}, logged{daysAgo(8), starter(500, 5)}), (11.5*perABV*2000 + 5*500) / 2500, "20 % of bought"},
		"it, then alcohol":    {plain, logOf(logged{daysAgo(9), starter(500, 5)}, logged{daysAgo(8), abv(9)}), 9*perABV + 5*500.0/2500, "9 % vol"},
		"and some given away": {plain, logOf(logged{daysAgo(9), abv(11.5)}, logged{daysAgo(8), starter(500, 5)}, logged{daysAgo(7), gave(1000)}), (11.5*perABV*2000 + 5*500) / 2500, "20 % of bought"},
	} {
		c, err := CeilingOfJar(row.batch, Jar{SizeML: 5000, State: Fold(row.log)}, ml(2000), row.log, nil)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if got := float64(c.StoichiometricGPer100ML); math.Abs(got-row.want) > 0.005*row.want {
			t.Errorf("%s: the ceiling is %.3f g/100 mL, want %.3f", name, got, row.want)
		}
		if !strings.Contains(c.From, row.says) || c.LikelyHighGPer100ML > c.StoichiometricGPer100ML {
			t.Errorf("%s: from %q, likely up to %.2f", name, c.From, float64(c.LikelyHighGPer100ML))
		}
	}
	// Of must that was measured: four fifths of its acid stay, and a fifth of a 5 %
	// vinegar brings 1 g/100 mL.
	must := []Entry{{When: daysAgo(20), Body: StageChange{To: Must, VolumeML: ml(2000)}}, {When: daysAgo(19), Body: Reading{Brix: new(chem.DegreesBrix(11.5))}}}
	before, err := CeilingOfJar(plain, Jar{SizeML: 5000, State: Fold(must)}, nil, must, nil)
	if err != nil {
		t.Fatal(err)
	}
	must = append(must, Entry{When: daysAgo(9), Body: starter(500, 5)})
	after, err := CeilingOfJar(plain, Jar{SizeML: 5000, State: Fold(must)}, nil, must, nil)
	if err != nil {
		t.Fatal(err)
	}
	if want := 0.8*float64(before.StoichiometricGPer100ML) + 1; math.Abs(float64(after.StoichiometricGPer100ML)-want) > 0.01 {
		t.Errorf("of must: %.3f then %.3f, want %.3f", float64(before.StoichiometricGPer100ML), float64(after.StoichiometricGPer100ML), want)
	}
}

// A starter from a jar counts by what that jar was titrated at before it gave, as a
// bought one does by its label; else the ceiling says that it does not. Sums by hand
// as above, with the 4.2 of a titration.
func TestCeilingCountsAStarterFromAJar(t *testing.T) {
	const perABV = 0.78924 * 60.052 / 46.069
	feed := &Feed{From: FromJar, Jar: "K7RM40", VolumeML: ml(500)}
	starter := logged{daysAgo(9), Transfer{What: StarterIn, Feed: feed}}
	sour := func(b Basis) *Acidity { return &Acidity{GPer100ML: 4.2, Basis: b} }
	wine := Batch{TargetGPer100ML: 5, Ingredients: []Ingredient{{Name: "wine", Amount: chem.Amount{VolumeML: 2000}, ABVPercent: new(chem.PercentVol(6))}}}
	plain := Batch{TargetGPer100ML: 5}
	abv := logged{daysAgo(10), Reading{ABV: new(chem.PercentVol(11.5))}}
	unknown := logOf(starter)
	unknown[0].Body = StageChange{To: Alcoholic}
	for name, row := range map[string]struct {
		batch Batch
		log   []Entry
		giver State
		want  float64
		says  []string
		not   string
	}{
		"titrated, made":       {wine, logOf(starter), State{Stage: Finished, Acidity: sour(ByTitration)}, (6*perABV*2000 + 4.2*500) / 2500, []string{"20 % of starter from jar K7RM40 in it, titrated at 4.2 g/100 mL"}, "not counted"},
		"titrated, on its way": {wine, logOf(starter), State{Stage: Acetic, Acidity: sour(ByTitration)}, (6*perABV*2000 + 4.2*500) / 2500, []string{"titrated at 4.2", "; what alcohol the starter from jar K7RM40 still had is not counted"}, "not titrated"},
		"then watered":         {wine, logOf(starter), State{Stage: Finished, Acidity: sour(Computed)}, (6*perABV*2000 + 4.2*500) / 2500, []string{"titrated and watered at 4.2"}, "not counted"},
		"with the stage":       {wine, logOf(logged{daysAgo(9), StageChange{To: Acetic, VolumeML: ml(2000), Starter: feed}}), State{Stage: Finished, Acidity: sour(ByTitration)}, (6*perABV*2000 + 4.2*500) / 2500, []string{"20 % of starter"}, "not counted"},
		"and water":            {wine, logOf(starter, logged{daysAgo(8), water(500)}), State{Stage: Finished, Acidity: sour(ByTitration)}, (6*perABV*2000 + 4.2*500) / 3000, []string{"17 % of water", "17 % of starter from jar"}, "not counted"},
		"of alcohol measured":  {plain, logOf(abv, starter), State{Stage: Finished, Acidity: sour(ByTitration)}, (11.5*perABV*2000 + 4.2*500) / 2500, []string{"11.5 % vol", "20 % of starter"}, "not counted"},
		"not titrated":         {wine, logOf(starter), State{Stage: Finished}, 6 * perABV, []string{"; the starter of 500 mL from jar K7RM40 is not counted, since that jar was not titrated before"}, "with 20"},
		"fed since":            {wine, logOf(starter), State{Stage: Acetic, Acidity: sour(Outdated)}, 6 * perABV, []string{"is not counted, since something else went into that jar after it was titrated"}, "with 20"},
		"into nobody knows":    {wine, unknown, State{Stage: Finished, Acidity: sour(ByTitration)}, 6 * perABV, []string{"since it is not known how much it was put to"}, "% of starter"},
		"titrated itself":      {plain, logOf(starter, logged{daysAgo(8), aTitration()}, logged{daysAgo(7), abv.Body}), State{}, 11.5*perABV + 5.056, nil, "not counted"},
		"a top-up":             {wine, logOf(logged{daysAgo(9), Transfer{What: TopUp, Feed: feed}}), State{Stage: Finished, Acidity: sour(ByTitration)}, 6 * perABV, nil, "starter"},
		"only a mother":        {wine, logOf(logged{daysAgo(9), Transfer{What: StarterIn, Feed: &Feed{From: FromJar, Jar: "K7RM40", Mother: true}}}), State{}, 6 * perABV, nil, "starter"},
	} {
		givers := Givers{}
		for _, e := range row.log {
			if StarterOf(e.Body) != nil {
				givers[e.ID] = row.giver
			}
		}
		c, err := CeilingOfJar(row.batch, Jar{SizeML: 5000, State: Fold(row.log)}, ml(2000), row.log, givers)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if got := float64(c.StoichiometricGPer100ML); math.Abs(got-row.want) > 0.005*row.want {
			t.Errorf("%s: the ceiling is %.3f g/100 mL, want %.3f", name, got, row.want)
		}
		for _, says := range row.says {
			if !strings.Contains(c.From, says) {
				t.Errorf("%s: from %q, want %q in it", name, c.From, says)
			}
		}
		if strings.Contains(c.From, row.not) {
			t.Errorf("%s: from %q, with %q in it", name, c.From, row.not)
		}
		told := false
		for _, g := range c.Explain.Values {
			told = told || (strings.HasPrefix(g.Name, "its acidity, titrated") && g.Value == 4.2)
		}
		if told != strings.Contains(c.From, "in it, titrated") {
			t.Errorf("%s: from %q, by %v", name, c.From, c.Explain.Values)
		}
	}
	// A bought one without a stated acidity is told as well.
	log := logOf(logged{daysAgo(9), Transfer{What: StarterIn, Feed: &Feed{From: FromBought, Name: "raw vinegar", VolumeML: ml(500)}}})
	if c, err := CeilingOfJar(wine, Jar{State: Fold(log)}, ml(2000), log, nil); err != nil || !strings.Contains(c.From, "the starter of 500 mL of bought raw vinegar is not counted, since its acidity is not stated") {
		t.Errorf("%q, %v", c.From, err)
	}
}

// A jar that was titrated at its target is not told that it cannot get there, nor
// what to add for it.
func TestCeilingBesideATitration(t *testing.T) {
	short := Batch{TargetGPer100ML: 5, Ingredients: []Ingredient{{Name: "cider", Amount: chem.Amount{VolumeML: 2000}, ABVPercent: new(chem.PercentVol(5.2))}}}
	c, err := CeilingOfJar(short, Jar{}, nil, nil, nil)
	if err != nil || c.Change == nil {
		t.Fatalf("%+v, %v", c, err)
	}
	for name, row := range map[string]struct {
		a       *Acidity
		says    string
		changes bool
	}{
		"none":      {nil, "the target of 5 is unlikely.", true},
		"short":     {&Acidity{GPer100ML: 4.9, LowerGPer100ML: 4.7, Basis: ByTitration}, "the target of 5 is unlikely.", true},
		"outdated":  {&Acidity{GPer100ML: 5.3, LowerGPer100ML: 5.1, Basis: Outdated}, "the target of 5 is unlikely.", true},
		"there":     {&Acidity{GPer100ML: 5.3, LowerGPer100ML: 5.1, Basis: ByTitration}, "titrated at 5.3, it has reached the target of 5.", false},
		"about":     {&Acidity{GPer100ML: 5.3, LowerGPer100ML: 4.6, Basis: ByTitration}, "titrated at 5.3, it may have reached the target of 5.", false},
		"unchecked": {&Acidity{GPer100ML: 5.3, LowerGPer100ML: 5.1, StrengthMark: "base not checked", Basis: ByTitration}, "titrated at 5.3, it may have reached the target of 5.", false},
	} {
		got := c.Beside(row.a, 5)
		text, changes := got.Sentence(5), got.Changes(Acetic, nil, chem.Metric)
		if !strings.HasSuffix(text, row.says) || (len(changes) > 0) != row.changes {
			t.Errorf("%s: %q, to get there %q", name, text, changes)
		}
	}
}

// A wine too strong for the bacteria is told so while it can be cut, and not once it
// was titrated on its way; quick-vinegar texts name 15 % vol as what stops them.
func TestStrongIsToldInTime(t *testing.T) {
	of := func(abv chem.PercentVol) Ceiling {
		c, err := CeilingOfRecipe([]Ingredient{{Name: "wine", Amount: chem.Amount{VolumeML: 2000}, ABVPercent: &abv}}, nil, 5)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	rising := &Acidity{GPer100ML: 3, LowerGPer100ML: 2.8, Basis: ByTitration}
	for name, row := range map[string]struct {
		c     Ceiling
		stage Stage
		a     *Acidity
		want  string
	}{
		"recipe":          {of(14), "", nil, "strong for the acetic stage"},
		"alcoholic":       {of(14), Alcoholic, nil, "strong for the acetic stage"},
		"acetic":          {of(16), Acetic, nil, "stops acetic bacteria"},
		"stalled":         {of(14).Overtaken(), Acetic, rising, "strong for the acetic stage"},
		"rising":          {of(14), Acetic, rising, ""},
		"target in hand":  {of(14).Beside(&Acidity{GPer100ML: 6, LowerGPer100ML: 5.8, Basis: ByTitration}, 5), Acetic, nil, ""},
		"maturing":        {of(14), Maturing, nil, ""},
		"cut in the must": {of(7), Must, nil, ""},
	} {
		got := strings.Join(row.c.Strong(row.stage, row.a), " ")
		if (row.want == "") != (got == "") || !strings.Contains(got, row.want) {
			t.Errorf("%s: %q, want %q", name, got, row.want)
		}
	}
}

// What is poured in to reach the target is not asked for again: its alcohol is not
// known, so it is named as not counted and the target is left open.
func TestCeilingOfAJarThatWasToppedUp(t *testing.T) {
	short := Batch{TargetGPer100ML: 5, Ingredients: []Ingredient{{Name: "ale", Amount: chem.Amount{VolumeML: 4000}, ABVPercent: new(chem.PercentVol(5.2))}}}
	topUp := Entry{When: daysAgo(5), Body: Transfer{What: TopUp, Feed: &Feed{From: FromOther, Name: "plum wine", VolumeML: new(chem.Millilitres(400))}}}
	log := []Entry{{When: daysAgo(20), Body: StageChange{To: Acetic, VolumeML: new(chem.Millilitres(4000)), Starter: &Feed{From: FromAir}}}}
	of := func(log []Entry) Ceiling {
		c, err := CeilingOfJar(short, Jar{SizeML: 6000, State: Fold(log)}, nil, log, nil)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	if c := of(log); c.Change == nil || len(c.Missing) > 0 || !strings.HasSuffix(c.Sentence(5), "; the target of 5 is unlikely.") {
		t.Errorf("before: %q, %q, %+v", c.Sentence(5), c.Missing, c.Change)
	}
	log = append(log, topUp)
	if c := of(log); c.Change != nil || !c.Open || !slices.Equal(c.Missing, []string{"plum wine"}) || strings.Contains(c.Sentence(5), "target") {
		t.Errorf("topped up: %q, %q, %+v", c.Sentence(5), c.Missing, c.Change)
	}
	abv := chem.PercentVol(4.8)
	log = append(log, Entry{When: daysAgo(4), Body: Reading{ABV: &abv}})
	if c := of(log); len(c.Missing) > 0 || c.Open || !strings.Contains(c.From, "measured") {
		t.Errorf("with the alcohol measured since: %q, %q", c.From, c.Missing)
	}
}

// Once the work is over, or the titrations go another way, a recipe promises no
// target any more; that it cannot reach it stays said, with what helps.
func TestOvertakenCeilingPromisesNothing(t *testing.T) {
	of := func(abv chem.PercentVol) Ceiling {
		c, err := CeilingOfRecipe([]Ingredient{{Name: "cider", Amount: chem.Amount{VolumeML: 2000}, ABVPercent: &abv}}, nil, 5)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	for name, row := range map[string]struct {
		c       Ceiling
		before  string
		after   string
		changes bool
	}{
		"likely":   {of(8), "; the target of 5 should be reached.", ".", false},
		"possible": {of(5.9), "; the target of 5 may be reached or missed.", ".", false},
		"unlikely": {of(5.2), "; the target of 5 is unlikely.", "; the target of 5 is unlikely.", true},
		"never":    {of(4), "; the target of 5 is out of reach.", "; the target of 5 is out of reach.", true},
		"reached":  {of(8).Beside(&Acidity{GPer100ML: 5.3, LowerGPer100ML: 5.1, Basis: ByTitration}, 5), "has reached the target of 5.", "has reached the target of 5.", false},
		"above it": {of(4).Beside(&Acidity{GPer100ML: 7.3, LowerGPer100ML: 7.1, Basis: ByTitration}, 5), "has reached the target of 5.", ".", false},
	} {
		after := row.c.Overtaken()
		before, text := row.c.Sentence(5), after.Sentence(5)
		if !strings.HasSuffix(before, row.before) || !strings.HasSuffix(text, row.after) || row.after == "." && strings.Contains(text, "target") {
			t.Errorf("%s: %q, then %q", name, before, text)
		}
		if changes := after.Changes(Acetic, nil, chem.Metric); (len(changes) > 0) != row.changes {
			t.Errorf("%s: to get there %q", name, changes)
		}
	}
}
