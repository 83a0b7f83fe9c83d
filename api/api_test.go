package api_test

import (
	"bytes"
	"encoding/json"
	"io"
	"log/slog"
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/api"
	"cruet/internal/store"
	"cruet/internal/web"
)

// station is the API on a real store in a temporary folder.
type station struct {
	t      testing.TB
	engine *gin.Engine
	doc    map[string]any
	db     *store.DB
	token  string // of a program; empty: a stranger
}

func newStation(t testing.TB) *station {
	t.Helper()
	db, err := store.Open(t.Context(), t.TempDir(), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	quiet := slog.New(slog.NewTextHandler(io.Discard, nil))
	e := web.NewEngine(web.Options{Log: quiet})
	(&api.API{DB: db, Address: "192.168.1.20:8080"}).Register(e)
	program, err := db.AddProgram(t.Context(), "the test")
	if err != nil {
		t.Fatal(err)
	}
	s := &station{t: t, engine: e, db: db, token: program.Token}
	if err := json.Unmarshal(s.raw("GET", api.DocumentPath, "", "").Body.Bytes(), &s.doc); err != nil {
		t.Fatal(err)
	}
	return s
}

func key() string { return uuid.Must(uuid.NewV7()).String() }

// raw sends a request as it is; no header when key is empty.
func (s *station) raw(method, path, key, body string) *httptest.ResponseRecorder {
	s.t.Helper()
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	if s.token != "" {
		r.Header.Set("Authorization", "Bearer "+s.token)
	}
	if key != "" {
		r.Header.Set("Idempotency-Key", key)
	}
	w := httptest.NewRecorder()
	s.engine.ServeHTTP(w, r)
	return w
}

// ask sends a request and holds the answer against the status and against what
// the document promises for it.
func (s *station) ask(method, path, key, body string, status int) value {
	s.t.Helper()
	w := s.raw(method, path, key, body)
	if w.Code != status {
		s.t.Fatalf("%s %s: status %d, not %d: %s", method, path, w.Code, status, w.Body)
	}
	return s.decode(method, path, w)
}

func (s *station) decode(method, path string, w *httptest.ResponseRecorder) value {
	s.t.Helper()
	d := json.NewDecoder(bytes.NewReader(w.Body.Bytes()))
	var v any
	if err := d.Decode(&v); err != nil {
		s.t.Fatalf("%s %s: %v in %s", method, path, err, w.Body)
	}
	s.promised(method, path, w, v)
	return value{s.t, v}
}

func (s *station) get(path string) value { s.t.Helper(); return s.ask("GET", path, "", "", 200) }
func (s *station) act(path, body string) value {
	s.t.Helper()
	return s.ask("POST", path, key(), body, 201)
}

// refused sends a request that must be refused and checks the shape that RFC
// 9457 gives problem details: section 3 the media type, 3.1 the members.
func (s *station) refused(method, path, key, body string, status int) value {
	s.t.Helper()
	w := s.raw(method, path, key, body)
	if w.Code != status {
		s.t.Fatalf("%s %s: status %d, not %d: %s", method, path, w.Code, status, w.Body)
	}
	if got := w.Header().Get("Content-Type"); got != "application/problem+json" {
		s.t.Errorf("%s %s: content type %q", method, path, got)
	}
	v := s.decode(method, path, w)
	if got := v.at("status").number(); int(got) != w.Code {
		s.t.Errorf("the problem's status %v is not the answer's %d", got, w.Code)
	}
	for _, member := range []string{"type", "title", "detail"} {
		if v.at(member).text() == "" {
			s.t.Errorf("%s %s: the problem has no %s: %s", method, path, member, w.Body)
		}
	}
	// "Consumers MUST use the type URI as the problem type's primary identifier",
	// and one that can be opened should explain the problem (3.1.1).
	explained := s.get(v.at("type").text())
	if explained.at("title").text() != v.at("title").text() || int(explained.at("status").number()) != status {
		s.t.Errorf("the type explains %v, the problem was %s", explained.v, w.Body)
	}
	return v
}

// fields are the fields that a problem's errors name.
func (v value) fields() []string {
	var out []string
	for _, e := range v.at("errors").list() {
		out = append(out, e.at("field").text())
		if e.at("message").text() == "" {
			v.t.Errorf("an error without a message: %v", e.v)
		}
	}
	return out
}

func (v value) wantFields(want ...string) {
	v.t.Helper()
	if got := v.fields(); !reflect.DeepEqual(got, want) {
		v.t.Errorf("fields %q, not %q: %v", got, want, v.v)
	}
}

// value walks through JSON, failing the test where something is not there.
type value struct {
	t testing.TB
	v any
}

func (v value) has(name string) bool {
	_, ok := v.v.(map[string]any)[name]
	return ok
}

func (v value) at(names ...string) value {
	v.t.Helper()
	for _, name := range names {
		m, ok := v.v.(map[string]any)
		if !ok {
			v.t.Fatalf("%v is not an object with %s", v.v, name)
		}
		inner, ok := m[name]
		if !ok {
			v.t.Fatalf("there is no %s in %v", name, v.v)
		}
		v.v = inner
	}
	return v
}

func (v value) list() []value {
	v.t.Helper()
	items, ok := v.v.([]any)
	if !ok {
		v.t.Fatalf("%v is not a list", v.v)
	}
	out := make([]value, len(items))
	for i := range items {
		out[i] = value{v.t, items[i]}
	}
	return out
}

func (v value) text() string {
	v.t.Helper()
	s, ok := v.v.(string)
	if !ok {
		v.t.Fatalf("%v is not text", v.v)
	}
	return s
}

func (v value) number() float64 {
	v.t.Helper()
	n, ok := v.v.(float64)
	if !ok {
		v.t.Fatalf("%v is not a number", v.v)
	}
	return n
}

func (v value) want(want any) {
	v.t.Helper()
	if !reflect.DeepEqual(v.v, want) {
		v.t.Errorf("%v, not %v", v.v, want)
	}
}

// startBody is a batch of two jars of which nothing is vague but the date.
const startBody = `{"name":"Pear scraps","base":"fruit scraps","ingredients":[{"name":"pears, peels and cores","amount":"2.4 kg"},{"name":"sugar","amount":"1 1/2 cups"}],
	"when":"about 3 weeks ago","jars":2,"jar_size_ml":3000,"fill_ml":2500,"place":"cellar","by":"MO"}`

// started starts a batch and gives the tags of its jars.
func (s *station) started() (a, b string) {
	s.t.Helper()
	jars := s.act("/api/v1/batches", startBody).at("jars").list()
	return jars[0].at("tag").text(), jars[1].at("tag").text()
}

// finished brings a jar to the stage finished, with a titration on the way.
func (s *station) finished(tag string) {
	s.t.Helper()
	jar := "/api/v1/jars/" + tag
	s.act(jar+"/stages", `{"to":"acetic","volume_ml":2000,"starter":{"from":"bought","name":"live cider vinegar","stated_acidity_g_per_100ml":6,"live":true,"mother":true,"volume_ml":300}}`)
	s.act(jar+"/titrations", titrationBody)
	s.act(jar+"/stages", `{"to":"finished"}`)
}

const titrationBody = `{"sample_ml":10,"base_mol_per_l":0.5,"replicates":[{"start_ml":0,"end_ml":18},{"start_ml":18,"end_ml":36.2}],"by":"MO"}`
