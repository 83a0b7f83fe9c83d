package scan

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// line is one entry of a jar's history in words.
type line struct {
	ID        string
	Kind      string
	When      string
	By        string
	Logged    string // when it was written down, if on another day
	Title     string
	Details   []string
	Note      string
	Links     []link
	Shot      *shot // the picture of a photo that stands
	Struck    bool
	StruckWhy string
	StruckBy  string // who and when
	StrikeURL string // empty: cannot be struck from here
}

// writer puts records into the kitchen's words and units.
type writer struct {
	k   larder.Kitchen
	now time.Time // in the kitchen's zone
	jar larder.Tag
	by  string // the initials that this phone remembers
}

func (w writer) volume(v chem.Millilitres) string { return chem.FormatVolume(v, w.k.Units()) }

func (w writer) mass(v chem.Grams) string { return chem.FormatMass(v, w.k.Units()) }

// rows formats entries, each struck one with the entry that struck it.
func (p *Pages) rows(ctx context.Context, w writer, entries []larder.Entry) ([]line, error) {
	known := map[uuid.UUID]larder.Entry{}
	for _, e := range entries {
		known[e.ID] = e
	}
	find := func(id uuid.UUID) (larder.Entry, error) {
		if e, ok := known[id]; ok {
			return e, nil
		}
		return p.DB.Entry(ctx, id)
	}
	out := make([]line, len(entries))
	for i, e := range entries {
		out[i] = w.row(e)
		if e.Struck() {
			by, err := find(e.StruckBy)
			if err != nil {
				return nil, err
			}
			w.struck(&out[i], by)
		}
		if s, ok := e.Body.(larder.Strike); ok {
			target, err := find(s.Target)
			if err != nil {
				return nil, err
			}
			out[i].Details = append([]string{w.row(target).Title + ", of " + dayOf(target.When, w.now)}, out[i].Details...)
		}
	}
	return out, nil
}

func (w writer) struck(l *line, by larder.Entry) {
	l.Struck, l.StrikeURL, l.Shot = true, "", nil
	l.StruckBy = momentOf(by.When, w.now)
	if by.By != "" {
		l.StruckBy = by.By + ", " + l.StruckBy
	}
	if s, ok := by.Body.(larder.Strike); ok {
		l.StruckWhy = s.Reason
	}
}

// row is an entry in words, without what struck it.
func (w writer) row(e larder.Entry) line {
	loc := w.now.Location()
	l := line{ID: e.ID.String(), Kind: string(e.Kind), When: momentOf(e.When, w.now), By: e.By, Note: e.Note}
	if logged := larder.ExactAt(e.RecordedAt).DateIn(loc); logged != e.When.DateIn(loc) {
		l.Logged = dayOf(larder.ExactAt(e.RecordedAt), w.now)
	}
	switch b := e.Body.(type) {
	case larder.Reading:
		l.Title = strings.Join(w.readingParts(b), " · ")
		if b.Instrument != "" {
			l.Details = append(l.Details, "with "+b.Instrument)
		}
	case larder.Titration:
		w.titration(&l, b)
	case larder.StageChange:
		w.stage(&l, b)
	case larder.Action:
		w.action(&l, b)
	case larder.Transfer:
		w.transfer(&l, b)
	case larder.Hold:
		l.Title = "Hold lifted"
		if b.On {
			l.Title = "Put on hold"
		}
		l.Details = append(l.Details, b.Reason)
	case larder.Note:
		l.Title = "Note"
	case larder.Photo:
		l.Title, l.Shot = "Photo", w.shot(e, b)
	case larder.Strike:
		l.Title = "Struck an entry"
		l.Details = append(l.Details, "Why: "+b.Reason)
	}
	if e.Kind != larder.KindStrike && !startOf(e) {
		l.StrikeURL = jarURL(w.jar) + "/strike" + query("entry", strconv.FormatInt(e.Seq, 10))
	}
	return l
}

// startOf tells the jar's first entry, which cannot be struck.
func startOf(e larder.Entry) bool {
	s, ok := e.Body.(larder.StageChange)
	return ok && s.From == ""
}

func (w writer) readingParts(b larder.Reading) []string {
	var parts []string
	if b.PH != nil {
		text := "pH " + plain(*b.PH)
		if c := b.CorrectedPH; c != nil && math.Abs(float64(*c-*b.PH)) >= 0.005 {
			text += fmt.Sprintf(" (corrected %.2f)", float64(*c))
		}
		parts = append(parts, text)
	}
	if b.SG != nil {
		parts = append(parts, "gravity "+gravityText(*b.SG))
	}
	if b.Brix != nil {
		parts = append(parts, short(*b.Brix)+" °Bx")
	}
	if b.ABV != nil {
		parts = append(parts, short(*b.ABV)+" % vol")
	}
	if b.TempC != nil {
		parts = append(parts, chem.FormatTemperature(*b.TempC, w.k.Units()))
	}
	if b.VolumeML != nil {
		parts = append(parts, "holds "+w.volume(*b.VolumeML))
	}
	return parts
}

