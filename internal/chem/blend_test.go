package chem

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestDilution(t *testing.T) {
	// 1000 mL at 6.2 to 5.0: 240 mL of water (C1 V1 = C2 V2).
	r, err := Dilution{VolumeML: 1000, AcidityGPer100ML: 6.2, TargetGPer100ML: 5, ExpandedUGPer100ML: 0.2}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "water", float64(r.WaterML), 240, 1e-9)
	near(t, "sure water", float64(r.WaterSureML), 200, 1e-9) // from 6.0
	r, err = Dilution{VolumeML: 1000, AcidityGPer100ML: 5.1, TargetGPer100ML: 5, ExpandedUGPer100ML: 0.3}.Result()
	if err != nil || !r.HasSure || r.WaterSureML != 0 || len(r.Notes) == 0 {
		t.Errorf("%+v, %v", r, err)
	}
	for _, c := range []struct {
		d          Dilution
		field, say string
	}{
		{Dilution{VolumeML: 1000, AcidityGPer100ML: 4, TargetGPer100ML: 5}, "target_g_per_100ml", "stronger vinegar"},
		{Dilution{VolumeML: 0, AcidityGPer100ML: 6, TargetGPer100ML: 5}, "volume_ml", "more than zero"},
		{Dilution{VolumeML: 1000, AcidityGPer100ML: 6, TargetGPer100ML: 0}, "target_g_per_100ml", "0.1 and 14"},
		{Dilution{VolumeML: 1000, AcidityGPer100ML: 60, TargetGPer100ML: 5}, "acidity_g_per_100ml", "0 and 20"},
		{Dilution{VolumeML: 1000, AcidityGPer100ML: 6, TargetGPer100ML: 5, ExpandedUGPer100ML: 7}, "expanded_uncertainty_g_per_100ml", "uncertainty"},
		{Dilution{VolumeML: 1000, AcidityGPer100ML: GramsPer100ML(math.NaN()), TargetGPer100ML: 5}, "acidity_g_per_100ml", "not a number"},
	} {
		_, err := c.d.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
}

func TestPearsonRefusals(t *testing.T) {
	for _, c := range []struct {
		p          PearsonSquare
		field, say string
	}{
		{PearsonSquare{4, 6, 7, 0}, "target", "between"}, {PearsonSquare{6, 4, 5, 0}, "high", "above"}, {PearsonSquare{-1, 4, 3, 0}, "low", "negative"},
		{PearsonSquare{1, math.NaN(), 3, 0}, "high", "not a number"}, {PearsonSquare{1, 4, 3, -5}, "total_ml", "more than zero"},
	} {
		_, err := c.p.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
}

// 2 L at 4.4 and 1 L at 6.5 make 3 L at 5.10 (mass balance).
func TestBlend(t *testing.T) {
	r, err := Blend{Portions: []Portion{{2000, 4.4, 0}, {1000, 6.5, 0}}}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "volume", float64(r.VolumeML), 3000, 1e-9)
	near(t, "acidity", float64(r.AcidityGPer100ML), 5.10, 1e-9)
	for _, c := range []struct {
		b          Blend
		field, say string
	}{
		{Blend{}, "portions", "2 to 100"}, {Blend{Portions: []Portion{{1000, 5, 0}}}, "portions", "2 to 100"},
		{Blend{Portions: []Portion{{1000, 5, 0}, {-1, 5, 0}}}, "volume_ml", "Liquid 2"},
		{Blend{Portions: []Portion{{1000, 4, 0}, {1000, 5, 0}}, TargetGPer100ML: 6}, "target_g_per_100ml", "no blend"},
		{Blend{Portions: []Portion{{1000, 4, 0}, {1000, 6, 0}}, TargetGPer100ML: 3}, "target_g_per_100ml", "no blend"},
		{Blend{Portions: []Portion{{1000, 4, 0}, {1000, 6, 0}}, TargetGPer100ML: 5, TotalML: 2001}, "total_ml", "enough for 2000"},
		{Blend{Portions: []Portion{{1000, 5, 0}, {1000, 6, 0}}, TargetGPer100ML: 5, TotalML: 1500}, "total_ml", "There is 1000"},
	} {
		_, err := c.b.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
}

// Whatever the jars, a blend to a target meets it, never takes more than there is, and as much as
// there can be leaves one side of the target empty.
func TestBlendToTargetProperty(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		b := Blend{TargetGPer100ML: GramsPer100ML(2 + 6*rng.Float64())}
		lo, hi := GramsPer100ML(99), GramsPer100ML(0)
		for range 2 + rng.IntN(5) {
			p := Portion{Millilitres(10 + 5000*rng.Float64()), GramsPer100ML(10 * rng.Float64()), 0}
			lo, hi = min(lo, p.AcidityGPer100ML), max(hi, p.AcidityGPer100ML)
			b.Portions = append(b.Portions, p)
		}
		r, err := b.Result()
		if possible := lo <= b.TargetGPer100ML && b.TargetGPer100ML <= hi; possible != (err == nil) {
			t.Fatalf("%+v: %v", b, err)
		} else if !possible {
			continue
		}
		near(t, "target", float64(r.AcidityGPer100ML), float64(b.TargetGPer100ML), 1e-9)
		var leftLow, leftHigh float64
		for i, p := range b.Portions {
			left := float64(p.VolumeML - r.TakeML[i])
			if left < -1e-6 || r.TakeML[i] < 0 {
				t.Fatalf("%+v takes %v", b, r.TakeML)
			}
			if p.AcidityGPer100ML < b.TargetGPer100ML {
				leftLow += left
			} else {
				leftHigh += left
			}
		}
		if math.Min(leftLow, leftHigh) > 1e-6 {
			t.Fatalf("%+v leaves %v and %v", b, leftLow, leftHigh)
		}
	}
}

