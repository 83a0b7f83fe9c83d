package chem

import (
	"encoding/json"
	"math"
	"testing"
)

// 5.00 g/100 mL needs 8.326 mL of 0.1 mol/L base per 1.00 mL of vinegar (AOAC 930.35 arithmetic with
// the CIAAW molar mass 60.052).
func TestTitrationMean(t *testing.T) {
	tt := Titration{SampleML: 1, BaseMolPerL: 0.1, Replicates: []Replicate{{0, 8.326}, {8.326, 16.652}}}
	r, err := tt.Result()
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(float64(r.AcidityGPer100ML)-5) > 0.0005 || math.Abs(r.Grain-50) > 0.005 || math.Abs(float64(r.MolPerL)-0.8326) > 1e-9 {
		t.Errorf("acidity %v, grain %v, mol/L %v", r.AcidityGPer100ML, r.Grain, r.MolPerL)
	}
	if !r.HasSD || r.Replicates != 2 || len(r.PerReplicate) != 2 {
		t.Errorf("replicates: %+v", r)
	}
	if _, err := json.Marshal(r); err != nil {
		t.Error(err)
	}
	one := Titration{SampleML: 10, BaseMolPerL: 0.1, DilutionFactor: 10, BlankML: 0.1, Replicates: []Replicate{{0, 8.426}}}
	r, err = one.Result()
	if err != nil || math.Abs(float64(r.AcidityGPer100ML)-5) > 0.0005 || r.HasSD {
		t.Errorf("diluted with a blank: %+v, %v", r, err)
	}
}

func TestTitrationRefusals(t *testing.T) {
	good := func() Titration {
		return Titration{SampleML: 5, BaseMolPerL: 0.1, Replicates: []Replicate{{0, 40}, {0, 41}}}
	}
	if _, err := good().Result(); err != nil {
		t.Fatal(err)
	}
	minus := -1
	for _, c := range []struct {
		change     func(*Titration)
		field, say string
	}{
		{func(t *Titration) { t.SampleML = 0 }, "sample_ml", "Measure"},
		{func(t *Titration) { t.SampleML = -5 }, "sample_ml", "Measure"},
		{func(t *Titration) { t.SampleML = Millilitres(math.NaN()) }, "sample_ml", "Measure"},
		{func(t *Titration) { t.BaseMolPerL = 0 }, "base_mol_per_l", "0.1 mol/L"},
		{func(t *Titration) { t.BaseMolPerL = 3 }, "base_mol_per_l", "burns"},
		{func(t *Titration) { t.Replicates = nil }, "replicates", "before and after"},
		{func(t *Titration) { t.Replicates = make([]Replicate, 51) }, "replicates", "At most"},
		{func(t *Titration) { t.Replicates[1] = Replicate{40, 0} }, "end_ml", "swapped"},
		{func(t *Titration) { t.Replicates[1] = Replicate{40, 40} }, "end_ml", "swapped"},
		{func(t *Titration) { t.BaseMolPerL = 0.4; t.Replicates = []Replicate{{0, 42}} }, "replicates", "20.2 g/100 mL"},
		{func(t *Titration) { t.Replicates[0] = Replicate{-1, 5} }, "start_ml", "burette"},
		{func(t *Titration) { t.Replicates[0].EndML = Millilitres(math.Inf(1)) }, "end_ml", "burette"},
		{func(t *Titration) { t.BlankML = 9; t.Replicates[0] = Replicate{0, 8} }, "blank_ml", "measure the blank again"},
		{func(t *Titration) { t.DilutionFactor = 0.5 }, "dilution_factor", "final volume"},
		{func(t *Titration) { t.SampleML = 1; t.Replicates[0].EndML = 400 }, "replicates", "more than any ferment"},
		{func(t *Titration) { t.Acid = "oxalic" }, "acid", "use acetic"},
		{func(t *Titration) { t.BaseStdUMolPerL = 0.09 }, "base_standard_u_mol_per_l", "standardise"},
		{func(t *Titration) { t.BaseCheckedDaysAgo = &minus }, "base_checked_days_ago", "negative"},
	} {
		tt := good()
		c.change(&tt)
		_, err := tt.Result()
		wantFieldError(t, c.field+" "+c.say, err, c.field, c.say)
	}
}

func TestReplicatesThatDisagreeAreANote(t *testing.T) {
	r, err := Titration{SampleML: 5, BaseMolPerL: 0.1, Replicates: []Replicate{{0, 30}, {0, 45}}}.Result()
	if err != nil || len(r.Notes) == 0 {
		t.Errorf("%+v, %v", r.Notes, err)
	}
}
