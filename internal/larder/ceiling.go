package larder

import (
	"fmt"
	"strings"

	"cruet/internal/chem"
)

// Ceiling is the highest acidity that a batch or a jar can reach, and from what
// that is known.
type Ceiling struct {
	chem.CeilingResult
	From    string   // "must at 12.5 °Bx", "11.5 % vol measured", "the ingredients"
	Missing []string // ingredients that could not be counted; the true ceiling may be higher
}

// CeilingOfRecipe reckons from the ingredients alone. volume is the liquid that
// the batch makes, nil when only the ingredients tell. The error is a
// *chem.FieldError and says what is missing from the recipe.
func CeilingOfRecipe(ingredients []Ingredient, volume *chem.Millilitres, target chem.GramsPer100ML) (Ceiling, error) {
	var list []chem.Ingredient
	var ethanolML, liquid float64
	for _, i := range ingredients {
		if i.ABVPercent != nil && i.Amount.VolumeML > 0 {
			ethanolML += float64(i.Amount.VolumeML) * float64(*i.ABVPercent) / 100
			liquid += float64(i.Amount.VolumeML)
			continue
		}
		list = append(list, chem.Ingredient{Name: i.Name, Amount: i.Amount, SugarGPer100G: i.SugarGPer100G})
	}
	sugars, err := chem.SugarFrom(list, 0)
	if err != nil {
		return Ceiling{}, err
	}
	liquid += float64(sugars.VolumeML)
	if volume != nil {
		liquid = float64(*volume)
	}
	if sugars.SucroseG+sugars.HexoseG+ethanolML == 0 || liquid <= 0 {
		return Ceiling{}, &chem.FieldError{Field: "ingredients", Message: "The ingredients do not tell how much sugar or alcohol goes in, or into how much liquid. Give amounts, and the % vol of wine or ale, or measure the must."}
	}
	r, err := chem.Ceiling{
		VolumeML: chem.Millilitres(liquid), SucroseG: sugars.SucroseG, HexoseG: sugars.HexoseG,
		ABVPercent: chem.PercentVol(100 * ethanolML / liquid), TargetGPer100ML: target,
	}.Result()
	return Ceiling{CeilingResult: r, From: "the ingredients", Missing: sugars.Unknown}, err
}

// CeilingOfJar reckons from the best evidence that the jar has: the alcohol
// measured in it, else the sugar of its must, else its recipe. liquid is what
// the whole batch made, nil when not known. Water added since is counted.
func CeilingOfJar(batch Batch, jar Jar, liquid *chem.Millilitres) (Ceiling, error) {
	s := jar.State
	var c Ceiling
	var err error
	switch {
	case s.ABV != nil && s.ABV.Value > 0:
		c.From = fmt.Sprintf("%.3g %% vol measured on %s", float64(s.ABV.Value), s.ABV.When.At.Format("2 Jan 2006"))
		ask := chem.Ceiling{VolumeML: 1000, ABVPercent: s.ABV.Value, TargetGPer100ML: batch.TargetGPer100ML}
		if a := s.Acidity; a != nil && a.Basis == ByTitration && !a.When.At.After(s.ABV.When.At) {
			ask.AcidityGPer100ML = a.GPer100ML // the acid that was there beside the alcohol
		}
		c.CeilingResult, err = ask.Result()
		return c, err // measured in the jar as it is: later water is a new reading's matter
	case s.MustBrix != nil || s.MustSG != nil:
		c, err = ceilingOfMust(s, batch.TargetGPer100ML)
	default:
		c, err = CeilingOfRecipe(batch.Ingredients, liquid, batch.TargetGPer100ML)
	}
	if err != nil || s.WaterPart == 0 {
		return c, err
	}
	return c.watered(s.WaterPart), nil
}

func ceilingOfMust(s State, target chem.GramsPer100ML) (Ceiling, error) {
	var brix chem.DegreesBrix
	var c Ceiling
	var err error
	if s.MustBrix != nil {
		brix = s.MustBrix.Value
		c.From = fmt.Sprintf("must at %.3g °Bx", float64(brix))
	} else {
		brix, err = chem.BrixFromGravity(s.MustSG.Value)
		c.From = fmt.Sprintf("must of specific gravity %.3f", float64(s.MustSG.Value))
	}
	if err != nil {
		return c, err
	}
	perL, err := chem.SugarGPerL(max(brix, 0))
	if err != nil {
		return c, err
	}
	// Fruit sugars are hexoses or become so; counting all as hexose is the
	// lower and so the honest figure.
	c.CeilingResult, err = chem.Ceiling{VolumeML: 1000, HexoseG: perL, TargetGPer100ML: target}.Result()
	return c, err
}

// watered is the ceiling once a part of the liquid is added water.
func (c Ceiling) watered(part float64) Ceiling {
	for _, v := range []*chem.GramsPer100ML{&c.StoichiometricGPer100ML, &c.LikelyGPer100ML, &c.LikelyLowGPer100ML, &c.LikelyHighGPer100ML} {
		*v = chem.GramsPer100ML(float64(*v) * (1 - part))
	}
	c.PotentialABVPercent = chem.PercentVol(float64(c.PotentialABVPercent) * (1 - part))
	c.Change = nil // it was reckoned before the water
	c.From = strings.TrimSuffix(c.From, ".") + fmt.Sprintf(", with %.0f %% of water added since", 100*part)
	return c
}
