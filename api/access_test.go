package api_test

import (
	"context"
	"regexp"
	"strings"
	"testing"

	"cruet/api"
	"cruet/internal/larder"
)

// RFC 6750, section 3: who shows no token gets 401 with WWW-Authenticate. The
// routes are gin's own list.
func TestProgramsNeedAToken(t *testing.T) {
	s := newStation(t)
	a, _ := s.started()
	token := s.token
	tried := 0
	for _, r := range s.engine.Routes() {
		path, ok := strings.CutPrefix(r.Path, api.Root+"/")
		if !ok || strings.HasPrefix(path, "reckon") || strings.HasPrefix(path, "problems/") || r.Method == "GET" && path == "jars/:tag" {
			continue
		}
		tried++
		for _, wrong := range []string{"", "x", token[1:], token + "x"} {
			s.token = wrong
			w := s.raw(r.Method, regexp.MustCompile(`:\w+`).ReplaceAllString(r.Path, a), key(), `{}`)
			if w.Code != 401 || !strings.HasPrefix(w.Header().Get("WWW-Authenticate"), "Bearer") || !strings.Contains(w.Body.String(), "cruet phones add") {
				t.Errorf("%s %s with the token %q: %d %s", r.Method, r.Path, wrong, w.Code, w.Body)
			}
		}
	}
	if tried < 30 {
		t.Errorf("only %d routes were tried", tried)
	}
	s.token = ""
	s.get("/api/v1/jars/" + a) // whose label is in hand
	s.get("/api/v1/problems/not-paired")
	s.refused("GET", "/api/v1/nothing", "", "", 404)
	s.token = token
	s.get("/api/v1/lots")
}

func TestRulesAndPhones(t *testing.T) {
	s := newStation(t)
	all := s.get("/api/v1/phones").at("phones").list()
	if len(all) != 1 || all[0].at("name").text() != "the test" || all[0].at("program").v != true || all[0].has("token") {
		t.Fatalf("the phones are %v", all)
	}
	s.get("/api/v1/access").at("writers").want("paired")
	s.ask("PUT", "/api/v1/access", "", `{"writers":"paired","look":"all","idle_days":9}`, 200).at("idle_days").want(9.0)
	s.refused("PUT", "/api/v1/access", "", `{"writers":"some","look":"all"}`, 422).wantFields("writers")
	token := s.token
	s.token = ""
	s.get("/api/v1/lots")                                                              // all may look now
	s.refused("PUT", "/api/v1/access", "", `{"writers":"everyone","look":"all"}`, 401) // and not set the rules
	s.token = token
	s.ask("PUT", "/api/v1/access", "", `{"writers":"everyone","look":"bottles"}`, 200)
	s.token = ""
	s.act("/api/v1/batches", startBody)
	s.refused("GET", "/api/v1/phones", "", "", 401)
	s.token = token
	s.refused("DELETE", "/api/v1/phones/99", "", "", 422).wantFields("id")
	other, err := s.db.AddProgram(context.Background(), "scale")
	if err != nil {
		t.Fatal(err)
	}
	if left := s.ask("DELETE", "/api/v1/phones/2", "", "", 200).at("phones").list(); len(left) != 1 {
		t.Errorf("%d are left", len(left))
	}
	if v, err := s.db.Visitor(context.Background(), other.Token); err != nil || v.Phone != nil || v.Access.Writers != larder.WritersEveryone {
		t.Errorf("the removed program is %+v, %v", v, err)
	}
}
