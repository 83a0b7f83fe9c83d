package larder

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

// Pour is what one jar gives to a lot.
type Pour struct {
	Jar      Tag              `json:"jar"`
	VolumeML chem.Millilitres `json:"volume_ml"` // 0 in a NewLot: share out by what the jars hold
}

// Run is a number of bottles of one size.
type Run struct {
	Count  int              `json:"count"`
	SizeML chem.Millilitres `json:"size_ml"`
}

// Limits of one bottling.
const (
	MaxLotJars    = 20
	MaxLotBottles = 500
	maxBottleML   = 20_000
)

// NewLot is what a maker says when bottling.
type NewLot struct {
	Name  string // empty: the batch's name
	When  When   // zero: now
	Pours []Pour
	Runs  []Run
	Note  string
}

// TotalML is the volume of all bottles.
func (n NewLot) TotalML() chem.Millilitres {
	var total chem.Millilitres
	for _, r := range n.Runs {
		total += chem.Millilitres(r.Count) * r.SizeML
	}
	return total
}

// Bottles is the number of bottles.
func (n NewLot) Bottles() int {
	total := 0
	for _, r := range n.Runs {
		total += r.Count
	}
	return total
}

// Check says all that is wrong with bottling these jars so, and returns the
// pours with every volume filled in. jars are in the order of n.Pours.
func (n NewLot) Check(jars []Jar, now time.Time) ([]Pour, error) {
	var p Problems
	checkText(&p, "name", "The name", n.Name, MaxNameRunes, false)
	checkText(&p, "note", "The note", n.Note, MaxNoteRunes, false)
	p.AddError("when", n.When.Check("when", now))
	n.checkRuns(&p)
	if len(n.Pours) == 0 || len(n.Pours) > MaxLotJars {
		p.Add("jars", fmt.Sprintf("Bottle from 1 to %d jars.", MaxLotJars))
	}
	seen := map[Tag]bool{}
	for _, jar := range jars {
		if seen[jar.Tag] {
			p.Add("jars", "Jar "+string(jar.Tag)+" is named twice.")
		}
		seen[jar.Tag] = true
		n.checkJar(&p, jar)
	}
	if len(p) > 0 {
		return nil, p
	}
	pours, err := n.share(jars)
	if err != nil {
		return nil, err
	}
	for i, pour := range pours {
		p = append(p, checkOut(jars[i], &pour.VolumeML)...)
	}
	return pours, p.Err()
}

func (n NewLot) checkRuns(p *Problems) {
	for _, r := range n.Runs {
		if r.Count < 1 || r.Count > MaxLotBottles {
			p.Add("bottles", fmt.Sprintf("Say how many bottles: 1 to %d.", MaxLotBottles))
		}
		if !(r.SizeML >= 10 && r.SizeML <= maxBottleML) {
			p.Add("size_ml", "A bottle holds between 10 mL and 20 L.")
		}
	}
	if len(n.Runs) == 0 {
		p.Add("bottles", "Say how many bottles, and how much each holds.")
	} else if n.Bottles() > MaxLotBottles {
		p.Add("bottles", fmt.Sprintf("One lot has %d bottles at most.", MaxLotBottles))
	}
}

func (n NewLot) checkJar(p *Problems, jar Jar) {
	switch s := jar.State; {
	case s.Stage != Finished:
		p.Add("jars", fmt.Sprintf("Jar %s is %s, not finished. Move it to finished when it is ready, then bottle it.", jar.Tag, s.Stage))
	case s.Hold != "" && !beforeHold(n.When, s.HoldAt):
		checkHold(p, "jars", jar, n.When)
	case !n.When.IsZero() && n.When.Latest().Before(s.StageSince.Earliest()):
		p.Add("when", fmt.Sprintf("Jar %s was not finished yet on that date.", jar.Tag))
	}
}

// share fills in the volume that each jar gives.
func (n NewLot) share(jars []Jar) ([]Pour, error) {
	pours := append([]Pour(nil), n.Pours...)
	total := n.TotalML()
	var given, held chem.Millilitres
	open := 0
	for i, pour := range pours {
		given += pour.VolumeML
		if pour.VolumeML < 0 {
			return nil, Refuse("jars", "A jar cannot give less than nothing.")
		}
		if pour.VolumeML == 0 {
			open++
			held += holds(jars[i])
		}
	}
	rest := total - given
	switch {
	case open == 0 && math.Abs(float64(rest)) > 0.02*float64(total):
		return nil, Refuse("jars", fmt.Sprintf("The jars give %s but the bottles hold %s. Correct one of them.",
			chem.FormatVolume(given, chem.Metric), chem.FormatVolume(total, chem.Metric)))
	case open > 0 && rest <= 0:
		return nil, Refuse("jars", "The named volumes fill all the bottles already; leave out the jar without a volume.")
	case open > 0 && held <= 0:
		return nil, Refuse("jars", "There is nothing left in these jars to bottle.")
	}
	for i := range pours {
		if pours[i].VolumeML == 0 {
			pours[i].VolumeML = rest * (holds(jars[i]) / held)
		}
	}
	return pours, nil
}

