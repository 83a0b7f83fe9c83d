package labels

import (
	"errors"
	"math"
	"strings"
)

// para is one paragraph of a bottle label.
type para struct {
	field, text string
	bold        bool
	pt          float64 // at scale 1
	gap         float64 // above, in parts of its own size
	mayClip     bool    // only the name
}

const (
	paraLead     = 1.18
	bottleMinPt  = 5.0 // x-height 0.93 mm; EU food labels ask for 0.9 on packs under 80 cm² (Reg. 1169/2011, annex IV)
	bottleBasePt = 6.0 // of the small print at scale 1
	maxScale     = 2.4
)

// head is what the buyer looks for; on small labels acidity and net volume
// share a line.
func (l BottleLabel) head(oneLine bool) []para {
	acidity := joinNonEmpty(", ", whole(l.Acidity), whole(l.AcidityNote))
	list := []para{{field: "name", text: l.Name, bold: true, pt: 11.5, mayClip: true}}
	if oneLine {
		list = append(list, para{field: "acidity", text: joinNonEmpty(", ", acidity, whole(l.Net)), bold: true, pt: 7, gap: 0.6})
	} else {
		list = append(list, para{field: "acidity", text: acidity, bold: true, pt: 7, gap: 0.7},
			para{field: "net volume", text: l.Net, pt: 7, gap: 0.35})
	}
	return nonEmpty(list)
}

// foot says where the bottle comes from.
func (l BottleLabel) foot() []para {
	var lot, bottled string
	if l.Lot != "" {
		lot = "Lot " + l.Lot
	}
	if l.Bottled != "" {
		bottled = "bottled " + l.Bottled
	}
	return nonEmpty([]para{
		{field: "lot", text: joinNonEmpty(", ", whole(lot), whole(l.Number), whole(bottled)), pt: bottleBasePt, gap: 0.3},
		{field: "maker", text: l.Maker, pt: bottleBasePt, gap: 0.3},
	})
}

func (l BottleLabel) content() []para {
	list := []para{{field: "ingredients", text: joinNonEmpty(" ", "Ingredients:", l.Ingredients), pt: bottleBasePt, gap: 0.6}}
	if l.Ingredients == "" {
		list = nil
	}
	for _, caution := range l.Cautions {
		list = append(list, para{field: "caution", text: caution, bold: true, pt: bottleBasePt, gap: 0.3})
	}
	for _, text := range l.Minor {
		list = append(list, para{field: "caution", text: text, pt: bottleBasePt, gap: 0.3})
	}
	return nonEmpty(list)
}

// sparing draws a label whole, else without what may go, one text after the other.
func (l BottleLabel) sparing(b *board, draw func(BottleLabel) error) error {
	kept := b.frame
	for {
		err := draw(l)
		var room *RoomError
		if len(l.Minor) == 0 || !errors.As(err, &room) {
			return err
		}
		last := len(l.Minor) - 1
		b.lose("there is no room for %q", l.Minor[last])
		l.Minor, b.frame = l.Minor[:last], kept
	}
}

func nonEmpty(list []para) []para {
	kept := list[:0]
	for _, p := range list {
		if strings.TrimSpace(p.text) != "" {
			kept = append(kept, p)
		}
	}
	return kept
}

func joinNonEmpty(sep string, parts ...string) string {
	var kept []string
	for _, p := range parts {
		if strings.TrimSpace(p) != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, sep)
}

// area is a rectangle for text.
type area struct{ x, y, w, h float64 }

// part is a stack of paragraphs in an area, hung from its top or standing on
// its bottom.
type part struct {
	area
	paras  []para
	bottom bool
}

// plan is one way to divide a bottle label.
type plan struct {
	codeX, codeY float64
	parts        []part
	squeeze      bool    // the name on one short line
	dearer       float64 // how much larger the type must come out to prefer this plan to one before it
	dots         int     // of the code
	scale        float64 // of the type
}

// draw tries the ways to divide the label, and smaller codes while their
// modules stay good, until the type is as large as wished; else it takes the
// way that allows the largest type.
func (l BottleLabel) draw(b *board, c Code) error {
	return l.sparing(b, func(l BottleLabel) error { return l.lay(b, c) })
}

