package scan

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
	"golang.org/x/text/language"

	"cruet/internal/larder"
)

//go:embed pages/*.html
var pageFiles embed.FS

// templates holds each page by name, parsed with the frame and the parts. A
// broken one stops the program at its start.
var templates, _ = parsePages(nil)

// pageSet is a language's pages, and those of which some words are English still.
type pageSet struct {
	pages   map[string]*template.Template
	partial map[string]bool
}

// translated holds the pages of every other language, by its tag.
var translated = func() map[string]pageSet {
	out := map[string]pageSet{}
	for _, l := range languages {
		if l.cat != nil {
			pages, partial := parsePages(l.cat)
			out[l.tag.String()] = pageSet{pages, partial}
		}
	}
	return out
}()

// sharedPages are the files whose parts every page may use.
var sharedPages = []string{"frame", "parts", "outlook", "drawings", "pourparts", "lotlog"}

// pageSource is a file of the pages, in the catalogue's words when there is one.
func pageSource(name string, c *catalogue) (source string, missing []string) {
	data, err := pageFiles.ReadFile("pages/" + name + ".html")
	if err != nil {
		panic("scan: reading the pages: " + err.Error())
	}
	if c == nil {
		return string(data), nil
	}
	return c.localise(string(data))
}

func parsePages(c *catalogue) (out map[string]*template.Template, partial map[string]bool) {
	shared := template.New("shared")
	if c != nil {
		shared.Funcs(template.FuncMap{"tr": c.translate})
	}
	for _, name := range sharedPages {
		source, _ := pageSource(name, c)
		template.Must(shared.New(name + ".html").Parse(source))
	}
	names, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		panic("scan: listing the pages: " + err.Error())
	}
	out, partial = map[string]*template.Template{}, map[string]bool{}
	for _, name := range names {
		base := strings.TrimSuffix(path.Base(name), ".html")
		if slices.Contains(sharedPages, base) {
			continue
		}
		source, missing := pageSource(base, c)
		out[base] = template.Must(template.Must(shared.Clone()).New(base + ".html").Parse(source))
		partial[base] = len(missing) > 0
	}
	return out, partial
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

// render writes a whole page or nothing.
func render[T any](c *gin.Context, status int, name string, f frame, page T) error {
	t, ok := templates[name]
	if !ok {
		return fmt.Errorf("scan: there is no page %q", name)
	}
	f.Page, f.Looks, f.Path = name, onlyLooks(c), "/"
	// The display page leads back to what can be asked for again.
	if c.Request.Method == http.MethodGet && status == http.StatusOK {
		f.Path = c.Request.URL.RequestURI()
	}
	tongue := languageOf(c.Request)
	f.Lang, f.Other, f.Large = tongue.tag.String(), tongue.others(), remembered(c, displayCookie) == "large"
	if own, ok := translated[f.Lang]; ok {
		t = own.pages[name]
		if own.partial[name] {
			f.Main = language.English.String()
		}
	}
	f.CSS, f.JS = append(f.CSS, extras(name, ".css")...), append(f.JS, extras(name, ".js")...)
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "frame", view[T]{f, page}); err != nil {
		return fmt.Errorf("scan: page %s: %w", name, err)
	}
	c.Writer.Header().Add("Vary", "Accept-Language")
	var small []byte
	if takesGzip(c.Request) {
		small = zipped(b.Bytes())
	}
	send(c, status, "text/html; charset=utf-8", b.Bytes(), small)
	return nil
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
