package scan

import (
	"bytes"
	"errors"
	"net/http"
	"net/url"
	"strconv"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/labels"
)

// labelsView lets choose jars, paper and place, and leads to the PDF.
type labelsView struct {
	Jars    []labelJar
	Sheet   []field // of the jars' form
	Problem string
	Spare   form
	Unused  int    // spare tags printed and not worn yet
	Reprint string // the link to print those again
}

type labelJar struct {
	Tag, Letter, Batch, Stage string
	Chosen                    bool
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
	shelf, err := p.DB.Shelf(ctx, false)
	if err != nil {
		return err
	}
	spares, err := p.DB.Spares(ctx)
	if err != nil {
		return err
	}
	chosen := map[string]bool{}
	for _, t := range typed["tag"] {
		if tag, _, err := larder.ParseTag(t); err == nil {
			chosen[string(tag)] = true
		}
	}
	v := labelsView{Unused: len(spares)}
	for _, s := range shelf {
		v.Jars = append(v.Jars, labelJar{Tag: string(s.Jar.Tag), Letter: s.Jar.Letter, Batch: s.Batch.Name,
			Stage: string(s.Jar.State.Stage), Chosen: chosen[string(s.Jar.Tag)]})
	}
	stock := remembered(c, stockCookie)
	jars := newBuilder("jars", typed, nil, k.Units())
	both := newBuilder("spare", nil, nil, k.Units())
	if spare != nil {
		both = newBuilder("spare", spare, problems, k.Units())
	} else {
		jars.problems = problems
	}
	v.Sheet = sheetFields(jars, stock)
	v.Problem = jars.rest()
	number := both.number("count", "How many", "", "")
	number.Mode = "numeric"
	fields := append([]field{number}, sheetFields(both, stock)...)
	v.Spare = both.finish(form{Key: key, Action: "/labels/spare.pdf", Submit: "Print new spare tags", Title: "Spare tags",
		Intro:  "Printed ahead and stuck on when a jar is filled: scan one, and the page offers to start a batch in that jar.",
		Fields: fields})
	if v.Unused > 0 {
		v.Reprint = "/labels/spare.pdf" + query("stock", stock)
	}
	return render(c, status, "labels", p.frame(k, "Labels"), v)
}

// sheetFields ask for paper and place.
func sheetFields(b *builder, stock string) []field {
	var options []option
	for _, s := range labels.Stocks() {
		options = append(options, option{Value: s.ID, Text: s.Name})
	}
	if stock == "" {
		stock = labels.DefaultStock().ID
	}
	first := b.number("first", "First free place", "", "1 for a whole sheet; count along the rows")
	first.Mode, first.Placeholder = "numeric", "1"
	return []field{
		b.pull("stock", "Label paper", stock, options...),
		first,
		b.check("outlines", "plain paper: draw lines to cut along"),
	}
}

// readSheet reads paper and place.
func readSheet(v url.Values) (labels.Sheet, error) {
	sheet := labels.Sheet{Outlines: v.Get("outlines") != ""}
	if id := v.Get("stock"); id != "" {
		stock, err := labels.StockByID(id)
		if err != nil {
			return sheet, larder.Refuse("stock", err.Error())
		}
		sheet.Stock = stock
	}
	if text := v.Get("first"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil {
			return sheet, larder.Refuse("first", "The first free place is a whole number; 1 is at the top left.")
		}
		if n < 1 {
			return sheet, larder.Refuse("first", "Places are counted from 1, at the top left.")
		}
		sheet.First = n
	}
	return sheet, nil
}

// sendLabels answers with the PDF. What is wrong with the sheet or a label is
// told as a problem of the form.
func (p *Pages) sendLabels(c *gin.Context, sheet labels.Sheet, all []labels.Label, name string) error {
	if len(all) == 0 {
		return larder.Refuse("", "Choose at least one jar.")
	}
	var b bytes.Buffer
	if err := labels.Write(&b, sheet, all); err != nil {
		return labelProblem(err)
	}
	if sheet.Stock.ID != "" {
		remember(c, stockCookie, sheet.Stock.ID)
	}
	c.Header("Content-Disposition", `inline; filename="`+name+`.pdf"`)
	c.Data(http.StatusOK, "application/pdf", b.Bytes())
	return nil
}

// labelProblem turns an error of the label writer, which is a sentence for the
// maker, into a problem of the form, on the paper unless it names a place.
func labelProblem(err error) error {
	var p larder.Problems
	if errors.As(err, &p) {
		return err
	}
	return larder.Refuse("stock", err.Error())
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
	sheet, err := readSheet(v)
	var all []labels.Label
	for _, typed := range v["tag"] {
		tag, _, err := larder.ParseTag(typed)
		if err != nil {
			return err
		}
		jar, err := p.DB.Jar(ctx, tag)
		if err != nil {
			return err
		}
		batch, err := p.DB.Batch(ctx, jar.BatchID)
		if err != nil {
			return err
		}
		all = append(all, labels.ForJar(jar, batch, p.Address, k.Location()))
	}
	if err == nil {
		err = p.sendLabels(c, sheet, all, "jar-labels")
	}
	var problems larder.Problems
	if errors.As(err, &problems) {
		return p.showLabels(c, http.StatusUnprocessableEntity, v, problems, "", nil)
	}
	return err
}

func (p *Pages) spareSheet(tags []larder.Tag) []labels.Label {
	var all []labels.Label
	for _, tag := range tags {
		all = append(all, labels.ForSpare(tag, p.Address))
	}
	return all
}

// spareLabels prints the spare tags that no jar wears yet once more.
func (p *Pages) spareLabels(c *gin.Context) error {
	tags, err := p.DB.Spares(c.Request.Context())
	if err != nil {
		return err
	}
	if len(tags) == 0 {
		p.troubled(c, http.StatusNotFound, trouble{Title: "No spare tags to print", Detail: "All spare tags are worn by jars. Issue new ones on the labels page.",
			Back: link{"/labels", "Go to the labels"}})
		return nil
	}
	sheet, err := readSheet(c.Request.URL.Query())
	if err == nil {
		err = p.sendLabels(c, sheet, p.spareSheet(tags), "spare-tags")
	}
	return err
}

// newSpareLabels issues tags and prints them. That they fit the paper is tried
// first, so that no tag is issued that cannot be printed.
func (p *Pages) newSpareLabels(c *gin.Context) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	r, err := readForm(c, p.now(k))
	if err != nil {
		return err
	}
	n := r.need("count", "Say how many spare tags.")
	sheet, err := readSheet(r.typed)
	if err != nil {
		r.problems.AddError("", err)
	} else if _, err := labels.Draw(sheet, labels.ForSpare("K7RM40", p.Address)); err != nil {
		r.problems.AddError("stock", labelProblem(err))
	}
	if n != float64(int(n)) {
		r.problems.Add("count", "Tags come in whole numbers.")
	}
	act := r.act()
	if err = r.problems.Err(); err == nil {
		var tags []larder.Tag
		if tags, err = p.DB.IssueSpares(ctx, act, int(n)); err == nil {
			return p.sendLabels(c, sheet, p.spareSheet(tags), "spare-tags")
		}
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showLabels(c, status, url.Values{}, problems, key, r.typed)
}
