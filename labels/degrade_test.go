package labels

import (
	"bytes"
	"flag"
	"fmt"
	"image"
	"math"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"testing"

	"cruet/labels/readback"

	"github.com/jung-kurt/gofpdf"
	qrcode "github.com/skip2/go-qrcode"
)

// go test ./labels -run Degraded -v -trials 40 -family blurred prints a
// steadier table, of one family.
var trials = flag.Int("trials", 0, "photographs per cell of the degradation table; 0 is 3, and 12 where CI=true")

var onlyFamily = flag.String("family", "", "only the degradations with this in their name")

// The degradations, each beside a little blur and noise that every hand-held
// photograph has. floor is the least part that must read, of all stocks and
// printers together, with the decoder that is always there.
var families = []struct {
	name  string
	shots []shot
	floor float64
}{
	{"clean", []shot{{}}, 1},
	{"jar of 60, 76, 86 mm, turned 10 deg", []shot{{diameterMM: 60, turnDeg: 10}, {diameterMM: 76, turnDeg: 10}, {diameterMM: 86, turnDeg: 10}}, 0.97},
	{"jar of 76, 86 mm, turned 20 deg", []shot{{diameterMM: 76, turnDeg: 20}, {diameterMM: 86, turnDeg: 20}}, 0.85},
	{"held at 15 and 30 deg", []shot{{turnDeg: 15, tiltDeg: 10}, {tiltDeg: 30}, {turnDeg: 30}}, 0.97},
	{"blurred", []shot{{blurPx: 0.8}, {blurPx: 1.2}}, 0.95},
	{"far out of focus", []shot{{blurPx: 1.6}, {blurPx: 2.2}}, 0.7},
	{"noisy", []shot{{noise: 18}, {noise: 28}}, 0.9},
	{"uneven light", []shot{{shade: 0.6}, {shade: 0.75}}, 0.97},
	{"stained 4 and 8 %", []shot{{stain: 0.04}, {stain: 0.08}}, 0.7},
	{"ink 10 % lean and fat", []shot{{gain: -0.1}, {gain: 0.1}}, 0.95},
	{"all of it, mildly", []shot{{diameterMM: 86, turnDeg: 8, tiltDeg: 5, blurPx: 0.7, noise: 6, shade: 0.3, stain: 0.03, gain: 0.06}}, 0.8},
	{"all of it", []shot{{diameterMM: 86, turnDeg: 10, tiltDeg: 8, blurPx: 0.9, noise: 10, shade: 0.4, stain: 0.05, gain: -0.1}}, 0.7},
}

// frames is how many a phone looks at before its owner gives up.
const frames = 3

// photos are of the same labels under the same accidents, ours and plain.
type photos struct {
	texts       []string
	ours, plain []view
}

// view is what the phone sees, frame by frame.
type view func(frame int) *image.Gray

// readers tell what each picture says; "" where nothing could be read.
type reader struct {
	name string
	read func(t *testing.T, pictures []*image.Gray) []string
}

// Our labels survive what a kitchen does to them, and better than the plain way
// of placing a code: the library's own picture, level M, scaled into the same
// box. It fills the box just as ours does, with modules as large or, where level
// M makes do with a smaller version, larger; the same printer and camera, and the
// same accidents, befall both. Decoders of three families read them, where they
// are installed. In the table > says that ours are ahead, ~ that either may be,
// by chance.
func TestDegradedCodesStillRead(t *testing.T) {
	t.Parallel()
	n := *trials
	if n == 0 {
		n = 3
		if os.Getenv("CI") == "true" {
			n = 12
		}
	}
	decoders := decodersHere(t)
	var table strings.Builder
	fmt.Fprintf(&table, "\n%-38s %7s %7s %7s", "part read by "+decoders[0].name, "3x10", "3x8", "57x32")
	for _, d := range decoders {
		fmt.Fprintf(&table, " | %-6s   %6s", d.name, "plain")
	}
	table.WriteByte('\n')
	sums := make([][2]int, len(decoders))
	var printed [][]specimen
	for _, id := range []string{"letter-3x10", "a4-3x8", "roll-57x32"} {
		printed = append(printed, specimens(t, mustStock(t, id), n))
	}
	for nth, fam := range families {
		if !strings.Contains(fam.name, *onlyFamily) {
			continue
		}
		fmt.Fprintf(&table, "%-38s", fam.name)
		var all photos
		for _, list := range printed {
			p := takeFamily(list, nth, fam.shots)
			fmt.Fprintf(&table, " %7.3f", share(p.right(t, decoders[0], p.ours), p))
			all.texts, all.ours, all.plain = append(all.texts, p.texts...), append(all.ours, p.ours...), append(all.plain, p.plain...)
		}
		for i, d := range decoders {
			ours, plain := all.right(t, d, all.ours), all.right(t, d, all.plain)
			mark := compare(t, fam.name+" by "+d.name, ours, plain)
			fmt.Fprintf(&table, " | %6.3f %s %6.3f", share(ours, all), mark, share(plain, all))
			sums[i][0], sums[i][1] = sums[i][0]+count(ours), sums[i][1]+count(plain)
			if i == 0 && share(ours, all) < fam.floor {
				t.Errorf("%s: %.3f read, want %.2f", fam.name, share(ours, all), fam.floor)
			}
		}
		table.WriteByte('\n')
	}
	for i, d := range decoders {
		if *onlyFamily == "" && sums[i][0] <= sums[i][1] {
			t.Errorf("%s reads %d of ours, %d plain ones", d.name, sums[i][0], sums[i][1])
		}
	}
	t.Log(table.String())
}

