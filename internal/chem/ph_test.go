package chem

import (
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestNoAcidityFromPH reads the package's own source: nothing that takes a pH gives a concentration.
func TestNoAcidityFromPH(t *testing.T) {
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var files []*ast.File
	for _, n := range names {
		if strings.HasSuffix(n, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), n, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	concentration := map[string]bool{"GramsPer100ML": true, "MolPerLitre": true, "PercentMass": true, "TitrationResult": true, "BlendResult": true}
	withPH := map[string]bool{"PH": true, "PHRatio": true, "ControlChart": true, "CalibrationInput": true, "Calibration": true, "CalibrationPoint": true}
	seen := 0
	for _, f := range files {
		for _, d := range f.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok || !(mentions(fn.Type.Params, withPH) || mentions(fn.Recv, withPH)) {
				continue
			}
			seen++
			if mentions(fn.Type.Results, concentration) {
				t.Errorf("%s turns a pH into a concentration", fn.Name.Name)
			}
		}
	}
	if seen < 5 {
		t.Errorf("only %d functions with a pH found; the search is broken", seen)
	}
}

func mentions(list *ast.FieldList, names map[string]bool) bool {
	if list == nil {
		return false
	}
	found := false
	ast.Inspect(list, func(n ast.Node) bool {
		if id, ok := n.(*ast.Ident); ok && names[id.Name] {
			found = true
		}
		return true
	})
	return found
}

// 3, 4, 5 and 6 g/100 mL: pH 2.53, 2.47, 2.42, 2.38, the weak-acid quadratic with pKa 4.756 (CRC
// Handbook); the activity correction moves pure acid by under 0.001.
func TestPHOf(t *testing.T) {
	for g, want := range map[GramsPer100ML]float64{3: 2.53, 4: 2.47, 5: 2.42, 6: 2.38} {
		r, err := PHOf{g, 25}.Result()
		if err != nil {
			t.Fatal(err)
		}
		near(t, "pH of pure acid", float64(r.PH), want, 0.006)
	}
	for _, c := range []struct {
		p          PHOf
		field, say string
	}{
		{PHOf{0, 20}, "acidity_g_per_100ml", "0.005 to 10"}, {PHOf{-1, 20}, "acidity_g_per_100ml", "0.005 to 10"}, {PHOf{50, 20}, "acidity_g_per_100ml", "0.005 to 10"},
		{PHOf{5, 90}, "temperature_c", "0 to 60"}, {PHOf{5, Celsius(math.NaN())}, "temperature_c", "not a number"},
	} {
		_, err := c.p.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
	_, err := PHRatio{3.2, 32}.Result()
	wantFieldError(t, "ratio", err, "second_ph", "between 0 and 14")
}

func TestImplausiblePH(t *testing.T) {
	for _, c := range []struct {
		ph      PH
		acidity GramsPer100ML
		flagged bool
	}{{2.9, 5, false}, {2.42, 5, false}, {2.3, 5, false}, {2.0, 5, true}, {1.5, 1, true}, {3.4, 0.5, false}} {
		why, err := ImplausiblePH(c.ph, c.acidity, 20)
		if err != nil || (why != "") != c.flagged {
			t.Errorf("pH %v beside %v: %q, %v", c.ph, c.acidity, why, err)
		}
	}
	if _, err := ImplausiblePH(20, 5, 20); err == nil {
		t.Error("pH 20 was judged")
	}
}

func mv(v float64) *float64 { return &v }
func shown(v PH) *PH        { return &v }

// OIV-OENO 438-2011 lists buffers of 1.679 and 4.005 at 25 °C for wine, chosen to span the samples.
func TestCalibrationBracketsVinegar(t *testing.T) {
	p, err := Tetroxalate.PH(25)
	if err != nil || math.Abs(float64(p)-1.679) > 0.0005 {
		t.Fatal(p, err)
	}
	k := nernst(25)
	good := CalibrationInput{[]CalibrationPoint{
		{Buffer: Tetroxalate, TemperatureC: 25, MV: mv(5 + 0.97*k*(7-1.679))},
		{Buffer: Phthalate, TemperatureC: 25, MV: mv(5 + 0.97*k*(7-4.0056))},
		{Buffer: Phosphate, TemperatureC: 25, MV: mv(5 + 0.97*k*(7-6.865))}}}
	cal, err := good.Result()
	if err != nil || !cal.Passed {
		t.Fatal(cal, err)
	}
	near(t, "slope", cal.SlopePercent, 97, 0.02)
	near(t, "offset", cal.OffsetMV, 5, 0.1)
	c, err := cal.CorrectMV(5+0.97*k*(7-2.9), 25)
	if err != nil || !c.Bracketed || c.Note != "" {
		t.Errorf("%+v, %v", c, err)
	}
	near(t, "corrected", float64(c.PH), 2.9, 0.001)
	// The sample at another temperature: the slope goes with the absolute temperature.
	c, err = cal.CorrectMV(5+0.97*nernst(10)*(7-2.9), 10)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "corrected at 10 °C", float64(c.PH), 2.9, 0.001)
}

func TestCalibrationFourAndSeven(t *testing.T) {
	in := CalibrationInput{[]CalibrationPoint{{Buffer: Technical7, TemperatureC: 25, ShownPH: shown(7.05)}, {Buffer: Technical4, TemperatureC: 25, ShownPH: shown(4.11)}}}
	cal, err := in.Result()
	if err != nil || !cal.Passed {
		t.Fatal(cal, err)
	}
	near(t, "slope", cal.SlopePercent, 98, 0.01) // 2.94 shown for 3.00
	if !strings.Contains(strings.Join(cal.Notes, " "), "do not bracket") {
		t.Errorf("notes %q", cal.Notes)
	}
	c, err := cal.Correct(3.13, 25)
	if err != nil || c.Bracketed || !strings.Contains(c.Note, "outside the buffers") {
		t.Errorf("%+v, %v", c, err)
	}
	near(t, "corrected", float64(c.PH), 3.0, 0.001)
	if c.ShownPH != 3.13 {
		t.Errorf("shown %v was not kept", c.ShownPH)
	}
	if _, err := cal.Correct(0.2, 25); err == nil {
		t.Error("pH 0.2 was corrected with buffers 4 and 7")
	}
}

func TestCalibrationFails(t *testing.T) {
	k := nernst(25)
	for what, c := range map[string]struct {
		in  CalibrationInput
		say string
	}{
		"tired":   {CalibrationInput{[]CalibrationPoint{{Buffer: Technical7, TemperatureC: 25, MV: mv(0)}, {Buffer: Technical4, TemperatureC: 25, MV: mv(0.89 * 3 * k)}}}, "slope"},
		"swapped": {CalibrationInput{[]CalibrationPoint{{Buffer: Technical4, TemperatureC: 25, MV: mv(0)}, {Buffer: Technical7, TemperatureC: 25, MV: mv(3 * k)}}}, "swapped"},
		"offset":  {CalibrationInput{[]CalibrationPoint{{Buffer: Technical7, TemperatureC: 25, MV: mv(31)}, {Buffer: Technical4, TemperatureC: 25, MV: mv(31 + 3*k)}}}, "offset"},
		"third": {CalibrationInput{[]CalibrationPoint{{Buffer: Technical7, TemperatureC: 25, MV: mv(0)}, {Buffer: Technical4, TemperatureC: 25, MV: mv(3.15 * k)},
			{Buffer: Technical2, TemperatureC: 25, MV: mv(5 * k)}}}, "middle buffer"},
	} {
		cal, err := c.in.Result()
		if err != nil || cal.Passed || !strings.Contains(strings.Join(cal.Failures, " "), c.say) {
			t.Errorf("%s: %+v, %v", what, cal, err)
		}
		_, err = cal.Correct(3.2, 25)
		wantFieldError(t, what, err, "calibration", "calibrate again")
	}
	if _, err := (Calibration{}).Correct(3.2, 25); err == nil {
		t.Error("no calibration corrected a reading")
	}
}

func TestCalibrationRefusals(t *testing.T) {
	ok := CalibrationPoint{Buffer: Technical7, TemperatureC: 25, MV: mv(0)}
	for _, c := range []struct {
		second     CalibrationPoint
		field, say string
	}{
		{CalibrationPoint{Buffer: "bleach", TemperatureC: 25, MV: mv(0)}, "buffer", "Buffer 2"},
		{CalibrationPoint{TemperatureC: 25, MV: mv(0)}, "buffer", "not a buffer"},
		{CalibrationPoint{Buffer: Technical4, TemperatureC: 80, MV: mv(0)}, "temperature_c", "0 to 50"},
		{CalibrationPoint{Buffer: Technical2, TemperatureC: 5, MV: mv(300)}, "temperature_c", "15 to 30"},
		{CalibrationPoint{Buffer: Technical4, TemperatureC: 25}, "mv", "in mV or in pH"},
		{CalibrationPoint{Buffer: Technical4, TemperatureC: 25, MV: mv(1), ShownPH: shown(4)}, "mv", "either"},
		{CalibrationPoint{Buffer: Technical4, TemperatureC: 25, MV: mv(9999)}, "mv", "-700 to 700"},
		{CalibrationPoint{Buffer: Technical4, TemperatureC: 25, ShownPH: shown(40)}, "shown_ph", "between 0 and 14"},
		{CalibrationPoint{Buffer: Technical4, BufferPH: shown(4), TemperatureC: 25, MV: mv(1)}, "buffer", "not both"},
		{CalibrationPoint{BufferPH: shown(40), TemperatureC: 25, MV: mv(1)}, "buffer_ph", "bottle"},
		{CalibrationPoint{Buffer: Phosphate, TemperatureC: 25, MV: mv(8)}, "points", "too close"},
	} {
		_, err := CalibrationInput{[]CalibrationPoint{ok, c.second}}.Result()
		wantFieldError(t, c.say, err, c.field, c.say)
	}
	_, err := CalibrationInput{[]CalibrationPoint{ok}}.Result()
	wantFieldError(t, "one buffer", err, "points", "two or three")
}

func TestCalibrationAge(t *testing.T) {
	read := time.Date(2025, 3, 2, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		calibrated time.Time
		max        time.Duration
		say        string
	}{
		{read.Add(-time.Hour), 0, ""}, {read.Add(-24 * time.Hour), 0, ""}, {read.Add(-25 * time.Hour), 0, "25 hours"}, {read.Add(-25 * time.Hour), 48 * time.Hour, ""},
		{read.AddDate(0, 0, -9), 0, "9 days"}, {time.Time{}, 0, "no calibration"}, {read.Add(time.Minute), 0, "after this reading"},
	} {
		got := CalibrationAgeMark(c.calibrated, read, c.max)
		if (got == "") != (c.say == "") || !strings.Contains(got, c.say) {
			t.Errorf("calibrated %v, max %v: %q, want %q", c.calibrated, c.max, got, c.say)
		}
	}
}

// The two rules are those of the NIST/SEMATECH e-Handbook 6.3.2: a point beyond 3 s, and eight in a
// row on one side.
func TestControlChart(t *testing.T) {
	base := []PH{2.80, 2.82, 2.81, 2.79, 2.80, 2.81, 2.80, 2.81} // mean 2.805, s 0.00926
	r, err := ControlChart{ReadingsPH: append(append([]PH{}, base...), 2.81, 2.80)}.Result()
	if err != nil || !r.InControl || len(r.Flags) != 0 {
		t.Fatalf("%+v, %v", r, err)
	}
	near(t, "mean", float64(r.MeanPH), 2.805, 1e-9)
	near(t, "s", r.SDPH, 0.009258, 1e-5)
	near(t, "upper", float64(r.UpperPH), 2.8328, 1e-4)
	r, err = ControlChart{ReadingsPH: append(append([]PH{}, base...), 2.84, 2.80)}.Result()
	if err != nil || !r.InControl || len(r.Flags) != 1 || r.Flags[0].Index != 8 {
		t.Errorf("one outlier, then well again: %+v, %v", r, err)
	}
	if r, err = (ControlChart{ReadingsPH: append(append([]PH{}, base...), 2.80, 2.829)}).Result(); err != nil || !r.InControl {
		t.Errorf("2.6 s is within 3 s: %+v, %v", r, err)
	}
	drift := append(append([]PH{}, base[:7]...), 2.80) // the last two of the baseline lie below the mean
	for i := range 8 {
		drift = append(drift, 2.82)
		r, err = ControlChart{ReadingsPH: drift}.Result()
		if err != nil || r.InControl != (i < 7) {
			t.Errorf("drift after %d readings: %+v, %v", i+1, r, err)
		}
	}
	if !strings.Contains(r.Flags[0].Why, "8 readings in a row") {
		t.Errorf("drift: %+v", r.Flags)
	}
	// Eight equal readings must not make limits of no width.
	r, err = ControlChart{ReadingsPH: []PH{3, 3, 3, 3, 3, 3, 3, 3, 3.005}}.Result()
	if err != nil || !r.InControl {
		t.Errorf("%+v, %v", r, err)
	}
	_, err = ControlChart{ReadingsPH: base[:4]}.Result()
	wantFieldError(t, "short", err, "readings_ph", "needs 8")
	_, err = ControlChart{ReadingsPH: []PH{3, 3, 3, 3, 99}, BaselineCount: 5}.Result()
	wantFieldError(t, "absurd", err, "readings_ph", "Reading 5")
}
