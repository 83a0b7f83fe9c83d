package chem

import "math"

// Cut asks how much water brings wine, ale or a spirit down to a strength acetic bacteria like.
type Cut struct {
	VolumeML         Millilitres `json:"volume_ml"`
	ABVPercent       PercentVol  `json:"abv_percent"`
	TargetABVPercent PercentVol  `json:"target_abv_percent,omitempty"` // 0: the usual 5.5
}

// CutResult is the water, with the contraction of alcohol and water taken into account.
type CutResult struct {
	WaterML          Millilitres   `json:"water_ml"`
	FinalVolumeML    Millilitres   `json:"final_volume_ml"`
	CeilingGPer100ML GramsPer100ML `json:"ceiling_g_per_100ml"` // stoichiometric, of the cut liquid
	LikelyGPer100ML  GramsPer100ML `json:"likely_g_per_100ml"`
	Notes            []string      `json:"notes,omitempty"`
	Explain          Explain       `json:"explain"`
}

// Result balances masses by OIML R 22, so it holds for spirits too.
func (c Cut) Result() (CutResult, error) {
	if c.TargetABVPercent == 0 {
		c.TargetABVPercent = FeedABV
	}
	if err := checkAll(in{"volume_ml", float64(c.VolumeML)}, in{"abv_percent", float64(c.ABVPercent)}, in{"target_abv_percent", float64(c.TargetABVPercent)}); err != nil {
		return CutResult{}, err
	}
	if c.TargetABVPercent > c.ABVPercent {
		return CutResult{}, fieldErr("target_abv_percent", "Water cannot make %s %% vol out of %s; it is weak enough already.", num(float64(c.TargetABVPercent)), num(float64(c.ABVPercent)))
	}
	a, err := VolToMass(c.ABVPercent)
	if err != nil {
		return CutResult{}, err
	}
	b, err := VolToMass(c.TargetABVPercent)
	if err != nil {
		return CutResult{}, err
	}
	final := float64(c.VolumeML) * float64(c.ABVPercent/c.TargetABVPercent)
	grams := final*ethanolWaterKgPerM3(float64(b)/100) - float64(c.VolumeML)*ethanolWaterKgPerM3(float64(a)/100)
	r := CutResult{WaterML: Millilitres(grams / ethanolWaterKgPerM3(0)), FinalVolumeML: Millilitres(final), CeilingGPer100ML: AceticFromABV(c.TargetABVPercent)}
	r.LikelyGPer100ML = r.CeilingGPer100ML * GramsPer100ML(YieldAcid.Likely)
	if c.TargetABVPercent > bestABVHigh {
		r.Notes = append(r.Notes, "Over 9 % vol the acetic stage is slow or stalls, and over 15 % vol it stops.")
	}
	r.Notes = append(r.Notes, "Wine kept with sulphites may not start: ask what was added, and let the water stand or boil it if it is chlorinated.")
	r.Explain = Explain{
		Formula: "water = (V × (a ÷ b) × ρ(b) − V × ρ(a)) ÷ ρ(water)",
		Values: []Given{{"V", float64(c.VolumeML), "mL"}, {"a", float64(c.ABVPercent), "% vol"}, {"b", float64(c.TargetABVPercent), "% vol"},
			{"ρ(a)", ethanolWaterKgPerM3(float64(a) / 100), "kg/m³"}, {"ρ(b)", ethanolWaterKgPerM3(float64(b) / 100), "kg/m³"}},
		Source: "Densities of ethanol and water at 20 °C by OIML R 22; 5.5 % vol as feed from a small-farm textbook.",
		Limits: "Ethanol and water at 20 °C; sugar in the liquid is not counted.",
	}
	return r, nil
}

// Starter asks how much live vinegar makes a liquid sour enough to be safe from mould at the start.
type Starter struct {
	FeedML                  Millilitres   `json:"feed_ml"` // the liquid to be acetified
	FeedAcidityGPer100ML    GramsPer100ML `json:"feed_acidity_g_per_100ml,omitempty"`
	FeedABVPercent          PercentVol    `json:"feed_abv_percent,omitempty"`
	StarterAcidityGPer100ML GramsPer100ML `json:"starter_acidity_g_per_100ml"`
	StartGPer100ML          GramsPer100ML `json:"start_acidity_g_per_100ml,omitempty"` // 0: the usual 1.25
}

