package api

import (
	"bytes"
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/labels"
)

// Stock is a kind of label paper.
type Stock struct {
	ID       string  `json:"id"`
	Name     string  `json:"name"`
	Columns  int     `json:"columns"`
	Rows     int     `json:"rows"`
	LabelWMM float64 `json:"label_width_mm"`
	LabelHMM float64 `json:"label_height_mm"`
	PageWMM  float64 `json:"page_width_mm"`
	PageHMM  float64 `json:"page_height_mm"`
	DPI      int     `json:"dpi"`
	Roll     bool    `json:"roll"`
}

// Stocks are all kinds of label paper.
type Stocks struct {
	Stocks []Stock `json:"stocks"`
}

// Print says on what and from where labels are printed.
type Print struct {
	Stock    string `json:"stock,omitempty" query:"stock" example:"letter-3x10" doc:"The id of a stock. Empty: the one that such labels were printed on last, else the first that the kitchen chose, else one of its market's size; for bottles one that takes them."`
	First    int    `json:"first,omitempty" query:"first" example:"1" doc:"The place on the first page to begin with, counted from 1 along the rows, for a part-used sheet."`
	Copies   int    `json:"copies,omitempty" query:"copies" example:"1" doc:"How many of each label."`
	Layout   string `json:"layout,omitempty" query:"layout" enum:"jar,lid,bottle,neck" doc:"How it is laid out: jar or lid for jars, bottle or neck for bottles. Empty: jar, or bottle."`
	Printer  string `json:"printer,omitempty" query:"printer" example:"office" doc:"The name of a printer that was aligned here: its offset, scale and resolution are corrected for."`
	DPI      int    `json:"dpi,omitempty" query:"dpi" example:"300" doc:"The printer's dots per inch, so that the code's modules are whole dots. Empty: what the stock's printers usually have."`
	Outlines bool   `json:"outlines,omitempty" query:"outlines" doc:"Draw the die cuts, for plain paper and scissors."`
}

// paper is the stock that is asked for, else the usual one for the layout that
// takes all of these labels, if any are given.
func (a *API) paper(ctx context.Context, id, layout string, takes []labels.Label) (labels.Stock, error) {
	stocks := labels.StocksIn(a.DB.Dir())
	if id != "" {
		return stocks.Find(id)
	}
	k, err := a.DB.Kitchen(ctx)
	if err != nil {
		return labels.Stock{}, err
	}
	last, err := a.DB.LastStock(ctx, layout)
	if err != nil {
		return labels.Stock{}, err
	}
	u, err := labels.FirstFor(takes, stocks.Usual(k, layout, last))
	return u.Stock, err
}

// sheet is the place on a paper, corrected for a printer.
func (a *API) sheet(ctx context.Context, p Print, on labels.Stock) (labels.Sheet, error) {
	s := labels.Sheet{Stock: on, First: p.First, Copies: p.Copies, DPI: p.DPI, Outlines: p.Outlines}
	if p.Printer == "" {
		return s, nil
	}
	printer, known, err := a.DB.Printer(ctx, p.Printer)
	if err == nil && !known {
		err = larder.Refuse("printer", "No printer "+p.Printer+" was aligned here.")
	}
	s.OffsetXMM, s.OffsetYMM, s.Scale = printer.OffsetXMM, printer.OffsetYMM, printer.Scale
	if s.DPI == 0 {
		s.DPI = printer.DPI
	}
	return s, err
}

// NewLabels names what to print: jars, or a lot's bottles, or spare tags.
type NewLabels struct {
	Print
	Jars []string `json:"jars,omitempty" maxItems:"500" example:"[\"3CFX72\"]" doc:"Tags of jars."`
	Lot  string   `json:"lot,omitempty" example:"L261125A" doc:"The mark of a lot: a label for each of its bottles."`
	Wording
	Spares []string `json:"spares,omitempty" maxItems:"500" example:"[\"3CFX72\"]" doc:"Tags that no jar wears yet."`
}

