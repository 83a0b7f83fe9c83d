package chem

// aceticDensity is the density in g/mL at 20 °C of acetic acid in water, % by mass: CRC Handbook,
// concentrative properties of aqueous solutions (0 is water). Between the points it is straight to
// 0.0006.
var aceticDensity = []struct{ percentMass, gPerML float64 }{{0, 0.9982}, {1, 0.9996}, {5, 1.0052}, {20, 1.0250}}

// AceticDensity is the density in g/mL at 20 °C of acetic acid in water, 0 to 20 % by mass.
func AceticDensity(m PercentMass) (float64, error) {
	if err := check("acetic.percent_mass", float64(m)); err != nil {
		return 0, err
	}
	t := aceticDensity
	for i := 1; i < len(t); i++ {
		if float64(m) <= t[i].percentMass {
			f := (float64(m) - t[i-1].percentMass) / (t[i].percentMass - t[i-1].percentMass)
			return t[i-1].gPerML + f*(t[i].gPerML-t[i-1].gPerML), nil
		}
	}
	return t[len(t)-1].gPerML, nil
}

// AcidityFromMass turns % by mass into g/100 mL with a measured density in g/mL (0: that of pure
// acetic acid of this strength). 5 % by mass is 5.03 g/100 mL.
func AcidityFromMass(m PercentMass, densityGPerML float64) (GramsPer100ML, error) {
	if densityGPerML == 0 {
		rho, err := AceticDensity(m)
		return GramsPer100ML(float64(m) * rho), err
	}
	if err := checkAll(in{"acetic.percent_mass", float64(m)}, in{"density_g_per_ml", densityGPerML}); err != nil {
		return 0, err
	}
	return GramsPer100ML(float64(m) * densityGPerML), nil
}

// AcidityToMass turns g/100 mL into % by mass with a measured density in g/mL (0: that of pure acetic
// acid of this strength).
func AcidityToMass(a GramsPer100ML, densityGPerML float64) (PercentMass, error) {
	if err := check("acidity_g_per_100ml", float64(a)); err != nil {
		return 0, err
	}
	if densityGPerML != 0 {
		if err := check("density_g_per_ml", densityGPerML); err != nil {
			return 0, err
		}
		return PercentMass(float64(a) / densityGPerML), nil
	}
	m := float64(a)
	for range 20 { // the density hardly moves, so this settles at once
		rho, err := AceticDensity(PercentMass(m))
		if err != nil {
			return 0, err
		}
		m = float64(a) / rho
	}
	return PercentMass(m), nil
}

// MassTitration is a titration of a weighed sample: acetic acid in % by mass.
func MassTitration(baseML Millilitres, base MolPerLitre, sample Grams) (PercentMass, error) {
	if err := checkAll(in{"base_ml", float64(baseML)}, in{"base_mol_per_l", float64(base)}); err != nil {
		return 0, err
	}
	if !finite(float64(sample)) || sample < 0.1 || sample > 250 {
		return 0, fieldErr("sample_g", "Weigh 0.1 to 250 g of vinegar into the flask.")
	}
	m := float64(baseML) * float64(base) * AceticMolarMass / 10 / float64(sample)
	if m > maxAcidityGPer100ML {
		return 0, fieldErr("sample_g", "These readings give %s %% by mass, more than any ferment reaches; check the sample and the base.", num(m))
	}
	return PercentMass(m), nil
}

// Molality is the acetic acid in mol per kg of water at m % by mass.
func Molality(m PercentMass) (float64, error) {
	if err := check("acetic.percent_mass", float64(m)); err != nil {
		return 0, err
	}
	return 1000 * float64(m) / AceticMolarMass / (100 - float64(m)), nil
}

// VolatileAcidity is the total less the fixed acidity, both in g/100 mL as acetic acid (OIV-MA-VI-02).
func VolatileAcidity(total, fixed GramsPer100ML) (GramsPer100ML, error) {
	if err := checkAll(in{"acidity_g_per_100ml", float64(total)}, in{"acidity_g_per_100ml", float64(fixed)}); err != nil {
		return 0, err
	}
	if fixed > total {
		return 0, fieldErr("fixed_acidity_g_per_100ml", "The fixed acidity (%s) cannot be above the total (%s); are the two swapped?", num(float64(fixed)), num(float64(total)))
	}
	return total - fixed, nil
}
