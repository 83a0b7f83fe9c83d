package scan

import (
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"cruet/internal/needed"
)

// axeRun asks for every rule of WCAG 2.0 to 2.2, levels A and AA, and the rules'
// authors' best practices; axeColours for the one that a scheme of colours changes.
const (
	axeRun     = `axe.run(document, {resultTypes: ["violations"], runOnly: {type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}})` + axeTell
	axeColours = `axe.run(document, {resultTypes: ["violations"], runOnly: ["color-contrast"]})` + axeTell
	axeTell    = `
  .then(r => r.passes.length + " rules passed\n" + r.violations.map(v => v.id + ": " + v.help + "\n" + v.nodes.slice(0, 3).map(n => "    " + n.html.slice(0, 160) + "\n    " + n.failureSummary.replace(/\s+/g, " ")).join("\n")).join("\n"))`
)

// axe tells what axe-core, which the page holds already, finds against it.
func (p phone) axe(run string) string {
	p.t.Helper()
	got, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](run, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatal(err)
	}
	passed, violations, _ := strings.Cut(got, "\n")
	if strings.HasPrefix(passed, "0 ") {
		p.t.Fatalf("no rule was tried: %s", got)
	}
	return violations
}

// TestAxe holds every page against axe-core: on a phone by day and by night, on a
// desk, and on a phone with large letters in German.
func TestAxe(t *testing.T) {
	source, err := os.ReadFile(needed.File(t, "CRUET_AXE"))
	if err != nil {
		t.Fatal(err)
	}
	load := string(source) + `; ""`
	base, paths := everything(t)
	start := func(t *testing.T) phone {
		p := phone{t, browser(t, 360, 740, false)}
		// It must find what is wrong where something is.
		p.do(chromedp.Navigate("about:blank"))
		p.asks(`document.body.innerHTML = "<img src=x><input><p style='color:#ccc;background:#fff'>pale</p>", ""`)
		p.asks(load)
		if found := p.axe(axeRun) + p.axe(axeColours); !strings.Contains(found, "image-alt") || !strings.Contains(found, "label:") || strings.Count(found, "color-contrast") != 2 {
			t.Fatalf("axe misses what is wrong: %q", found)
		}
		return p
	}
	t.Run("phone and desk", func(t *testing.T) {
		t.Parallel()
		p := start(t)
		for _, path := range paths {
			p.do(chromedp.Navigate(base + path))
			p.asks(opened)
			p.asks(load)
			for _, on := range screens {
				run := axeRun
				if on.dark {
					run = axeColours
				}
				// What comes back on a desk has the page's own frame and fields.
				if on.w > 360 && (on.dark || strings.HasPrefix(path, "/shown/")) {
					continue
				}
				p.looksAt(on)
				if bad := p.axe(run); bad != "" {
					t.Errorf("%s on a %s:\n%s", path, on.name, bad)
				}
			}
		}
	})
	t.Run("large letters in German", func(t *testing.T) {
		t.Parallel()
		p := start(t)
		p.do(chromedp.Navigate(base+"/display"), chromedp.Click(chromedp.CSS(`label:has([value=large])`)), chromedp.Click(chromedp.CSS(`label:has([value=de])`)))
		p.tap("button.main")
		p.until("large letters", `document.documentElement.className === "large" && document.documentElement.lang === "de" ? "yes" : ""`)
		for _, path := range paths {
			if strings.HasPrefix(path, "/shown/") {
				continue // which was made before
			}
			p.do(chromedp.Navigate(base + path))
			p.asks(opened)
			p.asks(load)
			if bad := p.axe(axeRun) + p.asks(measure); bad != "" {
				t.Errorf("%s:\n%s", path, bad)
			}
			p.picture("large"+path, 360, false)
		}
	})
}
