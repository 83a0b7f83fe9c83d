package forecast

import (
	"fmt"
	"math"
	"slices"
	"time"

	"cruet/internal/chem"
)

// Caution stands beside every forecast that is shown.
const Caution = "A forecast is a guess from past titrations, not a measurement. Titrate before you bottle, label or rely on the strength."

// Band is a central 80 % interval for the true acidity at one time.
type Band struct {
	LowGPer100ML, MidGPer100ML, HighGPer100ML chem.GramsPer100ML
}

// DateRange is a central 80 % interval for a date. The zero value means that
// no date is forecast.
type DateRange struct{ Early, Likely, Late time.Time }

// IsZero tells that there is no date.
func (d DateRange) IsZero() bool { return d.Likely.IsZero() }

// FinishKind is what ends the acetic stage.
type FinishKind string

// What a finish can be.
const (
	FinishNone    FinishKind = ""
	FinishTarget  FinishKind = "target"  // the wanted acidity is reached
	FinishPlateau FinishKind = "plateau" // no further rise that a titration could show
)

// FindingKind names a finding for programs.
type FindingKind string

// The findings.
const (
	NotEnoughData  FindingKind = "not_enough_data"
	StageOver      FindingKind = "stage_over"
	Stalled        FindingKind = "stalled"
	Falling        FindingKind = "falling"
	LevelledOff    FindingKind = "levelled_off"
	TargetReached  FindingKind = "target_reached"
	TargetUnlikely FindingKind = "target_unlikely"
	AboveCeiling   FindingKind = "above_ceiling"
	OldData        FindingKind = "old_data"
	WideDates      FindingKind = "wide_dates"
	OutsideWarmth  FindingKind = "outside_warmth"
	Mouldy         FindingKind = "mould"
)

// Finding is one thing to tell the maker: what is seen and what to do.
type Finding struct {
	Kind FindingKind
	Text string
}

// Forecast is where a jar's acidity is going.
type Forecast struct {
	Now      time.Time
	Findings []Finding
	// End is where the acidity will settle, as an 80 % interval; zero unless
	// the forecast Foresees.
	End Band
	// ChanceOfTarget, 0 to 1, that the target will be reached at all; 0 when
	// no target was given, or unless the forecast Foresees. It is shown by Chance.
	ChanceOfTarget float64
	// Target is when the target is reached, given that it is; Plateau is when
	// the rise is over. Dates may lie in the past.
	Target, Plateau DateRange
	// Finish is whichever of the two is to be expected: the target when its
	// chance is at least one half, else, and once it is in hand, the plateau.
	Finish     DateRange
	FinishKind FinishKind

	origin   time.Time
	ceiling  float64
	curves   []curve
	drawn    *drawn  // whose curves they are
	fallFrom float64 // day from which declines hold; +Inf for none
	declines []decline
}

// Of makes the forecast. An error is a *chem.FieldError and names the input
// that cannot be right; too little data is not an error but a finding.
func Of(in Input) (Forecast, error) {
	if err := in.check(); err != nil {
		return Forecast{}, err
	}
	f := Forecast{Now: in.Now, origin: in.origin(), ceiling: float64(in.CeilingGPer100ML), fallFrom: math.Inf(1)}
	data := in.samples()
	peak := -1
	if len(data) > 0 {
		peak = peakBeforeFall(data)
	}
	if kind, why := in.tooLittle(data); why != "" {
		f.Findings = []Finding{{Kind: kind, Text: why}}
		if kind == StageOver {
			f.judgeFall(data, peak)
		}
		f.judgeCeiling(data)
		return f, nil
	}
	rising := data
	if peak >= 0 {
		rising = data[:peak+1]
		f.fallFrom = data[peak].day
		f.declines = declines(data[peak:])
	}
	f.drawn = in.draws(rising)
	f.curves = f.drawn.curves
	f.End = bandOf(f.curves, func(c curve) float64 { return c.end })
	f.judge(in, data, peak)
	return f, nil
}

