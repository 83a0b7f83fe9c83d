package larder

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

// Every usual plan passes its own check, each step has one name within its kind,
// and goes on a line by itself when it is changed.
func TestUsualPlans(t *testing.T) {
	for _, kind := range PlanKinds() {
		seen := map[StepID]bool{}
		plan := Plan{}
		for _, s := range (Plan{}).Steps(kind) {
			if seen[s.ID] || s.Why == "" || s.Rule() == "" || s.Changed || s.Days != s.Usual {
				t.Errorf("%s: step %+v", kind, s)
			}
			seen[s.ID], plan[s.ID] = true, s.Days
		}
		if err := plan.Check(kind); err != nil {
			t.Errorf("%s: the usual plan is refused: %v", kind, err)
		}
		if got := plan.Changes(kind); len(got) != 0 {
			t.Errorf("%s: the usual plan is kept as changed: %v", kind, got)
		}
		if parsed, err := ParsePlanKind(strings.ToUpper(strings.ReplaceAll(string(kind), " ", "-"))); err != nil || parsed != kind {
			t.Errorf("%s is read as %s, %v", kind, parsed, err)
		}
	}
}

func TestPlanCheck(t *testing.T) {
	for name, row := range map[string]struct {
		kind Base
		plan Plan
		want []string
	}{
		"fine":             {FruitScraps, Plan{"must/strain": {First: 3, Last: 3}, "acetic/titrate": {First: 0, Last: 730, Every: 730}}, nil},
		"off":              {KitchenTasks, Plan{"kitchen/check-the-base": {Off: true}}, nil},
		"backwards":        {FruitScraps, Plan{"must/strain": {First: 9, Last: 3}}, []string{"until_days:must/strain"}},
		"negative":         {Wine, Plan{"acetic/look": {First: -1, Last: 3}}, []string{"from_days:acetic/look"}},
		"endless":          {Wine, Plan{"acetic/look": {First: 1, Last: 731}}, []string{"until_days:acetic/look"}},
		"repeated strain":  {FruitScraps, Plan{"must/strain": {First: 1, Last: 3, Every: 2}}, []string{"every_days:must/strain"}},
		"titrated once":    {Juice, Plan{"acetic/titrate": {First: 1, Last: 3}}, []string{"every_days:acetic/titrate"}},
		"of another kind":  {Juice, Plan{"must/strain": {First: 1, Last: 3}}, []string{"step"}},
		"days for a meter": {KitchenTasks, Plan{"kitchen/calibrate-the-meter": {Every: 3}}, []string{"from_days:kitchen/calibrate-the-meter"}},
		"no kind":          {"mead", Plan{}, []string{"kind"}},
		"all at once":      {FruitScraps, Plan{"must/strain": {First: -1, Last: -3}, "must/stir": {First: 1, Last: 1}}, []string{"every_days:must/stir", "from_days:must/strain", "until_days:must/strain"}},
	} {
		err := row.plan.Check(row.kind)
		if len(row.want) == 0 && err == nil {
			continue
		}
		if got := fields(t, err); !slices.Equal(got, row.want) {
			t.Errorf("%s: problems with %q, want %q", name, got, row.want)
		}
	}
}

// A plan moves what is due, and only for its own step.
func TestPlanMovesWhatIsDue(t *testing.T) {
	s := since(Must, 6, 6)
	b := Batch{Base: FruitScraps, Plan: Plan{"must/strain": {First: 5, Last: 5}, "must/stir": {First: 1, Last: 1, Every: 1, Off: true}}}
	if got, want := whats(b.Due(s, testNow)), []string{"overdue: strain", "overdue: look for bubbles"}; !slices.Equal(got, want) && !slices.Equal(got, []string{want[1], want[0]}) {
		t.Errorf("%q, want %q", got, want)
	}
	titratedLately := since(Acetic, 40, 60)
	titratedLately.Acidity = &Acidity{Basis: ByTitration, When: daysAgo(8)}
	for every, want := range map[int]string{7: "due: titrate", 5: "overdue: titrate", 14: "coming: titrate"} {
		b := Batch{Base: Wine, Plan: Plan{"acetic/titrate": {First: 21, Last: 28, Every: every}}}
		if got := whats(b.Due(titratedLately, testNow)); !slices.Equal(got, []string{want}) {
			t.Errorf("every %d days: %q, want %q", every, got, want)
		}
	}
	if got := b.NextDates(since(Must, 0, 0), time.UTC, 3); got[0].What != "look for bubbles" || got[1].Window(time.UTC) != "30 Nov" {
		t.Errorf("the label says %v", got)
	}
}

