package larder

import (
	"fmt"

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
	return ceilingOfRecipe(ingredients, volume, target, 0)
}

// ceilingOfRecipe counts that a part of the liquid, 0 to 1, is water added since.
func ceilingOfRecipe(ingredients []Ingredient, volume *chem.Millilitres, target chem.GramsPer100ML, water float64) (Ceiling, error) {
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
	liquid /= 1 - water
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
	switch {
	case s.ABV != nil && s.ABV.Value > 0 && !s.abvIsRest():
		return ceilingOfAlcohol(s, batch.TargetGPer100ML)
	case s.MustBrix != nil || s.MustSG != nil:
		c, err := ceilingOfMust(s, batch.TargetGPer100ML)
		return c.watered(s.WaterPart), err
	}
	c, err := ceilingOfRecipe(batch.Ingredients, liquid, batch.TargetGPer100ML, s.WaterPart)
	if err != nil && s.abvIsRest() && s.Acidity.Basis == ByTitration {
		return ceilingOfRest(s, batch.TargetGPer100ML)
	}
	return c.watered(s.WaterPart), err
}

// abvIsRest tells that the alcohol was measured while acid was made of it, and
// the acid only later: the two do not add up to what there was.
func (s State) abvIsRest() bool {
	return s.ABV != nil && s.StrainedAt != nil && s.ABV.When.At.After(*s.StrainedAt) && s.Acidity != nil && s.Acidity.When.At.After(s.ABV.When.At)
}

// ceilingOfRest is a bound from above: the acid that there is now, and all of the
// alcohol that there was before.
func ceilingOfRest(s State, target chem.GramsPer100ML) (Ceiling, error) {
	r, err := chem.Ceiling{VolumeML: 1000, ABVPercent: s.ABV.Value, AcidityGPer100ML: s.Acidity.GPer100ML, TargetGPer100ML: target}.Result()
	return Ceiling{CeilingResult: r, From: fmt.Sprintf("the acid titrated last and %.3g %% vol measured before it, so rather too high", float64(s.ABV.Value))}, err
}

// ceilingOfAlcohol reckons from the alcohol measured in the jar and the acid
// that was there beside it, both thinned by the water added since.
func ceilingOfAlcohol(s State, target chem.GramsPer100ML) (Ceiling, error) {
	share := min(1, (1-s.WaterPart)/(1-s.ABVWaterPart))
	ask := chem.Ceiling{VolumeML: 1000, ABVPercent: s.ABV.Value * chem.PercentVol(share), TargetGPer100ML: target}
	if a := s.Acidity; a != nil && a.Basis == ByTitration && !a.When.At.After(s.ABV.When.At) {
		ask.AcidityGPer100ML = a.GPer100ML * chem.GramsPer100ML(share)
	}
	r, err := ask.Result()
	c := Ceiling{CeilingResult: r, From: fmt.Sprintf("%.3g %% vol measured on %s", float64(s.ABV.Value), s.ABV.When.At.Format("2 Jan 2006"))}
	return c.watered(1 - share), err
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
	c.CeilingResult, err = chem.Ceiling{VolumeML: chem.Millilitres(1000 / (1 - s.WaterPart)), HexoseG: perL, TargetGPer100ML: target}.Result()
	return c, err
}

// watered says in From that a part of the liquid is water added since, when it is.
func (c Ceiling) watered(part float64) Ceiling {
	if part > 0 {
		c.From += fmt.Sprintf(", with %.0f %% of water added since", 100*part)
	}
	return c
}
