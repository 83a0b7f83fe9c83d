package larder

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"cruet/internal/lazy"
)

// Precision says how much of a When is meant.
type Precision string

// An exact When is right to the minute, a day to the calendar day, an about
// When to a few days either side.
const (
	Exact Precision = "exact"
	Day   Precision = "day"
	About Precision = "about"
)

// When is when something happened, as well as the maker knows. At is a UTC
// instant; for Day and About it is noon of the kitchen's day. The zero When
// means "now" and is filled in by the store when the act is recorded.
type When struct {
	At         time.Time `json:"at"`
	Precision  Precision `json:"precision"`
	SpreadDays int       `json:"spread_days,omitempty"` // About: days either side
}

// IsZero tells that no date was given.
func (w When) IsZero() bool { return w.At.IsZero() }

// ExactAt is the When of an instant.
func ExactAt(t time.Time) When { return When{At: t.UTC(), Precision: Exact} }

// Earliest is the first instant that w may mean.
func (w When) Earliest() time.Time {
	switch w.Precision {
	case Day:
		return w.At.Add(-12 * time.Hour)
	case About:
		return w.At.Add(-12*time.Hour).AddDate(0, 0, -w.SpreadDays)
	}
	return w.At
}

// Latest is the last instant that w may mean.
func (w When) Latest() time.Time {
	switch w.Precision {
	case Day:
		return w.At.Add(12 * time.Hour)
	case About:
		return w.At.Add(12*time.Hour).AddDate(0, 0, w.SpreadDays)
	}
	return w.At
}

// DayEnd is the end of the day that w names, be it exactly or about that day; of an
// exact w its instant.
func (w When) DayEnd() time.Time {
	if w.Precision == Day || w.Precision == About {
		return w.At.Add(12 * time.Hour)
	}
	return w.At
}

// Before tells that w is earlier than other for sure, however vague both are.
// Two entries of one day, one with the hour and one without, are in neither
// order; the order of recording has to do.
func (w When) Before(other When) bool {
	return w.At.Before(other.At) && !w.Latest().After(other.Earliest())
}

// Check refuses an incomplete When and one that lies in the future of now.
func (w When) Check(field string, now time.Time) error {
	slack := time.Minute // clocks of phone and station differ
	if w.Precision != Exact {
		slack = time.Hour // on the day when clocks go back, midnight is 13 hours before noon
	}
	switch {
	case w.IsZero():
		return nil
	case w.Precision != Exact && w.Precision != Day && w.Precision != About:
		return Refuse(field, "A date is exact, day or about.")
	case w.SpreadDays < 0 || w.SpreadDays > 200:
		return Refuse(field, "A vague date may be out by 200 days at most.")
	case w.At.Year() < 1970:
		return Refuse(field, "That date is too long ago; check the year.")
	case w.Earliest().After(now.Add(slack)):
		return Refuse(field, "That date is still to come. Log what has happened, with today's date or an earlier one.")
	}
	return nil
}

// In shows w in the kitchen's time zone: "22 Nov 2026", "about 22 Nov 2026",
// "22 Nov 2026, 14:30".
func (w When) In(loc *time.Location) string {
	t := w.At.In(loc)
	switch w.Precision {
	case About:
		return "about " + t.Format("2 Jan 2006")
	case Day:
		return t.Format("2 Jan 2006")
	}
	return t.Format("2 Jan 2006, 15:04")
}

// DateIn shows only the day of w, with "about" when it is vague.
func (w When) DateIn(loc *time.Location) string {
	if w.Precision == Exact {
		w.Precision = Day
	}
	return w.In(loc)
}

const whenHelp = `Write a date like 2026-11-22, 22 Nov, today, yesterday, "3 days ago" or "about 22 Nov".`

// maxDateBytes is longer than any date that a person writes.
const maxDateBytes = 60

var (
	agoRE    = lazy.RE(`^(an?|\d+|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve)(?: and a half)? (day|week|month|year)s?( and a half)? ago$`)
	dayRE    = lazy.RE(`^(?:the )?(\d{1,2})(?:st|nd|rd|th)?$`)
	eitherRE = lazy.RE(`^(?:the )?(\d{1,2})(?:st|nd|rd|th)? or (?:the )?(\d{1,2})(?:st|nd|rd|th)?( .+)?$`)
	// "early October", "the end of May 2026", "October".
	monthPartRE = lazy.RE(`^(?:the )?(early|mid|middle of|late|beginning of|start of|end of)?[ -]?([a-z]{3,9}(?: \d{4})?)$`)
	ordinalRE   = lazy.RE(`^(?:the )?(\d{1,2})(?:st|nd|rd|th)?(?: of)? (.+)$`)
)

