package labels

import (
	"bytes"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/jung-kurt/gofpdf"

	"cruet/labels/readback"
)

// readPDF gives the texts of all codes of a PDF, as "cruet labels test" sees them.
func readPDF(t *testing.T, pdf []byte) (texts []string) {
	t.Helper()
	err := readback.Pages(pdf, func(_ int, picture *image.Gray) error {
		for _, f := range readback.Codes(picture) {
			texts = append(texts, f.Text)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	sort.Strings(texts)
	return texts
}

func wantTexts(labels []Label, copies int) (texts []string) {
	for _, l := range labels {
		text, _ := l.codeText()
		for range copies {
			texts = append(texts, text)
		}
	}
	sort.Strings(texts)
	return texts
}

// The PDF itself, and what other programs make of it, gives all its codes: each
// copy, on every page.
func TestPDFReadsBackWithoutPDFium(t *testing.T) {
	t.Parallel()
	for _, id := range []string{"letter-3x10", "roll-57x32", "letter-3x4-round51"} {
		t.Run(id, func(t *testing.T) {
			s := mustStock(t, id)
			labels := []Label{testJar(0), testJar(3), LidLabel{testJar(5)}, testSpare(9), testSpare(10), testSpare(11), testJar(12)}
			pdf := write(t, Sheet{Stock: s, Copies: 2, Outlines: true}, labels...)
			want := strings.Join(wantTexts(labels, 2), "\n")
			if got := strings.Join(readPDF(t, pdf), "\n"); got != want {
				t.Errorf("reads\n%s\nwant\n%s", got, want)
			}
			path := filepath.Join(t.TempDir(), "in.pdf")
			if err := os.WriteFile(path, pdf, 0o600); err != nil {
				t.Fatal(err)
			}
			for _, by := range [][]string{{"qpdf", "--object-streams=generate", path, path + ".2"}, {"pdftocairo", "-pdf", path, path + ".2"}} {
				t.Run(by[0], func(t *testing.T) {
					runTool(t, by[0], by[1:]...)
					other, err := os.ReadFile(path + ".2")
					if err != nil {
						t.Fatal(err)
					}
					if got := strings.Join(readPDF(t, other), "\n"); got != want {
						t.Errorf("of %s reads\n%s\nwant\n%s", by[0], got, want)
					}
				})
			}
		})
	}
}

// A scanner's PDF is a JPEG a page.
func TestScannedPDFReadsBack(t *testing.T) {
	t.Parallel()
	s := mustStock(t, "a4-3x8")
	labels := []Label{testJar(0), testJar(3), testSpare(9)}
	scan := pages(t, write(t, Sheet{Stock: s, First: 5}, labels...), 300)[0]
	var picture bytes.Buffer
	if err := jpeg.Encode(&picture, scan, &jpeg.Options{Quality: 60}); err != nil {
		t.Fatal(err)
	}
	pdf := gofpdf.New("P", "mm", "A4", "")
	pdf.AddPage()
	pdf.RegisterImageOptionsReader("scan", gofpdf.ImageOptions{ImageType: "JPG"}, &picture)
	pdf.ImageOptions("scan", 1, 2, 208, 293, false, gofpdf.ImageOptions{}, 0, "")
	var out bytes.Buffer
	if err := pdf.Output(&out); err != nil {
		t.Fatal(err)
	}
	if got, want := strings.Join(readPDF(t, out.Bytes()), "\n"), strings.Join(wantTexts(labels, 1), "\n"); got != want {
		t.Errorf("reads\n%s\nwant\n%s", got, want)
	}
}

// What is no PDF, or a broken one, is an error or empty, never a crash.
func FuzzPages(f *testing.F) {
	var b bytes.Buffer
	if err := Write(&b, Sheet{Stock: DefaultStock(), Date: testDate}, []Label{testJar(0)}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add(b.Bytes()[:b.Len()/2])
	f.Add([]byte("%PDF-1.4\n1 0 obj\n<< /Type /Catalog /Pages 1 0 R /Kids [1 0 R 2 0 R] >>"))
	f.Add([]byte("%PDF-1.4\n1 0 obj <</Type/Catalog/Pages 2 0 R>> endobj 2 0 obj <</Kids[3 0 R]>> endobj 3 0 obj <</Type/Page/MediaBox[0 0 9 9]/Contents 4 0 R>> endobj 4 0 obj <</Length 9>> stream\n0 0 9 9 re f 1 0 0 cm endstream"))
	f.Fuzz(func(t *testing.T, data []byte) {
		drawn := 0
		err := readback.Pages(data, func(int, *image.Gray) error { drawn++; return nil })
		if err == nil && !bytes.Contains(data, []byte("%PDF-")) {
			t.Errorf("%d pages of what is no PDF", drawn)
		}
	})
}
