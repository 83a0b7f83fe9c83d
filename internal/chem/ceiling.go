package chem

import "fmt"

// Ceiling asks how sour a recipe or jar can become.
type Ceiling struct {
	VolumeML         Millilitres   `json:"volume_ml"` // of the finished liquid
	SucroseG         float64       `json:"sucrose_g,omitempty"`
	HexoseG          float64       `json:"hexose_g,omitempty"`
	ABVPercent       PercentVol    `json:"abv_percent,omitempty"`          // alcohol already there
	AcidityGPer100ML GramsPer100ML `json:"acidity_g_per_100ml,omitempty"`  // acid already there
	TargetGPer100ML  GramsPer100ML `json:"target_g_per_100ml,omitempty"`   // 0: none
	YieldAlcohol     float64       `json:"yield_alcohol,omitempty"`        // 0: the usual 0.90, with its range
	YieldAcid        float64       `json:"yield_acid,omitempty"`           // 0: the usual 0.85, with its range
	StrongerABV      PercentVol    `json:"stronger_abv_percent,omitempty"` // of the liquid one might add; 0: 12 % vol wine
}

// CeilingResult is the highest acidity possible and the likely one, and what would reach the target.
type CeilingResult struct {
	StoichiometricGPer100ML GramsPer100ML `json:"stoichiometric_g_per_100ml"`
	LikelyGPer100ML         GramsPer100ML `json:"likely_g_per_100ml"`
	LikelyLowGPer100ML      GramsPer100ML `json:"likely_low_g_per_100ml"`
	LikelyHighGPer100ML     GramsPer100ML `json:"likely_high_g_per_100ml"`
	PotentialABVPercent     PercentVol    `json:"potential_abv_percent"` // of sugar and alcohol together, likely
	Reach                   Reach         `json:"reach,omitempty"`       // "" without a target
	Change                  *Change       `json:"change,omitempty"`      // nil when the target is likely reached
	Notes                   []string      `json:"notes,omitempty"`
	Explain                 Explain       `json:"explain"`
}

// Reach says whether a target can be met.
type Reach string

// The answers, against the low, high and stoichiometric end.
const (
	ReachLikely   Reach = "likely"       // even the low end reaches it
	ReachPossible Reach = "possible"     // the likely range spans it
	ReachUnlikely Reach = "unlikely"     // only above the practical range
	ReachNever    Reach = "out of reach" // above what the sugar and alcohol can give
)

// Change is what would bring the likely acidity to the target: any one of the three.
type Change struct {
	AddSugarG     float64     `json:"add_sugar_g"`     // table sugar, on top; 0: sugar alone cannot
	AddStrongerML Millilitres `json:"add_stronger_ml"` // of StrongerABV; 0: that liquid is too weak
	LessWaterML   Millilitres `json:"less_water_ml"`   // for a recipe not yet mixed
	StrongerABV   PercentVol  `json:"stronger_abv_percent"`
	ForML         Millilitres `json:"for_volume_ml"` // the finished liquid that these amounts are for
}

// acid is the acid in g that sugar and alcohol become with the given yields.
func (c Ceiling) acid(yAlcohol, yAcid float64) float64 {
	ethanol := (c.SucroseG*EthanolPerSucrose + c.HexoseG*EthanolPerHexose) * yAlcohol
	ethanol += EthanolGPerL(c.ABVPercent) * float64(c.VolumeML) / 1000
	return ethanol * yAcid * AceticPerEthanol
}

func (c Ceiling) per100(yAlcohol, yAcid float64) GramsPer100ML {
	return c.AcidityGPer100ML + GramsPer100ML(100*c.acid(yAlcohol, yAcid)/float64(c.VolumeML))
}

// orYield replaces an unstated yield by the usual one and its range.
func orYield(y float64, usual Yield) Yield {
	if y == 0 {
		return usual
	}
	return Yield{y, y, y}
}

// Check refuses impossible input.
func (c Ceiling) Check() error {
	a, b := orYield(c.YieldAlcohol, YieldAlcohol), orYield(c.YieldAcid, YieldAcid)
	if err := checkAll(in{"volume_ml", float64(c.VolumeML)}, in{"sucrose_g", c.SucroseG}, in{"hexose_g", c.HexoseG},
		in{"abv_percent", float64(c.ABVPercent)}, in{"acidity_g_per_100ml", float64(c.AcidityGPer100ML)},
		in{"yield_alcohol", a.Likely}, in{"yield_acid", b.Likely}); err != nil {
		return err
	}
	if err := checkAs("stronger_abv_percent", "abv_percent", float64(c.StrongerABV)); err != nil {
		return err
	}
	if c.TargetGPer100ML != 0 {
		if err := check("target_g_per_100ml", float64(c.TargetGPer100ML)); err != nil {
			return err
		}
	}
	if g := 1000 * (c.SucroseG + c.HexoseG) / float64(c.VolumeML); g > limits["sugar_g_per_l"].max {
		return fieldErr("volume_ml", "That is %.0f g of sugar per litre, a syrup no yeast ferments; check the volume of the finished liquid.", g)
	}
	return nil
}

