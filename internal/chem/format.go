package chem

import (
	"math"
	"strconv"
	"strings"
)

// System is the system of units a page or label speaks.
type System int

// The systems of units.
const (
	Metric System = iota
	US
)

// FormatVolume writes a volume for reading, rounded to what a kitchen can measure: "250 mL", "3.8 L",
// "1.5 tsp", "8.45 fl oz", "2.11 qt".
func FormatVolume(v Millilitres, s System) string {
	ml := float64(v)
	if s == US {
		switch a := math.Abs(ml); {
		case a < USFluidOunceML/2:
			return digits(ml/USTeaspoonML, 2) + " tsp"
		case a < USQuartML:
			return digits(ml/USFluidOunceML, 3) + " fl oz"
		case a < usGallonML:
			return digits(ml/USQuartML, 3) + " qt"
		}
		return digits(ml/usGallonML, 3) + " gal"
	}
	switch a := math.Abs(ml); {
	case a < 9.95:
		return digits(ml, 2) + " mL"
	case a < 999.5:
		return strconv.FormatFloat(math.Round(ml), 'f', 0, 64) + " mL"
	}
	return digits(ml/1000, 3) + " L"
}

// FormatMass writes a mass for reading: "250 g", "2.4 kg", "8.8 oz", "5.29 lb".
func FormatMass(m Grams, s System) string {
	g := float64(m)
	if s == US {
		if math.Abs(g) < poundG {
			return digits(g/(poundG/16), 3) + " oz"
		}
		return digits(g/poundG, 3) + " lb"
	}
	switch a := math.Abs(g); {
	case a < 0.9995:
		return digits(g*1000, 3) + " mg"
	case a < 999.5:
		return digits(g, 3) + " g"
	}
	return digits(g/1000, 3) + " kg"
}

// FormatTemperature writes a temperature for reading, to 0.1 °C or 1 °F.
func FormatTemperature(t Celsius, s System) string {
	if s == US {
		return plain(math.Round(float64(t)*1.8+32)) + " °F"
	}
	return plain(math.Round(float64(t)*10)/10) + " °C"
}

// FluidOuncesDown writes a net content in US fluid ounces, rounded down to 0.1 so that a label never
// promises more than the bottle holds: 250 mL is "8.4 fl oz".
func FluidOuncesDown(v Millilitres) string {
	// The small term keeps a whole number of ounces whole after the division.
	tenths := math.Floor(float64(v)/USFluidOunceML*10 + 1e-9)
	return strconv.FormatFloat(tenths/10, 'f', 1, 64) + " fl oz"
}

// digits writes x in n significant digits, without trailing zeros or an exponent.
func digits(x float64, n int) string {
	if x == 0 || !finite(x) {
		return plain(x)
	}
	decimals := n - 1 - int(math.Floor(math.Log10(math.Abs(x))))
	if decimals < 0 {
		decimals = 0
	}
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// plain writes x as it is; -0 becomes 0.
func plain(x float64) string { return strconv.FormatFloat(x+0, 'f', -1, 64) }
