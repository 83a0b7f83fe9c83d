package labels

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"image"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"cruet/internal/larder"
	"cruet/internal/needed"
	"cruet/labels/readback"
)

// The preview, drawn by Chromium, gives the codes that the page will have, and
// as much black as the printed page: letters are letters in both.
func TestPreviewLooksLikeThePage(t *testing.T) {
	browser := needed.Program(t, "chromium", "chromium-browser", "google-chrome")
	s := mustStock(t, "a4-3x8")
	sheet := Sheet{Stock: s, First: 5, Copies: 2, DPI: 300, Date: testDate}
	labels := []Label{testJar(0), testSpare(2), testJar(4), testBottle(1)}
	var svg bytes.Buffer
	made, err := Preview(context.Background(), &svg, sheet, labels)
	if err != nil {
		t.Fatal(err)
	}
	if made.Labels != 8 || made.Pages != 1 || made.PageHMM != 297 || !made.Worst.Good {
		t.Errorf("%+v", made)
	}
	dir := t.TempDir()
	in, out := filepath.Join(dir, "page.svg"), filepath.Join(dir, "page.png")
	if err := os.WriteFile(in, svg.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	// A window of the page's size at 96 dots per inch, three times finer.
	cmd := exec.Command(browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--force-device-scale-factor=3", "--window-size=794,1123",
		"--user-data-dir="+dir, "--screenshot="+out, "file://"+in)
	if said, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	drawn := loadGray(t, out)
	var got []string
	for _, f := range readback.Codes(drawn) {
		got = append(got, f.Text)
	}
	want := wantTexts(labels, 2)
	if len(got) != len(want) {
		t.Errorf("%d codes in the preview, want %d", len(got), len(want))
	}
	page := pages(t, write(t, sheet, labels...), 288)[0]
	for i := 4; i < 12; i++ {
		a, b := blackPart(crop(drawn, s, i)), blackPart(crop(page, s, i))
		if a < 0.9*b || a > 1.1*b+0.01 {
			t.Errorf("place %d: %.3f black in the preview, %.3f on the page", i+1, a, b)
		}
	}
}

func blackPart(g *image.Gray) float64 {
	n := 0
	for y := g.Rect.Min.Y; y < g.Rect.Max.Y; y++ {
		for x := g.Rect.Min.X; x < g.Rect.Max.X; x++ {
			if g.GrayAt(x, y).Y < 100 {
				n++
			}
		}
	}
	return float64(n) / float64(g.Rect.Dx()*g.Rect.Dy())
}

// A preview is well-formed on every stock, and refuses what printing refuses.
func TestPreviewOnEveryStock(t *testing.T) {
	for _, s := range Stocks() {
		var svg bytes.Buffer
		made, err := Preview(context.Background(), &svg, Sheet{Stock: s}, []Label{testJar(1), testJar(6)})
		if err != nil {
			checkRefusal(t, err, mayRefuse(s, "jar"))
			continue
		}
		if err := xml.Unmarshal(svg.Bytes(), new(struct{})); err != nil {
			t.Errorf("%s: %v", s.ID, err)
		}
		if s.Continuous && (made.PageHMM < minCutMM || made.PageHMM >= maxCutMM) {
			t.Errorf("%s is cut to %g mm", s.ID, made.PageHMM)
		}
	}
	var problems larder.Problems
	_, err := Preview(context.Background(), new(bytes.Buffer), Sheet{First: 99}, []Label{testJar(0)})
	if !errors.As(err, &problems) || problems[0].Field != "first" {
		t.Error(err)
	}
}

// A cancelled print writes nothing; progress counts up to all.
func TestPrintCancelled(t *testing.T) {
	var labels []Label
	for i := range 2*batchSize + 1 {
		labels = append(labels, testSpare(i))
	}
	ctx, cancel := context.WithCancel(context.Background())
	var out bytes.Buffer
	_, err := Print(ctx, &out, Sheet{}, labels, func(int) { cancel() })
	if !errors.Is(err, context.Canceled) || out.Len() > 0 {
		t.Errorf("%v, %d bytes", err, out.Len())
	}
	var steps []int
	made, err := Print(context.Background(), &out, Sheet{}, labels, func(done int) { steps = append(steps, done) })
	if err != nil || made.Labels != len(labels) || steps[len(steps)-1] != len(labels) || len(steps) < 3 {
		t.Errorf("%v, %d labels, %v", err, made.Labels, steps)
	}
}

// The worst label speaks for all.
func TestWorstScore(t *testing.T) {
	bad := testJar(1)
	bad.DiameterMM = 40
	made, err := Print(context.Background(), new(bytes.Buffer), Sheet{}, []Label{testJar(0), bad, testJar(2)}, nil)
	if err != nil || made.Worst.Good || !strings.Contains(made.Worst.String(), "jar of 40 mm") {
		t.Errorf("%v, %s", err, made.Worst)
	}
	if !strings.Contains(strings.Join(made.Losses, "\n"), "label 2: no room for") {
		t.Errorf("losses: %q", made.Losses)
	}
}

// The next step is the last that a label gives up: without room for it on one line, its
// date goes to a second, whole.
func TestLongStepTakesTwoLines(t *testing.T) {
	l := testJar(0)
	l.Batch, l.Next = "Quince juice", []string{"strain and add the mother 27 Nov – 18 Dec", "read the gravity 5–7 Dec"}
	stock, err := StockByID("a4-3x7")
	if err != nil {
		t.Fatal(err)
	}
	d, err := Draw(Sheet{Stock: stock}, l)
	if err != nil || len(d.Losses) > 0 {
		t.Fatalf("%v, %q", err, d.Losses)
	}
	var lines []string
	for _, item := range d.Items {
		if item.Text != "" {
			lines = append(lines, item.Text)
		}
	}
	for _, want := range []string{"strain and add the mother", "27 Nov – 18 Dec", "read the gravity 5–7 Dec"} {
		if !slices.Contains(lines, want) {
			t.Errorf("%q is not a line of %q", want, lines)
		}
	}
	// A step that even so has no room is told as lost, none of it printed.
	l.Next[0] = "strain through two layers of cloth and add the mother 27 Nov – 18 Dec"
	if d, err = Draw(Sheet{Stock: stock}, l); err != nil || len(d.Losses) != 1 || !strings.Contains(d.Losses[0], l.Next[0]) {
		t.Errorf("%v, %q", err, d.Losses)
	}
}
