package chem

import (
	"fmt"
	"math"
)

type handler func(*row) (any, error)

// constant is a handler for a value the code states.
func constant(v float64) handler { return func(*row) (any, error) { return v, nil } }

// pick chooses a stated value by one input.
func pick(key string, m map[string]float64) handler {
	return func(r *row) (any, error) {
		v, ok := m[r.in[key]]
		if !ok {
			return nil, fmt.Errorf("no value for %s=%s", key, r.in[key])
		}
		return v, nil
	}
}

// out gives a typed number and its error as a handler's answer.
func out[T ~float64](v T, err error) (any, error) { return float64(v), err }

// handlers compute each topic/quantity with the code under test.
var handlers = map[string]handler{
	"a_acetic_ph/molar_mass": constant(AceticMolarMass),
	"a_acetic_ph/pka_acetic": func(r *row) (any, error) { return out(PKaAcetic(Celsius(r.f("temp_c")))) },
	"a_acetic_ph/ph":         acidPH,
	"a_acetic_ph/hydrogen_ion_conc": func(r *row) (any, error) {
		x, _ := weakAcid(r.f("conc_mol_l"), math.Pow(10, -r.f("pka")), daviesA(25))
		return x, nil
	},
	"a_acetic_ph/hydrogen_ion_ratio": func(r *row) (any, error) {
		v, err := PHRatio{PH(4), PH(4 - r.f("delta_ph"))}.Result()
		return v.Ratio, err
	},
	"a_acetic_ph/acidity_ratio_from_ph_error": func(r *row) (any, error) { return AcidityErrorFactor(r.f("delta_ph")), nil },
	"a_acetic_ph/ph_difference": func(r *row) (any, error) {
		ka := math.Pow(10, -r.f("pka"))
		lo, _ := weakAcid(r.f("acetic_g_100ml_low")*10/AceticMolarMass, ka, 0)
		hi, _ := weakAcid(r.f("acetic_g_100ml_high")*10/AceticMolarMass, ka, 0)
		return math.Log10(hi / lo), nil
	},

	"b_titratable_acidity/equivalent_weight": func(r *row) (any, error) { return out(Acid(r.in["acid"]).GramsPerEquivalent()) },
	"b_titratable_acidity/molar_mass":        pick("compound", map[string]float64{"KHP": KHPMolarMass}),
	"b_titratable_acidity/acetic_g_100g": func(r *row) (any, error) {
		return out(MassTitration(Millilitres(r.f("naoh_ml")), MolPerLitre(r.f("naoh_mol_l")), Grams(r.f("sample_g"))))
	},
	"b_titratable_acidity/acetic_g_100ml": titratedAcidity,
	"b_titratable_acidity/khp_mol":        func(r *row) (any, error) { return r.f("khp_g") / KHPMolarMass, nil },
	"b_titratable_acidity/naoh_mol_l": func(r *row) (any, error) {
		v, err := Standardisation{Runs: []KHPRun{{Grams(r.f("khp_g")), Millilitres(r.f("naoh_ml"))}}, PurityFraction: r.f("purity")}.Result()
		return out(v.BaseMolPerL, err)
	},
	"b_titratable_acidity/grain": func(r *row) (any, error) { return Grain(GramsPer100ML(r.f("acetic_g_100ml"))), nil },
	"b_titratable_acidity/acetic_g_per_ml_titrant": func(r *row) (any, error) {
		// In 100 mL of sample, g/100 mL is grams.
		v, err := titrate(r.f("naoh_ml"), r.f("naoh_mol_l"), 100, 1, Acetic)
		return float64(v.AcidityGPer100ML), err
	},
	"b_titratable_acidity/fixed_acidity_g_l": perLitre,
	"b_titratable_acidity/total_acidity_g_l": perLitre,
	"b_titratable_acidity/ta_g_l":            perLitre,
	"b_titratable_acidity/ta_conversion_factor": func(r *row) (any, error) {
		return out(ConvertAcidity(1, Acid(r.in["from_acid"]), Acid(r.in["to_acid"])))
	},
	"b_titratable_acidity/solution_density": func(r *row) (any, error) { return out(AceticDensity(PercentMass(r.f("acetic_g_100g")))) },
	"b_titratable_acidity/acetic_mol_kg":    func(r *row) (any, error) { return out(Molality(PercentMass(r.f("acetic_g_100g")))) },

	"c_ph_calibration/buffer_ph":        func(r *row) (any, error) { return out(Buffer(r.in["buffer"]).PH(Celsius(r.f("temp_c")))) },
	"c_ph_calibration/nernst_slope":     func(r *row) (any, error) { return out(NernstSlope(Celsius(r.f("temp_c")))) },
	"c_ph_calibration/slope_low_limit":  pick("criterion", map[string]float64{"USP791": SlopeLowPercent, "handout": CautiousSlopeLowPercent}),
	"c_ph_calibration/slope_high_limit": pick("criterion", map[string]float64{"USP791": SlopeHighPercent}),
	"c_ph_calibration/offset_limit_abs": pick("criterion", map[string]float64{"USP791": OffsetLimitMV}),
	"c_ph_calibration/span": func(r *row) (any, error) {
		c, err := calibrate(r)
		return c.SlopePercent / 100 * nernst(Celsius(r.f("temp_c"))) * (r.f("ph_a") - r.f("ph_b")), err
	},
	"c_ph_calibration/slope_percent": func(r *row) (any, error) { c, err := calibrate(r); return c.SlopePercent, err },
	"c_ph_calibration/sample_ph": func(r *row) (any, error) {
		c, err := calibrate(r)
		if err != nil {
			return nil, err
		}
		v, err := c.CorrectMV(r.f("mv_sample"), Celsius(r.f("temp_c")))
		return out(v.PH, err)
	},

	"d_brix_sg/sg_20_20": func(r *row) (any, error) { return out(GravityFromBrix(DegreesBrix(r.f("brix")))) },
	"d_brix_sg/brix": func(r *row) (any, error) {
		if r.has("refractive_index") {
			return out(BrixFromRefractiveIndex(r.f("refractive_index")))
		}
		return out(BrixFromGravity(SpecificGravity(r.f("sg_20_20"))))
	},
	"d_brix_sg/plato":                func(r *row) (any, error) { return out(PlatoFromGravity(SpecificGravity(r.f("sg_20_20")))) },
	"d_brix_sg/lb_per_us_gal_in_air": func(r *row) (any, error) { return out(PoundsPerUSGallon(DegreesBrix(r.f("brix")))) },
	"d_brix_sg/density":              func(r *row) (any, error) { return out(DensityFromBrix(DegreesBrix(r.f("brix")))) },
	"d_brix_sg/sugar_g_l":            func(r *row) (any, error) { return out(SugarGPerL(DegreesBrix(r.f("brix")))) },
	"d_brix_sg/water_density":        func(r *row) (any, error) { return out(WaterDensity(Celsius(r.f("temp_c")))) },
	"d_brix_sg/sg_correction_add":    func(r *row) (any, error) { v, err := hydrometer(r); return v - r.f("reading_sg"), err },
	"d_brix_sg/sg_corrected":         func(r *row) (any, error) { return out(hydrometer(r)) },

	"e_alcohol/molar_mass": pick("compound", map[string]float64{"ethanol": EthanolMolarMass}),
	"e_alcohol/density": func(r *row) (any, error) {
		m := PercentMass(100) // pure ethanol
		if r.has("abw_percent") {
			m = PercentMass(r.f("abw_percent"))
		}
		if r.has("abv_percent") {
			var err error
			if m, err = VolToMass(PercentVol(r.f("abv_percent"))); err != nil {
				return nil, err
			}
		}
		return out(EthanolDensity(m))
	},
	"e_alcohol/ethanol_yield_theoretical": pick("sugar", map[string]float64{"hexose": EthanolPerHexose, "sucrose": EthanolPerSucrose}),
	"e_alcohol/sugar_g_l_per_percent_vol": func(r *row) (any, error) {
		if r.in["rule"] == "EU_wine" {
			return SugarGPerLPerPercentVol, nil
		}
		return EthanolGPerL(1) / EthanolPerHexose, nil
	},
	"e_alcohol/fraction_of_theoretical_yield": func(r *row) (any, error) {
		return EthanolGPerL(1) / r.f("sugar_g_l_per_percent_vol") / EthanolPerHexose, nil
	},
	"e_alcohol/potential_abv": func(r *row) (any, error) { return out(PotentialABV(r.f("sugar_g_l"))) },
	"e_alcohol/ethanol_g_l":   func(r *row) (any, error) { return EthanolGPerL(PercentVol(r.f("abv_percent"))), nil },
	"e_alcohol/abw_percent": func(r *row) (any, error) {
		if r.has("oe_plato") {
			return out(BallingABW(r.f("oe_plato"), r.f("ae_plato")))
		}
		return out(VolToMass(PercentVol(r.f("abv_percent"))))
	},
	"e_alcohol/abv_percent": func(r *row) (any, error) { return out(MassToVol(PercentMass(r.f("abw_percent")))) },
	"e_alcohol/hmrc_factor": func(r *row) (any, error) { return out(GravityFactor(r.f("excess_gravity_points"))) },
	"e_alcohol/abv": func(r *row) (any, error) {
		v, err := Alcohol{SpecificGravity(r.f("og")), SpecificGravity(r.f("fg"))}.Result()
		return out(v.ABVPercent, err)
	},
	"e_alcohol/real_extract":     func(r *row) (any, error) { return out(RealExtract(r.f("oe_plato"), r.f("ae_plato"))) },
	"e_alcohol/extract_consumed": func(r *row) (any, error) { return r.f("ethanol_g") * extractPerEthanol, nil },
	"e_alcohol/water_to_add_ml": func(r *row) (any, error) {
		v, err := Cut{Millilitres(1000 * r.f("spirit_l")), PercentVol(r.f("abv_start")), PercentVol(r.f("abv_target"))}.Result()
		return out(v.WaterML, err)
	},

	"f_acetification/acetic_yield_theoretical":     constant(AceticPerEthanol),
	"f_acetification/acetic_g_100ml_theoretical":   func(r *row) (any, error) { return out(AceticFromABV(PercentVol(r.f("abv_percent"))), nil) },
	"f_acetification/acetic_per_sugar_theoretical": pick("sugar", map[string]float64{"hexose": AceticPerHexose, "sucrose": AceticPerSucrose}),
	"f_acetification/acidity_per_percent_abv":      constant(TotalConcentration),
	"f_acetification/final_acidity": func(r *row) (any, error) {
		if r.has("yield") {
			return out(FinalAcidity(GramsPer100ML(r.f("acidity_g_100ml")), PercentVol(r.f("abv_percent")), r.f("yield")))
		}
		p := Portion{100, GramsPer100ML(r.f("acidity_g_100ml")), PercentVol(r.f("abv_percent"))}
		v, err := Blend{Portions: []Portion{p, p}}.Result()
		return out(v.TotalGPer100ML, err)
	},
	"f_acetification/practical_yield_low":       pick("process", map[string]float64{"general": 100 * YieldAcidText.Low, "submerged": 100 * YieldAcidSubmerged.Low}),
	"f_acetification/practical_yield_high":      pick("process", map[string]float64{"general": 100 * YieldAcidText.High, "submerged": 100 * YieldAcidSubmerged.High}),
	"f_acetification/temp_low":                  constant(float64(HomeCiderLowC)*1.8 + 32),
	"f_acetification/temp_high":                 constant(float64(HomeCiderHighC)*1.8 + 32),
	"f_acetification/temp_optimum_low":          constant(float64(OptimumLowC)),
	"f_acetification/temp_optimum_high":         constant(float64(OptimumHighC)),
	"f_acetification/temp_max":                  constant(float64(QuickProcessMaxC)),
	"f_acetification/alcohol_inhibits_above":    constant(InhibitingABV),
	"f_acetification/acid_limit_low":            pick2("process", "method", map[string]float64{"dilute_alcohol": AcidStopsLow, "conventional_home": HomeAcidLimitLow}),
	"f_acetification/acid_limit_high":           pick2("process", "method", map[string]float64{"conventional_home": HomeAcidLimitHigh}),
	"f_acetification/recommended_start_acidity": constant(StartMixAcidity),
	"f_acetification/recommended_start_alcohol": constant(StartMixABV),
	"f_acetification/recommended_alcohol_feed":  constant(FeedABV),
	"f_acetification/starter_fraction_min": func(*row) (any, error) {
		v, err := Starter{FeedML: 24, FeedAcidityGPer100ML: 2, StarterAcidityGPer100ML: 5}.Result() // sour feed: the share decides
		return float64(v.StarterML / v.TotalML), err
	},
	"f_acetification/max_acetic_g_100ml":      func(r *row) (any, error) { v, err := ceiling(r); return out(v.StoichiometricGPer100ML, err) },
	"f_acetification/expected_acetic_g_100ml": func(r *row) (any, error) { v, err := ceiling(r); return out(v.LikelyGPer100ML, err) },
	"f_acetification/sucrose_needed_g_l": func(r *row) (any, error) {
		v, err := SugarFor{GramsPer100ML(r.f("target_acetic_g_100ml")), 1000, r.f("yield_alcohol"), r.f("yield_acid")}.Result()
		return v.SucroseGPerL, err
	},

	"g_kitchen_units/volume_ml":         unitVolume,
	"g_kitchen_units/volume_ml_rounded": unitVolume,
	"g_kitchen_units/mass_g":            foodMass,
	"g_kitchen_units/sugars_total":      func(r *row) (any, error) { f, err := food(r); return f.SucroseG + f.HexoseG, err },
	"g_kitchen_units/sucrose":           func(r *row) (any, error) { f, err := food(r); return f.SucroseG, err },
	"g_kitchen_units/sugars_g": func(r *row) (any, error) {
		f, err := food(r)
		if err != nil {
			return nil, err
		}
		v, err := SugarFrom([]Ingredient{{Name: f.Name, Amount: Amount{MassG: Grams(r.f("mass_g"))}}}, 1)
		return v.SucroseG + v.HexoseG, err
	},
	"g_kitchen_units/temp_c": func(r *row) (any, error) { return out(ParseTemperature(r.in["temp_f"] + " F")) },

	"h_blending/v2_ml":       func(r *row) (any, error) { v, err := dilution(r); return out(v.FinalVolumeML, err) },
	"h_blending/water_ml":    func(r *row) (any, error) { v, err := dilution(r); return out(v.WaterML, err) },
	"h_blending/parts_low":   func(r *row) (any, error) { v, err := pearson(r, 0); return v.PartsLow, err },
	"h_blending/parts_high":  func(r *row) (any, error) { v, err := pearson(r, 0); return v.PartsHigh, err },
	"h_blending/percent_low": func(r *row) (any, error) { v, err := pearson(r, 100); return float64(v.LowML), err },
	"h_blending/volume_high_us_gal": func(r *row) (any, error) {
		v, err := pearson(r, r.f("total_volume_us_gal"))
		return float64(v.HighML), err
	},
	"h_blending/volume_high_ml":            func(r *row) (any, error) { v, err := pearson(r, r.f("total_volume_ml")); return float64(v.HighML), err },
	"h_blending/feasible":                  func(r *row) (any, error) { _, err := pearson(r, 0); return err == nil, nil },
	"h_blending/blend_volume_l":            func(r *row) (any, error) { v, err := blend(r); return float64(v.VolumeML) / 1000, err },
	"h_blending/blend_acidity":             func(r *row) (any, error) { v, err := blend(r); return out(v.AcidityGPer100ML, err) },
	"h_blending/blend_total_concentration": func(r *row) (any, error) { v, err := blend(r); return out(v.TotalGPer100ML, err) },
	"h_blending/remaining_volume_l":        func(r *row) (any, error) { return remainder(r), nil },
	"h_blending/remaining_acidity": func(r *row) (any, error) {
		// The blend with a remainder of no acid lacks exactly what the remainder must bring.
		v, err := Blend{Portions: []Portion{{Millilitres(1000 * r.f("v2_l")), GramsPer100ML(r.f("acid2")), 0}, {Millilitres(1000 * r.f("v3_l")), GramsPer100ML(r.f("acid3")), 0},
			{Millilitres(1000 * r.f("water_l")), 0, 0}, {Millilitres(1000 * remainder(r)), 0, 0}}}.Result()
		return (r.f("acid_target") - float64(v.AcidityGPer100ML)) * r.f("total_l") / remainder(r), err
	},

	"i_statistics/t_critical": func(r *row) (any, error) {
		p := r.f("confidence")
		if r.f("sides") == 2 {
			p = (1 + p) / 2
		}
		return TQuantile(p, r.f("dof")), nil
	},
	"i_statistics/regression_intercept":    func(r *row) (any, error) { l, err := line(r); return l.Intercept, err },
	"i_statistics/regression_slope":        func(r *row) (any, error) { l, err := line(r); return l.Slope, err },
	"i_statistics/regression_intercept_sd": func(r *row) (any, error) { l, err := line(r); return l.InterceptSD, err },
	"i_statistics/regression_slope_sd":     func(r *row) (any, error) { l, err := line(r); return l.SlopeSD, err },
	"i_statistics/regression_residual_sd":  func(r *row) (any, error) { l, err := line(r); return l.ResidualSD, err },
	"i_statistics/regression_r_squared":    func(r *row) (any, error) { l, err := line(r); return l.RSquared, err },
	"i_statistics/regression_slope_ci_halfwidth": func(r *row) (any, error) {
		l, err := line(r)
		return TQuantile((1+r.f("confidence"))/2, float64(l.N-2)) * l.SlopeSD, err
	},
	"i_statistics/sample_mean":                   func(r *row) (any, error) { return Mean(r.list("x_list")), nil },
	"i_statistics/sample_sd":                     func(r *row) (any, error) { return StdDev(r.list("x_list")), nil },
	"i_statistics/relative_standard_uncertainty": func(r *row) (any, error) { return qualityBudget(r), nil },
	"i_statistics/standard_uncertainty":          func(r *row) (any, error) { return qualityBudget(r) * r.f("value_mol_l"), nil },
	"i_statistics/ta_standard_uncertainty": func(r *row) (any, error) {
		v, err := titrate(r.f("naoh_ml"), r.f("naoh_mol_l"), r.f("sample_ml"), 1, Acetic)
		return float64(v.AcidityGPer100ML) * Quadrature(r.f("u_naoh_ml")/r.f("naoh_ml"), r.f("u_naoh_mol_l")/r.f("naoh_mol_l"), r.f("u_sample_ml")/r.f("sample_ml")), err
	},
	"i_statistics/mean_ci_halfwidth": func(r *row) (any, error) {
		_, half, err := MeanInterval(r.list("x_list"), r.f("confidence"))
		return half, err
	},
}

