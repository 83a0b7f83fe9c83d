package scan

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/internal/larder"
	"cruet/internal/store"
)

// pour is one of the acts that move liquid or a mother, each on a page of its own.
type pour struct {
	name  string // in the address
	title string
	line  string // what the menu says of it
	use   string // what another jar becomes in it; %s is the jar that it is for. Empty: it takes none
	fills bool   // it pours into a new vessel, which may wear a spare tag
	takes bool   // it takes liquid out of the jar, which a hold forbids
	lay   func(pouring, *builder) form
	read  func(pouring, *reader) deed
	place map[string]string // the rules' names of fields, as the form has them
}

// deed is what a form asks for: an entry, or an act that pours jars into others.
type deed struct {
	entry *larder.NewEntry
	fill  func(context.Context, *store.DB, larder.Act) (store.Filled, error)
}

func pours() []pour {
	return []pour{
		{name: "strain", title: "Strain", line: "Take the fruit out, and let it go on to vinegar", use: "Use this jar as the mother for %s",
			lay: pouring.strain, read: readStrain, place: feedPlaces},
		{name: "mother", title: "Give a mother", line: "A mother or live vinegar from a jar or a bought bottle", use: "Use this jar as the mother for %s",
			lay: pouring.mother, read: readMother, place: feedPlaces},
		{name: "top-up", title: "Top up", line: "From a jar, with bought vinegar, wine, juice", use: "Top up %s from this jar",
			lay: pouring.topUp, read: readTopUp, place: feedPlaces},
		{name: "water", title: "Add water", line: "Dilute it; the sum says how much", lay: pouring.water, read: readWater, place: feedPlaces},
		{name: "infuse", title: "Infuse", line: "Herbs, peel or spice go in", lay: pouring.infuse, read: readInfuse, place: feedPlaces},
		{name: "split", title: "Split", line: "Pour parts of it into other vessels", fills: true, takes: true, lay: pouring.split, read: readSplit},
		{name: "move", title: "Move to another jar", line: "Pour all of it into a new vessel", fills: true, takes: true, lay: pouring.move, read: readMove},
		{name: "join", title: "Join jars", line: "Blend it with others, in a new jar or in this one", use: "Pour this jar together with %s", fills: true,
			lay: pouring.join, read: readJoin},
	}
}

func pourNamed(name string) (pour, bool) {
	for _, a := range pours() {
		if a.name == name {
			return a, true
		}
	}
	return pour{}, false
}

func (a pour) url(jar larder.Tag) string { return jarURL(jar) + "/pour/" + a.name }

// pouring is what the forms of these acts know.
type pouring struct {
	w     writer
	jar   larder.Jar
	batch larder.Batch
	shelf []store.ShelfJar // the live jars
	by    string
	typed url.Values // as it stands in the form, nil when fresh
}

func (p *Pages) registerPours(e *gin.Engine) {
	for _, jar := range []string{"/J/:tag", "/j/:tag"} {
		e.GET(jar+"/pour", p.page(p.pourMenu))
		e.GET(jar+"/pour/:act", p.page(p.pourForm))
		e.POST(jar+"/pour/:act", p.page(p.pourSave))
		e.GET(jar+"/lineage", p.page(p.lineage))
	}
	e.POST("/pour/drop", p.page(p.dropAct))
}

// pouring reads what an act's form needs to know; a spare tag or a bottle's is
// no jar to act on.
func (p *Pages) pouring(c *gin.Context) (g pouring, err error) {
	ctx := c.Request.Context()
	tag, _, err := tagOf(c)
	if err != nil {
		return g, err
	}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return g, err
	}
	g = pouring{w: writer{k: k, now: p.now(k), jar: tag}, by: remembered(c, byCookie)}
	if g.jar, err = p.DB.Jar(ctx, tag); err != nil {
		return g, err
	}
	if g.batch, err = p.DB.Batch(ctx, g.jar.BatchID); err != nil {
		return g, err
	}
	g.shelf, err = p.DB.Shelf(ctx, false)
	return g, err
}

type pourMenuView struct {
	Jar  string
	URL  string
	Hold string
	Acts []pourLink
}

type pourLink struct {
	link
	Line string
	Why  string // it cannot be done now
}

// pourMenu lists what can be done with the jar's liquid.
func (p *Pages) pourMenu(c *gin.Context) error {
	g, err := p.pouring(c)
	if err != nil {
		return err
	}
	v := pourMenuView{Jar: jarName(g.jar, g.batch), URL: jarURL(g.jar.Tag), Hold: g.jar.State.Hold}
	for _, a := range pours() {
		one := pourLink{link: link{a.url(g.jar.Tag), a.title}, Line: a.line}
		switch {
		case !g.jar.State.Stage.Live():
			one.Why = "the jar is " + string(g.jar.State.Stage)
		case a.takes && v.Hold != "":
			one.Why = "not while it is on hold"
		}
		v.Acts = append(v.Acts, one)
	}
	return render(c, http.StatusOK, "pours", p.frame(g.w.k, "Pour · "+v.Jar), v)
}

