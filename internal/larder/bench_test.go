package larder

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

// oneABV is wine of 11.5 % vol, sent to acetify.
func oneABV(log ...logged) State {
	return Fold(logOf(append([]logged{{daysAgo(9), Reading{ABV: new(chem.PercentVol(11.5))}}}, log...)...))
}

func ceilingOf(t *testing.T, s State) Ceiling {
	t.Helper()
	c, err := CeilingOfJar(Batch{Base: Wine, TargetGPer100ML: 5}, Jar{SizeML: 5000, State: s}, nil, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// 11.5 mL of ethanol weigh 11.5 × 0.78924 g (OIML R 22 at 20 °C) and give
// 60.052/46.069 of that in acetic acid (CIAAW molar masses): 11.83 g/100 mL.
// Water lowers the ceiling by its part, added before or after the alcohol was
// measured only when after.
func TestCeilingOfWine(t *testing.T) {
	const want = 11.5 * 0.78924 * 60.052 / 46.069
	for name, row := range map[string]struct {
		s    State
		part float64
	}{
		"as measured":              {oneABV(), 0},
		"cut 3 + 2":                {oneABV(logged{daysAgo(8), water(4000.0 / 3)}), 0.4},
		"cut, then measured":       {Fold(logOf(logged{daysAgo(10), water(2000)}, logged{daysAgo(9), Reading{ABV: new(chem.PercentVol(11.5))}})), 0},
		"cut in two steps":         {oneABV(logged{daysAgo(8), water(1000)}, logged{daysAgo(7), water(1000)}), 0.5},
		"cut, then poured out":     {oneABV(logged{daysAgo(8), water(2000)}, logged{daysAgo(7), gave(3000)}), 0.5},
		"an old measure, late":     {Fold(logOf(logged{daysAgo(8), water(2000)}, logged{daysAgo(9), Reading{ABV: new(chem.PercentVol(11.5))}})), 0.5},
		"cut, then topped up":      {oneABV(logged{daysAgo(8), water(2000)}, logged{daysAgo(7), wine(1000)}), 0.4},
		"cut, measured, cut again": {oneABV(logged{daysAgo(8), water(2000)}, logged{daysAgo(7), Reading{ABV: new(chem.PercentVol(11.5))}}, logged{daysAgo(6), water(4000)}), 0.5},
	} {
		c := ceilingOf(t, row.s)
		if got := float64(c.StoichiometricGPer100ML); math.Abs(got-want*(1-row.part)) > 0.01*want {
			t.Errorf("%s: the ceiling is %.2f g/100 mL, want %.2f", name, got, want*(1-row.part))
		}
		if c.LikelyLowGPer100ML > c.LikelyGPer100ML || c.LikelyGPer100ML > c.LikelyHighGPer100ML || c.LikelyHighGPer100ML > c.StoichiometricGPer100ML {
			t.Errorf("%s: the likely range is out of order: %+v", name, c.CeilingResult)
		}
		if (row.part > 0) != strings.Contains(c.From, "water added since") {
			t.Errorf("%s: from %q", name, c.From)
		}
	}
}

// What a watered jar can reach is judged as it is now.
func TestReachAfterWater(t *testing.T) {
	if c := ceilingOf(t, oneABV()); c.Reach != chem.ReachLikely {
		t.Errorf("wine of 11.5 %% reaches 5 %%: %s", c.Reach)
	}
	if c := ceilingOf(t, oneABV(logged{daysAgo(8), water(4000)})); c.Reach != chem.ReachNever {
		t.Errorf("cut to a third, it reaches 5 %%: %s", c.Reach)
	}
	must := Fold([]Entry{{When: daysAgo(9), Body: StageChange{To: Must, VolumeML: ml(2000)}}, {When: daysAgo(8), Body: Reading{Brix: new(chem.DegreesBrix(18))}}})
	before := ceilingOf(t, must)
	after := ceilingOf(t, must.Apply(Entry{When: daysAgo(7), Body: water(4000)}))
	if ratio := float64(after.StoichiometricGPer100ML / before.StoichiometricGPer100ML); math.Abs(ratio-1.0/3) > 0.01 || before.Reach == after.Reach {
		t.Errorf("must cut to a third: %.3f of the ceiling, reach %s then %s", ratio, before.Reach, after.Reach)
	}
}

func TestCeilingOfRecipe(t *testing.T) {
	wine := []Ingredient{{Name: "damson wine", Amount: chem.Amount{VolumeML: 3000}, ABVPercent: new(chem.PercentVol(11.5))}, {Name: "water", Amount: chem.Amount{VolumeML: 2000}}}
	c, err := CeilingOfRecipe(wine, nil, 5)
	if want := 11.5 * 0.6 * 0.78924 * 60.052 / 46.069; err != nil || math.Abs(float64(c.StoichiometricGPer100ML)-want) > 0.01*want {
		t.Errorf("3 L of wine and 2 L of water: %+v, %v; want %.2f", c.CeilingResult.StoichiometricGPer100ML, err, want)
	}
	for name, list := range map[string][]Ingredient{"nothing": nil, "no amounts": {{Name: "pears"}}, "only water": {{Name: "water", Amount: chem.Amount{VolumeML: 2000}}}} {
		if c, err := CeilingOfRecipe(list, nil, 5); err == nil {
			t.Errorf("%s: %+v, want an error that says what is missing", name, c)
		}
	}
}

func TestNewBenchCheck(t *testing.T) {
	points := chem.CalibrationInput{Points: []chem.CalibrationPoint{{Buffer: chem.Phthalate, TemperatureC: 25, MV: new(177.5)}, {Buffer: chem.Phosphate, TemperatureC: 25, MV: new(8.2)}}}
	for name, row := range map[string]struct {
		body BenchBody
		when When
		ok   bool
	}{
		"nothing":             {nil, When{}, false},
		"a calibration":       {MeterCalibration{Meter: "bench pH", CalibrationInput: points}, When{}, true},
		"of a nameless meter": {MeterCalibration{CalibrationInput: points}, When{}, false},
		"without buffers":     {MeterCalibration{Meter: "bench pH"}, When{}, false},
		"a fresh base":        {BaseCheck{Base: "lye A", StatedMolPerL: 0.1}, daysAgo(1), true},
		"tomorrow's":          {BaseCheck{Base: "lye A", StatedMolPerL: 0.1}, daysAgo(-2), false},
		"without a strength":  {BaseCheck{Base: "lye A"}, When{}, false},
		"not a number":        {BaseCheck{Base: "lye A", StatedMolPerL: chem.MolPerLitre(math.NaN())}, When{}, false},
		"drain cleaner":       {BaseCheck{Base: "lye A", StatedMolPerL: 12}, When{}, false},
		"a control":           {ControlSample{Meter: "bench pH", PH: 2.45, TempC: 21}, When{}, true},
		"a wrong control":     {ControlSample{Meter: "bench pH", PH: 24.5, TempC: 21}, When{}, false},
	} {
		if err := (NewBench{When: row.when, Body: row.body}).Check(testNow); (err == nil) != row.ok {
			t.Errorf("%s: %v", name, err)
		} else if !row.ok && len(fields(t, err)) == 0 {
			t.Errorf("%s: no field is marked", name)
		}
		if row.body == nil {
			continue
		}
		data, err := json.Marshal(row.body)
		if err != nil {
			continue // a NaN has no JSON
		}
		if back, err := DecodeBench(row.body.BenchKind(), data); err != nil || !reflect.DeepEqual(back, row.body) {
			t.Errorf("%s: %s comes back as %+v, %v", name, data, back, err)
		}
	}
	if _, err := DecodeBench("poem", nil); err == nil {
		t.Error("a poem decodes")
	}
}

func TestCorrected(t *testing.T) {
	cal := &BenchEntry{ID: uuid.New(), When: daysAgo(1), Body: MeterCalibration{Meter: "bench pH", CalibrationInput: chem.CalibrationInput{
		// A meter whose electrode is perfect but 0.2 pH off: −59.16 mV a pH at 25 °C (Nernst), +11.83 mV.
		Points: []chem.CalibrationPoint{{Buffer: chem.Phthalate, TemperatureC: 25, MV: new(59.16*(7-4.005) + 11.83)}, {Buffer: chem.Phosphate, TemperatureC: 25, MV: new(59.16*(7-6.865) + 11.83)}}}}}
	if err := cal.Body.check().Err(); err != nil {
		t.Fatal(err)
	}
	raw := Reading{PH: new(chem.PH(3.2)), TempC: new(chem.Celsius(25))}
	got := raw.Corrected(cal, daysAgo(0).At, 0)
	if got.CalibrationID != cal.ID || got.CorrectedPH == nil || math.Abs(float64(*got.CorrectedPH)-3.4) > 0.01 || *got.PH != 3.2 || raw.CorrectedPH != nil {
		t.Errorf("3.2 shown by a meter 0.2 too low: %+v", got)
	}
	set := *cal
	m := cal.Body.(MeterCalibration)
	m.Adjusted = true
	set.Body = m
	if got := raw.Corrected(&set, daysAgo(0).At, 0); *got.CorrectedPH != 3.2 {
		t.Errorf("of a meter that was set by its buffers: %+v", got)
	}
	if got := raw.Corrected(nil, daysAgo(0).At, 0); got.CorrectedPH != nil || got.PHMark == "" {
		t.Errorf("without a calibration: %+v", got)
	}
	if got := raw.Corrected(cal, daysAgo(0).At, time.Hour); got.PHMark == "" || got.CorrectedPH == nil {
		t.Errorf("with one a day old where an hour is allowed: %+v", got)
	}
	morning := *cal
	morning.When = daysAgo(0) // dated with the day alone
	if got := raw.Corrected(&morning, testNow, 0); strings.Contains(got.PHMark, "after this reading") {
		t.Errorf("calibrated the same day: %q", got.PHMark)
	}
	forged := Reading{TempC: new(chem.Celsius(20)), CorrectedPH: new(chem.PH(2)), CalibrationID: uuid.New(), PHMark: "x"}
	if got := forged.Corrected(cal, daysAgo(0).At, 0); got.CorrectedPH != nil || got.CalibrationID != uuid.Nil || got.PHMark != "" {
		t.Errorf("a correction without a pH was kept: %+v", got)
	}
}

func TestWithBase(t *testing.T) {
	check := &BenchEntry{ID: uuid.New(), When: daysAgo(12), Body: BaseCheck{Base: "lye A", StatedMolPerL: 0.1}}
	plain := aTitration()
	got := plain.WithBase(check, daysAgo(2).At, 0)
	if got.BaseID != check.ID || *got.BaseCheckedDaysAgo != 10 || got.BaseStdUMolPerL != 0.001 || got.BaseMolPerL != 0.1 {
		t.Errorf("with a check of ten days: %+v", got)
	}
	typed := plain
	typed.BaseMolPerL, typed.BaseCheckedDaysAgo, typed.BaseStdUMolPerL = 0.098, new(1), 0.002
	if got := typed.WithBase(check, daysAgo(2).At, 0); got.BaseMolPerL != 0.098 || *got.BaseCheckedDaysAgo != 1 || got.BaseStdUMolPerL != 0.002 {
		t.Errorf("what was typed did not stay: %+v", got)
	}
	other := plain
	other.BaseMolPerL = 0.5
	if got := other.WithBase(check, daysAgo(2).At, 0); got.BaseID != uuid.Nil || got.BaseCheckedDaysAgo != nil {
		t.Errorf("a base of 0.5 mol/L took the check of one of 0.1: %+v", got)
	}
	none := plain
	none.BaseMolPerL = 0
	if got := none.WithBase(check, daysAgo(2).At, 0); got.BaseMolPerL != 0.1 {
		t.Errorf("with no strength typed: %+v", got)
	}
	if got := none.WithBase(nil, daysAgo(2).At, 0); !slices.Equal(fields(t, got.check(Jar{}).Err()), []string{"base_mol_per_l"}) {
		t.Errorf("without any check: %+v", got)
	}
}
