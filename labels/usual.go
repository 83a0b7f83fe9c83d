package labels

import (
	"slices"

	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// Usual is a label paper to take where none is named, and why, in words that go
// behind its name.
type Usual struct {
	Stock Stock
	Why   string
}

// OnLetter tells which paper the kitchen's market has: US Letter, or else A4. Where
// the market is not told, US units stand for it.
func OnLetter(k larder.Kitchen) bool {
	m := verdict.MarketOf(k)
	return m == verdict.US || (m == verdict.Elsewhere && k.USUnits)
}

// Usual lists the papers for labels of a layout, the likeliest first: that on which
// the kitchen printed such labels last, those that it chose to be offered, then
// those of its market's size, then the rest. A shelf's sheet or a proof page goes on
// sheets alone that have room for it.
func (c Catalogue) Usual(k larder.Kitchen, layout, last string) []Usual {
	var out []Usual
	add := func(why string, stocks ...Stock) {
		for _, s := range stocks {
			if !slices.ContainsFunc(out, func(u Usual) bool { return u.Stock.ID == s.ID }) {
				out = append(out, Usual{s, why})
			}
		}
	}
	named := func(why string, ids ...string) {
		for _, id := range ids {
			if s, err := FindStock(c.Stocks, id); err == nil && id != "" {
				add(why, s)
			}
		}
	}
	named("as printed last", last)
	named("as chosen on the set-up page", k.Stocks...)
	wide, why := A4.WMM, "since this kitchen prints on A4"
	if OnLetter(k) {
		wide, why = Letter.WMM, "since this kitchen prints on US Letter"
	}
	for _, s := range c.Stocks[c.Own:] { // what a maker lists may be for one purpose alone
		if s.PageWMM == wide {
			add(why, s)
		}
	}
	add("since it takes these labels", c.Stocks...)
	return slices.DeleteFunc(out, func(u Usual) bool {
		_, err := ShelfStock(u.Stock)
		return err != nil && (layout == "shelf" || layout == "proof")
	})
}

// FirstFor is the first of the papers that takes all of these labels; the first of
// all when none does, on which printing then says what is wrong.
func FirstFor(list []Label, papers []Usual) (Usual, error) {
	for _, some := range [][]Usual{papers[:1], papers[1:]} { // the first one mostly does
		stocks := make([]Stock, len(some))
		for i, u := range some {
			stocks[i] = u.Stock
		}
		fit, _, err := Fit(list, stocks)
		if err != nil {
			return papers[0], err
		}
		if len(fit) > 0 {
			return some[slices.IndexFunc(some, func(u Usual) bool { return u.Stock.ID == fit[0].ID })], nil
		}
	}
	return papers[0], nil
}

// OnePerSize picks of the labels of bottles one for each size, that with the
// highest number, whose text is the longest: if those fit a paper, all do.
func OnePerSize(bottles []larder.Bottle, all []Label) []Label {
	last := map[float64]int{}
	var sizes []float64
	for i, b := range bottles {
		size := float64(b.SizeML)
		have, seen := last[size]
		if !seen {
			sizes = append(sizes, size)
		}
		if !seen || bottles[have].Number <= b.Number {
			last[size] = i
		}
	}
	var out []Label
	for _, size := range sizes {
		out = append(out, all[last[size]])
	}
	return out
}
