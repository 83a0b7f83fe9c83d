package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// station is an engine with a few routes and what it logs.
func station() (*gin.Engine, *bytes.Buffer) {
	var log bytes.Buffer
	e := NewEngine(Options{Log: slog.New(slog.NewJSONHandler(&log, nil))})
	e.GET("/J/:tag", func(c *gin.Context) { c.String(http.StatusOK, "jar") })
	e.GET("/B/:tag", func(c *gin.Context) { c.String(http.StatusOK, "bottle") })
	e.GET("/api/v1/bottles/:tag", func(c *gin.Context) { c.String(http.StatusOK, "bottle") })
	e.GET("/find/:tag", func(c *gin.Context) { c.String(http.StatusOK, "any") })
	e.GET("/panic", func(*gin.Context) { panic("a bug") })
	e.POST("/panic", func(*gin.Context) { panic("a bug") })
	e.POST("/J/:tag", func(c *gin.Context) {
		if c.Query("picture") != "" {
			AllowBody(c, 2*MaxBodyBytes)
		}
		body, err := io.ReadAll(c.Request.Body)
		if err != nil {
			a := AnswerTo(fmt.Errorf("reading the form: %w", err))
			c.String(a.Status, a.Detail)
			return
		}
		c.String(http.StatusOK, "%d", len(body))
	})
	return e, &log
}

func ask(h http.Handler, method, path, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.Host = "192.168.1.20:8080"
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// The headers and their meaning: OWASP Secure Headers; CSP Level 3 (W3C).
func TestSecurityHeadersOnEveryAnswer(t *testing.T) {
	e, _ := station()
	for name, w := range map[string]*httptest.ResponseRecorder{
		"a page":           ask(e, "GET", "/J/K7RM4T", ""),
		"nothing there":    ask(e, "GET", "/nowhere", ""),
		"the wrong method": ask(e, "DELETE", "/J/K7RM4T", ""),
		"a panic":          ask(e, "GET", "/panic", ""),
		"another site":     ask(e, "POST", "/J/K7RM4T", "", "Sec-Fetch-Site", "cross-site"),
	} {
		for header, want := range map[string]string{
			"Content-Security-Policy":      "default-src 'none'",
			"X-Content-Type-Options":       "nosniff",
			"Referrer-Policy":              "same-origin",
			"Cross-Origin-Opener-Policy":   "same-origin",
			"Cross-Origin-Resource-Policy": "same-origin",
			"Cache-Control":                "no-store",
		} {
			if got := w.Header().Get(header); !strings.Contains(got, want) {
				t.Errorf("%s (%d): %s is %q, want %q", name, w.Code, header, got, want)
			}
		}
		csp := w.Header().Get("Content-Security-Policy")
		if strings.Contains(csp, "unsafe") || !strings.Contains(csp, "frame-ancestors 'none'") || !strings.Contains(csp, "base-uri 'none'") || !strings.Contains(csp, "form-action 'self'") {
			t.Errorf("%s: the policy is %q", name, csp)
		}
	}
}

func TestStatuses(t *testing.T) {
	e, _ := station()
	for name, row := range map[string]struct {
		w    *httptest.ResponseRecorder
		want int
	}{
		"a page":                {ask(e, "GET", "/J/K7RM4T", ""), 200},
		"nothing there":         {ask(e, "GET", "/nowhere", ""), 404},
		"a trailing slash":      {ask(e, "GET", "/J/K7RM4T/", ""), 404},
		"the wrong method":      {ask(e, "DELETE", "/J/K7RM4T", ""), 405},
		"a form of this site":   {ask(e, "POST", "/J/K7RM4T", "ph=3.2", "Sec-Fetch-Site", "same-origin"), 200},
		"a form, old browser":   {ask(e, "POST", "/J/K7RM4T", "ph=3.2", "Origin", "http://192.168.1.20:8080"), 200},
		"a program":             {ask(e, "POST", "/J/K7RM4T", "ph=3.2"), 200},
		"another site":          {ask(e, "POST", "/J/K7RM4T", "ph=3.2", "Sec-Fetch-Site", "cross-site"), 403},
		"a sister site":         {ask(e, "POST", "/J/K7RM4T", "ph=3.2", "Sec-Fetch-Site", "same-site"), 403},
		"another site, old":     {ask(e, "POST", "/J/K7RM4T", "ph=3.2", "Origin", "http://evil.example"), 403},
		"another port":          {ask(e, "POST", "/J/K7RM4T", "ph=3.2", "Origin", "http://192.168.1.20:9090"), 403},
		"a link from elsewhere": {ask(e, "GET", "/J/K7RM4T", "", "Sec-Fetch-Site", "cross-site"), 200},
	} {
		if row.w.Code != row.want {
			t.Errorf("%s: %d, want %d", name, row.w.Code, row.want)
		}
	}
}

func TestCrossOriginAnswerSaysWhatToDo(t *testing.T) {
	e, _ := station()
	w := ask(e, "POST", "/api/v1/jars", "", "Sec-Fetch-Site", "cross-site")
	var said map[string]any
	if err := json.Unmarshal(w.Body.Bytes(), &said); err != nil || said["status"] != float64(403) || !strings.Contains(fmt.Sprint(said["detail"]), "Nothing was saved") {
		t.Errorf("the answer to a program is %s, %v", w.Body, err)
	}
	w = ask(e, "POST", "/J/K7RM4T", "", "Sec-Fetch-Site", "cross-site")
	if w.Code != 403 || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/plain") || !strings.Contains(w.Body.String(), "Nothing was saved") {
		t.Errorf("the answer to a person is %d %s: %s", w.Code, w.Header().Get("Content-Type"), w.Body)
	}
}

