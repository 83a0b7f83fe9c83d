package chem

import (
	"fmt"
	"math"
)

// DefaultBaseline is how many first readings of the control sample set the chart's limits.
const DefaultBaseline = 8

// meterDigitPH is the last digit of a kitchen meter; a chart's s is never under its rectangular
// standard uncertainty (GUM 4.3.7), or eight equal readings would make limits of no width.
const meterDigitPH = 0.01

// driftRun is how many readings in a row on one side of the mean count as drift: NIST/SEMATECH
// e-Handbook of Statistical Methods 6.3.2, Western Electric rules.
const driftRun = 8

// ControlChart is readings of the control sample (bought 5 % vinegar), oldest first.
type ControlChart struct {
	ReadingsPH    []PH `json:"readings_ph"`
	BaselineCount int  `json:"baseline_count,omitempty"` // 0 means DefaultBaseline
}

// ControlResult is the chart's limits, mean ± 3 s, and the readings that break its rules.
type ControlResult struct {
	MeanPH    PH            `json:"mean_ph"`
	SDPH      float64       `json:"standard_deviation_ph"`
	LowerPH   PH            `json:"lower_ph"`
	UpperPH   PH            `json:"upper_ph"`
	Flags     []ControlFlag `json:"flags,omitempty"`
	InControl bool          `json:"in_control"` // the newest reading breaks no rule
	Explain   Explain       `json:"explain"`
}

// ControlFlag is one reading that broke a rule.
type ControlFlag struct {
	Index int    `json:"index"` // into ReadingsPH
	Why   string `json:"why"`
}

// Result sets the limits from the first readings and judges every later one.
func (c ControlChart) Result() (ControlResult, error) {
	if c.BaselineCount == 0 {
		c.BaselineCount = DefaultBaseline
	}
	if err := check("baseline_count", float64(c.BaselineCount)); err != nil {
		return ControlResult{}, err
	}
	if len(c.ReadingsPH) < c.BaselineCount {
		return ControlResult{}, fieldErr("readings_ph", "The chart needs %d readings of the control sample, it has %d; go on measuring it each round.", c.BaselineCount, len(c.ReadingsPH))
	}
	var base []float64
	for i, v := range c.ReadingsPH {
		if err := check("ph", float64(v)); err != nil {
			return ControlResult{}, fieldErr("readings_ph", "Reading %d: %s", i+1, err.Error())
		}
		if i < c.BaselineCount {
			base = append(base, float64(v))
		}
	}
	mean, s := Mean(base), math.Max(StdDev(base), meterDigitPH/2/math.Sqrt(3))
	r := ControlResult{MeanPH: PH(mean), SDPH: s, LowerPH: PH(mean - 3*s), UpperPH: PH(mean + 3*s)}
	run, side := 0, 0.0
	for i, v := range c.ReadingsPH {
		d := float64(v) - mean
		sign := 0.0
		if d != 0 {
			sign = math.Copysign(1, d)
		}
		if sign == side && sign != 0 {
			run++
		} else {
			run, side = 1, sign
		}
		if i < c.BaselineCount {
			continue
		}
		switch {
		case math.Abs(d) > 3*s:
			r.Flags = append(r.Flags, ControlFlag{i, fmt.Sprintf("pH %.2f is more than 3 s from the mean %.2f: calibrate, and take a fresh control sample.", float64(v), mean)})
		case side != 0 && run >= driftRun:
			r.Flags = append(r.Flags, ControlFlag{i, fmt.Sprintf("%d readings in a row lie on one side of the mean %.2f: the meter drifts, or the control sample changes.", run, mean)})
		}
	}
	r.InControl = len(r.Flags) == 0 || r.Flags[len(r.Flags)-1].Index != len(c.ReadingsPH)-1
	r.Explain = Explain{
		Formula: "limits = mean ± 3 s of the first readings; also flagged: 8 in a row on one side",
		Values:  []Given{{"mean", mean, "pH"}, {"s", s, "pH"}, {"first readings used", float64(c.BaselineCount), ""}},
		Source:  "Shewhart chart with two of the Western Electric rules: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.",
		Limits:  "At least 5 first readings, of the same control sample at about the same temperature.",
	}
	return r, nil
}
