package larder

import (
	"fmt"
	"sort"
	"time"
)

// step is one row of a plan: what to do with a jar of such a base in such a
// stage, and when, counted from the start of the batch or of the stage.
type step struct {
	bases []Base // empty: all
	stage Stage
	do    Deed
	what  string
	why   string
	since func(State) *When      // the days count from here, nil: not yet; no since: from the stage's start
	first int                    // day from which it is due
	last  int                    // day after which it is overdue
	every int                    // repeat after so many days; 0 once
	done  func(State) *time.Time // when it was done last; nil: never known to be
	until func(State) *time.Time // not asked for any more once this happened
}

// Deed names a step for programs, so that a page can offer the right form.
type Deed string

// The deeds of the plan.
const (
	DoStir    Deed = "stir"
	DoLook    Deed = "look"
	DoBubbles Deed = "look for bubbles"
	DoStrain  Deed = "strain"
	DoMother  Deed = "add the mother"
	DoGravity Deed = "read the gravity"
	DoTitrate Deed = "titrate"
	DoBottle  Deed = "bottle"
)

// plan is the whole plan of the kitchen. Where a source is named the window is
// its; the rest is common practice, no published source.
var plan = []step{
	// Daily stirring keeps the fruit wet and mould away (Ohio State HYG-5346).
	{bases: []Base{FruitScraps}, stage: Must, do: DoStir, what: "stir", why: "wet fruit on top grows mould", first: 0, last: 1, every: 1, done: stirred, until: strained},
	{bases: []Base{FruitScraps}, stage: Alcoholic, do: DoStir, what: "stir", why: "wet fruit on top grows mould", first: 0, last: 1, every: 1, done: stirred, until: strained},
	{stage: Must, do: DoBubbles, what: "look for bubbles", why: "bubbles mean that it has become alcoholic", first: 2, last: 5},
	// Fruit comes out after about a week; common practice gives it up to two.
	{bases: []Base{FruitScraps}, stage: Must, do: DoStrain, what: "strain", why: "fruit comes out after one to two weeks", since: started, first: 7, last: 14, until: strained},
	{bases: []Base{FruitScraps}, stage: Alcoholic, do: DoStrain, what: "strain", why: "fruit comes out after one to two weeks", since: started, first: 7, last: 14, until: strained},
	{bases: []Base{FruitScraps}, stage: Alcoholic, do: DoMother, what: "add the mother", why: "strained and alcoholic, it wants a mother and air", since: onceStrained, first: 0, last: 14},
	{bases: []Base{Juice, OtherBase}, stage: Alcoholic, do: DoMother, what: "strain and add the mother", why: "the bubbling should be over", since: started, first: 7, last: 28},
	{bases: []Base{Honey}, stage: Alcoholic, do: DoMother, what: "strain and add the mother", why: "honey ferments slowly; the bubbling should be over", since: started, first: 28, last: 60},
	{bases: []Base{Wine, Ale}, stage: Alcoholic, do: DoMother, what: "add the mother", why: "it is alcoholic already", first: 0, last: 3},
	{bases: []Base{Juice, Honey, OtherBase}, stage: Alcoholic, do: DoGravity, what: "read the gravity", why: "a gravity that stands still tells that fermentation is over, or stuck", first: 7, last: 10, every: 7, done: gravityRead},
	{stage: Acetic, do: DoLook, what: "first look", why: "a mother should form and the smell turn sour; mould means discard", first: 7, last: 14, until: lookedAt},
	// HYG-5346: three to four weeks to vinegar in the warm; a month or two is common.
	{stage: Acetic, do: DoTitrate, what: "titrate", why: "only a titration tells how sour it is", first: 21, last: 28, every: 7, done: titrated},
	{stage: Maturing, do: DoTitrate, what: "titrate again", why: "acidity can fall when the alcohol is used up", first: 28, last: 42, every: 28, done: titrated},
	{stage: Finished, do: DoTitrate, what: "titrate", why: "the bottle's label says how sour it is", first: 0, last: 7, every: 90, done: titrated},
	{stage: Finished, do: DoBottle, what: "bottle", why: "full, closed bottles keep it from fading", first: 0, last: 30},
}

func started(s State) *When { return &s.StartedAt }

// onceStrained makes a step wait for the straining.
func onceStrained(s State) *When {
	if s.StrainedAt == nil {
		return nil
	}
	return &When{At: *s.StrainedAt, Precision: Exact}
}

func stirred(s State) *time.Time { return s.StirredAt }

func strained(s State) *time.Time { return s.StrainedAt }

func gravityRead(s State) *time.Time {
	if s.SG == nil {
		return nil
	}
	return &s.SG.When.At
}

func titrated(s State) *time.Time {
	if s.Acidity == nil || s.Acidity.Basis == Outdated {
		return nil
	}
	return &s.Acidity.When.At
}

// lookedAt takes any reading of the stage as a look.
func lookedAt(s State) *time.Time {
	at := titrated(s)
	if s.PH != nil {
		at = &s.PH.When.At
	}
	if at == nil || at.Before(s.StageSince.Earliest()) {
		return nil
	}
	return at
}

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

