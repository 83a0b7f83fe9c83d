package scan

import (
	"encoding/json"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// standing tells of the element with the focus: what it is, where it stands on the
// page, and whether an eye sees that it has the focus.
const standing = `(() => {
  const e = document.activeElement;
  if (!e || e === document.body) return JSON.stringify({});
  const s = getComputedStyle(e), r = e.getBoundingClientRect();
  const ring = getComputedStyle(e.nextElementSibling && e.type === "radio" ? e.nextElementSibling : e);
  if (!e.dataset.nth) e.dataset.nth = 1 + (window.nth = (window.nth || 0) + 1);
  return JSON.stringify({nth: e.dataset.nth, what: (e.tagName + " " + (e.id || e.name || "") + " " + (e.textContent || "").trim().slice(0, 30)).trim(), seen: ring.outlineStyle !== "none" && parseFloat(ring.outlineWidth) >= 2, inside: r.bottom > 0 && r.top < innerHeight, bottom: r.bottom + scrollY});
})()`

type stand struct {
	Nth, What    string
	Seen, Inside bool
	Bottom       float64 // on the page, in px
}

func (p phone) stands() stand {
	p.t.Helper()
	var at stand
	if err := json.Unmarshal([]byte(p.asks(standing)), &at); err != nil {
		p.t.Fatal(err)
	}
	return at
}

func (p phone) press(key string) stand {
	p.t.Helper()
	p.do(chromedp.KeyEvent(key))
	return p.stands()
}

// unreached is what can be used and was never stood on. Of a row of radio buttons
// one is a stop; the arrows reach the others.
const unreached = `[...document.querySelectorAll("a[href], button, input, select, textarea, summary")].filter(e => e.checkVisibility() && e.type !== "hidden" && e.tabIndex >= 0 && !e.dataset.nth && !(e.type === "radio" && document.querySelector("[name=\"" + e.name + "\"][data-nth]"))).map(e => e.outerHTML.slice(0, 80)).join("\n")`

// walks goes once through the open page by the tabulator: each stop is seen and on
// the screen, they follow each other down the page, nothing that can be used is
// left out, and there is a way out at the end.
func (p phone) walks(path string) {
	p.t.Helper()
	p.asks(`document.activeElement.blur(), scrollTo(0, 0), ""`)
	reached, last, out := map[string]bool{}, stand{}, false
	for range 400 {
		at := p.press(kb.Tab)
		// At the end comes the browser's own frame, or the first stop again.
		if out = at.What == "" || at.Nth == "2" && len(reached) > 1; out {
			break
		}
		if reached[at.Nth] {
			p.t.Errorf("%s: the tabulator is caught at %q", path, at.What)
			return
		}
		reached[at.Nth] = true
		if !at.Seen || !at.Inside {
			p.t.Errorf("%s: the focus on %q: seen %v, on the screen %v", path, at.What, at.Seen, at.Inside)
		}
		// Stops of a row stand side by side; none stands far above the one before.
		if at.Bottom < last.Bottom-80 {
			p.t.Errorf("%s: after %q comes %q, which stands %.0f px above it", path, last.What, at.What, last.Bottom-at.Bottom)
		}
		last = at
	}
	if missed := p.asks(unreached); missed != "" || len(reached) < 5 || !out {
		p.t.Errorf("%s: %d stops, an end: %v; the tabulator does not reach:\n%s", path, len(reached), out, missed)
	}
}

// TestKeyboard walks key pages by the tabulator.
func TestKeyboard(t *testing.T) {
	s := stocked(t)
	pages := looks(s)
	base := s.listen()
	p := phone{t, browser(t, 360, 740, false)}
	for _, name := range []string{"today", "shelf", "jar-reading", "start", "pour-strain", "finish-jar", "lot-labels", "gift", "photo-form", "setup-bench", "pair", "scan", "round-jar"} {
		if pages[name] == "" {
			t.Fatalf("there is no page %q", name)
		}
		p.do(chromedp.Navigate(base + pages[name]))
		p.walks(name)
	}
	// It must find what is wrong where something is: no ring, out of order, no way on.
	for _, wrong := range []string{`<style>:focus{outline:none}</style><a href=/>a</a><a href=/>b</a><a href=/>c</a><a href=/>d</a><a href=/>e</a>`,
		`<div style="display:flex;flex-direction:column-reverse;gap:99px"><a href=/>a</a><a href=/>b</a><a href=/>c</a><a href=/>d</a><a href=/>e</a></div>`,
		`<a href=/>a</a><a href=/>b</a><a href=/>c</a><a href=/ onkeydown="event.preventDefault()">d</a><a href=/>e</a>`} {
		p.do(chromedp.Navigate("data:text/html,<!doctype html>" + wrong))
		caught := &caught{TB: t}
		phone{caught, p.ctx}.walks("wrong")
		if !caught.failed {
			t.Errorf("the walk finds nothing wrong with %s", wrong)
		}
	}
}

// caught is a test in which an error is what is wanted.
type caught struct {
	testing.TB
	failed bool
}

func (c *caught) Errorf(string, ...any) { c.failed = true }
