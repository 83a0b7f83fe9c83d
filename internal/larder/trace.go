package larder

import (
	"cmp"
	"math"
	"slices"

	"cruet/internal/chem"
)

// SubjectKind says what a trace starts from.
type SubjectKind string

// The subjects of a trace.
const (
	SubjectJar    SubjectKind = "jar"
	SubjectBottle SubjectKind = "bottle"
	SubjectLot    SubjectKind = "lot"
	SubjectBatch  SubjectKind = "batch"
	SubjectNamed  SubjectKind = "named" // a bought starter, an ingredient, an infusion
)

// Subject is what a trace starts from. ID is a tag, a lot mark, a batch's number
// or the name of what went in.
type Subject struct {
	Kind SubjectKind `json:"kind"`
	ID   string      `json:"id"`
}

// Step is one step of a trace: an edge of the lineage, how many steps it lies
// from the subject, and what one-up-one-down records ask for of what was bought
// (Regulation (EC) 178/2002 art. 18; 21 CFR 1.337 and 1.345).
type Step struct {
	Edge
	Depth         int                 `json:"depth"` // from 1
	Seq           int64               `json:"seq"`   // of the entry that recorded it
	StatedAcidity *chem.GramsPer100ML `json:"stated_acidity_g_per_100ml,omitempty"`
	Live          bool                `json:"live,omitempty"`
	MassG         *chem.Grams         `json:"mass_g,omitempty"`
	Supplier      string              `json:"supplier,omitempty"`
	SupplierLot   string              `json:"supplier_lot,omitempty"`
}

// TraceJar is a jar that a trace touches. Back and Forward are how many steps it
// lies before and after the subject, nil when it does not: in a perpetual crock
// both can be set.
type TraceJar struct {
	Tag      Tag               `json:"tag"`
	BatchID  int64             `json:"batch_id"`
	Batch    string            `json:"batch"`
	Letter   string            `json:"letter"`
	Stage    Stage             `json:"stage"`
	Place    string            `json:"place,omitempty"`
	SizeML   chem.Millilitres  `json:"size_ml"`
	VolumeML *chem.Millilitres `json:"volume_ml,omitempty"` // here now; nil when not known
	Hold     string            `json:"hold,omitempty"`
	Behind   bool              `json:"behind_hold,omitempty"` // something of a jar on hold went into it
	Back     *int              `json:"back,omitempty"`
	Forward  *int              `json:"forward,omitempty"` // 0: the subject itself
}

// TraceLot is a lot that a trace touches, with where its bottles are.
type TraceLot struct {
	ID      string           `json:"id"`
	Name    string           `json:"name"`
	When    When             `json:"when"`
	Hold    string           `json:"hold,omitempty"`
	Behind  bool             `json:"behind_hold,omitempty"` // something of a jar on hold went into it
	Bottles int              `json:"bottles"`
	Given   int              `json:"given"`
	MadeML  chem.Millilitres `json:"made_ml"`  // in bottles
	GivenML chem.Millilitres `json:"given_ml"` // of them
}

// Balance is where the traced liquid is: made = on hand + given + used +
// unaccounted. Made is what was in the subject and came into what it touched
// afterwards.
type Balance struct {
	MadeML   chem.Millilitres `json:"made_ml"`
	OnHandML chem.Millilitres `json:"on_hand_ml"` // in jars and bottles here
	GivenML  chem.Millilitres `json:"given_ml"`
	UsedML   chem.Millilitres `json:"used_ml"` // left over when a jar was emptied, or thrown away
	// DiscardedML is the part of UsedML that was thrown away.
	DiscardedML   chem.Millilitres `json:"discarded_ml"`
	UnaccountedML chem.Millilitres `json:"unaccounted_ml"` // straining, samples, evaporation, lees, spills; negative: more was found than was logged
	// EffectivenessPercent is (on hand + given + used) ÷ made × 100, as the
	// Food Safety Recall Plan Checklist of NC State Extension reckons it; the
	// target is 100. 0 when nothing was made.
	EffectivenessPercent float64 `json:"effectiveness_percent"`
	UnknownJars          []Tag   `json:"unknown_jars,omitempty"` // whose volume the log does not tell
}

// Close fills in what follows from the other figures.
func (b Balance) Close() Balance {
	known := b.OnHandML + b.GivenML + b.UsedML
	b.UnaccountedML = b.MadeML - known
	if math.Abs(float64(b.UnaccountedML)) < 1e-6 {
		b.UnaccountedML = 0 // the rounding of added floats
	}
	b.EffectivenessPercent = 0
	if b.MadeML > 0 {
		b.EffectivenessPercent = float64(known) / float64(b.MadeML) * 100
	}
	return b
}

// Trace is all that a subject came from and all that it went into.
type Trace struct {
	Subject Subject    `json:"subject"`
	Back    []Step     `json:"back"`    // what it came from, by depth, then the newest first
	Forward []Step     `json:"forward"` // what it went into, by depth, then the oldest first
	Jars    []TraceJar `json:"jars"`
	Batches []Batch    `json:"batches"` // of the subject and of what it came from, with their ingredients: the first step
	Lots    []TraceLot `json:"lots"`
	Bottles []Bottle   `json:"bottles"` // of the lots, with their gifts
	Balance Balance    `json:"balance"`
	Held    []Held     `json:"held"` // holds on the subject and on what it came from
	// UnlistedBottles is how many bottles there are when they are only counted,
	// lot by lot, and Bottles is empty.
	UnlistedBottles int `json:"unlisted_bottles,omitempty"`
}

// MadeOf says what the balance counts as made: more than the subject ever held,
// once it went into other jars.
func (t Trace) MadeOf() string {
	if t.Subject.Kind == SubjectLot || t.Subject.Kind == SubjectBottle {
		return "what its bottles hold"
	}
	for _, j := range t.Jars {
		if j.Forward != nil && *j.Forward > 0 {
			return "what was in it and came in, and all that is in the jars that it went into"
		}
	}
	return "what was in it, and what came in since"
}

// Gifts are the bottles that left.
func (t Trace) Gifts() []Bottle {
	var out []Bottle
	for _, b := range t.Bottles {
		if b.Gift != nil {
			out = append(out, b)
		}
	}
	return out
}

// People are who has bottles of it, by name.
func (t Trace) People() []Recipient {
	at := map[string]int{}
	var out []Recipient
	for _, b := range t.Bottles {
		if b.Gift == nil {
			continue
		}
		i, seen := at[b.Gift.To]
		if !seen {
			i = len(out)
			at[b.Gift.To] = i
			out = append(out, Recipient{Name: b.Gift.To})
		}
		out[i].Bottles++
		if b.Gift.When.At.After(out[i].Last.At) {
			out[i].Last = b.Gift.When
		}
	}
	slices.SortFunc(out, func(a, b Recipient) int { return cmp.Compare(a.Name, b.Name) })
	return out
}

// Link is an edge as a tree hangs it up: from and to name a jar or a lot, and the
// times are the ends of what its When may mean.
type Link struct {
	From, To        string
	EarlyMS, LateMS int64
}

// Follows tells that what came in by the link in may have gone out again by out.
// Vague dates are read so that nothing is missed.
func (in Link) Follows(out Link) bool {
	return in.To != "" && in.To == out.From && in.EarlyMS <= out.LateMS
}
