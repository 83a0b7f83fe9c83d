package scan

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/internal/larder"
)

// draft is an act that was begun on a phone and is not saved yet: whoever scans
// another jar in the middle of it finds the way back with all that was typed.
type draft struct {
	id    string
	jar   larder.Tag
	act   string
	typed url.Values // nil: nothing yet, or it is gone
	at    time.Time
}

const (
	draftCookie = "begun"
	draftLife   = 2 * time.Hour
	glanceLife  = 15 * time.Minute // of a form that was opened and nothing typed
	maxDrafts   = 200
	maxDraft    = 64 << 10 // bytes of one
)

// drafts keeps what was typed, by the id in the phone's cookie. It is not worth
// a place in the records: it lives for two hours and ends with the station.
type drafts struct {
	sync.Mutex
	by map[string]draft
}

func (d *drafts) put(one draft) {
	d.Lock()
	defer d.Unlock()
	if d.by == nil {
		d.by = map[string]draft{}
	}
	oldest := ""
	for id, other := range d.by {
		if one.at.Sub(other.at) > draftLife {
			delete(d.by, id)
		} else if oldest == "" || other.at.Before(d.by[oldest].at) {
			oldest = id
		}
	}
	if _, known := d.by[one.id]; !known && len(d.by) >= maxDrafts {
		delete(d.by, oldest)
	}
	d.by[one.id] = one
}

func (d *drafts) get(id string, now time.Time) (draft, bool) {
	d.Lock()
	defer d.Unlock()
	one, ok := d.by[id]
	if one.typed != nil { // a form may change what it was given
		typed := url.Values{}
		for name, values := range one.typed {
			typed[name] = slices.Clone(values)
		}
		one.typed = typed
	}
	return one, ok && now.Sub(one.at) <= draftLife
}

func (d *drafts) drop(id string) {
	d.Lock()
	defer d.Unlock()
	delete(d.by, id)
}

// begun is the act in progress on this phone. The cookie itself says which act
// of which jar it is, so that a station that was started afresh in between loses
// only what was typed.
func (p *Pages) begun(c *gin.Context, now time.Time) (draft, bool) {
	text, err := c.Cookie(draftCookie)
	part := strings.Split(text, ".")
	if err != nil || len(part) != 3 {
		return draft{}, false
	}
	tag, _, err := larder.ParseTag(part[0])
	if _, known := pourNamed(part[1]); err != nil || tag.IsBottle() || !known {
		return draft{}, false
	}
	one := draft{id: part[2], jar: tag, act: part[1]}
	if kept, ok := p.drafts.get(one.id, now); ok && kept.jar == tag && kept.act == one.act {
		one = kept
	}
	return one, true
}

// keep remembers what was typed so far, and marks the phone.
func (p *Pages) keep(c *gin.Context, one draft) {
	if one.id == "" {
		one.id = uuid.NewString()
	}
	if len(one.typed.Encode()) > maxDraft {
		one.typed = nil
	}
	life := draftLife
	if one.typed == nil {
		life = glanceLife
	}
	p.drafts.put(one)
	http.SetCookie(c.Writer, &http.Cookie{Name: draftCookie, Value: string(one.jar) + "." + one.act + "." + one.id, Path: "/",
		MaxAge: int(life / time.Second), HttpOnly: true, SameSite: http.SameSiteLaxMode})
}

// draftID is the id of the act in progress, when it is this one.
func (p *Pages) draftID(c *gin.Context, a pour, g pouring) string {
	if d, ok := p.begun(c, g.w.now); ok && d.jar == g.jar.Tag && d.act == a.name {
		return d.id
	}
	return ""
}

