package larder

import (
	"fmt"

	"cruet/internal/chem"
)

// Origin is where liquid or a mother came from.
type Origin string

// The origins.
const (
	FromJar    Origin = "jar"
	FromBought Origin = "bought"
	FromWater  Origin = "water"
	FromOther  Origin = "other" // juice, wine, ... named
	FromAir    Origin = "none"  // no starter: left to the air
)

// Feed is something that came into a jar.
type Feed struct {
	From     Origin              `json:"from"`
	Jar      Tag                 `json:"jar,omitempty"`                        // FromJar
	Name     string              `json:"name,omitempty"`                       // FromBought, FromOther
	Acidity  *chem.GramsPer100ML `json:"stated_acidity_g_per_100ml,omitempty"` // FromBought, as stated by its label
	Live     bool                `json:"live,omitempty"`                       // FromBought: sold as live, with mother
	Mother   bool                `json:"mother,omitempty"`                     // a mother was carried over
	VolumeML *chem.Millilitres   `json:"volume_ml,omitempty"`                  // liquid; nil when only a mother
	MassG    *chem.Grams         `json:"mass_g,omitempty"`                     // of what was put in to infuse
	// Supplier and SupplierLot are who sold it, with what finds them again, and
	// the mark on its pack: one step back (Regulation (EC) 178/2002 art. 18;
	// 21 CFR 1.337).
	Supplier    string `json:"supplier,omitempty"`
	SupplierLot string `json:"supplier_lot,omitempty"`
}

// held is the volume that the jar holds just before the feed, when it is not
// the state's own (a stage change measures after straining).
func (f Feed) check(field string, jar Jar, held *chem.Millilitres) Problems {
	var p Problems
	switch f.From {
	case FromJar:
		if f.Jar == "" {
			p.Add(field+"_jar", "Say which jar it came from: scan it, or type its tag.")
		}
		if f.Jar == jar.Tag {
			p.Add(field+"_jar", "A jar cannot give to itself; that is its own tag.")
		}
		if f.VolumeML == nil && !f.Mother {
			p.Add(field+"_volume_ml", "Say how much liquid was moved, or tick that a mother was carried over.")
		}
	case FromBought, FromOther:
		checkText(&p, field+"_name", "The name of what was added", f.Name, MaxNameRunes, true)
	case FromWater:
		if f.VolumeML == nil {
			p.Add(field+"_volume_ml", "Say how much water was added.")
		}
	case FromAir:
		if f.VolumeML != nil || f.Mother {
			p.Add(field, "With no starter nothing goes in: leave out the volume and the mother, or say where they came from.")
		}
	default:
		p.Add(field, "Say where it came from: a jar, bought, water, other, or none.")
	}
	if f.From != FromJar && f.Jar != "" {
		p.Add(field+"_jar", "A jar's tag goes with something from a jar; leave it out otherwise.")
	}
	if f.Acidity != nil && !(*f.Acidity >= 0 && *f.Acidity <= 20) {
		p.Add(field+"_acidity", "A vinegar's stated acidity lies between 0 and 20 g/100 mL.")
	}
	checkText(&p, field+"_supplier", "The supplier", f.Supplier, MaxSupplierRunes, false)
	checkText(&p, field+"_supplier_lot", "The supplier's lot mark", f.SupplierLot, MaxNameRunes, false)
	if f.MassG != nil && !(*f.MassG > 0 && *f.MassG <= 100_000) {
		p.Add(field+"_mass_g", "A mass is more than nothing, and 100 kg at most.")
	}
	if f.VolumeML == nil {
		return p
	}
	if !(*f.VolumeML > 0) {
		p.Add(field+"_volume_ml", "A volume is more than nothing.")
		return p
	}
	if held == nil {
		held = jar.State.VolumeML
	}
	if held != nil && *held+*f.VolumeML > jar.SizeML {
		p.Add(field+"_volume_ml", fmt.Sprintf("This jar holds %s at most and has %s in it; %s more does not fit.",
			chem.FormatVolume(jar.SizeML, chem.Metric), chem.FormatVolume(*held, chem.Metric), chem.FormatVolume(*f.VolumeML, chem.Metric)))
	}
	return p
}

// Describe is the feed in words: "mother and 200 mL from jar K7RM40".
func (f Feed) Describe() string {
	what := "liquid"
	switch {
	case f.Mother && f.VolumeML != nil:
		what = "mother and " + chem.FormatVolume(*f.VolumeML, chem.Metric)
	case f.Mother:
		what = "mother"
	case f.VolumeML != nil:
		what = chem.FormatVolume(*f.VolumeML, chem.Metric)
	case f.MassG != nil:
		what = chem.FormatMass(*f.MassG, chem.Metric)
	}
	switch f.From {
	case FromJar:
		return what + " from jar " + f.Jar.Spaced()
	case FromBought:
		s := what + " of bought " + f.Name
		if f.Acidity != nil {
			s += fmt.Sprintf(" (stated %.3g %%)", float64(*f.Acidity))
		}
		return s
	case FromWater:
		return what + " of water"
	case FromOther:
		return what + " of " + f.Name
	}
	return "none; left to the air"
}