func (w writer) titration(l *line, b larder.Titration) {
	r, err := b.Result()
	if err != nil {
		// Written under an older rule: show what was read rather than nothing.
		l.Title = "Titration that no longer adds up: " + err.Error()
		return
	}
	l.Title = "Acidity " + larder.AcidityWords(r.AcidityGPer100ML, r.ExpandedUGPer100ML)
	spread := count(r.Replicates, "run")
	if r.HasSD {
		spread += fmt.Sprintf(", standard deviation %.2f", float64(r.SDGPer100ML))
	}
	var runs []string
	for _, run := range b.Replicates {
		runs = append(runs, short(run.StartML)+"→"+short(run.EndML))
	}
	taken := fmt.Sprintf("%s mL sample, base %s mol/L, burette %s mL", short(b.SampleML), short(b.BaseMolPerL), strings.Join(runs, ", "))
	if b.BlankML > 0 {
		taken += ", blank " + short(b.BlankML) + " mL"
	}
	if b.DilutionFactor > 1 {
		taken += ", diluted × " + short(b.DilutionFactor)
	}
	if b.EndpointPH != nil {
		taken += ", to pH " + plain(*b.EndpointPH)
	}
	l.Details = append(l.Details, spread, taken)
	if b.Instrument != "" {
		l.Details = append(l.Details, "with "+b.Instrument)
	}
}

func (w writer) stage(l *line, b larder.StageChange) {
	l.Title = "Started as " + string(b.To)
	if b.From != "" {
		l.Title = string(b.From) + " → " + string(b.To)
	}
	if b.VolumeML != nil {
		text := w.volume(*b.VolumeML) + " in the jar"
		if b.VolumeFromFill {
			text += ", taken from the fill"
		}
		l.Details = append(l.Details, text)
	}
	if b.Starter != nil {
		l.Details = append(l.Details, "Starter: "+b.Starter.Describe())
		w.jarLink(l, b.Starter.Jar)
	}
	if b.Reason != "" {
		l.Details = append(l.Details, "Why: "+b.Reason)
	}
}

func (w writer) action(l *line, b larder.Action) {
	l.Title = upperFirst(string(b.What))
	if b.VolumeML != nil {
		l.Details = append(l.Details, w.volume(*b.VolumeML)+" left in the jar")
	}
	if b.Place != "" {
		l.Details = append(l.Details, "now at "+b.Place)
	}
	heat := ""
	if b.TempC != nil {
		heat = "at " + chem.FormatTemperature(*b.TempC, w.k.Units())
	}
	if b.Minutes != nil {
		heat += " for " + short(*b.Minutes) + " minutes"
	}
	if heat != "" {
		l.Details = append(l.Details, strings.TrimSpace(heat))
	}
}

func (w writer) transfer(l *line, b larder.Transfer) {
	switch {
	case b.Feed != nil:
		l.Title = upperFirst(string(b.What)) + ": " + b.Feed.Describe()
		w.jarLink(l, b.Feed.Jar)
	case b.What == larder.Bottled:
		l.Title = "Bottled as lot " + b.Lot
		if b.VolumeML != nil {
			l.Title = "Bottled " + w.volume(*b.VolumeML) + " as lot " + b.Lot
		}
		l.Links = append(l.Links, link{"/lots/" + b.Lot, "Lot " + b.Lot})
	default:
		l.Title = "Gave " + w.moved(b.VolumeML, b.Mother) + " to jar " + string(b.To)
		w.jarLink(l, b.To)
	}
}

func (w writer) moved(v *chem.Millilitres, mother bool) string {
	switch {
	case v != nil && mother:
		return "a mother and " + w.volume(*v)
	case v != nil:
		return w.volume(*v)
	case mother:
		return "a mother"
	}
	return "something"
}

func (w writer) jarLink(l *line, tag larder.Tag) {
	if tag != "" {
		l.Links = append(l.Links, link{jarURL(tag), "Jar " + string(tag)})
	}
}

func (w writer) cameFrom(e larder.Edge) step {
	s := step{Text: fmt.Sprintf("%s: %s, %s", upperFirst(string(e.What)), w.moved(e.VolumeML, e.Mother), dayOf(e.When, w.now))}
	switch {
	case e.FromJar != "":
		s.Link = link{jarURL(e.FromJar), "from jar " + string(e.FromJar)}
	case e.FromName != "":
		s.Text += ", " + e.FromName
	}
	return s
}

func (w writer) wentInto(e larder.Edge) step {
	s := step{Text: fmt.Sprintf("%s: %s, %s", upperFirst(string(e.What)), w.moved(e.VolumeML, e.Mother), dayOf(e.When, w.now))}
	switch {
	case e.ToJar != "":
		s.Link = link{jarURL(e.ToJar), "into jar " + string(e.ToJar)}
	case e.ToLot != "":
		s.Link = link{"/lots/" + e.ToLot, "lot " + e.ToLot}
	}
	return s
}
