package scan

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/spool"
	"cruet/labels"
)

// labelsView lets choose jars, paper and place, and leads to the PDF.
type labelsView struct {
	Jars    []labelJar
	Sheet   []field // of the jars' form
	Problem string
	Sent    string // what was just handed to a printer
	Preview *previewView
	Print   *field // a printer to send it to; nil when the spooler has none
	Stale   []string
	Spare   form
	Unused  int    // spare tags printed and not worn yet
	Reprint string // the link to print those again
	Lately  []printLine
}

type labelJar struct {
	Tag, Letter, Batch, Stage string
	Printed                   string // when its label was printed last
	Chosen                    bool
}

// previewView is the first page as it will come out, and how it will read.
type previewView struct {
	URL, Verdict, Measures string
	Good                   bool
	Of                     string
	Mind                   []string
}

type printLine struct{ Tag, URL, Text string }

func (p *Pages) registerLabels(e *gin.Engine) {
	e.GET("/labels", p.page(p.labels))
	e.GET("/labels/jars.pdf", p.page(p.jarLabels))
	e.GET("/labels/preview.svg", p.page(p.previewLabels))
	e.POST("/labels/print", p.page(p.printLabels))
	e.GET("/labels/spare.pdf", p.page(p.spareLabels))
	e.POST("/labels/spare.pdf", p.page(p.newSpareLabels))
	e.GET("/labels/paper", p.page(p.paper))
	e.POST("/labels/paper", p.page(p.alignPrinter))
	e.GET("/labels/proof.pdf", p.page(p.proof))
	e.GET("/labels/stocks/:id", p.page(p.stockPicture))
}

func (p *Pages) labels(c *gin.Context) error {
	return p.showLabels(c, http.StatusOK, c.Request.URL.Query(), nil, "", nil)
}

// showLabels shows the page, with what is wrong in the jars' form or in that
// for spare tags.
func (p *Pages) showLabels(c *gin.Context, status int, typed url.Values, problems larder.Problems, key string, spare url.Values) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	v := labelsView{Sent: typed.Get("sent")}
	if err := p.fillShelf(ctx, &v, typed, p.now(k)); err != nil {
		return err
	}
	desk, err := p.desk(ctx, layoutOf(typed), remembered(c, printerCookie))
	if err != nil {
		return err
	}
	if problems == nil && len(typed["tag"]) > 0 {
		v.Preview, problems = p.preview(c, typed, k)
	}
	jars := newBuilder("jars", typed, nil, k.Units())
	if spare == nil {
		jars.problems = problems
	}
	v.Sheet = append([]field{jars.choice("layout", "Layout", "jar", option{Value: "jar", Text: "jar label"}, option{Value: "lid", Text: "lid label"}, option{Value: "shelf", Text: "shelf sheet"})},
		desk.fields(jars)...)
	if len(desk.queues) > 0 {
		to := jars.pull("to", "Printer", desk.printer, asOptions(desk.queues)...)
		v.Print = &to
	}
	v.Problem = jars.rest()
	if err := p.fillSpare(ctx, &v, desk, k, problems, key, spare); err != nil {
		return err
	}
	return render(c, status, "labels", p.frame(k, "Labels"), v)
}

// fillShelf lists the jars, what was printed of them, and what lately.
func (p *Pages) fillShelf(ctx context.Context, v *labelsView, typed url.Values, now time.Time) error {
	shelf, err := p.DB.Standing(ctx)
	if err != nil {
		return err
	}
	var tags []larder.Tag
	for _, s := range shelf {
		tags = append(tags, s.Jar.Tag)
	}
	last, err := p.DB.LastPrints(ctx, tags)
	if err != nil {
		return err
	}
	chosen := map[larder.Tag]bool{}
	for _, t := range typed["tag"] {
		if tag, _, err := larder.ParseTag(t); err == nil {
			chosen[tag] = true
		}
	}
	for _, s := range shelf {
		line := labelJar{Tag: string(s.Jar.Tag), Letter: s.Jar.Letter, Batch: s.Batch.Name, Stage: string(s.Jar.State.Stage), Chosen: chosen[s.Jar.Tag]}
		if print, ok := last[s.Jar.Tag]; ok {
			line.Printed = "printed " + dayOf(larder.ExactAt(print.At), now)
			if !p.opensHere(print.Address) {
				v.Stale = append(v.Stale, line.Tag)
			}
		}
		v.Jars = append(v.Jars, line)
	}
	for _, t := range typed["tag"] { // a spare tag, or a jar that left the shelf
		tag, _, err := larder.ParseTag(t)
		if err == nil && !slices.Contains(tags, tag) {
			tags = append(tags, tag)
			v.Jars = append(v.Jars, labelJar{Tag: string(tag), Stage: "not on the shelf", Chosen: true})
		}
	}
	lately, err := p.DB.Prints(ctx, latelyPrinted)
	if err != nil {
		return err
	}
	stocks := labels.StocksIn(p.DB.Dir())
	for _, l := range lately {
		line := printLine{Tag: l.Tag.Spaced(), URL: jarURL(l.Tag), Text: l.Said(now.Location(), stocks.NameOf) + ", for " + l.Address}
		if l.Tag.IsBottle() {
			line.URL = "/find" + query("tag", string(l.Tag))
		}
		v.Lately = append(v.Lately, line)
	}
	return nil
}

