package scan

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"golang.org/x/net/html"
)

// hands use a page by its keys alone.
type hands struct {
	phone
	base string
}

// takes gives them a phone. A browser without a window would have the focus in no
// page at times.
func takes(p phone, base string) hands {
	p.t.Helper()
	if _, err := chromedp.Call(p.ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}); err != nil {
		p.t.Fatal(err)
	}
	return hands{p, base}
}

// opens goes to a page as a link from outside does; all else is keys.
func (h hands) opens(path string) {
	h.t.Helper()
	h.do(chromedp.Navigate(h.base + path))
}

// to goes on by the tabulator until the focus stands on what is named.
func (h hands) to(selector string) {
	h.t.Helper()
	for range 150 {
		at := h.press(kb.Tab)
		if h.on(selector) {
			if !at.Seen || !at.Inside {
				h.t.Errorf("the focus on %s: seen %v, on the screen %v", selector, at.Seen, at.Inside)
			}
			return
		}
	}
	h.t.Fatalf("the tabulator does not come to %s on\n%s", selector, h.asks(`location.pathname + " " + document.querySelector("main").innerText`))
}

func (h hands) on(selector string) bool {
	h.t.Helper()
	return h.asks("document.activeElement.matches(`"+selector+"`)") == "true"
}

// writes puts a text in the place of what the field holds.
func (h hands) writes(selector, text string) {
	h.t.Helper()
	h.to(selector)
	h.do(chromedp.KeyEvent(text)) // the tabulator has selected what stood there
}

// chooses goes to a row of radio buttons and on by the arrow to one of them.
func (h hands) chooses(name, choice string) {
	h.t.Helper()
	h.to(`[name="` + name + `"]`)
	for range 12 {
		if h.on(choice) {
			break
		}
		h.do(chromedp.KeyEvent(kb.ArrowRight))
	}
	if h.on(choice) && h.asks("document.activeElement.checked") == "false" {
		h.do(chromedp.KeyEvent(" ")) // the first of a row that has no choice yet
	}
	if !h.on(choice) || h.asks("document.activeElement.checked") != "true" {
		h.t.Fatalf("the arrow does not come to %s", choice)
	}
}

// enters presses a button or follows a link.
func (h hands) enters(selector string) {
	h.t.Helper()
	h.to(selector)
	h.do(chromedp.KeyEvent(kb.Enter))
}

// lands waits for the focus to be where it belongs, and be seen there.
func (h hands) lands(selector string) {
	h.t.Helper()
	h.until("the focus on "+selector, "document.readyState === 'complete' && document.activeElement.matches(`"+selector+"`) ? 'yes' : ''")
	if at := h.stands(); !at.Seen && !strings.HasPrefix(at.What, "P") || !at.Inside {
		h.t.Errorf("the focus landed on %q: seen %v, on the screen %v", at.What, at.Seen, at.Inside)
	}
}

