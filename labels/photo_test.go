package labels

import (
	"bytes"
	"context"
	"image"
	"image/jpeg"
	"math/rand/v2"
	"os"
	"testing"

	"cruet/internal/photo"
	"cruet/labels/readback"
)

// wholePhoto is a picture of 12 megapixels as a phone sends it: a label somewhere
// in a dim pantry, at the distance and the angle at which a hand holds it.
func wholePhoto(t testing.TB, p target, s shot, seed uint64) []byte {
	t.Helper()
	const w, h = 4000, 3000
	rnd := rand.New(rand.NewPCG(seed, 12))
	label := photograph(p, s, seed, 0)
	n := label.Rect.Dx()
	x0, y0 := w/2-n/2+rnd.IntN(1000)-500, h/2-n/2+rnd.IntN(800)-400
	// Boards and shadows behind it, and the sensor's noise, from one strip.
	grain := make([]int, 1<<14+w)
	for i := range grain {
		grain[i] = int(rnd.NormFloat64() * max(4, s.noise))
	}
	img := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		noise := grain[rnd.IntN(1<<14):]
		row := img.Pix[y*img.Stride:][:w]
		for x := range row {
			shade := 70 + 40*(x/300%2) + 20*(y/170%3) + x/100
			row[x] = byte(max(0, min(255, shade+noise[x])))
		}
		if y >= y0 && y < y0+n {
			copy(row[x0:], label.Pix[(y-y0)*label.Stride:][:n])
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 80}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// readPhoto reads a photograph as the station does.
func readPhoto(t testing.TB, data []byte) (texts []string) {
	t.Helper()
	err := photo.Read(context.Background(), bytes.NewReader(data), func(picture image.Image) error {
		for _, f := range readback.Photo(picture) {
			texts = append(texts, f.Text)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return texts
}

// snapshot is the ith way of holding a phone, from near to an arm's length: tilted,
// turned any way up, blurred, in dim light that falls from one side, on round jars; a
// third with a lamp mirrored on the label, a third with drops of water on it.
func snapshot(i int) shot {
	rnd := rand.New(rand.NewPCG(uint64(i), 4))
	s := shot{dpi: 203, zoom: 1 + 3*rnd.Float64(), rollDeg: 360 * rnd.Float64(), tiltDeg: 20*rnd.Float64() - 10,
		noise: 4 + 14*rnd.Float64(), shade: 0.6 * rnd.Float64()}
	s.blurPx = s.zoom * (0.3 + 0.8*rnd.Float64())
	if i%2 == 0 {
		s.diameterMM, s.turnDeg = 86, 24*rnd.Float64()-12
	} else {
		s.turnDeg = 50*rnd.Float64() - 25
	}
	switch i % 3 {
	case 1:
		s.glare = 0.3 + 0.5*rnd.Float64()
	case 2:
		s.drops = 0.02 + 0.05*rnd.Float64()
	}
	return s
}

// Nine in ten photographs of a label open its jar.
func TestPhotosOfLabelsRead(t *testing.T) {
	t.Parallel()
	n := 20
	if os.Getenv("CI") == "true" {
		n = 100
	}
	const floor = 0.9
	stock := mustStock(t, "roll-57x32")
	read := 0
	for i := range n {
		l := testJar(i)
		l.URL = addressOf(i) + "/J/" + l.Tag
		us, _ := printed(t, stock, l, 203, i)
		texts := readPhoto(t, wholePhoto(t, us, snapshot(i), uint64(i)))
		switch {
		case len(texts) == 1 && texts[0] == us.text:
			read++
		case len(texts) > 0:
			t.Errorf("photograph %d: read %q, want %q", i, texts, us.text)
		default:
			t.Logf("photograph %d: nothing read of %+v", i, snapshot(i))
		}
	}
	part := float64(read) / float64(n)
	t.Logf("%d of %d photographs of 12 megapixels read: %.2f", read, n, part)
	if part < floor {
		t.Errorf("%.2f read, want %.2f", part, floor)
	}
}

// A photograph of a shelf sheet gives all its codes.
func TestPhotoOfAShelfSheetReads(t *testing.T) {
	t.Parallel()
	stock := mustStock(t, "letter-3x4-round51")
	var labels []Label
	want := map[string]bool{}
	for i := range stock.Places() {
		l := testSpare(i)
		labels = append(labels, l)
		want[l.URL] = true
	}
	sheet := pages(t, write(t, Sheet{Stock: stock}, labels...), 300)[0]
	rnd := rand.New(rand.NewPCG(5, 5))
	noisy := &image.Gray{Pix: make([]byte, len(sheet.Pix)), Stride: sheet.Stride, Rect: sheet.Rect}
	for i, v := range sheet.Pix {
		noisy.Pix[i] = byte(max(0, min(255, 20+float64(v)*0.8+rnd.NormFloat64()*8)))
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, noisy, nil); err != nil {
		t.Fatal(err)
	}
	texts := readPhoto(t, b.Bytes())
	for _, text := range texts {
		if !want[text] {
			t.Errorf("%q is not on the sheet", text)
		}
		delete(want, text)
	}
	if len(want) > 0 {
		t.Errorf("%d codes read; not read: %v", len(texts), want)
	}
}

// What no label is on takes no longer than the phone waits, and gives nothing.
func TestPhotoWithoutCode(t *testing.T) {
	t.Parallel()
	us := target{perMM: 8, xMM: 15, yMM: 15, sideMM: 18, moduleMM: 0.6, picture: bilevel(picture(Code{size: 21, black: make([]bool, 21*21)}, 8))}
	if texts := readPhoto(t, wholePhoto(t, us, shot{zoom: 2}, 1)); len(texts) > 0 {
		t.Errorf("read %q", texts)
	}
}

// FuzzPhoto wants an answer, not a crash, for whatever file arrives as a picture.
func FuzzPhoto(f *testing.F) {
	c := mustCode(f, "http://10.0.0.7:8080/J/K7RM4T", LevelQ)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, picture(c, 4), nil); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add(b.Bytes()[:b.Len()/2])
	f.Add([]byte("\xff\xd8\xff"))
	f.Add([]byte("RIFF\x00\x00\x00\x00WEBPVP8 "))
	f.Fuzz(func(t *testing.T, data []byte) {
		err := photo.Read(context.Background(), bytes.NewReader(data), func(picture image.Image) error {
			for _, found := range readback.Photo(picture) {
				if !found.At.In(picture.Bounds().Sub(picture.Bounds().Min).Inset(-100)) {
					t.Errorf("found %q at %v of %v", found.Text, found.At, picture.Bounds())
				}
			}
			return nil
		})
		if err != nil && err.Error() == "" {
			t.Error("an error without words")
		}
	})
}
