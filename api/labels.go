package api

import (
	"bytes"
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/larder"
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
	Stock    string `json:"stock,omitempty" query:"stock" example:"letter-3x10" doc:"The id of a stock. Empty: the first of the list."`
	First    int    `json:"first,omitempty" query:"first" example:"1" doc:"The place on the first page to begin with, counted from 1 along the rows, for a part-used sheet."`
	Copies   int    `json:"copies,omitempty" query:"copies" example:"1" doc:"How many of each label."`
	DPI      int    `json:"dpi,omitempty" query:"dpi" example:"300" doc:"The printer's dots per inch, so that the code's modules are whole dots. Empty: what the stock's printers usually have."`
	Outlines bool   `json:"outlines,omitempty" query:"outlines" doc:"Draw the die cuts, for plain paper and scissors."`
}

func (p Print) sheet() (labels.Sheet, error) {
	s := labels.Sheet{First: p.First, Copies: p.Copies, DPI: p.DPI, Outlines: p.Outlines}
	if p.Stock == "" {
		return s, nil
	}
	var err error
	s.Stock, err = labels.StockByID(p.Stock)
	return s, err
}

// NewLabels names what to print: jars, or a lot's bottles, or spare tags.
type NewLabels struct {
	Print
	Jars   []string `json:"jars,omitempty" example:"[\"3CFX72\"]" doc:"Tags of jars."`
	Lot    string   `json:"lot,omitempty" example:"L261125A" doc:"The mark of a lot: a label for each of its bottles."`
	Spares []string `json:"spares,omitempty" example:"[\"3CFX72\"]" doc:"Tags that no jar wears yet."`
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
		"Prints and records nothing, so it needs no key.", http.StatusOK,
		http.StatusBadRequest, http.StatusNotFound, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType)), a.labels)
}

func (a *API) stocks(context.Context, *struct{}) (*answer[Stocks], error) {
	out := &answer[Stocks]{}
	for _, s := range labels.Stocks() {
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
	sheet, err := n.sheet()
	if err != nil {
		return nil, err
	}
	all, name, err := a.wanted(ctx, n, field)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	if err := labels.Write(&out, sheet, all); err != nil {
		return nil, err
	}
	return &pdf{"application/pdf", fmt.Sprintf(`inline; filename="%s.pdf"`, name), out.Bytes()}, nil
}

// wanted makes the labels and a name for their file.
func (a *API) wanted(ctx context.Context, n NewLabels, field func(int) string) ([]labels.Label, string, error) {
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
		all, err := a.bottleLabels(ctx, n.Lot, k, address)
		return all, "bottles-" + n.Lot, err
	case len(n.Spares) > 0:
		all, err := a.spareLabels(ctx, n.Spares, address)
		return all, "spare-tags", err
	}
	all, err := a.jarLabels(ctx, n.Jars, k, address, field)
	name := "jars"
	if len(n.Jars) == 1 && err == nil {
		name = "jar-" + all[0].(labels.JarLabel).Tag
	}
	return all, name, err
}

func (a *API) jarLabels(ctx context.Context, texts []string, k larder.Kitchen, address string, field func(int) string) ([]labels.Label, error) {
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
	var out []labels.Label
	for _, tag := range tags {
		jar, err := a.DB.Jar(ctx, tag)
		if err != nil {
			return nil, err
		}
		batch, err := a.DB.Batch(ctx, jar.BatchID)
		if err != nil {
			return nil, err
		}
		out = append(out, labels.ForJar(jar, batch, address, k.Location()))
	}
	return out, nil
}

func (a *API) bottleLabels(ctx context.Context, id string, k larder.Kitchen, address string) ([]labels.Label, error) {
	l, err := a.DB.Lot(ctx, id)
	if err != nil {
		return nil, err
	}
	if l.Lot.Void {
		return nil, larder.Refuse("lot", "The bottling of lot "+id+" was struck; there are no bottles to label.")
	}
	var out []labels.Label
	for _, b := range l.Bottles {
		out = append(out, labels.ForBottle(b, l.Lot, len(l.Bottles), k, address))
	}
	return out, nil
}

func (a *API) spareLabels(ctx context.Context, texts []string, address string) ([]labels.Label, error) {
	var p larder.Problems
	field := func(i int) string { return fmt.Sprintf("spares[%d]", i) }
	var out []labels.Label
	for i, tag := range parseTags(&p, texts, field) {
		kind, err := a.DB.TagKind(ctx, tag)
		if err != nil {
			return nil, err
		}
		if tag != "" && kind != "spare" {
			p.Add(field(i), "The tag "+tag.Spaced()+" is not a spare one of this kitchen.")
		}
		out = append(out, labels.ForSpare(tag, address))
	}
	return out, p.Err()
}
