package larder

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

// Kind names what an entry holds.
type Kind string

// The kinds of entry.
const (
	KindReading   Kind = "reading"
	KindTitration Kind = "titration"
	KindStage     Kind = "stage"
	KindAction    Kind = "action"
	KindTransfer  Kind = "transfer"
	KindHold      Kind = "hold"
	KindNote      Kind = "note"
	KindPhoto     Kind = "photo"
	KindStrike    Kind = "strike"
)

// Body is what an entry holds: exactly one of Reading, Titration, StageChange,
// Action, Transfer, Hold, Note, Photo or Strike.
type Body interface {
	Kind() Kind
	// check says what is wrong with the body for a jar in that state.
	check(jar Jar) Problems
}

// NewEntry is one line that a maker adds to a jar's log.
type NewEntry struct {
	When When // zero: now
	Note string
	Body Body
}

// Check says all that is wrong with n for this jar at the instant now.
func (n NewEntry) Check(jar Jar, now time.Time) error {
	var p Problems
	p.AddError("when", n.When.Check("when", now))
	_, isNote := n.Body.(Note)
	checkText(&p, "note", "The note", n.Note, MaxNoteRunes, isNote)
	if n.Body == nil {
		p.Add("", "There is nothing to save yet: fill in at least one field.")
		return p.Err()
	}
	if !jar.State.Stage.Live() && !afterwards(n.Body.Kind(), jar.State.Stage) {
		p.Add("", retired(jar.State.Stage))
		return p.Err()
	}
	_, moves := n.Body.(StageChange)
	switch {
	case n.When.IsZero() || jar.State.StartedAt.IsZero():
	case n.When.Before(jar.State.StartedAt):
		p.Add("when", "That is before this jar was started. Check the date.")
	case moves && n.When.Before(jar.State.StageSince):
		p.Add("when", "That is before this jar became "+string(jar.State.Stage)+". Check the date.")
	}
	if b, ok := n.Body.(Transfer); ok {
		return append(p, b.checkAt(jar, n.When)...).Err()
	}
	return append(p, n.Body.check(jar)...).Err()
}

// afterwards tells what may still be logged on a retired jar. A hold may: what
// was wrong with an emptied jar is wrong with all that came from it. A photo may:
// it shows what was wrong.
func afterwards(k Kind, s Stage) bool {
	return k == KindNote || k == KindStrike || ((k == KindHold || k == KindPhoto) && s != Void)
}

func retired(s Stage) string {
	if s == Void {
		return "The act that made this jar was struck, so the jar never was; only notes can be added."
	}
	return "This jar is " + string(s) + " and its tag is retired, so only notes, photos and holds can be added. If the " + string(s) + " entry is a mistake, strike it first."
}

// CheckByHand refuses the bodies that only other acts write: a strike, a photo,
// and what a jar gave or was bottled of, since each has another side that must be
// written with it.
func CheckByHand(b Body) error {
	switch b := b.(type) {
	case Strike:
		return Refuse("", "An entry is struck by striking it, not by logging a strike.")
	case Photo:
		return Refuse("photo", "A photo is logged by sending its picture.")
	case StageChange:
		if b.Inherit != nil {
			return Refuse("inherit", "What a new jar inherits is taken from the record, not typed.")
		}
	case Transfer:
		if b.What == Gave {
			return Refuse("transfer", "What a jar gave is logged on the jar that got it.")
		}
		if b.What.Fills() {
			return Refuse("transfer", "A new jar is filled by splitting, moving or blending, so that both sides are recorded.")
		}
		if b.What == Bottled {
			return Refuse("transfer", "Bottling is logged by bottling, so that the lot and its bottles are recorded too.")
		}
	}
	return nil
}

// Entry is one line of a jar's log as recorded. It never changes; when a later
// one strikes it, StruckBy names that one.
type Entry struct {
	Seq        int64     `json:"seq"` // the order of recording
	ID         uuid.UUID `json:"id"`
	Act        uuid.UUID `json:"act"` // the act that wrote it; one act may write into several jars
	Jar        Tag       `json:"jar"`
	When       When      `json:"when"`
	RecordedAt time.Time `json:"recorded_at"`
	By         string    `json:"by,omitempty"`
	Note       string    `json:"note,omitempty"`
	Kind       Kind      `json:"kind"`
	Body       Body      `json:"body"`
	StruckBy   uuid.UUID `json:"struck_by,omitzero"`
}

