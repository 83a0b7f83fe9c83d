package readback

import (
	"bytes"
	"compress/zlib"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"strconv"

	xdraw "golang.org/x/image/draw"
	"golang.org/x/image/math/f64"

	"cruet/internal/lazy"
)

func gray(v byte) color.Gray { return color.Gray{Y: v} }

func transform(dst *image.Gray, m f64.Aff3, src image.Image) {
	xdraw.BiLinear.Transform(dst, m, src, src.Bounds(), xdraw.Src, nil)
}

// The kinds of objects in a PDF (ISO 32000-1, 7.3); numbers are float64, strings
// string, lists []any, null nil.
type (
	name      string
	reference int
	dict      map[string]any
	stream    struct {
		dict dict
		raw  []byte
	}
)

// document is a PDF's objects by number.
type document struct {
	objects map[int]any
}

const (
	maxStream  = 256 << 20 // of one stream, unpacked
	maxObjects = 1_000_000
	maxDepth   = 64
)

var objectStart = lazy.RE(`(?:^|[\r\n\s])(\d{1,7}) (\d{1,5}) obj\b`)

// readDocument finds a PDF's objects where they stand, without its table of
// them: so a file whose table is wrong can be read as well.
func readDocument(data []byte) (*document, error) {
	if !bytes.HasPrefix(bytes.TrimLeft(data[:min(len(data), 1024)], "\x00\r\n\t "), []byte("%PDF-")) {
		return nil, errors.New("this is no PDF")
	}
	d := &document{objects: map[int]any{}}
	for from := 0; ; {
		m := objectStart().FindSubmatchIndex(data[from:])
		if m == nil || len(d.objects) > maxObjects {
			break
		}
		id, _ := strconv.Atoi(string(data[from+m[2] : from+m[3]]))
		p := &parser{data: data, at: from + m[1]}
		v := p.object(0)
		p.space()
		if head, ok := v.(dict); ok && bytes.HasPrefix(p.data[p.at:], []byte("stream")) {
			v = p.stream(head)
		}
		d.objects[id], from = v, p.at
		if from >= len(data) {
			break
		}
	}
	if bytes.Contains(data, []byte("/Encrypt")) {
		return nil, errors.New("this PDF is encrypted; save it without a password, or as a picture")
	}
	d.unpackObjects()
	return d, nil
}

// unpackObjects adds the objects that stand inside streams.
func (d *document) unpackObjects() {
	for _, v := range d.objects {
		s, ok := v.(stream)
		if !ok || s.dict["Type"] != name("ObjStm") {
			continue
		}
		text, err := d.decode(s)
		n, _ := d.resolve(s.dict["N"]).(float64)
		first, _ := d.resolve(s.dict["First"]).(float64)
		if err != nil || !(n >= 0 && n <= maxObjects && first >= 0 && first <= float64(len(text))) {
			continue
		}
		head := &parser{data: text}
		for range int(n) {
			id, ok1 := head.object(0).(float64)
			at, ok2 := head.object(0).(float64)
			if !ok1 || !ok2 || !(at >= 0 && first+at <= float64(len(text))) || !(id >= 0 && id < maxObjects*10) {
				break
			}
			if _, there := d.objects[int(id)]; !there {
				d.objects[int(id)] = (&parser{data: text, at: int(first + at)}).object(0)
			}
		}
	}
}

func (d *document) resolve(v any) any {
	for range maxDepth {
		r, ok := v.(reference)
		if !ok {
			return v
		}
		v = d.objects[int(r)]
	}
	return nil
}

func (d *document) dict(v any) dict {
	switch v := d.resolve(v).(type) {
	case dict:
		return v
	case stream:
		return v.dict
	}
	return nil
}

func (d *document) list(v any) []any {
	l, _ := d.resolve(v).([]any)
	out := make([]any, len(l))
	for i := range l {
		out[i] = d.resolve(l[i])
	}
	return out
}

// pages are the page dictionaries in order, with what they inherit.
func (d *document) pages() ([]dict, error) {
	var root dict
	for _, v := range d.objects {
		if o, ok := v.(dict); ok && o["Type"] == name("Catalog") {
			root = o
		}
	}
	if root == nil {
		return nil, errors.New("no pages were found in this PDF; it is damaged, or of a kind that cannot be read here. Save it as a picture")
	}
	var pages []dict
	var walk func(v any, inherited dict, depth int) error
	walk = func(v any, inherited dict, depth int) error {
		node := d.dict(v)
		if node == nil || depth > maxDepth {
			return errors.New("the PDF's list of pages is damaged")
		}
		own := dict{}
		for k, v := range inherited {
			own[k] = v
		}
		for k, v := range node {
			own[k] = v
		}
		kids := d.list(node["Kids"])
		if node["Type"] == name("Page") || len(kids) == 0 {
			pages = append(pages, own)
			if len(pages) > maxPages {
				return fmt.Errorf("the PDF has more than %d pages", maxPages)
			}
			return nil
		}
		inherit := dict{}
		for _, k := range []string{"MediaBox", "Resources", "CropBox"} {
			if v, ok := own[k]; ok {
				inherit[k] = v
			}
		}
		for _, kid := range kids {
			if err := walk(kid, inherit, depth+1); err != nil {
				return err
			}
		}
		return nil
	}
	if err := walk(root["Pages"], nil, 0); err != nil {
		return nil, err
	}
	return pages, nil
}

