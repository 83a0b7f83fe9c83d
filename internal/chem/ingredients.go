package chem

import (
	"fmt"
	"sort"
	"strings"
)

// Food is a sugar source. Sugars are g per 100 g of it, split because sucrose gives 5 % more alcohol
// than hexoses (glucose, fructose); where only the total is known it counts as hexose, the lower yield.
type Food struct {
	Name      string
	SucroseG  float64 // per 100 g
	HexoseG   float64 // per 100 g
	GPerUSCup float64 // 0: not usually measured by the cup
	GPerUSTsp float64 // 0: a 48th of a cup
	GPerPiece float64 // 0: not counted
	GPerML    float64 // 0: not a liquid
	Solid     bool    // fruit pieces, which give up only a part
	Source    string
	aliases   []string
}

const (
	usda    = "USDA SR Legacy"
	usdaMem = "USDA SR Legacy, from memory"
)

// foods are values of the USDA (FoodData Central, SR Legacy).
var foods = []Food{
	{Name: "sugar", SucroseG: 99.8, GPerUSCup: 200, GPerUSTsp: 4.2, Source: usdaMem + "; teaspoon from PMC3471321, Table 1", aliases: []string{"white sugar", "table sugar", "cane sugar", "granulated sugar", "sucrose"}},
	{Name: "brown sugar", SucroseG: 94.6, HexoseG: 2.5, GPerUSCup: 220, GPerUSTsp: 4.6, Source: usdaMem, aliases: []string{"packed brown sugar"}},
	{Name: "honey", SucroseG: 0.89, HexoseG: 81.23, GPerUSCup: 339, GPerUSTsp: 7.0, GPerML: 339 / USCupML, Source: usdaMem},
	{Name: "apple juice", SucroseG: 1.26, HexoseG: 8.36, GPerUSCup: 248, GPerML: 248 / USCupML, Source: usda + " 09016", aliases: []string{"sweet cider", "fresh cider"}},
	{Name: "grape juice", HexoseG: 14.2, GPerUSCup: 253, GPerML: 253 / USCupML, Source: usdaMem, aliases: []string{"grape must"}},
	{Name: "apple", SucroseG: 2.07, HexoseG: 8.32, GPerUSCup: 125, GPerPiece: 182, Solid: true, Source: usda + " 09003; split and measures from memory"},
	{Name: "grape", HexoseG: 15.5, GPerUSCup: 151, Solid: true, Source: "USDA values in PMC3471321, Table 1"},
	{Name: "pear", HexoseG: 9.75, GPerUSCup: 140, GPerPiece: 178, Solid: true, Source: usdaMem},
	{Name: "peach", SucroseG: 4.76, HexoseG: 3.49, GPerUSCup: 154, GPerPiece: 150, Solid: true, Source: usdaMem},
	{Name: "plum", SucroseG: 1.57, HexoseG: 8.14, GPerUSCup: 165, GPerPiece: 66, Solid: true, Source: usdaMem},
	{Name: "apricot", SucroseG: 5.87, HexoseG: 3.31, GPerUSCup: 155, GPerPiece: 35, Solid: true, Source: usdaMem},
	{Name: "sweet cherry", HexoseG: 12.82, GPerUSCup: 138, Solid: true, Source: usdaMem, aliases: []string{"cherry", "cherries", "sweet cherries"}},
	{Name: "strawberry", HexoseG: 4.89, GPerUSCup: 152, Solid: true, Source: usdaMem, aliases: []string{"strawberries"}},
	{Name: "raspberry", HexoseG: 4.42, GPerUSCup: 123, Solid: true, Source: usdaMem, aliases: []string{"raspberries"}},
	{Name: "blackberry", HexoseG: 4.88, GPerUSCup: 144, Solid: true, Source: usdaMem, aliases: []string{"blackberries"}},
	{Name: "blueberry", HexoseG: 9.96, GPerUSCup: 148, Solid: true, Source: usdaMem, aliases: []string{"blueberries"}},
	{Name: "pineapple", SucroseG: 5.99, HexoseG: 3.85, GPerUSCup: 165, Solid: true, Source: usdaMem},
	{Name: "banana", SucroseG: 2.39, HexoseG: 9.83, GPerUSCup: 150, GPerPiece: 118, Solid: true, Source: usdaMem},
	{Name: "fig", HexoseG: 16.26, GPerPiece: 50, Solid: true, Source: usdaMem},
	{Name: "water", GPerML: 1, Source: "no sugar"},
}

