package scan

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"cruet/internal/needed"
)

// axeRun asks for every rule of WCAG 2.0 to 2.2, levels A and AA, and the rules'
// authors' best practices.
const axeRun = `axe.run(document, {resultTypes: ["violations"], runOnly: {type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}})
  .then(r => r.passes.length + " rules passed\n" + r.violations.map(v => v.id + ": " + v.help + "\n" + v.nodes.slice(0, 3).map(n => "    " + n.html.slice(0, 160) + "\n    " + n.failureSummary.replace(/\s+/g, " ")).join("\n")).join("\n"))`

func (p phone) axe(source string) string {
	p.t.Helper()
	p.asks(source + `; ""`)
	got, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](axeRun, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatal(err)
	}
	passed, violations, _ := strings.Cut(got, "\n")
	if strings.HasPrefix(passed, "0 ") {
		p.t.Fatalf("no rule was tried: %s", got)
	}
	return violations
}

// TestAxe holds every page against axe-core, at the size of a phone, light and
// dark, with large letters, in German, and at the size of a desk.
func TestAxe(t *testing.T) {
	source, err := os.ReadFile(needed.File(t, "CRUET_AXE"))
	if err != nil {
		t.Fatal(err)
	}
	s := stocked(t)
	pages := looks(s)
	base := s.listen()
	for _, c := range []struct {
		name   string
		w, h   int64
		dark   bool
		choice string // of /display
	}{{"phone", 360, 740, false, ""}, {"dark phone", 360, 740, true, ""}, {"large letters in German", 360, 740, false, "large"}, {"desk", 1280, 800, false, ""}} {
		p := phone{t, browser(t, c.w, c.h, c.dark)}
		// It must find what is wrong where something is.
		p.do(chromedp.Navigate("about:blank"))
		p.asks(`document.body.innerHTML = "<img src=x><input>", ""`)
		if found := p.axe(string(source)); !strings.Contains(found, "image-alt") || !strings.Contains(found, "label:") {
			t.Fatalf("axe misses what is wrong: %q", found)
		}
		if c.choice != "" {
			p.do(chromedp.Navigate(base+"/display"), chromedp.Click(chromedp.CSS(`label:has([value=large])`)), chromedp.Click(chromedp.CSS(`label:has([value=de])`)))
			p.tap("button.main")
			p.until("large letters", `document.documentElement.className === "large" && document.documentElement.lang === "de" ? "yes" : ""`)
		}
		for name, path := range pages {
			p.do(chromedp.Navigate(base + path))
			if bad := p.axe(string(source)); bad != "" {
				t.Errorf("%s, %s (%s):\n%s", name, c.name, path, bad)
			}
			if bad := p.asks(measure); c.choice != "" && bad != "" {
				t.Errorf("%s, %s (%s): %s", name, c.name, path, bad)
			}
			if c.choice != "" {
				p.picture("large"+path, c.w, c.dark)
			}
		}
	}
}

// standing tells of the element with the focus: what it is, and whether an eye
// sees that it has it.
const standing = `(() => {
  const e = document.activeElement;
  if (!e || e === document.body) return JSON.stringify({});
  const s = getComputedStyle(e), r = e.getBoundingClientRect();
  const ring = getComputedStyle(e.nextElementSibling && e.type === "radio" ? e.nextElementSibling : e);
  if (!e.dataset.nth) e.dataset.nth = 1 + (window.nth = (window.nth || 0) + 1);
  return JSON.stringify({nth: e.dataset.nth, what: (e.tagName + " " + (e.id || e.name || "") + " " + (e.textContent || "").trim().slice(0, 30)).trim(), seen: ring.outlineStyle !== "none" && parseFloat(ring.outlineWidth) >= 2, inside: r.bottom > 0 && r.top < innerHeight});
})()`

type stand struct {
	Nth, What    string
	Seen, Inside bool
}

func (p phone) press(key string) stand {
	p.t.Helper()
	p.do(chromedp.KeyEvent(key))
	var at stand
	if err := json.Unmarshal([]byte(p.asks(standing)), &at); err != nil {
		p.t.Fatal(err)
	}
	return at
}

// TestKeyboard walks the jar's page by the tabulator: it reaches all that can be
// used, in one round, with the focus seen and on the screen; and a reading is
// logged with the keyboard alone.
func TestKeyboard(t *testing.T) {
	s := stocked(t)
	p := phone{t, browser(t, 360, 740, false)}
	tag := s.jars["Pear trimmings/A"]
	base := s.listen()
	p.do(chromedp.Navigate(base + at(tag, "?open=reading")))
	p.asks(`document.activeElement.blur(), ""`)
	reached := map[string]bool{}
	for range 400 {
		at := p.press(kb.Tab)
		if at.What == "" || reached[at.Nth] {
			break
		}
		reached[at.Nth] = true
		if !at.Seen || !at.Inside {
			t.Errorf("the focus on %q: seen %v, on the screen %v", at.What, at.Seen, at.Inside)
		}
	}
	// One of each row of radio buttons is a stop; the arrows reach the others.
	missed := p.asks(`[...document.querySelectorAll("a[href], button, input, select, textarea, summary")].filter(e => e.checkVisibility() && e.type !== "hidden" && e.tabIndex >= 0 && !e.dataset.nth && !(e.type === "radio" && document.querySelector("[name=" + e.name + "][data-nth]"))).map(e => e.outerHTML.slice(0, 80)).join("\n")`)
	if missed != "" || len(reached) < 20 {
		t.Errorf("%d stops, and the tabulator does not reach:\n%s", len(reached), missed)
	}

	p.do(chromedp.Navigate(base + at(tag, "")))
	for range 60 {
		if strings.Contains(p.press(kb.Tab).What, "Log a reading") {
			break
		}
	}
	p.press(kb.Enter)
	p.until("Enter on the link", `document.activeElement.id === "reading-ph" ? "yes" : ""`)
	p.do(chromedp.KeyEvent("3,15"))
	saving := ""
	for range 60 {
		if saving = p.press(kb.Tab).What; strings.Contains(saving, "Save the reading") {
			break
		}
	}
	if !strings.Contains(saving, "Save the reading") {
		t.Fatalf("the tabulator ends on %q, want the button that saves", saving)
	}
	p.do(chromedp.KeyEvent(kb.Enter))
	p.sees("Saved: pH 3.15")
	if got := fmt.Sprint(s.state(tag).PH.Value); got != "3.15" {
		t.Errorf("pH %s", got)
	}
}
