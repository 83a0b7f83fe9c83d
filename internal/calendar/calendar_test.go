package calendar

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	other "github.com/emersion/go-ical"
	"github.com/google/uuid"

	"cruet/internal/larder"
)

var space = uuid.MustParse("6ba7b810-9dad-41d1-80b4-00c04fd430c8")

func dublin(t *testing.T) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func noon(loc *time.Location, y, m, d int) time.Time {
	return time.Date(y, time.Month(m), d, 12, 0, 0, 0, loc)
}

func task(do larder.Deed, what string, from, until time.Time, urgency larder.Urgency) larder.Task {
	return larder.Task{Todo: larder.Todo{Do: do, What: what, From: from, Until: until, Urgency: urgency, Status: urgency.String()},
		Reason: "acetic for 29 days; " + what + " between day 21 and 28: only a titration tells how sour it is",
		Jar:    "K7RM74", Batch: "Pear trimmings", Letter: "A", Stage: larder.Acetic, Place: "pantry, top shelf"}
}

func feed(now time.Time, tasks ...larder.Task) []byte {
	return Write(Feed{Kitchen: "Quince Yard", Tasks: tasks, Space: space, Now: now,
		Link: func(t larder.Task) string { return "http://192.168.1.20:8080/J/" + string(t.Jar) }})
}

// read reads a feed with a decoder that knows nothing of the library that wrote it.
func read(t *testing.T, data []byte) []other.Event {
	t.Helper()
	cal, err := other.NewDecoder(bytes.NewReader(data)).Decode()
	if err != nil {
		t.Fatalf("another reader of RFC 5545 refuses it: %v\n%s", err, data)
	}
	for name, want := range map[string]string{"VERSION": "2.0", "METHOD": "PUBLISH", "NAME": "Quince Yard, jars", "X-WR-CALNAME": "Quince Yard, jars"} {
		if p := cal.Props.Get(name); p == nil || text(t, p) != want {
			t.Errorf("%s is %v, want %s", name, p, want)
		}
	}
	// RFC 5545, 3.6: PRODID and VERSION are required and occur once.
	for _, name := range []string{"PRODID", "VERSION"} {
		if n := len(cal.Props[name]); n != 1 {
			t.Errorf("%s occurs %d times", name, n)
		}
	}
	return cal.Events()
}

