package scan

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/sheet"
	"cruet/labels"
)

const (
	tracedLines   = 25  // how many of each kind a page shows before "show all"
	tracedPage    = 200 // how many it shows then; the rest is on further pages
	tracedBottles = 500 // more are counted only, unless everyone is asked for
	offeredNames  = 300 // names that are offered while typing
)

func (p *Pages) registerTrace(e *gin.Engine) {
	e.GET("/trace", p.page(p.trace))
	e.GET("/trace.csv", p.page(p.traceCSV))
	e.GET("/trace.pdf", p.page(p.tracePDF))
	e.GET("/gifts", p.page(p.gifts))
	e.GET("/batches/:id/record.pdf", p.page(p.batchRecord))
	e.GET("/lots/:id/bottles/:n/card.pdf", p.page(p.giftCard))
	e.POST("/lots/:id/bottles/:n/back", p.page(p.takeBack))
	e.POST("/lots/:id/hold", p.page(p.holdLot))
}

// traceURL is the page that traces a subject.
func traceURL(s larder.Subject) string {
	return "/trace" + query("of", s.ID, "kind", string(s.Kind))
}

// traceView is a trace, in parts that are cut short until they are asked for.
type traceView struct {
	Asked       form
	Choices     []link // when the text names several things
	Title       string
	Subject     link
	Held        []heldLine
	Balance     []share
	Bar         []share
	Percent     string
	Unknown     []link
	Back        part[stepLine]
	Recipes     []recipeLine
	MoreRecipes int // recipes that are left out
	Forward     part[stepLine]
	Jars        part[tracedJar]
	Lots        part[tracedLot]
	People      part[personLine]
	Bottles     string // in words: how many, how many left
	Unlisted    string // where everyone is listed; empty: they are
	CSV, PDF    string
}

// part is a list, or a part of it with where the rest is.
type part[T any] struct {
	Lines []T
	All   string // the link to all of it, or to its first page; empty: this is all, or such a page
	Of    int
	Paged bool   // there are too many for one page
	Next  string // the page behind this one
	First string // the first page, when this is another
	Where string // which ones a page shows; empty: all
}

// traceAsk is which of its lists a trace is asked to show, and from where on.
type traceAsk struct {
	self, list string
	from       int
}

// partOf shows the beginning of a list, or of the one that was asked for a page.
func partOf[T, L any](all []T, name string, ask traceAsk, line func(T) L) part[L] {
	out := part[L]{Of: len(all), Paged: len(all) > tracedPage}
	link := func(from int) string {
		url := ask.self + "&all=" + name
		if from > 0 {
			url += "&from=" + strconv.Itoa(from)
		}
		return url + "#" + name
	}
	begin, end := 0, len(all)
	switch {
	case name != ask.list && end > tracedLines:
		end, out.All = tracedLines, link(0)
	case name == ask.list && out.Paged:
		begin = min(ask.from, (end-1)/tracedPage*tracedPage)
		if end = min(begin+tracedPage, end); end < len(all) {
			out.Next = link(end)
		}
		if begin > 0 {
			out.First = link(0)
		}
		out.Where = fmt.Sprintf("%d to %d of %d", begin+1, end, len(all))
	}
	out.Lines = make([]L, 0, end-begin)
	for _, one := range all[begin:end] {
		out.Lines = append(out.Lines, line(one))
	}
	return out
}

type heldLine struct {
	Text string
	Link link
}

type share struct {
	Name, Text, Note string
	X, W             string // of the bar, in hundredths of its length
}

type stepLine struct {
	Depth      int
	Text, When string
	From, Into link
	Bought     string // supplier and lot
}

type recipeLine struct {
	Batch link
	Lines []string
}

type tracedJar struct {
	URL, Tag, Letter, Batch, State, Hold string
	Behind                               bool // a hold stands on what it came from
}

type tracedLot struct {
	URL, ID, Name, When, Counts, Hold string
	Behind                            bool
}

