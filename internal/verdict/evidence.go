package verdict

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// Evidence is all that a verdict looks at. The zero value of a field means that
// nothing is known, which never speaks for a use.
type Evidence struct {
	Now    time.Time // dates are shown in its time zone
	Stage  larder.Stage
	Since  larder.When // of the stage
	Bases  []larder.Base
	Infuse string // what it was infused with; empty when nothing points there
	Heated bool   // pasteurised

	// The newest titration. LowerGPer100ML is the lower end of its 95 % interval.
	Basis              larder.Basis
	AcidityGPer100ML   chem.GramsPer100ML
	ExpandedUGPer100ML chem.GramsPer100ML // 95 %
	LowerGPer100ML     chem.GramsPer100ML
	StrengthMark       string // why it supports no strength claim; empty when it does
	Why                string // what made it computed or outdated
	TitratedAt         larder.When
	ClosedAt           *time.Time // bottled full and closed since then

	// ABVPercentVol is residual alcohol, measured at ABVAt; nil when not measured.
	ABVPercentVol *chem.PercentVol
	ABVAt         larder.When

	// PH is carried only so that the answer can say that it was not used.
	PH *chem.PH

	MouldAt *time.Time
	Hold    string // its reason; empty when none

	SulphiteFrom    string   // what may have brought sulphites in; empty when nothing points there
	SulphiteMGPerKG *float64 // total SO2, when measured
}

// EvidenceOf takes the evidence out of a jar and its batch.
func EvidenceOf(jar larder.Jar, batch larder.Batch, now time.Time) Evidence {
	s := jar.State
	e := Evidence{
		Now: now, Stage: s.Stage, Since: s.StageSince, Bases: []larder.Base{batch.Base},
		Heated: s.HeatedAt != nil, MouldAt: s.MouldAt, Hold: s.Hold,
		Infuse: named(infusions, batch.Name, batch.Ingredients), SulphiteFrom: named(sulphited, "", batch.Ingredients),
	}
	if batch.Base == larder.Wine && e.SulphiteFrom == "" {
		e.SulphiteFrom = "the wine it was made from"
	}
	e.takeInfused(s.Infused)
	if s.Acidity != nil {
		e.takeAcidity(*s.Acidity)
	}
	if s.ABV != nil {
		e.ABVPercentVol, e.ABVAt = new(s.ABV.Value), s.ABV.When
	}
	if s.PH != nil {
		e.PH = new(s.PH.Value)
	}
	return e
}

// EvidenceOfLot takes the evidence out of a bottled lot and the jars it came
// from, as they stand now: mould or a hold on any of them counts for the lot,
// also when it came after bottling.
func EvidenceOfLot(lot larder.Lot, jars []larder.Jar, now time.Time) Evidence {
	closed := lot.When.Latest()
	e := Evidence{Now: now, Stage: larder.Finished, Since: lot.When, Bases: lot.Bases, Heated: lot.Heated, ClosedAt: &closed}
	var ingredients []larder.Ingredient
	for _, name := range lot.Ingredients {
		ingredients = append(ingredients, larder.Ingredient{Name: name})
	}
	e.Infuse, e.SulphiteFrom = named(infusions, lot.Name, ingredients), named(sulphited, "", ingredients)
	if e.fromWine() && e.SulphiteFrom == "" {
		e.SulphiteFrom = "the wine it was made from"
	}
	e.takeInfused(lot.Infused)
	e.takeAcidity(lot.Acidity)
	for _, jar := range jars {
		if at := jar.State.MouldAt; at != nil && e.MouldAt == nil {
			e.MouldAt = at
		}
		if jar.State.Hold != "" {
			e.Hold = jar.State.Hold
		}
		if jar.State.Stage == larder.Discarded && e.Hold == "" {
			e.Hold = "jar " + string(jar.Tag) + " of this lot was discarded later"
		}
	}
	if len(jars) == 1 && jars[0].State.ABV != nil {
		e.ABVPercentVol, e.ABVAt = new(jars[0].State.ABV.Value), jars[0].State.ABV.When
		e.Since = jars[0].State.StageSince
	}
	return e
}

// EvidenceOfJars takes the evidence out of jars that stand open still, as if they
// were one: lot is what they would be together. The jar that is furthest from
// finished tells the stage.
func EvidenceOfJars(lot larder.Lot, jars []larder.Jar, now time.Time) Evidence {
	e := EvidenceOfLot(lot, jars, now)
	e.ClosedAt = nil
	for i, jar := range jars {
		if s := jar.State; i == 0 || ripeness(s.Stage) < ripeness(e.Stage) {
			e.Stage, e.Since = s.Stage, s.StageSince
		}
	}
	return e
}

