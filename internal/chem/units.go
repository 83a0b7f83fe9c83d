package chem

import (
	"fmt"
	"sort"
	"strconv"
	"strings"
	"unicode"
)

// US customary and imperial measures, exact by definition: NIST Handbook 44, Appendix C, and NIST
// Special Publication 811, Appendix B (US gallon 231 cubic inches of 2.54 cm; imperial gallon
// 4.54609 L; avoirdupois pound 0.45359237 kg).
const (
	usGallonML  = 3785.411784
	impGallonML = 4546.09
	poundG      = 453.59237

	// USFluidOunceML is one US fluid ounce in mL.
	USFluidOunceML = usGallonML / 128
	// USCupML is one US cup in mL.
	USCupML = usGallonML / 16
	// USQuartML is one US quart in mL.
	USQuartML = usGallonML / 4
	// USTablespoonML is one US tablespoon in mL.
	USTablespoonML = usGallonML / 256
	// USTeaspoonML is one US teaspoon in mL.
	USTeaspoonML = usGallonML / 768
)

// measure is one unit a person may write: its canonical symbol, its plural, its size in mL or g.
type measure struct {
	symbol, plural string
	size           float64
	aliases        []string
	fractions      bool // shown as "1 1/2", the way kitchens write it
}

var volumeUnits = []measure{
	{"mL", "mL", 1, []string{"millilitre", "milliliter"}, false},
	{"cl", "cl", 10, []string{"centilitre", "centiliter"}, false},
	{"dl", "dl", 100, []string{"decilitre", "deciliter"}, false},
	{"L", "L", 1000, []string{"litre", "liter"}, false},
	{"tsp", "tsp", USTeaspoonML, []string{"teaspoon"}, true},
	{"tbsp", "tbsp", USTablespoonML, []string{"tablespoon"}, true},
	{"fl oz", "fl oz", USFluidOunceML, []string{"floz", "fluid ounce"}, true},
	{"cup", "cups", USCupML, nil, true},
	{"pt", "pt", usGallonML / 8, []string{"pint"}, true},
	{"qt", "qt", USQuartML, []string{"quart"}, true},
	{"gal", "gal", usGallonML, []string{"gallon"}, true},
	{"imp fl oz", "imp fl oz", impGallonML / 160, []string{"imp floz", "imp fluid ounce"}, true},
	{"imp pt", "imp pt", impGallonML / 8, []string{"imp pint"}, true},
	{"imp qt", "imp qt", impGallonML / 4, []string{"imp quart"}, true},
	{"imp gal", "imp gal", impGallonML, []string{"imp gallon"}, true},
}

var massUnits = []measure{
	{"mg", "mg", 0.001, []string{"milligram"}, false},
	{"g", "g", 1, []string{"gram"}, false},
	{"kg", "kg", 1000, []string{"kilogram", "kilo"}, false},
	{"oz", "oz", poundG / 16, []string{"ounce"}, true},
	{"lb", "lb", poundG, []string{"pound"}, true},
}

var countUnits = []measure{
	{"piece", "pieces", 1, []string{"pc", "each"}, false},
}

// findMeasure looks a written unit up; full stops, case, plurals and a leading "US" do not matter.
func findMeasure(list []measure, written string) (measure, bool) {
	u := strings.ToLower(strings.Join(strings.Fields(strings.ReplaceAll(written, ".", " ")), " "))
	u = strings.TrimPrefix(u, "us ")
	u = strings.Replace(u, "imperial ", "imp ", 1)
	for _, m := range list {
		for _, a := range append([]string{m.symbol, m.plural}, m.aliases...) {
			a = strings.ToLower(a)
			if u == a || u == a+"s" {
				return m, true
			}
		}
	}
	return measure{}, false
}

func accepted(lists ...[]measure) string {
	var names []string
	for _, l := range lists {
		for _, m := range l {
			names = append(names, m.plural)
		}
	}
	return strings.Join(names, ", ")
}

// ParseVolume reads a volume: a number and a unit, like "1 pt", "250mL", "1 1/2 cups", "0,7 L".
// Bare pints, cups and ounces are US customary; imperial is written out ("imp pt"). The error is a
// *FieldError on "volume".
func ParseVolume(s string) (Millilitres, error) {
	v, unit, err := splitQuantity("volume", s, "a volume", accepted(volumeUnits))
	if err != nil {
		return 0, err
	}
	m, ok := findMeasure(volumeUnits, unit)
	if !ok {
		if w, isMass := findMeasure(massUnits, unit); isMass && w.symbol == "oz" {
			return 0, fieldErr("volume", "%q is a weight; for a volume write fl oz (fluid ounces), like \"8 fl oz\".", clip(unit))
		}
		return 0, unknownUnit("volume", "volume", unit, accepted(volumeUnits))
	}
	ml := v * m.size
	if err := positive("volume", "volume", ml, 1e7, "10000 L"); err != nil {
		return 0, err
	}
	return Millilitres(ml), nil
}

// ParseMass reads a weight, like "2.4 kg" or "8 oz". The error is a *FieldError on "mass".
func ParseMass(s string) (Grams, error) {
	v, unit, err := splitQuantity("mass", s, "a weight", accepted(massUnits))
	if err != nil {
		return 0, err
	}
	m, ok := findMeasure(massUnits, unit)
	if !ok {
		if w, isVol := findMeasure(volumeUnits, unit); isVol && strings.Contains(w.symbol, "fl oz") {
			return 0, fieldErr("mass", "%q is a volume; for a weight write oz, like \"8 oz\".", clip(unit))
		}
		return 0, unknownUnit("mass", "weight", unit, accepted(massUnits))
	}
	g := v * m.size
	if err := positive("mass", "weight", g, 1e7, "10000 kg"); err != nil {
		return 0, err
	}
	return Grams(g), nil
}

