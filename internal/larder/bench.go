package larder

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

// BenchKind names what an entry in the bench book holds.
type BenchKind string

// The kinds of bench entry.
const (
	KindCalibration BenchKind = "calibration"
	KindBase        BenchKind = "base"
	KindControl     BenchKind = "control"
)

// BenchBody is exactly one of MeterCalibration, BaseCheck or ControlSample.
type BenchBody interface {
	BenchKind() BenchKind
	// Name is the meter or base it is about.
	Name() string
	check() Problems
}

// MeterCalibration is two or three buffers as one meter showed them.
type MeterCalibration struct {
	Meter string `json:"meter"`
	chem.CalibrationInput
	// Adjusted tells that the meter was set by these buffers afterwards, so
	// that what it shows since is corrected already.
	Adjusted bool `json:"adjusted,omitempty"`
}

// BenchKind is KindCalibration.
func (MeterCalibration) BenchKind() BenchKind { return KindCalibration }

// Name is the meter's.
func (m MeterCalibration) Name() string { return m.Meter }

func (m MeterCalibration) check() Problems {
	var p Problems
	checkText(&p, "meter", "The meter's name", m.Meter, MaxNameRunes, true)
	if _, err := m.Result(); err != nil {
		p.AddError("", err)
	}
	return p
}

// BaseCheck says how strong the titration base is: by its bottle when it was
// bought or made up, or found against phthalate or a bought vinegar.
type BaseCheck struct {
	Base          string                `json:"base"`
	StatedMolPerL chem.MolPerLitre      `json:"stated_mol_per_l,omitempty"` // fresh from its maker, sealed until now
	Against       *chem.Standardisation `json:"against,omitempty"`
}

// BenchKind is KindBase.
func (BaseCheck) BenchKind() BenchKind { return KindBase }

// Name is the base's.
func (b BaseCheck) Name() string { return b.Base }

// Strength is the concentration found or stated, with its standard uncertainty.
// A bottle's statement is taken as good to 1 %: common practice, no published source.
func (b BaseCheck) Strength() (molPerL, standardU chem.MolPerLitre, err error) {
	if b.Against == nil {
		return b.StatedMolPerL, b.StatedMolPerL * 0.01, nil
	}
	r, err := b.Against.Result()
	return r.BaseMolPerL, r.StandardUMolPerL, err
}

func (b BaseCheck) check() Problems {
	var p Problems
	checkText(&p, "base", "The name of the base", b.Base, MaxNameRunes, true)
	switch {
	case b.Against != nil:
		if _, err := b.Against.Result(); err != nil {
			p.AddError("", err)
		}
	case !(b.StatedMolPerL >= 0.005 && b.StatedMolPerL <= 2):
		p.Add("stated_mol_per_l", "A base for titration has between 0.005 and 2 mol/L; 0.1 is usual.")
	}
	return p
}

// ControlSample is a reading of the bought 5 % vinegar that each measuring
// round begins with, to see whether the meter drifts.
type ControlSample struct {
	Meter string       `json:"meter"`
	PH    chem.PH      `json:"ph"`
	TempC chem.Celsius `json:"temp_c"`
}

// BenchKind is KindControl.
func (ControlSample) BenchKind() BenchKind { return KindControl }

// Name is the meter's.
func (c ControlSample) Name() string { return c.Meter }

func (c ControlSample) check() Problems {
	var p Problems
	checkText(&p, "meter", "The meter's name", c.Meter, MaxNameRunes, true)
	checkOptional(&p, "ph", &c.PH, chem.CheckPH)
	checkOptional(&p, "temp_c", &c.TempC, chem.CheckCelsius)
	return p
}

// NewBench is one line that a maker adds to the bench book.
type NewBench struct {
	When When // zero: now
	Note string
	Body BenchBody
}

// Check says all that is wrong with n at the instant now.
func (n NewBench) Check(now time.Time) error {
	var p Problems
	p.AddError("when", n.When.Check("when", now))
	checkText(&p, "note", "The note", n.Note, MaxNoteRunes, false)
	if n.Body == nil {
		p.Add("", "There is nothing to save yet: fill in at least one field.")
		return p
	}
	return append(p, n.Body.check()...).Err()
}

