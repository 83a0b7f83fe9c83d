package labels

import (
	"fmt"
	"io"
	"math"
	"strings"
	"sync"
	"time"

	"github.com/go-fonts/liberation/liberationserifbold"
	"github.com/go-fonts/liberation/liberationserifitalic"
	"github.com/go-fonts/liberation/liberationserifregular"
	"github.com/jung-kurt/gofpdf"
)

// Page is a size of paper for documents.
type Page struct {
	ID       string
	WMM, HMM float64
}

// The sizes of paper for documents.
var (
	A4     = Page{"a4", 210, 297}
	Letter = Page{"letter", 215.9, 279.4}
)

// PageByID reads a size of paper; empty text is A4.
func PageByID(id string) (Page, error) {
	switch strings.ToLower(strings.TrimSpace(id)) {
	case "", A4.ID:
		return A4, nil
	case Letter.ID:
		return Letter, nil
	}
	return Page{}, refuse("page", "There is no paper %q for documents. Choose a4 or letter.", id)
}

// look is a way to set text.
type look struct {
	faces []*face // the first that has the whole text is taken
	pt    float64
	lead  float64 // line to line, in parts of the type size
	grey  int     // 0 is black
}

func (l look) ink(grey int) look { l.grey = grey; return l }

// The fonts of documents: a serif for what is read, the labels' sans serif for
// figures and small print.
var documentFaces = sync.OnceValue(func() map[string][]*face {
	must := func(family, style string, ttf []byte) *face {
		f, err := newFace(family, style, ttf)
		if err != nil {
			panic("labels: an embedded font is broken: " + err.Error())
		}
		return f
	}
	sans, wide := builtin()[0], builtin()[1]
	return map[string][]*face{
		"serif":  {must("serif", "", liberationserifregular.TTF), wide.regular},
		"italic": {must("serif", "I", liberationserifitalic.TTF), wide.regular},
		"heavy":  {must("serif", "B", liberationserifbold.TTF), wide.bold},
		"sans":   {sans.regular, wide.regular},
		"bold":   {sans.bold, wide.bold},
	}
})

func style(name string, pt float64) look {
	return look{faces: documentFaces()[name], pt: pt, lead: 1.28}
}

const unsettable = '?'

// settable is a text with what no font has, or cannot be set, replaced, and the
// font to set it in. A record is printed whatever was typed into it.
func (p *paper) settable(l look, text string) (*face, string) {
	text = legible(text, &p.replaced)
	for _, f := range l.faces {
		if len(f.missing(text)) == 0 {
			return f, text
		}
	}
	f := l.faces[len(l.faces)-1]
	var b strings.Builder
	for _, r := range text {
		if f.advance(r) < 0 {
			r, p.replaced = unsettable, true
		}
		b.WriteRune(r)
	}
	return f, b.String()
}

// legible keeps line breaks out and replaces what labels refuse.
func legible(text string, replaced *bool) string {
	text = strings.ToValidUTF8(text, string(unsettable))
	if whole, err := clean("", text); err == nil {
		return whole
	}
	var b strings.Builder
	for _, r := range text {
		if _, err := clean("", string(r)); err != nil {
			r, *replaced = unsettable, true
		}
		b.WriteRune(r)
	}
	whole, err := clean("", b.String())
	if err != nil { // only what a composition makes, which is nothing known
		*replaced = true
		return string(unsettable)
	}
	return whole
}

// paper is a document being laid out: what is on each page, drawn at the end,
// when the number of pages is known.
type paper struct {
	page     Page
	title    string
	date     time.Time
	sides    [2]float64 // margins left and right
	top, end float64    // where text begins and ends, in mm from the top
	y        float64    // where it goes on
	sheets   [][]func(*press)
	onPage   func() // after a page was begun, for heads that repeat
	foot     func(n, of int) string
	replaced bool // something could not be set
}

const (
	paperSideMM   = 20.0
	paperTopMM    = 18.0
	paperBottomMM = 20.0
)

func newPaper(page Page, title string, date time.Time) *paper {
	p := &paper{page: page, title: title, date: date, sides: [2]float64{paperSideMM, paperSideMM}, top: paperTopMM, end: page.HMM - paperBottomMM}
	p.turn()
	return p
}

// turn begins a page.
func (p *paper) turn() {
	p.sheets = append(p.sheets, nil)
	p.y = p.top
	if p.onPage != nil {
		p.onPage()
	}
}

// need begins a page unless there is that much left of this one.
func (p *paper) need(hMM float64) {
	if p.y+hMM > p.end && p.y > p.top+1e-9 {
		p.turn()
	}
}

func (p *paper) left() float64  { return p.sides[0] }
func (p *paper) width() float64 { return p.page.WMM - p.sides[0] - p.sides[1] }

func (p *paper) draw(do func(*press)) {
	last := len(p.sheets) - 1
	p.sheets[last] = append(p.sheets[last], do)
}

// put sets one line with its baseline at y; align is 0, 0.5 or 1 in the width w.
func (p *paper) put(l look, text string, x, y, w, align float64) {
	f, s := p.settable(l, text)
	p.putFace(f, l, s, x+align*(w-f.widthEm(s)*mm(l.pt)), y)
}