// compare wants ours read more often than the plain ones wherever those are not
// all read. Both are the same label under the same accidents, so only pairs tell
// of which one is read and the other is not; where neither code had a better
// chance, they fall like tosses of a coin. Plain may be ahead in as many as a coin
// shows one time in twenty or more, and not beyond: some accidents, such as a
// splash over the alignment pattern, lose every code, however it is made.
func compare(t *testing.T, what string, ours, plain []bool) (mark string) {
	t.Helper()
	onlyOurs, onlyPlain := 0, 0
	for i := range ours {
		switch {
		case ours[i] && !plain[i]:
			onlyOurs++
		case plain[i] && !ours[i]:
			onlyPlain++
		}
	}
	switch {
	case count(plain) == len(plain) && onlyPlain == 0:
		return " "
	case onlyOurs > onlyPlain:
		return ">"
	case headsAtLeast(onlyPlain, onlyOurs+onlyPlain) >= 0.05:
		return "~"
	}
	t.Errorf("%s: %d read of which the plain one does not, %d the other way", what, onlyOurs, onlyPlain)
	return "<"
}

// headsAtLeast is the chance that n tosses of a coin show k heads or more.
func headsAtLeast(k, n int) (sum float64) {
	chance := math.Pow(0.5, float64(n)) // of i heads, in one order; times the orders
	for i := 0; i <= n; i++ {
		if i >= k {
			sum += chance
		}
		chance *= float64(n-i) / float64(i+1)
	}
	return sum
}

func count(list []bool) (n int) {
	for _, b := range list {
		if b {
			n++
		}
	}
	return n
}

func share(right []bool, p photos) float64 { return float64(count(right)) / float64(len(p.texts)) }

// right tells which labels are read as what they say, in one of the frames.
func (p photos) right(t *testing.T, d reader, views []view) []bool {
	out := make([]bool, len(p.texts))
	for frame := range frames {
		var left []int
		for i, done := range out {
			if !done {
				left = append(left, i)
			}
		}
		if len(left) == 0 {
			break
		}
		pictures := make([]*image.Gray, len(left))
		inParallel(len(left), func(k int) { pictures[k] = views[left[k]](frame) })
		for k, text := range d.read(t, pictures) {
			out[left[k]] = text == p.texts[left[k]]
		}
	}
	return out
}

// inParallel does n things on all cores.
func inParallel(n int, do func(i int)) {
	var wg sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for k := range workers {
		wg.Go(func() {
			for i := k; i < n; i += workers {
				do(i)
			}
		})
	}
	wg.Wait()
}

// decodersHere are the decoder that is always there, and those of the system.
func decodersHere(t *testing.T) []reader {
	list := []reader{{"gozxing", func(_ *testing.T, pictures []*image.Gray) []string {
		read := make([]string, len(pictures))
		inParallel(len(pictures), func(i int) { read[i], _ = readback.Decode(pictures[i]) })
		return read
	}}}
	for _, other := range []struct {
		program string
		reader
	}{{"zbarimg", reader{"zbar", zbar}}, {"ZXingReader", reader{"zxing", zxing}}} {
		if _, err := exec.LookPath(other.program); err == nil {
			list = append(list, other.reader)
		} else if os.Getenv("CI") == "true" {
			t.Fatalf("%s is not installed, and CI must have it", other.program)
		} else {
			t.Logf("%s is not installed; the table goes without it", other.program)
		}
	}
	return list
}

// specimen is one label, printed both ways.
type specimen struct {
	us, plain target
	dpi, nth  int
}

func specimens(t *testing.T, s Stock, trials int) (list []specimen) {
	for _, dpi := range []int{203, 300, 600} {
		for i := range trials {
			nth := i + 100*dpi + 1000000*int(s.LabelWMM) // another tag on each stock and printer
			l := testJar(nth)
			l.URL = addressOf(nth) + "/J/" + l.Tag
			us, plain := printed(t, s, l, dpi, nth)
			list = append(list, specimen{us, plain, dpi, nth})
		}
	}
	return list
}

