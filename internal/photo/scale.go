package photo

import (
	"image"

	"golang.org/x/image/draw"
	"golang.org/x/image/math/f64"
)

// shrink scales a picture down to a longest side, onto white where it is
// transparent. It never makes one larger.
//
// It halves first, which the bilinear scaler does by the mean of four pixels:
// that needs a quarter of the picture beside it, where a filter that reads far
// would need several times its size.
func shrink(m image.Image, longest int) *image.RGBA {
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	for max(w, h) >= 2*longest {
		w, h = half(w), half(h)
		m = drawn(m, w, h)
	}
	if long := max(w, h); long > longest {
		w, h = max(1, (w*longest+long/2)/long), max(1, (h*longest+long/2)/long)
	}
	return drawn(m, w, h)
}

func half(n int) int { return max(1, (n+1)/2) }

func drawn(m image.Image, w, h int) *image.RGBA {
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(out, out.Bounds(), image.White, image.Point{}, draw.Src)
	if m.Bounds().Dx() == w && m.Bounds().Dy() == h {
		draw.Draw(out, out.Bounds(), m, m.Bounds().Min, draw.Over)
		return out
	}
	draw.ApproxBiLinear.Scale(out, out.Bounds(), m, m.Bounds(), draw.Over, nil)
	return out
}

// upright turns a picture that lies as its orientation says.
func upright(m *image.RGBA, orientation int) *image.RGBA {
	w, h := float64(m.Bounds().Dx()), float64(m.Bounds().Dy())
	// Where a point of the stored picture comes to lie: x' = ax + by + c, y' = dx + ey + f.
	to, known := map[int]f64.Aff3{
		2: {-1, 0, w, 0, 1, 0}, 3: {-1, 0, w, 0, -1, h}, 4: {1, 0, 0, 0, -1, h},
		5: {0, 1, 0, 1, 0, 0}, 6: {0, -1, h, 1, 0, 0}, 7: {0, -1, h, -1, 0, w}, 8: {0, 1, 0, -1, 0, w},
	}[orientation]
	if !known {
		return m
	}
	size := image.Rect(0, 0, m.Bounds().Dx(), m.Bounds().Dy())
	if orientation >= 5 {
		size = image.Rect(0, 0, size.Dy(), size.Dx())
	}
	out := image.NewRGBA(size)
	draw.NearestNeighbor.Transform(out, to, m, m.Bounds(), draw.Src, nil)
	return out
}
