package api_test

import (
	"fmt"
	"net/url"
	"strings"
	"testing"
)

// From a bought starter to whoever got a bottle, a hold on the way, and a gift
// taken back.
func TestTrace(t *testing.T) {
	s := newStation(t)
	a, _ := s.started()
	jar := "/api/v1/jars/" + a
	s.act(jar+"/stages", `{"to":"acetic","volume_ml":2000,"starter":{"from":"bought","name":"live cider vinegar","live":true,"mother":true,"volume_ml":200,"stated_acidity_g_per_100ml":5,"supplier":"Corner shop, Mill Lane","supplier_lot":"B77"}}`)
	s.act(jar+"/stages", `{"to":"finished"}`)
	made := s.act("/api/v1/lots", fmt.Sprintf(`{"pours":[{"jar":%q}],"runs":[{"count":4,"size_ml":250}]}`, a))
	lot, bottles := made.at("lot", "id").text(), made.at("bottles").list()
	bottle := "/api/v1/bottles/" + bottles[0].at("tag").text()
	s.act(bottle+"/gift", `{"to":"Ana","note":"for the salad"}`)

	v := s.get("/api/v1/trace?of=" + url.QueryEscape("live cider"))
	v.at("subject").want(map[string]any{"kind": "named", "id": "live cider vinegar"})
	step := v.at("forward").list()[0]
	step.at("supplier").want("Corner shop, Mill Lane")
	step.at("supplier_lot").want("B77")
	step.at("to_jar").want(a)
	step.at("depth").want(1.0)
	if p := v.at("people").list(); len(p) != 1 || p[0].at("name").text() != "Ana" {
		t.Errorf("people are %v", v.at("people").v)
	}
	v.at("balance", "given_ml").want(250.0)
	v = s.get("/api/v1/trace?of=" + lot + "&bottles=3")
	v.at("unlisted_bottle_count").want(4.0)
	v.at("lots").list()[0].at("given").want(1.0)
	if len(v.at("bottles").list()) != 0 || len(v.at("batches").list()) != 1 || v.at("back").list()[0].at("from_jar").text() != a {
		t.Errorf("the lot's trace is %v", v.v)
	}
	s.get("/api/v1/names").at("names").want([]any{"live cider vinegar", "pears, peels and cores", "sugar"})

	s.refused("GET", "/api/v1/trace?of=saffron", "", "", 404)
	s.refused("GET", "/api/v1/trace?of=K7RM4T", "", "", 404)
	s.refused("GET", "/api/v1/trace?of=a", "", "", 422).wantFields("of")
	s.refused("GET", "/api/v1/trace?of="+a+"&kind=person", "", "", 422).wantFields("kind")
	s.refused("GET", "/api/v1/trace", "", "", 422)

	// A hold on the lot stops its bottles; its log keeps the story.
	hold := "/api/v1/lots/" + lot + "/holds"
	s.refused("POST", hold, key(), `{"on":true,"reason":""}`, 422).wantFields("reason")
	k := key()
	held := s.ask("POST", hold, k, `{"on":true,"reason":"a cork crumbled","by":"MO"}`, 201)
	s.ask("POST", hold, k, `{"on":true,"reason":"a cork crumbled","by":"MO"}`, 201).at("log").want(held.at("log").v)
	held.at("held").list()[0].at("reason").want("a cork crumbled")
	if w := s.refused("POST", "/api/v1/bottles/"+bottles[1].at("tag").text()+"/gift", key(), `{"to":"Ben"}`, 422); !strings.Contains(w.at("detail").text(), "a cork crumbled") {
		t.Errorf("the refusal says %q", w.at("detail").text())
	}
	if log := s.act(hold, `{"on":false,"reason":"only that one"}`).at("log").list(); len(log) != 2 {
		t.Errorf("%d lines in the log", len(log))
	}
	if n := len(s.get("/api/v1/lots/" + lot + "/log").at("held").list()); n != 0 {
		t.Errorf("%d holds stand", n)
	}
	s.refused("GET", "/api/v1/lots/L990101Z/log", "", "", 404)

	s.get("/api/v1/gifts?to=an").at("gifts").list()[0].at("bottle", "gift", "to").want("Ana")
	s.refused("POST", bottle+"/gift/back", key(), `{"reason":""}`, 422).wantFields("reason")
	if s.act(bottle+"/gift/back", `{"reason":"it was bottle 4","by":"MO"}`).at("bottle").has("gift") {
		t.Error("the bottle is still given")
	}
	if n := len(s.get("/api/v1/gifts").at("gifts").list()); n != 0 {
		t.Errorf("%d gifts stand", n)
	}
	s.get("/api/v1/gifts?all=true").at("gifts").list()[0].at("bottle", "gift", "taken_back", "reason").want("it was bottle 4")
	s.refused("POST", bottle+"/gift/back", key(), `{"reason":"again"}`, 422)
}
