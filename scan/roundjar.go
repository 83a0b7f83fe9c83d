package scan

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
)

// rinse is said before each jar: common practice, no published source.
const rinse = "Rinse the electrode and the pipette with clean water, dab them dry, and then rinse with a little of this jar's vinegar."

// roundJarView is one jar of a round: what it asks for, and the way on.
type roundJarView struct {
	Head     roundStop
	JarURL   string
	Rinse    string
	Before   *roundBefore // what was saved just now
	Form     form
	Skip     form
	Of, Left int
	Done     bool // it was measured in this round already
	Asked    string
}

// roundBefore is the jar that was measured just before, with what is out of line.
type roundBefore struct {
	Name, Text string
	URL        string
	Flags      []string
}

// pickRoundJar opens the jar whose tag was typed or pasted, in the round.
func (p *Pages) pickRoundJar(c *gin.Context) error {
	typed := strings.TrimSpace(c.Query("tag"))
	if i := strings.LastIndexByte(typed, '/'); i >= 0 {
		typed = typed[i+1:]
	}
	tag, _, err := larder.ParseTag(typed)
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, roundJarURL(tag))
	return nil
}

func (p *Pages) roundJar(c *gin.Context) error { return p.showRoundJar(c, http.StatusOK, nil) }

func (p *Pages) showRoundJar(c *gin.Context, status int, back *sent) error {
	ctx := c.Request.Context()
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	open, err := p.DB.OpenRound(ctx)
	if err != nil {
		return err
	}
	if open == nil {
		c.Redirect(http.StatusSeeOther, "/round")
		return nil
	}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	page, err := p.DB.History(ctx, tag, store.Cursor{}, historyPage)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k), jar: tag, by: remembered(c, byCookie)}
	jar := page.Jar
	v := roundJarView{JarURL: jarURL(tag), Rinse: rinse, Of: len(open.Jars),
		Head: roundStop{Tag: string(tag), Letter: jar.Letter, Name: page.Batch.Name, Place: jar.Place, Stage: string(jar.State.Stage)}}
	for _, j := range open.Jars {
		if j.Left() {
			v.Left++
		}
		v.Done = v.Done || (j.Jar == tag && j.Act != uuid.Nil)
	}
	for _, t := range page.Batch.Due(jar.State, w.now) {
		if t.Do.Measures() && t.Urgency > larder.Coming {
			v.Asked = upperFirst(t.Reason(jar.State, w.now)) + "."
			break
		}
	}
	if v.Before, err = p.justMeasured(c, *open, w); err != nil {
		return err
	}
	if v.Form, err = p.measureForm(c, page, w, back); err != nil {
		return err
	}
	s := newBuilder("skip", nil, nil, k.Units())
	v.Skip = s.finish(form{Action: roundJarURL(tag) + "/skip", Submit: "Skip this jar"})
	keepRound(c, *open)
	return render(c, status, "roundjar", p.frame(k, "Round · "+page.Batch.Name+" "+jar.Letter), v)
}

// justMeasured tells of the jar named in ?measured=, with what is out of line.
func (p *Pages) justMeasured(c *gin.Context, r larder.Round, w writer) (*roundBefore, error) {
	tag, _, err := larder.ParseTag(c.Query("measured"))
	if err != nil {
		return nil, nil
	}
	j, ok := r.Has(tag)
	if !ok || j.Act == uuid.Nil {
		return nil, nil
	}
	lines, err := p.DB.RoundLines(c.Request.Context(), larder.Round{Jars: []larder.RoundJar{j}})
	if err != nil {
		return nil, err
	}
	l := lines[0]
	return &roundBefore{Name: l.Of.Name(), Text: strings.Join(w.titles(l.Entries), " · "), URL: roundJarURL(tag), Flags: l.Flags}, nil
}

// titles are entries in words.
func (w writer) titles(entries []larder.Entry) []string {
	var out []string
	for _, e := range entries {
		out = append(out, w.row(e).Title)
	}
	return out
}

