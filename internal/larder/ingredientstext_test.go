package larder

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"cruet/internal/chem"
)

// sameAsJSON fails unless the text is read as json.Unmarshal reads it, or refused as it
// refuses it.
func sameAsJSON(t interface{ Fatalf(string, ...any) }, text string) {
	var want []Ingredient
	wrong := json.Unmarshal([]byte(text), &want)
	got, err := ParseIngredients(text)
	if (err != nil) != (wrong != nil) || (err == nil && !reflect.DeepEqual(got, want)) {
		t.Fatalf("%q is read as %+v, %v\nwant %+v, %v", text, got, err, want, wrong)
	}
}

func TestIngredientsAreReadAsJSON(t *testing.T) {
	plain := 0
	rapid.Check(t, func(t *rapid.T) {
		usual := rapid.Bool().Draw(t, "usual")
		text := func(label string) string {
			if usual {
				return rapid.StringMatching(`[a-zé ,%]{0,12}`).Draw(t, label)
			}
			return rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", `"`, `\`, "<b>", "a\tb", "\xff", "\u2028"})).Draw(t, label)
		}
		number := func(label string) float64 {
			if usual {
				return float64(rapid.IntRange(0, 80_000).Draw(t, label)) / 4
			}
			return rapid.OneOf(rapid.Float64Range(-10, 1e4), rapid.SampledFrom([]float64{0, 1, 15, 340, 0.5, 1e-9, 1e21, -2})).Draw(t, label)
		}
		list := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Ingredient {
			i := Ingredient{Name: text("name"), Supplier: text("supplier"), SupplierLot: text("lot"), Amount: chem.Amount{Value: number("value"), Unit: text("unit"),
				MassG: chem.Grams(number("g")), VolumeML: chem.Millilitres(number("ml"))}}
			if rapid.Bool().Draw(t, "label") {
				i.ABVPercent, i.SugarGPer100G = new(chem.PercentVol(number("abv"))), new(number("sugar"))
			}
			return i
		}), 0, 4).Draw(t, "recipe")
		written, err := json.Marshal(list)
		if err != nil {
			t.Fatal(err)
		}
		if _, ok := plainIngredients(string(written)); ok && len(list) > 0 {
			plain++
		}
		sameAsJSON(t, string(written))
		// Cut, or with something else in it, it is still read as JSON is or refused.
		at := rapid.IntRange(0, len(written)).Draw(t, "at")
		sameAsJSON(t, string(written[:at]))
		sameAsJSON(t, string(written[:at])+rapid.SampledFrom([]string{" ", "0", "-", ".", "null", `"`, ",", "}", "]", "\n", "1e3", `"name":`, "\x01"}).Draw(t, "more")+string(written[at:]))
	})
	if plain < 20 {
		t.Errorf("only %d were read in the quick way", plain)
	}
	for _, text := range []string{"", "null", "[]", "[] ", "[{}]", `[{"name":"a"}]`, `[{"name":"a","amount":{"value":01,"unit":""}}]`, `[{"name":"a","amount":{"value":1.,"unit":""}}]`, `[{"name":"a","amount":{"value":.5,"unit":""}}]`,
		`[{"name":"a","amount":{"value":1.2.3,"unit":""}}]`, `[{"name":"a","amount":{"value":,"unit":""}}]`, `[{"name":"a","amount":{"value":1,"unit":"L"}},]`, `[,{"name":"a","amount":{"value":1,"unit":"L"}}]`,
		`[{"name":"a","amount":{"value":` + strings.Repeat("9", 400) + `,"unit":"L"}}]`} {
		sameAsJSON(t, text)
	}
}

func FuzzIngredients(f *testing.F) {
	f.Add(`[{"name":"pears","amount":{"value":2.4,"unit":"kg","mass_g":2400},"supplier":"the yard"}]`)
	f.Fuzz(func(t *testing.T, text string) { sameAsJSON(t, text) })
}

func BenchmarkIngredients(b *testing.B) {
	const text = `[{"name":"apple juice","amount":{"value":15,"unit":"L","volume_ml":15000}},{"name":"sugar","amount":{"value":340,"unit":"g","mass_g":340},"supplier":"corner shop"}]`
	b.Run("here", func(b *testing.B) {
		for b.Loop() {
			if _, err := ParseIngredients(text); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("json", func(b *testing.B) {
		for b.Loop() {
			var out []Ingredient
			if err := json.Unmarshal([]byte(text), &out); err != nil {
				b.Fatal(err)
			}
		}
	})
}
