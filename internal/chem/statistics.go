package chem

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Mean is the arithmetic mean; NaN of nothing.
func Mean(xs []float64) float64 { return stat.Mean(xs, nil) }

// StdDev is the sample standard deviation (n-1); NaN for fewer than two values.
func StdDev(xs []float64) float64 {
	if len(xs) < 2 {
		return math.NaN()
	}
	return stat.StdDev(xs, nil)
}

// TQuantile is Student's t for a one-sided probability p (0.975 for a two-sided 95 %); dof may be
// fractional, as Welch-Satterthwaite gives it, or +Inf for the normal distribution.
func TQuantile(p, dof float64) float64 {
	if math.IsInf(dof, 1) {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile(p)
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
	var sxx, sse, syy float64
	ym := Mean(ys)
	for i := range xs {
		sxx += (xs[i] - xm) * (xs[i] - xm)
		syy += (ys[i] - ym) * (ys[i] - ym)
	}
	if sxx == 0 {
		return Line{}, fieldErr("points", "All points lie at the same x, so they show no slope.")
	}
	l := Line{N: len(xs)}
	l.Intercept, l.Slope = stat.LinearRegression(xs, ys, nil, false)
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
