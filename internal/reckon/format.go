package reckon

import (
	"math"
	"strconv"
	"strings"
	"time"

	"cruet/internal/chem"
)

// fix writes x with that many decimals; a zero has no sign.
func fix[T ~float64](x T, decimals int) string {
	s := strconv.FormatFloat(float64(x), 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// Figure writes a number for a table: up to 5 significant digits, no exponent.
func Figure(x float64) string {
	if !finite(x) {
		return "not limited"
	}
	r, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 5, 64), 64)
	if err != nil {
		r = x
	}
	return strconv.FormatFloat(r+0, 'f', -1, 64)
}

// plusMinus writes a value in as many digits as its uncertainty allows, which
// is rounded up.
func plusMinus(v, expanded float64) string {
	switch {
	case expanded <= 0:
		return fix(v, 2)
	case expanded < 0.0995:
		return fix(v, 2) + " ± " + fix(math.Ceil(expanded*100-1e-9)/100, 2)
	}
	return fix(v, 1) + " ± " + fix(math.Ceil(expanded*10-1e-9)/10, 1)
}

// down writes x rounded down, for what must not be overstated.
func down[T ~float64](x T, decimals int) string {
	p := math.Pow(10, float64(decimals))
	return fix(math.Floor(float64(x)*p+1e-9)/p, decimals)
}

func computed(label, value, unit string) Line {
	return Line{Label: label, Value: value, Unit: unit, Basis: Computed}
}

func measured(label, value, unit string) Line {
	return Line{Label: label, Value: value, Unit: unit, Basis: Measured}
}

// volume and mass are lines in the unit that a kitchen would measure in.
func volume(label string, v chem.Millilitres) Line {
	return Line{Label: label, Basis: Computed, quantity: v}.In(chem.Metric)
}

func mass(label string, g chem.Grams) Line {
	return Line{Label: label, Basis: Computed, quantity: g}.In(chem.Metric)
}

func day(t time.Time) string { return t.Format("2 Jan 2006") }

func given(name string, value float64, unit string) chem.Given {
	return chem.Given{Name: name, Value: value, Unit: unit}
}
