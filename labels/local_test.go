package labels

import (
	"strings"
	"testing"

	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// What the label should say of its maker and cannot is named, and nothing else.
func TestMissingMakerIsNamed(t *testing.T) {
	for name, c := range map[string]struct {
		line, address string
		want          string
	}{
		"both there": {"Ask ro", "4 Orchard Lane", ""},
		"neither":    {"", "", "Neither the maker's line nor the postal address is set"},
		"no line":    {"", "4 Orchard Lane", "No maker's line is set"},
		"no address": {"Ask ro", "", "No postal address is set"},
	} {
		f := barley(t)
		f.Kitchen.MakerLine, f.Kitchen.MakerAddress = c.line, c.address
		d, err := DraftBottle(f, Wanted{})
		if err != nil {
			t.Fatal(err)
		}
		if got := points(d.Missing, "maker"); !strings.HasPrefix(got, c.want) || (c.want == "") != (got == "") {
			t.Errorf("%s: %q", name, got)
		}
	}
}

// A hold is the kitchen's own rule: no law is named as its source.
func TestHoldIsOurOwnRule(t *testing.T) {
	f := barley(t)
	f.Trace.Held = []larder.Held{{Jar: "K7RM40", Reason: "white fur"}}
	d, err := DraftBottle(f, Wanted{})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range d.Missing {
		if p.Field == "hold" && p.Source.Standing == verdict.OwnRule {
			return
		}
	}
	t.Errorf("missing: %+v", d.Missing)
}

// Regulation (EU) No 1169/2011 art. 16(2): a pack whose largest surface is under
// 10 cm² need not say everything. π × 14 mm × 18 mm are 7.9 cm², π × 18 × 20 are 11.3.
func TestSmallPack(t *testing.T) {
	for _, c := range []struct {
		rules RuleSet
		of    Container
		want  bool
	}{{EU, Container{14, 18}, true}, {EU, Container{18, 20}, false}, {EU, Container{}, false}, {US, Container{14, 18}, false}} {
		f := barley(t)
		f.Container = c.of
		d, err := DraftBottle(f, Wanted{Rules: c.rules})
		if err != nil {
			t.Fatal(err)
		}
		if got := points(d.Check, "small-pack"); (got != "") != c.want || c.want && !strings.Contains(got, "under 10 cm²") {
			t.Errorf("%s, %v: %q", c.rules.ID, c.of, got)
		}
	}
}

// How long it keeps: a plain vinegar has no published end, and neither rules ask for a
// date; an infused one is used within about three months (Colorado State University
// Extension, fact sheet 9.340), which from 3 January is 3 April.
func TestKeeping(t *testing.T) {
	plain := barley(t)
	infused := barley(t)
	infused.Trace.Back = append(infused.Trace.Back, larder.Step{Edge: larder.Edge{What: larder.Infused, FromName: "rosemary", ToJar: "K7RM40", When: day(2027, 1, 1)}})
	for _, rules := range RuleSets() {
		d, err := DraftBottle(plain, Wanted{Rules: rules})
		if err != nil {
			t.Fatal(err)
		}
		if got := points(d.Check, "date"); !strings.HasPrefix(got, rules.line("date").Says) {
			t.Errorf("%s, plain: %q", rules.ID, got)
		}
		if d, err = DraftBottle(infused, Wanted{Rules: rules}); err != nil {
			t.Fatal(err)
		}
		if got := points(d.Check, "date"); !strings.Contains(got, "by 3 Apr 2027") {
			t.Errorf("%s, infused: %q", rules.ID, got)
		}
		if text := strings.Join(d.Label.Cautions, " "); !strings.Contains(text, "within 3 months") {
			t.Errorf("%s: the infused label says %q", rules.ID, text)
		}
	}
}
