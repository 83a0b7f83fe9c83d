package forecast

import (
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// OfJar makes the forecast of a jar from its log, in the order of recording.
// Titrations before the last liquid came in are left out: they belong to another
// curve. A jar whose ceiling is not known (the zero Ceiling) gets the finding
// that says so, and one in which mould was seen is told to titrate nothing.
func OfJar(batch larder.Batch, jar larder.Jar, log []larder.Entry, ceiling larder.Ceiling, now time.Time) (Forecast, error) {
	if jar.State.MouldAt != nil {
		return Forecast{Now: now, Findings: []Finding{{Kind: Mouldy, Text: "Mould was seen, and mould means discard: nothing is forecast."}}}, nil
	}
	points, leftOut := points(log)
	in := Input{
		Points: points, LeftOut: leftOut, Phase: phaseOf(jar.State.Stage), StartedAceticAt: aceticSince(log),
		CeilingGPer100ML:   capped(ceiling.StoichiometricGPer100ML),
		LikelyLowGPer100ML: capped(ceiling.LikelyLowGPer100ML), LikelyHighGPer100ML: capped(ceiling.LikelyHighGPer100ML),
		TargetGPer100ML: batch.TargetGPer100ML, Now: now,
	}
	if ceiling.Open {
		in.CeilingGPer100ML, in.LikelyLowGPer100ML, in.LikelyHighGPer100ML, in.CeilingOpen = 0, 0, 0, true
	}
	if t := jar.State.TempC; t != nil {
		in.TempC = &t.Value
	}
	return Of(in)
}

// capped holds a recipe of much sugar or alcohol to what the bacteria bear.
func capped(v chem.GramsPer100ML) chem.GramsPer100ML { return min(v, chem.AcidStopsHigh) }

func phaseOf(s larder.Stage) Phase {
	switch s {
	case larder.Must, larder.Alcoholic:
		return PhaseBeforeAcetic
	case larder.Acetic:
		return PhaseAcetic
	}
	return PhaseAfterAcetic
}

// aceticSince is when the jar last became acetic; zero when it never did.
func aceticSince(log []larder.Entry) time.Time {
	var at time.Time
	for _, e := range log {
		if b, ok := e.Body.(larder.StageChange); ok && !e.Struck() && b.To == larder.Acetic {
			at = e.When.At
		}
	}
	return at
}

func points(log []larder.Entry) (out []Point, leftOut int) {
	var fed time.Time
	for _, e := range log {
		if b, ok := e.Body.(larder.Transfer); ok && !e.Struck() && b.Feed != nil && b.Feed.VolumeML != nil && e.When.At.After(fed) {
			fed = e.When.At
		}
	}
	for _, e := range log {
		b, ok := e.Body.(larder.Titration)
		if !ok || e.Struck() {
			continue
		}
		if e.When.At.Before(fed) {
			leftOut++
			continue
		}
		if r, err := b.Result(); err == nil {
			out = append(out, Point{At: e.When.At, AcidityGPer100ML: r.AcidityGPer100ML, StdUGPer100ML: chem.GramsPer100ML(r.StandardUGPer100ML)})
		}
	}
	return out, leftOut
}
