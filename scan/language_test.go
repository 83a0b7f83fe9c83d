package scan

import (
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"cruet/internal/larder"
)

// inEnglish are the pages whose own words nobody has translated yet. Their frame
// is in the chosen language, their main part says that it is English.
var inEnglish = []string{"batch", "bench", "benchstrike", "bottling", "calendar", "caution", "finish", "gift", "gifts", "jaroutlook", "labels",
	"labelspaper", "lineage", "looks", "lot", "lotlabels", "lots", "phones", "plans", "pour", "pours", "reckon", "reckonkind", "round", "roundjar",
	"roundresults", "setup", "start", "trace"}

// TestEveryPieceIsTranslated lists each piece of a page that a language lacks,
// and each that it has for nothing.
func TestEveryPieceIsTranslated(t *testing.T) {
	for _, l := range languages[1:] {
		used := map[string]bool{}
		collect := pieces{shown: func(action string) string { return action }, swap: func(piece string) string { used[piece] = true; return piece }}
		names := slices.Clone(sharedPages)
		for name := range templates {
			names = append(names, name)
		}
		for _, name := range names {
			source, _ := pageSource(name, nil)
			if got := collect.rewrite(source); got != source {
				t.Errorf("%s: taken apart and put together it is another page", name)
			}
			_, missing := pageSource(name, l.cat)
			if name == "drawings" {
				continue // looked at with the page that shows them
			}
			if english := slices.Contains(inEnglish, name); english != (len(missing) > 0) {
				t.Errorf("%s: page %s is listed as English: %v, and lacks %q: put them into scan/words, or list the page in inEnglish", l.tag, name, english, missing)
			}
		}
		for piece, own := range l.cat().Pages {
			if !used[piece] {
				t.Errorf("%s: no page has the piece %q", l.tag, piece)
			}
			if a, b := actionRE().FindAllString(piece, -1), actionRE().FindAllString(own, -1); !slices.Equal(slices.Sorted(slices.Values(a)), slices.Sorted(slices.Values(b))) {
				t.Errorf("%s: %q shows %v, %q %v", l.tag, piece, a, own, b)
			}
		}
		for sentence, own := range l.cat().Sentences {
			holes := len(holeRE().FindAllString(sentence, -1))
			if n := len(regexp.MustCompile(`\{\d\}`).FindAllString(own, -1)); n != holes {
				t.Errorf("%s: %q has %d parts that vary, %q %d", l.tag, sentence, holes, own, n)
			}
			if n := patternRE(sentence).NumSubexp(); n != holes {
				t.Errorf("%s: %q has %d parts that vary, its pattern %d", l.tag, sentence, holes, n)
			}
		}
	}
}

// say opens a page in that language.
func (s *station) say(path, tongue string) answer {
	r := httptest.NewRequest("GET", path, nil)
	r.Header.Set("Accept-Language", tongue)
	return s.send(r, path)
}

// TestLanguage gives German to a browser that asks for it, with its decimal
// comma and its dates, and leaves as they are what makers wrote, the addresses
// and what stands in the fields.
func TestLanguage(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	s.log(tag, s.daysAgo(1), larder.Note{}, "water 3.5 today")
	page := s.say(at(tag, ""), "de-AT, en;q=0.5").wants(200, "Messwert eintragen", "Säure", "3,0 ± ", "gemessen 11. Nov.", "Etwas getan", "zuletzt 3,1 am 22. Nov.",
		"water 3.5 today", "Pear trimmings", "pantry, top shelf", "nur eine Titration sagt, wie sauer er ist", "nein", "Nicht mit selbst gemachtem Essig haltbar machen")
	page.has(`<html lang="de"`, `href="/J/`+string(tag)+`/strike?entry=`, `data-out="pH {v} liegt außerhalb von 0 bis 14;`, `name="ph"`, `value="mould seen"`).lacks("<main lang")
	if got := page.Header().Get("Vary"); !strings.Contains(got, "Accept-Language") {
		t.Errorf("a cache is not told that the page depends on the language: %q", got)
	}
	s.post(at(tag, "/log/reading"), formOf("ph", "32")).wants(422, "did you mean 3.2")
	// A page that is not translated says so to whoever has it read out.
	s.say("/reckon", "de").has(`<html lang="de"`, `<main lang="en"`).wants(200, "Rechnen")
	s.say("/", "fr, de;q=0.1").wants(200, "Regal")
	s.say("/", "fr").has(`<html lang="en"`)
	s.say("/", "").has(`<html lang="en"`)
	// A choice overrules the browser, and stays on the phone.
	s.post("/display", formOf("lang", "de", "size", "large", "back", at(tag, ""))).follow().wants(200, "Messwert eintragen").has(`class="large"`)
	s.say("/", "en").wants(200, "Ansatz beginnen")
	s.post("/display", formOf("lang", "en", "size", "", "back", "//elsewhere.example/")).follow().wants(200, "Start a batch").lacks(`class="large"`)
	s.post("/display", formOf("lang", "xx", "back", "http://elsewhere.example/")).follow().wants(200, "Start a batch")
}

