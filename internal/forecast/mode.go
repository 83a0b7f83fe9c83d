package forecast

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	lapack "gonum.org/v1/gonum/lapack/gonum"
)

// square is a symmetric or triangular matrix, row by row, of which LAPACK's routines
// read and write the upper half. They are called by themselves: gonum's matrices bring
// every routine that there is, a megabyte and a half of program.
type square [dims * dims]float64

var routines lapack.Implementation

// factorize makes the Cholesky factor of s in its place; false when there is none.
func (s *square) factorize() bool { return routines.Dpotrf(blas.Upper, dims, s[:], dims) }

// invert makes the inverse of what s is the Cholesky factor of, in its place.
func (s *square) invert() bool { return routines.Dpotri(blas.Upper, dims, s[:], dims) }

// solve gives x for which the matrix that s is the Cholesky factor of makes y.
func (s *square) solve(y place) (x place) {
	x = y
	routines.Dpotrs(blas.Upper, dims, 1, s[:], dims, x[:], 1)
	return x
}

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
// returns the place and the upper Cholesky factor of the covariance that the
// curvature there implies.
func (p prior) mode(z place, data []sample) (place, square) {
	const steps, nudge = 12, 1e-4
	rows := dims + len(data)
	here, there := make([]float64, rows), make([]float64, rows)
	var trial place
	jacobian := make([]float64, rows*dims) // row by row
	var curvature square
	cost := p.residuals(here, z[:], data)
	differentiate := func() {
		for d := range dims {
			trial = z
			trial[d] += nudge
			p.residuals(there, trial[:], data)
			for i := range rows {
				jacobian[i*dims+d] = (there[i] - here[i]) / nudge
			}
		}
		blas64.Implementation().Dsyrk(blas.Upper, blas.Trans, dims, rows, 1, jacobian, dims, 0, curvature[:], dims)
	}
	differentiate()
	damping := 0.1
	for range steps {
		damped := curvature
		for d := range dims {
			damped[d*dims+d] *= 1 + damping
		}
		if !damped.factorize() {
			break
		}
		var gradient place
		blas64.Implementation().Dgemv(blas.Trans, rows, dims, 1, jacobian, dims, here, 1, 0, gradient[:], 1)
		step := damped.solve(gradient)
		for d := range dims {
			trial[d] = z[d] - step[d]
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
	if spread := curvature; spread.factorize() && spread.invert() && spread.factorize() {
		return z, spread
	}
	var narrow square
	for d := range dims { // the prior adds the identity, so this is for lost digits only
		narrow[d*dims+d] = 0.1
	}
	return z, narrow
}
