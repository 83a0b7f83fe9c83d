package scan

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"mime"
	"net/http"
	"net/url"
	"path"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
)

//go:embed pages/*.html
var pageFiles embed.FS

//go:embed static/*
var staticFiles embed.FS

// templates holds each page by name, parsed with the frame and the parts. A
// broken one stops the program at its start.
var templates = parsePages()

func parsePages() map[string]*template.Template {
	shared := template.Must(template.New("frame").ParseFS(pageFiles, "pages/frame.html", "pages/parts.html", "pages/outlook.html"))
	names, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		panic("scan: listing the pages: " + err.Error())
	}
	out := map[string]*template.Template{}
	for _, name := range names {
		base := strings.TrimSuffix(path.Base(name), ".html")
		if base == "frame" || base == "parts" || base == "outlook" {
			continue
		}
		out[base] = template.Must(template.Must(shared.Clone()).ParseFS(pageFiles, name))
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
	CSS     string
	JS      string
	Mark    string
}

func (p *Pages) frame(k larder.Kitchen, title string) frame {
	return frame{Title: title, Kitchen: k.Name, Demo: p.Demo,
		CSS: staticURL("cruet.css"), JS: staticURL("cruet.js"), Mark: staticURL("mark.svg")}
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
	f.Page = name
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "frame", view[T]{f, page}); err != nil {
		return fmt.Errorf("scan: page %s: %w", name, err)
	}
	c.Data(status, "text/html; charset=utf-8", b.Bytes())
	return nil
}

// link is an address with its words.
type link struct{ URL, Text string }

// staticVersions has a mark of each static file's content, so that a phone may
// keep the file for ever and still get the next version.
var staticVersions = versionStatic()

func versionStatic() map[string]string {
	out := map[string]string{}
	entries, err := staticFiles.ReadDir("static")
	if err != nil {
		panic("scan: listing static files: " + err.Error())
	}
	for _, e := range entries {
		data, err := staticFiles.ReadFile("static/" + e.Name())
		if err != nil {
			panic("scan: reading static files: " + err.Error())
		}
		sum := sha256.Sum256(data)
		out[e.Name()] = hex.EncodeToString(sum[:5])
	}
	return out
}

func staticURL(name string) string { return "/static/" + name + "?v=" + staticVersions[name] }

func serveStatic(c *gin.Context) {
	name := c.Param("name")
	data, err := staticFiles.ReadFile("static/" + name)
	if err != nil || strings.Contains(name, "/") {
		c.String(http.StatusNotFound, "There is no such file.")
		return
	}
	c.Header("Cache-Control", "public, max-age=31536000, immutable")
	c.Data(http.StatusOK, mime.TypeByExtension(path.Ext(name)), data)
}

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