// Struck tells that a later entry took this one back.
func (e Entry) Struck() bool { return e.StruckBy != uuid.Nil }

// Reading holds what instruments showed; at least one value is set.
type Reading struct {
	PH         *chem.PH              `json:"ph,omitempty"`
	TempC      *chem.Celsius         `json:"temp_c,omitempty"`
	SG         *chem.SpecificGravity `json:"specific_gravity,omitempty"`
	Brix       *chem.DegreesBrix     `json:"brix,omitempty"`
	ABV        *chem.PercentVol      `json:"abv_percent_vol,omitempty"`
	VolumeML   *chem.Millilitres     `json:"volume_ml,omitempty"`
	Instrument string                `json:"instrument,omitempty"`

	// What the store attaches when the reading is recorded; see Corrected.
	CalibrationID uuid.UUID `json:"calibration,omitzero"`
	CorrectedPH   *chem.PH  `json:"corrected_ph,omitempty"` // computed
	PHMark        string    `json:"ph_mark,omitempty"`      // why the pH is rough; empty when it is not
}

// Kind is KindReading.
func (Reading) Kind() Kind { return KindReading }

// Blank tells that no value is set.
func (r Reading) Blank() bool {
	return r.PH == nil && r.TempC == nil && r.SG == nil && r.Brix == nil && r.ABV == nil && r.VolumeML == nil
}

func (r Reading) check(jar Jar) Problems {
	var p Problems
	if r.Blank() {
		p.Add("", "There is nothing to save yet: fill in at least one field.")
	}
	checkOptional(&p, "ph", r.PH, chem.CheckPH)
	checkOptional(&p, "temp_c", r.TempC, chem.CheckCelsius)
	checkOptional(&p, "specific_gravity", r.SG, chem.CheckGravity)
	checkOptional(&p, "brix", r.Brix, chem.CheckBrix)
	checkOptional(&p, "abv_percent_vol", r.ABV, chem.CheckABV)
	checkHeld(&p, "volume_ml", r.VolumeML, jar)
	checkText(&p, "instrument", "The instrument's name", r.Instrument, MaxNameRunes, false)
	return p
}

func checkOptional[T any](p *Problems, field string, value *T, check func(T) error) {
	if value == nil {
		return
	}
	if err := check(*value); err != nil {
		p.Add(field, err.Error())
	}
}

// checkHeld refuses a volume that the jar cannot hold.
func checkHeld(p *Problems, field string, volume *chem.Millilitres, jar Jar) {
	switch {
	case volume == nil:
	case !(*volume > 0):
		p.Add(field, "A volume is more than nothing. If the jar is empty, move it to the stage empty.")
	case *volume > jar.SizeML:
		p.Add(field, fmt.Sprintf("This jar holds %s at most; %s does not fit.", chem.FormatVolume(jar.SizeML, chem.Metric), chem.FormatVolume(*volume, chem.Metric)))
	}
}

// Titration is a measurement of acidity.
type Titration struct {
	chem.Titration
	EndpointPH *chem.PH  `json:"endpoint_ph,omitempty"` // when titrated to a meter's reading
	Instrument string    `json:"instrument,omitempty"`
	BaseName   string    `json:"base,omitempty"`      // which bottle of base; empty: the one checked last
	BaseID     uuid.UUID `json:"base_check,omitzero"` // its check in force, attached by the store
}

// Kind is KindTitration.
func (Titration) Kind() Kind { return KindTitration }

func (t Titration) check(Jar) Problems {
	var p Problems
	if _, err := t.Result(); err != nil {
		p.AddError("", err)
	}
	checkOptional(&p, "endpoint_ph", t.EndpointPH, chem.CheckPH)
	checkText(&p, "instrument", "The instrument's name", t.Instrument, MaxNameRunes, false)
	return p
}