// forget ends the act in progress.
func (p *Pages) forget(c *gin.Context) {
	if text, err := c.Cookie(draftCookie); err == nil {
		p.drafts.drop(text[strings.LastIndexByte(text, '.')+1:])
		http.SetCookie(c.Writer, &http.Cookie{Name: draftCookie, Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	}
}

// begunView is the offer, on the page of a jar that was scanned in the middle of
// an act, to use it there.
type begunView struct {
	Use  link   // empty when it cannot serve
	Why  string // then
	Back link
	Here string // this page, to come back to when the act is left
	Key  string
}

// offer is what this jar can be in the act in progress, nil when there is none.
func (p *Pages) offer(c *gin.Context, jar larder.Jar, now time.Time) (*begunView, error) {
	d, ok := p.begun(c, now)
	if !ok {
		return nil, nil
	}
	act, _ := pourNamed(d.act)
	v := &begunView{Back: link{act.url(d.jar), "Go on: " + strings.ToLower(act.title)}, Here: jarURL(jar.Tag), Key: newKey()}
	if d.jar == jar.Tag && d.typed == nil { // opened, looked at, and left
		p.forget(c)
		return nil, nil
	}
	// A camera that follows a label's code names no page that it comes from; whoever
	// walked here over the station's own pages has left a form that holds nothing.
	if d.typed == nil && walked(c, act.url(d.jar)) {
		p.forget(c)
		return nil, nil
	}
	if d.jar == jar.Tag {
		return v, nil
	}
	for_, err := p.nameOf(c, d.jar)
	if err != nil || act.use == "" {
		return nil, nil // the act's jar is gone, or it takes no other
	}
	v.Back.Text = "Back to " + for_
	if v.Why = cannotServe(jar); v.Why == "" {
		v.Use = link{act.url(d.jar) + query("other", string(jar.Tag)) + "#other", strings.Replace(act.use, "%s", for_, 1)}
	}
	return v, nil
}

// walked tells that a link of the station led here, other than from the form
// itself or from the page that reads a photo of a label.
func walked(c *gin.Context, form string) bool {
	from, err := url.Parse(c.Request.Referer())
	return err == nil && from.Host != "" && from.Host == c.Request.Host && from.Path != form && from.Path != "/scan"
}

// offerSpare is offer on the page of a spare tag: the vessel to pour into.
func (p *Pages) offerSpare(c *gin.Context, tag larder.Tag, now time.Time) *begunView {
	d, ok := p.begun(c, now)
	if !ok {
		return nil
	}
	act, _ := pourNamed(d.act)
	name, err := p.nameOf(c, d.jar)
	if err != nil || !act.fills {
		return nil
	}
	return &begunView{Use: link{act.url(d.jar) + query("other", string(tag)) + "#other", "Pour " + name + " into the jar with this tag"},
		Back: link{act.url(d.jar), "Back to " + name}, Here: jarURL(tag), Key: newKey()}
}

// nameOf is a jar as people call it: "A · Quince juice".
func (p *Pages) nameOf(c *gin.Context, tag larder.Tag) (string, error) {
	jar, err := p.DB.Jar(c.Request.Context(), tag)
	if err != nil {
		return "", err
	}
	batch, err := p.DB.Batch(c.Request.Context(), jar.BatchID)
	return jarName(jar, batch), err
}

func jarName(jar larder.Jar, batch larder.Batch) string { return jar.Letter + " · " + batch.Name }

// cannotServe says why nothing can be taken from a jar now, empty when it can.
func cannotServe(jar larder.Jar) string {
	s := jar.State
	switch {
	case !s.Stage.Live():
		return "This jar is " + string(s.Stage) + ", so nothing can be taken out of it."
	case s.Hold != "":
		return "This jar is on hold: " + s.Hold + ". Nothing can be taken out of it until the hold is lifted."
	case s.VolumeML != nil && *s.VolumeML <= 0:
		return "The log says that nothing is left in this jar."
	}
	return ""
}

// dropAct leaves the act in progress without saving it.
func (p *Pages) dropAct(c *gin.Context) error {
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	p.forget(c)
	to := "/"
	if tag := r.jarTag("tag"); tag != "" {
		to = jarURL(tag)
	}
	c.Redirect(http.StatusSeeOther, to)
	return nil
}
