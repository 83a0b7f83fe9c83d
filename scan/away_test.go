package scan

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/web"
)

// outlet serves a station at one address and can be cut off and put back there.
type outlet struct {
	s       *station
	at      string
	phone   string // the token of the phone that asks
	server  *http.Server
	posts   atomic.Int32
	swallow atomic.Bool // save what is posted, but never answer
}

func (o *outlet) on() {
	o.s.t.Helper()
	if o.at == "" {
		o.at = "127.0.0.1:0"
	}
	l, err := net.Listen("tcp", o.at)
	if err != nil {
		o.s.t.Fatal(err)
	}
	o.at = l.Addr().String()
	if o.phone == "" {
		o.phone = o.s.paired("ro").Value
	}
	o.server = web.Server(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if web.Token(r) == "" && o.phone != "none" {
			web.ShowToken(r, o.phone)
		}
		if r.Method == http.MethodPost {
			o.posts.Add(1)
			if o.swallow.Load() {
				o.s.engine.ServeHTTP(httptest.NewRecorder(), r)
				panic(http.ErrAbortHandler) // the connection dies before the answer
			}
		}
		o.s.engine.ServeHTTP(w, r)
	}))
	go func() { _ = o.server.Serve(l) }() // ends with ErrServerClosed
}

// off cuts the station off: connections break, the records are closed.
func (o *outlet) off() {
	o.s.t.Helper()
	if err := o.server.Close(); err != nil {
		o.s.t.Fatal(err)
	}
	if err := o.s.db.Close(); err != nil {
		o.s.t.Fatal(err)
	}
}

// writes types a pH into the open page and saves it.
func (p phone) writes(ph string) {
	p.t.Helper()
	p.do(chromedp.Click(chromedp.CSS(".quick a.main")), chromedp.WaitVisible(chromedp.CSS("#reading-ph")), p.types("#reading-ph", ph),
		chromedp.Click(chromedp.CSS("#reading button.main")))
}

// retypes puts another text into a field.
func (p phone) retypes(selector, text string) {
	p.t.Helper()
	p.asks(fmt.Sprintf(`document.querySelector("%s").select(), ""`, selector))
	p.do(p.types(selector, text))
}

// waits waits until so many readings stand in the list of what waits.
func (p phone) waits(n int) {
	p.t.Helper()
	p.until(fmt.Sprintf("%d waiting", n), fmt.Sprintf(`document.querySelectorAll("#waiting li").length === %d && (%d === 0 || !document.querySelector("#waiting").hidden) ? "yes" : ""`, n, n))
}

// phs are the pH values in the jar's log, the oldest first, with their times.
func phs(s *station, tag larder.Tag) (values []float64, at []time.Time) {
	s.t.Helper()
	page, err := s.db.History(context.Background(), tag, store.Cursor{}, 100)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, e := range slices.Backward(page.Entries) {
		if r, ok := e.Body.(larder.Reading); ok && r.PH != nil {
			values, at = append(values, float64(*r.PH)), append(at, e.When.At)
		}
	}
	return values, at
}

// TestCutOff stops the station while three readings are typed on a phone whose
// page stays open, and starts it again at the same address two hours later: all
// three are there, once, at the time when they were typed.
func TestCutOff(t *testing.T) {
	s := stocked(t)
	o := &outlet{s: s}
	o.on()
	defer func() { _ = o.server.Close() }()
	tag := s.jars["Windfalls/A"]
	p := phone{t, browser(t, 360, 740, false)}
	p.do(chromedp.Navigate("http://" + o.at + at(tag, "")))
	p.sees("Windfalls")

	// Before that, an answer that was lost on its way: saved, sent again, once.
	o.swallow.Store(true)
	p.writes("3,9")
	p.waits(1)
	p.keep("away-0-lost-answer")
	o.swallow.Store(false)
	p.waits(0)
	p.sees("Sent and saved, once.")
	if got, _ := phs(s, tag); !slices.Equal(got, []float64{3.9}) {
		t.Fatalf("after a lost answer the log holds pH %v, want 3.9 once", got)
	}

	p.do(chromedp.Navigate("http://" + o.at + at(tag, "")))
	o.off()
	for i, ph := range []string{"3,8", "3.7", "36"} {
		p.writes(ph)
		p.waits(i + 1)
	}
	p.sees("The station does not answer", "Reading, Windfalls A, "+string(tag))
	p.keep("away-1-waiting")
	typed := s.now()
	s.move(s.now().Add(2 * time.Hour))
	s.open()
	o.on()
	// Two are saved. The third wants to be looked at, and is not lost.
	p.waits(1)
	p.sees("The station wants something changed")
	p.keep("away-2-back")
	p.do(chromedp.Click(chromedp.CSS("#waiting li button:first-child")))
	p.sees("did you mean 3.6")
	p.waits(0)
	if got := p.asks(`document.querySelector("#reading-ph").value`); got != "36" {
		t.Errorf("the pH came back as %q", got)
	}
	p.keep("away-3-form")
	p.retypes("#reading-ph", "3.6")
	p.tap("#reading button.main")
	p.sees("Saved: pH 3.6")
	p.do(chromedp.Navigate("http://" + o.at + at(tag, "")))
	p.waits(0)
	got, when := phs(s, tag)
	if !slices.Equal(got, []float64{3.9, 3.8, 3.7, 3.6}) {
		t.Fatalf("the log holds pH %v, want 3.9, 3.8, 3.7 and 3.6, each once", got)
	}
	for i, w := range when[1:3] {
		if d := w.Sub(typed); d < 0 || d > time.Minute {
			t.Errorf("pH %v stands at %s, want when it was typed, %s", got[i+1], w, typed)
		}
	}
}