type pourView struct {
	Title   string
	Jar     string
	URL     string // the jar's
	Fresh   string // where to begin afresh; empty: nothing was kept
	Kept    string // since when what was typed is kept
	Holds   string
	Retired string
	Scan    bool // the other label is to be scanned now
	Form    form
	Sum     []string // what was reckoned
	SumBad  string   // why nothing was
}

func (p *Pages) pourForm(c *gin.Context) error {
	g, err := p.pouring(c)
	if err != nil {
		return err
	}
	a, ok := pourNamed(c.Param("act"))
	if !ok {
		return p.noRoute(c)
	}
	d, begun := p.begun(c, g.w.now)
	if !begun || d.jar != g.jar.Tag || d.act != a.name || c.Query("fresh") != "" {
		d = draft{}
	}
	kept := d.at
	var problems larder.Problems
	if other := c.Query("other"); other != "" {
		if d.typed == nil {
			d.typed = url.Values{"key": {newKey()}, "by": {g.by}}
		}
		problems = p.takeOther(c, a, g, d.typed, other)
	}
	d.jar, d.act, d.at = g.jar.Tag, a.name, g.w.now
	if a.use != "" || a.fills || d.typed != nil {
		p.keep(c, d)
	}
	v := pourView{Scan: c.Query("step") == "scan"}
	if d.typed != nil && !kept.IsZero() && !v.Scan && c.Query("other") == "" && g.w.now.Sub(kept) > time.Minute {
		v.Kept, v.Fresh = kept.In(g.w.now.Location()).Format("15:04"), a.url(g.jar.Tag)+"?fresh=1"
	}
	return p.showPour(c, http.StatusOK, a, g, v, d.typed, problems, "")
}

func (p *Pages) showPour(c *gin.Context, status int, a pour, g pouring, v pourView, typed url.Values, problems larder.Problems, key string) error {
	g.typed = typed
	b := newBuilder("pour", typed, problems, g.w.k.Units())
	f := a.lay(g, b)
	f.Action, f.More = a.url(g.jar.Tag), true
	if f.Key = key; key == "" {
		f.Key = typed.Get("key")
	}
	v.Form = b.finish(f)
	v.Title, v.Jar, v.URL, v.Holds = a.title, jarName(g.jar, g.batch), jarURL(g.jar.Tag), g.holds()
	if s := g.jar.State.Stage; !s.Live() {
		v.Retired = "This jar is " + string(s) + " and its tag is retired: nothing can be poured in or out."
	}
	return render(c, status, "pour", p.frame(g.w.k, a.title+" · "+v.Jar), v)
}

// holds says what is in the jar and how much more it can hold.
func (g pouring) holds() string {
	s := g.jar.State
	if s.VolumeML == nil {
		return "The log does not say how much is in it; it holds " + g.w.volume(g.jar.SizeML) + " at most."
	}
	text := "It holds " + g.w.volume(*s.VolumeML)
	if room := g.jar.SizeML - *s.VolumeML; room >= 1 {
		return text + " and has room for " + g.w.volume(room) + "."
	}
	return text + ", to the brim."
}

// takeOther puts another jar, or the spare tag of a new vessel, into the form.
func (p *Pages) takeOther(c *gin.Context, a pour, g pouring, typed url.Values, text string) larder.Problems {
	r := &reader{typed: url.Values{"other": {text}}}
	tag := r.jarTag("other")
	if tag == "" {
		typed.Set("other", text)
		return r.problems
	}
	kind, err := p.DB.TagKind(c.Request.Context(), tag)
	switch {
	case err == nil && kind == "spare" && a.fills:
		takeSpare(typed, tag)
	case a.name == "join":
		takeJoined(typed, tag)
	default:
		typed.Set("other", text)
		if typed.Get("from") == "" || typed.Get("from") == "none" {
			typed.Set("from", "jar")
		}
	}
	return nil
}