func pick2(a, b string, m map[string]float64) handler {
	return func(r *row) (any, error) {
		if r.has(a) {
			return pick(a, m)(r)
		}
		return pick(b, m)(r)
	}
}

func acidPH(r *row) (any, error) {
	c := 0.0
	switch {
	case r.has("conc_mol_l"):
		c = r.f("conc_mol_l")
	case r.has("normality_eq_l"):
		c = r.f("normality_eq_l")
	default:
		c = r.f("acetic_g_100ml") * 10 / AceticMolarMass
	}
	ka, a := 0.0, 0.0
	switch {
	case r.has("ka"):
		ka = r.f("ka")
	case r.has("pka"):
		ka = math.Pow(10, -r.f("pka"))
	default: // a published pH of the acid itself
		t := 25.0
		if r.has("temp_c") {
			t = r.f("temp_c")
		}
		v, err := PHOf{GramsPer100ML(c * AceticMolarMass / 10), Celsius(t)}.Result()
		return out(v.PH, err)
	}
	if r.in["activity"] == "davies" {
		a = daviesA(25)
	}
	x, g := weakAcid(c, ka, a)
	return -math.Log10(g * x), nil
}

func titrate(baseML, base, sampleML, dilution float64, acid Acid) (TitrationResult, error) {
	return Titration{SampleML: Millilitres(sampleML), BaseMolPerL: MolPerLitre(base), DilutionFactor: dilution, Acid: acid,
		Replicates: []Replicate{{0, Millilitres(baseML)}}}.Result()
}

