package scan

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/labels"
)

// lotLabelsView shows a lot's labels as they will be printed, and what they lack.
type lotLabelsView struct {
	LotURL, ID, Name string
	Sent             string
	Preview          *previewView
	Form             form
	URL              string // of the page; the PDF and the printer are below it
	Print            *field // a printer to send it to; nil when the spooler has none
	TooSmall         []string
	Missing, Check   []pointLine
	Notes            []string
	Rules            string
	Lines            []pointLine // of the rule set; none for a plain label
	Code             string      // what the code says
	CodeWhy          string
}

// pointLine is something to know of a label, why it matters and by which rule.
type pointLine struct{ What, Why, Source string }

func pointLines(points []labels.Point) (out []pointLine) {
	for _, p := range points {
		out = append(out, pointLine{p.What, p.Why, p.Source.String()})
	}
	return out
}

// lotPrint is a lot with what was chosen for its labels.
type lotPrint struct {
	lot    store.BottledLot
	record labels.Filled
	want   labels.Wanted
	draft  labels.Draft // of the first label
	all    []printed
}

func (l lotPrint) url() string { return lotURL(l.lot.Lot.ID) + "/labels" }

// lotPrint makes the labels that the form asks for: all of the lot, or the bottle
// with a number.
func (p *Pages) lotPrint(c *gin.Context, v url.Values, k larder.Kitchen) (lotPrint, error) {
	ctx := c.Request.Context()
	var l lotPrint
	var err error
	if l.lot, err = p.DB.Lot(ctx, c.Param("id")); err != nil {
		return l, err
	}
	rules := v.Get("rules")
	if rules == "" {
		rules = labels.RuleSetFor(k.Market).ID
	}
	if l.want, err = labels.ParseWanted(rules, v.Get("code"), v.Get("for") == "sale"); err != nil {
		return l, err
	}
	if l.record, err = p.filled(ctx, l.lot, k); err != nil {
		return l, err
	}
	for _, b := range l.lot.Bottles {
		if n := v.Get("bottle"); n != "" && n != strconv.Itoa(b.Number) {
			continue
		}
		layout := bottleLayout(v)
		l.record.Bottle = b
		d, err := labels.DraftBottle(l.record, l.want)
		if err != nil {
			return l, err
		}
		if len(l.all) == 0 {
			l.draft = d
		}
		l.all = append(l.all, printed{d.Print(layout), b.Tag, layout})
	}
	if len(l.all) == 0 {
		return l, larder.Refuse("bottle", "Lot "+l.lot.Lot.ID+" has no bottle "+v.Get("bottle")+".")
	}
	return l, nil
}

// bottleLayout is the layout that the form asks for.
func bottleLayout(v url.Values) string {
	if v.Get("layout") == "neck" {
		return "neck"
	}
	return "bottle"
}

// onePerSize is a label of each size of bottle: if those fit a paper, all do.
func (l lotPrint) onePerSize() []labels.Label {
	bottles := make([]larder.Bottle, len(l.all))
	for i, one := range l.all {
		bottles[i] = l.lot.Bottles[slices.IndexFunc(l.lot.Bottles, func(b larder.Bottle) bool { return b.Tag == one.tag })]
	}
	return labels.OnePerSize(bottles, bare(l.all))
}

// filled is the record that the labels of a lot are built from.
func (p *Pages) filled(ctx context.Context, l store.BottledLot, k larder.Kitchen) (labels.Filled, error) {
	trace, err := p.DB.TraceUpTo(ctx, larder.Subject{Kind: larder.SubjectLot, ID: l.Lot.ID}, 0)
	return labels.Filled{Lot: l.Lot, Bottles: len(l.Bottles), Trace: trace, Kitchen: k, Address: p.Address, Now: p.now(k)}, err
}

func (p *Pages) lotLabelsPage(c *gin.Context) error {
	return p.showLotLabels(c, http.StatusOK, c.Request.URL.Query(), nil)
}

