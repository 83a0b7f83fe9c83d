package scan

import (
	"errors"
	"fmt"
	"image"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/photo"
	"cruet/internal/store"
	"cruet/internal/web"
	"cruet/labels/readback"
)

// scanView is the page that reads a label without the phone's own scanner.
type scanView struct {
	For    string // where a label's tag is wanted; empty: its page is opened
	Accept string
	Wrong  string // with the picture or the tag that was sent
	InTag  bool   // it is the tag
	Typed  string // a tag
	Took   string // the tag that was read out of it, when it was not typed so
	Open   link
	Codes  []scannedCode
}

// scannedCode is one code of a picture.
type scannedCode struct {
	Title, Detail string
	Text          string // what it says, where that is for reading
	To            link   // nothing: it names nothing here
}

// wanted is the local path that asked for a label, with the tag to be added to
// it. Only pages that start an act ask; anything else is dropped.
func wanted(path string) string {
	u, err := url.Parse(path)
	if err != nil || u.IsAbs() || u.Host != "" || u.User != nil || u.Fragment != "" || strings.ContainsAny(path+u.Path, "\\\r\n\t") {
		return ""
	}
	for _, step := range strings.Split(u.Path, "/")[min(1, strings.Count(u.Path, "/")):] {
		if step == "" || step == "." || step == ".." {
			return ""
		}
	}
	for _, page := range []string{"/bench", "/bottle"} {
		if u.Path == page || strings.HasPrefix(u.Path, page+"/") {
			return u.RequestURI()
		}
	}
	if strings.HasPrefix(u.Path, "/J/") {
		return u.RequestURI()
	}
	return ""
}

// withOther is a wanted path with the label that was scanned for it.
func withOther(path string, tag larder.Tag) string {
	u, err := url.Parse(path)
	if err != nil {
		return path
	}
	q := u.Query()
	q.Set("other", string(tag))
	u.RawQuery = q.Encode()
	return u.RequestURI()
}

func (p *Pages) registerScan(e *gin.Engine) {
	e.GET("/scan", p.page(p.scanForm))
	e.POST("/scan", p.page(p.scanPhoto))
}

// scanForm shows the form, or takes the tag that was typed into it.
func (p *Pages) scanForm(c *gin.Context) error {
	v := scanView{For: wanted(c.Query("for"))}
	if _, typed := c.GetQuery("tag"); !typed {
		return p.showScan(c, http.StatusOK, v)
	}
	v.Typed = strings.TrimSpace(c.Query("tag"))
	code := larder.ReadCode(v.Typed)
	if code.Tag == "" {
		tag, taken, err := larder.ParseTag(v.Typed)
		if err != nil {
			v.Wrong, v.InTag = err.Error(), true
			return p.showScan(c, http.StatusUnprocessableEntity, v)
		}
		code.Tag = tag
		if len(taken) > 0 {
			v.Took = string(tag)
		}
	}
	found, err := p.DB.Scanned(c.Request.Context(), code)
	if err != nil {
		return err
	}
	to := p.targetOf(found, v.For)
	if to.URL == "" {
		one := p.describe(found, v.For)
		v.Wrong, v.InTag = one.Title+". "+one.Detail, true
		return p.showScan(c, http.StatusNotFound, v)
	}
	// The jar's page says which look-alikes were taken for which; before an act
	// that goes on elsewhere it is said here.
	if v.Took != "" && v.For != "" {
		v.Open = to
		return p.showScan(c, http.StatusOK, v)
	}
	if v.Took != "" && found.Kind != "bottle" {
		to.URL += query("typed", v.Typed)
	}
	c.Redirect(http.StatusSeeOther, to.URL)
	return nil
}

func (p *Pages) showScan(c *gin.Context, status int, v scanView) error {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return err
	}
	v.Accept = photo.MediaTypes
	return render(c, status, "scan", p.frame(k, "Scan a label"), v)
}

