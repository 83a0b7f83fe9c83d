package labels

import (
	"bytes"
	"flag"
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"cruet/labels/readback"

	"github.com/jung-kurt/gofpdf"
	qrcode "github.com/skip2/go-qrcode"
)

// go test ./labels -run Degraded -v -trials 40 prints a steadier table.
var trials = flag.Int("trials", 0, "photographs per cell of the degradation table; 0 is 4, and 12 where CI=true")

// shot is one simulated photograph of a printed label: what went wrong with
// the print, how the label lies, and what the camera did. It is a calibration
// of our layouts against each other, not of real jars.
type shot struct {
	dpi        int     // of the printer
	gain       float64 // of ink over paper's edges, in parts of a module, negative for starved prints
	stain      float64 // part of the symbol covered
	diameterMM float64 // of the jar; 0 is flat
	turnDeg    float64 // round the jar's axis, or of a flat label
	tiltDeg    float64 // upwards
	blurPx     float64
	noise      float64 // standard deviation of 255
	shade      float64 // light lost from one side to the other, in parts
}

const (
	cameraMM = 180.0 // from lens to label
	pxPerMM  = 8.0   // on the label: 4.8 pixels a module of 0.6 mm
)

// The degradations, each beside a little blur and noise that every hand-held
// photograph has. floor is the least part that must read, of all stocks and
// printers together.
var families = []struct {
	name  string
	shots []shot
	floor float64
}{
	{"clean", []shot{{}}, 1},
	{"jar of 60, 76, 86 mm, turned 10 deg", []shot{{diameterMM: 60, turnDeg: 10}, {diameterMM: 76, turnDeg: 10}, {diameterMM: 86, turnDeg: 10}}, 0.95},
	{"jar of 76, 86 mm, turned 20 deg", []shot{{diameterMM: 76, turnDeg: 20}, {diameterMM: 86, turnDeg: 20}}, 0.75},
	{"held at 15 and 30 deg", []shot{{turnDeg: 15, tiltDeg: 10}, {tiltDeg: 30}, {turnDeg: 30}}, 0.9},
	{"blurred", []shot{{blurPx: 0.8}, {blurPx: 1.2}}, 0.85},
	{"noisy", []shot{{noise: 18}, {noise: 28}}, 0.8},
	{"uneven light", []shot{{shade: 0.4}, {shade: 0.6}}, 0.95},
	{"stained 4 and 8 %", []shot{{stain: 0.04}, {stain: 0.08}}, 0.65},
	{"ink 10 % lean and fat", []shot{{gain: -0.1}, {gain: 0.1}}, 0.95},
	{"all of it, mildly", []shot{{diameterMM: 86, turnDeg: 8, tiltDeg: 5, blurPx: 0.7, noise: 6, shade: 0.3, stain: 0.015, gain: 0.06}}, 0.7},
}

// target is a printed code: its label's picture, and where the code lies.
type target struct {
	text     string
	picture  *image.Gray
	perMM    float64
	xMM, yMM float64 // of the code's middle
	sideMM   float64 // of the symbol
	moduleMM float64
}

// Our labels survive what a kitchen does to them, at least as well as the
// plain way of placing a code: the library's own picture, level M, scaled into
// the same box.
func TestDegradedCodesStillRead(t *testing.T) {
	t.Parallel()
	n := *trials
	if n == 0 {
		n = 4
		if os.Getenv("CI") == "true" {
			n = 12
		}
	}
	var table strings.Builder
	fmt.Fprintf(&table, "\n%-40s %8s %8s %8s %8s | %8s\n", "part read", "3x10", "3x8", "57x32", "all", "plain")
	stocks := []string{"letter-3x10", "a4-3x8", "roll-57x32"}
	oursAll, plainAll := 0, 0
	for _, fam := range families {
		fmt.Fprintf(&table, "%-40s", fam.name)
		ours, plain, of := 0, 0, 0
		for _, id := range stocks {
			a, b, k := readFamily(t, mustStock(t, id), fam.shots, n)
			fmt.Fprintf(&table, " %8.3f", float64(a)/float64(k))
			ours, plain, of = ours+a, plain+b, of+k
		}
		fmt.Fprintf(&table, " %8.3f | %8.3f\n", float64(ours)/float64(of), float64(plain)/float64(of))
		if float64(ours) < fam.floor*float64(of) {
			t.Errorf("%s: %d of %d read, want %.0f %%", fam.name, ours, of, 100*fam.floor)
		}
		if float64(ours) < float64(plain)-math.Sqrt(float64(of)) { // the rest is chance: about two standard deviations
			t.Errorf("%s: %d of ours read, and %d plain ones", fam.name, ours, plain)
		}
		oursAll, plainAll = oursAll+ours, plainAll+plain
	}
	if oursAll <= plainAll {
		t.Errorf("%d of our codes read, %d plain ones", oursAll, plainAll)
	}
	t.Log(table.String())
}

