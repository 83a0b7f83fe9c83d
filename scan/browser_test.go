package scan

import (
	"bytes"
	"context"
	"fmt"
	"image"
	_ "image/png"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"cruet/internal/larder"
	"cruet/internal/needed"
)

// rasterised prints the first page of a PDF as a label printer would, into a
// picture of 203 dots an inch.
func rasterised(t testing.TB, pdf []byte) (path string) {
	t.Helper()
	pdftoppm := needed.Program(t, "pdftoppm")
	dir := t.TempDir()
	file := filepath.Join(dir, "label.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(pdftoppm, "-r", "203", "-png", "-singlefile", file, filepath.Join(dir, "label")).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm: %v: %s", err, out)
	}
	return filepath.Join(dir, "label.png")
}

// scanned prints the label and reads its code back with a decoder that knows
// nothing of this project, as a phone's camera would.
func scanned(t testing.TB, pdf []byte) string {
	t.Helper()
	png, err := os.ReadFile(rasterised(t, pdf))
	if err != nil {
		t.Fatal(err)
	}
	picture, _, err := image.Decode(bytes.NewReader(png))
	if err != nil {
		t.Fatal(err)
	}
	bitmap, err := gozxing.NewBinaryBitmapFromImage(picture)
	if err != nil {
		t.Fatal(err)
	}
	read, err := qrcode.NewQRCodeReader().Decode(bitmap, nil)
	if err != nil {
		t.Fatalf("the printed code cannot be read: %v", err)
	}
	return read.GetText()
}

// phone is a browser and the steps that a thumb takes in it.
type phone struct {
	t   testing.TB
	ctx context.Context
}

func (p phone) do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, 20*time.Second)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.keep("story-stuck")
		p.t.Fatal(err)
	}
}

func (p phone) withoutScript() {
	p.t.Helper()
	if _, err := chromedp.Call(p.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
		p.t.Fatal(err)
	}
}

// tap presses a link or button and waits for the page that comes, or that the
// page's script puts in its place.
func (p phone) tap(selector string) {
	p.t.Helper()
	p.asks(`document.querySelector("main").dataset.old = "1"`)
	p.do(chromedp.Click(chromedp.CSS(selector)))
	p.until(selector, `document.readyState === "complete" && document.querySelector("main") && !document.querySelector("main[data-old]") ? "yes" : ""`)
}

// asks evaluates an expression in the page.
func (p phone) asks(expression string) string {
	p.t.Helper()
	got, err := chromedp.Run(p.ctx, chromedp.Evaluate[any](expression))
	if err != nil {
		p.t.Fatalf("%s: %v", expression, err)
	}
	return fmt.Sprint(got)
}

// until waits for an expression to be something other than empty. While one page
// gives way to another it cannot be asked, which counts as empty.
func (p phone) until(what, expression string) {
	p.t.Helper()
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if got, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](expression)); err == nil && got != "" {
			return
		}
		if time.Now().After(end) {
			p.keep("story-stuck")
			p.t.Fatalf("%s: nothing came of it", what)
		}
	}
}