func (p *Pages) showLotLabels(c *gin.Context, status int, typed url.Values, problems larder.Problems) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	lot, err := p.DB.Lot(ctx, c.Param("id"))
	if err != nil {
		return err
	}
	v := lotLabelsView{LotURL: lotURL(lot.Lot.ID), ID: lot.Lot.ID, Name: lot.Lot.Name, URL: lotURL(lot.Lot.ID) + "/labels", Sent: typed.Get("sent")}
	d, err := p.desk(ctx, bottleLayout(typed), remembered(c, printerCookie))
	if err != nil {
		return err
	}
	l, err := p.lotPrint(c, typed, k)
	if err == nil {
		err = v.fill(&d, l, typed, k)
	}
	var sheet labels.Sheet
	if err == nil && problems == nil {
		if sheet, err = p.readSheet(ctx, typed, k, bottleLayout(typed), nil); err == nil {
			v.Preview, err = previewOf(ctx, sheet, l.all, v.URL+".svg?"+typed.Encode())
		}
	}
	if err != nil {
		more, st, _, mine := refused(err, typed)
		if !mine {
			return err
		}
		problems, status = append(problems, more...), max(status, st)
	}
	b := newBuilder("labels", typed, problems, k.Units())
	v.Form = b.finish(form{Submit: "Preview", Fields: v.fields(b, d, l, k)})
	if len(d.queues) > 0 {
		to := b.pull("to", "Printer", d.printer, asOptions(d.queues)...)
		v.Print = &to
	}
	return render(c, status, "lotlabels", p.frame(k, "Labels of "+lot.Lot.ID), v)
}

// fill says what there is to know of the labels, and leaves on the desk only the
// papers that they fit on, the one asked for besides. Without one asked for it
// takes the usual one that fits.
func (v *lotLabelsView) fill(d *desk, l lotPrint, typed url.Values, k larder.Kitchen) error {
	v.Missing, v.Check, v.Notes, v.CodeWhy = pointLines(l.draft.Missing), pointLines(l.draft.Check), l.draft.Notes, l.draft.CodeWhy
	v.Code = l.draft.Label.URL
	v.Rules = l.draft.Rules.Name
	if !l.want.Plain {
		for _, r := range l.draft.Rules.Lines {
			v.Lines = append(v.Lines, pointLine{What: r.Says, Source: r.Source.String()})
		}
	}
	fit, rest, err := labels.Fit(l.onePerSize(), d.stocks.Stocks)
	if err != nil {
		return err
	}
	for _, s := range rest {
		v.TooSmall = append(v.TooSmall, s.Name)
	}
	if len(fit) == 0 {
		return larder.Refuse("stock", "No label paper takes all that this label has to say. Choose a plain label, or shorten the name, the ingredients or the maker's line.")
	}
	has := func(id string) bool { return slices.ContainsFunc(fit, func(s labels.Stock) bool { return s.ID == id }) }
	if typed.Get("stock") == "" {
		if !has(d.stock) {
			d.stock = d.usual[slices.IndexFunc(d.usual, func(u labels.Usual) bool { return has(u.Stock.ID) })].Stock.ID
		}
		typed.Set("stock", d.stock)
	}
	own := d.stocks.Own
	kept := d.stocks.Stocks[:0:0]
	for i, s := range d.stocks.Stocks {
		switch {
		case has(s.ID) || s.ID == typed.Get("stock"):
			kept = append(kept, s)
		case i < own:
			d.stocks.Own--
		}
	}
	d.stocks.Stocks = kept
	return nil
}

