package chem

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mathext"
)

// gonum's packages of statistics and of distributions would bring its whole algebra, two megabytes
// of program, for the few sums below; the special functions under them stand alone.

// Mean is the arithmetic mean; NaN of nothing.
func Mean(xs []float64) float64 { return floats.Sum(xs) / float64(len(xs)) }

// StdDev is the sample standard deviation (n-1); NaN for fewer than two values. The second sum takes
// back what rounding of the mean leaves (the corrected two-pass algorithm: Chan, Golub & LeVeque, Am. Stat. 37 (1983) 242).
func StdDev(xs []float64) float64 {
	if len(xs) < 2 {
		return math.NaN()
	}
	mean := Mean(xs)
	var squares, rest float64
	for _, x := range xs {
		squares += (x - mean) * (x - mean)
		rest += x - mean
	}
	n := float64(len(xs))
	return math.Sqrt((squares - rest*rest/n) / (n - 1))
}

// TQuantile is Student's t for a one-sided probability p (0.975 for a two-sided 95 %); dof may be
// fractional, as Welch-Satterthwaite gives it, or +Inf for the normal distribution. The distribution is
// an incomplete beta function (Abramowitz & Stegun 26.7.1; DLMF 8.17).
func TQuantile(p, dof float64) float64 {
	if math.IsInf(dof, 1) {
		return mathext.NormalQuantile(p)
	}
	tQuantiles.Lock()
	defer tQuantiles.Unlock()
	at := [2]float64{p, dof}
	t, known := tQuantiles.of[at]
	if !known {
		if len(tQuantiles.of) == manyTQuantiles {
			clear(tQuantiles.of)
		}
		t = tQuantile(p, dof)
		tQuantiles.of[at] = t
	}
	return t
}

const manyTQuantiles = 512

// tQuantiles keeps what was asked for: it takes long to invert the distribution, and every titration
// that a page tells of asks, mostly for the same few.
var tQuantiles = struct {
	sync.Mutex
	of map[[2]float64]float64
}{of: map[[2]float64]float64{}}

func tQuantile(p, dof float64) float64 {
	// Both tails outside ±t are I(x; dof/2, 1/2) with x = dof / (dof + t²).
	x := mathext.InvRegIncBeta(dof/2, 0.5, 2*min(p, 1-p))
	return math.Copysign(math.Sqrt(dof*(1-x)/x), p-0.5)
}

// MeanInterval is the mean and the half width of its confidence interval, t s/sqrt(n) (NIST/SEMATECH
// e-Handbook 7.2.2.1); confidence is two-sided, like 0.95, and there must be two values or more.
func MeanInterval(xs []float64, confidence float64) (mean, half float64, err error) {
	if len(xs) < 2 || !allFinite(xs) {
		return 0, 0, fieldErr("values", "An interval needs at least two numbers.")
	}
	if !(confidence > 0 && confidence < 1) {
		return 0, 0, fieldErr("confidence", "The confidence is a fraction between 0 and 1, like 0.95.")
	}
	n := float64(len(xs))
	return Mean(xs), TQuantile((1+confidence)/2, n-1) * StdDev(xs) / math.Sqrt(n), nil
}

// Line is a straight line by least squares, y = Intercept + Slope x. With two points it passes through
// both and the standard deviations are 0.
type Line struct {
	Slope, Intercept     float64
	SlopeSD, InterceptSD float64
	ResidualSD, RSquared float64
	N                    int
}

// FitLine fits a straight line. The error is a *FieldError on "points": fewer than two, or all at one x.
func FitLine(xs, ys []float64) (Line, error) {
	if len(xs) != len(ys) || len(xs) < 2 || !allFinite(xs) || !allFinite(ys) {
		return Line{}, fieldErr("points", "A line needs at least two points, each with two numbers.")
	}
	xm := Mean(xs)
	var sxx, sxy, sse, syy float64
	ym := Mean(ys)
	for i := range xs {
		sxx += (xs[i] - xm) * (xs[i] - xm)
		sxy += (xs[i] - xm) * (ys[i] - ym)
		syy += (ys[i] - ym) * (ys[i] - ym)
	}
	if sxx == 0 {
		return Line{}, fieldErr("points", "All points lie at the same x, so they show no slope.")
	}
	l := Line{N: len(xs)}
	l.Slope = sxy / sxx
	l.Intercept = ym - l.Slope*xm
	for i := range xs {
		e := ys[i] - l.Intercept - l.Slope*xs[i]
		sse += e * e
	}
	l.RSquared = 1
	if syy > 0 {
		l.RSquared = 1 - sse/syy
	}
	if n := float64(l.N); l.N > 2 {
		l.ResidualSD = math.Sqrt(sse / (n - 2))
		l.SlopeSD = l.ResidualSD / math.Sqrt(sxx)
		l.InterceptSD = l.ResidualSD * math.Sqrt(1/n+xm*xm/sxx)
	}
	return l, nil
}

func allFinite(xs []float64) bool {
	for _, x := range xs {
		if !finite(x) {
			return false
		}
	}
	return true
}
