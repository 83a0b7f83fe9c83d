package larder

import (
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

// Round is a measuring round: many jars in a row, in the order in which they
// stood on the shelf when it began.
type Round struct {
	ID        uuid.UUID  `json:"id"`
	StartedAt time.Time  `json:"started_at"`
	EndedAt   *time.Time `json:"ended_at,omitempty"` // none: still going on
	By        string     `json:"by,omitempty"`
	Jars      []RoundJar `json:"jars"`
}

// RoundJar is one jar of a round and what became of it.
type RoundJar struct {
	Jar     Tag       `json:"jar"`
	Act     uuid.UUID `json:"act,omitzero"` // that measured it; none: not measured
	Skipped bool      `json:"skipped,omitempty"`
}

// Left tells that the jar is still to be measured.
func (j RoundJar) Left() bool { return j.Act == uuid.Nil && !j.Skipped }

// Next is the jar to go on with: the first that is left behind the given one,
// else the first that is left at all; empty when none is.
func (r Round) Next(after Tag) Tag {
	at := slices.IndexFunc(r.Jars, func(j RoundJar) bool { return j.Jar == after })
	for i := range r.Jars {
		if j := r.Jars[(at+1+i)%len(r.Jars)]; j.Left() && j.Jar != after {
			return j.Jar
		}
	}
	return ""
}

// Has is the jar's place in the round; ok is false when it is not of it.
func (r Round) Has(tag Tag) (RoundJar, bool) {
	for _, j := range r.Jars {
		if j.Jar == tag {
			return j, true
		}
	}
	return RoundJar{}, false
}

// Measuring is what was measured of one jar at the bench; at least one of the
// two is set.
type Measuring struct {
	When      When // zero: now
	Note      string
	Reading   *Reading
	Titration *Titration
}

// Entries are the lines that it writes into the jar's log. The note stands on
// the first.
func (m Measuring) Entries() []NewEntry {
	var out []NewEntry
	if m.Reading != nil {
		out = append(out, NewEntry{When: m.When, Body: *m.Reading})
	}
	if m.Titration != nil {
		out = append(out, NewEntry{When: m.When, Body: *m.Titration})
	}
	if len(out) > 0 {
		out[0].Note = m.Note
	}
	return out
}

// Check says all that is wrong with m for this jar at the instant now.
func (m Measuring) Check(jar Jar, now time.Time) error {
	var p Problems
	entries := m.Entries()
	if len(entries) == 0 {
		p.Add("", "There is nothing to save yet: fill in what you measured, or skip this jar.")
	}
	for _, n := range entries {
		p.AddError("", n.Check(jar, now))
	}
	return p.Err()
}

// MeasureOrder puts jars into the order of a walk along the shelf: by place,
// then as they were; jars without a place come last.
func MeasureOrder(shelf []ShelfJar) []ShelfJar {
	out := slices.Clone(shelf)
	slices.SortStableFunc(out, func(a, b ShelfJar) int {
		switch pa, pb := a.Jar.Place, b.Jar.Place; {
		case pa == pb:
			return 0
		case pb == "" || (pa != "" && pa < pb):
			return -1
		}
		return 1
	})
	return out
}

// MeasureChoice says which jars a round takes.
type MeasureChoice string

// The choices.
const (
	MeasureDue  MeasureChoice = "due"  // those for which a reading or titration is due
	MeasureSour MeasureChoice = "sour" // acetic, maturing and finished
	MeasureAll  MeasureChoice = "all"
)

// Choose keeps the jars of that choice, in the order of a walk.
func (c MeasureChoice) Choose(shelf []ShelfJar, now time.Time) []ShelfJar {
	var out []ShelfJar
	for _, s := range MeasureOrder(shelf) {
		sour := s.Jar.State.Stage == Acetic || s.Jar.State.Stage == Maturing || s.Jar.State.Stage == Finished
		due := slices.ContainsFunc(s.Batch.Due(s.Jar.State, now), func(t Todo) bool { return t.Do.Measures() && t.Urgency > Coming })
		if s.Jar.State.Stage.Live() && (c == MeasureAll || (c == MeasureSour && sour) || (c == MeasureDue && due)) {
			out = append(out, s)
		}
	}
	return out
}

// What a value may differ from the last one before it is looked at again:
// common practice, no published source.
const (
	phJump         = 0.5
	gravityRise    = 0.003
	brixRise       = 1.0
	acidityPerWeek = 3.0 // g/100 mL, in a still jar
)

// safePH is the most that an acidified food may have: above it, bacteria that make
// people ill can grow (21 CFR 114.3(b)).
const safePH chem.PH = 4.6

// Strange tells what of a reading wants a second look whatever was read before. A
// fresh must may well lie above the limit, so it is left out.
func (r Reading) Strange(stage Stage) []string {
	if r.PH == nil || *r.PH <= safePH || stage == Must || !stage.Live() {
		return nil
	}
	return []string{fmt.Sprintf("pH %g is above %g, too high for what is %s: harmful bacteria can grow there. Rinse the probe and read it again; if it stands, do not taste it, and throw it away.", float64(*r.PH), float64(safePH), stage)}
}

// OutOfLine tells what of a new entry does not go with what was measured before:
// a slip, another jar's sample, or something that wants a look.
func OutOfLine(before State, e Entry) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	switch b := e.Body.(type) {
	case Reading:
		if v := b.PH; v != nil && before.PH != nil && math.Abs(float64(*v-before.PH.Value)) > phJump {
			say("pH went from %g to %g. Rinse and read it again; is it this jar's sample?", float64(before.PH.Value), float64(*v))
		}
		if v := b.SG; v != nil && before.SG != nil && float64(*v-before.SG.Value) > gravityRise {
			say("The gravity rose from %.3f to %.3f, and a ferment only lets it fall. Read it again, unless something sweet went in.", float64(before.SG.Value), float64(*v))
		}
		if v := b.Brix; v != nil && before.Brix != nil && float64(*v-before.Brix.Value) > brixRise {
			say("Brix rose from %g to %g, and a ferment only lets it fall. Read it again, unless something sweet went in.", float64(before.Brix.Value), float64(*v))
		}
		if b.PHMark != "" {
			say("pH is rough: %s", b.PHMark)
		}
		out = append(out, b.Strange(before.Stage)...)
	case Titration:
		out = append(out, acidityOutOfLine(before.Acidity, b, e.When)...)
	}
	return out
}

