package larder

import (
	"errors"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the same zones on every machine
)

func dublin(t testing.TB) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func at(t testing.TB, loc *time.Location, text string) time.Time {
	t.Helper()
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02"} {
		if w, err := time.ParseInLocation(layout, text, loc); err == nil {
			return w
		}
	}
	t.Fatalf("the test's own time %q does not parse", text)
	return time.Time{}
}

func TestParseWhen(t *testing.T) {
	loc := dublin(t)
	now := at(t, loc, "2026-11-25 09:30") // a Wednesday
	for typed, want := range map[string]struct {
		shown     string
		precision Precision
		spread    int
	}{
		"today":                         {"25 Nov 2026", Day, 0},
		"Yesterday":                     {"24 Nov 2026", Day, 0},
		"2026-11-22":                    {"22 Nov 2026", Day, 0},
		"2026-11-22 14:30":              {"22 Nov 2026, 14:30", Exact, 0},
		"2026-11-22T14:30":              {"22 Nov 2026, 14:30", Exact, 0},
		"2026-11-22t14:30:00z":          {"22 Nov 2026, 14:30", Exact, 0},
		"2026-07-22T14:30:00+02:00":     {"22 Jul 2026, 13:30", Exact, 0}, // Irish summer time is UTC+1
		"22 Nov":                        {"22 Nov 2026", Day, 0},
		"nov 22":                        {"22 Nov 2026", Day, 0},
		"22nd of November":              {"22 Nov 2026", Day, 0},
		"the 22nd of november, 2025":    {"22 Nov 2025", Day, 0},
		"22  NOVEMBER   2025":           {"22 Nov 2025", Day, 0},
		"November 2, 2026":              {"2 Nov 2026", Day, 0},
		"the 22nd":                      {"22 Nov 2026", Day, 0},
		"22":                            {"22 Nov 2026", Day, 0},
		"30":                            {"30 Oct 2026", Day, 0}, // not yet this month
		"26 Nov":                        {"26 Nov 2025", Day, 0}, // not yet this year
		"31 dec":                        {"31 Dec 2025", Day, 0},
		"29 Feb":                        {"29 Feb 2024", Day, 0}, // the last leap day
		"3 days ago":                    {"22 Nov 2026", Day, 0},
		"a day ago":                     {"24 Nov 2026", Day, 0},
		"2 weeks ago":                   {"about 11 Nov 2026", About, 3},
		"about two weeks ago":           {"about 11 Nov 2026", About, 3},
		"a fortnight ago":               {"about 11 Nov 2026", About, 3},
		"last week":                     {"about 18 Nov 2026", About, 3},
		"this morning":                  {"25 Nov 2026", Day, 0},
		"Monday":                        {"23 Nov 2026", Day, 0},
		"last sunday":                   {"22 Nov 2026", Day, 0},
		"wednesday":                     {"18 Nov 2026", Day, 0}, // today is one
		"1 Sept":                        {"1 Sep 2026", Day, 0},
		"10.10.2026":                    {"10 Oct 2026", Day, 0},
		"early October":                 {"about 5 Oct 2026", About, 5},
		"mid october":                   {"about 15 Oct 2026", About, 5},
		"the end of May 2025":           {"about 25 May 2025", About, 5},
		"October":                       {"about 15 Oct 2026", About, 15},
		"late November":                 {"about 25 Nov 2026", About, 5}, // not past today
		"a month ago":                   {"about 26 Oct 2026", About, 10},
		"about a month and a half ago":  {"about 10 Oct 2026", About, 10}, // 1.5 × 30.44 days
		"a month and a half ago":        {"about 10 Oct 2026", About, 10},
		"a year ago":                    {"about 25 Nov 2025", About, 60},
		"about 22 Nov":                  {"about 22 Nov 2026", About, 2},
		"~22 Nov":                       {"about 22 Nov 2026", About, 2},
		"around the 22nd":               {"about 22 Nov 2026", About, 2},
		"about 3 days ago":              {"about 22 Nov 2026", About, 2},
		"about yesterday":               {"about 24 Nov 2026", About, 2},
		"22nd or 23rd":                  {"about 22 Nov 2026", About, 1},
		"the 22nd or the 23rd":          {"about 22 Nov 2026", About, 1},
		"22 or 24 nov":                  {"about 22 Nov 2026", About, 2},
		"22nd or 23rd of November 2025": {"about 22 Nov 2025", About, 1},
		"31st or 1st":                   {"about 31 Oct 2026", About, 1}, // over the month's end
	} {
		w, err := ParseWhen(typed, now, loc)
		if err != nil {
			t.Errorf("ParseWhen(%q): %v", typed, err)
			continue
		}
		if got := w.In(loc); got != want.shown || w.Precision != want.precision || w.SpreadDays != want.spread {
			t.Errorf("ParseWhen(%q) = %s (%s ± %d), want %s (%s ± %d)", typed, got, w.Precision, w.SpreadDays, want.shown, want.precision, want.spread)
		}
		if err := w.Check("when", now.UTC()); err != nil {
			t.Errorf("ParseWhen(%q) then Check: %v", typed, err)
		}
		if w.At.Location() != time.UTC {
			t.Errorf("ParseWhen(%q) is not in UTC", typed)
		}
	}
	for _, typed := range []string{"", "  ", "now", "NOW"} {
		if w, err := ParseWhen(typed, now, loc); err != nil || !w.IsZero() {
			t.Errorf("ParseWhen(%q) = %v, %v; want the zero When", typed, w, err)
		}
	}
}

