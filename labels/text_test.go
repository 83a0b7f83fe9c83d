package labels

import (
	"bytes"
	"errors"
	"math"
	"os"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"cruet/internal/needed"
	"cruet/labels/readback"
)

// Text that cannot be set gives an error that names the field and the
// characters, and nothing is written.
func TestUnprintableText(t *testing.T) {
	tests := []struct{ name, want string }{
		{"Pear 🍐 perry", "U+1F350"},
		{"梨酢", "U+68A8"},
		{"חומץ", "right to left"},
		{"خل", "right to left"},
		{"सिरका", "joins its letters"},
		{"bad \xff\xfe utf", "not valid UTF-8"},
		{"bell \a", "control characters: U+0007"},
		{"private \ue000", "U+E000"},
		{"null \x00", "U+0000"},
	}
	for _, tt := range tests {
		jar := testJar(0)
		jar.Batch = tt.name
		var b bytes.Buffer
		err := Write(&b, Sheet{Date: testDate}, []Label{jar})
		var text *TextError
		if !errors.As(err, &text) || !strings.Contains(err.Error(), tt.want) || !strings.Contains(err.Error(), "batch name") {
			t.Errorf("%q: %v, want %q", tt.name, err, tt.want)
		}
		if b.Len() > 0 {
			t.Errorf("%q: %d bytes were written in spite of the error", tt.name, b.Len())
		}
	}
}

func TestCleanComposesAndTidies(t *testing.T) {
	tests := map[string]string{
		"Cre\u0301me":           "Créme", // Unicode Standard Annex 15: e + U+0301 composes to U+00E9
		"  two\t\n spaces  ":    "two spaces",
		"soft\u00adhyphen":      "softhyphen",
		"non\u2011breaking":     "non-breaking",
		"zero\u200bwidth\ufeff": "zerowidth",
	}
	for in, want := range tests {
		if got, err := clean("name", in); got != want || err != nil {
			t.Errorf("clean(%q) = %q, %v; want %q", in, got, err, want)
		}
	}
}

func TestBadSheets(t *testing.T) {
	jar := testJar(0)
	tests := []struct {
		want  string
		sheet Sheet
	}{
		{"places 1 to 30", Sheet{First: 31}},
		{"places 1 to 30", Sheet{First: -1}},
		{"1 to 1000 copies", Sheet{Copies: -1}},
		{"1 to 1000 copies", Sheet{Copies: 5000}},
		{"dots per inch", Sheet{DPI: 72}},
		{"offset", Sheet{OffsetXMM: 50}},
		{"offset", Sheet{OffsetYMM: math.NaN()}},
		{"scale", Sheet{Scale: 2}},
		{"scale", Sheet{Scale: math.NaN()}},
		{"font", Sheet{Font: []byte("not a font, surely")}},
	}
	for _, tt := range tests {
		var b bytes.Buffer
		if err := Write(&b, tt.sheet, []Label{jar}); err == nil || !strings.Contains(err.Error(), tt.want) || b.Len() > 0 {
			t.Errorf("%+v: %v, want %q", tt.sheet, err, tt.want)
		}
	}
	for _, none := range [][]Label{nil, {}, {nil}} {
		if err := Write(&bytes.Buffer{}, Sheet{}, none); err == nil {
			t.Error("no label gave no error")
		}
	}
}

func TestBadLabels(t *testing.T) {
	noTag, noURL, long := testJar(0), testJar(0), testJar(0)
	noTag.Tag, noURL.URL, long.URL = "", "", "http://"+strings.Repeat("x", 4000)
	dense := testJar(0)
	dense.URL = "http://" + strings.Repeat("x", 400)
	hugeTag := testJar(0)
	hugeTag.Tag = strings.Repeat("W", 60)
	for want, l := range map[string]Label{"needs a tag": noTag, "needs a text": noURL, "more than any QR code": long, "modules of": dense, "does not fit whole": hugeTag} {
		err := Write(&bytes.Buffer{}, Sheet{}, []Label{testJar(1), l})
		var which *LabelError
		if err == nil || !strings.Contains(err.Error(), want) || !errors.As(err, &which) || which.Index != 1 {
			t.Errorf("%v, want %q of label 2", err, want)
		}
	}
}

