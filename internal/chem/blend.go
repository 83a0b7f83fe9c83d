package chem

import (
	"fmt"
	"math"
)

// volumesAdd is said of every sum that adds volumes.
const volumesAdd = "Volumes are taken to add up; for vinegar and wine the contraction is under 0.1 %."

// Dilution asks how much water brings a liquid down to a target acidity.
type Dilution struct {
	VolumeML           Millilitres   `json:"volume_ml"`
	AcidityGPer100ML   GramsPer100ML `json:"acidity_g_per_100ml"`
	TargetGPer100ML    GramsPer100ML `json:"target_g_per_100ml"`
	ExpandedUGPer100ML GramsPer100ML `json:"expanded_uncertainty_g_per_100ml,omitempty"` // of the acidity; 0: not known
}

// DilutionResult is the water to add. WaterSureML is less water, such that even the lower bound of the
// measured acidity stays at the target; 0 when that bound is already below it.
type DilutionResult struct {
	WaterML       Millilitres `json:"water_ml"`
	FinalVolumeML Millilitres `json:"final_volume_ml"`
	HasSure       bool        `json:"has_sure"`
	WaterSureML   Millilitres `json:"water_sure_ml"`
	Notes         []string    `json:"notes,omitempty"`
	Explain       Explain     `json:"explain"`
}

// Result computes V × (a/b − 1).
func (d Dilution) Result() (DilutionResult, error) {
	if err := checkAll(in{"volume_ml", float64(d.VolumeML)}, in{"acidity_g_per_100ml", float64(d.AcidityGPer100ML)},
		in{"target_g_per_100ml", float64(d.TargetGPer100ML)}); err != nil {
		return DilutionResult{}, err
	}
	if d.TargetGPer100ML > d.AcidityGPer100ML {
		return DilutionResult{}, fieldErr("target_g_per_100ml", "Water cannot make %s g/100 mL out of %s: blend it with a stronger vinegar instead.", num(float64(d.TargetGPer100ML)), num(float64(d.AcidityGPer100ML)))
	}
	u := d.ExpandedUGPer100ML
	if !finite(float64(u)) || u < 0 || u > d.AcidityGPer100ML {
		return DilutionResult{}, fieldErr("expanded_uncertainty_g_per_100ml", "The uncertainty must lie between 0 and the acidity itself.")
	}
	total := d.VolumeML * Millilitres(d.AcidityGPer100ML/d.TargetGPer100ML)
	r := DilutionResult{WaterML: total - d.VolumeML, FinalVolumeML: total}
	if u > 0 {
		r.HasSure = true
		r.WaterSureML = Millilitres(math.Max(0, float64(d.VolumeML)*(float64((d.AcidityGPer100ML-u)/d.TargetGPer100ML)-1)))
		if d.AcidityGPer100ML-u < d.TargetGPer100ML {
			r.Notes = append(r.Notes, "The measured acidity is not surely above the target even now: add no water, or titrate more closely first.")
		}
	} else {
		r.Notes = append(r.Notes, "Without the uncertainty of the acidity the result may fall short of the target: titrate again after mixing.")
	}
	if r.WaterML > 0 {
		r.Notes = append(r.Notes, "Water weakens the keeping quality too; measure the acidity again after mixing. Diluted home-made vinegar is not for canning.")
	}
	r.Explain = Explain{
		Formula: "water = V × (a ÷ b − 1)",
		Values:  []Given{{"V", float64(d.VolumeML), "mL"}, {"a", float64(d.AcidityGPer100ML), "g/100 mL"}, {"b, target", float64(d.TargetGPer100ML), "g/100 mL"}, {"expanded uncertainty of a", float64(u), "g/100 mL"}},
		Source:  "Mass balance, C1 V1 = C2 V2.",
		Limits:  volumesAdd + " The target may not be above the acidity.",
	}
	return r, nil
}

// PearsonSquare gives the parts of a weaker and a stronger liquid for a target, in any one unit that
// mixes by volume, and the volumes for a total (0: parts only).
type PearsonSquare struct {
	Low     float64     `json:"low"`
	High    float64     `json:"high"`
	Target  float64     `json:"target"`
	TotalML Millilitres `json:"total_ml,omitempty"`
}

// PearsonResult is parts and volumes.
type PearsonResult struct {
	PartsLow  float64     `json:"parts_low"`
	PartsHigh float64     `json:"parts_high"`
	LowML     Millilitres `json:"low_ml"`
	HighML    Millilitres `json:"high_ml"`
	Explain   Explain     `json:"explain"`
}

