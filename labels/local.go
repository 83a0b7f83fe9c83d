package labels

import (
	"fmt"
	"slices"

	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// local says what no record can show.
func (b *builder) local() {
	r := b.want.Rules
	if lacks := noMaker(b.Kitchen); lacks != "" {
		b.miss("maker", lacks+" is set in the kitchen's settings.", "Whoever has a question, or a bottle that was recalled, must be able to find you; on what is sold the address is required.", "maker")
	}
	if len(b.Trace.Held) > 0 {
		b.d.Missing = append(b.d.Missing, Point{"hold", "It is on hold: " + b.Trace.Held[0].String() + ".", "Nothing of it may be given or sold until the hold is lifted.", own("a hold stands until it is lifted")})
	}
	for _, id := range []string{"gift", "home"} {
		l := r.line(id)
		b.see(id, l.Says, "Gifts and sales differ, and local rules come before these.", l.Source)
	}
	if slices.Contains(b.Lot.Bases, larder.Wine) && r.ID == US.ID && b.want.Sale {
		b.see("wine", "Wine made at home free of tax is for the family's own use and not for sale.", "A vinegar made from it may not be either.", read("US Alcohol and Tobacco Tax and Trade Bureau", "27 CFR 24.75", ""))
	}
	if b.d.Food.Kind == "wine" {
		b.see("name", "The name takes the wine to be one of grapes.", "Wine of other fruits has another name in law. If it is one, name the fruit among the ingredients.", b.d.Food.Rule.Source)
	}
	b.keeping()
	if r.ID == EU.ID && b.Container.surfaceMM2() < smallPackMM2 {
		l := r.line("small-pack")
		b.see(l.ID, l.Says, "This bottle is as small as that. What is left off goes along on a card or a tag.", l.Source)
	}
	n := r.line("nutrition")
	b.see("nutrition", n.Says, "Make no claim about health or nutrition on the label.", n.Source)
	b.see("size", fmt.Sprintf("The heights are reckoned for a bottle %.0f mm wide with a straight side of %.0f mm. Measure yours with a tape.", b.Container.DiameterMM, b.Container.SideMM), "The letters' height goes by the size of the front.", r.line("net-height").Source)
}

// smallPackMM2 is the largest surface of a pack that need not say everything,
// Regulation (EU) No 1169/2011 art. 16(2): 10 cm².
const smallPackMM2 = 1000

// noMaker says what of the maker is missing, empty when nothing is.
func noMaker(k larder.Kitchen) string {
	switch {
	case k.MakerLine == "" && k.MakerAddress == "":
		return "Neither the maker's line nor the postal address"
	case k.MakerLine == "":
		return "No maker's line"
	case k.MakerAddress == "":
		return "No postal address"
	}
	return ""
}

// infusedMonths is how long an infused vinegar is kept, in the cold (Colorado State
// University Extension, fact sheet 9.340: about three months).
const infusedMonths = 3

// keeping says until when it keeps. Only what was infused has a published limit; a
// plain vinegar loses strength at most, so that rules ask for no date.
func (b *builder) keeping() {
	if b.evidence.Infuse != "" {
		by := b.Lot.When.At.In(b.loc).AddDate(0, infusedMonths, 0)
		b.see("date", "An infused vinegar is used within about three months, so this one by "+by.Format("2 Jan 2006")+".", "It is kept in the refrigerator. The label gives the months and the day of bottling.", verdict.CautionSource(verdict.ShortCold))
		return
	}
	l := b.want.Rules.line("date")
	b.see("date", l.Says, "No published source says how long plain vinegar keeps. Full, closed and cool it keeps its strength; in a half-empty bottle bacteria can eat the acid.", l.Source)
}
