package scan

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"net/http"
	"net/url"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/larder"
	"cruet/internal/needed"
)

// A trace is asked for by tag, mark or name, and what is wrong with that is told.
func TestTracePage(t *testing.T) {
	s := stocked(t)
	lot := s.bottled(12)
	s.given(lot)
	barley := s.jars["Barley/A"]
	s.get("/trace").wants(200, "Tag, lot, batch or name").has(`<datalist id="trace-of-list">`, `value="live cider vinegar"`)
	s.get("/trace?kind=jar&of="+string(barley)).wants(200, "Jar "+string(barley), "made 7.5 L", "given 750 mL", "accounted for 89 %", "Ana, next door 2 bottles", "the choir supper", lot.Lot.ID,
		"12 bottles, 3 L, 3 given, 9 here", "Starter: a mother and 200 mL", "live cider vinegar", "Recipe: Barley").has(`class="is-given"`, "/trace.csv?", "/trace.pdf?", jarURL(s.jars["Pear trimmings/A"]))
	s.get("/trace?of=live+cider").wants(200, "live cider vinegar", "Ana, next door")
	s.get("/trace?of="+url.QueryEscape(lot.Bottles[1].Tag.Spaced())).wants(200, "Bottle "+lot.Bottles[1].Tag.Spaced(), "Ana, next door 1 bottle").has(bottleURL(lot.Bottles[1]))
	s.get("/trace?of="+lot.Lot.ID).wants(200, "Lot "+lot.Lot.ID, "Barley A, "+string(barley))
	s.get("/trace?of=batch+1").wants(200, "Batch 1", "Ana, next door")
	s.get("/trace?of=e").wants(200, "That names several things", "batch 4, Honey").has("/trace?kind=batch&amp;of=4")
	for of, want := range map[string]string{"saffron": "There is no jar, bottle, lot, batch or ingredient saffron", "K7RM4T": "K7RM4T is mistyped", unknown(larder.MinJarTag): "There is no jar, bottle"} {
		s.get("/trace?of="+of).wants(404, want).has(`value="` + of + `"`)
	}
	s.get("/trace?kind=person&of=ana").wants(422, "nothing that can be traced")
	for _, path := range []string{at(barley, ""), lotURL(lot.Lot.ID), bottleURL(lot.Bottles[0]), "/batches/1"} {
		s.get(path).wants(200).has("/trace?kind=")
	}
	s.get("/trace?kind=jar&of="+string(s.jars["Honey/A"])).wants(200, "On hold:", "mould sighting", "Nothing that came from it may be bottled")
}

// The table and the paper hold what the page does.
func TestTraceTakenAlong(t *testing.T) {
	s := stocked(t)
	lot := s.bottled(12)
	s.given(lot)
	of := "of=" + string(s.jars["Barley/A"])
	table := s.get("/trace.csv?" + of).wants(200)
	if h := table.Header(); !strings.HasPrefix(h.Get("Content-Type"), "text/csv") || !strings.Contains(h.Get("Content-Disposition"), "attachment") {
		t.Errorf("headers %v", h)
	}
	rows, err := csv.NewReader(table.Body).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	records := map[string]int{}
	for _, row := range rows {
		records[row[0]]++
	}
	if records["gift"] != 3 || records["bottle"] != 9 || records["lot"] != 1 || records["back"] != 1 || records["forward"] != 2 || records["jar"] != 2 {
		t.Errorf("the table has %v", records)
	}
	papers := map[string]answerText{}
	for path, words := range map[string][]string{
		"/trace.pdf?" + of:                           {"Ana, next door", lot.Lot.ID, "live cider vinegar", "made", "750 mL"},
		"/batches/1/record.pdf":                      {"unhopped ale", "Ana, next door", "Ben", "it was bottle 6", "put on hold: a cork crumbled", "name and signature", "third run slow"},
		"/batches/2/record.pdf?paper=letter":         {"read the wrong jar", "struck entry"},
		bottleURL(lot.Bottles[1]) + "/card.pdf":      {"Ana, next door", "For the salad bowl."},
		bottleURL(lot.Bottles[0]) + "/card.pdf?to=Z": {"Not for canning"},
	} {
		pdf := s.get(path)
		if pdf.Code != 200 || pdf.Header().Get("Content-Type") != "application/pdf" || !strings.HasPrefix(pdf.Header().Get("Content-Disposition"), "inline") {
			t.Errorf("%s: %d %v", path, pdf.Code, pdf.Header())
			continue
		}
		if !strings.HasPrefix(pdf.Body.String(), "%PDF-") {
			t.Errorf("%s is no PDF", path)
		}
		papers[path] = answerText{pdf.Body.Bytes(), words}
	}
	s.get("/batches/1/record.pdf?paper=a3").wants(422, "no paper")
	s.get("/batches/99/record.pdf").wants(404, "no batch 99")
	s.get("/batches/x/record.pdf").wants(404)
	s.get("/trace.csv?of=saffron").wants(404)
	s.get("/trace.pdf?of=e").wants(422, "names several things")
	s.get(lotURL(lot.Lot.ID)+"/bottles/99/card.pdf").wants(404, "no bottle 99")
	t.Run("in words", func(t *testing.T) {
		pdftotext := needed.Program(t, "pdftotext")
		for path, paper := range papers {
			cmd := exec.Command(pdftotext, "-layout", "-", "-")
			cmd.Stdin = bytes.NewReader(paper.pdf)
			text, err := cmd.Output()
			if err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			for _, word := range paper.words {
				if !strings.Contains(spaceRE.ReplaceAllString(string(text), " "), word) {
					t.Errorf("%s does not say %q:\n%s", path, word, text)
				}
			}
		}
	})
}

