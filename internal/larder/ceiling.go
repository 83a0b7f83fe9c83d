package larder

import (
	"fmt"
	"slices"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

// Ceiling is the highest acidity that a batch or a jar can reach, and from what
// that is known.
type Ceiling struct {
	chem.CeilingResult
	From string // "must at 12.5 °Bx", "11.5 % vol measured", "the ingredients"
	// Found is a titration that reached the target; nil when none did. Surely tells
	// that the lower end of its interval did.
	Found   *chem.GramsPer100ML
	Surely  bool
	Missing []string // ingredients that could not be counted; the true ceiling may be higher

	// Open tells that something of unknown alcohol was poured in since, which may take
	// it past what the target asks for.
	Open bool

	overtaken bool // nothing is said of the target, see Overtaken
}

// CeilingOfRecipe reckons from the ingredients alone. volume is the liquid that
// the batch makes, nil when only the ingredients tell. The error is a
// *chem.FieldError and says what is missing from the recipe.
func CeilingOfRecipe(ingredients []Ingredient, volume *chem.Millilitres, target chem.GramsPer100ML) (Ceiling, error) {
	return ceilingOfRecipe(ingredients, volume, target, 0, Vinegar{})
}

// ceilingOfRecipe counts that a part of the liquid, 0 to 1, is water added since,
// and another one vinegar.
func ceilingOfRecipe(ingredients []Ingredient, volume *chem.Millilitres, target chem.GramsPer100ML, water float64, v Vinegar) (Ceiling, error) {
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
	liquid /= 1 - water - v.Part
	r, err := chem.Ceiling{
		VolumeML: chem.Millilitres(liquid), SucroseG: sugars.SucroseG, HexoseG: sugars.HexoseG,
		ABVPercent: chem.PercentVol(100 * ethanolML / liquid), AcidityGPer100ML: v.AcidGPer100ML, TargetGPer100ML: target,
	}.Result()
	return Ceiling{CeilingResult: r, From: "the ingredients", Missing: sugars.Unknown}, err
}

// CeilingOfJar reckons from the best evidence that the jar has: the alcohol
// measured in it, else the sugar of its must, else its recipe. liquid is what
// the whole batch made, nil when not known. Water added since is counted, and so
// is vinegar of known acidity, as the jar's log has it: bought with its acidity
// stated, or a starter from a jar that was titrated before. Their acid counts and
// their share of the liquid. What else came from a jar is taken to be like this one.
// The alcohol of something else that was poured in is not known, see fed.
func CeilingOfJar(batch Batch, jar Jar, liquid *chem.Millilitres, log []Entry, givers Givers) (Ceiling, error) {
	s, v := jar.State, vinegarIn(log, givers)
	switch {
	case s.ABV != nil && s.ABV.Value > 0 && !s.abvIsRest():
		c, err := ceilingOfAlcohol(s, batch.TargetGPer100ML, v)
		return c.fed(v.sinceABV), err
	case s.MustBrix != nil || s.MustSG != nil:
		c, err := ceilingOfMust(s, batch.TargetGPer100ML, v.all)
		return c.watered(s.WaterPart).soured(v.all.from, v.uncounted).fed(v.others), err
	}
	c, err := ceilingOfRecipe(batch.Ingredients, liquid, batch.TargetGPer100ML, s.WaterPart, v.all)
	if err != nil && s.abvIsRest() && s.Acidity.Basis == ByTitration {
		return ceilingOfRest(s, batch.TargetGPer100ML)
	}
	return c.watered(s.WaterPart).soured(v.all.from, v.uncounted).fed(v.others), err
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
// that was there beside it, both thinned by the water and the vinegar added since.
func ceilingOfAlcohol(s State, target chem.GramsPer100ML, v vinegars) (Ceiling, error) {
	water := min(1, (1-s.WaterPart)/(1-s.ABVWaterPart))
	share := min(1, (1-s.WaterPart-v.all.Part)/(1-s.ABVWaterPart-v.atABV.Part))
	ask := chem.Ceiling{VolumeML: 1000, ABVPercent: s.ABV.Value * chem.PercentVol(share), AcidityGPer100ML: v.all.AcidGPer100ML, TargetGPer100ML: target}
	if a := s.Acidity; a != nil && a.Basis != Computed && !a.When.At.After(s.ABV.When.At) {
		// The titration has counted what was in by then.
		ask.AcidityGPer100ML += (a.GPer100ML - v.atABV.AcidGPer100ML) * chem.GramsPer100ML(share)
	}
	r, err := ask.Result()
	c := Ceiling{CeilingResult: r, From: fmt.Sprintf("%.3g %% vol measured on %s", float64(s.ABV.Value), s.ABV.When.At.Format("2 Jan 2006"))}
	if a := s.Acidity; a != nil && a.Basis == ByTitration && !a.When.At.After(s.ABV.When.At) {
		v.uncounted = nil // titrated since it came in
	}
	return c.watered(1-water).soured(v.all.from[len(v.atABV.from):], v.uncounted), err
}

func ceilingOfMust(s State, target chem.GramsPer100ML, v Vinegar) (Ceiling, error) {
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
	c.CeilingResult, err = chem.Ceiling{VolumeML: chem.Millilitres(1000 / (1 - s.WaterPart - v.Part)), HexoseG: perL, AcidityGPer100ML: v.AcidGPer100ML, TargetGPer100ML: target}.Result()
	return c, err
}

// watered says in From that a part of the liquid is water added since, when it is.
func (c Ceiling) watered(part float64) Ceiling {
	if part > 0 {
		c.From += fmt.Sprintf(", with %.0f %% of water added since", 100*part)
	}
	return c
}

// soured says in From what vinegar came in and is counted, and what starter is
// not, and puts the jars' numbers into the explanation.
func (c Ceiling) soured(from []source, uncounted []string) Ceiling {
	bought := 0.0
	for _, f := range from {
		if f.giver == nil {
			bought += f.part
		}
	}
	if bought >= leastPart {
		c.From += fmt.Sprintf(", with %.0f %% of bought vinegar in it", 100*bought)
	}
	var rest []string
	for _, f := range from {
		if f.giver == nil || f.part < leastPart {
			continue
		}
		how, a := "titrated", f.giver.Acidity
		if a.Basis == Computed {
			how = "titrated and watered"
		}
		c.From += fmt.Sprintf(", with %.0f %% of starter from jar %s in it, %s at %s g/100 mL", 100*f.part, f.jar.Spaced(), how, oneDecimal(a.GPer100ML))
		if f.giver.Stage != Maturing && f.giver.Stage != Finished {
			rest = append(rest, "what alcohol the starter from jar "+f.jar.Spaced()+" still had is not counted")
		}
		c.Explain.Values = append(c.Explain.Values, chem.Given{Name: "starter from jar " + f.jar.Spaced() + ", of the liquid", Value: 100 * f.part, Unit: "%"},
			chem.Given{Name: "its acidity, " + how, Value: float64(a.GPer100ML), Unit: "g/100 mL"})
	}
	for _, text := range append(rest, uncounted...) {
		c.From += "; " + text
	}
	return c
}

// fed names what was poured in and is not counted. That may have been the very liquid
// that the target asked for: unless the target is likely anyhow, nothing is said of it,
// and no more of it is asked for.
func (c Ceiling) fed(names []string) Ceiling {
	if len(names) == 0 {
		return c
	}
	c.Missing = append(slices.Clone(c.Missing), names...)
	c.Open = c.Reach != chem.ReachLikely
	c.Change, c.overtaken = nil, c.overtaken || c.Open
	return c
}

// leastPart of a liquid is worth a word.
const leastPart = 0.005

// Vinegar is what vinegars of known acidity are of a jar's liquid.
type Vinegar struct {
	Part          float64            // of the liquid, 0 to 1
	AcidGPer100ML chem.GramsPer100ML // their acid in all of the liquid
	from          []source
}

// source is one vinegar that came in.
type source struct {
	part  float64 // of the liquid, 0 to 1
	jar   Tag
	giver *State // of the jar when it gave; nil for a bought one
}

// with is v after something came in as a part of the liquid, which thins the rest.
func (v Vinegar) with(came float64) Vinegar {
	out := Vinegar{Part: v.Part * (1 - came), AcidGPer100ML: v.AcidGPer100ML * chem.GramsPer100ML(1-came)}
	for _, f := range v.from {
		f.part *= 1 - came
		out.from = append(out.from, f)
	}
	return out
}

// add counts a vinegar that is a part of the liquid already.
func (v *Vinegar) add(f source, acidity chem.GramsPer100ML) {
	v.Part += f.part
	v.AcidGPer100ML += acidity * chem.GramsPer100ML(f.part)
	v.from = append(v.from, f)
}

type vinegars struct {
	all       Vinegar
	atABV     Vinegar  // when the alcohol was measured last
	uncounted []string // starters whose acid nobody knows, in words
	// What else was poured in, neither water nor vinegar: all of it, and since then.
	others, sinceABV []string
}

// Givers are the jars that gave a starter, as they were then, by the entry that
// tells of it in the jar which got it.
type Givers map[uuid.UUID]State

// StarterOf is the starter that an entry brought in, nil when none.
func StarterOf(body Body) *Feed {
	switch b := body.(type) {
	case StageChange:
		return b.Starter
	case Transfer:
		if b.What == StarterIn {
			return b.Feed
		}
	}
	return nil
}

// vinegarIn adds up a log, in the order of recording. Feeds into an unknown volume
// are passed over: nobody knows their share.
func vinegarIn(log []Entry, givers Givers) (v vinegars) {
	var s State
	for _, e := range log {
		if e.Struck() {
			continue
		}
		s = s.Apply(e)
		if r, ok := e.Body.(Reading); ok && r.ABV != nil && s.ABV.Entry == e.ID {
			v.atABV, v.sinceABV = v.all, nil
		}
		f := feedOf(e.Body)
		if f == nil || f.VolumeML == nil {
			continue
		}
		starter := StarterOf(e.Body) != nil
		miss := func(why string) {
			if starter && (f.From == FromJar || f.From == FromBought) {
				v.uncounted = append(v.uncounted, "the starter of "+f.Describe()+" is not counted, since "+why)
			}
		}
		if s.VolumeML == nil || *s.VolumeML <= *f.VolumeML {
			miss("it is not known how much it was put to")
			continue
		}
		if f.From == FromOther {
			v.others, v.sinceABV = withName(v.others, f.Name), withName(v.sinceABV, f.Name)
		}
		came := float64(*f.VolumeML / *s.VolumeML)
		v.all = v.all.with(came)
		giver := givers[e.ID]
		switch {
		case f.From == FromBought && f.Acidity != nil:
			v.all.add(source{part: came}, *f.Acidity)
		case f.From == FromBought:
			miss("its acidity is not stated")
		case f.From != FromJar || !starter:
		case giver.Acidity != nil && (giver.Acidity.Basis == ByTitration || giver.Acidity.Basis == Computed):
			v.all.add(source{part: came, jar: f.Jar, giver: &giver}, giver.Acidity.GPer100ML)
		case giver.Acidity != nil:
			miss("something else went into that jar after it was titrated")
		default:
			miss("that jar was not titrated before")
		}
	}
	return v
}

// feedOf is what came into a jar that stood there already, nil when nothing did.
func feedOf(body Body) *Feed {
	if b, ok := body.(Transfer); ok && !b.What.Fills() {
		return b.Feed
	}
	return StarterOf(body)
}
