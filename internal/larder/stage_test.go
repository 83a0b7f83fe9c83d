package larder

import (
	"slices"
	"strings"
	"testing"
)

func TestMovesAreAClosedTable(t *testing.T) {
	seen := map[[2]Stage]bool{}
	order := Stages()
	for _, m := range moves {
		if !slices.Contains(order, m.From) || !slices.Contains(order, m.To) {
			t.Errorf("%s -> %s names a stage that is not in the list", m.From, m.To)
		}
		if seen[[2]Stage{m.From, m.To}] || m.From == m.To {
			t.Errorf("%s -> %s stands twice or leads nowhere", m.From, m.To)
		}
		seen[[2]Stage{m.From, m.To}] = true
		if !m.From.Live() {
			t.Errorf("%s is retired, yet %s follows it", m.From, m.To)
		}
		if back := slices.Index(order, m.To) < slices.Index(order, m.From); back != m.Backward {
			t.Errorf("%s -> %s: Backward is %v", m.From, m.To, m.Backward)
		}
		if (m.Backward || m.To == Discarded) && !m.NeedsReason {
			t.Errorf("%s -> %s asks for no reason", m.From, m.To)
		}
		if into := m.To == Acetic && !m.Backward; into != m.NeedsStarter || into != m.NeedsVolume {
			t.Errorf("%s -> %s: becoming acetic asks for the strained volume and the starter, nothing else does", m.From, m.To)
		}
	}
	for _, from := range order {
		for _, to := range order {
			m, err := FindMove(from, to)
			if seen[[2]Stage{from, to}] != (err == nil) {
				t.Errorf("FindMove(%s, %s) = %v, %v", from, to, m, err)
			}
		}
		if !from.Live() && len(MovesFrom(from)) > 0 {
			t.Errorf("%s has exits", from)
		}
		if from.Live() && (!seen[[2]Stage{from, Empty}] || !seen[[2]Stage{from, Discarded}]) {
			t.Errorf("a jar that is %s cannot be emptied or discarded", from)
		}
	}
}

// Every stage is reached from every stage in which a batch may start, going
// forward only.
func TestEveryStageIsReachable(t *testing.T) {
	for _, base := range Bases() {
		reached := map[Stage]bool{}
		queue := []Stage{base.FirstStage()}
		for len(queue) > 0 {
			s := queue[0]
			queue = queue[1:]
			if reached[s] {
				continue
			}
			reached[s] = true
			for _, m := range MovesFrom(s) {
				if !m.Backward {
					queue = append(queue, m.To)
				}
			}
		}
		for _, s := range Stages() {
			if !reached[s] && s != Must {
				t.Errorf("a batch of %s never becomes %s", base, s)
			}
		}
	}
}

func TestFindMoveSaysWhatMayFollow(t *testing.T) {
	for _, row := range []struct {
		from, to Stage
		says     string
	}{
		{Must, Finished, "It can become alcoholic, acetic"},
		{Acetic, Acetic, "already acetic"},
		{Empty, Must, "retired"},
		{Finished, "vinegar", "cannot become vinegar"},
	} {
		if _, err := FindMove(row.from, row.to); err == nil || !strings.Contains(err.Error(), row.says) {
			t.Errorf("FindMove(%s, %s) = %v, want it to say %q", row.from, row.to, err, row.says)
		}
	}
}

func TestParseStage(t *testing.T) {
	for _, s := range Stages() {
		if got, err := ParseStage(" " + strings.ToUpper(string(s)) + "\n"); err != nil || got != s {
			t.Errorf("ParseStage(%s) = %s, %v", s, got, err)
		}
	}
	for _, typed := range []string{"", "vinegar", "must be"} {
		if _, err := ParseStage(typed); err == nil || !strings.Contains(err.Error(), "maturing") {
			t.Errorf("ParseStage(%q) = %v, want an error that lists the stages", typed, err)
		}
	}
}
