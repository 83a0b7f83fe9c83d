package larder

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

var testNow = time.Date(2026, 11, 25, 9, 30, 0, 0, time.UTC)

// daysAgo is noon so many days before testNow.
func daysAgo(n int) When {
	return When{At: time.Date(2026, 11, 25-n, 12, 0, 0, 0, time.UTC), Precision: Day}
}

func ml(v float64) *chem.Millilitres { return new(chem.Millilitres(v)) }

// fields are the fields that an error marks, in order; nil when err is nil.
func fields(t *testing.T, err error) []string {
	t.Helper()
	if err == nil {
		return nil
	}
	var p Problems
	if !errors.As(err, &p) {
		t.Fatalf("%v is %T, not Problems", err, err)
	}
	var names []string
	for _, one := range p {
		if strings.TrimSpace(one.Message) == "" || !strings.ContainsAny(one.Message[len(one.Message)-1:], ".?") {
			t.Errorf("%s: %q is not a sentence", one.Field, one.Message)
		}
		names = append(names, one.Field)
	}
	return names
}

func pears() NewBatch {
	return NewBatch{Name: "Pear trimmings", Base: FruitScraps, Jars: 2, JarSizeML: 3000, TargetGPer100ML: DefaultTarget}
}

func TestNewBatchCheck(t *testing.T) {
	if err := pears().Check(testNow); err != nil {
		t.Fatalf("a plain batch is refused: %v", err)
	}
	for name, row := range map[string]struct {
		change func(*NewBatch)
		want   []string
	}{
		"nothing at all":        {func(n *NewBatch) { *n = NewBatch{} }, []string{"name", "base", "jars", "jar_size_ml", "target_g_per_100ml"}},
		"a blank name":          {func(n *NewBatch) { n.Name = " \t" }, []string{"name"}},
		"a long name":           {func(n *NewBatch) { n.Name = strings.Repeat("ä", MaxNameRunes+1) }, []string{"name"}},
		"a name of limit":       {func(n *NewBatch) { n.Name = strings.Repeat("ä", MaxNameRunes) }, nil},
		"broken characters":     {func(n *NewBatch) { n.Name = "Pe\xffr" }, []string{"name"}},
		"a control character":   {func(n *NewBatch) { n.Name = "Pe\x00r" }, []string{"name"}},
		"an alias of a base":    {func(n *NewBatch) { n.Base = "scraps" }, []string{"base"}},
		"an unknown stage":      {func(n *NewBatch) { n.Stage = "vinegar" }, []string{"stage"}},
		"a finished start":      {func(n *NewBatch) { n.Stage = Finished }, []string{"stage"}},
		"a discarded start":     {func(n *NewBatch) { n.Stage = Discarded }, []string{"stage"}},
		"a maturing start":      {func(n *NewBatch) { n.Stage = Maturing }, nil},
		"too many jars":         {func(n *NewBatch) { n.Jars = MaxJars + 1 }, []string{"jars"}},
		"a thimble":             {func(n *NewBatch) { n.JarSizeML = 20 }, []string{"jar_size_ml"}},
		"a tank":                {func(n *NewBatch) { n.JarSizeML = 300_000 }, []string{"jar_size_ml"}},
		"an overfull jar":       {func(n *NewBatch) { n.FillML = ml(3001) }, []string{"fill_ml"}},
		"an empty jar":          {func(n *NewBatch) { n.FillML = ml(0) }, []string{"fill_ml"}},
		"a full jar":            {func(n *NewBatch) { n.FillML = ml(3000) }, nil},
		"a target of essence":   {func(n *NewBatch) { n.TargetGPer100ML = 25 }, []string{"target_g_per_100ml"}},
		"a start to come":       {func(n *NewBatch) { n.When = daysAgo(-3) }, []string{"when"}},
		"a start in the past":   {func(n *NewBatch) { n.When = daysAgo(61) }, nil},
		"a nameless ingredient": {func(n *NewBatch) { n.Ingredients = []Ingredient{{Name: "pears"}, {}} }, []string{"ingredients[1].name"}},
		"a shopping list":       {func(n *NewBatch) { n.Ingredients = slices.Repeat([]Ingredient{{Name: "pears"}}, MaxIngredients+1) }, []string{"ingredients"}},
		"more tags than jars":   {func(n *NewBatch) { n.SpareTags = make([]Tag, 3) }, []string{"spare_tags"}},
		"a novel":               {func(n *NewBatch) { n.Note = strings.Repeat("x", MaxNoteRunes+1) }, []string{"note"}},
		"a drinking straw":      {func(n *NewBatch) { n.JarOuterDiameterMM = 5 }, []string{"jar_outer_diameter_mm"}},
	} {
		n := pears()
		row.change(&n)
		if got := fields(t, n.Check(testNow)); !slices.Equal(got, row.want) {
			t.Errorf("%s: problems with %q, want %q", name, got, row.want)
		}
	}
}

