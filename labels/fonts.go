package labels

import (
	"bytes"
	"fmt"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"github.com/go-fonts/liberation/liberationsansbold"
	"github.com/go-fonts/liberation/liberationsansregular"
	"github.com/jung-kurt/gofpdf"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/bidi"
	"golang.org/x/text/unicode/norm"

	"cruet/internal/larder"
)

// face is one font in one weight.
type face struct {
	family, style string // as the PDF writer is told
	ttf           []byte
	font          *sfnt.Font
	capEm, xEm    float64 // heights of capitals and of lower-case x, in parts of the type size

	mu    sync.Mutex
	buf   sfnt.Buffer
	advEm map[rune]float64 // -1: the font lacks it
	inkEm map[rune][2]float64
}

// addTo gives the font to a PDF: a copy, since the writer pads the tables of what it
// was given in their place, and other PDFs may be in the making.
func (f *face) addTo(pdf *gofpdf.Fpdf) {
	pdf.AddUTF8FontFromBytes(f.family, f.style, bytes.Clone(f.ttf))
}

func newFace(family, style string, ttf []byte) (*face, error) {
	f, err := sfnt.Parse(ttf)
	if err != nil {
		return nil, err
	}
	fc := &face{family: family, style: style, ttf: ttf, font: f, advEm: map[rune]float64{}, inkEm: map[rune][2]float64{}}
	m, err := f.Metrics(&fc.buf, fixed.I(1000), font.HintingNone)
	if err != nil {
		return nil, err
	}
	em := func(v fixed.Int26_6) float64 { return float64(v) / 64 / 1000 }
	fc.capEm, fc.xEm = em(m.CapHeight), em(m.XHeight)
	if fc.capEm <= 0 || fc.xEm <= 0 { // old fonts do not say
		fc.capEm, fc.xEm = 0.7, 0.5
	}
	return fc, nil
}

// advance is the width of r in parts of the type size, negative when the font
// has no glyph for it.
func (f *face) advance(r rune) float64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	if a, ok := f.advEm[r]; ok {
		return a
	}
	a := -1.0
	if i, err := f.font.GlyphIndex(&f.buf, r); err == nil && i != 0 && r <= 0xFFFF {
		if adv, err := f.font.GlyphAdvance(&f.buf, i, fixed.I(1000), font.HintingNone); err == nil {
			a = float64(adv) / 64 / 1000
		}
	}
	f.advEm[r] = a
	return a
}

// widthEm is the width of text in parts of the type size.
func (f *face) widthEm(text string) float64 {
	w := 0.0
	for _, r := range text {
		w += max(f.advance(r), 0)
	}
	return w
}

// wider tells whether a text is wider than widthEm, without measuring more of a
// long one than it needs to.
func (f *face) wider(text string, widthEm float64) bool {
	for _, r := range text {
		if widthEm -= max(f.advance(r), 0); widthEm < 0 {
			return true
		}
	}
	return false
}

// ink is how far a text's ink reaches above and below its baseline, in parts
// of the type size: accents stand higher than capitals.
func (f *face) ink(text string) (up, down float64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, r := range text {
		reach, ok := f.inkEm[r]
		if !ok {
			if i, err := f.font.GlyphIndex(&f.buf, r); err == nil {
				if box, _, err := f.font.GlyphBounds(&f.buf, i, fixed.I(1000), font.HintingNone); err == nil {
					reach = [2]float64{-float64(box.Min.Y) / 64 / 1000, float64(box.Max.Y) / 64 / 1000}
				}
			}
			f.inkEm[r] = reach
		}
		up, down = max(up, reach[0]), max(down, reach[1])
	}
	return up, down
}

func (f *face) missing(text string) []rune {
	var lacks []rune
	for _, r := range text {
		if f.advance(r) < 0 {
			lacks = append(lacks, r)
		}
	}
	return lacks
}

// family is a font in its two weights.
type family struct{ regular, bold *face }

// The first family keeps look-alike characters apart (slashed zero, serifs on
// capital I), which is what a tag wants; the second steps in for a line that
// needs more of Latin, Greek or Cyrillic.
var builtin = sync.OnceValue(func() []family {
	mustFace := func(name, style string, ttf []byte) *face {
		f, err := newFace(name, style, ttf)
		if err != nil {
			panic("labels: an embedded font is broken: " + err.Error())
		}
		return f
	}
	return []family{
		{mustFace("main", "", goregular.TTF), mustFace("main", "B", gobold.TTF)},
		{mustFace("wide", "", liberationsansregular.TTF), mustFace("wide", "B", liberationsansbold.TTF)},
	}
})

// fontSet is the families to try, in order.
type fontSet []family