// TestKeyboardActs does what a maker does with the keys alone.
func TestKeyboardActs(t *testing.T) {
	s := stocked(t)
	barley := s.ready()
	pear, quince := s.jars["Pear trimmings/A"], s.jars["Quince juice/A"]
	lots, err := s.db.Lots(context.Background())
	if err != nil || len(lots) == 0 {
		t.Fatalf("no lot: %v", err)
	}
	lot := lotURL(lots[0].Lot.ID)
	var asked sync.Map
	known := s.listening()
	h := takes(phone{t, browser(t, 360, 740, false)}, s.serve(func(w http.ResponseWriter, r *http.Request) {
		asked.Store(r.URL.Path, true)
		known(w, r)
	}))

	// From today to a saved reading, with a slip on the way.
	h.opens("/")
	h.enters(`a.who[href="` + at(pear, "") + `"]`)
	h.sees("Newest readings")
	h.enters(`a.button[href*="open=reading"]`)
	h.lands("#reading-ph")
	h.do(chromedp.KeyEvent("32"))
	h.enters("#reading button.main")
	h.lands("#reading-ph[aria-invalid=true]")
	h.retypes("#reading-ph", "3,2")
	h.enters("#reading button.main")
	h.sees("Saved: pH 3.2")
	h.lands(".saved")

	// A titration.
	h.opens(at(pear, "?open=titration#titration"))
	h.writes("#titration-sample_ml", "2")
	h.writes("#titration-start_ml_1", "0")
	h.writes("#titration-end_ml_1", "11,2")
	h.enters("#titration button.main")
	h.sees("Saved: ")
	h.lands(".saved")

	// A batch, first without its name.
	h.opens("/start")
	h.chooses("base", "[value=cider], [value=wine]")
	h.writes(`[name="ingredients[0].name"]`, "pressed pears")
	h.writes(`[name="ingredients[0].amount"]`, "5 L")
	h.writes("#start-jar_size_ml", "6")
	h.enters(`form[action="/start"] > button.main`)
	h.lands("#start-name[aria-invalid=true]")
	h.do(chromedp.KeyEvent("Perry"))
	h.enters(`form[action="/start"] > button.main`)
	h.sees("Saved: Perry is started.")

	// Strained, with the mother from a jar picked off the shelf.
	h.opens(at(quince, "/pour/strain"))
	h.writes("#pour-volume_ml", "4,4")
	h.chooses("from", "[data-pick=starter-jar]")
	h.enters("#other summary")
	h.enters(`#other button[name=pick][value="` + string(barley) + `"]`)
	h.until("the picked jar", `document.readyState === "complete" && document.querySelector(".found") ? "yes" : ""`)
	h.writes("#pour-amount_ml", "0,2")
	h.enters("form.entry > button.main")
	h.sees("The jar is now acetic", "from jar "+string(barley))

	// From the finishing bench to bottles, their labels, and a gift.
	h.opens("/finish?tag=" + string(barley))
	h.writes("#finish-target_g_per_100ml", "0")
	h.enters(".sums button")
	h.until("no more water", `document.readyState === "complete" && document.querySelector(".fills a") ? "yes" : ""`)
	h.enters(".fills a")
	h.enters(`form[action="/bottle"] button.main`)
	h.sees("Saved: lot L")
	h.enters(`main a[href$="/labels"]`)
	h.enters(`button[formaction$=".pdf"]`)
	pdf := false
	for end := time.Now().Add(20 * time.Second); !pdf && time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		asked.Range(func(path, _ any) bool { pdf = pdf || strings.HasSuffix(path.(string), "/labels.pdf"); return !pdf })
	}
	if !pdf {
		t.Error("Enter on the button makes no PDF")
	}
	h.opens(lot + "/bottles/6")
	h.enters(`form[action$="/bottles/6"] button.main`)
	h.lands("#give-to[aria-invalid=true]")
	h.do(chromedp.KeyEvent("Ana"))
	h.enters(`form[action$="/bottles/6"] button.main`)
	h.sees("Saved: given to Ana")

	// A hold, opened from its fold.
	h.opens(at(quince, ""))
	h.enters(`main a[href*="open=hold"]`)
	h.until("the form", `document.readyState === "complete" && document.querySelector("#hold-reason") ? "yes" : ""`)
	h.writes("#hold-reason", "grey fluff")
	h.enters("#hold button.main")
	h.sees("On hold", "grey fluff")

	// The form for a photo, to the button that opens the camera and the one that saves.
	h.opens(at(pear, ""))
	h.enters(`a[href="` + at(pear, "/photo") + `"]`)
	h.to("#photo-take")
	h.to("form[enctype] button.main")

	// A part of the set-up.
	h.opens("/setup")
	h.enters("#shelf summary")
	h.writes("#shelf textarea", "cellar, left")
	h.enters("#shelf button.main")
	h.sees("Places: saved")

	// A tag, mistyped and typed.
	h.opens("/scan")
	h.writes("#scan-tag", "K7RM4T")
	h.do(chromedp.KeyEvent(kb.Enter))
	h.lands("#scan-tag[aria-invalid=true]")
	h.retypes("#scan-tag", strings.ToLower(string(pear)))
	h.do(chromedp.KeyEvent(kb.Enter))
	h.sees("Pear trimmings", "Newest readings")

	// A round: a jar measured, the next one comes.
	h.opens("/round")
	h.enters(`form[action="/round"] button.main`)
	h.enters(".upnext .main")
	first := h.asks("location.pathname")
	h.writes("[name=ph]", "3,3")
	h.enters("form.entry > button.main")
	h.until("the next jar", `location.pathname.startsWith("/round/jar/") && location.pathname !== "`+first+`" ? "yes" : ""`)

	// A phone pairs, first with a wrong code.
	stranger := takes(phone{t, h.ctx}, s.serve(s.engine.ServeHTTP))
	stranger.opens("/start")
	stranger.sees("Pair this phone")
	stranger.writes("main input[name=code]", "AAAA AAAA")
	stranger.writes("main input[name=name]", "mk")
	stranger.enters("main button.main")
	stranger.lands("main input[name=code][aria-invalid=true]")
	stranger.retypes("main input[name=code]", s.code())
	stranger.enters("main button.main")
	stranger.sees("Start a batch")
}

// TestFocusAfterRefusal: of every form that comes back, the first wrong field has
// the focus; where no field is to blame, the reason is told at once.
func TestFocusAfterRefusal(t *testing.T) {
	fields := 0
	for name, a := range refusedForms(t) {
		if a.Code != http.StatusUnprocessableEntity {
			continue
		}
		doc, err := html.Parse(strings.NewReader(a.Body.String()))
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(a.Body.String(), `<body class="on-trouble"`) {
			continue // a page of its own, whose heading says it
		}
		// What is told stands in a field or a row of choices; the first of those
		// that can be used has the focus.
		var first, focus *html.Node
		told := 0
		for n := range doc.Descendants() {
			if n.Type != html.ElementNode {
				continue
			}
			if strings.Contains(" "+attr(n, "class")+" ", " wrong ") && told == 0 {
				told++
				if in := n.Parent; strings.Contains(attr(in, "class"), "field") || in.Data == "fieldset" {
					first = in
				}
			}
			if !slices.ContainsFunc(n.Attr, func(one html.Attribute) bool { return one.Key == "autofocus" }) {
				continue
			}
			if focus != nil {
				t.Errorf("%s: two fields want the focus", name)
			}
			focus = n
		}
		fields += told
		if told == 0 {
			t.Errorf("%s: it is not said what is wrong", name)
		}
		if first != nil && (focus == nil || !slices.Contains(slices.Collect(focus.Ancestors()), first)) {
			at := "nowhere"
			if focus != nil {
				at = attr(focus, "id") + " " + attr(focus, "name")
			}
			t.Errorf("%s: the focus is %s, not in the first field that is wrong: %s", name, at, words(text(first)))
		}
	}
	if fields < 30 {
		t.Errorf("only %d fields were wrong", fields)
	}
}

func text(n *html.Node) string {
	out := ""
	for one := range n.Descendants() {
		if one.Type == html.TextNode {
			out += " " + one.Data
		}
	}
	return out
}
