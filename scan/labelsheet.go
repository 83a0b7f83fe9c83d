package scan

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/spool"
	"cruet/labels"
)

const printerCookie = "printer"

// printed is a label with what is remembered of it.
type printed struct {
	label  labels.Label
	tag    larder.Tag
	layout string
}

func bare(all []printed) []labels.Label {
	out := make([]labels.Label, len(all))
	for i, p := range all {
		out[i] = p.label
	}
	return out
}

// desk is what there is to print on.
type desk struct {
	stocks  labels.Catalogue
	usual   []labels.Usual // the likeliest first
	stock   string         // that is offered first
	printer string         // that this phone used last
	aligned []larder.Printer
	queues  []string // the spooler's printers
	offered []string // the papers that the maker chose; empty: all
	letter  bool     // the kitchen prints on US Letter rather than A4
}

// spoolerPatience is how long a page waits for the list of printers.
const spoolerPatience = 2 * time.Second

// desk is for labels of a layout, and a phone that used that printer last.
func (p *Pages) desk(ctx context.Context, layout, printer string) (desk, error) {
	d := desk{stocks: labels.StocksIn(p.DB.Dir()), printer: printer}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return d, err
	}
	d.offered, d.letter = k.Stocks, labels.OnLetter(k)
	if d.usual, err = p.usual(ctx, k, d.stocks, layout); err != nil {
		return d, err
	}
	d.stock = d.usual[0].Stock.ID
	if d.aligned, err = p.DB.Printers(ctx); err != nil {
		return d, err
	}
	patient, cancel := context.WithTimeout(ctx, spoolerPatience)
	defer cancel()
	d.queues, _ = spool.Printers(patient) // without a spooler there is the PDF
	return d, nil
}

// usual are the papers for labels of a layout, the likeliest first.
func (p *Pages) usual(ctx context.Context, k larder.Kitchen, stocks labels.Catalogue, layout string) ([]labels.Usual, error) {
	last, err := p.DB.LastStock(ctx, layout)
	return stocks.Usual(k, layout, last), err
}

// fields ask for paper, place and printer.
func (d desk) fields(b *builder) []field {
	var options []option
	for i, s := range d.stocks.Stocks {
		// The maker's choice, with own papers and the one in hand always among it.
		if len(d.offered) > 0 && i >= d.stocks.Own && !slices.Contains(d.offered, s.ID) && s.ID != d.stock {
			continue
		}
		one := option{Value: s.ID, Text: s.Name, Group: stockGroup(s)}
		if i < d.stocks.Own {
			one.Text, one.Group = s.ID+" (yours): "+s.Name, ownGroup
		}
		options = append(options, one)
	}
	// The kitchen's own kind of paper first.
	slices.SortStableFunc(options, func(x, y option) int { return cmp.Compare(d.rank(x.Group), d.rank(y.Group)) })
	first := b.number("first", "First free place", "", "1 for a whole sheet; count along the rows")
	first.Mode, first.Placeholder = "numeric", "1"
	copies := b.number("copies", "Copies of each", "", "")
	copies.Mode, copies.Placeholder = "numeric", "1"
	fields := []field{b.pull("stock", "Label paper", d.stock, options...), first, copies}
	if len(d.aligned) > 0 {
		names := []option{{Value: "", Text: "prints true to size"}}
		for _, p := range d.aligned {
			names = append(names, option{Value: p.Name, Text: "correct for " + p.Name})
		}
		fields = append(fields, b.pull("printer", "Alignment", "", names...))
	}
	return append(fields, b.check("outlines", "plain paper: draw lines to cut along"))
}

// The headings that papers stand under.
const (
	ownGroup    = "Your own"
	a4Group     = "A4 sheets"
	letterGroup = "US Letter sheets"
	otherGroup  = "Other sheets"
	rollGroup   = "Rolls"
)

func stockGroup(s labels.Stock) string {
	switch {
	case s.Roll:
		return rollGroup
	case s.PageWMM == labels.A4.WMM:
		return a4Group
	case s.PageWMM == labels.Letter.WMM:
		return letterGroup
	}
	return otherGroup
}

func (d desk) rank(group string) int {
	order := []string{ownGroup, a4Group, letterGroup, otherGroup, rollGroup}
	if d.letter {
		order[1], order[2] = letterGroup, a4Group
	}
	return slices.Index(order, group)
}

func asOptions(names []string) (out []option) {
	for _, n := range names {
		out = append(out, option{Value: n, Text: n})
	}
	return out
}