func titratedAcidity(r *row) (any, error) {
	switch {
	case r.has("acetic_mol_l"): // 10 mL of it take that many times 10 mL of 1 mol/L base
		v, err := titrate(10*r.f("acetic_mol_l"), 1, 10, 1, Acetic)
		return out(v.AcidityGPer100ML, err)
	case r.has("acetic_g_100g"):
		return out(AcidityFromMass(PercentMass(r.f("acetic_g_100g")), r.f("density_g_ml")))
	}
	d := 1.0
	if r.has("dilution_factor") {
		d = r.f("dilution_factor")
	}
	v, err := titrate(r.f("naoh_ml"), r.f("naoh_mol_l"), r.f("sample_ml"), d, Acid(r.in["acid"]))
	return out(v.AsAcidGPer100ML, err)
}

func perLitre(r *row) (any, error) {
	v, err := titrate(r.f("naoh_ml"), r.f("naoh_mol_l"), r.f("sample_ml"), 1, Acid(r.in["acid"]))
	return 10 * float64(v.AsAcidGPer100ML), err
}

func calibrate(r *row) (Calibration, error) {
	t := Celsius(r.f("temp_c"))
	phA, phB, a, b := PH(r.f("ph_a")), PH(r.f("ph_b")), r.f("mv_a"), r.f("mv_b")
	return CalibrationInput{[]CalibrationPoint{{BufferPH: &phA, TemperatureC: t, MV: &a}, {BufferPH: &phB, TemperatureC: t, MV: &b}}}.Result()
}