// A stock that cannot give readable modules is refused, naming those that can.
func TestRefusalNamesOtherStocks(t *testing.T) {
	err := Write(&bytes.Buffer{}, Sheet{Stock: mustStock(t, "letter-4x20")}, []Label{testJar(0)})
	var room *RoomError
	if !errors.As(err, &room) || !contains(room.Fits, "letter-3x10") || contains(room.Fits, "letter-4x20") {
		t.Fatalf("got %v", err)
	}
	for _, id := range room.Fits {
		if err := Write(&bytes.Buffer{}, Sheet{Stock: mustStock(t, id)}, []Label{testJar(0)}); err != nil {
			t.Errorf("%s was named, but: %v", id, err)
		}
	}
}

func TestLinesBreakWhereTheyMay(t *testing.T) {
	f := builtin()[0].bold
	for _, tt := range []struct{ text, want string }{
		{"well-kept cider-vinegar", "well-|kept |cider-|vinegar"},
		{"L-0412 of 2026-10-22", "L-0412 |of |2026-10-22"},
		{"pears/quinces", "pears/|quinces"},
		{"22\u00a0Oct\u00a02026 too", "22\u00a0Oct\u00a02026 |too"},
	} {
		var parts []string
		for _, p := range pieces(f, tt.text) {
			parts = append(parts, p.text)
		}
		if got := strings.Join(parts, "|"); got != tt.want {
			t.Errorf("%q breaks as %q, want %q", tt.text, got, tt.want)
		}
	}
}

// A text that is set never is wider than its room, and loses nothing unless
// it ends in an ellipsis.
func TestFitStaysInside(t *testing.T) {
	for _, name := range uglyNames {
		text, err := clean("name", name)
		if err != nil {
			t.Fatal(err)
		}
		f, err := fontSet(builtin()).pick(text, true)
		if err != nil {
			t.Fatal(err)
		}
		for w := 8.0; w < 90; w += 3.7 {
			room := fitting{wMM: w, hMM: 9, maxPt: 14, minPt: 6, lines: 3, lead: 1.15}
			k := fit(f, text, room)
			for _, line := range k.lines {
				if got := f.widthEm(line) * mm(k.sizePt); got > w+1e-6 {
					t.Errorf("%q in %.1f mm: line %q is %.2f mm wide", text, w, line, got)
				}
			}
			if blockMM(k, 1.15) > 9+1e-6 {
				t.Errorf("%q in %.1f mm is %.2f mm high", text, w, blockMM(k, 1.15))
			}
			squash := strings.NewReplacer(" ", "", "-", "")
			if whole := squash.Replace(strings.Join(k.lines, "")); !k.clipped && whole != squash.Replace(text) {
				t.Errorf("%q became %q", text, k.lines)
			}
		}
	}
}

// NIST Handbook 44, appendix C: 1 US fluid ounce is 29.57353 mL. Rounded down:
// 250 / 375 / 500 / 750 mL are 8.45 / 12.68 / 16.91 / 25.36 fl oz.
func TestNetText(t *testing.T) {
	if math.Abs(mLPerFlOz-29.57353) > 5e-6 {
		t.Errorf("a fluid ounce is %g mL", mLPerFlOz)
	}
	for ml, want := range map[float64]string{250: "250 mL (8.4 fl oz)", 375: "375 mL (12.6 fl oz)", 500: "500 mL (16.9 fl oz)", 750: "750 mL (25.3 fl oz)", 249.9: "249 mL (8.4 fl oz)"} {
		if got := NetText(ml); got != want {
			t.Errorf("NetText(%g) = %q, want %q", ml, got, want)
		}
	}
}