// What needs a hand: counts, order, and how far it looks.
func TestTodayOf(t *testing.T) {
	jar := func(name string, base Base, s State) ShelfJar {
		return ShelfJar{Jar: Jar{Tag: Tag(strings.ToUpper(name)), Letter: "A", State: s}, Batch: Batch{Name: name, Base: base}}
	}
	held := since(Acetic, 40, 60)
	held.Hold = "mould"
	shelf := []ShelfJar{jar("scraps", FruitScraps, since(Must, 6, 6)), jar("held", Wine, held), jar("old", Wine, since(Empty, 1, 90)), jar("cider", Wine, since(Acetic, 18, 30)), jar("ripe", Wine, since(Maturing, 2, 90))}
	today := TodayOf(shelf, BenchState{}, Kitchen{}, nil, testNow)
	if today.Live != 4 || today.Held != 1 {
		t.Errorf("%d live, %d held", today.Live, today.Held)
	}
	if !slices.IsSortedFunc(today.Tasks, func(a, b Task) int { return int(b.Urgency) - int(a.Urgency) }) {
		t.Errorf("not in order: %v", today.Tasks)
	}
	far := func(days int) []string {
		var out []string
		for _, task := range today.Within(days, testNow).Tasks {
			if task.Urgency == Coming {
				out = append(out, task.Batch+" "+task.What)
			}
		}
		return out
	}
	// The cider's titration comes on day 21, in three days; that of what ripes on
	// day 28, in 26; the scraps are strained on day 7, tomorrow.
	for days, want := range map[int][]string{0: nil, 1: {"scraps strain"}, 3: {" check the base", "cider titrate", "scraps strain"}, 26: {" check the base", "cider titrate", "ripe titrate again", "scraps strain"}} {
		got := far(days)
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("within %d days %q, want %q", days, got, want)
		}
	}
}

