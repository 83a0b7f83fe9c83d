package scan

import (
	"net/http"
	"slices"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/internal/larder"
)

// roundCookie says on a phone that a measuring round goes on there, so that a
// scanned jar offers to be measured in it. It is short-lived: a round that was
// forgotten must not follow the phone for days.
const (
	roundCookie = "cruet_round"
	roundLasts  = 3 * time.Hour
)

// roundsListed is how many former rounds can be looked at.
const roundsListed = 5

func (p *Pages) registerRound(e *gin.Engine) {
	e.GET("/round", p.page(p.round))
	e.POST("/round", p.page(p.beginRound))
	e.GET("/round/jar", p.page(p.pickRoundJar))
	e.GET("/round/jar/:tag", p.page(p.roundJar))
	e.POST("/round/jar/:tag", p.page(p.measureJar))
	e.POST("/round/jar/:tag/skip", p.page(p.skipJar))
	e.POST("/round/end", p.page(p.endRound))
	e.GET("/rounds/:id", p.page(p.roundResults))
}

// roundView is where a round stands: what the bench says, and the jars in the
// order of a walk along the shelf.
type roundView struct {
	Saved     string
	SavedURL  string
	On        bool
	Began     string
	Begin     form
	None      bool // no jar stands on the shelf
	Bench     []roundCheck
	Jars      []roundStop
	Left      int
	Next      *roundStop
	End       form
	Former    []link
	ResultURL string
}

// roundCheck is one thing to see to at the bench.
type roundCheck struct {
	Title, Text string
	OK          bool
	Form        form
}

type roundStop struct {
	URL, Tag, Letter, Name, Place, Stage string
	Mark                                 string // measured, skipped, or empty
}

// round is the round that goes on, or the page on which one begins.
func (p *Pages) round(c *gin.Context) error { return p.showRound(c, http.StatusOK, nil) }

func (p *Pages) showRound(c *gin.Context, status int, back *sent) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k), by: remembered(c, byCookie)}
	var v roundView
	if v.Saved, v.SavedURL, err = p.benchSaved(c); err != nil {
		return err
	}
	open, err := p.DB.OpenRound(ctx)
	if err != nil {
		return err
	}
	if open == nil {
		err = p.fillBegin(c, &v, w, back)
	} else {
		err = p.fillRound(c, &v, *open, w)
	}
	if err != nil {
		return err
	}
	return render(c, status, "round", p.frame(k, "Measuring round"), v)
}

// benchSaved tells what the bench entry in ?saved= was.
func (p *Pages) benchSaved(c *gin.Context) (text, url string, err error) {
	id, err := uuid.Parse(c.Query("saved"))
	if err != nil {
		return "", "", nil
	}
	e, err := p.DB.BenchEntry(c.Request.Context(), id)
	if err != nil {
		return "", "", nil // an old or foreign link; the page itself is still right
	}
	return "Saved: " + e.Words().Headline + ".", "/bench", nil
}

// fillBegin offers to begin a round.
func (p *Pages) fillBegin(c *gin.Context, v *roundView, w writer, back *sent) error {
	ctx := c.Request.Context()
	shelf, err := p.DB.Standing(ctx)
	if err != nil {
		return err
	}
	v.None = len(shelf) == 0
	b := newBuilder("round", nil, nil, w.k.Units())
	if back != nil {
		b = newBuilder("round", back.typed, back.problems, w.k.Units())
	}
	var options []option
	first := ""
	for _, o := range []struct {
		choice larder.MeasureChoice
		text   string
	}{{larder.MeasureDue, "due a reading"}, {larder.MeasureSour, "turning or turned sour"}, {larder.MeasureAll, "all"}} {
		n := len(o.choice.Choose(shelf, w.now))
		if n > 0 && first == "" {
			first = string(o.choice)
		}
		options = append(options, option{Value: string(o.choice), Text: o.text + " (" + count(n, "jar") + ")"})
	}
	v.Begin = form{Action: "/round", Submit: "Begin the round", Fields: []field{b.choice("jars", "Which jars", first, options...), b.by(w.by)}}
	if back != nil {
		v.Begin.Key = back.key
	}
	v.Begin = b.finish(v.Begin)
	former, err := p.DB.Rounds(ctx, roundsListed)
	if err != nil {
		return err
	}
	for _, r := range former {
		done := len(slices.DeleteFunc(slices.Clone(r.Jars), func(j larder.RoundJar) bool { return j.Act == uuid.Nil }))
		v.Former = append(v.Former, link{roundURL(r), momentOf(larder.ExactAt(r.StartedAt), w.now) + " · " + count(done, "jar")})
	}
	return nil
}

func roundURL(r larder.Round) string { return "/rounds/" + r.ID.String() }

func roundJarURL(tag larder.Tag) string { return "/round/jar/" + string(tag) }