// ParseWhen reads a date as a person writes it, in the kitchen's zone loc:
// "now", "today", "2026-11-22", "2026-11-22 14:30", "22 Nov", "the 22nd",
// "22nd or 23rd", "3 days ago", "about 6 weeks ago". Empty text is the zero
// When. A date without a year is the latest one that is not in the future.
// Errors are one Problem without a field.
func ParseWhen(text string, now time.Time, loc *time.Location) (When, error) {
	if len(text) > maxDateBytes {
		return When{}, Refuse("", "That is too long for a date. "+whenHelp)
	}
	s := strings.Join(strings.Fields(strings.ToLower(text)), " ")
	if s == "" || s == "now" {
		return When{}, nil
	}
	if s == "tomorrow" || strings.HasPrefix(s, "next ") {
		return When{}, Refuse("", "That date is still to come. Log what has happened. "+whenHelp)
	}
	about := false
	for _, word := range []string{"about ", "around ", "circa ", "ca. ", "~ ", "~"} {
		if rest, ok := strings.CutPrefix(s, word); ok {
			s, about = strings.TrimSpace(rest), true
			break
		}
	}
	w, err := parseDay(s, now.In(loc), loc)
	if err != nil {
		return When{}, Refuse("", fmt.Sprintf("%q is not a date that can be read here. %s", strings.TrimSpace(text), whenHelp))
	}
	if about && w.Precision != About {
		w.At, w.Precision = noon(w.At.In(loc)), About
		w.SpreadDays = max(w.SpreadDays, 2)
	}
	return w, nil
}

func parseDay(s string, now time.Time, loc *time.Location) (When, error) {
	switch s {
	case "today", "this morning", "this afternoon", "this evening", "tonight":
		return When{At: noon(now), Precision: Day}, nil
	case "last week":
		return When{At: noon(now.AddDate(0, 0, -7)), Precision: About, SpreadDays: 3}, nil
	case "last month":
		return When{At: noon(now.AddDate(0, -1, 0)), Precision: About, SpreadDays: 10}, nil
	case "a fortnight ago":
		return When{At: noon(now.AddDate(0, 0, -14)), Precision: About, SpreadDays: 3}, nil
	case "yesterday":
		return When{At: noon(now.AddDate(0, 0, -1)), Precision: Day}, nil
	}
	for _, layout := range []string{"2006-01-02t15:04", "2006-01-02 15:04", "2006-01-02t15:04:05"} {
		if t, err := time.ParseInLocation(layout, s, loc); err == nil {
			return When{At: t.UTC(), Precision: Exact}, nil
		}
	}
	if t, err := time.Parse(time.RFC3339, strings.ToUpper(s)); err == nil {
		return When{At: t.UTC(), Precision: Exact}, nil
	}
	for _, layout := range []string{"2006-01-02", "2.1.2006"} { // a day with dots is day first; with slashes nobody knows
		if t, err := time.ParseInLocation(layout, s, loc); err == nil {
			return When{At: noon(t), Precision: Day}, nil
		}
	}
	if w, ok := weekday(s, now); ok {
		return w, nil
	}
	if m := monthPartRE().FindStringSubmatch(s); m != nil {
		return monthPart(m[1], m[2], now, loc)
	}
	if m := agoRE().FindStringSubmatch(s); m != nil {
		return ago(m, strings.Contains(s, "and a half"), now)
	}
	if m := eitherRE().FindStringSubmatch(s); m != nil {
		if strings.Contains(m[3], " or ") {
			return When{}, fmt.Errorf("more than two days") // each "or" would be read twice
		}
		first, err1 := parseDay(m[1]+m[3], now, loc)
		second, err2 := parseDay(m[2]+m[3], now, loc)
		if err1 != nil || err2 != nil || second.At.Before(first.At) || second.At.Sub(first.At) > 7*24*time.Hour {
			return When{}, fmt.Errorf("not two near days")
		}
		spread := int(second.At.Sub(first.At).Hours()/24 + 0.5)
		return When{At: first.At, Precision: About, SpreadDays: max(spread, 1)}, nil
	}
	if m := dayRE().FindStringSubmatch(s); m != nil {
		return dayOfMonth(m[1], now)
	}
	return namedDay(s, now, loc)
}

