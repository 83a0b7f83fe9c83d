package labels

import (
	"math"
	"strings"
	"testing"

	"cruet/internal/chem"
	"cruet/internal/verdict"
)

func TestRulesAreCited(t *testing.T) {
	for _, r := range RuleSets() {
		seen := map[string]bool{}
		for _, l := range r.Lines {
			if seen[l.ID] || l.Says == "" || l.Source.Title == "" || l.Source.Standing == "" {
				t.Errorf("%s %s: %+v", r.ID, l.ID, l)
			}
			seen[l.ID] = true
		}
		for _, id := range []string{"name", "strength", "net-form", "net-height", "small-type", "ingredients", "allergens", "maker", "nutrition", "home", "gift"} {
			r.line(id)
		}
	}
}

// 21 CFR 101.7(i) gives the type by the panel's area; 16 CFR 500.21 takes 40 %
// of height times circumference for the panel of a cylinder. The two cylinders
// are worked by hand: 0.4 × π × 74 × 190 = 17,668 mm² = 27.4 sq in, and
// 0.4 × π × 68 × 150 = 12,818 mm² = 19.9 sq in.
func TestUSHeights(t *testing.T) {
	for _, c := range []struct {
		Container
		cm2, in2, inches float64
	}{{Container{74, 190}, 176.7, 27.4, 3. / 16}, {Container{68, 150}, 128.2, 19.9, 1. / 8}} {
		if got := c.PanelMM2() / 100; math.Abs(got-c.cm2) > 0.05 {
			t.Errorf("%v: %.2f cm², want %.1f", c.Container, got, c.cm2)
		}
		if got := c.PanelMM2() / 645.16; math.Abs(got-c.in2) > 0.05 {
			t.Errorf("%v: %.2f sq in, want %.1f", c.Container, got, c.in2)
		}
		if got, onLower := US.NetHeightMM(750, c.Container); math.Abs(got-c.inches*25.4) > 1e-9 || !onLower {
			t.Errorf("%v: %.3f mm, want %.3f", c.Container, got, c.inches*25.4)
		}
	}
	// The limits of the table themselves, as panels of one inch in height.
	for _, c := range []struct{ in2, inches float64 }{{5, 1. / 16}, {5.01, 1. / 8}, {25, 1. / 8}, {25.01, 3. / 16}, {100, 3. / 16}, {100.01, 1. / 4}, {400, 1. / 4}, {400.01, 1. / 2}} {
		panel := Container{DiameterMM: 25.4 / math.Pi, SideMM: c.in2 / 0.4 * 25.4 * (1 - 1e-12)}
		if got, _ := US.NetHeightMM(100, panel); math.Abs(got-c.inches*25.4) > 1e-9 {
			t.Errorf("%g sq in: %.3f mm, want %.3f", c.in2, got, c.inches*25.4)
		}
		if low := US.NetLow(panel); low != (c.in2 > 5) {
			t.Errorf("%g sq in: in the lowest 30 %%: %v (21 CFR 101.7(f))", c.in2, low)
		}
	}
	if got := US.SmallHeightMM(Container{60, 110}); math.Abs(got-1.5875) > 1e-9 {
		t.Errorf("small type %.4f mm, 21 CFR 101.2(c) asks for 1/16 in", got)
	}
}

// Weight and volume indication, USDA EU office; at 1000 mL a page on honey asks
// for 6 mm and is the stricter. X-heights: Regulation (EU) 1169/2011 art. 13.
func TestEUHeights(t *testing.T) {
	for size, want := range map[chem.Millilitres]float64{50: 2, 51: 3, 200: 3, 201: 4, 999: 4, 1000: 6, 1001: 6} {
		if got, onLower := EU.NetHeightMM(size, Container{60, 110}); got != want || onLower {
			t.Errorf("%g mL: %g mm, want %g", float64(size), got, want)
		}
	}
	small, large := Container{36, 65}, Container{60, 110} // 73.5 and 207 cm²
	if EU.SmallHeightMM(small) != 0.9 || EU.SmallHeightMM(large) != 1.2 {
		t.Errorf("x-heights %g and %g", EU.SmallHeightMM(small), EU.SmallHeightMM(large))
	}
}

