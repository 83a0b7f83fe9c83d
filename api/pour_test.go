package api_test

import (
	"fmt"
	"strings"
	"testing"

	"cruet/internal/larder"
)

// jarOf starts a batch of one jar of 3 L with 2.5 L in it, ten days ago.
func (s *station) jarOf(name string) string {
	s.t.Helper()
	v := s.act("/api/v1/batches", fmt.Sprintf(`{"name":%q,"base":"juice","jars":1,"jar_size_ml":3000,"fill_ml":2500,"when":"10 days ago"}`, name))
	return v.at("jars").list()[0].at("tag").text()
}

// Every act that pours jars into others, sent once and once more, with the
// volumes counted on both sides and the lineage that it makes.
func TestPouring(t *testing.T) {
	s := newStation(t)
	a, b := s.jarOf("Quince"), s.jarOf("Cider")
	spare := s.ask("POST", "/api/v1/spare-tags", key(), `{"count":1}`, 201).at("tags").list()[0].text()
	k := key()
	body := fmt.Sprintf(`{"parts":[{"size_ml":1500,"volume_ml":1000,"spare_tag":%q},{"size_ml":500,"volume_ml":400,"place":"window"}],"by":"MO","note":"for herbs","when":"3 days ago"}`, strings.ToLower(spare))
	split := s.ask("POST", "/api/v1/jars/"+a+"/split", k, body, 201)
	split.at("jars").list()[0].at("tag").want(spare)
	split.at("jars").list()[1].at("state", "volume_ml").want(400.0)
	split.at("from").list()[0].at("state", "volume_ml").want(1100.0)
	again := s.ask("POST", "/api/v1/jars/"+a+"/split", k, body, 201)
	again.at("replayed").want(true)
	again.at("jars").list()[1].at("tag").want(split.at("jars").list()[1].at("tag").v)

	part := split.at("jars").list()[1].at("tag").text()
	moved := s.act("/api/v1/jars/"+part+"/move", `{"size_ml":600,"volume_ml":390}`)
	moved.at("from").list()[0].at("state", "stage").want("empty")
	moved.at("jars").list()[0].at("place").want("window")
	joined := s.act("/api/v1/jars/"+spare+"/join", fmt.Sprintf(`{"pours":[{"jar":%q,"volume_ml":100},{"jar":%q}]}`, strings.ToLower(b), moved.at("jars").list()[0].at("tag").text()))
	joined.at("jars").list()[0].at("state", "volume_ml").want(1490.0)
	if n := len(joined.at("from").list()); n != 2 {
		t.Errorf("%d jars gave, want 2", n)
	}
	blended := s.act("/api/v1/blends", fmt.Sprintf(`{"name":"House","size_ml":5000,"pours":[{"jar":%q},{"jar":%q,"volume_ml":200}]}`, a, b))
	blended.at("batch", "name").want("House")
	blended.at("jars").list()[0].at("state", "volume_ml").want(1300.0)
	blended.at("from").list()[0].at("state", "stage").want("empty")
	s.act("/api/v1/jars/"+b+"/transfers", `{"what":"infused","feed":{"from":"other","name":"tarragon","mass_g":20,"supplier":"Herb Farm"}}`).at("entry", "body", "feed", "mass_g").want(20.0)
	s.act("/api/v1/jars/"+b+"/holds", `{"on":true,"reason":"white fur"}`)

	tree := s.get("/api/v1/jars/" + strings.ToLower(spare) + "/lineage")
	if got := tree.at("came_from").list(); len(got) != 3 {
		t.Errorf("it came from %v", got)
	}
	tree.at("held").list()[0].at("jar").want(b)
	shallow := s.get("/api/v1/jars/" + spare + "/lineage?depth=1").at("came_from").list()
	for _, one := range shallow {
		if len(one.at("beyond").list()) > 0 {
			t.Errorf("one step deep there is %v", one.v)
		}
	}
	s.act("/api/v1/entries/"+blended.at("entry").text()+"/strike", `{"reason":"the wrong jar"}`)
	s.get("/api/v1/jars/"+a).at("jar", "state", "volume_ml").want(1100.0)
}

