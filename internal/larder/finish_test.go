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

func aim(v chem.GramsPer100ML) *chem.GramsPer100ML { return &v }

// The mass balance C1 V1 = C2 V2: 3 L at 6.0 make 3.6 L at 5.0; kept surely at
// 5.0 with ± 0.2, 3 L × 5.8 / 5.0 = 3.48 L.
func TestFinish(t *testing.T) {
	f, err := Finish([]Jar{finished(jarA, 3000, 6, 0.2)}, aim(5), []chem.Millilitres{250, 500, 1000})
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
	f, err = Finish([]Jar{finished(jarA, 3000, 6, 0.2), finished(jarB, 1000, 4, 0.2)}, aim(0), []chem.Millilitres{500})
	if err != nil || f.Acidity.Basis != Computed || math.Abs(float64(f.ExpectedGPer100ML)-5.5) > 1e-9 || f.Water != nil || f.WhyNoWater != "" || f.ExpectedML != 4000 || f.Fills[0] != (Fill{500, 8, 0}) {
		t.Errorf("together %+v, %v", f, err)
	}
	// A full jar does not hold the water too.
	if f, err := Finish([]Jar{finished(jarA, 5000, 6, 0)}, aim(5), nil); err != nil || math.Abs(float64(f.OverflowML)-1000) > 0.001 {
		t.Errorf("the full jar: %+v, %v", f, err)
	}
}

// "Surely" is said of what was measured; what was computed is titrated first.
func TestWaterSentence(t *testing.T) {
	watered := finished(jarA, 3000, 6, 0.2)
	watered.State.Acidity.Basis, watered.State.Acidity.Why = Computed, "measured before 1 L of water went in"
	for name, row := range map[string]struct {
		jars []Jar
		sure bool
	}{
		"measured": {[]Jar{finished(jarA, 3000, 6, 0.2)}, true},
		"together": {[]Jar{finished(jarA, 3000, 6, 0.2), finished(jarB, 1000, 6.5, 0.2)}, false},
		"watered":  {[]Jar{watered}, false},
	} {
		f, err := Finish(row.jars, aim(5), nil)
		if err != nil || f.Water == nil {
			t.Fatalf("%s: %+v, %v", name, f, err)
		}
		text := f.WaterSentence(chem.Metric)
		if strings.Contains(text, "surely") != row.sure || strings.Contains(text, "titrate before you add it") == row.sure || !strings.Contains(text, chem.FormatVolume(f.AddML, chem.Metric)) {
			t.Errorf("%s: %s", name, text)
		}
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
		f, err := Finish([]Jar{row.jar}, aim(5), []chem.Millilitres{250})
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
		_, err := Finish(row.jars, &row.target, row.sizes)
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

// Sizes as a kitchen types them; the fluid ounce is NIST Handbook 44's, 231 cubic
// inches ÷ 128.
func TestParseSizes(t *testing.T) {
	const flOz = 231 * 16.387064 / 128
	for text, want := range map[string][]chem.Millilitres{
		"250mL,500mL": {250, 500}, "250, 500 mL": {250, 500}, "0,25 L; 500 mL": {250, 500}, "8 fl oz, 250 mL, 250 mL,": {8 * flOz, 250}, "": nil, " , ;": nil,
		"1 1/2 cups": {12 * flOz},
	} {
		got, err := ParseSizes(text)
		if err != nil || len(got) != len(want) {
			t.Errorf("%q gives %v, %v; want %v", text, got, err, want)
			continue
		}
		for i := range got {
			if math.Abs(float64(got[i]-want[i])) > 1e-6 {
				t.Errorf("%q gives %v, want %v", text, got, want)
			}
		}
	}
	for _, text := range []string{"250", "some mL", "-3 mL", "1 mL,2 mL,3 mL,4 mL,5 mL,6 mL,7 mL,8 mL,9 mL"} {
		if got, err := ParseSizes(text); fields(t, err) == nil || got != nil {
			t.Errorf("%q gives %v, %v", text, got, err)
		}
	}
	for _, units := range []chem.System{chem.Metric, chem.US} {
		if got, err := ParseSizes(CommonSizes(units)); err != nil || len(got) != 3 {
			t.Errorf("the common sizes are %v, %v", got, err)
		}
	}
}

// FuzzParseSizes reads any line as sizes of bottle: a few that are volumes, or a
// problem.
func FuzzParseSizes(f *testing.F) {
	for _, text := range []string{"250mL,500mL", "250, 500 mL", "0,25 L; 500 mL", "8 fl oz\n1 1/2 cups", " , ;", "1e999 mL", "½ cup, ٣ mL"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		sizes, err := ParseSizes(text)
		if err != nil && (fields(t, err) == nil || sizes != nil) || len(sizes) > MaxSizes {
			t.Fatalf("%q gives %v, %v", text, sizes, err)
		}
		for _, ml := range sizes {
			if math.IsNaN(float64(ml)) || math.IsInf(float64(ml), 0) || ml < 0 {
				t.Fatalf("%q gives %v", text, sizes)
			}
		}
	})
}

// By sense a jar goes to shop strength only where its lower bound lies above it.
func TestTargetBySense(t *testing.T) {
	for acidity, want := range map[float64]chem.GramsPer100ML{6: 5, 5.3: 5, 5.1: 0, 4: 0} {
		f, err := Finish([]Jar{finished(jarA, 3000, acidity, 0.2)}, nil, nil)
		if err != nil || f.TargetGPer100ML != want {
			t.Errorf("%g is brought to %g, %v; want %g", acidity, f.TargetGPer100ML, err, want)
		}
		if want > 0 && float64(f.Expected.LowerGPer100ML) < float64(want)-1e-9 {
			t.Errorf("%g: the lower bound after the water is %g", acidity, f.Expected.LowerGPer100ML)
		}
	}
	marked := finished(jarA, 3000, 6, 0.2)
	marked.State.Acidity.StrengthMark = "the base was never checked"
	if f, err := Finish([]Jar{marked}, aim(5), nil); err != nil || f.Water != nil || !strings.Contains(f.WhyNoWater, "never checked") {
		t.Errorf("a marked titration carries water: %+v, %v", f, err)
	}
	young := finished(jarA, 3000, 6, 0.2)
	young.State.Stage = Maturing
	if f, err := Finish([]Jar{young}, nil, nil); err != nil || len(f.NotYet) != 1 || !strings.Contains(f.NotYet[0], "maturing, not finished") {
		t.Errorf("a maturing jar: %+v, %v", f, err)
	}
}