func text(t *testing.T, p *other.Prop) string {
	t.Helper()
	s, err := p.Text()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// wellFormed holds the octets to RFC 5545, 3.1: CRLF after each line and at most
// 75 octets in it, no character cut in two.
func wellFormed(t *testing.T, data []byte) {
	t.Helper()
	if !bytes.HasSuffix(data, []byte("\r\n")) {
		t.Error("it does not end with CRLF")
	}
	for _, line := range strings.Split(strings.TrimSuffix(string(data), "\r\n"), "\r\n") {
		if len(line) > 75 {
			t.Errorf("a line of %d octets: %s", len(line), line)
		}
		if strings.ContainsAny(line, "\r\n") || !utf8.ValidString(line) {
			t.Errorf("a broken line: %q", line)
		}
	}
}

// Every event is a whole number of days (RFC 5545, 3.6.1: DTEND is the day after
// the last), with the properties that the RFC requires, and says what the page says.
func TestEvents(t *testing.T) {
	loc := dublin(t)
	now := time.Date(2026, 11, 25, 10, 30, 0, 0, loc)
	data := feed(now, task(larder.DoTitrate, "titrate", noon(loc, 2026, 11, 28), noon(loc, 2026, 12, 5), larder.Coming),
		task(larder.DoLook, "first look", noon(loc, 2026, 11, 10), noon(loc, 2026, 11, 17), larder.Overdue))
	wellFormed(t, data)
	events := read(t, data)
	if len(events) != 2 {
		t.Fatalf("%d events, want 2", len(events))
	}
	for i, want := range [][2]string{{"20261128", "20261206"}, {"20261110", "20261126"}} { // overdue reaches to today
		e := events[i]
		for name, value := range map[string]string{"DTSTART": want[0], "DTEND": want[1]} {
			p := e.Props.Get(name)
			if p == nil || p.Value != value || p.ValueType() != other.ValueDate || len(e.Props[name]) != 1 {
				t.Errorf("event %d: %s is %+v, want the day %s", i, name, p, value)
			}
		}
		// RFC 5545, 3.8.7.2: DTSTAMP is in UTC.
		if p := e.Props.Get("DTSTAMP"); p == nil || p.Value != "20261125T103000Z" {
			t.Errorf("event %d: DTSTAMP %v", i, p)
		}
		if p := e.Props.Get("UID"); p == nil || uuid.Validate(p.Value) != nil {
			t.Errorf("event %d: UID %v", i, p)
		}
		if p := e.Props.Get("TRANSP"); p == nil || p.Value != "TRANSPARENT" {
			t.Errorf("event %d: TRANSP %v", i, p)
		}
		if p := e.Props.Get("URL"); p == nil || p.Value != "http://192.168.1.20:8080/J/K7RM74" {
			t.Errorf("event %d: URL %v", i, p)
		}
	}
	e := events[0]
	if got := text(t, e.Props.Get("SUMMARY")); got != "Titrate: Pear trimmings A (K7RM74)" {
		t.Errorf("SUMMARY %q", got)
	}
	if got := text(t, e.Props.Get("DESCRIPTION")); got != "Acetic for 29 days; titrate between day 21 and 28: only a titration tells how sour it is.\nhttp://192.168.1.20:8080/J/K7RM74" {
		t.Errorf("DESCRIPTION %q", got)
	}
	if got := text(t, e.Props.Get("LOCATION")); got != "pantry, top shelf" {
		t.Errorf("LOCATION %q", got)
	}
}

// The days are the kitchen's, whatever summer time does to the hours: 25 October
// 2026 has 25 hours in Dublin, 29 March 2026 has 23 (Directive 2000/84/EC).
func TestDaysAcrossSummerTime(t *testing.T) {
	loc := dublin(t)
	for _, c := range []struct{ from, until, want, end string }{
		{"2026-10-24", "2026-10-25", "20261024", "20261026"}, {"2026-10-25", "2026-10-25", "20261025", "20261026"},
		{"2026-03-28", "2026-03-29", "20260328", "20260330"}, {"2026-12-31", "2026-12-31", "20261231", "20270101"}, {"2028-02-28", "2028-02-29", "20280228", "20280301"},
	} {
		day := func(s string) time.Time {
			d, err := time.ParseInLocation(time.DateOnly, s, loc)
			if err != nil {
				t.Fatal(err)
			}
			return noon(loc, d.Year(), int(d.Month()), d.Day())
		}
		// What is told in another zone is still the kitchen's day.
		for _, zone := range []*time.Location{loc, time.UTC, time.FixedZone("far", 11*3600)} {
			e := read(t, feed(day("2026-01-01"), task(larder.DoLook, "look", day(c.from).In(zone), day(c.until).In(zone), larder.Coming)))[0]
			if s, d := e.Props.Get("DTSTART").Value, e.Props.Get("DTEND").Value; s != c.want || d != c.end {
				t.Errorf("%s to %s: %s, %s", c.from, c.until, s, d)
			}
		}
	}
}

// A task keeps its UID from fetch to fetch though its days move; another task,
// jar, stage or kitchen has another (RFC 5545, 3.8.4.7).
func TestStableUIDs(t *testing.T) {
	loc := dublin(t)
	now := noon(loc, 2026, 11, 25)
	uid := func(f Feed) string {
		f.Link = func(larder.Task) string { return "" }
		return read(t, Write(f))[0].Props.Get("UID").Value
	}
	one := task(larder.DoTitrate, "titrate", noon(loc, 2026, 11, 28), noon(loc, 2026, 12, 5), larder.Coming)
	first := Feed{Kitchen: "Quince Yard", Tasks: []larder.Task{one}, Space: space, Now: now}
	want := uid(first)
	moved := one
	moved.From, moved.Until, moved.Reason, moved.Place = noon(loc, 2026, 12, 1), noon(loc, 2026, 12, 8), "other words", "cellar"
	if got := uid(Feed{Kitchen: "Quince Yard", Tasks: []larder.Task{moved}, Space: space, Now: now.AddDate(0, 0, 3)}); got != want {
		t.Errorf("a task whose days moved became another: %s, %s", got, want)
	}
	jar, do, stage := one, one, one
	jar.Jar, do.Do, stage.Stage = "3CFX72", larder.DoLook, larder.Maturing
	for name, f := range map[string]Feed{
		"jar": {Kitchen: "Quince Yard", Tasks: []larder.Task{jar}, Space: space, Now: now}, "deed": {Kitchen: "Quince Yard", Tasks: []larder.Task{do}, Space: space, Now: now},
		"stage": {Kitchen: "Quince Yard", Tasks: []larder.Task{stage}, Space: space, Now: now}, "kitchen": {Kitchen: "Quince Yard", Tasks: []larder.Task{one}, Space: uuid.Max, Now: now},
	} {
		if got := uid(f); got == want {
			t.Errorf("another %s has the same UID", name)
		}
	}
	if got := len(read(t, feed(now, one, moved))); got != 1 {
		t.Errorf("%d events under one UID", got)
	}
}

// What a day asks for every day repeats (RFC 5545, 3.8.5.3) from today on.
func TestDaily(t *testing.T) {
	loc := dublin(t)
	now := time.Date(2026, 11, 25, 8, 0, 0, 0, loc)
	for from, want := range map[time.Time][2]string{
		noon(loc, 2026, 11, 22): {"20261125", "20261209"}, noon(loc, 2026, 11, 26): {"20261126", "20261210"},
	} {
		one := task(larder.DoStir, "stir", from, from, larder.Overdue)
		one.Every = 1
		data := feed(now, one)
		wellFormed(t, data)
		e := read(t, data)[0]
		if got := e.Props.Get("DTSTART").Value; got != want[0] {
			t.Errorf("from %s: DTSTART %s, want %s", from, got, want[0])
		}
		set, err := e.RecurrenceSet(loc)
		if err != nil {
			t.Fatal(err)
		}
		days := set.All()
		if len(days) != dailyFor+1 || days[len(days)-1].Format("20060102") != want[1] {
			t.Errorf("from %s: repeated on %v, want until %s", from, days, want[1])
		}
	}
}

// Text of every kind comes back as it was: commas, semicolons, backslashes and
// line breaks are escaped (RFC 5545, 3.3.11), long lines are folded between
// characters of any length.
func TestHardText(t *testing.T) {
	loc := dublin(t)
	for i, name := range []string{`a,b;c\d\n`, `"quoted": name`, strings.Repeat("Quittenessigansatz", 4), strings.Repeat("ÄÖÜß", 18), strings.Repeat("梨", 60),
		"END:VEVENT", strings.Repeat("x ", 38), "🍐🍎🍇" + strings.Repeat("🍐", 60), "<b>bold</b> " + strings.Repeat("a>b<c", 15)} {
		one := task(larder.DoTitrate, "titrate", noon(loc, 2026, 11, 28), noon(loc, 2026, 12, 5), larder.Coming)
		one.Batch, one.Place, one.Reason = name, name, name+"; "+name
		data := feed(noon(loc, 2026, 11, 25), one)
		wellFormed(t, data)
		events := read(t, data)
		if len(events) != 1 {
			t.Fatalf("text %d made %d events", i, len(events))
		}
		if got := text(t, events[0].Props.Get("LOCATION")); got != name {
			t.Errorf("LOCATION %q, want %q", got, name)
		}
		if got, want := text(t, events[0].Props.Get("SUMMARY")), fmt.Sprintf("Titrate: %s A (K7RM74)", name); got != want {
			t.Errorf("SUMMARY %q, want %q", got, want)
		}
	}
}

// A quiet kitchen's calendar is a calendar: a VCALENDAR without events is what
// phones make of an empty feed, though RFC 5545, 3.6, wants a component.
func TestQuiet(t *testing.T) {
	data := feed(noon(dublin(t), 2026, 11, 25))
	wellFormed(t, data)
	if !bytes.HasPrefix(data, []byte("BEGIN:VCALENDAR\r\n")) || !bytes.HasSuffix(data, []byte("END:VCALENDAR\r\n")) || bytes.Contains(data, []byte("VEVENT")) {
		t.Errorf("a quiet feed is\n%s", data)
	}
}
