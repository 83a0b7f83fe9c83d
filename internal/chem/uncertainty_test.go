package chem

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %v, want %v ± %v", what, got, want, tol)
	}
}

// JCGM 100:2008 (GUM) H.1.6, end gauge: terms 25 nm (18 degrees of freedom), 9.7 (25.6), 2.9 (50) and
// 16.6 (2) make 32 nm with 16.7 effective degrees of freedom; t95(16.7) is between 2.110 and 2.120
// (from memory of that text and of its table G.2).
func TestCombineEndGauge(t *testing.T) {
	c := Combine([]UncertaintyTerm{{"standard", 25, 18, false}, {"difference", 9.7, 25.6, false}, {"expansion", 2.9, 50, false}, {"temperature", 16.6, 2, false}})
	near(t, "u", c.RelativeU, 31.7, 0.1)
	near(t, "degrees of freedom", c.DegreesOfFreedom, 16.7, 0.7) // the text rounds u to 32 first
	if c.CoverageFactor < 2.11 || c.CoverageFactor > 2.125 {
		t.Errorf("coverage factor %v", c.CoverageFactor)
	}
}

// A kit of 2 mL ± 0.05, titrant ± 2 %, reading and end point ± 0.05 mL each spreads ± 0.17 at
// 5 g/100 mL (root sum of squares; no published figure for home kits was found).
func TestKitSpread(t *testing.T) {
	r, err := Titration{SampleML: 2, BaseMolPerL: 0.2, Replicates: []Replicate{{0, 8.33}, {0, 8.33}}}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "acidity", float64(r.AcidityGPer100ML), 5.00, 0.01)
	near(t, "standard uncertainty", float64(r.StandardUGPer100ML), 0.17, 0.006)
	near(t, "lower bound", float64(r.LowerGPer100ML), 5.00-1.96*0.17, 0.015)
	for _, b := range r.Budget[1:] {
		if !b.Assumed {
			t.Errorf("%s was not stated but is not shown as assumed", b.Source)
		}
	}
	near(t, "burette term", r.Budget[3].RelativeU, 0.05/8.33, 1e-12)
	r, err = Titration{SampleML: 2, BaseMolPerL: 0.2, BlankML: 0.2, BuretteTolML: 0.06, Replicates: []Replicate{{0, 8.53}}}.Result()
	if err != nil || r.Budget[3].Assumed {
		t.Fatal(r.Budget, err)
	}
	// The blank is a second delivery: a tolerance of 0.06 mL counts twice, u = a/sqrt(6) (GUM 4.3.9).
	near(t, "burette term with a blank", r.Budget[3].RelativeU, 0.06*math.Sqrt2/math.Sqrt(6)/8.33, 1e-12)
}

// Two replicates alone have one degree of freedom, t = 12.706 (NIST/SEMATECH e-Handbook 1.3.6.7.2);
// when they dominate, the interval must be that wide.
func TestReplicatesUseStudentT(t *testing.T) {
	r, err := Titration{SampleML: 10, SampleTolML: 0.001, BaseMolPerL: 0.5, BaseStdUMolPerL: 0.0001, BuretteTolML: 0.001,
		Replicates: []Replicate{{0, 14}, {0, 19}}}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "degrees of freedom", r.DegreesOfFreedom, 1, 0.001)
	near(t, "coverage factor", r.CoverageFactor, 12.706, 0.03)
	if r.LowerGPer100ML != 0 {
		t.Errorf("lower bound %v must stop at 0", r.LowerGPer100ML)
	}
}

func TestBaseAge(t *testing.T) {
	days := func(n int) *int { return &n }
	for _, c := range []struct {
		ago    *int
		max    int
		marked bool
	}{{nil, 0, true}, {days(0), 0, false}, {days(30), 0, false}, {days(31), 0, true}, {days(31), 60, false}, {days(8), 7, true}, {days(-1), 0, true}} {
		if got := BaseAgeMark(c.ago, c.max); (got != "") != c.marked {
			t.Errorf("BaseAgeMark(%v, %d) = %q", c.ago, c.max, got)
		}
	}
	tt := Titration{SampleML: 5, BaseMolPerL: 0.1, Replicates: []Replicate{{0, 40}}, BaseCheckedDaysAgo: days(31)}
	r, err := tt.Result()
	if err != nil || r.SupportsStrength || !strings.Contains(r.StrengthMark, "stronger than it is") {
		t.Errorf("%v %q %v", r.SupportsStrength, r.StrengthMark, err)
	}
	tt.BaseCheckedDaysAgo = days(3)
	if r, err = tt.Result(); err != nil || !r.SupportsStrength {
		t.Errorf("%v %v", r.SupportsStrength, err)
	}
}

