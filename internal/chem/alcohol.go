package chem

import "math"

const (
	// EthanolMolarMass is g/mol (IUPAC CIAAW abridged atomic weights).
	EthanolMolarMass = 46.069
	hexoseMolarMass  = 180.156
	sucroseMolarMass = 342.297

	// SugarGPerLPerPercentVol is the EU and OIV practical figure for 1 % vol; theory is 15.43.
	SugarGPerLPerPercentVol = 16.83

	// EthanolPerHexose is g/g by Gay-Lussac's equation, C6H12O6 -> 2 C2H5OH + 2 CO2.
	EthanolPerHexose = 2 * EthanolMolarMass / hexoseMolarMass
	// EthanolPerSucrose is g/g; the water of inversion is gained.
	EthanolPerSucrose = 4 * EthanolMolarMass / sucroseMolarMass
)

// oimlA is the general formula of OIML R 22 (1973/75; Directive 76/766/EEC) for the density of
// ethanol and water at 20 °C: rho = sum of A_k p^(k-1), kg/m3, p the mass fraction.
var oimlA = [...]float64{998.20123, -192.9769495, 389.1238958, -1668.103923, 13522.15441, -88292.78388,
	306287.4042, -613838.1234, 747017.2998, -547846.1354, 223446.0334, -39032.85426}

func ethanolWaterKgPerM3(p float64) float64 {
	rho := 0.0
	for k := len(oimlA) - 1; k >= 0; k-- {
		rho = rho*p + oimlA[k]
	}
	return rho
}

// ethanolKgPerM3 is pure ethanol at 20 °C by the same formula.
var ethanolKgPerM3 = ethanolWaterKgPerM3(1)

// EthanolGPerL is the ethanol in g/L at 20 °C of a liquid of v % vol.
func EthanolGPerL(v PercentVol) float64 { return float64(v) / 100 * ethanolKgPerM3 }

// EthanolDensity is the density in g/mL at 20 °C of ethanol and water, m % by mass (OIML R 22).
func EthanolDensity(m PercentMass) (float64, error) {
	if err := check("abw_percent", float64(m)); err != nil {
		return 0, err
	}
	return ethanolWaterKgPerM3(float64(m)/100) / 1000, nil
}

