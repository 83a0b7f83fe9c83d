package scan

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// plain writes a number as it was typed, without trailing zeros.
func plain[T ~float64](v T) string { return strconv.FormatFloat(float64(v), 'f', -1, 64) }

// short writes a number in four digits at most after the point.
func short[T ~float64](v T) string {
	return strconv.FormatFloat(math.Round(float64(v)*1e4)/1e4, 'f', -1, 64)
}

func gravityText(v chem.SpecificGravity) string { return fmt.Sprintf("%.3f", float64(v)) }

func count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// calendarDays counts the days of the kitchen's calendar since w, never under 0.
func calendarDays(w larder.When, now time.Time) int {
	day := func(t time.Time) time.Time {
		y, m, d := t.In(now.Location()).Date()
		return time.Date(y, m, d, 12, 0, 0, 0, time.UTC)
	}
	return max(0, int(day(now).Sub(day(w.At)).Hours()/24+0.5))
}

// age is the time since w in words: "9 days", "about 6 weeks", "today".
func age(w larder.When, now time.Time) string {
	days := calendarDays(w, now)
	text := count(days, "day")
	switch {
	case days <= 0:
		return "today"
	case days >= 2*365:
		text = fmt.Sprintf("%.1f years", float64(days)/365.25)
	case days >= 15*7:
		text = count(int(float64(days)/30.44+0.5), "month")
	case days >= 6*7:
		text = count((days+3)/7, "week")
	}
	if w.Precision == larder.About {
		return "about " + text
	}
	return text
}

func upperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if r == utf8.RuneError {
		return s
	}
	return strings.ToUpper(string(r)) + s[n:]
}

// dayOf is a short day: "22 Nov", with the year when it is not this one's.
func dayOf(w larder.When, now time.Time) string {
	return strings.TrimSuffix(w.DateIn(now.Location()), now.Format(" 2006"))
}

// momentOf is a short time: "22 Nov, 10:30", with the year when it is not this
// one's.
func momentOf(w larder.When, now time.Time) string {
	return strings.Replace(strings.TrimSuffix(w.In(now.Location()), now.Format(" 2006")), now.Format(" 2006,"), ",", 1)
}