// StageChange moves a jar to another stage.
type StageChange struct {
	From     Stage             `json:"from,omitempty"` // empty for the first
	To       Stage             `json:"to"`
	VolumeML *chem.Millilitres `json:"volume_ml,omitempty"` // liquid after the move, before any starter
	// VolumeFromFill tells that VolumeML was not measured at the move but taken from
	// the jar's fill and what was poured since; written by the store.
	VolumeFromFill bool     `json:"volume_from_fill,omitempty"`
	Starter        *Feed    `json:"starter,omitempty"`
	Reason         string   `json:"reason,omitempty"`
	Inherit        *Inherit `json:"inherit,omitempty"` // first entry of a jar filled from others; written by the store
}

// Kind is KindStage.
func (StageChange) Kind() Kind { return KindStage }

// WithFill is s with the volume that the batch and the jar's state tell, where it
// asks for one, none was given and nothing is strained.
func (s StageChange) WithFill(b Batch, state State) StageChange {
	s.VolumeFromFill = false
	move, err := FindMove(state.Stage, s.To)
	if err != nil || !move.NeedsVolume || s.VolumeML != nil || state.Starter != "" {
		return s
	}
	s.VolumeML = b.VolumeFromFill(state)
	s.VolumeFromFill = s.VolumeML != nil
	return s
}

func (s StageChange) check(jar Jar) Problems {
	var p Problems
	move, err := FindMove(jar.State.Stage, s.To)
	if err != nil {
		p.AddError("stage", err)
		return p
	}
	checkHeld(&p, "volume_ml", s.VolumeML, jar)
	checkText(&p, "reason", "The reason", s.Reason, MaxNoteRunes, false)
	if move.NeedsReason && s.Reason == "" {
		what := "Moving a jar from " + string(move.From) + " to " + string(move.To)
		p.Add("reason", what+" is unusual: say why, so that the history stays honest.")
	}
	// Where a starter is in, the liquid was poured and counted before.
	if move.NeedsVolume && s.VolumeML == nil && (jar.State.Starter == "" || jar.State.VolumeML == nil) {
		p.Add("volume_ml", "Say how much liquid there is after straining.")
	}
	if move.NeedsStarter && s.Starter == nil && jar.State.Starter == "" {
		p.Add("starter", "Say where the starter came from: a jar, a bought live vinegar, or none (left to the air).")
	}
	if s.Starter != nil {
		if s.To != Acetic {
			p.Add("starter", "A starter goes in when a jar becomes acetic.")
		}
		p = append(p, s.Starter.check("starter", jar, s.VolumeML)...)
	}
	return p
}

// ActionKind is something done to a jar that moves no liquid in or out.
type ActionKind string

// The actions.
const (
	Stirred     ActionKind = "stirred"
	Strained    ActionKind = "strained"
	Tasted      ActionKind = "tasted"
	Skimmed     ActionKind = "skimmed"
	ClothChange ActionKind = "cloth changed"
	Filtered    ActionKind = "filtered"
	Pasteurised ActionKind = "pasteurised"
	MouldSeen   ActionKind = "mould seen"
	Shifted     ActionKind = "moved to another place"
	OtherAction ActionKind = "other"
)

// ActionKinds lists them in the order of the form.
func ActionKinds() []ActionKind {
	return []ActionKind{Stirred, Strained, Tasted, Skimmed, ClothChange, Filtered, Pasteurised, MouldSeen, Shifted, OtherAction}
}

// Action is something done to the jar.
type Action struct {
	What     ActionKind        `json:"what"`
	VolumeML *chem.Millilitres `json:"volume_ml,omitempty"` // strained: liquid left
	Place    string            `json:"place,omitempty"`     // moved: where to
	TempC    *chem.Celsius     `json:"temp_c,omitempty"`    // pasteurised
	Minutes  *float64          `json:"minutes,omitempty"`   // pasteurised
}

// Kind is KindAction.
func (Action) Kind() Kind { return KindAction }