func readFamily(t *testing.T, s Stock, shots []shot, trials int) (ours, plain, n int) {
	for _, dpi := range []int{203, 300, 600} {
		for i := range trials {
			// Another tag and other accidents in each cell, or one unlucky
			// tag would count nine times.
			nth := i + 100*dpi + 1000000*int(s.LabelWMM)
			us, other := printed(t, s, testJar(nth), dpi)
			for k, sh := range shots {
				sh.dpi = dpi
				// The same accidents befall both.
				seed := uint64(nth*1000 + k)
				n++
				if photograph(us, sh, seed) {
					ours++
				}
				if photograph(other, sh, seed) {
					plain++
				}
			}
		}
	}
	return ours, plain, n
}

// printed prints a label our way and the plain way, in black and white dots.
func printed(t *testing.T, s Stock, l JarLabel, dpi int) (us, plain target) {
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
	plain.picture = bilevel(crop(pages(t, plainPDF(t, s, it, l.URL), dpi)[0], s, 0))
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
func plainPDF(t *testing.T, s Stock, it Item, text string) []byte {
	t.Helper()
	img, err := qrcode.Encode(text, qrcode.Medium, 256)
	if err != nil {
		t.Fatal(err)
	}
	pdf := gofpdf.NewCustom(&gofpdf.InitType{UnitStr: "mm", Size: gofpdf.SizeType{Wd: s.PageWMM, Ht: s.PageHMM}})
	pdf.AddPage()
	pdf.RegisterImageOptionsReader("code", gofpdf.ImageOptions{ImageType: "PNG"}, bytes.NewReader(img))
	x, y := s.Place(0)
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

// photograph takes a picture of a target and tells whether it reads.
func photograph(p target, s shot, seed uint64) bool {
	rnd := rand.New(rand.NewPCG(seed, 7))
	half := (p.sideMM/2 + 5*p.moduleMM) * 1.15
	scale := pxPerMM * (0.9 + 0.2*rnd.Float64()) // nobody holds a phone at the same distance twice
	n := int(2 * half * scale)
	out := make([]float64, n*n)
	stains := newStains(p, s.stain, rnd)
	shiftX, shiftY, roll := rnd.Float64()-0.5, rnd.Float64()-0.5, (rnd.Float64()-0.5)*0.2
	aim := s.diameterMM / 2 * math.Sin(s.turnDeg*math.Pi/180) // at the code, wherever it has turned to
	for v := range n {
		for u := range n {
			x0, y0 := (float64(u)+shiftX)/scale-half, (float64(v)+shiftY)/scale-half
			x, y := x0*math.Cos(roll)-y0*math.Sin(roll), x0*math.Sin(roll)+y0*math.Cos(roll)
			light := 225.0 * (1 - s.shade*float64(u)/float64(n))
			lx, ly, ok := s.onLabel(x+aim, y)
			if !ok {
				out[v*n+u] = 60
				continue
			}
			out[v*n+u] = light * stains.dim(lx, ly) * (0.08 + 0.92*p.paper(lx, ly, s.gain))
		}
	}
	out = blur(out, n, math.Hypot(0.7, s.blurPx))
	img := image.NewGray(image.Rect(0, 0, n, n))
	for i, v := range out {
		img.Pix[i] = byte(math.Max(0, math.Min(255, v+rnd.NormFloat64()*math.Hypot(3, s.noise))))
	}
	got, err := readback.Decode(img)
	return err == nil && got == p.text
}

// onLabel follows the ray through x, y (mm, on a plane square to the camera at
// the label's middle) to a place on the label, in mm from the code's middle.
func (s shot) onLabel(x, y float64) (lx, ly float64, ok bool) {
	turn, tilt := s.turnDeg*math.Pi/180, s.tiltDeg*math.Pi/180
	// Tilt: turn the ray about the level axis through the label's middle.
	ox, oy, oz := 0.0, -cameraMM*math.Sin(tilt), -cameraMM*math.Cos(tilt)
	dx, dy, dz := x, y*math.Cos(tilt)+cameraMM*math.Sin(tilt), -y*math.Sin(tilt)+cameraMM*math.Cos(tilt)
	if s.diameterMM == 0 {
		// A flat label turned about the upright axis.
		nx, nz := math.Sin(turn), math.Cos(turn)
		k := -(nx*ox + nz*oz) / (nx*dx + nz*dz)
		px, py, pz := ox+k*dx, oy+k*dy, oz+k*dz
		return px*math.Cos(turn) - pz*math.Sin(turn), py, k > 0
	}
	r := s.diameterMM / 2 // the jar's axis stands at z = r
	a, b, c := dx*dx+dz*dz, ox*dx+(oz-r)*dz, ox*ox+(oz-r)*(oz-r)-r*r
	disc := b*b - a*c
	if disc <= 0 {
		return 0, 0, false
	}
	k := (-b - math.Sqrt(disc)) / a
	px, pz := ox+k*dx, oz+k*dz
	return r * (math.Atan2(px, r-pz) - turn), oy + k*dy, true
}

// paper is the whiteness of a place on the label, ink grown or shrunk.
func (p target) paper(xMM, yMM, gain float64) float64 {
	at := func(x, y float64) float64 {
		px, py := (p.xMM+x)*p.perMM-0.5, (p.yMM+y)*p.perMM-0.5
		x0, y0 := int(math.Floor(px)), int(math.Floor(py))
		fx, fy := px-float64(x0), py-float64(y0)
		get := func(x, y int) float64 {
			if !(image.Point{X: x, Y: y}.In(p.picture.Rect)) {
				return 1
			}
			return float64(p.picture.Pix[y*p.picture.Stride+x]) / 255
		}
		return (get(x0, y0)*(1-fx)+get(x0+1, y0)*fx)*(1-fy) + (get(x0, y0+1)*(1-fx)+get(x0+1, y0+1)*fx)*fy
	}
	w := at(xMM, yMM)
	if gain == 0 {
		return w
	}
	d := math.Abs(gain) * p.moduleMM / 2
	for _, o := range [][2]float64{{d, 0}, {-d, 0}, {0, d}, {0, -d}} {
		if v := at(xMM+o[0], yMM+o[1]); gain > 0 {
			w = math.Min(w, v)
		} else {
			w = math.Max(w, v)
		}
	}
	return w
}

// stains are splashes on the symbol, outside its three finders, which no code
// does without.
type stainList [][3]float64 // x, y, radius in mm

func newStains(p target, part float64, rnd *rand.Rand) stainList {
	var list stainList
	left := part * p.sideMM * p.sideMM
	for tries := 0; left > 0 && tries < 200; tries++ {
		r := p.moduleMM * (1 + rnd.Float64()*1.2)
		x, y := (rnd.Float64()-0.5)*p.sideMM, (rnd.Float64()-0.5)*p.sideMM
		edge := p.sideMM/2 - 8*p.moduleMM - r
		if math.Abs(x) > edge && math.Abs(y) > edge && !(x > 0 && y > 0) {
			continue
		}
		list = append(list, [3]float64{x, y, r})
		left -= math.Pi * r * r
	}
	return list
}

// dim is how much light a stain lets back.
func (l stainList) dim(x, y float64) float64 {
	for _, s := range l {
		if math.Hypot(x-s[0], y-s[1]) < s[2] {
			return 0.35
		}
	}
	return 1
}

func blur(in []float64, n int, sigma float64) []float64 {
	r := int(3*sigma + 1)
	kernel, sum := make([]float64, 2*r+1), 0.0
	for i := range kernel {
		kernel[i] = math.Exp(-float64((i-r)*(i-r)) / (2 * sigma * sigma))
		sum += kernel[i]
	}
	pass := func(in []float64, step, other int) []float64 {
		out := make([]float64, len(in))
		for line := range n {
			for i := range n {
				acc := 0.0
				for k, w := range kernel {
					j := min(max(i+k-r, 0), n-1)
					acc += w * in[line*other+j*step]
				}
				out[line*other+i*step] = acc / sum
			}
		}
		return out
	}
	return pass(pass(in, 1, n), n, 1)
}
