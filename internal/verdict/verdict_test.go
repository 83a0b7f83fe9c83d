package verdict

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

var now = time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)

func daysAgo(n int) larder.When { return larder.ExactAt(now.AddDate(0, 0, -n)) }

// titrated is a finished cider-like vinegar, titrated 5 days ago.
func titrated(acidity, expanded chem.GramsPer100ML) Evidence {
	return Evidence{Now: now, Stage: larder.Finished, Since: daysAgo(10), Bases: []larder.Base{larder.Juice},
		Basis: larder.ByTitration, AcidityGPer100ML: acidity, ExpandedUGPer100ML: expanded, LowerGPer100ML: acidity - expanded, TitratedAt: daysAgo(5)}
}

func with(e Evidence, change func(*Evidence)) Evidence {
	change(&e)
	return e
}

// answers are the verdicts in the order table, pickles, canning, cleaning,
// giving, selling: a supported, ? not proven, x no.
func answers(e Evidence, m Market) string {
	out := ""
	for _, f := range Judge(e, m) {
		out += map[Answer]string{Supported: "a", NotProven: "?", No: "x"}[f.Answer]
	}
	return out
}

func finding(t *testing.T, e Evidence, m Market, use Use) Finding {
	t.Helper()
	for _, f := range Judge(e, m) {
		if f.Use == use {
			return f
		}
	}
	t.Fatalf("no finding for %s", use)
	return Finding{}
}

func TestAnswers(t *testing.T) {
	abv := func(v chem.PercentVol, days int) func(*Evidence) {
		return func(e *Evidence) { e.ABVPercentVol, e.ABVAt = &v, daysAgo(days) }
	}
	mouldAt := now.AddDate(0, 0, -20)
	closedAt := now.AddDate(0, 0, -295)
	tests := []struct {
		name   string
		e      Evidence
		market Market
		want   string
	}{
		// FDA CPG 525.825: from 4 g/100 mL on it is vinegar. University of
		// California Master Food Preserver: pickling recipes are tested with 5 %.
		// The lower end decides: 4.95 - 0.17 = 4.78.
		{"4.95 ± 0.17 is for the table only", titrated(4.95, 0.17), US, "a?xaa?"},
		{"5.05 ± 0.02", titrated(5.05, 0.02), US, "aaxaa?"},
		{"exactly at both limits", titrated(5.5, 0.5), US, "aaxaa?"},
		{"interval across 4", titrated(4.1, 0.2), US, "?xxa??"},
		{"3.9 ± 0.05 is no vinegar in the US", titrated(3.9, 0.05), US, "xxxaxx"},
		// Nothing but a pH: strength unknown.
		{"pH only", Evidence{Now: now, Stage: larder.Finished, Bases: []larder.Base{larder.Juice}, PH: new(chem.PH(3.2))}, US, "??xa??"},
		{"nothing known", Evidence{Now: now}, US, "??x???"},
		// DE: ordinance of 1972, article 1: 5 g/100 mL. FR: 5, wine vinegar 6.
		{"4.95 in Germany", titrated(4.95, 0.02), Germany, "xxxaxx"},
		{"5.3 in Germany", titrated(5.3, 0.1), Germany, "aaxaa?"},
		{"4.9 in France, inside the 0.2 tolerance that is not used", titrated(4.9, 0.02), France, "xxxaxx"},
		{"4.5 in the UK", titrated(4.5, 0.1), UK, "axxaa?"},
		{"5.4 elsewhere", titrated(5.4, 0.2), Elsewhere, "aaxaa?"},
		{"4.5 elsewhere", titrated(4.5, 0.1), Elsewhere, "xxxaxx"},
		{"a market the table does not know is elsewhere", titrated(4.5, 0.1), Market("XX"), "xxxaxx"},
		// GB 2719-2018 says 3.5, our floor of 4 is the stricter.
		{"3.8 in China", titrated(3.8, 0.1), China, "xxxaxx"},
		{"4.1 in Japan, between the two figures", titrated(4.1, 0.05), Japan, "xxxaxx"},
		// Regulation 1308/2013: wine vinegar 60 g/L.
		{"5.5 from wine, EU", with(titrated(5.5, 0.1), func(e *Evidence) { e.Bases = []larder.Base{larder.Wine} }), EU, "aaxaax"},
		{"6.5 from wine, EU, 0.4 % vol left", with(with(titrated(6.5, 0.1), func(e *Evidence) { e.Bases = []larder.Base{larder.Wine} }), abv(0.4, 3)), EU, "aaxaa?"},
		// 1.2 lies between Codex 162's 1 and the 1.5 of the French summary.
		{"6.5 from wine, FR, 1.2 % vol left", with(with(titrated(6.5, 0.1), func(e *Evidence) { e.Bases = []larder.Base{larder.Wine} }), abv(1.2, 3)), France, "aaxaax"},
		{"0.6 % vol left, FR", with(titrated(5.5, 0.1), abv(0.6, 3)), France, "aaxaax"},
		{"6 % vol read before it was finished says nothing", with(titrated(5.5, 0.1), abv(6, 60)), France, "aaxaa?"},
		// What supports no strength.
		{"computed", with(titrated(5.5, 0.1), func(e *Evidence) { e.Basis = larder.Computed }), US, "??xa??"},
		{"outdated", with(titrated(5.5, 0.1), func(e *Evidence) { e.Basis = larder.Outdated }), US, "??xa??"},
		{"marked: base not checked", with(titrated(6.5, 0.1), func(e *Evidence) { e.StrengthMark = chem.BaseAgeMark(nil, 0) }), US, "??xa??"},
		{"91 days old", with(titrated(5.5, 0.1), func(e *Evidence) { e.TitratedAt = daysAgo(91) }), US, "??xa??"},
		{"90 days old", with(titrated(5.5, 0.1), func(e *Evidence) { e.TitratedAt = daysAgo(90) }), US, "aaxaa?"},
		{"about 85 days old, give or take 10", with(titrated(5.5, 0.1), func(e *Evidence) {
			e.TitratedAt = larder.When{At: now.AddDate(0, 0, -85), Precision: larder.About, SpreadDays: 10}
		}), US, "??xa??"},
		{"weak, but titrated long ago and may have risen", with(titrated(3, 0.1), func(e *Evidence) {
			e.Stage, e.TitratedAt = larder.Acetic, daysAgo(60)
		}), US, "??xa??"},
		{"bottled 5 days after the titration, 300 days ago", with(titrated(5.5, 0.1), func(e *Evidence) {
			e.TitratedAt, e.ClosedAt = daysAgo(300), &closedAt
		}), US, "aaxaa?"},
		{"dated tomorrow", with(titrated(5.5, 0.1), func(e *Evidence) { e.TitratedAt = daysAgo(-1) }), US, "??xa??"},
		{"not a number", with(titrated(5.5, 0.1), func(e *Evidence) { e.LowerGPer100ML = chem.GramsPer100ML(math.NaN()) }), US, "??xa??"},
		{"no uncertainty", titrated(5.5, 0), US, "??xa??"},
		// Mould, holds, stages, infusions.
		{"mould", with(titrated(6, 0.1), func(e *Evidence) { e.MouldAt = &mouldAt }), US, "xxxxxx"},
		{"hold", with(titrated(6, 0.1), func(e *Evidence) { e.Hold = "smells of solvent" }), US, "xxx?xx"},
		{"must", with(titrated(6, 0.1), func(e *Evidence) { e.Stage = larder.Must }), US, "xxxxxx"},
		{"alcoholic", with(titrated(6, 0.1), func(e *Evidence) { e.Stage = larder.Alcoholic }), US, "xxxxxx"},
		{"acetic", with(titrated(6, 0.1), func(e *Evidence) { e.Stage = larder.Acetic }), US, "a?xa??"},
		{"acetic, not titrated", Evidence{Now: now, Stage: larder.Acetic}, US, "??x???"},
		{"maturing", with(titrated(6, 0.1), func(e *Evidence) { e.Stage = larder.Maturing }), US, "aaxa??"},
		{"discarded", with(titrated(6, 0.1), func(e *Evidence) { e.Stage = larder.Discarded }), US, "xxxxxx"},
		{"infused", with(titrated(6, 0.1), func(e *Evidence) { e.Infuse = "rosemary" }), US, "??xa??"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := answers(tt.e, tt.market); got != tt.want {
				t.Errorf("table, pickles, canning, cleaning, giving, selling = %s, want %s", got, tt.want)
				for _, f := range Judge(tt.e, tt.market) {
					for _, r := range f.Reasons {
						t.Logf("%s: %s: %s", f.Use, r.Answer, r.Text)
					}
				}
			}
		})
	}
}

