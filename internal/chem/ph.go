package chem

import (
	"fmt"
	"math"
)

// PKaAcetic is the acid exponent of acetic acid in water, 0 to 60 °C: the Harned-Robinson form of the
// data of Harned and Ehlers, J. Am. Chem. Soc. 55 (1933) 652, in Robinson and Stokes, Electrolyte
// Solutions; fits the table to 0.0012.
func PKaAcetic(t Celsius) (float64, error) {
	if err := check("acetic_ph.temperature_c", float64(t)); err != nil {
		return 0, err
	}
	return pkaAcetic(float64(t)), nil
}

func pkaAcetic(t float64) float64 {
	k := t + kelvinOffset
	return 1170.48/k - 3.1649 + 0.013399*k
}

// daviesA is the Debye-Hückel constant: 0.509 at 25 °C (Davies 1962; Stumm and Morgan), with
// temperature as (eps T)^-3/2, eps of water by Malmberg and Maryott 1956 (from memory).
func daviesA(t float64) float64 {
	epsT := func(t float64) float64 {
		return (87.740 - 0.40008*t + 9.398e-4*t*t - 1.410e-6*t*t*t) * (t + kelvinOffset)
	}
	return 0.509 * math.Pow(epsT(25)/epsT(t), 1.5)
}

// log10Gamma is the activity coefficient of a single-charged ion at ionic strength i, mol/L, by
// Davies' equation (to about 0.5 mol/L).
func log10Gamma(i, a float64) float64 {
	r := math.Sqrt(i)
	return -a * (r/(1+r) - 0.3*i)
}

// weakAcid solves K = g^2 x^2/(c - x) for x, the hydrogen ion concentration in mol/L, with g the
// activity coefficient at ionic strength x; a = 0 leaves activity out. It also gives g.
func weakAcid(c, ka, a float64) (x, g float64) {
	g = 1
	for range 50 {
		k := ka / (g * g)
		x = (-k + math.Sqrt(k*k+4*k*c)) / 2
		next := math.Pow(10, log10Gamma(x, a))
		if math.Abs(next-g) < 1e-14 {
			break
		}
		g = next
	}
	return x, g
}

// PHOf asks for the pH that acetic acid alone in water would have. It goes one way only: there is no
// way back from a pH to an acidity.
type PHOf struct {
	AcidityGPer100ML GramsPer100ML `json:"acidity_g_per_100ml"`
	TemperatureC     Celsius       `json:"temperature_c"`
}

// PHOfResult is the pH of the pure acid, which real vinegars are usually above.
type PHOfResult struct {
	PH           PH          `json:"ph"`
	HydrogenMolL MolPerLitre `json:"hydrogen_ion_mol_per_l"`
	PKa          float64     `json:"pka"`
	Notes        []string    `json:"notes"`
	Explain      Explain     `json:"explain"`
}

// Result computes the pH with Davies' activity correction.
func (p PHOf) Result() (PHOfResult, error) {
	if err := check("acetic_ph.temperature_c", float64(p.TemperatureC)); err != nil {
		return PHOfResult{}, err
	}
	if err := checkAs("acidity_g_per_100ml", "acetic_ph.acidity", float64(p.AcidityGPer100ML)); err != nil {
		return PHOfResult{}, err
	}
	c := 10 * float64(p.AcidityGPer100ML) / AceticMolarMass
	pka, a := pkaAcetic(float64(p.TemperatureC)), daviesA(float64(p.TemperatureC))
	x, g := weakAcid(c, math.Pow(10, -pka), a)
	return PHOfResult{PH: PH(-math.Log10(g * x)), HydrogenMolL: MolPerLitre(x), PKa: pka,
		Notes: []string{PHNeverAcidity},
		Explain: Explain{
			Formula: "K = γ² x² ÷ (C − x), log γ = −A (√x ÷ (1 + √x) − 0.3 x), pH = −log(γ x)",
			Values: []Given{{"acetic acid", float64(p.AcidityGPer100ML), "g/100 mL"}, {"C", c, "mol/L"}, {"temperature", float64(p.TemperatureC), "°C"},
				{"pKa", pka, ""}, {"A", a, ""}, {"γ", g, ""}},
			Source: "pKa: Harned and Ehlers, J. Am. Chem. Soc. 55 (1933) 652, form of Harned and Robinson. Activity: Davies' equation.",
			Limits: "Pure acetic acid in water, " + limitText("acetic_ph.acidity", " g/100 mL") + ", " + limitText("acetic_ph.temperature_c", " °C") + ". Vinegar holds salts and other acids.",
		}}, nil
}

