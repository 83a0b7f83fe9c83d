package chem

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
)

// TestEveryResultOpens computes one of each sum: the result must open to its formula, the numbers put
// in, source and limits, and every JSON number must carry its unit in its name or have none.
func TestEveryResultOpens(t *testing.T) {
	brix := DegreesBrix(12)
	results := []func() (any, error){
		func() (any, error) {
			return Titration{SampleML: 2, BaseMolPerL: 0.2, Replicates: []Replicate{{0, 8.3}}}.Result()
		},
		func() (any, error) { return Standardisation{Runs: []KHPRun{{0.4, 19.5}}}.Result() },
		func() (any, error) {
			return Standardisation{LabelledGPer100ML: 5, VinegarML: 2, VinegarBaseML: []Millilitres{16.6}}.Result()
		},
		func() (any, error) {
			return CalibrationInput{[]CalibrationPoint{{Buffer: Phosphate, TemperatureC: 20, MV: mv(7)}, {Buffer: Phthalate, TemperatureC: 20, MV: mv(172)}}}.Result()
		},
		func() (any, error) {
			return ControlChart{ReadingsPH: []PH{2.8, 2.8, 2.8, 2.8, 2.8}, BaselineCount: 5}.Result()
		},
		func() (any, error) { return PHRatio{3.4, 3.2}.Result() },
		func() (any, error) { return PHOf{5, 20}.Result() },
		func() (any, error) { return Gravity{ReadingSG: 1.05, TemperatureC: 22}.Result() },
		func() (any, error) { return Brix{Brix: 12}.Result() },
		func() (any, error) { return Brix{Brix: 6, OriginalBrix: &brix}.Result() },
		func() (any, error) { return Alcohol{1.05, 1.0}.Result() },
		func() (any, error) { return Ceiling{VolumeML: 1000, SucroseG: 50, TargetGPer100ML: 5}.Result() },
		func() (any, error) { return SugarFor{TargetGPer100ML: 5, VolumeML: 1000}.Result() },
		func() (any, error) { return Cut{750, 12, 0}.Result() },
		func() (any, error) { return Starter{FeedML: 3000, StarterAcidityGPer100ML: 5}.Result() },
		func() (any, error) { return Dilution{VolumeML: 1000, AcidityGPer100ML: 6, TargetGPer100ML: 5}.Result() },
		func() (any, error) { return PearsonSquare{3, 7, 5, 1000}.Result() },
		func() (any, error) { return Blend{Portions: []Portion{{1000, 4, 0}, {500, 7, 0}}}.Result() },
	}
	for _, f := range results {
		r, err := f()
		if err != nil {
			t.Fatal(err)
		}
		name := reflect.TypeOf(r).Name()
		e := reflect.ValueOf(r).FieldByName("Explain").Interface().(Explain)
		if e.Formula == "" || e.Source == "" || e.Limits == "" || len(e.Values) == 0 {
			t.Errorf("%s does not open: %+v", name, e)
		}
		b, err := json.Marshal(r)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		var fields map[string]any
		if err := json.Unmarshal(b, &fields); err != nil {
			t.Fatal(err)
		}
		for k, v := range fields {
			if _, isNumber := v.(float64); isNumber && !hasUnit(k) {
				t.Errorf("%s: %s carries no unit", name, k)
			}
		}
	}
}

// hasUnit knows the units in use, and the quantities that have none.
func hasUnit(field string) bool {
	for _, u := range []string{"_g_per_100ml", "_ml", "_g", "_mol_per_l", "_percent", "_c", "_mv", "_ph", "_g_per_l", "_g_per_ml", "_us_cups", "_fraction"} {
		if strings.HasSuffix(field, u) {
			return true
		}
	}
	switch field {
	case "mol_per_l", "ph", "pka", "brix", "real_extract_brix", "plato", "specific_gravity", "grain", "coverage_factor", "degrees_of_freedom", "replicates", "runs",
		"hydrogen_ion_ratio", "gravity_factor", "parts_low", "parts_high":
		return true
	}
	return false
}