// TestToldAtOnce types values out of line: the page tells in the words of the
// station, without asking it, and takes them back once the value is right.
func TestToldAtOnce(t *testing.T) {
	s := stocked(t)
	o := &outlet{s: s}
	o.on()
	defer func() { _ = o.server.Close() }()
	p := phone{t, browser(t, 360, 740, false)}
	p.do(chromedp.Navigate("http://"+o.at+at(s.jars["Pear trimmings/A"], "?open=reading")), chromedp.Click(chromedp.CSS("#reading .inner summary")))
	_, letter := chem.ParseNumber("3.4o")
	for _, c := range []struct {
		field, typed, right string
		want                error
	}{
		{"ph", "32", "3,2", chem.CheckPH(32)},
		{"ph", "-1", "0", chem.CheckPH(-1)},
		{"specific_gravity", "1050", "1,050", chem.CheckGravity(1050)},
		{"specific_gravity", "2", "1.2", chem.CheckGravity(2)},
		{"brix", "80,5", "8,05", chem.CheckBrix(80.5)},
		{"abv_percent_vol", "55", "5.5", chem.CheckABV(55)},
		{"temp_c", "180", "18", chem.CheckCelsius(180)},
		{"temp_c", "-40", "-4", chem.CheckCelsius(-40)},
		{"ph", "3.4o", "3.4", letter},
	} {
		box := "#reading-" + c.field
		wrong := fmt.Sprintf(`(document.querySelector("%s-error") || {textContent: ""}).textContent`, box)
		p.retypes(box, c.typed)
		p.until(c.field+" "+c.typed, wrong)
		if got := p.asks(wrong); c.want == nil || got != c.want.Error() {
			t.Errorf("%s %s: the page says %q, the station %q", c.field, c.typed, got, c.want)
		}
		if got := p.asks(fmt.Sprintf(`document.querySelector("%s").getAttribute("aria-describedby")`, box)); got != strings.TrimPrefix(box, "#")+"-error" {
			t.Errorf("%s: a reader is not led to the sentence: %q", c.field, got)
		}
		p.keep("told-" + c.field)
		p.retypes(box, c.right)
		p.until(c.field+" "+c.right, `document.querySelector("`+box+`-error") ? "" : "gone"`)
	}
	if n := o.posts.Load(); n != 0 {
		t.Errorf("the station was asked %d times", n)
	}
}

// TestBack goes back after a refused form and a saved one: no page asks to send
// anything again, and nothing is sent.
func TestBack(t *testing.T) {
	s := stocked(t)
	o := &outlet{s: s}
	o.on()
	defer func() { _ = o.server.Close() }()
	p := phone{t, browser(t, 360, 740, false)}
	tag := s.jars["Pear trimmings/A"]
	p.do(chromedp.Navigate("http://"+o.at+"/"), chromedp.Navigate("http://"+o.at+at(tag, "")))
	p.do(chromedp.Click(chromedp.CSS(".quick a.main")), p.types("#reading-ph", "32"))
	p.tap("#reading button.main")
	p.sees("did you mean 3.2")
	p.retypes("#reading-ph", "3.2")
	p.tap("#reading button.main")
	p.sees("Saved: pH 3.2")
	sent := o.posts.Load()
	p.asks(`setTimeout(() => history.back()), ""`)
	p.sees("Pear trimmings", "Windfalls") // the shelf
	if o.posts.Load() != sent || sent != 2 {
		t.Errorf("%d forms were sent, then %d", sent, o.posts.Load())
	}
}

// TestTwoTaps counts from the scanned address to the saved reading: two taps
// and the typing, with the page's script and without.
func TestTwoTaps(t *testing.T) {
	for _, script := range []bool{true, false} {
		s := stocked(t)
		p := phone{t, browser(t, 360, 740, false)}
		if !script {
			p.withoutScript()
		}
		taps := 0
		tap := func(selector string) {
			taps++
			p.do(chromedp.Click(chromedp.CSS(selector)))
		}
		tag := s.jars["Quince juice/A"]
		p.do(chromedp.Navigate(s.listen() + at(tag, "")))
		tap(".quick a.main")
		p.do(chromedp.WaitVisible(chromedp.CSS("#reading[open] #reading-specific_gravity")))
		if mode := p.asks(`document.querySelector("#reading-specific_gravity").inputMode`); mode != "decimal" {
			t.Errorf("the keypad is %q", mode)
		}
		p.do(p.types("#reading-specific_gravity", "1,012"))
		tap("#reading button.main")
		p.sees("Saved: gravity 1.012")
		if taps != 2 {
			t.Errorf("%d taps with script %v, want 2", taps, script)
		}
	}
}

// TestPairedLater types on a phone that may not write yet: what was typed stands
// on the page that pairs it, and is saved once, however often it is sent.
func TestPairedLater(t *testing.T) {
	s := stocked(t)
	o := &outlet{s: s, phone: "none"}
	o.on()
	defer func() { _ = o.server.Close() }()
	p := phone{t, browser(t, 360, 740, false)}
	tag := s.jars["Windfalls/A"]
	p.do(chromedp.Navigate("http://" + o.at + at(tag, "")))
	p.writes("3,7")
	p.sees("Pair this phone", "Kept, not saved yet")
	p.waits(1)
	p.keep("away-4-pair")
	p.do(p.types("main input[name=code]", s.code()))
	p.asks(`document.querySelector("main input[name=name]").value = "mk", ""`)
	p.tap("main button.main")
	p.sees("Saved: pH 3.7")
	p.waits(0)
	if got, _ := phs(s, tag); !slices.Equal(got, []float64{3.7}) {
		t.Errorf("the log holds pH %v, want 3.7 once", got)
	}
}
