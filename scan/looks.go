package scan

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/web"
)

// looksView is the guide to what lies on or in vinegar. Opened from a jar, each
// part of it logs what was seen with one tap.
type looksView struct {
	Jar   string // its tag; empty: the guide was opened by itself
	URL   string
	Photo string
	By    string
	Keys  map[string]string // of the form of each look; none when the jar takes no entries
	Typed string            // a tag that could not be read
	Wrong string
}

func looksURL(tag larder.Tag) string { return "/help/looks" + query("tag", string(tag)) }

func (p *Pages) looks(c *gin.Context) error {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return err
	}
	v, status := looksView{By: remembered(c, byCookie)}, http.StatusOK
	if typed := c.Query("tag"); typed != "" {
		var jar larder.Jar
		tag, _, err := larder.ParseTag(typed)
		if err == nil {
			jar, err = p.DB.Jar(c.Request.Context(), tag)
		}
		if err != nil {
			// The status is what counts guesses (web.Bounds).
			a := web.AnswerTo(err)
			v.Typed, v.Wrong, status = typed, a.Detail, a.Status
		} else {
			v.Jar, v.URL, v.Photo = string(tag), jarURL(tag), jarURL(tag)+"/photo"
			v.Keys = map[string]string{}
			for _, look := range []string{"mould", "mother", "film", "sediment", "eels"} {
				if jar.State.Stage.Live() {
					v.Keys[look] = newKey()
				}
			}
		}
	}
	return render(c, status, "looks", p.frame(k, "What am I looking at?"), v)
}
