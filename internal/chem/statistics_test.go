package chem

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

func agrees(got, want float64) bool { return math.Abs(got-want) <= 1e-12*max(1, math.Abs(want)) }

// TestStatisticsAgree compares with gonum's own statistics and distributions, which the
// program does without, over numbers that leave little of their digits to a difference.
func TestStatisticsAgree(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 4))
	for range 300 {
		xs, ys := make([]float64, 2+r.IntN(30)), []float64(nil)
		far := math.Pow(10, 6*r.Float64())
		for i := range xs {
			xs[i] = far + r.NormFloat64()
			ys = append(ys, 3+2*(xs[i]-far)+r.NormFloat64())
		}
		if got, want := Mean(xs), stat.Mean(xs, nil); !agrees(got, want) {
			t.Errorf("mean of %v: %v, want %v", xs, got, want)
		}
		if got, want := StdDev(xs), stat.StdDev(xs, nil); !agrees(got, want) {
			t.Errorf("standard deviation of %v: %v, want %v", xs, got, want)
		}
		l, err := FitLine(xs, ys)
		if a, b := stat.LinearRegression(xs, ys, nil, false); err != nil || !agrees(l.Slope, b) || !agrees(l.Intercept, a) {
			t.Errorf("line through %v, %v: %v + %v x (%v), want %v + %v x", xs, ys, l.Intercept, l.Slope, err, a, b)
		}
	}
	for _, p := range []float64{1e-6, 0.025, 0.3, 0.5, 0.75, 0.975, 0.9995, 1 - 1e-9} {
		if got, want := TQuantile(p, math.Inf(1)), distuv.UnitNormal.Quantile(p); got != want {
			t.Errorf("normal quantile of %v: %v, want %v", p, got, want)
		}
		for _, dof := range []float64{1, 1.7, 4, 29.3, 1000} {
			if got, want := TQuantile(p, dof), (distuv.StudentsT{Sigma: 1, Nu: dof}).Quantile(p); !agrees(got, want) {
				t.Errorf("quantile of %v with %v degrees of freedom: %v, want %v", p, dof, got, want)
			}
		}
	}
}

// What is kept of quantiles stays within its bound, and gives again what was reckoned,
// which gonum's distribution tells.
func TestKeptQuantiles(t *testing.T) {
	for round := range 2 {
		for i := range 3 * manyTQuantiles {
			dof := 2 + float64(i)/7
			got := TQuantile(0.975, dof)
			if again := TQuantile(0.975, dof); again != got {
				t.Fatalf("dof %v: %v, then %v", dof, got, again)
			}
			if i%97 == 0 {
				if want := (distuv.StudentsT{Sigma: 1, Nu: dof}).Quantile(0.975); !agrees(got, want) {
					t.Errorf("round %d, dof %v: %v, want %v", round, dof, got, want)
				}
			}
		}
	}
	tQuantiles.Lock()
	defer tQuantiles.Unlock()
	if n := len(tQuantiles.of); n > manyTQuantiles {
		t.Errorf("%d quantiles are kept, want %d at most", n, manyTQuantiles)
	}
}
