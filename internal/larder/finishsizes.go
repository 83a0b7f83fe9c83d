package larder

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"cruet/internal/chem"
)

// MaxSizes is how many sizes of bottle the finishing bench reckons at once.
const MaxSizes = 8

// CommonSizes are the sizes of bottle that a kitchen mostly has, as typed: what
// glass is sold in (common practice, no published source).
func CommonSizes(units chem.System) string {
	if units == chem.US {
		return "8 fl oz, 12 fl oz, 1 qt"
	}
	return "250 mL, 500 mL, 750 mL"
}

// ParseSizes reads sizes of bottle that stand in one line, "250 mL, 500 mL" or
// "250, 500 mL": one without a unit has that of the next. A comma between two
// digits is a decimal one. The error is Problems on size_ml.
func ParseSizes(text string) ([]chem.Millilitres, error) {
	var parts []string
	from := 0
	runes := []rune(text)
	for i, r := range runes {
		decimal := r == ',' && i > 0 && i+1 < len(runes) && unicode.IsDigit(runes[i-1]) && unicode.IsDigit(runes[i+1])
		if (r == ',' || r == ';' || r == '\n') && !decimal {
			parts = append(parts, string(runes[from:i]))
			from = i + 1
		}
	}
	parts = append(parts, string(runes[from:]))
	var out []chem.Millilitres
	unit := ""
	for _, part := range slices.Backward(parts) {
		part = strings.TrimSpace(part)
		if part == "" {
			continue
		}
		if at := strings.IndexFunc(part, unicode.IsLetter); at >= 0 {
			unit = part[at:]
		} else {
			part += " " + unit
		}
		v, err := chem.ParseVolume(part)
		if err != nil {
			return nil, Refuse("size_ml", err.Error())
		}
		if !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	if len(out) > MaxSizes {
		return nil, Refuse("size_ml", fmt.Sprintf("The bench reckons %d sizes of bottle at once; leave some out.", MaxSizes))
	}
	slices.Reverse(out)
	return out, nil
}