// trimmings are words that make a fruit out of its peelings: "apple cores and peels" is apple.
var trimmings = map[string]bool{"scraps": true, "scrap": true, "trimmings": true, "peel": true, "peels": true, "peelings": true, "cores": true,
	"core": true, "skins": true, "pieces": true, "and": true, "fresh": true, "raw": true, "chopped": true, "ripe": true, "of": true, "fruit": true, "tap": true, "boiled": true, "cold": true, "warm": true}

// FindFood looks an ingredient's name up; plurals and words like "peels" or "scraps" do not matter.
func FindFood(name string) (Food, bool) {
	var words []string
	for _, w := range strings.Fields(strings.ToLower(strings.NewReplacer(",", " ", "&", " ").Replace(name))) {
		if !trimmings[w] {
			words = append(words, w)
		}
	}
	n := strings.Join(words, " ")
	for _, f := range foods {
		for _, a := range append([]string{f.Name}, f.aliases...) {
			if n != "" && (n == a || n == a+"s" || n == a+"es") {
				return f, true
			}
		}
	}
	return Food{}, false
}

// FoodNames lists what FindFood knows, for help texts and errors.
func FoodNames() []string {
	var out []string
	for _, f := range foods {
		out = append(out, f.Name)
	}
	sort.Strings(out)
	return out
}

// Ingredient is one line of a recipe. SugarGPer100G, when set, is what its label says and wins over
// the table; ABVPercent says that it is wine, ale, cider or spirit, given by volume.
type Ingredient struct {
	Name          string     `json:"name"`
	Amount        Amount     `json:"amount"`
	SugarGPer100G *float64   `json:"sugar_g_per_100g,omitempty"`
	ABVPercent    PercentVol `json:"abv_percent,omitempty"`
}

// Sugars is what a list of ingredients brings: sugar that gets into the liquid, and liquid.
type Sugars struct {
	SucroseG  float64     `json:"sucrose_g"`
	HexoseG   float64     `json:"hexose_g"`
	LowG      float64     `json:"low_g"`      // both sugars, if the fruit gives up little
	HighG     float64     `json:"high_g"`     // both, if it gives up much
	VolumeML  Millilitres `json:"volume_ml"`  // of the liquid, fruit strained out
	AlcoholML Millilitres `json:"alcohol_ml"` // pure alcohol in it
	Lines     []SugarLine `json:"lines"`
	Unknown   []string    `json:"unknown,omitempty"` // names not in the table; they count as no sugar
	Notes     []string    `json:"notes,omitempty"`
}

// SugarLine is one ingredient's share.
type SugarLine struct {
	Name   string  `json:"name"`
	MassG  Grams   `json:"mass_g"`
	SugarG float64 `json:"sugar_g"`
	Source string  `json:"source"`
}

// Fruit pieces in water give up only part of their sugar: common practice, no published source.
const (
	releasedLow    = 0.3
	releasedLikely = 0.5
	releasedHigh   = 0.8
)

// mlPerGSugar is what a gram of dissolved sugar adds to the volume: 1/0.6 as 10 °Bx and 20 °Bx
// solutions weigh 1.0381 and 1.0810 g/mL (CRC Handbook), which makes it 0.62.
const mlPerGSugar = 0.62

