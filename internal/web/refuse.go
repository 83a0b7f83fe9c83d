package web

import (
	"crypto/sha256"
	"encoding/base64"
	"html/template"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
)

// ProblemRoot is where the API explains each Kind; with the Kind behind it, it is
// the "type" of a problem (RFC 9457, 3.1.1).
const ProblemRoot = "/api/v1/problems/"

// Say gives the language that a request asks for, as its tag, and what translates
// into it; nil for English.
type Say func(*http.Request) (lang string, tr func(string) string)

// sayWith is where a request carries the words of its language.
const sayWith = "cruet.say"

func (say Say) carry(c *gin.Context) {
	if say != nil {
		c.Set(sayWith, say)
	}
	c.Next()
}

// refuse answers before or instead of a handler: a program gets a problem, a
// browser a page, and whatever else asks the same words as plain text.
func refuse(c *gin.Context, a Answer) {
	c.Abort()
	c.Writer.Header().Add("Vary", "Accept")
	accepts := c.GetHeader("Accept")
	switch {
	case strings.HasPrefix(c.Request.URL.Path, "/api/"), !strings.Contains(accepts, "text/html") && strings.Contains(accepts, "json"):
		c.Header("Content-Type", "application/problem+json")
		c.JSON(a.Status, gin.H{"type": ProblemRoot + string(a.Kind), "title": a.Title, "status": a.Status, "detail": a.Detail})
	case strings.Contains(accepts, "text/html"):
		refusalPage(c, a)
	default:
		c.String(a.Status, "%s.\n\n%s\n", a.Title, a.Detail)
	}
}

// A refusal's page stands alone: where the station answers nothing, it would not
// answer with a style sheet either. The style is in the page, and the policy of
// this one answer names it by its sum. The body has no class by which the pages'
// script would take it for one of theirs.
const refusalStyle = `:root{color-scheme:light dark;--paper:#efe6d3;--card:#fbf6ea;--ink:#2a2019;--rule:#c8b795;--warm:#97390f}
@media(prefers-color-scheme:dark){:root{--paper:#17120e;--card:#211a14;--ink:#f2e7d5;--rule:#54463a;--warm:#f0a468}}
*{box-sizing:border-box}
html{font:106.25%/1.45 system-ui,sans-serif;background:var(--paper);color:var(--ink)}
body{margin:0 auto;max-width:42rem;padding:1rem .75rem;overflow-wrap:anywhere}
main{background:var(--card);border:2px solid;border-radius:12px;padding:1rem .9rem;box-shadow:inset 0 0 0 3px var(--card),inset 0 0 0 4px var(--rule)}
h1{font:700 1.5rem/1.2 Charter,"Noto Serif",ui-serif,Georgia,serif;margin:0 0 .5rem}
p{margin:.5rem 0}
a{display:inline-block;margin-top:.5rem;padding:.6rem 1rem;min-height:48px;font-weight:600;color:inherit;border:2px solid;border-radius:8px;text-decoration:none}
:focus-visible{outline:3px solid var(--warm);outline-offset:2px}
`

var refusalPolicy = func() string {
	sum := sha256.Sum256([]byte(refusalStyle))
	return strings.Replace(policy, "style-src 'self'", "style-src 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'", 1)
}()

func refusalPage(c *gin.Context, a Answer) {
	lang, tr := "en", func(s string) string { return s }
	if say, ok := c.Value(sayWith).(Say); ok {
		lang, tr = say(c.Request)
		c.Writer.Header().Add("Vary", "Accept-Language")
	}
	var b strings.Builder
	b.WriteString(`<!doctype html>
<html lang="` + template.HTMLEscapeString(lang) + `">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex">
<title>` + template.HTMLEscapeString(tr(a.Title)) + `</title>
<style>` + refusalStyle + `</style>
</head>
<body><main><h1>` + template.HTMLEscapeString(tr(a.Title)) + `</h1>
<p>` + template.HTMLEscapeString(tr(a.Detail)) + `</p>
`)
	// An empty address is the page's own. What was sent is not asked for again.
	later := a.Status == http.StatusTooManyRequests || a.Status >= http.StatusInternalServerError
	if m := c.Request.Method; later && (m == http.MethodGet || m == http.MethodHead) {
		b.WriteString(`<a href="">` + template.HTMLEscapeString(tr("Load the page again")) + "</a>\n")
	}
	b.WriteString("</main></body>\n</html>\n")
	c.Header("Content-Security-Policy", refusalPolicy)
	c.Header("Content-Length", strconv.Itoa(b.Len()))
	c.Data(a.Status, "text/html; charset=utf-8", []byte(b.String()))
}
