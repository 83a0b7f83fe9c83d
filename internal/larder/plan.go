package larder

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"cruet/internal/chem"
)

// Deed names a step for programs, so that a page can offer the right form.
type Deed string

// The deeds of the plan. The last two are the kitchen's own, of no jar.
const (
	DoStir      Deed = "stir"
	DoLook      Deed = "look"
	DoBubbles   Deed = "look for bubbles"
	DoStrain    Deed = "strain"
	DoMother    Deed = "add the mother"
	DoAcetic    Deed = "move it on to acetic" // in place of DoMother once a starter is in
	DoGravity   Deed = "read the gravity"
	DoTitrate   Deed = "titrate"
	DoBottle    Deed = "bottle"
	DoCalibrate Deed = "calibrate the meter"
	DoCheckBase Deed = "check the base"
)

// Measures tells that the deed is done with instruments on the bench.
func (d Deed) Measures() bool { return d == DoLook || d == DoGravity || d == DoTitrate }

// Guards tells that the deed keeps what spoils a jar away, or finds it: fruit is kept
// wet and comes out, and mould is looked for.
func (d Deed) Guards() bool { return d == DoStir || d == DoLook || d == DoStrain }

// KitchenTasks is the kind of plan that holds what the bench wants, beside the
// kinds of batch; it is no base of a batch.
const KitchenTasks Base = "kitchen"

// PlanKinds lists the kinds that have a plan: the bases, and the kitchen.
func PlanKinds() []Base { return append(Bases(), KitchenTasks) }

// ParsePlanKind reads a base or "kitchen"; dashes stand for spaces.
func ParsePlanKind(text string) (Base, error) {
	if Base(strings.ToLower(strings.TrimSpace(text))) == KitchenTasks {
		return KitchenTasks, nil
	}
	b, err := ParseBase(strings.ReplaceAll(text, "-", " "))
	if err != nil {
		names := make([]string, 0, 7)
		for _, k := range PlanKinds() {
			names = append(names, string(k))
		}
		return "", Refuse("kind", "There is no plan for "+text+". The plans are for "+strings.Join(names, ", ")+".")
	}
	return b, nil
}

// StepID names a step within the plan of one kind of batch: "acetic/titrate".
type StepID string

// Days says when a step is due, counted in calendar days.
type Days struct {
	First int  `json:"from_days"`            // the day from which it is due
	Last  int  `json:"until_days"`           // the day after which it is overdue
	Every int  `json:"every_days,omitempty"` // repeated after so many days; 0: once
	Off   bool `json:"off,omitempty"`        // never asked for
}

// Plan is what a maker changed of the plan of one kind of batch. A step that is
// not in it goes by the usual days, so that the zero value is the usual plan.
type Plan map[StepID]Days

// step is one row of the usual plan: what to do with a jar of such a base in
// such a stage, and when, counted from the start of the batch or of the stage.
type step struct {
	bases []Base // empty: all
	stage Stage
	do    Deed
	what  string
	why   string
	days  Days
	since *origin                // the days count from here; nil: from the stage's start
	done  func(State) *time.Time // when it was done last; nil: never known to be
	until func(State) *time.Time // not asked for any more once this happened, or while it holds
}

// origin is a moment that days are counted from, and its words.
type origin struct {
	at   func(State) *When // nil: not yet
	text string            // "of the batch"
}

var (
	fromStart    = &origin{func(s State) *When { return &s.StartedAt }, "of the batch"}
	fromStrained = &origin{onceStrained, "after straining"}
)