// Penn State Extension, Homemade vinegar acidity: not for canning recipes, and
// no exception for a measured one.
func TestCanningGivesPublishedAdvice(t *testing.T) {
	f := finding(t, with(titrated(5.6, 0.1), func(e *Evidence) { e.PH = new(chem.PH(2.9)) }), US, Canning)
	text := f.Reasons[0].Text
	if f.Answer != No || !strings.Contains(text, "bought vinegar of at least 5 %") || !strings.Contains(text, "does not change it") {
		t.Errorf("%s: %s", f.Answer, text)
	}
	if len(f.Disagreements) == 0 || len(f.Cautions) == 0 {
		t.Error("the disagreement or the cautions are missing")
	}
}

func TestPHIsNamedButNotUsed(t *testing.T) {
	f := finding(t, Evidence{Now: now, Stage: larder.Finished, PH: new(chem.PH(3.2))}, US, Table)
	if f.Answer != NotProven || !strings.Contains(f.Reasons[0].Text, "pH does not tell strength") {
		t.Errorf("%s: %s", f.Answer, f.Reasons[0].Text)
	}
}

func TestDisagreementsAreTold(t *testing.T) {
	wine := with(titrated(6.5, 0.1), func(e *Evidence) { e.Bases = []larder.Base{larder.Wine} })
	told := strings.Join(finding(t, wine, France, Selling).Disagreements, "\n")
	for _, want := range []string{"1.5 % vol", "CODEX STAN 162-1987", "recalled from memory", "at most 1 % vol of alcohol, is used"} {
		if !strings.Contains(told, want) {
			t.Errorf("%q is not told in:\n%s", want, told)
		}
	}
	if d := finding(t, titrated(5.5, 0.1), US, Table).Disagreements; len(d) != 0 {
		t.Errorf("US table sources agree on 4, but: %s", d)
	}
	if d := strings.Join(finding(t, titrated(3.8, 0.1), China, Table).Disagreements, ""); !strings.Contains(d, "at least 4 g/100 mL, is used") {
		t.Errorf("the floor above the Chinese limit is not told: %q", d)
	}
}

