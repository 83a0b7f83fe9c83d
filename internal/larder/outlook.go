package larder

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"cruet/internal/chem"
)

// oneDecimal writes an acidity that is reckoned, not measured.
func oneDecimal(v chem.GramsPer100ML) string { return strconv.FormatFloat(float64(v), 'f', 1, 64) }

// Beside is c in view of what was measured: a titration that reached the target
// settles what the recipe alone leaves open, and nothing need be changed for it.
func (c Ceiling) Beside(a *Acidity, target chem.GramsPer100ML) Ceiling {
	if a != nil && a.Basis == ByTitration && target > 0 && a.GPer100ML >= target {
		c.Found, c.Change = new(a.GPer100ML), nil
		c.Surely = a.LowerGPer100ML >= target && a.StrengthMark == ""
	}
	return c
}

// Overtaken is c of a jar whose work is over, or whose titrations do not go the way
// of its recipe: that it should or may reach the target is no longer said, nor what
// would help it there, nor that it was reached by a titration above the ceiling.
func (c Ceiling) Overtaken() Ceiling {
	if c.Found != nil && *c.Found > c.StoichiometricGPer100ML {
		c.Found, c.overtaken = nil, true
	}
	if c.Reach == chem.ReachLikely || c.Reach == chem.ReachPossible {
		c.Change, c.overtaken = nil, true
	}
	return c
}

// Sentence says what the ceiling means for a target.
func (c Ceiling) Sentence(target chem.GramsPer100ML) string {
	text := fmt.Sprintf("It can reach %s g/100 mL at most, likely %s to %s", oneDecimal(c.StoichiometricGPer100ML), oneDecimal(c.LikelyLowGPer100ML), oneDecimal(c.LikelyHighGPer100ML))
	aim := strconv.FormatFloat(float64(target), 'f', -1, 64)
	switch {
	case c.Found != nil && !c.Surely:
		return text + "; titrated at " + oneDecimal(*c.Found) + ", it may have reached the target of " + aim + "."
	case c.Found != nil:
		return text + "; titrated at " + oneDecimal(*c.Found) + ", it has reached the target of " + aim + "."
	case c.overtaken:
		return text + "."
	}
	switch c.Reach {
	case chem.ReachLikely:
		return text + "; the target of " + aim + " should be reached."
	case chem.ReachPossible:
		return text + "; the target of " + aim + " may be reached or missed."
	case chem.ReachUnlikely:
		return text + "; the target of " + aim + " is unlikely."
	case chem.ReachNever:
		return text + "; the target of " + aim + " is out of reach."
	}
	return text + "."
}

// Changes says what would bring the likely acidity to the target, each line one
// way, in the stage that the jar is in: sugar helps while yeast works, a stronger
// liquid until the acid is made, less water only before the start (stage empty).
// volume is the liquid to change, nil for what the ceiling was reckoned for.
func (c Ceiling) Changes(stage Stage, volume *chem.Millilitres, units chem.System) []string {
	ch := c.Change
	if ch == nil || !(ch.ForML > 0) {
		return nil
	}
	scale := chem.Millilitres(1)
	if volume != nil {
		scale = *volume / ch.ForML
	}
	var out []string
	if ch.AddSugarG > 0 && (stage == "" || stage == Must || stage == Alcoholic) {
		out = append(out, chem.FormatMass(chem.Grams(ch.AddSugarG*float64(scale)), units)+" more sugar")
	}
	if ch.AddStrongerML > 0 && (stage == "" || stage == Must || stage == Alcoholic || stage == Acetic) {
		out = append(out, fmt.Sprintf("%s of liquid at %s %% vol, such as wine", chem.FormatVolume(ch.AddStrongerML*scale, units), strconv.FormatFloat(float64(ch.StrongerABV), 'f', -1, 64)))
	}
	if ch.LessWaterML > 0 && stage == "" {
		out = append(out, chem.FormatVolume(ch.LessWaterML*scale, units)+" less water")
	}
	return out
}

// PHFlag is a sentence when the newest pH cannot be right beside the most acid
// that may be in the jar, empty when it can: the titration's upper end when the
// pH is not newer, else the ceiling, else what no ferment passes. It goes this
// one way; no acidity follows from a pH.
func PHFlag(s State, ceiling Ceiling) string {
	if s.PH == nil {
		return ""
	}
	ph, at := s.PH.Value, s.PH.When.At
	if c := s.CorrectedPH; c != nil && c.Entry == s.PH.Entry {
		ph = c.Value
	}
	const sumHoldsTo = 10 // g/100 mL, the range of chem.PHOf
	upper := chem.GramsPer100ML(sumHoldsTo)
	if ceiling.StoichiometricGPer100ML > 0 {
		upper = min(upper, ceiling.StoichiometricGPer100ML)
	}
	if a := s.Acidity; a != nil && (a.Basis == ByTitration || a.Basis == Computed) {
		if most := a.GPer100ML + a.ExpandedUGPer100ML; !at.After(a.When.At) || most > upper {
			upper = min(most, sumHoldsTo)
		}
	}
	temp := roomC
	if t := s.TempC; t != nil && t.Entry == s.PH.Entry {
		temp = t.Value
	}
	flag, err := chem.ImplausiblePH(ph, upper, temp)
	if err != nil {
		return "" // colder or hotter than the sum holds for
	}
	return flag
}

