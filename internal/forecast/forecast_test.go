package forecast

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"cruet/internal/chem"
)

// readings makes points from pairs of day and acidity.
func readings(pairs ...float64) []Point {
	var out []Point
	for i := 0; i+1 < len(pairs); i += 2 {
		out = append(out, Point{At: simTime(pairs[i]), AcidityGPer100ML: chem.GramsPer100ML(pairs[i+1]), StdUGPer100ML: 0.06})
	}
	return out
}

// basic is a jar of about 5.5 % vol with a starter, titrated as given.
func basic(nowDay float64, pairs ...float64) Input {
	temp := chem.Celsius(21)
	return Input{
		Points: readings(pairs...), StartedAceticAt: simStart, CeilingGPer100ML: 6.5,
		LikelyLowGPer100ML: 5.2, LikelyHighGPer100ML: 6.0, TargetGPer100ML: 5,
		TempC: &temp, Now: simTime(nowDay),
	}
}

func must(t *testing.T, in Input) Forecast {
	t.Helper()
	f, err := Of(in)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestFindings(t *testing.T) {
	cases := []struct {
		name string
		in   Input
		want FindingKind
		date bool
	}{
		{"rising", basic(28, 7, 1.4, 14, 2.2, 21, 3.1, 28, 4.0), "", true},
		{"flat half way", basic(56, 14, 2.2, 21, 3.0, 28, 3.6, 35, 3.65, 42, 3.6, 49, 3.62, 56, 3.61), Stalled, false},
		{"never begun", basic(42, 7, 1.2, 14, 1.22, 21, 1.18, 28, 1.2, 35, 1.21, 42, 1.2), Stalled, false},
		{"flat at the end", basic(70, 28, 4.0, 42, 5.5, 49, 5.55, 56, 5.56, 63, 5.55, 70, 5.54), LevelledOff, true},
		{"target in hand", basic(70, 28, 4.0, 42, 5.5, 49, 5.55), TargetReached, true},
		{"falling", basic(84, 28, 4.0, 42, 5.5, 56, 5.5, 70, 5.1, 77, 4.9, 84, 4.7), Falling, false},
		{"fallen once", basic(70, 28, 4.0, 42, 5.5, 70, 4.8), Falling, false},
		{"above the ceiling", basic(40, 20, 6.0, 30, 7.1, 40, 7.2), AboveCeiling, false},
		{"long silence", basic(120, 7, 1.4, 14, 2.2), OldData, true},
	}
	for _, c := range cases {
		f := must(t, c.in)
		if c.want != "" && !f.Has(c.want) {
			t.Errorf("%s: findings %+v, want %s", c.name, f.Findings, c.want)
		}
		if c.want == "" && len(f.Findings) > 0 {
			t.Errorf("%s: findings %+v, want none", c.name, f.Findings)
		}
		if f.Finish.IsZero() == c.date {
			t.Errorf("%s: finish %+v, want a date: %t", c.name, f.Finish, c.date)
		}
	}
}

// A jar that falls is told nothing of where a rise would have ended.
func TestFallingForeseesNoRise(t *testing.T) {
	for name, in := range map[string]Input{
		"short of the target": basic(84, 28, 3.0, 42, 4.2, 56, 4.2, 70, 3.8, 77, 3.6, 84, 3.4),
		"fallen below it":     basic(84, 28, 4.0, 42, 5.5, 56, 5.5, 70, 5.1, 77, 4.7, 84, 4.3),
	} {
		in.TargetGPer100ML = 5
		f := must(t, in)
		if !f.Has(Falling) || f.Foresees() || f.End != (Band{}) || f.ChanceOfTarget != 0 || !f.Finish.IsZero() {
			t.Errorf("%s: ends at %+v, chance %v, %+v", name, f.End, f.ChanceOfTarget, f.Findings)
		}
		for _, x := range f.Findings {
			if strings.Contains(x.Text, "settle") {
				t.Errorf("%s: %s", name, x.Text)
			}
		}
		if !f.Has(TargetUnlikely) || !f.Enough() {
			t.Errorf("%s: %+v", name, f.Findings)
		}
	}
}

// The ceiling of 6.5 and the targets are of basic; a jar that stands still, or that
// was titrated above what it can make, has no chance and no date.
func TestNothingIsForeseenAgainstTheTitrations(t *testing.T) {
	for name, in := range map[string]Input{
		"never begun":       basic(42, 7, 1.2, 14, 1.22, 21, 1.18, 28, 1.2, 35, 1.21, 42, 1.2),
		"flat half way":     basic(56, 14, 2.2, 21, 3.0, 28, 3.6, 35, 3.65, 42, 3.6, 49, 3.62, 56, 3.61),
		"above the ceiling": basic(40, 20, 6.0, 30, 7.1, 40, 7.2),
	} {
		f := must(t, in)
		_, told := f.Chance()
		_, _, ahead := f.Ahead()
		if !f.Enough() || f.Foresees() || told || ahead || f.End != (Band{}) || len(f.Steps()) > 0 {
			t.Errorf("%s: %+v, chance told %t, a date %t, %d steps", name, f.Findings, told, ahead, len(f.Steps()))
		}
		for _, x := range f.Findings {
			if strings.Contains(x.Text, "settle") {
				t.Errorf("%s: %s", name, x.Text)
			}
		}
		if reached := f.Has(TargetReached); reached == f.Has(TargetUnlikely) {
			t.Errorf("%s: the target is neither reached nor unlikely: %+v", name, f.Findings)
		}
	}
}

// With the target in hand the end of the rise is told, since alcohol is left until
// then, and no chance of what is there already.
func TestInHandTheEndOfTheRiseIsTold(t *testing.T) {
	f := must(t, basic(49, 28, 4.0, 35, 4.8, 42, 5.3))
	_, chance := f.Chance()
	if d, over, ok := f.Ahead(); !f.Has(TargetReached) || chance || !ok || over || f.FinishKind != FinishPlateau || d.Early.Before(f.Now) || d.Late.Before(d.Likely) {
		t.Errorf("%s %+v, over %t, %t; chance told %t; %+v", f.FinishKind, d, over, ok, chance, f.Findings)
	}
	flat := must(t, basic(70, 28, 4.0, 42, 5.5, 49, 5.55, 56, 5.56, 63, 5.55, 70, 5.54))
	if _, _, ok := flat.Ahead(); ok || flat.Finish.IsZero() {
		t.Errorf("levelled off by titration, and a date is told as well: %+v", flat.Finish)
	}
	late := must(t, basic(200, 28, 4.0, 35, 4.8, 42, 5.3))
	if _, over, ok := late.Ahead(); !over || !ok {
		t.Errorf("half a year on: over %t, %t; %+v", over, ok, late.Finish)
	}
}

// Once the acetic stage is over no rise is forecast; a fall and what cannot be are
// told still, and no jar is said to be closed: a maturing one may stand open.
func TestAfterTheAceticStage(t *testing.T) {
	for _, c := range []struct {
		name    string
		in      Input
		leftOut int
		want    []FindingKind
		text    string
	}{
		{"held", basic(84, 42, 5.5, 70, 5.5), 0, []FindingKind{StageOver}, "The newest titration is what counts."},
		{"fell", basic(84, 42, 5.5, 56, 5.5, 70, 5.1, 77, 4.7), 0, []FindingKind{StageOver, Falling}, "from 5.5 to 4.7"},
		{"above the ceiling", basic(84, 77, 7.2), 0, []FindingKind{StageOver, AboveCeiling}, "lies above the 6.5"},
		{"watered since", basic(84), 2, []FindingKind{StageOver}, "titrate it as it is now"},
		{"never titrated", basic(84), 0, []FindingKind{StageOver}, "no rise is forecast."},
	} {
		c.in.Phase, c.in.LeftOut = PhaseAfterAcetic, c.leftOut
		f := must(t, c.in)
		var kinds []FindingKind
		var text string
		for _, x := range f.Findings {
			kinds, text = append(kinds, x.Kind), text+x.Text+" "
		}
		if f.Enough() || !slices.Equal(kinds, c.want) || !strings.Contains(text, c.text) {
			t.Errorf("%s: %v %s", c.name, kinds, text)
		}
		if strings.Contains(text, "closed:") || len(c.in.Points) == 0 && strings.Contains(text, "what counts") {
			t.Errorf("%s: %s", c.name, text)
		}
	}
	// A single titration in the acetic stage that the recipe cannot have made.
	if f := must(t, basic(30, 28, 7.2)); !f.Has(NotEnoughData) || !f.Has(AboveCeiling) {
		t.Errorf("one titration above the ceiling: %+v", f.Findings)
	}
}

// A jar flat for its first three weeks is not yet stalled: films take time.
func TestSlowStartIsNotStalled(t *testing.T) {
	if f := must(t, basic(21, 1, 1.2, 7, 1.2, 14, 1.21, 21, 1.2)); f.Has(Stalled) {
		t.Errorf("stalled after three weeks: %+v", f.Findings)
	}
}

func TestNotEnoughData(t *testing.T) {
	with := func(change func(*Input)) Input {
		in := basic(28, 7, 1.4, 14, 2.2)
		change(&in)
		return in
	}
	cases := map[string]Input{
		"no titration":    with(func(in *Input) { in.Points = nil }),
		"one titration":   with(func(in *Input) { in.Points = in.Points[:1] }),
		"same hour twice": with(func(in *Input) { in.Points = readings(7, 1.4, 7.02, 1.5) }),
		"two days apart":  with(func(in *Input) { in.Points = readings(7, 1.4, 9, 1.6) }),
		"no ceiling":      with(func(in *Input) { in.CeilingGPer100ML, in.LikelyLowGPer100ML, in.LikelyHighGPer100ML = 0, 0, 0 }),
		"still alcoholic": with(func(in *Input) { in.Phase = PhaseBeforeAcetic }),
	}
	for name, in := range cases {
		f := must(t, in)
		_, ok := f.Band(in.Now)
		if !f.Has(NotEnoughData) || f.Enough() || ok || !f.Finish.IsZero() {
			t.Errorf("%s: %+v, want not enough data, no band, no date", name, f.Findings)
		}
	}
	in := with(func(in *Input) { in.Phase = PhaseAfterAcetic })
	if f := must(t, in); !f.Has(StageOver) || f.Enough() {
		t.Errorf("closed jar: %+v, want stage over", f.Findings)
	}
}

func TestBadInput(t *testing.T) {
	cold, nan := chem.Celsius(-40), chem.GramsPer100ML(math.NaN())
	cases := map[string]func(*Input){
		"now":                           func(in *Input) { in.Now = time.Time{} },
		"stage":                         func(in *Input) { in.Phase = 9 },
		"ceiling_g_per_100ml":           func(in *Input) { in.CeilingGPer100ML = nan },
		"target_g_per_100ml":            func(in *Input) { in.TargetGPer100ML = -1 },
		"likely_low_g_per_100ml":        func(in *Input) { in.LikelyLowGPer100ML = 6.2 },
		"likely_high_g_per_100ml":       func(in *Input) { in.LikelyHighGPer100ML = 6.6 },
		"temp_c":                        func(in *Input) { in.TempC = &cold },
		"started_acetic_at":             func(in *Input) { in.StartedAceticAt = in.Now.AddDate(0, 1, 0) },
		"points[1].at":                  func(in *Input) { in.Points[1].At = time.Time{} },
		"points[0].at":                  func(in *Input) { in.Points[0].At = in.Now.AddDate(0, 0, 3) },
		"points[0].acidity_g_per_100ml": func(in *Input) { in.Points[0].AcidityGPer100ML = nan },
		"points[1].acidity_g_per_100ml": func(in *Input) { in.Points[1].AcidityGPer100ML = 55 },
		"points[1].std_u_g_per_100ml":   func(in *Input) { in.Points[1].StdUGPer100ML = chem.GramsPer100ML(math.Inf(1)) },
	}
	for field, spoil := range cases {
		in := basic(28, 7, 1.4, 14, 2.2)
		spoil(&in)
		_, err := Of(in)
		var fe *chem.FieldError
		if !errors.As(err, &fe) || fe.Field != field || len(fe.Message) < 20 {
			t.Errorf("%s: error %v, want a FieldError with that field and a sentence", field, err)
		}
	}
}

// Order, doubled entries and the run of the clock change nothing.
func TestOrderAndRepeatability(t *testing.T) {
	in := basic(28, 7, 1.4, 14, 2.2, 21, 3.1, 28, 4.0)
	a := must(t, in)
	in.Points[0], in.Points[3] = in.Points[3], in.Points[0]
	b := must(t, in)
	if a.Finish != b.Finish || a.End != b.End {
		t.Errorf("order changes the forecast: %+v, %+v", a.Finish, b.Finish)
	}
	in.Points = append(in.Points, in.Points...)
	c := must(t, in)
	if d := c.Finish.Likely.Sub(a.Finish.Likely).Hours() / 24; math.Abs(d) > 2 {
		t.Errorf("titrations logged twice move the finish by %.1f days", d)
	}
}

// More titrations narrow the date.
func TestNarrows(t *testing.T) {
	width := func(f Forecast) time.Duration { return f.Finish.Late.Sub(f.Finish.Early) }
	two := must(t, basic(28, 7, 1.4, 14, 2.2))
	four := must(t, basic(28, 7, 1.4, 14, 2.2, 21, 3.1, 28, 4.0))
	if width(four) >= width(two) {
		t.Errorf("range with four titrations %v, with two %v", width(four), width(two))
	}
}

// A target above the ceiling is never promised.
func TestTargetAboveCeiling(t *testing.T) {
	in := basic(28, 7, 1.4, 14, 2.2, 21, 3.1, 28, 4.0)
	in.TargetGPer100ML = 7
	f := must(t, in)
	if f.ChanceOfTarget != 0 || !f.Target.IsZero() || f.FinishKind != FinishPlateau || !f.Has(TargetUnlikely) {
		t.Errorf("chance %v, target %+v, finish %s, findings %+v", f.ChanceOfTarget, f.Target, f.FinishKind, f.Findings)
	}
}

// drawInput makes any input that check lets pass, however odd the log.
func drawInput(t *rapid.T) Input {
	ceiling := rapid.Float64Range(0.2, 15).Draw(t, "ceiling")
	high := rapid.Float64Range(0, ceiling).Draw(t, "high")
	in := Input{
		CeilingGPer100ML:    chem.GramsPer100ML(ceiling),
		LikelyHighGPer100ML: chem.GramsPer100ML(high),
		LikelyLowGPer100ML:  chem.GramsPer100ML(rapid.Float64Range(0, high).Draw(t, "low")),
		TargetGPer100ML:     chem.GramsPer100ML(rapid.Float64Range(0, 15).Draw(t, "target")),
		Now:                 simTime(rapid.Float64Range(0, 4000).Draw(t, "now")),
	}
	if rapid.Bool().Draw(t, "start known") {
		in.StartedAceticAt = simTime(rapid.Float64Range(-3000, 0).Draw(t, "start"))
	}
	if rapid.Bool().Draw(t, "temp known") {
		temp := chem.Celsius(rapid.Float64Range(lowestTempC, highestTempC).Draw(t, "temp"))
		in.TempC = &temp
	}
	n := rapid.IntRange(0, 40).Draw(t, "n")
	level := rapid.Float64Range(0, 18)
	for range n {
		at := rapid.Float64Range(-2000, 0).Draw(t, "before now")
		p := Point{
			At:               in.Now.Add(time.Duration(at * 24 * float64(time.Hour))),
			AcidityGPer100ML: chem.GramsPer100ML(level.Draw(t, "level")),
			StdUGPer100ML:    chem.GramsPer100ML(rapid.SampledFrom([]float64{0, 0.001, 0.05, 0.3, 10}).Draw(t, "u")),
		}
		in.Points = append(in.Points, p)
		if rapid.IntRange(0, 5).Draw(t, "twice") == 0 {
			in.Points = append(in.Points, p)
		}
	}
	return in
}

// Whatever the log: bands are finite, ordered, not negative and never above
// the ceiling; dates are ordered.
func TestBandProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t)
		f, err := Of(in)
		if err != nil {
			t.Fatalf("refused: %v", err)
		}
		for _, day := range []float64{-4000, -30, 0, 1, 10, 100, 1000, 30000} {
			b, ok := f.Band(in.Now.Add(time.Duration(day*24) * time.Hour))
			if ok != f.Enough() {
				t.Fatalf("band %t, enough %t", ok, f.Enough())
			}
			low, mid, high := float64(b.LowGPer100ML), float64(b.MidGPer100ML), float64(b.HighGPer100ML)
			if !(low >= 0 && low <= mid && mid <= high && high <= float64(in.CeilingGPer100ML)) {
				t.Fatalf("day %v: band %v %v %v under ceiling %v", day, low, mid, high, in.CeilingGPer100ML)
			}
		}
		for _, d := range []DateRange{f.Target, f.Plateau, f.Finish} {
			if d.Early.After(d.Likely) || d.Likely.After(d.Late) {
				t.Fatalf("dates out of order: %+v", d)
			}
		}
		if f.ChanceOfTarget < 0 || f.ChanceOfTarget > 1 {
			t.Fatalf("chance %v", f.ChanceOfTarget)
		}
	})
}