func hydrometer(r *row) (float64, error) {
	v, err := CorrectHydrometer(SpecificGravity(r.f("reading_sg")), Celsius(r.f("temp_c")), Celsius(r.f("cal_temp_c")))
	return float64(v), err
}

func ceiling(r *row) (CeilingResult, error) {
	c := Ceiling{VolumeML: 1000}
	if r.has("sucrose_g_l") {
		c.SucroseG = r.f("sucrose_g_l")
	} else {
		perL := 10 * r.f("density_g_ml")
		c.SucroseG, c.HexoseG = r.f("sucrose_g_100g")*perL, r.f("hexose_g_100g")*perL
	}
	if r.has("yield_alcohol") {
		c.YieldAlcohol, c.YieldAcid = r.f("yield_alcohol"), r.f("yield_acid")
	}
	return c.Result()
}

func unitVolume(r *row) (any, error) {
	written := map[string]string{"us_cup": "1 cup", "us_tbsp": "1 tbsp", "us_tsp": "1 tsp", "us_fl_oz": "1 fl oz", "us_pint": "1 pt", "us_quart": "1 qt",
		"us_gallon": "1 gal", "imperial_pint": "1 imp pt", "imperial_gallon": "1 imp gal", "imperial_fl_oz": "1 imp fl oz",
		"cupful": "1 cup", "liquid_pint": "1 pint", "teaspoonful": "1 teaspoon", "tablespoonful": "1 tablespoon"}
	return out(ParseVolume(written[r.in["unit"]]))
}

