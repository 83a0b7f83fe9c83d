package verdict

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

func entry(days int, body larder.Body) larder.Entry {
	return larder.Entry{ID: uuid.New(), When: daysAgo(days), Kind: body.Kind(), Body: body}
}

// barley is an ale vinegar with a class B burette, titrated 10 days ago: 2 mL
// against 0.2 mol/L and 9.16 mL are 5.50 g/100 mL (0.6005 g per mL of base and
// 2 mL: AOAC 930.35).
func barley() []larder.Entry {
	checked := 3
	run := chem.Replicate{StartML: 0, EndML: 9.16}
	titration := larder.Titration{Titration: chem.Titration{SampleML: 2, BaseMolPerL: 0.2, Replicates: []chem.Replicate{run, run, run},
		BaseStdUMolPerL: 0.0004, SampleTolML: 0.01, BuretteTolML: 0.02, BaseCheckedDaysAgo: &checked}}
	abv, ph := chem.PercentVol(6), chem.PH(3.0)
	return []larder.Entry{
		entry(150, larder.StageChange{To: larder.Alcoholic}),
		entry(149, larder.Reading{ABV: &abv, PH: &ph}),
		entry(140, larder.StageChange{From: larder.Alcoholic, To: larder.Acetic, VolumeML: new(chem.Millilitres(5000)), Starter: &larder.Feed{From: larder.FromAir}}),
		entry(20, larder.StageChange{From: larder.Acetic, To: larder.Finished}),
		entry(10, titration),
	}
}

func TestEvidenceOf(t *testing.T) {
	batch := larder.Batch{Name: "Barley", Base: larder.Ale}
	e := EvidenceOf(larder.Jar{State: larder.Fold(barley())}, batch, now)
	if e.AcidityGPer100ML < 5.49 || e.AcidityGPer100ML > 5.51 || e.LowerGPer100ML < 5 || e.LowerGPer100ML >= e.AcidityGPer100ML {
		t.Fatalf("%v, at least %v", e.AcidityGPer100ML, e.LowerGPer100ML)
	}
	if got := answers(e, US); got != "aaxaa?" {
		t.Errorf("finished and titrated: %s", got)
	}
	if _, counts := e.alcohol(); counts {
		t.Error("the ale's 6 % vol is taken for residual alcohol")
	}

	log := append(barley(), entry(2, larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: new(chem.Millilitres(100))}}))
	if got := answers(EvidenceOf(larder.Jar{State: larder.Fold(log)}, batch, now), US); got != "??xa??" {
		t.Errorf("diluted since: %s", got)
	}
	log = append(barley(), entry(1, larder.Hold{On: true, Reason: "odd smell"}))
	if got := answers(EvidenceOf(larder.Jar{State: larder.Fold(log)}, batch, now), US); got != "xxx?xx" {
		t.Errorf("on hold: %s", got)
	}
	log = append(barley(), entry(1, larder.Action{What: larder.MouldSeen}))
	if got := answers(EvidenceOf(larder.Jar{State: larder.Fold(log)}, batch, now), US); got != "xxxxxx" {
		t.Errorf("mould: %s", got)
	}
}

func TestEvidenceFromNames(t *testing.T) {
	for _, tt := range []struct {
		batch             larder.Batch
		infuse, sulphites string
	}{
		{larder.Batch{Name: "Pear and rosemary infusion", Base: larder.OtherBase}, "Pear and rosemary infusion", ""},
		{larder.Batch{Name: "Pear", Ingredients: []larder.Ingredient{{Name: "Garlic"}}}, "Garlic", ""},
		{larder.Batch{Name: "Damson wine", Base: larder.Wine}, "", "the wine it was made from"},
		{larder.Batch{Name: "Fig", Base: larder.FruitScraps, Ingredients: []larder.Ingredient{{Name: "dried figs"}}}, "", "dried figs"},
		{larder.Batch{Name: "Quince juice", Base: larder.Juice, Ingredients: []larder.Ingredient{{Name: "quince juice"}}}, "", ""},
	} {
		e := EvidenceOf(larder.Jar{}, tt.batch, now)
		if e.Infuse != tt.infuse || e.SulphiteFrom != tt.sulphites {
			t.Errorf("%s: infused %q, sulphites %q", tt.batch.Name, e.Infuse, e.SulphiteFrom)
		}
	}
}