func holds(jar Jar) chem.Millilitres {
	if jar.State.VolumeML != nil {
		return *jar.State.VolumeML
	}
	return jar.SizeML
}

// Lot is a bottling run as recorded.
type Lot struct {
	ID      string  `json:"id"` // "L261125A": L, the day, a letter
	Name    string  `json:"name"`
	When    When    `json:"when"`
	Pours   []Pour  `json:"pours"`
	Runs    []Run   `json:"runs"`
	Acidity Acidity `json:"acidity"`
	// AcidityFrom are the entries that the acidity rests on; see LotRestsOn.
	AcidityFrom []uuid.UUID `json:"acidity_from,omitempty"`
	Bases       []Base      `json:"bases"`                 // of the batches bottled, and those that a blend joined
	TraceBases  []Base      `json:"trace_bases,omitempty"` // of what else went in, as a starter or top-up
	Ingredients []string    `json:"ingredients"`           // the heaviest first
	Infused     []string    `json:"infused,omitempty"`     // what was put in to infuse, of all that went in
	Heated      bool        `json:"heated"`                // every jar was pasteurised
	Note        string      `json:"note,omitempty"`
	By          string      `json:"by,omitempty"`
	RecordedAt  time.Time   `json:"recorded_at"`
	Void        bool        `json:"void,omitempty"` // struck: it was never bottled so
	Hold        string      `json:"hold,omitempty"` // the reason of the hold on the lot itself; empty when none
}

// LotID is the lot mark of the nth lot (from 0) of a day in the kitchen's zone.
// It begins with L as Directive 2011/91/EU art. 4 asks for.
func LotID(w When, loc *time.Location, n int) string {
	return "L" + w.At.In(loc).Format("060102") + JarLetter(n)
}

// LotAcidity is the acidity that a lot carries: that of its only jar, or for
// several the mean by volume, which is computed, never measured. If any jar's
// acidity is missing or outdated, the lot's is not measured.
func LotAcidity(pours []Pour, jars []Jar) Acidity {
	none := Acidity{Basis: NotMeasured}
	var volume, acid, variance, expanded, lower float64
	mark := ""
	for i, jar := range jars {
		a := jar.State.Acidity
		if a == nil || (a.Basis != ByTitration && a.Basis != Computed) {
			return none
		}
		v := float64(pours[i].VolumeML)
		volume += v
		acid += v * float64(a.GPer100ML)
		variance += v * v * float64(a.SDGPer100ML*a.SDGPer100ML)
		// The jars share one base and one burette, so their uncertainties are
		// taken as fully correlated: they add, which is the cautious way.
		expanded += v * float64(a.ExpandedUGPer100ML)
		lower += v * float64(a.LowerGPer100ML)
		if a.StrengthMark != "" {
			mark = a.StrengthMark
		}
	}
	switch {
	case len(jars) == 1:
		return *jars[0].State.Acidity
	case volume <= 0:
		return none
	}
	last := jars[0].State.Acidity
	for _, jar := range jars {
		if jar.State.Acidity.When.At.Before(last.When.At) {
			last = jar.State.Acidity // the oldest evidence dates the mean
		}
	}
	return Acidity{
		GPer100ML: chem.GramsPer100ML(acid / volume), SDGPer100ML: chem.GramsPer100ML(math.Sqrt(variance) / volume),
		ExpandedUGPer100ML: chem.GramsPer100ML(expanded / volume), LowerGPer100ML: chem.GramsPer100ML(lower / volume), StrengthMark: mark,
		Replicates: last.Replicates, Basis: Computed, When: last.When, Entry: last.Entry,
		Why: "mean by volume of the jars' measurements",
	}
}

