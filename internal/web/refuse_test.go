package web

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
	"golang.org/x/net/html"
)

// refusals are one answer of each kind that comes before or instead of a page.
func refusals(t *testing.T, path, accept string) map[int]*httptest.ResponseRecorder {
	t.Helper()
	e := NewEngine(Options{Log: slog.New(slog.DiscardHandler), Bounds: NewBounds(), Hosts: NewHosts("192.168.1.20")})
	e.GET("/panic", func(*gin.Context) { panic("a bug") })
	e.GET("/api/panic", func(*gin.Context) { panic("a bug") })
	e.GET(path, func(c *gin.Context) { c.String(http.StatusOK, "here") })
	crash := "/panic"
	if strings.HasPrefix(path, "/api/") {
		crash = "/api/panic"
	}
	out := map[int]*httptest.ResponseRecorder{
		http.StatusMisdirectedRequest:  from(e, "192.168.1.9:1", path, "Accept", accept, "Host", `"><script>.example`),
		http.StatusForbidden:           ask(e, "POST", path, "", "Accept", accept, "Sec-Fetch-Site", "cross-site"),
		http.StatusInternalServerError: from(e, "192.168.1.9:1", crash, "Accept", accept),
	}
	for range asksAtOnce + 10 {
		out[http.StatusTooManyRequests] = from(e, "192.168.1.66:1", path, "Accept", accept)
	}
	for status, w := range out {
		if w.Code != status {
			t.Fatalf("%s as %q is answered %d, want %d", path, accept, w.Code, status)
		}
	}
	return out
}

// advice is what each says to do.
var advice = map[int]string{
	http.StatusMisdirectedRequest:  "Open it by the address that its terminal shows",
	http.StatusForbidden:           "send the form from there",
	http.StatusInternalServerError: "Send it again",
	http.StatusTooManyRequests:     "then load the page again",
}

// What a browser sends as Accept: the Fetch standard, "fetching", step 13 for a
// navigation, and what browsers of today send.
const browserAccepts = "text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,image/webp,*/*;q=0.8"

func TestRefusalsSayWhatToDo(t *testing.T) {
	for accept, kind := range map[string]string{browserAccepts: "text/html", "text/html": "text/html", "*/*": "text/plain", "": "text/plain", "image/avif,*/*;q=0.8": "text/plain",
		"application/json": "application/problem+json", "application/problem+json, */*;q=0.1": "application/problem+json"} {
		for status, w := range refusals(t, "/J/K7RM4T", accept) {
			if got := w.Header().Get("Content-Type"); !strings.HasPrefix(got, kind) {
				t.Errorf("%d to who accepts %q is %s, want %s", status, accept, got, kind)
			}
			if !strings.Contains(w.Body.String(), advice[status]) {
				t.Errorf("%d to who accepts %q does not say %q: %s", status, accept, advice[status], w.Body)
			}
			if vary := w.Header().Values("Vary"); !slices.Contains(vary, "Accept") {
				t.Errorf("%d: Vary is %q", status, vary)
			}
			wait, err := strconv.Atoi(w.Header().Get("Retry-After"))
			if late := status == http.StatusTooManyRequests; late != (err == nil && wait > 0) { // RFC 6585, 4
				t.Errorf("%d to who accepts %q: Retry-After is %q", status, accept, w.Header().Get("Retry-After"))
			}
		}
	}
	// RFC 9457, 3.1: what a program gets under /api/, whatever it accepts.
	for _, accept := range []string{"", browserAccepts, "application/json"} {
		for status, w := range refusals(t, "/api/v1/jars", accept) {
			var said struct {
				Type, Title, Detail string
				Status              int
			}
			if err := json.Unmarshal(w.Body.Bytes(), &said); err != nil || said.Status != status || said.Title == "" || !strings.Contains(said.Detail, advice[status]) || !strings.HasPrefix(said.Type, ProblemRoot) || said.Type == ProblemRoot {
				t.Errorf("%d under /api/ is %s (%v)", status, w.Body, err)
			}
		}
	}
}

// A refusal's page needs nothing else of the station, runs no script, and its
// policy allows the style that is in it and no other (CSP Level 3, 6.7.3.3).
func TestRefusalPagesStandAlone(t *testing.T) {
	for status, w := range refusals(t, "/J/K7RM4T", browserAccepts) {
		doc, err := html.Parse(strings.NewReader(w.Body.String()))
		if err != nil {
			t.Fatal(err)
		}
		count, style := map[string]int{}, ""
		for n := range doc.Descendants() {
			if n.Type != html.ElementNode {
				continue
			}
			count[n.Data]++
			for _, a := range n.Attr {
				if strings.HasPrefix(a.Key, "on") || a.Key == "style" || a.Key == "src" || a.Key == "href" && a.Val != "" || a.Key == "class" && n.Data == "body" {
					t.Errorf("%d: <%s %s=%q>", status, n.Data, a.Key, a.Val)
				}
			}
			if n.Data == "style" {
				style = n.FirstChild.Data
			}
		}
		if count["script"]+count["link"]+count["img"] > 0 || count["h1"] != 1 || count["main"] != 1 || count["title"] != 1 {
			t.Errorf("%d: %v", status, count)
		}
		sum := sha256.Sum256([]byte(style))
		csp := w.Header().Get("Content-Security-Policy")
		if want := "style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "';"; !strings.Contains(csp, want) || strings.Contains(csp, "unsafe") || !strings.Contains(csp, "default-src 'none'") || !strings.Contains(csp, "frame-ancestors 'none'") {
			t.Errorf("%d: the policy is %q, want %s in it", status, csp, want)
		}
		if regexp.MustCompile(`(?i)url\(|@import|http`).MatchString(style) {
			t.Errorf("%d: the style asks for something else: %s", status, style)
		}
		if n := w.Body.Len(); n > 3000 {
			t.Errorf("%d: %d bytes", status, n)
		}
		// Asking again may help where it is only too early, or went wrong once.
		if again := status == http.StatusTooManyRequests || status == http.StatusInternalServerError; again != (count["a"] == 1) {
			t.Errorf("%d: %d links", status, count["a"])
		}
	}
}

func TestRefusalsInAnotherLanguage(t *testing.T) {
	e := NewEngine(Options{Log: slog.New(slog.DiscardHandler), Hosts: NewHosts(), Say: func(r *http.Request) (string, func(string) string) {
		return r.Header.Get("Accept-Language"), strings.ToUpper
	}})
	w := from(e, "192.168.1.9:1", "/", "Host", "elsewhere.example", "Accept", browserAccepts, "Accept-Language", "de")
	if body := w.Body.String(); w.Code != http.StatusMisdirectedRequest || !strings.Contains(body, `<html lang="de">`) || !strings.Contains(body, "<h1>THIS STATION DOES NOT GO BY THAT NAME</h1>") || !slices.Contains(w.Header().Values("Vary"), "Accept-Language") {
		t.Errorf("%d %v %s", w.Code, w.Header(), body)
	}
}
