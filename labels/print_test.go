package labels

import (
	"bytes"
	"errors"
	"image"
	"math"
	"strings"
	"testing"

	"cruet/labels/readback"
)

// kinds are the labels that every stock is tried with.
var kinds = []struct {
	name  string
	label func(i int) Label
}{
	{"jar", func(i int) Label { return testJar(i) }},
	{"spare", func(i int) Label { return testSpare(i) }},
	{"bottle", func(i int) Label { return testBottle(i) }},
	{"lid", func(i int) Label { return LidLabel{testJar(i)} }},
	{"neck", func(i int) Label { return NeckLabel{testBottle(i)} }},
	{"gift", func(i int) Label {
		return GiftLabel{testBottle(i), "the neighbours at no. 4", "From the old tree, with thanks for the pears.", []string{"dressings", "stewed red cabbage", "cleaning windows"}}
	}},
}

// mayRefuse tells on which stocks a label may be refused, because a code or
// the text that must be whole cannot be read there. All others must take it.
func mayRefuse(s Stock, kind string) bool {
	area := s.LabelWMM * s.LabelHMM
	switch kind {
	case "gift":
		return s.LabelWMM < 90 || s.LabelHMM < 80
	case "bottle", "neck":
		return area < 1400 || s.Disc() && s.LabelWMM < 60
	case "lid": // code and tag one above the other
		return s.LabelHMM < 20
	}
	return s.LabelHMM < 16 // 12.7 mm gives 0.29 mm a module at version 3
}

// Every label of every stock is rasterised at the resolutions of label
// printers, cut out by the stock's geometry, and read with an independent
// decoder. A decoder given a whole sheet loses codes however well they are
// drawn, so each label is read by itself, as a phone does.
func TestEveryLabelReadsBack(t *testing.T) {
	t.Parallel()
	for _, s := range Stocks() {
		for _, kind := range kinds {
			t.Run(s.ID+"/"+kind.name, func(t *testing.T) {
				labels := []Label{kind.label(1), kind.label(4), kind.label(8)}
				if s.Places() > 4 && (kind.name == "jar" || kind.name == "bottle") {
					labels = nil
					for i := range len(uglyNames) { // onto a second page where pages are small
						labels = append(labels, kind.label(i))
					}
				}
				var b bytes.Buffer
				err := Write(&b, Sheet{Stock: s, Date: testDate}, labels)
				if err != nil {
					checkRefusal(t, err, mayRefuse(s, kind.name))
					return
				}
				for _, dpi := range []int{203, 300} {
					readAll(t, pages(t, b.Bytes(), dpi), s, labels, dpi)
				}
			})
		}
	}
}

func contains(list []string, s string) bool {
	for _, one := range list {
		if one == s {
			return true
		}
	}
	return false
}

func checkRefusal(t *testing.T, err error, expected bool) {
	t.Helper()
	var room *RoomError
	if !errors.As(err, &room) || len(room.Fits) == 0 || !expected {
		t.Errorf("refusal expected: %v; got %v", expected, err)
	}
}

func readAll(t *testing.T, drawn []*image.Gray, s Stock, labels []Label, dpi int) {
	t.Helper()
	if want := (len(labels) + s.Places() - 1) / s.Places(); len(drawn) != want {
		t.Fatalf("%d pages, want %d", len(drawn), want)
	}
	for i, l := range labels {
		want, _ := l.codeText()
		s := cutTo(t, s, l)
		picture := crop(drawn[i/s.Places()], s, i%s.Places())
		if got, err := readback.Decode(picture); got != want {
			t.Errorf("label %d at %d dpi reads %q, want %q (%v)", i, dpi, got, want, err)
		}
		checkMargins(t, picture, s, i, dpi)
	}
}

// cutTo is a continuous roll as cut for a label; other stocks stay as they are.
func cutTo(t *testing.T, s Stock, l Label) Stock {
	t.Helper()
	if !s.Continuous {
		return s
	}
	d, err := Draw(Sheet{Stock: s}, l)
	if err != nil || d.LenMM < minCutMM || d.LenMM > maxCutMM {
		t.Fatalf("cut to %g mm, %v", d.LenMM, err)
	}
	s.PageHMM, s.LabelHMM = d.LenMM, d.LenMM
	return s
}

