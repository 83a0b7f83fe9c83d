package larder

import (
	"math"
	"slices"
	"strings"
	"testing"

	"cruet/internal/chem"
)

func finished(tag Tag, volume, acidity, expanded float64) Jar {
	return Jar{Tag: tag, SizeML: 5000, State: State{Stage: Finished, StartedAt: daysAgo(60), StageSince: daysAgo(5), VolumeML: ml(volume),
		Acidity: &Acidity{GPer100ML: chem.GramsPer100ML(acidity), ExpandedUGPer100ML: chem.GramsPer100ML(expanded), LowerGPer100ML: chem.GramsPer100ML(acidity - expanded), Basis: ByTitration, When: daysAgo(4)}}}
}

// The mass balance C1 V1 = C2 V2: 3 L at 6.0 make 3.6 L at 5.0; kept surely at
// 5.0 with ± 0.2, 3 L × 5.8 / 5.0 = 3.48 L.
func TestFinish(t *testing.T) {
	f, err := Finish([]Jar{finished(jarA, 3000, 6, 0.2)}, 5, []chem.Millilitres{250, 500, 1000})
	if err != nil {
		t.Fatal(err)
	}
	near := func(what string, got chem.Millilitres, want float64) {
		t.Helper()
		if math.Abs(float64(got)-want) > 0.001 {
			t.Errorf("%s is %g, want %g", what, float64(got), want)
		}
	}
	near("the held volume", f.HeldML, 3000)
	near("the water", f.Water.WaterML, 600)
	near("the sure water", f.AddML, 480)
	near("the expected volume", f.ExpectedML, 3480)
	near("the expected acidity", chem.Millilitres(f.ExpectedGPer100ML), 6*3000/3480.0)
	if want := []Fill{{250, 13, 230}, {500, 6, 480}, {1000, 3, 480}}; len(f.Fills) != 3 || f.Fills[0].Count != want[0].Count || f.Fills[1].Count != want[1].Count || f.Fills[2].Count != want[2].Count ||
		math.Abs(float64(f.Fills[0].LeftML-want[0].LeftML)) > 0.001 || math.Abs(float64(f.Fills[2].LeftML-want[2].LeftML)) > 0.001 {
		t.Errorf("it fills %+v, want %+v", f.Fills, want)
	}
	// Two jars together: 3 L at 6.0 and 1 L at 4.0 are 4 L at 5.5.
	f, err = Finish([]Jar{finished(jarA, 3000, 6, 0.2), finished(jarB, 1000, 4, 0.2)}, 0, []chem.Millilitres{500})
	if err != nil || f.Acidity.Basis != Computed || math.Abs(float64(f.ExpectedGPer100ML)-5.5) > 1e-9 || f.Water != nil || f.WhyNoWater != "" || f.ExpectedML != 4000 || f.Fills[0] != (Fill{500, 8, 0}) {
		t.Errorf("together %+v, %v", f, err)
	}
	// A full jar does not hold the water too.
	if f, err := Finish([]Jar{finished(jarA, 5000, 6, 0)}, 5, nil); err != nil || math.Abs(float64(f.OverflowML)-1000) > 0.001 {
		t.Errorf("the full jar: %+v, %v", f, err)
	}
}

func TestFinishCannot(t *testing.T) {
	jar := func(change func(*State)) Jar {
		j := finished(jarA, 3000, 4, 0.2)
		change(&j.State)
		return j
	}
	for name, row := range map[string]struct {
		jar  Jar
		says string
	}{
		"weaker than the target": {jar(func(*State) {}), "Water cannot make 5"},
		"never titrated":         {jar(func(s *State) { s.Acidity = nil }), "Titrate first"},
		"fed since":              {jar(func(s *State) { s.Acidity.Basis = Outdated }), "Titrate first"},
		"titrated too roughly":   {jar(func(s *State) { s.Acidity.ExpandedUGPer100ML = 5 }), "too roughly"},
	} {
		f, err := Finish([]Jar{row.jar}, 5, []chem.Millilitres{250})
		if err != nil || f.Water != nil || !strings.Contains(f.WhyNoWater, row.says) || f.ExpectedML != 3000 || f.Fills[0].Count != 12 {
			t.Errorf("%s: %+v, %v", name, f, err)
		}
	}
	for name, row := range map[string]struct {
		jars   []Jar
		target chem.GramsPer100ML
		sizes  []chem.Millilitres
		want   []string
	}{
		"no jar":         {nil, 5, nil, []string{"jars"}},
		"volume unknown": {[]Jar{jar(func(s *State) { s.VolumeML = nil })}, 5, nil, []string{"jars"}},
		"nothing left":   {[]Jar{jar(func(s *State) { s.VolumeML = ml(0) })}, 5, nil, []string{"jars"}},
		"a target of 50": {[]Jar{finished(jarA, 10, 6, 0)}, 50, nil, []string{"target_g_per_100ml"}},
		"a thimble":      {[]Jar{finished(jarA, 10, 6, 0)}, 0, []chem.Millilitres{1}, []string{"size_ml"}},
	} {
		_, err := Finish(row.jars, row.target, row.sizes)
		if got := fields(t, err); !slices.Equal(got, row.want) {
			t.Errorf("%s: problems with %q, want %q", name, got, row.want)
		}
	}
}

