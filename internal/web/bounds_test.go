package web

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
)

func bounded() (*gin.Engine, *bytes.Buffer) {
	var log bytes.Buffer
	e := NewEngine(Options{Log: slog.New(slog.NewJSONHandler(&log, nil)), Bounds: NewBounds(), Time: 50 * time.Millisecond,
		Health: NewHealth("1.2.3", func(context.Context) error { return nil })})
	e.GET("/J/:tag", func(c *gin.Context) {
		if c.Param("tag") != "K7RM4T" {
			c.String(http.StatusNotFound, "no such jar")
			return
		}
		c.String(http.StatusOK, "jar")
	})
	e.GET("/shelf", func(c *gin.Context) { c.String(http.StatusOK, "shelf") })
	e.GET("/slow", func(c *gin.Context) {
		<-c.Request.Context().Done()
		a := AnswerTo(c.Request.Context().Err())
		c.String(a.Status, a.Detail)
	})
	e.POST("/upload", func(c *gin.Context) {
		AllowBody(c, 1<<21)
		time.Sleep(100 * time.Millisecond)
		c.String(http.StatusOK, "%v", c.Request.Context().Err())
	})
	return e, &log
}

func from(h http.Handler, remote, path string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest("GET", path, nil)
	r.RemoteAddr, r.Host = remote, "192.168.1.20:8080"
	for i := 0; i < len(headers); i += 2 {
		if headers[i] == "Host" {
			r.Host = headers[i+1]
			continue
		}
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// RFC 6585, section 4: 429 with Retry-After.
func TestOneNetworkCannotFloodTheStation(t *testing.T) {
	e, _ := bounded()
	refused := 0
	for range 3 * asksAtOnce {
		if w := from(e, "192.168.1.66:4000", "/shelf"); w.Code == http.StatusTooManyRequests {
			refused++
			if w.Header().Get("Retry-After") == "" || !strings.Contains(w.Body.String(), "Wait ") || w.Header().Get("Content-Security-Policy") == "" {
				t.Fatalf("it is told %v %s", w.Header(), w.Body)
			}
		}
	}
	if refused < asksAtOnce {
		t.Errorf("%d of %d were refused", refused, 3*asksAtOnce)
	}
	if w := from(e, "192.168.1.67:4000", "/shelf"); w.Code != 200 {
		t.Errorf("another phone is answered %d", w.Code)
	}
	for range asksAtOnce + 10 {
		if w := from(e, "127.0.0.1:4000", "/shelf"); w.Code != 200 {
			t.Fatalf("this machine is answered %d", w.Code)
		}
	}
}

func TestTagsCannotBeGuessed(t *testing.T) {
	e, _ := bounded()
	const guesser = "192.168.1.66:4000"
	for i := range missesAtOnce {
		if w := from(e, guesser, fmt.Sprintf("/J/%06d", i)); w.Code != 404 {
			t.Fatalf("guess %d is answered %d", i, w.Code)
		}
	}
	if w := from(e, guesser, "/J/K7RM4T"); w.Code != http.StatusTooManyRequests || w.Header().Get("Retry-After") == "" {
		t.Errorf("a right guess after too many is answered %d: %s", w.Code, w.Body)
	}
	if w := from(e, guesser, "/shelf"); w.Code != 200 {
		t.Errorf("what holds no tag is answered %d", w.Code)
	}
	if w := from(e, "192.168.1.67:4000", "/J/K7RM4T"); w.Code != 200 {
		t.Errorf("another phone is answered %d", w.Code)
	}
	for path, counts := range map[string]bool{
		"/J/x": true, "/j/x": true, "/B/x": true, "/find?tag=x": true, "/api/v1/bottles/x": true, "/api/v1/jars/x/entries": true,
		"/scan?tag=x": true, "/scan?for=%2Fround&tag=x": true, "/round/jar?tag=x": true, "/round/jar/x": true, "/trace?of=x": true, "/trace.csv?of=x": true, "/api/v1/trace?of=x": true,
		"/help/looks?tag=x": true, "/help/looks": false,
		"/scan": false, "/scan?for=%2Fround": false, "/round": false, "/trace": false, "/trace?of=": false, "/labels?tag=x": false,
	} {
		if u, err := url.Parse(path); err != nil || namesTag(u) != counts {
			t.Errorf("%s is counted: %v, want %v (%v)", path, !counts, counts, err)
		}
	}
}

// The tags that are typed into a form are counted like those in a label's address.
func TestTypedTagsCannotBeGuessed(t *testing.T) {
	for path, name := range tagQueries {
		e, _ := bounded()
		e.GET(path, func(c *gin.Context) {
			switch c.Query(name) {
			case "", "K7RM4T":
				c.String(http.StatusOK, "form")
			default:
				c.String(http.StatusNotFound, "none")
			}
		})
		const guesser = "192.168.1.66:4000"
		for i := range missesAtOnce {
			if w := from(e, guesser, fmt.Sprintf("%s?%s=%06d", path, name, i)); w.Code != 404 {
				t.Fatalf("%s: guess %d is answered %d", path, i, w.Code)
			}
		}
		if w := from(e, guesser, path+"?"+name+"=K7RM4T"); w.Code != http.StatusTooManyRequests {
			t.Errorf("%s: a right guess after too many is answered %d", path, w.Code)
		}
		if w := from(e, guesser, path); w.Code != 200 {
			t.Errorf("%s without a tag is answered %d", path, w.Code)
		}
	}
}

func TestRequestsHaveATime(t *testing.T) {
	e, _ := bounded()
	begun := time.Now()
	if w := from(e, "192.168.1.9:1", "/slow"); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "Send it again") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if took := time.Since(begun); took > 10*time.Second {
		t.Errorf("it took %s", took)
	}
	r := httptest.NewRequest("POST", "/upload", strings.NewReader("x"))
	w := httptest.NewRecorder()
	if e.ServeHTTP(w, r); w.Body.String() != "<nil>" {
		t.Errorf("a picture that arrives slowly is cut off: %s", w.Body)
	}
}

func TestHealthIsForThisMachine(t *testing.T) {
	e, _ := bounded()
	from(e, "192.168.1.9:1", "/J/K7RM4T")
	for _, path := range []string{"/healthz", "/metrics"} {
		for name, w := range map[string]*httptest.ResponseRecorder{
			"a phone":                       from(e, "192.168.1.9:1", path),
			"a phone that says it is local": from(e, "192.168.1.9:1", path, "Host", "localhost:8080"),
			"a name turned to us":           from(e, "127.0.0.1:1", path, "Host", "evil.example:8080"),
			"a proxy":                       from(e, "127.0.0.1:1", path, "Host", "localhost:8080", "X-Forwarded-For", "192.168.1.9"),
			"our number in the network":     from(e, "127.0.0.1:1", path),
		} {
			if w.Code != 404 || strings.Contains(w.Body.String(), "cruet_") {
				t.Errorf("%s: %s is answered %d", path, name, w.Code)
			}
		}
	}
	for _, host := range []string{"localhost:8080", "127.0.0.1:8080", "[::1]:8080"} {
		if w := from(e, "127.0.0.1:1", "/healthz", "Host", host); w.Code != 200 || w.Body.String() != "ok\n" {
			t.Errorf("%s: %d %s", host, w.Code, w.Body)
		}
	}
	w := from(e, "[::1]:1", "/metrics", "Host", "localhost")
	// The text format of Prometheus: exposition format 0.0.4.
	for _, want := range []string{`cruet_http_answers_total{method="GET",route="/J/:tag",status="200"} 1`, "# TYPE cruet_http_answer_seconds histogram", `cruet_build_info{version="1.2.3"} 1`, "go_goroutines"} {
		if !strings.Contains(w.Body.String(), want) {
			t.Errorf("the counts lack %s", want)
		}
	}
	if strings.Contains(w.Body.String(), "K7RM4T") {
		t.Error("the counts hold a tag")
	}
	sick := NewEngine(Options{Log: slog.New(slog.DiscardHandler), Health: NewHealth("1", func(context.Context) error { return context.DeadlineExceeded })})
	if w := from(sick, "127.0.0.1:1", "/healthz", "Host", "localhost"); w.Code != http.StatusServiceUnavailable {
		t.Errorf("sick, it answers %d", w.Code)
	}
}

// A code pairs a phone, so it stands in no log; nor does a token, which travels in
// headers.
func TestCodesAndTokensAreNeverLogged(t *testing.T) {
	e, log := bounded()
	for _, path := range []string{"/PAIR/K7RM4T12", "/pair/k7rm4t12", "/pair/K7RM-4T12", "/Pair//K7RM4T12", "/shelf?code=K7RM4T12"} {
		from(e, "192.168.1.9:1", path, "Authorization", "Bearer secret-token", "Cookie", "phone=secret-token")
	}
	text := strings.ToUpper(log.String())
	if strings.Contains(text, "K7RM") || strings.Contains(text, "SECRET") || strings.Count(text, `"PATH"`) != 5 {
		t.Errorf("the log says %s", log)
	}
}