// SugarFrom adds up the sugar and liquid of a recipe. released is the share of fruit sugar that comes
// out, 0 for the usual 0.5. The error is a *FieldError on "ingredients" or "released".
func SugarFrom(list []Ingredient, released float64) (Sugars, error) {
	if err := check("released", released); err != nil {
		return Sugars{}, err
	}
	likely, low, high := releasedLikely, releasedLow, releasedHigh
	if released > 0 {
		likely, low, high = released, released, released
	}
	var out Sugars
	for _, i := range list {
		f, known := FindFood(i.Name)
		if i.SugarGPer100G != nil {
			if s := *i.SugarGPer100G; !finite(s) || s < 0 || s > 100 {
				return Sugars{}, fieldErr("ingredients", "Sugar of %s must be 0 to 100 g per 100 g, as its label says.", clip(i.Name))
			}
			f.SucroseG, f.HexoseG, f.Source, known = 0, *i.SugarGPer100G, "label", true
		}
		if i.ABVPercent != 0 {
			if err := i.checkDrink(); err != nil {
				return Sugars{}, err
			}
			out.AlcoholML += i.Amount.VolumeML * Millilitres(i.ABVPercent) / 100
			f.Solid, f.GPerML, known = false, 1, true
			if f.Source == "" {
				f.Source = "alcohol only"
			}
		}
		if !known {
			out.Unknown = append(out.Unknown, i.Name)
			continue
		}
		if i.Amount == (Amount{}) {
			return Sugars{}, fieldErr("ingredients", "How much went in is not known of: %s. Give its weight or volume.", clip(i.Name))
		}
		g, err := f.grams(i.Amount)
		if err != nil {
			return Sugars{}, err
		}
		share, lo, hi := 1.0, 1.0, 1.0
		if f.Solid {
			share, lo, hi = likely, low, high
		}
		all := float64(g) / 100 * (f.SucroseG + f.HexoseG)
		out.SucroseG += float64(g) / 100 * f.SucroseG * share
		out.HexoseG += float64(g) / 100 * f.HexoseG * share
		out.LowG += all * lo
		out.HighG += all * hi
		out.VolumeML += f.liquid(g, i.Amount)
		out.Lines = append(out.Lines, SugarLine{i.Name, g, all * share, f.Source})
	}
	out.addNotes(released)
	return out, nil
}

// checkDrink refuses an alcoholic ingredient that has no volume.
func (i Ingredient) checkDrink() error {
	if err := checkAs("ingredients", "abv_percent", float64(i.ABVPercent)); err != nil {
		return err
	}
	if i.Amount.VolumeML <= 0 {
		return fieldErr("ingredients", "Give %s by volume, like 1 L, so that its alcohol can be counted.", clip(i.Name))
	}
	return nil
}

// Ceiling asks how sour this recipe can become; volume is that of the finished liquid, 0 for the
// recipe's own.
func (s Sugars) Ceiling(volume Millilitres, target GramsPer100ML) Ceiling {
	if volume == 0 {
		volume = s.VolumeML
	}
	c := Ceiling{VolumeML: volume, SucroseG: s.SucroseG, HexoseG: s.HexoseG, TargetGPer100ML: target}
	if volume > 0 {
		c.ABVPercent = PercentVol(100 * s.AlcoholML / volume)
	}
	return c
}

func (s *Sugars) addNotes(released float64) {
	if s.HighG > s.LowG {
		s.Notes = append(s.Notes, fmt.Sprintf("Fruit pieces are taken to give up half of their sugar to the water (%.0f to %.0f %%).", 100*releasedLow, 100*releasedHigh))
	} else if released > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("Fruit pieces are taken to give up %.0f %% of their sugar, as you set.", 100*released))
	}
	if len(s.Unknown) > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("No sugar is counted for %s: type what the label says, or use one of: %s.", clip(strings.Join(s.Unknown, ", ")), strings.Join(FoodNames(), ", ")))
	}
}

// grams weighs an amount of f.
func (f Food) grams(a Amount) (Grams, error) {
	switch {
	case a.MassG > 0:
		return a.MassG, nil
	case a.Unit == "tsp" && f.GPerUSTsp > 0:
		return Grams(a.Value * f.GPerUSTsp), nil
	case a.VolumeML > 0 && f.GPerML > 0:
		return Grams(float64(a.VolumeML) * f.GPerML), nil
	case a.VolumeML > 0 && f.GPerUSCup > 0:
		return Grams(float64(a.VolumeML) / USCupML * f.GPerUSCup), nil
	case a.Value > 0 && a.Unit == "piece" && f.GPerPiece > 0:
		return Grams(a.Value * f.GPerPiece), nil
	}
	return 0, fieldErr("ingredients", "How much sugar %s of %s holds is not known; weigh it and type grams or kg.", a, clip(f.Name))
}

// liquid is the volume f adds to the jar's liquid: its own if it pours, what its sugar adds if it
// dissolves, nothing for fruit that is strained out again.
func (f Food) liquid(g Grams, a Amount) Millilitres {
	switch {
	case f.Solid:
		return 0
	case f.GPerML > 0 && a.VolumeML > 0:
		return a.VolumeML
	case f.GPerML > 0:
		return Millilitres(float64(g) / f.GPerML)
	case f.SucroseG+f.HexoseG > 50: // a dry sugar
		return Millilitres(float64(g) * mlPerGSugar)
	}
	return 0
}