// A value that does not go with the one before is told; one that does is not.
func TestOutOfLine(t *testing.T) {
	before := State{PH: &Measured[chem.PH]{Value: 3.2}, SG: &Measured[chem.SpecificGravity]{Value: 1.010}, Brix: &Measured[chem.DegreesBrix]{Value: 5},
		Acidity: &Acidity{Basis: ByTitration, GPer100ML: 4.0, ExpandedUGPer100ML: 0.1, When: daysAgo(7)}}
	// 5 mL of sample and 0.1 mol/L: 1 mL of base is 0.1201 g/100 mL (0.1 x 60.05 / (10 x 5)).
	titre := func(ml float64) Titration {
		var tt Titration
		tt.SampleML, tt.BaseMolPerL = 5, 0.1
		tt.BaseCheckedDaysAgo, tt.BaseStdUMolPerL = new(3), 0.0001
		for range 2 {
			tt.Replicates = append(tt.Replicates, chem.Replicate{EndML: chem.Millilitres(ml)})
		}
		return tt
	}
	for name, row := range map[string]struct {
		body Body
		want string // empty: nothing
	}{
		"pH near":          {Reading{PH: new(chem.PH(3.0))}, ""},
		"pH far":           {Reading{PH: new(chem.PH(4.0))}, "pH went from 3.2 to 4"},
		"gravity falls":    {Reading{SG: new(chem.SpecificGravity(1.001))}, ""},
		"gravity rises":    {Reading{SG: new(chem.SpecificGravity(1.020))}, "gravity rose from 1.010 to 1.020"},
		"brix rises":       {Reading{Brix: new(chem.DegreesBrix(9))}, "Brix rose from 5 to 9"},
		"a rough pH":       {Reading{PH: new(chem.PH(3.1)), PHMark: "no calibration"}, "pH is rough: no calibration"},
		"acidity grows":    {titre(36), ""},                          // 4.32
		"acidity the same": {titre(33.2), ""},                        // 3.99
		"acidity falls":    {titre(28), "Acidity fell from 4.0"},     // 3.36
		"acidity leaps":    {titre(66), "Acidity rose by 3.9 g/100"}, // 7.93
	} {
		got := strings.Join(OutOfLine(before, Entry{When: ExactAt(testNow), Body: row.body}), " ")
		if (row.want == "") != (got == "") || !strings.Contains(got, row.want) {
			t.Errorf("%s: %q, want %q", name, got, row.want)
		}
	}
	if got := OutOfLine(State{}, Entry{When: ExactAt(testNow), Body: Reading{PH: new(chem.PH(4))}}); len(got) != 0 {
		t.Errorf("without anything before it is out of line: %q", got)
	}
	before.Acidity.Basis = Outdated
	if got := OutOfLine(before, Entry{When: ExactAt(testNow), Body: titre(5)}); len(got) != 0 {
		t.Errorf("against an outdated acidity: %q", got)
	}
}

// A round goes on behind the jar that was measured, comes round to what was left
// out, and ends.
func TestRoundNext(t *testing.T) {
	done := uuid.New()
	r := Round{Jars: []RoundJar{{Jar: "A"}, {Jar: "B", Act: done}, {Jar: "C"}, {Jar: "D", Skipped: true}}}
	for after, want := range map[Tag]Tag{"": "A", "A": "C", "B": "C", "C": "A", "D": "A", "Z": "A"} {
		if got := r.Next(after); got != want {
			t.Errorf("after %q comes %q, want %q", after, got, want)
		}
	}
	if got := (Round{Jars: []RoundJar{{Jar: "A", Act: done}}}).Next("A"); got != "" {
		t.Errorf("a round that is done goes on with %q", got)
	}
	if got := (Round{}).Next(""); got != "" {
		t.Errorf("an empty round goes on with %q", got)
	}
	var problems Problems
	if err := (Measuring{}).Check(Jar{State: since(Acetic, 3, 9)}, testNow); !errors.As(err, &problems) {
		t.Errorf("nothing measured was taken: %v", err)
	}
}

func TestShelfFilter(t *testing.T) {
	s := ShelfJar{Jar: Jar{Tag: "K0RM71", Letter: "B", Place: "cellar", State: since(Acetic, 40, 60)}, Batch: Batch{ID: 3, Name: "Pear trimmings", Base: Wine}}
	for text, want := range map[string]bool{"": true, "pear": true, "TRIM pear": true, "pear cellar": true, "pear attic": false, "k0rm": true, "korm": true, "rm7l": true, "k0r-m71": true, "b": true, "quince": false} {
		if got := (ShelfFilter{Text: text}).Match(s, testNow); got != want {
			t.Errorf("%q matches: %v", text, got)
		}
	}
	for name, row := range map[string]struct {
		f    ShelfFilter
		want bool
	}{
		"stage": {ShelfFilter{Stage: Acetic}, true}, "another stage": {ShelfFilter{Stage: Must}, false}, "batch": {ShelfFilter{Batch: 3}, true}, "another batch": {ShelfFilter{Batch: 4}, false},
		"held": {ShelfFilter{Held: true}, false}, "due": {ShelfFilter{Due: true}, true}, "place": {ShelfFilter{Place: "attic"}, false},
	} {
		if got := row.f.Match(s, testNow); got != row.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}