func food(r *row) (Food, error) {
	names := map[string]string{"sugar_granulated": "sugar", "sugar_brown_packed": "brown sugar", "sugar_brown": "brown sugar", "honey": "honey", "apple_juice": "apple juice",
		"apple_raw_with_skin": "apples", "grapes_red_or_green": "grapes", "grape_juice_unsweetened": "grape juice"}
	f, ok := FindFood(names[r.in["food"]])
	if !ok {
		return f, fmt.Errorf("food %s is not in the table", r.in["food"])
	}
	return f, nil
}

func foodMass(r *row) (any, error) {
	if r.in["unit"] == "lb_avdp" {
		return out(ParseMass("1 lb"))
	}
	f, err := food(r)
	if err != nil {
		return nil, err
	}
	a, err := ParseAmount(map[string]string{"us_cup": "1 cup", "us_tsp": "1 tsp", "us_tbsp": "1 tbsp"}[r.in["unit"]])
	if err != nil {
		return nil, err
	}
	return out(f.grams(a))
}

func dilution(r *row) (DilutionResult, error) {
	suffix := "_g_100ml"
	if r.has("c1_percent") {
		suffix = "_percent"
	}
	return Dilution{VolumeML: Millilitres(r.f("v1_ml")), AcidityGPer100ML: GramsPer100ML(r.f("c1" + suffix)), TargetGPer100ML: GramsPer100ML(r.f("c2" + suffix))}.Result()
}

