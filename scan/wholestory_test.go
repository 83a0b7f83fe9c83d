package scan

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"cruet/internal/larder"
)

// TestWholeStory goes all the way through the pages alone: two jars are started,
// the second gets its mother from the first by their printed labels, is measured,
// finished, diluted, bottled, labelled and given; then the first is held, and the
// trace leads to whoever has a bottle. With the page's script and without.
func TestWholeStory(t *testing.T) {
	for _, c := range []struct {
		name   string
		script bool
	}{{"with script", true}, {"without script", false}} {
		t.Run(c.name, func(t *testing.T) { wholeStory(t, c.script) })
	}
}

// wholeStation is a kitchen with a phone in it.
type wholeStation struct {
	*station
	phone
	base, name string
}

func wholeStory(t *testing.T, script bool) {
	s := newStation(t)
	w := wholeStation{station: s, base: s.listen(), phone: phone{t, browser(t, 360, 740, false)}, name: "whole-script"}
	s.pages.Address = strings.TrimPrefix(w.base, "http://")
	if !script {
		w.name = "whole-plain"
		w.withoutScript()
	}
	first := w.begins("Barley", "5 L", larder.Ale)
	second := w.begins("Quince juice", "5 L", larder.Juice)
	w.strainsFirst(first)
	s.move(s.now().AddDate(0, 0, 30))
	w.strainsSecond(first, second)
	s.move(s.now().AddDate(0, 0, 60))
	w.finishes(second)
	lot := w.bottles()
	w.labelsAndGives(lot, second)
	w.holdsAndTraces(lot, first, second)
	if report, err := s.db.Check(t.Context()); err != nil || len(report.Findings) > 0 {
		t.Errorf("check: %v, %v", report.Findings, err)
	}
}

func (w wholeStation) goes(path string) {
	w.phone.t.Helper()
	w.do(chromedp.Navigate(w.base + path))
}

func (w wholeStation) shot(step string) { w.keep(w.name + "-" + step) }

// begins starts a batch of one jar and gives the jar's tag.
func (w wholeStation) begins(name, amount string, base larder.Base) larder.Tag {
	w.phone.t.Helper()
	w.goes("/start")
	w.do(w.types("#start-name", name), chromedp.Click(chromedp.CSS(`label:has(input[name=base][value="`+string(base)+`"])`)),
		w.types(`[name="ingredients[0].name"]`, strings.ToLower(name)), w.types(`[name="ingredients[0].amount"]`, amount),
		w.types("#start-jar_size_ml", "6"), w.types("#start-fill_ml", "5"), chromedp.SetValue(chromedp.CSS("#start-by"), "ro"))
	w.tap(`form[action="/start"] > button.main`)
	w.sees("Saved: " + name + " is started.")
	w.shot("1-started")
	return larder.Tag(w.asks(`document.querySelector(".jarrow .tag").innerText`))
}

// strainsFirst takes the ale to vinegar with a bought starter.
func (w wholeStation) strainsFirst(first larder.Tag) {
	w.phone.t.Helper()
	w.goes(poursAt(first, "strain"))
	w.do(w.types("#pour-volume_ml", "4,8"), chromedp.Click(chromedp.CSS(`label:has([data-pick=starter-bought])`)), chromedp.WaitVisible(chromedp.CSS("#pour-name")),
		w.types("#pour-name", "live cider vinegar"), chromedp.Click(chromedp.CSS(`.check:has([name=live]) label`)), w.types("#pour-amount_ml", "0,5"),
		chromedp.Click(chromedp.CSS(`.check:has([name=mother]) label`)))
	w.tap(`form.entry > button.main`)
	w.sees("The jar is now acetic", "live cider vinegar")
}

// label is the PDF of a jar's label, asked for as the labels' form asks.
func (w wholeStation) label(tag larder.Tag) []byte {
	w.phone.t.Helper()
	w.goes(at(tag, ""))
	w.tap(`.acts a[href^="/labels?tag="]`)
	w.do(chromedp.SetValue(chromedp.CSS("#jars-stock"), "roll-57x32"))
	w.tap(`form:has(.ticks) button[formaction="/labels"]`)
	w.sees("Make the PDF")
	asked := w.asks(`new URLSearchParams(new FormData(document.querySelector("form:has(.ticks)"))).toString()`)
	return w.get("/labels/jars.pdf?" + asked).wants(http.StatusOK).Body.Bytes()
}

