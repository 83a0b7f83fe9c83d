package api_test

import (
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"

	"cruet/internal/web"
)

// draft-ietf-httpapi-idempotency-key-header-07, section 2.7: a missing key is
// answered with 400, a key with another payload with 422; section 2.6: a repeat
// gets the result of the first. Section 2.1: the value is a string in quotes.
func TestSendingTwiceSavesOnce(t *testing.T) {
	s := newStation(t)
	a, _ := s.started()
	path, k := "/api/v1/jars/"+a+"/readings", key()
	first := s.ask("POST", path, k, `{"ph":3.2}`, 201)
	again := s.ask("POST", path, `"`+strings.ToUpper(k)+`"`, `{ "ph": 3.2 }`, 201)
	again.at("entry").want(first.at("entry").v)
	again.at("state").want(first.at("state").v)
	again.at("replayed").want(true)
	if first.has("replayed") {
		t.Error("the first was replayed")
	}
	if n := len(s.get("/api/v1/jars/" + a + "/entries").at("entries").list()); n != 2 {
		t.Errorf("%d entries, not the start and one reading", n)
	}
	p := s.refused("POST", path, k, `{"ph":3.3}`, 422)
	p.at("type").want("/api/v1/problems/key-reused")
	s.refused("POST", "/api/v1/batches", k, startBody, 422).at("type").want("/api/v1/problems/key-reused")

	k = key()
	started := s.ask("POST", "/api/v1/batches", k, startBody, 201)
	repeat := s.ask("POST", "/api/v1/batches", k, startBody, 201)
	repeat.at("jars").want(started.at("jars").v)
	repeat.at("replayed").want(true)
}

func TestKeyIsNeeded(t *testing.T) {
	s := newStation(t)
	a, _ := s.started()
	for path, body := range map[string]string{
		"/api/v1/batches":                 startBody,
		"/api/v1/spare-tags":              `{"count":1}`,
		"/api/v1/jars/" + a + "/readings": `{"ph":3}`,
		"/api/v1/jars/" + a + "/notes":    `{"note":"x"}`,
		"/api/v1/lots":                    `{"pours":[],"runs":[]}`,
		"/api/v1/entries/0193a8f0-7a1c-7c3e-9d55-3f2f8c1a4b6e/strike": `{"reason":"x"}`,
	} {
		p := s.refused("POST", path, "", body, 400)
		p.wantFields("Idempotency-Key")
		if !strings.Contains(p.at("detail").text(), "UUID") {
			t.Errorf("%s does not say what to send: %v", path, p.v)
		}
	}
	for _, bad := range []string{"1", `"`, "urn:uuid:0193a8f0-7a1c-7c3e-9d55-3f2f8c1a4b6e", "00000000-0000-0000-0000-000000000000", "0193a8f07a1c7c3e9d553f2f8c1a4b6e"} {
		s.refused("POST", "/api/v1/jars/"+a+"/readings", bad, `{"ph":3}`, 400).wantFields("Idempotency-Key")
	}
}

