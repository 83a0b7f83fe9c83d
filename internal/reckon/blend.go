package reckon

import (
	"fmt"

	"cruet/internal/chem"
)

const blendGroup = "How much water, how much of each?"

func blendKinds() []Kind {
	return []Kind{
		{
			Name: "dilute", Title: "Dilute", Group: blendGroup, Question: "How much water brings it to 5 %?",
			Purpose: "The water that brings a measured vinegar down to a target acidity.",
			Fields: []Field{
				volumeField("volume_ml", "vinegar", "1 L", "").required(),
				acidityField("acidity_g_per_100ml", "its acidity", "6.2", "titrated").required(),
				acidityField("target_g_per_100ml", "target", "5", "").required(),
				acidityField("expanded_uncertainty_g_per_100ml", "uncertainty of the acidity", "0.2", "95 %, as the titration gives it").flag("uncertainty").or("not known"),
			},
			Example: Example{
				Title:  "1 L of 8 % brought to 5 %.",
				Inputs: map[string]string{"volume_ml": "1 L", "acidity_g_per_100ml": "8", "target_g_per_100ml": "5"},
				Output: "water_ml", Value: 600, Unit: "mL", Within: 0.2,
				Source: "C1 V1 = C2 V2, any general chemistry text",
			},
			Cautions: []string{NotForCanning},
			result:   chem.DilutionResult{},
			run:      dilute,
		},
		{
			Name: "blend", Title: "Blend", Group: blendGroup, Question: "What comes of pouring these together?",
			Purpose: "Acidity and alcohol of two or more liquids poured together, or how much of each makes a target.",
			Fields: []Field{
				listField("portions", "portion", "liquids", "5 L at 3.5 %, 0.7 % vol\n2 L at 6 %", "volume, acidity, and alcohol if any", parsePortion).required(),
				acidityField("target_g_per_100ml", "target", "5", "the volumes are then what there is"),
				volumeField("total_ml", "wanted in all", "3 L", "with a target").or("as much as can be made"),
			},
			Example: Example{
				Title:  "5 L of 3.5 % (0.7 % vol) and 1.92 L of wine (12.5 % vol).",
				Inputs: map[string]string{"portions": "5 L at 3.5 %, 0.7 % vol\n1.92 L at 0 %, 12.5 % vol"},
				Output: "acidity_g_per_100ml", Value: 2.53, Unit: "g/100 mL", Within: 0.006,
				Source: "worked example of a vinegar course",
			},
			Cautions: []string{NotForCanning},
			result:   chem.BlendResult{},
			fields:   map[string]string{"volume_ml": "portions", "acidity_g_per_100ml": "portions", "abv_percent": "portions"},
			run:      blend,
		},
		{
			Name: "square", Title: "Pearson square", Group: blendGroup, Question: "How many parts of each?",
			Purpose: "The parts of a weaker and a stronger liquid that make a target, in any one unit.",
			Fields: []Field{
				numberField("low", "weaker", "", "3.2", "in one unit with the others").orZero().required(),
				numberField("high", "stronger", "", "7.5", "").required(),
				numberField("target", "target", "", "5", "between the two").orZero().required(),
				volumeField("total_ml", "wanted in all", "2 L", "").or("parts only"),
			},
			Example: Example{
				Title:  "Juice of 12 °Bx and syrup of 65 °Bx for 24 °Bx.",
				Inputs: map[string]string{"low": "12", "high": "65", "target": "24"},
				Output: "parts_low", Value: 41, Unit: "parts", Within: 1e-9,
				Source: "published worked example of the Pearson square",
			},
			Cautions: []string{NotForCanning},
			result:   chem.PearsonResult{},
			run:      square,
		},
	}
}

func dilute(r *reader) (Result, error) {
	res, err := chem.Dilution{VolumeML: num[chem.Millilitres](r, "volume_ml"), AcidityGPer100ML: num[chem.GramsPer100ML](r, "acidity_g_per_100ml"),
		TargetGPer100ML: num[chem.GramsPer100ML](r, "target_g_per_100ml"), ExpandedUGPer100ML: num[chem.GramsPer100ML](r, "expanded_uncertainty_g_per_100ml")}.Result()
	if err != nil {
		return Result{}, err
	}
	out := Result{Raw: res, Explain: res.Explain, Notes: res.Notes, Headline: []Line{volume("Add water", res.WaterML), volume("Makes", res.FinalVolumeML)}}
	if res.HasSure {
		out.Headline = append(out.Headline, volume("Water that surely keeps the target", res.WaterSureML))
	}
	return out, nil
}

func blend(r *reader) (Result, error) {
	b := chem.Blend{Portions: entries[chem.Portion](r, "portions"), TargetGPer100ML: num[chem.GramsPer100ML](r, "target_g_per_100ml"), TotalML: num[chem.Millilitres](r, "total_ml")}
	if b.TotalML > 0 && b.TargetGPer100ML == 0 {
		return refuse("total_ml", "A total goes with a target: give the acidity wanted, or leave the total empty.")
	}
	res, err := b.Result()
	if err != nil {
		return Result{}, err
	}
	out := Result{Raw: res, Explain: res.Explain, Notes: res.Notes}
	if b.TargetGPer100ML > 0 {
		for i, v := range res.TakeML {
			out.Headline = append(out.Headline, volume(fmt.Sprintf("Take of liquid %d, %s g/100 mL", i+1, Figure(float64(b.Portions[i].AcidityGPer100ML))), v))
		}
	}
	out.Headline = append(out.Headline, computed("Acidity of the blend", fix(res.AcidityGPer100ML, 2), "g/100 mL"), volume("Makes", res.VolumeML))
	if res.ABVPercent > 0 {
		out.Headline = append(out.Headline, computed("Alcohol", fix(res.ABVPercent, 1), "% vol"), computed("Acidity and alcohol together", fix(res.TotalGPer100ML, 1), ""))
	}
	return out, nil
}

func square(r *reader) (Result, error) {
	res, err := chem.PearsonSquare{Low: r.numbers["low"], High: r.numbers["high"], Target: r.numbers["target"], TotalML: num[chem.Millilitres](r, "total_ml")}.Result()
	if err != nil {
		return Result{}, err
	}
	out := Result{Raw: res, Explain: res.Explain, Headline: []Line{
		computed("Parts of the weaker", Figure(res.PartsLow), "parts"), computed("Parts of the stronger", Figure(res.PartsHigh), "parts"),
	}}
	if r.has("total_ml") {
		out.Headline = append(out.Headline, volume("Of the weaker", res.LowML), volume("Of the stronger", res.HighML))
	}
	return out, nil
}