// fontsFor adds the maker's own font, if any, to the built-in ones.
func fontsFor(ttf []byte) (set fontSet, err error) {
	set = append(set, builtin()...)
	if len(ttf) == 0 {
		return set, nil
	}
	if bytes.HasPrefix(ttf, []byte("OTTO")) || bytes.HasPrefix(ttf, []byte("ttcf")) || !bytes.Contains(ttf[:min(len(ttf), 1024)], []byte("glyf")) {
		return nil, refuse("font", "The font file is not a single TrueType font with outlines (.ttf). Choose another file.")
	}
	own, err := newFace("own", "", ttf)
	if err != nil {
		return nil, refuse("font", "The font file cannot be read as TrueType: %v. Choose another file.", err)
	}
	return append(set, family{own, own}), nil
}

// pick finds a face that has every character of text.
func (set fontSet) pick(text string, bold bool) (*face, error) {
	var best []rune
	for i, fam := range set {
		f := fam.regular
		if bold {
			f = fam.bold
		}
		lacks := f.missing(text)
		if len(lacks) == 0 {
			return f, nil
		}
		if i == 0 || len(lacks) < len(best) {
			best = lacks
		}
	}
	return nil, &TextError{Text: text, Why: "has characters that no label font has: " + nameRunes(best), Do: doAbout(best)}
}

func doAbout(lacks []rune) string {
	for _, r := range lacks {
		if r <= 0xFFFF {
			return "Leave them out, or give a TrueType font that has them."
		}
	}
	return "Leave them out."
}

// TextError says that a text cannot be set on a label.
type TextError struct {
	Field string // what the text is: "batch name"
	Text  string
	Why   string
	Do    string
}

func (e *TextError) Error() string {
	return fmt.Sprintf("The %s %q %s. %s", e.Field, e.Text, e.Why, e.Do)
}

// Unwrap makes it a problem that every edge of the program knows how to tell.
func (e *TextError) Unwrap() error { return larder.Refuse("labels", e.Error()) }

// nameRunes lists characters once each, with their code points, since what
// cannot be printed often cannot be seen either.
func nameRunes(runes []rune) string {
	seen := map[rune]bool{}
	var names []string
	for _, r := range runes {
		if seen[r] {
			continue
		}
		seen[r] = true
		name := fmt.Sprintf("U+%04X", r)
		if unicode.IsGraphic(r) && !unicode.Is(unicode.Mn, r) && r != ' ' {
			name = string(r) + " (" + name + ")"
		}
		names = append(names, name)
	}
	if len(names) > 5 {
		names = append(names[:5], fmt.Sprintf("and %d more", len(names)-5))
	}
	return strings.Join(names, ", ")
}

// Scripts whose letters join or move when set, which the PDF writer cannot do.
var joined = []*unicode.RangeTable{unicode.Arabic, unicode.Bengali, unicode.Devanagari, unicode.Gujarati,
	unicode.Gurmukhi, unicode.Kannada, unicode.Khmer, unicode.Lao, unicode.Malayalam, unicode.Mongolian,
	unicode.Myanmar, unicode.Oriya, unicode.Sinhala, unicode.Syriac, unicode.Tamil, unicode.Telugu,
	unicode.Thai, unicode.Tibetan}

// clean makes text fit for setting: composed accents (NFC), single spaces, no
// invisible characters. It refuses what would come out wrong.
func clean(field, text string) (string, error) {
	fail := func(why, do string) (string, error) {
		return "", &TextError{Field: field, Text: text, Why: why, Do: do}
	}
	if !utf8.ValidString(text) {
		return fail("is not valid UTF-8 text", "Type it again, or convert the file it came from to UTF-8.")
	}
	var b strings.Builder
	var control, unset []rune
	for _, r := range norm.NFC.String(text) {
		p, _ := bidi.LookupString(string(r))
		switch {
		case unicode.IsSpace(r) && r != '\u00a0':
			b.WriteByte(' ')
		case r == '\u00ad' || r == '\u200b' || r == '\ufeff' || r == '\u2060': // unseen hints for breaking lines
		case r == '\u2011':
			b.WriteByte('-')
		case unicode.IsControl(r):
			control = append(control, r)
		case p.Class() == bidi.R || p.Class() == bidi.AL || unicode.In(r, joined...):
			unset = append(unset, r)
		default:
			b.WriteRune(r)
		}
	}
	if len(control) > 0 {
		return fail("has control characters: "+nameRunes(control), "Type it again without them.")
	}
	if len(unset) > 0 {
		return fail("is in a script that runs right to left or joins its letters, which labels cannot set: "+nameRunes(unset), "Write it in another script.")
	}
	return strings.Join(strings.FieldsFunc(b.String(), func(r rune) bool { return r == ' ' }), " "), nil
}
