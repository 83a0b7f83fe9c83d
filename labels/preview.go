package labels

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Preview draws the first page as SVG: each code, letter and rule where Print
// puts it, the die cuts in grey, and places that are used up already crossed
// out. A printer's offset and scale are left out, since they are to vanish on
// paper.
func Preview(ctx context.Context, w io.Writer, sheet Sheet, labels []Label) (Printed, error) {
	return preview(ctx, w, sheet, labels, false)
}

// PreviewOne draws the first label alone, as it lies on its page, cut out along
// its die.
func PreviewOne(ctx context.Context, w io.Writer, sheet Sheet, l Label) error {
	sheet.Copies, sheet.First, sheet.Title = 1, 1, ""
	_, err := preview(ctx, w, sheet, []Label{l}, true)
	return err
}

func preview(ctx context.Context, w io.Writer, sheet Sheet, labels []Label, one bool) (Printed, error) {
	sheet.OffsetXMM, sheet.OffsetYMM, sheet.Scale = 0, 0, 0
	sheet, err := sheet.ready()
	if err != nil {
		return Printed{}, err
	}
	// What is wrong with any label is told now, not when it is printed.
	made, err := Print(ctx, io.Discard, sheet, labels, nil)
	if err != nil {
		return made, err
	}
	fonts, err := fontsFor(sheet.Font)
	if err != nil {
		return made, err
	}
	free := sheet.Stock.Places() - sheet.First + 1
	shown := labels[:min(len(labels), (free+sheet.Copies-1)/sheet.Copies)]
	drawings, err := layOutAll(sheet, fonts, nil, shown, 0, len(shown))
	if err != nil {
		return made, err
	}
	v := &pageSVG{sheet: sheet, glyphs: map[glyphOf]int{}}
	place := 0
	for ; place < sheet.First-1; place++ {
		v.used(place)
	}
	title, err := layOutTitle(sheet, fonts)
	if err != nil {
		return made, err
	}
	for _, it := range title {
		v.text(it, it.XMM, it.YMM+it.HMM)
	}
	for _, d := range drawings {
		for range sheet.Copies {
			if place < sheet.Stock.Places() {
				v.label(place, d)
				place++
			}
		}
	}
	for ; place < sheet.Stock.Places(); place++ {
		v.die(place, sheet.Stock.LabelHMM)
	}
	if one {
		s := sheet.Stock
		x, y := s.Place(0)
		return made, v.write(w, area{x, y, s.LabelWMM, min(s.LabelHMM, made.PageHMM)})
	}
	return made, v.write(w, area{0, 0, sheet.Stock.PageWMM, made.PageHMM})
}

// pageSVG is a page as SVG, in mm.
type pageSVG struct {
	sheet  Sheet
	body   bytes.Buffer
	defs   bytes.Buffer
	dies   bytes.Buffer
	glyphs map[glyphOf]int
}

type glyphOf struct {
	face *face
	r    rune
}

func (v *pageSVG) die(place int, hMM float64) {
	s := v.sheet.Stock
	x, y := s.Place(place)
	fmt.Fprintf(&v.dies, `<rect x="%.2f" y="%.2f" width="%.2f" height="%.2f" rx="%.2f" />`+"\n", x, y, s.LabelWMM, hMM, s.CornerMM)
}

func (v *pageSVG) used(place int) {
	s := v.sheet.Stock
	x, y := s.Place(place)
	v.die(place, s.LabelHMM)
	fmt.Fprintf(&v.dies, `<path d="M%.2f %.2fL%.2f %.2f" />`+"\n", x, y+s.LabelHMM, x+s.LabelWMM, y)
}