// All that is wrong is told at once, under the names that the request has.
func TestBadFields(t *testing.T) {
	s := newStation(t)
	a, b := s.started()
	jar := "/api/v1/jars/" + a
	for _, c := range []struct {
		path, body string
		fields     []string
	}{
		{"/api/v1/batches", `{"name":"","base":"juice","jars":0,"jar_size_ml":1,"target_g_per_100ml":40}`, []string{"name", "jars", "jar_size_ml", "target_g_per_100ml"}},
		{"/api/v1/batches", `{"name":"","base":"juice","jars":1,"jar_size_ml":1000,"when":"someday","ingredients":[{"name":"a","amount":"2.4"},{"name":"b","amount":"3 barrels"}],"spare_tags":["K7RM41"]}`,
			[]string{"when", "ingredients[0].amount", "ingredients[1].amount", "spare_tags[0]", "name"}},
		{"/api/v1/batches", `{"name":1,"base":"sand","jars":"two","jar_size_ml":"1 L","extra":true,"ingredients":[{}]}`,
			[]string{"base", "ingredients[0].name", "jar_size_ml", "jars", "name", "extra"}},
		{jar + "/readings", `{"ph":32,"temp_c":400,"specific_gravity":1050,"when":"2999-01-01","by":"much too long to be the initials of anybody"}`, nil},
		{jar + "/readings", `{"ph":32,"temp_c":400,"specific_gravity":1050,"when":"2999-01-01"}`, []string{"when", "ph", "temp_c", "specific_gravity"}},
		{jar + "/readings", `{"ph":32,"when":"one fine day"}`, []string{"when", "ph"}},
		{jar + "/readings", `{"ph":"3,2"}`, []string{"ph"}},
		{jar + "/readings", `{}`, []string{""}},
		{jar + "/notes", `{"note":" "}`, []string{"note"}},
		{jar + "/titrations", `{"sample_ml":10,"base_mol_per_l":0.1,"replicates":[{"start_ml":9,"end_ml":1}]}`, []string{"end_ml"}},
		{jar + "/actions", `{"what":"strained"}`, []string{"volume_ml"}},
		{jar + "/actions", `{"what":"sung to"}`, []string{"what"}},
		{jar + "/stages", `{"to":"finished"}`, []string{"to"}},
		{jar + "/stages", `{"to":"acetic"}`, []string{"volume_ml", "starter"}},
		{jar + "/stages", `{"to":"acetic","volume_ml":2000,"starter":{"from":"bought","stated_acidity_g_per_100ml":50,"volume_ml":-1}}`,
			[]string{"starter.name", "starter.stated_acidity_g_per_100ml", "starter.volume_ml"}},
		{jar + "/stages", `{"to":"acetic","volume_ml":2000,"starter":{"from":"jar","jar":"K7RM41","mother":true}}`, []string{"starter.jar"}},
		{jar + "/transfers", `{"what":"gave","feed":{"from":"water","volume_ml":1}}`, []string{"what"}},
		{jar + "/transfers", fmt.Sprintf(`{"what":"topped up","feed":{"from":"jar","jar":%q,"volume_ml":2600}}`, b), nil},
		{jar + "/transfers", fmt.Sprintf(`{"what":"topped up","feed":{"from":"jar","jar":%q}}`, a), []string{"feed.jar", "feed.volume_ml"}},
		{jar + "/holds", `{"on":true,"reason":""}`, []string{"reason"}},
		{jar + "/holds", `{"reason":"x"}`, []string{"on"}},
		{"/api/v1/lots", `{"pours":[{"jar":"K7RM41"},{"jar":"3CFX72","volume_ml":0}],"runs":[]}`, []string{"pours[0].jar", "pours[1].volume_ml"}},
	} {
		p := s.refused("POST", c.path, key(), c.body, 422)
		p.at("type").want("/api/v1/problems/invalid-input")
		if c.fields != nil {
			p.wantFields(c.fields...)
		} else if len(p.at("errors").list()) == 0 {
			t.Errorf("%s %s: no field is named: %v", c.path, c.body, p.v)
		}
	}
	if n := len(s.get(jar + "/entries").at("entries").list()); n != 1 {
		t.Errorf("the bad ones left %d entries", n)
	}
	if n := len(s.get("/api/v1/jars").at("jars").list()); n != 2 {
		t.Errorf("the bad ones left %d jars", n)
	}
}

func TestTagsThatAreNot(t *testing.T) {
	s := newStation(t)
	a, _ := s.started()
	swapped := a[1:2] + a[:1] + a[2:]
	if swapped == a {
		swapped = a[:1] + a[2:3] + a[1:2] + a[3:]
	}
	if swapped != a {
		s.refused("GET", "/api/v1/jars/"+swapped, "", "", 404).at("type").want("/api/v1/problems/mistyped-tag")
	}
	unknown := s.act("/api/v1/spare-tags", `{"count":1}`).at("tags").list()[0].text()
	for _, r := range [][3]string{
		{"GET", "/api/v1/jars/" + unknown, ""}, {"GET", "/api/v1/jars/" + unknown + "/entries", ""}, {"GET", "/api/v1/jars/" + unknown + "/label.pdf", ""},
		{"POST", "/api/v1/jars/" + unknown + "/readings", `{"ph":3}`}, {"POST", "/api/v1/jars/" + unknown + "/readings", `{"ph":3,"when":"x"}`},
		{"GET", "/api/v1/batches/99", ""}, {"GET", "/api/v1/lots/L010101A", ""},
		{"GET", "/api/v1/entries/0193a8f0-7a1c-7c3e-9d55-3f2f8c1a4b6e", ""},
		{"POST", "/api/v1/entries/0193a8f0-7a1c-7c3e-9d55-3f2f8c1a4b6e/strike", `{"reason":"x"}`},
	} {
		s.refused(r[0], r[1], key(), r[2], 404).at("type").want("/api/v1/problems/not-found")
	}
	for _, path := range []string{"/api/v1/jars/hello", "/api/v1/jars/hello/label.pdf", "/api/v1/bottles/AAAA"} {
		s.refused("GET", path, "", "", 404).at("type").want("/api/v1/problems/mistyped-tag")
	}
	s.refused("GET", "/api/v1/entries/17", "", "", 422).wantFields("id")
	s.refused("GET", "/api/v1/batches/first", "", "", 422).wantFields("id")
}