// Wording says by whose rules a bottle's label is written, and what its code
// holds.
type Wording struct {
	Rules string `json:"rules,omitempty" query:"rules" enum:"us,eu,plain" doc:"The published rules for sale that a bottle's label follows in words and letter heights. Empty: plain, for small papers."`
	Code  string `json:"code,omitempty" query:"code" enum:"link,facts" doc:"What a bottle's code holds: a link to its page, or the facts themselves, which any phone shows without a network. Empty: a link when a public address is set, else facts."`
	Sale  bool   `json:"sale,omitempty" query:"sale" doc:"For sale: leaves out what a gift says of home-made food, for local wording."`
}

// LabelDraft is a bottle's label as it will be printed, and what to know of it.
type LabelDraft struct {
	Name         string            `json:"name"`
	Food         string            `json:"food"`
	Texts        []string          `json:"texts"`
	CodeKind     string            `json:"code_kind"`
	CodeText     string            `json:"code_text"`
	CodeWhy      string            `json:"code_why,omitempty"`
	Missing      []labels.Point    `json:"missing"`
	Check        []labels.Point    `json:"check"`
	Notes        []string          `json:"notes"`
	Rules        []labels.RuleLine `json:"rule_lines"`
	FitsOn       []string          `json:"fits_on"`
	DoesNotFitOn []string          `json:"does_not_fit_on"`
}

type pdf struct {
	ContentType string `header:"Content-Type" hidden:"true"`
	Disposition string `header:"Content-Disposition" doc:"A name for the file."`
	Body        []byte
}

func pdfAnswer(op huma.Operation) huma.Operation {
	op.DefaultStatus = http.StatusOK
	op.Responses = map[string]*huma.Response{"200": {
		Description: "The labels as a PDF, to be printed at 100 %, not fitted to the page.",
		Content:     map[string]*huma.MediaType{"application/pdf": {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}},
	}}
	return op
}

func (a *API) registerLabels(h huma.API) {
	huma.Register(h, get("/stocks", "list-stocks", "labels", "The label papers that can be printed on", ""), a.stocks)
	huma.Register(h, pdfAnswer(get("/jars/{tag}/label.pdf", "print-jar-label", "labels", "A jar's label", "", http.StatusNotFound)), a.jarLabel)
	huma.Register(h, pdfAnswer(route(http.MethodPost, "/labels", "print-labels", "labels", "Labels for jars, for a lot's bottles or for spare tags",
		"That they were made is remembered, and nothing else changes, so it needs no key.", http.StatusOK,
		http.StatusBadRequest, http.StatusNotFound, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType)), a.labels)
}

func (a *API) stocks(context.Context, *struct{}) (*answer[Stocks], error) {
	out := &answer[Stocks]{}
	for _, s := range labels.StocksIn(a.DB.Dir()).Stocks {
		out.Body.Stocks = append(out.Body.Stocks, Stock{s.ID, s.Name, s.Cols, s.Rows, s.LabelWMM, s.LabelHMM, s.PageWMM, s.PageHMM, s.DPI, s.Roll})
	}
	return out, nil
}

// labelAddress is what codes name: this station, or the one that the kitchen
// remembers.
func (a *API) labelAddress(ctx context.Context) (string, error) {
	if a.Address != "" {
		return a.Address, nil
	}
	k, err := a.DB.Kitchen(ctx)
	return k.Address, err
}

func (a *API) jarLabel(ctx context.Context, in *struct {
	JarPath
	Print
}) (*pdf, error) {
	return a.print(ctx, NewLabels{Print: in.Print, Jars: []string{in.Tag}}, func(int) string { return "tag" })
}

func (a *API) labels(ctx context.Context, in *struct{ Body NewLabels }) (*pdf, error) {
	return a.print(ctx, in.Body, func(i int) string { return fmt.Sprintf("jars[%d]", i) })
}