// Strong are the notes on a liquid that is too strong, or has nothing, for vinegar
// bacteria, while something can be done about it: until the acetic stage has shown by
// titration that it works. stage is empty for a recipe not begun.
func (c Ceiling) Strong(stage Stage, a *Acidity) []string {
	works := stage == Acetic && a != nil && !c.overtaken
	if works || c.Found != nil || stage == Maturing || stage == Finished || !(stage == "" || stage.Live()) {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(c.Notes), func(n string) bool { return n == chem.CeilingIsNoMeasurement })
}

// Of a gravity that stands still. A week and 0.002, which is as near as a hydrometer
// is read; 1.010 and more is sugar, up to 1.004 a dry cider or wine: common practice,
// no published source.
const (
	gravityStillDays                        = 7
	gravityStillWithin                      = 0.0021
	gravityStuckFrom   chem.SpecificGravity = 1.010
	gravityOverUpTo    chem.SpecificGravity = 1.004
)

// StillGravity tells of an alcoholic jar whose gravity stands whether its fermentation
// is over or stuck; empty when it moves, when too little was read, and in between.
func StillGravity(s State, log []Entry) string {
	if s.Stage != Alcoholic || s.SG == nil {
		return ""
	}
	var read []Measured[chem.SpecificGravity]
	for _, e := range log {
		if r, ok := e.Body.(Reading); ok && !e.Struck() && r.SG != nil && (s.Fed == nil || !e.When.Before(s.Fed.When)) {
			read = append(read, Measured[chem.SpecificGravity]{Value: *r.SG, When: e.When})
		}
	}
	slices.SortStableFunc(read, func(a, b Measured[chem.SpecificGravity]) int { return b.When.At.Compare(a.When.At) })
	newest, since := s.SG.Value, s.SG.When.At
	for _, m := range read {
		if math.Abs(float64(m.Value-newest)) > gravityStillWithin {
			break
		}
		since = m.When.At
	}
	days := int(s.SG.When.At.Sub(since).Hours() / 24)
	switch {
	case days < gravityStillDays:
		return ""
	case newest >= gravityStuckFrom:
		return fmt.Sprintf("It did not move in %d days, with sugar left: the fermentation is stuck, not over. Check its warmth and give it fresh yeast before a mother goes in.", days)
	case newest <= gravityOverUpTo:
		return fmt.Sprintf("It did not move in %d days: the fermentation is over.", days)
	}
	return ""
}

// HighPH tells again of a newest pH that was too high for the stage it was read in,
// since the jar's page is read long after it was saved.
func (s State) HighPH() []string {
	if s.PH == nil || s.PH.When.Latest().Before(s.StageSince.Earliest()) {
		return nil
	}
	return Reading{PH: &s.PH.Value}.Strange(s.Stage)
}

// DilutionTo is the water that brings a jar down to a target acidity; ok is
// false when there is nothing to dilute: not titrated as it stands, its volume
// not known, or not above the target.
func DilutionTo(target chem.GramsPer100ML, s State) (r chem.DilutionResult, ok bool) {
	a, v := s.Acidity, s.VolumeML
	if a == nil || v == nil || a.Basis != ByTitration || a.GPer100ML <= target || *v <= 0 {
		return r, false
	}
	r, err := chem.Dilution{VolumeML: *v, AcidityGPer100ML: a.GPer100ML, TargetGPer100ML: target, ExpandedUGPer100ML: a.ExpandedUGPer100ML}.Result()
	return r, err == nil
}

// DilutionSentence tells a dilution, the sure way first.
func DilutionSentence(r chem.DilutionResult, target chem.GramsPer100ML, units chem.System) string {
	aim := strconv.FormatFloat(float64(target), 'f', -1, 64)
	likely := fmt.Sprintf("%s of water would bring it to about %s g/100 mL", chem.FormatVolume(r.WaterML, units), aim)
	if r.HasSure && r.WaterSureML >= 1 {
		return fmt.Sprintf("Up to %s of water keeps it surely at %s g/100 mL or above; %s.", chem.FormatVolume(r.WaterSureML, units), aim, likely)
	}
	if r.HasSure && r.WaterSureML > 0 {
		return fmt.Sprintf("Add no more water: even the lower bound of its acidity is just at %s g/100 mL.", aim)
	}
	return fmt.Sprintf("Add no water: it is not surely above %s g/100 mL. By the middle of its measurement, %s.", aim, likely)
}