// A Food Labeling Guide (FDA, 1999), chapter III: 500 ml (1 pt 0.9 fl oz). The
// others from 231 cu in to the gallon, rounded down.
func TestNetForms(t *testing.T) {
	for size, want := range map[chem.Millilitres]string{100: "Net 100 mL (3.3 fl oz)", 250: "Net 250 mL (8.4 fl oz)", 375: "Net 375 mL (12.6 fl oz)",
		500: "Net 500 mL (1 pt 0.9 fl oz)", 473.176473: "Net 473 mL (1 pt)", 750: "Net 750 mL (1 pt 9.3 fl oz)", 1000: "Net 1000 mL (1 qt 1.8 fl oz)", 3785.411784: "Net 3785 mL (1 gal)"} {
		if got := US.Net(size); got != want {
			t.Errorf("US %g mL: %q, want %q", float64(size), got, want)
		}
	}
	for size, want := range map[chem.Millilitres]string{40: "40 ml", 250: "250 ml", 249.99999999999997: "250 ml", 750: "750 ml", 1000: "1 L", 1500: "1.5 L", 1250: "1250 ml"} {
		if got := EU.Net(size); got != want {
			t.Errorf("EU %g mL: %q, want %q", float64(size), got, want)
		}
	}
}

// What the rules ask for is what the paper shows: heights are measured on the
// drawing, on every built-in stock that takes the label.
func TestRuledLabelsKeepTheirHeights(t *testing.T) {
	taken := map[string]int{}
	for _, s := range Stocks() {
		if s.Continuous {
			continue
		}
		for _, r := range RuleSets() {
			for _, f := range []Filled{barley(t), pears(t)} {
				l := draft(t, f, Wanted{Rules: r}).Label
				c, err := NewCode(l.URL, LevelM)
				if err != nil {
					t.Fatal(err)
				}
				d, err := layOut(l, c, s, s.DPI, builtin())
				if err != nil {
					continue // told by TestDraftRefusals
				}
				taken[r.ID]++
				checkRuled(t, s, r, l, d)
			}
		}
	}
	// At least three sizes, sheet and roll, for each rule set.
	if taken["us"] < 12 || taken["eu"] < 12 {
		t.Errorf("the labels fit on few stocks: %v", taken)
	}
	for _, id := range []string{"letter-2x4", "letter-2x3", "a4-2x4", "roll-102x76"} {
		for _, r := range RuleSets() {
			if _, err := Draw(Sheet{Stock: mustStock(t, id)}, draft(t, barley(t), Wanted{Rules: r}).Label); err != nil {
				t.Errorf("%s: %v", r.ID, err)
			}
		}
	}
}

func checkRuled(t *testing.T, s Stock, r RuleSet, l RuledLabel, d Drawing) {
	t.Helper()
	const hair = 1e-6
	all := ""
	for _, it := range d.Items {
		if it.Kind == CodeItem && float64(it.Dots)*DotMM(s.DPI) < GoodModuleMM-hair {
			t.Errorf("%s %s: modules of %.3f mm", s.ID, r.ID, float64(it.Dots)*DotMM(s.DPI))
		}
		if it.Kind != TextItem {
			continue
		}
		all += " " + it.Text
		if x := it.face.xEm * mm(it.SizePt); x < l.SmallXMM-hair {
			t.Errorf("%s %s: %q has an x-height of %.3f mm, want %.3f", s.ID, r.ID, it.Text, x, l.SmallXMM)
		}
		if !strings.Contains(strings.ReplaceAll(l.netText(), unbroken, " "), it.Text) {
			continue
		}
		height := it.HMM
		if l.NetOnLower {
			height = it.face.xEm * mm(it.SizePt)
		}
		if height < l.NetMM-hair {
			t.Errorf("%s %s: the net quantity is %.3f mm high, want %.3f", s.ID, r.ID, height, l.NetMM)
		}
		if l.NetLow && it.YMM < 0.7*s.LabelHMM-hair {
			t.Errorf("%s %s: the net quantity begins at %.1f of %.1f mm, not in the lowest 30 %%", s.ID, r.ID, it.YMM, s.LabelHMM)
		}
	}
	flat := strings.Join(strings.Fields(all), " ")
	for _, want := range append([]string{l.Food, upperFirst(l.Acidity), l.Net, l.Ingredients, l.Contains, l.State, l.Lot, l.Bottled, l.Maker, verdict.NotForCanning}, l.Cautions...) {
		if !strings.Contains(flat, strings.ReplaceAll(want, unbroken, " ")) {
			t.Errorf("%s %s: %q is not whole on the label: %s", s.ID, r.ID, want, flat)
		}
	}
}

// Letters are no more than three times as high as wide (21 CFR 101.7(h)(1)).
func TestLettersAreNotNarrow(t *testing.T) {
	f := builtin()[0].bold
	for _, r := range "0123456789NMetmLfoz" {
		up, _ := f.ink(string(r))
		if w := f.advance(r); up > 3*w {
			t.Errorf("%c is %.2f em high and %.2f wide", r, up, w)
		}
	}
}
