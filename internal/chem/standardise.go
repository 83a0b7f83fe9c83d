package chem

import (
	"fmt"
	"math"
)

// KHPMolarMass of potassium hydrogen phthalate, C8H5KO4, in g/mol: Eurachem/CITAC Guide QUAM,
// example A2.
const KHPMolarMass = 204.2212

// KHPRun is one titration of weighed potassium hydrogen phthalate.
type KHPRun struct {
	KHPG   Grams       `json:"khp_g"`
	BaseML Millilitres `json:"base_ml"`
}

// Standardisation finds a base's concentration from potassium hydrogen phthalate, or, where there is
// none, from a bought vinegar with its strength on the label.
type Standardisation struct {
	Runs              []KHPRun      `json:"runs,omitempty"`
	BlankML           Millilitres   `json:"blank_ml,omitempty"`
	PurityFraction    float64       `json:"purity,omitempty"`               // 0 means 1
	MassTolG          Grams         `json:"mass_tolerance_g,omitempty"`     // half width of the balance; 0: 0.005 g
	BuretteTolML      Millilitres   `json:"burette_tolerance_ml,omitempty"` // half width; 0: 0.05 mL
	LabelledGPer100ML GramsPer100ML `json:"labelled_g_per_100ml,omitempty"` // of the bought vinegar, instead of Runs
	VinegarML         Millilitres   `json:"sample_ml,omitempty"`
	VinegarBaseML     []Millilitres `json:"vinegar_base_ml,omitempty"`
}

// StandardisationResult is the base's concentration and how sure it is.
type StandardisationResult struct {
	BaseMolPerL      MolPerLitre       `json:"base_mol_per_l"`
	StandardUMolPerL MolPerLitre       `json:"base_standard_u_mol_per_l"`
	ExpandedUMolPerL MolPerLitre       `json:"expanded_uncertainty_mol_per_l"` // 95 %
	Runs             int               `json:"runs"`
	HasSD            bool              `json:"has_standard_deviation"`
	SDMolPerL        MolPerLitre       `json:"standard_deviation_mol_per_l"`
	PerRun           []MolPerLitre     `json:"per_run_mol_per_l"`
	CoverageFactor   float64           `json:"coverage_factor"`
	DegreesOfFreedom float64           `json:"degrees_of_freedom"`
	Budget           []UncertaintyTerm `json:"budget"`
	Notes            []string          `json:"notes,omitempty"`
	Explain          Explain           `json:"explain"`
}

// labelRelU is the relative standard uncertainty of a strength on a bought vinegar's label: common
// practice, no published source.
const labelRelU = 0.02

const assumedBalanceTolG = 0.005 // half width of a 0.01 g balance

// Result computes 1000 × m × P ÷ (M × V) per run.
func (s Standardisation) Result() (StandardisationResult, error) {
	if s.PurityFraction == 0 {
		s.PurityFraction = 1
	}
	if err := checkAll(in{"blank_ml", float64(s.BlankML)}, in{"purity", s.PurityFraction}, in{"mass_tolerance_g", float64(s.MassTolG)},
		in{"burette_tolerance_ml", float64(s.BuretteTolML)}); err != nil {
		return StandardisationResult{}, err
	}
	if len(s.Runs) > 0 && s.LabelledGPer100ML > 0 {
		return StandardisationResult{}, fieldErr("runs", "Give either phthalate or a bought vinegar, not both in one go.")
	}
	if s.LabelledGPer100ML > 0 {
		return s.againstVinegar()
	}
	if len(s.Runs) == 0 || len(s.Runs) > maxReplicates {
		return StandardisationResult{}, fieldErr("runs", "Give at least one weighing of phthalate with the base it took, and at most %d.", maxReplicates)
	}
	var cs, masses, titres []float64
	for _, r := range s.Runs {
		if err := checkAll(in{"khp_g", float64(r.KHPG)}, in{"base_ml", float64(r.BaseML)}); err != nil {
			return StandardisationResult{}, err
		}
		v := float64(r.BaseML - s.BlankML)
		if v <= 0 {
			return StandardisationResult{}, fieldErr("blank_ml", "The blank (%s mL) is as large as the base used (%s mL).", num(float64(s.BlankML)), num(float64(r.BaseML)))
		}
		cs = append(cs, 1000*float64(r.KHPG)*s.PurityFraction/(KHPMolarMass*v))
		masses, titres = append(masses, float64(r.KHPG)), append(titres, v)
	}
	balance, balanceAssumed := float64(s.MassTolG), s.MassTolG == 0
	if balanceAssumed {
		balance = assumedBalanceTolG
	}
	mass := UncertaintyTerm{"weighing, tared", math.Sqrt2 * balance / math.Sqrt(6) / Mean(masses), 0, balanceAssumed}
	res, err := s.finish(cs, Mean(titres), mass)
	res.Explain = Explain{
		Formula: "c = 1000 × m × P ÷ (M × (V − blank))",
		Values: []Given{{"m, mean", Mean(masses), "g"}, {"P, purity", s.PurityFraction, ""}, {"M, phthalate", KHPMolarMass, "g/mol"},
			{"V − blank, mean", Mean(titres), "mL"}},
		Source: "Eurachem/CITAC Guide QUAM, example A2; AOAC 936.16. Uncertainty by JCGM 100:2008 (GUM).",
		Limits: "Dried phthalate in boiled water, to the first pink that stays. Result 0.005 to 2 mol/L.",
	}
	return res, err
}

