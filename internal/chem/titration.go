package chem

import (
	"fmt"
)

// Replicate is one titration run: the burette (or syringe) readings before and after.
type Replicate struct {
	StartML Millilitres `json:"start_ml"`
	EndML   Millilitres `json:"end_ml"`
}

// Titration is what a person measured. The zero value of an optional field means "not stated"; what
// is then assumed stands in the result's budget and notes.
type Titration struct {
	SampleML       Millilitres `json:"sample_ml"`                 // vinegar as drawn from the diluted or undiluted sample
	BaseMolPerL    MolPerLitre `json:"base_mol_per_l"`            // sodium hydroxide
	BlankML        Millilitres `json:"blank_ml,omitempty"`        // base that the water and indicator alone took
	DilutionFactor float64     `json:"dilution_factor,omitempty"` // 0 means 1; 10 for 10 mL made up to 100 mL
	Replicates     []Replicate `json:"replicates"`
	Acid           Acid        `json:"acid,omitempty"` // a further acid to express the result as; "" is acetic

	BaseStdUMolPerL    MolPerLitre `json:"base_standard_u_mol_per_l,omitempty"` // standard uncertainty of the base
	SampleTolML        Millilitres `json:"sample_tolerance_ml,omitempty"`       // half width of the pipette or syringe
	BuretteTolML       Millilitres `json:"burette_tolerance_ml,omitempty"`      // half width of the delivered volume
	BaseCheckedDaysAgo *int        `json:"base_checked_days_ago,omitempty"`     // nil: never, or not known
	BaseMaxAgeDays     int         `json:"base_max_age_days,omitempty"`         // 0 means DefaultBaseMaxAgeDays
}

// TitrationResult is a measured acidity with how sure it is. AcidityGPer100ML is always as acetic acid.
type TitrationResult struct {
	AcidityGPer100ML   GramsPer100ML     `json:"acidity_g_per_100ml"`
	ExpandedUGPer100ML GramsPer100ML     `json:"expanded_uncertainty_g_per_100ml"` // 95 %
	LowerGPer100ML     GramsPer100ML     `json:"lower_g_per_100ml"`                // acidity minus expanded uncertainty, not below 0
	StandardUGPer100ML GramsPer100ML     `json:"standard_uncertainty_g_per_100ml"`
	CoverageFactor     float64           `json:"coverage_factor"`
	DegreesOfFreedom   float64           `json:"degrees_of_freedom"` // Welch-Satterthwaite, at most 1000
	Replicates         int               `json:"replicates"`
	PerReplicate       []GramsPer100ML   `json:"per_replicate_g_per_100ml"`
	HasSD              bool              `json:"has_standard_deviation"` // true from two replicates on
	SDGPer100ML        GramsPer100ML     `json:"standard_deviation_g_per_100ml"`
	Grain              float64           `json:"grain"`     // US trade strength, 10 x g/100 mL
	MolPerL            MolPerLitre       `json:"mol_per_l"` // titratable acid, mol of base taken per litre of vinegar
	Acid               Acid              `json:"acid"`      // what AsAcidGPer100ML is expressed as
	AsAcidGPer100ML    GramsPer100ML     `json:"as_acid_g_per_100ml"`
	Budget             []UncertaintyTerm `json:"budget"`
	SupportsStrength   bool              `json:"supports_strength_claim"` // false when the base was not checked in time
	StrengthMark       string            `json:"strength_mark,omitempty"` // why not
	Notes              []string          `json:"notes,omitempty"`
	Explain            Explain           `json:"explain"`
}

// maxAcidityGPer100ML is what no ferment passes; see limits.
const maxAcidityGPer100ML = 20

const maxReplicates = 50

// Check refuses impossible input with a *FieldError that names the field.
func (t Titration) Check() error {
	dilution := t.DilutionFactor
	if dilution == 0 {
		dilution = 1
	}
	days := 0.0
	if t.BaseCheckedDaysAgo != nil {
		days = float64(*t.BaseCheckedDaysAgo)
	}
	if err := checkAll(
		in{"sample_ml", float64(t.SampleML)}, in{"base_mol_per_l", float64(t.BaseMolPerL)},
		in{"blank_ml", float64(t.BlankML)}, in{"dilution_factor", dilution},
		in{"base_standard_u_mol_per_l", float64(t.BaseStdUMolPerL)},
		in{"sample_tolerance_ml", float64(t.SampleTolML)}, in{"burette_tolerance_ml", float64(t.BuretteTolML)},
		in{"base_checked_days_ago", days},
	); err != nil {
		return err
	}
	if t.BaseStdUMolPerL > t.BaseMolPerL/4 {
		return fieldErr("base_standard_u_mol_per_l", "A base known only to %s of %s mol/L cannot measure anything; standardise it first.", num(float64(t.BaseStdUMolPerL)), num(float64(t.BaseMolPerL)))
	}
	if _, err := t.Acid.GramsPerEquivalent(); err != nil {
		return err
	}
	return t.checkReplicates()
}

