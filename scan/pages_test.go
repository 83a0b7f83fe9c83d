package scan

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// TestTagCases opens a jar by its tag in either case and with look-alikes, and
// tells which character was taken.
func TestTagCases(t *testing.T) {
	s := stocked(t)
	// A tag with a zero, to be typed with the letter O.
	tag := s.jars["Windfalls/A"]
	for i := 0; !strings.Contains(string(tag), "0"); i++ {
		tag = s.start(larder.NewBatch{Name: fmt.Sprint("Trial ", i), Base: larder.Juice})[0].Tag
	}
	for _, path := range []string{"/J/" + string(tag), "/j/" + strings.ToLower(string(tag)), "/J/" + strings.ToLower(string(tag)), "/j/" + string(tag[:3]) + "-" + string(tag[3:])} {
		s.get(path).wants(200, string(tag)).lacks("Took ")
	}
	typed := strings.ReplaceAll(string(tag), "0", "O")
	s.get("/J/"+typed).wants(200, "Took O for 0: this is jar "+string(tag))
	s.get("/find?tag="+strings.ToLower(typed)).follow().wants(200, "Took O for 0: this is jar "+string(tag))
	s.get("/find?tag=http://192.168.1.20:8080/J/"+string(tag)).follow().wants(200, string(tag))
	s.get("/find?tag=").wants(404, "No tag was typed")
}

// TestMistyped sends every swap of two neighbours of a tag to the page that
// says so, with a box that holds what was typed.
func TestMistyped(t *testing.T) {
	s := stocked(t)
	tag := string(s.jars["Barley/A"])
	tried := 0
	for i := 0; i+1 < len(tag); i++ {
		if tag[i] == tag[i+1] {
			continue
		}
		tried++
		swapped := tag[:i] + string(tag[i+1]) + string(tag[i]) + tag[i+2:]
		s.get("/J/"+swapped).wants(404, "This tag is mistyped", "one character is wrong, or two neighbours are swapped").has(`name="tag" value="` + swapped + `"`)
		s.post("/J/"+swapped+"/log/note", formOf("note", "lost?")).wants(404, "mistyped")
	}
	if tried == 0 {
		t.Error("no swap was tried")
	}
	jar := unknown(larder.MinJarTag)
	s.get("/J/"+jar).wants(404, "There is no jar "+jar+" in this kitchen's records").has(`name="tag"`)
	s.get("/J/ABC").wants(404, "never holds the character")
	s.get("/J/K7R").wants(404, "has 3 characters")
}

// TestRetired keeps a discarded jar's history, with only notes to add.
func TestRetired(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/B"]
	page := s.get(at(tag, "")).wants(200, "This tag is retired: the jar is discarded", "must → discarded", "Why: blue mould", "Strike")
	page.has(`action="/J/`+string(tag)+`/log/note"`).lacks("/log/reading", "/log/stage", "/log/hold", "Log a reading")
	s.post(at(tag, "/log/note"), formOf("note", "washed twice")).follow().wants(200, "washed twice")
	s.post(at(tag, "/log/reading"), formOf("ph", "3")).wants(422)
}

// TestJarPage says what the jar is and what is next, with the way to do it.
func TestJarPage(t *testing.T) {
	s := stocked(t)
	s.get(at(s.jars["Pear trimmings/A"], "")).wants(200, "Pear trimmings", "acetic", "about 25 Sep", "pantry, top shelf", "2.4 L of 3 L",
		"pears, peels and cores: 2.4 kg", "Peels from the market pears.", "3.0 ± ", "measured 11 Nov titrated, 2 runs", "pH 3.1 · 20.5 °C",
		"Titrate overdue", "only a titration tells how sour it is", "Struck by mk", "read the wrong jar", "from jar "+string(s.jars["Barley/A"]),
		"B · "+string(s.jars["Pear trimmings/B"])+" · discarded", "last 3.1 on 22 Nov")
	young := s.get(at(s.jars["Windfalls/A"], "")).wants(200, "Stir overdue", "wet fruit on top grows mould", "never a tight lid", "Strain")
	key := regexp.MustCompile(`name="key" value="([^"]+)"><input type="hidden" name="action" value="stirred"`).FindStringSubmatch(young.Body.String())
	if key == nil {
		t.Fatal("no button to log the stirring with one tap")
	}
	v := formOf("action", "stirred", "by", "ro")
	v.Set("key", key[1])
	s.post(at(s.jars["Windfalls/A"], "/log/action"), v).follow().wants(200, "Saved: Stirred").lacks(">Stirred now<")
	s.get(at(s.jars["Honey/A"], "")).wants(200, "On hold: mould sighting", "Mould was seen on 21 Nov 2026", "do not taste", "strike the entry where it was written", "nothing is forecast")
	// Lifting the hold does not take the mould back, which is told before it is lifted.
	s.get(at(s.jars["Honey/A"], "?open=hold")).wants(200, "Lift the hold", "The entry of mould stands, and no use is supported while it does.")
}