// TestGermanIsGerman: what a cook at the shelf would stumble over, word for word.
func TestGermanIsGerman(t *testing.T) {
	s := stocked(t)
	lot := s.bottled(3)
	s.say(at(s.jars["Windfalls/A"], ""), "de").wants(200, "Angesetzt 22. Nov. · vor 3 Tagen", "Die Lauge wurde nie geprüft")
	s.say(at(s.jars["Barley/A"], ""), "de").wants(200, "28. Juni · vor 5 Monaten", "Juli 2026 Aug. Sept. Okt. Nov.")
	s.say("/shelf", "de").wants(200, "Ort überall")
	s.say("/B/"+string(lot.Bottles[0].Tag), "de").wants(200, "Malzessig", "Zutaten unhopped ale", "Enthält GERSTE (Gluten)", "Flasche 1 von 3", "Aufbewahren Verschlossen")
}

// TestGermanLeavesNoEnglish reads what stands at the shelf in German and finds
// no little word that only English has. Notes, names and reasons are the maker's.
func TestGermanLeavesNoEnglish(t *testing.T) {
	s := stocked(t)
	pages := looks(s)
	var paths []string
	for _, name := range []string{"today", "shelf", "jar", "jar-titration", "jar-action", "jar-feed", "jar-stage", "jar-hold", "jar-retired", "jar-young", "spare", "bottle", "mistyped", "unknown", "nowhere", "display"} {
		if pages[name] == "" {
			t.Fatalf("there is no page %q", name)
		}
		paths = append(paths, pages[name])
	}
	rising, tag := rising(t)
	check := func(s *station, path string) {
		doc, err := html.Parse(strings.NewReader(s.say(path, "de").Body.String()))
		if err != nil {
			t.Fatal(err)
		}
		texts := 0
		eachText(doc, func(text string) {
			texts++
			for _, theirs := range []string{"pears, peels and cores", "read the wrong jar", "of the jar beside it", "nothing to see", `like "22 Nov"`, `auf Englisch wie`} {
				if strings.Contains(text, theirs) {
					return
				}
			}
			if word := englishRE.FindString(text); word != "" {
				t.Errorf("%s says %q in %q", path, word, text)
			}
		})
		if texts < 10 {
			t.Errorf("%s has %d texts", path, texts)
		}
	}
	for _, path := range paths {
		check(s, path)
	}
	check(rising, at(tag, ""))
	// What happens to it afterwards is told in German too.
	for i, body := range []larder.Body{larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: litres(0.2)}},
		larder.StageChange{To: larder.Finished}, larder.Action{What: larder.MouldSeen}, larder.Hold{Reason: "Hefe"}} {
		rising.log(tag, rising.daysAgo(0.5-float64(i)/10), body, "")
		check(rising, at(tag, ""))
	}
}

// englishRE has the commonest words of English that are none of German.
var englishRE = regexp.MustCompile(`(?i)\b(the|and|of|is|are|with|from|not|since|days?|weeks?|by|than|which|take|its|this|that|to|for|or|on|it|you|be)\b`)

func eachText(n *html.Node, do func(string)) {
	switch {
	case n.Type == html.ElementNode && (n.Data == "q" || n.Data == "script" || attr(n, "class") == "words"):
		return
	case n.Type == html.TextNode && strings.TrimSpace(n.Data) != "":
		do(strings.TrimSpace(n.Data))
	}
	for _, name := range []string{"aria-label", "placeholder", "title", "alt", "data-out", "data-meant", "data-nan", "data-look"} {
		if v := attr(n, name); v != "" {
			do(v)
		}
	}
	for child := n.FirstChild; child != nil; child = child.NextSibling {
		eachText(child, do)
	}
}

// BenchmarkGermanJar renders a jar's page with every word looked up.
func BenchmarkGermanJar(b *testing.B) {
	s := stocked(b)
	r := httptest.NewRequest("GET", at(s.jars["Pear trimmings/A"], ""), nil)
	r.Header.Set("Accept-Language", "de")
	for b.Loop() {
		w := httptest.NewRecorder()
		if s.engine.ServeHTTP(w, r); w.Code != http.StatusOK {
			b.Fatal(w.Code)
		}
	}
}