// checkMargins looks for ink within 1 mm of the die cut.
func checkMargins(t *testing.T, picture *image.Gray, s Stock, i, dpi int) {
	t.Helper()
	perMM := float64(dpi) / mmPerInch
	slack := 0.5 / perMM // half a pixel of the cutting-out
	b := picture.Rect
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if picture.GrayAt(x, y).Y > 200 {
				continue
			}
			xMM, yMM := (float64(x-b.Min.X)+0.5)/perMM, (float64(y-b.Min.Y)+0.5)/perMM
			if d := toDieMM(s, xMM, yMM); d < dieMarginMM-slack {
				t.Errorf("label %d at %d dpi: ink %.2f mm from the die cut, at %.2f, %.2f mm", i, dpi, d, xMM, yMM)
				return
			}
		}
	}
}

// toDieMM is a point's distance to the die cut, corners and discs included.
func toDieMM(s Stock, x, y float64) float64 {
	// Distance in a rounded rectangle: fold into one quadrant.
	dx, dy := min(x, s.LabelWMM-x), min(y, s.LabelHMM-y)
	r := s.CornerMM
	if dx < r && dy < r {
		return r - math.Hypot(r-dx, r-dy)
	}
	return min(dx, dy)
}

// The quiet zone is kept clear, nothing overlaps, all stays in the frame, and
// the tag is whole; judged on what is laid out, in mm.
func TestNothingOverlaps(t *testing.T) {
	t.Parallel()
	for _, s := range Stocks() {
		for _, kind := range kinds {
			for i := range uglyNames {
				for _, dpi := range []int{203, 300, 600} {
					if dpi != s.DPI && (s.LabelHMM < 18 || kind.name != "jar" && kind.name != "bottle") {
						continue // on the lowest labels one dot more or less decides: their own printer counts
					}
					d, err := Draw(Sheet{Stock: s, DPI: dpi}, kind.label(i))
					if err != nil {
						checkRefusal(t, err, mayRefuse(s, kind.name))
						continue
					}
					where := s.ID + " " + kind.name + " " + uglyNames[i]
					if s.Continuous {
						s.LabelHMM = d.LenMM
					}
					checkItems(t, where, d, s, kind.label(i))
				}
			}
		}
	}
}

func checkItems(t *testing.T, where string, d Drawing, s Stock, l Label) {
	t.Helper()
	var words []string
	for i, a := range d.Items {
		a = inked(a)
		words = append(words, a.Text)
		for _, corner := range [][2]float64{{a.XMM, a.YMM}, {a.XMM + a.WMM, a.YMM}, {a.XMM, a.YMM + a.HMM}, {a.XMM + a.WMM, a.YMM + a.HMM}} {
			if a.Kind == CodeItem && s.CornerMM > 0 && !s.Disc() {
				break // a quiet zone's empty corner may lie in a die's round one
			}
			least := dieMarginMM - 0.01
			if a.Kind == CodeItem { // without ink at its edge
				least -= quietOverMM / 2
			}
			if toDieMM(s, corner[0], corner[1]) < least {
				t.Errorf("%s: outside the margin:\n%v", where, Drawing{Items: []Item{a}})
			}
		}
		for _, b := range d.Items[i+1:] {
			b = inked(b)
			const touch = 0.02
			if a.XMM+a.WMM > b.XMM+touch && b.XMM+b.WMM > a.XMM+touch && a.YMM+a.HMM > b.YMM+touch && b.YMM+b.HMM > a.YMM+touch {
				t.Errorf("%s: overlap:\n%v", where, Drawing{Items: []Item{a, b}})
			}
		}
	}
	text := strings.Join(words, " ")
	bare := strings.NewReplacer(" ", "", "-", "") // where a line ends, and how a tag is grouped
	for _, must := range mustBeWhole(l) {
		if !strings.Contains(bare.Replace(text), bare.Replace(must)) {
			t.Errorf("%s: %q is not whole in %q", where, must, text)
		}
	}
}

// inked is an item whose box holds accents and descenders, too.
func inked(it Item) Item {
	top, bottom := it.ink()
	it.YMM, it.HMM = top, bottom-top
	return it
}

// mustBeWhole is what no label may shorten.
func mustBeWhole(l Label) []string {
	switch l := l.(type) {
	case JarLabel:
		return []string{l.Tag}
	case SpareLabel:
		return []string{l.Tag}
	case LidLabel:
		return []string{l.Tag}
	case NeckLabel:
		return mustBeWhole(l.BottleLabel)
	case GiftLabel:
		return append(append(mustBeWhole(l.BottleLabel), l.To, l.Message), l.Uses...)
	case BottleLabel:
		return append([]string{l.Tag, l.Acidity, l.Net, l.Ingredients, l.Lot, l.Bottled}, l.Cautions...)
	}
	return nil
}

