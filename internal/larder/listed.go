package larder

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"cruet/internal/chem"
)

// Listed is the part of a state that lists of jars and the plans ask for: the stage
// and since when, the volume, the newest pH and acidity, when it was last measured,
// stirred and strained, the starter, the hold and the place. Of it Batch.Due, Todo.Reason and
// ShelfFilter say the same as of the whole state. The ids of entries are left out.
func (s State) Listed() State {
	l := State{Stage: s.Stage, StageSince: s.StageSince, StartedAt: s.StartedAt, VolumeML: s.VolumeML,
		StirredAt: s.StirredAt, StrainedAt: s.StrainedAt, Starter: s.Starter, Hold: s.Hold, Place: s.Place}
	if s.PH != nil {
		l.PH = &Measured[chem.PH]{Value: s.PH.Value, When: s.PH.When}
	}
	if s.SG != nil {
		l.SG = &Measured[chem.SpecificGravity]{Value: s.SG.Value, When: s.SG.When}
	}
	if a := s.Acidity; a != nil {
		l.Acidity = &Acidity{GPer100ML: a.GPer100ML, ExpandedUGPer100ML: a.ExpandedUGPer100ML, Replicates: a.Replicates, Basis: a.Basis, When: a.When, Why: a.Why}
	}
	return l
}

// ListedText is Listed as one line, some hundred bytes, that ParseListed reads
// again: its values in the order of eachListed, with tabs between them. A whole shelf
// of them is read for one page.
func (s State) ListedText() string {
	w := listedWriter{line: make([]byte, 0, 160)}
	s = s.Listed()
	s.eachListed(&w)
	return string(w.line)
}

// ParseListed reads what ListedText wrote.
func ParseListed(line string) (State, error) {
	r := listedReader{rest: line, more: true}
	var s State
	s.eachListed(&r)
	if r.err == nil && r.more {
		r.err = fmt.Errorf("%q is left over", r.rest)
	}
	if r.err != nil {
		return s, fmt.Errorf("larder: what is listed of a jar: %w", r.err)
	}
	return s, nil
}

// ParseListedFirst reads no more of it than the stage and the dates, starter, hold,
// place and volume, for those who show no more.
func ParseListedFirst(line string) (State, error) {
	r := listedReader{rest: line, more: true}
	var s State
	if s.firstListed(&r); r.err != nil {
		return s, fmt.Errorf("larder: what is listed of a jar: %w", r.err)
	}
	return s, nil
}

// listedCodec writes each value, or reads it.
type listedCodec interface {
	text(*string)
	number(*float64)
	when(*When)
	// has tells whether an optional value is there; set is what the state has.
	has(set bool) bool
}

// eachListed is the one list of the values and of their order.
func (s *State) eachListed(c listedCodec) {
	s.firstListed(c)
	if optional(c, &s.PH) {
		c.number((*float64)(&s.PH.Value))
		c.when(&s.PH.When)
	}
	if optional(c, &s.SG) {
		c.number((*float64)(&s.SG.Value))
		c.when(&s.SG.When)
	}
	if optional(c, &s.Acidity) {
		a := s.Acidity
		c.number((*float64)(&a.GPer100ML))
		c.number((*float64)(&a.ExpandedUGPer100ML))
		runs := float64(a.Replicates)
		c.number(&runs)
		a.Replicates = int(runs)
		c.text((*string)(&a.Basis))
		c.when(&a.When)
		c.text(&a.Why)
	}
	instant(c, &s.StirredAt)
	instant(c, &s.StrainedAt)
}

func (s *State) firstListed(c listedCodec) {
	c.text((*string)(&s.Stage))
	c.when(&s.StageSince)
	c.when(&s.StartedAt)
	c.text(&s.Starter)
	c.text(&s.Hold)
	c.text(&s.Place)
	if optional(c, &s.VolumeML) {
		c.number((*float64)(s.VolumeML))
	}
}

func optional[T any](c listedCodec, v **T) bool {
	if !c.has(*v != nil) {
		return false
	}
	if *v == nil {
		*v = new(T)
	}
	return true
}

func instant(c listedCodec, at **time.Time) {
	if !optional(c, at) {
		return
	}
	w := When{At: **at, Precision: Exact}
	c.when(&w)
	**at = w.At
}

type listedWriter struct {
	line  []byte
	begun bool
}

func (w *listedWriter) tab() {
	if w.begun {
		w.line = append(w.line, '\t')
	}
	w.begun = true
}

// plainText has no tab and cannot be taken for a quoted one.
func plainText(s string) bool {
	return !strings.ContainsAny(s, "\t\n\r\x00") && !strings.HasPrefix(s, `"`)
}

func (w *listedWriter) text(s *string) {
	w.tab()
	if plainText(*s) {
		w.line = append(w.line, *s...)
		return
	}
	w.line = strconv.AppendQuote(w.line, *s)
}

func (w *listedWriter) number(v *float64) {
	w.tab()
	w.line = strconv.AppendFloat(w.line, *v, 'g', -1, 64)
}

// when is the milliseconds since 1970 and, where less is meant than that, the
// precision's first letter; after an "a" the days either side. Nothing is no date.
func (w *listedWriter) when(v *When) {
	w.tab()
	if v.IsZero() {
		return
	}
	w.line = strconv.AppendInt(w.line, v.At.UnixMilli(), 10)
	switch v.Precision {
	case Day:
		w.line = append(w.line, 'd')
	case About:
		w.line = strconv.AppendInt(append(w.line, 'a'), int64(v.SpreadDays), 10)
	}
}

func (w *listedWriter) has(set bool) bool {
	w.tab()
	if set {
		w.line = append(w.line, '+')
	} else {
		w.line = append(w.line, '-')
	}
	return set
}

// listedReader reads the values one by one; after its first error it reads no more.
type listedReader struct {
	rest string
	more bool // a value follows
	err  error
}

func (r *listedReader) fail(err error) {
	if r.err == nil {
		r.err = err
	}
}

func (r *listedReader) next() string {
	if r.err != nil {
		return ""
	}
	if !r.more {
		r.fail(fmt.Errorf("it ends too early"))
		return ""
	}
	var value string
	value, r.rest, r.more = strings.Cut(r.rest, "\t")
	return value
}

func (r *listedReader) text(s *string) {
	*s = r.next()
	if !strings.HasPrefix(*s, `"`) {
		return
	}
	plain, err := strconv.Unquote(*s)
	if err != nil {
		r.fail(err)
	}
	*s = plain
}

func (r *listedReader) number(v *float64) {
	text := r.next()
	if r.err != nil {
		return
	}
	var err error
	if *v, err = strconv.ParseFloat(text, 64); err != nil {
		r.fail(err)
	}
}

func (r *listedReader) when(v *When) {
	text := r.next()
	if text == "" {
		return
	}
	v.Precision = Exact
	if before, ok := strings.CutSuffix(text, "d"); ok {
		text, v.Precision = before, Day
	} else if before, days, ok := strings.Cut(text, "a"); ok {
		text, v.Precision = before, About
		var err error
		if v.SpreadDays, err = strconv.Atoi(days); err != nil {
			r.fail(err)
		}
	}
	ms, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		r.fail(err)
	}
	v.At = time.UnixMilli(ms).UTC()
}

func (r *listedReader) has(bool) bool {
	switch text := r.next(); {
	case r.err != nil || text == "-":
		return false
	case text == "+":
		return true
	default:
		r.fail(fmt.Errorf("%q is neither + nor -", text))
		return false
	}
}
