package scan

import (
	"crypto/subtle"
	"html/template"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/calendar"
	"cruet/internal/larder"
)

// calendarView tells how a phone's calendar subscribes.
type calendarView struct {
	Address string       // to copy; empty: there is none
	Webcal  template.URL // opens the phone's calendar where that is known
	Form    form
	Close   form
}

func (p *Pages) calendarPage(c *gin.Context) error {
	return p.showCalendar(c, http.StatusOK, nil)
}

func (p *Pages) showCalendar(c *gin.Context, status int, problems larder.Problems) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	cal, err := p.DB.Calendar(ctx)
	if err != nil {
		return err
	}
	v := calendarView{Form: form{Action: "/calendar", Submit: "Make an address for a calendar"}}
	b := newBuilder("calendar", nil, problems, k.Units())
	if cal.Token != "" {
		rest := p.Address + "/calendar.ics" + query("key", cal.Token)
		v.Address, v.Webcal = "http://"+rest, template.URL("webcal://"+rest) // of our own making
		v.Form.Submit, v.Form.Intro = "Make a new address", "The present one answers no more then: do this when it got about, or a phone is lost."
		shut := newBuilder("calendar-close", nil, nil, k.Units())
		v.Close = shut.finish(form{Action: "/calendar", Submit: "Close the calendar", Fields: []field{shut.hidden("close", "1")}})
	}
	v.Form = b.finish(v.Form)
	return render(c, status, "calendar", p.frame(k, "Calendar"), v)
}

func (p *Pages) renewCalendar(c *gin.Context) error {
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	act := r.act()
	if err = r.problems.Err(); err == nil {
		if _, err = p.DB.RenewCalendar(c.Request.Context(), act, r.text("close") == ""); err == nil {
			c.Redirect(http.StatusSeeOther, "/calendar")
			return nil
		}
	}
	problems, status, _, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showCalendar(c, status, problems)
}

// calendarFeed is the feed for whoever knows its address; a phone's calendar
// sends nothing else to be known by.
func (p *Pages) calendarFeed(c *gin.Context) error {
	ctx := c.Request.Context()
	cal, err := p.DB.Calendar(ctx)
	if err != nil {
		return err
	}
	if cal.Token == "" || subtle.ConstantTimeCompare([]byte(c.Query("key")), []byte(cal.Token)) != 1 {
		c.String(http.StatusNotFound, "There is no calendar at this address. Its address was changed or closed: open the station's page Calendar and subscribe to the one shown there.\n")
		return nil
	}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	now := p.now(k)
	list, err := p.DB.Today(ctx, now)
	if err != nil {
		return err
	}
	feed := calendar.Feed{Kitchen: k.Name, Tasks: list.Tasks, Space: cal.Space, Now: now, Link: p.taskAddress}
	c.Header("Content-Disposition", `inline; filename="cruet.ics"`)
	data := calendar.Write(feed)
	var small []byte
	if takesGzip(c.Request) {
		small = zipped(data)
	}
	send(c, http.StatusOK, calendar.ContentType, data, small)
	return nil
}

// taskAddress is the whole address of where a task is done.
func (p *Pages) taskAddress(t larder.Task) string {
	to := benchDoing(t.Do).URL
	if t.Jar != "" {
		to = jarURL(t.Jar)
	}
	return "http://" + strings.TrimSuffix(p.Address, "/") + to
}