const (
	leastSpanDays = 3.0  // two titrations closer than this say nothing about a rate
	oldDays       = 45.0 // after this long without a titration, ask for one
	wideDays      = 90.0 // a date range wider than this is called so
)

// tooLittle says why nothing can be forecast, or "".
func (in Input) tooLittle(data []sample) (FindingKind, string) {
	switch {
	case in.Phase == PhaseAfterAcetic && len(data) > 0:
		return StageOver, "The acetic stage is over: no rise is forecast. The newest titration is what counts."
	case in.Phase == PhaseAfterAcetic && in.LeftOut > 0:
		return StageOver, "The acetic stage is over: no rise is forecast. Something went in since the last titration: titrate it as it is now."
	case in.Phase == PhaseAfterAcetic:
		return StageOver, "The acetic stage is over: no rise is forecast."
	case in.Phase == PhaseBeforeAcetic:
		return NotEnoughData, "Not enough data: the acetic stage has not begun. Titrate once a week from its start."
	case in.CeilingOpen:
		return NotEnoughData, "Not enough data: how much alcohol came in with what was poured in is not known, so neither is the highest acidity it can reach. What is titrated counts."
	case in.CeilingGPer100ML <= 0:
		return NotEnoughData, "Not enough data: give the recipe's sugar or alcohol, so that the highest acidity it can reach is known."
	case len(data) == 0 && in.LeftOut > 0:
		return NotEnoughData, "Not enough data: something went in since the last titration, and from there on it is another liquid. Two titrations, about a week apart, make a new forecast."
	case len(data) == 0:
		return NotEnoughData, "Not enough data: no titration of this jar yet. Two, about a week apart, make a first forecast."
	case len(data) == 1:
		return NotEnoughData, "Not enough data: one titration shows where the jar is, not where it is going. Titrate again about a week after it."
	case data[len(data)-1].day-data[0].day < leastSpanDays:
		return NotEnoughData, fmt.Sprintf("Not enough data: the titrations lie within %.0f days of each other. Titrate again about a week after the first.", leastSpanDays)
	}
	return "", ""
}

func (f *Forecast) add(kind FindingKind, format string, args ...any) {
	f.Findings = append(f.Findings, Finding{Kind: kind, Text: fmt.Sprintf(format, args...)})
}

// Has tells whether the forecast carries a finding of this kind.
func (f Forecast) Has(kind FindingKind) bool {
	return slices.ContainsFunc(f.Findings, func(x Finding) bool { return x.Kind == kind })
}

// Enough tells whether there is a band to show.
func (f Forecast) Enough() bool { return len(f.curves) > 0 }

// Foresees tells whether the forecast says where the rise will end: there is enough,
// the acidity neither falls nor stands short of what is expected, and the newest
// titration can be right. The curves know of no fall and of nothing that stops a
// ferment, and none passes the ceiling.
func (f Forecast) Foresees() bool {
	return f.Enough() && !f.Has(Falling) && !f.Has(Stalled) && !f.Has(AboveCeiling)
}

// Overtakes tells that what is known of the jar says more of its target than what its
// recipe promises.
func (f Forecast) Overtakes() bool {
	return slices.ContainsFunc([]FindingKind{StageOver, Mouldy, Stalled, Falling, LevelledOff, AboveCeiling}, f.Has)
}

// Chance is the chance of the target, 0 to 1; ok is false when there is none to
// tell: nothing is foreseen, or the target is in hand.
func (f Forecast) Chance() (chance float64, ok bool) {
	return f.ChanceOfTarget, f.Foresees() && !f.Has(TargetReached)
}

// Ahead is the Finish as it lies ahead: an end that has passed is moved up to now,
// since a date that has passed is no forecast. over tells that by the forecast it is
// there already. ok is false when there is no date to tell, and once a jar was
// measured to have levelled off.
func (f Forecast) Ahead() (d DateRange, over, ok bool) {
	d = f.Finish
	if d.IsZero() || f.Has(LevelledOff) {
		return d, false, false
	}
	later := func(t time.Time) time.Time {
		if t.Before(f.Now) {
			return f.Now
		}
		return t
	}
	return DateRange{Early: later(d.Early), Likely: later(d.Likely), Late: later(d.Late)}, d.Late.Before(f.Now), true
}