// defaultStartAcidity is what one part of 5 % vinegar in three parts of feed gives (a small-farm
// textbook's least share of mother).
const defaultStartAcidity = 1.25

// StarterResult is the starter to add: enough for the acidity, and never under a quarter of the whole.
type StarterResult struct {
	StarterML             Millilitres   `json:"starter_ml"` // the larger of the next two
	ForAcidityML          Millilitres   `json:"for_acidity_ml"`
	ForShareML            Millilitres   `json:"for_share_ml"`
	TotalML               Millilitres   `json:"total_ml"`
	StartAcidityGPer100ML GramsPer100ML `json:"start_acidity_g_per_100ml"`
	ABVPercent            PercentVol    `json:"abv_percent"` // of the mixture, if the starter holds none
	Notes                 []string      `json:"notes,omitempty"`
	Explain               Explain       `json:"explain"`
}

// Result computes feed × (start − feed acidity) ÷ (starter − start).
func (s Starter) Result() (StarterResult, error) {
	if s.StartGPer100ML == 0 {
		s.StartGPer100ML = defaultStartAcidity
	}
	for _, f := range []struct {
		field, key string
		v          float64
	}{{"feed_ml", "volume_ml", float64(s.FeedML)}, {"feed_acidity_g_per_100ml", "acidity_g_per_100ml", float64(s.FeedAcidityGPer100ML)},
		{"feed_abv_percent", "abv_percent", float64(s.FeedABVPercent)}, {"starter_acidity_g_per_100ml", "acidity_g_per_100ml", float64(s.StarterAcidityGPer100ML)},
		{"start_acidity_g_per_100ml", "start_acidity", float64(s.StartGPer100ML)}} {
		if err := checkAs(f.field, f.key, f.v); err != nil {
			return StarterResult{}, err
		}
	}
	if s.StarterAcidityGPer100ML <= s.StartGPer100ML {
		return StarterResult{}, fieldErr("starter_acidity_g_per_100ml", "A starter of %s g/100 mL cannot bring anything to %s; use a sourer one, or start with less feed at a time.", num(float64(s.StarterAcidityGPer100ML)), num(float64(s.StartGPer100ML)))
	}
	need := float64(s.StartGPer100ML-s.FeedAcidityGPer100ML) / float64(s.StarterAcidityGPer100ML-s.StartGPer100ML)
	r := StarterResult{ForAcidityML: Millilitres(math.Max(0, need)) * s.FeedML, ForShareML: s.FeedML * (StarterFraction / (1 - StarterFraction))}
	r.StarterML = max(r.ForAcidityML, r.ForShareML)
	r.TotalML = s.FeedML + r.StarterML
	r.StartAcidityGPer100ML = GramsPer100ML((float64(s.FeedML)*float64(s.FeedAcidityGPer100ML) + float64(r.StarterML)*float64(s.StarterAcidityGPer100ML)) / float64(r.TotalML))
	r.ABVPercent = s.FeedABVPercent * PercentVol(s.FeedML/r.TotalML)
	r.Notes = append(r.Notes, "Use live, unpasteurised vinegar; a start that is not sour invites mould. Mould means the whole jar is discarded.")
	if r.StarterML > s.FeedML {
		r.Notes = append(r.Notes, "That is more starter than feed: a sourer starter, or feeding in two rounds, takes less.")
	}
	r.Explain = Explain{
		Formula: "starter = feed × (start − feed acidity) ÷ (starter acidity − start), and at least a quarter of the whole",
		Values: []Given{{"feed", float64(s.FeedML), "mL"}, {"feed acidity", float64(s.FeedAcidityGPer100ML), "g/100 mL"},
			{"starter acidity", float64(s.StarterAcidityGPer100ML), "g/100 mL"}, {"start", float64(s.StartGPer100ML), "g/100 mL"}},
		Source: "Mass balance; at most 3 parts of feed to 1 of mother from a small-farm textbook (extension sheets say 1 part to 1 to 4 parts of cider). A vinegar course finds 4 g/100 mL with 2 % vol the liveliest start.",
		Limits: volumesAdd + " Starting acidity " + limitText("start_acidity", " g/100 mL") + ".",
	}
	return r, nil
}
