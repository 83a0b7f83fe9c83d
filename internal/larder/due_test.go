package larder

import (
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
)

// since is a state in that stage since so many days, started as long ago or longer.
func since(stage Stage, days, started int) State {
	return State{Stage: stage, StageSince: daysAgo(days), StartedAt: daysAgo(started)}
}

func whats(todos []Todo) []string {
	var out []string
	for _, t := range todos {
		out = append(out, t.Status+": "+t.What)
	}
	return out
}

// The windows: daily stirring, and three to four weeks from the straining to
// vinegar, after Ohio State University HYG-5346; fruit out after one to two
// weeks and the rest are common practice, no published source.
func TestDue(t *testing.T) {
	stirredToday := since(Must, 5, 5)
	stirredToday.StirredAt = new(testNow.Add(-time.Hour))
	strainedAlready := since(Alcoholic, 12, 20)
	strainedAlready.StirredAt, strainedAlready.StrainedAt = new(testNow), new(daysAgo(13).At)
	titratedLately := since(Acetic, 40, 60)
	titratedLately.PH = &Measured[chem.PH]{Value: 3.1, When: daysAgo(2)}
	titratedLately.Acidity = &Acidity{Basis: ByTitration, When: daysAgo(2)}
	outdated := titratedLately
	outdated.Acidity = &Acidity{Basis: Outdated, When: daysAgo(2)}
	held := since(Acetic, 40, 60)
	held.Hold = "mould"
	for name, row := range map[string]struct {
		base Base
		s    State
		want []string
	}{
		"scraps, just started":     {FruitScraps, since(Must, 0, 0), []string{"coming: stir", "coming: look for bubbles", "coming: strain"}},
		"scraps, unstirred a week": {FruitScraps, since(Must, 6, 6), []string{"overdue: stir", "overdue: look for bubbles", "coming: strain"}},
		"scraps, stirred":          {FruitScraps, stirredToday, []string{"due: look for bubbles", "coming: stir", "coming: strain"}},
		"scraps, ten days":         {FruitScraps, since(Alcoholic, 4, 10), []string{"overdue: stir", "due: strain"}},
		"scraps, three weeks":      {FruitScraps, since(Alcoholic, 18, 21), []string{"overdue: stir", "overdue: strain"}},
		"scraps, strained before":  {FruitScraps, strainedAlready, []string{"due: add the mother"}},
		"juice":                    {Juice, since(Alcoholic, 9, 9), []string{"due: read the gravity", "due: strain and add the mother"}},
		"wine":                     {Wine, since(Alcoholic, 1, 1), []string{"due: add the mother"}},
		"acetic, a month":          {Wine, since(Acetic, 29, 40), []string{"overdue: first look", "overdue: titrate"}},
		"acetic, titrated":         {Wine, titratedLately, []string{"coming: titrate"}},
		"acetic, outdated since":   {Wine, outdated, []string{"overdue: titrate"}},
		"finished":                 {Ale, since(Finished, 3, 150), []string{"due: titrate", "due: bottle"}},
		"on hold":                  {Ale, held, nil},
		"discarded":                {Ale, since(Discarded, 3, 150), nil},
	} {
		if got := whats(Due(row.base, row.s, testNow)); !slices.Equal(got, row.want) {
			t.Errorf("%s: %q, want %q", name, got, row.want)
		}
	}
}

// Every live stage of every base asks for something, so that no jar is forgotten.
func TestEveryLiveJarWantsSomething(t *testing.T) {
	for _, base := range Bases() {
		for _, stage := range Stages() {
			todos := Due(base, since(stage, 10, 20), testNow)
			if stage.Live() != (len(todos) > 0) {
				t.Errorf("%s, %s: %q", base, stage, whats(todos))
			}
			if !slices.IsSortedFunc(todos, func(a, b Todo) int { return int(b.Urgency) - int(a.Urgency) }) {
				t.Errorf("%s, %s: %q is not in order", base, stage, whats(todos))
			}
			for _, todo := range todos {
				if todo.Until.Before(todo.From) || todo.Why == "" || todo.Status != todo.Urgency.String() {
					t.Errorf("%s, %s: %+v", base, stage, todo)
				}
			}
		}
	}
}

func TestTodoInWords(t *testing.T) {
	day := func(s string) time.Time { return at(t, time.UTC, s) }
	for want, todo := range map[string]Todo{
		"29 Nov":          {From: day("2026-11-29 08:00"), Until: day("2026-11-29 20:00")},
		"23–30 Nov":       {From: day("2026-11-23"), Until: day("2026-11-30")},
		"29 Nov – 6 Dec":  {From: day("2026-11-29"), Until: day("2026-12-06")},
		"28 Dec – 11 Jan": {From: day("2026-12-28"), Until: day("2027-01-11")},
	} {
		if got := todo.Window(time.UTC); got != want {
			t.Errorf("Window = %s, want %s", got, want)
		}
	}
	todo := Todo{Why: "fruit comes out after one to two weeks"}
	if got := todo.Reason(since(Alcoholic, 12, 12), daysAgo(0).At); got != "alcoholic for 12 days; fruit comes out after one to two weeks" {
		t.Errorf("Reason = %s", got)
	}
	if got := todo.Reason(since(Must, 1, 1), daysAgo(0).At); !strings.HasPrefix(got, "must for 1 day;") {
		t.Errorf("Reason = %s", got)
	}
}

func TestNextDates(t *testing.T) {
	for name, row := range map[string]struct {
		base Base
		s    State
		want []string
	}{
		"scraps":  {FruitScraps, since(Must, 0, 0), []string{"look for bubbles 27–30 Nov", "strain 2–9 Dec", "titrate 23–30 Dec"}},
		"ale":     {Ale, since(Alcoholic, 0, 0), []string{"add the mother 25–28 Nov", "titrate 16–23 Dec"}},
		"acetic":  {Wine, since(Acetic, 0, 40), []string{"first look 2–9 Dec", "titrate 16–23 Dec"}},
		"retired": {Wine, since(Empty, 0, 40), nil},
	} {
		var got []string
		for _, todo := range NextDates(row.base, row.s, 3) {
			got = append(got, todo.What+" "+todo.Window(time.UTC))
		}
		if !slices.Equal(got, row.want) {
			t.Errorf("%s: %q, want %q", name, got, row.want)
		}
	}
	if got := NextDates(FruitScraps, since(Must, 0, 0), 2); len(got) != 2 {
		t.Errorf("%d dates, want 2", len(got))
	}
}