func TestShelf(t *testing.T) {
	s := newStation(t)
	s.get("/shelf").wants(200, "An empty shelf", "Start a batch").has(`href="/start"`, `action="/find"`)
	s = stocked(t)
	page := s.get("/shelf").wants(200, "4 jars want a hand", "Pear trimmings", "Quince juice", "Read the gravity due", "5.4 ± ", "pH 3.1", "On hold: mould sighting")
	page.lacks(string(s.jars["Pear trimmings/B"])).has(`href="/lots"`, `href="/labels"`, `href="/finish"`, `href="/start"`)
}

// TestHistoryPages shows 50 entries at a time and all of them in the end.
func TestHistoryPages(t *testing.T) {
	s := newStation(t)
	tag := s.start(larder.NewBatch{Name: "Long", Base: larder.Juice, When: s.daysAgo(200)})[0].Tag
	for i := range 120 {
		s.log(tag, s.daysAgo(150-float64(i)), larder.Note{}, fmt.Sprintf("note number %d.", i))
	}
	seen := map[string]bool{}
	path, pages := at(tag, ""), 0
	for path != "" {
		page := s.get(path).wants(200)
		pages++
		for _, m := range regexp.MustCompile(`note number \d+\.`).FindAllString(page.Body.String(), -1) {
			if seen[m] {
				t.Errorf("%s is shown twice", m)
			}
			seen[m] = true
		}
		if pages > 1 {
			page.wants(200, "Back to the newest entries").lacks("/log/reading")
		}
		next := regexp.MustCompile(`href="([^"]+\?older=[^"#]+)`).FindStringSubmatch(page.Body.String())
		path = ""
		if next != nil {
			path = next[1]
		}
	}
	if len(seen) != 120 || pages != 3 {
		t.Errorf("%d notes on %d pages, want 120 on 3", len(seen), pages)
	}
}

// TestBudget holds the weight of a jar's page with a full history: 60 kB, and
// 15 kB compressed with its style, script and picture, in 4 requests.
func TestBudget(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	for i := range 60 {
		s.log(tag, s.daysAgo(13-float64(i)/10), larder.Reading{PH: new(chem.PH(3.2)), TempC: new(chem.Celsius(20)), Instrument: "bench pH"}, "clear, smells sharp and a little of pears; the mother is whole")
	}
	page := s.get(at(tag, "")).wants(200)
	if n := strings.Count(page.Body.String(), "<li><p class=\"at\">") + strings.Count(page.Body.String(), "\n<p class=\"at\">"); n != historyPage {
		t.Fatalf("%d entries on the page, want %d", n, historyPage)
	}
	if n := page.Body.Len(); n > 60_000 {
		t.Errorf("the page has %d bytes, at most 60000", n)
	}
	refs := regexp.MustCompile(`(?:src|href)="(/static/[^"]+)"`).FindAllStringSubmatch(page.Body.String(), -1)
	if len(refs) == 0 || len(refs) > 3 {
		t.Errorf("%d further requests, want 1 to 3", len(refs))
	}
	total := compressed(page.Body.Bytes())
	for _, m := range refs {
		file := s.get(m[1]).wants(200)
		if !strings.Contains(file.Header().Get("Cache-Control"), "immutable") {
			t.Errorf("%s may not be kept", m[1])
		}
		total += compressed(file.Body.Bytes())
		if strings.Contains(m[1], ".js") && file.Body.Len() > 12_000 {
			t.Errorf("the script has %d bytes", file.Body.Len())
		}
	}
	if total > 15_000 {
		t.Errorf("%d bytes compressed in all, at most 15000", total)
	}
	t.Logf("%d bytes, %d compressed with all it needs", page.Body.Len(), total)
}

func compressed(data []byte) int {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := w.Write(data); err != nil {
		return 1 << 30
	}
	if err := w.Close(); err != nil {
		return 1 << 30
	}
	return b.Len()
}

