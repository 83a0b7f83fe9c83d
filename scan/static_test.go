package scan

import (
	"bytes"
	"compress/gzip"
	"io"
	"net/http/httptest"
	"path"
	"strings"
	"testing"
)

// TestStatic serves each file small, compressed to whoever reads that, for ever
// under a name that changes with its content.
func TestStatic(t *testing.T) {
	s := newStation(t)
	get := func(path, takes, have string) answer {
		r := httptest.NewRequest("GET", path, nil)
		r.Header.Set("Accept-Encoding", takes)
		r.Header.Set("If-None-Match", have)
		return s.send(r, path)
	}
	for name, a := range assets {
		source, err := staticFiles.ReadFile("static/" + name)
		if err != nil {
			t.Fatal(err)
		}
		plain := get(a.url, "", "")
		if plain.Code != 200 || plain.Body.Len() >= len(source) || plain.Header().Get("Content-Encoding") != "" {
			t.Errorf("%s: %d, %d bytes of a source of %d", name, plain.Code, plain.Body.Len(), len(source))
		}
		packed := get(a.url, "br;q=1.0, gzip;q=0.5", "")
		unpacked, err := gzip.NewReader(bytes.NewReader(packed.Body.Bytes()))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		text, err := io.ReadAll(unpacked)
		if err != nil || !bytes.Equal(text, plain.Body.Bytes()) || packed.Header().Get("Content-Encoding") != "gzip" || packed.Header().Get("Vary") != "Accept-Encoding" {
			t.Errorf("%s: compressed it is another file (%v) or not said to be compressed: %v", name, err, packed.Header())
		}
		if plain.Header().Get("ETag") == packed.Header().Get("ETag") || strings.HasPrefix(plain.Header().Get("ETag"), "W/") {
			t.Errorf("%s: both forms have the mark %s", name, plain.Header().Get("ETag"))
		}
		if got := get(a.url, "gzip", packed.Header().Get("ETag")); got.Code != 304 || got.Body.Len() != 0 {
			t.Errorf("%s is sent again to who has it: %d", name, got.Code)
		}
		if got := get(a.url, "gzip;q=0", ""); got.Header().Get("Content-Encoding") != "" {
			t.Errorf("%s: compressed against the wish", name)
		}
		for _, page := range a.pages {
			if templates[page] == nil {
				t.Errorf("%s is for a page %q that there is not", name, page)
			}
		}
		if ext := path.Ext(name); len(a.pages) == 0 && name != "cruet"+ext && name != "mark.svg" && name != "large.css" && name != "demo.css" {
			t.Errorf("%s is for no page: its first line must be /* Pages: … */", name)
		}
	}
	page := get("/", "gzip", "")
	if page.Header().Get("Content-Encoding") != "gzip" || page.Body.Len() > 2500 {
		t.Errorf("a page is sent in %d bytes, %v", page.Body.Len(), page.Header())
	}
}

// A drawing is compressed to whoever reads that, and is the same drawing.
func TestDrawingsAreCompressed(t *testing.T) {
	s := stocked(t)
	for _, path := range []string{lotURL(s.bottled(12).Lot.ID) + "/labels.svg?stock=a4-2x8", "/labels/preview.svg?tag=" + string(s.jars["Barley/A"]), "/labels/stocks/a4-2x8.svg"} {
		plain := s.get(path).wants(200)
		r := httptest.NewRequest("GET", path, nil)
		r.Header.Set("Accept-Encoding", "gzip")
		packed := s.send(r, path)
		unpacked, err := gzip.NewReader(bytes.NewReader(packed.Body.Bytes()))
		if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		text, err := io.ReadAll(unpacked)
		if err != nil || !bytes.Equal(text, plain.Body.Bytes()) || packed.Header().Get("Content-Type") != "image/svg+xml" || packed.Header().Get("Vary") != "Accept-Encoding" || plain.Header().Get("Content-Encoding") != "" {
			t.Errorf("%s: compressed it is another drawing (%v), %v, plain %v", path, err, packed.Header(), plain.Header())
		}
	}
}

// Pages are parsed when they are first shown, so that a station answers soon after
// its start; a broken one is found here.
func TestEveryPageParses(t *testing.T) {
	for name, parsed := range templates {
		if parsed().Lookup("page") == nil {
			t.Errorf("%s.html defines no page", name)
		}
	}
}
