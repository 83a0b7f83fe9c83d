package reckon

import (
	"math"
	"time"

	"cruet/internal/chem"
)

const howSour = "How sour is it?"

// NotForCanning stands beside every sum about strength. The rule is that of
// extension services: bought vinegar of at least 5 % and a tested recipe.
const NotForCanning = "No sum makes home-made vinegar fit for canning or shelf-stable pickling: use bought vinegar of at least 5 % and a tested recipe, and follow local rules and a licensed practice for anything sold."

func acidNames() []string {
	var out []string
	for _, a := range chem.Acids() {
		out = append(out, string(a))
	}
	return out
}

func sourKinds() []Kind {
	return []Kind{
		{
			Name: "titration", Title: "Titration", Group: howSour, Question: "What does the burette say?",
			Purpose: "Titratable acidity as acetic acid, with its 95 % uncertainty, from what the burette showed.",
			Fields: []Field{
				volumeField("sample_ml", "vinegar titrated", "2 mL", "as drawn with the pipette or syringe").required(),
				baseField("base_mol_per_l", "base", "0.1 mol/L", "sodium hydroxide; M and N mean the same here").required(),
				listField("replicates", "burette", "burette before and after", "0.00-16.65", "in mL; two or three runs make it surer", parseBurette).required(),
				volumeField("blank_ml", "blank", "0.05 mL", "base that boiled water and indicator alone took").or("none").orZero().rare(),
				numberField("dilution_factor", "dilution factor", "", "10", "final over vinegar volume: 10 for 10 mL made up to 100 mL").flag("dilution").or("1, undiluted").rare(),
				dateField("base_checked", "base last checked", "10 days ago", "standardised, or tried on a bought vinegar").or("not known; the result then supports no strength claim"),
				numberField("base_max_age_days", "base good for", "days", "30", "after a check").flag("base-max-age").or("30 days").rare(),
				baseField("base_standard_u_mol_per_l", "uncertainty of the base", "0.001 mol/L", "standard uncertainty, as standardise gives it").flag("base-uncertainty").or("a usual value").rare(),
				volumeField("sample_tolerance_ml", "tolerance of the pipette", "0.02 mL", "printed on it, ±").or("a usual value").rare(),
				volumeField("burette_tolerance_ml", "tolerance of the burette", "0.05 mL", "printed on it, ±").or("a usual value").rare(),
				choiceField("acid", "express also as", "acetic", acidNames(), "another acid").rare(),
			},
			Example: Example{
				Title:  "2 mL of vinegar took 16.7 mL of 0.1 mol/L base.",
				Inputs: map[string]string{"sample_ml": "2 mL", "base_mol_per_l": "0.1 mol/L", "replicates": "0.00-16.70"},
				Output: "acidity_g_per_100ml", Value: 5.014, Unit: "g/100 mL", Within: 0.006,
				Source: "AOAC 930.35, acidity = V × N × 60.052 ÷ (10 × S)",
			},
			Cautions: []string{chem.BaseCaution, NotForCanning},
			result:   chem.TitrationResult{},
			fields:   map[string]string{"start_ml": "replicates", "end_ml": "replicates", "base_checked_days_ago": "base_checked"},
			run:      titration,
		},
		{
			Name: "standardise", Title: "Strength of the base", Group: howSour, Question: "How strong is my base now?",
			Purpose: "The base's concentration and its uncertainty, from weighed potassium hydrogen phthalate or from a bought vinegar.",
			Fields: []Field{
				listField("runs", "run", "phthalate and the base it took", "0.3888 g 18.64 mL", "weighed phthalate, and the base it took", parseKHPRun),
				volumeField("blank_ml", "blank", "0.05 mL", "base that boiled water and indicator alone took").or("none").orZero().rare(),
				numberField("purity", "purity of the phthalate", "", "0.999", "a fraction, off the bottle").or("1").rare(),
				massField("mass_tolerance_g", "tolerance of the balance", "0.001 g", "printed on it, ±").or("0.005 g").rare(),
				volumeField("burette_tolerance_ml", "tolerance of the burette", "0.05 mL", "printed on it, ±").or("0.05 mL").rare(),
				acidityField("labelled_g_per_100ml", "bought vinegar's strength", "5", "off its label; instead of phthalate"),
				volumeField("sample_ml", "bought vinegar titrated", "2 mL", "with the line above"),
				listField("vinegar_base_ml", "vinegar-base", "base that it took", "16.65 mL", "run by run", parseVolumeLine),
			},
			Example: Example{
				Title:  "0.3888 g of phthalate took 18.64 mL of base.",
				Inputs: map[string]string{"runs": "0.3888 g 18.64 mL"},
				Output: "base_mol_per_l", Value: 0.10214, Unit: "mol/L", Within: 1e-5,
				Source: "Eurachem/CITAC Guide QUAM, example A2",
			},
			Cautions: []string{chem.BaseCaution},
			result:   chem.StandardisationResult{},
			fields:   map[string]string{"khp_g": "runs", "base_ml": "runs"},
			run:      standardise,
		},
		{
			Name: "acid", Title: "The same acidity as another acid", Group: howSour, Question: "What is it as malic or tartaric acid?",
			Purpose: "One titratable acidity expressed as acetic, malic, tartaric, citric or lactic acid; which acids are in the liquid it does not tell.",
			Fields: []Field{
				acidityField("acidity_g_per_100ml", "acidity", "0.75", "as titrated").required().orZero(),
				choiceField("from", "it is given as", "acetic", acidNames(), "acid"),
			},
			Example: Example{
				Title:  "1 g/100 mL given as tartaric acid.",
				Inputs: map[string]string{"acidity_g_per_100ml": "1", "from": "tartaric"},
				Output: "acetic_g_per_100ml", Value: 0.8002, Unit: "g/100 mL", Within: 0.0005,
				Source: "ratio of the equivalent weights, from the atomic weights of IUPAC CIAAW",
			},
			result: AcidResult{},
			run:    acid,
		},
		{
			Name: "acid-mass", Title: "Percent by mass and g/100 mL", Group: howSour, Question: "Is 5 % by mass the same as 5 %?",
			Purpose: "Acidity in g/100 mL from % by mass, or the other way, by the density.",
			Fields: []Field{
				acidityField("acidity_g_per_100ml", "acidity by volume", "5", "one of the two"),
				numberField("acidity_percent_mass", "acidity by mass", "% mass", "5", "one of the two").flag("acidity-mass"),
				numberField("density_g_per_ml", "density", "g/mL", "1.012", "measured, at 20 °C").flag("density").or("that of acetic acid in water").rare(),
			},
			Example: Example{
				Title:  "5 % by mass, density 1.0052 g/mL by the handbook.",
				Inputs: map[string]string{"acidity_percent_mass": "5"},
				Output: "acidity_g_per_100ml", Value: 5.026, Unit: "g/100 mL", Within: 0.003,
				Source: "CRC Handbook, density of 5 % acetic acid at 20 °C, times 5",
			},
			result: AcidMassResult{},
			fields: map[string]string{"percent_mass": "acidity_percent_mass"},
			run:    acidMass,
		},
	}
}

