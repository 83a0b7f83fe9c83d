package larder

import "cruet/internal/chem"

// FlowKind says why the volume in a jar changed.
type FlowKind string

// The flows. Over a jar's whole log they add up to what it holds.
const (
	FlowMade      FlowKind = "made"      // there at the start, or when its volume first became known
	FlowFed       FlowKind = "fed"       // water, bought vinegar, wine, ...
	FlowFromJar   FlowKind = "from jar"  //
	FlowToJar     FlowKind = "to jar"    // negative
	FlowBottled   FlowKind = "bottled"   // negative
	FlowEmptied   FlowKind = "emptied"   // negative: what was left when the jar became empty
	FlowDiscarded FlowKind = "discarded" // negative
	// FlowMeasured is how far a measured volume lies from what was reckoned:
	// straining, samples, evaporation, lees, spills.
	FlowMeasured FlowKind = "measured"
)

// Flow is one change of the volume in a jar.
type Flow struct {
	Kind FlowKind         `json:"kind"`
	ML   chem.Millilitres `json:"ml"`
}

// Flows are the changes of volume that an entry makes in a jar that was in the
// state before and is in the state after. running is what all earlier flows add
// up to; where the state knows no volume, it is the least that must be there.
func Flows(before State, e Entry, after State, running chem.Millilitres) []Flow {
	var out []Flow
	total := running
	add := func(kind FlowKind, v chem.Millilitres) {
		if v != 0 {
			out = append(out, Flow{kind, v})
			total += v
		}
	}
	kind, v := movement(e.Body)
	add(kind, v)
	target := max(0, total)
	if after.VolumeML != nil {
		target = *after.VolumeML
	}
	rest := target - total
	switch {
	case e.Kind == KindStage && after.Stage == Discarded:
		add(FlowDiscarded, rest)
	case e.Kind == KindStage && !after.Stage.Live():
		add(FlowEmptied, rest)
	case before.VolumeML == nil && rest > 0:
		add(FlowMade, rest)
	default:
		add(FlowMeasured, rest)
	}
	return out
}

// movement is the liquid that an entry's body says came in or went out.
func movement(body Body) (FlowKind, chem.Millilitres) {
	var f *Feed
	switch b := body.(type) {
	case StageChange:
		f = b.Starter
	case Transfer:
		f = b.Feed
		switch {
		case f != nil || b.VolumeML == nil:
		case b.What == Bottled:
			return FlowBottled, -*b.VolumeML
		default:
			return FlowToJar, -*b.VolumeML
		}
	}
	switch {
	case f == nil || f.VolumeML == nil:
		return "", 0
	case f.From == FromJar:
		return FlowFromJar, *f.VolumeML
	}
	return FlowFed, *f.VolumeML
}

// FoldFlows derives a jar's flows from its whole log: those of the entry at the
// same place, none for a struck one.
func FoldFlows(log []Entry) [][]Flow {
	out := make([][]Flow, len(log))
	var s State
	var running chem.Millilitres
	for i, e := range log {
		if e.Struck() {
			continue
		}
		after := s.Apply(e)
		out[i] = Flows(s, e, after, running)
		for _, f := range out[i] {
			running += f.ML
		}
		s = after
	}
	return out
}
