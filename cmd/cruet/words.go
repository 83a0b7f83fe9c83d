package main

import (
	"fmt"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// speech turns records into words, in the kitchen's units and time zone.
type speech struct {
	units chem.System
	loc   *time.Location
	now   time.Time
}

func (r room) speech() speech {
	return speech{units: r.kitchen.Units(), loc: r.loc, now: time.Now().In(r.loc)}
}

// none stands where nothing is known.
const none = "–"

func (s speech) volume(v *chem.Millilitres) string {
	if v == nil {
		return none
	}
	return chem.FormatVolume(*v, s.units)
}

// age is the calendar days since w in the kitchen's zone.
func (s speech) age(w larder.When) string {
	midday := func(t time.Time) time.Time {
		y, m, d := t.In(s.loc).Date()
		return time.Date(y, m, d, 12, 0, 0, 0, time.UTC)
	}
	days := int(midday(s.now).Sub(midday(w.At)).Hours() / 24)
	if days == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", days)
}

// acidity says how sour and how it is known: a measured, a computed and an
// outdated value must not look alike.
func (s speech) acidity(a *larder.Acidity) string {
	if a == nil || a.Basis == larder.NotMeasured {
		return "not measured"
	}
	value := larder.AcidityWords(a.GPer100ML, a.ExpandedUGPer100ML)
	switch a.Basis {
	case larder.Computed:
		return fmt.Sprintf("about %s, computed; %s", value, a.Why)
	case larder.Outdated:
		return fmt.Sprintf("not known now; %s %s", value, a.Why)
	}
	return fmt.Sprintf("%s, measured %s", value, a.When.DateIn(s.loc))
}

// shortAcidity is acidity for a column.
func (s speech) shortAcidity(a *larder.Acidity) string {
	if a == nil {
		return none
	}
	switch a.Basis {
	case larder.ByTitration:
		return fmt.Sprintf("%.1f", float64(a.GPer100ML))
	case larder.Computed:
		return fmt.Sprintf("(%.1f)", float64(a.GPer100ML))
	case larder.Outdated:
		return "outdated"
	}
	return none
}

// body is what an entry holds, in words.
func (s speech) body(b larder.Body) string { return larder.Words(b, s.units) }

// edge is one step of the lineage, seen from the jar that got it or gave it.
func (s speech) edge(e larder.Edge, incoming bool) string {
	return fmt.Sprintf("%s, %s (%s)", e.Words(incoming, s.units), e.When.DateIn(s.loc), e.What)
}

func (s speech) todo(t larder.Todo, state larder.State) string {
	return fmt.Sprintf("%s %s, %s: %s", t.What, t.Window(s.loc), t.Urgency, t.Reason(state, s.now))
}

// lotAcidity is a lot's acidity with the evidence behind it.
func (s speech) lotAcidity(a larder.Acidity) string {
	text := a.LabelText()
	if note := a.LabelNote(s.loc); note != "" {
		text += ", " + note
	}
	return text
}
