package labels

import "strings"

// LidLabel is a jar's label for its lid: the code above centred lines,
// whatever the stock's shape. A lid is flat, so no curve limits the code.
type LidLabel struct{ JarLabel }

func (l LidLabel) round() float64 { return 0 }

func (l LidLabel) draw(b *board, c Code) error {
	t := l.tagged()
	t.diameterMM = 0
	if t.tag == "" {
		return refuse("tag", "A label needs a tag; none was given.")
	}
	return t.above(b, c)
}

// NeckLabel is a bottle's label for a strip round its neck: code, name and
// small print in three panels. On stocks that are no strips it is laid out as
// a BottleLabel.
type NeckLabel struct{ BottleLabel }

const (
	stripAspect = 2.6  // width to height from which a label counts as a strip
	stripMinWMM = 80.0 // less has no room for three panels
)

func (l NeckLabel) draw(b *board, c Code) error {
	return l.sparing(b, func(l BottleLabel) error { return NeckLabel{l}.lay(b, c) })
}

func (l NeckLabel) lay(b *board, c Code) error {
	if b.disc || b.w < stripMinWMM || b.w < stripAspect*b.h {
		return l.BottleLabel.lay(b, c)
	}
	set, err := l.resolve(b)
	if err != nil {
		return err
	}
	hard := b.h
	if l.Tag != "" {
		hard -= 2.5 // for the tag below it
	}
	dots, err := chooseDots(c, b.dpi, codeWants{hardMM: hard, softMM: 0.3 * b.w, diameterMM: l.DiameterMM}, b.stock.ID)
	if err != nil {
		return err
	}
	high, wide := set.codeBlock(boxMM(c, dots, b.dpi))
	rest := b.w - wide - 3 - b.cornerPad()
	small, scale := l.smallPrint(set, area{w: 0.5 * rest}, b.h-1)
	if scale == 0 || !l.placard(b, set, area{b.x + wide + 1, b.y + 0.5, 0.5 * rest, b.h - 1}) {
		return l.BottleLabel.lay(b, c)
	}
	_, _, h := set.stack(small, scale, false)
	small.area = area{b.x + wide + 3 + 0.5*rest, b.y + (b.h-h)/2, 0.5 * rest, h}
	set.placeCode(b, c, dots, b.x+(wide-boxMM(c, dots, b.dpi))/2, b.y+(b.h-high)/2)
	set.place(b, small, plan{scale: scale})
	return nil
}

// GiftLabel is a card that goes with a bottle: for whom, a few words, and what
// the vinegar is good for, above what a bottle label says.
type GiftLabel struct {
	BottleLabel
	To      string // "the neighbours at no. 4"
	Message string
	Uses    []string // "dressings", "cleaning windows"
}

func (l GiftLabel) extra() []para {
	to, uses := "", ""
	if l.To != "" {
		to = "For " + l.To
	}
	if len(l.Uses) > 0 {
		uses = "Good for " + strings.Join(l.Uses, ", ") + "."
	}
	return nonEmpty([]para{
		{field: "recipient", text: to, bold: true, pt: 9, gap: 0.6},
		{field: "message", text: l.Message, pt: 9, gap: 0.6},
		{field: "uses", text: uses, pt: 9, gap: 0.6},
	})
}

func (l GiftLabel) draw(b *board, c Code) error {
	set, err := l.resolve(b, l.extra()...)
	if err != nil {
		return err
	}
	done, err := l.front(b, c, set, l.extra())
	if err == nil && !done {
		return b.noRoom("The card's words do not fit whole in readable type")
	}
	return err
}

// ShelfStock divides a sheet's page into cells for a shelf's jars, to be hung
// up and scanned from, with room for a title (Sheet.Title) above.
func ShelfStock(page Stock) (Stock, error) {
	const side, top, bottom, cellMM, cols = 8.0, 24.0, 10.0, 36.0, 3
	if page.Roll || page.PageWMM < 200 || page.PageHMM < 200 {
		return Stock{}, refuse("stock", "A shelf sheet needs a page of at least 200 x 200 mm, such as A4 or Letter; stock %s has %g x %g mm.", page.ID, page.PageWMM, page.PageHMM)
	}
	w := (page.PageWMM - 2*side) / cols
	s := Stock{ID: "shelf", Name: "shelf sheet", PageWMM: page.PageWMM, PageHMM: page.PageHMM, Cols: cols,
		Rows: int((page.PageHMM - top - bottom) / cellMM), LabelWMM: w - 1, LabelHMM: cellMM - 1, LeftMM: side + 0.5, TopMM: top,
		PitchXMM: w, PitchYMM: cellMM, CornerMM: 1.5, DPI: page.DPI}
	return s, s.Check()
}
