package chem

import (
	"strings"
)

// Acid names the acid a titratable acidity is expressed as. The empty Acid is acetic.
type Acid string

// The acids a result may be expressed as.
const (
	Acetic   Acid = "acetic"
	Malic    Acid = "malic"
	Tartaric Acid = "tartaric"
	Citric   Acid = "citric"
	Lactic   Acid = "lactic"
)

// AceticMolarMass is g/mol, from the abridged standard atomic weights of IUPAC CIAAW (C 12.011,
// H 1.008, O 15.999).
const AceticMolarMass = 60.052

// gramsPerEquivalent is molar mass over acidic protons, anhydrous acids, same atomic weights.
var gramsPerEquivalent = map[Acid]float64{
	Acetic:   AceticMolarMass, // C2H4O2, 1 proton
	Malic:    134.087 / 2,     // C4H6O5
	Tartaric: 150.086 / 2,     // C4H6O6
	Citric:   192.123 / 3,     // C6H8O7
	Lactic:   90.078,          // C3H6O3
}

// Acids lists the acids in the order a page offers them.
func Acids() []Acid { return []Acid{Acetic, Malic, Tartaric, Citric, Lactic} }

func (a Acid) orAcetic() Acid {
	if a == "" {
		return Acetic
	}
	return a
}

// GramsPerEquivalent is the mass of the acid, in g, that one mole of base neutralises.
func (a Acid) GramsPerEquivalent() (float64, error) {
	if e, ok := gramsPerEquivalent[a.orAcetic()]; ok {
		return e, nil
	}
	return 0, fieldErr("acid", "%q is not an acid known here; use acetic, malic, tartaric, citric or lactic.", clip(string(a)))
}

// ParseAcid reads an acid's name; "" is acetic.
func ParseAcid(s string) (Acid, error) {
	a := Acid(strings.TrimSuffix(strings.ToLower(strings.TrimSpace(s)), " acid")).orAcetic()
	_, err := a.GramsPerEquivalent()
	return a, err
}

// ConvertAcidity expresses a titratable acidity given as one acid as another. It says nothing about
// which acids are in the liquid.
func ConvertAcidity(v GramsPer100ML, from, to Acid) (GramsPer100ML, error) {
	f, err := from.GramsPerEquivalent()
	if err != nil {
		return 0, err
	}
	t, err := to.GramsPerEquivalent()
	if err != nil {
		return 0, err
	}
	if !finite(float64(v)) || v < 0 {
		return 0, fieldErr("acidity_g_per_100ml", "The acidity must be a number of 0 or more, in g/100 mL.")
	}
	return GramsPer100ML(float64(v) * t / f), nil
}

// Grain is the US trade's strength of vinegar: 10 grain for each g/100 mL as acetic acid.
func Grain(v GramsPer100ML) float64 { return 10 * float64(v) }
