package labels

import (
	"fmt"
	"image"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"cruet/internal/larder"
	"cruet/internal/needed"
	"cruet/labels/readback"
)

// ß and the like: the Unicode Character Database (SpecialCasing.txt). The others
// are how the places and words are commonly written in English.
func TestTransliterate(t *testing.T) {
	for text, want := range map[string]string{
		"Straße": "STRASSE", "Łódź": "LODZ", "Malmö": "MALMO", "København": "KOBENHAVN", "smörgås": "SMORGAS", "Œuvre": "OEUVRE", "İzmir": "IZMIR",
		"Κόρινθος": "KORINTHOS", "Харьков": "KHARKOV", "Čačak": "CACAK", "Đà Lạt": "DA LAT", "ro & mk, no. 4": "RO AND MK - NO. 4", "ask@quince": "ASK AT QUINCE", "5.0 ± 0.1 %": "5.0 +/- 0.1 %",
	} {
		if got, lost := Transliterate(text); got != want || lost != "" {
			t.Errorf("%q: %q (lost %s), want %q", text, got, lost, want)
		}
	}
	if got, lost := Transliterate("梨酢 pear"); got != "PEAR" || !strings.Contains(lost, "U+68A8") {
		t.Errorf("%q, lost %q", got, lost)
	}
}

// Alphanumeric mode of ISO/IEC 18004 holds 45 characters; at level M versions 4
// and 5 hold 90 and 122 of them (table 7).
func TestFactsFitTheCode(t *testing.T) {
	if len(factsAlphabet) != 45 {
		t.Fatalf("%d characters", len(factsAlphabet))
	}
	for n, version := range map[int]int{90: 4, 91: 5, MaxFacts: 5, MaxFacts + 1: 6} {
		c, err := NewCode(strings.Repeat("A1", n)[:n], LevelM)
		if err != nil || c.Version != version {
			t.Errorf("%d characters: version %d, %v", n, c.Version, err)
		}
	}
}

func TestFactsHoldWhatMatters(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.OneOf(rapid.StringN(0, 60, 120), rapid.SampledFrom(uglyNames))
		f := barley(t)
		f.Kitchen.MakerLine, f.Kitchen.MakerAddress = text.Draw(rt, "maker"), text.Draw(rt, "address")
		f.Trace.Batches[0].Base = larder.OtherBase
		f.Lot.Bases = []larder.Base{larder.OtherBase}
		f.Trace.Batches[0].Ingredients[0].Name = text.Draw(rt, "ingredient")
		f.Bottle.Number = rapid.IntRange(1, larder.MaxLotBottles).Draw(rt, "number")
		if rapid.Bool().Draw(rt, "unmeasured") {
			f.Lot.Acidity = larder.Acidity{Basis: larder.NotMeasured}
		}
		d, err := DraftBottle(f, Wanted{Code: Facts})
		if err != nil {
			rt.Fatal(err)
		}
		facts := d.Label.URL
		if len(facts) > MaxFacts || strings.Trim(facts, factsAlphabet) != "" {
			rt.Fatalf("%d characters: %q", len(facts), facts)
		}
		for _, want := range []string{strings.ToUpper(f.Lot.Acidity.LabelText()), fmt.Sprintf("L270103A/%d", f.Bottle.Number), "3 JAN 2027", "NOT FOR CANNING"} {
			if !strings.Contains(facts, want) {
				rt.Fatalf("%q is not in %q", want, facts)
			}
		}
	})
}

var factsStocks = []string{"letter-2x4", "letter-2x5", "a4-2x4", "a4-3x4", "roll-102x76", "roll-89x36", "letter-2x10"}

// factsCuts are bottle labels on their stocks, rasterised at the dots of a label
// printer, one picture a label, and what their codes should say.
func factsCuts(t *testing.T, draw func(pdf []byte) *image.Gray) (cuts []*image.Gray, want []string) {
	for _, id := range factsStocks {
		s := mustStock(t, id)
		for _, f := range []Filled{barley(t), pears(t)} {
			d := draft(t, f, Wanted{Rules: EU, Code: Facts})
			var l Label = d.Label
			if id == "letter-2x10" {
				l = d.Neck()
			}
			cuts = append(cuts, crop(draw(write(t, Sheet{Stock: s, DPI: 203}, l)), s, 0))
			want = append(want, d.Label.URL)
		}
	}
	return cuts, want
}

