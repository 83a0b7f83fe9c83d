package larder

import (
	"cmp"
	"slices"
)

// Inflow is something that came into a jar, for reckoning what the jar is made
// of. Exactly one of From and Name is set.
type Inflow struct {
	To       Tag
	From     Tag     // a jar
	Name     string  // water, bought vinegar, herbs, ...
	VolumeML float64 // 0: a mother, or something weighed
	MassG    float64
	HeldML   float64 // in the jar just before
}

// Contents is what a jar is made of: grams of each ingredient that went into one
// millilitre of it. What is not known how much is there with 0.
type Contents map[string]float64

// ContentsOfRecipe is the contents of the liquid that a recipe made; made 0 or
// less means not known, and then the ingredients together stand for it, 1 g for
// 1 mL, as IngredientsByWeight counts.
func ContentsOfRecipe(ingredients []Ingredient, madeML float64) Contents {
	c := Contents{}
	sum := 0.0
	for _, i := range ingredients {
		w := float64(i.Amount.MassG) + float64(i.Amount.VolumeML)
		c[i.Name] += w
		sum += w
	}
	if madeML <= 0 {
		madeML = sum
	}
	for name := range c {
		if madeML > 0 {
			c[name] /= madeML
		}
	}
	return c
}

// Mix carries contents along the inflows, which are in the order of time, and
// changes jars. Stirred by nobody, a jar still counts as mixed.
func Mix(jars map[Tag]Contents, inflows []Inflow) {
	for _, in := range inflows {
		into := jars[in.To]
		if into == nil {
			into = Contents{}
			jars[in.To] = into
		}
		came := Contents{in.Name: 1}
		if in.From != "" {
			came = jars[in.From]
		}
		held := max(0, in.HeldML)
		switch {
		case in.VolumeML > 0:
			into.blend(came, in.VolumeML/(held+in.VolumeML))
		case in.From != "": // a mother brings no weight worth a label
		case in.MassG > 0 && held > 0:
			into[in.Name] += in.MassG / held
		default:
			into[in.Name] += 0
		}
	}
}

// blend replaces a part of c, 0 to 1, by other.
func (c Contents) blend(other Contents, part float64) {
	came := make(Contents, len(other)) // other may be c itself
	for name, g := range other {
		came[name] = g * part
	}
	for name := range c {
		c[name] *= 1 - part
	}
	for name, g := range came {
		c[name] += g
	}
}

// ByWeight lists the names, the heaviest first, as a food label does.
func (c Contents) ByWeight() []string {
	names := make([]string, 0, len(c))
	for name := range c {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int { return cmp.Or(cmp.Compare(c[b], c[a]), cmp.Compare(a, b)) })
	return names
}

// ContentsOfLot is what a lot is made of, of jars with these contents.
func ContentsOfLot(pours []Pour, jars map[Tag]Contents) Contents {
	lot := Contents{}
	total := 0.0
	for _, p := range pours {
		if v := float64(p.VolumeML); v > 0 {
			total += v
			lot.blend(jars[p.Jar], v/total)
		}
	}
	return lot
}