// TestBottlePage tells whoever holds a bottle all that its label says and
// nothing of the kitchen.
func TestBottlePage(t *testing.T) {
	s := stocked(t)
	lot := s.bottled(12)
	tag := lot.Bottles[3].Tag
	for _, path := range []string{"/B/" + string(tag), "/b/" + strings.ToLower(string(tag)), "/B/" + tag.Spaced()} {
		page := s.get(path).wants(200, "Barley vinegar", "5.3 % acidity", "Titrated 5 Nov 2026", "20 Nov 2026", "250 mL (8.4 fl oz)", "unhopped ale",
			lot.Lot.ID, "4 of 12", "Not for canning or preserving", "local rules", "unpasteurised", "Quince Yard, ask ro")
		page.lacks("<form", "<input", "<script", "/J/", "/lots", "<nav", `href="/"`)
		for name, jar := range s.jars {
			if strings.Contains(page.Body.String(), string(jar)) {
				t.Errorf("the bottle's page names jar %s", name)
			}
		}
		for _, href := range regexp.MustCompile(`href="([^"]*)"`).FindAllStringSubmatch(page.Body.String(), -1) {
			if !strings.HasPrefix(href[1], "/static/") {
				t.Errorf("want only style sheets and the icon linked: %v", href)
			}
		}
	}
	// Who got another bottle stays in the kitchen.
	if _, err := s.db.Give(context.Background(), act(), tag, larder.NewGift{To: "choir supper", Note: "secret"}); err != nil {
		t.Fatal(err)
	}
	s.get("/B/"+string(tag)).wants(200).lacks("choir", "secret")
	s.log(s.jars["Barley/A"], larder.When{}, larder.Hold{On: true, Reason: "a fly"}, "")
	s.get("/B/"+string(tag)).wants(200, "on hold", "Do not eat it").lacks("a fly")
	// Neither do the answers to a wrong tag lead into the kitchen.
	s.get("/B/"+unknown(larder.BottleTagLength)).wants(404).lacks("<form", `href="/"`, "/J/")
	s.get("/B/"+string(tag[:9])+"WWWW").wants(404).lacks("<form", `href="/"`)
	// A bottle scanned as a jar is still a bottle, a jar's tag still a jar's.
	s.get("/J/"+string(tag)).follow().wants(200, "Barley vinegar").lacks("<form")
	s.get("/B/"+string(s.jars["Barley/A"])).follow().wants(200, "Log a reading")
}

// TestBottleNotMeasured says so.
func TestBottleNotMeasured(t *testing.T) {
	s := newStation(t)
	jar := s.start(larder.NewBatch{Name: "Cider", Base: larder.Wine, Stage: larder.Acetic, When: s.daysAgo(90), FillML: litres(2)})[0].Tag
	s.log(jar, s.daysAgo(3), larder.StageChange{To: larder.Finished}, "")
	lot, err := s.db.Bottle(context.Background(), act(), larder.NewLot{Pours: []larder.Pour{{Jar: jar}}, Runs: []larder.Run{{Count: 2, SizeML: 500}}})
	if err != nil {
		t.Fatal(err)
	}
	s.get("/B/"+string(lot.Bottles[0].Tag)).wants(200, "Acidity not measured", "sulphites").has("computed").lacks("<form")
}

