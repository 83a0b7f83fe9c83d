package main

import (
	"strings"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/reckon"
)

// optional reads a flag's text with parse, and nil when the flag was not given.
// What cannot be read is wrong use, said in the parser's own words.
func optional[T any](flag, text string, parse func(string) (T, error)) (*T, error) {
	if text == "" {
		return nil, nil
	}
	v, err := parse(text)
	if err != nil {
		return nil, wrongUse("--"+flag, "%s", err)
	}
	return &v, nil
}

// needed is optional for a flag that must be given.
func needed[T any](flag, text string, parse func(string) (T, error)) (T, error) {
	v, err := optional(flag, text, parse)
	if err != nil || v == nil {
		var zero T
		if err == nil {
			err = &usageError{message: "--" + flag + " is missing."}
		}
		return zero, err
	}
	return *v, nil
}

// plainNumber reads a number of a kind that has no unit, or only the one that
// suffixes names.
func plainNumber[T ~float64](suffixes ...string) func(string) (T, error) {
	return func(text string) (T, error) {
		s := strings.TrimSpace(text)
		for _, suffix := range suffixes {
			if rest, ok := cutSuffixFold(s, suffix); ok {
				s = strings.TrimSpace(rest)
				break
			}
		}
		v, err := chem.ParseNumber(s)
		return T(v), err
	}
}

func cutSuffixFold(s, suffix string) (string, bool) {
	if n := len(s) - len(suffix); n >= 0 && strings.EqualFold(s[n:], suffix) {
		return s[:n], true
	}
	return s, false
}

var (
	parsePH      = plainNumber[chem.PH]()
	parseGravity = plainNumber[chem.SpecificGravity]()
	parseBrix    = plainNumber[chem.DegreesBrix]("°Bx", "Bx")
	parseABV     = plainNumber[chem.PercentVol]("% vol", "%")
	// Per cent of acidity means grams in 100 mL on every vinegar label.
	parseAcidity = plainNumber[chem.GramsPer100ML]("g/100 mL", "g/100mL", "%")
	parseFactor  = plainNumber[float64]()
	parseMinutes = plainNumber[float64]("minutes", "min")
)

// parseMillimetres reads a length: mm, cm or in (25.4 mm by definition).
func parseMillimetres(text string) (float64, error) {
	s := strings.TrimSpace(text)
	for _, unit := range []struct {
		name string
		mm   float64
	}{{"mm", 1}, {"cm", 10}, {"in", 25.4}} {
		if rest, ok := cutSuffixFold(s, unit.name); ok {
			v, err := chem.ParseNumber(strings.TrimSpace(rest))
			return v * unit.mm, err
		}
	}
	return 0, larder.Refuse("", "Write a length with its unit, mm, cm or in: \"98 mm\".")
}

// parseIngredient reads "pears, peels and cores: 2.4 kg", "cider: 3 L, 6 % vol",
// or a bare name whose amount nobody weighed.
func parseIngredient(text string) (larder.Ingredient, error) {
	i := strings.LastIndexByte(text, ':')
	if i < 0 {
		if strings.ContainsAny(text, "0123456789") {
			return larder.Ingredient{}, larder.Refuse("", "Write an ingredient as NAME: AMOUNT, like \"pears: 2.4 kg\".")
		}
		return larder.Ingredient{Name: strings.TrimSpace(text)}, nil
	}
	if rest := text[i+1:]; strings.Contains(rest, "%") || strings.Contains(rest, "/100") {
		one, err := reckon.Ingredient(text)
		out := larder.Ingredient{Name: one.Name, Amount: one.Amount, SugarGPer100G: one.SugarGPer100G}
		if one.ABVPercent != 0 {
			out.ABVPercent = &one.ABVPercent
		}
		return out, err
	}
	amount, err := chem.ParseAmount(text[i+1:])
	return larder.Ingredient{Name: strings.TrimSpace(text[:i]), Amount: amount}, err
}