// What was put in is known from the log, whatever it is called; names only guess.
func TestEvidenceOfAnInfusionLogged(t *testing.T) {
	log := append(barley(), entry(1, larder.Transfer{What: larder.Infused, Feed: &larder.Feed{From: larder.FromOther, Name: "orange peel", MassG: new(chem.Grams(20))}}))
	jar := larder.Jar{Tag: "K7RM40", State: larder.Fold(log)}
	e := EvidenceOf(jar, larder.Batch{Name: "Barley", Base: larder.Ale}, now)
	if e.Infuse != "orange peel" || answers(e, US) != "??xa??" {
		t.Errorf("jar: infused %q, %s", e.Infuse, answers(e, US))
	}
	lot := larder.Lot{ID: "L261124A", Name: "Barley vinegar", When: daysAgo(1), Bases: []larder.Base{larder.Ale}, Acidity: *jar.State.Acidity, Ingredients: []string{"ale", "orange peel"}}
	if e := EvidenceOfLot(lot, nil, now); e.Infuse != "" {
		t.Errorf("a lot that does not tell: infused %q", e.Infuse)
	}
	lot.Infused = []string{"orange peel"}
	if e := EvidenceOfLot(lot, nil, now); e.Infuse != "orange peel" || answers(e, US) != "??xa??" {
		t.Errorf("lot: infused %q, %s", e.Infuse, answers(e, US))
	}
	if texts := strings.Join(ShortTexts(OnLot(lot, US)), "; "); !strings.Contains(texts, "Keep in the refrigerator") {
		t.Errorf("on its labels: %s", texts)
	}
}

func TestEvidenceOfLot(t *testing.T) {
	jar := larder.Jar{Tag: "K7RM40", State: larder.Fold(barley())}
	lot := larder.Lot{ID: "L261124A", Name: "Barley vinegar", When: daysAgo(1), Bases: []larder.Base{larder.Ale}, Acidity: *jar.State.Acidity}
	if got := answers(EvidenceOfLot(lot, []larder.Jar{jar}, now.AddDate(1, 0, 0)), US); got != "aaxaa?" {
		t.Errorf("a year in the bottle: %s", got)
	}
	spoilt := jar
	spoilt.State.MouldAt = new(now)
	if got := answers(EvidenceOfLot(lot, []larder.Jar{jar, spoilt}, now), US); got != "xxxxxx" {
		t.Errorf("mould in one of its jars: %s", got)
	}
	held := jar
	held.State.Hold = "odd smell"
	if got := answers(EvidenceOfLot(lot, []larder.Jar{held}, now), US); got != "xxx?xx" {
		t.Errorf("hold on its jar: %s", got)
	}
	thrown := jar
	thrown.State.Stage = larder.Discarded
	if got := answers(EvidenceOfLot(lot, []larder.Jar{thrown}, now), US); got != "xxx?xx" {
		t.Errorf("jar discarded later: %s", got)
	}
	two := lot
	two.Acidity = larder.LotAcidity([]larder.Pour{{VolumeML: 1000}, {VolumeML: 1000}}, []larder.Jar{jar, jar})
	if got := answers(EvidenceOfLot(two, []larder.Jar{jar, jar}, now), US); got != "??xa??" {
		t.Errorf("a mean of two jars is computed: %s", got)
	}
}

func TestLines(t *testing.T) {
	dublin := time.FixedZone("UTC+1", 3600)
	e := titrated(5.5, 0.104)
	e.Now, e.Hold = now.In(dublin), "odd smell."
	text := strings.Join(e.Lines(), "\n")
	for _, want := range []string{"measured: 5.5 ± 0.11 g/100 mL", "at least 5.39", "titrated 20 Nov 2026, 5 days old", "On hold: odd smell.\n"} {
		if !strings.Contains(text+"\n", want) {
			t.Errorf("%q is missing in:\n%s", want, text)
		}
	}
}
