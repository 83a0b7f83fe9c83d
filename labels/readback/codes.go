// Package readback reads printed labels back from a PDF, a scan or a photograph,
// with a decoder that shares nothing with the encoder.
package readback

import (
	"fmt"
	"image"
	"math"
	"sort"

	"github.com/makiuchi-d/gozxing"
	multiqr "github.com/makiuchi-d/gozxing/multi/qrcode"
	"github.com/makiuchi-d/gozxing/qrcode"
)

// Found is a code found in a picture.
type Found struct {
	Text   string
	At     image.Point // about its middle, in the picture's pixels
	SidePX float64     // of the symbol, about
}

// A picture is searched in overlapping windows, since a decoder that is given
// a whole sheet of codes loses some of them, at several reductions, since one
// that is given more pixels than it needs is misled by noise.
const (
	windowPx = 480
	stridePx = windowPx / 2
)

var reductions = []int{1, 2, 4, 8}

// Codes finds all QR codes in a picture of one or many, from the top down; one
// printed twice is found twice.
func Codes(picture image.Image) []Found {
	gray := toGray(picture)
	var found []Found
	for _, k := range reductions {
		small := reduce(gray, k)
		if k > 1 && (small.Rect.Dx() < 60 || small.Rect.Dy() < 60) {
			break
		}
		for _, f := range inWindows(small) {
			f.At, f.SidePX = f.At.Mul(k), f.SidePX*float64(k)
			if !f.among(found) {
				found = append(found, f)
			}
		}
	}
	return sorted(found)
}

// inWindows finds codes in overlapping parts of a picture, one several times.
func inWindows(picture *image.Gray) (found []Found) {
	b := picture.Rect
	for y := 0; y == 0 || y+stridePx < b.Dy(); y += stridePx {
		for x := 0; x == 0 || x+stridePx < b.Dx(); x += stridePx {
			found = append(found, inWindow(picture, image.Rect(x, y, x+windowPx, y+windowPx).Intersect(b))...)
		}
	}
	return found
}

// sorted orders codes from the top down.
func sorted(found []Found) []Found {
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

// among tells whether the same code, in the same place, is among others:
// windows overlap, and reductions repeat them.
func (f Found) among(others []Found) bool {
	for _, o := range others {
		d := f.At.Sub(o.At)
		if o.Text == f.Text && math.Hypot(float64(d.X), float64(d.Y)) < max(o.SidePX, f.SidePX)/2 {
			return true
		}
	}
	return false
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
		f := Found{Text: r.GetText(), At: window.Min}
		// Three finders at least, in the order lower left, upper left, upper
		// right; the symbol's middle lies half-way between the first and third.
		if p := r.GetResultPoints(); len(p) >= 3 && p[0] != nil && p[2] != nil {
			f.At = f.At.Add(image.Pt(int((p[0].GetX()+p[2].GetX())/2), int((p[0].GetY()+p[2].GetY())/2)))
			// Their middles lie 7 modules closer than the symbol is wide.
			f.SidePX = 1.3 * math.Hypot(p[0].GetX()-p[2].GetX(), p[0].GetY()-p[2].GetY()) / math.Sqrt2
		}
		found = append(found, f)
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

// toGray gives the picture's brightness, its corner at 0, 0. What has brightness
// of its own, as photographs do, gives that as it is; it is only read.
func toGray(picture image.Image) *image.Gray {
	b := picture.Bounds()
	switch p := picture.(type) {
	case *image.YCbCr:
		return &image.Gray{Pix: p.Y[p.YOffset(b.Min.X, b.Min.Y):], Stride: p.YStride, Rect: image.Rect(0, 0, b.Dx(), b.Dy())}
	case *image.NYCbCrA:
		return toGray(&p.YCbCr)
	case *image.Gray:
		return &image.Gray{Pix: p.Pix[p.PixOffset(b.Min.X, b.Min.Y):], Stride: p.Stride, Rect: image.Rect(0, 0, b.Dx(), b.Dy())}
	}
	gray := image.NewGray(image.Rect(0, 0, b.Dx(), b.Dy()))
	for y := range b.Dy() {
		row := gray.Pix[y*gray.Stride:][:b.Dx()]
		switch p := picture.(type) {
		case *image.RGBA:
			brightness(row, p.Pix[p.PixOffset(b.Min.X, b.Min.Y+y):])
		case *image.NRGBA:
			brightness(row, p.Pix[p.PixOffset(b.Min.X, b.Min.Y+y):])
		default:
			for x := range row {
				r, g, bl, _ := picture.At(b.Min.X+x, b.Min.Y+y).RGBA()
				row[x] = byte((299*r + 587*g + 114*bl) / 1000 >> 8)
			}
		}
	}
	return gray
}

// brightness reads pixels of four bytes each.
func brightness(row, rgba []byte) {
	for x := range row {
		p := rgba[4*x:][:3]
		row[x] = byte((299*uint32(p[0]) + 587*uint32(p[1]) + 114*uint32(p[2])) / 1000)
	}
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

// Decode reads the one QR code in a picture.
func Decode(picture image.Image) (string, error) {
	bitmap, err := gozxing.NewBinaryBitmapFromImage(picture)
	if err != nil {
		return "", err
	}
	hints := map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true}
	result, err := qrcode.NewQRCodeReader().Decode(bitmap, hints)
	if err != nil {
		return "", fmt.Errorf("no QR code could be read: %w", err)
	}
	return result.GetText(), nil
}
