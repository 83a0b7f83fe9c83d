package larder

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
)

// finishedJar is a finished jar with so much in it, titrated or not.
func finishedJar(tag Tag, volume, acidity float64) Jar {
	j := Jar{Tag: tag, SizeML: 5000, State: State{Stage: Finished, StageSince: daysAgo(10), StartedAt: daysAgo(90), VolumeML: ml(volume)}}
	if acidity > 0 {
		j.State.Acidity = &Acidity{GPer100ML: chem.GramsPer100ML(acidity), SDGPer100ML: 0.02, Replicates: 3, ExpandedUGPer100ML: 0.1,
			LowerGPer100ML: chem.GramsPer100ML(acidity - 0.1), Basis: ByTitration, When: daysAgo(3)}
	}
	return j
}

func barleyLot() NewLot {
	return NewLot{When: daysAgo(1), Pours: []Pour{{Jar: jarA}}, Runs: []Run{{Count: 12, SizeML: 250}}}
}

func TestNewLotCheck(t *testing.T) {
	pours, err := barleyLot().Check([]Jar{finishedJar(jarA, 4000, 5.4)}, testNow)
	if err != nil || len(pours) != 1 || pours[0] != (Pour{jarA, 3000}) {
		t.Fatalf("%v, %v; want 3000 mL from %s", pours, err, jarA)
	}
	for name, row := range map[string]struct {
		change func(*NewLot, []Jar)
		want   []string
	}{
		"nothing at all":         {func(n *NewLot, _ []Jar) { n.Runs = nil }, []string{"bottles"}},
		"no bottles":             {func(n *NewLot, _ []Jar) { n.Runs[0].Count = 0 }, []string{"bottles"}},
		"thousands of bottles":   {func(n *NewLot, _ []Jar) { n.Runs[0].Count = 5000 }, []string{"bottles", "bottles"}},
		"a thimble":              {func(n *NewLot, _ []Jar) { n.Runs[0].SizeML = 5 }, []string{"size_ml"}},
		"no size":                {func(n *NewLot, _ []Jar) { n.Runs[0].SizeML = chem.Millilitres(math.NaN()) }, []string{"size_ml"}},
		"a long name":            {func(n *NewLot, _ []Jar) { n.Name = strings.Repeat("x", MaxNameRunes+1) }, []string{"name"}},
		"bottled tomorrow":       {func(n *NewLot, _ []Jar) { n.When = daysAgo(-2) }, []string{"when"}},
		"before it was finished": {func(n *NewLot, _ []Jar) { n.When = daysAgo(20) }, []string{"when"}},
		"still acetic":           {func(_ *NewLot, j []Jar) { j[0].State.Stage = Acetic }, []string{"jars"}},
		"retired":                {func(_ *NewLot, j []Jar) { j[0].State.Stage = Empty }, []string{"jars"}},
		"on hold":                {func(_ *NewLot, j []Jar) { j[0].State.Hold = "mould" }, []string{"jars"}},
		"more than it holds":     {func(_ *NewLot, j []Jar) { j[0].State.VolumeML = ml(2999) }, []string{"volume_ml"}},
		"all that it holds":      {func(_ *NewLot, j []Jar) { j[0].State.VolumeML = ml(3000) }, nil},
		"nothing left":           {func(_ *NewLot, j []Jar) { j[0].State.VolumeML = ml(0) }, []string{"jars"}},
		"a volume that is off":   {func(n *NewLot, _ []Jar) { n.Pours[0].VolumeML = 2000 }, []string{"jars"}},
		"a volume within 2 %":    {func(n *NewLot, _ []Jar) { n.Pours[0].VolumeML = 3050 }, nil},
		"less than nothing":      {func(n *NewLot, _ []Jar) { n.Pours[0].VolumeML = -3000 }, []string{"jars"}},
	} {
		n, jars := barleyLot(), []Jar{finishedJar(jarA, 4000, 5.4)}
		row.change(&n, jars)
		_, err := n.Check(jars, testNow)
		if got := fields(t, err); !slices.Equal(got, row.want) {
			t.Errorf("%s: problems with %q (%v), want %q", name, got, err, row.want)
		}
	}
	twice := barleyLot()
	twice.Pours = []Pour{{Jar: jarA}, {Jar: jarA}}
	jar := finishedJar(jarA, 4000, 5.4)
	if _, err := twice.Check([]Jar{jar, jar}, testNow); err == nil || !strings.Contains(err.Error(), "named twice") {
		t.Errorf("a jar named twice: %v", err)
	}
	none := barleyLot()
	none.Pours = nil
	if _, err := none.Check(nil, testNow); err == nil || !strings.Contains(err.Error(), "Bottle from 1 to") {
		t.Errorf("no jar: %v", err)
	}
}

