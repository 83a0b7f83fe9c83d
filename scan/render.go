package scan

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"net/url"
	"path"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
)

//go:embed pages/*.html
var pageFiles embed.FS

// templates holds each page by name, parsed with the frame and the parts. A
// broken one stops the program at its start.
var templates = parsePages()

// pageParts are the files that every page may use.
var pageParts = []string{"frame", "parts", "outlook", "drawings", "pourparts", "lotlog"}

func shared(names []string) []string {
	var out []string
	for _, name := range names {
		out = append(out, "pages/"+name+".html")
	}
	return out
}

func parsePages() map[string]*template.Template {
	parts := template.Must(template.New("frame").ParseFS(pageFiles, shared(pageParts)...))
	names, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		panic("scan: listing the pages: " + err.Error())
	}
	out := map[string]*template.Template{}
	for _, name := range names {
		base := strings.TrimSuffix(path.Base(name), ".html")
		if slices.Contains(pageParts, base) {
			continue
		}
		out[base] = template.Must(template.Must(parts.Clone()).ParseFS(pageFiles, name))
	}
	return out
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
	NowMS   int64 // the station's clock, for phones whose own is wrong
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
	f.Page, f.Looks = name, onlyLooks(c)
	f.CSS, f.JS = append(f.CSS, extras(name, ".css")...), append(f.JS, extras(name, ".js")...)
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "frame", view[T]{f, page}); err != nil {
		return fmt.Errorf("scan: page %s: %w", name, err)
	}
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