// Todo is one thing that a jar will want.
type Todo struct {
	Do      Deed      `json:"do"`
	What    string    `json:"what"`
	Why     string    `json:"why"`
	From    time.Time `json:"from"`
	Until   time.Time `json:"until"`
	Urgency Urgency   `json:"-"`
	Status  string    `json:"status"` // coming, due, overdue
}

// Window is the days of t in words: "29 Nov – 6 Dec".
func (t Todo) Window(loc *time.Location) string {
	from, until := t.From.In(loc), t.Until.In(loc)
	if from.Format("2006-01-02") == until.Format("2006-01-02") {
		return from.Format("2 Jan")
	}
	if from.Month() == until.Month() {
		return from.Format("2") + "–" + until.Format("2 Jan")
	}
	return from.Format("2 Jan") + " – " + until.Format("2 Jan")
}

// Due lists what this jar wants now and next, the most urgent first. Nothing
// is due of a jar that is on hold or no longer live.
func Due(base Base, s State, now time.Time) []Todo {
	if !s.Stage.Live() || s.Hold != "" {
		return nil
	}
	var todos []Todo
	for _, st := range plan {
		if st.stage != s.Stage || !st.covers(base) {
			continue
		}
		if t, ok := st.todo(s, now); ok {
			todos = append(todos, t)
		}
	}
	sort.SliceStable(todos, func(i, j int) bool {
		if todos[i].Urgency != todos[j].Urgency {
			return todos[i].Urgency > todos[j].Urgency
		}
		return todos[i].Until.Before(todos[j].Until)
	})
	return todos
}

func (st step) covers(base Base) bool {
	for _, b := range st.bases {
		if b == base {
			return true
		}
	}
	return len(st.bases) == 0
}

// reckonedFrom is when the step's days begin to count; ok is false when they do
// not yet.
func (st step) reckonedFrom(s State) (w When, ok bool) {
	if st.since == nil {
		return s.StageSince, true
	}
	if since := st.since(s); since != nil {
		return *since, true
	}
	return When{}, false
}

func (st step) todo(s State, now time.Time) (Todo, bool) {
	since, ok := st.reckonedFrom(s)
	if !ok {
		return Todo{}, false
	}
	if st.until != nil && st.until(s) != nil {
		return Todo{}, false
	}
	from, until := since.At.AddDate(0, 0, st.first), since.At.AddDate(0, 0, st.last)
	if st.done != nil {
		// A finished jar that was titrated just before it was called so need not
		// be titrated again.
		if at := st.done(s); at != nil && (st.stage == Finished || !at.Before(since.Earliest())) {
			from = at.AddDate(0, 0, st.every)
			until = from.AddDate(0, 0, max(1, st.every/3))
		}
	}
	t := Todo{Do: st.do, What: st.what, Why: st.why, From: from, Until: until}
	switch {
	case now.After(until):
		t.Urgency = Overdue
	case !now.Before(from):
		t.Urgency = DueNow
	}
	t.Status = t.Urgency.String()
	return t, true
}

// NextDates are the dates that a jar's label carries: the coming once-only
// steps of its plan, soonest first, n at most. They are guides, since the label
// is printed before anyone knows how the jar will do.
func NextDates(base Base, s State, n int) []Todo {
	var out []Todo
	at := s.StageSince.At
	stage := s.Stage
	for _, st := range plan {
		if st.every == 1 || !st.covers(base) {
			continue
		}
		switch {
		case st.stage == stage:
			if t, ok := st.todo(s, at); ok {
				out = append(out, t)
			}
		case st.stage == Acetic && st.do == DoTitrate && (stage == Must || stage == Alcoholic):
			begin := aceticBegins(base, s)
			out = append(out, Todo{Do: st.do, What: st.what, Why: st.why, From: begin.AddDate(0, 0, st.first), Until: begin.AddDate(0, 0, st.last)})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].From.Before(out[j].From) })
	return out[:min(n, len(out))]
}

// aceticBegins is the first day on which the plan lets the acetic stage begin:
// when the fruit may come out, or the mother go in.
func aceticBegins(base Base, s State) time.Time {
	for _, st := range plan {
		if st.stage != Alcoholic || !st.covers(base) || (st.do != DoStrain && st.do != DoMother) {
			continue
		}
		if since, ok := st.reckonedFrom(s); ok {
			return since.At.AddDate(0, 0, st.first)
		}
	}
	return s.StageSince.At
}

// Reason is the sentence behind a todo: "alcoholic for 12 days; fruit comes out
// after one to two weeks".
func (t Todo) Reason(s State, now time.Time) string {
	days := int(now.Sub(s.StageSince.At).Hours() / 24)
	return fmt.Sprintf("%s for %d %s; %s", s.Stage, days, plural(days, "day"), t.Why)
}

func plural(n int, word string) string {
	if n == 1 {
		return word
	}
	return word + "s"
}