// ripeness orders stages; what no longer stands there is no food at all.
func ripeness(s larder.Stage) int {
	return slices.Index([]larder.Stage{larder.Must, larder.Alcoholic, larder.Acetic, larder.Maturing, larder.Finished}, s)
}

func (e *Evidence) takeAcidity(a larder.Acidity) {
	e.Basis, e.AcidityGPer100ML, e.ExpandedUGPer100ML, e.LowerGPer100ML = a.Basis, a.GPer100ML, a.ExpandedUGPer100ML, a.LowerGPer100ML
	e.StrengthMark, e.Why, e.TitratedAt = a.StrengthMark, a.Why, a.When
}

// takeInfused puts what was logged as infused before a guess from names.
func (e *Evidence) takeInfused(names []string) {
	if len(names) > 0 {
		e.Infuse = strings.Join(names, ", ")
	}
}

// OnHold is e with the first of the holds that stand on it or on what went into it,
// unless it is on hold by itself.
func (e Evidence) OnHold(held []larder.Held) Evidence {
	if len(held) > 0 && e.Hold == "" {
		e.Hold = held[0].String()
	}
	return e
}

// Words in a batch's name or ingredients that point to an infusion, and to
// sulphites. A guess on the cautious side: a false hit costs a caution.
var (
	infusions = []string{"infus", "herb", "rosemary", "thyme", "tarragon", "basil", "dill", "sage", "mint", "oregano", "chive",
		"garlic", "shallot", "onion", "chilli", "chili", "pepper", "ginger", "horseradish", "lavender", "elderflower", "spice"}
	sulphited = []string{"sulphite", "sulfite", "metabisulph", "metabisulf", "campden", "so2", "dried", "raisin", "sultana"}
)

// named is the first name that holds one of the words, lower-cased, or "".
func named(words []string, title string, ingredients []larder.Ingredient) string {
	names := []string{title}
	for _, i := range ingredients {
		names = append(names, i.Name)
	}
	for _, name := range names {
		low := strings.ToLower(name)
		if slices.ContainsFunc(words, func(w string) bool { return strings.Contains(low, w) }) {
			return strings.TrimSpace(name)
		}
	}
	return ""
}

func (e Evidence) fromWine() bool { return slices.Contains(e.Bases, larder.Wine) }

// Days for which a titration speaks; see the rule fresh-evidence.
const (
	openEvidenceDays     = 42
	finishedEvidenceDays = 90
)

// age is how old the titration was when the vinegar was closed up, or is now,
// and how old it may be, in days.
func (e Evidence) age() (days, most int) {
	until, most := e.Now, openEvidenceDays
	if e.Stage == larder.Finished {
		most = finishedEvidenceDays
	}
	if e.ClosedAt != nil && e.ClosedAt.Before(until) {
		until = *e.ClosedAt
	}
	return int(math.Floor(until.Sub(e.TitratedAt.Earliest()).Hours() / 24)), most
}

// atLeast holds the acidity against a limit: Supported when the titration proves
// it, No when it proves the contrary, else NotProven; and why, in a sentence.
func (e Evidence) atLeast(limit chem.GramsPer100ML) (Answer, string) {
	if answer, why := e.usable(); why != "" {
		return answer, why
	}
	upper := e.AcidityGPer100ML + max(e.ExpandedUGPer100ML, e.AcidityGPer100ML-e.LowerGPer100ML)
	switch days, most := e.age(); {
	case upper < limit && days <= most && e.Basis != larder.Outdated:
		// A weak base or an added cupful of water only makes the truth lower.
		return No, fmt.Sprintf("It was measured to be weaker than %s g/100 mL: the upper end of its 95 %% interval is %s.", num(limit), up(upper))
	case e.Basis == larder.Computed:
		return NotProven, "Its acidity is computed (" + orElse(e.Why, "not measured as it stands") + "), not measured; titrate it as it is now."
	case e.Basis == larder.Outdated:
		return NotProven, "Its acidity is outdated (" + orElse(e.Why, "something went in since") + "); titrate it as it is now."
	case e.StrengthMark != "":
		return NotProven, "The titration is marked. " + e.StrengthMark
	case days > most:
		return NotProven, fmt.Sprintf("The titration is %d days old, more than %d; titrate again.", days, most)
	case !(e.LowerGPer100ML >= limit):
		return NotProven, fmt.Sprintf("The lower end of its 95 %% interval, %s g/100 mL, is under %s.", down(e.LowerGPer100ML), num(limit))
	}
	return Supported, fmt.Sprintf("The lower end of its 95 %% interval, %s g/100 mL, is not under %s.", down(e.LowerGPer100ML), num(limit))
}

