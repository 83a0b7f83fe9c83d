package chem

import (
	"math"
	"strings"
	"testing"
)

func amount(t *testing.T, s string) Amount {
	t.Helper()
	a, err := ParseAmount(s)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// The common scrap recipe, 1 tablespoon of sugar per cup of water: 50 g per US quart gives at most
// about 3.7 g/100 mL, and 2.8 at 0.90 x 0.85, by stoichiometry (volume of the water alone).
func TestScrapRecipeFallsShort(t *testing.T) {
	s, err := SugarFrom([]Ingredient{{Name: "white sugar", Amount: amount(t, "4 tbsp")}, {Name: "water", Amount: amount(t, "4 cups")}}, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "sugar", s.SucroseG, 50, 0.3)
	c, err := s.Ceiling(USQuartML, 5).Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "stoichiometric", float64(c.StoichiometricGPer100ML), 3.71, 0.03)
	near(t, "likely", float64(c.LikelyGPer100ML), 2.84, 0.03)
	if c.Reach != ReachNever || c.Change == nil {
		t.Fatalf("5 %% is said to be %q", c.Reach)
	}
	if c4, err := s.Ceiling(USQuartML, 4).Result(); err != nil || c4.Reach != ReachNever {
		t.Errorf("4 %% is said to be %q, %v", c4.Reach, err)
	}
	// With apple peels the fruit's sugar helps, and 5 % is still not likely.
	p, err := SugarFrom([]Ingredient{{Name: "sugar", Amount: amount(t, "4 tbsp")}, {Name: "water", Amount: amount(t, "4 cups")}, {Name: "apple peels and cores", Amount: amount(t, "300 g")}}, 0)
	if err != nil || p.SucroseG+p.HexoseG <= s.SucroseG || p.LowG >= p.HighG {
		t.Fatalf("%+v, %v", p, err)
	}
	if r, err := p.Ceiling(0, 5).Result(); err != nil || r.Reach == ReachLikely || r.Reach == ReachPossible {
		t.Errorf("with peels 5 %% is said to be %q (likely %v), %v", r.Reach, r.LikelyGPer100ML, err)
	}
}

// 182 g of apple hold 18.9 g of sugar (PMC3471321, Table 1), of which half is taken to come out.
func TestFruitGivesUpAPart(t *testing.T) {
	s, err := SugarFrom([]Ingredient{{Name: "Apples, chopped", Amount: amount(t, "1 piece")}}, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "likely", s.SucroseG+s.HexoseG, 18.9/2, 0.03)
	near(t, "low", s.LowG, 18.9*0.3, 0.03)
	near(t, "high", s.HighG, 18.9*0.8, 0.03)
}

// 75 g of sucrose per litre make 5.26 g/100 mL at most and 4.5 at the best practical yield.
func TestReach(t *testing.T) {
	for target, want := range map[GramsPer100ML]Reach{5.3: ReachNever, 5: ReachUnlikely, 4.3: ReachPossible, 3.5: ReachPossible, 3.3: ReachLikely, 0: ""} {
		r, err := Ceiling{VolumeML: 1000, SucroseG: 75, TargetGPer100ML: target}.Result()
		if err != nil || r.Reach != want || (r.Change != nil) != (target > r.LikelyGPer100ML) {
			t.Errorf("%v g/100 mL is %q, %+v, %v; want %q", target, r.Reach, r.Change, err, want)
		}
	}
}

// Each change, when made, brings the likely acidity to the target.
func TestChangesReachTheTarget(t *testing.T) {
	base := Ceiling{VolumeML: 4000, SucroseG: 150, HexoseG: 40, TargetGPer100ML: 5}
	r, err := base.Result()
	if err != nil || r.Change == nil {
		t.Fatal(r, err)
	}
	sugar := base
	sugar.SucroseG += r.Change.AddSugarG
	sugar.VolumeML += Millilitres(r.Change.AddSugarG * mlPerGSugar)
	water := base
	water.VolumeML -= r.Change.LessWaterML
	wine := base
	wine.VolumeML += r.Change.AddStrongerML
	wine.ABVPercent = r.Change.StrongerABV * PercentVol(r.Change.AddStrongerML/wine.VolumeML)
	for what, c := range map[string]Ceiling{"sugar": sugar, "water": water, "wine": wine} {
		got, err := c.Result()
		if err != nil {
			t.Fatal(err)
		}
		near(t, what, float64(got.LikelyGPer100ML), 5, 1e-9)
	}
	// What is 5.5 % strong can never bring the jar to 5 at the usual yield.
	base.StrongerABV = 5.5
	if r, err = base.Result(); err != nil || r.Change.AddStrongerML != 0 {
		t.Errorf("%+v, %v", r.Change, err)
	}
}