// Result computes the ceiling. Sugar becomes alcohol, and that and the alcohol there become acid.
func (c Ceiling) Result() (CeilingResult, error) {
	if err := c.Check(); err != nil {
		return CeilingResult{}, err
	}
	a, b := orYield(c.YieldAlcohol, YieldAlcohol), orYield(c.YieldAcid, YieldAcid)
	r := CeilingResult{
		StoichiometricGPer100ML: c.per100(1, 1), LikelyGPer100ML: c.per100(a.Likely, b.Likely),
		LikelyLowGPer100ML: c.per100(a.Low, b.Low), LikelyHighGPer100ML: c.per100(a.High, b.High),
	}
	r.PotentialABVPercent = PercentVol(float64(c.per100(a.Likely, 1)-c.AcidityGPer100ML) / float64(AceticFromABV(1)))
	if c.TargetGPer100ML > 0 {
		c.judge(&r, a, b)
	}
	c.addNotes(&r)
	r.Explain = c.explain(a, b)
	return r, nil
}

func (c Ceiling) judge(r *CeilingResult, a, b Yield) {
	t := c.TargetGPer100ML
	switch {
	case r.LikelyLowGPer100ML >= t:
		r.Reach = ReachLikely
	case r.LikelyHighGPer100ML >= t:
		r.Reach = ReachPossible
	case r.StoichiometricGPer100ML >= t:
		r.Reach = ReachUnlikely
	default:
		r.Reach = ReachNever
	}
	if r.LikelyGPer100ML >= t {
		return
	}
	short := float64(t-r.LikelyGPer100ML) * float64(c.VolumeML) / 100 // g of acid missing
	change := Change{StrongerABV: c.StrongerABV, ForML: c.VolumeML}
	if change.StrongerABV == 0 {
		change.StrongerABV = 12
	}
	// Sugar adds volume too, which dilutes: s (Y - t v/100) = short.
	perG := AceticPerSucrose*a.Likely*b.Likely - float64(t)*mlPerGSugar/100
	if perG > 0 {
		change.AddSugarG = short / perG
	}
	if gain := float64(AceticFromABV(change.StrongerABV))*b.Likely - float64(t); gain > 0 {
		change.AddStrongerML = Millilitres(100 * short / gain)
	}
	change.LessWaterML = c.VolumeML * Millilitres(1-r.LikelyGPer100ML/t)
	r.Change = &change
}

func (c Ceiling) addNotes(r *CeilingResult) {
	note := func(format string, v ...any) { r.Notes = append(r.Notes, fmt.Sprintf(format, v...)) }
	if r.LikelyGPer100ML > HomeAcidLimitLow {
		note("Acetic bacteria at home stop near 11 to 12 g/100 mL: alcohol would be left over.")
	}
	if r.PotentialABVPercent > InhibitingABV {
		note("Over 15 %% vol of alcohol stops acetic bacteria: use less sugar, or cut it with water after the alcoholic stage.")
	} else if r.PotentialABVPercent > bestABVHigh {
		note("About %.1f %% vol is strong for the acetic stage: cut it to 5 to 9 %% vol after the alcoholic stage.", float64(r.PotentialABVPercent))
	}
	if c.SucroseG+c.HexoseG+float64(c.ABVPercent) == 0 {
		note("There is no sugar or alcohol in it, so it cannot get sourer.")
	}
	note(CeilingIsNoMeasurement)
}

// CeilingIsNoMeasurement is the note on every ceiling, after those on this one.
const CeilingIsNoMeasurement = "The ceiling is not a measurement: only a titration shows what the jar reached."