// answerText is a PDF and what it must say.
type answerText struct {
	pdf   []byte
	words []string
}

// Of many jars a page shows the first, and the rest when they are asked for.
func TestTraceIsCutShort(t *testing.T) {
	s := newStation(t)
	first := s.start(larder.NewBatch{Name: "Crock", Base: larder.Wine, JarSizeML: 20_000, FillML: litres(19), Stage: larder.Maturing, When: s.daysAgo(9)})[0].Tag
	for i := range 30 {
		jar := s.start(larder.NewBatch{Name: fmt.Sprintf("Jar no %02d", i), Base: larder.Wine, FillML: litres(1), When: s.daysAgo(8)})[0].Tag
		s.log(jar, s.daysAgo(7), larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: first, VolumeML: litres(0.1)}}, "")
	}
	path := "/trace?kind=jar&of=" + string(first)
	page := s.get(path).wants(200, "Show all 31", "Show all 30", "Jar no 05").has("all=jars#jars", "all=forward#forward")
	if n := strings.Count(page.Body.String(), `class="jarrow"`); n != tracedLines {
		t.Errorf("%d jars shown, want %d", n, tracedLines)
	}
	page = s.get(path+"&all=jars").wants(200, "Jar no 29").lacks("all=jars#jars")
	if n := strings.Count(page.Body.String(), `class="jarrow"`); n != 31 {
		t.Errorf("%d jars shown, want 31", n)
	}
}

// A list of more than a phone can show comes in pages, which begin where the last one
// ended; the sums stay those of the whole trace.
func TestTraceInPages(t *testing.T) {
	all := make([]int, 2*tracedPage+7)
	for i := range all {
		all[i] = i
	}
	show := func(list string, from int) part[int] {
		return partOf(all, "jars", traceAsk{"/trace?of=x", list, from}, func(i int) int { return i })
	}
	if p := show("", 0); len(p.Lines) != tracedLines || p.All != "/trace?of=x&all=jars#jars" || p.Next+p.First+p.Where != "" || p.Of != len(all) {
		t.Errorf("folded it is %+v", p)
	}
	var seen []int
	for from, pages := 0, 0; ; pages++ {
		p := show("jars", from)
		seen = append(seen, p.Lines...)
		if len(p.Lines) > tracedPage || (p.First != "") != (from > 0) || p.All != "" || p.Where != fmt.Sprintf("%d to %d of %d", from+1, from+len(p.Lines), len(all)) {
			t.Fatalf("from %d it is %+v", from, p)
		}
		if p.Next == "" {
			break
		}
		if from += len(p.Lines); p.Next != fmt.Sprintf("/trace?of=x&all=jars&from=%d#jars", from) || pages > 3 {
			t.Fatalf("the next of %d is %q", from, p.Next)
		}
	}
	if !slices.Equal(seen, all) {
		t.Errorf("the pages show %d of %d: %v", len(seen), len(all), seen)
	}
	if p := show("jars", 1<<30); len(p.Lines) != 7 || p.Next != "" {
		t.Errorf("past the end it is %+v", p)
	}
	// On the page, of a trace of more steps than fit.
	s := newStation(t)
	from := s.start(larder.NewBatch{Name: "Crock", Base: larder.Wine, JarSizeML: 60_000, FillML: litres(50), Stage: larder.Maturing, When: s.daysAgo(9)})[0].Tag
	into := s.start(larder.NewBatch{Name: "Cask", Base: larder.Wine, JarSizeML: 60_000, FillML: litres(1), Stage: larder.Maturing, When: s.daysAgo(9)})[0].Tag
	for i := range tracedPage + 3 {
		s.log(into, larder.ExactAt(s.daysAgo(7).At.Add(time.Duration(i)*time.Minute)), larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: from, VolumeML: litres(0.1)}}, "")
	}
	path := "/trace?kind=jar&of=" + string(from)
	s.get(path).wants(200, "made 51 L", fmt.Sprintf("Show more of %d", tracedPage+3)).has("all=forward#forward")
	s.get(path+"&all=forward").wants(200, "made 51 L", "These are 1 to 200 of 203", "The next ones").lacks("Back to the first")
	page := s.get(path+"&all=forward&from=200").wants(200, "made 51 L", "These are 201 to 203 of 203", "Back to the first").lacks("The next ones")
	if n := strings.Count(page.Body.String(), "Topped up: 100 mL"); n != 3 {
		t.Errorf("the last page shows %d steps", n)
	}
	s.get(path+"&all=forward&from=-5").wants(200, "These are 1 to 200")
}

