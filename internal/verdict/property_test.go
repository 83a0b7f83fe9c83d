package verdict

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// anyEvidence draws evidence of every sort, sound, contradictory and broken.
func anyEvidence(t *rapid.T) Evidence {
	acidity := func(label string) chem.GramsPer100ML {
		return chem.GramsPer100ML(rapid.OneOf(rapid.Float64Range(0, 9), rapid.SampledFrom([]float64{0, 4, 5, 6, math.NaN(), math.Inf(1), -1, 1e9})).Draw(t, label))
	}
	when := func(label string) larder.When {
		return rapid.SampledFrom([]larder.When{{}, daysAgo(1), daysAgo(41), daysAgo(43), daysAgo(95), daysAgo(-3),
			{At: daysAgo(40).At, Precision: larder.About, SpreadDays: 5}}).Draw(t, label)
	}
	e := Evidence{
		Now: now, Stage: rapid.SampledFrom(append(larder.Stages(), "", larder.Finished, larder.Finished)).Draw(t, "stage"), Since: when("since"),
		Bases:  rapid.SliceOfN(rapid.SampledFrom(larder.Bases()), 0, 2).Draw(t, "bases"),
		Infuse: rapid.SampledFrom([]string{"", "", "rosemary"}).Draw(t, "infuse"), Heated: rapid.Bool().Draw(t, "heated"),
		Basis:            rapid.SampledFrom([]larder.Basis{"", larder.NotMeasured, larder.ByTitration, larder.ByTitration, larder.ByTitration, larder.Computed, larder.Outdated}).Draw(t, "basis"),
		AcidityGPer100ML: acidity("acidity"), ExpandedUGPer100ML: acidity("expanded") / 10, LowerGPer100ML: acidity("lower"),
		StrengthMark: rapid.SampledFrom([]string{"", "", "The base is old."}).Draw(t, "mark"), TitratedAt: when("titrated"),
		Hold: rapid.SampledFrom([]string{"", "", "", "odd smell"}).Draw(t, "hold"), ABVAt: when("abv at"),
	}
	if rapid.Bool().Draw(t, "sound") { // else the numbers contradict each other
		e.LowerGPer100ML = e.AcidityGPer100ML - e.ExpandedUGPer100ML
	}
	if rapid.IntRange(0, 3).Draw(t, "mould") == 0 {
		e.MouldAt = new(now)
	}
	if rapid.Bool().Draw(t, "closed") {
		e.ClosedAt = new(daysAgo(rapid.IntRange(0, 400).Draw(t, "closed days")).At)
	}
	if rapid.Bool().Draw(t, "abv known") {
		e.ABVPercentVol = new(chem.PercentVol(rapid.SampledFrom([]float64{0, 0.4, 1.2, 9, math.NaN(), -1}).Draw(t, "abv")))
	}
	return e
}

func anyMarket(t *rapid.T) Market {
	return rapid.SampledFrom(append(Markets(), "XX")).Draw(t, "market")
}

// The limits are written out here a second time, from the sources named in
// the table: no market lets food pass under 4, pickles need 5.
func limitByHand(use Use, m Market, wine bool) float64 {
	switch {
	case use == FridgePickles:
		return 5 // University of California Master Food Preserver, USDA Complete Guide
	case m == US || m == UK || m == China || m == Uruguay && wine:
		return 4 // FDA CPG 525.825; British practice; floor over GB 2719; Montevideo digest
	case m == Japan:
		return 4.2 // JAS
	case use == Selling && wine:
		return 6 // Regulation (EU) No 1308/2013
	}
	return 5 // German ordinance of 1972; French law; Codex STAN 162-1987
}

