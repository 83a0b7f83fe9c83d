package larder

import (
	"fmt"
	"math"
	"time"

	"cruet/internal/chem"
)

// Part is one new vessel and the liquid that goes into it.
type Part struct {
	SizeML   chem.Millilitres `json:"size_ml"`
	VolumeML chem.Millilitres `json:"volume_ml"`
	SpareTag Tag              `json:"spare_tag,omitempty"` // empty: a new tag
	Place    string           `json:"place,omitempty"`     // empty: where the old jar stands
}

func (v Part) check(p *Problems, field string) {
	switch {
	case v.SizeML < minJarML || v.SizeML > maxJarML:
		p.Add(field+"size_ml", "Say how much the new vessel holds, between 50 mL and 250 L.")
	case !(v.VolumeML > 0):
		p.Add(field+"volume_ml", "Say how much goes into the new vessel; nothing is no split.")
	case v.VolumeML > v.SizeML:
		p.Add(field+"volume_ml", fmt.Sprintf("A vessel of %s cannot hold %s.", chem.FormatVolume(v.SizeML, chem.Metric), chem.FormatVolume(v.VolumeML, chem.Metric)))
	}
	checkText(p, field+"place", "The place", v.Place, MaxNameRunes, false)
}

// NewSplit pours parts of one jar into new vessels. The parts stay in its batch
// and get the next letters; what is not named stays in the jar.
type NewSplit struct {
	When  When // zero: now
	Note  string
	Parts []Part
}

// TotalML is what all parts take.
func (n NewSplit) TotalML() chem.Millilitres {
	var total chem.Millilitres
	for _, part := range n.Parts {
		total += part.VolumeML
	}
	return total
}

// Check says all that is wrong with splitting this jar so.
func (n NewSplit) Check(jar Jar, now time.Time) error {
	var p Problems
	p.AddError("when", n.When.Check("when", now))
	checkText(&p, "note", "The note", n.Note, MaxNoteRunes, false)
	if len(n.Parts) == 0 || len(n.Parts) > MaxJars {
		p.Add("parts", fmt.Sprintf("Say into which vessels the jar is split: 1 to %d, each with its size and how much goes in.", MaxJars))
	}
	for i, part := range n.Parts {
		part.check(&p, fmt.Sprintf("parts[%d].", i))
	}
	checkSpares(&p, n.Parts)
	checkGiver(&p, "", jar, n.When)
	if len(p) == 0 {
		total := n.TotalML()
		p = append(p, checkOut(jar, &total)...)
	}
	return p.Err()
}

func checkSpares(p *Problems, parts []Part) {
	seen := map[Tag]bool{}
	for i, part := range parts {
		if part.SpareTag != "" && seen[part.SpareTag] {
			p.Add(fmt.Sprintf("parts[%d].spare_tag", i), "The spare tag "+string(part.SpareTag)+" is named twice; each vessel wears its own.")
		}
		seen[part.SpareTag] = true
	}
}

// checkGiver refuses to take liquid from a jar that is retired, on hold, or was
// not there yet.
func checkGiver(p *Problems, field string, jar Jar, when When) {
	switch s := jar.State; {
	case !s.Stage.Live():
		p.Add(field, fmt.Sprintf("Jar %s is %s, so nothing can be taken out of it.", jar.Tag, s.Stage))
	case !when.IsZero() && when.Before(s.StartedAt):
		p.Add("when", fmt.Sprintf("That is before jar %s was started. Check the date.", jar.Tag))
	}
	checkHold(p, field, jar, when)
}

// NewMove pours a whole jar into a new vessel; the old one becomes empty.
type NewMove struct {
	When     When // zero: now
	Note     string
	SizeML   chem.Millilitres
	VolumeML *chem.Millilitres // measured on the way; nil: all that the log says it has
	SpareTag Tag
	Place    string
}

// Split is the move as a split into one part, or a Problem when nobody knows
// how much there is.
func (n NewMove) Split(jar Jar) (NewSplit, error) {
	volume := n.VolumeML
	if volume == nil {
		volume = jar.State.VolumeML
	}
	if volume == nil {
		return NewSplit{}, Refuse("volume_ml", fmt.Sprintf("The log does not say how much is in jar %s. Measure it while pouring and fill it in.", jar.Tag))
	}
	return NewSplit{When: n.When, Note: n.Note, Parts: []Part{{SizeML: n.SizeML, VolumeML: *volume, SpareTag: n.SpareTag, Place: n.Place}}}, nil
}

// Check says all that is wrong with moving this jar so.
func (n NewMove) Check(jar Jar, now time.Time) error {
	split, err := n.Split(jar)
	if err != nil {
		return err
	}
	var p Problems
	p.AddError("", split.Check(jar, now))
	for i := range p { // a move has one vessel, so its fields carry no number
		if rest, ok := cutPart(p[i].Field); ok {
			p[i].Field = rest
		}
	}
	return p.Err()
}

func cutPart(field string) (string, bool) {
	const first = "parts[0]."
	if len(field) > len(first) && field[:len(first)] == first {
		return field[len(first):], true
	}
	return field, false
}

// AllOut tells that nothing worth a label stays in a jar after that volume was
// taken out: it is emptied in the same act. A jar whose volume is not known
// stays.
func AllOut(jar Jar, takenML chem.Millilitres) bool {
	return jar.State.VolumeML != nil && *jar.State.VolumeML-takenML < 0.001
}

