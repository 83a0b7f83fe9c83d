package forecast

import (
	"math"
)

// line is a weighted least-squares line through titrations.
type line struct {
	middleDay, level float64 // where the line passes, g/100 mL
	perDay           float64 // g/100 mL per day
	levelSE, slopeSE float64 // from the stated uncertainties
}

// fitLine through two samples or more on different days. Weights are the
// inverse variances of the titrations, which also give the standard errors.
func fitLine(data []sample) line {
	var w, wx, wy float64
	for _, s := range data {
		k := 1 / (s.u * s.u)
		w, wx, wy = w+k, wx+k*s.day, wy+k*s.level
	}
	l := line{middleDay: wx / w, level: wy / w, levelSE: 1 / math.Sqrt(w)}
	var sxx, sxy float64
	for _, s := range data {
		k, dx := 1/(s.u*s.u), s.day-l.middleDay
		sxx, sxy = sxx+k*dx*dx, sxy+k*dx*(s.level-l.level)
	}
	l.perDay, l.slopeSE = sxy/sxx, 1/math.Sqrt(sxx)
	return l
}

const (
	// A jar whose rate lies, with 90 % belief, under this stands still: at
	// 0.02 g/100 mL per day a single g/100 mL takes fifty days, slower than
	// all but the coldest published farm barrels.
	stillPerDay = 0.02
	// Titrations have to span this long before standing still means anything.
	stillDays = 14.0
	// A jar without ready mother may lie flat for weeks before it starts.
	patienceDays = 28.0
	// A fall must be larger than this, g/100 mL, to be worth telling.
	leastFall = 0.2
	// and this many times its own standard uncertainty: the peak is picked as
	// the highest of several, so the bar is above the usual two.
	fallSigmasOne, fallSigmasTwo = 3.0, 2.6
)

// still tells that the newest titrations show no rise worth the name.
func still(data []sample) bool {
	for i := len(data) - 2; i >= 0; i-- {
		tail := data[i:]
		span := tail[len(tail)-1].day - tail[0].day
		if span >= stillDays && (len(tail) >= 3 || span >= 1.5*stillDays) {
			l := fitLine(tail)
			return l.perDay+z80*l.slopeSE < stillPerDay
		}
	}
	return false
}

// peakBeforeFall is the index of the highest titration when those after it
// have fallen by more than chance explains, else -1.
func peakBeforeFall(data []sample) int {
	peak := 0
	for i, s := range data {
		if s.level >= data[peak].level {
			peak = i
		}
	}
	after := data[peak+1:]
	if len(after) == 0 {
		return -1
	}
	sigmas := fallSigmasOne
	if len(after) >= 2 {
		after, sigmas = after[len(after)-2:], fallSigmasTwo
	}
	var w, mean float64
	for _, s := range after {
		w, mean = w+1/(s.u*s.u), mean+s.level/(s.u*s.u)
	}
	mean /= w
	drop := data[peak].level - mean
	if drop < leastFall || drop < sigmas*math.Hypot(data[peak].u, 1/math.Sqrt(w)) {
		return -1
	}
	return peak
}

const (
	// Rate of over-oxidation before the data, g/100 mL per day: some strains
	// burn acid once the alcohol is gone, others hardly. No published rate for
	// an open jar was found; the spread is wide on purpose.
	fallPerDayMean = -0.012
	fallPerDaySD   = 0.015
)

// decline is one possible straight way down.
type decline struct{ fromDay, level, perDay float64 }

func (d decline) at(day float64) float64 { return d.level + d.perDay*(day-d.fromDay) }

// declines draws keptDraws equally likely ways down from the samples since
// the peak: a line, its slope held near what over-oxidation does and never
// upwards.
func declines(since []sample) []decline {
	l := fitLine(since)
	precision := 1/(l.slopeSE*l.slopeSE) + 1/(fallPerDaySD*fallPerDaySD)
	slope := (l.perDay/(l.slopeSE*l.slopeSE) + fallPerDayMean/(fallPerDaySD*fallPerDaySD)) / precision
	slopeSD := 1 / math.Sqrt(precision)
	r := newRand()
	out := make([]decline, keptDraws)
	for i := range out {
		out[i] = decline{
			fromDay: l.middleDay,
			level:   l.level + math.Hypot(l.levelSE, modelU)*r.NormFloat64(),
			perDay:  min(0, slope+slopeSD*r.NormFloat64()),
		}
	}
	return out
}
