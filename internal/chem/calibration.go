package chem

import (
	"fmt"
	"math"
	"sort"
	"time"
)

// SI constants, exact since 2019, in J/(mol K) and C/mol.
const (
	gasConstant = 8.314462618
	faraday     = 96485.33212
)

// NernstSlope is the ideal electrode slope in mV per pH at t, ln(10) R T / F.
func NernstSlope(t Celsius) (float64, error) {
	if err := check("nernst.temperature_c", float64(t)); err != nil {
		return 0, err
	}
	return nernst(t), nil
}

func nernst(t Celsius) float64 {
	return 1000 * math.Ln10 * gasConstant * (float64(t) + kelvinOffset) / faraday
}

// Acceptance of an electrode: USP general chapter <791>, slope 90.0 to 105.0 %, offset 0 ± 30 mV.
const (
	SlopeLowPercent  = 90.0
	SlopeHighPercent = 105.0
	OffsetLimitMV    = 30.0
	// SlopeTiredPercent is where an electrode should be cleaned: common practice, no published source.
	SlopeTiredPercent = 95.0
	// ThirdBufferTolerance is how closely a third buffer must read to the line through the others, pH
	// (a laboratory's study notes on pH).
	ThirdBufferTolerance = 0.1
	// CautiousSlopeLowPercent is the wider limit of one laboratory handout, not used to pass.
	CautiousSlopeLowPercent = 85.0

	minBufferSpan     = 1.0 // pH; closer buffers give no slope
	adviseBufferSpan  = 2.0 // common practice, no published source; 3 in some notes, which vinegar's 1.68 and 4.01 miss
	maxExtrapolatedPH = 3.0
)

// DefaultCalibrationMaxAge is how old a calibration may be: once a day or each session (AOAC 981.12
// practice). Settable.
const DefaultCalibrationMaxAge = 24 * time.Hour

// CalibrationPoint is one buffer as the meter showed it: in mV, or in pH on a meter that shows no mV
// (before it is adjusted). BufferPH set means a buffer not in the tables, by its bottle.
type CalibrationPoint struct {
	Buffer       Buffer   `json:"buffer,omitempty"`
	BufferPH     *PH      `json:"buffer_ph,omitempty"`
	TemperatureC Celsius  `json:"temperature_c"`
	MV           *float64 `json:"mv,omitempty"`
	ShownPH      *PH      `json:"shown_ph,omitempty"`
}

// CalibrationInput is two or three buffers.
type CalibrationInput struct {
	Points []CalibrationPoint `json:"points"`
}

// Calibration is an electrode's line, E = offset − slope × Nernst(t) × (pH − 7). Its zero value is no
// calibration.
type Calibration struct {
	SlopePercent float64  `json:"slope_percent"` // of Nernst
	OffsetMV     float64  `json:"offset_mv"`     // at pH 7
	LowestPH     PH       `json:"lowest_buffer_ph"`
	HighestPH    PH       `json:"highest_buffer_ph"`
	Passed       bool     `json:"passed"`
	Failures     []string `json:"failures,omitempty"`
	Notes        []string `json:"notes,omitempty"`
	Explain      Explain  `json:"explain"`
}

// point is a buffer on the line's scale: x = −Nernst(t) × (pH − 7), so E = offset + slope × x.
type point struct{ x, mv, ph, k float64 }

func (p CalibrationPoint) resolve(n int) (point, error) {
	at := func(err error) error {
		fe := err.(*FieldError)
		return fieldErr(fe.Field, "Buffer %d: %s", n, fe.Message)
	}
	if err := check("calibration.temperature_c", float64(p.TemperatureC)); err != nil {
		return point{}, at(err)
	}
	var ph PH
	switch {
	case p.BufferPH != nil && p.Buffer != "":
		return point{}, fieldErr("buffer", "Buffer %d: name the buffer or type its pH, not both.", n)
	case p.BufferPH != nil:
		if err := check("buffer_ph", float64(*p.BufferPH)); err != nil {
			return point{}, at(err)
		}
		ph = *p.BufferPH
	default:
		var err error
		if ph, err = p.Buffer.PH(p.TemperatureC); err != nil {
			return point{}, at(err)
		}
	}
	k := nernst(p.TemperatureC)
	switch {
	case (p.MV == nil) == (p.ShownPH == nil):
		return point{}, fieldErr("mv", "Buffer %d: type what the meter showed, either in mV or in pH.", n)
	case p.MV != nil:
		if err := check("mv", *p.MV); err != nil {
			return point{}, at(err)
		}
		return point{-k * float64(ph-7), *p.MV, float64(ph), k}, nil
	}
	if err := check("ph", float64(*p.ShownPH)); err != nil {
		fe := err.(*FieldError)
		return point{}, fieldErr("shown_ph", "Buffer %d: %s", n, fe.Message)
	}
	// A meter shows 7 − E/Nernst until it is adjusted.
	return point{-k * float64(ph-7), k * (7 - float64(*p.ShownPH)), float64(ph), k}, nil
}

