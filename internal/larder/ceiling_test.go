package larder

import (
	"math"
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
		c, err := CeilingOfJar(row.batch, Jar{SizeML: 5000, State: Fold(row.log)}, ml(2000), row.log)
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
	before, err := CeilingOfJar(plain, Jar{SizeML: 5000, State: Fold(must)}, nil, must)
	if err != nil {
		t.Fatal(err)
	}
	must = append(must, Entry{When: daysAgo(9), Body: starter(500, 5)})
	after, err := CeilingOfJar(plain, Jar{SizeML: 5000, State: Fold(must)}, nil, must)
	if err != nil {
		t.Fatal(err)
	}
	if want := 0.8*float64(before.StoichiometricGPer100ML) + 1; math.Abs(float64(after.StoichiometricGPer100ML)-want) > 0.01 {
		t.Errorf("of must: %.3f then %.3f, want %.3f", float64(before.StoichiometricGPer100ML), float64(after.StoichiometricGPer100ML), want)
	}
}

// A jar that was titrated at its target is not told that it cannot get there, nor
// what to add for it.
func TestCeilingBesideATitration(t *testing.T) {
	short := Batch{TargetGPer100ML: 5, Ingredients: []Ingredient{{Name: "cider", Amount: chem.Amount{VolumeML: 2000}, ABVPercent: new(chem.PercentVol(5.2))}}}
	c, err := CeilingOfJar(short, Jar{}, nil, nil)
	if err != nil || c.Change == nil {
		t.Fatalf("%+v, %v", c, err)
	}
	for name, row := range map[string]struct {
		a       *Acidity
		reached bool
	}{
		"none":     {nil, false},
		"short":    {&Acidity{GPer100ML: 4.9, Basis: ByTitration}, false},
		"outdated": {&Acidity{GPer100ML: 5.3, Basis: Outdated}, false},
		"there":    {&Acidity{GPer100ML: 5.3, Basis: ByTitration}, true},
	} {
		got := c.Beside(row.a, 5)
		text, changes := got.Sentence(5), got.Changes(Acetic, nil, chem.Metric)
		if strings.Contains(text, "titrated at 5.3, it has reached the target of 5.") != row.reached || (len(changes) == 0) != row.reached {
			t.Errorf("%s: %q, to get there %q", name, text, changes)
		}
	}
}
