package larder

import (
	"fmt"
	"sort"
	"time"
)

// Urgency orders what is due.
type Urgency int

// The urgencies.
const (
	Coming Urgency = iota
	DueNow
	Overdue
)

// String is the word shown.
func (u Urgency) String() string { return [...]string{"coming", "due", "overdue"}[u] }

// Todo is one thing that a jar, or the bench, will want. Days are whole: it is
// due from the morning of From to the evening of Until, both at noon in the
// kitchen's zone.
type Todo struct {
	Do      Deed      `json:"do"`
	What    string    `json:"what"`
	Why     string    `json:"why"`
	Rule    string    `json:"rule"` // the plan's days in words
	From    time.Time `json:"from"`
	Until   time.Time `json:"until"`
	Every   int       `json:"every_days,omitempty"` // repeated after so many days
	Urgency Urgency   `json:"-"`
	Status  string    `json:"status"` // coming, due, overdue
}

// Window is the days of t in words: "29 Nov – 6 Dec".
func (t Todo) Window(loc *time.Location) string {
	from, until := t.From.In(loc), t.Until.In(loc)
	if from.Format("2006-01-02") == until.Format("2006-01-02") {
		return from.Format("2 Jan")
	}
	if from.Month() == until.Month() && from.Year() == until.Year() {
		return from.Format("2") + "–" + until.Format("2 Jan")
	}
	return from.Format("2 Jan") + " – " + until.Format("2 Jan")
}

// Due lists what a jar of this batch wants now and next, the most urgent first.
// Its days are those of now's time zone. Nothing is due of a jar that is on hold
// or no longer live.
func (b Batch) Due(s State, now time.Time) []Todo {
	if !s.Stage.Live() || s.Hold != "" {
		return nil
	}
	var todos []Todo
	for _, st := range stepsOf(b.Base) {
		if st.stage != s.Stage {
			continue
		}
		if t, ok := b.Plan.todo(st, s, now); ok {
			todos = append(todos, t)
		}
	}
	sortTodos(todos, func(t Todo) Todo { return t })
	return todos
}

// sortTodos puts the most urgent first.
func sortTodos[T any](all []T, of func(T) Todo) {
	sort.SliceStable(all, func(i, j int) bool {
		a, b := of(all[i]), of(all[j])
		if a.Urgency != b.Urgency {
			return a.Urgency > b.Urgency
		}
		return a.Until.Before(b.Until)
	})
}

// reckonedFrom is when the step's days begin to count; ok is false when they do
// not yet.
func (st step) reckonedFrom(s State) (w When, ok bool) {
	if st.since == nil {
		return s.StageSince, true
	}
	if since := st.since.at(s); since != nil {
		return *since, true
	}
	return When{}, false
}

// dayAfter is noon n calendar days after t in that zone. Days are added as
// dates, so that an hour more or less of summer time moves none.
func dayAfter(t time.Time, n int, loc *time.Location) time.Time {
	y, m, d := t.In(loc).Date()
	return time.Date(y, m, d+n, 12, 0, 0, 0, loc)
}

// daysBetween counts the midnights from a to b in b's zone.
func daysBetween(a, b time.Time) int {
	day := func(t time.Time) time.Time {
		y, m, d := t.In(b.Location()).Date()
		return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	}
	return int(day(b).Sub(day(a)).Hours() / 24)
}