func TestShareOut(t *testing.T) {
	for name, row := range map[string]struct {
		pours []Pour
		held  [2]float64
		want  [2]chem.Millilitres
		says  string
	}{
		"by what they hold":     {[]Pour{{Jar: jarA}, {Jar: jarB}}, [2]float64{3000, 1500}, [2]chem.Millilitres{2000, 1000}, ""},
		"one named":             {[]Pour{{jarA, 500}, {Jar: jarB}}, [2]float64{3000, 4000}, [2]chem.Millilitres{500, 2500}, ""},
		"both named":            {[]Pour{{jarA, 500}, {jarB, 2500}}, [2]float64{3000, 4000}, [2]chem.Millilitres{500, 2500}, ""},
		"one empty":             {[]Pour{{Jar: jarA}, {Jar: jarB}}, [2]float64{3000, 0}, [2]chem.Millilitres{3000, 0}, ""},
		"too little altogether": {[]Pour{{Jar: jarA}, {Jar: jarB}}, [2]float64{1000, 1000}, [2]chem.Millilitres{}, "cannot be taken out"},
		"the rest is too much":  {[]Pour{{jarA, 500}, {Jar: jarB}}, [2]float64{3000, 1000}, [2]chem.Millilitres{}, "cannot be taken out"},
		"named ones fill all":   {[]Pour{{jarA, 3000}, {Jar: jarB}}, [2]float64{3000, 1000}, [2]chem.Millilitres{}, "leave out the jar"},
		"named ones fall short": {[]Pour{{jarA, 1000}, {jarB, 1000}}, [2]float64{3000, 1000}, [2]chem.Millilitres{}, "the bottles hold 3 L"},
	} {
		n := barleyLot()
		n.Pours = row.pours
		got, err := n.Check([]Jar{finishedJar(jarA, row.held[0], 5), finishedJar(jarB, row.held[1], 5)}, testNow)
		if row.says != "" {
			if err == nil || !strings.Contains(err.Error(), row.says) {
				t.Errorf("%s: %v, want %q", name, err, row.says)
			}
			continue
		}
		if err != nil || math.Abs(float64(got[0].VolumeML-row.want[0])) > 1e-9 || math.Abs(float64(got[1].VolumeML-row.want[1])) > 1e-9 {
			t.Errorf("%s: %v, %v; want %v", name, got, err, row.want)
		}
		if row.pours[1].VolumeML == 0 && n.Pours[1].VolumeML != 0 {
			t.Errorf("%s: Check wrote into its input", name)
		}
	}
}

func TestLotAcidity(t *testing.T) {
	two := []Pour{{jarA, 1000}, {jarB, 3000}}
	one := LotAcidity(two[:1], []Jar{finishedJar(jarA, 4000, 5.4)})
	if one.Basis != ByTitration || one.GPer100ML != 5.4 || one.LabelText() != "5.4 % acidity" {
		t.Errorf("of one jar: %+v", one)
	}
	later := finishedJar(jarB, 4000, 4.6)
	later.State.Acidity.When, later.State.Acidity.StrengthMark = daysAgo(1), "base not checked"
	mean := LotAcidity(two, []Jar{finishedJar(jarA, 4000, 5.4), later})
	// (1 L × 5.4 + 3 L × 4.6) / 4 L = 4.8; the bounds mix likewise: (5.3 + 3 × 4.5) / 4 = 4.7.
	if mean.Basis != Computed || math.Abs(float64(mean.GPer100ML-4.8)) > 1e-9 || math.Abs(float64(mean.LowerGPer100ML-4.7)) > 1e-9 ||
		math.Abs(float64(mean.ExpandedUGPer100ML-0.1)) > 1e-9 || mean.When != daysAgo(3) || mean.StrengthMark == "" {
		t.Errorf("the mean is %+v", mean)
	}
	if mean.LabelText() != "about 4.8 % acidity" {
		t.Errorf("its label says %q", mean.LabelText())
	}
	outdated := finishedJar(jarB, 4000, 4.6)
	outdated.State.Acidity.Basis = Outdated
	for name, jars := range map[string][]Jar{
		"one not measured": {finishedJar(jarA, 4000, 5.4), finishedJar(jarB, 4000, 0)},
		"one outdated":     {finishedJar(jarA, 4000, 5.4), outdated},
		"the only one out": {outdated},
		"no volume at all": {finishedJar(jarA, 4000, 5.4), later},
	} {
		pours := two[:len(jars)]
		if name == "no volume at all" {
			pours = []Pour{{jarA, 0}, {jarB, 0}}
		}
		if a := LotAcidity(pours, jars); a.Basis != NotMeasured || a.GPer100ML != 0 || a.LabelText() != "acidity not measured" || a.LabelNote(time.UTC) != "" {
			t.Errorf("%s: %+v", name, a)
		}
	}
}