type personLine struct {
	URL, Name, Counts string
}

func (p *Pages) trace(c *gin.Context) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	of, kind := strings.TrimSpace(c.Query("of")), c.Query("kind")
	names, err := p.DB.Named(ctx)
	if err != nil {
		return err
	}
	b := newBuilder("trace", c.Request.URL.Query(), nil, k.Units())
	v := traceView{Asked: form{Action: "/trace", Submit: "Trace", Fields: []field{b.text("of", "Tag, lot, batch or name", "of a jar, a bottle, or what went in", 120)}}}
	v.Asked.Fields[0].List = names[:min(len(names), offeredNames)]
	status := http.StatusOK
	if of != "" {
		var several *larder.SeveralError
		var missing *larder.NotFoundError
		var damaged *larder.TagError
		var problems larder.Problems
		err := p.fillTrace(c, &v, of, kind, writer{k: k, now: p.now(k)})
		switch {
		case errors.As(err, &several):
			for _, one := range several.Choices {
				v.Choices = append(v.Choices, choiceLink(one))
			}
		case errors.As(err, &missing), errors.As(err, &damaged):
			status, v.Asked.Problem = http.StatusNotFound, err.Error()
		case errors.As(err, &problems):
			status, v.Asked.Problem = http.StatusUnprocessableEntity, err.Error()
		case err != nil:
			return err
		}
	}
	return render(c, status, "trace", p.frame(k, "Trace"), v)
}

func choiceLink(one larder.Choice) link {
	text := one.Words
	if one.Subject.Kind == larder.SubjectNamed {
		text += ", as an ingredient"
	}
	return link{traceURL(one.Subject), text}
}

func (p *Pages) fillTrace(c *gin.Context, v *traceView, of, kindText string, w writer) error {
	ctx := c.Request.Context()
	kind, err := larder.ParseSubjectKind(kindText)
	if err != nil {
		return err
	}
	s, err := p.DB.FindSubject(ctx, of, kind)
	if err != nil {
		return err
	}
	ask := traceAsk{self: traceURL(s), list: c.Query("all")}
	if n, err := strconv.Atoi(c.Query("from")); err == nil && n > 0 {
		ask.from = n
	}
	bottles := tracedBottles
	if ask.list == "people" {
		bottles = 1 << 30
	}
	t, err := p.DB.TraceUpTo(ctx, s, bottles)
	if err != nil {
		return err
	}
	if v.Subject, err = p.subjectLink(c, s, t); err != nil {
		return err
	}
	n := namer{w, map[larder.Tag]larder.TraceJar{}}
	for _, j := range t.Jars {
		n.jars[j.Tag] = j
	}
	v.Title = upperFirst(s.String())
	for _, h := range t.Held {
		line := heldLine{Text: h.Reason + ", since " + dayOf(h.Since, w.now), Link: link{lotURL(h.Lot), "Lot " + h.Lot}}
		if h.Jar != "" {
			line.Link = link{jarURL(h.Jar), n.jar(h.Jar)}
		}
		v.Held = append(v.Held, line)
	}
	v.balance(t, n)
	v.Back = partOf(t.Back, "back", ask, n.step)
	for _, batch := range t.Batches[:min(len(t.Batches), tracedLines)] {
		line := recipeLine{Batch: link{fmt.Sprintf("/batches/%d", batch.ID), batch.Name + ", " + batch.When.DateIn(w.k.Location())}}
		for _, i := range batch.Ingredients {
			line.Lines = append(line.Lines, i.String())
		}
		v.Recipes = append(v.Recipes, line)
	}
	v.MoreRecipes = len(t.Batches) - len(v.Recipes)
	v.Forward = partOf(t.Forward, "forward", ask, n.step)
	v.Jars = partOf(reached(t.Jars), "jars", ask, n.tracedJar)
	made, given := 0, 0
	for _, l := range t.Lots {
		made, given = made+l.Bottles, given+l.Given
	}
	v.Lots = partOf(t.Lots, "lots", ask, func(l larder.TraceLot) tracedLot {
		return tracedLot{URL: lotURL(l.ID), ID: l.ID, Name: l.Name, When: dayOf(l.When, w.now), Hold: l.Hold, Behind: l.Behind && l.Hold == "",
			Counts: fmt.Sprintf("%s, %s, %d given, %d here", count(l.Bottles, "bottle"), w.volume(l.MadeML), l.Given, l.Bottles-l.Given)}
	})
	v.Bottles = fmt.Sprintf("%s: %d left, %d here.", count(made, "bottle"), given, made-given)
	if t.UnlistedBottles > 0 && given > 0 {
		v.Unlisted = ask.self + "&all=people#people"
	}
	v.People = partOf(t.People(), "people", ask, func(one larder.Recipient) personLine {
		return personLine{URL: "/gifts" + query("to", one.Name), Name: one.Name, Counts: count(one.Bottles, "bottle") + ", last " + dayOf(one.Last, w.now)}
	})
	v.CSV, v.PDF = strings.Replace(ask.self, "/trace?", "/trace.csv?", 1), strings.Replace(ask.self, "/trace?", "/trace.pdf?", 1)
	return nil
}