func TestNothingUnprovenIsAllowed(t *testing.T) {
	allowed := 0
	rapid.Check(t, func(t *rapid.T) {
		e, m := anyEvidence(t), anyMarket(t)
		for _, f := range Judge(e, m) {
			if f.Answer != Supported {
				continue
			}
			allowed++
			if f.Use == Canning || f.Use == Selling {
				t.Fatalf("%s is allowed", f.Use)
			}
			if e.MouldAt != nil {
				t.Fatalf("%s is allowed with mould", f.Use)
			}
			if !f.Use.Food() {
				continue
			}
			limit := limitByHand(f.Use, m, e.fromWine())
			if !(float64(e.LowerGPer100ML) >= limit) || e.LowerGPer100ML >= e.AcidityGPer100ML {
				t.Fatalf("%s in %s is allowed at %v from %v, limit %v", f.Use, m, e.LowerGPer100ML, e.AcidityGPer100ML, limit)
			}
			if e.Hold != "" || e.StrengthMark != "" || e.Basis != larder.ByTitration || e.Infuse != "" {
				t.Fatalf("%s is allowed with hold %q, mark %q, basis %q, infused %q", f.Use, e.Hold, e.StrengthMark, e.Basis, e.Infuse)
			}
			if e.TitratedAt.IsZero() || e.TitratedAt.At.After(e.Now.Add(time.Hour)) {
				t.Fatalf("%s is allowed by a titration of %v", f.Use, e.TitratedAt)
			}
			if e.ClosedAt == nil && e.Now.Sub(e.TitratedAt.At) > 91*24*time.Hour {
				t.Fatalf("%s is allowed by an old titration", f.Use)
			}
		}
	})
	if allowed == 0 {
		t.Error("no drawn evidence was ever allowed: the property was tested on nothing")
	}
}

func TestMouldAndHoldAreNoForFood(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e, m := anyEvidence(t), anyMarket(t)
		for _, f := range Judge(e, m) {
			if (e.MouldAt != nil || e.Hold != "") && f.Use.Food() && f.Answer != No {
				t.Fatalf("%s is %s", f.Use, f.Answer)
			}
		}
	})
}

func TestPHChangesNoAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e, m := anyEvidence(t), anyMarket(t)
		without := answers(e, m)
		e.PH = new(chem.PH(rapid.Float64Range(0, 14).Draw(t, "ph")))
		if got := answers(e, m); got != without {
			t.Fatalf("%s without a pH, %s with %v", without, got, *e.PH)
		}
	})
}

// Every verdict is complete, the same each time, and promises nothing.
func TestFindingsAreComplete(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e, m := anyEvidence(t), anyMarket(t)
		findings := Judge(e, m)
		if len(findings) != len(Uses()) {
			t.Fatalf("%d findings", len(findings))
		}
		if again := Judge(e, m); !reflect.DeepEqual(again, findings) {
			t.Fatal("the same evidence got another verdict")
		}
		for i, f := range findings {
			if f.Use != Uses()[i] || len(f.Reasons) == 0 || len(f.Evidence) == 0 || len(f.Cautions) == 0 {
				t.Fatalf("%s: %d reasons, %d lines of evidence, %d cautions", f.Use, len(f.Reasons), len(f.Evidence), len(f.Cautions))
			}
			for _, r := range f.Reasons {
				if r.Answer.weight() > f.Answer.weight() {
					t.Fatalf("%s is %s although: %s", f.Use, f.Answer, r.Text)
				}
				if len(r.Rules) == 0 {
					t.Fatalf("%s: no rule behind: %s", f.Use, r.Text)
				}
			}
			noPromise(t, f)
		}
	})
}

// noPromise refuses wording that a reader could take for a guarantee.
func noPromise(t *rapid.T, f Finding) {
	texts := append([]string(nil), f.Evidence...)
	for _, r := range f.Reasons {
		texts = append(texts, r.Text)
	}
	for _, c := range f.Cautions {
		texts = append(texts, c.Text)
	}
	for _, text := range texts {
		for _, bad := range []string{"safe to", "is safe", "are safe", "guarantee", "certif", "NaN", "Inf ", "%!"} {
			if strings.Contains(text, bad) {
				t.Fatalf("%s: %q in %q", f.Use, bad, text)
			}
		}
	}
}