// 2 kg of fruit and 2 L of water made 2.5 L; 1 L of that and 500 mL of wine, and
// 30 g of thyme in it: 800 g fruit, 800 g water, 500 g wine and 30 g thyme.
func TestMix(t *testing.T) {
	fruit := ContentsOfRecipe([]Ingredient{{Name: "plums", Amount: chem.Amount{MassG: 2000}}, {Name: "water", Amount: chem.Amount{VolumeML: 2000}}, {Name: "a cinnamon stick"}}, 2500)
	jars := map[Tag]Contents{jarA: fruit, jarB: ContentsOfRecipe([]Ingredient{{Name: "wine", Amount: chem.Amount{VolumeML: 700}}}, 0)}
	const jarC Tag = "C"
	Mix(jars, []Inflow{
		{To: jarC, From: jarA, VolumeML: 1000},
		{To: jarC, From: jarB, VolumeML: 500, HeldML: 1000},
		{To: jarC, From: jarB},
		{To: jarC, Name: "thyme", MassG: 30, HeldML: 1500},
		{To: jarB, From: jarB, VolumeML: 10, HeldML: 90}, // nonsense, yet harmless
	})
	lot := ContentsOfLot([]Pour{{Jar: jarC, VolumeML: 1500}}, jars)
	for name, want := range map[string]float64{"plums": 800, "water": 800, "wine": 500, "thyme": 30, "a cinnamon stick": 0} {
		if got := lot[name] * 1500; math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %g g, want %g", name, got, want)
		}
	}
	if got := lot.ByWeight(); !slices.Equal(got, []string{"plums", "water", "wine", "thyme", "a cinnamon stick"}) {
		t.Errorf("by weight %v", got)
	}
	if jars[jarB]["wine"] != 1 {
		t.Errorf("the wine is %v", jars[jarB])
	}
}

// The recall checklist's effectiveness: (on hand + delivered + incidental use) ÷
// total × 100 (NC State Extension, Food Safety Recall Plan Checklist).
func TestBalance(t *testing.T) {
	b := Balance{MadeML: 4000, OnHandML: 1500, GivenML: 2000, UsedML: 300}.Close()
	if b.UnaccountedML != 200 || b.EffectivenessPercent != 95 {
		t.Errorf("%+v", b)
	}
	if b := (Balance{}).Close(); b.EffectivenessPercent != 0 || b.UnaccountedML != 0 {
		t.Errorf("%+v", b)
	}
}

// What two jars take along into a blend.
func TestInheritBlend(t *testing.T) {
	a, b := finished(jarA, 3000, 6, 0.2), finished(jarB, 1000, 4, 0.2)
	early, late := daysAgo(9).At, daysAgo(3).At
	a.State.HeatedAt, b.State.MouldAt, a.State.StrainedAt, b.State.StrainedAt = &early, &late, &early, &late
	a.State.WaterPart, a.State.Infused, b.State.Infused = 0.4, []string{"thyme", "peel"}, []string{"peel"}
	in := InheritBlend([]Pour{{Jar: jarA, VolumeML: 1000}, {Jar: jarB, VolumeML: 1000}}, []Jar{a, b})
	switch {
	case in.HeatedAt != nil:
		t.Error("half of it was heated, and the blend is said to be")
	case in.MouldAt == nil || !in.StrainedAt.Equal(late):
		t.Errorf("mould %v, strained %v", in.MouldAt, in.StrainedAt)
	case in.WaterPart != 0.2 || !slices.Equal(in.Infused, []string{"thyme", "peel"}):
		t.Errorf("%+v", in)
	case in.Acidity == nil || in.Acidity.GPer100ML != 5 || in.Acidity.Basis != Computed || len(in.AcidityFrom) != 2:
		t.Errorf("%+v", in.Acidity)
	}
	b.State.Acidity.Basis = Outdated
	if in := InheritBlend([]Pour{{Jar: jarA, VolumeML: 1000}, {Jar: jarB, VolumeML: 1000}}, []Jar{a, b}); in.Acidity != nil || in.AcidityFrom != nil {
		t.Errorf("one jar's acidity is outdated, and the blend has %+v", in.Acidity)
	}
	if got := BlendStage([]Jar{a, {State: State{Stage: Acetic}}}); got != Acetic {
		t.Errorf("the blend is %s", got)
	}
}
