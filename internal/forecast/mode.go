package forecast

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// residuals of a point of standard normal space: its own coordinates (the
// prior) and the misfit of every titration in standard uncertainties. Half
// their sum of squares is what mode makes small.
func (p prior) residuals(out, z []float64, data []sample) float64 {
	copy(out, z)
	c := p.curve(z)
	for i, s := range data {
		out[dims+i] = (s.level - c.at(s.day)) * math.Sqrt(tailDoF*s.weight)
	}
	var sum float64
	for _, r := range out {
		sum += r * r
	}
	return sum / 2
}

// mode walks from a start to the most probable curve nearby (Levenberg's and
// Marquardt's damped least squares, with differences for derivatives). It
// returns the place and the Cholesky factor of the covariance that the
// curvature there implies.
func (p prior) mode(z place, data []sample) (place, *mat.TriDense) {
	const steps, nudge = 12, 1e-4
	rows := dims + len(data)
	here, there := make([]float64, rows), make([]float64, rows)
	var trial place
	jacobian := mat.NewDense(rows, dims, nil)
	curvature, damped := mat.NewSymDense(dims, nil), mat.NewSymDense(dims, nil)
	cost := p.residuals(here, z[:], data)
	differentiate := func() {
		for d := range dims {
			trial = z
			trial[d] += nudge
			p.residuals(there, trial[:], data)
			for i := range rows {
				jacobian.Set(i, d, (there[i]-here[i])/nudge)
			}
		}
		curvature.SymOuterK(1, jacobian.T())
	}
	differentiate()
	damping := 0.1
	for range steps {
		damped.CopySym(curvature)
		for d := range dims {
			damped.SetSym(d, d, curvature.At(d, d)*(1+damping))
		}
		var factor mat.Cholesky
		var gradient, step mat.VecDense
		gradient.MulVec(jacobian.T(), mat.NewVecDense(rows, here))
		if !factor.Factorize(damped) || factor.SolveVecTo(&step, &gradient) != nil {
			break
		}
		for d := range dims {
			trial[d] = z[d] - step.AtVec(d)
		}
		next := p.residuals(there, trial[:], data)
		if !(next < cost) {
			damping *= 5
			continue
		}
		gain := cost - next
		z = trial
		copy(here, there)
		cost = next
		damping /= 5
		differentiate()
		if gain < 1e-3 {
			break
		}
	}
	lower := mat.NewTriDense(dims, mat.Lower, nil)
	var factor mat.Cholesky
	var cov mat.SymDense
	if factor.Factorize(curvature) && factor.InverseTo(&cov) == nil && factor.Factorize(&cov) {
		factor.LTo(lower)
		return z, lower
	}
	for d := range dims { // the prior adds the identity, so this is for lost digits only
		lower.SetTri(d, d, 0.1)
	}
	return z, lower
}
