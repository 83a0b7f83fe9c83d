package chem

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Quantities, one type per unit.
type (
	// Millilitres is a volume in mL.
	Millilitres float64
	// Grams is a mass in g.
	Grams float64
	// Celsius is a temperature in °C.
	Celsius float64
	// PH is a pH value as a calibrated meter shows it.
	PH float64
	// GramsPer100ML is an acidity in g/100 mL, as acetic acid unless another acid is stated.
	GramsPer100ML float64
	// SpecificGravity is an apparent specific gravity 20/20 °C.
	SpecificGravity float64
	// DegreesBrix is grams of sucrose in 100 g of solution.
	DegreesBrix float64
	// PercentVol is alcohol in % by volume at 20 °C.
	PercentVol float64
	// MolPerLitre is a concentration in mol/L.
	MolPerLitre float64
	// PercentMass is a mass fraction in %.
	PercentMass float64
)

// FieldError says what is wrong with one input and what to do about it.
type FieldError struct {
	Field   string // snake_case, with the unit: "sample_ml"
	Message string // a full sentence for a cook
}

func (e *FieldError) Error() string { return e.Message }

func fieldErr(field, format string, a ...any) error {
	return &FieldError{Field: field, Message: fmt.Sprintf(format, a...)}
}

// finite reports whether x is an ordinary number.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// num writes x in at most 6 significant digits without an exponent.
func num(x float64) string {
	if !finite(x) {
		return "not a number"
	}
	r, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 6, 64), 64)
	if err != nil {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	return strconv.FormatFloat(r, 'f', -1, 64)
}

// span is a closed range of plausible values of one field.
type span struct {
	min, max float64
	unit     string // as it stands in a sentence, with its leading space
	name     string // how a cook calls it
	advice   string // what to do about a value outside
}

// Plausible ranges of what a person may log. The bounds are common practice, no published source:
// wide enough for every real jar, narrow enough to catch a lost decimal point.
var logRange = map[string]span{
	"ph":               {0, 14, "", "pH", "read the meter again after rinsing it."},
	"temperature_c":    {-30, 120, " °C", "temperature", "check the thermometer and the unit."},
	"specific_gravity": {0.97, 1.2, "", "specific gravity", "a hydrometer shows 0.990 to 1.160 in this work; type it like 1.050."},
	"brix":             {0, 70, " °Bx", "Brix", "clean the refractometer, set it to 0 with water, and read again."},
	"abv_percent":      {0, 25, " % vol", "alcohol", "no ferment goes there; log a spirit after cutting it with water."},
}

// LogLimit is where a logged value is believed, with the sentences that are told
// outside: in Outside and Meant {v} stands for the value, in Meant {g} for what
// may have been meant. A page's script judges by it, so that both say the same.
type LogLimit struct {
	Min, Max       float64
	Outside, Meant string
	// Fahrenheit tells that a value too high may be one in °F, without its unit;
	// else it may have lost its decimal point.
	Fahrenheit bool
}

// NotANumber is the sentence on what is no plain number, {v}.
const NotANumber = `"{v}" is not a plain number; ` + numberHelp + "."

// LogLimitOf is the limit of ph, temperature_c, specific_gravity, brix or
// abv_percent; ok is false for any other field.
func LogLimitOf(field string) (l LogLimit, ok bool) {
	r, ok := logRange[field]
	if !ok {
		return l, false
	}
	out := fmt.Sprintf("%s {v}%s is outside %s to %s%s; ", upperFirst(r.name), r.unit, num(r.min), num(r.max), r.unit)
	l = LogLimit{Min: r.min, Max: r.max, Outside: out + r.advice, Meant: out + "did you mean {g}" + r.unit + "?"}
	if field == "temperature_c" {
		l.Fahrenheit = true
		l.Meant = out + "if you meant {v} °F ({g} °C), write the F."
	}
	return l, true
}

// meant is what a value too high may have been meant for.
func (l LogLimit) meant(v float64) (string, bool) {
	if v <= l.Max {
		return "", false
	}
	if l.Fahrenheit {
		c := (v - 32) / 1.8
		return fmt.Sprintf("%.0f", c), c >= l.Min && c <= l.Max
	}
	for _, d := range []float64{10, 100, 1000} {
		if g := v / d; g >= l.Min && g <= l.Max {
			return num(g), true
		}
	}
	return "", false
}

// checkLog refuses a value outside logRange and offers what it may have been.
func checkLog(field string, v float64) error {
	r := logRange[field]
	if !finite(v) {
		return fieldErr(field, "The %s is not a number; type it in digits, like %s.", r.name, num((r.min+r.max)/2))
	}
	if v >= r.min && v <= r.max {
		return nil
	}
	l, _ := LogLimitOf(field)
	says := l.Outside
	if g, ok := l.meant(v); ok {
		says = strings.ReplaceAll(l.Meant, "{g}", g)
	}
	return &FieldError{field, strings.ReplaceAll(says, "{v}", num(v))}
}

func upperFirst(s string) string {
	if s == "" || s == "pH" {
		return s
	}
	return string(s[0]&^0x20) + s[1:]
}

// CheckPH refuses a pH outside 0 to 14.
func CheckPH(v PH) error {
	return checkLog("ph", float64(v))
}

// CheckCelsius refuses a temperature no kitchen reaches (outside -30 to 120 °C).
func CheckCelsius(v Celsius) error {
	return checkLog("temperature_c", float64(v))
}

// CheckGravity refuses a specific gravity outside 0.970 to 1.200; 1050 is asked back as 1.05.
func CheckGravity(v SpecificGravity) error {
	return checkLog("specific_gravity", float64(v))
}

// CheckBrix refuses degrees Brix outside 0 to 70.
func CheckBrix(v DegreesBrix) error {
	return checkLog("brix", float64(v))
}

// CheckABV refuses an alcohol content of a ferment outside 0 to 25 % vol.
func CheckABV(v PercentVol) error {
	return checkLog("abv_percent", float64(v))
}
