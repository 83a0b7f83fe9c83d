package labels

import (
	"fmt"
	"math"
	"strings"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// RuleSet is what one market's published rules ask of the label of a bottle
// that is sold. Whether a gift has to follow them is told by its lines; local
// rules come first everywhere.
type RuleSet struct {
	ID     string // "us", "eu"
	Name   string
	Market verdict.Market
	Lines  []RuleLine
}

// RuleLine is one rule, with where it is written and whether that was read or
// is recalled.
type RuleLine struct {
	ID     string         `json:"id"`
	Says   string         `json:"says"`
	Source verdict.Source `json:"source"`
}

func read(body, title, section string) verdict.Source {
	return verdict.Source{Body: body, Title: title, Section: section, Standing: verdict.Read}
}

func recalled(body, title, section string) verdict.Source {
	return verdict.Source{Body: body, Title: title, Section: section, Standing: verdict.Recalled}
}

func own(title string) verdict.Source {
	return verdict.Source{Body: "Cruet", Title: title, Standing: verdict.OwnRule}
}

const (
	fda  = "US Food and Drug Administration"
	eu   = "European Union"
	fic  = "Regulation (EU) No 1169/2011"
	none = "common practice"
)

// US is the rule set of the United States (21 CFR 101).
var US = RuleSet{ID: "us", Name: "United States", Market: verdict.US, Lines: []RuleLine{
	{"name", "The label names the food by its common or usual name.", recalled(fda, "21 CFR 101.3", "identity labeling")},
	{"strength", "Vinegar holds at least 4 g of acetic acid in 100 mL; one that was cut with water says \"diluted with water to __ percent acid strength\".", read(fda, "Compliance Policy Guide Sec. 525.825 Vinegar, Definitions", "policy")},
	{"net-form", "The net quantity is given in metric and in US units, in either order: 500 ml (1 pt 0.9 fl oz).", read(fda, "A Food Labeling Guide (1999)", "chapter III")},
	{"net-place", "It stands in the lowest 30 % of the front panel, in line with the base; panels of 5 sq in and less are free.", read(fda, "A Food Labeling Guide (1999); 21 CFR 101.7(f)", "chapter III")},
	{"net-height", "Its letters are at least 1/16, 1/8, 3/16, 1/4 or 1/2 inch high for panels to 5, 25, 100, 400 and over 400 sq in.", recalled(fda, "21 CFR 101.7", "(i); that it scales from 1/16 to 1/2 inch was read")},
	{"net-measure", "Heights are those of the lower-case o where any lower case is used, else of the capitals.", read(fda, "21 CFR 101.7", "(h)(2)")},
	{"panel", "The front panel of a cylinder is 40 % of height times circumference, without shoulder, neck, top and bottom.", read("US Federal Trade Commission; "+fda, "16 CFR 500.21; Two-Panel System", "principal display panel")},
	{"small-type", "All other required text is at least 1/16 inch high.", read(fda, "21 CFR 101.2", "(c)")},
	{"information-panel", "What is required beside name and quantity stands together, just right of the front panel, with nothing between.", read(fda, "21 CFR 101.2", "(a), (e)")},
	{"ingredients", "Two or more ingredients are listed by their common names, the heaviest first.", recalled(fda, "21 CFR 101.4; FD&C Act 403(i)", "ingredients")},
	{"allergens", "Nine major allergens are named in the list or in \"Contains\" right after it, no smaller; wheat is one, barley is not, but holds gluten.", read(fda, "Food Allergen Labeling: FALCPA, the FASTER Act", "wheat; the part on barley is recalled")},
	{"sulfites", "Sulfites are declared from 10 ppm in the finished food on, also when an ingredient carried them in.", read(fda, "21 CFR 101.100", "(a)(4)")},
	{"maker", "The label names the firm with city, state and ZIP code.", recalled(fda, "21 CFR 101.5", "name and place of business")},
	{"date", "No federal rule asks for a date on vinegar, and none says what raw vinegar is.", recalled(fda, "date-label pages; 21 CFR 101.17", "")},
	{"nutrition", "Small makers may be free of the nutrition panel, and lose that by any nutrition or health claim.", recalled(fda, "21 CFR 101.9", "(j)")},
	{"home", "What a home kitchen has to write on what it sells differs by state: \"Made in a Home Kitchen\" in 12-point type in a Californian county, \"homemade and not subject to state inspection\" in Minnesota, allergens and no inspection in Arizona.", read("Placer County; Minnesota Extension; a list of states", "cottage-food pages", "labelling")},
	{"gift", "Gifts to friends are outside the rules for sale; raffles, promotions and donations may count as distribution. Ask the local authority.", recalled("US states", "general practice on home-made gifts", "")},
}}

// EU is the rule set of the European Union.
var EU = RuleSet{ID: "eu", Name: "European Union", Market: verdict.EU, Lines: []RuleLine{
	{"name", "The label names the food; name and net quantity stand in one field of vision.", read("Food Safety Authority of Ireland", "Appendix 2: Mandatory food labelling information", "")},
	{"strength", "Vinegar shows its acidity near the name.", recalled("national vinegar codes", "they differ by member state", "")},
	{"net-form", "The net quantity is given in litres, centilitres or millilitres.", recalled(eu, fic, "art. 23")},
	{"net-height", "Its figures are at least 2, 3, 4 or 6 mm high for contents to 50, 200, 1000 and over 1000 mL.", read("US Department of Agriculture, EU office", "Weight and volume indication", "one page says 6 mm from 1000 on, so that is used there")},
	{"e-mark", "The mark e promises the averages of a controlled filling line; a home kitchen leaves it out.", read("", "Estimated sign", "the advice is our reading")},
	{"small-type", "All required text has an x-height of at least 1.2 mm, 0.9 mm where the largest surface is under 80 cm².", read("Evira", "Påskrifternas läslighet förbättras", fic+" art. 13")},
	{"ingredients", "Ingredients are listed, the heaviest first; vinegar of a single base with nothing added needs no list.", recalled(eu, fic, "art. 18, 19(1)(d)")},
	{"allergens", "Cereals with gluten, barley too, are named and set off from the rest of the list. Capitals do that here.", recalled(eu, fic, "Annex II, art. 21; that capitals do is our reading")},
	{"sulphites", "Sulphites over 10 mg/kg or mg/L, as total SO2, are named as an allergen.", recalled(eu, fic, "Annex II")},
	{"lot", "A lot mark, preceded by L unless it is clearly distinct, is easily seen and legible.", read(eu, "Directive 2011/91/EU", "art. 3, and the summary on lots")},
	{"date", "Vinegar is exempt from a best-before date, so the lot mark must be there.", recalled(eu, fic, "Annex X 1(d)")},
	{"maker", "The operator under whose name it is marketed is named with its address.", recalled(eu, fic, "art. 8, 9(1)(h)")},
	{"nutrition", "Fermented vinegars are exempt from the nutrition table.", recalled(eu, fic, "Annex V")},
	{"small-pack", "Where the largest surface is under 10 cm², only name, allergens, net quantity and date need be on the pack.", recalled(eu, fic, "art. 16(2)")},
	{"gift", "Food-information law does not cover occasional giving or selling by private persons, as at a charity or a local fair.", read(eu, fic, "recital 15, in translation tables")},
	{"home", "Hygiene law begins with continuity and organisation; the British authority reads less than once a month as not continuous.", read("UK Food Standards Agency", "Food in community centres and village halls", "guidance")},
}}

// RuleSets lists them in the order of a form.
func RuleSets() []RuleSet { return []RuleSet{US, EU} }

// RuleSetByID finds a rule set. The error for an unknown one names them.
func RuleSetByID(id string) (RuleSet, error) {
	for _, r := range RuleSets() {
		if strings.EqualFold(strings.TrimSpace(id), r.ID) {
			return r, nil
		}
	}
	return RuleSet{}, refuse("rules", "There is no rule set %q. Choose us or eu, or plain.", id)
}

// RuleSetFor is the rule set of a kitchen's market; other markets than the
// European ones get that of the United States only when they are it, else the
// European one, whose small print is stricter about allergens.
func RuleSetFor(market string) RuleSet {
	if m, err := verdict.ParseMarket(market); err == nil && m == verdict.US {
		return US
	}
	return EU
}

// line is the rule with that id.
func (r RuleSet) line(id string) RuleLine {
	for _, l := range r.Lines {
		if l.ID == id {
			return l
		}
	}
	panic("labels: the rule set " + r.ID + " has no line " + id)
}

// Container is the straight part of a round bottle, in mm.
type Container struct{ DiameterMM, SideMM float64 }

// surfaceMM2 is the whole straight side, rolled out.
func (c Container) surfaceMM2() float64 { return math.Pi * c.DiameterMM * c.SideMM }

// PanelMM2 is the front panel of a cylinder: 40 % of height times circumference
// (16 CFR 500.21).
func (c Container) PanelMM2() float64 { return 0.4 * c.surfaceMM2() }

// containers are the straight sides of common bottles, by what they hold: the
// largest of makers' data sheets, so that no height comes out too small (common
// practice, no published source).
var containers = []struct {
	upToML chem.Millilitres
	Container
}{
	{60, Container{36, 65}}, {120, Container{46, 75}}, {260, Container{60, 110}}, {380, Container{64, 130}}, {510, Container{70, 150}},
	{760, Container{76, 190}}, {1050, Container{90, 200}}, {2100, Container{118, 180}}, {5200, Container{190, 200}},
}

// ContainerFor is a cautious guess at a bottle's straight side by what it holds.
func ContainerFor(size chem.Millilitres) Container {
	for _, c := range containers {
		if size <= c.upToML {
			return c.Container
		}
	}
	return Container{300, 300}
}

// usHeights are 21 CFR 101.7(i): panels up to so many square inches, letters of
// so many inches.
var usHeights = []struct{ upToIn2, inches float64 }{{5, 1. / 16}, {25, 1. / 8}, {100, 3. / 16}, {400, 1. / 4}, {math.Inf(1), 1. / 2}}

// euHeights are the least heights of figures by content, Directive 76/211/EEC
// Annex I point 3.1 as the USDA's EU office gives it. At 1000 mL sources differ;
// the larger is used.
var euHeights = []struct {
	under chem.Millilitres // the content is less than this
	mm    float64
}{{50.001, 2}, {200.001, 3}, {1000, 4}, {chem.Millilitres(math.Inf(1)), 6}}

// NetHeightMM is the least height of the net quantity's letters, and whether it
// is measured on the lower-case o (else on figures and capitals).
func (r RuleSet) NetHeightMM(size chem.Millilitres, c Container) (heightMM float64, onLower bool) {
	if r.ID == US.ID {
		in2 := c.PanelMM2() / (mmPerInch * mmPerInch)
		for _, h := range usHeights {
			if in2 <= h.upToIn2 {
				return h.inches * mmPerInch, true
			}
		}
	}
	for _, h := range euHeights {
		if size < h.under {
			return h.mm, false
		}
	}
	return euHeights[len(euHeights)-1].mm, false
}

// SmallHeightMM is the least x-height of all other required text.
func (r RuleSet) SmallHeightMM(c Container) float64 {
	switch {
	case r.ID == US.ID:
		return mmPerInch / 16
	case c.surfaceMM2() < 80*100:
		return 0.9
	}
	return 1.2
}

// NetLow tells that the net quantity stands in the lowest 30 % of the front.
func (r RuleSet) NetLow(c Container) bool {
	return r.ID == US.ID && c.PanelMM2() > 5*mmPerInch*mmPerInch
}

const netLowPart = 0.3

// Net states the net quantity in the rule set's form, rounded down so that the
// label never promises more than the bottle holds: "Net 500 mL (1 pt 0.9 fl oz)",
// "500 ml", "1 L".
func (r RuleSet) Net(size chem.Millilitres) string {
	const hair = 1e-9 // so that 250.0 stored as 249.9999... stays 250
	ml := int(float64(size)*(1+hair) + hair)
	if r.ID == US.ID {
		return fmt.Sprintf("Net %d mL (%s)", ml, usCustomary(size))
	}
	if ml >= 1000 && ml%100 == 0 {
		return fmt.Sprintf("%g L", float64(ml)/1000)
	}
	return fmt.Sprintf("%d ml", ml)
}

// usCustomary is a volume in the largest whole US units: "8.4 fl oz", "1 pt 0.9
// fl oz", "1 qt 1 pt 2.5 fl oz", as the FDA's labelling guide writes it.
func usCustomary(size chem.Millilitres) string {
	tenths := int(math.Floor(float64(size)/chem.USFluidOunceML*10 + 1e-6))
	var parts []string
	for _, u := range []struct {
		tenths int
		symbol string
	}{{1280, "gal"}, {320, "qt"}, {160, "pt"}} {
		if n := tenths / u.tenths; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, u.symbol))
			tenths %= u.tenths
		}
	}
	if tenths > 0 || len(parts) == 0 {
		parts = append(parts, strings.TrimSuffix(fmt.Sprintf("%.1f", float64(tenths)/10), ".0")+" fl oz")
	}
	return strings.Join(parts, " ")
}

// Acidity states how sour it is as measured, or that it was not measured, with
// the statement that the United States ask for when water was added.
func (r RuleSet) Acidity(a larder.Acidity, diluted bool) string {
	if !diluted || r.ID != US.ID || (a.Basis != larder.ByTitration && a.Basis != larder.Computed) {
		return a.LabelText()
	}
	about := ""
	if a.Basis == larder.Computed {
		about = "about "
	}
	return fmt.Sprintf("Diluted with water to %s%.1f percent acid strength", about, math.Floor(float64(a.GPer100ML)*10+1e-9)/10)
}