// pourSave saves the act, or does what another button of the form asks for.
func (p *Pages) pourSave(c *gin.Context) error {
	g, err := p.pouring(c)
	if err != nil {
		return err
	}
	a, ok := pourNamed(c.Param("act"))
	if !ok {
		return p.noRoute(c)
	}
	r, err := readForm(c, g.w.now)
	if err != nil {
		return err
	}
	if done, err := p.pourStep(c, a, g, r); done || err != nil {
		return err
	}
	g.typed = r.typed
	do := a.read(g, r)
	act := r.act()
	err = r.problems.Err()
	var to string
	switch {
	case err != nil && do.entry != nil:
		if do.entry.Body, err = p.DB.WithFill(c.Request.Context(), g.jar, do.entry.Body); err != nil {
			return err
		}
		err = r.withRules(do.entry.Check(g.jar, r.now))
	case err != nil:
	case do.entry != nil:
		var s store.Saved
		s, err = p.DB.Append(c.Request.Context(), act, g.jar.Tag, *do.entry)
		to = savedAt(g.jar.Tag, s.Entry.ID, s.Replayed)
	default:
		var f store.Filled
		f, err = do.fill(c.Request.Context(), p.DB, act)
		if to = savedAt(g.jar.Tag, act.Key, f.Replayed); len(f.Jars) == 1 {
			to = savedAt(f.Jars[0].Tag, act.Key, f.Replayed)
		}
	}
	if err != nil {
		problems, status, key, mine := refused(err, r.typed)
		if !mine {
			return err
		}
		for i, f := range problems {
			if field, ok := a.place[f.Field]; ok {
				problems[i].Field = field
			}
		}
		p.keep(c, draft{id: p.draftID(c, a, g), jar: g.jar.Tag, act: a.name, typed: r.typed, at: g.w.now})
		return p.showPour(c, status, a, g, pourView{}, r.typed, problems, key)
	}
	p.forget(c)
	remember(c, byCookie, act.By)
	if _, taken, err := larder.ParseTag(r.text("other")); err == nil && len(taken) > 0 {
		to += "&other=" + url.QueryEscape(r.text("other"))
	}
	c.Redirect(http.StatusSeeOther, to)
	return nil
}

// savedAt is the jar's page that says what was saved.
func savedAt(tag larder.Tag, entry uuid.UUID, again bool) string {
	to := jarURL(tag) + query("saved", entry.String())
	if again {
		to += "&again=1"
	}
	return to
}

// pourStep does what the form's other buttons ask for: each keeps what was
// typed, and nothing is saved.
func (p *Pages) pourStep(c *gin.Context, a pour, g pouring, r *reader) (done bool, err error) {
	typed := url.Values{}
	for name, values := range r.typed {
		switch name {
		case "scan", "photo", "pick", "look", "keep", "leave", "reckon", "more":
		default:
			typed[name] = values
		}
	}
	d := draft{id: p.draftID(c, a, g), jar: g.jar.Tag, act: a.name, typed: typed, at: g.w.now}
	go_ := func(to string) (bool, error) {
		p.keep(c, d)
		c.Redirect(http.StatusSeeOther, to)
		return true, nil
	}
	here := a.url(g.jar.Tag)
	switch {
	case r.typed.Has("keep"): // by the page's script, when the phone turns to its camera
		p.keep(c, d)
		c.Status(http.StatusNoContent)
		return true, nil
	case r.typed.Has("scan"):
		return go_(here + "?step=scan")
	case r.typed.Has("photo"):
		return go_("/scan" + query("for", here))
	case r.text("pick") != "":
		return go_(here + query("other", r.text("pick")) + "#other")
	case r.typed.Has("look"):
		return go_(here + query("other", r.text("other")) + "#other")
	case r.text("leave") != "":
		leaveJoined(typed, r.text("leave"))
		return go_(here + "#other")
	case r.typed.Has("more"):
		typed.Set("vessels", "more")
		return go_(here)
	case r.typed.Has("reckon"):
		p.keep(c, d)
		v := pourView{}
		var problems larder.Problems
		v.Sum, v.SumBad, problems = g.reckon(a, &reader{typed: typed, now: r.now})
		return true, p.showPour(c, http.StatusOK, a, g, v, typed, problems, typed.Get("key"))
	}
	return false, nil
}

// find is a live jar of the shelf by its tag.
func (g pouring) find(tag larder.Tag) (store.ShelfJar, bool) {
	for _, s := range g.shelf {
		if s.Jar.Tag == tag {
			return s, true
		}
	}
	return store.ShelfJar{}, false
}

// about says which jar that is and what it holds: "A · Barley, finished, holds 4.2 L".
func (g pouring) about(s store.ShelfJar) string {
	parts := []string{jarName(s.Jar, s.Batch), string(s.Jar.State.Stage)}
	if v := s.Jar.State.VolumeML; v != nil {
		parts = append(parts, "holds "+g.w.volume(*v))
	}
	if h := s.Jar.State.Hold; h != "" {
		parts = append(parts, "on hold: "+h)
	}
	if at := s.Jar.State.HeatedAt; at != nil {
		parts = append(parts, "pasteurised "+dayOf(larder.ExactAt(*at), g.w.now)+", so nothing in it is alive")
	}
	return strings.Join(parts, ", ")
}
