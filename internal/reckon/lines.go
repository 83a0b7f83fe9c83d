package reckon

import (
	"time"

	"cruet/internal/chem"
)

// The lines of lists that other commands take too, read the same way everywhere.
// Errors are sentences.

// Buffer reads one buffer of a calibration: "phthalate 25 C 172 mV", "4.01 25 C
// 4.05 pH".
func Buffer(line string) (chem.CalibrationPoint, error) {
	return lineAs[chem.CalibrationPoint](parseBuffer, line)
}

// Phthalate reads a weighing and the base it took: "0.3888 g 18.64 mL".
func Phthalate(line string) (chem.KHPRun, error) { return lineAs[chem.KHPRun](parseKHPRun, line) }

// Ingredient reads one line of a recipe: "pears: 2.4 kg", "wine: 1 L, 12 % vol".
func Ingredient(line string) (chem.Ingredient, error) {
	return lineAs[chem.Ingredient](parseIngredient, line)
}

// Burette reads the burette before and after in mL: "0.00-16.65", "0 to 16.7 mL".
func Burette(line string) (chem.Replicate, error) { return lineAs[chem.Replicate](parseBurette, line) }

// BaseStrength reads the concentration of the base: "0.1 mol/L", "0.1 M".
func BaseStrength(text string) (chem.MolPerLitre, error) {
	v, err := parseConcentration(text)
	return chem.MolPerLitre(v), err
}

func lineAs[T any](parse func(string, time.Time) (any, error), line string) (T, error) {
	v, err := parse(line, time.Time{})
	if err != nil {
		var zero T
		return zero, err
	}
	return v.(T), nil
}