// againstVinegar takes the label's word, which is the weak point.
func (s Standardisation) againstVinegar() (StandardisationResult, error) {
	if err := checkAll(in{"labelled_g_per_100ml", float64(s.LabelledGPer100ML)}, in{"sample_ml", float64(s.VinegarML)}); err != nil {
		return StandardisationResult{}, err
	}
	if len(s.VinegarBaseML) == 0 || len(s.VinegarBaseML) > maxReplicates {
		return StandardisationResult{}, fieldErr("vinegar_base_ml", "Give the base that at least one sample of the bought vinegar took.")
	}
	var cs, titres []float64
	for _, b := range s.VinegarBaseML {
		if err := check("base_ml", float64(b)); err != nil {
			return StandardisationResult{}, err
		}
		v := float64(b - s.BlankML)
		if v <= 0 {
			return StandardisationResult{}, fieldErr("blank_ml", "The blank (%s mL) is as large as the base used (%s mL).", num(float64(s.BlankML)), num(float64(b)))
		}
		cs = append(cs, 10*float64(s.LabelledGPer100ML)*float64(s.VinegarML)/(AceticMolarMass*v))
		titres = append(titres, v)
	}
	label := UncertaintyTerm{"the bought vinegar's label and sample", Quadrature(labelRelU, assumedSampleRelU), 0, true}
	res, err := s.finish(cs, Mean(titres), label)
	res.Notes = append(res.Notes, "A label says \"at least\": if that vinegar is stronger than it says, this base is stronger than found here and your vinegar reads too weak, the safe way round.")
	res.Explain = Explain{
		Formula: "c = 10 × strength × sample ÷ (60.052 × (V − blank))",
		Values:  []Given{{"labelled strength", float64(s.LabelledGPer100ML), "g/100 mL"}, {"sample", float64(s.VinegarML), "mL"}, {"V − blank, mean", Mean(titres), "mL"}},
		Source:  "Titration of acetic acid, AOAC 930.35, turned round.",
		Limits:  "As sure as the label; phthalate is better. Result 0.005 to 2 mol/L.",
	}
	return res, err
}

func (s Standardisation) finish(cs []float64, titreML float64, first UncertaintyTerm) (StandardisationResult, error) {
	mean := Mean(cs)
	if err := check("base_mol_per_l", mean); err != nil {
		return StandardisationResult{}, fieldErr("base_ml", "These readings give a base of %s mol/L, outside 0.005 to 2; check the weight in g and the volume in mL.", num(mean))
	}
	r := StandardisationResult{BaseMolPerL: MolPerLitre(mean), Runs: len(cs), Budget: []UncertaintyTerm{first}}
	for _, c := range cs {
		r.PerRun = append(r.PerRun, MolPerLitre(c))
	}
	if len(cs) > 1 {
		r.HasSD, r.SDMolPerL = true, MolPerLitre(StdDev(cs))
		r.Budget = append(r.Budget, UncertaintyTerm{"repeatability of the runs", StdDev(cs) / math.Sqrt(float64(len(cs))) / mean, float64(len(cs) - 1), false})
		if spread := spreadOf(cs); spread > replicateSpreadNote {
			r.Notes = append(r.Notes, fmt.Sprintf("The runs differ by %.1f %%: do another.", 100*spread))
		}
	} else {
		r.Budget = append(r.Budget, UncertaintyTerm{"repeatability, one run", assumedRepeatability, guessDegreesOfFreedom, true})
		r.Notes = append(r.Notes, "One run shows no spread: do two or three.")
	}
	readings := 1.0
	if s.BlankML > 0 {
		readings = math.Sqrt2
	}
	burette := UncertaintyTerm{"burette", readings * float64(s.BuretteTolML) / math.Sqrt(6) / titreML, 0, false}
	if s.BuretteTolML == 0 {
		burette.RelativeU, burette.Assumed = readings*assumedReadingML/titreML, true
	}
	r.Budget = append(r.Budget, burette, UncertaintyTerm{"end point, one drop", assumedEndPointML / titreML, 0, true})
	c := Combine(r.Budget)
	r.CoverageFactor, r.DegreesOfFreedom = c.CoverageFactor, c.DegreesOfFreedom
	r.StandardUMolPerL = MolPerLitre(mean * c.RelativeU)
	r.ExpandedUMolPerL = MolPerLitre(mean * c.RelativeU * c.CoverageFactor)
	return r, nil
}

// spreadOf is the range over the mean.
func spreadOf(xs []float64) float64 {
	lo, hi := xs[0], xs[0]
	for _, x := range xs {
		lo, hi = math.Min(lo, x), math.Max(hi, x)
	}
	return (hi - lo) / Mean(xs)
}
