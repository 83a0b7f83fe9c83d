package chart

import (
	"math"
	"strconv"
	"time"
)

// tick is one mark on an axis.
type tick struct {
	at    float64
	label string
}

// scale maps a range of values onto a range of millimetres.
type scale struct{ from, to, fromMM, toMM float64 }

func (s scale) mm(v float64) float64 {
	return s.fromMM + (v-s.from)/(s.to-s.from)*(s.toMM-s.fromMM)
}

const day = 24 * time.Hour

// period is the time from the first to the last thing shown, at least two
// days; ok is false when there is none.
func (in Input) period() (from, to time.Time, ok bool) {
	add := func(t time.Time) {
		if t.IsZero() {
			return
		}
		if !ok || t.Before(from) {
			from = t
		}
		if !ok || t.After(to) {
			to = t
		}
		ok = true
	}
	for _, s := range in.Series {
		for _, p := range s.Points {
			add(p.At)
		}
		for _, b := range s.Forecast {
			add(b.At)
		}
	}
	for _, b := range in.Stages {
		add(b.From)
		add(b.To)
	}
	if ok {
		add(in.Until)
	}
	if short := 2*day - to.Sub(from); ok && short > 0 {
		from, to = from.Add(-short/2), to.Add(short/2)
	}
	return from, to, ok
}

// valueRange is what a panel's axis shows.
func (s Series) valueRange() (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	add := func(v float64) { from, to = math.Min(from, v), math.Max(to, v) }
	for _, p := range s.Points {
		add(p.Value - p.HalfWidth)
		add(p.Value + p.HalfWidth)
	}
	for _, b := range s.Forecast {
		add(b.Low)
		add(b.High)
	}
	if s.Target != nil {
		add(*s.Target)
	}
	least := s.LeastSpan
	if least == 0 {
		least = math.Max(math.Abs(to)*0.01, 1e-6)
	}
	if short := least - (to - from); short > 0 {
		from, to = from-short/2, to+short/2
	}
	pad := 0.06 * (to - from)
	from, to = from-pad, to+pad
	if s.FromZero {
		from, to = math.Min(0, from+pad), math.Max(to, 0)
	}
	return from, to
}

// valueTicks are round values within a range, at most most of them and as many
// as that permits.
func valueTicks(from, to float64, most int) []tick {
	span := to - from
	exponent := int(math.Floor(math.Log10(span))) - 1
	for ; ; exponent++ {
		for _, digit := range []float64{1, 2, 5} {
			step := digit * math.Pow10(exponent)
			first, last := math.Ceil(from/step-1e-9), math.Floor(to/step+1e-9)
			if n := last - first + 1; n > float64(most) {
				continue
			}
			var ticks []tick
			for k := first; k <= last; k++ {
				ticks = append(ticks, tick{k * step, strconv.FormatFloat(k*step+0, 'f', max(0, -exponent), 64)})
			}
			return ticks
		}
	}
}

// timeStep is a distance between two marks of the time axis: days or months.
type timeStep struct{ days, months int }

var timeSteps = []timeStep{{1, 0}, {2, 0}, {7, 0}, {14, 0}, {0, 1}, {0, 2}, {0, 3}, {0, 6}, {0, 12}, {0, 24}, {0, 60}, {0, 120}}

// timeTicks are the densest marks on days, weeks (from a Monday) or months of
// the kitchen's calendar that leave room for their labels.
func timeTicks(x scale, zone *time.Location, charMM float64) []tick {
	from, to := time.Unix(int64(x.from), 0).In(zone), time.Unix(int64(x.to), 0).In(zone)
	for _, step := range timeSteps {
		// Too many to try: skip before making them.
		roughDays := float64(step.days) + 30*float64(step.months)
		if (x.to-x.from)/86400/roughDays > 60 {
			continue
		}
		if ticks := step.between(from, to); fits(ticks, x, charMM) {
			return ticks
		}
	}
	return nil
}

// between lists the step's marks from one time to another.
func (step timeStep) between(from, to time.Time) []tick {
	var t time.Time
	if step.months > 0 {
		month := (from.Year()*12 + int(from.Month()) - 1) / step.months * step.months
		t = time.Date(month/12, time.Month(month%12+1), 1, 0, 0, 0, 0, from.Location())
	} else {
		back := 0
		if step.days%7 == 0 {
			back = (int(from.Weekday()) + 6) % 7
		}
		t = time.Date(from.Year(), from.Month(), from.Day()-back, 0, 0, 0, 0, from.Location())
	}
	var ticks []tick
	for ; !t.After(to); t = t.AddDate(0, step.months, step.days) {
		if !t.Before(from) {
			ticks = append(ticks, tick{float64(t.Unix()), step.label(t, len(ticks) == 0)})
		}
	}
	return ticks
}

// label is "22 Nov" for days; for months "Nov", with the year on the first and
// on each January.
func (step timeStep) label(t time.Time, first bool) string {
	switch {
	case step.months == 0:
		return t.Format("2 Jan")
	case step.months >= 12:
		return t.Format("2006")
	case first || t.Month() == time.January:
		return t.Format("Jan 2006")
	}
	return t.Format("Jan")
}

func fits(ticks []tick, x scale, charMM float64) bool {
	for i := 1; i < len(ticks); i++ {
		need := (float64(len(ticks[i-1].label)+len(ticks[i].label))/2 + 1.5) * charMM
		if x.mm(ticks[i].at)-x.mm(ticks[i-1].at) < need {
			return false
		}
	}
	return true
}
