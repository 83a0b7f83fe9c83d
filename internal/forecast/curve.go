package forecast

import "math"

// curve is one possible history of a jar: a ramp with two rounded shoulders.
// Days count from the start of the acetic stage.
//
//	acidity(t) = start + (end - start) S((t - lagDays) / rampDays)
//	r(u) = ln(1 + exp(k1 u)) / k1            soft lower corner at u = 0
//	m(r) = -ln(exp(-k2 r) + exp(-k2)) / k2   soft upper corner at r = 1
//	S    = (m - m(0)) / (1 - m(0))
//
// S rises from 0 to 1 and never turns back, so no curve leaves [start, end].
type curve struct {
	start, end        float64 // g/100 mL; 0 <= start <= end <= ceiling
	lagDays, rampDays float64 // rampDays > 0
	k1, k2            float64 // sharpness of the lower and the upper shoulder, > 0
	foot              float64 // m(0): how far the upper shoulder reaches down
}

// newCurve makes a curve and keeps what every call of at would reckon again.
func newCurve(start, end, lagDays, rampDays, k1, k2 float64) curve {
	return curve{start, end, lagDays, rampDays, k1, k2, -softplus(-k2) / k2}
}

// softplus is ln(1 + e^x). Beyond ±17 it differs from max(0, x) by less than
// 1e-7 and is taken as that, for speed.
func softplus(x float64) float64 {
	switch {
	case x > 17:
		return x
	case x < -17:
		return 0
	}
	return math.Log(1 + math.Exp(x)) // faster than Log1p, as exact as is needed
}

// at is the acidity in g/100 mL at a day of the acetic stage.
func (c curve) at(day float64) float64 {
	u := (day - c.lagDays) / c.rampDays
	r := softplus(c.k1*u) / c.k1
	m := r - softplus(c.k2*(r-1))/c.k2
	s := (m - c.foot) / (1 - c.foot)
	return c.start + (c.end-c.start)*min(1, max(0, s))
}

// dayAt is the day on which the curve passes an acidity, the inverse of at.
// ok is false when the curve starts above it or ends at or below it.
func (c curve) dayAt(acidity float64) (day float64, ok bool) {
	if !(acidity > c.start && acidity < c.end) {
		return 0, false
	}
	s := (acidity - c.start) / (c.end - c.start)
	m := c.foot + s*(1-c.foot)
	// exp(-k2 r) = exp(-k2 m) - exp(-k2), with exp(-k2 m) taken out for range.
	r := m - math.Log1p(-math.Exp(c.k2*(m-1)))/c.k2
	u := r + math.Log(-math.Expm1(-c.k1*r))/c.k1
	day = c.lagDays + u*c.rampDays
	return day, !math.IsNaN(day) && !math.IsInf(day, 0)
}

// plateauDay is the day from which what is left to rise is less than a
// kitchen titration can tell apart.
func (c curve) plateauDay() (float64, bool) {
	return c.dayAt(c.end - plateauGap(c.end-c.start))
}

// plateauGap is how near to its end, in g/100 mL, a rise counts as done: 0.1,
// about one standard uncertainty of a kitchen titration, or a twentieth of a
// rise that is itself small.
func plateauGap(rise float64) float64 { return min(0.1, rise/20) }
