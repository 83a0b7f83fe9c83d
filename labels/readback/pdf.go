package readback

import (
	"bytes"
	"fmt"
	"image"
	_ "image/jpeg" // scanners put JPEG into their PDFs
	"math"

	"golang.org/x/image/math/f64"
	"golang.org/x/image/vector"
)

// drawDPI gives a module of 0.5 mm six pixels.
const (
	drawDPI     = 300
	maxPagePx   = 40_000_000 // a page larger than this is drawn coarser
	maxPages    = 2000
	maxNestedDo = 4
)

// Pages draws the pages of a PDF one by one and hands each to each, counted
// from 0. It draws what codes are made of, filled shapes and pictures, and
// leaves out text and lines. A PDF that is encrypted, damaged or written in a
// way that it does not know is an error that says so.
func Pages(data []byte, each func(page int, picture *image.Gray) error) (err error) {
	doc, err := readDocument(data)
	if err != nil {
		return err
	}
	pages, err := doc.pages()
	if err != nil {
		return err
	}
	for i, page := range pages {
		picture, err := doc.draw(page)
		if err != nil {
			return fmt.Errorf("page %d: %w", i+1, err)
		}
		if err := each(i, picture); err != nil {
			return err
		}
	}
	return nil
}

// canvas is a page being drawn.
type canvas struct {
	doc     *document
	picture *image.Gray
	nested  int
}

// state is what a PDF's q and Q save and restore.
type state struct {
	to    f64.Aff3 // from the operators' units to pixels
	white byte     // of what is filled
}

// draw draws one page.
func (d *document) draw(page dict) (*image.Gray, error) {
	box := d.box(page)
	wPt, hPt := box[2]-box[0], box[3]-box[1]
	if !(wPt > 1 && hPt > 1 && wPt < 20000 && hPt < 20000) {
		return nil, fmt.Errorf("a page of %g x %g points", wPt, hPt)
	}
	scale := drawDPI / 72.0
	if px := wPt * hPt * scale * scale; px > maxPagePx {
		scale *= math.Sqrt(maxPagePx / px)
	}
	c := &canvas{doc: d, picture: image.NewGray(image.Rect(0, 0, int(math.Ceil(wPt*scale)), int(math.Ceil(hPt*scale))))}
	for i := range c.picture.Pix {
		c.picture.Pix[i] = 255
	}
	content, err := d.content(page["Contents"])
	if err != nil {
		return nil, err
	}
	first := state{to: f64.Aff3{scale, 0, -box[0] * scale, 0, -scale, box[3] * scale}}
	return c.picture, c.run(content, d.dict(page["Resources"]), first)
}

// run draws a content stream.
func (c *canvas) run(content []byte, resources dict, now state) error {
	var stack []state
	var args []any
	path := &path{}
	return operators(content, func(op string) error {
		defer func() { args = args[:0] }()
		n := numbers(args)
		switch op {
		case "q":
			stack = append(stack, now)
		case "Q":
			if len(stack) > 0 {
				now, stack = stack[len(stack)-1], stack[:len(stack)-1]
			}
		case "cm":
			if len(n) == 6 {
				now.to = times(now.to, f64.Aff3{n[0], n[2], n[4], n[1], n[3], n[5]})
			}
		case "g", "rg", "k", "sc", "scn":
			now.white = whiteness(n, now.white)
		case "m", "l", "c", "v", "y", "h", "re":
			path.add(op, n, now.to)
		case "f", "F", "f*", "B", "B*", "b", "b*":
			c.fill(path, now.white)
			*path = (*path)[:0]
		case "S", "s", "n":
			*path = (*path)[:0]
		case "Do":
			return c.do(resources, args, now)
		}
		return nil
	}, func(v any) {
		if len(args) < 64 {
			args = append(args, v)
		}
	})
}

func numbers(args []any) []float64 {
	n := make([]float64, 0, 6)
	for _, a := range args {
		if v, ok := a.(float64); ok {
			n = append(n, v)
		}
	}
	return n
}

// whiteness is the brightness of a colour of one, three or four components.
func whiteness(n []float64, old byte) byte {
	v := 0.0
	switch len(n) {
	case 1:
		v = n[0]
	case 3:
		v = 0.299*n[0] + 0.587*n[1] + 0.114*n[2]
	case 4:
		v = (1 - (0.299*n[0] + 0.587*n[1] + 0.114*n[2])) * (1 - n[3])
	default:
		return old
	}
	return byte(255 * min(max(v, 0), 1))
}

func times(a, b f64.Aff3) f64.Aff3 {
	return f64.Aff3{
		a[0]*b[0] + a[1]*b[3], a[0]*b[1] + a[1]*b[4], a[0]*b[2] + a[1]*b[5] + a[2],
		a[3]*b[0] + a[4]*b[3], a[3]*b[1] + a[4]*b[4], a[3]*b[2] + a[4]*b[5] + a[5],
	}
}

func apply(m f64.Aff3, x, y float64) [2]float64 {
	return [2]float64{m[0]*x + m[1]*y + m[2], m[3]*x + m[4]*y + m[5]}
}

