package api_test

import (
	"net/url"
	"slices"
	"testing"
)

// TestPlans reads and changes a plan, and sees it in today's list.
func TestPlans(t *testing.T) {
	s := newStation(t)
	s.act("/api/v1/batches", `{"name":"Pear trimmings","base":"fruit scraps","jars":1,"jar_size_ml":3000,"when":"12 days ago","place":"cellar"}`)
	tasks := func() map[string]string {
		t.Helper()
		out := map[string]string{}
		for _, one := range s.get("/api/v1/today").at("tasks").list() {
			out[one.at("do").text()] = one.at("status").text()
			if one.at("reason").text() == "" || one.at("jar").text() == "" {
				t.Errorf("a task without a reason or jar: %v", one.v)
			}
		}
		return out
	}
	if got := tasks(); got["strain"] != "due" || got["stir"] != "overdue" {
		t.Errorf("today wants %v", got)
	}
	if n := len(s.get("/api/v1/plans").at("plans").list()); n != 7 {
		t.Errorf("%d plans, want those of 6 bases and the kitchen's", n)
	}
	changed := s.ask("PUT", "/api/v1/plans/fruit-scraps", "", `{"steps":[{"id":"must/strain","from_days":20,"until_days":30},{"id":"must/stir","from_days":1,"until_days":1,"every_days":1,"off":true}]}`, 200)
	n := 0
	for _, step := range changed.at("steps").list() {
		if step.at("changed").v == true {
			n++
		}
	}
	if n != 2 {
		t.Errorf("%d steps are changed, want 2", n)
	}
	if got := tasks(); got["strain"] != "" || got["stir"] != "" {
		t.Errorf("after the change today wants %v", got)
	}
	s.refused("PUT", "/api/v1/plans/fruit-scraps", "", `{"steps":[{"id":"must/strain","from_days":20,"until_days":3}]}`, 422)
	s.refused("PUT", "/api/v1/plans/fruit-scraps", "", `{"steps":[{"id":"must/dance","from_days":1,"until_days":3}]}`, 422)
	s.refused("GET", "/api/v1/plans/mead", "", "", 422)
	if got := tasks(); got["strain"] != "" {
		t.Error("what was refused changed the plan")
	}
	s.ask("PUT", "/api/v1/plans/fruit-scraps", "", `{"steps":[]}`, 200)
	if got := tasks(); got["strain"] != "due" {
		t.Errorf("the usual plan did not come back: %v", got)
	}
}

// TestCalendarAddress opens and closes the calendar.
func TestCalendarAddress(t *testing.T) {
	s := newStation(t)
	if got := s.get("/api/v1/calendar").v; len(got.(map[string]any)) != 0 {
		t.Errorf("before it is opened the calendar is %v", got)
	}
	address := s.act("/api/v1/calendar", `{}`).at("address").text()
	if u, err := url.Parse(address); err != nil || u.Path != "/calendar.ics" || len(u.Query().Get("key")) < 26 {
		t.Errorf("the address is %s", address)
	}
	if got := s.get("/api/v1/calendar").at("address").text(); got != address {
		t.Errorf("it is read as %s, was %s", got, address)
	}
	if got := s.act("/api/v1/calendar", `{"close":true}`).v; len(got.(map[string]any)) != 0 {
		t.Errorf("the closed calendar is %v", got)
	}
}

// TestShelfQuestions asks for a part of the shelf.
func TestShelfQuestions(t *testing.T) {
	s := newStation(t)
	s.act("/api/v1/batches", `{"name":"Pear trimmings","base":"fruit scraps","jars":2,"jar_size_ml":3000,"when":"12 days ago","place":"cellar"}`)
	s.act("/api/v1/batches", `{"name":"Cider","base":"wine","stage":"acetic","jars":1,"jar_size_ml":3000,"when":"2 days ago"}`)
	for query, want := range map[string]int{"": 3, "?stage=acetic": 1, "?place=cellar": 2, "?q=pear": 2, "?q=pear+b": 1, "?due=true": 2, "?hold=true": 0, "?batch=2": 1} {
		jars := s.get("/api/v1/jars" + query).at("jars").list()
		names := []string{}
		for _, j := range jars {
			names = append(names, j.at("batch").at("name").text())
		}
		if len(jars) != want {
			t.Errorf("%s: %d jars %v, want %d", query, len(jars), slices.Compact(names), want)
		}
	}
}
