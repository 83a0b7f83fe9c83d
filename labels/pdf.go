package labels

import (
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"sync"
	"time"

	"github.com/jung-kurt/gofpdf"
)

// Sheet says on what, from where and how often labels are printed. The zero
// value starts at the first place of the default stock.
type Sheet struct {
	Stock     Stock     // zero: DefaultStock
	First     int       // place of the first page to begin with, counted from 1 along the rows; 0 is 1
	Copies    int       // of each label; 0 is 1
	DPI       int       // the printer's dots per inch; 0: the stock's usual
	Outlines  bool      // draw the die cuts, for plain paper and scissors
	OffsetXMM float64   // moves everything to the right, to make up for this printer
	OffsetYMM float64   // moves everything down
	Scale     float64   // stretches the distances between labels; 0 is 1
	Title     string    // printed at the top of each page that has room for it; see ShelfStock
	Date      time.Time // of the PDF; zero: now
	Font      []byte    // a TrueType font for characters that the built-in ones lack
}

const (
	maxOffsetMM = 15.0
	maxStretch  = 0.05
	maxCopies   = 1000
)

// ready fills in what was left zero and checks the rest.
func (s Sheet) ready() (Sheet, error) {
	if s.Stock.ID == "" && s.Stock.Cols == 0 {
		s.Stock = DefaultStock()
	}
	if err := s.Stock.Check(); err != nil {
		return s, err
	}
	if s.First == 0 {
		s.First = 1
	}
	if s.Copies == 0 {
		s.Copies = 1
	}
	if s.DPI == 0 {
		s.DPI = s.Stock.DPI
	}
	if s.Scale == 0 {
		s.Scale = 1
	}
	if s.Date.IsZero() {
		s.Date = time.Now()
	}
	offset := math.Max(math.Abs(s.OffsetXMM), math.Abs(s.OffsetYMM))
	switch n := s.Stock.Places(); {
	case s.First < 1 || s.First > n:
		return s, refuse("first", "Stock %s has places 1 to %d on a page; there is no place %d to begin with.", s.Stock.ID, n, s.First)
	case s.Copies < 1 || s.Copies > maxCopies:
		return s, refuse("copies", "Print 1 to %d copies of a label, not %d.", maxCopies, s.Copies)
	case !knownDPI(s.DPI):
		return s, refuse("dpi", "The printer's resolution is 203, 300, 360, 600, 720 or 1200 dots per inch, not %d.", s.DPI)
	case !(offset <= maxOffsetMM):
		return s, refuse("offset", "A printer's offset is at most %g mm either way.", maxOffsetMM)
	case !(math.Abs(s.Scale-1) <= maxStretch):
		return s, refuse("scale", "A printer's scale is between %.2f and %.2f, not %g.", 1-maxStretch, 1+maxStretch, s.Scale)
	}
	return s, nil
}

// batchSize is how many labels are laid out before they are drawn, so that
// memory stays bounded however many there are.
const batchSize = 250

// Draw lays one label out without printing it.
func Draw(sheet Sheet, l Label) (Drawing, error) {
	sheet, err := sheet.ready()
	if err != nil {
		return Drawing{}, err
	}
	fonts, err := fontsFor(sheet.Font)
	if err != nil {
		return Drawing{}, err
	}
	all, err := layOutAll(sheet, fonts, nil, []Label{l}, 0, 1)
	if err != nil {
		return Drawing{}, err
	}
	return all[0], nil
}

// layOutAll lays out the labels from one index up to another on all cores;
// choosing a code's mask is most of the work. The first label in order that
// cannot be printed gives the error.
func layOutAll(sheet Sheet, fonts fontSet, codes *coder, labels []Label, from, to int) ([]Drawing, error) {
	n := to - from
	drawings, errs := make([]Drawing, n), make([]error, n)
	var wg sync.WaitGroup
	workers := min(runtime.GOMAXPROCS(0), n)
	for k := range workers {
		wg.Go(func() {
			for i := k; i < n; i += workers {
				drawings[i], errs[i] = layOutOne(sheet, labels[from+i], codes, fonts)
			}
		})
	}
	wg.Wait()
	if err := firstError(sheet, labels, from, errs, fonts); err != nil {
		return nil, err
	}
	return drawings, nil
}

