package reckon

import (
	"reflect"
	"strings"
)

// Output is one field of a kind's JSON. Inner are the fields of an object, or
// of each object of a list.
type Output struct {
	Name     string
	Type     string // "number", "text", "true or false", "object"
	List     bool
	Optional bool // left out when there is nothing to say
	Meaning  string
	Inner    []Output
}

// Outputs lists the fields of the kind's JSON in their order.
func (k Kind) Outputs() []Output {
	out := []Output{{Name: "kind", Type: "text", Meaning: "which sum this is"}}
	out = append(out, outputsOf(reflect.TypeOf(k.result))...)
	return append(out, Output{Name: "cautions", Type: "text", List: true, Meaning: meanings["cautions"]})
}

func outputsOf(t reflect.Type) []Output {
	var out []Output
	for i := range t.NumField() {
		f := t.Field(i)
		tag := f.Tag.Get("json")
		if f.Anonymous && tag == "" {
			inner := outputsOf(under(f.Type))
			for j := range inner {
				inner[j].Optional = inner[j].Optional || f.Type.Kind() == reflect.Pointer
			}
			out = append(out, inner...)
			continue
		}
		name, options, _ := strings.Cut(tag, ",")
		o := Output{Name: name, Optional: strings.Contains(options, "omitempty"), Meaning: meanings[name]}
		ft := under(f.Type)
		if ft.Kind() == reflect.Slice {
			o.List, ft = true, under(ft.Elem())
		}
		switch ft.Kind() {
		case reflect.Struct:
			o.Type, o.Inner = "object", outputsOf(ft)
		case reflect.Bool:
			o.Type = "true or false"
		case reflect.String:
			o.Type = "text"
		default:
			o.Type = "number"
		}
		out = append(out, o)
	}
	return out
}

func under(t reflect.Type) reflect.Type {
	if t.Kind() == reflect.Pointer {
		return t.Elem()
	}
	return t
}