// LotRestsOn are the entries that the acidity of these jars together rests on:
// their titrations, and the water that was added since. logs are in the order of
// jars.
func LotRestsOn(jars []Jar, logs [][]Entry) []uuid.UUID {
	var out []uuid.UUID
	for i, jar := range jars {
		out = append(out, jar.State.acidityFrom()...)
		a := jar.State.Acidity
		if a == nil || a.Basis != Computed {
			continue
		}
		for _, e := range logs[i] {
			t, ok := e.Body.(Transfer)
			if ok && t.Feed != nil && t.Feed.From == FromWater && !e.Struck() && !e.When.Before(a.When) {
				out = append(out, e.ID)
			}
		}
	}
	return out
}

// ReadingStruck is the lot when an entry that its acidity rests on was struck
// after it was bottled: nobody knows then how sour it is. What was recorded of it
// stays; this is how it is read.
func (l Lot) ReadingStruck() Lot {
	if l.Acidity.Basis != NotMeasured {
		l.Acidity = Acidity{Basis: NotMeasured, Why: "The reading behind the acidity of lot " + l.ID + " was struck since. Titrate what is in a bottle; labels that say how sour it is are wrong."}
	}
	return l
}

// LotName is the name a lot gets when the maker gives none.
func LotName(batch Batch) string {
	if strings.Contains(strings.ToLower(batch.Name), "vinegar") {
		return batch.Name
	}
	return batch.Name + " vinegar"
}

// Bottle is one bottle of a lot.
type Bottle struct {
	Tag    Tag              `json:"tag"`
	Lot    string           `json:"lot"`
	Number int              `json:"number"` // from 1 within the lot
	SizeML chem.Millilitres `json:"size_ml"`
	Gift   *Gift            `json:"gift,omitempty"`
}

// NewGift is what a maker says when giving a bottle.
type NewGift struct {
	To   string
	When When // zero: now
	Note string
}

// Check says all that is wrong with giving this bottle of this lot so. held
// are those that stand on the lot, its jars and what went into them; a gift made
// before them and logged late is a record, and a recall needs it.
func (g NewGift) Check(bottle Bottle, lot Lot, held []Held, now time.Time) error {
	var p Problems
	holds := standing(held, g.When)
	checkText(&p, "to", "The name of who gets it", g.To, MaxNameRunes, true)
	checkText(&p, "note", "The note", g.Note, MaxNoteRunes, false)
	p.AddError("when", g.When.Check("when", now))
	switch {
	case lot.Void:
		p.Add("", "The bottling of lot "+lot.ID+" was struck; this bottle does not exist.")
	case bottle.Gift != nil:
		p.Add("", "This bottle was already given to "+bottle.Gift.To+".")
	case len(holds) > 0:
		p.Add("", "This bottle is on hold, by "+strings.Join(holds, "; ")+". Nothing of it may be given away until the hold is lifted.")
	case !g.When.IsZero() && g.When.Latest().Before(lot.When.Earliest()):
		p.Add("when", "The bottle was not filled yet on that date.")
	}
	return p.Err()
}

// Gift is a bottle that left the kitchen.
type Gift struct {
	To         string    `json:"to"`
	When       When      `json:"when"`
	Note       string    `json:"note,omitempty"`
	By         string    `json:"by,omitempty"`
	RecordedAt time.Time `json:"recorded_at"`
	// TakenBack says why the gift was recorded by mistake; nil while it stands.
	TakenBack *TakenBack `json:"taken_back,omitempty"`
}

// LabelText is the acidity as a label states it: "5.4 % acidity", "about 5.0 %
// acidity", "acidity not measured". It is rounded down, so that no label
// promises more than was found; per cent means g acetic acid per 100 mL.
func (a Acidity) LabelText() string {
	percent := math.Floor(float64(a.GPer100ML)*10+1e-9) / 10
	switch a.Basis {
	case ByTitration:
		return fmt.Sprintf("%.1f %% acidity", percent)
	case Computed:
		return fmt.Sprintf("about %.1f %% acidity", percent)
	}
	return "acidity not measured"
}

// LabelNote is how and when the acidity became known: "titrated 3 Nov 2026,
// ± 0.1". Empty when it was not measured.
func (a Acidity) LabelNote(loc *time.Location) string {
	switch a.Basis {
	case ByTitration:
		note := "titrated " + a.When.DateIn(loc)
		if a.ExpandedUGPer100ML > 0 {
			note += fmt.Sprintf(", ± %.1f", math.Max(0.1, math.Ceil(float64(a.ExpandedUGPer100ML)*10-1e-9)/10))
		}
		if a.StrengthMark != "" {
			note += "; base not checked in time"
		}
		return note
	case Computed:
		return "computed; titrated " + a.When.DateIn(loc)
	}
	return ""
}