func layOutOne(sheet Sheet, l Label, codes *coder, fonts fontSet) (Drawing, error) {
	if l == nil {
		return Drawing{}, refuse("labels", "A label is missing.")
	}
	text, level := l.codeText()
	c, err := codes.code(text, level)
	if err != nil {
		return Drawing{}, err
	}
	d, err := layOut(l, c, sheet.Stock, sheet.DPI, fonts)
	for i := range d.Items {
		if d.Items[i].Kind == CodeItem {
			d.Items[i].path = c.path() // here, where all cores work
		}
	}
	return d, err
}

// firstError adds to the first label's error the stocks that would do.
func firstError(sheet Sheet, labels []Label, from int, errs []error, fonts fontSet) error {
	for k, err := range errs {
		i := from + k
		if err == nil {
			continue
		}
		var room *RoomError
		if errors.As(err, &room) {
			text, level := labels[i].codeText()
			if c, err := NewCode(text, level); err == nil {
				room.Fits = fitsOn(labels[i], c, sheet.Stock, fonts)
			}
		}
		if len(labels) > 1 {
			return &LabelError{Index: i, Of: len(labels), Err: err}
		}
		return err
	}
	return nil
}

// printer puts drawings on PDF pages.
type printer struct {
	sheet Sheet
	pdf   *gofpdf.Fpdf
	hPt   float64 // the page's height as the PDF states it
	title []Item
	page  int
	added map[*face]bool
	face  *face
	pt    float64
	codes []byte // of this page; written at its end, in one piece, so that its buffer need not grow by doubling
}

func newPrinter(sheet Sheet) *printer {
	size := gofpdf.SizeType{Wd: sheet.Stock.PageWMM, Ht: sheet.Stock.PageHMM}
	pdf := gofpdf.NewCustom(&gofpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: size})
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(sheet.Date)
	pdf.SetModificationDate(sheet.Date)
	pdf.SetProducer("Cruet", true)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	return &printer{sheet: sheet, pdf: pdf, hPt: math.Round(size.Ht*ptPerMM*100) / 100, added: map[*face]bool{}}
}

// label draws on the place counted from 0 at the first page's first.
func (p *printer) label(place int, d Drawing) {
	s := p.sheet
	if page := place/s.Stock.Places() + 1; page > p.page {
		p.addPage(d.LenMM)
		p.page, p.face = page, nil
		for _, it := range p.title {
			p.text(it, it.XMM, it.YMM+it.HMM)
		}
	}
	x, y := s.Stock.Place(place % s.Stock.Places())
	x, y = x*s.Scale+s.OffsetXMM, y*s.Scale+s.OffsetYMM
	if s.Outlines {
		p.outline(x, y, d.LenMM)
	}
	for _, it := range d.Items {
		switch it.Kind {
		case CodeItem:
			p.code(x+it.XMM, y+it.YMM, it)
		case RuleItem:
			p.pdf.Rect(x+it.XMM, y+it.YMM, it.WMM, it.HMM, "F")
		case MarkItem:
			p.pdf.Rect(x+it.XMM, y+it.YMM, it.WMM, it.HMM, "F")
			p.pdf.SetTextColor(255, 255, 255)
			capMM := it.face.capEm * mm(it.SizePt)
			p.text(it, x+it.XMM+(it.WMM-it.face.widthEm(it.Text)*mm(it.SizePt))/2, y+it.YMM+(it.HMM+capMM)/2)
			p.pdf.SetTextColor(0, 0, 0)
		case TextItem:
			p.text(it, x+it.XMM, y+it.YMM+it.HMM)
		}
	}
}