// Full-strength apple juice: 6.75 g/100 mL at most (USDA SR Legacy 09016), so 5 % is within reach.
func TestJuiceAndWine(t *testing.T) {
	s, err := SugarFrom([]Ingredient{{Name: "apple juice", Amount: amount(t, "2 L")}}, 0)
	if err != nil {
		t.Fatal(err)
	}
	r, err := s.Ceiling(0, 5).Result()
	if err != nil || r.Reach != ReachPossible || r.Change != nil {
		t.Errorf("%+v, %v", r, err)
	}
	near(t, "juice", float64(r.StoichiometricGPer100ML), 6.75, 0.03)
	w, err := SugarFrom([]Ingredient{{Name: "country wine", Amount: amount(t, "1 L"), ABVPercent: 12}, {Name: "water", Amount: amount(t, "1 L")}}, 0)
	if err != nil || w.AlcoholML != 120 || w.VolumeML != 2000 {
		t.Fatalf("%+v, %v", w, err)
	}
	if r, err = w.Ceiling(0, 0).Result(); err != nil {
		t.Fatal(err)
	}
	near(t, "6 % vol", float64(r.StoichiometricGPer100ML), 6*1.0288, 0.001)
	u, err := SugarFrom([]Ingredient{{Name: "mystery syrup", Amount: amount(t, "1 L")}}, 0)
	if err != nil || len(u.Unknown) != 1 || !strings.Contains(strings.Join(u.Notes, " "), "No sugar is counted") {
		t.Errorf("%+v, %v", u, err)
	}
	label := 62.0
	l, err := SugarFrom([]Ingredient{{Name: "mystery syrup", Amount: amount(t, "1 kg"), SugarGPer100G: &label}}, 0)
	if err != nil || l.HexoseG != 620 {
		t.Errorf("%+v, %v", l, err)
	}
}

func TestIngredientRefusals(t *testing.T) {
	over := 140.0
	for say, list := range map[string][]Ingredient{
		"weigh it":     {{Name: "sugar", Amount: amount(t, "6 pieces")}},
		"by volume":    {{Name: "wine", Amount: amount(t, "1 kg"), ABVPercent: 12}},
		"as its label": {{Name: "syrup", Amount: amount(t, "1 kg"), SugarGPer100G: &over}},
		"0 and 100 %":  {{Name: "wine", Amount: amount(t, "1 L"), ABVPercent: 120}},
	} {
		_, err := SugarFrom(list, 0)
		if err == nil || !strings.Contains(err.Error(), say) {
			t.Errorf("want %q, got %v", say, err)
		}
	}
	_, err := SugarFrom(nil, 50)
	wantFieldError(t, "released", err, "released", "fraction")
	if _, err := (Sugars{}).Ceiling(0, 5).Result(); err == nil {
		t.Error("a recipe of nothing has a ceiling")
	}
}

func TestCeilingRefusals(t *testing.T) {
	for _, c := range []struct {
		c          Ceiling
		field, say string
	}{
		{Ceiling{SucroseG: 50}, "volume_ml", "more than zero"}, {Ceiling{VolumeML: 1000, SucroseG: -5}, "sucrose_g", "negative"},
		{Ceiling{VolumeML: 1000, SucroseG: 900}, "volume_ml", "syrup"}, {Ceiling{VolumeML: 1000, ABVPercent: 140}, "abv_percent", "0 and 100"},
		{Ceiling{VolumeML: 1000, TargetGPer100ML: 40}, "target_g_per_100ml", "bacteria stop"}, {Ceiling{VolumeML: 1000, YieldAcid: 85}, "yield_acid", "fraction"},
		{Ceiling{VolumeML: Millilitres(math.NaN())}, "volume_ml", "not a number"},
	} {
		_, err := c.c.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
	_, err := SugarFor{TargetGPer100ML: 0, VolumeML: 1000}.Result()
	wantFieldError(t, "no target", err, "target_g_per_100ml", "0.1 and 14")
}

// SugarFor and Ceiling are each other's inverse.
func TestSugarForMeetsCeiling(t *testing.T) {
	s, err := SugarFor{TargetGPer100ML: 5, VolumeML: 3000}.Result()
	if err != nil {
		t.Fatal(err)
	}
	c, err := Ceiling{VolumeML: 3000, SucroseG: float64(s.SucroseG)}.Result()
	near(t, "sugar", float64(c.LikelyGPer100ML), 5, 1e-9)
	if err != nil || s.LowG >= s.SucroseG || s.HighG <= s.SucroseG || s.HoneyG <= s.SucroseG {
		t.Errorf("%+v, %v", s, err)
	}
}

// An ingredient that was written down without an amount is named as it was written.
func TestSugarOfAnUnknownAmount(t *testing.T) {
	_, err := SugarFrom([]Ingredient{{Name: "apple peels"}, {Name: "sugar", Amount: amount(t, "300 g")}}, 0)
	if err == nil || !strings.Contains(err.Error(), "of: apple peels.") || strings.Contains(err.Error(), " 0 ") {
		t.Errorf("%v", err)
	}
}