func TestParseWhenRefuses(t *testing.T) {
	loc := dublin(t)
	now := at(t, loc, "2026-11-25 09:30")
	for _, typed := range []string{
		"tomorrow", "soon", "32 Nov", "31 Nov 2026", "29 Feb 2026", "2026-13-01", "2026-02-29", "22 Nov 26x",
		"11/22/2026", "0", "99", "500 days ago", "23rd or 22nd", "1st or 20th", "22 or 23 foo", "about", "~", "a month and ago", "2026-11-22 25:00", "é", "\xff",
	} {
		w, err := ParseWhen(typed, now, loc)
		var p Problems
		if !errors.As(err, &p) || len(p) != 1 || p[0].Field != "" || !strings.Contains(p[0].Message, "2026-11-22") {
			t.Errorf("ParseWhen(%q) = %v, %v; want a refusal that shows how to write a date", typed, w, err)
		}
	}
}

func TestWhenCheckRefuses(t *testing.T) {
	loc := dublin(t)
	now := at(t, loc, "2026-11-25 09:30")
	future, err := ParseWhen("2026-12-24", now, loc)
	if err != nil {
		t.Fatal(err)
	}
	for name, w := range map[string]When{
		"a day to come":        future,
		"tomorrow":             {At: at(t, loc, "2026-11-26 12:00").UTC(), Precision: Day},
		"in two minutes":       ExactAt(now.Add(2 * time.Minute)),
		"no precision":         {At: now},
		"another precision":    {At: now, Precision: "maybe"},
		"a negative spread":    {At: now, Precision: About, SpreadDays: -1},
		"an endless spread":    {At: now, Precision: About, SpreadDays: 201},
		"before living memory": {At: at(t, loc, "1969-12-30"), Precision: Day},
	} {
		var p Problems
		if err := w.Check("when", now); !errors.As(err, &p) || p[0].Field != "when" {
			t.Errorf("%s: Check = %v, want a problem with when", name, err)
		}
	}
	for name, w := range map[string]When{
		"zero":                 {},
		"now":                  ExactAt(now),
		"a phone a bit ahead":  ExactAt(now.Add(30 * time.Second)),
		"today, noon to come":  {At: at(t, loc, "2026-11-25 12:00").UTC(), Precision: Day},
		"about two days ahead": {At: at(t, loc, "2026-11-27 12:00").UTC(), Precision: About, SpreadDays: 2},
	} {
		if err := w.Check("when", now); err != nil {
			t.Errorf("%s: Check = %v", name, err)
		}
	}
}

// Europe/Dublin puts clocks forward on 29 Mar 2026 and back on 25 Oct 2026
// (tz database; Directive 2000/84/EC: the last Sundays of March and October).
func TestDaysWhenClocksChange(t *testing.T) {
	loc := dublin(t)
	for _, day := range []string{"2026-03-29", "2026-10-25"} {
		begin := at(t, loc, day)
		end := begin.AddDate(0, 0, 1)
		if hours := end.Sub(begin).Hours(); hours != 23 && hours != 25 {
			t.Fatalf("%s has %g hours; the test chose the wrong day", day, hours)
		}
		for _, now := range []time.Time{begin.Add(time.Minute), begin.Add(3 * time.Hour), end.Add(-time.Minute)} {
			w, err := ParseWhen("today", now, loc)
			if err != nil || w.At.In(loc).Format("2006-01-02 15:04") != day+" 12:00" {
				t.Fatalf("today at %v = %v, %v; want noon", now, w.At.In(loc), err)
			}
			if err := w.Check("when", now.UTC()); err != nil {
				t.Errorf("today at %v is refused: %v", now, err)
			}
		}
		next := end.Add(6 * time.Hour)
		if w, err := ParseWhen("yesterday", next, loc); err != nil || w.In(loc) != begin.Format("2 Jan 2006") {
			t.Errorf("yesterday at %v = %s, %v", next, w.In(loc), err)
		}
		if w, err := ParseWhen("7 days ago", begin.AddDate(0, 0, 7).Add(time.Hour), loc); err != nil || w.In(loc) != begin.Format("2 Jan 2006") {
			t.Errorf("7 days after %s, 7 days ago = %s, %v", day, w.In(loc), err)
		}
	}
}

