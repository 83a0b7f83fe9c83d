package labels

import (
	"errors"
	"io"
	"strings"
	"testing"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// Whatever the layout, a bottle says what may hurt somebody: the ruled label, the
// plain one, the neck tag, the code's facts and the bottle's page.
func TestCautionsHoldInEveryLayout(t *testing.T) {
	const canning, infants, cold, sulphites = "not for canning", "under one year", "refrigerator", "sulphites"
	short := map[string]string{canning: "NOT FOR CANNING", infants: "NOT UNDER 1 YEAR", cold: "KEEP COLD", sulphites: "MAY HAVE SULPHITES"}
	for name, c := range map[string]struct {
		base        larder.Base
		ingredients []string
		infused     string
		want        []string
	}{
		"honey":           {larder.Honey, []string{"honey", "water"}, "", []string{canning, infants}},
		"honey in juice":  {larder.Juice, []string{"apple juice", "honey"}, "", []string{canning, infants}},
		"infused":         {larder.Juice, []string{"apple juice"}, "fig leaves", []string{canning, cold}},
		"honey, infused":  {larder.Honey, []string{"honey", "water"}, "rosemary", []string{canning, infants, cold}},
		"wine":            {larder.Wine, []string{"red grapes"}, "", []string{canning, sulphites}},
		"raisins":         {larder.Juice, []string{"apple juice", "raisins"}, "", []string{canning, sulphites}},
		"all at once":     {larder.Honey, []string{"honey", "raisins"}, "thyme", []string{canning, infants, cold, sulphites}},
		"none but always": {larder.Juice, []string{"apple juice"}, "", []string{canning}},
	} {
		f := pears(t)
		f.Lot.Bases, f.Lot.TraceBases, f.Lot.Ingredients, f.Lot.Name = []larder.Base{c.base}, nil, c.ingredients, "Vinegar of the yard with a rather long name"
		f.Trace = larder.Trace{}
		if c.infused != "" {
			f.Trace.Back = []larder.Step{{Edge: larder.Edge{What: larder.Infused, FromName: c.infused, ToJar: f.Lot.Pours[0].Jar, When: day(2026, 12, 1)}}}
		}
		d := draft(t, f, Wanted{Rules: EU, Code: Facts})
		public, err := PublicOf(f)
		if err != nil {
			t.Fatal(err)
		}
		plain := d.Plain()
		neck := d.Neck()
		neck.Minor = nil // as on the smallest paper
		texts := func(paras []para) string {
			var all []string
			for _, p := range paras {
				all = append(all, p.text)
			}
			return strings.ToLower(strings.Join(all, "; "))
		}
		for layout, text := range map[string]string{"ruled": texts(d.Label.info()), "plain": texts(plain.content()), "neck": texts(neck.content()), "page": strings.ToLower(strings.Join(public.Minds, "; "))} {
			for _, caution := range []string{canning, infants, cold, sulphites} {
				if want := strings.Contains(strings.Join(c.want, ";"), caution); strings.Contains(text, caution) != want {
					t.Errorf("%s, %s: %q is wanted: %v, in %q", name, layout, caution, want, text)
				}
			}
		}
		facts := d.Label.URL
		if len(facts) > MaxFacts || strings.Trim(facts, factsAlphabet) != "" {
			t.Errorf("%s: %d characters: %q", name, len(facts), facts)
		}
		for caution, text := range short {
			if want := strings.Contains(strings.Join(c.want, ";"), caution); strings.Contains(facts, text) != want {
				t.Errorf("%s: %q is wanted: %v, in %q", name, text, want, facts)
			}
		}
		if !strings.Contains(strings.Join(plain.Minor, ";"), "npasteurised") || c.infused == "" && !strings.Contains(strings.Join(plain.Minor, ";"), "Keep closed") {
			t.Errorf("%s: the plain label also says %q", name, plain.Minor)
		}
		// A strip is printed with all of them; a paper without the room is refused.
		for _, id := range []string{"letter-2x10", "letter-3x10", "roll-57x32"} {
			var room *RoomError
			err := Write(io.Discard, Sheet{Stock: mustStock(t, id), DPI: 203, Date: testDate}, []Label{d.Neck()})
			if err != nil && (id == "letter-2x10" && len(c.want) < 4 || !errors.As(err, &room)) {
				t.Errorf("%s on %s: %v", name, id, err)
			}
		}
	}
	if (verdict.Short{ID: verdict.ShortInfants}).Grave() == false || (verdict.Short{ID: verdict.ShortLive}).Grave() {
		t.Error("the grave cautions are others")
	}
}

// What was measured too weak for vinegar is kept cold, on whatever paper and on the
// page that a stranger sees; nothing else is said of its keeping.
func TestTooWeakIsKeptCold(t *testing.T) {
	for _, acidity := range []chem.GramsPer100ML{3.3, 5.5} {
		f := pears(t)
		a := &f.Lot.Acidity
		a.GPer100ML, a.ExpandedUGPer100ML, a.LowerGPer100ML, a.Basis, a.When = acidity, 0.2, acidity-0.2, larder.ByTitration, f.Lot.When
		d := draft(t, f, Wanted{Rules: EU, Code: Facts})
		public, err := PublicOf(f)
		if err != nil {
			t.Fatal(err)
		}
		var ruled, plain []string
		for _, p := range d.Label.info() {
			ruled = append(ruled, p.text)
		}
		plainLabel := d.Plain()
		for _, p := range plainLabel.content() {
			plain = append(plain, p.text)
		}
		page := strings.Join(public.Minds, "; ")
		for _, line := range public.Lines {
			page += "; " + line[1]
		}
		for layout, text := range map[string]string{"ruled": strings.Join(ruled, "; "), "plain": strings.Join(plain, "; "), "page": page, "code": d.Label.URL} {
			text = strings.ToLower(text)
			weak := strings.Contains(text, "weaker than vinegar: keep in the refrigerator") || layout == "code" && strings.Contains(text, "keep cold")
			if weak != (acidity < 4) || weak && strings.Contains(text, "cool and dark") {
				t.Errorf("%v g/100 mL, %s: %q", acidity, layout, text)
			}
		}
	}
}
