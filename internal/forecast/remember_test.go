package forecast

import (
	"reflect"
	"testing"
	"time"

	"cruet/internal/chem"
)

// What is remembered is what would be drawn afresh, whichever input changes.
func TestRememberedDrawsAreThoseOfTheInput(t *testing.T) {
	begun := time.Date(2026, 9, 1, 8, 0, 0, 0, time.UTC)
	in := Input{Phase: PhaseAcetic, StartedAceticAt: begun, CeilingGPer100ML: 6.5, LikelyLowGPer100ML: 5, LikelyHighGPer100ML: 6, Now: begun.AddDate(0, 0, 40)}
	for i, level := range []chem.GramsPer100ML{1.2, 2.4, 3.5} {
		in.Points = append(in.Points, Point{At: begun.AddDate(0, 0, 10*(i+1)), AcidityGPer100ML: level})
	}
	seen := map[string]bool{}
	for name, change := range map[string]func(*Input){
		"nothing":       func(*Input) {},
		"the ceiling":   func(in *Input) { in.CeilingGPer100ML = 7 },
		"the low end":   func(in *Input) { in.LikelyLowGPer100ML = 4 },
		"the high end":  func(in *Input) { in.LikelyHighGPer100ML = 6.2 },
		"the warmth":    func(in *Input) { in.TempC = new(chem.Celsius(18)) },
		"the start":     func(in *Input) { in.StartedAceticAt = time.Time{} },
		"a titration":   func(in *Input) { in.Points[2].AcidityGPer100ML = 3.6 },
		"its day":       func(in *Input) { in.Points[2].At = in.Points[2].At.AddDate(0, 0, 1) },
		"one titration": func(in *Input) { in.Points = in.Points[:2] },
	} {
		one := in
		one.Points = append([]Point(nil), in.Points...)
		change(&one)
		data := one.samples()
		for range 2 {
			if got, want := one.draws(data).curves, newPrior(one).draws(data); !reflect.DeepEqual(got, want) {
				t.Errorf("with %s changed, other curves are remembered than are drawn", name)
			}
		}
		seen[one.drawKey(data)] = true
	}
	if len(seen) != 9 {
		t.Errorf("nine inputs were kept under %d keys", len(seen))
	}
	if len(remembered.curves) > keptJars {
		t.Errorf("%d draws are kept", len(remembered.curves))
	}
}

// The steps that are remembered are those that would be read off afresh: they are
// the band at their times, whatever was asked before.
func TestRememberedStepsAreTheBand(t *testing.T) {
	begun := time.Date(2026, 9, 1, 8, 0, 0, 0, time.UTC)
	in := Input{Phase: PhaseAcetic, StartedAceticAt: begun, CeilingGPer100ML: 6.5, TargetGPer100ML: 5, LikelyLowGPer100ML: 5, LikelyHighGPer100ML: 6}
	for i, level := range []chem.GramsPer100ML{1.1, 2.3, 3.4} {
		in.Points = append(in.Points, Point{At: begun.AddDate(0, 0, 10*(i+1)), AcidityGPer100ML: level})
	}
	later := in // the same curve, ten days after
	later.StartedAceticAt = begun.AddDate(0, 0, 10)
	later.Points = nil
	for _, p := range in.Points {
		p.At = p.At.AddDate(0, 0, 10)
		later.Points = append(later.Points, p)
	}
	first := begun.AddDate(0, 0, 90) // beyond all dates that are forecast
	for i, now := range []time.Time{first, first.Add(5 * time.Minute), first, first.Add(time.Hour), first.Add(5 * time.Minute), begun.AddDate(0, 0, 40), first} {
		in := in
		if i%2 == 1 {
			in = later
		}
		in.Now = now
		f, err := Of(in)
		if err != nil {
			t.Fatal(err)
		}
		for range 2 {
			all := f.Steps()
			if len(all) != steps+1 || !all[0].At.Equal(now) {
				t.Fatalf("%d steps, from %v at %v", len(all), all[0].At, now)
			}
			for i, s := range all {
				if b, ok := f.Band(s.At); !ok || b != s.Band || i > 0 && !s.At.After(all[i-1].At) {
					t.Errorf("at %v step %d is %+v, the band %+v", now, i, s, b)
				}
			}
			all[0], all[1] = Step{}, Step{} // whoever got them may change them
		}
	}
}