// A label rounds down: it promises no more than was found.
func TestLabelText(t *testing.T) {
	for g, want := range map[chem.GramsPer100ML]string{5.4: "5.4 % acidity", 5.49: "5.4 % acidity", 5.0: "5.0 % acidity", 4.99: "4.9 % acidity", 5.1999999999: "5.2 % acidity"} {
		if got := (Acidity{GPer100ML: g, Basis: ByTitration}).LabelText(); got != want {
			t.Errorf("%g: %s, want %s", g, got, want)
		}
	}
	a := Acidity{GPer100ML: 5.4, ExpandedUGPer100ML: 0.12, Basis: ByTitration, When: daysAgo(22)}
	if got := a.LabelNote(time.UTC); got != "titrated 3 Nov 2026, ± 0.2" {
		t.Errorf("LabelNote = %s", got)
	}
	a.Basis = Computed
	if got := a.LabelNote(time.UTC); got != "computed; titrated 3 Nov 2026" {
		t.Errorf("LabelNote = %s", got)
	}
	if got := (Acidity{GPer100ML: 5.4, Basis: Outdated}).LabelText(); got != "acidity not measured" {
		t.Errorf("an outdated acidity is on the label: %s", got)
	}
}

func TestLotNames(t *testing.T) {
	loc := dublin(t)
	late := ExactAt(time.Date(2026, 6, 30, 23, 30, 0, 0, time.UTC)) // 1 July in Dublin
	if got := LotID(late, loc, 0); got != "L260701A" {
		t.Errorf("LotID = %s", got)
	}
	if got := LotID(late, loc, 27); got != "L260701AB" {
		t.Errorf("LotID = %s", got)
	}
	for name, want := range map[string]string{"Barley": "Barley vinegar", "Pear Vinegar no. 2": "Pear Vinegar no. 2"} {
		if got := LotName(Batch{Name: name}); got != want {
			t.Errorf("LotName(%s) = %s", name, got)
		}
	}
}

func TestNewGiftCheck(t *testing.T) {
	lot := Lot{ID: "L261120A", When: daysAgo(5)}
	for name, row := range map[string]struct {
		gift   NewGift
		bottle Bottle
		lot    Lot
		held   []Held
		want   []string
	}{
		"to the neighbours":     {NewGift{To: "the neighbours at no. 4"}, Bottle{}, lot, nil, nil},
		"to nobody":             {NewGift{}, Bottle{}, lot, nil, []string{"to"}},
		"twice":                 {NewGift{To: "ana"}, Bottle{Gift: &Gift{To: "choir supper"}}, lot, nil, []string{""}},
		"of a struck bottling":  {NewGift{To: "ana"}, Bottle{}, Lot{ID: "L261120A", Void: true}, nil, []string{""}},
		"on hold":               {NewGift{To: "ana"}, Bottle{}, lot, []Held{{Jar: jarA, Reason: "mould", Since: daysAgo(3)}}, []string{""}},
		"before the hold":       {NewGift{To: "ana", When: daysAgo(4)}, Bottle{}, lot, []Held{{Jar: jarA, Reason: "mould", Since: daysAgo(3)}}, nil},
		"on the hold's day":     {NewGift{To: "ana", When: daysAgo(3)}, Bottle{}, lot, []Held{{Lot: "L261120A", Reason: "mould", Since: daysAgo(3)}}, []string{""}},
		"before it was bottled": {NewGift{To: "ana", When: daysAgo(9)}, Bottle{}, lot, nil, []string{"when"}},
		"on the day":            {NewGift{To: "ana", When: daysAgo(5)}, Bottle{}, lot, nil, nil},
		"tomorrow":              {NewGift{To: "ana", When: daysAgo(-2)}, Bottle{}, lot, nil, []string{"when"}},
	} {
		if got := fields(t, row.gift.Check(row.bottle, row.lot, row.held, testNow)); !slices.Equal(got, row.want) {
			t.Errorf("%s: problems with %q, want %q", name, got, row.want)
		}
	}
}