// plan is the usual plan of the whole kitchen. Where a source is named the
// window is its; the rest is common practice, no published source.
var plan = []step{
	// Daily stirring keeps the fruit wet and mould away (Ohio State HYG-5346).
	{bases: []Base{FruitScraps}, stage: Must, do: DoStir, what: "stir", why: "wet fruit on top grows mould", days: Days{First: 1, Last: 1, Every: 1}, done: stirred, until: strained},
	{stage: Must, do: DoBubbles, what: "look for bubbles", why: "bubbles mean that it has become alcoholic", days: Days{First: 2, Last: 5}},
	// Fruit comes out after about a week; common practice gives it up to two.
	{bases: []Base{FruitScraps}, stage: Must, do: DoStrain, what: "strain", why: "spent fruit gives nothing more and spoils", days: Days{First: 7, Last: 14}, since: fromStart, until: strained},
	{bases: []Base{FruitScraps}, stage: Alcoholic, do: DoStir, what: "stir", why: "wet fruit on top grows mould", days: Days{First: 1, Last: 1, Every: 1}, done: stirred, until: strained},
	{bases: []Base{FruitScraps}, stage: Alcoholic, do: DoStrain, what: "strain", why: "spent fruit gives nothing more and spoils", days: Days{First: 7, Last: 14}, since: fromStart, until: strained},
	{bases: []Base{FruitScraps}, stage: Alcoholic, do: DoMother, what: "add the mother", why: "strained and alcoholic, it wants a mother and air", days: Days{First: 0, Last: 14}, since: fromStrained},
	{bases: []Base{Juice, Honey, OtherBase}, stage: Alcoholic, do: DoGravity, what: "read the gravity", why: "a gravity that stands still tells that fermentation is over, or stuck", days: Days{First: 7, Last: 10, Every: 7}, done: gravityRead},
	{bases: []Base{Juice, OtherBase}, stage: Alcoholic, do: DoMother, what: "strain and add the mother", why: "the bubbling should be over", days: Days{First: 7, Last: 28}, since: fromStart},
	{bases: []Base{Honey}, stage: Alcoholic, do: DoMother, what: "strain and add the mother", why: "honey ferments slowly; the bubbling should be over", days: Days{First: 28, Last: 60}, since: fromStart},
	{bases: unstrained, stage: Alcoholic, do: DoMother, what: "add the mother", why: "it is alcoholic already", days: Days{First: 0, Last: 3}},
	{stage: Acetic, do: DoLook, what: "first look", why: "a mother should form and the smell turn sour; mould means discard", days: Days{First: 7, Last: 14}, until: lookedAt},
	// HYG-5346: three to four weeks to vinegar in the warm; a month or two is common.
	{stage: Acetic, do: DoTitrate, what: "titrate", why: "only a titration tells how sour it is", days: Days{First: 21, Last: 28, Every: 7}, done: titrated},
	{stage: Maturing, do: DoTitrate, what: "titrate again", why: "acidity can fall when the alcohol is used up", days: Days{First: 28, Last: 42, Every: 28}, done: titrated},
	{stage: Finished, do: DoTitrate, what: "titrate", why: "the bottle's label says how sour it is", days: Days{First: 0, Last: 7, Every: 90}, done: titrated},
	{stage: Finished, do: DoBottle, what: "bottle", why: "full, closed bottles keep it from fading", days: Days{First: 0, Last: 30}, until: provedWeak},
}

// unstrained are the kinds of which nothing is strained on the way to vinegar.
var unstrained = []Base{Wine, Ale}

// benchPlan is what the bench wants; how long a calibration and a check hold
// stands in the kitchen's settings.
var benchPlan = []step{
	{do: DoCalibrate, what: "calibrate the meter", why: "a pH is as good as its calibration"},
	{do: DoCheckBase, what: "check the base", why: "a base that weakened makes every vinegar read stronger than it is"},
}

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

// titrated is when the liquid was titrated as it stands. What is reckoned after water
// or a blend says nothing of that, as little as what was outdated.
func titrated(s State) *time.Time {
	if s.Acidity == nil || s.Acidity.Basis != ByTitration {
		return nil
	}
	return &s.Acidity.When.At
}

