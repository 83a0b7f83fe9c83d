package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
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
	return speech{units: r.kitchen.Units(), loc: r.loc, now: time.Now()}
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

// gramsPer100ML writes an acidity in as many digits as its uncertainty allows;
// the uncertainty is rounded up.
func gramsPer100ML(v, expanded chem.GramsPer100ML) string {
	switch {
	case expanded <= 0:
		return fmt.Sprintf("%.2f g/100 mL", float64(v))
	case expanded < 0.0995:
		return fmt.Sprintf("%.2f ± %.2f g/100 mL", float64(v), math.Ceil(float64(expanded)*100-1e-9)/100)
	}
	return fmt.Sprintf("%.1f ± %.1f g/100 mL", float64(v), math.Ceil(float64(expanded)*10-1e-9)/10)
}

// acidity says how sour and how it is known: a measured, a computed and an
// outdated value must not look alike.
func (s speech) acidity(a *larder.Acidity) string {
	if a == nil || a.Basis == larder.NotMeasured {
		return "not measured"
	}
	value := gramsPer100ML(a.GPer100ML, a.ExpandedUGPer100ML)
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
func (s speech) body(b larder.Body) string {
	switch b := b.(type) {
	case larder.Reading:
		return s.reading(b)
	case larder.Titration:
		return s.titration(b)
	case larder.StageChange:
		return s.stage(b)
	case larder.Action:
		return s.action(b)
	case larder.Transfer:
		return s.transfer(b)
	case larder.Hold:
		if b.On {
			return "put on hold: " + b.Reason
		}
		return "hold lifted: " + b.Reason
	case larder.Strike:
		return "struck an entry: " + b.Reason
	}
	return "note"
}

func (s speech) reading(b larder.Reading) string {
	var parts []string
	say := func(format string, v float64) {
		parts = append(parts, fmt.Sprintf(format, strconv.FormatFloat(v, 'f', -1, 64)))
	}
	if b.PH != nil {
		say("pH %s", float64(*b.PH))
	}
	if b.CorrectedPH != nil && *b.CorrectedPH != *b.PH {
		say("corrected to %s", math.Round(float64(*b.CorrectedPH)*100)/100)
	}
	if b.TempC != nil {
		parts = append(parts, chem.FormatTemperature(*b.TempC, s.units))
	}
	if b.SG != nil {
		parts = append(parts, fmt.Sprintf("gravity %.3f", float64(*b.SG)))
	}
	if b.Brix != nil {
		say("%s °Bx", float64(*b.Brix))
	}
	if b.ABV != nil {
		say("%s %% vol", float64(*b.ABV))
	}
	if b.VolumeML != nil {
		parts = append(parts, s.volume(b.VolumeML)+" in the jar")
	}
	if b.Instrument != "" {
		parts = append(parts, "by "+b.Instrument)
	}
	if b.PHMark != "" {
		parts = append(parts, "pH is rough")
	}
	return strings.Join(parts, ", ")
}

func (s speech) titration(b larder.Titration) string {
	r, err := b.Result()
	if err != nil {
		return "titration: " + err.Error()
	}
	text := "titrated " + gramsPer100ML(r.AcidityGPer100ML, r.ExpandedUGPer100ML)
	if r.HasSD {
		text += fmt.Sprintf(" (%d runs, standard deviation %.2f)", r.Replicates, float64(r.SDGPer100ML))
	}
	return text
}

func (s speech) stage(b larder.StageChange) string {
	text := "became " + string(b.To)
	if b.From == "" {
		text = "started as " + string(b.To)
	}
	if b.VolumeML != nil {
		text += ", " + s.volume(b.VolumeML)
	}
	if b.Starter != nil {
		text += ", starter: " + b.Starter.Describe()
	}
	if b.Reason != "" {
		text += " (" + b.Reason + ")"
	}
	return text
}

func (s speech) action(b larder.Action) string {
	text := string(b.What)
	if b.VolumeML != nil {
		text += ", " + s.volume(b.VolumeML) + " left"
	}
	if b.Place != "" {
		text += ": " + b.Place
	}
	if b.TempC != nil {
		text += " at " + chem.FormatTemperature(*b.TempC, s.units)
	}
	if b.Minutes != nil {
		text += fmt.Sprintf(" for %g minutes", *b.Minutes)
	}
	return text
}

func (s speech) transfer(b larder.Transfer) string {
	switch {
	case b.Feed != nil:
		return string(b.What) + ": " + b.Feed.Describe()
	case b.What == larder.Bottled:
		return "bottled " + s.volume(b.VolumeML) + " as lot " + b.Lot
	case b.VolumeML == nil:
		return "gave a mother to jar " + string(b.To)
	case b.Mother:
		return "gave a mother and " + s.volume(b.VolumeML) + " to jar " + string(b.To)
	}
	return "gave " + s.volume(b.VolumeML) + " to jar " + string(b.To)
}

// edge is one step of the lineage, seen from the jar that got it or gave it.
func (s speech) edge(e larder.Edge, incoming bool) string {
	var what []string
	if e.Mother {
		what = append(what, "mother")
	}
	if e.VolumeML != nil {
		what = append(what, s.volume(e.VolumeML))
	}
	text := strings.Join(what, " and ")
	switch {
	case incoming && e.FromJar != "":
		text += " from jar " + string(e.FromJar)
	case incoming:
		text += " of " + e.FromName
	case e.ToLot != "":
		text += " bottled as lot " + e.ToLot
	default:
		text += " to jar " + string(e.ToJar)
	}
	return fmt.Sprintf("%s, %s (%s)", strings.TrimSpace(text), e.When.DateIn(s.loc), e.What)
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