// subjectLink is the page of what is traced.
func (p *Pages) subjectLink(c *gin.Context, s larder.Subject, t larder.Trace) (link, error) {
	switch s.Kind {
	case larder.SubjectJar:
		return link{jarURL(larder.Tag(s.ID)), "The jar's page"}, nil
	case larder.SubjectLot:
		return link{lotURL(s.ID), "The lot's page"}, nil
	case larder.SubjectBatch:
		return link{"/batches/" + s.ID, "The batch's page"}, nil
	case larder.SubjectBottle:
		b, err := p.DB.BottleByTag(c.Request.Context(), larder.Tag(s.ID))
		return link{bottleURL(b.Bottle), "The bottle's page"}, err
	}
	return link{}, nil
}

// balance shows where the liquid is, as figures and as one bar.
func (v *traceView) balance(t larder.Trace, n namer) {
	b := t.Balance
	shares := []share{{Name: "on hand"}, {Name: "given"}, {Name: "used"}, {Name: "unaccounted", Note: "straining, samples, evaporation, lees, spills"}}
	if b.DiscardedML > 0 {
		shares[2].Note = "of that thrown away " + n.volume(b.DiscardedML)
	}
	v.Balance = []share{{Name: "made", Text: n.volume(b.MadeML), Note: t.MadeOf()}}
	at := 0.0
	for i, ml := range []chem.Millilitres{b.OnHandML, b.GivenML, b.UsedML, b.UnaccountedML} {
		shares[i].Text = n.volume(ml)
		v.Balance = append(v.Balance, shares[i])
		if b.MadeML <= 0 || ml <= 0 {
			continue
		}
		part := min(float64(ml)/float64(b.MadeML), 1-at)
		shares[i].X, shares[i].W = strconv.FormatFloat(at*100, 'f', 2, 64), strconv.FormatFloat(part*100, 'f', 2, 64)
		at += part
		v.Bar = append(v.Bar, shares[i])
	}
	if b.MadeML > 0 {
		v.Percent = strconv.FormatFloat(b.EffectivenessPercent, 'f', 0, 64) + " %"
	}
	for _, tag := range b.UnknownJars[:min(len(b.UnknownJars), tracedLines)] {
		v.Unknown = append(v.Unknown, link{jarURL(tag), n.jar(tag)})
	}
}

// namer names the jars of a trace.
type namer struct {
	writer
	jars map[larder.Tag]larder.TraceJar
}

func (n namer) jar(tag larder.Tag) string {
	if j, ok := n.jars[tag]; ok {
		return fmt.Sprintf("%s %s, %s", j.Batch, j.Letter, tag)
	}
	return string(tag)
}

