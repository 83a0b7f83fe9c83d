// Package chart draws a jar's history: one small panel per quantity under a
// shared time axis, with stage bands, a forecast band and a target line.
//
// Draw gives a list of shapes in millimetres, which labels and records can put
// on paper; SVG writes the same shapes for a page; Rows gives the same numbers
// as plain rows, for those who cannot see the drawing. Measured points are
// filled, computed ones hollow. Nothing depends on colour: all ink is the
// text's own, so that a dark page needs no second drawing.
package chart

import (
	"fmt"
	"math"
	"time"
)

// Point is one value at one time. HalfWidth is half of its interval, drawn as
// a bar; 0 draws none.
type Point struct {
	At        time.Time
	Value     float64
	HalfWidth float64
	Computed  bool
}

// BandPoint is one step of a forecast.
type BandPoint struct {
	At             time.Time
	Low, Mid, High float64
}

// Series is one quantity, drawn in its own panel. Points and Forecast may come
// in any order.
type Series struct {
	Name     string // "Acidity"
	Unit     string // "g/100 mL"; may be empty
	Decimals int    // shown in words and rows
	Points   []Point
	Forecast []BandPoint // may be empty
	Target   *float64    // dashed line; nil for none
	FromZero bool        // the axis begins at 0
	// LeastSpan is the least range that the axis shows, so that the noise of
	// an instrument does not look like an event.
	LeastSpan float64
}

func (s Series) blank() bool { return len(s.Points) == 0 && len(s.Forecast) == 0 }

// StageBand is a period with a name. A zero To means until the end.
type StageBand struct {
	Name     string
	From, To time.Time
}

// Input is what is drawn. Series without points are left out.
type Input struct {
	ID     string // prefix of the element ids in a page; empty: "chart"
	Title  string // "Jar K7RM 40, pear trimmings"
	Zone   *time.Location
	Until  time.Time // the axis runs at least to here; may be zero
	Stages []StageBand
	Series []Series
	// BarMeaning and BandMeaning say what the bars and the forecast band
	// cover: "95 %", "80 %".
	BarMeaning, BandMeaning string
}

// Limits of one drawing; beyond them something is wrong, or unreadable.
const (
	maxSeries = 8
	maxPoints = 5000
	maxStages = 200
)

func (in Input) zone() *time.Location {
	if in.Zone == nil {
		return time.UTC
	}
	return in.Zone
}

// shown are the series that have something to show.
func (in Input) shown() []Series {
	var out []Series
	for _, s := range in.Series {
		if !s.blank() {
			out = append(out, s)
		}
	}
	return out
}

// check refuses what cannot be drawn.
func (in Input) check() error {
	if len(in.Series) > maxSeries || len(in.Stages) > maxStages {
		return fmt.Errorf("chart: %d series and %d stage bands are more than one drawing holds (%d and %d)", len(in.Series), len(in.Stages), maxSeries, maxStages)
	}
	if !in.Until.IsZero() {
		if err := checkTime("the end of the axis", in.Until); err != nil {
			return err
		}
	}
	for _, s := range in.Series {
		if err := s.check(); err != nil {
			return err
		}
	}
	for _, b := range in.Stages {
		if err := checkTime("the start of "+b.Name, b.From); err != nil {
			return err
		}
		if !b.To.IsZero() && b.To.Before(b.From) {
			return fmt.Errorf("chart: the stage %s ends before it begins", b.Name)
		}
		if !b.To.IsZero() {
			if err := checkTime("the end of "+b.Name, b.To); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s Series) check() error {
	if len(s.Points)+len(s.Forecast) > maxPoints {
		return fmt.Errorf("chart: %s has %d points, more than one drawing holds (%d)", s.Name, len(s.Points)+len(s.Forecast), maxPoints)
	}
	if s.Decimals < 0 || s.Decimals > 6 {
		return fmt.Errorf("chart: %s asks for %d decimals; 0 to 6 can be shown", s.Name, s.Decimals)
	}
	if !usable(s.LeastSpan) || s.LeastSpan < 0 || s.Target != nil && !usable(*s.Target) {
		return fmt.Errorf("chart: %s has a target or a least span that is not a usable number", s.Name)
	}
	for _, p := range s.Points {
		if err := checkTime("a point of "+s.Name, p.At); err != nil {
			return err
		}
		if !usable(p.Value) || !usable(p.HalfWidth) || p.HalfWidth < 0 {
			return fmt.Errorf("chart: %s has a point of %v ± %v, which is not a usable number", s.Name, p.Value, p.HalfWidth)
		}
	}
	for _, b := range s.Forecast {
		if err := checkTime("the forecast of "+s.Name, b.At); err != nil {
			return err
		}
		if !usable(b.Low) || !usable(b.Mid) || !usable(b.High) || b.Low > b.Mid || b.Mid > b.High {
			return fmt.Errorf("chart: %s has a forecast of %v to %v around %v, which is not a usable interval", s.Name, b.Low, b.High, b.Mid)
		}
	}
	return nil
}

// usable refuses NaN, infinities and sizes that no quantity of a kitchen has.
func usable(x float64) bool { return !math.IsNaN(x) && math.Abs(x) < 1e9 }

func checkTime(what string, t time.Time) error {
	if t.Year() < 1970 || t.Year() > 2200 {
		return fmt.Errorf("chart: %s is dated %s, outside 1970 to 2200", what, t.Format("2 Jan 2006"))
	}
	return nil
}
