package scan

import (
	"context"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"cruet/internal/larder"
)

// TestTraceStory holds the first jar on a phone, follows it to whoever got a
// bottle of the second, finds that nothing more may be given, and lifts the hold; with the page's script and without.
func TestTraceStory(t *testing.T) {
	for _, c := range []struct {
		name   string
		script bool
	}{{"with script", true}, {"without script", false}} {
		t.Run(c.name, func(t *testing.T) { traceStory(t, c.script) })
	}
}

func traceStory(t *testing.T, script bool) {
	s := newStation(t)
	first := s.start(larder.NewBatch{Name: "Barley", Base: larder.Ale, When: s.daysAgo(90), JarSizeML: 6000, FillML: litres(5)})[0].Tag
	s.log(first, s.daysAgo(88), larder.StageChange{To: larder.Acetic, VolumeML: litres(5), Starter: &larder.Feed{From: larder.FromBought, Name: "live cider vinegar", Live: true, Mother: true, VolumeML: litres(0.25)}}, "")
	second := s.start(larder.NewBatch{Name: "Pear trimmings", Base: larder.FruitScraps, When: s.daysAgo(60), FillML: litres(2.6)})[0].Tag
	s.log(second, s.daysAgo(50), larder.StageChange{To: larder.Acetic, VolumeML: litres(2.4), Starter: &larder.Feed{From: larder.FromJar, Jar: first, Mother: true, VolumeML: litres(0.2)}}, "")
	s.log(second, s.daysAgo(3), larder.StageChange{To: larder.Finished}, "")
	lot, err := s.db.Bottle(context.Background(), act(), larder.NewLot{Pours: []larder.Pour{{Jar: second}}, Runs: []larder.Run{{Count: 4, SizeML: 500}}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.db.Give(context.Background(), act(), lot.Bottles[0].Tag, larder.NewGift{To: "Ana, next door"}); err != nil {
		t.Fatal(err)
	}
	base := s.listen()
	s.pages.Address = strings.TrimPrefix(base, "http://")
	p := phone{t, browser(t, 360, 740, false)}
	name := "trace-script"
	if !script {
		name = "trace-plain"
		p.withoutScript()
	}

	// The first jar is held.
	p.do(chromedp.Navigate(base+at(first, "?open=hold#hold")), chromedp.WaitVisible(chromedp.CSS("#hold-reason")), p.types("#hold-reason", "grey fluff"), p.types("#hold-by", "ro"))
	p.tap(`#hold button.main`)
	p.sees("On hold", "grey fluff")
	p.keep(name + "-1-held")
	// Its trace leads to the gift.
	p.tap(`a[href^="/trace?"]`)
	p.sees("Jar "+string(first), "grey fluff", "Ana, next door", "1 bottle", lot.Lot.ID, "1 given, 3 here", "Pear trimmings A, "+string(second))
	p.keep(name + "-2-trace")
	p.tap(`#people a`)
	p.sees("Bottle 1 of "+lot.Lot.ID, "Pear trimmings vinegar")
	p.tap(`.gifts a[href^="/lots/"]`)
	p.sees("Given", "Ana, next door", "jar "+string(first)+": grey fluff")
	p.keep(name + "-3-gift")
	p.do(chromedp.Navigate(base + at(second, "")))
	p.sees("On hold behind it", "jar "+string(first), "grey fluff")
	// No other bottle of it may be given: its page says why and where that is settled.
	// A gift made before the hold and logged late has its form; one of today is refused.
	p.do(chromedp.Navigate(base + bottleURL(lot.Bottles[1])))
	p.sees("It stays here until the hold is lifted", "jar "+string(first)+": grey fluff", "It was given before the hold")
	if shown := p.asks(`document.querySelector("#give-to").checkVisibility()`); shown != "false" {
		t.Errorf("the form of a held bottle stands open: %s", shown)
	}
	p.do(chromedp.Click(chromedp.CSS(`details#give > summary`)), chromedp.WaitVisible(chromedp.CSS("#give-to")), p.types("#give-to", "Ben"))
	p.tap(`form[action$="/2"] button.main`)
	p.sees("This bottle is on hold, by jar " + string(first) + ": grey fluff")
	kept, err := chromedp.Run(p.ctx, chromedp.Value(chromedp.CSS("#give-to")))
	if err != nil || kept != "Ben" {
		t.Errorf("the name came back as %q (%v)", kept, err)
	}
	p.keep(name + "-4-refused")
	// The hold is lifted; the story stays, and the bottle may go.
	p.tap(`.acts a[href="` + at(first, "?open=hold#hold") + `"]`)
	p.do(chromedp.WaitVisible(chromedp.CSS("#hold-reason")), p.types("#hold-reason", "it was yeast"))
	p.tap(`#hold button.main`)
	p.sees("it was yeast", "grey fluff")
	p.do(chromedp.Navigate(base+bottleURL(lot.Bottles[1])), p.types("#give-to", "Ben"))
	p.tap(`form[action$="/2"] button.main`)
	p.sees("Saved: given to Ben")
	p.do(chromedp.Navigate(base + "/gifts"))
	p.sees("Ana, next door", "Ben")
	p.keep(name + "-5-gifts")
}