// addressOf is where a kitchen's station may be found. Codes that carry the same
// address look alike, and one decoder may like or dislike them all for it.
func addressOf(nth int) string {
	a, b := nth*7919%254+1, nth*104729%254+1
	switch nth % 3 {
	case 0:
		return fmt.Sprintf("http://192.168.%d.%d:8080", a, b)
	case 1:
		return fmt.Sprintf("http://192.168.1.%d:8080", b)
	}
	return fmt.Sprintf("http://10.0.%d.%d:8080", a, b)
}

// viewOf keeps each frame, since several decoders look at it.
func viewOf(p target, s shot, seed uint64) view {
	var seen [frames]*image.Gray
	return func(frame int) *image.Gray {
		if seen[frame] == nil {
			seen[frame] = photograph(p, s, seed, frame)
		}
		return seen[frame]
	}
}

func takeFamily(list []specimen, fam int, shots []shot) (p photos) {
	for _, one := range list {
		for k, sh := range shots {
			sh.dpi = one.dpi
			// The same accidents befall both, and others each label.
			seed := uint64(one.nth*1000 + 10*fam + k)
			p.texts = append(p.texts, one.us.text)
			p.ours, p.plain = append(p.ours, viewOf(one.us, sh, seed)), append(p.plain, viewOf(one.plain, sh, seed))
		}
	}
	return p
}

// printed prints a label our way and the plain way, in black and white dots.
func printed(t *testing.T, s Stock, l JarLabel, dpi, nth int) (us, plain target) {
	t.Helper()
	d, err := Draw(Sheet{Stock: s, DPI: dpi}, l)
	if err != nil {
		t.Fatal(err)
	}
	it := d.Items[0]
	module := float64(it.Dots) * DotMM(dpi)
	us = target{text: l.URL, perMM: float64(dpi) / mmPerInch, xMM: it.XMM + it.WMM/2, yMM: it.YMM + it.HMM/2, sideMM: module * float64(it.Code.Size()), moduleMM: module}
	plain = us
	us.picture = bilevel(crop(pages(t, write(t, Sheet{Stock: s, DPI: dpi}, l), dpi)[0], s, 0))
	plain.picture = bilevel(crop(pages(t, plainPDF(t, s, it, l.URL, nth, dpi), dpi)[0], s, 0))
	// The same words stand round both.
	for y := range us.picture.Rect.Dy() {
		for x := range us.picture.Rect.Dx() {
			xMM, yMM := (float64(x)+0.5)/us.perMM, (float64(y)+0.5)/us.perMM
			inBox := xMM > it.XMM && xMM < it.XMM+it.WMM && yMM > it.YMM && yMM < it.YMM+it.HMM
			if i := y*us.picture.Stride + x; !inBox && i < len(plain.picture.Pix) {
				plain.picture.Pix[i] = us.picture.Pix[i]
			}
		}
	}
	return us, plain
}

// plainPDF places the library's picture in the same box.
func plainPDF(t *testing.T, s Stock, it Item, text string, nth, dpi int) []byte {
	t.Helper()
	img, err := qrcode.Encode(text, qrcode.Medium, 256)
	if err != nil {
		t.Fatal(err)
	}
	pdf := gofpdf.NewCustom(&gofpdf.InitType{UnitStr: "mm", Size: gofpdf.SizeType{Wd: s.PageWMM, Ht: s.PageHMM}})
	pdf.AddPage()
	pdf.RegisterImageOptionsReader("code", gofpdf.ImageOptions{ImageType: "PNG"}, bytes.NewReader(img))
	// Whoever places it so counts in millimetres, not in the printer's dots: on a
	// sheet of labels each lies elsewhere between two of them.
	x, y := s.Place(0)
	x += DotMM(dpi) * (float64(nth*37%100)/100 - 0.5)
	y += DotMM(dpi) * (float64(nth*61%100)/100 - 0.5)
	pdf.ImageOptions("code", x+it.XMM, y+it.YMM, it.WMM, it.HMM, false, gofpdf.ImageOptions{ImageType: "PNG"}, 0, "")
	var b bytes.Buffer
	if err := pdf.Output(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// bilevel is what a printer makes of greys.
func bilevel(g *image.Gray) *image.Gray {
	out := image.NewGray(image.Rect(0, 0, g.Rect.Dx(), g.Rect.Dy()))
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			if g.GrayAt(g.Rect.Min.X+x, g.Rect.Min.Y+y).Y >= 128 {
				out.Pix[y*out.Stride+x] = 255
			}
		}
	}
	return out
}