// NewBlend joins jars in one new vessel, which begins a new batch.
type NewBlend struct {
	Name            string
	When            When // zero: now
	Note            string
	Pours           []Pour // volume 0: all that the jar has
	SizeML          chem.Millilitres
	SpareTag        Tag
	Place           string
	TargetGPer100ML chem.GramsPer100ML // 0: the highest target of the batches that went in
}

// Check says all that is wrong with joining these jars so, and returns the
// pours with every volume filled in. jars are in the order of n.Pours.
func (n NewBlend) Check(jars []Jar, now time.Time) ([]Pour, error) {
	var p Problems
	checkText(&p, "name", "The blend's name", n.Name, MaxNameRunes, true)
	checkText(&p, "note", "The note", n.Note, MaxNoteRunes, false)
	p.AddError("when", n.When.Check("when", now))
	if len(n.Pours) < 2 || len(n.Pours) > MaxLotJars {
		p.Add("jars", fmt.Sprintf("A blend joins 2 to %d jars. To put one jar into another vessel, move it.", MaxLotJars))
	}
	if t := n.TargetGPer100ML; t != 0 && (t < 0.5 || t > 12) {
		p.Add("target_g_per_100ml", "The target acidity lies between 0.5 and 12 g/100 mL; ordinary shop vinegar has 5.")
	}
	pours, total := checkPours(&p, n.Pours, jars, n.When, "")
	if len(p) == 0 {
		Part{SizeML: n.SizeML, VolumeML: total, SpareTag: n.SpareTag, Place: n.Place}.check(&p, "")
	}
	return pours, p.Err()
}

// pourOf is what a jar gives: all that it has when volume is 0.
func pourOf(p *Problems, volume chem.Millilitres, jar Jar) chem.Millilitres {
	held := jar.State.VolumeML
	switch {
	case volume < 0:
		p.Add("jars", "A jar cannot give less than nothing.")
	case volume == 0 && held == nil:
		p.Add("jars", fmt.Sprintf("The log does not say how much is in jar %s. Say how much of it goes in.", jar.Tag))
	case volume == 0 && *held <= 0:
		p.Add("jars", fmt.Sprintf("There is nothing left in jar %s to blend.", jar.Tag))
	case volume == 0:
		return *held
	default:
		*p = append(*p, checkOut(jar, &volume)...)
	}
	return volume
}

// BlendStage is the stage of a blend: that of the jar that has the longest way
// to go.
func BlendStage(jars []Jar) Stage {
	for _, s := range Stages() {
		for _, jar := range jars {
			if jar.State.Stage == s {
				return s
			}
		}
	}
	return Must
}

// BlendPart is what one jar brings into a blend's recipe.
type BlendPart struct {
	Batch    Batch
	VolumeML chem.Millilitres
	MadeML   *chem.Millilitres // what the batch's recipe made in all; nil when not known
}

// BlendBatch is the recipe of a blend: the base when all have the same, and
// the ingredients of all, each by the share of its batch that went in.
func BlendBatch(parts []BlendPart) (base Base, ingredients []Ingredient, target chem.GramsPer100ML) {
	for i, part := range parts {
		if i == 0 {
			base = part.Batch.Base
		} else if part.Batch.Base != base {
			base = OtherBase
		}
		target = max(target, part.Batch.TargetGPer100ML)
		share := part.share()
		for _, ing := range part.Batch.Ingredients {
			ingredients = addIngredient(ingredients, scaled(ing, share))
		}
	}
	return base, ingredients, target
}

// share is the part of the batch that went in. Where nobody knows how much the
// batch made, its ingredients together stand for it, 1 g for 1 mL.
func (b BlendPart) share() float64 {
	var made float64
	if b.MadeML != nil {
		made = float64(*b.MadeML)
	} else {
		for _, i := range b.Batch.Ingredients {
			made += float64(i.Amount.MassG) + float64(i.Amount.VolumeML)
		}
	}
	if made <= 0 {
		return 1
	}
	return min(1, float64(b.VolumeML)/made)
}

func scaled(i Ingredient, share float64) Ingredient {
	i.Amount.Value = fourDigits(i.Amount.Value * share) // what people read
	i.Amount.MassG *= chem.Grams(share)
	i.Amount.VolumeML *= chem.Millilitres(share)
	return i
}

func fourDigits(v float64) float64 {
	if v == 0 {
		return 0
	}
	scale := math.Pow(10, 3-math.Floor(math.Log10(math.Abs(v))))
	return math.Round(v*scale) / scale
}

// addIngredient adds to an equal line of the recipe, or a line of its own.
func addIngredient(list []Ingredient, i Ingredient) []Ingredient {
	for k, have := range list {
		same := have.Name == i.Name && have.Supplier == i.Supplier && have.SupplierLot == i.SupplierLot && have.Amount.Unit == i.Amount.Unit &&
			equal(have.ABVPercent, i.ABVPercent) && equal(have.SugarGPer100G, i.SugarGPer100G)
		if same {
			list[k].Amount.Value = fourDigits(have.Amount.Value + i.Amount.Value)
			list[k].Amount.MassG += i.Amount.MassG
			list[k].Amount.VolumeML += i.Amount.VolumeML
			return list
		}
	}
	return append(list, i)
}

func equal[T comparable](a, b *T) bool {
	return a == b || (a != nil && b != nil && *a == *b)
}