// TestLabelsPDF makes each kind of label and tells trouble on the page it
// comes from.
func TestLabelsPDF(t *testing.T) {
	s := stocked(t)
	a, b := string(s.jars["Pear trimmings/A"]), string(s.jars["Barley/A"])
	pdf := func(a answer) {
		t.Helper()
		a.wants(200)
		if ct := a.Header().Get("Content-Type"); ct != "application/pdf" || !strings.HasPrefix(a.Body.String(), "%PDF-") || a.Body.Len() < 1000 {
			t.Errorf("%s is %s of %d bytes, not a PDF", a.path, ct, a.Body.Len())
		}
	}
	pdf(s.get("/J/" + a + "/label.pdf?stock=a4-3x8&first=24"))
	pdf(s.get("/j/" + strings.ToLower(a) + "/label.pdf"))
	pdf(s.get("/labels/jars.pdf?tag=" + a + "&tag=" + b + "&stock=roll-57x32"))
	// The phone remembers the paper that was used.
	s.get("/labels?tag="+a).wants(200, "Pear trimmings A").has(`value="`+a+`" checked`, `value="roll-57x32" selected`)
	s.get("/labels/jars.pdf?stock=a4-3x8").wants(422, "Choose at least one jar")
	s.get("/labels/jars.pdf?tag="+a+"&stock=a4-3x8&first=25").wants(422, "places 1 to 24").has(`value="`+a+`" checked`, `name="first" value="25"`)
	s.get("/labels/jars.pdf?tag="+a+"&first=none").wants(422, "whole number").has(`aria-invalid="true"`)
	s.get("/labels/jars.pdf?tag="+a+"&stock=papyrus").wants(422, "no label stock").has(`value="` + a + `" checked`)
	s.get("/labels/jars.pdf?tag=" + unknown(larder.MinJarTag)).wants(404)

	s.get("/labels/spare.pdf").wants(404, "No spare tags to print")
	s.post("/labels/spare.pdf", formOf("stock", "a4-3x8")).wants(422, "how many spare tags")
	s.post("/labels/spare.pdf", formOf("count", "2.5", "stock", "a4-3x8")).wants(422, "whole numbers")
	s.post("/labels/spare.pdf", formOf("count", "9999", "stock", "a4-3x8")).wants(422, "between 1 and 200").has(`value="9999"`)
	if spares, _ := s.db.Spares(context.Background()); len(spares) != 0 {
		t.Errorf("%d spare tags were issued though nothing was printed", len(spares))
	}
	v := formOf("count", "5", "stock", "a4-3x8")
	pdf(s.post("/labels/spare.pdf", v))
	pdf(s.post("/labels/spare.pdf", v))
	if spares, _ := s.db.Spares(context.Background()); len(spares) != 5 {
		t.Errorf("%d spare tags, want 5", len(spares))
	}
	pdf(s.get("/labels/spare.pdf?stock=a4-3x8"))
	s.get("/labels").wants(200, "5 printed and not worn yet")

	lot := s.bottled(3)
	pdf(s.get(lotURL(lot.Lot.ID) + "/labels.pdf?stock=a4-2x4"))
	pdf(s.get(lotURL(lot.Lot.ID) + "/labels.pdf?stock=a4-2x4&bottle=2"))
	s.get(lotURL(lot.Lot.ID)+"/labels.pdf?stock=a4-2x4&first=99").wants(422, "places 1 to 8")
}

// TestErrors gives every error a page that says what to do.
func TestErrors(t *testing.T) {
	s := stocked(t)
	s.get("/nowhere").wants(404, "There is no such page", "Go to the shelf")
	s.get("/api/v9/x").wants(404).has(`"status":404`)
	r := httptest.NewRequest("DELETE", "/", nil)
	s.send(r, "DELETE /").wants(405, "Nothing was saved")
	s.get("/batches/99").wants(404, "There is no batch 99")
	s.get("/batches/pears").wants(404)
	s.post(at(s.jars["Barley/A"], "/log/nonsense"), formOf()).wants(404)
	s.post(at(s.jars["Barley/A"], "/log/note"), formOf("note", strings.Repeat("x", 2<<20))).wants(413, "larger than the page accepts")
	s.post(at(s.jars["Barley/A"], "/log/note"), formOf("note", strings.Repeat("x", 5000))).wants(422, "too long").has("xxxxx</textarea>")
	s.get("/static/nothing.css").wants(404)
	s.get("/static/..%2fpages%2fjar.html").wants(404)
	if err := s.db.Close(); err != nil {
		t.Fatal(err)
	}
	s.get("/").wants(500, "Something failed on the station", "Nothing was saved")
}

// TestStyleAsks checks that the style sheet knows every choice that shows a
// field, so that none stays hidden.
func TestStyleAsks(t *testing.T) {
	css, err := staticFiles.ReadFile("static/cruet.css")
	if err != nil {
		t.Fatal(err)
	}
	s := stocked(t)
	seen := 0
	for name, tag := range s.jars {
		page := s.get(at(tag, "")).Body.String() + s.get(at(tag, "?open=feed")).Body.String() + s.get(at(tag, "?open=stage")).Body.String()
		for _, m := range regexp.MustCompile(`data-for="([^"]+)"`).FindAllStringSubmatch(page, -1) {
			for _, pick := range strings.Fields(m[1]) {
				seen++
				if !strings.Contains(string(css), "[data-pick="+pick+"]:checked) [data-for~="+pick+"]") {
					t.Errorf("jar %s: the style sheet does not show what %q asks for", name, pick)
				}
			}
		}
	}
	if seen == 0 {
		t.Error("no field depends on a choice")
	}
}

// TestDemoSaysSo marks every page of a demo kitchen.
func TestDemoSaysSo(t *testing.T) {
	s := newStation(t)
	s.get("/").lacks("nothing here is real")
	demo := &Pages{DB: s.db, Demo: true}
	demo.Register(s.reset())
	s.get("/").wants(200, "Demo kitchen: nothing here is real")
	s.get("/J/"+unknown(larder.MinJarTag)).wants(404, "nothing here is real")
}
