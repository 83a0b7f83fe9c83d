package chart

import (
	"math"
	"time"
)

// The samples are invented jars that show the hard cases; each has a golden.
var dublin = func() *time.Location {
	loc, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		panic(err)
	}
	return loc
}()

func at(day float64) time.Time {
	return time.Date(2026, 9, 25, 9, 0, 0, 0, time.UTC).Add(time.Duration(day * 24 * float64(time.Hour)))
}

func samples() map[string]Input {
	return map[string]Input{"jar": aJar(), "fifty": fifty(), "empty": {Title: "Jar B"}, "one": one(), "years": years(), "finished": finished()}
}

// aJar is two months of a damson wine vinegar with a forecast.
func aJar() Input {
	target := 5.0
	acidity := Series{Name: "Acidity", Unit: "g/100 mL", Decimals: 1, FromZero: true, Target: &target}
	for i, v := range []float64{1.2, 1.6, 2.4, 3.1, 3.6} {
		acidity.Points = append(acidity.Points, Point{At: at(18 + 8*float64(i)), Value: v, HalfWidth: 0.2})
	}
	acidity.Points[0].Computed = true
	acidity.Forecast = rise(3.6, 51)
	ph := Series{Name: "pH", Decimals: 2, LeastSpan: 0.5}
	gravity := Series{Name: "Specific gravity", Decimals: 3, LeastSpan: 0.01}
	temp := Series{Name: "Temperature", Unit: "°C", Decimals: 1, LeastSpan: 4}
	for i := range 8 {
		d := 2 + 7*float64(i)
		ph.Points = append(ph.Points, Point{At: at(d), Value: 3.7 - 0.8*(1-math.Exp(-d/20))})
		temp.Points = append(temp.Points, Point{At: at(d), Value: 19 + 2*math.Sin(d)})
	}
	for i, v := range []float64{1.048, 1.021, 1.004, 0.999} {
		gravity.Points = append(gravity.Points, Point{At: at(4 * float64(i)), Value: v})
	}
	return Input{Title: "Jar K7RM 40, Damson wine", Zone: dublin, Until: at(61), BarMeaning: "95 %", BandMeaning: "80 %",
		Stages: []StageBand{{Name: "must", From: at(0), To: at(2)}, {Name: "alcoholic", From: at(2), To: at(18)}, {Name: "acetic", From: at(18)}},
		Series: []Series{acidity, ph, gravity, temp}}
}

// rise is a forecast over 38 days.
func rise(from, day0 float64) (band []BandPoint) {
	for i := range 20 {
		day := float64(i) * 2
		mid := from + 1.9*(1-math.Exp(-day/18))
		band = append(band, BandPoint{At: at(day0 + day), Low: mid - 0.1 - 0.02*day, Mid: mid, High: mid + 0.1 + 0.02*day})
	}
	return band
}

// fifty is a jar with fifty entries: a pH and a temperature each, and every
// fifth with a titration and a gravity.
func fifty() Input {
	in := aJar()
	for i := range in.Series {
		in.Series[i].Points = nil
	}
	in.Series[0].Forecast = rise(5.4, 118)
	for i := range 50 {
		d := 2.4 * float64(i)
		in.Series[1].Points = append(in.Series[1].Points, Point{At: at(d), Value: 3.7 - 0.8*(1-math.Exp(-d/20)) + 0.04*math.Sin(5*d)})
		in.Series[3].Points = append(in.Series[3].Points, Point{At: at(d), Value: 19 + 2*math.Sin(d/9)})
		if i%5 == 0 {
			in.Series[0].Points = append(in.Series[0].Points, Point{At: at(d), Value: 5.6 * (1 - math.Exp(-d/30)), HalfWidth: 0.15, Computed: i == 20})
			in.Series[2].Points = append(in.Series[2].Points, Point{At: at(d), Value: 0.998 + 0.05*math.Exp(-d/6)})
		}
	}
	in.Until = time.Time{}
	return in
}

func one() Input {
	return Input{Title: "Jar <C> & \"quince\"", Zone: dublin, Series: []Series{{Name: "pH", Decimals: 2, LeastSpan: 0.5, Points: []Point{{At: at(3), Value: 3.42}}}},
		Stages: []StageBand{{Name: "must", From: at(3)}}}
}

// years is a perpetual crock, drawn from for three years.
func years() Input {
	s := Series{Name: "Acidity", Unit: "g/100 mL", Decimals: 2, FromZero: true}
	for i := range 36 {
		s.Points = append(s.Points, Point{At: at(31 * float64(i)), Value: 5.5 + 0.4*math.Sin(float64(i)), HalfWidth: 0.11})
	}
	return Input{Title: "The crock", Zone: dublin, Series: []Series{s}, BarMeaning: "95 %", Stages: []StageBand{{Name: "acetic", From: at(0)}}}
}

func finished() Input {
	in := aJar()
	in.Series = in.Series[:2]
	in.Series[0].Forecast = nil
	in.Stages = append(in.Stages[:2:2], StageBand{Name: "acetic", From: at(18), To: at(48)}, StageBand{Name: "maturing", From: at(48), To: at(54)}, StageBand{Name: "finished", From: at(54)})
	return in
}