func acidityOutOfLine(last *Acidity, t Titration, when When) []string {
	r, err := t.Result()
	if err != nil {
		return nil
	}
	var out []string
	if last != nil && last.Basis != Outdated {
		change := float64(r.AcidityGPer100ML - last.GPer100ML)
		doubt := math.Hypot(float64(r.ExpandedUGPer100ML), float64(last.ExpandedUGPer100ML))
		weeks := math.Max(1, when.At.Sub(last.When.At).Hours()/24/7)
		switch {
		case change < 0 && -change > doubt:
			out = append(out, fmt.Sprintf("Acidity fell from %s to %s, by more than both measurements leave open. Titrate again; if it holds, the alcohol is used up and the acid is being eaten: bottle it full.",
				AcidityWords(last.GPer100ML, last.ExpandedUGPer100ML), AcidityWords(r.AcidityGPer100ML, r.ExpandedUGPer100ML)))
		case change > acidityPerWeek*weeks:
			out = append(out, fmt.Sprintf("Acidity rose by %.1f g/100 mL, more than a still jar makes in that time. Check the sample's volume and the base.", change))
		}
	}
	if r.StrengthMark != "" {
		out = append(out, r.StrengthMark)
	}
	return append(out, r.Notes...)
}

// RoundLine is what one jar of a round came to.
type RoundLine struct {
	RoundJar
	Of      ShelfJar
	Before  State // as the round found it
	Entries []Entry
	Flags   []string
}

// Flagged is l with what is out of line about it.
func (l RoundLine) Flagged() RoundLine {
	l.Flags = nil
	for _, e := range l.Entries {
		if e.Struck() {
			l.Flags = append(l.Flags, "Struck since: it no longer counts.")
			continue
		}
		l.Flags = append(l.Flags, OutOfLine(l.Before, e)...)
	}
	return l
}

// RoundBench is what the bench says of a round.
type RoundBench struct {
	Calibration *BenchEntry // in force during the round
	Control     *BenchEntry // the newest control sample made in the round
	Drift       string      // what the control chart of its meter finds; empty: nothing
}

// Flags tells what is missing or drifts.
func (b RoundBench) Flags(r Round, k Kitchen) []string {
	var out []string
	if why := calibrationWhy(b.Calibration, k, r.StartedAt); why != "" {
		out = append(out, upperFirst(why)+": every pH of this round is rough.")
	}
	if b.Control == nil {
		out = append(out, "No control sample was read in this round, so nothing shows whether the meter drifted.")
	}
	if b.Drift != "" {
		out = append(out, b.Drift)
	}
	return out
}

// DriftOf is what a control chart finds wrong with the newest of a meter's
// readings, in the order of reading; empty while it is in control or has too few.
func DriftOf(meter string, readings []chem.PH) string {
	c, err := chem.ControlChart{ReadingsPH: readings}.Result()
	if err != nil || c.InControl || len(c.Flags) == 0 {
		return ""
	}
	return fmt.Sprintf("%s is out of control: %s", meter, c.Flags[len(c.Flags)-1].Why)
}