func TestParseBase(t *testing.T) {
	for typed, want := range map[string]Base{"Fruit  Scraps": FruitScraps, "scraps": FruitScraps, "beer": Ale, "ALE": Ale, "honey": Honey, "other": OtherBase} {
		if got, err := ParseBase(typed); err != nil || got != want {
			t.Errorf("ParseBase(%q) = %s, %v; want %s", typed, got, err, want)
		}
	}
	if _, err := ParseBase("milk"); err == nil || !strings.Contains(err.Error(), "fruit scraps, juice") {
		t.Errorf("ParseBase(milk) = %v, want an error that lists the bases", err)
	}
	for _, b := range Bases() {
		if s := b.FirstStage(); s != Must && s != Alcoholic {
			t.Errorf("a batch of %s starts as %s", b, s)
		}
	}
}

func TestActCheck(t *testing.T) {
	if err := (Act{Key: uuid.New(), By: "ro"}).Check(); err != nil {
		t.Error(err)
	}
	if got := fields(t, Act{By: strings.Repeat("x", MaxByRunes+1)}.Check()); !slices.Equal(got, []string{"key", "by"}) {
		t.Errorf("problems with %q", got)
	}
}

func TestJarLetter(t *testing.T) {
	for n, want := range map[int]string{0: "A", 25: "Z", 26: "AA", 27: "AB", 51: "AZ", 52: "BA", 701: "ZZ", 702: "AAA"} {
		if got := JarLetter(n); got != want {
			t.Errorf("JarLetter(%d) = %s, want %s", n, got, want)
		}
	}
}

// Heaviest first: 21 CFR 101.4(a)(1); Regulation (EU) 1169/2011, article 18(1).
func TestIngredientsByWeight(t *testing.T) {
	mass := func(g float64) chem.Amount { return chem.Amount{MassG: chem.Grams(g)} }
	got := IngredientsByWeight([]Ingredient{
		{Name: "rosemary"}, {Name: "sugar", Amount: mass(340)}, {Name: "pears", Amount: mass(1400)},
		{Name: "water", Amount: chem.Amount{VolumeML: 2000}}, {Name: "pears", Amount: mass(1000)},
	})
	if want := []string{"pears", "water", "sugar", "rosemary"}; !slices.Equal(got, want) {
		t.Errorf("IngredientsByWeight = %q, want %q", got, want)
	}
}

func TestProblems(t *testing.T) {
	var p Problems
	p.AddError("ph", nil)
	if p.Err() != nil {
		t.Error("no problem is an error")
	}
	p.AddError("ph", chem.CheckPH(32))
	p.AddError("", &chem.FieldError{Field: "sample_ml", Message: "Too much."})
	p.AddError("when", Refuse("start", "Too late."))
	p.AddError("other", errors.New("Broken."))
	if got := fields(t, p.Err()); !slices.Equal(got, []string{"ph", "sample_ml", "start", "other"}) {
		t.Errorf("fields %q", got)
	}
	if !strings.HasSuffix(p.Error(), "Too much. Too late. Broken.") {
		t.Errorf("Error() = %s", p.Error())
	}
}

func TestKitchen(t *testing.T) {
	loc := dublin(t)
	k := Kitchen{Name: "Quince Yard", TimeZone: "Europe/Dublin"}
	if err := k.Check(); err != nil || k.Location().String() != loc.String() || k.Units() != chem.Metric {
		t.Errorf("%v, %v, %v", err, k.Location(), k.Units())
	}
	k.USUnits = true
	if k.Units() != chem.US {
		t.Error("US units are not shown")
	}
	if got := (Kitchen{}).Location(); got != time.Local {
		t.Errorf("a kitchen without a zone is in %v", got)
	}
	bad := Kitchen{TimeZone: "Dublin", MakerLine: strings.Repeat("x", MaxNameRunes+1)}
	if got := fields(t, bad.Check()); !slices.Equal(got, []string{"name", "maker_line", "time_zone"}) {
		t.Errorf("problems with %q", got)
	}
	if bad.Location() != time.Local {
		t.Error("an unknown zone is not the machine's")
	}
}