func TestFactsAreRead(t *testing.T) {
	cuts, want := factsCuts(t, func(pdf []byte) *image.Gray { return pages(t, pdf, 203)[0] })
	for i, cut := range cuts {
		if got, err := readback.Decode(cut); got != want[i] {
			t.Errorf("%s: %q, %v, want %q", factsStocks[i/2], got, err, want[i])
		}
	}
}

// Two more decoders, and another rasteriser. zxing-cpp is of one family with the
// gozxing that readback asks first, both being ports of ZXing: they may share a
// fault. zbar is unrelated to either, so its word is the independent one.
func TestFactsByOtherDecoders(t *testing.T) {
	needed.Program(t, "zbarimg")
	dir := t.TempDir()
	cuts, want := factsCuts(t, func(pdf []byte) *image.Gray {
		path := filepath.Join(dir, "label.pdf")
		if err := os.WriteFile(path, pdf, 0o600); err != nil {
			t.Fatal(err)
		}
		runTool(t, "pdftoppm", "-r", "203", "-png", "-gray", "-singlefile", path, filepath.Join(dir, "label"))
		return loadGray(t, filepath.Join(dir, "label.png"))
	})
	for name, read := range map[string]func(*testing.T, []*image.Gray) []string{"zbar": zbar, "zxing-cpp": zxing} {
		t.Run(name, func(t *testing.T) {
			for i, got := range read(t, cuts) {
				if got != want[i] {
					t.Errorf("%s: %q, want %q", factsStocks[i/2], got, want[i])
				}
			}
		})
	}
}

// On a bottle of 60 mm, which 250 mL come in, no stock and no layout makes a code of
// facts read from the side: with the least modules that phones read well it bends too
// far, whatever room there is, and a larger one would bend further. The score says so,
// and what helps. Only from some 98 mm of diameter on it would not.
func TestFactsOnANarrowBottle(t *testing.T) {
	f := barley(t)
	for _, id := range []string{"a4-3x7", "a4-2x4", "a4-2x2", "letter-2x4", "letter-1x1"} {
		for _, want := range []Wanted{{Rules: EU, Code: Facts}, {Plain: true, Code: Facts}} {
			d := draft(t, f, want)
			s, err := Readability(d.Print("bottle"), Sheet{Stock: mustStock(t, id)})
			if _, small := err.(*RoomError); small && id == "a4-3x7" && !want.Plain {
				continue // the words alone want more
			}
			if err != nil {
				t.Fatal(err)
			}
			// The least whole number of dots of 600 to the inch that gives 0.5 mm.
			if s.Dots != 12 || s.Version != 5 || s.Good || !strings.Contains(s.String(), "hold the phone straight in front") {
				t.Errorf("%s: %s", id, s)
			}
			if modules := s.SymbolMM / s.ModuleMM; GoodModuleMM*modules*modules <= curvePerDiamMM*d.Label.DiameterMM {
				t.Errorf("%s: %.0f modules would read from the side round %.0f mm; a smaller code is to be chosen", id, modules, d.Label.DiameterMM)
			}
			d.Label.DiameterMM = 100
			if s, err = Readability(d.Print("bottle"), Sheet{Stock: mustStock(t, id)}); err != nil || strings.Contains(s.String(), "bends out of sight") {
				t.Errorf("%s, round 100 mm: %s, %v", id, s, err)
			}
		}
	}
}

func TestFactsDates(t *testing.T) {
	w := larder.When{At: time.Date(2026, 12, 31, 23, 30, 0, 0, time.UTC), Precision: larder.About, SpreadDays: 3}
	dublin := time.FixedZone("UTC+1", 3600)
	if got := factsDate(w, dublin); got != "ABOUT 1 JAN 2027" {
		t.Error(got)
	}
}