func titration(r *reader) (Result, error) {
	t := chem.Titration{
		SampleML: num[chem.Millilitres](r, "sample_ml"), BaseMolPerL: num[chem.MolPerLitre](r, "base_mol_per_l"), BlankML: num[chem.Millilitres](r, "blank_ml"),
		DilutionFactor: num[float64](r, "dilution_factor"), Replicates: entries[chem.Replicate](r, "replicates"), Acid: chem.Acid(r.words["acid"]),
		BaseStdUMolPerL: num[chem.MolPerLitre](r, "base_standard_u_mol_per_l"), SampleTolML: num[chem.Millilitres](r, "sample_tolerance_ml"),
		BuretteTolML: num[chem.Millilitres](r, "burette_tolerance_ml"), BaseMaxAgeDays: int(math.Min(r.numbers["base_max_age_days"], 36500)),
	}
	if days, ok := r.numbers["base_max_age_days"]; ok && days < 1 {
		return refuse("base_max_age_days", "The base must be good for a day at least; 30 days is usual.")
	}
	if checked, ok := r.dates["base_checked"]; ok {
		days := wholeDays(checked, r.now)
		if days < 0 {
			return refuse("base_checked", "The base cannot have been checked after today. Check the date.")
		}
		t.BaseCheckedDaysAgo = &days
	}
	res, err := t.Result()
	if err != nil {
		return Result{}, err
	}
	out := Result{Raw: res, Explain: res.Explain, Notes: res.Notes}
	out.Headline = []Line{
		measured("Acidity, as acetic acid", plusMinus(float64(res.AcidityGPer100ML), float64(res.ExpandedUGPer100ML)), "g/100 mL"),
		measured("At least, with 95 % confidence", down(res.LowerGPer100ML, 2), "g/100 mL"),
		measured("US trade strength", fix(res.Grain, 1), "grain"),
		measured("Titratable acid", fix(res.MolPerL, 3), "mol/L"),
	}
	if res.Acid != chem.Acetic {
		out.Headline = append(out.Headline, computed("Expressed as "+string(res.Acid)+" acid", fix(res.AsAcidGPer100ML, 2), "g/100 mL"))
	}
	if res.StrengthMark != "" {
		out.Notes = append([]string{res.StrengthMark}, out.Notes...)
	}
	return out, nil
}

