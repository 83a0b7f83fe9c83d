// Package calendar writes what is due as an iCalendar feed (RFC 5545) that a
// phone's calendar subscribes to: one all-day event for each task, whose days are
// those on which it is due. A task that is done leaves the feed, one that is
// overdue reaches to today.
//
// An event says what to do, with which jar and why, and leads to the jar's page:
// no names of people, no notes, no gifts.
package calendar

import (
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	ics "github.com/arran4/golang-ical"
	"github.com/google/uuid"

	"cruet/internal/larder"
)

// ContentType is the feed's media type (RFC 5545, 8.1).
const ContentType = "text/calendar; charset=utf-8"

// Feed is what is written.
type Feed struct {
	Kitchen string
	Tasks   []larder.Task
	Space   uuid.UUID // makes this kitchen's events unlike any other's
	// Link is the address of where the task is done.
	Link func(larder.Task) string
	Now  time.Time // in the kitchen's zone, whose days the events have
}

// dailyFor is how many days a thing that is done every day stands in the
// calendar ahead; the next fetch carries it on.
const dailyFor = 14

// Write is the whole feed, with CRLF line ends and lines of 75 octets at most
// (RFC 5545, 3.1).
func Write(f Feed) []byte {
	cal := ics.NewCalendarFor("Cruet")
	cal.SetMethod(ics.MethodPublish)
	cal.SetProductId("-//Cruet//the jars of a vinegar kitchen//EN") // RFC 5545, 3.7.3
	name := f.Kitchen + ", jars"
	cal.SetName(name)       // RFC 7986, 5.1
	cal.SetXWRCalName(name) // what phones read that do not know RFC 7986
	cal.SetRefreshInterval("PT6H", ics.WithValue("DURATION"))
	cal.SetXPublishedTTL("PT6H")
	seen := map[string]bool{}
	for _, t := range f.Tasks {
		id := f.uid(t)
		if !seen[id] {
			seen[id] = true
			f.event(cal.AddEvent(id), t)
		}
	}
	return []byte(cal.Serialize(ics.WithNewLineWindows, ics.WithLineLength(75)))
}

// uid is one for each task of a jar in a stage, the same at every fetch, so that
// a calendar moves the event instead of adding another (RFC 5545, 3.8.4.7; a
// UUID as RFC 7986, 5.3, advises).
func (f Feed) uid(t larder.Task) string {
	return uuid.NewSHA1(f.Space, []byte(strings.Join([]string{string(t.Jar), string(t.Stage), string(t.Do)}, "\n"))).String()
}

func (f Feed) event(e *ics.VEvent, t larder.Task) {
	loc := f.Now.Location()
	from, until := t.From.In(loc), t.Until.In(loc)
	if t.Urgency == larder.Overdue && until.Before(f.Now) {
		until = f.Now
	}
	if t.Every == 1 {
		// A day on which it was not done is past; it is asked for again today.
		if from.Before(f.Now) {
			from = f.Now
		}
		until = from
		e.AddRrule("FREQ=DAILY;UNTIL=" + from.AddDate(0, 0, dailyFor).Format("20060102")) // RFC 5545, 3.8.5.3
	}
	if until.Before(from) {
		until = from
	}
	e.SetDtStampTime(f.Now) // RFC 5545, 3.8.7.2: in UTC
	// Whole days have neither zone nor hour, so that summer time moves none; the
	// end is the day after the last (RFC 5545, 3.6.1).
	e.SetProperty(ics.ComponentPropertyDtStart, from.Format("20060102"), ics.WithValue("DATE"))
	e.SetProperty(ics.ComponentPropertyDtEnd, nextDay(until).Format("20060102"), ics.WithValue("DATE"))
	e.SetSummary(summary(t))
	link := f.Link(t)
	e.SetDescription(sentence(t.Reason) + "\n" + link)
	if t.Place != "" {
		e.SetLocation(t.Place)
	}
	e.SetURL(link)
	e.SetTimeTransparency(ics.TransparencyTransparent) // it takes no time: RFC 5545, 3.8.2.7
}

// nextDay is noon of the day after, whatever the clock does in between.
func nextDay(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d+1, 12, 0, 0, 0, t.Location())
}

func summary(t larder.Task) string {
	text := sentence(t.What)
	text = strings.TrimSuffix(text, ".")
	if t.Jar != "" {
		text += ": " + t.Batch + " " + t.Letter + " (" + t.Jar.Spaced() + ")"
	}
	return text
}

func sentence(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	if n == 0 {
		return ""
	}
	return string(unicode.ToUpper(r)) + text[n:] + "."
}