// fillRound tells where an open round stands.
func (p *Pages) fillRound(c *gin.Context, v *roundView, r larder.Round, w writer) error {
	ctx := c.Request.Context()
	v.On, v.ResultURL, v.Began = true, roundURL(r), momentOf(larder.ExactAt(r.StartedAt), w.now)
	bench, err := p.DB.RoundBench(ctx, r, w.now)
	if err != nil {
		return err
	}
	v.Bench = roundChecks(bench, w)
	next := r.Next("")
	for _, j := range r.Jars {
		jar, err := p.DB.Jar(ctx, j.Jar)
		if err != nil {
			return err
		}
		batch, err := p.DB.Batch(ctx, jar.BatchID)
		if err != nil {
			return err
		}
		stop := roundStop{URL: roundJarURL(j.Jar), Tag: string(j.Jar), Letter: jar.Letter, Name: batch.Name, Place: jar.Place, Stage: string(jar.State.Stage)}
		switch {
		case j.Act != uuid.Nil:
			stop.Mark = "measured"
		case j.Skipped:
			stop.Mark = "skipped"
		default:
			v.Left++
		}
		if j.Jar == next {
			v.Next = new(stop)
		}
		v.Jars = append(v.Jars, stop)
	}
	b := newBuilder("end", nil, nil, w.k.Units())
	v.End = b.finish(form{Action: "/round/end", Submit: "End the round", Fields: []field{b.hidden("round", r.ID.String())}})
	keepRound(c, r)
	return nil
}

// roundChecks are the meter and the control sample, each with its form at hand.
func roundChecks(bench larder.RoundBench, w writer) []roundCheck {
	meter := ""
	meterCheck := roundCheck{Title: "Meter", Text: calibrationHint(bench.Calibration, w.k, w.now)}
	if e := bench.Calibration; e != nil {
		meter = e.Body.Name()
		meterCheck.OK = larder.CalibrationHolds(e, w.k, w.now)
	}
	control := roundCheck{Title: "Control sample", Text: "Read the bought 5 % vinegar before the first jar: it shows whether the meter drifts."}
	if e := bench.Control; e != nil {
		control.OK, control.Text = bench.Drift == "", e.Body.Name()+": "+e.Words().Headline+"."
		if bench.Drift != "" {
			control.Text += " " + upperFirst(bench.Drift)
		}
	}
	lay := func(kind larder.BenchKind) form {
		b := newBuilder(string(kind), nil, nil, w.k.Units())
		f := benchForm(kind, b, meter, w.by)
		f.Action = "/bench/" + string(kind)
		f.Fields = append(f.Fields, b.hidden("back", "round"))
		return b.finish(f)
	}
	meterCheck.Form, control.Form = lay(larder.KindCalibration), lay(larder.KindControl)
	return []roundCheck{meterCheck, control}
}

// keepRound lets this phone know that a round goes on.
func keepRound(c *gin.Context, r larder.Round) {
	http.SetCookie(c.Writer, &http.Cookie{Name: roundCookie, Value: r.ID.String(), Path: "/",
		MaxAge: int(roundLasts.Seconds()), HttpOnly: true, SameSite: http.SameSiteLaxMode})
}

// roundOffer is where a scanned jar is measured in the round that goes on with
// this phone; empty when none does.
func (p *Pages) roundOffer(c *gin.Context, tag larder.Tag) (string, error) {
	id, err := uuid.Parse(remembered(c, roundCookie))
	if err != nil {
		return "", nil
	}
	open, err := p.DB.OpenRound(c.Request.Context())
	if err != nil || open == nil || open.ID != id {
		return "", err
	}
	return roundJarURL(tag), nil
}

// beginRound begins a round of the chosen jars.
func (p *Pages) beginRound(c *gin.Context) error {
	ctx := c.Request.Context()
	k, r, err := p.form(c)
	if err != nil {
		return err
	}
	shelf, err := p.DB.Standing(ctx)
	if err != nil {
		return err
	}
	act := r.act()
	if err = r.problems.Err(); err == nil {
		var tags []larder.Tag
		for _, s := range larder.MeasureChoice(r.text("jars")).Choose(shelf, p.now(k)) {
			tags = append(tags, s.Jar.Tag)
		}
		var round larder.Round
		if round, err = p.DB.BeginRound(ctx, act, tags); err == nil {
			remember(c, byCookie, act.By)
			keepRound(c, round)
			c.Redirect(http.StatusSeeOther, "/round")
			return nil
		}
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	// Another phone may have begun one meanwhile: that one is shown.
	if open, err := p.DB.OpenRound(ctx); err == nil && open != nil {
		c.Redirect(http.StatusSeeOther, "/round")
		return nil
	}
	return p.showRound(c, status, &sent{typed: r.typed, problems: problems, key: key})
}

// endRound closes the round and shows what came of it.
func (p *Pages) endRound(c *gin.Context) error {
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	id, err := uuid.Parse(r.text("round"))
	if err != nil {
		return &larder.NotFoundError{What: "measuring round", ID: r.text("round")}
	}
	act := r.act()
	if err = r.problems.Err(); err != nil {
		return err
	}
	if err := p.DB.EndRound(c.Request.Context(), act, id); err != nil {
		return err
	}
	http.SetCookie(c.Writer, &http.Cookie{Name: roundCookie, Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	c.Redirect(http.StatusSeeOther, "/rounds/"+id.String())
	return nil
}
