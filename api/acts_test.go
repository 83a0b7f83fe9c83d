package api_test

import (
	"fmt"
	"math"
	"net/url"
	"strings"
	"testing"
)

func TestStartABatch(t *testing.T) {
	s := newStation(t)
	w := s.raw("POST", "/api/v1/batches", key(), startBody)
	if w.Code != 201 {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	v := s.decode("POST", "/api/v1/batches", w)
	v.at("batch", "name").want("Pear scraps")
	v.at("batch", "when", "precision").want("about")
	if v.at("batch", "when", "spread_days").number() < 1 {
		t.Error("a vague date has no spread")
	}
	sugar := v.at("batch", "ingredients").list()[1]
	sugar.at("amount").want("1 1/2 cups")
	// A US cup is 231/16 cubic inches of 2.54 cm: NIST Handbook 44, appendix C.
	if got := sugar.at("volume_ml").number(); math.Abs(got-1.5*231.0/16*2.54*2.54*2.54) > 1e-6 {
		t.Errorf("1 1/2 cups are %v mL", got)
	}
	jars := v.at("jars").list()
	if len(jars) != 2 {
		t.Fatalf("%d jars", len(jars))
	}
	jars[0].at("state", "stage").want("must")
	jars[0].at("state", "volume_ml").want(2500.0)
	if got := s.get(w.Header().Get("Location")); got.at("batch", "name").text() != "Pear scraps" {
		t.Errorf("the location leads to %v", got.v)
	}

	shelf := s.get("/api/v1/jars").at("jars").list()
	if len(shelf) != 2 || len(shelf[0].at("due").list()) == 0 {
		t.Errorf("the shelf holds %v", shelf)
	}
	page := s.get("/api/v1/jars/" + strings.ToLower(jars[1].at("tag").text()))
	page.at("siblings").want([]any{jars[0].at("tag").text()})
	page.at("link").want("http://192.168.1.20:8080/J/" + jars[1].at("tag").text())
	page.at("may_become").list()[1].at("needs_starter").want(true)
}

func TestSpareTagsBecomeJars(t *testing.T) {
	s := newStation(t)
	k := key()
	tags := s.ask("POST", "/api/v1/spare-tags", k, `{"count":3}`, 201).at("tags")
	s.ask("POST", "/api/v1/spare-tags", k, `{"count":3}`, 201).at("tags").want(tags.v)
	if n := len(s.get("/api/v1/spare-tags").at("tags").list()); n != 3 {
		t.Errorf("%d spare tags", n)
	}
	spare := tags.list()[0].text()
	body := fmt.Sprintf(`{"name":"Ale","base":"beer or ale","jars":1,"jar_size_ml":1000,"spare_tags":[%q]}`, strings.ToLower(spare))
	s.act("/api/v1/batches", body).at("jars").list()[0].at("tag").want(spare)
	s.refused("POST", "/api/v1/batches", key(), body, 422).wantFields("spare_tags")
	s.refused("POST", "/api/v1/spare-tags", key(), `{"count":0}`, 422).wantFields("count")
}

func TestLogging(t *testing.T) {
	s := newStation(t)
	a, b := s.started()
	jar := "/api/v1/jars/" + a
	r := s.act(jar+"/readings", `{"ph":3.2,"temp_c":21.5,"specific_gravity":1.02,"brix":5.1,"abv_percent_vol":2,"volume_ml":2400,"instrument":"blue meter","by":"MO","note":"smells of pears"}`)
	r.at("entry", "kind").want("reading")
	r.at("entry", "body", "ph").want(3.2)
	r.at("entry", "by").want("MO")
	r.at("entry", "when", "precision").want("exact")
	r.at("state", "temp_c", "value").want(21.5)
	r.at("state", "volume_ml").want(2400.0)
	s.act(jar+"/notes", `{"note":"The mother sank.","when":"yesterday"}`).at("entry", "when", "precision").want("day")
	s.act(jar+"/actions", `{"what":"strained","volume_ml":2300,"when":"2 days ago"}`)
	s.act(jar+"/holds", `{"on":true,"reason":"the cloth was off"}`).at("state", "hold").want("the cloth was off")
	s.act(jar+"/holds", `{"on":false,"reason":"it smells clean"}`)
	moved := s.act(jar+"/stages", fmt.Sprintf(`{"to":"acetic","volume_ml":2000,"starter":{"from":"jar","jar":%q,"mother":true,"volume_ml":100}}`, strings.ToLower(b)))
	moved.at("entry", "body", "from").want("must")
	moved.at("entry", "body", "starter", "jar").want(b)
	moved.at("state", "volume_ml").want(2100.0)
	s.get("/api/v1/jars/"+b).at("jar", "state", "volume_ml").want(2400.0)
	fed := s.act(jar+"/transfers", `{"what":"topped up","feed":{"from":"other","name":"perry","volume_ml":200}}`)
	fed.at("state", "volume_ml").want(2300.0)
	from := s.get(jar).at("came_from").list()
	if len(from) != 2 {
		t.Errorf("the lineage has %d edges", len(from))
	}
	id := fed.at("entry", "id").text()
	s.get("/api/v1/entries/" + id).at("kind").want("transfer")
	struck := s.act("/api/v1/entries/"+id+"/strike", `{"reason":"that was jar B","by":"MO"}`)
	struck.at("entry", "body", "target").want(id)
	struck.at("state", "volume_ml").want(2100.0)
	s.get("/api/v1/entries/" + id).at("struck_by").want(struck.at("entry", "id").v)
}

// The acidity of a titration is volume × concentration × 60.05 g/mol (acetic
// acid, CIAAW standard atomic weights) over the sample: 18.1 mL of 0.5 mol/L
// for 10 mL is 18.1 × 0.5 × 60.05 / (10 × 10) g/100 mL.
func TestTitration(t *testing.T) {
	s := newStation(t)
	a, _ := s.started()
	v := s.act("/api/v1/jars/"+a+"/titrations", titrationBody)
	want := 18.1 * 0.5 * 60.05 / 100
	for _, got := range []value{v.at("entry", "computed", "acidity_g_per_100ml"), v.at("state", "acidity", "g_per_100ml")} {
		if math.Abs(got.number()-want) > 0.005 {
			t.Errorf("acidity %v, not %.3f", got.v, want)
		}
	}
	v.at("state", "acidity", "basis").want("measured")
	v.at("entry", "body", "replicates").list()[1].at("end_ml").want(36.2)
	// Water makes it a computed one; anything else outdates it.
	s.act("/api/v1/jars/"+a+"/transfers", `{"what":"diluted","feed":{"from":"water","volume_ml":250}}`).at("state", "acidity", "basis").want("computed")
	s.act("/api/v1/jars/"+a+"/transfers", `{"what":"topped up","feed":{"from":"other","name":"must","volume_ml":50}}`).at("state", "acidity", "basis").want("outdated")
	// A pH never stands in for an acidity.
	_, b := s.started()
	if s.act("/api/v1/jars/"+b+"/readings", `{"ph":2.8}`).at("state").has("acidity") {
		t.Error("a pH became an acidity")
	}
}

func TestEntriesArePaged(t *testing.T) {
	s := newStation(t)
	a, _ := s.started()
	for i := range 7 {
		s.act("/api/v1/jars/"+a+"/notes", fmt.Sprintf(`{"note":"note %d"}`, i))
	}
	var notes []string
	from, pages := "", 0
	for pages < 10 {
		v := s.get("/api/v1/jars/" + a + "/entries?limit=3&from=" + url.QueryEscape(from))
		pages++
		for _, e := range v.at("entries").list() {
			notes = append(notes, e.at("kind").text())
		}
		if !v.has("next") {
			break
		}
		from = v.at("next").text()
	}
	if pages != 3 || len(notes) != 8 || notes[0] != "note" || notes[7] != "stage" {
		t.Errorf("%d pages hold %v", pages, notes)
	}
	s.refused("GET", "/api/v1/jars/"+a+"/entries?limit=0", "", "", 422).wantFields("limit")
	s.refused("GET", "/api/v1/jars/"+a+"/entries?from=abc", "", "", 422).wantFields("from")
	s.refused("GET", "/api/v1/jars/"+a+"/entries?form=abc", "", "", 422).wantFields("form")
}

func TestBottleAndGive(t *testing.T) {
	s := newStation(t)
	a, b := s.started()
	s.finished(a)
	body := fmt.Sprintf(`{"pours":[{"jar":%q}],"runs":[{"count":3,"size_ml":250},{"count":1,"size_ml":500}],"note":"clear"}`, a)
	lot := s.act("/api/v1/lots", body)
	id := lot.at("lot", "id").text()
	lot.at("lot", "acidity_basis").want("measured")
	lot.at("lot", "pours").list()[0].at("volume_ml").want(1250.0)
	if !strings.Contains(lot.at("lot", "cautions").list()[0].text(), "canning") {
		t.Error("the lot does not warn of canning")
	}
	bottles := lot.at("bottles").list()
	if len(bottles) != 4 {
		t.Fatalf("%d bottles", len(bottles))
	}
	tag := bottles[0].at("tag").text()
	k := key()
	gift := `{"to":"Aunt Hedwig","when":"today","by":"MO"}`
	s.ask("POST", "/api/v1/bottles/"+tag+"/gift", k, gift, 201).at("bottle", "gift", "to").want("Aunt Hedwig")
	s.ask("POST", "/api/v1/bottles/"+tag+"/gift", k, gift, 201).at("bottle", "gift", "to").want("Aunt Hedwig")
	s.refused("POST", "/api/v1/bottles/"+tag+"/gift", key(), gift, 422)
	s.get("/api/v1/lots/" + id).at("bottles").list()[0].at("gift", "to").want("Aunt Hedwig")
	line := s.get("/api/v1/lots").at("lots").list()[0]
	line.at("bottle_count").want(4.0)
	line.at("given_count").want(1.0)
	s.get("/api/v1/jars/"+a).at("jar", "state", "volume_ml").want(1050.0)

	// Whoever asks learns what speaks against giving it; it was given all the same.
	giving := s.get("/api/v1/bottles/" + tag).at("giving")
	giving.at("answer").want("not proven")
	if !strings.Contains(giving.at("against").list()[0].text(), "base") {
		t.Errorf("against giving it: %v", giving.v)
	}

	// A bottle tells of its lot, but no more of the jars than which they were.
	page := s.raw("GET", "/api/v1/bottles/"+strings.ToLower(tag), "", "").Body.String()
	for _, leak := range []string{b, "cellar", "stage", "siblings"} {
		if strings.Contains(page, leak) {
			t.Errorf("the bottle's answer holds %q: %s", leak, page)
		}
	}
	s.refused("GET", "/api/v1/jars/"+tag, "", "", 404)
	s.refused("GET", "/api/v1/bottles/"+a, "", "", 404)
	s.refused("POST", "/api/v1/lots", key(), fmt.Sprintf(`{"pours":[{"jar":%q}],"runs":[{"count":0,"size_ml":1}]}`, b), 422).wantFields("runs", "runs.size_ml", "pours")
}

// A lot without a titration says so and holds no number that could be taken
// for an acidity.
func TestUnmeasuredLotHasNoAcidity(t *testing.T) {
	s := newStation(t)
	a, _ := s.started()
	s.act("/api/v1/jars/"+a+"/stages", `{"to":"acetic","volume_ml":2000,"starter":{"from":"none"}}`)
	s.act("/api/v1/jars/"+a+"/stages", `{"to":"finished"}`)
	lot := s.act("/api/v1/lots", fmt.Sprintf(`{"pours":[{"jar":%q,"volume_ml":500}],"runs":[{"count":2,"size_ml":250}]}`, a)).at("lot")
	lot.at("acidity_basis").want("not measured")
	lot.at("acidity_text").want("acidity not measured")
	if lot.has("acidity") {
		t.Errorf("the lot has an acidity: %v", lot.at("acidity").v)
	}
}

func TestRetiredJars(t *testing.T) {
	s := newStation(t)
	a, _ := s.started()
	s.act("/api/v1/jars/"+a+"/stages", `{"to":"discarded","reason":"mould"}`)
	if n := len(s.get("/api/v1/jars").at("jars").list()); n != 1 {
		t.Errorf("%d jars on the shelf", n)
	}
	if n := len(s.get("/api/v1/jars?all=true").at("jars").list()); n != 2 {
		t.Errorf("%d jars in all", n)
	}
	s.refused("POST", "/api/v1/jars/"+a+"/readings", key(), `{"ph":3}`, 422)
	s.act("/api/v1/jars/"+a+"/notes", `{"note":"washed"}`)
}

func TestLabelsArePDF(t *testing.T) {
	s := newStation(t)
	a, b := s.started()
	s.finished(a)
	lot := s.act("/api/v1/lots", fmt.Sprintf(`{"pours":[{"jar":%q}],"runs":[{"count":2,"size_ml":250}]}`, a)).at("lot", "id").text()
	spare := s.act("/api/v1/spare-tags", `{"count":1}`).at("tags").list()[0].text()
	if len(s.get("/api/v1/stocks").at("stocks").list()) < 3 {
		t.Error("there are fewer than three stocks")
	}
	for _, r := range [][3]string{
		{"GET", "/api/v1/jars/" + a + "/label.pdf", ""},
		{"GET", "/api/v1/jars/" + a + "/label.pdf?stock=a4-3x8&first=5&copies=2", ""},
		{"POST", "/api/v1/labels", fmt.Sprintf(`{"jars":[%q,%q],"stock":"letter-3x10","first":7}`, a, b)},
		{"POST", "/api/v1/labels", fmt.Sprintf(`{"lot":%q,"stock":"a4-3x8"}`, lot)},
		{"POST", "/api/v1/labels", fmt.Sprintf(`{"spares":[%q]}`, spare)},
	} {
		w := s.raw(r[0], r[1], "", r[2])
		if w.Code != 200 || w.Header().Get("Content-Type") != "application/pdf" || !strings.HasPrefix(w.Body.String(), "%PDF-") {
			t.Errorf("%v: status %d, %s: %.200s", r, w.Code, w.Header().Get("Content-Type"), w.Body)
		}
	}
	// Without a paper named it is the one used last for such labels: US Letter, 612 by
	// 792 points, for jars above, and A4, 595.28 by 841.89 (ISO 216), for bottles.
	for _, r := range [][4]string{
		{"GET", "/api/v1/jars/" + a + "/label.pdf", "", "[0 0 612.00 792.00]"},
		{"POST", "/api/v1/labels", fmt.Sprintf(`{"lot":%q}`, lot), "[0 0 595.28 841.89]"},
	} {
		if w := s.raw(r[0], r[1], "", r[2]); w.Code != 200 || !strings.Contains(w.Body.String(), "/MediaBox "+r[3]) {
			t.Errorf("%v: status %d: %.200s", r, w.Code, w.Body)
		}
	}
	s.refused("GET", "/api/v1/jars/"+a+"/label.pdf?stock=foolscap", "", "", 422).wantFields("stock")
	s.refused("POST", "/api/v1/labels", "", fmt.Sprintf(`{"jars":[%q],"first":31,"stock":"letter-3x10"}`, a), 422).wantFields("first")
	s.refused("POST", "/api/v1/labels", "", fmt.Sprintf(`{"jars":[%q],"lot":%q}`, a, lot), 422)
	s.refused("POST", "/api/v1/labels", "", `{}`, 422)
	s.refused("POST", "/api/v1/labels", "", fmt.Sprintf(`{"jars":[%q,"K7RM41"]}`, a), 422).wantFields("jars[1]")
	s.refused("POST", "/api/v1/labels", "", fmt.Sprintf(`{"spares":[%q]}`, a), 422).wantFields("spares[0]")
	s.refused("POST", "/api/v1/labels", "", `{"lot":"L010101A"}`, 404)
}

func TestKitchenAndCheck(t *testing.T) {
	s := newStation(t)
	s.ask("PUT", "/api/v1/kitchen", "", `{"name":"Quince Yard","time_zone":"Europe/Dublin","us_units":true}`, 200)
	k := s.get("/api/v1/kitchen")
	k.at("name").want("Quince Yard")
	k.at("us_units").want(true)
	s.refused("PUT", "/api/v1/kitchen", "", `{"name":" ","time_zone":"Mars/Dune"}`, 422).wantFields("name", "time_zone")
	s.get("/api/v1/kitchen").at("name").want("Quince Yard")
	s.started()
	check := s.get("/api/v1/check")
	check.at("jars").want(2.0)
	check.at("findings").want([]any{})
}