// strainsSecond scans the second jar's label to come to it, and takes a photo of
// the first's in the middle of the straining.
func (w wholeStation) strainsSecond(first, second larder.Tag) {
	t := w.phone.t
	t.Helper()
	picture := rasterised(t, w.label(first))
	address := scanned(t, w.label(second))
	if want := w.base + "/J/" + string(second); address != want {
		t.Fatalf("the label's code says %q, want %q", address, want)
	}
	w.do(chromedp.Navigate(address))
	w.tap(`.acts a[href$="/pour"]`)
	w.tap(`a[href$="/pour/strain"]`)
	w.do(w.types("#pour-volume_ml", "4,4"), chromedp.Click(chromedp.CSS(`label:has([data-pick=starter-jar])`)), chromedp.WaitVisible(chromedp.CSS("#other")),
		w.types("#pour-amount_ml", "0,2"), chromedp.Click(chromedp.CSS(`.check:has([name=mother]) label`)), w.types("#pour-note", "pressed gently"))
	w.tap(`button[name=photo]`)
	w.sees("Scan the other label")
	w.do(chromedp.SetUploadFiles(chromedp.CSS("#scan-pick"), []string{picture}))
	w.shot("2-photo")
	w.tap(`form.camera button.main`)
	w.sees("A · Barley, acetic")
	w.shot("3-back")
	for selector, want := range map[string]string{"#pour-volume_ml": "4,4", "#pour-other": string(first), "#pour-amount_ml": "0,2", "#pour-note": "pressed gently"} {
		if got := w.value(selector); got != want {
			t.Errorf("%s came back as %q, want %q", selector, got, want)
		}
	}
	w.tap(`form.entry > button.main`)
	w.sees("The jar is now acetic", "mother and 200 mL from jar "+string(first))
	// 4.4 L and 0.2 L; 4.8 L and 0.5 L less 0.2 L.
	if a, b := *w.state(first).VolumeML, *w.state(second).VolumeML; a != 5100 || b != 4600 {
		t.Errorf("the jars hold %g and %g mL, want 5100 and 4600", float64(a), float64(b))
	}
}

// titrates logs three like runs of 5 mL with base of 0.1 mol/L.
func (w wholeStation) titrates(tag larder.Tag, endML string) {
	w.phone.t.Helper()
	w.goes(at(tag, "?open=titration#titration"))
	w.do(chromedp.WaitVisible(chromedp.CSS("#titration-sample_ml")), chromedp.SetValue(chromedp.CSS("#titration-sample_ml"), "5"), chromedp.SetValue(chromedp.CSS("#titration-base_mol_per_l"), "0,1"))
	for _, n := range []string{"1", "2", "3"} {
		w.do(w.types("#titration-start_ml_"+n, "0"), w.types("#titration-end_ml_"+n, endML))
	}
	w.do(chromedp.Click(chromedp.CSS("#titration details.inner summary")), chromedp.WaitVisible(chromedp.CSS("#titration-sample_tolerance_ml")),
		chromedp.SetValue(chromedp.CSS("#titration-sample_tolerance_ml"), "0,02"), chromedp.SetValue(chromedp.CSS("#titration-burette_tolerance_ml"), "0,02"))
	w.tap(`#titration button.main`)
	w.sees("Saved: ")
}

// finishes checks the base, titrates, and goes down the finishing bench's ladder.
func (w wholeStation) finishes(tag larder.Tag) {
	t := w.phone.t
	t.Helper()
	w.goes("/bench?open=base")
	w.do(chromedp.WaitVisible(chromedp.CSS("#base-base")), w.types("#base-base", "sodium hydroxide 0.1 mol/L"), w.types("#base-khp_g_1", "0,190"), w.types("#base-base_ml_1", "9,30"),
		w.types("#base-khp_g_2", "0,191"), w.types("#base-base_ml_2", "9,36"), w.types("#base-burette_tolerance_ml", "0,02"), w.types("#base-mass_tolerance_g", "0,001"))
	w.tap(`form[action="/bench/base"] button.main`)
	w.sees("against phthalate, 2 runs")
	w.titrates(tag, "52")
	// 52 × 0.1 × 60.05 ÷ (10 × 5), with the base as typed.
	if a := w.state(tag).Acidity; a == nil || a.Basis != larder.ByTitration || a.GPer100ML < 6.15 || a.GPer100ML > 6.35 || a.StrengthMark != "" {
		t.Fatalf("titrated %+v, want 6.2 with a checked base", a)
	}
	w.shot("4-titrated")
	w.goes(at(tag, "?open=stage&pick=maturing#stage"))
	w.do(chromedp.WaitVisible(chromedp.CSS("#stage button.main")))
	w.tap(`#stage button.main`)
	w.sees("The jar is now maturing")
	w.tap(`.acts a[href^="/finish"]`)
	w.sees("What becomes of it", "Add water")
	w.shot("5-bench")
	w.opens("/finish/finished")
	w.tap(`form[action="/finish/finished"] button.main`)
	w.sees("Add water")
	w.opens("/finish/water")
	w.tap(`form[action="/finish/water"] button.main`)
	w.sees("Water added", "computed")
	if a := w.state(tag).Acidity; a == nil || a.Basis != larder.Computed || a.LowerGPer100ML < 5 || a.GPer100ML > 5.4 {
		t.Fatalf("after the water %+v", a)
	}
	w.shot("6-diluted")
	w.station.move(w.station.now().Add(24 * time.Hour))
	w.titrates(tag, "43,5")
	w.tap(`.acts a[href^="/finish"]`)
}

