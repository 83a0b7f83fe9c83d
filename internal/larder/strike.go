package larder

import "fmt"

// StruckWith tells which entries are struck when e is: all that its act wrote, since
// they are the sides of one thing, as what one jar gave and another got; but e alone
// where its act only logged many things at once, each a thing of its own.
func StruckWith(e Entry, alone bool) func(Entry) bool {
	if alone {
		return func(o Entry) bool { return o.ID == e.ID }
	}
	return func(o Entry) bool { return o.Act == e.Act }
}

// CheckStrike says whether these entries may be struck together from one jar's log,
// which is in the order of recording. Striking must leave a log that still makes
// sense: the stages in a row, and nothing poured out that was not there.
func CheckStrike(these func(Entry) bool, log []Entry) error {
	rest := make([]Entry, 0, len(log))
	lastMove := false // is one of these
	found := false
	for _, e := range log {
		if e.Struck() {
			continue
		}
		if e.Kind == KindStage {
			lastMove = these(e)
		}
		if !these(e) {
			rest = append(rest, e)
			continue
		}
		found = true
		if err := strikable(e); err != nil {
			return err
		}
	}
	if !found {
		return StruckAlready()
	}
	for _, e := range log {
		if these(e) && e.Kind == KindStage && !lastMove {
			return Refuse("", "The jar has changed stage since. Strike the later change of stage first, then this one.")
		}
	}
	if err := checkUnborn(these, log, rest); err != nil {
		return err
	}
	return checkPoured(rest)
}

// StruckAlready refuses to strike what was struck.
func StruckAlready() error { return Refuse("", "That entry was struck already.") }

// checkUnborn refuses to strike the act that filled a new jar once something
// else was logged of that jar: it would hang in the air.
func checkUnborn(these func(Entry) bool, log, rest []Entry) error {
	born := false
	for _, e := range log {
		b, ok := e.Body.(StageChange)
		born = born || (ok && these(e) && b.Inherit != nil)
	}
	if !born {
		return nil
	}
	for _, e := range rest {
		if e.Kind != KindNote && e.Kind != KindStrike {
			return Refuse("", fmt.Sprintf("Jar %s, which this act filled, has a %s logged since. Strike that first.", e.Jar, e.Kind))
		}
	}
	return nil
}

func strikable(e Entry) error {
	switch b := e.Body.(type) {
	case Strike:
		return Refuse("", "A strike cannot be struck. Log the entry again instead.")
	case StageChange:
		if b.From == "" && b.Inherit == nil {
			return Refuse("", "The start of a jar cannot be struck. If it was a mistake, discard the jar and say why.")
		}
	}
	return nil
}

// checkPoured folds the log and refuses it when more goes out than is there.
func checkPoured(log []Entry) error {
	var s State
	for _, e := range log {
		t, out := e.Body.(Transfer)
		out = out && t.Feed == nil && t.VolumeML != nil && s.VolumeML != nil
		if out && !earlier(e.When, s.VolumeAt) && *t.VolumeML > *s.VolumeML+0.001 {
			return Refuse("", fmt.Sprintf("Later entries take more out of jar %s than would be in it without this one. Strike those first.", e.Jar))
		}
		s = s.Apply(e)
	}
	return nil
}
