package scan

import (
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// TestTodayStory taps what is due away, and goes through a measuring round, in a
// phone-sized browser, with the page's script and without.
func TestTodayStory(t *testing.T) {
	for _, c := range []struct {
		name   string
		script bool
	}{{"with script", true}, {"without script", false}} {
		t.Run(c.name, func(t *testing.T) { todayStory(t, c.script) })
	}
}

func todayStory(t *testing.T, script bool) {
	s := stocked(t)
	base := s.listen()
	pear := s.jars["Pear trimmings/A"]
	p := phone{t, browser(t, 360, 740, !script)}
	if !script {
		if _, err := chromedp.Call(p.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
			t.Fatal(err)
		}
	}
	p.do(chromedp.Navigate(base + "/"))
	p.sees("Overdue", "Stir", "wet fruit on top grows mould")
	p.keep("today-1")
	p.tap(`.tasks form button`)
	p.sees("Saved: Stirred, Windfalls A.")
	p.keep("today-2-stirred")
	if s.state(s.jars["Windfalls/A"]).StirredAt == nil {
		t.Fatal("the tap was not saved")
	}

	// The jar that is due: one tap to the form, which stands open.
	p.tap(`.tasks a.button[href^="/J/` + string(pear) + `"]`)
	p.do(chromedp.WaitVisible(chromedp.CSS("#titration-start_ml_1")))

	// Many jars in a row.
	p.do(chromedp.Navigate(base + "/"))
	p.tap(`a[href="/round"]`)
	p.sees("Begin the round")
	p.do(chromedp.Click(chromedp.CSS(`label:has(input[value="all"])`)))
	p.tap(`form[action="/round"] button.main`)
	p.sees("Next, 5 left")
	p.keep("round-1")
	// The pear jar is scanned: its page offers to go on with the round.
	p.do(chromedp.Navigate(base + at(pear, "")))
	p.sees("A measuring round goes on")
	p.tap(`a[href="/round/jar/` + string(pear) + `"]`)
	p.sees("Rinse the electrode")
	p.do(p.types("#measure-ph", "32"))
	p.tap(`form[action="/round/jar/` + string(pear) + `"] button.main`)
	p.sees("3.2")
	p.keep("round-2-wrong")
	p.do(chromedp.Clear(chromedp.CSS("#measure-ph")), p.types("#measure-ph", "3,9"))
	p.tap(`form[action="/round/jar/` + string(pear) + `"] button.main`)
	p.sees("pH went from 3.1 to 3.9", "4 of 5 left")
	p.keep("round-3-next")
	for range 4 {
		p.tap(`form[action$="/skip"] button`)
	}
	p.sees("1 measured, 1 flagged, 4 skipped, 0 missing", "was 3.1")
	p.keep("round-4-results")
	p.tap(`form[action="/round/end"] button.main`)
	p.sees("To today")
	if ph := s.state(pear).PH; ph == nil || ph.Value != 3.9 {
		t.Errorf("pH %v, want 3.9", ph)
	}
}