// path is the pieces of a shape in pixels: where each goes, a curve with its
// two control points before.
type path []segment

type segment struct {
	op byte // m, l, c, h
	at [3][2]float64
}

func (p *path) add(op string, n []float64, to f64.Aff3) {
	last := [2]float64{}
	if len(*p) > 0 {
		last = (*p)[len(*p)-1].at[0]
	}
	point := func(i int) [2]float64 { return apply(to, n[i], n[i+1]) }
	switch {
	case (op == "m" || op == "l") && len(n) == 2:
		*p = append(*p, segment{op[0], [3][2]float64{point(0)}})
	case op == "c" && len(n) == 6:
		*p = append(*p, segment{'c', [3][2]float64{point(4), point(0), point(2)}})
	case op == "v" && len(n) == 4:
		*p = append(*p, segment{'c', [3][2]float64{point(2), last, point(0)}})
	case op == "y" && len(n) == 4:
		*p = append(*p, segment{'c', [3][2]float64{point(2), point(0), point(2)}})
	case op == "h":
		*p = append(*p, segment{op: 'h', at: [3][2]float64{last}})
	case op == "re" && len(n) == 4:
		x, y, w, h := n[0], n[1], n[2], n[3]
		for i, at := range [][2]float64{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}} {
			kind := byte('l')
			if i == 0 {
				kind = 'm'
			}
			*p = append(*p, segment{kind, [3][2]float64{apply(to, at[0], at[1])}})
		}
		*p = append(*p, segment{op: 'h', at: [3][2]float64{apply(to, x, y)}})
	}
}

// fill fills a path where it lies on the page.
func (c *canvas) fill(p *path, white byte) {
	low, high := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, s := range *p {
		for k := range 2 {
			low[k], high[k] = math.Min(low[k], s.at[0][k]), math.Max(high[k], s.at[0][k])
		}
	}
	if !(high[0] > low[0] && high[1] > low[1]) || math.IsInf(low[0], 0) || math.IsInf(high[0], 0) {
		return
	}
	size := c.picture.Rect
	box := image.Rect(int(clip(low[0], size.Dx())), int(clip(low[1], size.Dy())), int(clip(high[0]+1, size.Dx())), int(clip(high[1]+1, size.Dy())))
	if box.Empty() {
		return
	}
	z := vector.NewRasterizer(box.Dx(), box.Dy())
	at := func(p [2]float64) (float32, float32) {
		return float32(p[0] - float64(box.Min.X)), float32(p[1] - float64(box.Min.Y))
	}
	for _, s := range *p {
		x, y := at(s.at[0])
		switch s.op {
		case 'm':
			z.ClosePath()
			z.MoveTo(x, y)
		case 'l':
			z.LineTo(x, y)
		case 'c':
			bx, by := at(s.at[1])
			cx, cy := at(s.at[2])
			z.CubeTo(bx, by, cx, cy, x, y)
		case 'h':
			z.ClosePath()
		}
	}
	z.ClosePath()
	z.Draw(c.picture, box, image.NewUniform(gray(white)), image.Point{})
}

func clip(v float64, limit int) float64 { return math.Floor(min(max(v, 0), float64(limit))) }

// do draws another object: a picture, or a form with operators of its own.
func (c *canvas) do(resources dict, args []any, now state) error {
	if len(args) == 0 || c.nested >= maxNestedDo {
		return nil
	}
	id, _ := args[len(args)-1].(name)
	s, ok := c.doc.resolve(c.doc.dict(resources["XObject"])[string(id)]).(stream)
	if !ok {
		return nil
	}
	switch s.dict["Subtype"] {
	case name("Image"):
		img, err := c.doc.picture(s)
		if err != nil {
			return err
		}
		c.place(img, now.to)
	case name("Form"):
		content, err := c.doc.decode(s)
		if err != nil {
			return err
		}
		if m := numbers(c.doc.list(s.dict["Matrix"])); len(m) == 6 {
			now.to = times(now.to, f64.Aff3{m[0], m[2], m[4], m[1], m[3], m[5]})
		}
		c.nested++
		defer func() { c.nested-- }()
		inner := c.doc.dict(s.dict["Resources"])
		if inner == nil {
			inner = resources
		}
		return c.run(content, inner, now)
	}
	return nil
}

// place draws a picture into the unit square of to, averaging where it is
// finer than the page.
func (c *canvas) place(img image.Image, to f64.Aff3) {
	b := img.Bounds()
	// From the picture's pixels, whose first row is the square's top.
	m := times(to, f64.Aff3{1 / float64(b.Dx()), 0, 0, 0, -1 / float64(b.Dy()), 1})
	m = times(m, f64.Aff3{1, 0, -float64(b.Min.X), 0, 1, -float64(b.Min.Y)})
	transform(c.picture, m, img)
}

// readPicture decodes a picture of a known format.
func readPicture(data []byte) (image.Image, error) {
	config, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	if config.Width*config.Height > 4*maxPagePx {
		return nil, fmt.Errorf("a picture of %d x %d pixels is too large; make it smaller first", config.Width, config.Height)
	}
	img, _, err := image.Decode(bytes.NewReader(data))
	return img, err
}