func TestBodyLimit(t *testing.T) {
	e, _ := station()
	if w := ask(e, "POST", "/J/K7RM4T", strings.Repeat("x", MaxBodyBytes)); w.Code != 200 || w.Body.String() != fmt.Sprint(MaxBodyBytes) {
		t.Errorf("a body of the limit: %d %s", w.Code, w.Body)
	}
	if w := ask(e, "POST", "/J/K7RM4T", strings.Repeat("x", MaxBodyBytes+1)); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("a byte more: %d %s", w.Code, w.Body)
	}
	// A route that takes pictures takes more, and no more than it says.
	if w := ask(e, "POST", "/J/K7RM4T?picture=1", strings.Repeat("x", 2*MaxBodyBytes)); w.Code != 200 || w.Body.String() != fmt.Sprint(2*MaxBodyBytes) {
		t.Errorf("a picture of the limit: %d %s", w.Code, w.Body)
	}
	if w := ask(e, "POST", "/J/K7RM4T?picture=1", strings.Repeat("x", 2*MaxBodyBytes+1)); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("a picture of a byte more: %d %s", w.Code, w.Body)
	}
}

func TestPanicIsAnsweredAndLogged(t *testing.T) {
	e, log := station()
	for _, method := range []string{"GET", "POST"} {
		if w := ask(e, method, "/panic", ""); w.Code != http.StatusInternalServerError || !strings.Contains(w.Body.String(), "Nothing was saved") {
			t.Errorf("%s: %d", method, w.Code)
		}
	}
	if !strings.Contains(log.String(), "a bug") || !strings.Contains(log.String(), "web_test.go") || !strings.Contains(log.String(), `"status":500`) {
		t.Errorf("the log does not tell what and where: %s", log)
	}
	if w := ask(e, "GET", "/J/K7RM4T", ""); w.Code != 200 {
		t.Errorf("after a panic: %d", w.Code)
	}
}

// Whoever holds a bottle's tag sees its page, so it stands in no log, on
// whatever route, in whatever spelling, right or nearly right.
func TestBottleTagsAreNeverLogged(t *testing.T) {
	tag, err := larder.NewBottleTag()
	if err != nil {
		t.Fatal(err)
	}
	wrong := "0" + string(tag[1:])
	if tag[0] == '0' {
		wrong = "1" + string(tag[1:])
	}
	e, log := station()
	for _, path := range []string{
		"/B/" + string(tag), "/b/" + strings.ToLower(string(tag)), "/B/" + tag.Spaced(), "/B/" + wrong, "/B/" + string(tag) + "/label.pdf",
		"//B/" + string(tag), "/B//" + string(tag), "/api/v1/bottles/" + string(tag), "/api/v1/bottles/" + wrong, "/find/" + string(tag), "/find/" + tag.Spaced(),
		"/J/" + string(tag), "/find/x?tag=" + string(tag), "/B/%20" + string(tag),
	} {
		log.Reset()
		ask(e, "GET", path, "")
		line := strings.ToUpper(log.String())
		if !strings.Contains(line, `"PATH"`) {
			t.Errorf("%s was not logged at all: %s", path, line)
		}
		for _, secret := range []string{string(tag), wrong, tag.Spaced(), string(tag[1:])} {
			if strings.Contains(line, strings.ToUpper(secret)) {
				t.Errorf("%s: the log says %s", path, line)
				break
			}
		}
	}
	log.Reset()
	ask(e, "GET", "/J/K7RM4T?ph=3", "")
	if !strings.Contains(log.String(), `"/J/K7RM4T"`) || strings.Contains(log.String(), "ph=3") {
		t.Errorf("a jar's page is logged as %s", log)
	}
}

