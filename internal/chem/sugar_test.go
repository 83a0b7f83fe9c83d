package chem

import (
	"math"
	"testing"
)

func TestGravityRoundTrips(t *testing.T) {
	for b := DegreesBrix(0.1); b < 40; b += 0.7 {
		s, err := GravityFromBrix(b)
		if err != nil {
			t.Fatal(err)
		}
		back, err := BrixFromGravity(s)
		if err != nil || math.Abs(float64(back-b)) > 1e-9 {
			t.Errorf("%v °Bx comes back as %v, %v", b, back, err)
		}
		if b < 25 {
			s, err := GravityFromPlato(float64(b))
			if err != nil {
				t.Fatal(err)
			}
			p, err := PlatoFromGravity(s)
			near(t, "Plato and back", p, float64(b), 1e-9)
			if err != nil {
				t.Error(err)
			}
		}
	}
	for v := PercentVol(0); v <= 100; v += 2.5 {
		m, err := VolToMass(v)
		if err != nil {
			t.Fatal(err)
		}
		back, err := MassToVol(m)
		if err != nil || math.Abs(float64(back-v)) > 1e-9 {
			t.Errorf("%v %% vol comes back as %v, %v", v, back, err)
		}
	}
}

// 20 °P has specific gravity 1.08297 20/20 °C: NBS Circular C440 (°Bx and °P agree there to 0.002).
func TestGravityFromPlato(t *testing.T) {
	s, err := GravityFromPlato(20)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "20 °P", float64(s), 1.08297, 0.00006)
}

func TestGravityResult(t *testing.T) {
	r, err := Gravity{ReadingSG: 1.050, TemperatureC: 25}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "corrected", float64(r.SpecificGravity), 1.0512, 0.0003)
	if !r.HasSugar || !r.HasPlato || math.Abs(float64(r.Brix)-r.Plato) > 0.01 {
		t.Errorf("%+v", r)
	}
	r, err = Gravity{ReadingSG: 0.995, TemperatureC: 20}.Result()
	if err != nil || r.HasSugar || r.HasPlato || r.SugarGPerL != 0 {
		t.Errorf("below 1.000: %+v, %v", r, err)
	}
	for _, c := range []struct {
		g          Gravity
		field, say string
	}{
		{Gravity{ReadingSG: 1050, TemperatureC: 20}, "reading_sg", "like 1.050"}, {Gravity{ReadingSG: 1.05, TemperatureC: 60}, "temperature_c", "cool the sample"},
		{Gravity{ReadingSG: 1.05, TemperatureC: 20, CalibrationC: 60}, "calibration_c", "look on its scale"},
	} {
		_, err := c.g.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
}

// CRC Handbook, concentrative properties: 5 % ethanol by mass has refractive index 1.3360 at 20 °C, a
// sugar reading of 2.1 °Bx (from memory; that table and the ICUMSA scale, to the last digit of the
// index). Balling's own example, 12 °P to 2.5 apparent, leaves 4.218 real extract and 4.015 % mass.
func TestRefractometerInAFerment(t *testing.T) {
	near(t, "°Bx of 5 % ethanol", 5*ethanolBrix, icumsa(1.3360), 0.2)
	original := DegreesBrix(12)
	r, err := Brix{Brix: DegreesBrix(4.218 + 4.015*ethanolBrix), OriginalBrix: &original}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "% mass", float64(r.ABWPercent), 4.015, 0.01)
	near(t, "real extract", float64(r.RealExtractBrix), 4.218, 0.02)
	near(t, "gravity", float64(r.SpecificGravity), 1.0099, 0.0003) // 2.5 °P
	// Nothing has fermented: the reading is the original one.
	r, err = Brix{Brix: 12, OriginalBrix: &original}.Result()
	if err != nil || r.ABVPercent != 0 {
		t.Errorf("%+v, %v", r, err)
	}
	near(t, "unfermented", float64(r.RealExtractBrix), 12, 1e-9)
	for _, c := range []struct {
		b          Brix
		field, say string
	}{
		{Brix{Brix: 13, OriginalBrix: &original}, "brix", "swapped"}, {Brix{Brix: 1, OriginalBrix: &original}, "brix", "more than fermentation"},
		{Brix{Brix: 60}, "brix", "0 to 40"}, {Brix{Brix: -1}, "brix", "0 to 40"}, {Brix{Brix: DegreesBrix(math.NaN())}, "brix", "not a number"},
	} {
		_, err := c.b.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
	bad := DegreesBrix(30)
	_, err = Brix{Brix: 10, OriginalBrix: &bad}.Result()
	wantFieldError(t, "original", err, "original_brix", "between 0 and 25")
}

func TestAlcoholResult(t *testing.T) {
	r, err := Alcohol{1.048, 1.010}.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "rounded down", float64(r.ABVRoundedDown), 4.9, 1e-9) // HMRC Notice 226 rounds 4.94 down
	for _, c := range []struct {
		a          Alcohol
		field, say string
	}{
		{Alcohol{1.010, 1.050}, "present_gravity", "swapped"}, {Alcohol{1050, 1.010}, "original_gravity", "like 1.050"},
		{Alcohol{1.15, 1.0}, "excess_gravity", "100.7"}, {Alcohol{1.05, SpecificGravity(math.NaN())}, "present_gravity", "not a number"},
	} {
		_, err := c.a.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
	// The table's edge belongs to the lower factor (Notice 226: "up to").
	for points, want := range map[float64]float64{0: 0.125, 6.9: 0.125, 7.0: 0.126, (1.036 - 1.000) * 1000: 0.129, 36.1: 0.130, 100.7: 0.135} {
		if f, err := GravityFactor(points); err != nil || f != want {
			t.Errorf("factor(%v) = %v, %v; want %v", points, f, err, want)
		}
	}
}
