package api_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"cruet/api"
	"cruet/internal/larder"
)

// FuzzBodies sends any body to each address that acts: it is done or refused with
// a problem, and never a fault of the station.
func FuzzBodies(f *testing.F) {
	s := newStation(f)
	a, b := s.started()
	s.finished(a)
	lot := s.act("/api/v1/lots", `{"pours":[{"jar":"`+a+`"}],"runs":[{"count":2,"size_ml":250}]}`).at("lot")
	fill := strings.NewReplacer(":tag", b, ":id", lot.at("id").text(), ":n", "1", ":name", "kitchen", ":entry", key())
	var acts []struct{ method, path string }
	for _, r := range s.engine.Routes() {
		if r.Method != http.MethodGet && r.Method != http.MethodHead && strings.HasPrefix(r.Path, api.Root+"/") {
			acts = append(acts, struct{ method, path string }{r.Method, fill.Replace(r.Path)})
		}
	}
	slices.SortFunc(acts, func(a, b struct{ method, path string }) int {
		return strings.Compare(a.path+a.method, b.path+b.method) // a find names its address by its place here
	})
	for i := range acts {
		f.Add(i, `{"by":"ro","note":"x","when":"about 3 Nov"}`)
	}
	for i, body := range []string{
		"", "{}", startBody, titrationBody, "null", "[]", `{"`, `{"ph":1e999}`, `{"ph":"3,2","temp_c":-300,"volume_ml":-0.0}`, `{"to":"acetic","volume_ml":1e308,"starter":{"from":"jar","jar":"` + a + `"}}`,
		`{"name":"\u0000\ud800","jars":1000000000000,"ingredients":[{"name":"","mass_g":1e-320}]}`, `{"when":{"from":"9999-99-99"},"when":1}`, strings.Repeat(`{"feed":`, 300), `{"note":"` + strings.Repeat("🍐", 3000) + `"}`,
	} {
		f.Add(i, body)
	}
	f.Fuzz(func(t *testing.T, at int, body string) {
		act := acts[uint(at)%uint(len(acts))]
		r := httptest.NewRequest(act.method, act.path, strings.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Authorization", "Bearer "+s.token)
		r.Header.Set("Idempotency-Key", key())
		w := httptest.NewRecorder()
		s.engine.ServeHTTP(w, r)
		if w.Code >= 500 || w.Code == http.StatusUnauthorized {
			t.Fatalf("%s %s answers %d to %q: %s", act.method, act.path, w.Code, body, w.Body)
		}
		if kind := w.Header().Get("Content-Type"); strings.Contains(kind, "json") && !json.Valid(w.Body.Bytes()) {
			t.Fatalf("%s %s answers %d to %q with no JSON: %s", act.method, act.path, w.Code, body, w.Body)
		}
		if err := s.db.SetAccess(r.Context(), larder.DefaultAccess); err != nil {
			t.Fatal(err)
		}
	})
}