const temperatureUnits = "C, °C, F, °F, K"

// ParseTemperature reads a temperature with its unit, like "20 C", "68 °F", "293 K". It must lie
// between -30 and 120 °C. The error is a *FieldError on "temperature".
func ParseTemperature(s string) (Celsius, error) {
	v, unit, err := splitQuantity("temperature", s, "a temperature", temperatureUnits)
	if err != nil {
		return 0, err
	}
	var c float64
	switch strings.ToLower(strings.TrimSpace(strings.TrimPrefix(unit, "°"))) {
	case "c", "celsius":
		c = v
	case "f", "fahrenheit":
		c = (v - 32) / 1.8
	case "k", "kelvin":
		c = v - kelvinOffset
	default:
		return 0, unknownUnit("temperature", "temperature", unit, temperatureUnits)
	}
	if c < logRange["temperature_c"].min || c > logRange["temperature_c"].max {
		return 0, fieldErr("temperature", "%s is %s °C, outside what a kitchen reaches (-30 to 120 °C); check the number and the unit.", clip(s), num(c))
	}
	return Celsius(c), nil
}

// Amount is how much of an ingredient went in: a mass, a volume, or a count.
type Amount struct {
	Value    float64     `json:"value"`
	Unit     string      `json:"unit"` // canonical symbol: "kg", "cup", "piece"
	MassG    Grams       `json:"mass_g,omitempty"`
	VolumeML Millilitres `json:"volume_ml,omitempty"`
}

// ParseAmount reads an ingredient's amount, like "2.4 kg", "3 cups", "6 pieces". Exactly one of MassG
// and VolumeML is set for a mass or volume, none for a count. The error is a *FieldError on "amount".
func ParseAmount(s string) (Amount, error) {
	all := accepted(massUnits, volumeUnits, countUnits)
	v, unit, err := splitQuantity("amount", s, "an amount", all)
	if err != nil {
		return Amount{}, err
	}
	a := Amount{Value: v}
	if m, ok := findMeasure(massUnits, unit); ok {
		a.Unit, a.MassG = m.symbol, Grams(v*m.size)
		return a, positive("amount", "amount", float64(a.MassG), 1e7, "10000 kg")
	}
	if m, ok := findMeasure(volumeUnits, unit); ok {
		a.Unit, a.VolumeML = m.symbol, Millilitres(v*m.size)
		return a, positive("amount", "amount", float64(a.VolumeML), 1e7, "10000 L")
	}
	if m, ok := findMeasure(countUnits, unit); ok {
		a.Unit = m.symbol
		return a, positive("amount", "amount", v, 1e5, "100000 pieces")
	}
	return Amount{}, unknownUnit("amount", "amount", unit, all)
}

// String writes the amount as it was meant, in canonical form: "2.4 kg", "1 1/2 cups", "6 pieces".
func (a Amount) String() string {
	for _, l := range [][]measure{massUnits, volumeUnits, countUnits} {
		for _, m := range l {
			if m.symbol != a.Unit {
				continue
			}
			n, unit := strconv.FormatFloat(a.Value, 'f', -1, 64), m.symbol
			if m.fractions {
				n = kitchenFraction(a.Value)
			}
			if a.Value > 1 {
				unit = m.plural
			}
			return n + " " + unit
		}
	}
	return strings.TrimSpace(strconv.FormatFloat(a.Value, 'f', -1, 64) + " " + a.Unit)
}

// kitchenFraction writes eighths and thirds as fractions when that is exactly the value.
func kitchenFraction(v float64) string {
	whole := float64(int64(v))
	for _, f := range []struct{ n, d float64 }{{1, 2}, {1, 3}, {2, 3}, {1, 4}, {3, 4}, {1, 8}, {3, 8}, {5, 8}, {7, 8}} {
		if whole+f.n/f.d != v {
			continue
		}
		frac := fmt.Sprintf("%g/%g", f.n, f.d)
		if whole == 0 {
			return frac
		}
		return fmt.Sprintf("%g %s", whole, frac)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

func positive(field, name string, v, max float64, maxText string) error {
	if !(v > 0) {
		return fieldErr(field, "The %s must be more than zero.", name)
	}
	if v > max {
		return fieldErr(field, "The %s is more than %s; check the number and the unit.", name, maxText)
	}
	return nil
}

func unknownUnit(field, name, unit, list string) error {
	return fieldErr(field, "%q is not a unit of %s known here; use one of: %s.", clip(unit), name, list)
}

// clip keeps an echoed input short enough for a sentence.
func clip(s string) string {
	s = strings.ToValidUTF8(strings.TrimSpace(s), "?")
	s = strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, s)
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// UnitsAccepted lists the unit symbols of each kind, for help texts: keys "volume", "mass",
// "temperature", "count".
func UnitsAccepted() map[string][]string {
	list := func(ms []measure) []string {
		var out []string
		for _, m := range ms {
			out = append(out, m.symbol)
		}
		sort.Strings(out)
		return out
	}
	return map[string][]string{"volume": list(volumeUnits), "mass": list(massUnits),
		"temperature": strings.Split(temperatureUnits, ", "), "count": list(countUnits)}
}
