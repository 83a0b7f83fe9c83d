package chem

// Explain opens a result to how it came about.
type Explain struct {
	Formula string  `json:"formula"`
	Values  []Given `json:"values"`
	Source  string  `json:"source"`
	Limits  string  `json:"limits"` // where it holds
}

// Given is one number put into a formula.
type Given struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

func (t Titration) explain(res TitrationResult, dilution float64) Explain {
	return Explain{
		Formula: "acidity = (V - blank) × N × E × D ÷ (10 × S); expanded uncertainty = t × √(sum of the squared terms)",
		Values: []Given{
			{"V, mean base used", float64(res.MolPerL)*float64(t.SampleML)/float64(t.BaseMolPerL)/dilution + float64(t.BlankML), "mL"},
			{"blank", float64(t.BlankML), "mL"},
			{"N, base", float64(t.BaseMolPerL), "mol/L"},
			{"E, acetic acid", AceticMolarMass, "g/mol"},
			{"D, dilution factor", dilution, ""},
			{"S, sample", float64(t.SampleML), "mL"},
			{"t, 95 %", res.CoverageFactor, ""},
		},
		Source: "AOAC 930.35 and OIV-MA-VI-01 (titratable acidity of vinegar); JCGM 100:2008 (GUM) for the uncertainty.",
		Limits: "Every acid in the liquid counts, not acetic acid alone. Sample 0.1 to 250 mL, base 0.005 to 2 mol/L, result up to 20 g/100 mL. Stop at pH 8.2 (phenolphthalein just pink).",
	}
}