const latelyPrinted = 12

func (p *Pages) fillSpare(ctx context.Context, v *labelsView, desk desk, k larder.Kitchen, problems larder.Problems, key string, spare url.Values) error {
	spares, err := p.DB.Spares(ctx)
	if err != nil {
		return err
	}
	if desk.usual, err = p.usual(ctx, k, desk.stocks, "spare"); err != nil {
		return err
	}
	desk.stock = desk.usual[0].Stock.ID
	b := newBuilder("spare", nil, nil, k.Units())
	if spare != nil {
		b = newBuilder("spare", spare, problems, k.Units())
	}
	number := b.number("count", "How many", "", "")
	number.Mode = "numeric"
	v.Spare = b.finish(form{Key: key, Action: "/labels/spare.pdf", Submit: "Print new spare tags", Title: "Spare tags",
		Intro:  "Printed ahead and stuck on when a jar is filled: scan one, and the page offers to start a batch in that jar, or to move one into it.",
		Fields: append([]field{number}, desk.fields(b)...)})
	if v.Unused = len(spares); v.Unused > 0 {
		v.Reprint = "/labels/spare.pdf" + query("stock", desk.stock)
	}
	return nil
}

// preview lays the chosen labels out and says how they will read; what is wrong
// comes as problems of the form.
func (p *Pages) preview(c *gin.Context, typed url.Values, k larder.Kitchen) (*previewView, larder.Problems) {
	sheet, all, err := p.chosen(c.Request.Context(), typed, k)
	var v *previewView
	if err == nil {
		v, err = previewOf(c.Request.Context(), sheet, all, "/labels/preview.svg?"+typed.Encode())
	}
	if err != nil {
		problems, _, _, mine := refused(err, typed)
		if !mine {
			problems = larder.Problems{{Message: "The preview could not be drawn. Try it again."}}
		}
		return nil, problems
	}
	return v, nil
}

// discard is a writer that keeps nothing.
type discard struct{}

func (discard) Write(b []byte) (int, error) { return len(b), nil }

func (p *Pages) previewLabels(c *gin.Context) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	sheet, all, err := p.chosen(ctx, c.Request.URL.Query(), k)
	if err != nil {
		return err
	}
	var b strings.Builder
	if _, err := labels.Preview(ctx, &b, sheet, bare(all)); err != nil {
		return err
	}
	sendDrawing(c, b.String())
	return nil
}

// layoutOf is the layout that the jars' form asks for.
func layoutOf(v url.Values) string { return cmp.Or(v.Get("layout"), "jar") }

// chosen is the sheet and the labels that the form asks for.
func (p *Pages) chosen(ctx context.Context, v url.Values, k larder.Kitchen) (labels.Sheet, []printed, error) {
	sheet, err := p.readSheet(ctx, v, k, layoutOf(v), nil)
	if err != nil {
		return sheet, nil, err
	}
	var all []printed
	for _, typed := range v["tag"] {
		tag, _, err := larder.ParseTag(typed)
		if err != nil {
			return sheet, nil, err
		}
		l, err := p.labelOf(ctx, tag, v.Get("layout"), k)
		if err != nil {
			return sheet, nil, err
		}
		all = append(all, l)
	}
	if v.Get("layout") == "shelf" {
		sheet.Title, sheet.Outlines = labels.ShelfTitle(k.Name, ""), true
		if sheet.Stock, err = labels.ShelfStock(sheet.Stock); err != nil {
			return sheet, nil, err
		}
		if len(all) == 0 {
			all, err = p.wholeShelf(ctx, k)
		}
	}
	if err == nil && len(all) == 0 {
		err = larder.Refuse("", "Choose at least one jar.")
	}
	return sheet, all, err
}

