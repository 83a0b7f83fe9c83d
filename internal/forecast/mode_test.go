package forecast

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestSquare holds the calls of LAPACK's routines against gonum's matrices, which make
// the same calls in their own way.
func TestSquare(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	near := func(got, want float64) bool { return math.Abs(got-want) <= 1e-9*max(1, math.Abs(want)) }
	for range 50 {
		var root [dims * dims]float64
		for i := range root {
			root[i] = r.NormFloat64()
		}
		var whole mat.SymDense
		whole.SymOuterK(1, mat.NewDense(dims, dims, root[:]))
		for d := range dims {
			whole.SetSym(d, d, whole.At(d, d)+1)
		}
		var s square
		var y place
		for i := range dims {
			y[i] = r.NormFloat64()
			for j := range dims {
				s[i*dims+j] = whole.At(i, j)
			}
		}
		var factor mat.Cholesky
		var inverse mat.SymDense
		var x mat.VecDense
		var upper mat.TriDense
		if !factor.Factorize(&whole) || factor.InverseTo(&inverse) != nil || factor.SolveVecTo(&x, mat.NewVecDense(dims, y[:])) != nil {
			t.Fatal("gonum's matrices find no factor")
		}
		factor.UTo(&upper)
		if !s.factorize() {
			t.Fatal("no factor was found")
		}
		solved := s.solve(y)
		turned := s
		if !turned.invert() {
			t.Fatal("no inverse was found")
		}
		for i := range dims {
			if !near(solved[i], x.AtVec(i)) {
				t.Errorf("solved %v, want %v", solved, mat.Formatted(&x))
			}
			for j := i; j < dims; j++ {
				if at := i*dims + j; !near(s[at], upper.At(i, j)) || !near(turned[at], inverse.At(i, j)) {
					t.Errorf("at %d, %d: factor %v, inverse %v, want %v and %v", i, j, s[at], turned[at], upper.At(i, j), inverse.At(i, j))
				}
			}
		}
	}
	lost := square{-1}
	if lost.factorize() {
		t.Error("what is not positive has a factor")
	}
}
