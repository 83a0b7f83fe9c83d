package scan

import (
	"context"
	"regexp"
	"slices"
	"testing"

	"cruet/labels"
)

// The papers stand under headings, those of the kitchen's own market first, and a
// fresh phone begins with one of them.
func TestPapersStandUnderHeadings(t *testing.T) {
	s := stocked(t)
	heading, chosen := regexp.MustCompile(`<optgroup label="([^"]+)"`), regexp.MustCompile(`<option value="([^"]+)" selected>`)
	for market, want := range map[string]struct {
		first string
		like  float64 // page width, mm
	}{"EU": {"A4 sheets", 210}, "US": {"US Letter sheets", 215.9}, "": {"A4 sheets", 210}} {
		k, err := s.db.Kitchen(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		k.Market = market
		if err := s.db.SetKitchen(context.Background(), k); err != nil {
			t.Fatal(err)
		}
		page := s.get("/labels").wants(200).Body.String()
		var heads []string
		for _, m := range heading.FindAllStringSubmatch(page, 3) {
			heads = append(heads, m[1])
		}
		slices.Sort(heads[1:])
		if heads[0] != want.first || len(slices.Compact(slices.Clone(heads))) != 3 {
			t.Errorf("market %q: the headings are %q", market, heads)
		}
		stock, err := labels.StockByID(chosen.FindStringSubmatch(page)[1])
		if err != nil || stock.PageWMM != want.like {
			t.Errorf("market %q: the paper is %s, %v", market, stock.ID, err)
		}
	}
}