// sees waits for texts on the page.
func (p phone) sees(texts ...string) {
	p.t.Helper()
	body := ""
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		got, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.body.innerText`))
		if err == nil {
			body = got
		}
		missing := slices.DeleteFunc(slices.Clone(texts), func(text string) bool { return strings.Contains(body, text) })
		if len(missing) == 0 {
			return
		}
		if time.Now().After(end) {
			p.t.Errorf("the page does not show %q:\n%s", missing, body)
			return
		}
	}
}

func (p phone) types(selector, text string) chromedp.Action[chromedp.Void] {
	return chromedp.SendKeys(chromedp.CSS(selector), text)
}

// keep writes a picture for a person to look at, when a folder is named.
func (p phone) keep(name string) {
	p.t.Helper()
	dir := os.Getenv("CRUET_LOOK")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		p.t.Fatal(err)
	}
}

// TestStory follows a jar from its printed label to a struck entry, in a
// phone-sized browser, with the page's script and without.
func TestStory(t *testing.T) {
	for _, c := range []struct {
		name   string
		script bool
	}{{"with script", true}, {"without script", false}} {
		t.Run(c.name, func(t *testing.T) { story(t, c.script) })
	}
}

func story(t *testing.T, script bool) {
	s := stocked(t)
	base := s.listen()
	s.pages.Address = strings.TrimPrefix(base, "http://")
	tag := s.jars["Quince juice/A"]

	label := s.get(at(tag, "/label.pdf?stock=roll-57x32")).wants(200)
	address := scanned(t, label.Body.Bytes())
	if want := base + "/J/" + string(tag); address != want {
		t.Fatalf("the label's code says %q, want %q", address, want)
	}

	p := phone{t, browser(t, 360, 740, false)}
	if !script {
		p.withoutScript()
	}
	p.do(chromedp.Navigate(address))
	p.sees("Quince juice", "alcoholic")
	p.keep("story-1-scanned")

	// One tap opens the form, one saves it.
	open := chromedp.Click(chromedp.CSS(`.quick a.main`))
	if script {
		p.do(open)
	} else {
		p.tap(`.quick a.main`)
	}
	p.do(chromedp.WaitVisible(chromedp.CSS("#reading-ph")), p.types("#reading-ph", "3,2"), p.types("#reading-by", "ro"))
	p.keep("story-2-typed")
	p.tap(`#reading button.main`)
	p.sees("Saved: pH 3.2", "History")
	p.keep("story-3-saved")
	if ph := s.state(tag).PH; ph == nil || ph.Value != 3.2 {
		t.Fatalf("pH %v, want 3.2", ph)
	}

	p.do(chromedp.Navigate(address + "?open=stage&pick=acetic"))
	p.do(chromedp.WaitVisible(chromedp.CSS("#stage-volume_ml")), p.types("#stage-volume_ml", "5,4"),
		chromedp.Click(chromedp.CSS(`#stage label:has([data-pick=starter-bought])`)), chromedp.WaitVisible(chromedp.CSS("#stage-starter_name")))
	p.keep("story-4-stage")
	// Forgetting the name brings the form back with the rest kept.
	p.tap(`#stage button.main`)
	p.sees("name of what was added is missing")
	p.keep("story-5-wrong")
	kept, err := chromedp.Run(p.ctx, chromedp.Value(chromedp.CSS("#stage-volume_ml")))
	if err != nil || kept != "5,4" {
		t.Errorf("the volume came back as %q (%v)", kept, err)
	}
	p.do(p.types("#stage-starter_name", "live cider vinegar"))
	p.tap(`#stage button.main`)
	p.sees("The jar is now acetic", "Print the next label")
	if got := s.state(tag); got.Stage != larder.Acetic || *got.VolumeML != 5400 {
		t.Errorf("stage %s, volume %v", got.Stage, *got.VolumeML)
	}

	// The reading is the second entry from the top.
	p.tap(`.history li:nth-child(2) .at a`)
	p.sees("pH 3.2", "Nothing is erased")
	p.do(p.types("#strike-reason", "wrong jar"))
	p.keep("story-6-strike")
	p.tap(`button.main`)
	p.sees("Struck by ro", "wrong jar", "pH 3.2")
	p.keep("story-7-struck")
	if ph := s.state(tag).PH; ph != nil {
		t.Errorf("the struck pH still counts: %v", ph.Value)
	}
}

// measure finds what a thumb or an eye would stumble over: a page wider than
// the screen, and targets under 44 CSS px that do not stand in running text
// (WCAG 2.2, 2.5.8 and 2.5.5). A radio button's target is its label.
const measure = `(() => {
  const bad = [];
  const wide = Math.max(document.documentElement.scrollWidth, innerWidth);
  if (wide > screen.width) bad.push("page is " + wide + " px wide: " + [...document.body.querySelectorAll("*")].filter(e => e.getBoundingClientRect().right > screen.width && !e.children.length).slice(0, 2).map(e => e.outerHTML.slice(0, 120)).join(" "));
  for (const e of document.querySelectorAll("a, button, input, select, textarea, summary")) {
    const target = e.closest("label") || e;
    const r = target.getBoundingClientRect();
    if (e.type === "hidden" || r.width === 0 || e.tabIndex < 0) continue;
    const inText = e.tagName === "A" && getComputedStyle(e).display === "inline" && e.parentElement.textContent.trim() !== e.textContent.trim();
    const headline = e.tagName === "A" && e.closest("h1, h2") !== null;
    if (!inText && !headline && (r.height < 43.9 || r.width < 43.9)) bad.push(e.outerHTML.slice(0, 90) + " is " + r.width.toFixed(0) + " x " + r.height.toFixed(0) + " px");
  }
  return bad.join("\n");
})()`