// layOutTitle sets a page's title above its labels.
func layOutTitle(sheet Sheet, fonts fontSet) ([]Item, error) {
	const least, pt = 18.0, 18.0
	s := sheet.Stock
	if strings.TrimSpace(sheet.Title) == "" || s.TopMM < least {
		return nil, nil
	}
	b := &board{fonts: fonts}
	f, text, err := b.face("title", sheet.Title, true)
	if err != nil {
		return nil, err
	}
	k := fit(f, text, fitting{wMM: s.PageWMM - 2*s.LeftMM, hMM: mm(pt), maxPt: pt, minPt: 8, lines: 1, lead: 1})
	b.block(k, s.LeftMM+1, s.TopMM-4-blockMM(k, 1), s.PageWMM, 1, 0)
	return b.Items, nil
}

// addPage begins a page, of lenMM where a roll is cut to length.
func (p *printer) addPage(lenMM float64) {
	p.flush()
	if lenMM == 0 {
		p.pdf.AddPage()
		return
	}
	p.pdf.AddPageFormat("P", gofpdf.SizeType{Wd: p.sheet.Stock.PageWMM, Ht: lenMM})
	p.hPt = math.Round(lenMM*ptPerMM*100) / 100
}

func (p *printer) text(it Item, x, baseline float64) {
	if !p.added[it.face] {
		p.added[it.face] = true
		it.face.addTo(p.pdf)
	}
	if p.face != it.face || p.pt != it.SizePt {
		p.face, p.pt = it.face, it.SizePt
		p.pdf.SetFont(it.face.family, it.face.style, it.SizePt)
	}
	p.pdf.Text(x, baseline, it.Text)
}

// code fills all black modules as one path, so that no renderer shows seams
// between them, on a grid of whole printer dots counted from the page's top
// left corner.
func (p *printer) code(x, y float64, it Item) {
	left, top := float64(snap(x, p.sheet.DPI)), float64(snap(y, p.sheet.DPI))
	quiet := float64(QuietModules * it.Dots)
	dotPt := 72 / float64(p.sheet.DPI)
	module := float64(it.Dots) * dotPt
	// Seven decimals: rasterisers that paint every dot a shape touches round
	// to 1/256 of a dot or so, and must not find an edge beyond its dot.
	p.codes = fmt.Appendf(p.codes, "q 0 g %.7f 0 0 %.7f %.7f %.7f cm\n", module, -module, (left+quiet)*dotPt, p.hPt-(top+quiet)*dotPt)
	path := it.path
	if path == nil {
		path = it.Code.path()
	}
	p.codes = append(append(p.codes, path...), "f Q\n"...)
}

// flush writes the page's codes.
func (p *printer) flush() {
	if len(p.codes) > 0 {
		p.pdf.RawWriteStr(string(p.codes))
		p.codes = p.codes[:0]
	}
}

func (p *printer) outline(x, y, lenMM float64) {
	s := p.sheet.Stock
	if lenMM > 0 {
		s.LabelHMM = lenMM
	}
	p.pdf.SetLineWidth(0.1)
	p.pdf.SetDrawColor(150, 150, 150)
	if s.Disc() {
		p.pdf.Circle(x+s.LabelWMM/2, y+s.LabelHMM/2, s.LabelWMM/2, "D")
		return
	}
	p.pdf.RoundedRect(x, y, s.LabelWMM, s.LabelHMM, s.CornerMM, "1234", "D")
}

// finish writes the PDF out.
func (p *printer) finish(w io.Writer) error {
	p.flush()
	if p.pdf.Err() && len(p.sheet.Font) > 0 {
		return refuse("font", "The font file cannot be embedded (%v). Choose another file.", p.pdf.Error())
	}
	return p.pdf.Output(w)
}

// snap gives the first whole dot of a code's box that begins x mm from the
// page's edge; the box has one dot to spare.
func snap(xMM float64, dpi int) int { return int(math.Round(xMM/DotMM(dpi) + 0.5)) }
