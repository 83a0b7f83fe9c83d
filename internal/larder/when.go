package larder

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
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

var (
	agoRE     = regexp.MustCompile(`^(a|an|one|\d+)(?: and a half)? (day|week|month|year)s?( and a half)? ago$`)
	dayRE     = regexp.MustCompile(`^(?:the )?(\d{1,2})(?:st|nd|rd|th)?$`)
	eitherRE  = regexp.MustCompile(`^(?:the )?(\d{1,2})(?:st|nd|rd|th)? or (?:the )?(\d{1,2})(?:st|nd|rd|th)?( .+)?$`)
	ordinalRE = regexp.MustCompile(`^(?:the )?(\d{1,2})(?:st|nd|rd|th)?(?: of)? (.+)$`)
)

// ParseWhen reads a date as a person writes it, in the kitchen's zone loc:
// "now", "today", "2026-11-22", "2026-11-22 14:30", "22 Nov", "the 22nd",
// "22nd or 23rd", "3 days ago", "about 6 weeks ago". Empty text is the zero
// When. A date without a year is the latest one that is not in the future.
// Errors are one Problem without a field.
func ParseWhen(text string, now time.Time, loc *time.Location) (When, error) {
	s := strings.Join(strings.Fields(strings.ToLower(text)), " ")
	if s == "" || s == "now" {
		return When{}, nil
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
		return When{}, Refuse("", fmt.Sprintf("%q is not a date that this page can read. %s", strings.TrimSpace(text), whenHelp))
	}
	if about && w.Precision != About {
		w.At, w.Precision = noon(w.At.In(loc)), About
		w.SpreadDays = max(w.SpreadDays, 2)
	}
	return w, nil
}

func parseDay(s string, now time.Time, loc *time.Location) (When, error) {
	switch s {
	case "today":
		return When{At: noon(now), Precision: Day}, nil
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
	if t, err := time.ParseInLocation("2006-01-02", s, loc); err == nil {
		return When{At: noon(t), Precision: Day}, nil
	}
	if m := agoRE.FindStringSubmatch(s); m != nil {
		return ago(m, strings.Contains(s, "and a half"), now)
	}
	if m := eitherRE.FindStringSubmatch(s); m != nil {
		first, err1 := parseDay(m[1]+m[3], now, loc)
		second, err2 := parseDay(m[2]+m[3], now, loc)
		if err1 != nil || err2 != nil || second.At.Before(first.At) || second.At.Sub(first.At) > 7*24*time.Hour {
			return When{}, fmt.Errorf("not two near days")
		}
		spread := int(second.At.Sub(first.At).Hours()/24 + 0.5)
		return When{At: first.At, Precision: About, SpreadDays: max(spread, 1)}, nil
	}
	if m := dayRE.FindStringSubmatch(s); m != nil {
		return dayOfMonth(m[1], now)
	}
	return namedDay(s, now, loc)
}

// ago counts back; whole days are days, longer spans are vague by nature.
func ago(m []string, half bool, now time.Time) (When, error) {
	n, err := strconv.Atoi(m[1])
	if err != nil {
		n = 1 // "a", "an", "one"
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
	if m := ordinalRE.FindStringSubmatch(s); m != nil {
		s = m[1] + " " + m[2]
	}
	s = titleMonth(strings.ReplaceAll(s, ",", ""))
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