// opened unfolds what a page keeps folded, and lays out what is off the screen, so
// that all of it is measured.
const opened = `document.querySelectorAll("details").forEach(d => { d.open = true }), document.querySelectorAll(".shelfbatch").forEach(e => { e.style.contentVisibility = "visible" }), ""`

// contrast finds text of less than 4.5 : 1 against what is painted behind it,
// 3 : 1 for large text (WCAG 2.2, 1.4.3; formula of its "contrast ratio").
const contrast = `(() => {
  const bad = [];
  const parse = c => (c.match(/[\d.]+/g) || []).map(Number);
  const lum = c => { const f = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : Math.pow((v + 0.055) / 1.055, 2.4); }; return 0.2126 * f(c[0]) + 0.7152 * f(c[1]) + 0.0722 * f(c[2]); };
  const behind = e => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor); if (c.length && (c.length < 4 || c[3] === 1)) return c; } return [255, 255, 255]; };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let seen = 0;
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (!walk.currentNode.textContent.trim() || e.closest("script") || e.getBoundingClientRect().width === 0) continue;
    seen++;
    const s = getComputedStyle(e), a = lum(parse(s.color)), b = lum(behind(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    const px = parseFloat(s.fontSize), large = px >= 24 || (px >= 18.66 && s.fontWeight >= 700);
    if (ratio < (large ? 3 : 4.5)) bad.push(ratio.toFixed(2) + " " + walk.currentNode.textContent.trim().slice(0, 40) + " in " + e.className);
  }
  if (!seen) bad.push("no text at all");
  return bad.join("\n");
})()`

// picture writes the page into the folder $CRUET_LOOK, when that is set, for a
// person to judge.
func (p phone) picture(path string, width int64, dark bool) {
	p.t.Helper()
	dir := os.Getenv("CRUET_LOOK")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(p.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		p.t.Fatalf("%s: %v", path, err)
	}
	name := fmt.Sprintf("%d-%s", width, strings.Trim(strings.NewReplacer("/", "-", "?", "-", "&", "-", "=", "-", "%", "").Replace(path), "-"))
	if dark {
		name += "-dark"
	}
	if err := os.WriteFile(filepath.Join(dir, name[:min(len(name), 120)]+".png"), png, 0o600); err != nil {
		p.t.Fatal(err)
	}
}

// TestThumbAndEye measures every page on every screen. With CRUET_LOOK=DIR it
// leaves a picture of each there.
func TestThumbAndEye(t *testing.T) {
	base, paths := everything(t)
	p := phone{t, browser(t, 360, 740, false)}
	for _, on := range screens {
		p.looksAt(on)
		// The measures must find what is wrong where something is.
		p.do(chromedp.Navigate("about:blank"))
		found, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.body.innerHTML = '<button style="height:20px">x</button><p style="width:3000px;color:#999;background:#fff">pale</p>';`+measure+` + `+contrast))
		if err != nil || !strings.Contains(found, "button") || !strings.Contains(found, "px wide") || !strings.Contains(found, "pale") {
			t.Fatalf("%s: the measures miss what is wrong: %q (%v)", on.name, found, err)
		}
	}
	for _, path := range paths {
		p.do(chromedp.Navigate(base + path))
		for _, on := range screens {
			if os.Getenv("CRUET_LOOK") == "" {
				break
			}
			p.looksAt(on)
			p.picture(path, on.w, on.dark)
		}
		p.asks(opened)
		for _, on := range screens {
			p.looksAt(on)
			if bad := p.asks(measure + ` + ` + contrast); bad != "" {
				t.Errorf("%s on a %s: %s", path, on.name, bad)
			}
			// They have reached the page, or it was measured twice on one screen.
			if got, want := p.asks(`matchMedia("(prefers-color-scheme: dark)").matches + " " + screen.width`), fmt.Sprint(on.dark, on.w); got != want {
				t.Fatalf("%s is shown as dark %s, want %s", path, got, want)
			}
		}
	}
}