// judge draws the findings and dates from curves and titrations.
func (f *Forecast) judge(in Input, data []sample, peak int) {
	last := data[len(data)-1]
	low, _ := in.likely()
	stands := peak < 0 && still(data)
	short := last.level+max(0.2, z80*last.u) < low
	stalled := stands && short && last.day >= patienceDays
	f.chances(float64(in.TargetGPer100ML))
	switch {
	case peak >= 0:
		f.judgeFall(data, peak)
	case stalled && last.level-data[0].level < leastFall:
		f.add(Stalled, "Stalled: at %.1f g/100 mL since the first titration, %.1f expected. Check warmth (16-27 °C), air through the cloth, live starter, and sulphite or too much alcohol in what went in.", last.level, low)
	case stalled:
		f.add(Stalled, "Stalled: no rise worth the name for two weeks, at %.1f g/100 mL, short of the %.1f expected. Check warmth, air and the film; or the alcohol is gone, lost to the air or less than reckoned: measure it.", last.level, low)
	case stands && !short:
		f.add(LevelledOff, "Levelled off at about %.1f g/100 mL. Move it on to maturing now, off the air: once the alcohol is gone, the acid can go too.", last.level)
	}
	f.judgeCeiling(data)
	if !f.Foresees() {
		f.Target, f.Plateau = DateRange{}, DateRange{}
		f.End, f.ChanceOfTarget = Band{}, 0 // of a rise that is over, or does not come
	}
	f.judgeTarget(float64(in.TargetGPer100ML), last)
	f.chooseFinish()
	if age := f.dayOf(f.Now) - last.day; age > oldDays {
		f.add(OldData, "The newest titration is %.0f days old. Titrate again before trusting this.", age)
	}
	if in.TempC != nil && (*in.TempC < 12 || *in.TempC > 34) {
		f.add(OutsideWarmth, "At %.0f °C vinegar bacteria hardly work; 16-27 °C is the usual range. The dates are rough.", float64(*in.TempC))
	}
	if w := f.Finish; !w.IsZero() && w.Late.Sub(w.Early).Hours()/24 > wideDays {
		f.add(WideDates, "Not enough data for a date: it may lie anywhere from %s to %s. Another titration in a week will narrow it.", w.Early.Format("2 Jan 2006"), w.Late.Format("2 Jan 2006"))
	}
}

// judgeFall tells of a fall since the titration at peak; -1 is none.
func (f *Forecast) judgeFall(data []sample, peak int) {
	if peak >= 0 {
		f.add(Falling, "Falling: from %.1f to %.1f g/100 mL. With the alcohol gone, vinegar bacteria can burn the acid itself (over-oxidised). Titrate once more; if it holds, fill to the brim, close without air and keep cool. Use the newest strength, not the highest.", data[peak].level, data[len(data)-1].level)
	}
}

// judgeCeiling tells of a newest titration that the recipe cannot have made.
func (f *Forecast) judgeCeiling(data []sample) {
	if len(data) == 0 || f.ceiling <= 0 {
		return
	}
	if last := data[len(data)-1]; last.level-2*last.u > f.ceiling {
		f.add(AboveCeiling, "The newest titration, %.1f g/100 mL, lies above the %.1f this recipe can make. Check the titration's base and sample volume, and the recipe; water lost to the air also raises it.", last.level, f.ceiling)
	}
}