// BenchEntry is one line of the bench book as recorded.
type BenchEntry struct {
	Seq        int64     `json:"seq"`
	ID         uuid.UUID `json:"id"`
	When       When      `json:"when"`
	RecordedAt time.Time `json:"recorded_at"`
	By         string    `json:"by,omitempty"`
	Note       string    `json:"note,omitempty"`
	Kind       BenchKind `json:"kind"`
	Body       BenchBody `json:"body"`
	Struck     bool      `json:"struck,omitempty"`
}

// DecodeBench reads the JSON form of a bench body of that kind.
func DecodeBench(kind BenchKind, data []byte) (BenchBody, error) {
	var err error
	switch kind {
	case KindCalibration:
		var b MeterCalibration
		err = json.Unmarshal(data, &b)
		return b, err
	case KindBase:
		var b BaseCheck
		err = json.Unmarshal(data, &b)
		return b, err
	case KindControl:
		var b ControlSample
		err = json.Unmarshal(data, &b)
		return b, err
	}
	return nil, fmt.Errorf("larder: no bench entry is of kind %q", kind)
}

// roomC is the temperature assumed of a reading without one; vinegar's pH hardly
// moves with it, the electrode's slope by 0.3 % a degree.
const roomC chem.Celsius = 20

// Corrected is r with the calibration then in force attached: what the meter
// showed stays, the corrected value is computed and kept beside it, and a
// reading without a calibration in time is marked. maxAge 0 is the usual one.
func (r Reading) Corrected(calibration *BenchEntry, at time.Time, maxAge time.Duration) Reading {
	r.CalibrationID, r.CorrectedPH, r.PHMark = uuid.Nil, nil, ""
	if r.PH == nil {
		return r
	}
	if calibration == nil {
		r.PHMark = chem.CalibrationAgeMark(time.Time{}, at, maxAge)
		return r
	}
	r.CalibrationID = calibration.ID
	made := calibration.When.At
	if made.After(at) {
		made = at // one of both is dated with the day alone, which stands at noon
	}
	r.PHMark = chem.CalibrationAgeMark(made, at, maxAge)
	m, ok := calibration.Body.(MeterCalibration)
	if !ok {
		return r
	}
	c, err := m.Result()
	if err != nil {
		return r
	}
	temp := roomC
	if r.TempC != nil {
		temp = *r.TempC
	}
	fixed, err := c.Correct(*r.PH, temp)
	switch {
	case err != nil:
		r.PHMark = strings.TrimSpace(r.PHMark + " " + err.Error())
	case m.Adjusted:
		// What the meter shows is corrected already, so its own figure is the
		// one to hold against the buffers.
		r.CorrectedPH, fixed.Note = new(*r.PH), ""
		if *r.PH < c.LowestPH || *r.PH > c.HighestPH {
			fixed.Note = fmt.Sprintf("pH %.2f lies outside the buffers %.2f to %.2f that set the meter, so take it as rough.", float64(*r.PH), float64(c.LowestPH), float64(c.HighestPH))
		}
	default:
		r.CorrectedPH = new(chem.PH(math.Round(float64(fixed.PH)*1000) / 1000))
	}
	if err == nil && fixed.Note != "" {
		r.PHMark = strings.TrimSpace(r.PHMark + " " + fixed.Note)
	}
	return r
}

// baseAgrees is how far the typed strength may lie from the checked one for the
// check to be taken as this base's.
const baseAgrees = 0.1

// WithBase is t with the base's newest check attached: its uncertainty and age,
// and its strength when none was typed. What was typed stays.
func (t Titration) WithBase(check *BenchEntry, at time.Time, maxAgeDays int) Titration {
	t.BaseID = uuid.Nil
	if check == nil {
		return t
	}
	b, ok := check.Body.(BaseCheck)
	if !ok {
		return t
	}
	strength, u, err := b.Strength()
	if err != nil {
		return t
	}
	if t.BaseMolPerL == 0 {
		t.BaseMolPerL = strength
	}
	if math.Abs(float64(t.BaseMolPerL-strength)) > baseAgrees*float64(strength) {
		return t
	}
	t.BaseID, t.BaseMaxAgeDays = check.ID, maxAgeDays
	if t.BaseStdUMolPerL == 0 {
		t.BaseStdUMolPerL = u
	}
	if t.BaseCheckedDaysAgo == nil {
		days := int(math.Round(at.Sub(check.When.At).Hours() / 24))
		t.BaseCheckedDaysAgo = new(max(0, days))
	}
	return t
}
