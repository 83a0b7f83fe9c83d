package larder

import (
	"math"
	"strings"
	"testing"

	"cruet/internal/chem"
)

// scrapRecipe is a tablespoon of sugar (12.5 g: a US cup weighs 200 g, USDA) to
// a US cup of water (236.588 mL, NIST Handbook 44).
func scrapRecipe(t *testing.T) Ceiling {
	t.Helper()
	list := []Ingredient{{Name: "sugar", Amount: chem.Amount{Value: 1, Unit: "tbsp", VolumeML: 236.588 / 16}}, {Name: "water", Amount: chem.Amount{Value: 1, Unit: "cup", VolumeML: 236.588}},
		{Name: "moonlight", Amount: chem.Amount{Value: 1, Unit: "piece"}}}
	c, err := CeilingOfRecipe(list, ml(236.588), 5)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// The scrap recipe stays short of 5 %: 12.5 × 0.998 g in 236.6 mL × 0.7018 (four
// acetic acids of 60.052 from a sucrose of 342.297, IUPAC CIAAW) = 3.70.
func TestScrapRecipeStaysShort(t *testing.T) {
	c := scrapRecipe(t)
	if got := float64(c.StoichiometricGPer100ML); math.Abs(got-100*12.5*0.998/236.588*4*60.052/342.297) > 0.01 {
		t.Errorf("a ceiling of %.3f", got)
	}
	if text := c.Sentence(5); !strings.Contains(text, "3.7 g/100 mL at most") || !strings.HasSuffix(text, "the target of 5 is out of reach.") {
		t.Errorf("told as %q", text)
	}
	if len(c.Missing) != 1 || c.Missing[0] != "moonlight" {
		t.Errorf("missing: %v", c.Missing)
	}
	all := c.Changes("", nil, chem.Metric)
	if len(all) != 3 || !strings.HasSuffix(all[0], "more sugar") || !strings.HasSuffix(all[2], "less water") {
		t.Errorf("before the start: %q", all)
	}
	// Following the advice gets the likely acidity to the target.
	if fixed, err := (chem.Ceiling{VolumeML: 236.588 + chem.Millilitres(0.62*c.Change.AddSugarG), SucroseG: 12.5*0.998 + c.Change.AddSugarG, TargetGPer100ML: 5}).Result(); err != nil || math.Abs(float64(fixed.LikelyGPer100ML)-5) > 0.02 {
		t.Errorf("with the sugar: %.3f, %v", float64(fixed.LikelyGPer100ML), err)
	}
	if acetic := c.Changes(Acetic, ml(2*236.588), chem.Metric); len(acetic) != 1 || !strings.HasPrefix(acetic[0], chem.FormatVolume(2*c.Change.AddStrongerML, chem.Metric)) {
		t.Errorf("in the acetic stage, for twice the liquid: %q", acetic)
	}
	if late := c.Changes(Finished, nil, chem.Metric); late != nil {
		t.Errorf("in a finished jar: %q", late)
	}
	if none := (Ceiling{}).Changes("", nil, chem.Metric); none != nil {
		t.Errorf("without a change: %q", none)
	}
}

func TestSentenceSaysHowLikely(t *testing.T) {
	for reach, want := range map[chem.Reach]string{chem.ReachLikely: "should be reached", chem.ReachPossible: "may be reached or missed", chem.ReachUnlikely: "is unlikely", chem.ReachNever: "out of reach"} {
		if text := (Ceiling{CeilingResult: chem.CeilingResult{Reach: reach}}).Sentence(4.5); !strings.Contains(text, "target of 4.5 ") || !strings.Contains(text, want) {
			t.Errorf("%s: %q", reach, text)
		}
	}
}

// Alcohol that is left when the acid is nearly made is no ceiling of itself: a jar
// of 5.06 g/100 mL cannot be told that it can reach 0.5.
func TestAlcoholLeftIsNoCeiling(t *testing.T) {
	late := Fold(logOf(
		logged{daysAgo(20), StageChange{From: Alcoholic, To: Acetic, VolumeML: ml(2000)}},
		logged{daysAgo(5), Reading{ABV: new(chem.PercentVol(0.5))}},
		logged{daysAgo(4), Titration{Titration: chem.Titration{SampleML: 5, BaseMolPerL: 0.1, Replicates: []chem.Replicate{{EndML: 42.1}}}}}))
	c, err := CeilingOfJar(Batch{TargetGPer100ML: 5}, Jar{State: late}, nil, nil, nil)
	// 5.056 by titration (42.1 × 0.1 × 60.052 ÷ 50) and 0.5 × 1.0288 of the alcohol.
	if err != nil || math.Abs(float64(c.StoichiometricGPer100ML)-(5.056+0.514)) > 0.01 || !strings.Contains(c.From, "rather too high") {
		t.Errorf("%.3f from %q, %v", float64(c.StoichiometricGPer100ML), c.From, err)
	}
	// With a recipe, that is asked.
	c, err = CeilingOfJar(Batch{TargetGPer100ML: 5, Ingredients: []Ingredient{{Name: "cider", Amount: chem.Amount{VolumeML: 2000}, ABVPercent: new(chem.PercentVol(6))}}}, Jar{State: late}, nil, nil, nil)
	if err != nil || c.From != "the ingredients" || math.Abs(float64(c.StoichiometricGPer100ML)-6*1.0288) > 0.02 {
		t.Errorf("%.3f from %q, %v", float64(c.StoichiometricGPer100ML), c.From, err)
	}
	// Acid titrated before the alcohol adds to it.
	both := Fold(logOf(
		logged{daysAgo(20), StageChange{From: Alcoholic, To: Acetic, VolumeML: ml(2000)}},
		logged{daysAgo(6), Titration{Titration: chem.Titration{SampleML: 5, BaseMolPerL: 0.1, Replicates: []chem.Replicate{{EndML: 21.05}}}}},
		logged{daysAgo(5), Reading{ABV: new(chem.PercentVol(3))}}))
	if c, err = CeilingOfJar(Batch{TargetGPer100ML: 5}, Jar{State: both}, nil, nil, nil); err != nil || math.Abs(float64(c.StoichiometricGPer100ML)-(2.528+3*1.0288)) > 0.02 {
		t.Errorf("%.3f, %v", float64(c.StoichiometricGPer100ML), err)
	}
}

// 0.1 mol/L acetic acid, 0.6005 g/100 mL, has pH 2.88 (handbook value; pKa 4.756
// of Harned and Ehlers 1933), so a meter that shows 2.4 is wrong.
func TestPHFlagGoesOneWay(t *testing.T) {
	jar := func(ph chem.PH, phDay int, acid float64, acidDay int) State {
		s := State{PH: &Measured[chem.PH]{Value: ph, When: daysAgo(phDay)}}
		if acid > 0 {
			s.Acidity = &Acidity{GPer100ML: chem.GramsPer100ML(acid), ExpandedUGPer100ML: 0.001, Basis: ByTitration, When: daysAgo(acidDay)}
		}
		return s
	}
	known := func(v chem.GramsPer100ML) Ceiling {
		return Ceiling{CeilingResult: chem.CeilingResult{StoichiometricGPer100ML: v}}
	}
	for name, row := range map[string]struct {
		s       State
		ceiling Ceiling
		flagged bool
	}{
		"no pH":                          {State{}, Ceiling{}, false},
		"too acid for what was titrated": {jar(2.4, 5, 0.6005, 4), Ceiling{}, true},
		"right for it":                   {jar(2.88, 5, 0.6005, 4), Ceiling{}, false},
		"sourer since, for all we know":  {jar(2.4, 3, 0.6005, 4), Ceiling{}, false},
		"over the ceiling":               {jar(2.4, 3, 0, 0), known(0.6005), true},
		"under a high ceiling":           {jar(2.4, 3, 0, 0), known(6), false},
		"no vinegar at all":              {jar(1.5, 3, 0, 0), Ceiling{}, true},
	} {
		if flag := PHFlag(row.s, row.ceiling); (flag != "") != row.flagged {
			t.Errorf("%s: %q", name, flag)
		}
	}
	// The corrected value counts when there is one.
	s := jar(2.4, 5, 0.6005, 4)
	s.CorrectedPH = &Measured[chem.PH]{Value: 2.9, When: s.PH.When}
	if flag := PHFlag(s, Ceiling{}); flag != "" {
		t.Errorf("corrected to 2.9: %q", flag)
	}
}

// C1 V1 = C2 V2: 4.6 L of 5.4 make 4.968 L of 5.0, 368 mL of water; the lower
// bound of 5.4 ± 0.1 stays at 5.0 with 276 mL.
func TestDilutionToTheTarget(t *testing.T) {
	s := State{VolumeML: ml(4600), Acidity: &Acidity{GPer100ML: 5.4, ExpandedUGPer100ML: 0.1, Basis: ByTitration}}
	r, ok := DilutionTo(5, s)
	if !ok || math.Abs(float64(r.WaterML)-368) > 0.5 || math.Abs(float64(r.WaterSureML)-276) > 0.5 {
		t.Errorf("%+v, %v", r, ok)
	}
	if text := DilutionSentence(r, 5, chem.Metric); !strings.HasPrefix(text, "Up to 276 mL of water keeps it surely at 5 ") || !strings.Contains(text, "368 mL") {
		t.Errorf("told as %q", text)
	}
	s.Acidity.ExpandedUGPer100ML = 0.5
	r, ok = DilutionTo(5, s)
	if text := DilutionSentence(r, 5, chem.Metric); !ok || !strings.HasPrefix(text, "Add no water") {
		t.Errorf("unsure: %q", text)
	}
	for name, change := range map[string]func(*State){
		"not above it": func(s *State) { s.Acidity.GPer100ML = 5 }, "computed": func(s *State) { s.Acidity.Basis = Computed },
		"outdated": func(s *State) { s.Acidity.Basis = Outdated }, "no volume": func(s *State) { s.VolumeML = nil }, "not titrated": func(s *State) { s.Acidity = nil },
	} {
		s := State{VolumeML: ml(4600), Acidity: &Acidity{GPer100ML: 5.4, ExpandedUGPer100ML: 0.1, Basis: ByTitration}}
		change(&s)
		if r, ok := DilutionTo(5, s); ok {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

// 0.3888 g of phthalate and 18.64 mL give 0.10214 mol/L: Eurachem/CITAC Guide
// QUAM, example A2.
func TestBenchInWords(t *testing.T) {
	for name, row := range map[string]struct {
		body   BenchBody
		want   string
		failed bool
	}{
		"phthalate": {BaseCheck{Base: "lye", Against: &chem.Standardisation{Runs: []chem.KHPRun{{KHPG: 0.3888, BaseML: 18.64}}}}, "0.1021 ± ", false},
		"stated":    {BaseCheck{Base: "lye", StatedMolPerL: 0.1}, "0.1 mol/L, as its bottle says", false},
		"broken":    {BaseCheck{Base: "lye", Against: &chem.Standardisation{}}, "no longer adds up", true},
		"control":   {ControlSample{Meter: "m", PH: 2.4, TempC: 20}, "pH 2.40 at 20 °C", false},
		"too few":   {MeterCalibration{Meter: "m"}, "no longer adds up", true},
		"swapped": {MeterCalibration{Meter: "m", CalibrationInput: chem.CalibrationInput{Points: []chem.CalibrationPoint{
			{Buffer: chem.Tetroxalate, TemperatureC: 20, ShownPH: new(chem.PH(4))}, {Buffer: chem.Phthalate, TemperatureC: 20, ShownPH: new(chem.PH(1.68))}}}}, "Failed: slope -99.", true},
		"adjusted": {MeterCalibration{Meter: "m", Adjusted: true, CalibrationInput: chem.CalibrationInput{Points: []chem.CalibrationPoint{
			{Buffer: chem.Tetroxalate, TemperatureC: 20, ShownPH: new(chem.PH(1.675))}, {Buffer: chem.Phthalate, TemperatureC: 20, ShownPH: new(chem.PH(4.001))}}}}, "Passed: slope 100.0 %", false},
	} {
		w := BenchEntry{Kind: row.body.BenchKind(), Body: row.body}.Words()
		if !strings.Contains(w.Headline, row.want) || w.Failed != row.failed {
			t.Errorf("%s: %q, failed %v, %v", name, w.Headline, w.Failed, w.Notes)
		}
		if name == "adjusted" && !strings.Contains(strings.Join(w.Notes, " "), "counts as it is") {
			t.Errorf("adjusted: %v", w.Notes)
		}
	}
}

// A gravity that stands still tells that the fermentation is over, or stuck; the
// limits are common practice, no published source.
func TestStillGravity(t *testing.T) {
	for name, row := range map[string]struct {
		stage Stage
		reads []float64 // gravity, days ago, in the order of recording
		want  string
	}{
		"stuck":                {Alcoholic, []float64{1.080, 70, 1.041, 50, 1.040, 40, 1.040, 9}, "in 41 days, with sugar left"},
		"over":                 {Alcoholic, []float64{1.050, 30, 0.999, 12, 0.998, 2}, "in 10 days: the fermentation is over."},
		"written afterwards":   {Alcoholic, []float64{1.040, 9, 1.041, 50, 1.080, 70}, "in 41 days"},
		"moving":               {Alcoholic, []float64{1.050, 20, 1.030, 9, 1.020, 2}, ""},
		"too soon":             {Alcoholic, []float64{1.050, 20, 1.020, 5, 1.020, 2}, ""},
		"once":                 {Alcoholic, []float64{1.020, 2}, ""},
		"nearly dry":           {Alcoholic, []float64{1.007, 20, 1.007, 2}, ""},
		"moved, then returned": {Alcoholic, []float64{1.040, 50, 1.030, 20, 1.040, 2}, ""},
		// In the must nothing has begun, and acid disturbs the gravity later.
		"must":   {Must, []float64{1.080, 20, 1.080, 2}, ""},
		"acetic": {Acetic, []float64{1.010, 20, 1.010, 2}, ""},
	} {
		log := []Entry{{When: daysAgo(71), Body: StageChange{To: Must}}, {When: daysAgo(70), Body: StageChange{From: Must, To: row.stage}}}
		for i := 0; i < len(row.reads); i += 2 {
			log = append(log, Entry{When: daysAgo(int(row.reads[i+1])), Body: Reading{SG: new(chem.SpecificGravity(row.reads[i]))}})
		}
		got := StillGravity(Fold(log), log)
		if (row.want == "") != (got == "") || !strings.Contains(got, row.want) {
			t.Errorf("%s: %q, want %q", name, got, row.want)
		}
	}
}