func (f *Forecast) judgeTarget(target float64, last sample) {
	if target <= 0 {
		return
	}
	reached := last.level-z80*last.u >= target
	switch {
	case reached:
		f.add(TargetReached, "The newest titration lies above the target of %.1f g/100 mL.", target)
	case target >= f.ceiling:
		f.add(TargetUnlikely, "The target of %.1f g/100 mL lies at or above the ceiling of %.1f: this recipe cannot reach it. Add sugar before, or stronger liquid during, the work.", target, f.ceiling)
	case f.Has(Falling):
		f.add(TargetUnlikely, "While it falls, the target of %.1f g/100 mL comes no nearer.", target)
	case f.Has(Stalled):
		f.add(TargetUnlikely, "While it stands still, the target of %.1f g/100 mL comes no nearer.", target)
	case f.Foresees() && f.ChanceOfTarget < 0.5:
		f.add(TargetUnlikely, "The target of %.1f g/100 mL is unlikely to be reached: the jar should settle between %.1f and %.1f.", target, float64(f.End.LowGPer100ML), float64(f.End.HighGPer100ML))
	}
}

// chances fills the dates and the chance of the target from the curves.
func (f *Forecast) chances(target float64) {
	var reach, settle []float64
	for _, c := range f.curves {
		if day, ok := c.plateauDay(); ok {
			settle = append(settle, day)
		}
		if target <= 0 {
			continue
		}
		if day, ok := c.dayAt(target); ok {
			reach = append(reach, day)
		} else if target <= c.start {
			reach = append(reach, 0)
		}
	}
	f.Plateau = f.dates(settle)
	if target > 0 {
		f.ChanceOfTarget = float64(len(reach)) / float64(len(f.curves))
		f.Target = f.dates(reach)
	}
}

// chooseFinish picks target or plateau. With the target in hand what is left to
// wait for is the end of the rise, and of the alcohol.
func (f *Forecast) chooseFinish() {
	switch {
	case f.ChanceOfTarget >= 0.5 && !f.Target.IsZero() && !f.Has(TargetReached):
		f.Finish, f.FinishKind = f.Target, FinishTarget
	case !f.Plateau.IsZero():
		f.Finish, f.FinishKind = f.Plateau, FinishPlateau
	}
}

const leastDates = 20 // fewer curves than this make no quantiles

// dates is the 80 % interval of days, as dates.
func (f Forecast) dates(days []float64) DateRange {
	if len(days) < leastDates {
		return DateRange{}
	}
	low, mid, high := quantiles(days)
	return DateRange{Early: f.timeOf(low), Likely: f.timeOf(mid), Late: f.timeOf(high)}
}

const farthestDay = 20000.0 // keeps dates within what a calendar shows

func (f Forecast) timeOf(day float64) time.Time {
	day = min(farthestDay, max(-farthestDay, day))
	return f.origin.Add(time.Duration(day * 24 * float64(time.Hour)))
}

func (f Forecast) dayOf(at time.Time) float64 { return at.Sub(f.origin).Hours() / 24 }

// Band is the 80 % interval of the true acidity at a time, past or future. It
// never lies above the ceiling. ok is false when there was not enough data.
func (f Forecast) Band(at time.Time) (b Band, ok bool) {
	if !f.Enough() {
		return Band{}, false
	}
	day := f.dayOf(at)
	if day > f.fallFrom {
		return bandOf(f.declines, func(d decline) float64 { return min(f.ceiling, max(0, d.at(day))) }), true
	}
	return bandOf(f.curves, func(c curve) float64 { return c.at(day) }), true
}

// bandOf takes the band of a value over equally likely draws.
func bandOf[T any](draws []T, value func(T) float64) Band {
	values := make([]float64, len(draws))
	for i, d := range draws {
		values[i] = value(d)
	}
	low, mid, high := quantiles(values)
	return Band{chem.GramsPer100ML(low), chem.GramsPer100ML(mid), chem.GramsPer100ML(high)}
}

// quantiles sorts values and returns their 10, 50 and 90 % points.
func quantiles(values []float64) (low, mid, high float64) {
	slices.Sort(values)
	pick := func(share float64) float64 { return values[int(share*float64(len(values)-1)+0.5)] }
	return pick(0.1), pick(0.5), pick(0.9)
}
