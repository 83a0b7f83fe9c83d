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

// Steps is the band from now on, past the end of the date range, in even steps;
// none when there was not enough data.
func (f Forecast) Steps() []Step {
	if !f.Enough() {
		return nil
	}
	to := f.Now.AddDate(0, 0, leastDaysOn)
	if late := f.Finish.Late; late.After(f.Now.AddDate(0, 0, finishSoonest)) {
		to = late
	}
	if most := f.Now.AddDate(0, 0, farthestDays); to.After(most) {
		to = most
	}
	out := make([]Step, 0, steps+1)
	for i := range steps + 1 {
		at := f.Now.Add(to.Sub(f.Now) * time.Duration(i) / steps)
		if b, ok := f.Band(at); ok {
			out = append(out, Step{at, b})
		}
	}
	return out
}
