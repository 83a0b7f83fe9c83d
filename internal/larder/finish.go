package larder

import (
	"fmt"
	"math"

	"cruet/internal/chem"
)

// FinishPlan is what the finishing bench shows of one or several jars before
// they are bottled together.
type FinishPlan struct {
	HeldML  chem.Millilitres `json:"held_ml"`
	Acidity Acidity          `json:"acidity"` // of the jar, or the mean by volume
	// Target is what to dilute to; 0: bottle as it is.
	TargetGPer100ML chem.GramsPer100ML `json:"target_g_per_100ml"`
	// Water is what brings the middle of the measurement to the target, with
	// what keeps even its lower bound there; nil when none is to be added.
	Water      *chem.DilutionResult `json:"water,omitempty"`
	WhyNoWater string               `json:"why_no_water,omitempty"` // a sentence; empty when Water is set or no target was given
	AddML      chem.Millilitres     `json:"add_ml"`                 // the water reckoned with: the sure amount when known
	ExpectedML chem.Millilitres     `json:"expected_ml"`
	// ExpectedGPer100ML is computed; 0 when the acidity is not known.
	ExpectedGPer100ML chem.GramsPer100ML `json:"expected_g_per_100ml"`
	OverflowML        chem.Millilitres   `json:"overflow_ml,omitempty"` // of the expected volume, what the jars themselves cannot hold
	Fills             []Fill             `json:"fills"`
}

// Fill is how many bottles of one size the expected volume fills.
type Fill struct {
	SizeML chem.Millilitres `json:"size_ml"`
	Count  int              `json:"count"`
	LeftML chem.Millilitres `json:"left_ml"`
}

// Finish reckons the finishing bench: the acidity of what the jars hold, the
// water to a target (0: none), and the bottles of each size that it then fills.
// The error is Problems: a jar whose volume is not known, or a senseless size.
func Finish(jars []Jar, target chem.GramsPer100ML, sizes []chem.Millilitres) (FinishPlan, error) {
	var p Problems
	f := FinishPlan{TargetGPer100ML: target}
	var room chem.Millilitres
	pours := make([]Pour, len(jars))
	for i, jar := range jars {
		room += jar.SizeML
		if jar.State.VolumeML == nil {
			p.Add("jars", fmt.Sprintf("The log does not say how much is in jar %s. Log its volume first.", jar.Tag))
			continue
		}
		pours[i] = Pour{Jar: jar.Tag, VolumeML: *jar.State.VolumeML}
		f.HeldML += pours[i].VolumeML
	}
	switch {
	case len(jars) == 0:
		p.Add("jars", "Choose at least one jar.")
	case len(p) == 0 && f.HeldML <= 0:
		p.Add("jars", "There is nothing left in these jars.")
	}
	if target != 0 && !(target >= 0.5 && target <= 12) {
		p.Add("target_g_per_100ml", "The target acidity lies between 0.5 and 12 g/100 mL; ordinary shop vinegar has 5.")
	}
	for _, size := range sizes {
		if !(size >= 10 && size <= maxBottleML) {
			p.Add("size_ml", "A bottle holds between 10 mL and 20 L.")
		}
	}
	if len(p) > 0 {
		return FinishPlan{}, p
	}
	f.Acidity = LotAcidity(pours, jars)
	f.dilute()
	f.OverflowML = max(0, f.ExpectedML-room)
	for _, size := range sizes {
		f.Fills = append(f.Fills, fill(f.ExpectedML, size))
	}
	return f, nil
}

// fill forgives a thousandth of a millilitre, the rounding of added floats.
func fill(volume, size chem.Millilitres) Fill {
	count := int(math.Floor(float64((volume + 0.001) / size)))
	return Fill{SizeML: size, Count: count, LeftML: max(0, volume-chem.Millilitres(count)*size)}
}

func (f *FinishPlan) dilute() {
	a := f.Acidity
	known := a.Basis == ByTitration || a.Basis == Computed
	f.ExpectedML = f.HeldML
	if known {
		f.ExpectedGPer100ML = a.GPer100ML
	}
	if f.TargetGPer100ML == 0 {
		return
	}
	switch {
	case !known:
		f.WhyNoWater = "The acidity as it stands was not measured, so nobody can say how much water it takes. Titrate first."
		return
	case a.ExpandedUGPer100ML > a.GPer100ML:
		f.WhyNoWater = "The acidity is known too roughly to reckon with. Titrate again, with more replicates."
		return
	}
	r, err := chem.Dilution{VolumeML: f.HeldML, AcidityGPer100ML: a.GPer100ML, TargetGPer100ML: f.TargetGPer100ML, ExpandedUGPer100ML: a.ExpandedUGPer100ML}.Result()
	if err != nil {
		f.WhyNoWater = err.Error()
		return
	}
	f.Water, f.AddML = &r, r.WaterML
	if r.HasSure {
		f.AddML = r.WaterSureML
	}
	f.ExpectedML = f.HeldML + f.AddML
	f.ExpectedGPer100ML = a.GPer100ML * chem.GramsPer100ML(f.HeldML/f.ExpectedML)
}