// Result fits the line and judges it. A calibration that fails is still returned, with Passed false
// and why; only impossible input is an error.
func (c CalibrationInput) Result() (Calibration, error) {
	if len(c.Points) < 2 || len(c.Points) > 3 {
		return Calibration{}, fieldErr("points", "Calibrate with two or three buffers; for vinegar 1.68 (or 2.00) and 4.01, and 7 as a third.")
	}
	var ps []point
	for i, p := range c.Points {
		r, err := p.resolve(i + 1)
		if err != nil {
			return Calibration{}, err
		}
		ps = append(ps, r)
	}
	sort.Slice(ps, func(i, j int) bool { return ps[i].ph < ps[j].ph })
	lo, hi := ps[0], ps[len(ps)-1]
	if hi.ph-lo.ph < minBufferSpan {
		return Calibration{}, fieldErr("points", "The buffers are only %.2f pH apart, too close to show a slope; use two that are 2 to 3 apart.", hi.ph-lo.ph)
	}
	var xs, es []float64
	for _, p := range ps {
		xs, es = append(xs, p.x), append(es, p.mv)
	}
	line, err := FitLine(xs, es)
	if err != nil {
		return Calibration{}, err
	}
	cal := Calibration{SlopePercent: 100 * line.Slope, OffsetMV: line.Intercept, LowestPH: PH(lo.ph), HighestPH: PH(hi.ph)}
	cal.judge(ps)
	cal.Explain = c.explain(cal, ps)
	return cal, nil
}

func (cal *Calibration) judge(ps []point) {
	fail := func(format string, a ...any) { cal.Failures = append(cal.Failures, fmt.Sprintf(format, a...)) }
	if cal.SlopePercent < SlopeLowPercent || cal.SlopePercent > SlopeHighPercent {
		fail("The slope is %.1f %% of the ideal, outside %g to %g %%: check that the buffers were not swapped, take fresh ones, clean the electrode, or replace it.", cal.SlopePercent, SlopeLowPercent, SlopeHighPercent)
	} else if cal.SlopePercent < SlopeTiredPercent {
		cal.Notes = append(cal.Notes, fmt.Sprintf("The slope is %.1f %% of the ideal: it passes, but clean the electrode soon.", cal.SlopePercent))
	}
	if math.Abs(cal.OffsetMV) > OffsetLimitMV {
		fail("The offset at pH 7 is %.1f mV, outside ±%g mV: clean the electrode or replace it.", cal.OffsetMV, OffsetLimitMV)
	}
	if len(ps) == 3 {
		a, m, b := ps[0], ps[1], ps[2]
		slope := (b.mv - a.mv) / (b.x - a.x)
		off := math.Abs(m.mv-(a.mv+slope*(m.x-a.x))) / math.Abs(slope*m.k)
		if !(off <= ThirdBufferTolerance) {
			fail("The middle buffer reads %.2f pH off the line of the other two, more than %g: rinse, take fresh buffers and repeat.", off, ThirdBufferTolerance)
		}
	}
	if ps[len(ps)-1].ph-ps[0].ph < adviseBufferSpan {
		cal.Notes = append(cal.Notes, "The buffers are less than 2 pH apart, so the slope is rough.")
	}
	if ps[0].ph > 2.4 {
		cal.Notes = append(cal.Notes, fmt.Sprintf("The lowest buffer is %.2f, but vinegar lies between 2.4 and 3.4: buffers 4 and 7 do not bracket it, add 1.68 or 2.00.", ps[0].ph))
	}
	cal.Passed = len(cal.Failures) == 0
}