// ago counts back; whole days are days, longer spans are vague by nature.
func ago(m []string, half bool, now time.Time) (When, error) {
	n, err := strconv.Atoi(m[1])
	if err != nil {
		n = max(1, slices.Index(numberWords, m[1])) // "a" and "an" are one
	}
	if n > 400 {
		return When{}, fmt.Errorf("too long ago")
	}
	days := map[string]float64{"day": 1, "week": 7, "month": 30.44, "year": 365.25}[m[2]]
	total := float64(n) * days
	if half {
		total += days / 2
	}
	at := noon(now.AddDate(0, 0, -int(total+0.5)))
	switch m[2] {
	case "day":
		return When{At: at, Precision: Day}, nil
	case "week":
		return When{At: at, Precision: About, SpreadDays: 3}, nil
	case "month":
		return When{At: at, Precision: About, SpreadDays: 10}, nil
	}
	return When{At: at, Precision: About, SpreadDays: 60}, nil
}

var numberWords = []string{"", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

// weekday is the latest such day before today: "monday", "last sunday".
func weekday(s string, now time.Time) (When, bool) {
	name := strings.TrimPrefix(strings.TrimPrefix(s, "last "), "on ")
	for back := 1; back <= 7; back++ {
		day := now.AddDate(0, 0, -back)
		long := strings.ToLower(day.Weekday().String())
		if name == long || name == long[:3] {
			return When{At: noon(day), Precision: Day}, true
		}
	}
	return When{}, false
}

// monthPart is a part of a month, vague by nature; without a year it is the
// latest one that has begun.
func monthPart(part, month string, now time.Time, loc *time.Location) (When, error) {
	day, spread := 15, 15
	switch part {
	case "early", "beginning of", "start of":
		day, spread = 5, 5
	case "mid", "middle of":
		spread = 5
	case "late", "end of":
		day, spread = 25, 5
	}
	w, err := namedDay("1 "+month, now, loc)
	if err != nil {
		return When{}, err
	}
	at := noon(w.At.In(loc).AddDate(0, 0, day-1))
	if today := noon(now); at.After(today) {
		at = today // the month has begun, but not got that far
	}
	return When{At: at, Precision: About, SpreadDays: spread}, nil
}

func dayOfMonth(digits string, now time.Time) (When, error) {
	d, _ := strconv.Atoi(digits)
	for back := range 3 {
		t := time.Date(now.Year(), now.Month()-time.Month(back), d, 12, 0, 0, 0, now.Location())
		if t.Day() == d && !t.After(endOfDay(now)) {
			return When{At: t.UTC(), Precision: Day}, nil
		}
	}
	return When{}, fmt.Errorf("no such day")
}

func namedDay(s string, now time.Time, loc *time.Location) (When, error) {
	if m := ordinalRE().FindStringSubmatch(s); m != nil {
		s = m[1] + " " + m[2]
	}
	s = titleMonth(strings.ReplaceAll(strings.ReplaceAll(s, ",", ""), "sept ", "sep "))
	if strings.HasSuffix(s, " Sept") {
		s = strings.TrimSuffix(s, "t")
	}
	for _, layout := range []string{"2 Jan 2006", "2 January 2006", "Jan 2 2006", "January 2 2006"} {
		if t, err := time.ParseInLocation(layout, s, loc); err == nil {
			return When{At: noon(t), Precision: Day}, nil
		}
	}
	// The year is tried, not assumed: 29 Feb exists only in some.
	for year := now.Year(); year > now.Year()-5; year-- {
		for _, layout := range []string{"2 Jan 2006", "2 January 2006", "Jan 2 2006", "January 2 2006"} {
			t, err := time.ParseInLocation(layout, s+" "+strconv.Itoa(year), loc)
			if err == nil && !t.After(endOfDay(now)) {
				return When{At: noon(t), Precision: Day}, nil
			}
		}
	}
	return When{}, fmt.Errorf("not a date")
}

func titleMonth(s string) string {
	words := strings.Fields(s)
	for i, w := range words {
		words[i] = strings.ToUpper(w[:1]) + w[1:]
	}
	return strings.Join(words, " ")
}

func noon(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 12, 0, 0, 0, t.Location()).UTC()
}

func endOfDay(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 23, 59, 59, 0, t.Location())
}