// provedWeak is when it was measured to be too weak for vinegar: a closed bottle keeps
// that from working on, and not from spoiling.
func provedWeak(s State) *time.Time {
	if a := s.Acidity; a != nil && a.Basis != Outdated && a.GPer100ML > 0 && a.GPer100ML+a.ExpandedUGPer100ML < chem.WeakestVinegarGPer100ML {
		return &a.When.At
	}
	return nil
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

func (st step) id() StepID {
	stage := string(st.stage)
	if stage == "" {
		stage = string(KitchenTasks)
	}
	return StepID(stage + "/" + strings.ReplaceAll(string(st.do), " ", "-"))
}

func (st step) covers(base Base) bool { return len(st.bases) == 0 || slices.Contains(st.bases, base) }

// stepsOf are the steps of one kind, in the order of the work.
func stepsOf(kind Base) []step {
	if kind == KitchenTasks {
		return benchPlan
	}
	var out []step
	for _, st := range plan {
		if st.covers(kind) {
			out = append(out, st)
		}
	}
	return out
}

// days of a step as the maker has them.
func (p Plan) days(st step) Days {
	if d, ok := p[st.id()]; ok {
		return d
	}
	return st.days
}

// PlanStep is one step of a plan with the days in force and the usual ones.
type PlanStep struct {
	ID      StepID `json:"id"`
	Stage   Stage  `json:"stage,omitempty"` // none: the kitchen's own
	Do      Deed   `json:"do"`
	What    string `json:"what"`
	Why     string `json:"why"`
	Counted string `json:"counted"` // what the days count from, in words
	Repeats bool   `json:"repeats"` // every_days may be set
	Days    Days   `json:"days"`
	Usual   Days   `json:"usual"`
	Changed bool   `json:"changed"`
}

// Steps is the whole plan of that kind.
func (p Plan) Steps(kind Base) []PlanStep {
	var out []PlanStep
	for _, st := range stepsOf(kind) {
		d := p.days(st)
		one := PlanStep{ID: st.id(), Stage: st.stage, Do: st.do, What: st.what, Why: st.why,
			Counted: st.counted(), Repeats: st.days.Every > 0, Days: d, Usual: st.days, Changed: d != st.days}
		out = append(out, one)
	}
	return out
}

// counted says what the days of a step count from.
func (st step) counted() string {
	switch {
	case st.stage == "":
		return "when it no longer holds"
	case st.since != nil:
		return st.since.text
	}
	return "of the " + string(st.stage) + " stage"
}

// upperFirst begins a sentence.
func upperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// Rule is a step's days in words: "between day 7 and 14 of the batch".
func (s PlanStep) Rule() string { return ruleWords(s.Days, s.Counted) }

func ruleWords(d Days, counted string) string {
	text := fmt.Sprintf("between day %d and %d", d.First, d.Last)
	switch {
	case d.Off:
		return "not asked for"
	case d.Every == 1 && d.First <= 1:
		return "every day"
	case d.First == d.Last:
		text = fmt.Sprintf("on day %d", d.First)
	case d.First == 0:
		text = fmt.Sprintf("by day %d", d.Last)
	}
	if counted != "" {
		text += " " + counted
	}
	if d.Every > 0 {
		text += fmt.Sprintf(", then every %s", countDays(d.Every))
	}
	return text
}

func countDays(n int) string {
	if n == 1 {
		return "day"
	}
	return fmt.Sprintf("%d days", n)
}

// longestPlanDays is as far as a plan looks: two years.
const longestPlanDays = 730

// PlanField is the name of one of a step's fields in problems and forms.
func PlanField(id StepID, field string) string {
	return field + ":" + string(id)
}

// Check says all that is wrong with the changes to the plan of that kind.
func (p Plan) Check(kind Base) error {
	var problems Problems
	if !slices.Contains(PlanKinds(), kind) {
		_, err := ParsePlanKind(string(kind))
		problems.AddError("kind", err)
		return problems.Err()
	}
	known := map[StepID]step{}
	for _, st := range stepsOf(kind) {
		known[st.id()] = st
	}
	ids := make([]StepID, 0, len(p))
	for id := range p {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	for _, id := range ids {
		st, ok := known[id]
		if !ok {
			problems.Add("step", "The plan for "+string(kind)+" has no step "+string(id)+".")
			continue
		}
		st.checkDays(&problems, p[id])
	}
	return problems.Err()
}

func (st step) checkDays(p *Problems, d Days) {
	field := func(name string) string { return PlanField(st.id(), name) }
	if st.stage == "" {
		if d.First != 0 || d.Last != 0 || d.Every != 0 {
			p.Add(field("from_days"), "How long this holds is one of the kitchen's settings; here it can only be asked for or not.")
		}
		return
	}
	name := upperFirst(st.what)
	if d.First < 0 || d.First > longestPlanDays {
		p.Add(field("from_days"), fmt.Sprintf("%s: the first day is 0 to %d.", name, longestPlanDays))
	}
	if d.Last < d.First || d.Last > longestPlanDays {
		p.Add(field("until_days"), fmt.Sprintf("%s: the last day is not before the first, and %d at most.", name, longestPlanDays))
	}
	switch {
	case st.days.Every == 0 && d.Every != 0:
		p.Add(field("every_days"), name+" is done once, so it is not repeated.")
	case st.days.Every > 0 && (d.Every < 1 || d.Every > longestPlanDays):
		p.Add(field("every_days"), fmt.Sprintf("%s: repeat it after 1 to %d days.", name, longestPlanDays))
	}
}

// Changes leaves out of p what is as usual for that kind.
func (p Plan) Changes(kind Base) Plan {
	out := Plan{}
	for _, st := range stepsOf(kind) {
		if d, ok := p[st.id()]; ok && d != st.days {
			out[st.id()] = d
		}
	}
	return out
}