// usable says why there is no number to hold against a limit; an empty sentence
// when there is one.
func (e Evidence) usable() (Answer, string) {
	known := []larder.Basis{larder.ByTitration, larder.Computed, larder.Outdated}
	a, u, low := float64(e.AcidityGPer100ML), float64(e.ExpandedUGPer100ML), float64(e.LowerGPer100ML)
	switch {
	case !slices.Contains(known, e.Basis):
		why := "Its strength is not known: there is no titration."
		if e.PH != nil {
			why += " Its pH was read, but pH does not tell strength: from 4 to 5 % it moves by less than a tenth, while the salts of fruit move it by seven."
		}
		return NotProven, why
	case !finite(a) || !finite(u) || !finite(low) || a <= 0 || u <= 0 || low < 0 || low >= a:
		return NotProven, "The titration on record has no usable number or uncertainty; titrate again."
	case e.TitratedAt.IsZero() || e.Now.IsZero():
		return NotProven, "The titration has no date; titrate again."
	case e.TitratedAt.Earliest().After(e.Now):
		return NotProven, "The titration is dated in the future; check the clock and the entry."
	}
	return Supported, ""
}

// alcohol is residual alcohol that counts: measured since the jar entered its
// present stage. An earlier reading speaks of the liquid it was made from.
func (e Evidence) alcohol() (chem.PercentVol, bool) {
	if e.ABVPercentVol == nil || !finite(float64(*e.ABVPercentVol)) || *e.ABVPercentVol < 0 || e.ABVAt.IsZero() {
		return 0, false
	}
	return *e.ABVPercentVol, !e.ABVAt.Earliest().Before(e.Since.Earliest())
}

// Lines lists the evidence in sentences, for a page.
func (e Evidence) Lines() []string {
	zone := e.Now.Location()
	var lines []string
	say := func(format string, a ...any) { lines = append(lines, fmt.Sprintf(format, a...)) }
	if e.Stage != "" {
		say("Stage: %s.", e.Stage)
	}
	if _, why := e.usable(); why == "" {
		days, _ := e.age()
		say("Acidity, %s: %s ± %s g/100 mL as acetic acid (95 %%), so at least %s; titrated %s, %s old.", e.Basis, num(e.AcidityGPer100ML),
			up(e.ExpandedUGPer100ML), down(e.LowerGPer100ML), e.TitratedAt.DateIn(zone), plural(days, "day"))
	} else {
		lines = append(lines, why)
	}
	if abv, counts := e.alcohol(); counts {
		say("Alcohol: %s %% vol, %s.", num(abv), e.ABVAt.DateIn(zone))
	}
	if e.MouldAt != nil {
		say("Mould was seen on %s.", e.MouldAt.In(zone).Format("2 Jan 2006"))
	}
	if e.Hold != "" {
		say("On hold: %s.", strings.TrimRight(e.Hold, ". "))
	}
	if e.Infuse != "" {
		say("Infused, by its log, name or ingredients: %s.", e.Infuse)
	}
	if e.SulphiteMGPerKG != nil {
		say("Sulphites: %s mg/kg as SO2.", num(*e.SulphiteMGPerKG))
	} else if e.SulphiteFrom != "" {
		say("Sulphites may have come in with %s; they were not measured.", e.SulphiteFrom)
	}
	return lines
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// down and up round to 2 decimals so that an end of an interval is never shown
// better than it is: 4.998 is not shown as 5.
func down(x chem.GramsPer100ML) string {
	return num(chem.GramsPer100ML(math.Floor(float64(x)*100+1e-9) / 100))
}

func up(x chem.GramsPer100ML) string {
	return num(chem.GramsPer100ML(math.Ceil(float64(x)*100-1e-9) / 100))
}

// num shows a number in at most 2 decimals.
func num[T ~float64](x T) string {
	s := strconv.FormatFloat(float64(x), 'f', 2, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

func orElse(s, fallback string) string {
	if s == "" {
		return fallback
	}
	return strings.TrimRight(s, ". ")
}