// Result refuses a target outside the two strengths.
func (p PearsonSquare) Result() (PearsonResult, error) {
	for _, f := range []struct {
		name string
		v    float64
	}{{"low", p.Low}, {"high", p.High}, {"target", p.Target}} {
		if err := checkAs(f.name, "concentration", f.v); err != nil {
			return PearsonResult{}, err
		}
	}
	if p.TotalML != 0 {
		if err := check("total_ml", float64(p.TotalML)); err != nil {
			return PearsonResult{}, err
		}
	}
	if p.Low >= p.High {
		return PearsonResult{}, fieldErr("high", "The stronger liquid (%s) must be above the weaker (%s).", num(p.High), num(p.Low))
	}
	if p.Target < p.Low || p.Target > p.High {
		return PearsonResult{}, fieldErr("target", "No mixture of %s and %s makes %s: the target must lie between the two.", num(p.Low), num(p.High), num(p.Target))
	}
	r := PearsonResult{PartsLow: p.High - p.Target, PartsHigh: p.Target - p.Low}
	share := Millilitres(r.PartsHigh / (p.High - p.Low))
	r.HighML = p.TotalML * share
	r.LowML = p.TotalML - r.HighML
	r.Explain = Explain{
		Formula: "parts of the stronger = target − weaker; parts of the weaker = stronger − target",
		Values:  []Given{{"weaker", p.Low, ""}, {"stronger", p.High, ""}, {"target", p.Target, ""}, {"total", float64(p.TotalML), "mL"}},
		Source:  "Pearson square (alligation).",
		Limits:  volumesAdd + " By volume for g/100 mL and % vol; for °Bx and % by mass weigh the parts.",
	}
	return r, nil
}

// Portion is one liquid of a blend.
type Portion struct {
	VolumeML         Millilitres   `json:"volume_ml"`
	AcidityGPer100ML GramsPer100ML `json:"acidity_g_per_100ml"`
	ABVPercent       PercentVol    `json:"abv_percent,omitempty"`
}

// Blend is two or more liquids poured together. With TargetGPer100ML the volumes are what there is, and
// the answer is how much of each to take; TotalML 0 then means as much as can be made.
type Blend struct {
	Portions        []Portion     `json:"portions"`
	TargetGPer100ML GramsPer100ML `json:"target_g_per_100ml,omitempty"`
	TotalML         Millilitres   `json:"total_ml,omitempty"`
}

// BlendResult is the mixture. Its pH is not computed: pH does not mix, it has to be measured.
type BlendResult struct {
	TakeML           []Millilitres `json:"take_ml"`
	VolumeML         Millilitres   `json:"volume_ml"`
	AcidityGPer100ML GramsPer100ML `json:"acidity_g_per_100ml"`
	ABVPercent       PercentVol    `json:"abv_percent"`
	TotalGPer100ML   GramsPer100ML `json:"total_concentration_g_per_100ml"` // acidity plus % vol, the trade's ceiling
	Notes            []string      `json:"notes,omitempty"`
	Explain          Explain       `json:"explain"`
}

// Check refuses impossible portions.
func (b Blend) Check() error {
	if len(b.Portions) < 2 || len(b.Portions) > 100 {
		return fieldErr("portions", "A blend needs 2 to 100 liquids, each with its volume and acidity.")
	}
	for i, p := range b.Portions {
		if err := checkAll(in{"volume_ml", float64(p.VolumeML)}, in{"acidity_g_per_100ml", float64(p.AcidityGPer100ML)}, in{"abv_percent", float64(p.ABVPercent)}); err != nil {
			fe := err.(*FieldError)
			return fieldErr(fe.Field, "Liquid %d: %s", i+1, fe.Message)
		}
	}
	if b.TargetGPer100ML != 0 {
		if err := check("target_g_per_100ml", float64(b.TargetGPer100ML)); err != nil {
			return err
		}
	}
	if b.TotalML != 0 {
		return check("total_ml", float64(b.TotalML))
	}
	return nil
}

