package store

import (
	"slices"
	"testing"
	"time"

	"cruet/internal/larder"
)

// The clock is corrected by up to two hours while readings are logged: each new
// one is the newest, whatever the clock says, also after a restart.
func TestClockSetBack(t *testing.T) {
	c, dir := newClock(), t.TempDir()
	db := openIn(t, dir, Options{Now: c.Now})
	tag := start(t, db, damson()).Jars[0].Tag
	var want []int64
	for i, step := range []time.Duration{time.Minute, -30 * time.Second, -time.Hour, 20 * time.Minute, -70 * time.Minute, 3 * time.Hour, -2 * time.Hour, time.Millisecond} {
		c.pass(step)
		if i == 4 {
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			db = openIn(t, dir, Options{Now: c.Now})
		}
		value := 3 + float64(i)/100
		s := add(t, db, tag, ph(value))
		want = append(want, s.Entry.Seq)
		if got := jar(t, db, tag).State.PH; float64(got.Value) != value {
			t.Errorf("after a step of %v the newest pH is %v, want %v", step, got.Value, value)
		}
	}
	inOrder(t, db, tag, want)
	if behind := db.ClockBehind(); behind != 0 {
		t.Errorf("the clock is called %v behind", behind)
	}
	sound(t, db)
}

// inOrder wants the jar's history to show these entries, oldest first, with times
// that never run backwards.
func inOrder(t *testing.T, db *DB, tag larder.Tag, want []int64) {
	t.Helper()
	entries := history(t, db, tag).Entries
	slices.Reverse(entries)
	var got []int64
	for i, e := range entries {
		if i > 0 {
			got = append(got, e.Seq)
			if e.When.At.Before(entries[i-1].When.At) || e.RecordedAt.Before(entries[i-1].RecordedAt) {
				t.Errorf("entry %d is of %v, before %v", e.Seq, e.When.At, entries[i-1].When.At)
			}
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("the history shows %v, want %v", got, want)
	}
}

// A clock that was a year ahead, or starts in 1970: it is believed, since pinning
// all that follows to a wrong date would be worse; the order of recording stays
// the database's, nothing is lost, and who starts the station is told. Striking
// what was logged under the wrong date sets the jar right.
func TestClockWrong(t *testing.T) {
	c, dir := newClock(), t.TempDir()
	db := openIn(t, dir, Options{Now: c.Now})
	tag := start(t, db, damson()).Jars[0].Tag
	first := add(t, db, tag, ph(3.1))
	c.pass(366 * 24 * time.Hour)
	ahead := add(t, db, tag, ph(3.2))
	c.pass(-366*24*time.Hour + time.Minute)
	db.Close()
	db = openIn(t, dir, Options{Now: c.Now})
	if behind := db.ClockBehind(); behind < 365*24*time.Hour {
		t.Errorf("the clock is called %v behind", behind)
	}
	last := add(t, db, tag, ph(3.3))
	if !(first.Entry.Seq < ahead.Entry.Seq && ahead.Entry.Seq < last.Entry.Seq) || !last.Entry.RecordedAt.Equal(c.now) {
		t.Errorf("recorded as %d, %d, %d; the last at %v, want %v", first.Entry.Seq, ahead.Entry.Seq, last.Entry.Seq, last.Entry.RecordedAt, c.now)
	}
	if got := jar(t, db, tag).State.PH.Value; got != 3.2 {
		t.Errorf("the newest pH is %v, want that of the newest date", got)
	}
	if _, err := db.Strike(ctx, act(), ahead.Entry.ID, "the clock was wrong"); err != nil {
		t.Fatal(err)
	}
	if got := jar(t, db, tag).State.PH.Value; got != 3.3 {
		t.Errorf("after the strike the newest pH is %v", got)
	}
	c.now = time.Unix(0, 0).UTC()
	add(t, db, tag, ph(3.4))
	if got := jar(t, db, tag).State.PH.Value; got != 3.3 {
		t.Errorf("an entry of 1970 became the newest pH: %v", got)
	}
	sound(t, db)
}

// Summer time ends in Dublin on 25 October 2026 at 02:00, when clocks go back to
// 01:00 (S.I. No. 506/2001; tz database, Europe/Dublin): half past one comes
// twice. It begins on 28 March 2027 at 01:00. Entries keep their order, and a day
// typed as yesterday is that day, though it had 25 hours or 23.
func TestSummerTime(t *testing.T) {
	dublin, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		from  time.Time
		local []string
	}{
		{time.Date(2026, 10, 24, 23, 30, 0, 0, time.UTC), []string{"25 Oct 2026, 00:30", "25 Oct 2026, 01:00", "25 Oct 2026, 01:30", "25 Oct 2026, 01:00", "25 Oct 2026, 01:30", "25 Oct 2026, 02:00"}},
		{time.Date(2027, 3, 28, 0, 0, 0, 0, time.UTC), []string{"28 Mar 2027, 00:00", "28 Mar 2027, 00:30", "28 Mar 2027, 02:00", "28 Mar 2027, 02:30"}},
	} {
		c := newClock()
		c.now = row.from.Add(-time.Hour)
		db := openIn(t, t.TempDir(), Options{Now: c.Now})
		if err := db.SetKitchen(ctx, larder.Kitchen{Name: "Quince Yard", TimeZone: "Europe/Dublin"}); err != nil {
			t.Fatal(err)
		}
		n := damson()
		n.When = larder.ExactAt(c.now.AddDate(0, 0, -9))
		tag := start(t, db, n).Jars[0].Tag
		var want []int64
		for i, local := range row.local {
			c.now = row.from.Add(time.Duration(i) * 30 * time.Minute)
			s := add(t, db, tag, ph(3+float64(i)/100))
			want = append(want, s.Entry.Seq)
			if got := s.Entry.When.In(dublin); got != local {
				t.Errorf("entry %d is shown as %q, want %q", i, got, local)
			}
		}
		inOrder(t, db, tag, want)
		noon := time.Date(row.from.Year(), row.from.Month(), row.from.Day(), 12, 0, 0, 0, dublin).AddDate(0, 0, 2)
		c.now = noon
		yesterday, err := larder.ParseWhen("yesterday", noon, dublin)
		if err != nil {
			t.Fatal(err)
		}
		s := add(t, db, tag, larder.NewEntry{When: yesterday, Note: "stirred", Body: larder.Note{}})
		if got, day := s.Entry.When.DateIn(dublin), noon.AddDate(0, 0, -1).Format("2 Jan 2006"); got != day {
			t.Errorf("yesterday is %q, want %q", got, day)
		}
		sound(t, db)
	}
}
