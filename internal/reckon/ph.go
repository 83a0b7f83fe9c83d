package reckon

import (
	"fmt"

	"cruet/internal/chem"
)

const meterGroup = "Can I trust the pH meter?"

func phKinds() []Kind {
	return []Kind{
		{
			Name: "calibrate", Title: "Calibrate the meter", Group: meterGroup, Question: "Is the electrode still good?",
			Purpose: "Slope and offset of a pH electrode from two or three buffers, judged, and a reading corrected by them.",
			Fields: []Field{
				listField("buffers", "buffer", "buffers", "phthalate 25 C 172 mV", "name or pH on the bottle, temperature, what the meter showed in mV or pH. Names: "+bufferNames(), parseBuffer).required(),
				numberField("mv", "sample showed", "mV", "262 mV", "a reading to correct, in mV").negative(),
				numberField("shown_ph", "or sample showed", "pH", "2.90", "or in pH, on a meter that shows no mV").orZero(),
				temperatureField("temperature_c", "sample's temperature", "25 C", "").flag("temp").or("25 °C"),
			},
			Example: Example{
				Title:  "Buffers 7.00 and 4.01 at 25 °C show -5 and 168 mV; a vinegar shows 262 mV.",
				Inputs: map[string]string{"buffers": "7.00 25 C -5.0 mV\n4.01 25 C 168.0 mV", "mv": "262 mV", "temperature_c": "25 C"},
				Output: "ph", Value: 2.385, Unit: "pH", Within: 0.003,
				Source: "two-point bracketing calibration, USP <791> and IUPAC 2002: pH = 7.00 − (262 + 5) ÷ k, k = 173 ÷ 2.99",
			},
			Why:    chem.PHNeverAcidity,
			result: CalibrateResult{},
			fields: map[string]string{"points": "buffers", "buffer": "buffers", "buffer_ph": "buffers", "calibration": "buffers", "ph": "shown_ph"},
			run:    calibrate,
		},
		{
			Name: "control", Title: "Control chart of the meter", Group: meterGroup, Question: "Does the meter drift?",
			Purpose: "Limits from the first readings of a bought 5 % vinegar, and every later reading that breaks them.",
			Why:     chem.PHNeverAcidity,
			Fields: []Field{
				listField("readings_ph", "reading", "pH of the control sample", "2.80", "oldest first", parsePHLine).required(),
				numberField("baseline_count", "readings that set the limits", "", "8", "the first so many").flag("baseline").or("8").rare(),
			},
			Example: Example{
				Title:  "Eight readings around 2.80, then 2.84.",
				Inputs: map[string]string{"readings_ph": "2.80\n2.82\n2.81\n2.79\n2.80\n2.81\n2.80\n2.81\n2.84"},
				Output: "upper_ph", Value: 2.8328, Unit: "pH", Within: 0.0001,
				Source: "limits mean ± 3 s, NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2; invented readings, mean 2.805 and s 0.00926 by the handbook's formulas",
			},
			result: chem.ControlResult{},
			run:    control,
		},
		{
			Name: "ph-ratio", Title: "Two pH readings compared", Group: meterGroup, Question: "What does a step of pH mean?",
			Purpose: "How many times more hydrogen ion the lower of two pH readings means; it says nothing of acidity.",
			Why:     chem.PHNeverAcidity,
			Fields: []Field{
				numberField("first_ph", "first reading", "pH", "3.4", "").orZero().required(),
				numberField("second_ph", "second reading", "pH", "3.2", "").orZero().required(),
			},
			Example: Example{
				Title:  "From pH 3.4 to 3.2.",
				Inputs: map[string]string{"first_ph": "3.4", "second_ph": "3.2"},
				Output: "hydrogen_ion_ratio", Value: 1.5849, Unit: "", Within: 0.001,
				Source: "definition of pH, IUPAC Green Book: 10^0.2",
			},
			result: chem.PHRatioResult{},
			run:    phRatio,
		},
		{
			Name: "ph-of", Title: "pH of the pure acid", Group: meterGroup, Question: "Can this pH reading be right?",
			Purpose: "The pH that acetic acid alone in water would show, to flag a reading that lies far below it.",
			Why:     "This goes one way only. " + chem.PHNeverAcidity,
			Fields: []Field{
				acidityField("acidity_g_per_100ml", "acidity", "5", "titrated, or the most that it can be").required(),
				temperatureField("temperature_c", "temperature", "25 C", "").flag("temp").or("25 °C"),
				numberField("reading_ph", "meter shows", "pH", "2.9", "a reading to be judged").orZero().flag("reading"),
			},
			Example: Example{
				Title:  "0.1 mol/L, that is 0.60052 g/100 mL, at 25 °C.",
				Inputs: map[string]string{"acidity_g_per_100ml": "0.60052", "temperature_c": "25 C"},
				Output: "ph", Value: 2.88, Unit: "pH", Within: 0.015,
				Source: "tabulated pH of common acids at 25 °C",
			},
			result: PHOfResult{},
			fields: map[string]string{"ph": "reading_ph"},
			run:    phOf,
		},
	}
}

// negative lets the field be below zero.
func (f Field) negative() Field { f.negativeOK, f.zeroOK = true, true; return f }

func bufferNames() string {
	out := ""
	for i, b := range chem.Buffers() {
		if i > 0 {
			out += ", "
		}
		out += string(b)
	}
	return out
}

