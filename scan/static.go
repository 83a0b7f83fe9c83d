package scan

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"net/http"
	"path"
	"slices"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"
	"github.com/tdewolff/minify/v2"
	"github.com/tdewolff/minify/v2/css"
	"github.com/tdewolff/minify/v2/js"
	"github.com/tdewolff/minify/v2/svg"
)

//go:embed static/*
var staticFiles embed.FS

// asset is a file as phones get it. Its source's mark stands in its name, so that a
// phone may keep it for ever and still gets the next version.
type asset struct {
	url, kind string
	pages     []string      // the only pages that use it; none: all
	content   func() packed // made when it is first asked for
}

// packed is what is sent: minified, and compressed once.
type packed struct {
	mark           string // of these very bytes
	plain, gzipped []byte
}

// assets holds each static file by its name in the source. One that cannot be
// read stops the program at its start.
var assets = loadAssets()

// served finds an asset by the name in its address.
var served = func() map[string]*asset {
	out := map[string]*asset{}
	for _, a := range assets {
		out[path.Base(a.url)] = a
	}
	return out
}()

func loadAssets() map[string]*asset {
	entries, err := staticFiles.ReadDir("static")
	if err != nil {
		panic("scan: listing static files: " + err.Error())
	}
	out := map[string]*asset{}
	for _, e := range entries {
		source, err := staticFiles.ReadFile("static/" + e.Name())
		if err != nil {
			panic("scan: reading static files: " + err.Error())
		}
		ext := path.Ext(e.Name())
		out[e.Name()] = &asset{
			url:  "/static/" + strings.TrimSuffix(e.Name(), ext) + "." + markOf(source) + ext,
			kind: kinds[ext], pages: pagesOf(source),
			content: sync.OnceValue(func() packed { return pack(ext, source) }),
		}
	}
	return out
}

func markOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:6])
}

// kinds are not asked of the system, whose list takes longer to read than the rest
// of the start, and may say otherwise.
var kinds = map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}

// pack panics on a file that the minifier cannot read; a test packs every one.
func pack(ext string, source []byte) packed {
	m := minify.New()
	m.AddFunc(".css", css.Minify)
	m.AddFunc(".js", js.Minify)
	m.AddFunc(".svg", svg.Minify)
	small, err := m.Bytes(ext, source)
	if err != nil {
		panic(fmt.Sprintf("scan: a static file, %s: %v", ext, err))
	}
	return packed{markOf(small), small, zipped(small)}
}

// pagesOf reads which pages a style sheet or script is for out of its first
// line, "/* Pages: lot lots". Without that line it is for none by itself.
func pagesOf(source []byte) []string {
	first, _, _ := strings.Cut(string(source), "\n")
	list, ok := strings.CutPrefix(first, "/* Pages: ")
	if !ok {
		return nil
	}
	return strings.Fields(strings.TrimSuffix(list, "*/"))
}

// extras are the addresses of the style sheets or scripts of one page that
// stand beside the shared ones, in the order of their names.
func extras(page, ext string) []string {
	var out []string
	for name, a := range assets {
		if path.Ext(name) == ext && slices.Contains(a.pages, page) {
			out = append(out, a.url)
		}
	}
	slices.Sort(out)
	return out
}

func staticURL(name string) string { return assets[name].url }

func serveStatic(c *gin.Context) {
	a, ok := served[c.Param("name")]
	if !ok {
		c.String(http.StatusNotFound, "There is no such file.")
		return
	}
	file := a.content()
	c.Header("Cache-Control", "public, max-age=31536000, immutable")
	// A strong ETag names one sequence of bytes (RFC 9110, 8.8.3.3).
	etag := `"` + file.mark + `"`
	if takesGzip(c.Request) {
		etag = `"` + file.mark + `-gz"`
	}
	c.Header("ETag", etag)
	if c.GetHeader("If-None-Match") == etag {
		c.Status(http.StatusNotModified)
		return
	}
	send(c, http.StatusOK, a.kind, file.plain, file.gzipped)
}

// send answers with whichever form the browser reads.
func send(c *gin.Context, status int, kind string, plain, gzipped []byte) {
	c.Writer.Header().Add("Vary", "Accept-Encoding")
	if gzipped != nil && takesGzip(c.Request) {
		c.Header("Content-Encoding", "gzip")
		plain = gzipped
	}
	c.Data(status, kind, plain)
}

// sendDrawing answers with an SVG, compressed where the browser reads that: a sheet of
// labels is a third of a megabyte of paths, and an eighth of that compressed.
func sendDrawing(c *gin.Context, svg string) {
	var gzipped []byte
	if takesGzip(c.Request) {
		gzipped = zipped([]byte(svg))
	}
	send(c, http.StatusOK, kinds[".svg"], []byte(svg), gzipped)
}

func takesGzip(r *http.Request) bool {
	for one := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		name, weight, _ := strings.Cut(strings.TrimSpace(one), ";")
		if strings.EqualFold(name, "gzip") {
			return !strings.HasPrefix(strings.ReplaceAll(weight, " ", ""), "q=0") || strings.Trim(weight, " ;q=0.") != ""
		}
	}
	return false
}

// zippers are kept, since to make one costs more than to compress a page.
var zippers = sync.Pool{New: func() any { return gzip.NewWriter(nil) }}

// zipped compresses for weak Wi-Fi.
func zipped(data []byte) []byte {
	var b bytes.Buffer
	w := zippers.Get().(*gzip.Writer)
	defer zippers.Put(w)
	w.Reset(&b)
	// A buffer takes all that is written into it.
	_, _ = w.Write(data)
	_ = w.Close()
	return b.Bytes()
}
