package larder

import (
	"strings"
	"testing"

	"cruet/internal/chem"
)

// Of wine and ale nothing is strained: what a jar was filled with goes on to vinegar,
// with what was poured since. Whatever may leave something in the cloth is measured.
func TestVolumeFromFill(t *testing.T) {
	liquid := Ingredient{Name: "red wine", Amount: chem.Amount{Value: 2, Unit: "L", VolumeML: 2000}}
	solid := Ingredient{Name: "raspberries", Amount: chem.Amount{Value: 200, Unit: "g", MassG: 200}}
	counted := Ingredient{Name: "cloves", Amount: chem.Amount{Value: 3, Unit: "piece"}}
	wine, infused := Batch{Base: Wine, Ingredients: []Ingredient{liquid}}, Transfer{What: Infused, Feed: &Feed{From: FromOther, Name: "rosemary"}}
	begun := func(lines ...logged) []Entry {
		log := logOf(lines...)
		log[0].Body = StageChange{To: Alcoholic, VolumeML: ml(2000)}
		return log
	}
	empty := begun()
	empty[0].Body = StageChange{To: Alcoholic}
	for name, row := range map[string]struct {
		batch Batch
		log   []Entry
		want  float64 // 0: to be measured
	}{
		"wine":              {wine, begun(), 2000},
		"ale":               {Batch{Base: Ale}, begun(), 2000},
		"cut with water":    {wine, begun(logged{daysAgo(20), water(1000)}), 3000},
		"some taken out":    {wine, begun(logged{daysAgo(20), gave(500)}), 1500},
		"juice":             {Batch{Base: Juice}, begun(), 0},
		"fruit scraps":      {Batch{Base: FruitScraps}, begun(), 0},
		"with fruit in it":  {Batch{Base: Wine, Ingredients: []Ingredient{liquid, solid}}, begun(), 0},
		"with cloves in it": {Batch{Base: Wine, Ingredients: []Ingredient{liquid, counted}}, begun(), 0},
		"infused":           {wine, begun(logged{daysAgo(20), infused}), 0},
		"strained":          {wine, begun(logged{daysAgo(20), Action{What: Strained}}), 0},
		"measured since":    {wine, begun(logged{daysAgo(20), Reading{VolumeML: ml(1900)}}), 0},
		"no fill known":     {wine, empty, 0},
		"all given away":    {wine, begun(logged{daysAgo(20), gave(2000)}), 0},
	} {
		before := Fold(row.log)
		s := StageChange{To: Acetic, VolumeFromFill: true, Starter: &Feed{From: FromBought, Name: "raw vinegar", VolumeML: ml(100)}}.WithFill(row.batch, before)
		got := 0.0
		if s.VolumeML != nil {
			got = float64(*s.VolumeML)
		}
		if got != row.want || s.VolumeFromFill != (row.want > 0) {
			t.Errorf("%s: %g mL, from the fill %v; want %g", name, got, s.VolumeFromFill, row.want)
		}
		err := NewEntry{Body: s}.Check(Jar{SizeML: 5000, State: before}, testNow)
		if asked := err != nil && strings.Contains(err.Error(), "after straining"); asked != (row.want == 0) {
			t.Errorf("%s: %v", name, err)
		}
		if row.want == 0 {
			continue
		}
		if text := s.words(chem.Metric); !strings.Contains(text, " (taken from the fill), starter:") {
			t.Errorf("%s: told as %q", name, text)
		}
		// It is no measurement: what is logged late of the days before still counts.
		log := append(row.log, Entry{Seq: 90, When: daysAgo(5), Kind: KindStage, Body: s}, Entry{Seq: 91, When: daysAgo(15), Kind: KindTransfer, Body: gave(300)})
		holdsML(t, Fold(log), row.want+100-300)
	}
	given := StageChange{To: Acetic, VolumeML: ml(1800)}.WithFill(wine, Fold(begun()))
	if *given.VolumeML != 1800 || given.VolumeFromFill {
		t.Errorf("a measured volume became %g mL", float64(*given.VolumeML))
	}
	if s := (StageChange{To: Maturing}).WithFill(wine, Fold(begun())); s.VolumeML != nil {
		t.Error("a volume was taken where none is asked for")
	}
}
