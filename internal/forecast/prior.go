package forecast

import "math"

// What is believed about a jar before its first titration. Each is a median
// and a spread; the published figures behind it stand beside it.

const (
	// Highest rate of rise at 22 °C, g/100 mL per day: lognormal.
	// Published whole runs, as an average rate over about 5 g/100 mL:
	//   Orleans cask with a ready film, a third to two thirds renewed every
	//     14 days: 0.14-0.28 (Adams & Moss, Food Microbiology, ch. 9)
	//   home cider vinegar, 3-4 weeks at 15.6-26.7 °C: 0.18-0.24
	//     (Ohio State University Extension HYG-5346)
	//   well-run surface process, about two months: 0.08 (McGee, On Food and
	//     Cooking)
	//   farm barrel, 3-18 months: 0.01-0.06 (Cyclopedia of Farm Crops)
	//   fruit-peel vinegar, 4 % in 8 days at 20-22 °C: 0.5 (FAO Agricultural
	//     Services Bulletin 134)
	// The top of a ramp is somewhat faster than the average of its run.
	ratePerDayMedian = 0.13
	rateLogSD        = 0.65
	rateReferenceC   = 22.0

	// Days from the start of the acetic stage to the foot of the ramp, at
	// 22 °C: lognormal. A jar on a ready mother starts at once; a film takes
	// one to two weeks to close, weeks more with little live starter (common
	// practice, no published source).
	lagDaysMedian = 7.0
	lagLogSD      = 0.9
	// When the start of the stage is not known, days count from the first
	// titration and the foot may lie before it: normal.
	lagUnknownSD = 12.0

	// Growth of the film while it closes, per day: lognormal. Acetic bacteria
	// in culture at 30 °C grow at 0.5 per day (0.021 1/h: Ghosh et al., Braz.
	// J. Chem. Eng. 29 (2012) 461) to 3.8 per day (0.16 1/h, A. aceti: Appl.
	// Microbiol. Biotechnol. 51 (1999) 841); alcohol over 50 g/L, acid and a
	// kitchen's 22 °C slow that several times (Romero et al., Chem. Eng. J. 54
	// (1994) B15).
	growthPerDayMedian = 0.3
	growthLogSD        = 0.7

	// Sharpness of the upper shoulder, no unit: lognormal. The rate holds until
	// the alcohol falls towards its half-saturation, 3.7 g/L in published
	// models (Jiménez-Hornero et al., Biochem. Eng. J. 45 (2009) 1, from
	// memory): in a start of 50 g/L (6.3 % vol) that rounds the last fourteenth
	// of the ramp. Sharper where air sets the pace, softer where acid slows it
	// long before.
	shoulderMedian = 14.0
	shoulderLogSD  = 0.8

	// Share of the ceiling that is there at the start, as a logit: median 0.17.
	// Live vinegar at one part to four (How To Make Vinegar 2004; older
	// bulletins 1:3) and the fruit's own acids give 0.1-0.35.
	startLogitMean = -1.6
	startLogitSD   = 0.8

	// Share of the ceiling reached when the caller gives no likely range.
	// Yields of open jars lie between 0.75 and 0.90; no single published
	// figure (0.80-0.90 in general texts; 0.77 measured in a packed bed).
	defaultLikelyLow  = 0.75
	defaultLikelyHigh = 0.90
)

// z80 is the standard normal quantile that bounds a central 80 %.
const z80 = 1.2815515655446004

// Dimensions of the space in which curves are drawn. Every coordinate is
// standard normal before the data.
const (
	dimRate = iota
	dimLag
	dimGrowth
	dimShoulder
	dimStart
	dimEnd
	dims
)

// prior turns a point of standard normal space into a curve.
type prior struct {
	ceiling                  float64
	endLogitMean, endLogitSD float64
	rateMedian, rateLogSD    float64
	lag                      func(z float64) float64
	growthMedian             float64
}

func newPrior(in Input) prior {
	p := prior{
		ceiling:    float64(in.CeilingGPer100ML),
		rateMedian: ratePerDayMedian, rateLogSD: rateLogSD,
		growthMedian: growthPerDayMedian,
	}
	lagMedian := lagDaysMedian
	low, high := in.likely()
	lo, hi := logit(low/p.ceiling), logit(high/p.ceiling)
	p.endLogitMean = (lo + hi) / 2
	p.endLogitSD = max(0.1, (hi-lo)/2/z80)
	if in.TempC != nil {
		factor := temperatureFactor(float64(*in.TempC))
		p.rateMedian *= factor
		p.growthMedian *= factor
		lagMedian /= factor
	} else {
		p.rateLogSD = math.Hypot(p.rateLogSD, 0.3) // a kitchen between 16 and 28 °C
	}
	p.lag = func(z float64) float64 { return lagMedian * math.Exp(lagLogSD*bounded(z)) }
	if in.StartedAceticAt.IsZero() {
		p.lag = func(z float64) float64 { return lagUnknownSD * z }
	}
	return p
}

// temperatureFactor scales rate and growth from 22 °C: they double in ten degrees up
// to 30 °C, the upper end of the optimum, and stay there; the quick process
// must stay under 35 °C. Doubling in ten degrees is the usual rule of thumb
// for growth (common practice, no published source for a jar).
func temperatureFactor(celsius float64) float64 {
	t := min(30, max(8, celsius))
	return math.Pow(2, (t-rateReferenceC)/10)
}

func logit(share float64) float64 {
	s := min(0.985, max(0.02, share))
	return math.Log(s / (1 - s))
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// curve maps a point of standard normal space onto a curve under the ceiling.
func (p prior) curve(z []float64) curve {
	end := p.ceiling * logistic(p.endLogitMean+p.endLogitSD*longLowTail(z[dimEnd]))
	start := min(0.95*end, p.ceiling*logistic(startLogitMean+startLogitSD*z[dimStart]))
	rate := p.rateMedian * math.Exp(p.rateLogSD*bounded(z[dimRate]))
	ramp := (end - start) / rate
	growth := p.growthMedian * math.Exp(growthLogSD*bounded(z[dimGrowth]))
	shoulder := shoulderMedian * math.Exp(shoulderLogSD*bounded(z[dimShoulder]))
	return newCurve(start, end, p.lag(z[dimLag]), max(1, ramp), max(0.5, growth*ramp), max(0.5, shoulder))
}

// longLowTail leaves the middle 80 % alone and stretches the low side: a jar
// that has lost its alcohol to the air ends far under the likely range, none
// ends above the ceiling.
func longLowTail(z float64) float64 {
	z = bounded(z)
	if z < -z80 {
		over := -z - z80
		return z - 1.5*over*over
	}
	return z
}

// bounded keeps an exponent from running away.
func bounded(z float64) float64 { return min(6, max(-6, z)) }
