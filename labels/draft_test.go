package labels

import (
	"errors"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/verdict"
)

func day(y int, m time.Month, d int) larder.When {
	return larder.When{At: time.Date(y, m, d, 12, 0, 0, 0, time.UTC), Precision: larder.Day}
}

func amount(t testing.TB, text string) chem.Amount {
	t.Helper()
	a, err := chem.ParseAmount(text)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

var quinceYard = larder.Kitchen{Name: "Quince Yard", MakerLine: "Quince Yard, ask for ro or mk", MakerAddress: "4 Orchard Lane, Fernmouth", TimeZone: "UTC", Market: "EU"}

// barley is the scenario's barley vinegar: unhopped ale, diluted to 5.0 %,
// 12 bottles of 250 mL.
func barley(t testing.TB) Filled {
	batch := larder.Batch{ID: 3, Name: "Barley", Base: larder.Ale, When: day(2026, 8, 6), TargetGPer100ML: 5,
		Ingredients: []larder.Ingredient{{Name: "unhopped ale (water, barley malt, yeast)", Amount: amount(t, "5 L")}}}
	water := chem.Millilitres(350)
	lot := larder.Lot{ID: "L270103A", Name: "Barley vinegar", When: day(2027, 1, 3), Bases: []larder.Base{larder.Ale},
		Ingredients: []string{"unhopped ale (water, barley malt, yeast)"}, Pours: []larder.Pour{{Jar: "K7RM40", VolumeML: 3000}}, Runs: []larder.Run{{Count: 12, SizeML: 250}},
		Acidity: larder.Acidity{GPer100ML: 5.02, ExpandedUGPer100ML: 0.09, LowerGPer100ML: 4.93, Replicates: 3, Basis: larder.ByTitration, When: day(2027, 1, 2)}}
	trace := larder.Trace{Subject: larder.Subject{Kind: larder.SubjectLot, ID: lot.ID}, Batches: []larder.Batch{batch},
		Jars: []larder.TraceJar{{Tag: "K7RM40", BatchID: 3, Batch: "Barley", Letter: "A", Stage: larder.Finished}},
		Back: []larder.Step{{Edge: larder.Edge{What: larder.Bottled, FromJar: "K7RM40", ToLot: lot.ID, When: lot.When}, Depth: 1},
			{Edge: larder.Edge{What: larder.Dilution, FromName: "water", ToJar: "K7RM40", VolumeML: &water, When: day(2027, 1, 1)}, Depth: 2}}}
	return Filled{Bottle: larder.Bottle{Tag: "0123456789CDFHJ", Lot: lot.ID, Number: 7, SizeML: 250}, Lot: lot, Bottles: 12, Trace: trace,
		Kitchen: quinceYard, Address: testHost, Now: time.Date(2027, 1, 4, 9, 0, 0, 0, time.UTC)}
}

// pears is a vinegar of pear scraps with a mother from the barley jar, not
// titrated, not diluted.
func pears(t testing.TB) Filled {
	f := barley(t)
	batch := larder.Batch{ID: 1, Name: "Pear trimmings", Base: larder.FruitScraps, When: day(2026, 10, 22), TargetGPer100ML: 5, Ingredients: []larder.Ingredient{
		{Name: "sugar", Amount: amount(t, "340 g")}, {Name: "pear peels and cores", Amount: amount(t, "2.4 kg")}, {Name: "water", Amount: amount(t, "4 L")}}}
	f.Lot.ID, f.Lot.Name, f.Lot.Bases = "L270103B", "Pear trimmings vinegar", []larder.Base{larder.FruitScraps}
	f.Lot.Pours = []larder.Pour{{Jar: "3CFX72", VolumeML: 1000}}
	f.Lot.Acidity = larder.Acidity{Basis: larder.NotMeasured}
	f.Trace.Batches = append(f.Trace.Batches, batch)
	f.Trace.Jars = append(f.Trace.Jars, larder.TraceJar{Tag: "3CFX72", BatchID: 1, Batch: "Pear trimmings", Letter: "A", Stage: larder.Finished})
	f.Trace.Back = []larder.Step{{Edge: larder.Edge{What: larder.Bottled, FromJar: "3CFX72", ToLot: f.Lot.ID, When: f.Lot.When}, Depth: 1},
		{Edge: larder.Edge{What: larder.StarterIn, FromJar: "K7RM40", ToJar: "3CFX72", Mother: true, When: day(2026, 11, 5)}, Depth: 2}}
	f.Bottle.Lot, f.Bottle.Number = f.Lot.ID, 2
	return f
}

func draft(t testing.TB, f Filled, want Wanted) Draft {
	t.Helper()
	d, err := DraftBottle(f, want)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func points(list []Point, field string) string {
	var out []string
	for _, p := range list {
		if p.Field == field {
			out = append(out, p.What)
		}
	}
	return strings.Join(out, " ")
}

func wantText(t *testing.T, what, got, want string) {
	t.Helper()
	if got != want {
		t.Errorf("%s: %q, want %q", what, got, want)
	}
}

// The names and statements are those of CPG Sec. 525.825 and Regulation (EU)
// 1169/2011 as the rule sets cite them.
func TestDraftOfDilutedAle(t *testing.T) {
	us, eu := draft(t, barley(t), Wanted{Rules: US}), draft(t, barley(t), Wanted{Rules: EU})
	wantText(t, "name", us.Label.Food, "Malt vinegar")
	wantText(t, "US strength", us.Label.Acidity, "Diluted with water to 5.0 percent acid strength")
	wantText(t, "EU strength", eu.Label.Acidity, "5.0 % acidity")
	wantText(t, "how", strings.ReplaceAll(eu.Label.AcidityNote, unbroken, " "), "titrated 2 Jan 2027, ± 0.1")
	wantText(t, "US net", us.Label.Net, "Net 250 mL (8.4 fl oz)")
	wantText(t, "EU net", eu.Label.Net, "250 ml")
	wantText(t, "EU ingredients", eu.Label.Ingredients, "unhopped ale (water, BARLEY malt, yeast), water")
	wantText(t, "US ingredients", us.Label.Ingredients, "unhopped ale (water, barley malt, yeast), water")
	wantText(t, "EU allergens", eu.Label.Contains, "Contains BARLEY (gluten).")
	wantText(t, "US allergens", us.Label.Contains, "Contains barley (gluten).")
	wantText(t, "US state", us.Label.State, "Unpasteurized, contains live mother.")
	wantText(t, "lot", eu.Label.Lot, "L270103A")
	wantText(t, "maker", eu.Label.Maker, "Quince Yard, ask for ro or mk, 4 Orchard Lane, Fernmouth")
	if !strings.Contains(strings.Join(eu.Label.Cautions, "; "), verdict.NotForCanning) {
		t.Errorf("cautions %q", eu.Label.Cautions)
	}
	if len(eu.Missing) > 0 {
		t.Errorf("missing: %v", eu.Missing)
	}
	if points(us.Check, "gift") == "" || points(us.Check, "home") == "" || points(us.Check, "nutrition") == "" {
		t.Errorf("nothing is said of gifts, home kitchens or nutrition: %v", us.Check)
	}
}

func TestDraftOfScraps(t *testing.T) {
	f := pears(t)
	d := draft(t, f, Wanted{Rules: US})
	wantText(t, "name", d.Label.Food, "Vinegar made from pear peels and cores")
	wantText(t, "strength", d.Label.Acidity, "acidity not measured")
	wantText(t, "ingredients by weight", d.Label.Ingredients, "water, pear peels and cores, sugar, vinegar mother")
	wantText(t, "allergen of the mother", d.Label.Contains, "Contains barley (gluten).")
	if !strings.Contains(points(d.Missing, "acidity"), "was not measured") {
		t.Errorf("missing: %v", d.Missing)
	}

	f.Lot.Name = "Apple cider vinegar"
	d = draft(t, f, Wanted{Rules: US})
	wantText(t, "misleading name", d.Label.Name, "Vinegar made from pear peels and cores")
	if !strings.Contains(points(d.Missing, "name"), "another kind of vinegar") {
		t.Errorf("missing: %v", d.Missing)
	}

	f.Lot.Acidity = larder.Acidity{GPer100ML: 3.1, ExpandedUGPer100ML: 0.1, LowerGPer100ML: 3, Basis: larder.ByTitration, When: day(2027, 1, 2)}
	d = draft(t, f, Wanted{Rules: US})
	if d.Food.Vinegar || strings.Contains(strings.ToLower(d.Label.Name), "vinegar") {
		t.Errorf("3.1 %% is called %q", d.Label.Name)
	}
}

// Two jars share 4 L of water, 2.4 kg of peels and 340 g of sugar; 300 g of ginger
// went into the one that was bottled. In it there are 2 L, 1.2 kg, 170 g and 300 g:
// the lot knows, the sum over the batch does not.
func TestIngredientsOfOneJarOfSeveral(t *testing.T) {
	f := pears(t)
	ginger := chem.Grams(300)
	f.Trace.Back = append(f.Trace.Back, larder.Step{Edge: larder.Edge{What: larder.Infused, FromName: "ginger", ToJar: "3CFX72", When: day(2026, 12, 1)}, MassG: &ginger, Depth: 3})
	d := draft(t, f, Wanted{Rules: EU})
	wantText(t, "by the batch", d.Label.Ingredients, "water, pear peels and cores, sugar, ginger, vinegar mother")
	f.Lot.Ingredients = []string{"water", "pear peels and cores", "ginger", "sugar"}
	d = draft(t, f, Wanted{Rules: EU})
	wantText(t, "by the lot", d.Label.Ingredients, "water, pear peels and cores, ginger, sugar, vinegar mother")
}

func TestDraftDeclares(t *testing.T) {
	f := barley(t)
	f.Trace.Batches[0].Base, f.Lot.Bases = larder.Wine, []larder.Base{larder.Wine}
	f.Trace.Batches[0].Ingredients = []larder.Ingredient{{Name: "red wine", Amount: amount(t, "3 L")}}
	f.Trace.Back = f.Trace.Back[:1]
	f.Lot.Acidity.GPer100ML, f.Lot.Acidity.LowerGPer100ML = 6.4, 6.3
	d := draft(t, f, Wanted{Rules: EU, Sale: true})
	wantText(t, "sulphites", d.Label.Contains, "May contain SULPHITES.")
	wantText(t, "US spelling", draft(t, f, Wanted{Rules: US}).Label.Contains, "May contain sulfites.")
	wantText(t, "a sale leaves local wording to the maker", d.Label.Home, "")
	if d.Food.Kind != "wine" || points(d.Check, "name") == "" {
		t.Errorf("%+v, %v", d.Food, d.Check)
	}
	if points(draft(t, f, Wanted{Rules: US, Sale: true}).Check, "wine") == "" {
		t.Error("nothing is said of selling what was made from home-made wine")
	}

	f = barley(t)
	f.Lot.Heated = true
	f.Trace.Held = []larder.Held{{Jar: "K7RM40", Reason: "white fur"}}
	f.Trace.Batches[0].Ingredients[0].Name = "ale"
	f.Trace.Back = append(f.Trace.Back, larder.Step{Edge: larder.Edge{What: larder.Infused, FromName: "rosemary", ToJar: "K7RM40", When: day(2027, 1, 1)}})
	f.Kitchen.MakerAddress = ""
	d = draft(t, f, Wanted{Rules: EU})
	wantText(t, "pasteurised", d.Label.State, "Pasteurised.")
	wantText(t, "infused", d.Label.Food, "Malt vinegar with rosemary")
	for field, text := range map[string]string{"hold": "white fur", "maker": "address", "ingredients": "wheat"} {
		if !strings.Contains(points(d.Missing, field), text) {
			t.Errorf("%s: %q is not missing in %v", field, text, d.Missing)
		}
	}
	if !strings.Contains(strings.Join(d.Label.Cautions, "; "), "refrigerator") {
		t.Errorf("cautions %q", d.Label.Cautions)
	}
}

func TestCodeIsChosen(t *testing.T) {
	f := barley(t)
	if d := draft(t, f, Wanted{}); d.Code != Facts || d.CodeWhy == "" || strings.Contains(d.Label.URL, "http") {
		t.Errorf("without a public address: %q, %q", d.Code, d.Label.URL)
	}
	if d := draft(t, f, Wanted{Code: Link}); !strings.HasPrefix(d.Label.URL, "http://"+testHost+"/B/") || points(d.Check, "code") == "" {
		t.Errorf("a link without a public address: %q, %v", d.Label.URL, d.Check)
	}
	f.Kitchen.PublicAddress = "https://quince-yard.example/v/"
	if d := draft(t, f, Wanted{}); d.Code != Link || d.Label.URL != "https://QUINCE-YARD.EXAMPLE/v/B/0123456789CDFHJ" {
		t.Errorf("with a public address: %q, %q", d.Code, d.Label.URL)
	}
}

func TestDraftRefusals(t *testing.T) {
	f := barley(t)
	f.Lot.Void = true
	if _, err := DraftBottle(f, Wanted{}); err == nil || !strings.Contains(err.Error(), "was struck") {
		t.Errorf("a struck lot: %v", err)
	}
	if _, err := RuleSetByID("uk"); err == nil || !strings.Contains(err.Error(), "us or eu") {
		t.Errorf("an unknown rule set: %v", err)
	}
	if _, err := ParseCodeKind("picture"); err == nil || !strings.Contains(err.Error(), "link or facts") {
		t.Errorf("an unknown kind of code: %v", err)
	}
	if _, err := PageByID("a3"); err == nil || !strings.Contains(err.Error(), "a4 or letter") {
		t.Errorf("an unknown paper: %v", err)
	}
}

// A stock that is too small for a ruled label names others, and each of those
// takes it whole.
func TestDraftRefusesSmallStocks(t *testing.T) {
	for _, r := range []RuleSet{US, EU} {
		for name, f := range map[string]Filled{"barley": barley(t), "pears": pears(t)} {
			l := draft(t, f, Wanted{Rules: r}).Label
			refused := map[string]bool{}
			named := map[string]string{} // a stock and the one whose refusal named it
			for _, s := range catalogue() {
				_, err := Draw(Sheet{Stock: s}, l)
				if err == nil {
					continue
				}
				var room *RoomError
				if !errors.As(err, &room) || room.Stock != s.ID {
					t.Errorf("%s, %s on %s: %v", r.ID, name, s.ID, err)
					continue
				}
				refused[s.ID] = true
				if len(room.Fits) == 0 || !strings.Contains(err.Error(), "It does on: "+strings.Join(room.Fits, ", ")+".") {
					t.Errorf("%s, %s on %s names no other: %v", r.ID, name, s.ID, err)
				}
				for _, id := range room.Fits {
					named[id] = s.ID
				}
			}
			for id, by := range named {
				s := mustStock(t, id)
				d, err := Draw(Sheet{Stock: s}, l)
				if err != nil || len(d.Losses) > 0 || !goodModules(d, s.DPI) {
					t.Errorf("%s, %s: %s names %s, which does not take it: %v, %v", r.ID, name, by, id, err, d.Losses)
				}
			}
			if !refused["letter-3x10"] || len(refused) < 5 || named["letter-2x4"] == "" {
				t.Errorf("%s, %s: refused on %d stocks, which name %v", r.ID, name, len(refused), named)
			}
		}
	}
}

// Whatever a maker calls things, the label is whole or refused in a sentence.
func TestDraftTakesUglyNames(t *testing.T) {
	drawn := 0
	for _, name := range uglyNames {
		f := barley(t)
		f.Lot.Name, f.Kitchen.MakerLine, f.Trace.Batches[0].Ingredients[0].Name = name, name, name
		for _, r := range RuleSets() {
			d := draft(t, f, Wanted{Rules: r})
			for _, l := range []Label{d.Label, d.Plain(), d.Neck()} {
				switch got, err := Draw(Sheet{Stock: mustStock(t, "letter-1x2")}, l); {
				case err == nil && len(got.Losses) == 0:
					drawn++
				case err == nil:
					t.Errorf("%q: %v", name, got.Losses)
				case !strings.HasSuffix(err.Error(), "."):
					t.Errorf("%q: %v", name, err)
				}
			}
		}
	}
	if drawn < 5*len(uglyNames) {
		t.Errorf("only %d of %d labels were drawn", drawn, 6*len(uglyNames))
	}
}
