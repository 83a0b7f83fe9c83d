package scan

import (
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"cruet/internal/larder"
)

// TestPourStory strains a jar and, in the middle of it, scans the label of the
// jar that gives the mother: the browser goes there and comes back to all that
// was typed. Then it splits the jar and blends the parts, at the size of a
// phone, with the page's script and without.
func TestPourStory(t *testing.T) {
	for _, c := range []struct {
		name   string
		script bool
	}{{"with script", true}, {"without script", false}} {
		t.Run(c.name, func(t *testing.T) { pourStory(t, c.script) })
	}
}

func (p phone) value(selector string) string {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Value(chromedp.CSS(selector)))
	if err != nil {
		p.t.Fatalf("%s: %v", selector, err)
	}
	return v
}

func pourStory(t *testing.T, script bool) {
	s := newStation(t)
	base := s.listen()
	p := phone{t, browser(t, 360, 740, false)}
	name := "pour-script"
	if !script {
		name = "pour-plain"
		if _, err := chromedp.Call(p.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
			t.Fatal(err)
		}
	}
	ale := s.start(larder.NewBatch{Name: "Barley", Base: larder.Ale, Stage: larder.Acetic, When: s.daysAgo(90), JarSizeML: 5000, FillML: litres(4.2)})[0].Tag
	quince := s.start(larder.NewBatch{Name: "Quince juice", Base: larder.Juice, Stage: larder.Alcoholic, When: s.daysAgo(9), JarSizeML: 8000, FillML: litres(6)})[0].Tag

	p.do(chromedp.Navigate(base + at(quince, "")))
	p.tap(`.acts a[href$="/pour"]`)
	p.sees("Strain", "Split", "Join jars")
	p.keep(name + "-1-menu")
	p.tap(`a[href$="/pour/strain"]`)
	p.do(p.types("#pour-volume_ml", "5,4"), chromedp.Click(chromedp.CSS(`label:has([data-pick=starter-jar])`)),
		chromedp.WaitVisible(chromedp.CSS("#other")), p.types("#pour-amount_ml", "0,2"), chromedp.Click(chromedp.CSS(`.check:has([name=mother]) label`)), p.types("#pour-note", "cloudy"), chromedp.SetValue(chromedp.CSS("#pour-by"), "ro"))
	p.tap(`button[name=scan]`)
	p.sees("Now the other label")
	p.keep(name + "-2-scan")

	// The phone's camera opens what the other label says.
	p.do(chromedp.Navigate("http://" + strings.ToUpper(strings.TrimPrefix(base, "http://")) + "/J/" + string(ale)))
	p.sees("Use this jar as the mother for A · Quince juice")
	p.keep(name + "-3-other")
	p.tap(`.saved a.main`)
	p.sees("A · Barley, acetic, holds 4.2 L")
	p.keep(name + "-4-back")
	for selector, want := range map[string]string{"#pour-volume_ml": "5,4", "#pour-other": string(ale), "#pour-amount_ml": "0,2", "#pour-note": "cloudy", "#pour-by": "ro"} {
		if got := p.value(selector); got != want {
			t.Errorf("%s came back as %q, want %q", selector, got, want)
		}
	}
	p.tap(`form.entry > button.main`)
	p.sees("The jar is now acetic", "mother and 200 mL from jar "+string(ale), "cloudy")
	p.keep(name + "-5-saved")
	if st := s.state(quince); st.Stage != larder.Acetic || *st.VolumeML != 5600 || *s.state(ale).VolumeML != 4000 {
		t.Errorf("the jars are %+v", st)
	}

	p.do(chromedp.Navigate(base + poursAt(quince, "split")))
	p.do(p.types(`[name="parts[0].volume_ml"]`, "2"), p.types(`[name="parts[0].size_ml"]`, "3"), p.types(`[name="parts[1].volume_ml"]`, "9"), p.types(`[name="parts[1].size_ml"]`, "9"))
	p.tap(`form.entry > button.main`)
	p.sees("cannot be taken out of it")
	p.keep(name + "-6-too-much")
	p.do(chromedp.SetValue(chromedp.CSS(`[name="parts[1].volume_ml"]`), "1"))
	p.tap(`form.entry > button.main`)
	p.sees("Saved: poured into 2 jars", "Print their labels", "B · Quince juice", "C · Quince juice")
	p.keep(name + "-7-split")
	parts, err := s.db.JarsOfBatch(t.Context(), 2)
	if err != nil || len(parts) != 3 {
		t.Fatalf("%d jars in the batch (%v), want 3", len(parts), err)
	}

	// Blend a part with the ale: the other is scanned without asking first.
	p.do(chromedp.Navigate(base + poursAt(parts[1].Tag, "join")))
	p.do(p.types("#pour-name", "House vinegar"), p.types("#pour-size_ml", "7"))
	if script { // leaving the page for the camera keeps what was typed
		p.do(chromedp.Navigate(base + at(ale, "")))
	} else {
		p.tap(`button[name=scan]`)
		p.do(chromedp.Navigate(base + at(ale, "")))
	}
	p.tap(`.saved a.main`)
	p.sees("of A · Barley")
	if got := p.value("#pour-name"); got != "House vinegar" {
		t.Errorf("the name came back as %q", got)
	}
	p.tap(`button[name=reckon]`)
	p.sees("Together 6 L", "nobody can say")
	p.keep(name + "-8-blend")
	p.tap(`form.entry > button.main`)
	p.sees("House vinegar", "Saved: Blended", "6 L of 7 L", "which is empty now")
	p.keep(name + "-9-blended")
	p.tap(`#kin a[href$="/lineage"]`)
	p.sees("Lineage", "Came from", "Barley", "Quince juice", "a mother and 200 mL")
	p.keep(name + "-10-lineage")
	if report, err := s.db.Check(t.Context()); err != nil || len(report.Findings) > 0 {
		t.Errorf("check: %v, %v", report.Findings, err)
	}
}
