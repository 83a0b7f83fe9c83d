package labels

import (
	"fmt"
	"testing"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// The paper that nobody named is the one used last for such labels, else one that
// the kitchen chose, else one of its market's size: US Letter in the United States
// (ANSI/ASME Y14.1, size A), A4 elsewhere (ISO 216).
func TestUsualPaper(t *testing.T) {
	c := kitchenStocks(t, ownLine)
	for name, row := range map[string]struct {
		k            larder.Kitchen
		layout, last string
		want, why    string
	}{
		"Europe":                         {larder.Kitchen{Market: "EU"}, "jar", "", "a4-3x7", "since this kitchen prints on A4"},
		"Europe with US units":           {larder.Kitchen{Market: "EU", USUnits: true}, "jar", "", "a4-3x7", "since this kitchen prints on A4"},
		"the United States":              {larder.Kitchen{Market: "us"}, "jar", "", "letter-3x10", "since this kitchen prints on US Letter"},
		"nothing told":                   {larder.Kitchen{}, "jar", "", "a4-3x7", "since this kitchen prints on A4"},
		"US units alone":                 {larder.Kitchen{USUnits: true}, "jar", "", "letter-3x10", "since this kitchen prints on US Letter"},
		"used last":                      {larder.Kitchen{Market: "EU", Stocks: []string{"a4-2x7"}}, "jar", "letter-2x4", "letter-2x4", "as printed last"},
		"an own one used last":           {larder.Kitchen{}, "jar", "pantry-4x6", "pantry-4x6", "as printed last"},
		"used last, gone since":          {larder.Kitchen{}, "jar", "pantry-9x9", "a4-3x7", "since this kitchen prints on A4"},
		"chosen":                         {larder.Kitchen{Market: "EU", Stocks: []string{"gone", "roll-57x32", "a4-2x7"}}, "jar", "", "roll-57x32", "as chosen on the set-up page"},
		"a shelf's sheet":                {larder.Kitchen{Stocks: []string{"roll-57x32"}}, "shelf", "shelf", "a4-3x7", "since this kitchen prints on A4"},
		"a proof page":                   {larder.Kitchen{Market: "US"}, "proof", "roll-57x32", "letter-3x10", "since this kitchen prints on US Letter"},
		"of bottles, before it is tried": {larder.Kitchen{}, "bottle", "", "a4-3x7", "since this kitchen prints on A4"},
	} {
		papers := c.Usual(row.k, row.layout, row.last)
		if got := papers[0]; got.Stock.ID != row.want || got.Why != row.why {
			t.Errorf("%s: %s, %s; want %s, %s", name, got.Stock.ID, got.Why, row.want, row.why)
		}
		seen := map[string]bool{}
		for _, u := range papers {
			if seen[u.Stock.ID] {
				t.Errorf("%s: %s is listed twice", name, u.Stock.ID)
			}
			seen[u.Stock.ID] = true
		}
		if len(seen) != len(c.Stocks) && row.layout != "shelf" && row.layout != "proof" {
			t.Errorf("%s: %d of %d papers", name, len(seen), len(c.Stocks))
		}
	}
}

// The first that takes the labels is taken; when none does, the first, so that
// printing says why.
func TestFirstPaperThatTakesThem(t *testing.T) {
	c := Catalogue{Stocks: Stocks()}
	list := []Label{draft(t, barley(t), Wanted{Rules: EU, Code: Facts}).Print("bottle")}
	u, err := FirstFor(list, c.Usual(larder.Kitchen{}, "bottle", ""))
	fit, _, fitErr := Fit(list, c.Stocks)
	if err != nil || fitErr != nil || u.Stock.PageWMM != A4.WMM || u.Stock.ID == "a4-3x7" || len(fit) == 0 {
		t.Errorf("%s, %v; %d fit, %v", u.Stock.ID, err, len(fit), fitErr)
	}
	if u, err = FirstFor(list, c.Usual(larder.Kitchen{}, "bottle", u.Stock.ID)); err != nil || u.Why != "as printed last" {
		t.Errorf("the same again: %+v, %v", u, err)
	}
	tiny, err := c.Find("letter-4x20")
	if err != nil {
		t.Fatal(err)
	}
	if u, err = FirstFor(list, []Usual{{tiny, "alone"}}); err != nil || u.Stock.ID != "letter-4x20" {
		t.Errorf("when none takes it: %s, %v", u.Stock.ID, err)
	}
}

func TestOnePerSize(t *testing.T) {
	var bottles []larder.Bottle
	var all []Label
	for i, size := range []chem.Millilitres{250, 500, 250, 500, 250} {
		bottles = append(bottles, larder.Bottle{Number: i + 1, SizeML: size})
		all = append(all, BottleLabel{Name: fmt.Sprint(i + 1)})
	}
	got := OnePerSize(bottles, all)
	if len(got) != 2 || got[0].(BottleLabel).Name != "5" || got[1].(BottleLabel).Name != "4" {
		t.Errorf("%v", got)
	}
}