// opens opens a step of the ladder, unless it stands open.
func (w wholeStation) opens(action string) {
	w.phone.t.Helper()
	step := `details:has(form[action="` + action + `"])`
	if w.asks(`document.querySelector('`+step+`').open`) == "false" {
		w.do(chromedp.Click(chromedp.CSS(step + " summary")))
	}
	w.do(chromedp.WaitVisible(chromedp.CSS(`form[action="` + action + `"] button.main`)))
}

// bottles asks for no more water, takes the first size that the bench offers, and
// gives the lot's id.
func (w wholeStation) bottles() string {
	w.phone.t.Helper()
	w.do(chromedp.SetValue(chromedp.CSS("#finish-target_g_per_100ml"), "0"))
	w.tap(`.sums button`)
	w.tap(`.fills li:first-child a`)
	w.tap(`form[action="/bottle"] button.main`)
	w.sees("Saved: lot L", "titrated")
	w.shot("7-lot")
	return strings.TrimPrefix(w.asks(`location.pathname`), "/lots/")
}

func (w wholeStation) labelsAndGives(lot string, jar larder.Tag) {
	t := w.phone.t
	t.Helper()
	w.tap(`.acts a.main`)
	w.do(chromedp.Click(chromedp.CSS(`label:has(input[name=code][value=facts])`)),
		chromedp.SetValue(chromedp.CSS("#labels-bottle"), "1"))
	w.tap(`.acts button:not(.main)`)
	w.sees("Still yours to check")
	w.shot("8-labels")
	w.until("the preview", `document.querySelector(".sheet.one img").naturalWidth > 0 ? "yes" : ""`)
	asked := w.asks(`new URLSearchParams(new FormData(document.querySelector("form.lotlabels"))).toString()`)
	facts := scanned(t, w.get("/lots/"+lot+"/labels.pdf?"+asked).wants(http.StatusOK).Body.Bytes())
	// 43.5 × 0.1 × 60.05 ÷ (10 × 5) = 5.22, which a label states as 5.2.
	for _, want := range []string{lot + "/1", "5.2 % ACIDITY", "NOT FOR CANNING"} {
		if !strings.Contains(facts, want) {
			t.Errorf("the code does not say %q: %q", want, facts)
		}
	}
	w.goes("/lots/" + lot + "/bottles/1")
	w.do(w.types("#give-to", "Hedwig"))
	w.tap(`form[action$="/bottles/1"] button.main`)
	w.sees("Saved: given to Hedwig")
	w.shot("9-given")
}

func (w wholeStation) holdsAndTraces(lot string, first, second larder.Tag) {
	t := w.phone.t
	t.Helper()
	w.goes(at(first, "?open=hold#hold"))
	w.do(chromedp.WaitVisible(chromedp.CSS("#hold-reason")), w.types("#hold-reason", "grey fluff"))
	w.tap(`#hold button.main`)
	w.sees("On hold", "grey fluff")
	w.tap(`a[href^="/trace?"]`)
	w.sees("Jar "+string(first), "grey fluff", "Hedwig", "1 bottle", lot, string(second))
	w.shot("10-trace")
	w.tap(`#people a`)
	w.sees("Bottle 1 of " + lot)
	w.goes("/lots/" + lot + "/bottles/2")
	w.sees("It stays here until the hold is lifted", "jar "+string(first)+": grey fluff", "Jar "+string(first)+": look into it")
	w.shot("11-held")
	w.do(chromedp.Click(chromedp.CSS(`details#give > summary`)), chromedp.WaitVisible(chromedp.CSS("#give-to")), w.types("#give-to", "Ben"))
	w.tap(`form[action$="/bottles/2"] button.main`)
	w.sees("This bottle is on hold, by jar " + string(first) + ": grey fluff")
	if kept := w.value("#give-to"); kept != "Ben" {
		t.Errorf("the name came back as %q", kept)
	}
	w.shot("12-refused")
	w.goes("/gifts")
	w.sees("Hedwig")
	if text := w.asks(`document.querySelector("main").innerText`); strings.Contains(text, "Ben") {
		t.Errorf("the refused gift is among the gifts:\n%s", text)
	}
}