// The statuses: RFC 9110; 422 for a key used with another input after
// draft-ietf-httpapi-idempotency-key-header.
func TestAnswerTo(t *testing.T) {
	var quiet bytes.Buffer
	old := slog.Default()
	slog.SetDefault(slog.New(slog.NewTextHandler(&quiet, nil)))
	defer slog.SetDefault(old)
	problems := larder.Problems{{Field: "ph", Message: "Read the meter again."}, {Field: "when", Message: "Too late."}}
	_, _, mistyped := larder.ParseTag("K7RM40X1")
	for name, row := range map[string]struct {
		err      error
		status   int
		kind     Kind
		says     string
		problems larder.Problems
	}{
		"bad input":    {problems, 422, InvalidInput, "Read the meter again. Too late.", problems},
		"a bad sum":    {&chem.FieldError{Field: "sample_ml", Message: "Too much."}, 422, InvalidInput, "Too much.", larder.Problems{{Field: "sample_ml", Message: "Too much."}}},
		"a typo":       {mistyped, 404, MistypedTag, "8 characters", larder.Problems{{Field: "tag", Message: mistyped.Error()}}},
		"nothing":      {&larder.NotFoundError{What: "jar", ID: "K7RM4T"}, 404, NotFound, "no jar K7RM4T", nil},
		"a conflict":   {&larder.ConflictError{Key: "0190"}, 422, KeyReused, "nothing was saved", nil},
		"too large":    {&http.MaxBytesError{Limit: 1}, 413, TooLarge, "Shorten", nil},
		"gone":         {context.Canceled, 503, TookTooLong, "Send it again", nil},
		"too slow":     {context.DeadlineExceeded, 503, TookTooLong, "Send it again", nil},
		"a full disk":  {errors.New("disk I/O error at /home/ro"), 500, Failed, "Nothing was saved", nil},
		"an empty key": {larder.Act{}.Check(), 422, InvalidInput, "UUID", larder.Problems{{Field: "key", Message: larder.Act{}.Check().Error()}}},
	} {
		for _, err := range []error{row.err, fmt.Errorf("store: entry: %w", row.err)} {
			a := AnswerTo(err)
			if a.Status != row.status || a.Kind != row.kind || !strings.Contains(a.Detail, row.says) || !reflect.DeepEqual(a.Problems, row.problems) || a.Title == "" {
				t.Errorf("%s: %+v, want %d %s, %q, %v", name, a, row.status, row.kind, row.says, row.problems)
			}
			if strings.Contains(a.Detail+a.Title, "/home") || strings.Contains(a.Detail, "store:") {
				t.Errorf("%s: the answer tells of the inside: %+v", name, a)
			}
		}
	}
	if n := strings.Count(quiet.String(), "level=ERROR"); n != 2 || !strings.Contains(quiet.String(), "disk I/O error") {
		t.Errorf("%d errors were logged, want the two of the full disk: %s", n, quiet.String())
	}
}

func TestServerHasLimits(t *testing.T) {
	s := Server(http.NotFoundHandler())
	if s.ReadHeaderTimeout <= 0 || s.ReadTimeout <= 0 || s.WriteTimeout <= 0 || s.IdleTimeout <= 0 || s.MaxHeaderBytes <= 0 {
		t.Errorf("a client may take for ever: %+v", s)
	}
	live := httptest.NewUnstartedServer(nil)
	live.Config = s
	live.Start()
	defer live.Close()
	resp, err := http.Get(live.URL)
	if err != nil || resp.StatusCode != 404 {
		t.Fatalf("%v, %v", resp, err)
	}
	resp.Body.Close()
}