// PHNeverAcidity is why no page turns a pH into a strength: the last figure is 10^(2 x 0.05), as the
// acidity goes with the square of the hydrogen ion.
const PHNeverAcidity = "A pH does not tell the acidity: 4 % and 8 % acetic acid differ by only 0.15 pH, salts from the fruit move it by more, and an error of 0.05 pH alone would be 26 % of acidity. Titrate."

// AcidityErrorFactor is by how much an acidity inferred from a pH would be wrong if the pH were wrong
// by delta: 10^(2 delta), the weak-acid limit. It is the reason not to do it.
func AcidityErrorFactor(delta float64) float64 { return math.Pow(10, 2*delta) }

// impossibleMarginPH is how far below the pure acid's pH a reading must lie to be called impossible:
// 0.1 for a kitchen meter (AOAC 981.12 grades them to 0.1) and as much again for temperature and salts.
const impossibleMarginPH = 0.2

// ImplausiblePH is a sentence when a pH reading cannot be right beside a measured acidity, "" when it
// can. upper is the most the acidity may be: the titration's upper bound, or the recipe's ceiling.
func ImplausiblePH(reading PH, upper GramsPer100ML, t Celsius) (string, error) {
	if err := check("ph", float64(reading)); err != nil {
		return "", err
	}
	pure, err := PHOf{upper, t}.Result()
	if err != nil {
		return "", err
	}
	if reading >= pure.PH-impossibleMarginPH {
		return "", nil
	}
	return fmt.Sprintf("pH %s is lower than even pure acetic acid of %s g/100 mL would show (%.2f): calibrate the meter and read again, or a stronger acid is in it.",
		num(float64(reading)), num(float64(upper)), float64(pure.PH)), nil
}

// PHRatio compares two pH readings.
type PHRatio struct {
	FirstPH  PH `json:"first_ph"`
	SecondPH PH `json:"second_ph"`
}

// PHRatioResult is how many times more hydrogen ion the lower reading means.
type PHRatioResult struct {
	DifferencePH float64  `json:"difference_ph"` // second minus first
	Ratio        float64  `json:"hydrogen_ion_ratio"`
	Notes        []string `json:"notes"`
	Explain      Explain  `json:"explain"`
}

// Result gives the ratio of hydrogen ion activities, second over first.
func (p PHRatio) Result() (PHRatioResult, error) {
	if err := checkAs("first_ph", "ph", float64(p.FirstPH)); err != nil {
		return PHRatioResult{}, err
	}
	if err := checkAs("second_ph", "ph", float64(p.SecondPH)); err != nil {
		return PHRatioResult{}, err
	}
	d := float64(p.SecondPH - p.FirstPH)
	return PHRatioResult{DifferencePH: d, Ratio: math.Pow(10, -d), Notes: []string{PHNeverAcidity},
		Explain: Explain{
			Formula: "ratio = 10^(first pH − second pH)",
			Values:  []Given{{"first", float64(p.FirstPH), "pH"}, {"second", float64(p.SecondPH), "pH"}},
			Source:  "pH = −log10 of the hydrogen ion activity (IUPAC Green Book).",
			Limits:  "pH 0 to 14, both readings corrected with a calibration and at about the same temperature.",
		}}, nil
}
