package scan

import (
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"
)

// displayCookie keeps on this phone how it wants its pages: "large" or nothing.
const displayCookie = "display"

type displayView struct {
	Back string // where the phone came from
	Form form
}

// display asks how large the letters are and in which language the pages come.
// It is kept on the phone that asked, not in the kitchen's records.
func (p *Pages) display(c *gin.Context) error {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return err
	}
	b := newBuilder("display", nil, nil, k.Units())
	size := remembered(c, displayCookie)
	var tongues []option
	for _, l := range languages {
		tongues = append(tongues, option{Value: l.tag.String(), Text: l.name})
	}
	f := b.finish(form{Action: "/display", Submit: "Use this", Fields: []field{
		b.hidden("back", localPath(c.Query("back"))),
		b.choice("size", "Letters", size, option{Value: "", Text: "usual"}, option{Value: "large", Text: "large"}),
		b.choice("lang", "Language", languageOf(c.Request).tag.String(), tongues...),
	}})
	return render(c, http.StatusOK, "display", p.frame(k, "Display"), displayView{Form: f})
}

func (p *Pages) setDisplay(c *gin.Context) error {
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	size := r.text("size")
	if size != "large" {
		size = "usual"
	}
	remember(c, displayCookie, size)
	for _, l := range languages {
		if l.tag.String() == r.text("lang") {
			remember(c, languageCookie, r.text("lang"))
		}
	}
	c.Redirect(http.StatusSeeOther, localPath(r.text("back")))
	return nil
}

// localPath is a path on this station, "/" when it is none. Where a browser reads on
// from here, any number of strokes at the start begins another host's name, a
// backslash is one too, and tabs are left out (WHATWG URL Standard, 4.4).
func localPath(text string) string {
	u, err := url.Parse(text)
	if err != nil || u.Host != "" || u.Scheme != "" || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.ContainsAny(text, "\\\r\n") {
		return "/"
	}
	return text
}
