package scan

import (
	"net/http"
	"net/url"

	"github.com/gin-gonic/gin"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
)

// spareView is a tag that no jar wears yet: what can be put into its jar.
type spareView struct {
	Begun *begunView // an act in progress that may fill this jar
	Tag   string
	Start string
	Print string // the same tag once more
	Move  *form  // nil: there is nothing to move
}

// spare is the page of a printed tag that no jar wears yet.
func (p *Pages) spare(c *gin.Context, tag larder.Tag) error {
	return p.showSpare(c, http.StatusOK, tag, nil, nil, "")
}

func (p *Pages) showSpare(c *gin.Context, status int, tag larder.Tag, typed url.Values, problems larder.Problems, key string) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	shelf, err := p.DB.Standing(ctx)
	if err != nil {
		return err
	}
	v := spareView{Begun: p.offerSpare(c, tag, p.now(k)), Tag: string(tag), Start: "/start" + query("spare", string(tag)), Print: "/labels" + query("tag", string(tag))}
	var jars []option
	for _, s := range shelf {
		text := s.Batch.Name + " " + s.Jar.Letter + " · " + string(s.Jar.Tag)
		if s.Jar.State.VolumeML != nil {
			text += " · " + chem.FormatVolume(*s.Jar.State.VolumeML, k.Units())
		}
		jars = append(jars, option{Value: string(s.Jar.Tag), Text: text})
	}
	if len(jars) > 0 {
		b := newBuilder("move", typed, problems, k.Units())
		f := b.finish(form{Key: key, Action: jarURL(tag) + "/move", Submit: "Move it into this jar", Title: "Move a jar here",
			Intro: "All that is in the other jar goes into this one, with its batch and its history. The other jar is empty then, and its tag retired.",
			Fields: append([]field{b.pull("from", "From jar", "", jars...), b.volume("size_ml", "This jar holds", ""),
				b.volume("volume_ml", "Measured on the way", "empty: all that the log says"), b.text("place", "Where it stands", "empty: where the other stood", larder.MaxNameRunes)},
				b.whenAndBy(remembered(c, byCookie))...)})
		v.Move = &f
	}
	return render(c, status, "spare", p.frame(k, "Spare tag "+string(tag)), v)
}

// moveHere moves a jar's liquid into the jar that wears this spare tag.
func (p *Pages) moveHere(c *gin.Context) error {
	ctx := c.Request.Context()
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	n := larder.NewMove{When: r.when(), SpareTag: tag, Place: r.text("place"), VolumeML: r.volume("volume_ml")}
	if size := r.volume("size_ml"); size != nil {
		n.SizeML = *size
	}
	from := r.jarTag("from")
	if from == "" && len(r.problems) == 0 {
		r.problems.Add("from", "Say which jar is moved.")
	}
	act, again := r.act(), false
	if err = r.problems.Err(); err == nil {
		var f store.Filled
		f, err = p.DB.Move(ctx, act, from, n)
		again = f.Replayed
	}
	problems, status, key, mine := refused(err, r.typed)
	if mine {
		for i, f := range problems {
			if f.Field == "spare_tag" { // it is what the page is about
				problems[i].Field = ""
			}
		}
		return p.showSpare(c, status, tag, r.typed, problems, key)
	}
	if err != nil {
		return err
	}
	remember(c, byCookie, act.By)
	c.Redirect(http.StatusSeeOther, savedAt(tag, act.Key, again))
	return nil
}
