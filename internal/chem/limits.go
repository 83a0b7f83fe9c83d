package chem

import (
	"fmt"
	"strings"
)

// limit is where one input of one sum is believed, and what to tell a cook outside it.
type limit struct {
	min, max float64
	advice   string
}

// limits is the one table of validity. The key is the field, preceded by the sum where the same field
// has another range elsewhere ("hydrometer.temperature_c"). Bounds without a source in their comment
// are plausibility bounds: common practice, no published source.
var limits = map[string]limit{
	// Titration.
	"sample_ml":                 {0.1, 250, "Measure 0.1 to 250 mL of vinegar into the flask; 2 to 10 mL is usual."},
	"base_mol_per_l":            {0.005, 2, "The base must be 0.005 to 2 mol/L; 0.1 mol/L (also written 0.1 N) is usual. Stronger lye burns: have it diluted by someone trained for it."},
	"blank_ml":                  {0, 10, "The blank is what plain water and indicator take, usually under 0.5 mL."},
	"dilution_factor":           {1, 200, "The dilution factor is final volume over vinegar volume, so 1 or more: 10 mL made up to 100 mL is 10."},
	"start_ml":                  {0, 1000, "A burette or syringe reading lies between 0 and 1000 mL; if you refilled, add the volumes up."},
	"end_ml":                    {0, 1000, "A burette or syringe reading lies between 0 and 1000 mL; if you refilled, add the volumes up."},
	"base_standard_u_mol_per_l": {0, 0.2, "The base's standard uncertainty is small beside its concentration, like 0.001 mol/L."},
	"sample_tolerance_ml":       {0, 25, "The sample tolerance is printed on the pipette or syringe, like 0.05 mL."},
	"burette_tolerance_ml":      {0, 10, "The burette tolerance is printed on it, like 0.05 mL."},
	"base_checked_days_ago":     {0, 36500, "Days since the base was checked cannot be negative."},
	// Results above 20 g/100 mL are impossible in a ferment: acetic bacteria cease to thrive at 12 to
	// 14 g/100 mL (chemistry texts), special submerged strains near 20.
	"acidity_g_per_100ml": {0, maxAcidityGPer100ML, "An acidity lies between 0 and 20 g/100 mL; no ferment goes higher."},
	"density_g_per_ml":    {0.9, 1.4, "A density lies near 1 g/mL."},

	// Standardising the base.
	"khp_g":                {0.02, 20, "Weigh 0.02 to 20 g of potassium hydrogen phthalate; 0.4 g suits 20 mL of 0.1 mol/L base."},
	"base_ml":              {0.5, 1000, "The base used lies between 0.5 and 1000 mL; weigh more phthalate if it was less."},
	"purity":               {0.9, 1, "The purity is a fraction between 0.9 and 1, like 0.999 for 99.9 %."},
	"mass_tolerance_g":     {0, 1, "The balance's tolerance is printed on it, like 0.001 g."},
	"labelled_g_per_100ml": {1, 15, "The label of a bought vinegar says 4 to 10 %; type the number, like 5."},

	// pH.
	"ph":                        {0, 14, "A pH lies between 0 and 14."},
	"acetic_ph.temperature_c":   {0, 60, "The acid constant is known from 0 to 60 °C (Harned and Ehlers 1933)."},
	"acetic_ph.acidity":         {0.005, 10, "The sum holds from 0.005 to 10 g/100 mL of acetic acid in water."},
	"nernst.temperature_c":      {0, 100, "An electrode works in water between 0 and 100 °C."},
	"calibration.temperature_c": {0, 50, "Buffer values are tabulated from 0 to 50 °C; let the buffer come to room temperature."},
	"buffer_ph":                 {1, 13, "A buffer's value lies between 1 and 13; it is printed on the bottle."},
	"mv":                        {-700, 700, "An electrode gives -700 to 700 mV; acid readings are positive."},
	"baseline_count":            {5, 1000, "A control chart needs at least 5 readings of the control sample to begin with."},

	// Density and sugar. Fitted range of the NBS C440 table 0 to 40 °Bx; ASBC polynomial 0 to 25 °P.
	"brix":                     {0, 40, "The sugar tables used here run from 0 to 40 °Bx."},
	"plato":                    {0, 25, "The Plato polynomial holds from 0 to 25 °P; above that use Brix."},
	"sugar.specific_gravity":   {1, 1.1788, "Sugar follows from specific gravity between 1.000 and 1.178; below 1.000 there is alcohol in it."},
	"plato.specific_gravity":   {1, 1.1060, "Plato follows from specific gravity between 1.000 and 1.106."},
	"refractive_index":         {1.3329, 1.42, "A refractive index here lies between 1.3330 (water) and 1.4200."},
	"water.temperature_c":      {0, 40, "The density of water is tabulated here from 0 to 40 °C."},
	"hydrometer.temperature_c": {0, 40, "A hydrometer reading can be corrected between 0 and 40 °C; cool the sample."},
	"calibration_c":            {4, 25, "A hydrometer is marked for 15, 15.56 (60 °F) or 20 °C; look on its scale."},
	"reading_sg":               {0.97, 1.2, "A hydrometer reads 0.970 to 1.200 in this work; type it like 1.050."},

	// Alcohol.
	"abv_percent":      {0, 100, "Alcohol lies between 0 and 100 % vol."},
	"abw_percent":      {0, 100, "Alcohol lies between 0 and 100 % by mass."},
	"original_gravity": {0.98, 1.2, "An original gravity lies between 1.000 and 1.200; type it like 1.050."},
	"present_gravity":  {0.97, 1.2, "A present gravity lies between 0.970 and 1.200; type it like 1.010."},
	"excess_gravity":   {0, 100.7, "The table ends at a drop of 100.7 points; more than that is not one fermentation."}, // HMRC Notice 226
	"sugar_g_per_l":    {0, 700, "Sugar lies between 0 and 700 g/L."},
	"original_plato":   {0, 25, "Balling's sum holds up to 25 °P."},
	"apparent_plato":   {-3, 25, "The present extract lies between -3 and 25 °P."},

	// Recipes, blends, dilutions.
	"volume_ml":                {1, 1e7, "Give the volume in mL, more than zero."},
	"total_ml":                 {1, 1e7, "Give the total volume in mL, more than zero."},
	"target_g_per_100ml":       {0.1, 14, "A target lies between 0.1 and 14 g/100 mL; bacteria stop there."},
	"target_abv_percent":       {0.5, 95, "The alcohol to cut to lies between 0.5 and 95 % vol; 5 to 6 suits vinegar."},
	"yield_alcohol":            {0.3, 1, "The yield of the alcoholic step is a fraction between 0.3 and 1, like 0.9."},
	"yield_acid":               {0.3, 1, "The yield of the acetic step is a fraction between 0.3 and 1, like 0.85."},
	"sucrose_g":                {0, 1e7, "Sugar cannot be negative."},
	"hexose_g":                 {0, 1e7, "Sugar cannot be negative."},
	"released":                 {0, 1, "The share of fruit sugar that comes out is a fraction between 0 and 1, like 0.5."},
	"start_acidity":            {0.2, 6, "A starting acidity lies between 0.2 and 6 g/100 mL; 1 to 2 is usual."},
	"concentration":            {0, 100, "A concentration cannot be negative or over 100."},
	"acetic.percent_mass":      {0, 20, "The density table of acetic acid used here runs from 0 to 20 % by mass."},
	"pasteurise.temperature_c": {20, 100, "Heat between 20 and 100 °C."},
	"minutes":                  {0, 1440, "Give the minutes held, up to a day."},
}

// Check refuses a concentration that the base cannot have.
func (c MolPerLitre) Check() error { return check("base_mol_per_l", float64(c)) }

// check holds v against limits[key]; the error is on the field, the key's last part.
func check(key string, v float64) error {
	return checkAs(key[strings.LastIndexByte(key, '.')+1:], key, v)
}

// checkAs holds v against limits[key] and names another field in the error.
func checkAs(field, key string, v float64) error {
	l, ok := limits[key]
	if !ok {
		panic("chem: no limit for " + key)
	}
	if finite(v) && v >= l.min && v <= l.max {
		return nil
	}
	if !finite(v) {
		return fieldErr(field, "That is not a number. %s", l.advice)
	}
	return fieldErr(field, "%s is not possible here. %s", num(v), l.advice)
}

// in is one value to hold against one key of limits.
type in struct {
	key string
	v   float64
}

func checkAll(ins ...in) error {
	for _, i := range ins {
		if err := check(i.key, i.v); err != nil {
			return err
		}
	}
	return nil
}

// limitText writes the range of one key for a sentence.
func limitText(key, unit string) string {
	l := limits[key]
	return fmt.Sprintf("%s to %s%s", num(l.min), num(l.max), unit)
}