// labelOf is the label of a jar, or of a spare tag.
func (p *Pages) labelOf(ctx context.Context, tag larder.Tag, layout string, k larder.Kitchen) (printed, error) {
	kind, err := p.DB.TagKind(ctx, tag)
	if err != nil {
		return printed{}, err
	}
	if kind == "spare" {
		return printed{labels.ForSpare(tag, p.Address), tag, "spare"}, nil
	}
	jar, err := p.DB.Jar(ctx, tag)
	if err != nil {
		return printed{}, err
	}
	batch, err := p.DB.Batch(ctx, jar.BatchID)
	if err != nil {
		return printed{}, err
	}
	l := labels.ForJar(jar, batch, p.Address, k.Location())
	switch layout {
	case "lid":
		return printed{labels.LidLabel{JarLabel: l}, tag, "lid"}, nil
	case "shelf":
		return printed{labels.ForShelf(jar, batch, p.Address, k.Location()), tag, "shelf"}, nil
	}
	return printed{l, tag, "jar"}, nil
}

func (p *Pages) wholeShelf(ctx context.Context, k larder.Kitchen) ([]printed, error) {
	shelf, err := p.DB.Standing(ctx)
	if err != nil {
		return nil, err
	}
	var all []printed
	for _, s := range shelf {
		all = append(all, printed{labels.ForShelf(s.Jar, s.Batch, p.Address, k.Location()), s.Jar.Tag, "shelf"})
	}
	return all, nil
}

func (p *Pages) jarLabel(c *gin.Context) error {
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	v := c.Request.URL.Query()
	v["tag"] = []string{string(tag)}
	return p.printJars(c, v)
}

func (p *Pages) jarLabels(c *gin.Context) error { return p.printJars(c, c.Request.URL.Query()) }

// printJars prints the labels of the jars named in v. Trouble comes back on the
// labels page with all that was chosen.
func (p *Pages) printJars(c *gin.Context, v url.Values) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	sheet, all, err := p.chosen(ctx, v, k)
	if err == nil {
		err = p.sendLabels(c, sheet, all, "jar-labels")
	}
	var problems larder.Problems
	if errors.As(err, &problems) {
		return p.showLabels(c, http.StatusUnprocessableEntity, v, problems, "", nil)
	}
	return err
}

// printLabels hands the labels to the spooler.
func (p *Pages) printLabels(c *gin.Context) error {
	ctx := c.Request.Context()
	k, r, err := p.form(c)
	if err != nil {
		return err
	}
	if r.text("printer") == "" { // corrected as the printer that it goes to
		r.typed.Set("printer", r.text("to"))
	}
	sheet, all, err := p.chosen(ctx, r.typed, k)
	if err == nil {
		err = p.spool(ctx, r.text("to"), sheet, all)
	}
	var problems larder.Problems
	if errors.As(err, &problems) {
		for i := range problems {
			if problems[i].Field == "printer" {
				problems[i].Field = "to"
			}
		}
		return p.showLabels(c, http.StatusUnprocessableEntity, r.typed, problems, "", nil)
	}
	if err != nil {
		return err
	}
	remember(c, printerCookie, r.text("to"))
	c.Redirect(http.StatusSeeOther, "/labels"+query("sent", fmt.Sprintf("%s for %s", count(len(all)*max(1, sheet.Copies), "label"), r.text("to"))))
	return nil
}

func (p *Pages) spool(ctx context.Context, to string, sheet labels.Sheet, all []printed) error {
	var b strings.Builder
	made, err := labels.Print(ctx, &b, sheet, bare(all), nil)
	if err != nil {
		return err
	}
	stock := sheet.Stock
	_, err = spool.Send(ctx, spool.Job{Printer: to, Title: "Cruet labels", PDF: []byte(b.String()), PageWMM: stock.PageWMM, PageHMM: made.PageHMM, DPI: made.Worst.DPI})
	if err != nil {
		return err
	}
	return p.remember(ctx, stock, all)
}

// remember notes what was printed, so that a later page can say so.
func (p *Pages) remember(ctx context.Context, stock labels.Stock, all []printed) error {
	records := make([]larder.Print, len(all))
	for i, l := range all {
		records[i] = larder.Print{Tag: l.tag, Address: p.Address, Stock: stock.ID, Layout: l.layout}
	}
	return p.DB.RecordPrints(ctx, "", records)
}
