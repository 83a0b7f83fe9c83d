// Package chem holds the sums of vinegar making: quantities with units, titration with its
// uncertainty, pH, sugar, alcohol and acid, density, dilution, blending and meter calibration.
//
// Inside it everything is SI-like: mL, g, °C, g/100 mL. The kitchen's units are read by the Parse
// functions and written by the Format functions, nowhere else.
//
// An impossible input is a *FieldError naming the field, with a sentence for a cook. A value outside
// the range a formula was fitted for is an error too: nothing here extrapolates.
//
// There is deliberately no function from pH to acidity. The pH of a weak acid moves with the square
// root of its concentration and with the salts in the liquid: 0.05 pH, a good kitchen meter's error,
// is already 26 % of acidity, and 4 % and 8 % acid differ by only 0.15 pH.
package chem