func TestRequestsThatCannotBeRead(t *testing.T) {
	s := newStation(t)
	a, _ := s.started()
	path := "/api/v1/jars/" + a + "/readings"
	s.refused("POST", path, key(), `{"ph":3`, 400).at("type").want("/api/v1/problems/unreadable")
	s.refused("POST", path, key(), ``, 400).at("type").want("/api/v1/problems/unreadable")
	s.refused("POST", path, key(), `[]`, 422)
	s.refused("POST", path, key(), `{"note":"`+strings.Repeat("x", 1<<20)+`"}`, 413).at("type").want("/api/v1/problems/too-large")
	s.refused("POST", path, key(), `{"ph":3,"note":"`+strings.Repeat("x", 5000)+`"}`, 422).wantFields("note")
	s.refused("GET", "/api/v1/nothing", "", "", 404).at("type").want("/api/v1/problems/unknown-path")
	s.refused("GET", "/api/v1/problems/nothing", "", "", 404)
	// What is refused before the API is asked is explained as well.
	for kind, status := range map[web.Kind]float64{web.TooOften: 429, web.CrossSite: 403, web.OtherName: 421, web.Failed: 500} {
		s.get(web.ProblemRoot + string(kind)).at("status").want(status)
	}
	s.refused("DELETE", "/api/v1/jars/"+a, "", "", 405).at("type").want("/api/v1/problems/wrong-method")

	r := httptest.NewRequest("POST", path, strings.NewReader("ph=3"))
	r.Header.Set("Authorization", "Bearer "+s.token)
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Idempotency-Key", key())
	w := httptest.NewRecorder()
	s.engine.ServeHTTP(w, r)
	if w.Code != 415 || w.Header().Get("Content-Type") != "application/problem+json" {
		t.Errorf("a form is answered with %d, %s", w.Code, w.Body)
	}
}

// A page of another site cannot make a browser on the kitchen's network act.
func TestOtherSitesAreRefused(t *testing.T) {
	s := newStation(t)
	r := httptest.NewRequest("POST", "/api/v1/batches", strings.NewReader(startBody))
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Idempotency-Key", key())
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	w := httptest.NewRecorder()
	s.engine.ServeHTTP(w, r)
	if w.Code != 403 || w.Header().Get("Content-Type") != "application/problem+json" {
		t.Errorf("status %d, %s", w.Code, w.Header().Get("Content-Type"))
	}
	if n := len(s.get("/api/v1/jars").at("jars").list()); n != 0 {
		t.Errorf("%d jars were started", n)
	}
}

// Security headers stand on every answer, also where huma writes it.
func TestAnswersKeepTheirHeaders(t *testing.T) {
	s := newStation(t)
	for _, path := range []string{"/api/v1/jars", "/api/v1/jars/hello", "/api/v1/nothing"} {
		h := s.raw("GET", path, "", "").Header()
		if !strings.Contains(h.Get("Content-Security-Policy"), "default-src 'none'") || h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Cache-Control") != "no-store" {
			t.Errorf("%s lacks headers: %v", path, h)
		}
		if strings.Contains(s.raw("GET", path, "", "").Body.String(), "$schema") || h.Get("Link") != "" {
			t.Errorf("%s links a schema", path)
		}
	}
}
