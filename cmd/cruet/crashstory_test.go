package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	machine "cruet/internal/needed"
)

// window is the open page of a phone's browser.
type window struct {
	t   *testing.T
	ctx context.Context
}

func (w window) do(steps ...chromedp.Action[chromedp.Void]) {
	w.t.Helper()
	ctx, cancel := context.WithTimeout(w.ctx, 20*time.Second)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		late, cancel := context.WithTimeout(w.ctx, 5*time.Second)
		defer cancel()
		body, _ := chromedp.Run(late, chromedp.Evaluate[string](`location.href + " " + document.body.innerText`))
		w.t.Fatalf("%v; the page says:\n%s", err, body)
	}
}

// until waits for an expression to be true in the page.
func (w window) until(what, expression string) {
	w.t.Helper()
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if yes, err := chromedp.Run(w.ctx, chromedp.Evaluate[bool]("!!("+expression+")")); err == nil && yes {
			return
		}
	}
	late, cancel := context.WithTimeout(w.ctx, 5*time.Second)
	defer cancel()
	body, _ := chromedp.Run(late, chromedp.Evaluate[string](`document.body.innerText`))
	w.t.Fatalf("%s: nothing came of it; the page says:\n%s", what, body)
}

// writes types a pH into the open page of a jar and presses the button; when tells
// when that was.
func (w window) writes(ph string) (when time.Time) {
	w.t.Helper()
	w.do(chromedp.Click(chromedp.CSS(".quick a.main")), chromedp.WaitVisible(chromedp.CSS("#reading-ph")), chromedp.SendKeys(chromedp.CSS("#reading-ph"), ph))
	when = time.Now()
	w.do(chromedp.Click(chromedp.CSS("#reading button.main")))
	return when
}

func (w window) waits(n int) {
	w.t.Helper()
	w.until(fmt.Sprintf("%d waiting", n), fmt.Sprintf(`JSON.parse(localStorage.waiting || "[]").length === %d && document.querySelectorAll("#waiting li").length === %d`, n, n))
}

// TestCrashWhileTyping kills the real station in the middle of a reading that is
// sent, types two more, closes the browser, and starts the station again at its
// address: once the browser is back, on another page of it, all three are sent, and
// stand in the jar's log once, in order, at the time when they were typed.
func TestCrashWhileTyping(t *testing.T) {
	chromium := machine.Program(t, "chromium", "chromium-browser", "google-chrome", "chrome")
	s := besiege(t, 6)
	s.start()
	s.listen = strings.TrimPrefix(s.base, "http://")
	d := newDeed("/batches", "application/json", []byte(`{"name":"Windfalls","base":"fruit scraps","jars":1,"jar_size_ml":3000}`), "")
	var made struct{ Jars []struct{ Tag string } }
	if status, body, err := s.send(d); err != nil || status != http.StatusCreated || json.Unmarshal(body, &made) != nil {
		t.Fatalf("starting a batch: %d, %v: %s", status, err, body)
	}
	tag := made.Jars[0].Tag

	kept := t.TempDir() // what the phone's browser keeps
	open := func() (window, func()) {
		opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("disable-component-update", true),
			chromedp.Flag("disable-features", "site-per-process,Translate,BlinkGenPropertyTrees"), chromedp.UserDataDir(kept))
		alloc, end := chromedp.NewExecAllocator(context.Background(), opts...)
		t.Cleanup(end)
		ctx, end := chromedp.NewContext(alloc)
		t.Cleanup(end)
		if err := chromedp.Do(ctx); err != nil { // starts it; a time-out would end with it
			t.Fatal(err)
		}
		w := window{t, ctx}
		w.do(chromedp.EmulateViewport(360, 740, chromedp.EmulateScale(1), chromedp.EmulateMobile))
		return w, func() {
			if err := chromedp.Cancel(ctx); err != nil {
				t.Fatal(err)
			}
		}
	}
	first, shut := open()
	out, err := exec.Command(s.program, "phones", "pair", "--json", "--data", s.dir).Output()
	var code struct{ Code string }
	if err != nil || json.Unmarshal(out, &code) != nil {
		t.Fatalf("no code: %v: %s", err, out)
	}
	first.do(chromedp.Navigate(s.base+"/pair/"+code.Code), chromedp.SendKeys(chromedp.CSS("main input[name=name]"), "mk"), chromedp.Click(chromedp.CSS("main button.main")))
	first.until("paired", `location.pathname !== "/pair/`+code.Code+`" && document.readyState === "complete"`)
	first.do(chromedp.Navigate(s.base + "/J/" + tag))

	// Whether the first was saved before the kill is chance, and must not matter.
	typed := []time.Time{first.writes("3,9")}
	s.kill()
	first.until("the first kept, or saved", `document.querySelectorAll("#waiting li").length === 1 || document.body.innerText.includes("Saved: pH 3.9")`)
	for _, ph := range []string{"3.8", "3,7"} {
		typed = append(typed, first.writes(ph))
		first.until("kept "+ph, `JSON.parse(localStorage.waiting || "[]").some(i => i.body.includes("ph=`+strings.Replace(ph, ",", "%2C", 1)+`")) &&
			!document.querySelector("form[data-sent]")`) // the form folds when nobody answers
	}
	closed := time.Now()
	shut()
	time.Sleep(2 * time.Second) // so that when it was typed is not when it is sent
	s.start()
	second, _ := open()
	second.do(chromedp.Navigate(s.base + "/shelf"))
	second.waits(0)

	var log struct {
		Entries []struct {
			Kind string
			By   string
			When struct{ At time.Time }
			Body struct{ PH *float64 }
		}
	}
	res, err := s.client.Get(s.base + "/api/v1/jars/" + tag + "/entries")
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(res.Body)
	res.Body.Close()
	if err != nil || json.Unmarshal(body, &log) != nil {
		t.Fatalf("%v: %s", err, body)
	}
	slices.Reverse(log.Entries) // the newest came first
	var phs []float64
	for _, e := range log.Entries {
		if e.Body.PH == nil {
			continue
		}
		phs = append(phs, *e.Body.PH)
		if n := len(phs); n <= len(typed) {
			// The phone reckons the station's clock from its page, to a second or so.
			if at := e.When.At; at.Before(typed[n-1].Add(-time.Second)) || at.After(closed.Add(time.Second)) {
				t.Errorf("pH %v stands at %s; it was typed at %s, and the browser closed at %s", *e.Body.PH, at, typed[n-1], closed)
			}
		}
		if e.By != "mk" {
			t.Errorf("pH %v is by %q, want mk", *e.Body.PH, e.By)
		}
	}
	if !slices.Equal(phs, []float64{3.9, 3.8, 3.7}) {
		t.Errorf("the log holds pH %v, want 3.9, 3.8 and 3.7, each once, in that order: %s", phs, body)
	}
	s.kill()
	s.check()
}