// dayAt undoes at; at never falls and stays between its ends.
func TestCurve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := rapid.Float64Range(0, 3).Draw(t, "start")
		rise := rapid.Float64Range(0.1, 8).Draw(t, "rise")
		c := newCurve(start, start+rise, rapid.Float64Range(-20, 40).Draw(t, "lag"), rapid.Float64Range(1, 300).Draw(t, "ramp"),
			rapid.Float64Range(0.5, 200).Draw(t, "k1"), rapid.Float64Range(0.5, 200).Draw(t, "k2"))
		before := c.at(-500)
		for day := -500.0; day < 2000; day += 25 {
			a := c.at(day)
			if a < before-1e-9 || a < c.start || a > c.end {
				t.Fatalf("day %v: %v after %v, between %v and %v", day, a, before, c.start, c.end)
			}
			before = a
		}
		want := start + rise*rapid.Float64Range(0.01, 0.99).Draw(t, "share")
		day, ok := c.dayAt(want)
		if got := c.at(day); !ok || math.Abs(got-want) > 1e-6 {
			t.Fatalf("at(dayAt(%v)) = %v, %t", want, got, ok)
		}
	})
}

// The weighted line agrees with gonum's.
func TestFitLineAgainstGonum(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var data []sample
	var x, y, w []float64
	for i := range 12 {
		s := sample{day: float64(7*i) + r.Float64(), level: 1 + 0.1*float64(i) + r.NormFloat64(), u: 0.05 + r.Float64()}
		data = append(data, s)
		x, y, w = append(x, s.day), append(y, s.level), append(w, 1/(s.u*s.u))
	}
	alpha, beta := stat.LinearRegression(x, y, w, false)
	l := fitLine(data)
	if got := l.level - l.perDay*l.middleDay; math.Abs(got-alpha) > 1e-9 || math.Abs(l.perDay-beta) > 1e-9 {
		t.Errorf("line %v + %v x, gonum %v + %v x", got, l.perDay, alpha, beta)
	}
}