func (v *pageSVG) label(place int, d Drawing) {
	s := v.sheet.Stock
	x, y := s.Place(place)
	hMM := s.LabelHMM
	if d.LenMM > 0 {
		hMM = d.LenMM
	}
	v.die(place, hMM)
	for _, it := range d.Items {
		switch it.Kind {
		case CodeItem:
			v.code(x+it.XMM, y+it.YMM, it)
		case RuleItem:
			fmt.Fprintf(&v.body, `<rect x="%.3f" y="%.3f" width="%.3f" height="%.3f"/>`+"\n", x+it.XMM, y+it.YMM, it.WMM, it.HMM)
		case MarkItem:
			fmt.Fprintf(&v.body, `<rect x="%.3f" y="%.3f" width="%.3f" height="%.3f"/><g fill="#fff">`, x+it.XMM, y+it.YMM, it.WMM, it.HMM)
			capMM := it.face.capEm * mm(it.SizePt)
			v.text(it, x+it.XMM+(it.WMM-it.face.widthEm(it.Text)*mm(it.SizePt))/2, y+it.YMM+(it.HMM+capMM)/2)
			v.body.WriteString("</g>\n")
		case TextItem:
			v.text(it, x+it.XMM, y+it.YMM+it.HMM)
		}
	}
}

// code draws the same rectangles on the same dots as the PDF.
func (v *pageSVG) code(x, y float64, it Item) {
	dot := DotMM(v.sheet.DPI)
	left, top := float64(snap(x, v.sheet.DPI)+QuietModules*it.Dots)*dot, float64(snap(y, v.sheet.DPI)+QuietModules*it.Dots)*dot
	fmt.Fprintf(&v.body, `<path transform="translate(%.4f %.4f) scale(%.5f)" d="`, left, top, float64(it.Dots)*dot)
	for _, r := range it.Code.runs() {
		fmt.Fprintf(&v.body, "M%d %dh%dv%dh-%dz", r.x, r.y, r.w, r.h, r.w)
	}
	v.body.WriteString("\"/>\n")
}

// text draws letters by their outlines, so that they look as printed whatever
// fonts the reader has.
func (v *pageSVG) text(it Item, x, baseline float64) {
	size := mm(it.SizePt)
	for _, r := range it.Text {
		if id, ok := v.glyph(it.face, r); ok {
			fmt.Fprintf(&v.body, `<use href="#g%d" transform="translate(%.3f %.3f) scale(%.4f)"/>`, id, x, baseline, size/glyphUnits)
		}
		x += max(it.face.advance(r), 0) * size
	}
	v.body.WriteByte('\n')
}

const glyphUnits = 1000

// glyph gives the number of a letter's outline; a space has none.
func (v *pageSVG) glyph(f *face, r rune) (id int, ok bool) {
	key := glyphOf{f, r}
	if id, ok := v.glyphs[key]; ok {
		return id, id > 0
	}
	outline := f.outline(r)
	if outline == "" {
		v.glyphs[key] = 0
		return 0, false
	}
	id = len(v.glyphs) + 1
	v.glyphs[key] = id
	fmt.Fprintf(&v.defs, `<path id="g%d" d="%s"/>`, id, outline)
	return id, true
}

// outline is a letter's shape in thousandths of the type size, y downwards.
func (f *face) outline(r rune) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	i, err := f.font.GlyphIndex(&f.buf, r)
	if err != nil || i == 0 {
		return ""
	}
	segments, err := f.font.LoadGlyph(&f.buf, i, fixed.I(glyphUnits), &sfnt.LoadGlyphOptions{})
	if err != nil {
		return ""
	}
	var b strings.Builder
	for _, s := range segments {
		op, points := "M", 1
		switch s.Op {
		case sfnt.SegmentOpLineTo:
			op = "L"
		case sfnt.SegmentOpQuadTo:
			op, points = "Q", 2
		case sfnt.SegmentOpCubeTo:
			op, points = "C", 3
		}
		b.WriteString(op)
		for k, p := range s.Args[:points] {
			if k > 0 {
				b.WriteByte(' ')
			}
			b.WriteString(strconv.Itoa(p.X.Round()) + " " + strconv.Itoa(p.Y.Round()))
		}
	}
	return b.String()
}

func (v *pageSVG) write(w io.Writer, show area) error {
	_, err := fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="%g %g %g %g" width="%gmm" height="%gmm"><title>As printed on %s</title>
<defs>%s</defs>
<rect x="%g" y="%g" width="%g" height="%g" fill="#fff"/>
<g fill="none" stroke="#999" stroke-width=".2">
%s</g>
%s</svg>
`, show.x, show.y, show.w, show.h, show.w, show.h, v.sheet.Stock.Name, v.defs.Bytes(), show.x, show.y, show.w, show.h, v.dies.Bytes(), v.body.Bytes())
	return err
}
