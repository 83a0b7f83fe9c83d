package scan

import (
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// ready gives the station a checked base and a barley jar of 1.3 L that was
// titrated at 6.24 g/100 mL since: 52 × 0.1 × 60.05 ÷ 5 ÷ 10.
func (s *station) ready() larder.Tag {
	s.t.Helper()
	s.equipped()
	s.bottled(12)
	tag := s.jars["Barley/A"]
	t := larder.Titration{Titration: chem.Titration{SampleML: 5, BaseMolPerL: 0.1, SampleTolML: 0.02, BuretteTolML: 0.02,
		Replicates: []chem.Replicate{{EndML: 52}, {EndML: 52.1}, {EndML: 52}}}}
	s.log(tag, s.daysAgo(1), t, "")
	return tag
}

// TestFinishStory brings a jar from the shelf to a given bottle in a phone-sized
// browser, with the page's script and without.
func TestFinishStory(t *testing.T) {
	for _, c := range []struct {
		name   string
		script bool
	}{{"with script", true}, {"without script", false}} {
		t.Run(c.name, func(t *testing.T) { finishStory(t, c.script) })
	}
}

func finishStory(t *testing.T, script bool) {
	s := stocked(t)
	tag := s.ready()
	base := s.listen()
	p := phone{t, browser(t, 360, 740, false)}
	if !script {
		if _, err := chromedp.Call(p.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
			t.Fatal(err)
		}
	}
	p.do(chromedp.Navigate(base + "/shelf"))
	p.tap(`.acts a[href="/finish"]`)
	p.do(chromedp.Click(chromedp.CSS(`label:has(input[value="` + string(tag) + `"])`)))
	p.tap(`.choose button.main`)
	p.sees("6.2", "What becomes of it", "Add water", "keeps it surely at 5 g/100 mL")
	p.keep("finish-1-bench")

	// One tap logs the water, with the margin already in it.
	p.do(chromedp.WaitVisible(chromedp.CSS("#water-feed_volume_ml")))
	p.tap(`form[action="/finish/water"] button.main`)
	p.sees("Water added", "measure again", "computed")
	p.keep("finish-2-diluted")
	state := s.state(tag)
	if a := state.Acidity; a.Basis != larder.Computed || a.LowerGPer100ML < 5 || a.GPer100ML > 5.4 {
		t.Fatalf("after the water %+v", a)
	}

	// The sizes are kept, and a row of them carries all into the bottling form.
	p.do(chromedp.SetValue(chromedp.CSS("#finish-sizes"), "250 mL, 0,5 L"))
	p.tap(`.sums button`)
	p.sees("bottles of 250 mL", "of 500 mL")
	p.keep("finish-3-sizes")
	p.tap(`.fills li:first-child a`)
	p.sees("From these finished jars")
	p.keep("finish-4-bottling")
	p.tap(`form[action="/bottle"] button.main`)
	p.sees("Saved: lot L261125A", "computed; titrated")
	lots, err := s.db.Lots(p.ctx)
	if err != nil || lots[0].Lot.ID != "L261125A" || lots[0].Bottles < 5 {
		t.Fatalf("%+v, %v", lots, err)
	}

	// The label as it will be, what it lacks, and its code read back.
	p.tap(`.acts a.main`)
	p.sees("What it lacks", "The acidity is computed, not measured", "Still yours to check")
	p.keep("finish-5-labels")
	wide, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](`document.querySelector(".sheet.one img").naturalWidth > 0`))
	if script && (err != nil || !wide) {
		t.Errorf("the preview is no picture: %v, %v", wide, err)
	}
	pdf := s.get("/lots/L261125A/labels.pdf?layout=bottle&rules=eu&for=gift&code=facts&stock=roll-102x76&bottle=1").wants(200)
	facts := scanned(t, pdf.Body.Bytes())
	for _, want := range []string{"L261125A/1", "NOT FOR CANNING", "ACIDITY"} {
		if !strings.Contains(facts, want) {
			t.Errorf("the code does not say %q: %q", want, facts)
		}
	}

	p.do(chromedp.Navigate(base + "/lots/L261125A/bottles/1"))
	p.sees("Nothing proves yet that it may be given away", "computed")
	p.do(p.types("#give-to", "Hedwig"))
	p.keep("finish-6-give")
	p.tap(`form[action$="/bottles/1"] button.main`)
	p.sees("Saved: given to Hedwig")
	p.keep("finish-7-given")
}
