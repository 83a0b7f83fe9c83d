package larder

import (
	"fmt"
	"math"
	"slices"
	"strconv"

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
	// Expected is the acidity after the water: computed when some is added.
	Expected   Acidity          `json:"expected"`
	OverflowML chem.Millilitres `json:"overflow_ml,omitempty"` // of the expected volume, what the jars themselves cannot hold
	Fills      []Fill           `json:"fills"`
	NotYet     []string         `json:"not_yet,omitempty"` // why these jars cannot be bottled as they are, in sentences
}

// ShopTarget is the strength of ordinary shop vinegar, g/100 mL (common practice;
// the tested recipes that extension services publish ask for it too).
const ShopTarget chem.GramsPer100ML = 5

// TargetBySense is what to dilute to when nobody said: shop strength where even
// the lower bound of a measurement lies above it, else 0, bottle as it is.
func (a Acidity) TargetBySense() chem.GramsPer100ML {
	const worthIt = 0.01 // g/100 mL; what was diluted so already is left alone
	if (a.Basis == ByTitration || a.Basis == Computed) && a.StrengthMark == "" && a.LowerGPer100ML > ShopTarget+worthIt {
		return ShopTarget
	}
	return 0
}

// Fill is how many bottles of one size the expected volume fills.
type Fill struct {
	SizeML chem.Millilitres `json:"size_ml"`
	Count  int              `json:"count"`
	LeftML chem.Millilitres `json:"left_ml"`
}

// Finish reckons the finishing bench: the acidity of what the jars hold, the
// water to a target (0: none; nil: by sense), and the bottles of each size that
// it then fills. The error is Problems: a jar whose volume is not known, or a
// senseless size.
func Finish(jars []Jar, wanted *chem.GramsPer100ML, sizes []chem.Millilitres) (FinishPlan, error) {
	var p Problems
	var f FinishPlan
	var target chem.GramsPer100ML
	if wanted != nil {
		target = *wanted
	}
	var room chem.Millilitres
	pours := make([]Pour, len(jars))
	for i, jar := range jars {
		if slices.ContainsFunc(jars[:i], func(j Jar) bool { return j.Tag == jar.Tag }) {
			p.Add("jars", "Jar "+string(jar.Tag)+" is named twice.")
		}
		room += jar.SizeML
		if jar.State.VolumeML == nil {
			p.Add("jars", fmt.Sprintf("The log does not say how much is in jar %s. Log its volume first.", jar.Tag))
			continue
		}
		pours[i] = Pour{Jar: jar.Tag, VolumeML: *jar.State.VolumeML}
		f.HeldML += pours[i].VolumeML
	}
	switch {
	case len(jars) == 0 || len(jars) > MaxLotJars:
		p.Add("jars", fmt.Sprintf("Choose 1 to %d jars.", MaxLotJars))
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
	if wanted == nil {
		target = f.Acidity.TargetBySense()
	}
	f.TargetGPer100ML = target
	f.dilute()
	f.OverflowML = max(0, f.ExpectedML-room)
	for _, size := range sizes {
		f.Fills = append(f.Fills, fill(f.ExpectedML, size))
	}
	var not Problems
	for _, jar := range jars {
		NewLot{}.checkJar(&not, jar)
	}
	for _, n := range not {
		f.NotYet = append(f.NotYet, n.Message)
	}
	return f, nil
}

// fill forgives a thousandth of a millilitre, the rounding of added floats.
func fill(volume, size chem.Millilitres) Fill {
	count := int(math.Floor(float64((volume + 0.001) / size)))
	return Fill{SizeML: size, Count: count, LeftML: max(0, volume-chem.Millilitres(count)*size)}
}

// WaterSentence tells the water of a plan that has some. A strength that was computed
// keeps nothing surely: the volumes behind it were not measured like a titration.
func (f FinishPlan) WaterSentence(units chem.System) string {
	if r := f.Water; f.Acidity.Basis == Computed && r.HasSure && r.WaterSureML >= 1 {
		return fmt.Sprintf("By the computed strength, up to %s of water keeps it at %s g/100 mL or above; titrate before you add it.", chem.FormatVolume(r.WaterSureML, units), strconv.FormatFloat(float64(f.TargetGPer100ML), 'f', -1, 64))
	}
	return DilutionSentence(*f.Water, f.TargetGPer100ML, units)
}

func (f *FinishPlan) dilute() {
	a := f.Acidity
	known := a.Basis == ByTitration || a.Basis == Computed
	f.ExpectedML, f.Expected = f.HeldML, a
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
	case a.StrengthMark != "":
		f.WhyNoWater = "The titration cannot carry a sum: " + a.StrengthMark
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
	share := float64(f.HeldML / f.ExpectedML)
	f.ExpectedGPer100ML = a.GPer100ML * chem.GramsPer100ML(share)
	if f.AddML > 0 {
		f.Expected = a.scaled(share)
		f.Expected.Basis, f.Expected.Why = Computed, "water is still to be added"
	}
}