func pearson(r *row, total float64) (PearsonResult, error) {
	return PearsonSquare{r.f("c_low"), r.f("c_high"), r.f("c_target"), Millilitres(total)}.Result()
}

func blend(r *row) (BlendResult, error) {
	if r.has("v1_l") {
		return Blend{Portions: []Portion{{Millilitres(1000 * r.f("v1_l")), GramsPer100ML(r.f("acid1_g_100ml")), PercentVol(r.f("abv1"))},
			{Millilitres(1000 * r.f("v2_l")), GramsPer100ML(r.f("acid2_g_100ml")), PercentVol(r.f("abv2"))}}}.Result()
	}
	return Blend{Portions: []Portion{{Millilitres(r.f("v1_ml")), GramsPer100ML(r.f("c1_g_100ml")), 0}, {Millilitres(r.f("v2_ml")), GramsPer100ML(r.f("c2_g_100ml")), 0}}}.Result()
}

func remainder(r *row) float64 { return r.f("total_l") - r.f("v2_l") - r.f("v3_l") - r.f("water_l") }

func line(r *row) (Line, error) { return FitLine(r.list("x_list"), r.list("y_list")) }

func qualityBudget(r *row) float64 {
	return Quadrature(r.f("u_rel_repeatability"), r.f("u_rel_mass"), r.f("u_rel_purity"), r.f("u_rel_molar_mass"), r.f("u_rel_volume"))
}
