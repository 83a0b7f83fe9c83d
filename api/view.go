package api

import (
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// The types here are what a client is promised; what the kitchen keeps for its
// own sums stays out of them.

// Jar is one filling of one vessel.
type Jar struct {
	Tag     larder.Tag       `json:"tag"`
	BatchID int64            `json:"batch_id"`
	Letter  string           `json:"letter"`
	SizeML  chem.Millilitres `json:"size_ml"`
	Place   string           `json:"place,omitempty"`
	State   State            `json:"state"`
}

// State is what a jar's log adds up to.
type State struct {
	Stage       larder.Stage                           `json:"stage"`
	StageSince  larder.When                            `json:"stage_since"`
	StartedAt   larder.When                            `json:"started_at"`
	VolumeML    *chem.Millilitres                      `json:"volume_ml,omitempty"`
	PH          *larder.Measured[chem.PH]              `json:"ph,omitempty"`
	CorrectedPH *larder.Measured[chem.PH]              `json:"corrected_ph,omitempty"`
	TempC       *larder.Measured[chem.Celsius]         `json:"temp_c,omitempty"`
	SG          *larder.Measured[chem.SpecificGravity] `json:"specific_gravity,omitempty"`
	Brix        *larder.Measured[chem.DegreesBrix]     `json:"brix,omitempty"`
	ABV         *larder.Measured[chem.PercentVol]      `json:"abv_percent_vol,omitempty"`
	Acidity     *Acidity                               `json:"acidity,omitempty"`
	StirredAt   *time.Time                             `json:"stirred_at,omitempty"`
	StrainedAt  *time.Time                             `json:"strained_at,omitempty"`
	HeatedAt    *time.Time                             `json:"heated_at,omitempty"`
	MouldAt     *time.Time                             `json:"mould_at,omitempty"`
	Starter     string                                 `json:"starter,omitempty"`
	Hold        string                                 `json:"hold,omitempty"`
}

// Acidity is what is known of how sour something is, as acetic acid.
type Acidity struct {
	GPer100ML          chem.GramsPer100ML  `json:"g_per_100ml"`
	SDGPer100ML        *chem.GramsPer100ML `json:"sd_g_per_100ml,omitempty"`
	Replicates         int                 `json:"replicate_count"`
	ExpandedUGPer100ML chem.GramsPer100ML  `json:"expanded_uncertainty_g_per_100ml"`
	LowerGPer100ML     chem.GramsPer100ML  `json:"lower_g_per_100ml"`
	StrengthMark       string              `json:"strength_mark,omitempty"`
	Basis              larder.Basis        `json:"basis"`
	When               larder.When         `json:"when"`
	Entry              uuid.UUID           `json:"entry"`
	Why                string              `json:"why,omitempty"`
}

// Batch is what was started together.
type Batch struct {
	ID                 int64              `json:"id"`
	Name               string             `json:"name"`
	Base               larder.Base        `json:"base"`
	Ingredients        []Ingredient       `json:"ingredients"`
	When               larder.When        `json:"when"`
	TargetGPer100ML    chem.GramsPer100ML `json:"target_g_per_100ml"`
	JarOuterDiameterMM float64            `json:"jar_outer_diameter_mm,omitempty"`
	Note               string             `json:"note,omitempty"`
	By                 string             `json:"by,omitempty"`
	RecordedAt         time.Time          `json:"recorded_at"`
}

// Ingredient is one line of a recipe.
type Ingredient struct {
	Name     string           `json:"name"`
	Amount   string           `json:"amount,omitempty"`
	MassG    chem.Grams       `json:"mass_g,omitempty"`
	VolumeML chem.Millilitres `json:"volume_ml,omitempty"`

	ABVPercent    *chem.PercentVol `json:"abv_percent_vol,omitempty"`
	SugarGPer100G *float64         `json:"sugar_g_per_100g,omitempty"`
	Supplier      string           `json:"supplier,omitempty"`
	SupplierLot   string           `json:"supplier_lot,omitempty"`
}

func jarOf(j larder.Jar) Jar {
	return Jar{Tag: j.Tag, BatchID: j.BatchID, Letter: j.Letter, SizeML: j.SizeML, Place: j.Place, State: stateOf(j.State)}
}

func stateOf(s larder.State) State {
	return State{
		Stage: s.Stage, StageSince: s.StageSince, StartedAt: s.StartedAt, VolumeML: s.VolumeML,
		PH: s.PH, CorrectedPH: s.CorrectedPH, TempC: s.TempC, SG: s.SG, Brix: s.Brix, ABV: s.ABV, Acidity: acidityOf(s.Acidity),
		StirredAt: s.StirredAt, StrainedAt: s.StrainedAt, HeatedAt: s.HeatedAt, MouldAt: s.MouldAt, Starter: s.Starter, Hold: s.Hold,
	}
}

// acidityOf is nil when nothing was measured, so that no program takes a zero
// for an acidity.
func acidityOf(a *larder.Acidity) *Acidity {
	if a == nil || a.Basis == larder.NotMeasured {
		return nil
	}
	out := &Acidity{
		GPer100ML: a.GPer100ML, Replicates: a.Replicates, ExpandedUGPer100ML: a.ExpandedUGPer100ML, LowerGPer100ML: a.LowerGPer100ML,
		StrengthMark: a.StrengthMark, Basis: a.Basis, When: a.When, Entry: a.Entry, Why: a.Why,
	}
	if a.Replicates > 1 {
		out.SDGPer100ML = &a.SDGPer100ML
	}
	return out
}

func batchOf(b larder.Batch) Batch {
	out := Batch{
		ID: b.ID, Name: b.Name, Base: b.Base, Ingredients: []Ingredient{}, When: b.When, TargetGPer100ML: b.TargetGPer100ML,
		JarOuterDiameterMM: b.JarOuterDiameterMM, Note: b.Note, By: b.By, RecordedAt: b.RecordedAt,
	}
	for _, i := range b.Ingredients {
		one := Ingredient{Name: i.Name, MassG: i.Amount.MassG, VolumeML: i.Amount.VolumeML, ABVPercent: i.ABVPercent, SugarGPer100G: i.SugarGPer100G, Supplier: i.Supplier, SupplierLot: i.SupplierLot}
		if i.Amount.Unit != "" {
			one.Amount = i.Amount.String()
		}
		out.Ingredients = append(out.Ingredients, one)
	}
	return out
}

// each makes a list of a list, never null.
func each[A, B any](items []A, of func(A) B) []B {
	out := make([]B, len(items))
	for i, item := range items {
		out[i] = of(item)
	}
	return out
}
