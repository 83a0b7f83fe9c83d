package larder

import (
	"fmt"
	"time"
)

// ComingDays is how far ahead today's list looks, unless it is asked otherwise.
const ComingDays = 7

// ShelfJar is one jar on the shelf with the batch it belongs to.
type ShelfJar struct {
	Jar   Jar
	Batch Batch
}

// Name is the jar's in words: "Pear trimmings A".
func (s ShelfJar) Name() string { return s.Batch.Name + " " + s.Jar.Letter }

// Task is one thing to do, of a jar or of the bench.
type Task struct {
	Todo
	Reason string `json:"reason"`
	Jar    Tag    `json:"jar,omitempty"` // none: the bench's
	Batch  string `json:"batch_name,omitempty"`
	Letter string `json:"letter,omitempty"`
	Stage  Stage  `json:"stage,omitempty"`
	Place  string `json:"place,omitempty"`
}

// Today is what needs a hand, the most urgent first, with how many jars stand on
// the shelf and how many of them are on hold.
type Today struct {
	Tasks []Task `json:"tasks"`
	Live  int    `json:"live_count"`
	Held  int    `json:"held_count"`
}

// BenchState is what is in force on the bench; nil where there is nothing.
type BenchState struct {
	Calibration *BenchEntry
	Base        *BenchEntry
}

// TodayOf gathers what the live jars and the bench want, on now's day and in
// now's time zone; bench tasks are asked for by the kitchen's plan.
func TodayOf(shelf []ShelfJar, bench BenchState, k Kitchen, kitchen Plan, now time.Time) Today {
	t := Today{Tasks: []Task{}}
	measuredPH := bench.Calibration != nil
	for _, s := range shelf {
		if !s.Jar.State.Stage.Live() {
			continue
		}
		t.Live++
		if s.Jar.State.Hold != "" {
			t.Held++
		}
		measuredPH = measuredPH || s.Jar.State.PH != nil
		for _, todo := range s.Batch.Due(s.Jar.State, now) {
			t.Tasks = append(t.Tasks, Task{Todo: todo, Reason: todo.Reason(s.Jar.State, now), Jar: s.Jar.Tag,
				Batch: s.Batch.Name, Letter: s.Jar.Letter, Stage: s.Jar.State.Stage, Place: s.Jar.Place})
		}
	}
	var own []Task
	for _, st := range benchPlan {
		if kitchen.days(st).Off || (st.do == DoCalibrate && !measuredPH) {
			continue
		}
		if task, ok := benchTask(st, t.Tasks, bench, k, now); ok {
			own = append(own, task)
		}
	}
	// Before what they are wanted for.
	t.Tasks = append(own, t.Tasks...)
	sortTodos(t.Tasks, func(t Task) Todo { return t.Todo })
	return t
}

// Foremost is the place of the one task among several of a jar that leads on: the
// last in the order of the work of those that guard it from spoiling, else the last.
func Foremost(tasks []Task) int {
	best := 0
	for i, t := range tasks {
		have := tasks[best]
		if t.Do.Guards() != have.Do.Guards() {
			if t.Do.Guards() {
				best = i
			}
		} else if t.Until.After(have.Until) {
			best = i
		}
	}
	return best
}

// Within is t without what comes only after so many days.
func (t Today) Within(days int, now time.Time) Today {
	near := []Task{}
	for _, one := range t.Tasks {
		if one.Urgency > Coming || daysBetween(now, one.From.In(now.Location())) <= days {
			near = append(near, one)
		}
	}
	t.Tasks = near
	return t
}

// benchTask asks for a calibration, or a check of the base, on the days of the
// first measuring that it would no longer hold for. Without one it is quiet.
func benchTask(st step, tasks []Task, bench BenchState, k Kitchen, now time.Time) (Task, bool) {
	var next *Task
	for i, t := range tasks {
		wants := t.Do == DoTitrate || (st.do == DoCalibrate && t.Do == DoLook)
		if wants && (next == nil || t.From.Before(next.From)) {
			next = &tasks[i]
		}
	}
	if next == nil {
		return Task{}, false
	}
	at := next.From // the moment of the measuring, as far as it is known
	if at.Before(now) {
		at = now
	}
	why := baseWhy(bench.Base, k, at)
	if st.do == DoCalibrate {
		why = calibrationWhy(bench.Calibration, k, at)
	}
	if why == "" {
		return Task{}, false
	}
	todo := Todo{Do: st.do, What: st.what, Why: st.why, Rule: "before measuring", From: next.From, Until: next.Until}.judged(now)
	whom := fmt.Sprintf("%s %s is to be measured", next.Batch, next.Letter)
	return Task{Todo: todo, Reason: whom + "; " + why + ": " + st.why}, true
}

// calibrationWhy is why a calibration is wanted at an instant; empty: the last
// one still holds.
func calibrationWhy(e *BenchEntry, k Kitchen, at time.Time) string {
	holds := k.CalibrationMaxAge()
	switch {
	case e == nil:
		return "no meter was calibrated yet"
	case e.Words().Failed:
		return "the last calibration failed"
	case at.Sub(e.When.At) <= holds:
		return ""
	}
	return fmt.Sprintf("the meter was last calibrated %s, and that holds for %.0f hours", onDay(e.When, at), holds.Hours())
}

// baseWhy is why a check of the base is wanted at an instant.
func baseWhy(e *BenchEntry, k Kitchen, at time.Time) string {
	switch {
	case e == nil:
		return "the base was never checked"
	case e.Words().Failed:
		return "the last check of the base cannot be used"
	case daysBetween(e.When.At, at) <= k.BaseMaxAge():
		return ""
	}
	return fmt.Sprintf("the base was last checked %s, and that holds for %d days", onDay(e.When, at), k.BaseMaxAge())
}

func onDay(w When, now time.Time) string { return "on " + w.DateIn(now.Location()) }

// CalibrationHolds tells that a pH read at that instant is corrected by this
// calibration and not marked as rough for its age.
func CalibrationHolds(e *BenchEntry, k Kitchen, at time.Time) bool {
	return calibrationWhy(e, k, at) == ""
}