func (a *API) print(ctx context.Context, n NewLabels, field func(int) string) (*pdf, error) {
	all, name, err := a.wanted(ctx, n, field)
	if err != nil {
		return nil, err
	}
	if len(all) == 0 {
		return nil, larder.Refuse("", "There is nothing to print.")
	}
	list, bottles := make([]labels.Label, len(all)), make([]larder.Bottle, 0, len(all))
	for i, l := range all {
		list[i] = l.label
		if l.bottle.Tag != "" {
			bottles = append(bottles, l.bottle)
		}
	}
	stock, err := a.paper(ctx, n.Stock, all[0].layout, labels.OnePerSize(bottles, list))
	if err != nil {
		return nil, err
	}
	sheet, err := a.sheet(ctx, n.Print, stock)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	if _, err := labels.Print(ctx, &out, sheet, list, nil); err != nil {
		return nil, err
	}
	if err := a.remember(ctx, sheet.Stock, all); err != nil {
		return nil, err
	}
	return &pdf{"application/pdf", fmt.Sprintf(`inline; filename="%s.pdf"`, name), out.Bytes()}, nil
}

// printed is a label with what is remembered of it.
type printed struct {
	label  labels.Label
	tag    larder.Tag
	layout string
	bottle larder.Bottle // zero for a jar's
}

func (a *API) remember(ctx context.Context, stock labels.Stock, all []printed) error {
	address, err := a.labelAddress(ctx)
	if err != nil {
		return err
	}
	records := make([]larder.Print, len(all))
	for i, l := range all {
		records[i] = larder.Print{Tag: l.tag, Address: address, Stock: stock.ID, Layout: l.layout}
	}
	return a.DB.RecordPrints(ctx, "", records)
}

// wanted makes the labels and a name for their file.
func (a *API) wanted(ctx context.Context, n NewLabels, field func(int) string) ([]printed, string, error) {
	kinds := 0
	for _, some := range []bool{len(n.Jars) > 0, n.Lot != "", len(n.Spares) > 0} {
		if some {
			kinds++
		}
	}
	if kinds != 1 {
		return nil, "", larder.Refuse("", "Say what to print: jars, or a lot, or spares, and only one of them.")
	}
	k, err := a.DB.Kitchen(ctx)
	if err != nil {
		return nil, "", err
	}
	address, err := a.labelAddress(ctx)
	if err != nil {
		return nil, "", err
	}
	switch {
	case n.Lot != "":
		all, err := a.bottleLabels(ctx, n, k, address)
		return all, "bottles-" + n.Lot, err
	case len(n.Spares) > 0:
		all, err := a.spareLabels(ctx, n.Spares, address)
		return all, "spare-tags", err
	}
	all, err := a.jarLabels(ctx, n.Jars, k, address, n.Layout, field)
	name := "jars"
	if len(n.Jars) == 1 && err == nil {
		name = "jar-" + string(all[0].tag)
	}
	return all, name, err
}

func (a *API) jarLabels(ctx context.Context, texts []string, k larder.Kitchen, address string, layout string, field func(int) string) ([]printed, error) {
	if field(0) == "tag" { // the path's own tag: a mistyped one is not bad input but a wrong address
		if _, _, err := larder.ParseTag(texts[0]); err != nil {
			return nil, err
		}
	}
	var p larder.Problems
	tags := parseTags(&p, texts, field)
	if len(p) > 0 {
		return nil, p
	}
	var out []printed
	for _, tag := range tags {
		jar, err := a.DB.Jar(ctx, tag)
		if err != nil {
			return nil, err
		}
		batch, err := a.DB.Batch(ctx, jar.BatchID)
		if err != nil {
			return nil, err
		}
		l := labels.ForJar(jar, batch, address, k.Location())
		if layout == "lid" {
			out = append(out, printed{label: labels.LidLabel{JarLabel: l}, tag: tag, layout: layout})
		} else {
			out = append(out, printed{label: l, tag: tag, layout: "jar"})
		}
	}
	return out, nil
}