func (c CalibrationInput) explain(cal Calibration, ps []point) Explain {
	e := Explain{
		Formula: "E = offset − slope × k × (pH − 7), k = ln(10) R T ÷ F; the line of least squares through the buffers",
		Source:  "Nernst's equation with the SI constants; limits of USP <791>: slope 90 to 105 %, offset 0 ± 30 mV. Buffer values: NIST and DIN 19266 standards, Hetzer et al. 1977 for phthalate, a technical buffer table.",
		Limits:  "Buffers at 0 to 50 °C, at least 1 pH apart; readings up to 3 pH beyond the buffers.",
	}
	for i, p := range ps {
		e.Values = append(e.Values, Given{fmt.Sprintf("buffer %d", i+1), p.ph, "pH"}, Given{fmt.Sprintf("reading %d", i+1), p.mv, "mV"}, Given{fmt.Sprintf("k %d", i+1), p.k, "mV/pH"})
	}
	return e
}

// CorrectedPH is a reading with the calibration applied.
type CorrectedPH struct {
	PH        PH     `json:"ph"`
	ShownPH   PH     `json:"shown_ph"`
	Bracketed bool   `json:"bracketed"` // the buffers lie on both sides
	Note      string `json:"note,omitempty"`
}

// Correct turns what the meter showed, in pH at t, into the corrected pH. A calibration that failed
// corrects nothing and is an error.
func (cal Calibration) Correct(shown PH, t Celsius) (CorrectedPH, error) {
	if err := check("ph", float64(shown)); err != nil {
		return CorrectedPH{}, err
	}
	if err := check("nernst.temperature_c", float64(t)); err != nil {
		return CorrectedPH{}, err
	}
	return cal.correct(nernst(t)*(7-float64(shown)), shown, t)
}

// CorrectMV turns an electrode's mV at t into a pH.
func (cal Calibration) CorrectMV(mv float64, t Celsius) (CorrectedPH, error) {
	if err := checkAll(in{"mv", mv}, in{"nernst.temperature_c", float64(t)}); err != nil {
		return CorrectedPH{}, err
	}
	return cal.correct(mv, PH(7-mv/nernst(t)), t)
}

func (cal Calibration) correct(mv float64, shown PH, t Celsius) (CorrectedPH, error) {
	if !cal.Passed {
		return CorrectedPH{}, fieldErr("calibration", "That calibration did not pass, so it corrects nothing; calibrate again.")
	}
	ph := PH(7 - (mv-cal.OffsetMV)/(cal.SlopePercent/100*nernst(t)))
	r := CorrectedPH{PH: ph, ShownPH: shown, Bracketed: ph >= cal.LowestPH && ph <= cal.HighestPH}
	beyond := math.Max(float64(cal.LowestPH-ph), float64(ph-cal.HighestPH))
	if beyond > maxExtrapolatedPH || ph < 0 || ph > 14 {
		return CorrectedPH{}, fieldErr("ph", "pH %.2f lies too far from the buffers (%.2f to %.2f); calibrate with buffers nearer to it.", float64(ph), float64(cal.LowestPH), float64(cal.HighestPH))
	}
	if !r.Bracketed {
		r.Note = fmt.Sprintf("pH %.2f lies %.1f outside the buffers %.2f to %.2f, so each 1 %% of slope error costs %.3f pH.", float64(ph), beyond, float64(cal.LowestPH), float64(cal.HighestPH), beyond/100)
	}
	return r, nil
}

// CalibrationAgeMark is the sentence that marks a reading taken without a calibration, or with one
// older than maxAge (0: DefaultCalibrationMaxAge); "" when it was in time.
func CalibrationAgeMark(calibrated, read time.Time, maxAge time.Duration) string {
	if maxAge <= 0 {
		maxAge = DefaultCalibrationMaxAge
	}
	switch age := read.Sub(calibrated); {
	case calibrated.IsZero():
		return "The meter had no calibration when this was read: take the pH as a rough value."
	case age < 0:
		return "The calibration was made after this reading, so it does not apply to it."
	case age > maxAge:
		return fmt.Sprintf("The meter was last calibrated %s before this reading, more than %s: take the pH as a rough value.", ago(age), ago(maxAge))
	}
	return ""
}

func ago(d time.Duration) string {
	if d < 48*time.Hour {
		return fmt.Sprintf("%.0f hours", d.Hours())
	}
	return fmt.Sprintf("%.0f days", d.Hours()/24)
}