// scanPhoto reads the codes in a picture that was sent, of which nothing is kept.
func (p *Pages) scanPhoto(c *gin.Context) error {
	ctx := c.Request.Context()
	web.AllowBody(c, drainBytes)
	typed, picture, err := readUpload(c.Request)
	if picture != nil {
		defer picture.remove()
	}
	if err != nil {
		return err
	}
	v := scanView{For: wanted(typed.Get("for"))}
	if picture == nil {
		v.Wrong = "No picture was sent. Take a photo of the label, or type its tag below."
		return p.showScan(c, http.StatusUnprocessableEntity, v)
	}
	var texts []string
	err = photo.Read(ctx, picture, func(m image.Image) error {
		for _, f := range readback.Photo(m) {
			texts = append(texts, f.Text)
		}
		return nil
	})
	var problems larder.Problems
	if errors.As(err, &problems) {
		v.Wrong = problems.Error()
		return p.showScan(c, http.StatusUnprocessableEntity, v)
	}
	if err != nil {
		return err
	}
	if len(texts) == 0 {
		v.Wrong = "No code could be read in this picture. Go closer, so that the label fills half of it; wipe it dry; turn it until nothing glares; hold still. Or type the tag below."
		return p.showScan(c, http.StatusUnprocessableEntity, v)
	}
	for _, text := range texts {
		found, err := p.DB.Scanned(ctx, larder.ReadCode(text))
		if err != nil {
			return err
		}
		one := p.describe(found, v.For)
		if len(texts) == 1 && one.To.URL != "" && one.Text == "" {
			c.Redirect(http.StatusSeeOther, one.To.URL)
			return nil
		}
		v.Codes = append(v.Codes, one)
	}
	return p.showScan(c, http.StatusOK, v)
}

// targetOf is where a code leads: its page, or back to the act that wanted it.
func (p *Pages) targetOf(s store.Scanned, wanted string) link {
	switch {
	case wanted != "" && s.Tag != "" && s.Kind != "":
		return link{withOther(wanted, s.Tag), "Take this one"}
	case s.Kind == "jar" || s.Kind == "spare":
		return link{jarURL(s.Tag), "Open"}
	case s.Kind == "bottle" && s.Bottle != nil:
		return link{bottleURL(*s.Bottle), "Open"}
	case s.Kind == "lot":
		return link{lotURL(s.Lot.ID), "Open the lot"}
	}
	return link{}
}

// describe says what a code names.
func (p *Pages) describe(s store.Scanned, wanted string) scannedCode {
	one := scannedCode{To: p.targetOf(s, wanted)}
	switch s.Kind {
	case "jar":
		one.Title, one.Detail = s.Batch+" "+s.Jar.Letter, string(s.Tag)+" · "+string(s.Jar.State.Stage)
	case "spare":
		one.Title, one.Detail = "Spare tag "+string(s.Tag), "No jar wears it yet."
	case "bottle":
		one.Title, one.Detail = s.Lot.Name, fmt.Sprintf("Bottle %d of lot %s", s.Bottle.Number, s.Lot.ID)
	case "lot":
		one.Title, one.Detail = s.Lot.Name, "Lot "+s.Lot.ID+", which has no bottle of this number."
	}
	if s.LotID != "" {
		one.Text = s.Text // facts are there to be read
	}
	if s.Kind != "" {
		return one
	}
	switch {
	case s.LotID != "":
		one.Title, one.Detail = "A bottle of another kitchen", "Its lot "+s.LotID+" is not in the records here. The code says:"
	case s.Tag != "" && s.Address != "" && !strings.EqualFold(s.Address, p.Address):
		one.Title = "A label of another kitchen"
		one.Detail = fmt.Sprintf("%s is not in the records here. Its label belongs to the station at %s; open it there.", s.Tag.Spaced(), s.Address)
	case s.Tag != "":
		one.Title, one.Detail = "Not in this kitchen", s.Tag.Spaced()+" is a tag, but not one of this kitchen's records."
	default:
		one.Title, one.Detail, one.Text = "No label of a jar or bottle", "The code says:", s.Text
	}
	return one
}
