package scan

import (
	"bytes"
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// packed is a page as a phone gets it, unpacked by the standard library, and how
// long it was on the way.
func (s *station) packed(path string) (string, int) {
	s.t.Helper()
	req := httptest.NewRequest(http.MethodGet, path, nil)
	req.Header.Set("Accept-Encoding", "gzip")
	for _, one := range s.jar {
		req.AddCookie(one)
	}
	rec := httptest.NewRecorder()
	s.engine.ServeHTTP(rec, req)
	size := rec.Body.Len()
	r, err := gzip.NewReader(rec.Body)
	if err != nil || rec.Code != http.StatusOK {
		s.t.Fatalf("%s: %d, %v", path, rec.Code, err)
	}
	page, err := io.ReadAll(r) // checks the sum and the length
	if err != nil {
		s.t.Fatalf("%s: %v", path, err)
	}
	return string(page), size
}

func keysOf(page string) (keys []string, rest string) {
	for _, m := range fresh().FindAllStringSubmatch(page, -1) {
		if m[1] != "" {
			keys = append(keys, m[1])
		}
	}
	return keys, fresh().ReplaceAllString(page, "GAP")
}

// A page that was kept is the page that would be made, with keys of its own, for
// phones that read gzip and for those that do not; and whatever changes it makes it
// anew.
func TestKeptPages(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	path := at(tag, "")
	for _, path := range []string{path, "/"} {
		first, plainSize := s.packed(path)
		again, keptSize := s.packed(path)
		plain := s.get(path).Body.String()
		if len(s.pages.kept.pages) == 0 {
			t.Fatal("no page is kept")
		}
		keys, text := keysOf(first)
		count := len(keys)
		for _, other := range []string{again, plain} {
			more, same := keysOf(other)
			if same != text {
				t.Errorf("%s as kept is another page", path)
			}
			if len(more) != count || count == 0 {
				t.Errorf("%s has %d keys, and kept %d", path, count, len(more))
			}
			keys = append(keys, more...)
		}
		seen := map[string]bool{}
		for _, key := range keys {
			if seen[key] {
				t.Errorf("%s gave the key %s twice", path, key)
			}
			seen[key] = true
		}
		t.Logf("%s: %d bytes, kept %d", path, plainSize, keptSize)
		if keptSize > plainSize*112/100 {
			t.Errorf("%s takes %d bytes, and kept %d", path, plainSize, keptSize)
		}
	}
	was, _ := s.packed(path)
	changed := func(what string) {
		t.Helper()
		now, _ := s.packed(path)
		_, before := keysOf(was)
		if _, after := keysOf(now); after == before {
			t.Errorf("the page is as it was, after %s", what)
		}
		was = now
	}
	s.log(tag, larder.When{}, larder.Reading{PH: new(chem.PH(3.14))}, "")
	changed("a reading")
	s.move(s.now().Add(72 * time.Hour))
	changed("three days")
	s.jar = append(s.jar, &http.Cookie{Name: byCookie, Value: "mo"})
	changed("other initials")
	s.jar = append(s.jar, &http.Cookie{Name: languageCookie, Value: "de"})
	changed("another language")
	for range 2 { // made, then kept
		page, _ := s.packed(path)
		if want := `data-now="` + strconv.FormatInt(s.now().UnixMilli(), 10) + `"`; !strings.Contains(page, want) {
			t.Errorf("the page does not tell the station's clock as %s", want)
		}
		s.move(s.now().Add(1500 * time.Millisecond))
	}
}

// Any key may stand in any gap: the bytes after it do not depend on it.
func TestPiecesDoNotReferToKeys(t *testing.T) {
	field := `<input type="hidden" name="key" value="`
	page := []byte(strings.Repeat(field+"01980000-0000-7000-8000-000000000000\"><p>01980000-0000-7000-8000 and on</p>", 40))
	k := withGaps(page)
	if len(k.packed) != 41 {
		t.Fatalf("%d pieces", len(k.packed))
	}
	for range 3 {
		r, err := gzip.NewReader(bytes.NewReader(k.zipped(today)))
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		_, want := keysOf(string(page))
		if keys, rest := keysOf(string(got)); rest != want || len(keys) != 40 || keys[0] == keys[39] {
			t.Fatalf("it came out as %.200s", got)
		}
	}
}