func (p *paper) putFace(f *face, l look, s string, x, y float64) {
	p.draw(func(r *press) { r.text(f, l, s, x, y) })
}

// broken is a text in lines, with the font they are set in.
type broken struct {
	face  *face
	lines []string
}

const maxLines = 1 << 20

// lines breaks a text to a width; its own line breaks stay.
func (p *paper) lines(l look, text string, wMM float64) broken {
	f, _ := p.settable(l, strings.ReplaceAll(text, "\n", " "))
	out := broken{face: f}
	for _, part := range strings.Split(text, "\n") {
		_, s := p.settable(look{faces: []*face{f}, pt: l.pt}, part)
		some, _ := wrap(f, pieces(f, s), wMM/mm(l.pt), true, maxLines)
		out.lines = append(out.lines, some...)
	}
	return out
}

// say sets a paragraph at y and moves on below it.
func (p *paper) say(l look, text string) { p.sayIn(l, text, p.left(), p.width(), 0) }

func (p *paper) sayIn(l look, text string, x, w, align float64) {
	b := p.lines(l, text, w)
	for _, line := range b.lines {
		p.need(mm(l.pt) * l.lead)
		p.y += mm(l.pt) * l.lead
		p.putFace(b.face, l, line, x+align*(w-b.face.widthEm(line)*mm(l.pt)), p.y-mm(l.pt)*0.28)
	}
}

func (p *paper) space(hMM float64) { p.y += hMM }

// line draws a rule of a thickness across x to x+w at y.
func (p *paper) line(x, y, w, thick float64, grey int) {
	p.draw(func(r *press) {
		r.pdf.SetFillColor(grey, grey, grey)
		r.pdf.Rect(x, y, w, thick, "F")
	})
}

// cell is one cell of a table's row.
type cell struct {
	look
	text string
	x, w float64
}

// row sets cells side by side; long ones go on over the page's end. struck
// draws a line through all of it.
func (p *paper) row(cells []cell, struck bool) {
	var all []broken
	most, lead := 0, 0.0
	for _, c := range cells {
		b := p.lines(c.look, c.text, c.w)
		all = append(all, b)
		most, lead = max(most, len(b.lines)), max(lead, mm(c.pt)*c.lead)
	}
	p.need(lead * float64(min(most, 3)))
	for i := range most {
		p.need(lead)
		p.y += lead
		for k, c := range cells {
			if i >= len(all[k].lines) {
				continue
			}
			f, line := all[k].face, all[k].lines[i]
			base := p.y - 0.28*mm(c.pt)
			p.putFace(f, c.look, line, c.x, base)
			if struck {
				p.line(c.x, base-0.3*mm(c.pt), f.widthEm(line)*mm(c.pt), 0.2, c.grey)
			}
		}
	}
}

// press puts a document's pages into a PDF.
type press struct {
	pdf   *gofpdf.Fpdf
	added map[*face]bool
	hPt   float64
}

func (r *press) text(f *face, l look, s string, x, baseline float64) {
	if s == "" {
		return
	}
	if !r.added[f] {
		r.added[f] = true
		f.addTo(r.pdf)
	}
	r.pdf.SetFont(f.family, f.style, l.pt)
	r.pdf.SetTextColor(l.grey, l.grey, l.grey)
	r.pdf.Text(x, baseline, strings.ReplaceAll(s, unbroken, " "))
}

// code draws a QR code of a width, without its quiet zone.
func (r *press) code(c Code, x, y, wMM float64) {
	module := wMM * ptPerMM / float64(c.Size())
	raw := fmt.Appendf(nil, "q 0 g %.5f 0 0 %.5f %.5f %.5f cm\n", module, -module, x*ptPerMM, r.hPt-y*ptPerMM)
	raw = append(append(raw, c.path()...), "f Q"...)
	r.pdf.RawWriteBuf(strings.NewReader(string(raw)))
}

// write makes the PDF. The same document gives the same bytes.
func (p *paper) write(w io.Writer) error {
	pdf := gofpdf.NewCustom(&gofpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: gofpdf.SizeType{Wd: p.page.WMM, Ht: p.page.HMM}})
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(p.date)
	pdf.SetModificationDate(p.date)
	pdf.SetProducer("Cruet", true)
	pdf.SetTitle(p.title, true)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	r := &press{pdf: pdf, added: map[*face]bool{}, hPt: math.Round(p.page.HMM*ptPerMM*100) / 100}
	small := style("sans", 7.5).ink(90)
	for i, sheet := range p.sheets {
		pdf.AddPage()
		for _, do := range sheet {
			do(r)
		}
		if p.foot == nil {
			continue
		}
		f, s := p.settable(small, p.foot(i+1, len(p.sheets)))
		r.text(f, small, s, p.left(), p.page.HMM-paperBottomMM+9)
		n := fmt.Sprintf("page %d of %d", i+1, len(p.sheets))
		r.text(small.faces[0], small, n, p.page.WMM-p.sides[1]-small.faces[0].widthEm(n)*mm(small.pt), p.page.HMM-paperBottomMM+9)
	}
	return pdf.Output(w)
}
