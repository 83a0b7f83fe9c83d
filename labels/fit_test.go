package labels

import (
	"slices"
	"testing"
	"time"
)

// What is said to fit prints whole, and what is said not to is refused or loses
// something: three sizes of bottle label at least, and a strip for the neck.
func TestFit(t *testing.T) {
	us := barley(t)
	us.Kitchen.Market = "US"
	for _, c := range []struct {
		name   string
		f      Filled
		want   Wanted
		layout string
		least  int
	}{
		{"by US rules", us, Wanted{Rules: US}, "bottle", 3}, {"by EU rules", barley(t), Wanted{Rules: EU}, "bottle", 3},
		{"plain", barley(t), Wanted{Plain: true}, "bottle", 6}, {"neck", barley(t), Wanted{Rules: EU}, "neck", 3},
	} {
		l := draft(t, c.f, c.want).Print(c.layout)
		began := time.Now()
		fit, rest, err := Fit([]Label{l}, catalogue())
		took := time.Since(began)
		if err != nil || len(fit)+len(rest) != len(catalogue()) {
			t.Fatal(len(fit), len(rest), err)
		}
		sizes := map[[2]float64]bool{}
		var ids []string
		for _, s := range catalogue() {
			d, err := Draw(Sheet{Stock: s}, l)
			whole := err == nil && len(d.Losses) == 0 && goodModules(d, s.DPI)
			if fits := slices.ContainsFunc(fit, func(f Stock) bool { return f.ID == s.ID }); fits != whole {
				t.Errorf("%s on %s: said to fit %v, drawn whole %v (%v)", c.name, s.ID, fits, whole, err)
			} else if fits {
				sizes[[2]float64{s.LabelWMM, s.LabelHMM}] = true
				ids = append(ids, s.ID)
			}
		}
		if len(sizes) < c.least {
			t.Errorf("%s fits %d sizes only", c.name, len(sizes))
		}
		t.Logf("%s, %v: %v", c.name, took, ids)
	}
}
