package scan

import (
	"context"
	"fmt"
	"net/url"
	"strings"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// checkRecipe is the button that asks for the ceiling before anything is saved.
const checkRecipe = "check"

// What an ingredient's label says of it.
const (
	abvField   = "abv_percent_vol"
	sugarField = "sugar_g_per_100g"
)

// labelStrengths asks for what labels say of alcohol and sugar, line by line.
func labelStrengths(b *builder) field {
	var lines []field
	for i := range ingredientLines(b.typed) {
		lines = append(lines, row(fmt.Sprintf("Ingredient %d", i+1),
			b.number(ingredientField(i, abvField), "Alcohol", "% vol", ""),
			b.number(ingredientField(i, sugarField), "Sugar", "g/100 g", "")))
	}
	return fold("Alcohol or sugar, as labels say", lines...)
}

// recipeCheck reckons the ceiling of what is typed so far. What cannot be read of
// the recipe comes back as problems instead.
func recipeCheck(typed url.Values, w writer) (*ceilingView, larder.Problems) {
	r := &reader{typed: typed, now: w.now}
	n := readBatch(r)
	problems := r.problems[:0:0]
	for _, p := range r.problems {
		if strings.HasPrefix(p.Field, "ingredients[") || p.Field == "fill_ml" || p.Field == "target_g_per_100ml" {
			problems = append(problems, p)
		}
	}
	if len(problems) > 0 {
		return nil, problems
	}
	var liquid *chem.Millilitres
	if n.FillML != nil && n.Jars > 0 {
		liquid = new(*n.FillML * chem.Millilitres(n.Jars))
	}
	v := recipeCeiling(n.Ingredients, liquid, n.TargetGPer100ML, w)
	return &v, nil
}

func recipeCeiling(ingredients []larder.Ingredient, liquid *chem.Millilitres, target chem.GramsPer100ML, w writer) ceilingView {
	c, err := larder.CeilingOfRecipe(ingredients, liquid, target)
	if err != nil {
		return ceilingView{None: err.Error()}
	}
	return ceilingWords(c, target, "", nil, nil, w)
}

func (p *Pages) ceilingOfBatch(ctx context.Context, b larder.Batch, w writer) (ceilingView, error) {
	liquid, err := p.DB.LiquidOfBatch(ctx, b.ID)
	return recipeCeiling(b.Ingredients, liquid, b.TargetGPer100ML, w), err
}
