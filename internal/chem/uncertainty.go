package chem

import (
	"fmt"
	"math"
)

// DefaultBaseMaxAgeDays is how long a base may go without a check before results made with it are
// marked: sodium hydroxide takes up carbon dioxide from the air and weakens. Common practice, no
// published source; settable.
const DefaultBaseMaxAgeDays = 30

// BaseAgeMark is the sentence that marks a result whose base was not checked in time, "" when it was.
// A weakened base takes more mL for the same acid, so the vinegar reads stronger than it is.
// daysAgo nil means never checked or not known; maxDays 0 means DefaultBaseMaxAgeDays.
func BaseAgeMark(daysAgo *int, maxDays int) string {
	if maxDays <= 0 {
		maxDays = DefaultBaseMaxAgeDays
	}
	const why = "A base weakens in air and then shows the vinegar stronger than it is, so this result cannot support a strength claim: check the base against potassium hydrogen phthalate or a bought 5 % vinegar."
	if daysAgo == nil {
		return "It is not known when the base was last checked. " + why
	}
	if *daysAgo > maxDays || *daysAgo < 0 {
		return fmt.Sprintf("The base was last checked %d days ago, more than %d. %s", *daysAgo, maxDays, why)
	}
	return ""
}

// UncertaintyTerm is one line of an uncertainty budget.
type UncertaintyTerm struct {
	Source           string  `json:"source"`
	RelativeU        float64 `json:"relative_standard_u"` // fraction of the result
	DegreesOfFreedom float64 `json:"degrees_of_freedom"`  // 0 means not limited (a stated tolerance)
	Assumed          bool    `json:"assumed"`             // nothing was stated, a usual value was put in
}

// Standard uncertainties put in when the maker states nothing, on the cautious side, for a syringe
// kit: common practice, no published source. Each use is shown as assumed in the budget.
const (
	assumedBaseRelU      = 0.02  // titrant of a kit, without a certificate
	assumedSampleRelU    = 0.025 // 2 mL read to 0.05 mL
	assumedReadingML     = 0.05
	assumedEndPointML    = 0.05 // one drop: every run stops at the same tint
	assumedRepeatability = 0.02 // of one run, when there is only one
	// A guessed standard uncertainty that may itself be off by 25 % has 8 degrees of freedom: GUM
	// (JCGM 100:2008) G.4.2, nu = 1/2 (du/u)^-2.
	guessDegreesOfFreedom = 8
	// maxDegreesOfFreedom caps what is reported; t at 1000 differs from the normal by 0.1 %.
	maxDegreesOfFreedom = 1000
)

// addUncertainty propagates by the GUM (JCGM 100:2008, 5.1.6): relative variances of a product add.
// Stated tolerances are triangular, u = a/sqrt(6) (4.3.9), as values near the middle are likelier.
func (t Titration) addUncertainty(res *TitrationResult, titreML float64) {
	mean := float64(res.AcidityGPer100ML)
	term := func(source string, rel, dof float64, assumed bool) {
		res.Budget = append(res.Budget, UncertaintyTerm{source, rel, dof, assumed})
	}
	if n := float64(res.Replicates); res.HasSD {
		term("repeatability of the replicates", float64(res.SDGPer100ML)/math.Sqrt(n)/mean, n-1, false)
	} else {
		term("repeatability, one run", assumedRepeatability, guessDegreesOfFreedom, true)
	}
	stated := func(source string, given bool, rel, assumed float64) {
		if !given {
			rel = assumed
		}
		term(source, rel, 0, !given)
	}
	stated("base concentration", t.BaseStdUMolPerL > 0, float64(t.BaseStdUMolPerL/t.BaseMolPerL), assumedBaseRelU)
	stated("sample volume", t.SampleTolML > 0, float64(t.SampleTolML/t.SampleML)/math.Sqrt(6), assumedSampleRelU)
	readings := 1.0
	if t.BlankML > 0 {
		readings = math.Sqrt2 // the blank is a second delivery from the same burette
	}
	stated("burette", t.BuretteTolML > 0, readings*float64(t.BuretteTolML)/math.Sqrt(6)/titreML, readings*assumedReadingML/titreML)
	term("end point, one drop", assumedEndPointML/titreML, 0, true)

	c := Combine(res.Budget)
	u := mean * c.RelativeU
	res.StandardUGPer100ML, res.ExpandedUGPer100ML = GramsPer100ML(u), GramsPer100ML(u*c.CoverageFactor)
	res.CoverageFactor, res.DegreesOfFreedom = c.CoverageFactor, c.DegreesOfFreedom
	res.LowerGPer100ML = GramsPer100ML(math.Max(0, mean-u*c.CoverageFactor))
}

// Combined is a budget summed up: relative standard uncertainty, and Student's t for 95 %.
type Combined struct {
	RelativeU        float64 `json:"relative_standard_u"`
	CoverageFactor   float64 `json:"coverage_factor"`
	DegreesOfFreedom float64 `json:"degrees_of_freedom"`
}

// Combine adds the terms in quadrature, finds the effective degrees of freedom by Welch-Satterthwaite
// (GUM G.4.1), at most 1000, and the two-sided 95 % coverage factor.
func Combine(budget []UncertaintyTerm) Combined {
	var variance, fourth float64
	for _, b := range budget {
		u2 := b.RelativeU * b.RelativeU
		variance += u2
		if b.DegreesOfFreedom > 0 {
			fourth += u2 * u2 / b.DegreesOfFreedom
		}
	}
	dof := float64(maxDegreesOfFreedom)
	if fourth > 0 {
		dof = math.Min(dof, variance*variance/fourth)
	}
	return Combined{math.Sqrt(variance), TQuantile(0.975, dof), dof}
}

// Quadrature is the root of the sum of squares: how relative uncertainties of a product add.
func Quadrature(us ...float64) float64 {
	sum := 0.0
	for _, u := range us {
		sum += u * u
	}
	return math.Sqrt(sum)
}
