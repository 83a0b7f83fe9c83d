package reckon

import (
	"fmt"

	"cruet/internal/chem"
)

const (
	recipeGroup = "Can this recipe reach 5 %?"
	mould       = "Mould (fuzz, or blue, green, black or pink spots) means that the whole jar is discarded, untasted."
)

func yieldFields() []Field {
	return []Field{
		numberField("yield_alcohol", "yield, sugar to alcohol", "", "0.9", "a fraction of theory").or(fmt.Sprintf("%g, with its range", chem.YieldAlcohol.Likely)).rare(),
		numberField("yield_acid", "yield, alcohol to acid", "", "0.85", "a fraction of theory").or(fmt.Sprintf("%g, with its range", chem.YieldAcid.Likely)).rare(),
	}
}

func recipeKinds() []Kind {
	return []Kind{
		{
			Name: "ceiling", Title: "The ceiling", Group: recipeGroup, Question: "How sour can it get?",
			Purpose: "The highest acidity that the sugar and alcohol can become, the likely one, and what to change to reach a target.",
			Fields: append([]Field{
				listField("ingredients", "with", "what goes in", "sugar: 50 g\nwater: 1 qt", "behind the amount what the label says: wine: 1 L, 12 % vol; syrup: 300 g, 60 % sugar", parseIngredient),
				volumeField("volume_ml", "finished liquid", "1 L", "the fruit strained out").or("what the ingredients pour"),
				numberField("brix", "or must's sugar", "°Bx", "12.5", "measured, instead of ingredients"),
				alcoholField("abv_percent", "or alcohol", "6", "measured, instead of ingredients"),
				acidityField("acidity_g_per_100ml", "acid already in it", "0.5", "").or("none").orZero().rare(),
				acidityField("target_g_per_100ml", "target", "5", "the acidity wanted"),
				numberField("released", "fruit gives up", "", "0.5", "the share of its sugar, a fraction").or("half").rare(),
				alcoholField("stronger_abv_percent", "stronger liquid at hand", "12", "that could be added").flag("stronger").or("12 % vol, a wine").rare(),
			}, yieldFields()...),
			Example: Example{
				Title:  "A scrap recipe: a quarter cup (50 g) of sugar to a US quart of water; what the fruit brings is not counted.",
				Inputs: map[string]string{"ingredients": "sugar: 50 g", "volume_ml": "1 qt", "target_g_per_100ml": "5"},
				Output: "stoichiometric_g_per_100ml", Value: 3.71, Unit: "g/100 mL", Within: 0.02,
				Source: "52.83 g/L of sucrose × 0.70175 (molar masses of IUPAC CIAAW); recipe ratio as on public recipe pages",
			},
			Cautions: []string{NotForCanning},
			result:   CeilingResult{},
			fields:   map[string]string{"sucrose_g": "ingredients", "hexose_g": "ingredients", "sugar_g_per_l": "volume_ml"},
			run:      ceiling,
		},
		{
			Name: "sugar-for", Title: "Sugar for a target", Group: recipeGroup, Question: "How much sugar for 5 %?",
			Purpose: "The table sugar or honey that makes a target acidity in a finished volume.",
			Fields: append([]Field{
				acidityField("target_g_per_100ml", "target", "5", "the acidity wanted").required(),
				volumeField("volume_ml", "finished liquid", "1 L", "").required(),
			}, yieldFields()...),
			Example: Example{
				Title:  "5 g/100 mL in 1 L, with yields 0.9 and 0.85.",
				Inputs: map[string]string{"target_g_per_100ml": "5", "volume_ml": "1 L", "yield_alcohol": "0.9", "yield_acid": "0.85"},
				Output: "sucrose_g_per_l", Value: 93.1, Unit: "g/L", Within: 0.2,
				Source: "stoichiometry, 10 × 5 ÷ (0.70175 × 0.9 × 0.85)",
			},
			Cautions: []string{NotForCanning},
			result:   chem.SugarForResult{},
			run:      sugarFor,
		},
		{
			Name: "cut", Title: "Cut wine or ale", Group: recipeGroup, Question: "Is the wine too strong to sour?",
			Purpose: "The water that brings wine, ale or a spirit down to a strength that vinegar bacteria like.",
			Fields: []Field{
				volumeField("volume_ml", "wine, ale or spirit", "500 mL", "").required(),
				alcoholField("abv_percent", "its alcohol", "10", "off the bottle or measured").required(),
				alcoholField("target_abv_percent", "cut it to", "5.5", "").flag("target").or("5.5 % vol"),
			},
			Example: Example{
				Title:  "500 mL of 10 % wine cut to 5.5 %.",
				Inputs: map[string]string{"volume_ml": "500 mL", "abv_percent": "10", "target_abv_percent": "5.5"},
				Output: "water_ml", Value: 410, Unit: "mL", Within: 1.5,
				Source: "worked example of a small-farm textbook, p. 376",
			},
			Cautions: []string{mould},
			result:   chem.CutResult{},
			run:      cut,
		},
		{
			Name: "starter", Title: "Starter", Group: recipeGroup, Question: "How much live vinegar to start with?",
			Purpose: "The live vinegar that makes a liquid sour enough at the start to keep mould away.",
			Fields: []Field{
				volumeField("feed_ml", "liquid to be soured", "3 L", "wine, cider, ale, after cutting").required(),
				acidityField("starter_acidity_g_per_100ml", "acidity of the starter", "5", "titrated").required(),
				acidityField("feed_acidity_g_per_100ml", "acidity of the liquid", "0.5", "").or("none").orZero().rare(),
				alcoholField("feed_abv_percent", "alcohol of the liquid", "6", "").or("not stated").orZero(),
				acidityField("start_acidity_g_per_100ml", "acidity wanted at the start", "1.25", "").flag("start").or("1.25").rare(),
			},
			Example: Example{
				Title:  "24 fl oz of feed, starter of 5 g/100 mL.",
				Inputs: map[string]string{"feed_ml": "24 fl oz", "starter_acidity_g_per_100ml": "5"},
				Output: "starter_ml", Value: 8 * chem.USFluidOunceML, Unit: "mL", Within: 0.01,
				Source: "a small-farm textbook: at most 3 volumes of feed to 1 of mother, 8 fl oz in 32",
			},
			Cautions: []string{mould},
			result:   chem.StarterResult{},
			run:      starter,
		},
	}
}