func (n namer) step(e larder.Step) stepLine {
	line := stepLine{Depth: e.Depth, When: dayOf(e.When, n.now), Text: upperFirst(string(e.What)) + ": " + n.moved(e.VolumeML, e.Mother)}
	if e.MassG != nil && e.VolumeML == nil {
		line.Text = upperFirst(string(e.What)) + ": " + chem.FormatMass(*e.MassG, n.k.Units())
	}
	line.From = link{Text: e.FromName}
	if e.FromJar != "" {
		line.From = link{jarURL(e.FromJar), n.jar(e.FromJar)}
	} else if e.FromName != "" && e.FromName != "water" {
		line.From.URL = traceURL(larder.Subject{Kind: larder.SubjectNamed, ID: e.FromName})
	}
	if e.ToLot != "" {
		line.Into = link{lotURL(e.ToLot), "lot " + e.ToLot}
	} else {
		line.Into = link{jarURL(e.ToJar), n.jar(e.ToJar)}
	}
	var bought []string
	if e.StatedAcidity != nil {
		bought = append(bought, "stated "+short(*e.StatedAcidity)+" %")
	}
	if e.Live {
		bought = append(bought, "live")
	}
	if e.Supplier != "" {
		bought = append(bought, "from "+e.Supplier)
	}
	if e.SupplierLot != "" {
		bought = append(bought, "lot "+e.SupplierLot)
	}
	line.Bought = strings.Join(bought, ", ")
	return line
}

// reached are the jars that it went into or is in, those still on the shelf before the
// retired ones, the nearest first.
func reached(all []larder.TraceJar) []larder.TraceJar {
	jars := slices.DeleteFunc(slices.Clone(all), func(j larder.TraceJar) bool { return j.Forward == nil })
	slices.SortStableFunc(jars, func(a, b larder.TraceJar) int {
		if a.Stage.Live() != b.Stage.Live() {
			if a.Stage.Live() {
				return -1
			}
			return 1
		}
		return *a.Forward - *b.Forward
	})
	return jars
}

func (n namer) tracedJar(j larder.TraceJar) tracedJar {
	state := string(j.Stage)
	switch {
	case !j.Stage.Live():
	case j.VolumeML != nil:
		state += ", holds " + n.volume(*j.VolumeML)
	default:
		state += ", volume not known"
	}
	if j.Place != "" && j.Stage.Live() {
		state += ", " + j.Place
	}
	return tracedJar{URL: jarURL(j.Tag), Tag: string(j.Tag), Letter: j.Letter, Batch: j.Batch, State: state, Hold: j.Hold, Behind: j.Behind && j.Hold == ""}
}

// traced is the whole trace of what the query names.
func (p *Pages) traced(c *gin.Context) (larder.Kitchen, larder.Trace, error) {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return k, larder.Trace{}, err
	}
	kind, err := larder.ParseSubjectKind(c.Query("kind"))
	if err != nil {
		return k, larder.Trace{}, err
	}
	s, err := p.DB.FindSubject(ctx, c.Query("of"), kind)
	if err != nil {
		return k, larder.Trace{}, err
	}
	t, err := p.DB.Trace(ctx, s)
	return k, t, err
}

func (p *Pages) traceCSV(c *gin.Context) error {
	k, t, err := p.traced(c)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := sheet.WriteTrace(&b, t, k.Location()); err != nil {
		return err
	}
	attach(c, "trace-"+t.Subject.ID+".csv", "text/csv; charset=utf-8; header=present", b.Bytes())
	return nil
}

func (p *Pages) tracePDF(c *gin.Context) error {
	k, t, err := p.traced(c)
	if err != nil {
		return err
	}
	page, err := paperOf(c, k)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := labels.WriteTrace(&b, labels.TraceRecord{Kitchen: k, Trace: t, Page: page, Date: p.now(k)}); err != nil {
		return err
	}
	attach(c, "trace-"+t.Subject.ID+".pdf", "application/pdf", b.Bytes())
	return nil
}