// Without titrations the walk must return the prior: here its lag, a
// lognormal whose median and spread are known.
func TestWalkReturnsPrior(t *testing.T) {
	p := newPrior(Input{CeilingGPer100ML: 6, StartedAceticAt: simStart})
	var lags []float64
	for _, c := range p.walk(nil, 200, 40, 60) {
		lags = append(lags, math.Log(c.lagDays))
	}
	mean, sd := stat.MeanStdDev(lags, nil)
	if math.Abs(mean-math.Log(lagDaysMedian)) > 0.1 || math.Abs(sd-lagLogSD) > 0.1 {
		t.Errorf("log lag %.2f ± %.2f, want %.2f ± %v", mean, sd, math.Log(lagDaysMedian), lagLogSD)
	}
}

// The short walk of a forecast agrees with one ten times as long.
func TestWalkIsLongEnough(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	plateau := func(curves []curve) (low, mid, high float64) {
		var days []float64
		for _, c := range curves {
			if day, ok := c.plateauDay(); ok {
				days = append(days, day)
			}
		}
		return quantiles(days)
	}
	for _, n := range []int{2, 4, 12} {
		var square float64
		const jars = 5
		for range jars {
			in := drawJar(r).titrate(r, 5, n, 5)
			p, data := newPrior(in), in.samples()
			l1, m1, h1 := plateau(p.draws(data))
			l2, m2, h2 := plateau(p.walk(data, 300, 20, 60))
			for _, d := range []float64{l1 - l2, m1 - m2, h1 - h2} {
				square += d * d / ((h2 - l2) * (h2 - l2)) / (3 * jars)
			}
		}
		if rms := math.Sqrt(square); rms > 0.15 {
			t.Errorf("%d titrations: the short walk is off by %.2f of the band's width (root mean square), want at most 0.15", n, rms)
		}
	}
}

func BenchmarkOf(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	j := drawJar(r)
	for _, n := range []int{2, 4, 12, 24} {
		in := j.titrate(r, 5, n, 5)
		b.Run(fmt.Sprintf("%d titrations", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := Of(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkBand(b *testing.B) {
	f, err := Of(basic(28, 7, 1.4, 14, 2.2, 21, 3.1, 28, 4.0))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		f.Band(simTime(60))
	}
}