func (l BottleLabel) lay(b *board, c Code) error {
	if b.disc {
		b.frame = inscribed(b.frame)
	}
	set, err := l.resolve(b)
	if err != nil {
		return err
	}
	if done, err := l.front(b, c, set, nil); done || err != nil {
		return err
	}
	dots, err := chooseDots(c, b.dpi, codeWants{hardMM: min(b.h, b.w), softMM: min(0.36*b.w, 0.8*b.h), diameterMM: l.DiameterMM}, b.stock.ID)
	if err != nil {
		return err
	}
	best := l.best(b, c, set, dots, false)
	if best.scale == 0 {
		best = l.best(b, c, set, dots, true)
	}
	if best.scale == 0 {
		return b.noRoom("The name, acidity, ingredients and cautions do not fit whole in readable type")
	}
	set.placeCode(b, c, best.dots, best.codeX, best.codeY)
	for _, p := range best.parts {
		set.place(b, p, best)
	}
	return nil
}

func (l BottleLabel) best(b *board, c Code, set resolved, dots int, squeeze bool) plan {
	var best plan
	for n := dots; n == dots || float64(n)*DotMM(b.dpi) >= GoodModuleMM && best.scale < 1; n-- {
		for _, p := range l.plans(b, boxMM(c, n, b.dpi), set) {
			p.dots, p.squeeze = n, squeeze
			if p.scale = set.scale(p); p.scale > best.scale+p.dearer {
				best = p
			}
		}
	}
	return best
}

// typedPt is the size of the code for typing, below the code for scanning.
func typedPt(f *face, text string, side float64) float64 {
	return max(min(6, widest(f, text, side-0.5, 6, 3)), bottleMinPt)
}

// inscribed is a rectangle in a disc, somewhat wider than high.
func inscribed(f frame) frame {
	const aspect = 1.4
	h := f.w / math.Hypot(1, aspect)
	w := aspect * h
	return frame{x: f.x + (f.w-w)/2, y: f.y + (f.h-h)/2, w: w, h: h}
}

// codeBlock is the size of a code of a side with its tag below.
func (set resolved) codeBlock(side float64) (high, wide float64) {
	t := set["tag"]
	if t.text == "" {
		return side, side
	}
	pt := typedPt(t.face, t.text, side)
	up, down := t.face.ink(t.text)
	return side + mm(pt)*(up+down) + 0.1, max(side, t.face.widthEm(t.text)*mm(pt)+1)
}

// placeCode draws a code, and its tag for typing below.
func (set resolved) placeCode(b *board, c Code, dots int, x, y float64) {
	b.code(c, dots, x, y)
	t, side := set["tag"], boxMM(c, dots, b.dpi)
	if t.text == "" {
		return
	}
	pt := typedPt(t.face, t.text, side)
	up, _ := t.face.ink(t.text)
	b.line(t.face, t.text, pt, x+(side-t.face.widthEm(t.text)*mm(pt))/2, y+side+(up-t.face.capEm)*mm(pt)+0.1)
}

func (l BottleLabel) plans(b *board, side float64, set resolved) []plan {
	block, blockW := set.codeBlock(side)
	if block > b.h {
		return nil
	}
	codeX := b.x + (blockW-side)/2
	const pad = 0.1
	top, bottom := b.y+pad, b.y+b.h-pad
	const gutter = 0.8
	edge := max(0.4, b.cornerPad())
	beside := area{b.x + blockW + gutter, top, b.w - blockW - gutter - edge, bottom - top}
	var list []plan
	for _, oneLine := range []bool{false, true} {
		head := l.head(oneLine)
		dearer := 0.02
		if oneLine {
			dearer = 0.1
		}
		list = append(list, plan{ // all text beside the code
			dearer: dearer, codeX: codeX, codeY: b.y + (b.h-block)/2,
			parts: []part{{area: beside, paras: join(head, l.content(), l.foot())}},
		})
		below := area{b.x + edge, b.y + block + 1, b.w - 2*edge, bottom - b.y - block - 1}
		if below.h < 2 {
			continue
		}
		right := area{beside.x, top, beside.w, block - pad}
		foot := area{beside.x, bottom - block + pad, beside.w, block - pad}
		list = append(list,
			plan{ // small print below the code
				dearer: dearer, codeX: codeX, codeY: b.y,
				parts: []part{{area: right, paras: join(head, l.foot())}, {area: below, paras: l.content(), bottom: true}},
			},
			plan{ // name over the whole width, code and small print at the foot
				dearer: dearer, codeX: codeX, codeY: b.y + b.h - block,
				parts: []part{{area: area{b.x + edge, top, b.w - 2*edge, b.h - block - 2}, paras: head},
					{area: foot, paras: join(l.content(), l.foot()), bottom: true}},
			})
	}
	return list
}