// CeilingResult is the ceiling, and what the ingredients brought.
type CeilingResult struct {
	chem.CeilingResult
	Sugars *chem.Sugars `json:"sugars,omitempty"`
}

func ceiling(r *reader) (Result, error) {
	way, err := r.oneOf("Give the ingredients, or the must's sugar in °Bx, or the alcohol in % vol: one of the three.", "ingredients", "brix", "abv_percent")
	if err != nil {
		return Result{}, err
	}
	c := chem.Ceiling{VolumeML: orElse(r, "volume_ml", chem.Millilitres(1000)), ABVPercent: num[chem.PercentVol](r, "abv_percent"), TargetGPer100ML: num[chem.GramsPer100ML](r, "target_g_per_100ml")}
	res := CeilingResult{}
	var notes []string
	switch way {
	case "ingredients":
		s, err := chem.SugarFrom(entries[chem.Ingredient](r, "ingredients"), r.numbers["released"])
		if err != nil {
			return Result{}, err
		}
		if !r.has("volume_ml") && s.VolumeML < 1 {
			return refuse("volume_ml", "The ingredients pour no liquid: name the water, like \"water: 1 L\", or give the finished volume.")
		}
		c, res.Sugars, notes = s.Ceiling(num[chem.Millilitres](r, "volume_ml"), c.TargetGPer100ML), &s, s.Notes
	case "brix":
		perL, err := chem.SugarGPerL(num[chem.DegreesBrix](r, "brix"))
		if err != nil {
			return Result{}, err
		}
		// Fruit sugars are hexoses or become so; counting all as hexose is the
		// lower and so the honest figure.
		c.HexoseG = perL * float64(c.VolumeML) / 1000
	}
	if r.has("released") && way != "ingredients" {
		return refuse("released", "The share that fruit gives up matters only with ingredients; leave it empty.")
	}
	c.AcidityGPer100ML, c.StrongerABV = num[chem.GramsPer100ML](r, "acidity_g_per_100ml"), num[chem.PercentVol](r, "stronger_abv_percent")
	c.YieldAlcohol, c.YieldAcid = r.numbers["yield_alcohol"], r.numbers["yield_acid"]
	if res.CeilingResult, err = c.Result(); err != nil {
		return Result{}, err
	}
	if res.Change != nil && way != "ingredients" && !r.has("volume_ml") {
		notes = append(notes, "The amounts to change are for 1 L of finished liquid.")
	}
	return Result{Raw: res, Explain: res.Explain, Notes: append(notes, res.Notes...), Headline: ceilingLines(c, res.CeilingResult)}, nil
}

