package scan

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"
	"golang.org/x/text/language"

	"cruet/internal/larder"
	"cruet/internal/lazy"
)

//go:embed pages/*.html
var pageFiles embed.FS

// templates holds each page by name, parsed with the frame and the parts when it
// is first shown: to parse all of them takes longer than all else that the station
// does before its first answer. A test parses every one.
var templates = parsers(nil)

// parsedPage is a page in a language; some of its words may be English still.
type parsedPage struct {
	*template.Template
	partial bool
}

// translated holds the pages of every other language, by its tag.
var translated = func() map[string]map[string]func() parsedPage {
	out := map[string]map[string]func() parsedPage{}
	for _, l := range languages {
		if l.cat != nil {
			out[l.tag.String()] = parsers(l.cat)
		}
	}
	return out
}()

// sharedPages are the files whose parts any page may use.
var sharedPages = []string{"frame", "parts", "outlook", "drawings", "pourparts", "lotlog"}

// filesOf are the files that a page is made of: its own, the frame, and those whose
// parts these use. To parse the others costs more time than a page takes, and memory
// for every page.
func filesOf(page string) []string {
	files := []string{"frame", page}
	for i := 0; i < len(files); i++ {
		source, _ := pageSource(files[i], nil)
		for _, part := range namedRE().FindAllStringSubmatch(source, -1) {
			if file, ok := homes()[part[2]]; ok && part[1] == "template" && !slices.Contains(files, file) {
				files = append(files, file)
			}
		}
	}
	return files
}

// namedRE finds where a part is defined or used.
var namedRE = lazy.RE(`\{\{-?\s*(define|template) "([^"]+)"`)

// homes tells in which of the shared files a part is defined.
var homes = sync.OnceValue(func() map[string]string {
	out := map[string]string{}
	for _, name := range sharedPages {
		source, _ := pageSource(name, nil)
		for _, part := range namedRE().FindAllStringSubmatch(source, -1) {
			if part[1] == "define" {
				out[part[2]] = name
			}
		}
	}
	return out
})

// pageSource is a file of the pages, in the catalogue's words when there is one.
func pageSource(name string, words func() *catalogue) (source string, missing []string) {
	data, err := pageFiles.ReadFile("pages/" + name + ".html")
	if err != nil {
		panic("scan: reading the pages: " + err.Error())
	}
	if words == nil {
		return string(data), nil
	}
	return words().localise(string(data))
}

func parsers(words func() *catalogue) map[string]func() parsedPage {
	entries, err := pageFiles.ReadDir("pages")
	if err != nil {
		panic("scan: listing the pages: " + err.Error())
	}
	out := map[string]func() parsedPage{}
	for _, e := range entries {
		base := strings.TrimSuffix(e.Name(), ".html")
		if !slices.Contains(sharedPages, base) {
			out[base] = sync.OnceValue(func() parsedPage { return parsePage(base, words) })
		}
	}
	return out
}

func parsePage(name string, words func() *catalogue) parsedPage {
	page := parsedPage{Template: template.New(name)}
	if words != nil {
		page.Funcs(template.FuncMap{"tr": words().translate})
	}
	for _, file := range filesOf(name) {
		source, missing := pageSource(file, words)
		template.Must(page.New(file + ".html").Parse(source))
		page.partial = page.partial || file == name && len(missing) > 0
	}
	return page
}

// frame is what stands round every page.
type frame struct {
	Page    string // name of the template
	Title   string
	Kitchen string
	Demo    bool
	Public  bool // for someone outside the kitchen: no links into it
	Looks   bool // for a phone that may look and not write
	Lists   []suggested
	CSS     []string
	JS      []string
	Mark    string
	Lang    string // of the page
	Main    string // of what stands in the frame, when that is another
	Other   string // the other languages, each in its own
	Path    string // of the page, to come back to
	Large   bool   // large letters
	NowMS   int64  // the station's clock, for phones whose own is wrong
}

func (p *Pages) frame(k larder.Kitchen, title string) frame {
	return frame{Title: title, Kitchen: k.Name, Demo: p.Demo, NowMS: p.now(k).UnixMilli(), Lists: []suggested{{"places", k.Places}, {"instruments", k.Instruments}},
		CSS: []string{staticURL("cruet.css")}, JS: []string{staticURL("cruet.js")}, Mark: staticURL("mark.svg")}
}

// suggested is what the maker listed for fields to be filled with.
type suggested struct {
	ID    string
	Lines []string
}

// view is what a template gets: the frame and the page's own typed value.
type view[T any] struct {
	Frame frame
	Page  T
}

const htmlKind = "text/html; charset=utf-8"

// render writes a whole page or nothing.
func render[T any](c *gin.Context, status int, name string, f frame, page T) error {
	return write(c, status, name, f, func(f frame) any { return view[T]{f, page} })
}

// write is render for every type of page; the compiler makes render anew for each.
func write(c *gin.Context, status int, name string, f frame, viewed func(frame) any) error {
	if _, ok := templates[name]; !ok {
		return fmt.Errorf("scan: there is no page %q", name)
	}
	f.Page, f.Looks, f.Path = name, onlyLooks(c), "/"
	// The display page leads back to what can be asked for again.
	if c.Request.Method == http.MethodGet && status == http.StatusOK {
		f.Path = c.Request.URL.RequestURI()
	}
	tongue := languageOf(c.Request)
	f.Lang, f.Other, f.Large = tongue.tag.String(), tongue.others(), remembered(c, displayCookie) == "large"
	t := pageIn(f.Lang, name)()
	if t.partial {
		f.Main = language.English.String()
	}
	f.CSS, f.JS = append(f.CSS, extras(name, ".css")...), append(f.JS, extras(name, ".js")...)
	if f.Large {
		f.CSS = append(f.CSS, staticURL("large.css"))
	}
	if f.Demo {
		f.CSS = append(f.CSS, staticURL("demo.css"))
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "frame", viewed(f)); err != nil {
		return fmt.Errorf("scan: page %s: %w", name, err)
	}
	if keep, ok := c.Get(keepWith); ok && status == http.StatusOK {
		keep.(func([]byte))(b.Bytes())
		return nil
	}
	c.Writer.Header().Add("Vary", "Accept-Language")
	var small []byte
	if takesGzip(c.Request) {
		small = zipped(b.Bytes())
	}
	send(c, status, htmlKind, b.Bytes(), small)
	return nil
}

// pageIn is a page in a language, or in English.
func pageIn(lang, name string) func() parsedPage {
	if own, ok := translated[lang]; ok {
		return own[name]
	}
	return templates[name]
}

// link is an address with its words.
type link struct{ URL, Text string }

func jarURL(t larder.Tag) string { return "/J/" + string(t) }

func bottleURL(b larder.Bottle) string {
	return fmt.Sprintf("/lots/%s/bottles/%d", url.PathEscape(b.Lot), b.Number)
}

// query makes "?a=1&b=2" of pairs, leaving out the empty ones.
func query(pairs ...string) string {
	v := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			v.Add(pairs[i], pairs[i+1])
		}
	}
	if len(v) == 0 {
		return ""
	}
	return "?" + v.Encode()
}
