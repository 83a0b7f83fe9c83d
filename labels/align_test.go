package labels

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image"
	"io"
	"math"
	"strings"
	"testing"

	"cruet/internal/larder"
	"cruet/labels/readback"
)

// A simulated printer that shifts by 1.5 and -0.8 mm and stretches by 0.6 %:
// what the proof page shows there, put into Align, lands labels within 0.05 mm.
func TestAlignUndoesThePrinter(t *testing.T) {
	const shiftX, shiftY, stretch = 1.5, -0.8, 1.006
	printed := func(x, y float64) (float64, float64) { return stretch*x + shiftX, stretch*y + shiftY }
	a, b := printed(20, 20)
	end, _ := printed(170, 20)
	dx, dy, scale, err := Align(a, b, end-a)
	if err != nil {
		t.Fatal(err)
	}
	s := mustStock(t, "letter-3x10")
	for i := range s.Places() {
		x, y := s.Place(i)
		gotX, gotY := printed(x*scale+dx, y*scale+dy)
		if math.Abs(gotX-x) > 0.05 || math.Abs(gotY-y) > 0.05 {
			t.Errorf("place %d lands at %.2f, %.2f mm instead of %.2f, %.2f", i, gotX, gotY, x, y)
		}
	}
	for _, bad := range [][3]float64{{20, 20, 120}, {20, 60, 150}, {math.NaN(), 20, 150}, {20, 20, math.Inf(1)}} {
		if _, _, _, err := Align(bad[0], bad[1], bad[2]); err == nil {
			t.Errorf("%v was taken", bad)
		}
	}
}

// The proof page's lines are where they say, measured on its picture.
func TestProofPage(t *testing.T) {
	var b bytes.Buffer
	if err := WriteProof(&b, Sheet{Stock: mustStock(t, "a4-3x8"), Date: testDate}); err != nil {
		t.Fatal(err)
	}
	page := pages(t, b.Bytes(), 300)[0]
	perMM := 300 / mmPerInch
	y := int(100 * perMM) // between two ticks of the upright scale: only its line
	var dark []int
	for x := range page.Rect.Dx() {
		if page.GrayAt(x, y+int(0.5*perMM)).Y < 128 && x < int(21*perMM) {
			dark = append(dark, x)
		}
	}
	if len(dark) == 0 || math.Abs((float64(dark[0]+dark[len(dark)-1])/2+0.5)/perMM-20) > 0.1 {
		t.Errorf("the upright line is at %v px, want 20 mm", dark)
	}
	if at := lastDark(page, int(20*perMM)); math.Abs(at/perMM-170) > 0.2 {
		t.Errorf("the level line ends at %.2f mm, want 170", at/perMM)
	}
	var problem larder.Problems
	if err := WriteProof(io.Discard, Sheet{Stock: mustStock(t, "roll-57x32")}); !errors.As(err, &problem) {
		t.Errorf("a roll: %v", err)
	}
}

func lastDark(page *image.Gray, y int) float64 {
	for x := page.Rect.Dx() - 1; x >= 0; x-- {
		if page.GrayAt(x, y).Y < 128 {
			return float64(x)
		}
	}
	return 0
}

func TestStockPictures(t *testing.T) {
	for _, s := range Stocks() {
		svg := s.SVG()
		if err := xml.Unmarshal([]byte(svg), new(struct{})); err != nil {
			t.Errorf("%s: %v", s.ID, err)
		}
		if got := strings.Count(svg, "<text "); got != s.Places() {
			t.Errorf("%s: %d numbers for %d places", s.ID, got, s.Places())
		}
	}
}

func TestVessels(t *testing.T) {
	if len(Vessels()) < 8 {
		t.Fatalf("only %d vessels", len(Vessels()))
	}
	for _, v := range Vessels() {
		if v.LowMM < 40 || v.HighMM < v.LowMM || v.HighMM > 250 || v.Name == "" {
			t.Errorf("%+v", v)
		}
	}
	for size, want := range map[float64]float64{500: 76, 946: 89, 3000: 135, 1400: 0, 20000: 0} {
		if got := JarDiameterMM(size); got != want {
			t.Errorf("a jar of %g mL: %g mm, want %g", size, got, want)
		}
	}
}

// A shelf sheet is titled, and every jar on it reads.
func TestShelfSheet(t *testing.T) {
	for _, id := range []string{"a4-3x8", "letter-3x10"} {
		s, err := ShelfStock(mustStock(t, id))
		if err != nil {
			t.Fatal(err)
		}
		var labels []Label
		for i := range s.Places() + 2 {
			labels = append(labels, testJar(i))
		}
		drawn := pages(t, write(t, Sheet{Stock: s, Title: "Cellar, left shelf", Outlines: true}, labels...), 203)
		for i, l := range labels {
			want, _ := l.codeText()
			if got, err := readback.Decode(crop(drawn[i/s.Places()], s, i%s.Places())); got != want {
				t.Errorf("%s: label %d reads %q, want %q (%v)", id, i, got, want, err)
			}
		}
	}
	if _, err := ShelfStock(mustStock(t, "roll-57x32")); err == nil {
		t.Error("a roll became a shelf sheet")
	}
}
