package photo

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"
	"time"

	"github.com/bep/imagemeta"

	"cruet/internal/larder"
)

// corners is a picture whose quarters tell how it lies: top left red, top right
// green, bottom left blue, bottom right white.
func corners(w, h int) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.Set(x, y, quarter(2*x >= w, 2*y >= h))
		}
	}
	return m
}

func quarter(right, bottom bool) color.RGBA {
	switch {
	case right && bottom:
		return color.RGBA{255, 255, 255, 255}
	case right:
		return color.RGBA{0, 200, 0, 255}
	case bottom:
		return color.RGBA{0, 0, 220, 255}
	}
	return color.RGBA{220, 0, 0, 255}
}

func jpegOf(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// exif is an Exif segment (CIPA DC-008, 4.5 and 4.6) that says how the picture
// lies, who made the camera, and where it was: 53° 20' 59.4" N.
func exif(orientation int) []byte {
	le := binary.LittleEndian
	var tiff []byte
	field := func(tag, kind uint16, count, value uint32) {
		tiff = le.AppendUint16(tiff, tag)
		tiff = le.AppendUint16(tiff, kind)
		tiff = le.AppendUint32(tiff, count)
		tiff = le.AppendUint32(tiff, value)
	}
	const ascii, short, long, rational = 2, 3, 4, 5
	const maker, gps, latitude = 8 + 2 + 3*12 + 4, 8 + 2 + 3*12 + 4 + 12, 8 + 2 + 3*12 + 4 + 12 + 2 + 2*12 + 4
	tiff = append(tiff, "II*\x00\x08\x00\x00\x00"...)
	tiff = le.AppendUint16(tiff, 3)
	field(0x010f, ascii, 12, maker)                     // Make
	field(0x0112, short, 1, uint32(orientation))        // Orientation
	field(0x8825, long, 1, gps)                         // GPSInfo
	tiff = le.AppendUint32(tiff, 0)                     // no more directories
	tiff = append(tiff, "SecretMaker\x00"...)           // 12 bytes
	tiff = le.AppendUint16(tiff, 2)                     // the directory of the place
	field(0x0001, ascii, 2, uint32('N'))                // GPSLatitudeRef
	field(0x0002, rational, 3, latitude)                // GPSLatitude
	tiff = le.AppendUint32(tiff, 0)                     //
	for _, v := range []uint32{53, 1, 20, 1, 594, 10} { // degrees, minutes, seconds
		tiff = le.AppendUint32(tiff, v)
	}
	return segment(0xe1, append([]byte("Exif\x00\x00"), tiff...))
}

func segment(marker byte, data []byte) []byte {
	return append(binary.BigEndian.AppendUint16([]byte{0xff, marker}, uint16(len(data)+2)), data...)
}

// withSegments puts segments behind the start of a JPEG.
func withSegments(data []byte, segments ...[]byte) []byte {
	out := append([]byte{}, data[:2]...)
	for _, s := range segments {
		out = append(out, s...)
	}
	return append(out, data[2:]...)
}

// shot is a JPEG as a phone makes it: with the place, a text, a profile and a
// comment beside the picture.
func shot(t testing.TB, m image.Image, orientation int) []byte {
	return withSegments(jpegOf(t, m), exif(orientation),
		segment(0xe1, []byte("http://ns.adobe.com/xap/1.0/\x00<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">SecretPlace</x:xmpmeta>")),
		segment(0xe2, []byte("ICC_PROFILE\x00\x01\x01SecretProfile")), segment(0xfe, []byte("SecretComment")))
}

func prepare(t testing.TB, data []byte) Prepared {
	t.Helper()
	p, err := Prepare(context.Background(), bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// segments lists the markers of a JPEG up to its scan (ITU-T T.81, B.1).
func segmentsOf(t testing.TB, data []byte) []byte {
	t.Helper()
	if !bytes.HasPrefix(data, []byte{0xff, 0xd8}) {
		t.Fatal("no JPEG")
	}
	var out []byte
	for at := 2; ; {
		if at+4 > len(data) || data[at] != 0xff {
			t.Fatalf("a broken JPEG at byte %d", at)
		}
		out = append(out, data[at+1])
		if data[at+1] == 0xda {
			return out
		}
		at += 2 + int(binary.BigEndian.Uint16(data[at+2:]))
	}
}

// bare fails when a JPEG holds anything but tables, a frame and a scan: no
// application segment (0xe0 to 0xef), no comment (0xfe).
func bare(t testing.TB, data []byte) {
	t.Helper()
	for _, marker := range segmentsOf(t, data) {
		switch marker {
		case 0xdb, 0xc0, 0xc4, 0xda: // DQT, SOF0, DHT, SOS
		default:
			t.Errorf("the picture kept has a segment %#x", marker)
		}
	}
	for _, word := range []string{"Exif", "Secret", "GPS", "ICC_PROFILE", "xmpmeta", "JFIF"} {
		if bytes.Contains(data, []byte(word)) {
			t.Errorf("the picture kept says %q", word)
		}
	}
}

func TestNothingIsKeptButThePicture(t *testing.T) {
	sent := shot(t, corners(400, 300), 1)
	// That the test's own picture tells the place, by a reader that is not ours.
	place := false
	_, err := imagemeta.Decode(imagemeta.Options{R: bytes.NewReader(sent), ImageFormat: imagemeta.JPEG, Sources: imagemeta.EXIF,
		HandleTag: func(i imagemeta.TagInfo) error {
			if v, ok := i.Value.(float64); ok && i.Tag == "GPSLatitude" {
				place = v > 53.3498 && v < 53.3499
			}
			return nil
		}})
	if err != nil || !place {
		t.Fatalf("the picture sent does not tell its place (%v)", err)
	}
	p := prepare(t, sent)
	bare(t, p.Full.JPEG)
	bare(t, p.Thumb.JPEG)
}

// The eight ways a picture may lie, as CIPA DC-008 describes the tag Orientation:
// which side of the scene the first row and the first column show.
func TestUpright(t *testing.T) {
	for orientation, lies := range map[int]struct{ row, column string }{
		1: {"top", "left"}, 2: {"top", "right"}, 3: {"bottom", "right"}, 4: {"bottom", "left"},
		5: {"left", "top"}, 6: {"right", "top"}, 7: {"right", "bottom"}, 8: {"left", "bottom"},
	} {
		t.Run(fmt.Sprint(orientation), func(t *testing.T) {
			// The scene is 80 wide and 60 high; a picture whose rows run down the
			// scene is stored 60 wide.
			w, h := 80, 60
			if lies.row == "left" || lies.row == "right" {
				w, h = 60, 80
			}
			stored := image.NewRGBA(image.Rect(0, 0, w, h))
			for y := range h {
				for x := range w {
					var right, bottom bool
					for _, way := range []struct {
						side string
						far  bool // the pixel lies in the half away from that side
					}{{lies.row, 2*y >= h}, {lies.column, 2*x >= w}} {
						switch way.side {
						case "top":
							bottom = way.far
						case "bottom":
							bottom = !way.far
						case "left":
							right = way.far
						case "right":
							right = !way.far
						}
					}
					stored.Set(x, y, quarter(right, bottom))
				}
			}
			p := prepare(t, shot(t, stored, orientation))
			for _, k := range []Kept{p.Full, p.Thumb} {
				same(t, k, corners(80, 60))
			}
		})
	}
}

// same compares what was kept with a picture, at the middle of each quarter.
func same(t *testing.T, k Kept, want image.Image) {
	t.Helper()
	got, err := jpeg.Decode(bytes.NewReader(k.JPEG))
	if err != nil {
		t.Fatal(err)
	}
	b := want.Bounds()
	if got.Bounds() != b || k.WidthPX != b.Dx() || k.HeightPX != b.Dy() {
		t.Fatalf("%v (said: %d × %d), want %v", got.Bounds(), k.WidthPX, k.HeightPX, b)
	}
	for _, at := range []image.Point{{b.Dx() / 4, b.Dy() / 4}, {3 * b.Dx() / 4, b.Dy() / 4}, {b.Dx() / 4, 3 * b.Dy() / 4}, {3 * b.Dx() / 4, 3 * b.Dy() / 4}} {
		if d := distance(got.At(at.X, at.Y), want.At(at.X, at.Y)); d > 24 {
			t.Errorf("at %v it is %v, want %v", at, got.At(at.X, at.Y), want.At(at.X, at.Y))
		}
	}
}

// distance is the largest difference of a channel, 0 to 255.
func distance(a, b color.Color) int {
	r, g, bl, _ := a.RGBA()
	r2, g2, b2, _ := b.RGBA()
	worst := 0
	for _, p := range [][2]uint32{{r, r2}, {g, g2}, {bl, b2}} {
		d := int(p[0]>>8) - int(p[1]>>8)
		worst = max(worst, max(d, -d))
	}
	return worst
}

// webp is a lossless WebP of one pixel, written by hand after its specification.
const webp = "RIFF\x1a\x00\x00\x00WEBPVP8L\x0d\x00\x00\x00\x2f\x00\x00\x00\x10\x07\x10\x11\x11\x88\x88\xfe\x07\x00"

func TestFormats(t *testing.T) {
	m := corners(300, 200)
	var pngs, gifs bytes.Buffer
	if err := png.Encode(&pngs, m); err != nil {
		t.Fatal(err)
	}
	if err := gif.Encode(&gifs, m, nil); err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{"jpeg": jpegOf(t, m), "png": pngs.Bytes(), "gif": gifs.Bytes()} {
		t.Run(name, func(t *testing.T) {
			p := prepare(t, data)
			same(t, p.Full, m)
			bare(t, p.Full.JPEG)
			if again := prepare(t, data); again.Full.SHA256 != p.Full.SHA256 || !larder.IsPhotoHash(p.Full.SHA256) {
				t.Errorf("the hashes are %s and again %s", p.Full.SHA256, again.Full.SHA256)
			}
		})
	}
	if p := prepare(t, []byte(webp)); p.Full.WidthPX != 1 || p.Full.HeightPX != 1 {
		t.Errorf("the WebP is %d × %d", p.Full.WidthPX, p.Full.HeightPX)
	}
	// What is transparent lies on white.
	var clear bytes.Buffer
	if err := png.Encode(&clear, image.NewNRGBA(image.Rect(0, 0, 40, 40))); err != nil {
		t.Fatal(err)
	}
	white := image.NewRGBA(image.Rect(0, 0, 40, 40))
	for i := range white.Pix {
		white.Pix[i] = 255
	}
	same(t, prepare(t, clear.Bytes()).Full, white)
}

// Scaling keeps the sides' ratio, the colours and, over fine stripes, the mean:
// a picture sampled too thinly would show one of them only.
func TestShrink(t *testing.T) {
	for _, row := range []struct{ w, h, wantW, wantH int }{
		{4000, 3000, 1600, 1200}, {3000, 4000, 1200, 1600}, {1601, 1000, 1600, 999}, {1600, 1200, 1600, 1200}, {640, 480, 640, 480},
		{9000, 10, 1600, 2}, {1, 7000, 1, 1600},
	} {
		m := image.NewGray(image.Rect(0, 0, row.w, row.h))
		for y := range row.h {
			for x := range row.w {
				if (x+y)%2 == 0 {
					m.Pix[y*m.Stride+x] = 255
				}
			}
		}
		got := shrink(m, LongestPX)
		if got.Bounds() != image.Rect(0, 0, row.wantW, row.wantH) {
			t.Errorf("%d × %d becomes %v, want %d × %d", row.w, row.h, got.Bounds(), row.wantW, row.wantH)
		}
		var sum float64
		for i := 0; i < len(got.Pix); i += 4 {
			sum += float64(got.Pix[i])
		}
		if mean := sum / float64(len(got.Pix)/4); mean < 124 || mean > 131 {
			t.Errorf("%d × %d: the mean of black and white is %.1f, want 127.5", row.w, row.h, mean)
		}
	}
}

func refusedWith(t *testing.T, name string, data []byte, says string) {
	t.Helper()
	_, err := Prepare(context.Background(), bytes.NewReader(data))
	var p larder.Problems
	if !errors.As(err, &p) || p[0].Field != "photo" || !strings.Contains(p[0].Message, says) {
		t.Errorf("%s: %v (%T), want a problem that says %q", name, err, err, says)
	}
}

func TestWhatIsNoPicture(t *testing.T) {
	whole := jpegOf(t, corners(300, 200))
	for name, row := range map[string]struct{ data, says string }{
		"nothing":   {"", "arrived empty"},
		"a letter":  {"Dear kitchen, the pears are ripe.", "not a picture"},
		"HEIC":      {"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic", "HEIC picture"},
		"HEIF":      {"\x00\x00\x00\x18ftypmif1\x00\x00\x00\x00mif1heic", "set"},
		"AVIF":      {"\x00\x00\x00\x18ftypavif\x00\x00\x00\x00mif1avif", "AVIF picture"},
		"a film":    {"\x00\x00\x00\x18ftypisom\x00\x00\x00\x00mp42isom", "film"},
		"a PDF":     {"%PDF-1.7\n", "PDF"},
		"TIFF":      {"II*\x00\x08\x00\x00\x00", "TIFF"},
		"broken":    {string(whole[:len(whole)/2]), "broken off"},
		"a head":    {string(whole[:20]), "damaged"},
		"a script":  {"<svg xmlns=\"http://www.w3.org/2000/svg\"><script>alert(1)</script></svg>", "not a picture"},
		"too large": {string(whole) + strings.Repeat("\x00", MaxBytes), "up to 20 MB"},
	} {
		says := row.says
		if name == "HEIF" {
			says = "most compatible"
		}
		refusedWith(t, name, []byte(row.data), says)
	}
}

// Pictures of few bytes and endless pixels are refused by their heads.
func TestPixelBombs(t *testing.T) {
	head := func(w, h uint32) []byte {
		var b bytes.Buffer
		if err := png.Encode(&b, corners(2, 2)); err != nil {
			t.Fatal(err)
		}
		data := b.Bytes()
		binary.BigEndian.PutUint32(data[16:], w)
		binary.BigEndian.PutUint32(data[20:], h)
		// The head's checksum is over its name and content (PNG, 5.3).
		binary.BigEndian.PutUint32(data[29:], crc(data[12:29]))
		return data
	}
	frame := func(marker byte, w, h uint16) []byte {
		data := jpegOf(t, corners(16, 16))
		at := bytes.Index(data, []byte{0xff, 0xc0})
		data[at+1] = marker
		binary.BigEndian.PutUint16(data[at+5:], h)
		binary.BigEndian.PutUint16(data[at+7:], w)
		return data
	}
	gifHead := append([]byte("GIF89a\xff\xff\xff\xff\x80\x00\x00"), make([]byte, 6)...)
	refusedWith(t, "a PNG of 100,000 a side", head(100_000, 100_000), "pixels")
	refusedWith(t, "a PNG of 2^31-1 a side", head(1<<31-1, 1<<31-1), "damaged")
	refusedWith(t, "a PNG of 60 megapixels", head(10_000, 6_000), "pixels")
	refusedWith(t, "a JPEG of 72 megapixels, for which there is memory", frame(0xc0, 9_000, 8_000), "pixels")
	refusedWith(t, "a JPEG of 65,535 a side", frame(0xc0, 65535, 65535), "pixels")
	refusedWith(t, "a progressive JPEG of 48 megapixels", frame(0xc2, 8000, 6000), "pixels")
	refusedWith(t, "a GIF of 65,535 a side", gifHead, "pixels")

	// What cameras make fits: 48 megapixels at once, 12 progressive.
	for name, row := range map[string]struct {
		data []byte
		most int64
	}{
		"48 megapixels": {frame(0xc0, 8000, 6000), 125_000_000}, "12 progressive": {frame(0xc2, 4000, 3000), 105_000_000}, "12": {frame(0xc0, 4000, 3000), 31_000_000},
	} {
		task, err := look(bytes.NewReader(row.data))
		if err != nil || task.bytes > row.most {
			t.Errorf("%s: %d bytes are set aside, %v; want %d at most", name, task.bytes, err, row.most)
		}
	}
}

func crc(data []byte) uint32 {
	sum := ^uint32(0)
	for _, b := range data {
		sum ^= uint32(b)
		for range 8 {
			sum = sum>>1 ^ 0xedb88320&-(sum&1)
		}
	}
	return ^sum
}

// While other pictures fill the memory, one waits, and no longer than its sender.
func TestWaitsForMemory(t *testing.T) {
	if err := decoding.Acquire(context.Background(), budgetBytes); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	_, err := Prepare(ctx, bytes.NewReader(jpegOf(t, corners(300, 200))))
	decoding.Release(budgetBytes)
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a picture beyond the budget: %v", err)
	}
	prepare(t, jpegOf(t, corners(300, 200)))
}

func FuzzPrepare(f *testing.F) {
	f.Add(shot(f, corners(40, 30), 6))
	f.Add(jpegOf(f, corners(3, 200)))
	var pngs, gifs bytes.Buffer
	if err := errors.Join(png.Encode(&pngs, corners(20, 10)), gif.Encode(&gifs, corners(20, 10), nil)); err != nil {
		f.Fatal(err)
	}
	f.Add(pngs.Bytes())
	f.Add(gifs.Bytes())
	f.Add([]byte(webp))
	f.Add([]byte("\x00\x00\x00\x18ftypheic"))
	f.Add([]byte("\xff\xd8\xff\xe1\x00\x02\xff\xc2\x00\x11\x08\xff\xff\xff\xff\x03"))
	f.Fuzz(func(t *testing.T, data []byte) {
		// A picture that is large and right is no find, only slow.
		if task, err := look(bytes.NewReader(data)); err == nil && task.bytes > 8_000_000 {
			return
		}
		p, err := Prepare(context.Background(), bytes.NewReader(data))
		if err != nil {
			var problems larder.Problems
			if !errors.As(err, &problems) || problems[0].Message == "" {
				t.Fatalf("%v (%T) tells nobody what to do", err, err)
			}
			return
		}
		for _, k := range []Kept{p.Full, p.Thumb} {
			bare(t, k.JPEG)
			m, err := jpeg.Decode(bytes.NewReader(k.JPEG))
			if err != nil || max(m.Bounds().Dx(), m.Bounds().Dy()) > LongestPX {
				t.Fatalf("what is kept: %v", err)
			}
		}
	})
}

// A picture of 12 megapixels, as most phones send it, and one of 48.
func BenchmarkPrepare(b *testing.B) {
	for _, size := range []struct {
		name string
		w, h int
	}{{"12MP", 4000, 3000}, {"48MP", 8000, 6000}} {
		b.Run(size.name, func(b *testing.B) {
			data := jpegOf(b, corners(size.w, size.h))
			b.ReportAllocs()
			for b.Loop() {
				prepare(b, data)
			}
		})
	}
}
