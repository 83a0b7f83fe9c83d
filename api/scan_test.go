package api_test

import (
	"bytes"
	"image"
	"image/jpeg"
	"testing"

	"cruet/internal/larder"
	"cruet/labels"
)

// snapOf is a picture of a label.
func snapOf(t testing.TB, text string) []byte {
	t.Helper()
	const dot = 8
	m := image.NewGray(image.Rect(0, 0, 600, 600))
	for i := range m.Pix {
		m.Pix[i] = 200
	}
	if text != "" {
		c, err := labels.NewCode(text, labels.LevelM)
		if err != nil {
			t.Fatal(err)
		}
		for y := range c.Size() * dot {
			for x := range c.Size() * dot {
				if c.Black(x/dot, y/dot) {
					m.Pix[(y+100)*m.Stride+x+100] = 30
				}
			}
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestScan(t *testing.T) {
	s := newStation(t)
	tag, _ := s.started()
	const path = "/api/v1/scan"
	v := s.decode("POST", path, s.send(path, "", snapOf(t, larder.Tag(tag).Link("10.9.8.7:80"))))
	v.at("codes").list()[0].at("tag").want(tag)
	v.at("codes").list()[0].at("kind").want("jar")
	v.at("codes").list()[0].at("address").want("10.9.8.7:80")
	v.at("codes").list()[0].at("moved").want(true)
	other := s.decode("POST", path, s.send(path, "", snapOf(t, "PEAR VINEGAR. LOT L990101A/2. BOTTLED 25 NOV 2026. NOT FOR CANNING.")))
	other.at("codes").list()[0].at("kind").want("unknown")
	other.at("codes").list()[0].at("lot_id").want("L990101A")
	if w := s.send(path, "", snapOf(t, "")); w.Code != 200 || bytes.Contains(w.Body.Bytes(), []byte("text")) {
		t.Errorf("without a code: %d %s", w.Code, w.Body)
	}
	for name, picture := range map[string][]byte{"none": nil, "no picture": []byte("%PDF-1.4")} {
		if w := s.send(path, "", picture); w.Code != 422 {
			t.Errorf("%s: %d %s", name, w.Code, w.Body)
		}
	}
}