func (v *lotLabelsView) fields(b *builder, d desk, l lotPrint, k larder.Kitchen) []field {
	rules := []option{}
	for _, r := range labels.RuleSets() {
		rules = append(rules, option{Value: r.ID, Text: r.Name})
	}
	rules = append(rules, option{Value: "plain", Text: "plain, for small papers"})
	code := string(l.draft.Code)
	if code == "" {
		code = string(labels.Facts)
	}
	bottles := []option{{Value: "", Text: "all " + count(len(l.lot.Bottles), "bottle")}}
	for _, one := range l.lot.Bottles {
		n := strconv.Itoa(one.Number)
		bottles = append(bottles, option{Value: n, Text: "bottle " + n + ", " + labels.NetText(float64(one.SizeML))})
	}
	sheet := d.fields(b)
	list := []field{
		b.choice("layout", "Layout", "bottle", option{Value: "bottle", Text: "bottle label"}, option{Value: "neck", Text: "neck tag"}),
		b.choice("rules", "Words and letters by the rules of", labels.RuleSetFor(k.Market).ID, rules...),
		b.choice("for", "It is", "gift", option{Value: "gift", Text: "a gift"}, option{Value: "sale", Text: "for sale"}),
		b.choice("code", "The code holds", code, option{Value: string(labels.Facts), Text: "the facts themselves"}, option{Value: string(labels.Link), Text: "a link to its page"}),
		sheet[0], b.pull("bottle", "Which", "", bottles...),
	}
	return append(list, fold("Part-used sheet, copies, printer", sheet[1:]...))
}

// previewOf lays labels out and says how they will read.
func previewOf(ctx context.Context, sheet labels.Sheet, all []printed, svg string) (*previewView, error) {
	var out discard
	made, err := labels.Preview(ctx, &out, sheet, bare(all))
	if err != nil {
		return nil, err
	}
	v := &previewView{URL: svg, Verdict: made.Worst.Verdict(), Measures: upperFirst(made.Worst.Measures()) + ".", Good: made.Worst.Good,
		Of: count(made.Labels, "label") + " on " + count(made.Pages, "page")}
	v.Mind = append(slices.Clone(made.Worst.Warnings), made.Losses...)
	v.Mind = v.Mind[:min(len(v.Mind), 6)]
	for i, m := range v.Mind {
		v.Mind[i] = upperFirst(m)
	}
	return v, nil
}

// lotSheet is the sheet and the labels that a query or form asks for.
func (p *Pages) lotSheet(c *gin.Context, v url.Values) (labels.Sheet, lotPrint, error) {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return labels.Sheet{}, lotPrint{}, err
	}
	l, err := p.lotPrint(c, v, k)
	if err != nil {
		return labels.Sheet{}, l, err
	}
	sheet, err := p.readSheet(ctx, v, k, bottleLayout(v), l.onePerSize())
	return sheet, l, err
}

func (p *Pages) lotLabels(c *gin.Context) error {
	v := c.Request.URL.Query()
	sheet, l, err := p.lotSheet(c, v)
	if err == nil {
		err = p.sendLabels(c, sheet, l.all, "bottle-labels-"+l.lot.Lot.ID)
	}
	if problems, status, _, mine := refused(err, v); mine {
		return p.showLotLabels(c, status, v, problems)
	}
	return err
}

func (p *Pages) lotLabelsSVG(c *gin.Context) error {
	sheet, l, err := p.lotSheet(c, c.Request.URL.Query())
	if err != nil {
		return err
	}
	var b strings.Builder
	if c.Query("one") != "" {
		err = labels.PreviewOne(c.Request.Context(), &b, sheet, l.all[0].label)
	} else {
		_, err = labels.Preview(c.Request.Context(), &b, sheet, bare(l.all))
	}
	if err != nil {
		return err
	}
	sendDrawing(c, b.String())
	return nil
}

// printLotLabels hands the labels to the spooler.
func (p *Pages) printLotLabels(c *gin.Context) error {
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	to := r.text("to")
	if r.text("printer") == "" { // corrected as the printer that it goes to
		r.typed.Set("printer", to)
	}
	sheet, l, err := p.lotSheet(c, r.typed)
	if err == nil {
		err = p.spool(c.Request.Context(), to, sheet, l.all)
	}
	if problems, status, _, mine := refused(err, r.typed); mine {
		for i := range problems {
			if problems[i].Field == "printer" {
				problems[i].Field = "to"
			}
		}
		return p.showLotLabels(c, status, r.typed, problems)
	}
	if err != nil {
		return err
	}
	remember(c, printerCookie, to)
	c.Redirect(http.StatusSeeOther, l.url()+query("sent", fmt.Sprintf("%s for %s", count(len(l.all)*max(1, sheet.Copies), "label"), to)))
	return nil
}
