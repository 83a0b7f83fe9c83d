package chem

import "math"

// ethanolBrix is how many °Bx a refractometer shows for each % by mass of ethanol in water, up to
// 10 %: refractive index 1.3330 at 0, 1.3360 at 5 and 1.3395 at 10 % by mass (CRC Handbook,
// concentrative properties of aqueous solutions, 20 °C, 589 nm; from memory), read on the ICUMSA
// sugar scale.
var ethanolBrix = (icumsa(1.3395) - icumsa(1.33299)) / 10

// Brix is a sugar reading in °Bx, and for a refractometer in a ferment also the °Bx before it began.
type Brix struct {
	Brix         DegreesBrix  `json:"brix"`
	OriginalBrix *DegreesBrix `json:"original_brix,omitempty"` // nil: unfermented
}

// BrixResult is sugar, and alcohol where the reading was of a ferment.
type BrixResult struct {
	Fermented           bool            `json:"fermented"`
	RealExtractBrix     DegreesBrix     `json:"real_extract_brix"` // sugar and other solids left
	SpecificGravity     SpecificGravity `json:"specific_gravity"`  // of the unfermented liquid, or what a hydrometer would show now
	Plato               float64         `json:"plato"`             // Brix and Plato differ by under 0.01 up to 25
	DensityGPerML       float64         `json:"density_g_per_ml"`
	SugarGPerL          float64         `json:"sugar_g_per_l"`
	PotentialABVPercent PercentVol      `json:"potential_abv_percent"` // still to come from that sugar
	ABVPercent          PercentVol      `json:"abv_percent"`           // already there, estimated
	ABWPercent          PercentMass     `json:"abw_percent"`
	Notes               []string        `json:"notes,omitempty"`
	Explain             Explain         `json:"explain"`
}

// Result converts the reading; with OriginalBrix it corrects a refractometer for alcohol.
func (b Brix) Result() (BrixResult, error) {
	if b.OriginalBrix != nil {
		return b.corrected()
	}
	s, err := GravityFromBrix(b.Brix)
	if err != nil {
		return BrixResult{}, err
	}
	r := BrixResult{RealExtractBrix: b.Brix, SpecificGravity: s, DensityGPerML: DensityFromGravity(s)}
	r.Plato = float64(b.Brix)
	if p, err := PlatoFromGravity(s); err == nil {
		r.Plato = p
	}
	r.SugarGPerL = 10 * float64(b.Brix) * r.DensityGPerML
	r.PotentialABVPercent = PercentVol(r.SugarGPerL / SugarGPerLPerPercentVol)
	r.Explain = Explain{
		Formula: "S from °Bx = 28.14203 S + 202.4427 − 230.587 ÷ S; sugar g/L = 10 × °Bx × density; potential ABV = sugar ÷ 16.83",
		Values:  []Given{{"reading", float64(b.Brix), "°Bx"}, {"density", r.DensityGPerML, "g/mL"}},
		Source:  "Fit of the table of NBS Circular C440 (USDA 135-A-50); 16.83 g/L per % vol (EU and OIV).",
		Limits:  "0 to 40 °Bx at 20 °C, no alcohol or acid in it. Fruit juice also holds acids and other solids: its sugar is a little less.",
	}
	return r, nil
}

// corrected solves shown = real extract + ethanolBrix x ABW with Balling's mass balance
// ABW = (OE - RE)/(2.0665 - 0.010665 OE).
func (b Brix) corrected() (BrixResult, error) {
	oe := float64(*b.OriginalBrix)
	if oe > limits["original_plato"].max || !finite(oe) || oe < 0 {
		return BrixResult{}, fieldErr("original_brix", "The °Bx before fermentation must lie between 0 and 25 for this sum.")
	}
	if err := check("brix", float64(b.Brix)); err != nil {
		return BrixResult{}, err
	}
	if b.Brix > *b.OriginalBrix {
		return BrixResult{}, fieldErr("brix", "The refractometer shows more now (%s °Bx) than before fermentation (%s °Bx); are the two swapped?", num(float64(b.Brix)), num(oe))
	}
	perABW := extractPerEthanol - ballingSlope*oe
	abw := (oe - float64(b.Brix)) / (perABW - ethanolBrix)
	re := oe - abw*perABW
	// With all sugar gone the real extract is near zero; well below it the pair is impossible.
	if re < -0.5 || abw > 12 {
		return BrixResult{}, fieldErr("brix", "A fall from %s to %s °Bx is more than fermentation can make on a refractometer; clean it, set it to 0 with water, and read again.", num(oe), num(float64(b.Brix)))
	}
	re = math.Max(0, re)
	abv, err := MassToVol(PercentMass(abw))
	if err != nil {
		return BrixResult{}, err
	}
	apparent := (re - 0.1808*oe) / 0.8192 // Balling, as in RealExtract
	r := BrixResult{Fermented: true, RealExtractBrix: DegreesBrix(re), ABWPercent: PercentMass(abw), ABVPercent: abv, Plato: apparent}
	r.SpecificGravity = gravityOfExtract(apparent)
	r.DensityGPerML = DensityFromGravity(r.SpecificGravity)
	r.SugarGPerL = 10 * re * r.DensityGPerML
	r.PotentialABVPercent = PercentVol(r.SugarGPerL / SugarGPerLPerPercentVol)
	r.Notes = append(r.Notes, "An estimate, good to about 0.5 % vol and 0.003 of gravity: a hydrometer reading is surer.",
		"Not for the acetic stage: acetic acid raises the refractometer reading too.")
	r.Explain = Explain{
		Formula: "ABW = (OE − shown) ÷ (2.0665 − 0.010665 OE − k); real extract = OE − ABW × (2.0665 − 0.010665 OE)",
		Values:  []Given{{"OE, before fermentation", oe, "°Bx"}, {"shown now", float64(b.Brix), "°Bx"}, {"k, °Bx shown per % mass of ethanol", ethanolBrix, ""}},
		Source:  "Balling's mass balance; refractive index of ethanol in water from the CRC Handbook (from memory); ICUMSA sugar scale.",
		Limits:  "Up to 25 °Bx at the start and 12 % mass of alcohol, before any acetic acid.",
	}
	return r, nil
}

// gravityOfExtract turns an apparent extract, which may be a little below 0, into gravity: below 0
// the sugar polynomial is followed down to -3 °P, as saccharometers are.
func gravityOfExtract(p float64) SpecificGravity {
	if s, err := GravityFromPlato(p); err == nil {
		return s
	}
	lo, hi := 0.97, 1.12
	for range 60 {
		mid := (lo + hi) / 2
		if platoPolynomial(mid) < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return SpecificGravity((lo + hi) / 2)
}
