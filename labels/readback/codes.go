package readback

import (
	"image"
	"sort"

	"github.com/makiuchi-d/gozxing"
	multiqr "github.com/makiuchi-d/gozxing/multi/qrcode"
)

// Found is a code found in a picture.
type Found struct {
	Text string
	At   image.Point // about its middle, in the picture's pixels
}

// A picture is searched in overlapping windows, since a decoder that is given
// a whole sheet of codes loses some of them, at several reductions, since one
// that is given more pixels than it needs is misled by noise.
const (
	windowPx = 480
	stridePx = windowPx / 2
)

var reductions = []int{1, 2, 4, 8}

// Codes finds all QR codes in a picture of one or many, from the top down.
func Codes(picture image.Image) []Found {
	gray := toGray(picture)
	seen := map[string]Found{}
	for _, k := range reductions {
		small := reduce(gray, k)
		b := small.Rect
		if k > 1 && (b.Dx() < 60 || b.Dy() < 60) {
			break
		}
		for y := 0; y == 0 || y+stridePx < b.Dy(); y += stridePx {
			for x := 0; x == 0 || x+stridePx < b.Dx(); x += stridePx {
				window := image.Rect(x, y, x+windowPx, y+windowPx).Intersect(b)
				for _, f := range inWindow(small, window) {
					f.At = f.At.Mul(k)
					if _, ok := seen[f.Text]; !ok {
						seen[f.Text] = f
					}
				}
			}
		}
	}
	found := make([]Found, 0, len(seen))
	for _, f := range seen {
		found = append(found, f)
	}
	sort.Slice(found, func(i, j int) bool {
		a, b := found[i], found[j]
		if a.At.Y != b.At.Y {
			return a.At.Y < b.At.Y
		}
		if a.At.X != b.At.X {
			return a.At.X < b.At.X
		}
		return a.Text < b.Text
	})
	return found
}

func inWindow(picture *image.Gray, window image.Rectangle) []Found {
	if blank(picture, window) {
		return nil
	}
	bitmap, err := gozxing.NewBinaryBitmapFromImage(picture.SubImage(window))
	if err != nil {
		return nil
	}
	hints := map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true}
	results, err := multiqr.NewQRCodeMultiReader().DecodeMultiple(bitmap, hints)
	if err != nil {
		return nil
	}
	var found []Found
	for _, r := range results {
		sumX, sumY, n := 0.0, 0.0, 0.0
		for _, p := range r.GetResultPoints() {
			if p != nil {
				sumX, sumY, n = sumX+p.GetX(), sumY+p.GetY(), n+1
			}
		}
		at := window.Min
		if n > 0 {
			at = at.Add(image.Pt(int(sumX/n), int(sumY/n)))
		}
		found = append(found, Found{Text: r.GetText(), At: at})
	}
	return found
}

// blank tells a window without contrast, which most of a page's are.
func blank(picture *image.Gray, window image.Rectangle) bool {
	const contrast = 40
	low, high := byte(255), byte(0)
	for y := window.Min.Y; y < window.Max.Y; y += 2 {
		row := picture.Pix[picture.PixOffset(window.Min.X, y):picture.PixOffset(window.Max.X, y)]
		for _, v := range row {
			low, high = min(low, v), max(high, v)
		}
	}
	return int(high)-int(low) < contrast
}

// toGray gives the picture's brightness, its corner at 0, 0.
func toGray(picture image.Image) *image.Gray {
	b := picture.Bounds()
	gray := image.NewGray(image.Rect(0, 0, b.Dx(), b.Dy()))
	for y := range b.Dy() {
		for x := range b.Dx() {
			r, g, bl, _ := picture.At(b.Min.X+x, b.Min.Y+y).RGBA()
			gray.Pix[y*gray.Stride+x] = byte((299*r + 587*g + 114*bl) / 1000 >> 8)
		}
	}
	return gray
}

// reduce averages k x k pixels into one.
func reduce(g *image.Gray, k int) *image.Gray {
	if k == 1 {
		return g
	}
	w, h := g.Rect.Dx()/k, g.Rect.Dy()/k
	small := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			sum := 0
			for dy := range k {
				row := g.Pix[(y*k+dy)*g.Stride+x*k:]
				for _, v := range row[:k] {
					sum += int(v)
				}
			}
			small.Pix[y*small.Stride+x] = byte(sum / (k * k))
		}
	}
	return small
}