func (t Titration) checkReplicates() error {
	if len(t.Replicates) == 0 {
		return fieldErr("replicates", "Give the burette reading before and after at least one titration.")
	}
	if len(t.Replicates) > maxReplicates {
		return fieldErr("replicates", "At most %d replicates fit in one result; enter the rest as another.", maxReplicates)
	}
	for i, r := range t.Replicates {
		if err := check("start_ml", float64(r.StartML)); err != nil {
			return err
		}
		if err := check("end_ml", float64(r.EndML)); err != nil {
			return err
		}
		if r.EndML <= r.StartML {
			return fieldErr("end_ml", "Replicate %d ends at %s mL but starts at %s mL; are the two readings swapped? A burette is read downwards, so the end is the larger number.", i+1, num(float64(r.EndML)), num(float64(r.StartML)))
		}
		if r.EndML-r.StartML <= t.BlankML {
			return fieldErr("blank_ml", "The blank (%s mL) is as large as replicate %d used (%s mL); measure the blank again with water in place of vinegar.", num(float64(t.BlankML)), i+1, num(float64(r.EndML-r.StartML)))
		}
	}
	return nil
}

// Result computes acidity (V - blank) x N x E x D / (10 S) per replicate, their mean, and the 95 %
// expanded uncertainty. The error is always a *FieldError.
func (t Titration) Result() (TitrationResult, error) {
	if err := t.Check(); err != nil {
		return TitrationResult{}, err
	}
	dilution := t.DilutionFactor
	if dilution == 0 {
		dilution = 1
	}
	molPerML := float64(t.BaseMolPerL) * dilution / float64(t.SampleML) // mol/L of vinegar per mL of base
	acetic := gramsPerEquivalent[Acetic]
	var titres, acidities []float64
	for _, r := range t.Replicates {
		v := float64(r.EndML - r.StartML - t.BlankML)
		titres = append(titres, v)
		acidities = append(acidities, v*molPerML*acetic/10)
	}
	mean := Mean(acidities)
	if mean > maxAcidityGPer100ML {
		return TitrationResult{}, fieldErr("replicates", "These readings give %.1f g/100 mL, more than any ferment reaches (%d); check the sample volume, the base's concentration and the dilution.", mean, maxAcidityGPer100ML)
	}
	res := TitrationResult{AcidityGPer100ML: GramsPer100ML(mean), Replicates: len(acidities),
		Grain: Grain(GramsPer100ML(mean)), MolPerL: MolPerLitre(Mean(titres) * molPerML), Acid: t.Acid.orAcetic()}
	for _, a := range acidities {
		res.PerReplicate = append(res.PerReplicate, GramsPer100ML(a))
	}
	if len(acidities) > 1 {
		res.HasSD, res.SDGPer100ML = true, GramsPer100ML(StdDev(acidities))
	}
	res.AsAcidGPer100ML = GramsPer100ML(mean * gramsPerEquivalent[res.Acid] / acetic)
	t.addUncertainty(&res, Mean(titres))
	t.addNotes(&res, titres)
	res.StrengthMark = BaseAgeMark(t.BaseCheckedDaysAgo, t.BaseMaxAgeDays)
	res.SupportsStrength = res.StrengthMark == ""
	res.Explain = t.explain(res, dilution)
	return res, nil
}

func (t Titration) addNotes(res *TitrationResult, titres []float64) {
	note := func(format string, a ...any) { res.Notes = append(res.Notes, fmt.Sprintf(format, a...)) }
	m := Mean(titres)
	if len(titres) == 1 {
		note("One replicate shows no spread: repeat the titration, two or three agreeing runs make the result surer.")
	}
	if spread := spreadOf(titres); spread > replicateSpreadNote {
		note("The replicates differ by %.0f %%: repeat the titration, and look for an overshot end point or an air bubble.", 100*spread)
	}
	if m < 1 {
		note("Less than 1 mL of base was used, so one drop counts for much: take a larger sample or a weaker base.")
	}
	if res.AcidityGPer100ML < 0.5 {
		note("Under 0.5 g/100 mL, dissolved carbon dioxide counts as acid: shake the gas out of the sample and titrate again.")
	}
}

// replicateSpreadNote is the relative range above which replicates are called disagreeing: common
// practice, no published source.
const replicateSpreadNote = 0.02

// TitrationAdvice is how to titrate, in the order of work: AOAC 930.35 and 942.15 (boiled water,
// indicator, 30 s pink, dark samples); pH 8.2 is where phenolphthalein turns.
func TitrationAdvice() []string {
	return []string{
		"Bring the vinegar to 20 °C, shake the gas out of it and filter it: dissolved carbon dioxide counts as acid.",
		"Titrate boiled and cooled water with indicator to the faintest pink first: that is the blank.",
		"Stop at the first pink that stays 30 seconds, or at pH 8.2 on a meter calibrated with buffers 7 and 10; pH 7 stops too early.",
		"Dark vinegar hides the pink: dilute it and enter the dilution factor, or titrate to pH 8.2 with a meter.",
		"Run it twice or more, and again if the runs differ by over 2 %.",
		"Throw the titrated sample away; never taste it or pour it back.",
	}
}

// BaseCaution is what must stand beside every use of the base: EU classification of sodium hydroxide
// (0.5 to 2 % irritant, 2 to 5 % burns, 5 % and over severe burns) and school-laboratory codes.
const BaseCaution = "Sodium hydroxide burns skin and eyes: wear goggles and gloves, keep it locked and labelled and never in a drink bottle, add it to water and never water to it. If it gets in an eye or on skin, rinse with plenty of water for 20 minutes and get medical help. Follow the supplier's safety sheet and local rules."