// measureForm asks for what the jar's stage asks for, the last value beside each
// box.
func (p *Pages) measureForm(c *gin.Context, page store.JarPage, w writer, back *sent) (form, error) {
	ctx := c.Request.Context()
	b := newBuilder("measure", nil, nil, w.k.Units())
	if back != nil {
		b = newBuilder("measure", back.typed, back.problems, w.k.Units())
	}
	calibration, err := p.DB.InForce(ctx, larder.KindCalibration, "", w.now)
	if err != nil {
		return form{}, err
	}
	base, err := p.DB.InForce(ctx, larder.KindBase, "", w.now)
	if err != nil {
		return form{}, err
	}
	fs := forms{page: page, w: w, by: w.by}
	s := page.Jar.State
	ph := b.number("ph", "pH", "", last(s.PH, w, plain[chem.PH]))
	heat := b.temperature("temp_c", "Temperature", last(s.TempC, w, func(v chem.Celsius) string { return chem.FormatTemperature(v, w.k.Units()) }))
	instrument := b.text("instrument", "Meter", "", larder.MaxNameRunes)
	if b.typed == nil && calibration != nil {
		instrument.Value = calibration.Body.Name()
	}
	fields := []field{ph, heat}
	f := form{Action: roundJarURL(page.Jar.Tag), Submit: "Save and go on"}
	if s.Stage == larder.Must || s.Stage == larder.Alcoholic {
		fields = []field{b.number("specific_gravity", "Specific gravity", "", last(s.SG, w, gravityText)), b.number("brix", "Brix", "°Bx", last(s.Brix, w, short[chem.DegreesBrix])), heat, ph}
	} else {
		titration := fs.titration(b).Fields[:1+replicateRows]
		if b.typed == nil {
			prefillBase(titration, base)
		}
		open := fold("Titration", titration...)
		open.Checked = fs.titrationAsked() || titrationTyped(b)
		fields = append(fields, open)
		f.Bench = baseHint(base, w.k, w.now)
	}
	f.Fields = append(fields, fold("Meter, note", instrument, b.area("note", "Note", "")), b.by(w.by))
	if b.typed == nil {
		f.Fields[len(f.Fields)-2].Checked = false // only what was typed opens it
	}
	if back != nil {
		f.Key = back.key
	}
	return b.finish(f), nil
}

// titrationAsked tells that the plan wants a titration of this jar now.
func (fs forms) titrationAsked() bool {
	for _, t := range fs.page.Batch.Due(fs.page.Jar.State, fs.w.now) {
		if t.Do == larder.DoTitrate && t.Urgency > larder.Coming {
			return true
		}
	}
	return false
}

// titrationTyped tells that a run was typed, or that something of it is wrong.
func titrationTyped(b *builder) bool {
	for i := 1; i <= replicateRows; i++ {
		if b.typed.Get(runField("start_ml", i))+b.typed.Get(runField("end_ml", i)) != "" {
			return true
		}
	}
	return false
}

// readMeasuring takes what was typed of one jar; an empty half is left out.
func readMeasuring(r *reader) larder.Measuring {
	m := larder.Measuring{Note: r.text("note")}
	reading := readReading(r).(larder.Reading)
	wrong := r.marked("ph") || r.marked("temp_c") || r.marked("specific_gravity") || r.marked("brix")
	if !reading.Blank() || wrong {
		m.Reading = &reading
	}
	if titrationTyped(&builder{typed: r.typed}) {
		titration := readTitration(r).(larder.Titration)
		m.Titration = &titration
	}
	return m
}