func (a Action) check(jar Jar) Problems {
	var p Problems
	known := false
	for _, k := range ActionKinds() {
		known = known || k == a.What
	}
	if !known {
		p.Add("action", "Say what was done: stirred, strained, tasted, skimmed, cloth changed, filtered, pasteurised, mould seen, moved to another place, other.")
	}
	checkHeld(&p, "volume_ml", a.VolumeML, jar)
	checkOptional(&p, "temp_c", a.TempC, chem.CheckCelsius)
	if a.What == Strained && a.VolumeML == nil {
		p.Add("volume_ml", "Say how much liquid there is after straining.")
	}
	if a.What == Pasteurised {
		a.checkHeat(&p)
	}
	if a.What == Shifted && a.Place == "" {
		p.Add("place", "Say where the jar stands now.")
	}
	checkText(&p, "place", "The place", a.Place, MaxNameRunes, false)
	return p
}

// checkHeat asks for what the heating rests on: without it nobody can tell
// whether the vinegar was pasteurised.
func (a Action) checkHeat(p *Problems) {
	if a.TempC == nil {
		p.Add("temp_c", "Say how hot it was, in the middle of the liquid.")
	}
	if a.Minutes == nil {
		p.Add("minutes", "Say for how many minutes it was held at that heat.")
	}
	if a.TempC == nil || a.Minutes == nil {
		return
	}
	if _, err := chem.CheckPasteurise(*a.TempC, *a.Minutes); err != nil {
		field := "minutes"
		var one *chem.FieldError
		if errors.As(err, &one) && one.Field == "temperature_c" {
			field = "temp_c"
		}
		p.Add(field, err.Error())
	}
}

// Heated tells that the heating met the published guide.
func (a Action) Heated() bool {
	if a.What != Pasteurised || a.TempC == nil || a.Minutes == nil {
		return false
	}
	_, err := chem.CheckPasteurise(*a.TempC, *a.Minutes)
	return err == nil && *a.TempC >= chem.PasteuriseMinC && *a.Minutes >= chem.PasteuriseMin
}

// Hold puts a stop on a jar, or lifts it. While it stands, nothing of the jar
// may be bottled or given away.
type Hold struct {
	On     bool   `json:"on"`
	Reason string `json:"reason"`
}

// Kind is KindHold.
func (Hold) Kind() Kind { return KindHold }

func (h Hold) check(jar Jar) Problems {
	var p Problems
	checkText(&p, "reason", "The reason", h.Reason, MaxNoteRunes, true)
	if !h.On && jar.State.Hold == "" {
		p.Add("", "This jar is not on hold.")
	}
	return p
}

// Note is free text; the text is the entry's Note.
type Note struct{}

// Kind is KindNote.
func (Note) Kind() Kind         { return KindNote }
func (Note) check(Jar) Problems { return nil }

// Strike takes back an earlier entry. It is written by the store's Strike, not
// by hand, because both sides of a transfer are struck together.
type Strike struct {
	Target uuid.UUID `json:"target"`
	Reason string    `json:"reason"`
}

// Kind is KindStrike.
func (Strike) Kind() Kind { return KindStrike }

func (s Strike) check(Jar) Problems {
	var p Problems
	checkText(&p, "reason", "The reason", s.Reason, MaxNoteRunes, true)
	return p
}

// DecodeBody reads the JSON form of a body of that kind.
func DecodeBody(kind Kind, data []byte) (Body, error) {
	switch kind {
	case KindReading:
		return decode[Reading](data)
	case KindTitration:
		return decode[Titration](data)
	case KindStage:
		return decode[StageChange](data)
	case KindAction:
		return decode[Action](data)
	case KindTransfer:
		return decode[Transfer](data)
	case KindHold:
		return decode[Hold](data)
	case KindNote:
		return decode[Note](data)
	case KindPhoto:
		return decode[Photo](data)
	case KindStrike:
		return decode[Strike](data)
	}
	return nil, fmt.Errorf("larder: no entry is of kind %q", kind)
}

func decode[B Body](data []byte) (Body, error) {
	var b B
	if err := json.Unmarshal(data, &b); err != nil {
		return nil, fmt.Errorf("larder: reading a %s: %w", b.Kind(), err)
	}
	return b, nil
}
