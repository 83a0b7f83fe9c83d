package verdict

import (
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

func tested(acidity float64) Evidence {
	now := time.Date(2027, 1, 4, 9, 0, 0, 0, time.UTC)
	return Evidence{Now: now, Stage: larder.Finished, Basis: larder.ByTitration, AcidityGPer100ML: chem.GramsPer100ML(acidity), ExpandedUGPer100ML: 0.1,
		LowerGPer100ML: chem.GramsPer100ML(acidity - 0.1), TitratedAt: larder.ExactAt(now.Add(-24 * time.Hour))}
}

// The kinds are those of FDA CPG Sec. 525.825 (cider from apples, wine from
// grapes, malt from an infusion of malt, "vinegar made from" for peels and
// cores) and of Regulation (EU) 1308/2013 Annex VII (wine vinegar from 60 g/L).
func TestNames(t *testing.T) {
	scraps, juice, wine, ale, honey := []larder.Base{larder.FruitScraps}, []larder.Base{larder.Juice}, []larder.Base{larder.Wine}, []larder.Base{larder.Ale}, []larder.Base{larder.Honey}
	for _, c := range []struct {
		made     Made
		acidity  float64
		market   Market
		name, id string
	}{
		{Made{Bases: scraps, Ingredients: []string{"water", "apple peels and cores", "sugar"}}, 5.5, US, "Vinegar made from apple peels and cores", "us-scraps"},
		{Made{Bases: scraps, Ingredients: []string{"water", "apple peels and cores", "sugar"}}, 5.5, EU, "Vinegar made from apple peels and cores", "eu-name-of-food"},
		{Made{Bases: juice, Ingredients: []string{"pressed apple juice"}}, 5.5, US, "Cider vinegar", "us-cider"},
		{Made{Bases: juice, Ingredients: []string{"pressed quince juice"}}, 5.5, US, "Vinegar made from pressed quince juice", "us-common"},
		{Made{Bases: juice, Ingredients: []string{"apple juice", "pear juice"}}, 5.5, EU, "Vinegar made from apple juice and pear juice", "eu-name-of-food"},
		{Made{Bases: wine, Ingredients: []string{"red wine", "water"}}, 6.5, EU, "Wine vinegar", "eu-wine"},
		{Made{Bases: wine, Ingredients: []string{"red wine", "water"}}, 5.5, EU, "Vinegar made from red wine", "eu-wine"},
		{Made{Bases: wine, Ingredients: []string{"red wine", "water"}}, 5.5, US, "Wine vinegar", "us-wine"},
		{Made{Bases: wine, Ingredients: []string{"home-made damson wine"}}, 6.5, US, "Vinegar made from home-made damson wine", "us-common"},
		{Made{Bases: wine, Ingredients: []string{"elderberries", "wine"}}, 6.5, EU, "Vinegar made from elderberries and wine", "eu-name-of-food"},
		{Made{Bases: ale, Ingredients: []string{"unhopped ale (water, barley malt, yeast)"}}, 5.5, US, "Malt vinegar", "us-malt"},
		{Made{Bases: ale, Ingredients: []string{"ale (water, barley malt, hops)"}}, 5.5, US, "Vinegar made from ale", "us-common"},
		{Made{Bases: honey, Ingredients: []string{"honey", "water"}, Infused: []string{"rosemary"}}, 5.5, EU, "Honey vinegar with rosemary", "eu-name-of-food"},
		{Made{Bases: []larder.Base{larder.Juice, larder.Honey}, Ingredients: []string{"apple juice", "honey"}}, 5.5, Japan, "Vinegar made from apple juice and honey", "plain-name"},
	} {
		n := NameOf(c.made, tested(c.acidity), c.market)
		if n.Text != c.name || n.Rule.ID != c.id || !n.Vinegar {
			t.Errorf("%v in %s: %q by %s, want %q by %s", c.made, c.market, n.Text, n.Rule.ID, c.name, c.id)
		}
	}
}

func TestTooWeakIsNotCalledVinegar(t *testing.T) {
	made := Made{Bases: []larder.Base{larder.FruitScraps}, Ingredients: []string{"pear peels", "water"}}
	n := NameOf(made, tested(3.2), US)
	if n.Vinegar || n.Text != "Sour ferment of pear peels" || n.Rule.ID != "too-weak" || len(n.Notes) == 0 {
		t.Errorf("%+v", n)
	}
	n = NameOf(made, Evidence{Now: time.Now(), Stage: larder.Finished}, US)
	if !n.Vinegar || len(n.Notes) != 1 || !strings.Contains(n.Notes[0], "not known") {
		t.Errorf("unmeasured: %+v", n)
	}
	if n := NameOf(Made{Bases: []larder.Base{larder.OtherBase}, Ingredients: []string{"water", "sugar"}}, tested(5), US); n.Text != "Vinegar" || len(n.Notes) == 0 {
		t.Errorf("nothing but sugar: %+v", n)
	}
}

func TestMisnames(t *testing.T) {
	scraps := NameOf(Made{Bases: []larder.Base{larder.FruitScraps}, Ingredients: []string{"apple peels"}}, tested(5.5), US)
	for given, wrong := range map[string]bool{"Apple cider vinegar": true, "Windfall vinegar": false, "Balsamic dream": true, "Grandmother's wine vinegar": true} {
		if got := scraps.Misnames(given) != ""; got != wrong {
			t.Errorf("%q: %v", given, got)
		}
	}
	damson := NameOf(Made{Bases: []larder.Base{larder.Wine}, Ingredients: []string{"damson wine"}}, tested(5.5), US)
	if why := damson.Misnames("Damson wine vinegar"); why != "" {
		t.Errorf("its own name is refused: %s", why)
	}
	// Regulation (EU) 1308/2013, Annex VII, Part II (17): wine vinegar has at least 60 g/L.
	for strength, wrong := range map[float64]bool{5.3: true, 6.6: false} {
		wine := NameOf(Made{Bases: []larder.Base{larder.Wine}, Ingredients: []string{"red wine"}}, tested(strength), EU)
		if why := wine.Misnames("Red wine vinegar"); (why != "") != wrong {
			t.Errorf("red wine vinegar of %g g/100 mL in the EU: %q", strength, why)
		}
	}
	weak := NameOf(Made{Bases: []larder.Base{larder.FruitScraps}, Ingredients: []string{"apple peels"}}, tested(3), US)
	if weak.Misnames("Apple vinegar") == "" {
		t.Error("3 % may be called vinegar")
	}
}

func TestNameRulesAreCited(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range NameRules() {
		if seen[r.ID] || r.Says == "" || r.Source.Title == "" || r.Source.Standing == "" {
			t.Errorf("%+v", r)
		}
		seen[r.ID] = true
	}
}

// 10 ppm is declared in the United States, only more than that in the European
// Union: 21 CFR 101.100(a)(4); Regulation (EU) 1169/2011 Annex II.
func TestContains(t *testing.T) {
	ids := func(list []Substance) string {
		var out []string
		for _, s := range list {
			text := s.ID
			if s.May {
				text = "may " + text
			}
			out = append(out, text)
		}
		return strings.Join(out, ", ")
	}
	e := tested(5.5)
	for _, c := range []struct {
		bases []larder.Base
		names []string
		want  string
	}{
		{nil, []string{"pears", "sugar"}, ""},
		{[]larder.Base{larder.Ale}, []string{"ale"}, "barley"},
		{[]larder.Base{larder.Ale}, []string{"wheat beer (wheat malt, barley malt)"}, "wheat, barley"},
		{[]larder.Base{larder.Wine}, []string{"grapes"}, "may sulphites"},
		{nil, []string{"dried apricots"}, "may sulphites"},
		{nil, []string{"rye bread", "oats"}, "rye, oats"},
	} {
		if got := ids(Contains(c.bases, c.names, e, US)); got != c.want {
			t.Errorf("%v %v: %q, want %q", c.bases, c.names, got, c.want)
		}
	}
	for ppm, want := range map[float64][2]string{9.9: {"", ""}, 10: {"sulphites", ""}, 10.1: {"sulphites", "sulphites"}} {
		e.SulphiteMGPerKG = &ppm
		us, eu := Contains([]larder.Base{larder.Wine}, []string{"wine"}, e, US), Contains([]larder.Base{larder.Wine}, []string{"wine"}, e, EU)
		if ids(us) != want[0] || ids(eu) != want[1] {
			t.Errorf("%g ppm: %q and %q, want %q", ppm, ids(us), ids(eu), want)
		}
	}
}

func TestOnLabel(t *testing.T) {
	e := tested(5.5)
	e.Bases, e.Infuse = []larder.Base{larder.Honey}, "thyme"
	got := OnLabel(e.Bases, []string{"honey", "barley malt", "raisins"}, e, EU)
	var held []string
	for _, s := range got {
		held = append(held, s.ID)
		if s.Source.Title == "" || s.Text == "" {
			t.Errorf("%s has no source or no text", s.ID)
		}
	}
	if want := []string{ShortCanning, ShortInfants, ShortCold, ShortSulphites, ShortGluten, ShortLive}; !slices.Equal(held, want) {
		t.Errorf("%q, want %q", held, want)
	}
}

func lotAcidity(v, u chem.GramsPer100ML) larder.Acidity {
	return larder.Acidity{GPer100ML: v, ExpandedUGPer100ML: u, LowerGPer100ML: v - u, Basis: larder.ByTitration, When: daysAgo(2)}
}

// A lot says by itself what may hurt somebody, wherever in it that came from.
func TestOnLot(t *testing.T) {
	for name, c := range map[string]struct {
		lot    larder.Lot
		market Market
		want   string
	}{
		"heated scraps":        {larder.Lot{Bases: []larder.Base{larder.FruitScraps}, Heated: true}, EU, NotForCanning},
		"wine":                 {larder.Lot{Bases: []larder.Base{larder.Wine}, Heated: true}, EU, NotForCanning + "; May contain sulphites"},
		"wine in its starter":  {larder.Lot{Bases: []larder.Base{larder.Juice}, TraceBases: []larder.Base{larder.Wine}, Heated: true}, US, NotForCanning + "; May contain sulfites"},
		"raisins":              {larder.Lot{Bases: []larder.Base{larder.Juice}, Ingredients: []string{"raisins"}, Heated: true}, EU, NotForCanning + "; May contain sulphites"},
		"honey in cider":       {larder.Lot{Bases: []larder.Base{larder.Juice}, Ingredients: []string{"apple juice", "Honey"}, Heated: true}, EU, NotForCanning + "; Not for children under one year"},
		"honey in its starter": {larder.Lot{Bases: []larder.Base{larder.Juice}, TraceBases: []larder.Base{larder.Honey}, Heated: true}, EU, NotForCanning + "; Not for children under one year"},
		"infused":              {larder.Lot{Bases: []larder.Base{larder.Juice}, Ingredients: []string{"rosemary"}}, EU, NotForCanning + "; Keep in the refrigerator, use within 3 months; Unpasteurised; a live mother may form"},
		// FDA CPG 525.825: vinegar begins at 4 g/100 mL; the upper end of the interval decides.
		"too weak":         {larder.Lot{When: daysAgo(1), Bases: []larder.Base{larder.Juice}, Heated: true, Acidity: lotAcidity(3.3, 0.2)}, EU, NotForCanning + "; Weaker than vinegar: keep in the refrigerator, use soon"},
		"weak and infused": {larder.Lot{When: daysAgo(1), Bases: []larder.Base{larder.Juice}, Ingredients: []string{"rosemary"}, Heated: true, Acidity: lotAcidity(3.3, 0.2)}, EU, NotForCanning + "; Keep in the refrigerator, use within 3 months"},
		"about at 4":       {larder.Lot{When: daysAgo(1), Bases: []larder.Base{larder.Juice}, Heated: true, Acidity: lotAcidity(3.9, 0.2)}, EU, NotForCanning},
	} {
		if got := strings.Join(ShortTexts(OnLot(c.lot, c.market)), "; "); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}