// Each of these is refused in a sentence at its field, and nothing is changed.
func TestPouringRefused(t *testing.T) {
	s := newStation(t)
	a, b := s.jarOf("Quince"), s.jarOf("Cider")
	gone, held := s.jarOf("Gone"), s.jarOf("Held")
	s.act("/api/v1/jars/"+gone+"/stages", `{"to":"discarded","reason":"mould"}`)
	s.act("/api/v1/jars/"+held+"/holds", `{"on":true,"reason":"white fur"}`)
	const none = "000001"
	if _, _, err := larder.ParseTag(none); err != nil {
		t.Fatal(err)
	}
	before := s.get("/api/v1/jars?all=true").v
	counted := s.get("/api/v1/check").v
	for name, c := range map[string]struct {
		path, body string
		status     int
		field      string
	}{
		"a split into nothing":    {"jars/" + a + "/split", `{"parts":[]}`, 422, "parts"},
		"a part of nothing":       {"jars/" + a + "/split", `{"parts":[{"size_ml":500,"volume_ml":0}]}`, 422, "parts[0].volume_ml"},
		"more than it holds":      {"jars/" + a + "/split", `{"parts":[{"size_ml":3000,"volume_ml":2501}]}`, 422, "volume_ml"},
		"too small a vessel":      {"jars/" + a + "/split", `{"parts":[{"size_ml":500,"volume_ml":501}]}`, 422, "parts[0].volume_ml"},
		"no spare tag":            {"jars/" + a + "/split", `{"parts":[{"size_ml":500,"volume_ml":400,"spare_tag":"` + b + `"}]}`, 422, "parts[0].spare_tag"},
		"a mistyped spare tag":    {"jars/" + a + "/split", `{"parts":[{"size_ml":500,"volume_ml":400,"spare_tag":"K7RM4T"}]}`, 422, "parts[0].spare_tag"},
		"before it existed":       {"jars/" + a + "/split", `{"parts":[{"size_ml":500,"volume_ml":400}],"when":"20 days ago"}`, 422, "when"},
		"a discarded jar":         {"jars/" + gone + "/split", `{"parts":[{"size_ml":500,"volume_ml":400}]}`, 422, ""},
		"a held jar":              {"jars/" + held + "/move", `{"size_ml":5000}`, 422, ""},
		"a move into too small":   {"jars/" + a + "/move", `{"size_ml":500}`, 422, "volume_ml"},
		"an unknown jar":          {"jars/" + none + "/move", `{"size_ml":5000}`, 404, ""},
		"a blend of one":          {"blends", `{"name":"x","size_ml":5000,"pours":[{"jar":"` + a + `"}]}`, 422, "pours"},
		"a blend with itself":     {"blends", `{"name":"x","size_ml":9000,"pours":[{"jar":"` + a + `"},{"jar":"` + a + `"}]}`, 422, "pours"},
		"a blend of unknown":      {"blends", `{"name":"x","size_ml":9000,"pours":[{"jar":"` + a + `"},{"jar":"` + none + `"}]}`, 422, "pours"},
		"a blend of the held":     {"blends", `{"name":"x","size_ml":9000,"pours":[{"jar":"` + a + `"},{"jar":"` + held + `"}]}`, 422, "pours"},
		"a blend of nothing":      {"blends", `{"name":"x","size_ml":9000,"pours":[{"jar":"` + a + `","volume_ml":0},{"jar":"` + b + `"}]}`, 422, "pours[0].volume_ml"},
		"a join with itself":      {"jars/" + a + "/join", `{"pours":[{"jar":"` + a + `"}]}`, 422, "pours"},
		"a join that runs over":   {"jars/" + a + "/join", `{"pours":[{"jar":"` + b + `"}]}`, 422, "volume_ml"},
		"a join into a retired":   {"jars/" + gone + "/join", `{"pours":[{"jar":"` + b + `"}]}`, 422, ""},
		"an infusion of litres":   {"jars/" + a + "/transfers", `{"what":"infused","feed":{"from":"other","name":"wine","volume_ml":10}}`, 422, "feed.volume_ml"},
		"a giver with too little": {"jars/" + a + "/transfers", `{"what":"topped up","feed":{"from":"jar","jar":"` + b + `","volume_ml":2600}}`, 422, "feed.volume_ml"},
	} {
		t.Run(name, func(t *testing.T) {
			p := s.refused("POST", "/api/v1/"+c.path, key(), c.body, c.status)
			if c.field != "" {
				p.wantFields(c.field)
			}
		})
	}
	if after := s.get("/api/v1/jars?all=true").v; fmt.Sprint(after) != fmt.Sprint(before) {
		t.Errorf("the jars went from %v to %v", before, after)
	}
	if after := s.get("/api/v1/check").v; fmt.Sprint(after) != fmt.Sprint(counted) {
		t.Errorf("the records went from %v to %v", counted, after)
	}
	s.refused("GET", "/api/v1/jars/"+none+"/lineage", "", "", 404)
	s.refused("GET", "/api/v1/jars/"+a+"/lineage?depth=99", "", "", 422)
}
