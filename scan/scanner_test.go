package scan

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/jpeg"
	"image/png"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"cruet/internal/larder"
	"cruet/labels"
)

// snapOf is a picture of labels side by side, on a dark shelf.
func snapOf(t testing.TB, texts ...string) *image.Gray {
	t.Helper()
	const dot, apart = 8, 420
	m := image.NewGray(image.Rect(0, 0, 200+apart*max(1, len(texts)), 600))
	for i := range m.Pix {
		m.Pix[i] = 90
	}
	for i, text := range texts {
		c, err := labels.NewCode(text, labels.LevelM)
		if err != nil {
			t.Fatal(err)
		}
		side := (c.Size() + 2*labels.QuietModules) * dot
		for y := range side {
			for x := range side {
				v := byte(225)
				if c.Black(x/dot-labels.QuietModules, y/dot-labels.QuietModules) {
					v = 30
				}
				m.Pix[(y+100)*m.Stride+x+100+apart*i] = v
			}
		}
	}
	return m
}

func jpegOf(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A photo of a label opens what it is stuck on, whatever address it names.
func TestScanAPhoto(t *testing.T) {
	s := stocked(t)
	pear := s.jars["Pear trimmings/A"]
	lot := s.bottled(2)
	spares, err := s.db.IssueSpares(t.Context(), act(), 1)
	if err != nil {
		t.Fatal(err)
	}
	for name, row := range map[string]struct{ text, to string }{
		"jar":            {pear.Link("192.168.1.20:8080"), jarURL(pear)},
		"dead address":   {pear.Link("10.9.8.7:80"), jarURL(pear)},
		"spare":          {spares[0].Link("192.168.1.20:8080"), jarURL(spares[0])},
		"bottle":         {lot.Bottles[1].Tag.Link("192.168.1.20:8080"), bottleURL(lot.Bottles[1])},
		"somewhere else": {"https://example.org/B/" + string(lot.Bottles[1].Tag), bottleURL(lot.Bottles[1])},
	} {
		a := s.upload("/scan", nil, nil, jpegOf(t, snapOf(t, row.text)))
		if a.Code != http.StatusSeeOther || a.Header().Get("Location") != row.to {
			t.Errorf("%s: %d to %q, want %q", name, a.Code, a.Header().Get("Location"), row.to)
		}
	}
	back := "/bottle?jar=" + string(pear)
	a := s.upload("/scan", url.Values{"for": {back}}, jpegOf(t, snapOf(t, spares[0].Link("10.9.8.7"))))
	if want := back + "&other=" + string(spares[0]); a.Code != http.StatusSeeOther || a.Header().Get("Location") != sortedQuery(want) {
		t.Errorf("for an act: %d to %q, want %q", a.Code, a.Header().Get("Location"), want)
	}
}

// sortedQuery puts a path's query into the order that encoding gives it.
func sortedQuery(path string) string {
	u, err := url.Parse(path)
	if err != nil {
		return path
	}
	u.RawQuery = u.Query().Encode()
	return u.String()
}

// What opens nothing says what it is and what to do; several codes are offered.
func TestScanTellsWhatItSaw(t *testing.T) {
	s := stocked(t)
	pear, quince := s.jars["Pear trimmings/A"], s.jars["Quince juice/A"]
	lot := s.bottled(2)
	facts := func(id string) string {
		return "PEAR VINEGAR. 5.2 % ACIDITY. LOT " + id + "/2. BOTTLED 25 NOV 2026. NOT FOR CANNING."
	}
	var wide bytes.Buffer // says that it has 90 megapixels, and has none
	if err := png.Encode(&wide, image.NewGray(image.Rect(0, 0, 1, 1))); err != nil {
		t.Fatal(err)
	}
	copy(wide.Bytes()[16:], []byte{0, 0, 0x23, 0x28, 0, 0, 0x27, 0x10})
	binary.BigEndian.PutUint32(wide.Bytes()[29:], crc32.ChecksumIEEE(wide.Bytes()[12:29]))
	for name, row := range map[string]struct {
		picture []byte
		status  int
		says    []string
	}{
		"two":           {jpegOf(t, snapOf(t, pear.Link("a.b"), quince.Link("a.b"))), 200, []string{`href="` + jarURL(pear), `href="` + jarURL(quince), "Pear trimmings A"}},
		"facts":         {jpegOf(t, snapOf(t, facts(lot.Lot.ID))), 200, []string{bottleURL(lot.Bottles[1]), "NOT FOR CANNING", "Bottle 2 of lot"}},
		"other's facts": {jpegOf(t, snapOf(t, facts("L990101A"))), 200, []string{"another kitchen", "NOT FOR CANNING"}},
		"other kitchen": {jpegOf(t, snapOf(t, larder.Tag(unknown(larder.MinJarTag)).Link("10.9.8.7:80"))), 200, []string{"another kitchen", "10.9.8.7:80"}},
		"no label":      {jpegOf(t, snapOf(t, "WIFI:S:pantry;;")), 200, []string{"No label of a jar", "WIFI:S:pantry"}},
		"nothing":       {jpegOf(t, snapOf(t)), 422, []string{"Go closer", "type the tag"}},
		"no picture":    {nil, 422, []string{"No picture was sent"}},
		"no image":      {[]byte("%PDF-1.4"), 422, []string{"not a picture"}},
		"too many":      {wide.Bytes(), 422, []string{"pixels"}},
	} {
		a := s.upload("/scan", nil, row.picture)
		if a.Code != row.status {
			t.Errorf("%s: %d, want %d, to %q", name, a.Code, row.status, a.Header().Get("Location"))
		}
		for _, want := range row.says {
			if !strings.Contains(a.Body.String(), want) {
				t.Errorf("%s: %q is not on the page\n%s", name, want, words(a.Body.String()))
			}
		}
	}
	if photos, err := filepath.Glob(filepath.Join(os.TempDir(), "cruet-photo-*")); err != nil || len(photos) > 0 {
		t.Errorf("pictures were kept: %v %v", photos, err)
	}
}

// A typed tag forgives look-alikes and says which tag it took.
func TestScanATypedTag(t *testing.T) {
	s := stocked(t)
	pear := s.jars["Pear trimmings/A"]
	typed := strings.NewReplacer("0", "o", "1", "i", "5", "s", "8", "b", "2", "z").Replace(strings.ToLower(string(pear)))
	a := s.get("/scan?tag=" + typed)
	want := jarURL(pear)
	if !strings.EqualFold(typed, string(pear)) {
		want += query("typed", typed)
	}
	if a.Code != http.StatusSeeOther || a.Header().Get("Location") != want {
		t.Errorf("%s: %d to %q, want %q", typed, a.Code, a.Header().Get("Location"), want)
	}
	if a := s.get("/scan?for=/bench&tag=" + string(pear)); a.Header().Get("Location") != "/bench?other="+string(pear) {
		t.Errorf("for the bench: %d to %q", a.Code, a.Header().Get("Location"))
	}
	for path, says := range map[string]string{
		"/scan?tag=K7RM4T":                       "mistyped",
		"/scan?tag=" + unknown(larder.MinJarTag): "Not in this kitchen",
		"/scan?tag=":                             "No tag was typed",
	} {
		if a := s.get(path); a.Code < 400 || !strings.Contains(a.Body.String(), says) {
			t.Errorf("%s: %d, %q is not on the page", path, a.Code, says)
		}
	}
}

// Only local pages that start an act are gone back to.
func TestWhereAScanGoesBack(t *testing.T) {
	if act := poursAt("K7RM74", "mother"); wanted(act) != act {
		t.Errorf("%q, which asks for a second jar, is not gone back to: %q", act, wanted(act))
	}
	for path, want := range map[string]string{
		"/J/K7RM74?open=feed&pick=other": "/J/K7RM74?open=feed&pick=other", "/bench": "/bench", "/bottle?jar=A": "/bottle?jar=A", "/J/K7RM74/move": "/J/K7RM74/move",
		"": "", "/": "", "/lots": "", "/bottles": "", "/J/": "", "J/K7RM74": "", "//example.org/J/A": "", "/J//A": "", "/J/../lots": "", "https://example.org/bench": "",
		"/bench\\x": "", "/J/%5Cexample.org": "", "/J/%2F%2Fexample.org": "", "/bench\r\nX: y": "", "/J/A#b": "", "javascript:alert(1)": "",
	} {
		if got := wanted(path); got != want {
			t.Errorf("%q: %q, want %q", path, got, want)
		}
	}
}
