package forecast

import (
	"fmt"
	"math"
	"slices"
	"time"

	"cruet/internal/chem"
)

// Point is one titration of the jar.
type Point struct {
	At               time.Time
	AcidityGPer100ML chem.GramsPer100ML // as acetic acid
	StdUGPer100ML    chem.GramsPer100ML // standard uncertainty; 0 when not known
}

// Phase is where the jar stands with respect to the acetic stage.
type Phase int

// The phases. The zero value is the acetic stage itself.
const (
	PhaseAcetic       Phase = iota // bacteria at work, with air
	PhaseBeforeAcetic              // must, or alcohol still being made
	PhaseAfterAcetic               // maturing or finished: closed, no more air
)

// Input is what a forecast is made from.
type Input struct {
	// Points are the titrations in any order. Leave out those taken before
	// liquid was last added or removed: they belong to another curve.
	Points []Point
	Phase  Phase
	// StartedAceticAt is when the acetic stage began; zero when not known.
	StartedAceticAt time.Time
	// LeftOut is how many titrations were made before the last liquid came in, and
	// so are not among Points.
	LeftOut int
	// CeilingGPer100ML is the highest acidity the recipe can reach, all its
	// sugar and alcohol turned to acid; 0 when not known.
	CeilingGPer100ML chem.GramsPer100ML
	// CeilingOpen tells that it is not known since something of unknown alcohol came in.
	CeilingOpen bool
	// LikelyLow and LikelyHigh bound, with 80 % belief, where the acidity
	// will end. Both 0: 0.75 and 0.90 of the ceiling.
	LikelyLowGPer100ML, LikelyHighGPer100ML chem.GramsPer100ML
	// TargetGPer100ML is the acidity wanted; 0 for none.
	TargetGPer100ML chem.GramsPer100ML
	// TempC is the usual temperature of the jar; nil when not known.
	TempC *chem.Celsius
	// Now is when the forecast is made.
	Now time.Time
}

// Limits of what can be a titration, a jar and a kitchen.
const (
	highestAcidity = 20.0 // g/100 mL; growth stops at 12-14 (Ebner et al., Acetic Acid, Biotechnology vol. 6)
	lowestTempC    = -5.0
	highestTempC   = 60.0
	clockSlack     = 24 * time.Hour // a date without an hour, or another time zone
	longestSpan    = 20 * 365 * 24 * time.Hour
)

