package forecast

import (
	"math"
	"math/rand/v2"
)

// The walk that draws curves from prior and titrations together: an ensemble
// of walkers, each moving along lines to the others (Goodman & Weare, Comm.
// App. Math. Comp. Sci. 5 (2010) 65), begun round the most probable curve. The
// lines bend with the ensemble, so it needs no tuning for few or for many
// titrations, where lag, growth and rate trade off along curved ridges.
const (
	scouts    = 256 // curves from the prior, to find where to climb
	walkers   = 40
	warmUp    = 50 // steps of every walker that are forgotten
	rest      = 10 // steps between two that are kept
	keeps     = 10
	keptDraws = walkers * keeps
	stretch   = 2.0 // the longest move, as a factor
	tailDoF   = 5   // Student t of the likelihood: one bad titration does not rule
)

// The seed is fixed: the same titrations give the same forecast everywhere.
func newRand() *rand.Rand { return rand.New(rand.NewPCG(1865, 1933)) }

type place [dims]float64

// logPosterior of a place, up to a constant: standard normal before the data,
// Student t round the curve, so that one slip of the burette does not bend
// the forecast.
func (p prior) logPosterior(z *place, data []sample) (float64, curve) {
	c := p.curve(z[:])
	product := 1.0
	for _, s := range data {
		d := (s.level - c.at(s.day))
		product *= 1 + d*d*s.weight
	}
	var square float64
	for _, x := range z {
		square += x * x
	}
	return -square/2 - (tailDoF+1)/2.0*math.Log(product), c
}

type walker struct {
	at   place
	logP float64
	c    curve
}

// draws returns equally likely curves given the data.
func (p prior) draws(data []sample) []curve { return p.walk(data, warmUp, rest, keeps) }

func (p prior) walk(data []sample, warmUp, rest, keeps int) []curve {
	r := newRand()
	crew := p.crew(data, r)
	kept := make([]curve, 0, walkers*keeps)
	for step := range warmUp + rest*keeps {
		p.step(crew[:walkers/2], crew[walkers/2:], data, r)
		p.step(crew[walkers/2:], crew[:walkers/2], data, r)
		if step >= warmUp && (step-warmUp)%rest == rest-1 {
			for i := range crew {
				kept = append(kept, crew[i].c)
			}
		}
	}
	return kept
}

// step moves every walker of one half along a line to one of the other half.
func (p prior) step(half, others []walker, data []sample, r *rand.Rand) {
	for i := range half {
		w := &half[i]
		o := &others[r.IntN(len(others))]
		root := 1/math.Sqrt(stretch) + (math.Sqrt(stretch)-1/math.Sqrt(stretch))*r.Float64()
		factor := root * root // density ~ 1/sqrt(factor) on [1/stretch, stretch]
		var to place
		for d := range dims {
			to[d] = o.at[d] + factor*(w.at[d]-o.at[d])
		}
		logP, c := p.logPosterior(&to, data)
		if math.Log(r.Float64()) < (dims-1)*math.Log(factor)+logP-w.logP {
			*w = walker{to, logP, c}
		}
	}
}

// crew sets the walkers round the most probable curve, as far apart as the
// curvature there allows.
func (p prior) crew(data []sample, r *rand.Rand) []walker {
	centre, spread := p.start(data, r)
	crew := make([]walker, walkers)
	for i := range crew {
		w := &crew[i]
		var n place
		for d := range dims {
			n[d] = r.NormFloat64()
		}
		for d := range dims {
			w.at[d] = centre[d]
			for e := range d + 1 {
				w.at[d] += spread[e*dims+d] * n[e]
			}
		}
		w.logP, w.c = p.logPosterior(&w.at, data)
	}
	return crew
}

// start scouts the prior and climbs from the best curve seen.
func (p prior) start(data []sample, r *rand.Rand) (place, square) {
	var best place
	top := math.Inf(-1)
	for range scouts {
		var z place
		for d := range dims {
			z[d] = r.NormFloat64()
		}
		if logP, _ := p.logPosterior(&z, data); logP > top {
			best, top = z, logP
		}
	}
	return p.mode(best, data)
}
