package scan

import (
	"net/url"
	"testing"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// TestStarterIsInAlready gives a mother to a jar that waits, and is not asked for
// it again: the plan says what is next, and the next stage keeps the starter.
func TestStarterIsInAlready(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Quince juice/A"]
	s.get(poursAt(tag, "mother")).wants(200, "Then it", "goes on to vinegar", "Liquid in the jar").
		has(`name="then" value="acetic" data-pick="acetic" checked`, `name="volume_ml" value="6"`)
	s.get(poursAt(s.jars["Windfalls/A"], "mother")).wants(200, "stays must").has(`name="then" value="stay" data-pick="stay" checked`)
	s.get(poursAt(s.jars["Pear trimmings/A"], "mother")).lacks("Then it") // acetic already

	s.post(poursAt(tag, "mother"), formOf("from", "bought", "name", "live cider vinegar", "amount_ml", "500 mL", "mother", "1", "then", "stay", "by", "mk")).
		follow().wants(200, "Move it on to acetic", "a starter is in already", "Move it to acetic").lacks("add the mother")
	s.get(poursAt(tag, "strain")).wants(200, "it is in already").lacks("left to the air")
	s.get(at(tag, "?open=stage&pick=acetic")).wants(200, "it is in already").has(`name="starter" value="in" data-pick="starter-in" checked`).lacks("left to the air")
	s.post(at(tag, "/log/stage"), formOf("from", "alcoholic", "stage", "acetic", "starter", "in", "by", "mk")).
		follow().wants(200, "The jar is now acetic")
	if got := s.state(tag); got.Stage != larder.Acetic || got.Starter != "mother and 500 mL of bought live cider vinegar" || *got.VolumeML != 6500 {
		t.Errorf("the jar is %s with %q, holding %g mL", got.Stage, got.Starter, float64(*got.VolumeML))
	}

	// Without one it is asked for, and how much there is.
	other := s.jars["Windfalls/A"]
	s.post(at(other, "/log/stage"), formOf("from", "must", "stage", "acetic", "starter", "in", "by", "mk")).
		wants(422, "Say where the starter came from", "Say how much liquid there is after straining")
}

// TestStarterFromAJarInTheCeiling says on the page, in both languages, that a
// starter's acid counts in the ceiling, or why it does not.
func TestStarterFromAJarInTheCeiling(t *testing.T) {
	s := stocked(t)
	from, into := s.jars["Pear trimmings/A"], s.jars["Quince juice/A"]
	give := func() {
		s.post(poursAt(into, "mother"), formOf("from", "jar", "other", string(from), "amount_ml", "100 mL", "then", "stay", "by", "mk")).follow().wants(200, "Saved")
	}
	if a := s.state(from).Acidity; a == nil || a.Basis != larder.ByTitration {
		t.Fatalf("the pears' acidity is %+v", a)
	}
	s.log(into, s.daysAgo(1), larder.Reading{ABV: new(chem.PercentVol(6.5))}, "")
	give()
	s.get(at(into, "")).wants(200, "with 2 % of starter from jar "+string(from)+" in it, titrated at 3.0 g/100 mL", "what alcohol the starter from jar "+string(from)+" still had is not counted")
	s.get(at(into, "/outlook")).wants(200, "starter from jar "+string(from)+", of the liquid", "its acidity, titrated")
	s.say(at(into, ""), "de").wants(200, "mit 2 % Starter aus Glas "+string(from)+" darin, titriert mit 3,0 g/100 ml", "noch an Alkohol hatte, ist nicht mitgerechnet").
		lacks("of starter", "is not counted")

	s.log(from, s.daysAgo(0), larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromOther, Name: "perry", VolumeML: new(chem.Millilitres(50))}}, "")
	give()
	s.get(at(into, "")).wants(200, "the starter of 100 mL from jar "+string(from)+" is not counted, since something else went into that jar after it was titrated")
	s.say(at(into, ""), "de").wants(200, "der Starter (100 ml aus Glas "+string(from)+") ist nicht mitgerechnet, da nach der Titration noch etwas in jenes Glas kam").lacks("is not counted")
}

// TestVolumeFromFill takes what a wine jar was filled with where nothing is strained,
// says so beforehand and in the history, and asks whoever strains.
func TestVolumeFromFill(t *testing.T) {
	s := newStation(t)
	begin := func(base larder.Base) larder.Tag {
		return s.start(larder.NewBatch{Name: string(base), Base: base, Stage: larder.Alcoholic, When: s.daysAgo(9), JarSizeML: 4000, FillML: litres(2)})[0].Tag
	}
	wine, juice, other := begin(larder.Wine), begin(larder.Juice), begin(larder.Ale)
	s.get(at(wine, "?open=stage&pick=acetic")).wants(200, "Liquid in the jar", "before any starter; empty: 2 L, as filled").lacks("Liquid after straining")
	s.say(at(wine, "?open=stage&pick=acetic"), "de").wants(200, "vor dem Starter; leer: 2 L wie eingefüllt")
	s.get(at(juice, "?open=stage&pick=acetic")).wants(200, "Liquid after straining").lacks("as filled")
	form := func(extra ...string) url.Values {
		return formOf(append([]string{"from", "alcoholic", "stage", "acetic", "by", "mk"}, extra...)...)
	}
	s.post(at(juice, "/log/stage"), form("starter", "none")).wants(422, "Say how much liquid there is after straining")
	// What else is wrong comes back alone.
	s.post(at(wine, "/log/stage"), form("starter", "none", "when", "the day after tomorrow")).wants(422, "is not a date").lacks("after straining")
	s.post(poursAt(wine, "strain"), formOf("then", "acetic", "from", "none", "by", "mk")).wants(422, "Say how much liquid there is after straining")
	if got := s.state(wine).Stage; got != larder.Alcoholic {
		t.Fatalf("a refused move made it %s", got)
	}
	s.post(at(wine, "/log/stage"), form("starter", "none")).follow().wants(200, "2 L in the jar, taken from the fill", "The jar is now acetic")
	s.say(at(wine, ""), "de").wants(200, "2 L im Glas, aus der Füllung übernommen")
	// The form for a mother shows the volume; emptied, it is taken all the same.
	s.post(poursAt(other, "mother"), formOf("from", "bought", "name", "malt vinegar", "amount_ml", "300 mL", "then", "acetic", "volume_ml", "", "by", "mk")).follow().wants(200, "taken from the fill")
	if v := s.state(other).VolumeML; v == nil || *v != 2300 {
		t.Errorf("it holds %v mL", v)
	}
	if report, err := s.db.Check(t.Context()); err != nil || len(report.Findings) > 0 {
		t.Errorf("check: %v, %v", report.Findings, err)
	}
}

// TestUnitsTyped takes a unit that a person types behind a number whose field
// says it already, and no other.
func TestUnitsTyped(t *testing.T) {
	for _, c := range []struct{ field, typed, want string }{
		{"acidity", "5 %", "5"}, {"starter_acidity", "5,2%", "5,2"}, {"feed_acidity", "6 g/100 mL", "6"}, {"brix", "11.5 °Bx", "11.5"},
		{"jar_outer_diameter_mm", "98 mm", "98"}, {"abv_percent_vol", "12 % vol", "12"}, {"ph", "3.2 %", "3.2 %"}, {"acidity", "5 mL", "5 mL"},
	} {
		if got := trimUnit(c.field, c.typed); got != c.want {
			t.Errorf("%s: %q is read as %q, want %q", c.field, c.typed, got, c.want)
		}
	}
}
