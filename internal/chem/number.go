package chem

import (
	"strconv"
	"strings"
	"unicode"
)

// kelvinOffset is 0 °C in K (SI Brochure, 9th edition, 2.3.1).
const kelvinOffset = 273.15

const numberHelp = "type digits with a decimal point or comma, like 3.2 or 3,2, and no separators for thousands"

// ParseNumber reads a plain number with a decimal point or comma. Exponents, hexadecimal, thousands
// separators, NaN and infinities are refused. The error is a *FieldError on "number".
func ParseNumber(s string) (float64, error) {
	return parseNumber("number", tidy(s))
}

// tidy trims s and makes one kind of minus and of space out of the many a phone keyboard offers.
func tidy(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r == '\u2212' || r == '\u2013':
			return '-'
		case r == '\u2044':
			return '/'
		case unicode.IsSpace(r):
			return ' '
		}
		return r
	}, s)
	return strings.TrimSpace(s)
}

func parseNumber(field, s string) (float64, error) {
	if s == "" {
		return 0, fieldErr(field, "The number is missing; %s.", numberHelp)
	}
	if len(s) > 24 {
		return 0, fieldErr(field, "%q is too long for a number; %s.", clip(s), numberHelp)
	}
	digits, marks := 0, 0
	for i, r := range s {
		switch {
		case r >= '0' && r <= '9':
			digits++
		case r == '.' || r == ',':
			marks++
		case (r == '-' || r == '+') && i == 0:
		default:
			return 0, fieldErr(field, "%q is not a plain number; %s.", clip(s), numberHelp)
		}
	}
	if digits == 0 || marks > 1 {
		return 0, fieldErr(field, "%q is not a plain number; %s.", clip(s), numberHelp)
	}
	v, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil || !finite(v) {
		return 0, fieldErr(field, "%q is not a plain number; %s.", clip(s), numberHelp)
	}
	return v, nil
}

// vulgar are the one-character fractions of Unicode that kitchens use.
var vulgar = map[rune]string{'½': "1/2", '⅓': "1/3", '⅔': "2/3", '¼': "1/4", '¾': "3/4",
	'⅛': "1/8", '⅜': "3/8", '⅝': "5/8", '⅞': "7/8"}

// splitQuantity reads "1 1/2 cups" into 1.5 and "cups". name ("a volume") and list (the units) go
// into its sentences.
func splitQuantity(field, s, name, list string) (float64, string, error) {
	s = tidy(s)
	for r, f := range vulgar {
		s = strings.ReplaceAll(s, string(r), " "+f+" ")
	}
	s = strings.TrimSpace(s)
	if s == "" {
		return 0, "", fieldErr(field, "Type %s as a number and a unit; units: %s.", name, list)
	}
	end := strings.IndexFunc(s, func(r rune) bool {
		return (r < '0' || r > '9') && !strings.ContainsRune(".,/+- ", r)
	})
	if end < 0 {
		if _, err := parseMixed(field, strings.TrimSpace(s)); err != nil {
			return 0, "", err
		}
		return 0, "", fieldErr(field, "%q has no unit; write one after the number: %s.", clip(s), list)
	}
	number, unit := strings.TrimSpace(s[:end]), strings.TrimSpace(s[end:])
	if number == "" {
		return 0, "", fieldErr(field, "%q has no number; type %s as a number and a unit; units: %s.", clip(s), name, list)
	}
	v, err := parseMixed(field, number)
	if err != nil {
		return 0, "", err
	}
	return v, unit, nil
}

// parseMixed reads a plain number, a fraction "1/2", or both, "1 1/2".
func parseMixed(field, s string) (float64, error) {
	parts := strings.Fields(s)
	if len(parts) > 2 || (len(parts) == 2 && !strings.Contains(parts[1], "/")) {
		return 0, fieldErr(field, "%q is not a plain number; %s.", clip(s), numberHelp)
	}
	total := 0.0
	for i, p := range parts {
		v, err := parsePart(field, p)
		if err != nil {
			return 0, err
		}
		// "-1 1/2", "1.5 1/2" and "1/2 1/2" have no one meaning.
		if i == 1 && (v < 0 || v >= 1 || total < 0 || strings.ContainsAny(parts[0], "/.,-+")) {
			return 0, fieldErr(field, "%q is not a plain number; %s.", clip(s), numberHelp)
		}
		total += v
	}
	return total, nil
}

func parsePart(field, p string) (float64, error) {
	over, under, isFraction := strings.Cut(p, "/")
	if !isFraction {
		if ambiguousThousands(p) {
			return 0, fieldErr(field, "%q can be read two ways; write %s or %s.", clip(p), strings.Replace(p, ",", "", 1), strings.Replace(p, ",", ".", 1))
		}
		return parseNumber(field, p)
	}
	n, err1 := strconv.ParseUint(over, 10, 16)
	d, err2 := strconv.ParseUint(under, 10, 16)
	if err1 != nil || err2 != nil || d == 0 {
		return 0, fieldErr(field, "%q is not a fraction; write it like 1/2 or 1 1/2.", clip(p))
	}
	return float64(n) / float64(d), nil
}

// ambiguousThousands reports whether a comma may as well group thousands, as in "1,500 mL". A wrong
// guess there is a factor of 1000 in a recipe, so it is asked back.
func ambiguousThousands(p string) bool {
	whole, frac, ok := strings.Cut(p, ",")
	whole = strings.TrimLeft(whole, "+-")
	return ok && len(frac) == 3 && len(whole) >= 1 && len(whole) <= 3 && whole[0] != '0'
}