func ceilingLines(c chem.Ceiling, res chem.CeilingResult) []Line {
	out := []Line{
		computed("Likely to reach", fix(res.LikelyGPer100ML, 1), "g/100 mL"),
		computed("Likely range", down(res.LikelyLowGPer100ML, 1)+" to "+fix(res.LikelyHighGPer100ML, 1), "g/100 mL"),
		computed("The ceiling, nothing lost", down(res.StoichiometricGPer100ML, 2), "g/100 mL"),
		computed("Alcohol on the way", fix(res.PotentialABVPercent, 1), "% vol"),
	}
	if res.Reach != "" {
		out = append([]Line{computed(fmt.Sprintf("Reaching %s g/100 mL is", Figure(float64(c.TargetGPer100ML))), string(res.Reach), "")}, out...)
	}
	if ch := res.Change; ch != nil {
		if ch.AddSugarG > 0 {
			out = append(out, mass("To get there: add sugar", chem.Grams(ch.AddSugarG)))
		}
		if ch.AddStrongerML > 0 {
			out = append(out, volume(fmt.Sprintf("or add liquid of %s %% vol", Figure(float64(ch.StrongerABV))), ch.AddStrongerML))
		}
		if ch.LessWaterML > 0 {
			out = append(out, volume("or take less water", ch.LessWaterML))
		}
	}
	return out
}

func sugarFor(r *reader) (Result, error) {
	res, err := chem.SugarFor{TargetGPer100ML: num[chem.GramsPer100ML](r, "target_g_per_100ml"), VolumeML: num[chem.Millilitres](r, "volume_ml"),
		YieldAlcohol: r.numbers["yield_alcohol"], YieldAcid: r.numbers["yield_acid"]}.Result()
	if err != nil {
		return Result{}, err
	}
	out := Result{Raw: res, Explain: res.Explain, Notes: res.Notes}
	out.Headline = []Line{mass("Table sugar", res.SucroseG), computed("That is", fix(res.SucroseGPerL, 1), "g/L"), mass("or honey", res.HoneyG)}
	if res.LowG != res.HighG {
		out.Headline = append(out.Headline, mass("Sugar, if all goes well", res.LowG), mass("Sugar, if much is lost", res.HighG))
	}
	out.Headline = append(out.Headline, computed("Alcohol on the way", fix(res.ABVPercent, 1), "% vol"))
	return out, nil
}

func cut(r *reader) (Result, error) {
	res, err := chem.Cut{VolumeML: num[chem.Millilitres](r, "volume_ml"), ABVPercent: num[chem.PercentVol](r, "abv_percent"), TargetABVPercent: num[chem.PercentVol](r, "target_abv_percent")}.Result()
	if err != nil {
		return Result{}, err
	}
	return Result{Raw: res, Explain: res.Explain, Notes: res.Notes, Headline: []Line{
		volume("Add water", res.WaterML), volume("Makes", res.FinalVolumeML),
		computed("Likely to reach", fix(res.LikelyGPer100ML, 1), "g/100 mL"), computed("At most", down(res.CeilingGPer100ML, 2), "g/100 mL"),
	}}, nil
}

func starter(r *reader) (Result, error) {
	res, err := chem.Starter{FeedML: num[chem.Millilitres](r, "feed_ml"), FeedAcidityGPer100ML: num[chem.GramsPer100ML](r, "feed_acidity_g_per_100ml"),
		FeedABVPercent: num[chem.PercentVol](r, "feed_abv_percent"), StarterAcidityGPer100ML: num[chem.GramsPer100ML](r, "starter_acidity_g_per_100ml"),
		StartGPer100ML: num[chem.GramsPer100ML](r, "start_acidity_g_per_100ml")}.Result()
	if err != nil {
		return Result{}, err
	}
	out := Result{Raw: res, Explain: res.Explain, Notes: res.Notes, Headline: []Line{
		volume("Add live vinegar", res.StarterML), volume("Makes", res.TotalML), computed("Acidity at the start", fix(res.StartAcidityGPer100ML, 2), "g/100 mL"),
	}}
	if r.has("feed_abv_percent") {
		out.Headline = append(out.Headline, computed("Alcohol at the start", fix(res.ABVPercent, 1), "% vol"))
	}
	return out, nil
}