// A lot is held and released on its page, and its log tells of it.
func TestHoldLot(t *testing.T) {
	s := stocked(t)
	lot := s.bottled(3)
	url := lotURL(lot.Lot.ID)
	s.get(url).wants(200, "Log of the lot", "Put this lot on hold")
	s.post(url+"/hold", formOf("hold", "on", "by", "ro")).wants(422, "The reason is missing").has(`id="hold" open`, `aria-invalid="true"`)
	s.post(url+"/hold", formOf("hold", "on", "reason", "a cork crumbled", "when", "full moon")).wants(422, "not a date").has("a cork crumbled</textarea>", `value="full moon"`)
	v := formOf("hold", "on", "reason", "a cork crumbled", "by", "ro")
	s.post(url+"/hold", v).follow().wants(200, "On hold: This lot, a cork crumbled", "Put on hold: a cork crumbled", "Lift the hold on this lot")
	s.post(url+"/hold", v).wants(http.StatusSeeOther)
	if log, err := s.db.LotLog(context.Background(), lot.Lot.ID); err != nil || len(log) != 1 {
		t.Errorf("%d lines in the log (%v), want 1", len(log), err)
	}
	s.post(bottleURL(lot.Bottles[0]), formOf("to", "Ana")).wants(422, "on hold, by lot "+lot.Lot.ID)
	s.get(bottleURL(lot.Bottles[0])).wants(200, "It stays here until the hold is lifted", "Lot "+lot.Lot.ID+": look into it").lacks("It is yours to decide")
	s.get("/lots").wants(200, "On hold: a cork crumbled").lacks("A hold stands behind it")
	s.get("/B/"+string(lot.Bottles[0].Tag)).wants(200, "The maker has put this vinegar on hold")
	s.post(url+"/hold", formOf("hold", "off", "reason", "only that one")).follow().wants(200, "Hold lifted: only that one", "Put on hold: a cork crumbled").lacks("On hold:")
	s.post(url+"/hold", formOf("hold", "off", "reason", "again")).wants(422, "is not on hold")
	s.post("/lots/L990101Z/hold", formOf("hold", "on", "reason", "x")).wants(404)
	// A hold on the jar shows on its lot.
	s.log(s.jars["Barley/A"], larder.When{}, larder.Hold{On: true, Reason: "grey fluff"}, "")
	s.get(url).wants(200, "On hold: Jar "+string(s.jars["Barley/A"])+" , grey fluff")
	s.get("/lots").wants(200, "A hold stands behind it")
	s.get(traceURL(larder.Subject{Kind: larder.SubjectJar, ID: string(s.jars["Barley/A"])})).wants(200, "On hold: grey fluff", "A hold stands behind it") // the jar, and its lot
}

// Who has what, by person and by lot; names are offered again; a gift is taken
// back and stays readable.
func TestGiftsPage(t *testing.T) {
	s := stocked(t)
	s.get("/gifts").wants(200, "No bottle left yet")
	lot := s.bottled(12)
	s.given(lot)
	s.get("/gifts").wants(200, "Who has what 3 bottles", "Ana, next door 2 bottles", "Bottle 3 of "+lot.Lot.ID, "Barley vinegar, 250 mL", "For the salad bowl.", "Taken back by ro: it was bottle 6", "By lot")
	s.get("/gifts?by=lot").wants(200, lot.Lot.ID+" Barley vinegar", "Bottle 4 the choir supper, 250 mL", "By person")
	s.get("/gifts?to="+url.QueryEscape("Ana, next door")).wants(200, "Bottle 2", "Everyone").lacks("choir")
	s.get("/gifts?to=Zoe").wants(200, "Nothing on record went to Zoe")
	s.get("/lots").wants(200).has(`href="/gifts"`, `href="/trace"`)
	s.get("/gifts?older=1.1").wants(200, "There are no older ones").has(`href="/gifts"`).lacks("Ana", "Taken back")
	s.get("/lots?older=1.A").wants(200, "There are no older ones").has(`href="/lots"`).lacks(lot.Lot.ID)
	s.get("/gifts?older=x").wants(200, "Who has what 3 bottles")
	s.get("/lots?older=x").wants(200, lot.Lot.ID)
	s.get(bottleURL(lot.Bottles[0])).wants(200).has(`list="give-to-list"`, `<option value="Ana, next door">`, "/card.pdf").lacks("Take this gift back")

	page := bottleURL(lot.Bottles[3])
	s.get(page).wants(200, "the choir supper", "Take this gift back")
	s.post(page+"/back", formOf("by", "ro")).wants(422, "The reason is missing").has(`id="back" open`)
	v := formOf("reason", "it was the other choir", "by", "ro")
	s.post(page+"/back", v).follow().wants(200, "the gift is taken back", "Give it away", "the choir supper, 24 Nov. Taken back: it was the other choir")
	s.post(page+"/back", v).wants(http.StatusSeeOther)
	s.post(page+"/back", formOf("reason", "again")).wants(422, "nothing to take back")
	s.post(page, formOf("to", "the other choir")).follow().wants(200, "given to the other choir")
}
