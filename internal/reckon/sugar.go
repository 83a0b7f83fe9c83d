package reckon

import "cruet/internal/chem"

const sugarGroup = "How much sugar, how much alcohol?"

func sugarKinds() []Kind {
	return []Kind{
		{
			Name: "gravity", Title: "Hydrometer", Group: sugarGroup, Question: "What does the hydrometer say?",
			Purpose: "A hydrometer reading corrected for temperature, as Brix, Plato, sugar and the alcohol that it could make.",
			Fields: []Field{
				numberField("reading_sg", "hydrometer shows", "", "1.050", "specific gravity").flag("sg").required(),
				temperatureField("temperature_c", "sample's temperature", "20 C", "").flag("temp").required(),
				temperatureField("calibration_c", "hydrometer made for", "15 C", "it stands on its scale").or("20 °C"),
			},
			Example: Example{
				Title:  "1.040 at 95 °F, hydrometer made for 15 °C.",
				Inputs: map[string]string{"reading_sg": "1.040", "temperature_c": "95 F", "calibration_c": "15 C"},
				Output: "specific_gravity", Value: 1.0451, Unit: "", Within: 0.0004,
				Source: "worked example of a published hydrometer temperature table, standardised at 15 °C",
			},
			result: chem.GravityResult{},
			run:    gravity,
		},
		{
			Name: "brix", Title: "Brix and Plato", Group: sugarGroup, Question: "What does the refractometer say?",
			Purpose: "Degrees Brix or Plato as specific gravity, sugar and possible alcohol; in a ferment, a refractometer reading corrected for alcohol.",
			Fields: []Field{
				numberField("brix", "refractometer shows", "°Bx", "12.5", "now").orZero(),
				numberField("plato", "or extract", "°P", "12", "instead, before fermentation only").orZero(),
				numberField("original_brix", "before fermentation", "°Bx", "14", "only when it has fermented"),
			},
			Example: Example{
				Title:  "10 °Bx before fermentation.",
				Inputs: map[string]string{"brix": "10"},
				Output: "specific_gravity", Value: 1.04003, Unit: "", Within: 6e-5,
				Source: "NBS Circular C440, Table 114 (USDA 135-A-50), from memory",
			},
			result: chem.BrixResult{},
			run:    brix,
		},
		{
			Name: "alcohol", Title: "Alcohol from gravity", Group: sugarGroup, Question: "How much alcohol is in it?",
			Purpose: "Alcohol from the gravity before and now, and the most acid that it can become.",
			Fields: []Field{
				numberField("original_gravity", "gravity before", "", "1.050", "corrected for temperature").flag("og").required(),
				numberField("present_gravity", "gravity now", "", "1.000", "corrected for temperature; before the acetic stage").flag("pg").required(),
			},
			Example: Example{
				Title:  "From 1.050 to 1.000.",
				Inputs: map[string]string{"original_gravity": "1.050", "present_gravity": "1.000"},
				Output: "abv_percent", Value: 6.55, Unit: "% vol", Within: 0.01,
				Source: "HMRC Excise Notice 226, paragraphs 30.2 and 30.3",
			},
			result: chem.AlcoholResult{},
			fields: map[string]string{"excess_gravity": "present_gravity"},
			run:    alcohol,
		},
		{
			Name: "alcohol-mass", Title: "Alcohol by volume and by mass", Group: sugarGroup, Question: "Percent by volume or by mass?",
			Purpose: "Alcohol in % vol, in % by mass and in g/L, whichever is known.",
			Fields: []Field{
				alcoholField("abv_percent", "alcohol by volume", "10", "one of the two").orZero(),
				numberField("abw_percent", "alcohol by mass", "% mass", "8", "one of the two").orZero().flag("abw"),
			},
			Example: Example{
				Title:  "10 % vol.",
				Inputs: map[string]string{"abv_percent": "10"},
				Output: "abw_percent", Value: 8.05, Unit: "% mass", Within: 0.07,
				Source: "US Pharmacopeia alcoholometric table, at 15.56 °C (tolerance for 20 °C)",
			},
			result: AlcoholMassResult{},
			run:    alcoholMass,
		},
	}
}

func gravity(r *reader) (Result, error) {
	g := chem.Gravity{ReadingSG: num[chem.SpecificGravity](r, "reading_sg"), TemperatureC: num[chem.Celsius](r, "temperature_c"), CalibrationC: num[chem.Celsius](r, "calibration_c")}
	if r.has("calibration_c") && g.CalibrationC == 0 {
		return refuse("calibration_c", "No hydrometer is made for 0 °C: 15, 15.56 (60 °F) and 20 °C are usual; look on its scale.")
	}
	res, err := g.Result()
	if err != nil {
		return Result{}, err
	}
	out := Result{Raw: res, Explain: res.Explain, Notes: res.Notes, Headline: []Line{measured("Specific gravity", fix(res.SpecificGravity, 4), "")}}
	if res.HasSugar {
		out.Headline = append(out.Headline, computed("As sugar", fix(res.Brix, 2), "°Bx"))
	}
	if res.HasPlato {
		out.Headline = append(out.Headline, computed("As extract", fix(res.Plato, 2), "°P"))
	}
	if res.HasSugar {
		out.Headline = append(out.Headline, computed("Sugar", fix(res.SugarGPerL, 1), "g/L"), computed("Could make", fix(res.PotentialABVPercent, 1), "% vol"))
	}
	return out, nil
}