func (d *document) box(page dict) [4]float64 {
	n := numbers(d.list(page["MediaBox"]))
	if len(n) != 4 {
		return [4]float64{0, 0, 612, 792}
	}
	return [4]float64{min(n[0], n[2]), min(n[1], n[3]), max(n[0], n[2]), max(n[1], n[3])}
}

// content is a page's operators, of one stream or of several in turn.
func (d *document) content(v any) ([]byte, error) {
	switch v := d.resolve(v).(type) {
	case stream:
		return d.decode(v)
	case []any:
		var all []byte
		for _, part := range v {
			text, err := d.content(part)
			if err != nil || len(all) > maxStream {
				return nil, err
			}
			all = append(append(all, text...), '\n')
		}
		return all, nil
	}
	return nil, nil
}

// filters are a stream's, in the order in which they unpack it.
func (d *document) filters(s stream) (names []name) {
	switch f := d.resolve(s.dict["Filter"]).(type) {
	case name:
		return []name{f}
	case []any:
		for _, one := range f {
			n, _ := d.resolve(one).(name)
			names = append(names, n)
		}
	}
	return names
}

// decode unpacks a stream of operators or objects.
func (d *document) decode(s stream) ([]byte, error) {
	data, rest, err := d.unpack(s)
	if err == nil && rest != "" {
		err = fmt.Errorf("it is packed with %s, which cannot be read here; save the page as a picture", rest)
	}
	return data, err
}

// unpack undoes the general filters and names the first of another kind.
func (d *document) unpack(s stream) (data []byte, rest name, err error) {
	data = s.raw
	if params := d.dict(s.dict["DecodeParms"]); params != nil {
		if p, _ := d.resolve(params["Predictor"]).(float64); p > 1 {
			return nil, "a predictor", nil
		}
	}
	for _, f := range d.filters(s) {
		if f != "FlateDecode" {
			return data, f, nil
		}
		z, err := zlib.NewReader(bytes.NewReader(data))
		if err != nil {
			return nil, "", fmt.Errorf("unpacking: %w", err)
		}
		data, err = io.ReadAll(io.LimitReader(z, maxStream+1))
		if err != nil && len(data) == 0 {
			return nil, "", fmt.Errorf("unpacking: %w", err)
		}
		if len(data) > maxStream {
			return nil, "", errors.New("it holds more than can be read here")
		}
	}
	return data, "", nil
}

// picture decodes a picture object: JPEG, or plain grey, black and white, or
// RGB samples.
func (d *document) picture(s stream) (image.Image, error) {
	data, rest, err := d.unpack(s)
	if err != nil {
		return nil, err
	}
	if rest == "DCTDecode" {
		return readPicture(data)
	}
	if rest != "" {
		return nil, fmt.Errorf("a picture in it is packed with %s, which cannot be read here; save the page as PNG or JPEG", rest)
	}
	w, h, bits := d.size(s, "Width"), d.size(s, "Height"), d.size(s, "BitsPerComponent")
	if d.resolve(s.dict["ImageMask"]) == true {
		bits = 1
	}
	colours := 1
	if d.resolve(s.dict["ColorSpace"]) == name("DeviceRGB") {
		colours = 3
	}
	row := (w*bits*colours + 7) / 8
	if w <= 0 || h <= 0 || w*h > 4*maxPagePx || bits != 1 && bits != 8 || len(data) < row*h {
		return nil, fmt.Errorf("a picture in it, %d x %d samples of %d bits, cannot be read here; save the page as PNG or JPEG", w, h, bits)
	}
	out := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		line := data[y*row:]
		for x := range w {
			v := byte(0)
			switch {
			case bits == 1 && colours == 1:
				v = (line[x/8] >> (7 - x%8) & 1) * 255
			case colours == 3 && bits == 8:
				v = byte((299*int(line[3*x]) + 587*int(line[3*x+1]) + 114*int(line[3*x+2])) / 1000)
			case bits == 8:
				v = line[x]
			}
			out.Pix[y*out.Stride+x] = v
		}
	}
	return out, nil
}

func (d *document) size(s stream, key string) int {
	v, _ := d.resolve(s.dict[key]).(float64)
	return int(v)
}
