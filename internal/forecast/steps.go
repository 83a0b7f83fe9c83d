package forecast

import "time"

// Step is the band at one time.
type Step struct {
	At time.Time
	Band
}

// Limits of what is drawn ahead.
const (
	steps         = 12
	leastDaysOn   = 28  // drawn when no later date is forecast
	farthestDays  = 180 // beyond, a band says nothing
	finishSoonest = 7   // days; a date sooner than this leaves the four weeks
)

// Steps is the band from now on, past the end of the date range, in steps that are
// even but for the first, which is now: the others are counted from the full hour, so
// that within it they stay the same. None when there was not enough data, and none of a
// rise that is not foreseen.
func (f Forecast) Steps() []Step {
	if !f.Foresees() && !f.Has(Falling) || !f.Enough() {
		return nil
	}
	from := f.Now.Truncate(time.Hour)
	to := from.AddDate(0, 0, leastDaysOn)
	if late := f.Finish.Late; late.After(f.Now.AddDate(0, 0, finishSoonest)) {
		to = late
	}
	if most := from.AddDate(0, 0, farthestDays); to.After(most) {
		to = most
	}
	read := func() []Step {
		var out []Step
		for i := range steps {
			at := from.Add(to.Sub(from) * time.Duration(i+1) / steps)
			if b, ok := f.Band(at); ok {
				out = append(out, Step{at, b})
			}
		}
		return out
	}
	var ahead []Step
	if len(f.declines) > 0 { // which are not remembered
		ahead = read()
	} else {
		ahead = f.drawn.steps(f.origin, from, to, read)
	}
	out := make([]Step, 0, steps+1)
	if b, ok := f.Band(f.Now); ok {
		out = append(out, Step{f.Now, b})
	}
	return append(out, ahead...)
}
