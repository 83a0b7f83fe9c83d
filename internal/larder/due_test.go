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
	watered := since(Finished, 20, 150)
	watered.Acidity = &Acidity{GPer100ML: 5.4, ExpandedUGPer100ML: 0.3, Basis: Computed, When: daysAgo(25)}
	before, weak, about4 := watered, watered, watered
	before.Acidity = &Acidity{GPer100ML: 7.9, ExpandedUGPer100ML: 0.5, Basis: ByTitration, When: daysAgo(25)}
	weak.Acidity = &Acidity{GPer100ML: 3.3, ExpandedUGPer100ML: 0.3, Basis: ByTitration, When: daysAgo(5)}
	about4.Acidity = &Acidity{GPer100ML: 3.8, ExpandedUGPer100ML: 0.3, Basis: ByTitration, When: daysAgo(5)}
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
		"finished, titrated":       {Ale, before, []string{"due: bottle", "coming: titrate"}},
		"finished, watered since":  {Ale, watered, []string{"overdue: titrate", "due: bottle"}},
		// Under 4 g/100 mL it is no vinegar (FDA CPG 525.825), and no bottle is asked for.
		"finished, proved weak": {Ale, weak, []string{"coming: titrate"}},
		"finished, about at 4":  {Ale, about4, []string{"due: bottle", "coming: titrate"}},
		"on hold":               {Ale, held, nil},
		"discarded":             {Ale, since(Discarded, 3, 150), nil},
	} {
		if got := whats(Batch{Base: row.base}.Due(row.s, testNow)); !slices.Equal(got, row.want) {
			t.Errorf("%s: %q, want %q", name, got, row.want)
		}
	}
}

// Every live stage of every base asks for something, so that no jar is forgotten.
func TestEveryLiveJarWantsSomething(t *testing.T) {
	for _, base := range Bases() {
		for _, stage := range Stages() {
			todos := Batch{Base: base}.Due(since(stage, 10, 20), testNow)
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
	watered := since(Finished, 20, 150)
	watered.Acidity = &Acidity{GPer100ML: 5.4, Basis: Computed, When: daysAgo(25)}
	if got := (Batch{Base: Ale}).Due(watered, testNow)[0].Reason(watered, testNow); got != "finished for 20 days; titrate by day 7, then every 90 days: it was not titrated as it stands" {
		t.Errorf("Reason = %s", got)
	}
	todo := Batch{Base: FruitScraps}.Due(since(Alcoholic, 12, 12), testNow)[1]
	if got := todo.Reason(since(Alcoholic, 12, 12), testNow); got != "alcoholic for 12 days; strain between day 7 and 14 of the batch: spent fruit gives nothing more and spoils" {
		t.Errorf("Reason = %s", got)
	}
	for want, row := range map[string]struct {
		base Base
		s    State
	}{
		"must for 1 day; stir every day: ":                                                {FruitScraps, since(Must, 1, 1)},
		"acetic for 9 days; first look between day 7 and 14: ":                            {Wine, since(Acetic, 9, 9)},
		"alcoholic for 2 days; add the mother by day 3: ":                                 {Wine, since(Alcoholic, 2, 2)},
		"must for 9 days; look for bubbles between day 2 and 5: ":                         {Juice, since(Must, 9, 9)},
		"maturing for 50 days; titrate again between day 28 and 42, then every 28 days: ": {Juice, since(Maturing, 50, 90)},
	} {
		got := Batch{Base: row.base}.Due(row.s, testNow)[0].Reason(row.s, testNow)
		if !strings.HasPrefix(got, want) {
			t.Errorf("Reason = %s, want it to begin with %s", got, want)
		}
	}
}

// Days are calendar days of the kitchen: two jars filled half an hour before and
// after midnight have other days, and the hour that summer time takes on 25
// October 2026 in Dublin (European Union Directive 2000/84/EC: the last Sunday)
// moves neither.
func TestDaysAcrossSummerTime(t *testing.T) {
	dublin, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	for started, want := range map[string]string{
		"2026-10-24 00:30": "31 Oct – 7 Nov", "2026-10-23 23:30": "30 Oct – 6 Nov",
		"2026-10-24 23:30": "31 Oct – 7 Nov", "2026-10-25 00:30": "1–8 Nov",
	} {
		w := ExactAt(at(t, dublin, started))
		s := State{Stage: Must, StageSince: w, StartedAt: w}
		b := Batch{Base: FruitScraps}
		for _, now := range []time.Time{w.At.In(dublin), w.At.In(dublin).AddDate(0, 0, 20)} {
			todos := b.Due(s, now)
			i := slices.IndexFunc(todos, func(t Todo) bool { return t.Do == DoStrain })
			if got := todos[i].Window(dublin); got != want {
				t.Errorf("started %s, strain %s, want %s", started, got, want)
			}
		}
		// It is due from the first minute of its day in the kitchen, not in Greenwich.
		first := dayAfter(w.At, 7, dublin)
		for hour, urgency := range map[time.Duration]Urgency{-12*time.Hour - time.Minute: Coming, -12 * time.Hour: DueNow} {
			for _, todo := range b.Due(s, first.Add(hour)) {
				if todo.Do == DoStrain && todo.Urgency != urgency {
					t.Errorf("started %s: %s at %s, want %s", started, todo.Status, first.Add(hour), urgency)
				}
			}
		}
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
		for _, todo := range (Batch{Base: row.base}).NextDates(row.s, time.UTC, 3) {
			got = append(got, todo.What+" "+todo.Window(time.UTC))
		}
		if !slices.Equal(got, row.want) {
			t.Errorf("%s: %q, want %q", name, got, row.want)
		}
	}
	if got := (Batch{Base: FruitScraps}).NextDates(since(Must, 0, 0), time.UTC, 2); len(got) != 2 {
		t.Errorf("%d dates, want 2", len(got))
	}
}

// What leads on of a jar's tasks guards it from spoiling, whatever else is due, and of
// those the last in the order of the work.
func TestForemost(t *testing.T) {
	task := func(do Deed, day int) Task {
		return Task{Todo: Todo{Do: do, Until: time.Date(2026, 8, day, 12, 0, 0, 0, time.UTC)}}
	}
	for name, row := range map[string]struct {
		tasks []Task
		want  Deed
	}{
		"fruit":           {[]Task{task(DoStir, 1), task(DoBubbles, 5), task(DoStrain, 14)}, DoStrain},
		"strained":        {[]Task{task(DoBubbles, 5), task(DoStir, 9)}, DoStir},
		"nothing guards":  {[]Task{task(DoGravity, 8), task(DoMother, 26)}, DoMother},
		"the first look":  {[]Task{task(DoLook, 1), task(DoTitrate, 15)}, DoLook},
		"the other order": {[]Task{task(DoTitrate, 15), task(DoLook, 1)}, DoLook},
		"one":             {[]Task{task(DoBottle, 1)}, DoBottle},
	} {
		if got := row.tasks[Foremost(row.tasks)].Do; got != row.want {
			t.Errorf("%s: %s leads on, want %s", name, got, row.want)
		}
	}
	noon := time.Date(2026, 8, 20, 12, 0, 0, 0, time.UTC)
	for day, want := range map[int]bool{5: true, 6: false, 19: false, 25: false} {
		if got := task(DoStir, day).LongOverdue(noon); got != want {
			t.Errorf("overdue since the %dth: %v, want %v", day, got, want)
		}
	}
}
