package scan

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"mime"
	"net/http"
	"path"
	"slices"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"
	"github.com/klauspost/compress/gzip"
	"github.com/tdewolff/minify/v2"
	"github.com/tdewolff/minify/v2/css"
	"github.com/tdewolff/minify/v2/js"
	"github.com/tdewolff/minify/v2/svg"
)

//go:embed static/*
var staticFiles embed.FS

// asset is a file as phones get it: minified, and compressed once at the start.
// Its content's mark stands in its name, so that a phone may keep it for ever
// and still gets the next version.
type asset struct {
	url, mark, kind string
	plain, gzipped  []byte
	pages           []string // the only pages that use it; none: all
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
	m := minify.New()
	m.AddFunc(".css", css.Minify)
	m.AddFunc(".js", js.Minify)
	m.AddFunc(".svg", svg.Minify)
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
		small, err := m.Bytes(ext, source)
		if err != nil {
			panic(fmt.Sprintf("scan: %s: %v", e.Name(), err))
		}
		sum := sha256.Sum256(small)
		mark := hex.EncodeToString(sum[:6])
		out[e.Name()] = &asset{
			url: "/static/" + strings.TrimSuffix(e.Name(), ext) + "." + mark + ext, mark: mark,
			kind: mime.TypeByExtension(ext), plain: small, gzipped: zipped(small), pages: pagesOf(source),
		}
	}
	return out
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
	c.Header("Cache-Control", "public, max-age=31536000, immutable")
	// A strong ETag names one sequence of bytes (RFC 9110, 8.8.3.3).
	etag := `"` + a.mark + `"`
	if takesGzip(c.Request) {
		etag = `"` + a.mark + `-gz"`
	}
	c.Header("ETag", etag)
	if c.GetHeader("If-None-Match") == etag {
		c.Status(http.StatusNotModified)
		return
	}
	send(c, http.StatusOK, a.kind, a.plain, a.gzipped)
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
