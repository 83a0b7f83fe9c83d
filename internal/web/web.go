// Package web is the ground that the pages and the JSON API stand on: the gin
// engine with its limits and security headers, the one function that turns an
// error into an answer, and finding the address at which phones reach this
// station.
package web

import (
	"cmp"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
)

// MaxBodyBytes bounds what a request may send, unless a route reads less.
const MaxBodyBytes = 1 << 20

// Options of an engine; the zero value is usable.
type Options struct {
	Log   *slog.Logger // nil: slog.Default()
	Hosts *Hosts       // under which the station answers; nil: under any
	// Bounds are what one network may ask, Health what programs on this machine
	// may; nil: no bounds, no such pages. Time is what a request may take; 0: the
	// usual time.
	Bounds *Bounds
	Health *Health
	Time   time.Duration
	Say    Say // the words of a refusal; nil: English
}

// policy lets a page load only what this station serves, run no inline script,
// and be framed by nobody.
const policy = "default-src 'none'; img-src 'self' data:; style-src 'self'; script-src 'self'; connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// NewEngine is a gin engine with the middleware that every route needs.
func NewEngine(opt Options) *gin.Engine {
	if opt.Log == nil {
		opt.Log = slog.Default()
	}
	gin.SetMode(gin.ReleaseMode)
	e := gin.New()
	e.HandleMethodNotAllowed = true
	// A label's address is typed and scanned in either case and must stay one
	// answer, not a redirect to a guessed path.
	e.RedirectFixedPath = false
	e.RedirectTrailingSlash = false
	// No proxy is trusted to say who asks.
	_ = e.SetTrustedProxies(nil) // nil cannot fail to parse
	e.Use(logLine(opt.Log), recovered(opt.Log), opt.Health.count, headers, opt.Say.carry, opt.Bounds.hold, opt.Hosts.known, limitTime(cmp.Or(opt.Time, answerTime)), limitBody, sameOrigin())
	if opt.Health != nil {
		opt.Health.register(e)
	}
	return e
}

func headers(c *gin.Context) {
	h := c.Writer.Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	c.Next()
}

// wholeBody is where a request's body stands before it is limited.
const wholeBody = "cruet.body"

func limitBody(c *gin.Context) {
	c.Set(wholeBody, c.Request.Body)
	c.Request.Body = http.MaxBytesReader(c.Writer, c.Request.Body, MaxBodyBytes)
	c.Next()
}

// uploadTime is what a picture may take to arrive over weak Wi-Fi.
const uploadTime = 5 * time.Minute

// AllowBody lets this request send up to limit bytes, and gives it the time for
// that. It is called before anything of the body is read.
func AllowBody(c *gin.Context, limit int64) {
	if body, ok := c.MustGet(wholeBody).(io.ReadCloser); ok {
		c.Request.Body = http.MaxBytesReader(c.Writer, body, limit)
	}
	// Where there is no connection, in a test, there are no deadlines.
	control := http.NewResponseController(c.Writer)
	_ = control.SetReadDeadline(time.Now().Add(uploadTime))
	_ = control.SetWriteDeadline(time.Now().Add(uploadTime + time.Minute))
	giveTime(c, uploadTime+answerTime)
}

// sameOrigin refuses a form or script of another site that a browser on the
// same phone sends here.
func sameOrigin() gin.HandlerFunc {
	guard := http.NewCrossOriginProtection()
	return func(c *gin.Context) {
		if err := guard.Check(c.Request); err != nil {
			refuse(c, Answer{Status: http.StatusForbidden, Kind: CrossSite, Title: "Another site tried to send this",
				Detail: "Nothing was saved. Open the jar's page here and send the form from there."})
			return
		}
		c.Next()
	}
}

func recovered(log *slog.Logger) gin.HandlerFunc {
	return func(c *gin.Context) {
		defer func() {
			if r := recover(); r != nil {
				log.Error("a request panicked", "what", fmt.Sprint(r), "stack", string(debug.Stack()))
				if !c.Writer.Written() {
					refuse(c, unexpected)
				}
				c.Abort()
			}
		}()
		c.Next()
	}
}

// logLine logs one line a request. The path is logged without its query; a
// bottle's tag is a secret and is left out.
func logLine(log *slog.Logger) gin.HandlerFunc {
	return func(c *gin.Context) {
		start := time.Now()
		c.Next()
		log.Info("request", "method", c.Request.Method, "path", loggable(c.Request.URL.Path), "status", c.Writer.Status(),
			"bytes", c.Writer.Size(), "took", time.Since(start).Round(time.Microsecond))
	}
}

// loggable is a path with every secret left out, on whatever route: what stands
// behind a segment that announces bottles, even mistyped, or a code to pair by, and
// any segment that is a bottle's tag.
func loggable(path string) string {
	segments := strings.Split(path, "/")
	before := "" // the last segment that is not empty
	for i, s := range segments {
		tag, _, err := larder.ParseTag(s)
		if s != "" && (announcesSecret(before) || err == nil && tag.IsBottle()) {
			segments[i] = "…"
		}
		if s != "" {
			before = s
		}
	}
	return strings.Join(segments, "/")
}

// announcesSecret tells whether what stands behind a segment is a bottle's tag or
// a code to pair by.
func announcesSecret(segment string) bool {
	for _, folder := range []string{"b", "bottles", "pair"} {
		if strings.EqualFold(segment, folder) {
			return true
		}
	}
	return false
}

// Server is an http.Server with limits on how long a client may take.
func Server(h http.Handler) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       60 * time.Second,
		WriteTimeout:      60 * time.Second,
		IdleTimeout:       120 * time.Second,
		MaxHeaderBytes:    1 << 16,
	}
}