// readSheet reads paper, place and printer. Where no paper is named it is the usual
// one for the layout that takes all of these labels, if any are given.
func (p *Pages) readSheet(ctx context.Context, v url.Values, k larder.Kitchen, layout string, takes []labels.Label) (labels.Sheet, error) {
	sheet := labels.Sheet{Outlines: v.Get("outlines") != ""}
	var err error
	if stocks := labels.StocksIn(p.DB.Dir()); v.Get("stock") != "" {
		sheet.Stock, err = stocks.Find(v.Get("stock"))
	} else {
		var usual []labels.Usual
		if usual, err = p.usual(ctx, k, stocks, layout); err == nil {
			var u labels.Usual
			u, err = labels.FirstFor(takes, usual)
			sheet.Stock = u.Stock
		}
	}
	if err != nil {
		return sheet, err
	}
	for _, n := range []struct {
		name, what string
		into       *int
	}{{"first", "The first free place", &sheet.First}, {"copies", "The number of copies", &sheet.Copies}} {
		text := strings.TrimSpace(v.Get(n.name))
		if text == "" {
			continue
		}
		if *n.into, err = strconv.Atoi(text); err != nil || *n.into < 1 {
			return sheet, larder.Refuse(n.name, n.what+" is a whole number, counted from 1.")
		}
	}
	if name := v.Get("printer"); name != "" {
		printer, _, err := p.DB.Printer(ctx, name)
		if err != nil {
			return sheet, err
		}
		sheet.OffsetXMM, sheet.OffsetYMM, sheet.Scale, sheet.DPI = printer.OffsetXMM, printer.OffsetYMM, printer.Scale, printer.DPI
	}
	return sheet, nil
}

// sendLabels answers with the PDF and remembers what was printed.
func (p *Pages) sendLabels(c *gin.Context, sheet labels.Sheet, all []printed, name string) error {
	if len(all) == 0 {
		return larder.Refuse("", "There is nothing to print: choose at least one.")
	}
	var b bytes.Buffer
	if _, err := labels.Print(c.Request.Context(), &b, sheet, bare(all), nil); err != nil {
		return err
	}
	if err := p.remember(c.Request.Context(), sheet.Stock, all); err != nil {
		return err
	}
	c.Header("Content-Disposition", `inline; filename="`+name+`.pdf"`)
	c.Data(http.StatusOK, "application/pdf", b.Bytes())
	return nil
}

func (p *Pages) spareSheet(tags []larder.Tag) []printed {
	var all []printed
	for _, tag := range tags {
		all = append(all, printed{labels.ForSpare(tag, p.Address), tag, "spare"})
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
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return err
	}
	sheet, err := p.readSheet(c.Request.Context(), c.Request.URL.Query(), k, "spare", nil)
	if err == nil {
		err = p.sendLabels(c, sheet, p.spareSheet(tags), "spare-tags")
	}
	return err
}

// newSpareLabels issues tags and prints them. That they fit the paper is tried
// first, so that no tag is issued that cannot be printed.
func (p *Pages) newSpareLabels(c *gin.Context) error {
	ctx := c.Request.Context()
	k, r, err := p.form(c)
	if err != nil {
		return err
	}
	n := r.need("count", "Say how many spare tags.")
	sheet, err := p.readSheet(ctx, r.typed, k, "spare", nil)
	if err == nil {
		_, err = labels.Draw(sheet, labels.ForSpare("K7RM40", p.Address))
	}
	r.problems.AddError("", err)
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

// paperView is what there is to print on, and how true it prints.
type paperView struct {
	Stocks   []stockRow
	Wrong    []string // lines of the kitchen's own list
	File     string   // where that list lies
	Printers []printerRow
	Spooler  string // why no printer is listed
	Form     form
	Proofs   []link
	Saved    string
}

type stockRow struct {
	ID, Name, Picture string
	Own               bool
}

type printerRow struct {
	Name, Alignment string
	Aligned         bool
}

func (p *Pages) paper(c *gin.Context) error { return p.showPaper(c, http.StatusOK, nil, nil) }

func (p *Pages) showPaper(c *gin.Context, status int, typed url.Values, problems larder.Problems) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	d, err := p.desk(ctx, "", "")
	if err != nil {
		return err
	}
	v := paperView{File: labels.StocksFile, Saved: c.Query("saved"),
		Proofs: []link{{"/labels/proof.pdf?stock=letter-3x10", "Proof page, US Letter"}, {"/labels/proof.pdf?stock=a4-3x8", "Proof page, A4"}}}
	for i, s := range d.stocks.Stocks {
		v.Stocks = append(v.Stocks, stockRow{s.ID, s.Name, "/labels/stocks/" + url.PathEscape(s.ID) + ".svg", i < d.stocks.Own})
	}
	var wrong larder.Problems
	if errors.As(d.stocks.Err, &wrong) {
		for _, w := range wrong {
			v.Wrong = append(v.Wrong, w.Message)
		}
	}
	v.Printers = printerRows(d)
	if len(d.queues) == 0 {
		v.Spooler = "The system's print spooler lists no printer: save the PDF and print it at 100 %."
	}
	b := newBuilder("align", typed, problems, k.Units())
	name := b.text("name", "Printer", "its name in the system, or any", larder.MaxNameRunes)
	a := b.number("left", "A: paper's left edge to the upright line", "mm", "")
	down := b.number("top", "B: paper's top edge to the level line", "mm", "")
	long := b.number("length", "C: length of the level line", "mm", "")
	a.Placeholder, down.Placeholder, long.Placeholder = "20.0", "20.0", "150.0"
	dpi := b.pull("dpi", "Dots per inch", "", option{Value: "", Text: "what suits the paper"}, option{Value: "203", Text: "203"}, option{Value: "300", Text: "300"}, option{Value: "600", Text: "600"})
	v.Form = b.finish(form{Action: "/labels/paper", Submit: "Remember this printer", Title: "Alignment", Fields: []field{name, a, down, long, dpi}})
	return render(c, status, "labelspaper", p.frame(k, "Papers and printers"), v)
}