// wholeDays are the calendar days from then to now, in now's zone.
func wholeDays(then, now time.Time) int {
	noon := func(t time.Time) time.Time {
		y, m, d := t.In(now.Location()).Date()
		return time.Date(y, m, d, 12, 0, 0, 0, time.UTC)
	}
	return int(noon(now).Sub(noon(then)).Hours() / 24)
}

func standardise(r *reader) (Result, error) {
	if _, err := r.oneOf("Give what the phthalate took, like \"0.3888 g 18.64 mL\", or the strength of a bought vinegar, but not both.", "runs", "labelled_g_per_100ml"); err != nil {
		return Result{}, err
	}
	s := chem.Standardisation{
		Runs: entries[chem.KHPRun](r, "runs"), BlankML: num[chem.Millilitres](r, "blank_ml"), PurityFraction: num[float64](r, "purity"),
		MassTolG: num[chem.Grams](r, "mass_tolerance_g"), BuretteTolML: num[chem.Millilitres](r, "burette_tolerance_ml"),
		LabelledGPer100ML: num[chem.GramsPer100ML](r, "labelled_g_per_100ml"), VinegarML: num[chem.Millilitres](r, "sample_ml"),
		VinegarBaseML: entries[chem.Millilitres](r, "vinegar_base_ml"),
	}
	res, err := s.Result()
	if err != nil {
		return Result{}, err
	}
	return Result{Raw: res, Explain: res.Explain, Notes: res.Notes, Headline: []Line{
		measured("The base", fix(res.BaseMolPerL, 5), "mol/L"),
		measured("95 % uncertainty", "± "+fix(res.ExpandedUMolPerL, 5), "mol/L"),
		measured("Standard uncertainty, for a titration", fix(res.StandardUMolPerL, 5), "mol/L"),
	}}, nil
}

// AcidResult is one acidity as each acid.
type AcidResult struct {
	AceticGPer100ML   chem.GramsPer100ML `json:"acetic_g_per_100ml"`
	MalicGPer100ML    chem.GramsPer100ML `json:"malic_g_per_100ml"`
	TartaricGPer100ML chem.GramsPer100ML `json:"tartaric_g_per_100ml"`
	CitricGPer100ML   chem.GramsPer100ML `json:"citric_g_per_100ml"`
	LacticGPer100ML   chem.GramsPer100ML `json:"lactic_g_per_100ml"`
	Explain           chem.Explain       `json:"explain"`
}