// VolToMass converts alcohol from % vol to % by mass, ethanol and water at 20 °C (OIML R 22).
func VolToMass(v PercentVol) (PercentMass, error) {
	if err := check("abv_percent", float64(v)); err != nil {
		return 0, err
	}
	lo, hi := 0.0, 1.0 // p rho(p) rises with p
	for range 60 {
		mid := (lo + hi) / 2
		if 100*mid*ethanolWaterKgPerM3(mid)/ethanolKgPerM3 < float64(v) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return PercentMass(50 * (lo + hi)), nil
}

// MassToVol converts alcohol from % by mass to % vol, ethanol and water at 20 °C (OIML R 22).
func MassToVol(m PercentMass) (PercentVol, error) {
	if err := check("abw_percent", float64(m)); err != nil {
		return 0, err
	}
	p := float64(m) / 100
	return PercentVol(100 * p * ethanolWaterKgPerM3(p) / ethanolKgPerM3), nil
}

// hmrc is the table of HMRC Excise Notice 226, paragraph 30.3: % vol per point of gravity dropped, up
// to and including each drop. The drop is taken to one decimal.
var hmrc = []struct{ upTo, factor float64 }{{6.9, 0.125}, {10.4, 0.126}, {17.2, 0.127}, {26.1, 0.128}, {36.0, 0.129},
	{46.5, 0.130}, {57.1, 0.131}, {67.9, 0.132}, {78.8, 0.133}, {89.7, 0.134}, {100.7, 0.135}}

// GravityFactor is the HMRC factor for a drop of the given number of points (1000 x gravity).
func GravityFactor(points float64) (float64, error) {
	points = math.Round(points*10) / 10
	if err := check("excess_gravity", points); err != nil {
		return 0, err
	}
	for _, row := range hmrc {
		if points <= row.upTo {
			return row.factor, nil
		}
	}
	return 0, check("excess_gravity", math.Inf(1))
}

// ABVFromGravities is the alcohol made by fermenting from og to pg: (og - pg) x 1000 x the HMRC
// factor. It does not hold once acid forms.
func ABVFromGravities(og, pg SpecificGravity) (PercentVol, error) {
	if err := checkAll(in{"original_gravity", float64(og)}, in{"present_gravity", float64(pg)}); err != nil {
		return 0, err
	}
	if pg > og {
		return 0, fieldErr("present_gravity", "The present gravity (%s) is above the original (%s); are the two swapped?", num(float64(pg)), num(float64(og)))
	}
	points := float64(og-pg) * 1000
	f, err := GravityFactor(points)
	return PercentVol(points * f), err
}

// RealExtract is the extract left, in °P, from original and apparent extract, both °P: Balling's
// attenuation factor, De Clerck's figures.
func RealExtract(originalPlato, apparentPlato float64) (float64, error) {
	if err := checkExtracts(originalPlato, apparentPlato); err != nil {
		return 0, err
	}
	return 0.1808*originalPlato + 0.8192*apparentPlato, nil
}

// Balling: 2.0665 g of extract give 1 g ethanol, 0.9565 g carbon dioxide and 0.11 g yeast.
const (
	extractPerEthanol = 2.0665
	ballingSlope      = 0.010665
)

// BallingABW is the alcohol in % by mass from original and apparent extract, both °P.
func BallingABW(originalPlato, apparentPlato float64) (PercentMass, error) {
	re, err := RealExtract(originalPlato, apparentPlato)
	if err != nil {
		return 0, err
	}
	return PercentMass((originalPlato - re) / (extractPerEthanol - ballingSlope*originalPlato)), nil
}

func checkExtracts(original, apparent float64) error {
	if err := checkAll(in{"original_plato", original}, in{"apparent_plato", apparent}); err != nil {
		return err
	}
	if apparent > original {
		return fieldErr("apparent_plato", "The present extract (%s) is above the original (%s); are the two swapped?", num(apparent), num(original))
	}
	return nil
}

// PotentialABV is the alcohol that g/L of sugar may give in practice (EU and OIV, 16.83 g/L per % vol).
func PotentialABV(sugarGPerL float64) (PercentVol, error) {
	if err := check("sugar_g_per_l", sugarGPerL); err != nil {
		return 0, err
	}
	return PercentVol(sugarGPerL / SugarGPerLPerPercentVol), nil
}

// Alcohol is a pair of gravities, before and after fermentation, both corrected for temperature.
type Alcohol struct {
	OriginalGravity SpecificGravity `json:"original_gravity"`
	PresentGravity  SpecificGravity `json:"present_gravity"`
}

// AlcoholResult is the alcohol made and what vinegar it could give.
type AlcoholResult struct {
	ABVPercent       PercentVol    `json:"abv_percent"`
	ABVRoundedDown   PercentVol    `json:"abv_rounded_down_percent"` // to 0.1, as the notice rounds
	ABWPercent       PercentMass   `json:"abw_percent"`
	EthanolGPerL     float64       `json:"ethanol_g_per_l"`
	CeilingGPer100ML GramsPer100ML `json:"ceiling_g_per_100ml"` // stoichiometric
	GravityFactor    float64       `json:"gravity_factor"`
	Notes            []string      `json:"notes,omitempty"`
	Explain          Explain       `json:"explain"`
}

// Result computes the alcohol from the drop in gravity.
func (a Alcohol) Result() (AlcoholResult, error) {
	abv, err := ABVFromGravities(a.OriginalGravity, a.PresentGravity)
	if err != nil {
		return AlcoholResult{}, err
	}
	abw, err := VolToMass(abv)
	if err != nil {
		return AlcoholResult{}, err
	}
	points := float64(a.OriginalGravity-a.PresentGravity) * 1000
	f, _ := GravityFactor(points) // checked by ABVFromGravities
	r := AlcoholResult{ABVPercent: abv, ABVRoundedDown: PercentVol(math.Floor(float64(abv)*10+1e-9) / 10), ABWPercent: abw,
		EthanolGPerL: EthanolGPerL(abv), CeilingGPer100ML: AceticFromABV(abv), GravityFactor: f}
	r.Notes = append(r.Notes, "This holds only before the acetic stage: acetic acid is heavier than water and ethanol lighter, so later the gravity no longer follows the alcohol.")
	if abv > bestABVHigh {
		r.Notes = append(r.Notes, "This is strong for the acetic stage: cut it with water to 5 to 9 % vol.")
	}
	r.Explain = Explain{
		Formula: "ABV = (original − present) × 1000 × f; % mass by the OIML R 22 density formula; ceiling = ABV × 1.0288",
		Values: []Given{{"original gravity", float64(a.OriginalGravity), ""}, {"present gravity", float64(a.PresentGravity), ""},
			{"f, factor for this drop", f, "% vol per point"}},
		Source: "HMRC Excise Notice 226, paragraphs 30.2 and 30.3; OIML R 22 for % mass.",
		Limits: "A drop of 0 to 100.7 points in one fermentation, readings at 20 °C; not after acetification began.",
	}
	return r, nil
}
