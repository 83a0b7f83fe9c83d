package labels

import (
	"fmt"
	"strings"
)

// ItemKind is what is drawn.
type ItemKind int

// The kinds of items.
const (
	TextItem ItemKind = iota // one line of text
	CodeItem                 // a QR code with its quiet zone
	RuleItem                 // a line to divide or to write on
	MarkItem                 // a filled box with white text on it
)

// Item is one thing drawn on a label. Its box is in mm from the top left
// corner of the die: for text, from the top of the capitals to the baseline;
// for a code, the quiet zone and all.
type Item struct {
	Kind               ItemKind
	XMM, YMM, WMM, HMM float64
	Text               string
	SizePt             float64
	Dots               int // of a code: printer dots a module
	Code               Code
	face               *face
	path               []byte // of a code: its rectangles, when made beforehand
}

// Drawing is one label, laid out.
type Drawing struct {
	Items  []Item
	LenMM  float64  // height of the label where the stock is cut to length, else 0
	Losses []string // what was shortened or left out for want of room
}

// String lists what is drawn where, a line an item, for people and goldens.
func (d Drawing) String() string {
	var b strings.Builder
	for _, it := range d.Items {
		fmt.Fprintf(&b, "%-5s x %6.2f  y %6.2f  w %6.2f  h %6.2f", [...]string{"text", "code", "rule", "mark"}[it.Kind], it.XMM, it.YMM, it.WMM, it.HMM)
		switch it.Kind {
		case TextItem, MarkItem:
			fmt.Fprintf(&b, "  %5.2f pt %s%s  %s", it.SizePt, it.face.family, map[string]string{"": "", "B": " bold"}[it.face.style], it.Text)
		case CodeItem:
			fmt.Fprintf(&b, "  version %d-%v, %d dots a module  %s", it.Code.Version, it.Code.Level, it.Dots, it.Code.Text)
		}
		b.WriteByte('\n')
	}
	for _, loss := range d.Losses {
		fmt.Fprintf(&b, "lost  %s\n", loss)
	}
	return b.String()
}

// board is a label being laid out.
type board struct {
	frame
	stock Stock
	dpi   int
	fonts fontSet
	Drawing
}

func (b *board) noRoom(what string) error {
	return &RoomError{What: what, Stock: b.stock.ID}
}

func (b *board) lose(format string, args ...any) {
	b.Losses = append(b.Losses, fmt.Sprintf(format, args...))
}

// face cleans a text and finds a font that has all of it.
func (b *board) face(field, text string, bold bool) (*face, string, error) {
	text, err := clean(field, text)
	if err != nil {
		return nil, "", err
	}
	f, err := b.fonts.pick(text, bold)
	if err != nil {
		if te, ok := err.(*TextError); ok {
			te.Field = field
		}
		return nil, "", err
	}
	return f, text, nil
}

// line places one line of text with its capitals' top at y.
func (b *board) line(f *face, text string, pt, x, y float64) {
	if text == "" {
		return
	}
	text = strings.ReplaceAll(text, unbroken, " ")
	b.Items = append(b.Items, Item{Kind: TextItem, XMM: x, YMM: y, WMM: f.widthEm(text) * mm(pt), HMM: f.capEm * mm(pt), Text: text, SizePt: pt, face: f})
}

// block places lines one below the other and gives the last baseline.
// align is 0 for left, 0.5 for centred, 1 for right in the width w.
func (b *board) block(k block, x, y, w, lead, align float64) (baseline float64) {
	capMM := k.face.capEm * mm(k.sizePt)
	for i, text := range k.lines {
		top := y + float64(i)*mm(k.sizePt)*lead
		b.line(k.face, text, k.sizePt, x+align*(w-k.face.widthEm(text)*mm(k.sizePt)), top)
		baseline = top + capMM
	}
	return baseline
}

// blockMM is the height from the first capitals' top to the last baseline.
func blockMM(k block, lead float64) float64 {
	if len(k.lines) == 0 {
		return 0
	}
	return k.face.capEm*mm(k.sizePt) + float64(len(k.lines)-1)*mm(k.sizePt)*lead
}

// reach is how far a block's ink goes above its first capitals and below its
// last baseline, in mm.
func (k block) reach() (over, under float64) {
	if len(k.lines) == 0 {
		return 0, 0
	}
	up, _ := k.face.ink(k.lines[0])
	_, down := k.face.ink(k.lines[len(k.lines)-1])
	return max(up-k.face.capEm, 0) * mm(k.sizePt), max(down, 0) * mm(k.sizePt)
}

// ink is the box that an item's ink stays in: top, bottom in mm.
func (it Item) ink() (top, bottom float64) {
	if it.Kind != TextItem {
		return it.YMM, it.YMM + it.HMM
	}
	up, down := it.face.ink(it.Text)
	base := it.YMM + it.HMM
	return base - up*mm(it.SizePt), base + down*mm(it.SizePt)
}

func (b *board) rule(x, y, w float64) {
	b.Items = append(b.Items, Item{Kind: RuleItem, XMM: x, YMM: y, WMM: w, HMM: ruleMM})
}

// mark is a black square with a white letter.
func (b *board) mark(f *face, text string, x, y, side float64) {
	pt := min(side*0.68/f.capEm, side*0.84/max(f.widthEm(text), 0.1)) * ptPerMM
	b.Items = append(b.Items, Item{Kind: MarkItem, XMM: x, YMM: y, WMM: side, HMM: side, Text: text, SizePt: float64(int(pt/stepPt)) * stepPt, face: f})
}

func (b *board) code(c Code, dots int, x, y float64) {
	side := boxMM(c, dots, b.dpi)
	b.Items = append(b.Items, Item{Kind: CodeItem, XMM: x, YMM: y, WMM: side, HMM: side, Dots: dots, Code: c})
}

const ruleMM = 0.2
