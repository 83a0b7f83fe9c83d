package larder

import (
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

// Measured is the newest value of one quantity and where it stands in the log.
type Measured[T ~float64] struct {
	Value T         `json:"value"`
	When  When      `json:"when"`
	Entry uuid.UUID `json:"entry"`
}

// Basis says how an acidity is known.
type Basis string

// The bases of an acidity.
const (
	NotMeasured Basis = "not measured"
	ByTitration Basis = "measured"
	Computed    Basis = "computed" // from a measured one, after water was added
	Outdated    Basis = "outdated" // measured before something else went in
)

// Acidity is what is known of how sour a jar is, as acetic acid.
type Acidity struct {
	GPer100ML   chem.GramsPer100ML `json:"g_per_100ml"`
	SDGPer100ML chem.GramsPer100ML `json:"sd_g_per_100ml"` // of the replicates; 0 with fewer than 2
	Replicates  int                `json:"replicates"`
	// ExpandedUGPer100ML is the 95 % uncertainty, LowerGPer100ML the end of the
	// interval that a strength claim must use. StrengthMark says why the
	// measurement supports no strength claim; empty when it does.
	ExpandedUGPer100ML chem.GramsPer100ML `json:"expanded_uncertainty_g_per_100ml"`
	LowerGPer100ML     chem.GramsPer100ML `json:"lower_g_per_100ml"`
	StrengthMark       string             `json:"strength_mark,omitempty"`
	Basis              Basis              `json:"basis"`
	When               When               `json:"when"` // of the titration
	Entry              uuid.UUID          `json:"entry"`
	Why                string             `json:"why,omitempty"` // what made it computed or outdated
}

// MouldStands is told where a hold is lifted from a jar in which mould was seen.
const MouldStands = "The entry of mould stands, and no use is supported while it does. If it was yeast and not mould, strike that entry, with the reason; else throw the jar away."

// State is what a jar's log adds up to. It is stored with the jar and kept in
// the same transaction that appends, so that no page folds a year of log; Fold
// gives the same from the whole log.
type State struct {
	Stage       Stage                           `json:"stage"`
	StageSince  When                            `json:"stage_since"`
	StartedAt   When                            `json:"started_at"`
	VolumeML    *chem.Millilitres               `json:"volume_ml,omitempty"`    // nil when not known
	VolumeAt    *When                           `json:"volume_at,omitempty"`    // when it was last measured
	MovedAt     *When                           `json:"moved_at,omitempty"`     // when liquid last came in or went out
	Fed         *Fed                            `json:"fed,omitempty"`          // the liquid that came in last
	PH          *Measured[chem.PH]              `json:"ph,omitempty"`           // as shown
	CorrectedPH *Measured[chem.PH]              `json:"corrected_ph,omitempty"` // computed; of the same entry as PH, or older
	TempC       *Measured[chem.Celsius]         `json:"temp_c,omitempty"`
	SG          *Measured[chem.SpecificGravity] `json:"specific_gravity,omitempty"`
	Brix        *Measured[chem.DegreesBrix]     `json:"brix,omitempty"`
	ABV         *Measured[chem.PercentVol]      `json:"abv_percent_vol,omitempty"`
	Acidity     *Acidity                        `json:"acidity,omitempty"`
	// MustSG and MustBrix are the first readings of the must, before any sugar
	// became alcohol; they tell how much sugar there was.
	MustSG   *Measured[chem.SpecificGravity] `json:"must_specific_gravity,omitempty"`
	MustBrix *Measured[chem.DegreesBrix]     `json:"must_brix,omitempty"`
	// WaterPart is the part of the liquid that is water added since the start,
	// 0 to 1; it lowers what the recipe can reach.
	WaterPart    float64    `json:"water_part,omitempty"`
	ABVWaterPart float64    `json:"abv_water_part,omitempty"` // what it was when ABV was measured
	StirredAt    *time.Time `json:"stirred_at,omitempty"`
	StrainedAt   *time.Time `json:"strained_at,omitempty"`
	HeatedAt     *time.Time `json:"heated_at,omitempty"` // pasteurised
	MouldAt      *time.Time `json:"mould_at,omitempty"`
	Starter      string     `json:"starter,omitempty"` // in words
	Infused      []string   `json:"infused,omitempty"` // what was put in to infuse
	// AcidityFrom are the entries of other jars that an inherited Acidity rests
	// on; none when it was measured in this jar.
	AcidityFrom []uuid.UUID `json:"acidity_from,omitempty"`
	Hold        string      `json:"hold,omitempty"`    // its reason; empty when none
	HoldAt      *When       `json:"hold_at,omitempty"` // since when it stands
	Place       string      `json:"place,omitempty"`   // when moved since the start
}

// Fed is liquid that came into a jar, in words, and when.
type Fed struct {
	What string `json:"what"`
	When When   `json:"when"`
}

// Fold derives a jar's state from its whole log, in the order of recording.
// Struck entries count for nothing.
func Fold(log []Entry) State {
	var s State
	for _, e := range log {
		if !e.Struck() {
			s = s.Apply(e)
		}
	}
	return s
}

// AsOf is the state that the log had at a time, just before the entry of that
// number: without what surely happened later, and of what may have happened at
// the same time, with what was recorded by then. What was struck since is left out.
func AsOf(log []Entry, at When, seq int64) State {
	var s State
	for _, e := range log {
		then := e.When.Before(at) || (!at.Before(e.When) && e.Seq < seq)
		if !e.Struck() && (then || e.Kind == KindStrike) {
			s = s.Apply(e)
		}
	}
	return s
}

// Apply is the state after one more entry, which must not be struck. It assumes
// that the entry passed its check. An entry may tell of a time before others
// that were recorded earlier; then it changes only what those left open.
func (s State) Apply(e Entry) State {
	switch b := e.Body.(type) {
	case Reading:
		newer(&s.PH, b.PH, e)
		newer(&s.CorrectedPH, b.CorrectedPH, e)
		newer(&s.TempC, b.TempC, e)
		newer(&s.SG, b.SG, e)
		newer(&s.Brix, b.Brix, e)
		newer(&s.ABV, b.ABV, e)
		if b.ABV != nil && s.ABV.Entry == e.ID && (s.Fed == nil || !e.When.Before(s.Fed.When)) {
			s.ABVWaterPart = s.WaterPart
		}
		if s.Stage == Must {
			first(&s.MustSG, b.SG, e)
			first(&s.MustBrix, b.Brix, e)
		}
		s.setVolume(b.VolumeML, e.When)
	case Titration:
		s.titrated(b, e)
	case StageChange:
		s.changeStage(b, e)
	case Action:
		s.act(b, e)
	case Transfer:
		s.transfer(b, e)
	case Hold:
		s.hold(b, e)
	case Strike:
		s.struck(b, e)
	}
	return s
}

// newer keeps the value that was measured last, whatever the order of recording.
func newer[T ~float64](have **Measured[T], value *T, e Entry) {
	if value == nil || (*have != nil && e.When.Before((*have).When)) {
		return
	}
	*have = &Measured[T]{Value: *value, When: e.When, Entry: e.ID}
}

// first keeps the value that was measured first.
func first[T ~float64](have **Measured[T], value *T, e Entry) {
	if value == nil || (*have != nil && !(*have).When.At.After(e.When.At)) {
		return
	}
	*have = &Measured[T]{Value: *value, When: e.When, Entry: e.ID}
}

// setVolume takes a measured volume, unless liquid was measured or moved after it.
func (s *State) setVolume(v *chem.Millilitres, at When) {
	if v == nil || earlier(at, s.VolumeAt) || earlier(at, s.MovedAt) {
		return
	}
	s.VolumeML, s.VolumeAt = new(*v), new(at)
}

// move adds to the volume, or takes from it when v is negative, unless a volume
// measured later has counted that already.
func (s *State) move(v chem.Millilitres, at When) {
	if earlier(at, s.VolumeAt) {
		return
	}
	if !earlier(at, s.MovedAt) {
		s.MovedAt = new(at)
	}
	if s.VolumeML != nil {
		s.VolumeML = new(max(0, *s.VolumeML+v))
	}
}

func earlier(at When, than *When) bool { return than != nil && at.Before(*than) }

// titrated takes the result. The sample, a few mL that are thrown away, is not
// taken off the jar's volume: it is less than what clings to a measuring jug, and
// a trace has it among what is not accounted for.
func (s *State) titrated(t Titration, e Entry) {
	r, err := t.Result()
	if err != nil || (s.Acidity != nil && e.When.Before(s.Acidity.When)) {
		return
	}
	s.Acidity = &Acidity{
		GPer100ML: r.AcidityGPer100ML, SDGPer100ML: r.SDGPer100ML, Replicates: r.Replicates,
		ExpandedUGPer100ML: r.ExpandedUGPer100ML, LowerGPer100ML: r.LowerGPer100ML, StrengthMark: r.StrengthMark,
		Basis: ByTitration, When: e.When, Entry: e.ID,
	}
	s.AcidityFrom = nil
	if s.Fed != nil && e.When.Before(s.Fed.When) {
		s.Acidity.Basis, s.Acidity.Why = Outdated, beforeFeed(s.Fed.What)
	}
}

func beforeFeed(what string) string { return "measured before " + what + " went in" }

func (s *State) changeStage(b StageChange, e Entry) {
	if b.From == "" {
		s.StartedAt = e.When
	}
	s.Stage, s.StageSince = b.To, e.When
	if !b.VolumeFromFill { // else nothing was measured, and it stands there already
		s.setVolume(b.VolumeML, e.When)
	}
	if b.To == Acetic && b.From != Finished && b.From != Maturing {
		t := e.When.At
		s.StrainedAt = &t
	}
	if b.Inherit != nil {
		s.inherit(*b.Inherit)
	}
	if !b.To.Live() {
		s.VolumeML, s.VolumeAt = new(chem.Millilitres(0)), new(e.When)
	}
	if b.Starter != nil {
		s.Starter = b.Starter.Describe()
		s.fed(*b.Starter, e)
	}
}

func (s *State) act(b Action, e Entry) {
	s.setVolume(b.VolumeML, e.When)
	at := e.When.At
	switch b.What {
	case Stirred:
		later(&s.StirredAt, at)
	case Strained:
		later(&s.StrainedAt, at)
	case Pasteurised:
		if b.Heated() {
			later(&s.HeatedAt, at)
		}
	case MouldSeen:
		later(&s.MouldAt, at)
		// Until someone has looked and lifts it, nothing of the jar, nor of what
		// its liquid or mother went into, may be bottled or given away.
		if s.Hold == "" {
			s.hold(Hold{On: true, Reason: "mould was seen"}, e)
		}
	case Shifted:
		s.Place = b.Place
	}
}

func later(have **time.Time, at time.Time) {
	if *have == nil || at.After(**have) {
		*have = &at
	}
}

// hold begins with the earliest of the holds that were put on since the last was
// lifted; the newest reason counts.
func (s *State) hold(b Hold, e Entry) {
	if !b.On {
		s.Hold, s.HoldAt = "", nil
		return
	}
	s.Hold = b.Reason
	if s.HoldAt == nil || e.When.Before(*s.HoldAt) {
		s.HoldAt = new(e.When)
	}
}

func (s *State) transfer(b Transfer, e Entry) {
	if b.Feed != nil && b.What.Fills() {
		if b.Feed.VolumeML != nil {
			s.move(*b.Feed.VolumeML, e.When)
		}
		return
	}
	if b.Feed != nil {
		if b.What == Infused {
			s.Infused = withName(s.Infused, b.Feed.Name)
		}
		if b.What == StarterIn {
			s.Starter = b.Feed.Describe()
		}
		s.fed(*b.Feed, e)
		return
	}
	if b.VolumeML != nil {
		s.move(-*b.VolumeML, e.When)
	}
}

// fed adds the feed's volume and says what that does to a known acidity: water
// makes it a computed one, anything else outdates it, since nobody knows what
// that brought along. What was pasteurised is so no longer once something live
// may have come in.
func (s *State) fed(f Feed, e Entry) {
	if s.HeatedAt != nil && f.From != FromWater && f.From != FromAir && !e.When.Latest().Before(*s.HeatedAt) {
		s.HeatedAt = nil
	}
	if f.VolumeML == nil {
		return
	}
	before := s.VolumeML
	s.move(*f.VolumeML, e.When)
	if before != nil && *before > 0 && *s.VolumeML > *before {
		share := float64(*before / *s.VolumeML)
		s.WaterPart *= share
		if f.From == FromWater {
			s.WaterPart += 1 - share
		}
	}
	if s.Fed == nil || !e.When.Before(s.Fed.When) {
		s.Fed = &Fed{What: f.Describe(), When: e.When}
	}
	if s.Acidity == nil || e.When.Before(s.Acidity.When) {
		return
	}
	a := *s.Acidity
	a.Why = beforeFeed(f.Describe())
	// Water that a later measured volume includes already leaves no volume to
	// reckon with.
	if f.From == FromWater && a.Basis != Outdated && before != nil && *before > 0 && *s.VolumeML > *before {
		a.Basis = Computed
		a = a.scaled(float64(*before / *s.VolumeML))
	} else {
		a.Basis = Outdated
	}
	s.Acidity = &a
}

// scaled is the acidity when only a share of the volume is what was measured.
func (a Acidity) scaled(share float64) Acidity {
	for _, v := range []*chem.GramsPer100ML{&a.GPer100ML, &a.SDGPer100ML, &a.ExpandedUGPer100ML, &a.LowerGPer100ML} {
		*v = chem.GramsPer100ML(float64(*v) * share)
	}
	return a
}

// Giver is the other side of a body that took something from a jar: which jar
// gave, and the entry it gets. ok is false when no jar gave.
func Giver(taker Tag, body Body) (giver Tag, gave Transfer, ok bool) {
	var f *Feed
	switch b := body.(type) {
	case StageChange:
		f = b.Starter
	case Transfer:
		f = b.Feed
	}
	if f == nil || f.From != FromJar {
		return "", Transfer{}, false
	}
	return f.Jar, Transfer{What: Gave, To: taker, VolumeML: f.VolumeML, Mother: f.Mother}, true
}

// Edge is one timed step of the lineage: what came from where into what.
type Edge struct {
	What     TransferKind      `json:"what"`
	FromJar  Tag               `json:"from_jar,omitempty"`
	FromName string            `json:"from_name,omitempty"` // bought or other
	ToJar    Tag               `json:"to_jar,omitempty"`
	ToLot    string            `json:"to_lot,omitempty"`
	VolumeML *chem.Millilitres `json:"volume_ml,omitempty"`
	Mother   bool              `json:"mother,omitempty"`
	When     When              `json:"when"`
}

// EdgeOf is the edge that an entry draws, seen from the receiving side; ok is
// false when it draws none.
func EdgeOf(e Entry) (Edge, bool) {
	var f *Feed
	what := StarterIn
	switch b := e.Body.(type) {
	case StageChange:
		f = b.Starter
	case Transfer:
		if b.What == Bottled {
			return Edge{What: Bottled, FromJar: e.Jar, ToLot: b.Lot, VolumeML: b.VolumeML, When: e.When}, true
		}
		f, what = b.Feed, b.What
	}
	if f == nil || f.From == FromAir {
		return Edge{}, false
	}
	name := f.Name
	if f.From == FromWater {
		name = "water"
	}
	return Edge{What: what, FromJar: f.Jar, FromName: name, ToJar: e.Jar, VolumeML: f.VolumeML, Mother: f.Mother, When: e.When}, true
}
