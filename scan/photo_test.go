package scan

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"cruet/internal/larder"
)

// jarShot is a picture of a jar, drawn: amber liquid with a pale skin on it.
func jarShot(t testing.TB, w, h int, skin float64) []byte {
	t.Helper()
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			u, v := float64(x)/float64(w), float64(y)/float64(h)
			c := color.RGBA{232, 224, 208, 255}
			if u > .2 && u < .8 && v > .15 {
				c = color.RGBA{uint8(196 - 60*v), uint8(132 - 50*v), 52, 255}
				if v > .34 && v < .34+skin+.01*math.Sin(u*40) {
					c = color.RGBA{236, 220, 180, 255}
				}
				if u < .23 || u > .77 {
					c = color.RGBA{120, 110, 92, 255}
				}
				if v < .34 && u >= .23 && u <= .77 {
					c = color.RGBA{222, 216, 200, 255}
				}
			}
			m.SetRGBA(x, y, c)
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// photographed logs four photos of a jar, the last one struck, and gives their pages.
func (s *station) photographed(tag larder.Tag) []string {
	s.t.Helper()
	var pages []string
	for i, note := range []string{"clear, nothing to see", "a thin skin, smooth", "", "of the wrong jar"} {
		data := jarShot(s.t, 600, 800, .03*float64(i))
		if i == 2 {
			data = jarShot(s.t, 900, 500, .05)
		}
		saved, err := s.db.AddPhoto(context.Background(), act(), tag, larder.NewEntry{When: s.daysAgo(float64(12 - 3*i)), Note: note}, bytes.NewReader(data))
		if err != nil {
			s.t.Fatal(err)
		}
		pages = append(pages, photoURL(tag, saved.Entry.ID))
		if i == 3 {
			if _, err := s.db.Strike(context.Background(), act(), saved.Entry.ID, "of the jar beside it"); err != nil {
				s.t.Fatal(err)
			}
		}
	}
	return pages
}

// send a form with pictures: pairs of names and values, then files of the box "photo".
func (s *station) upload(path string, v url.Values, pictures ...[]byte) answer {
	s.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for name, values := range v {
		for _, value := range values {
			if err := m.WriteField(name, value); err != nil {
				s.t.Fatal(err)
			}
		}
	}
	for _, data := range pictures {
		name := "shot.jpg"
		if data == nil {
			name = "" // a box that was left empty
		}
		w, err := m.CreateFormFile("photo", name)
		if err != nil {
			s.t.Fatal(err)
		}
		if _, err := w.Write(data); err != nil {
			s.t.Fatal(err)
		}
	}
	if err := m.Close(); err != nil {
		s.t.Fatal(err)
	}
	r := httptest.NewRequest("POST", path, &b)
	r.Header.Set("Content-Type", m.FormDataContentType())
	return s.send(r, path)
}

func TestTakeAPhoto(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	s.get(at(tag, "")).wants(200, "Photo", "What am I looking at?")
	s.get(at(tag, "/photo")).wants(200, "Take a photo", "up to 20 MB").has(`capture="environment"`, `enctype="multipart/form-data"`)
	before := s.entries(tag)
	v := formOf("note", "a thin skin", "when", "2 days ago", "by", "mk")
	// The camera's box is empty, the other one is filled.
	page := s.upload(at(tag, "/photo"), v, nil, jarShot(t, 600, 800, .05)).follow()
	page.wants(200, "Saved: Photo", "a thin skin", "mk").has(`<img src="/photos/`, `alt="Photo of jar `+string(tag)+`, 23 Nov: a thin skin"`)
	s.upload(at(tag, "/photo"), v, jarShot(t, 600, 800, .05)).follow().wants(200, "Already saved, once: Photo")
	if n := s.entries(tag) - before; n != 1 {
		t.Fatalf("%d entries, want one", n)
	}

	src := page.Body.String()[strings.Index(page.Body.String(), `"/photos/`)+1:]
	src = src[:strings.IndexByte(src, '"')]
	file := s.get(src)
	if _, err := jpeg.Decode(file.Body); file.Code != 200 || err != nil {
		t.Fatalf("%s: %d, %v", src, file.Code, err)
	}
	for name, want := range map[string]string{"Content-Type": "image/jpeg", "X-Content-Type-Options": "nosniff", "Cache-Control": "private, max-age=31536000, immutable"} {
		if got := file.Header().Get(name); got != want {
			t.Errorf("%s is %q, want %q", name, got, want)
		}
	}
	r := httptest.NewRequest("GET", src, nil)
	r.Header.Set("If-None-Match", file.Header().Get("ETag"))
	s.send(r, src).wants(http.StatusNotModified)
	for _, path := range []string{"/photos/" + strings.Repeat("0", 64) + ".jpg", "/photos/cruet.db", "/photos/..%2fcruet.db", at(tag, "/photo/nonsense")} {
		s.get(path).wants(404)
	}
}

func TestPhotoPages(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	pages := s.photographed(tag)
	s.get(pages[0]).wants(200, "clear, nothing to see", "The first", "Newer").has(pages[1]).lacks("Older")
	s.get(pages[1]).wants(200, "a thin skin, smooth", "Older", "Newer").has(pages[0], pages[2])
	// A struck photo is told of and not shown, on its page and in the history.
	s.get(pages[3]).wants(200, "was struck", "of the jar beside it").has(pages[2]).lacks("<img", "/photos/")
	s.get(at(tag, "")).wants(200, "of the wrong jar").lacks(pages[3])
	s.get(pages[2]).wants(200, "The newest").lacks(pages[3])
	s.get(at(s.jars["Barley/A"], strings.TrimPrefix(pages[0], at(tag, "")))).wants(404)
	s.get(at(s.jars["Pear trimmings/B"], "/photo")).wants(200, "Take a photo")
}

// What was typed comes back with what is wrong, and nothing is saved.
func TestPhotoRefused(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	before := s.entries(tag)
	heic := []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic")
	big := append(jarShot(t, 60, 80, .1), make([]byte, 30<<20)...)
	whole := jarShot(t, 600, 800, .1)
	for name, row := range map[string]struct {
		pictures [][]byte
		when     string
		says     string
	}{
		"none":       {[][]byte{nil, nil}, "", "Choose a picture first"},
		"a letter":   {[][]byte{[]byte("Dear kitchen, here is a letter.")}, "", "This is not a picture"},
		"HEIC":       {[][]byte{heic}, "", "most compatible"},
		"too large":  {[][]byte{big}, "", "up to 20 MB"},
		"broken":     {[][]byte{whole[:len(whole)/2]}, "", "broken off"},
		"a bad date": {[][]byte{whole}, "the day after never", "Choose the picture once more"},
	} {
		t.Run(name, func(t *testing.T) {
			v := formOf("note", "typed with a wet hand", "when", row.when, "by", "zq")
			back := s.upload(at(tag, "/photo"), v, row.pictures...).wants(http.StatusUnprocessableEntity, row.says)
			back.has(">typed with a wet hand</textarea>", `value="zq"`, v.Get("key"))
		})
	}
	if s.entries(tag) != before {
		t.Error("something was saved")
	}
	s.upload(at(tag, "/photo"), url.Values{"note": {"no key"}}, whole).wants(http.StatusUnprocessableEntity, "lost its mark")
	s.post(at(tag, "/photo"), formOf("note", "not a form with files")).wants(http.StatusUnprocessableEntity, "broken")
	s.upload(at(tag, "/photo"), formOf("note", strings.Repeat("x", 2<<20)), whole).wants(http.StatusRequestEntityTooLarge)
	s.upload(at("K7RM74", "/photo"), formOf(), whole).wants(404)
	v := formOf("note", "one")
	s.upload(at(tag, "/photo"), v, whole).wants(http.StatusSeeOther)
	s.upload(at(tag, "/photo"), v, jarShot(t, 60, 80, .2)).wants(http.StatusConflict, "saved once already")
	left, err := filepath.Glob(filepath.Join(os.TempDir(), "cruet-photo-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// The guide logs what was seen with one tap, by the rules of the jar's own forms.
func TestLooksGuide(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	s.get("/help/looks").wants(200, "When in doubt, throw it away", "Take this jar", "525.825").lacks("Log mould")
	s.get("/help/looks?tag=K7RM4T").wants(404, "Take this jar", "mistyped")
	s.get("/help/looks?tag="+unknown(larder.MinJarTag)).wants(404, "Take this jar", "no jar")
	s.get("/help/looks?tag="+string(s.jars["Pear trimmings/B"])).wants(200).lacks("Log mould", "Take this jar")
	s.get("/help/caution").has("/help/looks")
	page := s.get("/help/looks?tag="+string(tag)).wants(200, "Log mould", "Take a photo of it")
	page.has(`<title id="look-mould-t">`, `<desc id="look-eels-d">`, `aria-labelledby="look-film-t look-film-d"`)
	before := s.entries(tag)
	for _, v := range []struct {
		to     string
		values url.Values
		says   string
	}{
		{"/log/note", formOf("note", "A mother is on it: smooth and even."), "Saved: Note"},
		{"/log/action", formOf("action", "skimmed", "note", "Film yeast"), "Saved: Skimmed"},
		{"/log/hold", formOf("hold", "on", "reason", "vinegar eels were seen"), "On hold: vinegar eels were seen"},
		{"/log/action", formOf("action", "mould seen"), "Mould means discard"},
	} {
		s.post(at(tag, v.to), v.values).follow().wants(200, v.says)
	}
	if n := s.entries(tag) - before; n != 4 {
		t.Errorf("%d entries, want 4", n)
	}
}

// A maker with a wet hand: from the jar's page to a saved photo in a real browser,
// with the page's script, which makes the picture small before it is sent, and
// without.
func TestPhotoStory(t *testing.T) {
	for _, c := range []struct {
		name   string
		script bool
	}{{"with script", true}, {"without script", false}} {
		t.Run(c.name, func(t *testing.T) { photoStory(t, c.script) })
	}
}

func photoStory(t *testing.T, script bool) {
	ctx := browser(t, 360, 740, false)
	if !script {
		if _, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
			t.Fatal(err)
		}
	}
	s := stocked(t)
	base := s.listen()
	p := phone{t, ctx}
	tag := s.jars["Pear trimmings/A"]
	file := filepath.Join(t.TempDir(), "jar.jpg")
	if err := os.WriteFile(file, jarShot(t, 3000, 4000, .05), 0o600); err != nil {
		t.Fatal(err)
	}
	p.do(chromedp.Navigate(base + at(tag, "")))
	p.tap(`.acts a[href$="/photo"]`)
	p.keep("photo-1-form")
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#photo-pick"), []string{file}))
	if script {
		p.becomes(`document.querySelector("#photo-pick").files[0].name`, "small.jpg")
		if info, err := os.Stat(file); err != nil {
			t.Fatal(err)
		} else if size, err := chromedp.Run(ctx, chromedp.Evaluate[float64](`document.querySelector("#photo-pick").files[0].size`)); err != nil || size > float64(info.Size())/2 {
			t.Errorf("of %d bytes %g are sent (%v)", info.Size(), size, err)
		}
	}
	p.do(p.types("#photo-note", "a mother, at last"))
	p.tap(`form.camera button.main`)
	p.sees("Saved: Photo")
	p.keep("photo-2-saved")
	p.tap(`.history a.shot`)
	p.sees("a mother, at last")
	p.keep("photo-3-shown")
	size, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(i => i.complete + " " + i.naturalWidth + " x " + i.naturalHeight)(document.querySelector(".print img"))`))
	if err != nil || size != "true 1200 x 1600" {
		t.Errorf("the browser shows %s pixels (%v), want 1200 x 1600", size, err)
	}
}

// becomes waits until a script's value is that.
func (p phone) becomes(script, want string) {
	p.t.Helper()
	var got string
	for begun := time.Now(); time.Since(begun) < 20*time.Second; time.Sleep(50 * time.Millisecond) {
		var err error
		if got, err = chromedp.Run(p.ctx, chromedp.Evaluate[string](script)); err != nil {
			p.t.Fatal(err)
		}
		if got == want {
			return
		}
	}
	p.t.Fatalf("%s is %q, want %q", script, got, want)
}