// meanings says what each JSON field holds, with its unit.
var meanings = map[string]string{
	"kind":     "what sort of finding it is",
	"cautions": "what to mind, in sentences",
	"explain":  "how it came about: formula, the numbers put in, source, limits",
	"formula":  "the formula in words and signs",
	"values":   "the numbers put in",
	"limits":   "where it holds",
	"name":     "its name",
	"value":    "the number, in the unit beside it",
	"unit":     "its unit; empty for a pure number",
	"source":   "where it comes from",
	"notes":    "what the sum wants you to know, in sentences",
	"text":     "the finding, and what to do",

	"acidity_g_per_100ml":              "acidity as acetic acid, g/100 mL",
	"expanded_uncertainty_g_per_100ml": "its 95 % uncertainty, g/100 mL",
	"lower_g_per_100ml":                "acidity less that uncertainty, g/100 mL: what a claim of strength must use",
	"standard_uncertainty_g_per_100ml": "its standard uncertainty, g/100 mL",
	"coverage_factor":                  "Student's t for 95 %",
	"degrees_of_freedom":               "by Welch and Satterthwaite, at most 1000; 0 in a budget: not limited",
	"replicates":                       "how many runs",
	"per_replicate_g_per_100ml":        "acidity of each run, g/100 mL",
	"has_standard_deviation":           "there were two runs or more",
	"standard_deviation_g_per_100ml":   "spread of the runs, g/100 mL",
	"grain":                            "US trade strength, 10 for each g/100 mL",
	"mol_per_l":                        "titratable acid, mol/L",
	"acid":                             "the further acid",
	"as_acid_g_per_100ml":              "acidity as that acid, g/100 mL",
	"budget":                           "what the uncertainty is made of",
	"relative_standard_u":              "a term's standard uncertainty as a fraction of the result",
	"assumed":                          "nothing was stated, a usual value was put in",
	"supports_strength_claim":          "the base was checked in time",
	"strength_mark":                    "why it supports none",

	"base_mol_per_l":                 "the base, mol/L",
	"base_standard_u_mol_per_l":      "its standard uncertainty, mol/L",
	"expanded_uncertainty_mol_per_l": "its 95 % uncertainty, mol/L",
	"runs":                           "how many runs",
	"standard_deviation_mol_per_l":   "spread of the runs, mol/L",
	"per_run_mol_per_l":              "the base by each run, mol/L",

	"acetic_g_per_100ml":   "as acetic acid, g/100 mL",
	"malic_g_per_100ml":    "as malic acid, g/100 mL",
	"tartaric_g_per_100ml": "as tartaric acid, g/100 mL",
	"citric_g_per_100ml":   "as citric acid, g/100 mL",
	"lactic_g_per_100ml":   "as lactic acid, g/100 mL",
	"acidity_percent_mass": "acidity, % by mass",
	"density_g_per_ml":     "density at 20 °C, g/mL",

	"slope_percent":         "the electrode's slope, % of Nernst's",
	"offset_mv":             "what it shows at pH 7, mV",
	"lowest_buffer_ph":      "the lowest buffer, pH",
	"highest_buffer_ph":     "the highest buffer, pH",
	"passed":                "slope, offset and third buffer are within limits",
	"failures":              "what is not, and what to do",
	"ph":                    "pH: the corrected reading, or that of the pure acid",
	"shown_ph":              "what the meter showed, pH",
	"bracketed":             "the buffers lie on both sides of the reading",
	"note":                  "what to mind about the reading",
	"mean_ph":               "mean of the first readings, pH",
	"standard_deviation_ph": "their standard deviation, pH",
	"lower_ph":              "lower limit, mean - 3 s, pH",
	"upper_ph":              "upper limit, mean + 3 s, pH",
	"flags":                 "readings that break a rule",
	"index":                 "which reading, from 0",
	"why":                   "which rule, and what to do",
	"in_control":            "the newest reading breaks no rule",

	"difference_ph":          "second less first reading, pH",
	"hydrogen_ion_ratio":     "hydrogen ion of the second over that of the first, a pure number",
	"hydrogen_ion_mol_per_l": "hydrogen ion, mol/L",
	"pka":                    "acid exponent at that temperature, a pure number",
	"reading_possible":       "the reading given may be right",
	"reading_mark":           "why it cannot be",

	"specific_gravity":         "specific gravity 20/20 °C, a pure number",
	"has_sugar":                "the sugar figures hold",
	"brix":                     "sugar, °Bx",
	"has_plato":                "the Plato figure holds",
	"plato":                    "extract, °P",
	"sugar_g_per_l":            "sugar, g/L",
	"potential_abv_percent":    "alcohol that the sugar may make, % vol",
	"fermented":                "it was corrected for alcohol",
	"real_extract_brix":        "sugar and other solids left, °Bx",
	"abv_percent":              "alcohol, % vol",
	"abw_percent":              "alcohol, % by mass",
	"abv_rounded_down_percent": "alcohol rounded down to 0.1, % vol",
	"ethanol_g_per_l":          "ethanol, g/L",
	"ceiling_g_per_100ml":      "the most acid that the alcohol can become, g/100 mL",
	"gravity_factor":           "% vol per point of gravity",

	"stoichiometric_g_per_100ml": "the ceiling: all sugar and alcohol turned to acid, g/100 mL",
	"likely_g_per_100ml":         "the likely acidity, g/100 mL",
	"likely_low_g_per_100ml":     "low end of the likely range, g/100 mL",
	"likely_high_g_per_100ml":    "high end of the likely range, g/100 mL",
	"reach":                      "whether the target is likely, possible, unlikely or out of reach",
	"change":                     "what brings the likely acidity to the target, any one of the three",
	"add_sugar_g":                "table sugar on top, g; 0: sugar alone cannot",
	"add_stronger_ml":            "stronger liquid to add, mL; 0: it is too weak",
	"less_water_ml":              "water to leave out, mL",
	"for_volume_ml":              "the finished liquid that these amounts are for, mL",
	"stronger_abv_percent":       "the stronger liquid, % vol",
	"sugars":                     "what the ingredients bring",
	"sucrose_g":                  "table sugar, g",
	"hexose_g":                   "glucose and fructose, g",
	"low_g":                      "sugar, g, at the low end",
	"high_g":                     "sugar, g, at the high end",
	"volume_ml":                  "volume of the liquid, mL",
	"alcohol_ml":                 "pure alcohol, mL",
	"lines":                      "each ingredient that is known",
	"mass_g":                     "its mass, g",
	"sugar_g":                    "its sugar that comes out, g",
	"unknown":                    "ingredients of which no sugar is counted",
	"sucrose_g_per_l":            "table sugar, g/L",
	"sucrose_us_cups":            "table sugar, US cups of 200 g",
	"honey_g":                    "honey instead, g",
	"water_ml":                   "water to add, mL",
	"final_volume_ml":            "what it makes, mL",
	"starter_ml":                 "live vinegar to add, mL",
	"for_acidity_ml":             "for the acidity alone, mL",
	"for_share_ml":               "for a quarter of the whole, mL",
	"total_ml":                   "feed and starter together, mL",
	"start_acidity_g_per_100ml":  "acidity at the start, g/100 mL",

	"has_sure":                        "the uncertainty was given",
	"water_sure_ml":                   "water that keeps even the lower bound at the target, mL",
	"take_ml":                         "how much of each liquid, mL",
	"total_concentration_g_per_100ml": "acidity and % vol added up, the trade's ceiling, g/100 mL",
	"parts_low":                       "parts of the weaker",
	"parts_high":                      "parts of the stronger",
	"low_ml":                          "of the weaker, mL; 0 without a total",
	"high_ml":                         "of the stronger, mL; 0 without a total",

	"enough_data":            "there is a forecast",
	"on":                     "the day it is made for",
	"findings":               "what is seen",
	"now_low_g_per_100ml":    "acidity on that day, low end of 80 %, g/100 mL",
	"now_likely_g_per_100ml": "acidity on that day, the middle, g/100 mL",
	"now_high_g_per_100ml":   "acidity on that day, high end of 80 %, g/100 mL",
	"end_low_g_per_100ml":    "where it settles, low end of 80 %, g/100 mL",
	"end_likely_g_per_100ml": "where it settles, the middle, g/100 mL",
	"end_high_g_per_100ml":   "where it settles, high end of 80 %, g/100 mL",
	"chance_of_target":       "chance that the target is reached at all, 0 to 1",
	"target_early":           "day the target is reached, early end of 80 %",
	"target_likely":          "day the target is reached, the middle",
	"target_late":            "day the target is reached, late end of 80 %",
	"days_to_target":         "days to that, the middle; negative: past",
	"days_to_target_early":   "days to that, early end of 80 %",
	"days_to_target_late":    "days to that, late end of 80 %",
	"plateau_early":          "day the rise is over, early end of 80 %",
	"plateau_likely":         "day the rise is over, the middle",
	"plateau_late":           "day the rise is over, late end of 80 %",

	"meets_guide": "the heating meets the guide",
	"missing":     "what it lacks",
	"lowest_c":    "the guide's lowest temperature, °C",
	"highest_c":   "the guide's highest temperature, °C",
	"minutes":     "the guide's time, minutes",
}
