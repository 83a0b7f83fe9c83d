package api_test

import (
	"math"
	"strings"
	"testing"
)

// 10 mL took 18.1 mL of 0.5 mol/L: 18.1 × 0.5 × 60.05 ÷ 10 ÷ 10 = 5.435 g/100 mL
// (60.05 g/mol, IUPAC atomic weights); 2300 mL are 9 bottles of 250 and 50 left.
func TestFinishingBench(t *testing.T) {
	s := newStation(t)
	a, b := s.started()
	s.act("/api/v1/bench/base-checks", `{"base":"lye","stated_mol_per_l":0.5}`)
	s.finished(a)
	f := s.get("/api/v1/finish?jar=" + strings.ToLower(a) + "&size_ml=250&size_ml=500&target_g_per_100ml=0")
	if got := f.at("acidity", "g_per_100ml").number(); math.Abs(got-5.435) > 0.001 {
		t.Errorf("acidity %g", got)
	}
	f.at("held_ml").want(2300.0)
	f.at("fills").list()[0].at("count").want(9.0)
	f.at("fills").list()[0].at("left_ml").want(50.0)
	if len(f.at("verdict").list()) == 0 || f.at("disclaimer").text() == "" {
		t.Error("no verdict")
	}
	low := s.get("/api/v1/finish?jar=" + a + "&size_ml=250&target_g_per_100ml=4")
	u := low.at("acidity", "expanded_uncertainty_g_per_100ml").number()
	if got, want := low.at("add_water_ml").number(), 2300*((5.435-u)/4-1); math.Abs(got-want) > 1 {
		t.Errorf("%g mL of water, want %g", got, want)
	}
	low.at("expected_acidity", "basis").want("computed")
	s.get("/api/v1/finish?jar=" + a + "&target_g_per_100ml=0").at("add_water_ml").want(0.0)
	if why := s.get("/api/v1/finish?jar=" + a + "&target_g_per_100ml=6").at("why_no_water").text(); !strings.Contains(why, "Water cannot make 6") {
		t.Errorf("6 g/100 mL: %q", why)
	}
	if not := s.get("/api/v1/finish?jar=" + b).at("not_yet").list(); len(not) != 1 || !strings.Contains(not[0].text(), "not finished") {
		t.Error("a young jar may be bottled")
	}
	s.refused("GET", "/api/v1/finish?jar="+a+"&target_g_per_100ml=lots", "", "", 422).wantFields("target_g_per_100ml")
	s.refused("GET", "/api/v1/finish?jar="+a+"&size_ml=1", "", "", 422).wantFields("size_ml")
	s.refused("GET", "/api/v1/finish?jar=000001", "", "", 404)
}

func TestLabelDraft(t *testing.T) {
	s := newStation(t)
	a, _ := s.started()
	s.finished(a)
	id := s.act("/api/v1/lots", `{"pours":[{"jar":"`+a+`"}],"runs":[{"count":2,"size_ml":250}]}`).at("lot", "id").text()
	d := s.get("/api/v1/lots/" + id + "/label?rules=us")
	d.at("code_kind").want("facts")
	if !strings.Contains(d.at("code_text").text(), id) || d.at("code_why").text() == "" {
		t.Errorf("the code says %v", d.at("code_text").v)
	}
	texts := ""
	for _, x := range d.at("texts").list() {
		texts += x.text() + "\n"
	}
	for _, want := range []string{"Net 250 mL (8.4 fl oz)", "5.4 % acidity", "Ingredients:", id} {
		if !strings.Contains(strings.ToLower(texts), strings.ToLower(want)) {
			t.Errorf("the label does not say %q:\n%s", want, texts)
		}
	}
	fits := d.at("fits_on").list()
	if len(fits) < 3 || len(d.at("does_not_fit_on").list()) == 0 || len(d.at("rule_lines").list()) == 0 || len(d.at("missing").list()) == 0 {
		t.Errorf("%v", d.v)
	}
	for rules, stock := range map[string]string{"us": fits[0].text(), "plain": "a4-3x7"} {
		if w := s.raw("POST", "/api/v1/labels", "", `{"lot":"`+id+`","rules":"`+rules+`","code":"facts","stock":"`+stock+`"}`); w.Code != 200 || !strings.HasPrefix(w.Body.String(), "%PDF-") {
			t.Errorf("%s on %s: %d %s", rules, stock, w.Code, w.Body)
		}
	}
	s.refused("POST", "/api/v1/labels", "", `{"lot":"`+id+`","rules":"us","stock":"letter-3x10"}`, 422)
	s.refused("GET", "/api/v1/lots/"+id+"/label?rules=mars", "", "", 422)
}