func brix(r *reader) (Result, error) {
	way, err := r.oneOf("Give either degrees Brix or degrees Plato.", "brix", "plato")
	if err != nil {
		return Result{}, err
	}
	b := chem.Brix{Brix: num[chem.DegreesBrix](r, "brix"), OriginalBrix: maybe[chem.DegreesBrix](r, "original_brix")}
	if way == "plato" {
		if b.OriginalBrix != nil {
			return refuse("plato", "The correction for alcohol is for a refractometer: type its degrees Brix.")
		}
		s, err := chem.GravityFromPlato(r.numbers["plato"])
		if err != nil {
			return Result{}, err
		}
		if b.Brix, err = chem.BrixFromGravity(max(s, 1)); err != nil { // 0 °P is a hair under 1
			return Result{}, err
		}
		b.Brix = max(b.Brix, 0)
	}
	res, err := b.Result()
	if err != nil {
		return Result{}, err
	}
	out := Result{Raw: res, Explain: res.Explain, Notes: res.Notes}
	if res.Fermented {
		out.Headline = []Line{
			computed("Alcohol, about", fix(res.ABVPercent, 1), "% vol"), computed("Sugar and solids left", fix(res.RealExtractBrix, 1), "°Bx"),
			computed("A hydrometer would show", fix(res.SpecificGravity, 3), ""), computed("Could still make", fix(res.PotentialABVPercent, 1), "% vol"),
		}
		return out, nil
	}
	out.Headline = []Line{
		computed("Specific gravity", fix(res.SpecificGravity, 4), ""), measured("Sugar", fix(res.RealExtractBrix, 2), "°Bx"), computed("As extract", fix(res.Plato, 2), "°P"),
		computed("Sugar in a litre", fix(res.SugarGPerL, 1), "g/L"), computed("Could make", fix(res.PotentialABVPercent, 1), "% vol"),
	}
	return out, nil
}

func alcohol(r *reader) (Result, error) {
	res, err := chem.Alcohol{OriginalGravity: num[chem.SpecificGravity](r, "original_gravity"), PresentGravity: num[chem.SpecificGravity](r, "present_gravity")}.Result()
	if err != nil {
		return Result{}, err
	}
	return Result{Raw: res, Explain: res.Explain, Notes: res.Notes, Headline: []Line{
		measured("Alcohol", fix(res.ABVPercent, 2), "% vol"), computed("By mass", fix(res.ABWPercent, 2), "% mass"),
		computed("Can become at most", fix(res.CeilingGPer100ML, 2), "g/100 mL of acetic acid"),
	}}, nil
}

// AlcoholMassResult is alcohol in every way that it is written.
type AlcoholMassResult struct {
	ABVPercent       chem.PercentVol    `json:"abv_percent"`
	ABWPercent       chem.PercentMass   `json:"abw_percent"`
	EthanolGPerL     float64            `json:"ethanol_g_per_l"`
	CeilingGPer100ML chem.GramsPer100ML `json:"ceiling_g_per_100ml"`
	Explain          chem.Explain       `json:"explain"`
}

func alcoholMass(r *reader) (Result, error) {
	way, err := r.oneOf("Give the alcohol either in % vol or in % by mass.", "abv_percent", "abw_percent")
	if err != nil {
		return Result{}, err
	}
	res := AlcoholMassResult{ABVPercent: num[chem.PercentVol](r, "abv_percent"), ABWPercent: num[chem.PercentMass](r, "abw_percent")}
	if way == "abv_percent" {
		res.ABWPercent, err = chem.VolToMass(res.ABVPercent)
	} else {
		res.ABVPercent, err = chem.MassToVol(res.ABWPercent)
	}
	if err != nil {
		return Result{}, err
	}
	res.EthanolGPerL, res.CeilingGPer100ML = chem.EthanolGPerL(res.ABVPercent), chem.AceticFromABV(res.ABVPercent)
	rho, err := chem.EthanolDensity(res.ABWPercent)
	if err != nil {
		return Result{}, err
	}
	res.Explain = chem.Explain{
		Formula: "% vol = % mass × density ÷ 0.789239; ceiling = % vol × 1.0288",
		Values:  []chem.Given{given("% mass", float64(res.ABWPercent), "% mass"), given("density of the mixture", rho, "g/mL")},
		Source:  "OIML R 22, ethanol and water at 20 °C; molar masses of IUPAC CIAAW for the ceiling.",
		Limits:  "Ethanol and water alone; sugar and acid make a liquid denser.",
	}
	return Result{Raw: res, Explain: res.Explain, Headline: []Line{
		computed("By volume", fix(res.ABVPercent, 2), "% vol"), computed("By mass", fix(res.ABWPercent, 2), "% mass"),
		computed("Ethanol", fix(res.EthanolGPerL, 1), "g/L"), computed("Can become at most", fix(res.CeilingGPer100ML, 2), "g/100 mL of acetic acid"),
	}}, nil
}