// Eurachem/CITAC Guide QUAM, example A2: 0.3888 g of phthalate and 18.64 mL give 0.10214 mol/L.
func TestStandardise(t *testing.T) {
	r, err := Standardisation{Runs: []KHPRun{{0.3888, 18.64}, {0.3888, 18.64}}, MassTolG: 0.0002, BuretteTolML: 0.03}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "base", float64(r.BaseMolPerL), 0.10214, 0.00001)
	// The base it gives goes straight into a titration.
	tt := Titration{SampleML: 5, BaseMolPerL: r.BaseMolPerL, BaseStdUMolPerL: r.StandardUMolPerL, Replicates: []Replicate{{0, 40}}}
	if _, err := tt.Result(); err != nil {
		t.Error(err)
	}
	// A bought vinegar of 5 g/100 mL: 8.326 mL of 0.1 mol/L per mL (AOAC 930.35 arithmetic).
	v, err := Standardisation{LabelledGPer100ML: 5, VinegarML: 2, VinegarBaseML: []Millilitres{16.65, 16.66}}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "base against vinegar", float64(v.BaseMolPerL), 0.1, 0.0001)
	if v.StandardUMolPerL <= r.StandardUMolPerL {
		t.Errorf("a label (%v) cannot be surer than phthalate (%v)", v.StandardUMolPerL, r.StandardUMolPerL)
	}
}

func TestStandardiseRefusals(t *testing.T) {
	for _, c := range []struct {
		s          Standardisation
		field, say string
	}{
		{Standardisation{}, "runs", "at least one"},
		{Standardisation{Runs: []KHPRun{{0, 18}}}, "khp_g", "Weigh"},
		{Standardisation{Runs: []KHPRun{{0.4, 0}}}, "base_ml", "base used"},
		{Standardisation{Runs: []KHPRun{{0.4, 1}}, BlankML: 2}, "blank_ml", "blank"},
		{Standardisation{Runs: []KHPRun{{20, 0.5}}}, "base_ml", "outside 0.005 to 2"},
		{Standardisation{Runs: []KHPRun{{0.4, 18}}, PurityFraction: 99.9}, "purity", "fraction"},
		{Standardisation{Runs: []KHPRun{{0.4, 18}}, LabelledGPer100ML: 5}, "runs", "not both"},
		{Standardisation{LabelledGPer100ML: 5, VinegarML: 2}, "vinegar_base_ml", "at least one"},
		{Standardisation{LabelledGPer100ML: 5}, "sample_ml", "Measure"},
		{Standardisation{Runs: []KHPRun{{Grams(math.NaN()), 18}}}, "khp_g", "not a number"},
	} {
		_, err := c.s.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
}

func TestStatisticsRefuse(t *testing.T) {
	if _, _, err := MeanInterval([]float64{1}, 0.95); err == nil {
		t.Error("an interval from one value")
	}
	if _, _, err := MeanInterval([]float64{1, 2}, 95); err == nil {
		t.Error("a confidence of 95")
	}
	for _, c := range [][2][]float64{{{1}, {1}}, {{1, 1}, {2, 3}}, {{1, 2}, {1}}, {{1, math.NaN()}, {1, 2}}} {
		if _, err := FitLine(c[0], c[1]); err == nil {
			t.Errorf("a line through %v", c)
		}
	}
	if StdDev([]float64{1}) == StdDev([]float64{1}) {
		t.Error("one value has no standard deviation")
	}
}

// TestIntervalCovers titrates a known vinegar 4000 times with errors drawn from the stated
// distributions: the 95 % interval must hold the truth that often (GUM Supplement 1's way of checking).
func TestIntervalCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	triangular := func(a float64) float64 { return a * (rng.Float64() + rng.Float64() - 1) }
	const truth, runs = 5.0, 4000
	for _, c := range []struct {
		n              int
		spread         float64 // of one run, mL
		atLeast, below float64
	}{{2, 0.01, 0.94, 1}, {3, 0.08, 0.94, 0.985}, {4, 0.3, 0.935, 0.975}} {
		hits := 0
		for range runs {
			base := 0.1 + 0.0005*rng.NormFloat64()
			sample := 2 + triangular(0.03)
			systematic := triangular(0.05) + assumedEndPointML*rng.NormFloat64()
			tt := Titration{SampleML: 2, SampleTolML: 0.03, BaseMolPerL: 0.1, BaseStdUMolPerL: 0.0005, BuretteTolML: 0.05}
			for range c.n {
				v := truth*10*sample/(AceticMolarMass*base) + systematic + c.spread*rng.NormFloat64()
				tt.Replicates = append(tt.Replicates, Replicate{0, Millilitres(v)})
			}
			r, err := tt.Result()
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(float64(r.AcidityGPer100ML)-truth) <= float64(r.ExpandedUGPer100ML) {
				hits++
			}
		}
		share := float64(hits) / runs
		t.Logf("%d replicates, spread %v mL: %.1f %% covered", c.n, c.spread, 100*share)
		if share < c.atLeast || share > c.below {
			t.Errorf("%d replicates, spread %v mL: %.1f %% covered", c.n, c.spread, 100*share)
		}
	}
}
