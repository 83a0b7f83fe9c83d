package labels

import (
	"encoding/xml"
	"fmt"
	"image"
	"image/draw"
	_ "image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"cruet/internal/needed"
	"cruet/labels/readback"
)

func runTool(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(needed.Program(t, name), args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}

var toolStocks = []string{"letter-3x10", "a4-3x8", "roll-57x32", "letter-3x4-round51"}

func toolPDF(t *testing.T, s Stock) (path string, labels []Label) {
	t.Helper()
	for i := range uglyNames {
		labels = append(labels, testJar(i))
		if !mayRefuse(s, "bottle") {
			labels = append(labels, testBottle(i))
		}
	}
	path = filepath.Join(t.TempDir(), s.ID+".pdf")
	if err := os.WriteFile(path, write(t, Sheet{Stock: s}, labels...), 0o600); err != nil {
		t.Fatal(err)
	}
	return path, labels
}

// A second rasteriser and a second decoder, neither of them Go's.
func TestOtherDecoder(t *testing.T) {
	t.Parallel()
	for _, id := range toolStocks {
		for _, dpi := range []int{203, 300} {
			t.Run(fmt.Sprint(id, "/", dpi), func(t *testing.T) {
				s := mustStock(t, id)
				needed.Program(t, "zbarimg")
				path, labels := toolPDF(t, s)
				base := strings.TrimSuffix(path, ".pdf")
				runTool(t, "pdftoppm", "-r", fmt.Sprint(dpi), "-png", "-gray", path, base)
				files, _ := filepath.Glob(base + "-*.png")
				if len(files) != (len(labels)+s.Places()-1)/s.Places() {
					t.Fatalf("%d pages for %d labels", len(files), len(labels))
				}
				cuts := make([]*image.Gray, len(labels))
				var page *image.Gray
				for i := range labels {
					if i%s.Places() == 0 {
						page = loadGray(t, files[i/s.Places()])
					}
					cuts[i] = crop(page, s, i%s.Places())
				}
				read := zbar(t, cuts)
				for i, l := range labels {
					want, _ := l.codeText()
					if got, err := readback.Decode(cuts[i]); got != want {
						t.Errorf("label %d reads %q, want %q (%v)", i, got, want, err)
					}
					if read[i] != want {
						t.Errorf("zbar reads label %d as %q, want %q", i, read[i], want)
					}
				}
			})
		}
	}
}

func loadGray(t *testing.T, path string) *image.Gray {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	gray := image.NewGray(img.Bounds())
	draw.Draw(gray, gray.Rect, img, img.Bounds().Min, draw.Src)
	return gray
}

// grayMaps writes pictures as plain grey maps, named by their numbers.
func grayMaps(t *testing.T, pictures []*image.Gray) (paths []string) {
	t.Helper()
	dir := t.TempDir()
	for i, img := range pictures {
		b := img.Rect
		data := fmt.Appendf(nil, "P5 %d %d 255\n", b.Dx(), b.Dy())
		for y := b.Min.Y; y < b.Max.Y; y++ {
			start := img.PixOffset(b.Min.X, y)
			data = append(data, img.Pix[start:start+b.Dx()]...)
		}
		path := filepath.Join(dir, fmt.Sprint(i, ".pgm"))
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		paths = append(paths, path)
	}
	return paths
}

// numberOf is the number that grayMaps gave a file.
func numberOf(t *testing.T, path string) int {
	t.Helper()
	i, err := strconv.Atoi(strings.TrimSuffix(filepath.Base(path), ".pgm"))
	if err != nil {
		t.Fatal(err)
	}
	return i
}

// zbar reads pictures with zbar.
func zbar(t *testing.T, pictures []*image.Gray) []string {
	t.Helper()
	args := append([]string{"--quiet", "--xml", "-Sdisable", "-Sqrcode.enable"}, grayMaps(t, pictures)...)
	out, _ := exec.Command(needed.Program(t, "zbarimg"), args...).Output() // fails when one is not read
	var doc struct {
		Sources []struct {
			Href string `xml:"href,attr"`
			Data string `xml:"index>symbol>data"`
		} `xml:"source"`
	}
	if err := xml.Unmarshal(out, &doc); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	read := make([]string, len(pictures))
	for _, source := range doc.Sources {
		read[numberOf(t, source.Href)] = source.Data
	}
	return read
}

// zxing reads pictures with the C++ port of ZXing, which has a detector and a
// binariser of its own.
func zxing(t *testing.T, pictures []*image.Gray) []string {
	t.Helper()
	args := append([]string{"-1", "-format", "QRCode"}, grayMaps(t, pictures)...)
	out, _ := exec.Command(needed.Program(t, "ZXingReader"), args...).Output() // likewise
	read := make([]string, len(pictures))
	for _, line := range strings.Split(string(out), "\n") {
		path, rest, ok := strings.Cut(line, " ")
		if !ok || !strings.HasSuffix(path, ".pgm") {
			continue
		}
		// FILE FORMAT "TEXT"
		if _, text, ok := strings.Cut(rest, `"`); ok {
			read[numberOf(t, path)] = strings.TrimSuffix(text, `"`)
		}
	}
	return read
}

// On its own grid, without stretching, each dot is black or white; pdftoppm
// greys a dot by up to 80/255 when two edges touch it without entering.
func TestDotsArePure(t *testing.T) {
	for _, id := range []string{"roll-57x32", "letter-3x10", "a4-3x8"} {
		s := mustStock(t, id)
		path := filepath.Join(t.TempDir(), "one.pdf")
		if err := os.WriteFile(path, write(t, Sheet{Stock: s}, testJar(0)), 0o600); err != nil {
			t.Fatal(err)
		}
		runTool(t, "pdftoppm", "-r", fmt.Sprint(s.DPI), "-png", "-gray", "-singlefile", path, strings.TrimSuffix(path, ".pdf"))
		page := loadGray(t, strings.TrimSuffix(path, ".pdf")+".png")
		d, err := Draw(Sheet{Stock: s}, testJar(0))
		if err != nil {
			t.Fatal(err)
		}
		x, y := s.Place(0)
		it := d.Items[0]
		checkDots(t, page, it, snap(x+it.XMM, s.DPI), snap(y+it.YMM, s.DPI), 80)
	}
}

func TestPDFIsSound(t *testing.T) {
	for _, id := range toolStocks {
		path, _ := toolPDF(t, mustStock(t, id))
		t.Run(id+"/structure", func(t *testing.T) { runTool(t, "qpdf", "--check", path) })
		t.Run(id+"/fonts", func(t *testing.T) {
			lines := strings.Split(strings.TrimSpace(runTool(t, "pdffonts", path)), "\n")
			if len(lines) < 4 {
				t.Fatalf("fonts: %q", lines)
			}
			for _, line := range lines[2:] {
				if f := strings.Fields(line); f[len(f)-5] != "yes" { // column "emb"
					t.Errorf("not embedded: %s", line)
				}
			}
		})
	}
}

// Text comes out of the PDF as it went in, accents and other alphabets too.
func TestTextExtracts(t *testing.T) {
	s := mustStock(t, "letter-2x3") // large enough for every name on few lines
	path, labels := toolPDF(t, s)
	text := strings.Join(strings.Fields(runTool(t, "pdftotext", "-raw", path, "-")), " ")
	for i := range uglyNames {
		name, err := clean("name", uglyNames[i])
		if err != nil {
			t.Fatal(err)
		}
		if len(name) < 50 && !strings.Contains(strings.ReplaceAll(text, " ", ""), strings.ReplaceAll(name, " ", "")) {
			t.Errorf("%q is not in the PDF's text", name)
		}
	}
	for _, l := range labels {
		if b, ok := l.(BottleLabel); ok {
			for _, want := range []string{typed(b.Tag), b.Acidity, b.Net, b.Bottled, b.Ingredients, b.Cautions[0], b.Number} {
				if !strings.Contains(text, want) {
					t.Errorf("%q is not in the PDF's text", want)
				}
			}
		}
	}
}
