package labels

import (
	"image"
	"image/png"
	"os"
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

func TestLook(t *testing.T) {
	for _, id := range []string{"letter-2x4", "letter-2x3", "a4-2x4", "a4-3x4", "roll-102x76", "roll-76x51", "letter-2x5", "roll-89x36"} {
		for _, r := range RuleSets() {
			for n, f := range map[string]Filled{"barley": barley(t), "pears": pears(t)} {
				d := draft(t, f, Wanted{Rules: r})
				s := mustStock(t, id)
				dr, err := Draw(Sheet{Stock: s}, d.Label)
				if err != nil {
					t.Log(id, r.ID, n, err)
					continue
				}
				t.Log(id, r.ID, n, len(d.Label.URL), d.Label.URL, "\n"+dr.String())
				savePNG(t, "/tmp/h5/"+id+"-"+r.ID+"-"+n+".png", crop(pages(t, write(t, Sheet{Stock: s, Outlines: true}, d.Label), 150)[0], s, 0))
			}
		}
	}
	_ = verdict.US
	_ = strings.ToUpper
}

func savePNG(t *testing.T, path string, img *image.Gray) {
	f, _ := os.Create(path)
	defer f.Close()
	png.Encode(f, img)
}