func (a *API) bottleLabels(ctx context.Context, n NewLabels, k larder.Kitchen, address string) ([]printed, error) {
	drafts, l, err := a.drafts(ctx, n.Lot, n.Wording, k, address)
	if err != nil {
		return nil, err
	}
	layout := n.Layout
	if layout != "neck" {
		layout = "bottle"
	}
	var out []printed
	for i, b := range l.Bottles {
		out = append(out, printed{drafts[i].Print(layout), b.Tag, layout, b})
	}
	return out, nil
}

// drafts are the labels of a lot's bottles.
func (a *API) drafts(ctx context.Context, id string, w Wording, k larder.Kitchen, address string) ([]labels.Draft, store.BottledLot, error) {
	l, err := a.DB.Lot(ctx, id)
	if err != nil {
		return nil, l, err
	}
	want, err := labels.ParseWanted(w.Rules, w.Code, w.Sale)
	if err != nil {
		return nil, l, err
	}
	trace, err := a.DB.TraceUpTo(ctx, larder.Subject{Kind: larder.SubjectLot, ID: id}, 0)
	if err != nil {
		return nil, l, err
	}
	record := labels.Filled{Lot: l.Lot, Bottles: len(l.Bottles), Trace: trace, Kitchen: k, Address: address, Now: now().In(k.Location())}
	var out []labels.Draft
	for _, b := range l.Bottles {
		record.Bottle = b
		d, err := labels.DraftBottle(record, want)
		if err != nil {
			return nil, l, err
		}
		out = append(out, d)
	}
	return out, l, nil
}

func (a *API) draftLabel(ctx context.Context, in *struct {
	ID     string `path:"id" example:"L261125A" doc:"The lot's mark."`
	Layout string `query:"layout" enum:"bottle,neck" doc:"bottle or neck. Empty: bottle."`
	Wording
}) (*answer[LabelDraft], error) {
	k, err := a.DB.Kitchen(ctx)
	if err != nil {
		return nil, err
	}
	address, err := a.labelAddress(ctx)
	if err != nil {
		return nil, err
	}
	drafts, _, err := a.drafts(ctx, in.ID, in.Wording, k, address)
	if err != nil {
		return nil, err
	}
	d := drafts[0]
	out := LabelDraft{Name: d.Label.Name, Food: d.Food.Text, CodeKind: string(d.Code), CodeText: d.Label.URL, CodeWhy: d.CodeWhy, Texts: d.Texts(),
		Missing: list(d.Missing), Check: list(d.Check), Notes: list(d.Notes), Rules: list(d.Rules.Lines), FitsOn: []string{}, DoesNotFitOn: []string{}}
	if in.Rules == "" || in.Rules == "plain" {
		out.Rules = []labels.RuleLine{}
	}
	label := d.Print(in.Layout)
	fit, rest, err := labels.Fit([]labels.Label{label}, labels.StocksIn(a.DB.Dir()).Stocks)
	for _, s := range fit {
		out.FitsOn = append(out.FitsOn, s.ID)
	}
	for _, s := range rest {
		out.DoesNotFitOn = append(out.DoesNotFitOn, s.ID)
	}
	return &answer[LabelDraft]{out}, err
}

func (a *API) spareLabels(ctx context.Context, texts []string, address string) ([]printed, error) {
	var p larder.Problems
	field := func(i int) string { return fmt.Sprintf("spares[%d]", i) }
	var out []printed
	for i, tag := range parseTags(&p, texts, field) {
		kind, err := a.DB.TagKind(ctx, tag)
		if err != nil {
			return nil, err
		}
		if tag != "" && kind != "spare" {
			p.Add(field(i), "The tag "+tag.Spaced()+" is not a spare one of this kitchen.")
		}
		out = append(out, printed{label: labels.ForSpare(tag, address), tag: tag, layout: "spare"})
	}
	return out, p.Err()
}
