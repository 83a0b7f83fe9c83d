package larder

import "strings"

// Stage is where a jar stands on its way to vinegar.
type Stage string

// The stages, in the order of the work.
const (
	Must      Stage = "must"      // sugar, before or at the start of fermentation
	Alcoholic Stage = "alcoholic" // yeast turns sugar into alcohol, under a cloth
	Acetic    Stage = "acetic"    // bacteria turn alcohol into acetic acid, with air
	Maturing  Stage = "maturing"  // sour enough; resting, clearing or infusing
	Finished  Stage = "finished"  // ready to bottle
	Empty     Stage = "empty"     // all poured out; the tag is retired
	Discarded Stage = "discarded" // thrown away; the tag is retired
)

// Void is the stage of a jar whose making was struck: it never was. It is no
// stage of the work, so Stages leaves it out and nobody can choose it.
const Void Stage = "void"

// Stages lists them all in order.
func Stages() []Stage {
	return []Stage{Must, Alcoholic, Acetic, Maturing, Finished, Empty, Discarded}
}

// Live tells that the jar still stands on the shelf.
func (s Stage) Live() bool { return s != Empty && s != Discarded && s != Void && s != "" }

// ParseStage reads a stage's name in either case.
func ParseStage(text string) (Stage, error) {
	s := Stage(strings.ToLower(strings.TrimSpace(text)))
	names := make([]string, 0, 7)
	for _, known := range Stages() {
		if s == known {
			return s, nil
		}
		names = append(names, string(known))
	}
	return "", Refuse("stage", "There is no stage "+string(s)+". The stages are "+strings.Join(names, ", ")+".")
}

// Move is one permitted change of stage and what it asks for.
type Move struct {
	From, To     Stage
	Backward     bool // asks for a reason
	NeedsReason  bool
	NeedsVolume  bool // the liquid left after straining
	NeedsStarter bool // where the starter came from, unless one is in already
}

// moves is the whole rule of which stage may follow which.
var moves = []Move{
	{From: Must, To: Alcoholic},
	{From: Must, To: Acetic, NeedsVolume: true, NeedsStarter: true},
	{From: Alcoholic, To: Acetic, NeedsVolume: true, NeedsStarter: true},
	{From: Acetic, To: Maturing},
	{From: Acetic, To: Finished},
	{From: Maturing, To: Finished},

	{From: Alcoholic, To: Must, Backward: true, NeedsReason: true},
	{From: Acetic, To: Alcoholic, Backward: true, NeedsReason: true},
	{From: Maturing, To: Acetic, Backward: true, NeedsReason: true},
	{From: Finished, To: Maturing, Backward: true, NeedsReason: true},
	{From: Finished, To: Acetic, Backward: true, NeedsReason: true},

	{From: Must, To: Empty, NeedsReason: true},
	{From: Alcoholic, To: Empty, NeedsReason: true},
	{From: Acetic, To: Empty, NeedsReason: true},
	{From: Maturing, To: Empty, NeedsReason: true},
	{From: Finished, To: Empty},

	{From: Must, To: Discarded, NeedsReason: true},
	{From: Alcoholic, To: Discarded, NeedsReason: true},
	{From: Acetic, To: Discarded, NeedsReason: true},
	{From: Maturing, To: Discarded, NeedsReason: true},
	{From: Finished, To: Discarded, NeedsReason: true},
}

// MovesFrom lists what may follow stage s, the usual way first.
func MovesFrom(s Stage) []Move {
	var out []Move
	for _, m := range moves {
		if m.From == s {
			out = append(out, m)
		}
	}
	return out
}

// FindMove is the permitted change from one stage to another, or a Problem
// that names the stages that may follow.
func FindMove(from, to Stage) (Move, error) {
	var may []string
	for _, m := range MovesFrom(from) {
		if m.To == to {
			return m, nil
		}
		may = append(may, string(m.To))
	}
	switch {
	case from == to:
		return Move{}, Refuse("stage", "This jar is already "+string(to)+".")
	case len(may) == 0:
		return Move{}, Refuse("stage", "This jar is "+string(from)+" and its tag is retired; nothing follows. If that was logged by mistake, strike that entry.")
	}
	return Move{}, Refuse("stage", "A jar that is "+string(from)+" cannot become "+string(to)+". It can become "+strings.Join(may, ", ")+".")
}