// On its own printer's grid every module is all black or all white dots.
func TestModulesFillWholeDots(t *testing.T) {
	for _, id := range []string{"roll-57x32", "letter-3x10", "a4-3x8"} {
		s := mustStock(t, id)
		l := testJar(0)
		d, err := Draw(Sheet{Stock: s}, l)
		if err != nil {
			t.Fatal(err)
		}
		code := d.Items[0]
		// This rasteriser rounds the page up to whole pixels and stretches to
		// fit, which smears edges by up to a quarter of a dot.
		page := pages(t, write(t, Sheet{Stock: s}, l), s.DPI)[0]
		x, y := s.Place(0)
		checkDots(t, page, code, snap(x+code.XMM, s.DPI), snap(y+code.YMM, s.DPI), 80)
	}
}

// checkDots compares every dot of a code and its quiet zone with what it
// should be; smear is the grey that the rasteriser's own stretching adds.
func checkDots(t *testing.T, page *image.Gray, it Item, left, top, smear int) {
	t.Helper()
	n := it.Code.Size()
	for my := -QuietModules; my < n+QuietModules; my++ {
		for mx := -QuietModules; mx < n+QuietModules; mx++ {
			for k := range it.Dots * it.Dots {
				x := left + (mx+QuietModules)*it.Dots + k%it.Dots
				y := top + (my+QuietModules)*it.Dots + k/it.Dots
				ink := 255 - int(page.GrayAt(x, y).Y)
				if it.Code.Black(mx, my) && ink < 255-smear || !it.Code.Black(mx, my) && ink > smear {
					t.Fatalf("dot %d, %d of module %d, %d has %d/255 ink, module black: %v", x, y, mx, my, ink, it.Code.Black(mx, my))
				}
			}
		}
	}
}

func TestFirstPlaceAndCopies(t *testing.T) {
	s := mustStock(t, "letter-3x10")
	pdf := write(t, Sheet{Stock: s, First: 29, Copies: 2}, testJar(1), testJar(2))
	drawn := pages(t, pdf, 203)
	if len(drawn) != 2 {
		t.Fatalf("%d pages, want 2", len(drawn))
	}
	for i, want := range map[int]Label{28: testJar(1), 29: testJar(1), 30: testJar(2), 31: testJar(2)} {
		text, _ := want.codeText()
		if got, err := readback.Decode(crop(drawn[i/30], s, i%30)); got != text {
			t.Errorf("place %d reads %q, want %q (%v)", i, got, text, err)
		}
	}
	for _, empty := range []int{0, 27} {
		if got, err := readback.Decode(crop(drawn[0], s, empty)); err == nil {
			t.Errorf("place %d should be empty, reads %q", empty, got)
		}
	}
}

// A printer's offset and scale move the labels; the code still sits on dots.
func TestAlignmentMovesLabels(t *testing.T) {
	s := mustStock(t, "letter-3x10")
	l := testJar(0)
	pdf := write(t, Sheet{Stock: s, First: 30, OffsetXMM: -2, OffsetYMM: 1.5, Scale: 1.004}, l)
	moved := s
	moved.LeftMM, moved.TopMM = s.LeftMM*1.004-2, s.TopMM*1.004+1.5
	moved.PitchXMM, moved.PitchYMM = s.PitchXMM*1.004, s.PitchYMM*1.004
	if got, err := readback.Decode(crop(pages(t, pdf, 300)[0], moved, 29)); got != l.URL {
		t.Errorf("reads %q (%v)", got, err)
	}
}

func TestSameInputSameBytes(t *testing.T) {
	labels := []Label{testJar(0), testBottle(4), testSpare(2), testJar(8)}
	first := write(t, Sheet{}, labels...)
	for range 5 {
		if !bytes.Equal(first, write(t, Sheet{}, labels...)) {
			t.Fatal("the same labels gave different bytes")
		}
	}
}

// One small request must not ask for a print that fills the memory.
func TestTooMuchAtOnce(t *testing.T) {
	many := make([]Label, 200)
	for i := range many {
		many[i] = testSpare(i)
	}
	var out bytes.Buffer
	err := Write(&out, Sheet{Copies: 1000}, many)
	if err == nil || !strings.Contains(err.Error(), "fewer copies") || out.Len() > 0 {
		t.Errorf("%v, %d bytes", err, out.Len())
	}
}
