package chart

import (
	"slices"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// FromLog is the drawing of a jar's whole log, in the order of recording:
// titrations with their 95 % intervals, computed acidities after water was
// added, readings, and the stages. Struck entries are left out. The caller adds
// what is not in the log: a title, and to the first series, Acidity, a target
// and a forecast.
func FromLog(log []larder.Entry, now time.Time) Input {
	acidity := Series{Name: "Acidity", Unit: "g/100 mL", Decimals: 2, FromZero: true}
	ph := Series{Name: "pH", Decimals: 2, LeastSpan: 0.5}
	gravity := Series{Name: "Specific gravity", Decimals: 3, LeastSpan: 0.01}
	brix := Series{Name: "Sugar", Unit: "°Brix", Decimals: 1, LeastSpan: 2}
	abv := Series{Name: "Alcohol", Unit: "% vol", Decimals: 1, FromZero: true, LeastSpan: 1}
	temp := Series{Name: "Temperature", Unit: "°C", Decimals: 1, LeastSpan: 4}
	var state larder.State
	for _, e := range log {
		if e.Struck() {
			continue
		}
		before := state.Acidity
		state = state.Apply(e)
		switch b := e.Body.(type) {
		case larder.Reading:
			addReading(&ph, b.PH, e)
			addReading(&gravity, b.SG, e)
			addReading(&brix, b.Brix, e)
			addReading(&abv, b.ABV, e)
			addReading(&temp, b.TempC, e)
		case larder.Titration:
			if r, err := b.Result(); err == nil {
				acidity.Points = append(acidity.Points, Point{At: e.When.At, Value: float64(r.AcidityGPer100ML), HalfWidth: float64(r.ExpandedUGPer100ML)})
			}
		default:
			if a := state.Acidity; a != nil && a != before && a.Basis == larder.Computed {
				acidity.Points = append(acidity.Points, Point{At: e.When.At, Value: float64(a.GPer100ML), HalfWidth: float64(a.ExpandedUGPer100ML), Computed: true})
			}
		}
	}
	return Input{Zone: now.Location(), Until: now, BarMeaning: "95 %", BandMeaning: "80 %",
		Stages: stagesOf(log), Series: []Series{acidity, ph, gravity, brix, abv, temp}}
}

func addReading[T chem.PH | chem.SpecificGravity | chem.DegreesBrix | chem.PercentVol | chem.Celsius](s *Series, value *T, e larder.Entry) {
	if value != nil {
		s.Points = append(s.Points, Point{At: e.When.At, Value: float64(*value)})
	}
}

// stagesOf are the stages that a jar went through, by date. The last one is
// open; a retired jar's last day ends the drawing's stages.
func stagesOf(log []larder.Entry) []StageBand {
	var bands []StageBand
	for _, e := range log {
		if b, ok := e.Body.(larder.StageChange); ok && !e.Struck() {
			bands = append(bands, StageBand{Name: string(b.To), From: e.When.At})
		}
	}
	slices.SortStableFunc(bands, func(a, b StageBand) int { return a.From.Compare(b.From) })
	for i := range bands {
		if i+1 < len(bands) {
			bands[i].To = bands[i+1].From
		}
	}
	return bands
}
