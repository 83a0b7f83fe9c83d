package api_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
)

// An outlook from start to forecast. 6.9 % vol gives at most 6.9 × 0.78924 ×
// 60.052 ÷ 46.069 = 7.1 g/100 mL (OIML R 22, molar masses of IUPAC CIAAW).
func TestOutlook(t *testing.T) {
	s := newStation(t)
	ago := func(days float64) string {
		return time.Now().Add(-time.Duration(days * 24 * float64(time.Hour))).UTC().Format(time.RFC3339)
	}
	started := s.act("/api/v1/batches", `{"name":"Damson wine","base":"wine","jars":1,"jar_size_ml":6000,"fill_ml":5000,"when":"`+ago(40)+`",
		"ingredients":[{"name":"damson wine","amount":"3 L","abv_percent_vol":11.5},{"name":"water","amount":"2 L"}]}`)
	if got := started.at("ceiling", "stoichiometric_g_per_100ml").number(); math.Abs(got-6.9*0.78924*60.052/46.069) > 0.01 {
		t.Errorf("the recipe's ceiling is %v", got)
	}
	started.at("batch", "ingredients").list()[0].at("abv_percent_vol").want(11.5)
	tag := started.at("jars").list()[0].at("tag").text()
	o := s.get("/api/v1/jars/" + tag + "/outlook")
	o.at("forecast", "enough_data").want(false)
	o.at("market").want("")
	if n := len(o.at("verdict").list()); n != 6 {
		t.Errorf("%d uses", n)
	}

	s.act("/api/v1/bench/base-checks", `{"base":"lye","when":"`+ago(30)+`","against":{"runs":[{"khp_g":0.3888,"base_ml":18.64}],"mass_tolerance_g":0.0003}}`)
	s.act("/api/v1/jars/"+tag+"/stages", `{"to":"acetic","volume_ml":5000,"starter":{"from":"none"},"when":"`+ago(39)+`"}`)
	for i, titre := range []float64{5.5, 8.4, 11.2, 13.8} {
		s.act("/api/v1/jars/"+tag+"/titrations", fmt.Sprintf(`{"sample_ml":2,"sample_tolerance_ml":0.02,"base_mol_per_l":0.1,"replicates":[{"start_ml":0,"end_ml":%g},{"start_ml":0,"end_ml":%g}],"when":"%s"}`, titre, titre+0.05, ago(25-7*float64(i))))
	}
	s.ask("PUT", "/api/v1/kitchen", "", `{"name":"Kitchen","market":"uk"}`, 200).at("market").want("UK")
	s.refused("PUT", "/api/v1/kitchen", "", `{"name":"Kitchen","market":"Atlantis"}`, 422).wantFields("market")
	o = s.get("/api/v1/jars/" + tag + "/outlook")
	o.at("market").want("UK")
	o.at("forecast", "finish_kind").want("target")
	early, late := o.at("forecast", "finish", "early").text(), o.at("forecast", "finish", "late").text()
	if !(early < late) || early < ago(7) {
		t.Errorf("the finish lies between %s and %s", early, late)
	}
	band := o.at("forecast", "band").list()
	if len(band) < 2 {
		t.Fatalf("a band of %d points", len(band))
	}
	for _, p := range band {
		if low, high := p.at("low_g_per_100ml").number(), p.at("high_g_per_100ml").number(); !(low <= high) || high > 7.1 {
			t.Errorf("the band runs from %v to %v", low, high)
		}
	}
	for _, f := range o.at("verdict").list() {
		if strings.HasPrefix(f.at("use").text(), "canning") {
			f.at("answer").want("no")
		}
	}
	s.refused("GET", "/api/v1/jars/000000/outlook", "", "", 404)
}

// A meter that shows 1.70 and 4.03 in buffers of 1.675 and 4.001 (20 °C: IUPAC
// Recommendations 2002; Hetzer et al. 1977) has a slope of 2.33/2.326 of the ideal.
func TestBench(t *testing.T) {
	s := newStation(t)
	body := `{"meter":"bench pH","points":[{"buffer":"tetroxalate","temperature_c":20,"shown_ph":1.70},{"buffer":"phthalate","temperature_c":20,"shown_ph":4.03}],"by":"ro"}`
	w := s.raw("POST", "/api/v1/bench/calibrations", key(), body)
	if w.Code != 201 {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	line := s.decode("POST", "/api/v1/bench/calibrations", w)
	if got := line.at("found", "slope_percent").number(); math.Abs(got-100.2) > 0.2 {
		t.Errorf("a slope of %v %%", got)
	}
	if got := s.get(w.Header().Get("Location")); got.at("id").text() != line.at("id").text() {
		t.Errorf("the location leads to %v", got.v)
	}
	id := line.at("id").text()
	tag := s.act("/api/v1/batches", `{"name":"Perry","base":"other","stage":"acetic","jars":1,"jar_size_ml":3000}`).at("jars").list()[0].at("tag").text()
	read := s.act("/api/v1/jars/"+tag+"/readings", `{"ph":3.2,"temp_c":20,"instrument":"bench pH"}`)
	read.at("entry", "body", "calibration").want(id)
	if got := read.at("entry", "body", "corrected_ph").number(); math.Abs(got-3.17) > 0.02 {
		t.Errorf("corrected to %v", got)
	}
	rough := s.act("/api/v1/jars/"+tag+"/readings", `{"ph":3.2,"instrument":"another"}`)
	if rough.at("entry", "body", "ph_mark").text() == "" {
		t.Error("a reading without a calibration is not marked")
	}
	s.act("/api/v1/bench/calibrations/"+id+"/strike", `{"by":"ro"}`).at("struck").want(true)
	s.get("/api/v1/bench/calibrations").at("lines").list()[0].at("struck").want(true)
	s.refused("POST", "/api/v1/bench/calibrations/"+id+"/strike", key(), `{}`, 404)
	s.refused("GET", "/api/v1/bench/base-checks/"+id, "", "", 404) // it is of another kind

	// 0.3888 g and 18.64 mL give 0.10214 mol/L: Eurachem/CITAC Guide QUAM, example A2.
	base := s.act("/api/v1/bench/base-checks", `{"base":"lye","against":{"runs":[{"khp_g":0.3888,"base_ml":18.64}]}}`)
	if got := base.at("found", "base_mol_per_l").number(); math.Abs(got-0.10214) > 0.00002 {
		t.Errorf("a base of %v mol/L", got)
	}
	s.act("/api/v1/bench/control-samples", `{"meter":"bench pH","ph":2.41,"temp_c":20}`).at("found", "failed").want(false)
	s.refused("POST", "/api/v1/bench/control-samples", key(), `{"meter":"","ph":24,"temp_c":20}`, 422).wantFields("meter", "ph")
	if n := len(s.get("/api/v1/bench/control-samples?name=other").at("lines").list()); n != 0 {
		t.Errorf("%d lines of a meter that is not there", n)
	}
}