func printerRows(d desk) []printerRow {
	var rows []printerRow
	for _, q := range d.queues {
		rows = append(rows, printerRow{Name: q, Alignment: "not measured yet"})
	}
	for _, a := range d.aligned {
		row := printerRow{Name: a.Name, Aligned: true, Alignment: fmt.Sprintf("moved %+.1f mm across, %+.1f mm down, stretched %+.2f %%", a.OffsetXMM, a.OffsetYMM, (a.Scale-1)*100)}
		if a.DPI > 0 {
			row.Alignment += fmt.Sprintf(", %d dpi", a.DPI)
		}
		at := len(rows)
		for i := range rows {
			if rows[i].Name == a.Name {
				at = i
			}
		}
		rows = append(rows[:at], append([]printerRow{row}, rows[min(at+1, len(rows)):]...)...)
	}
	return rows
}

// alignPrinter remembers what the proof page showed, or forgets a printer.
func (p *Pages) alignPrinter(c *gin.Context) error {
	ctx := c.Request.Context()
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	said := "Remembered " + r.text("name") + "."
	if forget := r.text("forget"); forget != "" {
		err, said = p.DB.ForgetPrinter(ctx, forget), "Forgot "+forget+"."
	} else {
		err = p.setPrinter(ctx, r)
	}
	if problems, status, _, mine := refused(err, r.typed); mine {
		return p.showPaper(c, status, r.typed, problems)
	}
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/labels/paper"+query("saved", said))
	return nil
}

func (p *Pages) setPrinter(ctx context.Context, r *reader) error {
	measured := func(name string, right float64) float64 {
		if v := r.number(name); v != nil {
			return *v
		}
		return right
	}
	left, top, length := measured("left", 20), measured("top", 20), measured("length", 150)
	printer := larder.Printer{Name: r.text("name")}
	if text := r.text("dpi"); text != "" {
		var err error
		if printer.DPI, err = strconv.Atoi(text); err != nil {
			r.problems.Add("dpi", "The dots per inch are a whole number.")
		}
	}
	var err error
	if len(r.problems) == 0 {
		printer.OffsetXMM, printer.OffsetYMM, printer.Scale, err = labels.Align(left, top, length)
		r.problems.AddError("", err)
	}
	if err = r.problems.Err(); err == nil {
		err = p.DB.SetPrinter(ctx, printer)
	}
	// The form asks for what a ruler says, and for a name.
	var problems larder.Problems
	if errors.As(err, &problems) {
		for i, f := range problems {
			switch f.Field {
			case "printer":
				problems[i].Field = "name"
			case "offset":
				problems[i].Field = "left"
			}
		}
	}
	return err
}

func (p *Pages) proof(c *gin.Context) error {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return err
	}
	sheet, err := p.readSheet(c.Request.Context(), url.Values{"stock": {c.Query("stock")}}, k, "proof", nil)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := labels.WriteProof(&b, labels.Sheet{Stock: sheet.Stock}); err != nil {
		return err
	}
	c.Header("Content-Disposition", `inline; filename="proof.pdf"`)
	c.Data(http.StatusOK, "application/pdf", b.Bytes())
	return nil
}

// stockPicture draws a stock's page, to lay over the paper.
func (p *Pages) stockPicture(c *gin.Context) error {
	id, ok := strings.CutSuffix(c.Param("id"), ".svg")
	if !ok {
		return p.noRoute(c)
	}
	stock, err := labels.StocksIn(p.DB.Dir()).Find(id)
	if err != nil {
		return err
	}
	sendDrawing(c, stock.SVG())
	return nil
}

// printedText says when a jar's label was printed last.
func (p *Pages) printedText(ctx context.Context, tag larder.Tag, now time.Time) (string, error) {
	last, err := p.DB.LastPrints(ctx, []larder.Tag{tag})
	print, ok := last[tag]
	if err != nil || !ok {
		return "", err
	}
	text := "Label printed " + print.Said(now.Location(), labels.StocksIn(p.DB.Dir()).NameOf) + "."
	if !strings.EqualFold(print.Address, p.Address) {
		text += " Its code names " + print.Address + ", where this station is no longer; print it again, the tag stays the same."
	}
	return text, nil
}