func (p Plan) todo(st step, s State, now time.Time) (Todo, bool) {
	since, ok := st.reckonedFrom(s)
	days := p.days(st)
	if !ok || days.Off || (st.until != nil && st.until(s) != nil) {
		return Todo{}, false
	}
	loc, counted := now.Location(), ""
	if st.since != nil {
		counted = st.counted() // else the sentence begins with the stage
	}
	t := Todo{Do: st.do, What: st.what, Why: st.why, Rule: ruleWords(days, counted), Every: days.Every,
		From: dayAfter(since.At, days.First, loc), Until: dayAfter(since.At, days.Last, loc)}
	if st.do == DoMother && s.Starter != "" {
		t.Do, t.What, t.Why = DoAcetic, string(DoAcetic), "a starter is in already"
	}
	if a := s.Acidity; st.do == DoTitrate && a != nil && a.Basis != ByTitration {
		t.Why = "it was not titrated as it stands"
	}
	if st.done != nil {
		// A finished jar that was titrated just before it was called so need not
		// be titrated again.
		if at := st.done(s); at != nil && (st.stage == Finished || !at.Before(since.Earliest())) {
			t.From = dayAfter(*at, days.Every, loc)
			t.Until = dayAfter(*at, days.Every+days.Every/3, loc)
			t.Rule = "every " + countDays(days.Every)
			if days.Every > 1 {
				t.Rule += fmt.Sprintf(", done %s", agoWords(daysBetween(*at, now)))
			}
		}
	}
	return t.judged(now), true
}

func agoWords(days int) string {
	switch days {
	case 0:
		return "today"
	case 1:
		return "yesterday"
	}
	return fmt.Sprintf("%d days ago", days)
}

// judged is t with its urgency on now's day.
func (t Todo) judged(now time.Time) Todo {
	switch {
	case daysBetween(t.Until, now) > 0:
		t.Urgency = Overdue
	case daysBetween(t.From, now) >= 0:
		t.Urgency = DueNow
	default:
		t.Urgency = Coming
	}
	t.Status = t.Urgency.String()
	return t
}

// longOverdueDays is after how many days overdue a thing was rather done and not
// logged, or forgotten, than put off (common practice, no published source).
const longOverdueDays = 14

// LongOverdue tells that t was to be done weeks ago, as in a log that begins late.
func (t Todo) LongOverdue(now time.Time) bool { return daysBetween(t.Until, now) > longOverdueDays }

// NextDates are the dates that a jar's label carries, in that zone: the coming
// once-only steps of its plan, soonest first, n at most. They are guides, since
// the label is printed before anyone knows how the jar will do.
func (b Batch) NextDates(s State, loc *time.Location, n int) []Todo {
	var out []Todo
	at := s.StageSince.At.In(loc)
	for _, st := range stepsOf(b.Base) {
		days := b.Plan.days(st)
		if days.Every == 1 || days.Off {
			continue
		}
		switch {
		case st.stage == s.Stage:
			if t, ok := b.Plan.todo(st, s, at); ok {
				out = append(out, t)
			}
		case st.stage == Acetic && st.do == DoTitrate && (s.Stage == Must || s.Stage == Alcoholic):
			begin := b.aceticBegins(s, loc)
			out = append(out, Todo{Do: st.do, What: st.what, Why: st.why, From: dayAfter(begin, days.First, loc), Until: dayAfter(begin, days.Last, loc)})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].From.Before(out[j].From) })
	return out[:min(n, len(out))]
}

// aceticBegins is the first day on which the plan lets the acetic stage begin:
// when the fruit may come out, or the mother go in.
func (b Batch) aceticBegins(s State, loc *time.Location) time.Time {
	for _, st := range stepsOf(b.Base) {
		if st.stage != Alcoholic || (st.do != DoStrain && st.do != DoMother) {
			continue
		}
		if since, ok := st.reckonedFrom(s); ok {
			return dayAfter(since.At, b.Plan.days(st).First, loc)
		}
	}
	return s.StageSince.At
}

// Reason is the sentence behind a jar's todo: "alcoholic for 12 days; strain
// between day 7 and 14 of the batch: spent fruit gives nothing more and spoils".
func (t Todo) Reason(s State, now time.Time) string {
	days := max(0, daysBetween(s.StageSince.At, now))
	return fmt.Sprintf("%s for %d %s; %s %s: %s", s.Stage, days, plural(days, "day"), t.What, t.Rule, t.Why)
}

func plural(n int, word string) string {
	if n == 1 {
		return word
	}
	return word + "s"
}