func acid(r *reader) (Result, error) {
	from, err := chem.ParseAcid(r.words["from"])
	if err != nil {
		return Result{}, err
	}
	v := num[chem.GramsPer100ML](r, "acidity_g_per_100ml")
	if v > 20 {
		return refuse("acidity_g_per_100ml", "%s g/100 mL is more than any ferment or fruit holds; check the number.", Figure(float64(v)))
	}
	res := AcidResult{Explain: chem.Explain{
		Formula: "as the other acid = acidity × E(other) ÷ E(given), E in g per mole of acidic hydrogen",
		Values:  []chem.Given{given("acidity, as "+string(from), float64(v), "g/100 mL")},
		Source:  "Equivalent weights from the abridged standard atomic weights of IUPAC CIAAW.",
		Limits:  "It says how much base the liquid takes, not which acids it holds.",
	}}
	out := Result{}
	for acid, into := range map[chem.Acid]*chem.GramsPer100ML{chem.Acetic: &res.AceticGPer100ML, chem.Malic: &res.MalicGPer100ML,
		chem.Tartaric: &res.TartaricGPer100ML, chem.Citric: &res.CitricGPer100ML, chem.Lactic: &res.LacticGPer100ML} {
		if *into, err = chem.ConvertAcidity(v, from, acid); err != nil {
			return Result{}, err
		}
	}
	for _, acid := range chem.Acids() {
		e, _ := acid.GramsPerEquivalent() // one of Acids
		as, _ := chem.ConvertAcidity(v, from, acid)
		res.Explain.Values = append(res.Explain.Values, given("E, "+string(acid), e, "g/mol"))
		out.Headline = append(out.Headline, computed("As "+string(acid)+" acid", fix(as, 3), "g/100 mL"))
	}
	out.Raw, out.Explain = res, res.Explain
	return out, nil
}

// AcidMassResult is one acidity by volume and by mass.
type AcidMassResult struct {
	AcidityGPer100ML   chem.GramsPer100ML `json:"acidity_g_per_100ml"`
	AcidityPercentMass chem.PercentMass   `json:"acidity_percent_mass"`
	DensityGPerML      float64            `json:"density_g_per_ml"`
	Explain            chem.Explain       `json:"explain"`
}

func acidMass(r *reader) (Result, error) {
	way, err := r.oneOf("Give either the acidity by volume, in g/100 mL, or by mass, in % mass.", "acidity_g_per_100ml", "acidity_percent_mass")
	if err != nil {
		return Result{}, err
	}
	rho := num[float64](r, "density_g_per_ml")
	res := AcidMassResult{AcidityGPer100ML: num[chem.GramsPer100ML](r, "acidity_g_per_100ml"), AcidityPercentMass: num[chem.PercentMass](r, "acidity_percent_mass")}
	if way == "acidity_g_per_100ml" {
		res.AcidityPercentMass, err = chem.AcidityToMass(res.AcidityGPer100ML, rho)
	} else {
		res.AcidityGPer100ML, err = chem.AcidityFromMass(res.AcidityPercentMass, rho)
	}
	if err != nil {
		return Result{}, err
	}
	res.DensityGPerML = float64(res.AcidityGPer100ML) / float64(res.AcidityPercentMass)
	res.Explain = chem.Explain{
		Formula: "g/100 mL = % mass × density",
		Values:  []chem.Given{given("density", res.DensityGPerML, "g/mL"), given("by mass", float64(res.AcidityPercentMass), "% mass")},
		Source:  "Density of acetic acid in water at 20 °C: CRC Handbook, concentrative properties of aqueous solutions.",
		Limits:  "0 to 20 % by mass. Sugar and salts make a vinegar denser than the pure acid: measure its density where it matters.",
	}
	return Result{Raw: res, Explain: res.Explain, Headline: []Line{
		computed("By volume", fix(res.AcidityGPer100ML, 3), "g/100 mL"), computed("By mass", fix(res.AcidityPercentMass, 3), "% mass"),
		computed("Density", fix(res.DensityGPerML, 4), "g/mL"),
	}}, nil
}