// CalibrateResult is the electrode's line, and a reading corrected by it when
// one was given.
type CalibrateResult struct {
	chem.Calibration
	*chem.CorrectedPH
}

func calibrate(r *reader) (Result, error) {
	cal, err := chem.CalibrationInput{Points: entries[chem.CalibrationPoint](r, "buffers")}.Result()
	if err != nil {
		return Result{}, inBuffers(err)
	}
	out := Result{Explain: cal.Explain, Notes: append(append([]string{}, cal.Failures...), cal.Notes...)}
	verdict := "passed"
	if !cal.Passed {
		verdict = "failed"
	}
	out.Headline = []Line{
		measured("The calibration", verdict, ""),
		measured("Slope, of the ideal", fix(cal.SlopePercent, 1), "%"), measured("Offset at pH 7", fix(cal.OffsetMV, 1), "mV"),
	}
	res := CalibrateResult{Calibration: cal}
	t := orElse(r, "temperature_c", chem.Celsius(25))
	if r.has("mv") || r.has("shown_ph") {
		const ask = "Type what the meter showed either in mV or in pH, not both."
		way, err := r.oneOf(ask, "mv", "shown_ph")
		if err != nil {
			return Result{}, err
		}
		var c chem.CorrectedPH
		if way == "mv" {
			c, err = cal.CorrectMV(r.numbers["mv"], t)
		} else {
			c, err = cal.Correct(num[chem.PH](r, "shown_ph"), t)
		}
		if err != nil {
			return Result{}, atInput(err, "ph", way)
		}
		res.CorrectedPH = &c
		out.Headline = append([]Line{measured("Corrected reading", fix(c.PH, 2), "pH")}, out.Headline...)
		if c.Note != "" {
			out.Notes = append(out.Notes, c.Note)
		}
	}
	out.Raw = res
	return out, nil
}

// inBuffers puts every refusal of a calibration on its list: temperature and
// reading stand in its lines.
func inBuffers(err error) error {
	if fe, ok := err.(*chem.FieldError); ok {
		return &chem.FieldError{Field: "buffers", Message: fe.Message}
	}
	return err
}

// atInput renames the field of a refusal.
func atInput(err error, field, input string) error {
	if fe, ok := err.(*chem.FieldError); ok && fe.Field == field {
		return &chem.FieldError{Field: input, Message: fe.Message}
	}
	return err
}

func control(r *reader) (Result, error) {
	count := r.numbers["baseline_count"]
	if count != float64(int(count)) {
		return refuse("baseline_count", "The number of readings must be a whole number, like 8.")
	}
	res, err := chem.ControlChart{ReadingsPH: entries[chem.PH](r, "readings_ph"), BaselineCount: int(count)}.Result()
	if err != nil {
		return Result{}, err
	}
	state := "in control"
	if !res.InControl {
		state = "out of control"
	}
	out := Result{Raw: res, Explain: res.Explain, Headline: []Line{
		measured("The newest reading", state, ""), measured("Mean", fix(res.MeanPH, 3), "pH"),
		measured("Limits", fix(res.LowerPH, 3)+" to "+fix(res.UpperPH, 3), "pH"), measured("Standard deviation", fix(res.SDPH, 4), "pH"),
	}}
	for _, f := range res.Flags {
		out.Notes = append(out.Notes, fmt.Sprintf("Reading %d: %s", f.Index+1, f.Why))
	}
	return out, nil
}

func phRatio(r *reader) (Result, error) {
	res, err := chem.PHRatio{FirstPH: num[chem.PH](r, "first_ph"), SecondPH: num[chem.PH](r, "second_ph")}.Result()
	if err != nil {
		return Result{}, err
	}
	return Result{Raw: res, Explain: res.Explain, Notes: res.Notes, Headline: []Line{
		computed("Hydrogen ion, second over first", Figure(res.Ratio), "times"), computed("Difference", fix(res.DifferencePH, 2), "pH"),
	}}, nil
}

// PHOfResult is the pH of the pure acid, and what is wrong with a reading that
// was given.
type PHOfResult struct {
	chem.PHOfResult
	ReadingPossible *bool  `json:"reading_possible,omitempty"`
	ReadingMark     string `json:"reading_mark,omitempty"`
}

func phOf(r *reader) (Result, error) {
	acidity, t := num[chem.GramsPer100ML](r, "acidity_g_per_100ml"), orElse(r, "temperature_c", chem.Celsius(25))
	pure, err := chem.PHOf{AcidityGPer100ML: acidity, TemperatureC: t}.Result()
	if err != nil {
		return Result{}, err
	}
	res := PHOfResult{PHOfResult: pure}
	out := Result{Explain: pure.Explain, Notes: pure.Notes, Headline: []Line{
		computed("Acetic acid alone would show", fix(pure.PH, 2), "pH"), computed("Acid exponent pKa", fix(pure.PKa, 3), ""),
	}}
	if reading, ok := r.numbers["reading_ph"]; ok {
		mark, err := chem.ImplausiblePH(chem.PH(reading), acidity, t)
		if err != nil {
			return Result{}, err
		}
		possible := mark == ""
		res.ReadingPossible, res.ReadingMark = &possible, mark
		judged := "possible"
		if !possible {
			judged, out.Notes = "cannot be right", append([]string{mark}, out.Notes...)
		}
		out.Headline = append([]Line{computed("The reading of pH "+Figure(reading), judged, "")}, out.Headline...)
	}
	out.Raw = res
	return out, nil
}
