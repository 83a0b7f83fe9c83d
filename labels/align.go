package labels

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// Where the proof page draws its lines, in mm from the paper's top left corner.
const (
	proofNearMM = 20.0
	proofLongMM = 150.0
)

// WriteProof prints a page by which a maker finds out how far off a printer
// is: two crossing lines 20 mm from the paper's edges, 150 mm long, with a
// millimetre scale. What a ruler reads there goes into Align.
func WriteProof(w io.Writer, sheet Sheet) error {
	sheet.OffsetXMM, sheet.OffsetYMM, sheet.Scale = 0, 0, 0
	sheet, err := sheet.ready()
	if err != nil {
		return err
	}
	if s := sheet.Stock; s.Roll || s.PageWMM < proofNearMM+proofLongMM+pageMarginMM || s.PageHMM < proofNearMM+proofLongMM+pageMarginMM {
		return refuse("stock", "A proof page needs a sheet of at least 175 x 175 mm; stock %s has %g x %g mm. On a roll, print one label with outlines instead.", s.ID, s.PageWMM, s.PageHMM)
	}
	p := newPrinter(sheet)
	p.addPage(0)
	p.rulers()
	p.proofText()
	return p.pdf.Output(w)
}

func (p *printer) rulers() {
	const thin = 0.15
	bar := func(x, y, w, h float64) { p.pdf.Rect(x-thin/2, y-thin/2, w+thin, h+thin, "F") }
	bar(proofNearMM, proofNearMM, proofLongMM, 0)
	bar(proofNearMM, proofNearMM, 0, proofLongMM)
	for i := 0; i <= int(proofLongMM); i++ {
		tick := 1.2
		if i%5 == 0 {
			tick = 2
		}
		if i%10 == 0 {
			tick = 3
		}
		at := proofNearMM + float64(i)
		bar(at, proofNearMM, 0, tick)
		bar(proofNearMM, at, tick, 0)
	}
}

func (p *printer) proofText() {
	b := &board{fonts: builtin()}
	f, bold := b.fonts[0].regular, b.fonts[0].bold
	const left = 32.0
	b.line(bold, "Printer alignment", 20, left, 34)
	lines := []string{
		"Print this page at 100 %, without fitting it to the page. Take a ruler to it:",
		"A  from the paper's left edge to the upright line (should be 20.0 mm): ........ mm",
		"B  from the paper's top edge to the level line (should be 20.0 mm): ........ mm",
		"C  the length of the level line (should be 150.0 mm): ........ mm",
		"Enter A, B and C under \"Papers and printers\", or with \"cruet labels align\": labels then move to where they belong.",
		"Nothing to correct when A and B are within half a millimetre, and C within one.",
	}
	for i, text := range lines {
		b.line(f, text, 10, left, 48+float64(i)*9)
	}
	for _, it := range b.Items {
		p.text(it, it.XMM, it.YMM+it.HMM)
	}
}

// Align turns what was measured on the proof page, in mm, into the offset and
// scale of a Sheet: A from the left edge, B from the top edge, C the length.
func Align(leftMM, topMM, lengthMM float64) (offsetXMM, offsetYMM, scale float64, err error) {
	// The printer puts x at stretch*x + shift; labels are to be asked for
	// where that lands them right.
	stretch := lengthMM / proofLongMM
	if !(math.Abs(stretch-1) <= maxStretch) {
		return 0, 0, 0, refuse("length", "The line of 150 mm cannot measure %g mm: print the proof page at 100 %%, without fitting it to the page, and measure again.", lengthMM)
	}
	shiftX, shiftY := leftMM-stretch*proofNearMM, topMM-stretch*proofNearMM
	if !(math.Abs(shiftX) <= maxOffsetMM-1 && math.Abs(shiftY) <= maxOffsetMM-1) {
		return 0, 0, 0, refuse("offset", "The lines should be 20 mm from the paper's edges; %g and %g mm is too far off to correct. Check the paper's position in the tray.", leftMM, topMM)
	}
	return 0 - shiftX/stretch, 0 - shiftY/stretch, 1 / stretch, nil
}

// SVG is a picture of a stock's page: the die cuts with their places' numbers,
// and the part of the first that is drawn on. For checking a stock of one's
// own against the paper.
func (s Stock) SVG() string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" width="%gmm" height="%gmm" role="img"><title>%s</title>`, s.PageWMM, s.PageHMM, s.PageWMM, s.PageHMM, s.Name)
	fmt.Fprintf(&b, "\n"+`<rect width="%g" height="%g" fill="#fff" stroke="#000" stroke-width="0.5"/>`, s.PageWMM, s.PageHMM)
	size := min(s.LabelWMM, s.LabelHMM) / 3
	for i := range s.Places() {
		x, y := s.Place(i)
		fmt.Fprintf(&b, "\n"+`<rect x="%.3f" y="%.3f" width="%g" height="%g" rx="%g" fill="none" stroke="#555" stroke-width="0.3"/>`, x, y, s.LabelWMM, s.LabelHMM, s.CornerMM)
		fmt.Fprintf(&b, `<text x="%.3f" y="%.3f" font-size="%.1f" font-family="sans-serif" text-anchor="middle" dominant-baseline="central">%d</text>`, x+s.LabelWMM/2, y+s.LabelHMM/2, size, i+1)
	}
	f := frameOf(s)
	fmt.Fprintf(&b, "\n"+`<rect x="%.3f" y="%.3f" width="%.3f" height="%.3f" rx="%.3f" fill="none" stroke="#555" stroke-width="0.2" stroke-dasharray="1 1"/>`, s.LeftMM+f.x, s.TopMM+f.y, f.w, f.h, max(0, s.CornerMM-f.x))
	b.WriteString("\n</svg>\n")
	return b.String()
}
