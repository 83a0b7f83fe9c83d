package api_test

import (
	"encoding/json"
	"math"
	"net/url"
	"strings"
	"testing"

	"cruet/api"
	"cruet/internal/reckon"
)

// Every sum's worked example, asked by GET and by POST, gives the published
// figure in the form that the document promises.
func TestSumsGiveThePublishedFigures(t *testing.T) {
	s := newStation(t)
	for _, k := range reckon.Kinds() {
		path := api.Root + "/reckon/" + k.Name
		q, body := url.Values{}, map[string]any{}
		for name, text := range k.Example.Inputs {
			for line := range strings.SplitSeq(text, "\n") {
				q.Add(name, line)
			}
			body[name] = strings.Split(text, "\n")
		}
		sent, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range []struct{ method, path, body string }{{"GET", path + "?" + q.Encode(), ""}, {"POST", path, string(sent)}} {
			got := s.raw(w.method, w.path, "", w.body)
			var v map[string]any
			if err := json.Unmarshal(got.Body.Bytes(), &v); err != nil || got.Code != 200 {
				t.Errorf("%s %s: %d %v %s", w.method, w.path, got.Code, err, got.Body)
				continue
			}
			s.promised(w.method, path, got, v)
			figure, ok := v[k.Example.Output].(float64)
			if yes, isBool := v[k.Example.Output].(bool); isBool && yes {
				figure, ok = 1, true
			}
			if !ok || math.Abs(figure-k.Example.Value) > k.Example.Within {
				t.Errorf("%s %s: %s is %v, published %v (%s)", w.method, k.Name, k.Example.Output, figure, k.Example.Value, k.Example.Source)
			}
			if explain, _ := v["explain"].(map[string]any); explain["formula"] == "" || explain["source"] == "" {
				t.Errorf("%s: it does not explain itself", k.Name)
			}
		}
	}
}

// JSON numbers are taken in the unit of the name: mL, mol/L, °C.
func TestSumsTakeNumbersInTheirUnits(t *testing.T) {
	s := newStation(t)
	w := s.raw("POST", api.Root+"/reckon/titration", "", `{"sample_ml": 2, "base_mol_per_l": 0.1, "replicates": ["0-16.7"], "blank_ml": 0}`)
	var v map[string]any
	if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil || w.Code != 200 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	if got := v["acidity_g_per_100ml"].(float64); math.Abs(got-5.014) > 0.006 { // AOAC 930.35
		t.Errorf("acidity %v", got)
	}
}

func TestSumsRefuseInWords(t *testing.T) {
	s := newStation(t)
	for _, c := range []struct {
		method, path, body, field, says string
		status                          int
	}{
		{"GET", "/reckon/dilute?volume_ml=1&acidity_g_per_100ml=8&target_g_per_100ml=5", "", "volume_ml", "no unit", 422},
		{"GET", "/reckon/dilute?volume_ml=1+L&acidity_g_per_100ml=4&target_g_per_100ml=5", "", "target_g_per_100ml", "stronger vinegar", 422},
		{"GET", "/reckon/dilute", "", "volume_ml", "missing", 422},
		{"GET", "/reckon/dilute?colour=red", "", "colour", "its inputs are", 422},
		{"POST", "/reckon/titration", `{"sample_ml": 2, "base_mol_per_l": 0.1, "replicates": ["16.7-0"]}`, "replicates", "swapped", 422},
		{"POST", "/reckon/titration", `{"sample_ml": {"a": 1}}`, "sample_ml", "must be text", 422},
		{"POST", "/reckon/titration", `{"sample_ml": [[1]]}`, "sample_ml", "must be text", 422},
		{"POST", "/reckon/titration", `[1]`, "", "", 422},
		{"POST", "/reckon/titration", `{`, "", "", 400},
		{"GET", "/reckon/ph-to-acidity", "", "", "", 404},
		{"DELETE", "/reckon/dilute", "", "", "", 405},
	} {
		w := s.raw(c.method, api.Root+c.path, "", c.body)
		if w.Code != c.status || !strings.HasPrefix(w.Header().Get("Content-Type"), "application/problem+json") {
			t.Errorf("%s %s answers %d %s", c.method, c.path, w.Code, w.Body)
			continue
		}
		var p api.ProblemDetails
		if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil {
			t.Fatal(err)
		}
		found := c.field == ""
		for _, e := range p.Errors {
			found = found || (e.Field == c.field && strings.Contains(e.Message, c.says))
		}
		if !found {
			t.Errorf("%s %s: %+v", c.method, c.path, p.Errors)
		}
	}
}

func TestSumsAreListed(t *testing.T) {
	s := newStation(t)
	w := s.raw("GET", api.Root+"/reckon", "", "")
	var v any
	if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil || w.Code != 200 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	s.promised("GET", api.Root+"/reckon", w, v)
	var got api.Sums
	if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil || len(got.Sums) != len(reckon.Kinds()) {
		t.Errorf("%d sums, %v", len(got.Sums), err)
	}
	for _, one := range got.Sums {
		if strings.HasPrefix(one.Kind, "ph") && strings.Contains(one.Title, "acidity") {
			t.Errorf("%s goes from pH to acidity", one.Kind)
		}
	}
}