// TransferKind says why liquid or a mother moved.
type TransferKind string

// The transfers. Gave and Bottled are written by the store on the giving side;
// SplitOff, Moved and Blended on the receiving side, where they fill a new jar.
const (
	StarterIn TransferKind = "starter"
	TopUp     TransferKind = "topped up"
	Dilution  TransferKind = "diluted"
	Infused   TransferKind = "infused"
	SplitOff  TransferKind = "split off"
	Moved     TransferKind = "moved"
	Blended   TransferKind = "blended"
	Gave      TransferKind = "gave"
	Bottled   TransferKind = "bottled"
)

// Fills tells that the transfer fills a new jar, whose first entry says already
// what stays true of the liquid.
func (k TransferKind) Fills() bool { return k == SplitOff || k == Moved || k == Blended }

// Transfer is liquid or a mother that came into the jar (Feed set) or left it
// (To or Lot set).
type Transfer struct {
	What     TransferKind      `json:"what"`
	Feed     *Feed             `json:"feed,omitempty"`
	To       Tag               `json:"to,omitempty"`        // Gave: the receiving jar
	Lot      string            `json:"lot,omitempty"`       // Bottled
	VolumeML *chem.Millilitres `json:"volume_ml,omitempty"` // out; nil when only a mother
	Mother   bool              `json:"mother,omitempty"`    // out
}

// Kind is KindTransfer.
func (Transfer) Kind() Kind { return KindTransfer }

func (t Transfer) check(jar Jar) Problems { return t.checkAt(jar, When{}) }

func (t Transfer) checkAt(jar Jar, when When) Problems {
	var p Problems
	switch t.What {
	case StarterIn, TopUp, Dilution, Infused, SplitOff, Moved, Blended:
		if t.Feed == nil || t.Feed.From == FromAir {
			p.Add("feed", "Say what was added.")
			return p
		}
		if t.What == Infused {
			t.checkInfused(&p)
		}
		if t.What == Dilution && t.Feed.From != FromWater {
			p.Add("feed", "Diluting adds water; for anything else, top up.")
		}
		return append(p, t.Feed.check("feed", jar, nil)...)
	case Gave, Bottled:
		checkHold(&p, "", jar, when)
		return append(p, checkOut(jar, t.VolumeML)...)
	}
	p.Add("transfer", "Say what was moved: starter, topped up, diluted or infused.")
	return p
}

// checkInfused keeps liquids out of an infusion: they are topped up, so that the
// volume is counted.
func (t Transfer) checkInfused(p *Problems) {
	switch f := t.Feed; {
	case f.From != FromOther && f.From != FromBought:
		p.Add("feed", "Name what was put in to infuse: a herb, a peel, a spice. Liquid is topped up.")
	case f.VolumeML != nil || f.Mother:
		p.Add("feed_volume_ml", "What infuses is weighed, not poured. If liquid went in, log a top-up.")
	}
}

// beforeHold tells that something dated so was surely done before a hold.
func beforeHold(when When, hold *When) bool {
	return !when.IsZero() && hold != nil && when.Before(*hold)
}

// checkHold refuses to take anything out of a jar on hold. What was done before
// the hold and is only logged late is a record, and a trace needs it.
func checkHold(p *Problems, field string, jar Jar, when When) {
	if jar.State.Hold != "" && !beforeHold(when, jar.State.HoldAt) {
		p.Add(field, fmt.Sprintf("Jar %s is on hold: %s. Lift the hold first, if it is settled.", jar.Tag, jar.State.Hold))
	}
}

// checkOut refuses to take more than the jar holds: the known volume, else the
// size of the vessel.
func checkOut(jar Jar, volume *chem.Millilitres) Problems {
	var p Problems
	if volume == nil {
		return nil
	}
	held, known := jar.SizeML, "holds at most"
	if jar.State.VolumeML != nil {
		held, known = *jar.State.VolumeML, "has"
	}
	// A thousandth of a millilitre covers the rounding of added floats.
	if *volume > held+0.001 {
		p.Add("volume_ml", fmt.Sprintf("Jar %s %s %s; %s cannot be taken out of it. If more is in it, log its volume first.",
			jar.Tag, known, chem.FormatVolume(held, chem.Metric), chem.FormatVolume(*volume, chem.Metric)))
	}
	return p
}