func (c Ceiling) explain(a, b Yield) Explain {
	return Explain{
		Formula: "acidity = acid there + (sucrose × 0.5384 × y1 + hexose × 0.5114 × y1 + ethanol there) × y2 × 1.3035 ÷ volume; y1 = y2 = 1 for the stoichiometric ceiling",
		Values: []Given{{"sucrose", c.SucroseG, "g"}, {"hexose", c.HexoseG, "g"}, {"alcohol there", float64(c.ABVPercent), "% vol"},
			{"acid there", float64(c.AcidityGPer100ML), "g/100 mL"}, {"volume", float64(c.VolumeML), "mL"},
			{"y1, sugar to alcohol, likely", a.Likely, ""}, {"y2, alcohol to acid, likely", b.Likely, ""},
			{"y1 × y2, low", a.Low * b.Low, ""}, {"y1 × y2, high", a.High * b.High, ""}},
		Source: "Gay-Lussac's equation and C2H5OH + O2 → CH3COOH + H2O with the molar masses of IUPAC CIAAW. Yields: 16.83 g/L per % vol (EU and OIV) is 0.92; 80 to 90 % of theory in chemistry texts; the low ends are common practice.",
		Limits: "Nothing lost by evaporation or over-oxidation; up to 700 g/L of sugar.",
	}
}

// SugarFor asks for the sugar that makes a target acidity in a finished volume.
type SugarFor struct {
	TargetGPer100ML GramsPer100ML `json:"target_g_per_100ml"`
	VolumeML        Millilitres   `json:"volume_ml"` // finished
	YieldAlcohol    float64       `json:"yield_alcohol,omitempty"`
	YieldAcid       float64       `json:"yield_acid,omitempty"`
}

// SugarForResult is in table sugar and in honey.
type SugarForResult struct {
	SucroseGPerL  float64    `json:"sucrose_g_per_l"`
	SucroseG      Grams      `json:"sucrose_g"`
	SucroseUSCups float64    `json:"sucrose_us_cups"` // 200 g each
	HoneyG        Grams      `json:"honey_g"`
	LowG          Grams      `json:"low_g"`       // table sugar with high yields
	HighG         Grams      `json:"high_g"`      // with low yields
	ABVPercent    PercentVol `json:"abv_percent"` // after the alcoholic stage
	Notes         []string   `json:"notes,omitempty"`
	Explain       Explain    `json:"explain"`
}

// Result inverts the ceiling for sugar alone.
func (s SugarFor) Result() (SugarForResult, error) {
	a, b := orYield(s.YieldAlcohol, YieldAlcohol), orYield(s.YieldAcid, YieldAcid)
	if err := checkAll(in{"target_g_per_100ml", float64(s.TargetGPer100ML)}, in{"volume_ml", float64(s.VolumeML)},
		in{"yield_alcohol", a.Likely}, in{"yield_acid", b.Likely}); err != nil {
		return SugarForResult{}, err
	}
	perL := func(y1, y2 float64) float64 { return 10 * float64(s.TargetGPer100ML) / (AceticPerSucrose * y1 * y2) }
	litres := float64(s.VolumeML) / 1000
	likely := perL(a.Likely, b.Likely)
	honey, _ := FindFood("honey")
	acidPerHoney := (honey.SucroseG*AceticPerSucrose + honey.HexoseG*AceticPerHexose) / 100 * a.Likely * b.Likely
	r := SugarForResult{SucroseGPerL: likely, SucroseG: Grams(likely * litres), SucroseUSCups: likely * litres / 200,
		HoneyG: Grams(10 * float64(s.TargetGPer100ML) * litres / acidPerHoney),
		LowG:   Grams(perL(a.High, b.High) * litres), HighG: Grams(perL(a.Low, b.Low) * litres),
		ABVPercent: PercentVol(likely * EthanolPerSucrose * a.Likely / EthanolGPerL(1))}
	r.Notes = append(r.Notes, "Count the sugar of juice and fruit towards this amount.")
	if r.ABVPercent > bestABVHigh {
		r.Notes = append(r.Notes, "That makes more alcohol than the acetic stage likes: cut it after the alcoholic stage, or aim lower.")
	}
	r.Explain = Explain{
		Formula: "sugar g/L = 10 × target ÷ (0.7018 × y1 × y2)",
		Values:  []Given{{"target", float64(s.TargetGPer100ML), "g/100 mL"}, {"finished volume", float64(s.VolumeML), "mL"}, {"y1, sugar to alcohol", a.Likely, ""}, {"y2, alcohol to acid", b.Likely, ""}},
		Source:  "Stoichiometry of sucrose to acetic acid, molar masses of IUPAC CIAAW; honey by the USDA.",
		Limits:  "Finished volume, sugar alone; nothing lost by evaporation or over-oxidation.",
	}
	return r, nil
}