func TestReadability(t *testing.T) {
	jar := testJar(0)
	good, err := Readability(jar, Sheet{Stock: mustStock(t, "roll-57x32")})
	if err != nil || !good.Good || good.Dots != 5 || good.Version != 3 || math.Abs(good.ModuleMM-5*25.4/203) > 1e-9 {
		t.Errorf("got %+v, %v", good, err)
	}
	small, err := Readability(jar, Sheet{Stock: mustStock(t, "letter-4x15")})
	if err != nil || small.Good || !strings.Contains(small.String(), "Use a larger stock") {
		t.Errorf("got %v, %v", small, err)
	}
	jar.DiameterMM = 50
	if curved, err := Readability(jar, Sheet{}); err != nil || curved.Good || !strings.Contains(curved.String(), "jar of 50 mm") {
		t.Errorf("got %v, %v", curved, err)
	}
	jar.DiameterMM = 76 // wide enough for 18.3 mm
	if wide, err := Readability(jar, Sheet{Stock: mustStock(t, "a4-3x8")}); err != nil || !wide.Good || wide.SymbolMM > 7*76/29.0 {
		t.Errorf("got %v, %v", wide, err)
	}
}

func FuzzWrite(f *testing.F) {
	for _, name := range uglyNames {
		f.Add(name, "A", "strain 29 Nov", uint8(0))
	}
	f.Add("🍐\x00\xff", "", "خل", uint8(7))
	f.Add(strings.Repeat("W", 3000), "ABC", strings.Repeat("i ", 900), uint8(13))
	f.Fuzz(func(t *testing.T, name, letter, next string, pick uint8) {
		s := Stocks()[int(pick)%len(Stocks())]
		jar := testJar(int(pick))
		jar.Batch, jar.Jar, jar.Next = name, letter, []string{next}
		bottle := testBottle(int(pick))
		bottle.Name, bottle.Ingredients = name, next
		for _, l := range []Label{jar, bottle} {
			var b bytes.Buffer
			err := Write(&b, Sheet{Stock: s, Date: time.Unix(0, 0)}, []Label{l})
			if err == nil && !bytes.HasPrefix(b.Bytes(), []byte("%PDF")) {
				t.Errorf("no PDF for %q", name)
			}
			if err != nil && (b.Len() > 0 || !utf8.ValidString(err.Error())) {
				t.Errorf("%q: %d bytes beside the error %q", name, b.Len(), err)
			}
		}
	})
}

// A font of one's own sets what the built-in ones lack; one that cannot be
// embedded is refused. The font is the system's, when it has it.
func TestOwnFont(t *testing.T) {
	const path = "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf"
	ttf, err := os.ReadFile(path)
	if err != nil {
		needed.Missing(t, path+" is not installed")
	}
	jar := testJar(0)
	jar.Batch = "ღვინის ძმარი" // Georgian
	if err := Write(&bytes.Buffer{}, Sheet{}, []Label{jar}); err == nil || !strings.Contains(err.Error(), "give a TrueType font") {
		t.Errorf("without the font: %v", err)
	}
	d, err := Draw(Sheet{Font: ttf}, jar)
	if err != nil || !strings.Contains(d.String(), jar.Batch) {
		t.Errorf("with the font: %v\n%v", err, d)
	}
	if got, err := readback.Decode(crop(pages(t, write(t, Sheet{Font: ttf}, jar), 203)[0], DefaultStock(), 0)); got != jar.URL {
		t.Errorf("reads %q (%v)", got, err)
	}
	for _, bad := range [][]byte{ttf[:len(ttf)/3], ttf[:200], append([]byte("OTTO"), ttf[4:]...)} {
		if err := Write(&bytes.Buffer{}, Sheet{Font: bad}, []Label{jar}); err == nil {
			t.Errorf("a broken font of %d bytes was taken", len(bad))
		}
	}
}