func TestParseWhenAtTheYearsEnd(t *testing.T) {
	loc := dublin(t)
	for _, row := range []struct{ now, typed, want string }{
		{"2027-01-02 08:00", "31 Dec", "31 Dec 2026"},
		{"2027-01-02 08:00", "the 31st", "31 Dec 2026"},
		{"2027-01-02 08:00", "yesterday", "1 Jan 2027"},
		{"2027-01-02 08:00", "31st or 1st", "about 31 Dec 2026"},
		{"2027-01-02 08:00", "30 or 31 dec", "about 30 Dec 2026"},
		{"2027-01-02 08:00", "5 days ago", "28 Dec 2026"},
		{"2026-12-31 23:59", "today", "31 Dec 2026"},
		{"2028-02-29 10:00", "29 Feb", "29 Feb 2028"},
		{"2028-02-29 10:00", "a year ago", "about 1 Mar 2027"}, // 365 days
		{"2028-03-01 10:00", "yesterday", "29 Feb 2028"},
		{"2027-03-10 10:00", "29 feb", "29 Feb 2024"},
		{"2027-03-10 10:00", "the 31st", "31 Jan 2027"}, // February has none
		{"2027-03-10 10:00", "30th", "30 Jan 2027"},
	} {
		w, err := ParseWhen(row.typed, at(t, loc, row.now), loc)
		if err != nil || w.In(loc) != row.want {
			t.Errorf("at %s, %q = %s, %v; want %s", row.now, row.typed, w.In(loc), err, row.want)
		}
	}
}

func TestWhenBounds(t *testing.T) {
	noon := time.Date(2026, 11, 22, 12, 0, 0, 0, time.UTC)
	for _, row := range []struct {
		w                When
		earliest, latest string
	}{
		{ExactAt(noon), "2026-11-22 12:00", "2026-11-22 12:00"},
		{When{At: noon, Precision: Day}, "2026-11-22 00:00", "2026-11-23 00:00"},
		{When{At: noon, Precision: About, SpreadDays: 2}, "2026-11-20 00:00", "2026-11-25 00:00"},
	} {
		if got := row.w.Earliest().Format("2006-01-02 15:04"); got != row.earliest {
			t.Errorf("%v: earliest %s, want %s", row.w, got, row.earliest)
		}
		if got := row.w.Latest().Format("2006-01-02 15:04"); got != row.latest {
			t.Errorf("%v: latest %s, want %s", row.w, got, row.latest)
		}
	}
	morning, day := ExactAt(noon.Add(-2*time.Hour)), When{At: noon, Precision: Day}
	if morning.Before(day) || day.Before(morning) {
		t.Error("an hour of a day and the day are in no order")
	}
	if next := ExactAt(noon.AddDate(0, 0, 1)); !day.Before(next) || next.Before(day) {
		t.Error("a day comes before the next")
	}
}

func TestDateIn(t *testing.T) {
	loc := dublin(t)
	w := ExactAt(at(t, loc, "2026-07-01 00:30")) // still June in UTC
	if got := w.DateIn(loc); got != "1 Jul 2026" {
		t.Errorf("DateIn = %s", got)
	}
	w.Precision = About
	if got := w.DateIn(loc); got != "about 1 Jul 2026" {
		t.Errorf("DateIn = %s", got)
	}
}

// Whatever is typed: no panic, and what is accepted is a whole, UTC When that
// reads back to the same day from what the page shows of it.
func FuzzParseWhen(f *testing.F) {
	for _, s := range []string{"today", "22nd or 23rd", "about a month and a half ago", "2026-11-22 14:30", "22 Nov", "29 feb", "~ the 3rd", "0", "or", "é nov", "400 years ago"} {
		f.Add(s, int64(1795600000))
	}
	loc, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		loc = time.UTC
	}
	f.Fuzz(func(t *testing.T, typed string, unix int64) {
		const year1980, year2200 = 315532800, 7258118400
		now := time.Unix(year1980+max(unix, -unix-1)%(year2200-year1980), 0)
		w, err := ParseWhen(typed, now, loc)
		if err != nil {
			var p Problems
			if !errors.As(err, &p) || !w.IsZero() {
				t.Fatalf("ParseWhen(%q) = %v, %v", typed, w, err)
			}
			return
		}
		if w.IsZero() {
			return
		}
		if w.At.Location() != time.UTC || w.SpreadDays < 0 || (w.SpreadDays > 0) != (w.Precision == About) {
			t.Fatalf("ParseWhen(%q) = %+v", typed, w)
		}
		if w.Check("when", now) != nil || w.Precision == Exact {
			return // far off, or with seconds that are not shown
		}
		again, err := ParseWhen(w.In(loc), now, loc)
		if err != nil || !again.At.Equal(w.At) || again.Precision != w.Precision {
			t.Fatalf("ParseWhen(%q) = %s, which reads back as %s, %v", typed, w.In(loc), again.In(loc), err)
		}
	})
}

// A date that is made to be slow to read is refused at once: every further "or"
// would double the work.
func TestLongDatesAreRefused(t *testing.T) {
	for _, text := range []string{"1 or " + strings.Repeat("1 or ", 9) + "2 Nov", strings.Repeat("1 or ", 200_000) + "1"} {
		if _, err := ParseWhen(text, time.Now(), time.UTC); err == nil {
			t.Errorf("%.40q is accepted", text)
		}
	}
	if _, err := ParseWhen("next week", time.Now(), time.UTC); err == nil || !strings.Contains(err.Error(), "still to come") {
		t.Errorf("next week: %v", err)
	}
}