func TestCut(t *testing.T) {
	r, err := Cut{VolumeML: 750, ABVPercent: 12}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "final volume", float64(r.FinalVolumeML), 750*12/5.5, 1e-9)
	near(t, "water", float64(r.WaterML), 750*(12/5.5-1), 6) // less than 1 % of contraction
	for _, c := range []struct {
		c          Cut
		field, say string
	}{{Cut{750, 4, 5.5}, "target_abv_percent", "weak enough"}, {Cut{0, 12, 5.5}, "volume_ml", "zero"}, {Cut{750, 120, 5.5}, "abv_percent", "0 and 100"}, {Cut{750, 12, 0.1}, "target_abv_percent", "5 to 6"}} {
		_, err := c.c.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
}

func TestStarter(t *testing.T) {
	// One part of 5 % vinegar in three of sweet cider makes 1.25 g/100 mL.
	r, err := Starter{FeedML: 3000, StarterAcidityGPer100ML: 5}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "starter", float64(r.StarterML), 1000, 1e-9)
	near(t, "start", float64(r.StartAcidityGPer100ML), 1.25, 1e-9)
	r, err = Starter{FeedML: 3000, FeedABVPercent: 6, StarterAcidityGPer100ML: 5, StartGPer100ML: 2}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "starter for 2", float64(r.StarterML), 2000, 1e-9)
	near(t, "alcohol", float64(r.ABVPercent), 3.6, 1e-9)
	for _, c := range []struct {
		s          Starter
		field, say string
	}{
		{Starter{FeedML: 0, StarterAcidityGPer100ML: 5}, "feed_ml", "zero"}, {Starter{FeedML: 100, StarterAcidityGPer100ML: 1}, "starter_acidity_g_per_100ml", "sourer"},
		{Starter{FeedML: 100, StarterAcidityGPer100ML: 50}, "starter_acidity_g_per_100ml", "0 and 20"}, {Starter{FeedML: 100, StarterAcidityGPer100ML: 7, StartGPer100ML: 6.5}, "start_acidity_g_per_100ml", "0.2 and 6"},
	} {
		_, err := c.s.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
}

func TestMassBasis(t *testing.T) {
	m, err := AcidityToMass(5.026, 0)
	near(t, "5.026 g/100 mL", float64(m), 5, 0.001) // CRC Handbook density 1.0052 at 5 %
	if err != nil {
		t.Error(err)
	}
	if v, err := VolatileAcidity(5, 0.4); err != nil || math.Abs(float64(v)-4.6) > 1e-12 {
		t.Error(v, err)
	}
	_, err = VolatileAcidity(0.4, 5)
	wantFieldError(t, "swapped", err, "fixed_acidity_g_per_100ml", "swapped")
	_, err = AceticDensity(30)
	wantFieldError(t, "dense", err, "percent_mass", "0 to 20")
	_, err = MassTitration(30, 0.1, 0)
	wantFieldError(t, "no sample", err, "sample_g", "Weigh")
	_, err = ConvertAcidity(5, "tannic", Acetic)
	wantFieldError(t, "acid", err, "acid", "use acetic")
}

// Ohio State University Extension HYG-5346-09: at least 140 °F, not over 160 °F.
func TestPasteurise(t *testing.T) {
	for _, c := range []struct {
		t       Celsius
		minutes float64
		met     bool
	}{{62, 30, true}, {59, 60, false}, {65, 10, false}, {72, 30, false}, {71, 30, true}} {
		why, err := CheckPasteurise(c.t, c.minutes)
		if err != nil || (why == "") != c.met {
			t.Errorf("%v °C for %v min: %q, %v", c.t, c.minutes, why, err)
		}
	}
	_, err := CheckPasteurise(200, 30)
	wantFieldError(t, "too hot", err, "temperature_c", "between 20 and 100")
}