func join(lists ...[]para) []para {
	var all []para
	for _, list := range lists {
		all = append(all, list...)
	}
	return all
}

// resolved is a label's texts, cleaned, each with its font, by the raw text.
type resolved map[string]setText

type setText struct {
	face *face
	text string
}

func (l BottleLabel) resolve(b *board, extra ...para) (resolved, error) {
	return resolveParas(b, join(l.head(false), l.head(true), l.content(), l.foot(), extra), l.Tag)
}

// resolveParas finds the fonts of paragraphs, and of a tag.
func resolveParas(b *board, paras []para, tag string) (resolved, error) {
	set := resolved{}
	for _, p := range append(paras, para{field: "tag", text: typed(tag)}) {
		f, text, err := b.face(p.field, p.text, p.bold)
		if err != nil {
			return nil, err
		}
		key := p.text
		if p.field == "tag" {
			key = "tag"
		}
		set[key] = setText{f, text}
	}
	return set, nil
}

// scale is the largest at which all parts of a plan fit, 0 when even the
// smallest readable type does not.
func (set resolved) scale(p plan) float64 {
	const least, step = bottleMinPt / bottleBasePt, 0.02
	if !set.fits(p, least) {
		return 0
	}
	lo, hi := 0, int(math.Round((maxScale-least)/step))
	for lo < hi { // lo fits
		mid := (lo + hi + 1) / 2
		if set.fits(p, least+float64(mid)*step) {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	return least + float64(lo)*step
}

func (set resolved) fits(p plan, scale float64) bool {
	for _, part := range p.parts {
		if _, _, h := set.stack(part, scale, p.squeeze); h > part.h || h < 0 {
			return false
		}
	}
	return true
}

// stack sets a part's paragraphs at a scale, and gives how far the ink of the
// first reaches above its capitals, and the height of all, ink to ink. A
// height below 0 says that a word is wider than the area.
func (set resolved) stack(p part, scale float64, squeeze bool) (blocks []block, over, hMM float64) {
	for i, para := range p.paras {
		r := set[para.text]
		pt := para.pt * scale
		room := fitting{wMM: p.w, hMM: math.Inf(1), maxPt: pt, minPt: pt, lines: 12, lead: paraLead}
		if para.mayClip {
			room.minPt, room.lines = min(max(nameMinPt, 0.6*pt), pt), 2
			if squeeze {
				room.maxPt, room.minPt, room.lines = nameMinPt+1, nameMinPt, 1
			}
		}
		k := fit(r.face, r.text, room)
		if len(k.lines) == 0 || k.clipped && !para.mayClip {
			return nil, 0, -1
		}
		if i > 0 {
			hMM += (para.gap + paraLead - r.face.capEm) * mm(k.sizePt)
		}
		hMM += blockMM(k, paraLead)
		blocks = append(blocks, k)
	}
	if len(blocks) > 0 {
		var under float64
		over, _ = blocks[0].reach()
		_, under = blocks[len(blocks)-1].reach()
		hMM += over + under
	}
	return blocks, over, hMM
}

func (set resolved) place(b *board, p part, best plan) {
	blocks, over, h := set.stack(p, best.scale, best.squeeze)
	// Air left over goes above text that stands at the bottom; in text that
	// hangs, a little of it between its paragraphs.
	y, air := p.y+over, 0.0
	if p.bottom {
		y += p.h - h
	} else if len(blocks) > 1 {
		air = min((p.h-h)/float64(len(blocks)-1), 0.6)
	}
	for i, k := range blocks {
		if i > 0 {
			y += (p.paras[i].gap+paraLead-k.face.capEm)*mm(k.sizePt) + air
		}
		if k.clipped {
			b.lose("the name is cut short")
		}
		b.block(k, p.x, y, p.w, paraLead, 0)
		y += blockMM(k, paraLead)
	}
}
