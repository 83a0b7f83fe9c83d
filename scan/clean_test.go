package scan

import (
	"context"
	"net/http"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
)

// hard is a station whose texts are as nasty as allowed.
func hard(t *testing.T) (*station, []string) {
	s := stocked(t)
	script := `<script>alert(1)</script>"'><img src=x onerror=alert(2)>`
	long := strings.Repeat("Quittenessigansatz", 4) + " ÄÖÜ"
	jar := s.start(larder.NewBatch{Name: script, Base: larder.Juice, Stage: larder.Acetic, When: s.daysAgo(100), FillML: litres(2), Place: script, Note: script + "\nline",
		Ingredients: []larder.Ingredient{{Name: script}, {Name: long}}})[0].Tag
	s.start(larder.NewBatch{Name: long, Base: larder.Honey, Place: long})
	s.log(jar, s.daysAgo(30), titrated(15, 15.1), script)
	s.log(jar, s.daysAgo(20), larder.Reading{PH: new(chem.PH(3)), Instrument: script}, long)
	s.log(jar, s.daysAgo(10), larder.Hold{On: true, Reason: script}, "")
	s.log(jar, s.daysAgo(9), larder.Hold{Reason: script}, "")
	s.log(jar, s.daysAgo(8), larder.StageChange{To: larder.Finished}, "")
	wrong := s.log(jar, s.daysAgo(7), larder.Note{}, script)
	if _, err := s.db.Strike(context.Background(), larder.Act{Key: act().Key, By: "<b>"}, wrong.Entry.ID, script); err != nil {
		t.Fatal(err)
	}
	lot, err := s.db.Bottle(context.Background(), act(), larder.NewLot{Name: script, Pours: []larder.Pour{{Jar: jar}}, Runs: []larder.Run{{Count: 2, SizeML: 100}}, Note: script})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.db.Give(context.Background(), act(), lot.Bottles[0].Tag, larder.NewGift{To: script, Note: script}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.db.IssueSpares(context.Background(), act(), 1); err != nil {
		t.Fatal(err)
	}
	spares, err := s.db.Spares(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	page, err := s.db.History(context.Background(), jar, store.Cursor{}, 50)
	if err != nil {
		t.Fatal(err)
	}
	paths := []string{at(jar, ""), at(jar, "?open=titration"), at(jar, "?saved="+wrong.Entry.ID.String()), at(jar, "/strike?entry="+page.Entries[0].ID.String()),
		at(jar, "/strike?entry="+wrong.Entry.ID.String()), at(jar, "?older=1795000000000.1"), "/B/" + string(lot.Bottles[0].Tag), lotURL(lot.Lot.ID), bottleURL(lot.Bottles[0]), bottleURL(lot.Bottles[1]), at(spares[0], ""),
		"/J/" + "%3Cscript%3E", "/find?tag=%3Cscript%3E", "/batches/6", "/batches/7", at(s.jars[long+"/A"], "/pour/join?other="+string(jar)), at(jar, ""), at(s.jars[long+"/A"], "/pour/strain?other="+string(jar)), at(s.jars[script+"/A"], "?older=1"),
		at(jar, "/lineage"), at(s.jars[long+"/A"], "/pour"), at(s.jars[long+"/A"], "")}
	s.post("/bench/calibration", formOf("meter", script, "by", "<b>", "buffer_1", string(chem.Tetroxalate), "temperature_c_1", "20 C", "shown_1", "1.70",
		"buffer_2", string(chem.Phthalate), "temperature_c_2", "20 C", "shown_2", "4.03")).wants(http.StatusSeeOther)
	book, err := s.db.BenchBook(context.Background(), larder.KindCalibration, "", 1)
	if err != nil || len(book) != 1 {
		t.Fatalf("%d lines in the bench book (%v), want 1", len(book), err)
	}
	paths = append(paths, "/bench/strike?entry="+book[0].ID.String())
	for _, path := range looks(s) {
		paths = append(paths, path)
	}
	return s, paths
}

// TestEveryPageIsClean parses every page of a station full of hard cases: no
// inline script or style, which the security policy forbids, no text that
// became markup, a label for every input, no id twice, nothing from elsewhere.
func TestEveryPageIsClean(t *testing.T) {
	s, paths := hard(t)
	used := map[string]bool{}
	for _, path := range paths {
		page := s.get(path)
		if page.Code >= 500 || page.Code == http.StatusSeeOther {
			t.Errorf("%s answered %d", path, page.Code)
			continue
		}
		if !strings.Contains(page.Header().Get("Content-Security-Policy"), "default-src 'none'") {
			t.Errorf("%s has no security policy", path)
		}
		doc, err := html.Parse(strings.NewReader(page.Body.String()))
		if err != nil {
			t.Fatal(err)
		}
		c := &cleaner{t: t, path: path, ids: map[string]int{}, labelled: map[string]bool{}}
		c.walk(doc, false)
		c.finish()
		for name := range templates {
			if strings.Contains(page.Body.String(), `<body class="on-`+name+`"`) {
				used[name] = true
			}
		}
	}
	for name := range templates {
		if !used[name] {
			t.Errorf("page %q was not among those rendered", name)
		}
	}
}

type cleaner struct {
	t        *testing.T
	path     string
	ids      map[string]int
	labelled map[string]bool // ids that a label names
	inputs   []string        // ids of inputs that need one
	refs     []string        // ids that aria-describedby names
	h1       int
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func (c *cleaner) walk(n *html.Node, inLabel bool) {
	if n.Type == html.ElementNode {
		c.element(n, inLabel)
		inLabel = inLabel || n.Data == "label"
	}
	for child := n.FirstChild; child != nil; child = child.NextSibling {
		c.walk(child, inLabel)
	}
}

func (c *cleaner) element(n *html.Node, inLabel bool) {
	for _, a := range n.Attr {
		if a.Key == "style" || strings.HasPrefix(a.Key, "on") {
			c.t.Errorf("%s: <%s> has an inline %s", c.path, n.Data, a.Key)
		}
		if (a.Key == "src" || a.Key == "href" || a.Key == "action") && (strings.Contains(strings.TrimPrefix(a.Val, "webcal://192.168.1.20:8080/"), "//") || strings.HasPrefix(a.Val, "javascript:")) {
			c.t.Errorf("%s: <%s> points elsewhere: %s", c.path, n.Data, a.Val)
		}
	}
	if id := attr(n, "id"); id != "" {
		c.ids[id]++
	}
	c.refs = append(c.refs, strings.Fields(attr(n, "aria-describedby"))...)
	switch n.Data {
	case "script":
		if attr(n, "src") == "" || n.FirstChild != nil {
			c.t.Errorf("%s: an inline script", c.path)
		}
	case "style":
		c.t.Errorf("%s: a <style>", c.path)
	case "img":
		ours := strings.HasPrefix(attr(n, "src"), "/labels/preview.svg?") || strings.HasPrefix(attr(n, "src"), "/photos/") ||
			strings.HasPrefix(attr(n, "src"), "/lots/") && strings.Contains(attr(n, "src"), "/labels.svg?")
		if attr(n, "alt") == "" || !ours {
			c.t.Errorf("%s: the picture %q is not one of ours, or has no words", c.path, attr(n, "src"))
		}
	case "h1":
		c.h1++
	case "label":
		if f := attr(n, "for"); f != "" {
			c.labelled[f] = true
		}
	case "input", "select", "textarea":
		if attr(n, "type") != "hidden" && !inLabel && attr(n, "aria-label") == "" {
			c.inputs = append(c.inputs, attr(n, "id"))
		}
	case "form":
		// Aligning a printer twice is aligning it once, and reading a label saves nothing.
		if to := attr(n, "action"); attr(n, "method") == "post" && to != "/labels/paper" && to != "/scan" && !hasKey(n) {
			c.t.Errorf("%s: the form to %s has no key", c.path, attr(n, "action"))
		}
	}
}

func hasKey(n *html.Node) bool {
	if n.Data == "input" && attr(n, "name") == "key" && attr(n, "value") != "" {
		return true
	}
	for child := n.FirstChild; child != nil; child = child.NextSibling {
		if hasKey(child) {
			return true
		}
	}
	return false
}

func (c *cleaner) finish() {
	for id, n := range c.ids {
		if n > 1 {
			c.t.Errorf("%s: the id %q stands %d times", c.path, id, n)
		}
	}
	for _, id := range c.inputs {
		if id == "" || !c.labelled[id] {
			c.t.Errorf("%s: the input %q has no label", c.path, id)
		}
	}
	for _, id := range c.refs {
		if c.ids[id] == 0 {
			c.t.Errorf("%s: aria-describedby names %q, which is not there", c.path, id)
		}
	}
	if c.h1 != 1 {
		c.t.Errorf("%s: %d first headings, want 1", c.path, c.h1)
	}
}