// measureJar saves one jar at once, never only at the end of the round.
func (p *Pages) measureJar(c *gin.Context) error {
	ctx := c.Request.Context()
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	k, r, err := p.form(c)
	if err != nil {
		return err
	}
	open, err := p.roundOfPhone(c)
	if err != nil {
		return err
	}
	if open == nil {
		return larder.Refuse("", "No measuring round goes on. Begin one, or log this on the jar's own page.")
	}
	jar, err := p.DB.Jar(ctx, tag)
	if err != nil {
		return err
	}
	m, act := readMeasuring(r), r.act()
	if err = r.problems.Err(); err != nil {
		err = r.withRules(m.Check(jar, p.now(k)))
	} else if _, err = p.DB.MeasureInRound(ctx, act, open.ID, tag, m); err == nil {
		remember(c, byCookie, act.By)
		return p.goOn(c, open.ID, tag, "measured")
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	if m.Titration != nil {
		problems = placeRuns(problems, *m.Titration, r.typed)
	}
	return p.showRoundJar(c, status, &sent{typed: r.typed, problems: problems, key: key})
}

// roundOfPhone is the open round, else the one that this phone was in: what was
// measured before somebody ended it must not be lost.
func (p *Pages) roundOfPhone(c *gin.Context) (*larder.Round, error) {
	open, err := p.DB.OpenRound(c.Request.Context())
	if err != nil || open != nil {
		return open, err
	}
	id, err := uuid.Parse(remembered(c, roundCookie))
	if err != nil {
		return nil, nil
	}
	r, err := p.DB.Round(c.Request.Context(), id)
	return &r, err
}

// skipJar leaves this jar out.
func (p *Pages) skipJar(c *gin.Context) error {
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	open, err := p.DB.OpenRound(c.Request.Context())
	if err != nil {
		return err
	}
	act := r.act()
	if err := r.problems.Err(); err != nil {
		return err
	}
	if open == nil {
		c.Redirect(http.StatusSeeOther, "/round")
		return nil
	}
	if err := p.DB.SkipInRound(c.Request.Context(), act, open.ID, tag); err != nil {
		return err
	}
	return p.goOn(c, open.ID, tag, "")
}

// goOn leads to the next jar, or to what came of the round.
func (p *Pages) goOn(c *gin.Context, id uuid.UUID, from larder.Tag, did string) error {
	r, err := p.DB.Round(c.Request.Context(), id)
	if err != nil {
		return err
	}
	next := r.Next(from)
	if next == "" || r.EndedAt != nil {
		c.Redirect(http.StatusSeeOther, roundURL(r))
		return nil
	}
	if did != "" {
		did = string(from)
	}
	c.Redirect(http.StatusSeeOther, roundJarURL(next)+query("measured", did))
	return nil
}

// roundResultsView is what came of a round, on one page.
type roundResultsView struct {
	When, By string
	On       bool
	Left     int
	Flags    []string // of the bench
	Lines    []roundResult
	End      form
	Summary  string
}

type roundResult struct {
	roundStop
	JarURL string
	Values []roundValue
	Flags  []string
}

// roundValue is one value now and before.
type roundValue struct{ Name, Now, Before string }

func (p *Pages) roundResults(c *gin.Context) error {
	ctx := c.Request.Context()
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return &larder.NotFoundError{What: "measuring round", ID: c.Param("id")}
	}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	r, err := p.DB.Round(ctx, id)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k)}
	bench, err := p.DB.RoundBench(ctx, r, w.now)
	if err != nil {
		return err
	}
	lines, err := p.DB.RoundLines(ctx, r)
	if err != nil {
		return err
	}
	v := roundResultsView{When: momentOf(larder.ExactAt(r.StartedAt), w.now), By: r.By, On: r.EndedAt == nil, Flags: bench.Flags(r, k)}
	measured, flagged, skipped := 0, 0, 0
	for _, l := range lines {
		one := w.result(l)
		switch one.Mark {
		case "measured":
			measured++
		case "skipped":
			skipped++
		default:
			v.Left++
		}
		if len(one.Flags) > 0 {
			flagged++
		}
		v.Lines = append(v.Lines, one)
	}
	v.Summary = fmt.Sprintf("%d measured, %d flagged, %d skipped, %d missing", measured, flagged, skipped, v.Left)
	b := newBuilder("end", nil, nil, k.Units())
	v.End = b.finish(form{Action: "/round/end", Submit: "End the round", Fields: []field{b.hidden("round", r.ID.String())}})
	return render(c, http.StatusOK, "roundresults", p.frame(k, "Round of "+v.When), v)
}

// result is what one jar of a round came to, in words.
func (w writer) result(l larder.RoundLine) roundResult {
	jar := l.Of.Jar
	out := roundResult{JarURL: jarURL(jar.Tag), Flags: l.Flags,
		roundStop: roundStop{URL: roundJarURL(jar.Tag), Tag: string(jar.Tag), Letter: jar.Letter, Name: l.Of.Batch.Name, Place: jar.Place, Stage: string(jar.State.Stage)}}
	switch {
	case l.Act != uuid.Nil:
		out.Mark = "measured"
	case l.Skipped:
		out.Mark = "skipped"
	default:
		out.Mark = "missing"
	}
	for _, e := range l.Entries {
		switch b := e.Body.(type) {
		case larder.Reading:
			out.Values = append(out.Values, w.readingValues(b, l.Before)...)
		case larder.Titration:
			if r, err := b.Result(); err == nil {
				before := ""
				if a := l.Before.Acidity; a != nil {
					before = larder.AcidityWords(a.GPer100ML, a.ExpandedUGPer100ML)
				}
				out.Values = append(out.Values, roundValue{"Acidity", larder.AcidityWords(r.AcidityGPer100ML, r.ExpandedUGPer100ML), before})
			}
		}
	}
	return out
}

func (w writer) readingValues(b larder.Reading, before larder.State) []roundValue {
	var out []roundValue
	if b.PH != nil {
		out = append(out, roundValue{"pH", plain(*b.PH), was(before.PH, plain[chem.PH])})
	}
	if b.SG != nil {
		out = append(out, roundValue{"Gravity", gravityText(*b.SG), was(before.SG, gravityText)})
	}
	if b.Brix != nil {
		out = append(out, roundValue{"Brix", short(*b.Brix), was(before.Brix, short[chem.DegreesBrix])})
	}
	if b.TempC != nil {
		heat := func(v chem.Celsius) string { return chem.FormatTemperature(v, w.k.Units()) }
		out = append(out, roundValue{"Temperature", heat(*b.TempC), was(before.TempC, heat)})
	}
	return out
}

func was[T ~float64](m *larder.Measured[T], text func(T) string) string {
	if m == nil {
		return ""
	}
	return text(m.Value)
}