func fieldError(field, format string, args ...any) error {
	return &chem.FieldError{Field: field, Message: fmt.Sprintf(format, args...)}
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// check refuses what cannot be true, with a sentence that says what to do.
func (in Input) check() error {
	if in.Now.IsZero() {
		return fieldError("now", "Give the time for which the forecast is made.")
	}
	if in.Phase < PhaseAcetic || in.Phase > PhaseAfterAcetic {
		return fieldError("stage", "Give the stage of the jar: before, in or after the acetic stage.")
	}
	levels := []struct {
		field string
		value chem.GramsPer100ML
		name  string
	}{
		{"ceiling_g_per_100ml", in.CeilingGPer100ML, "ceiling"},
		{"likely_low_g_per_100ml", in.LikelyLowGPer100ML, "low end of the likely acidity"},
		{"likely_high_g_per_100ml", in.LikelyHighGPer100ML, "high end of the likely acidity"},
		{"target_g_per_100ml", in.TargetGPer100ML, "target"},
	}
	for _, l := range levels {
		if v := float64(l.value); !finite(v) || v < 0 || v > highestAcidity {
			return fieldError(l.field, "The %s must be between 0 and %.0f g/100 mL; %v cannot be right.", l.name, highestAcidity, v)
		}
	}
	if low, high := in.LikelyLowGPer100ML, in.LikelyHighGPer100ML; low > high {
		return fieldError("likely_low_g_per_100ml", "The likely acidity runs from %v to %v g/100 mL: put the lower figure first.", float64(low), float64(high))
	}
	if in.LikelyHighGPer100ML > in.CeilingGPer100ML {
		return fieldError("likely_high_g_per_100ml", "The likely acidity, %v g/100 mL, lies above the ceiling of %v. Check the recipe's sugar or alcohol.", float64(in.LikelyHighGPer100ML), float64(in.CeilingGPer100ML))
	}
	if in.TempC != nil {
		if t := float64(*in.TempC); !finite(t) || t < lowestTempC || t > highestTempC {
			return fieldError("temp_c", "A jar at %v °C is not making vinegar. Give the usual temperature of the shelf in °C, or leave it empty.", t)
		}
	}
	if !in.StartedAceticAt.IsZero() && in.StartedAceticAt.After(in.Now.Add(clockSlack)) {
		return fieldError("started_acetic_at", "The acetic stage cannot begin after today. Check the date.")
	}
	return in.checkPoints()
}

func (in Input) checkPoints() error {
	for i, p := range in.Points {
		field := fmt.Sprintf("points[%d]", i)
		a, u := float64(p.AcidityGPer100ML), float64(p.StdUGPer100ML)
		switch {
		case p.At.IsZero():
			return fieldError(field+".at", "Titration %d has no date. Give one, even a rough one.", i+1)
		case p.At.After(in.Now.Add(clockSlack)):
			return fieldError(field+".at", "Titration %d is dated %s, after today. Check the date.", i+1, p.At.Format("2 Jan 2006"))
		case in.Now.Sub(p.At) > longestSpan:
			return fieldError(field+".at", "Titration %d is dated %s, over twenty years ago. Check the year.", i+1, p.At.Format("2 Jan 2006"))
		case !finite(a) || a < 0 || a > highestAcidity:
			return fieldError(field+".acidity_g_per_100ml", "Titration %d reads %v g/100 mL; it must be between 0 and %.0f. Check the burette readings and the sample volume.", i+1, a, highestAcidity)
		case !finite(u) || u < 0 || u > highestAcidity:
			return fieldError(field+".std_u_g_per_100ml", "The uncertainty of titration %d must be between 0 and %.0f g/100 mL, or 0 when it is not known.", i+1, highestAcidity)
		}
	}
	return nil
}

// likely is the range in which the acidity should end, g/100 mL.
func (in Input) likely() (low, high float64) {
	low, high = float64(in.LikelyLowGPer100ML), float64(in.LikelyHighGPer100ML)
	if high <= 0 {
		c := float64(in.CeilingGPer100ML)
		return defaultLikelyLow * c, defaultLikelyHigh * c
	}
	return low, high
}

// Uncertainty of a kitchen titration.
const (
	defaultRelativeU = 0.02 // kitchen titrations are good to 1-3 %; laboratories' s_R is 0.5-0.7 % (OIV)
	defaultFloorU    = 0.05 // g/100 mL: a drop or two at the end point (common practice)
	modelU           = 0.05 // g/100 mL: how far a real jar strays from any smooth curve, draughts and film
)

// sample is a titration made ready for the fit.
type sample struct {
	day   float64 // since origin
	level float64 // g/100 mL
	u     float64 // standard uncertainty of the titration, g/100 mL, > 0
	// weight is 1/(tailDoF u²) with the model's own uncertainty in u: what a
	// squared misfit is multiplied with in the Student t.
	weight float64
}

const mostSamples = 16 // more say nothing new and cost time

// origin is the instant from which days count.
func (in Input) origin() time.Time {
	if !in.StartedAceticAt.IsZero() {
		return in.StartedAceticAt
	}
	first := in.Now
	for _, p := range in.Points {
		if p.At.Before(first) {
			first = p.At
		}
	}
	return first
}

// samples sorts the titrations by time and joins those less than half a day
// apart (replicates, or one logged twice) into their weighted mean. When many
// remain, the joining window grows until at most mostSamples are left.
func (in Input) samples() []sample {
	origin := in.origin()
	all := make([]sample, 0, len(in.Points))
	for _, p := range in.Points {
		level := float64(p.AcidityGPer100ML)
		u := float64(p.StdUGPer100ML)
		if u <= 0 {
			u = math.Hypot(defaultFloorU, defaultRelativeU*level)
		}
		all = append(all, sample{day: p.At.Sub(origin).Hours() / 24, level: level, u: max(u, 0.005)})
	}
	slices.SortStableFunc(all, func(a, b sample) int {
		switch {
		case a.day < b.day:
			return -1
		case a.day > b.day:
			return 1
		}
		return 0
	})
	for window := 0.5; ; window *= 2 {
		joined := join(all, window)
		if len(joined) > mostSamples {
			continue
		}
		for i := range joined {
			s := &joined[i]
			s.weight = 1 / (tailDoF * (s.u*s.u + modelU*modelU))
		}
		return joined
	}
}

// join merges runs of samples that lie within window days of their first.
func join(sorted []sample, window float64) []sample {
	var out []sample
	for i := 0; i < len(sorted); {
		j := i
		var w, wDay, wLevel, least float64
		least = math.Inf(1)
		for ; j < len(sorted) && sorted[j].day-sorted[i].day < window; j++ {
			s := sorted[j]
			weight := 1 / (s.u * s.u)
			w, wDay, wLevel = w+weight, wDay+weight*s.day, wLevel+weight*s.level
			least = min(least, s.u)
		}
		// The same base and burette served them all: joining does not make
		// them better than 0.7 of the best one.
		u := max(1/math.Sqrt(w), 0.7*least)
		if j == i+1 {
			u = sorted[i].u
		}
		out = append(out, sample{day: wDay / w, level: wLevel / w, u: u})
		i = j
	}
	return out
}