// Result mixes by volume.
func (b Blend) Result() (BlendResult, error) {
	if err := b.Check(); err != nil {
		return BlendResult{}, err
	}
	take := make([]Millilitres, len(b.Portions))
	for i, p := range b.Portions {
		take[i] = p.VolumeML
	}
	if b.TargetGPer100ML > 0 {
		var err error
		if take, err = b.take(); err != nil {
			return BlendResult{}, err
		}
	}
	r := BlendResult{TakeML: take}
	var acid, alcohol float64
	for i, p := range b.Portions {
		r.VolumeML += take[i]
		acid += float64(take[i]) * float64(p.AcidityGPer100ML)
		alcohol += float64(take[i]) * float64(p.ABVPercent)
	}
	r.AcidityGPer100ML = GramsPer100ML(acid / float64(r.VolumeML))
	r.ABVPercent = PercentVol(alcohol / float64(r.VolumeML))
	r.TotalGPer100ML = r.AcidityGPer100ML + GramsPer100ML(r.ABVPercent*TotalConcentration)
	r.Notes = append(r.Notes, "Measure the pH and the acidity of the blend: pH does not average.")
	r.Explain = b.explain(take)
	return r, nil
}

func (b Blend) explain(take []Millilitres) Explain {
	e := Explain{
		Formula: "C = Σ(C × V) ÷ ΣV, for acidity and for alcohol",
		Source:  "Mass balance.",
		Limits:  volumesAdd + " Not for pH, °Bx or % by mass.",
	}
	for i, p := range b.Portions {
		e.Values = append(e.Values, Given{fmt.Sprintf("liquid %d", i+1), float64(take[i]), "mL"}, Given{fmt.Sprintf("its acidity %d", i+1), float64(p.AcidityGPer100ML), "g/100 mL"})
	}
	return e
}

// take splits the liquids into those below and those at or above the target, draws each group evenly
// from what there is, and joins the two by Pearson's square.
func (b Blend) take() ([]Millilitres, error) {
	t := float64(b.TargetGPer100ML)
	var lowV, lowA, highV, highA float64
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range b.Portions {
		v, a := float64(p.VolumeML), float64(p.AcidityGPer100ML)
		lo, hi = math.Min(lo, a), math.Max(hi, a)
		if a < t {
			lowV, lowA = lowV+v, lowA+v*a
		} else {
			highV, highA = highV+v, highA+v*a
		}
	}
	if t < lo || t > hi {
		return nil, fieldErr("target_g_per_100ml", "These liquids run from %s to %s g/100 mL, so no blend of them makes %s.", num(lo), num(hi), num(t))
	}
	shareLow, shareHigh := 0.0, 1.0 // of each unit of blend
	if lowV > 0 {
		meanLow, meanHigh := lowA/lowV, highA/highV
		shareHigh = (t - meanLow) / (meanHigh - meanLow)
		shareLow = 1 - shareHigh
	} else if highA/highV > t*(1+1e-12) {
		// All are at or above it: only those exactly at the target serve.
		return b.takeExact(t)
	}
	most := math.Inf(1)
	if shareLow > 0 {
		most = lowV / shareLow
	}
	if shareHigh > 0 {
		most = math.Min(most, highV/shareHigh)
	}
	total := most
	if b.TotalML > 0 {
		if float64(b.TotalML) > most*(1+1e-9) {
			return nil, fieldErr("total_ml", "There is enough for %.0f mL at %s g/100 mL, not for %.0f mL.", most, num(t), float64(b.TotalML))
		}
		total = float64(b.TotalML)
	}
	out := make([]Millilitres, len(b.Portions))
	for i, p := range b.Portions {
		if float64(p.AcidityGPer100ML) < t {
			out[i] = p.VolumeML * Millilitres(total*shareLow/lowV)
		} else {
			out[i] = p.VolumeML * Millilitres(total*shareHigh/highV)
		}
	}
	return out, nil
}

func (b Blend) takeExact(t float64) ([]Millilitres, error) {
	out := make([]Millilitres, len(b.Portions))
	var there float64
	for i, p := range b.Portions {
		if float64(p.AcidityGPer100ML) == t {
			out[i] = p.VolumeML
			there += float64(p.VolumeML)
		}
	}
	if b.TotalML > 0 && float64(b.TotalML) > there {
		return nil, fieldErr("total_ml", "There is %.0f mL at %s g/100 mL, not %.0f mL; add water to the stronger ones instead.", there, num(t), float64(b.TotalML))
	}
	if b.TotalML > 0 {
		for i := range out {
			out[i] *= b.TotalML / Millilitres(there)
		}
	}
	return out, nil
}