// An end of an interval is never shown on the better side of a limit.
func TestRoundingDoesNotFlatter(t *testing.T) {
	f := finding(t, titrated(5.1, 0.1001), US, FridgePickles) // lower end 4.9999
	if f.Answer != NotProven || !strings.Contains(f.Reasons[0].Text, "4.99 g/100 mL, is under 5") {
		t.Errorf("%s: %s", f.Answer, f.Reasons[0].Text)
	}
}

// 21 CFR 101.100(a)(4): 10 mg/kg or more is declared. Regulation (EU) No
// 1169/2011, Annex II: more than 10 mg/kg.
func TestSulphiteDeclaration(t *testing.T) {
	for _, tt := range []struct {
		market  Market
		mgPerKG float64
		want    bool
	}{
		{US, 9.9, false}, {US, 10, true}, {US, 10.1, true},
		{EU, 9.9, false}, {EU, 10, false}, {EU, 10.1, true}, {UK, 10, false},
		{Elsewhere, 10, true}, {US, math.NaN(), true}, {EU, math.NaN(), true},
	} {
		if got := Sulphites(tt.market).MustDeclare(tt.mgPerKG); got != tt.want {
			t.Errorf("%s %v mg/kg: declare %t, want %t", tt.market, tt.mgPerKG, got, tt.want)
		}
	}
}

// FDA CPG 525.825: water may be added, but never to under 4 g/100 mL.
func TestLeastAcidity(t *testing.T) {
	for _, tt := range []struct {
		market Market
		use    Use
		wine   bool
		want   chem.GramsPer100ML
	}{
		{US, Selling, false, 4}, {US, FridgePickles, false, 5}, {Germany, Selling, false, 5}, {Germany, Selling, true, 6},
		{France, Selling, true, 6}, {France, Table, true, 5}, {EU, Selling, true, 6}, {UK, Selling, true, 4}, {Uruguay, Selling, true, 4},
		{Uruguay, Selling, false, 5}, {Elsewhere, Selling, true, 6}, {Elsewhere, Table, false, 5}, {US, Cleaning, false, 0}, {US, Canning, false, 0},
	} {
		got, by := LeastAcidity(tt.market, tt.use, tt.wine)
		if got != tt.want || (got > 0) != (len(by) > 0) {
			t.Errorf("%s %s wine=%t: %v by %d rules, want %v", tt.market, tt.use, tt.wine, got, len(by), tt.want)
		}
	}
}

func TestEveryRowNamesItsSource(t *testing.T) {
	check := func(id, text string, s Source) {
		if id == "" || text == "" || s.Title == "" || !slices.Contains([]Standing{Read, Recalled, OwnRule}, s.Standing) {
			t.Errorf("%q: incomplete: %q, %+v", id, text, s)
		}
		if s.Body == "" && s.Standing != Read {
			t.Errorf("%q: names no body", id)
		}
		if strings.Contains(s.String(), "://") {
			t.Errorf("%q: cite the document, not an address", id)
		}
	}
	seen := map[string]bool{}
	for _, r := range Rules() {
		check(r.ID, r.Says, r.Source)
		if seen[r.ID] || len(r.Uses) == 0 {
			t.Errorf("rule %q: used twice, or for nothing", r.ID)
		}
		seen[r.ID] = true
		for _, m := range r.Markets {
			if !slices.Contains(Markets(), m) {
				t.Errorf("rule %q: market %q is not on the list", r.ID, m)
			}
		}
		if a := float64(r.MinAcidityGPer100ML); a != 0 && (a < 3 || a > 7) {
			t.Errorf("rule %q: acidity limit %v", r.ID, a)
		}
	}
	for _, c := range Cautions() {
		check(c.ID, c.Text, c.Source)
		if seen[c.ID] {
			t.Errorf("caution %q: id used twice", c.ID)
		}
		seen[c.ID] = true
	}
	if len(Rules()) < 30 || len(Cautions()) < 15 {
		t.Errorf("%d rules and %d cautions: rows are missing", len(Rules()), len(Cautions()))
	}
}

func TestParseMarket(t *testing.T) {
	for text, want := range map[string]Market{"us": US, " de ": Germany, "": Elsewhere, "elsewhere": Elsewhere} {
		if got, err := ParseMarket(text); got != want || err != nil {
			t.Errorf("%q: %q, %v", text, got, err)
		}
	}
	if _, err := ParseMarket("mars"); err == nil || !strings.Contains(err.Error(), "Choose US, EU") {
		t.Errorf("mars: %v", err)
	}
}
