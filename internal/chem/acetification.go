package chem

// Stoichiometry, molar masses by IUPAC CIAAW: C2H5OH + O2 -> CH3COOH + H2O.
const (
	// AceticPerEthanol is g of acetic acid per g of ethanol.
	AceticPerEthanol = AceticMolarMass / EthanolMolarMass
	// AceticPerHexose is g per g of glucose, fructose or invert sugar.
	AceticPerHexose = 2 * AceticMolarMass / hexoseMolarMass
	// AceticPerSucrose is g per g of table sugar.
	AceticPerSucrose = 4 * AceticMolarMass / sucroseMolarMass
	// TotalConcentration is the trade's round figure, 1 g/100 mL per % vol: acidity and alcohol added
	// up stay the same (Ebner et al., Biotechnology). The stoichiometric figure is 2.9 % higher.
	TotalConcentration = 1.0
)

// AceticFromABV is the acidity in g/100 mL that v % vol becomes without loss, 1.0288 per % vol.
func AceticFromABV(v PercentVol) GramsPer100ML {
	return GramsPer100ML(EthanolGPerL(v) / 10 * AceticPerEthanol)
}

// FinalAcidity is acid already there plus what the alcohol becomes at the given yield (0.3 to 1).
func FinalAcidity(acidity GramsPer100ML, abv PercentVol, yield float64) (GramsPer100ML, error) {
	if err := checkAll(in{"acidity_g_per_100ml", float64(acidity)}, in{"abv_percent", float64(abv)}, in{"yield_acid", yield}); err != nil {
		return 0, err
	}
	return acidity + AceticFromABV(abv)*GramsPer100ML(yield), nil
}

// Yield is the fraction of theory a step reaches: likely, and a practical range.
type Yield struct {
	Low    float64 `json:"low"`
	Likely float64 `json:"likely"`
	High   float64 `json:"high"`
}

var (
	// YieldAlcohol of sugar to ethanol: the EU's 16.83 g/L per % vol is 0.917 of theory.
	YieldAlcohol = Yield{0.85, 0.90, 0.95}
	// YieldAcid of ethanol to acid in a jar: 0.80 to 0.90 in chemistry texts, 0.75 in an open jar
	// (common practice, no published source).
	YieldAcid = Yield{0.75, 0.85, 0.90}
	// YieldAcidSubmerged is industry's: Ebner, Sellmer and Enenkel, Biotechnology vol. 6 (1996), from memory.
	YieldAcidSubmerged = Yield{0.94, 0.96, 0.98}
	// YieldAcidText is the range of general chemistry texts.
	YieldAcidText = Yield{0.80, 0.85, 0.90}
)

// Published working ranges of the acetic stage.
const (
	HomeCiderLowC           Celsius = (60.0 - 32) / 1.8 // Ohio State University Extension HYG-5346-09
	HomeCiderHighC          Celsius = (80.0 - 32) / 1.8 // the same
	OptimumLowC             Celsius = 25                // Bergey's Manual, Acetobacter 25 to 30 °C, from memory
	OptimumHighC            Celsius = 30
	QuickProcessMaxC        Celsius = 35 // chemistry texts on the quick process
	InhibitingABV                   = 15 // % vol; chemistry texts on the quick process
	AcidStopsLow                    = 12 // g/100 mL; bacteria cease to thrive at 12 to 14, chemistry texts
	AcidStopsHigh                   = 14
	HomeAcidLimitLow                = 11 // g/100 mL; 11 to 12 under ordinary conditions, a vinegar course
	HomeAcidLimitHigh               = 12
	WeakestVinegarGPer100ML         = 4   // g/100 mL; under it nothing is called vinegar (FDA CPG 525.825)
	FeedABV                         = 5.5 // % vol to cut wine and beer to, a small-farm textbook
	StartMixAcidity                 = 4.0 // g/100 mL and % vol of the liveliest starting mixture, a vinegar course
	StartMixABV                     = 2.0
	StarterFraction                 = 0.25 // of the whole: at most 3 parts feed to 1 of mother, a small-farm textbook

	bestABVHigh = 9 // sources say under 8, 7 to 9, 5 to 10: a warning, not a stop
)
