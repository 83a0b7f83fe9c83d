package scan

import (
	"errors"
	"net/http"
	"strconv"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/internal/larder"
)

// log saves one of the jar's forms.
func (p *Pages) log(c *gin.Context) error {
	ctx := c.Request.Context()
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	jar, err := p.DB.Jar(ctx, tag)
	if err != nil {
		return err
	}
	r, err := readForm(c, p.now(k))
	if err != nil {
		return err
	}
	id := c.Param("kind")
	n, ok := readEntry(id, r)
	if !ok {
		return p.noRoute(c)
	}
	act := r.act()
	again := false
	var saved uuid.UUID
	if err = r.problems.Err(); err != nil {
		if n.Body, err = p.DB.WithFill(ctx, jar, n.Body); err != nil {
			return err
		}
		err = r.withRules(n.Check(jar, r.now))
	} else {
		s, e := p.DB.Append(ctx, act, tag, n)
		err, again, saved = e, s.Replayed, s.Entry.ID
	}
	if err != nil {
		problems, status, key, mine := refused(err, r.typed)
		if !mine {
			return err
		}
		problems = placeRuns(placeFeed(problems, id), n.Body, r.typed)
		return p.showJar(c, status, tag, nil, &sent{form: id, typed: r.typed, problems: problems, key: key})
	}
	remember(c, byCookie, act.By)
	c.Redirect(http.StatusSeeOther, r.backTo(jarURL(tag))+savedQuery(saved, again))
	return nil
}

// withRules adds what the rules say about the fields that could be read, so
// that all that is wrong is told at once.
func (r *reader) withRules(err error) error {
	var rules larder.Problems
	all := r.problems
	if errors.As(err, &rules) {
		for _, p := range rules {
			if p.Field != "" && !r.marked(p.Field) {
				all = append(all, p)
			}
		}
	}
	return all.Err()
}

func (r *reader) marked(field string) bool {
	for _, p := range r.problems {
		if p.Field == field {
			return true
		}
	}
	return false
}

// placeFeed names the giving jar's field as the form does: the store tells a
// trouble with a giver as one with a starter.
func placeFeed(problems larder.Problems, form string) larder.Problems {
	for i := range problems {
		if form == "feed" && problems[i].Field == "starter_jar" {
			problems[i].Field = "feed_jar"
		}
	}
	return problems
}

// strikeView asks whether an entry is to be struck.
type strikeView struct {
	Tag, URL string
	Entry    line
	Form     form
}

func (p *Pages) strikeForm(c *gin.Context) error {
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	return p.showStrike(c, http.StatusOK, tag, c.Query("entry"), nil)
}

func (p *Pages) showStrike(c *gin.Context, status int, tag larder.Tag, entry string, back *sent) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	e, err := p.entryOf(c, tag, entry)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k), jar: tag}
	rows, err := p.rows(ctx, w, []larder.Entry{e})
	if err != nil {
		return err
	}
	b := newBuilder("strike", nil, nil, k.Units())
	key := ""
	if back != nil {
		b, key = newBuilder("strike", back.typed, back.problems, k.Units()), back.key
	}
	v := strikeView{Tag: string(tag), URL: jarURL(tag), Entry: rows[0]}
	v.Form = b.finish(form{Key: key, Action: jarURL(tag) + "/strike" + query("entry", e.ID.String()), Submit: "Strike this entry",
		Fields: []field{b.area("reason", "Why is it wrong?", "kept in the history"), b.by(remembered(c, byCookie))}})
	return render(c, status, "strike", p.frame(k, "Strike an entry of "+string(tag)), v)
}

// entryOf is the entry of that jar, named by its number or its id.
func (p *Pages) entryOf(c *gin.Context, tag larder.Tag, text string) (e larder.Entry, err error) {
	if seq, no := strconv.ParseInt(text, 10, 64); no == nil {
		e, err = p.DB.EntryBySeq(c.Request.Context(), seq)
	} else if id, no := uuid.Parse(text); no == nil {
		e, err = p.DB.Entry(c.Request.Context(), id)
	} else {
		err = &larder.NotFoundError{What: "entry", ID: text}
	}
	if err == nil && e.Jar != tag {
		err = &larder.NotFoundError{What: "entry", ID: text}
	}
	return e, err
}

func (p *Pages) strike(c *gin.Context) error {
	ctx := c.Request.Context()
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	entry := c.Query("entry")
	if entry == "" {
		entry = r.text("entry")
	}
	e, err := p.entryOf(c, tag, entry)
	if err != nil {
		return err
	}
	act := r.act()
	if err = r.problems.Err(); err == nil {
		s, e := p.DB.Strike(ctx, act, e.ID, r.text("reason"))
		if e == nil {
			remember(c, byCookie, act.By)
			c.Redirect(http.StatusSeeOther, jarURL(tag)+query("saved", s.Entry.ID.String()))
			return nil
		}
		err = e
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showStrike(c, status, tag, entry, &sent{typed: r.typed, problems: problems, key: key})
}
