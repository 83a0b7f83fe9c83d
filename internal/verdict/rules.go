package verdict

import (
	"slices"

	"cruet/internal/chem"
)

// Use is what someone wants to do with a vinegar.
type Use string

// The uses.
const (
	Table         Use = "table"
	FridgePickles Use = "refrigerator pickles"
	Canning       Use = "canning and shelf-stable pickling"
	Cleaning      Use = "cleaning"
	GivingAway    Use = "giving away"
	Selling       Use = "selling"
)

// Uses lists them in the order shown.
func Uses() []Use {
	return []Use{Table, FridgePickles, Canning, Cleaning, GivingAway, Selling}
}

// Food tells that someone may eat what this use leads to.
func (u Use) Food() bool { return u != Cleaning }

// Scope limits a rule to some bases.
type Scope string

// The scopes. A vinegar counts as made from wine when any of its bases is wine.
const (
	AnyBase  Scope = ""
	FromWine Scope = "wine"
	NotWine  Scope = "other than wine"
)

// Rule is one row of the table: one published rule, or one of our own.
type Rule struct {
	ID      string   `json:"id"`
	Markets []Market `json:"markets,omitempty"` // empty: all
	Uses    []Use    `json:"uses"`
	Scope   Scope    `json:"scope,omitempty"`
	// MinAcidityGPer100ML is the least acidity as acetic acid, 0 for none;
	// MaxAlcoholPercentVol the most alcohol, 0 for none. A rule without a limit
	// is applied by name in judge.go.
	MinAcidityGPer100ML  chem.GramsPer100ML `json:"min_acidity_g_per_100ml,omitempty"`
	MaxAlcoholPercentVol chem.PercentVol    `json:"max_alcohol_percent_vol,omitempty"`
	Says                 string             `json:"says"`
	Source               Source             `json:"source"`
	// Differs tells what other sources say against this rule; empty when
	// nothing is known to.
	Differs string `json:"differs,omitempty"`
}

var (
	fdaVinegar = read("US Food and Drug Administration", "Compliance Policy Guide Sec. 525.825 Vinegar, Definitions", "policy")
	pennState  = read("Penn State Extension", "Homemade vinegar acidity", "answer")
	ucVinegar  = read("University of California Master Food Preserver Program", "About That Vinegar: Read The Label!", "27 November 2024")
	frenchSum  = read("Techniques de l'Ingénieur", "Vinegars", "product overview (a summary of French law)")
	codex162   = recalled("Codex Alimentarius", "CODEX STAN 162-1987, Regional European Standard for Vinegar", "composition (its revocation was proposed in 2000)")
	eu1308     = recalled("European Union", "Regulation (EU) No 1308/2013", "Annex VII, Part II, point 17")
	wineNotes  = read("", "Wine vinegar, food-fermentation notes", "regulation of larger producers")
)

var european = []Market{EU, Germany, France}

// rules is the whole table.
var rules = []Rule{
	// Strength: from how many g/100 mL on a liquid is called vinegar. At home
	// the law on names does not bind; the limit is used as the yardstick there.
	{ID: "floor", Uses: []Use{Table, GivingAway, Selling}, MinAcidityGPer100ML: chem.WeakestVinegarGPer100ML,
		Says:   "Under 4 g/100 mL nothing is called vinegar here, in any market.",
		Source: own("lowest strength called vinegar, after the US policy guide")},
	{ID: "us-name", Markets: []Market{US}, Uses: []Use{Table, GivingAway, Selling}, MinAcidityGPer100ML: 4,
		Says: "Every kind of vinegar holds at least 4 g of acetic acid in 100 mL at 20 °C, also after water was added.", Source: fdaVinegar},
	{ID: "us-tax-name", Markets: []Market{US}, Uses: []Use{Selling}, MinAcidityGPer100ML: 4,
		Says:   "On bonded wine premises, too, vinegar begins at 4.0 g/100 mL.",
		Source: recalled("US Alcohol and Tobacco Tax and Trade Bureau", "27 CFR 24.215", "the figure was read, its unit is recalled")},
	{ID: "uk-name", Markets: []Market{UK}, Uses: []Use{Table, GivingAway, Selling}, MinAcidityGPer100ML: 4,
		Says:   "British practice asks for 4 % by weight in volume.",
		Source: read("UK Food Standards Committee", "Report on vinegars, summary", "minimum acetic acid")},
	{ID: "de-name", Markets: []Market{Germany}, Uses: []Use{Table, GivingAway, Selling}, MinAcidityGPer100ML: 5,
		Says:   "Vinegar holds from 5 to 15.5 g of acid in 100 mL.",
		Source: read("Germany", "Ordinance on the marketing of vinegar and vinegar essence, 1972 (FAOLEX abstract)", "article 1")},
	{ID: "fr-name", Markets: []Market{France}, Uses: []Use{Table, GivingAway}, MinAcidityGPer100ML: 5,
		Says: "Vinegar holds at least 5 g/100 mL at 20 °C. The tolerance of 0.2 that inspectors may grant is not used here.", Source: frenchSum},
	{ID: "fr-name-other", Markets: []Market{France}, Uses: []Use{Selling}, Scope: NotWine, MinAcidityGPer100ML: 5,
		Says: "Vinegar from anything but wine holds at least 5 g/100 mL at 20 °C.", Source: frenchSum},
	{ID: "fr-name-wine", Markets: []Market{France}, Uses: []Use{Selling}, Scope: FromWine, MinAcidityGPer100ML: 6,
		Says: "Wine vinegar holds at least 6 g/100 mL at 20 °C.", Source: frenchSum},
	{ID: "eu-name", Markets: european, Uses: []Use{Table, GivingAway}, MinAcidityGPer100ML: 5,
		Says: "Vinegar other than wine vinegar holds at least 50 g of acid in a litre; this is the yardstick for any vinegar at home.", Source: codex162},
	{ID: "eu-name-other", Markets: european, Uses: []Use{Selling}, Scope: NotWine, MinAcidityGPer100ML: 5,
		Says: "Vinegar other than wine vinegar holds at least 50 g of acid in a litre.", Source: codex162},
	{ID: "eu-name-wine", Markets: european, Uses: []Use{Selling}, Scope: FromWine, MinAcidityGPer100ML: 6,
		Says: "Wine vinegar is made from wine only and holds at least 60 g of acid in a litre, as acetic acid.", Source: eu1308},
	{ID: "uy-name-wine", Markets: []Market{Uruguay}, Uses: []Use{Table, GivingAway, Selling}, Scope: FromWine, MinAcidityGPer100ML: 4,
		Says:   "Wine vinegar holds at least 4.0 g/100 mL and is clear, without sediment or vinegar eels.",
		Source: read("Departamento de Montevideo", "Digesto, El vinagre de vino", "analytical requirements")},
	{ID: "cn-name", Markets: []Market{China}, Uses: []Use{Table, GivingAway, Selling}, MinAcidityGPer100ML: 3.5,
		Says: "Vinegar holds at least 3.5 g/100 mL.", Source: recalled("China", "GB 2719-2018, National food safety standard: Vinegar", "total acid")},
	{ID: "jp-name", Markets: []Market{Japan}, Uses: []Use{Table, GivingAway, Selling}, MinAcidityGPer100ML: 4.2,
		Says: "Brewed vinegars hold about 4.0 to 4.2 %, by kind; the higher figure is used.", Source: recalled("Japan", "Japanese Agricultural Standard for brewed vinegar", "acidity")},

	// Alcohol left over, in what is sold.
	{ID: "fr-alcohol-other", Markets: []Market{France}, Uses: []Use{Selling}, Scope: NotWine, MaxAlcoholPercentVol: 0.5,
		Says: "No more than 0.5 % vol of alcohol is left in vinegar other than wine vinegar.", Source: frenchSum},
	{ID: "fr-alcohol-wine", Markets: []Market{France}, Uses: []Use{Selling}, Scope: FromWine, MaxAlcoholPercentVol: 1.5,
		Says: "No more than 1.5 % vol of alcohol is left in wine vinegar (3 % when made from liqueur wine, which is not used here).", Source: frenchSum},
	{ID: "eu-alcohol-wine-notes", Markets: european, Uses: []Use{Selling}, Scope: FromWine, MaxAlcoholPercentVol: 1.5,
		Says: "Less than 1.5 % vol of alcohol is left in wine vinegar.", Source: wineNotes,
		Differs: "The alcohol limits are called European law by some sources; others hold that they are national and that Regulation (EU) No 1308/2013 fixes the acidity only. Ask the local authority which one binds."},
	{ID: "eu-alcohol-wine", Markets: european, Uses: []Use{Selling}, Scope: FromWine, MaxAlcoholPercentVol: 1,
		Says: "No more than 1 % vol of alcohol is left in wine vinegar.", Source: codex162},
	{ID: "eu-alcohol-other", Markets: european, Uses: []Use{Selling}, Scope: NotWine, MaxAlcoholPercentVol: 0.5,
		Says: "No more than 0.5 % vol of alcohol is left in vinegar other than wine vinegar.", Source: codex162},
	{ID: "uy-alcohol-wine", Markets: []Market{Uruguay}, Uses: []Use{Selling}, Scope: FromWine, MaxAlcoholPercentVol: 1,
		Says:   "No more than 1 % vol of alcohol is left in wine vinegar.",
		Source: read("Departamento de Montevideo", "Digesto, El vinagre de vino", "analytical requirements")},

	// Preserving.
	{ID: "canning-never", Uses: []Use{Canning},
		Says:   "Home-made vinegar does not go into canning recipes: its acidity varies with what it was made from. Preserving recipes are tested with bought vinegar of at least 5 %.",
		Source: pennState,
		Differs: "Some cooking pages and books accept home-made vinegar from 4.5 or 5 % by titration, or by pH strips. Tested recipes start at 5 %, strips cannot show a percentage, " +
			"and the extension services make no exception for a test at home; their advice is the stricter and is the one used."},
	{ID: "pickles-strength", Uses: []Use{FridgePickles}, MinAcidityGPer100ML: 5,
		Says: "Pickling recipes are tested with vinegar of 5 %; weaker vinegar does not hold back microbes as they count on.", Source: ucVinegar},
	{ID: "pickles-known", Uses: []Use{FridgePickles},
		Says:    "Home-made vinegar of unknown acidity is not for pickling.",
		Source:  read("North Carolina State University, Food and Nutrition", "Can I make vinegar at home?", "answer, August 2004"),
		Differs: "That answer, from North Carolina State, keeps home-made vinegar out of all pickling, because its acidity is probably unknown; an Ohio State fact sheet (HYG-5346, recalled from memory) accepts it for pickles kept in the refrigerator at all times. Here both a titrated 5 % and the refrigerator are asked for. Bought vinegar of at least 5 % is the choice that meets every one of them."},

	// Hygiene.
	{ID: "cleaning", Uses: []Use{Cleaning},
		Says: "Cleaning asks for something that has become vinegar, and promises neither a strength nor that germs are killed.", Source: own("cleaning")},
	{ID: "mould", Uses: Uses(),
		Says:    "Mould on top sends threads and spores through the whole liquid: do not eat or drink any of it, and do not spread it by cleaning with it.",
		Source:  read("Ask Extension, Cooperative Extension", "Question 547866, mould on cider vinegar", "answer"),
		Differs: "Sources differ on a thin flat film of yeast (skim it, or discard when unsure); on mould they agree. A mould entry that was really film yeast can be struck from the log, with the reason."},
	{ID: "hold", Uses: Uses(),
		Says: "While a hold stands, nothing of the jar is eaten, bottled or given away.", Source: own("holds")},
	{ID: "finished", Uses: []Use{FridgePickles, GivingAway, Selling},
		Says: "Only a vinegar that has finished working leaves the open jar; for pickles it may also be maturing.", Source: own("stages")},
	{ID: "not-vinegar-yet", Uses: Uses(),
		Says: "Must and fermenting liquid are not vinegar, whatever acid they hold.", Source: own("stages")},
	{ID: "fresh-evidence", Uses: []Use{Table, FridgePickles, GivingAway, Selling},
		Says:   "A titration speaks for 42 days while the jar is open to the air (acetic or maturing), for 90 days once finished. In a full, closed bottle it speaks for the day of bottling.",
		Source: own("age of evidence; in air some bacteria burn acetic acid once the alcohol is gone, common practice is to titrate again")},
	{ID: "infused-base", Uses: []Use{Table, FridgePickles, GivingAway, Selling},
		Says:    "Flavoured vinegars start from commercially produced vinegar.",
		Source:  read("University of Wisconsin-Madison Extension", "Safe Preserving: Flavored Vinegars and Oils", "base vinegar"),
		Differs: "Other writers allow a home-made base, and differ on the refrigerator (Colorado State Extension 9.340 calls it best, an Ask Extension answer does not require it). The stricter is used: a bought base, kept cold."},

	// Leaving the house.
	{ID: "sale-licence", Uses: []Use{Selling},
		Says:   "Whether a home kitchen may sell vinegar, and under which licence, registration, inspection and label, is a matter of local law that no log can show.",
		Source: read("California, Minnesota, Florida and others", "Cottage-food lists and labelling pages", "they differ by state and country")},
	{ID: "us-home-wine", Markets: []Market{US}, Uses: []Use{Selling}, Scope: FromWine,
		Says:   "Wine made at home free of tax is for the family's own use and not for sale.",
		Source: read("US Alcohol and Tobacco Tax and Trade Bureau", "27 CFR 24.75", "wine for personal or family use")},
	{ID: "eu-gift", Markets: european, Uses: []Use{GivingAway},
		Says:   "European food-information law leaves out occasional giving and serving by private persons.",
		Source: read("European Union", "Regulation (EU) No 1169/2011", "recital 15")},
	{ID: "uk-gift", Markets: []Market{UK}, Uses: []Use{GivingAway},
		Says:   "Handling food for others less than about once a month is not read as a food business.",
		Source: read("UK Food Standards Agency", "Food in community centres and village halls", "guidance")},
	{ID: "us-gift", Markets: []Market{US}, Uses: []Use{GivingAway},
		Says:   "A gift to friends is outside the labelling rules for sale; raffles, promotions and donations may not be. Ask the local authority.",
		Source: recalled("US states", "general practice on home-made gifts", "")},
}

// Rules is the whole table, for a page that shows it. The caller may keep it.
func Rules() []Rule { return slices.Clone(rules) }

// RulesFor is the part of the table that one use in one market asks of a
// vinegar made from wine or not. A market that the table does not know, and one
// that it has no strength for, gets the strictest: every market's rules.
func RulesFor(market Market, use Use, wine bool) []Rule {
	if !slices.Contains(Markets(), market) {
		market = Elsewhere
	}
	chosen := pick(market, use, wine)
	published := func(r Rule) bool { return r.MinAcidityGPer100ML > 0 && r.Source.Standing != OwnRule }
	if slices.Contains([]Use{Table, GivingAway, Selling}, use) && !slices.ContainsFunc(chosen, published) {
		chosen = pick(Elsewhere, use, wine)
	}
	return chosen
}

func pick(market Market, use Use, wine bool) []Rule {
	var chosen []Rule
	for _, r := range rules {
		here := len(r.Markets) == 0 || market == Elsewhere && r.limits() || slices.Contains(r.Markets, market)
		if here && slices.Contains(r.Uses, use) && (r.Scope == AnyBase || (r.Scope == FromWine) == wine) {
			chosen = append(chosen, r)
		}
	}
	return chosen
}

func (r Rule) limits() bool { return r.MinAcidityGPer100ML > 0 || r.MaxAlcoholPercentVol > 0 }

// LeastAcidity is the least acidity, g/100 mL, that a use asks for in a
// market, and the rules that set it; 0 and none when none does.
func LeastAcidity(market Market, use Use, wine bool) (chem.GramsPer100ML, []Rule) {
	var least chem.GramsPer100ML
	var by []Rule
	for _, r := range RulesFor(market, use, wine) {
		if r.MinAcidityGPer100ML > 0 {
			least, by = max(least, r.MinAcidityGPer100ML), append(by, r)
		}
	}
	return least, by
}

// MostAlcohol is the most alcohol, % vol, that a use permits in a market, and
// the rules that set it; ok is false when no limit is known.
func MostAlcohol(market Market, use Use, wine bool) (most chem.PercentVol, by []Rule, ok bool) {
	for _, r := range RulesFor(market, use, wine) {
		if r.MaxAlcoholPercentVol > 0 {
			if len(by) == 0 || r.MaxAlcoholPercentVol < most {
				most = r.MaxAlcoholPercentVol
			}
			by = append(by, r)
		}
	}
	return most, by, len(by) > 0
}

// SulphiteRule is when sulphites are declared on a label.
type SulphiteRule struct {
	LimitMGPerKG float64 `json:"limit_mg_per_kg"` // as total SO2
	AtLimit      bool    `json:"at_limit"`        // declared at the limit itself, not only over it
	Source       Source  `json:"source"`
}

// Sulphites is the rule for a market. Only the United States' wording counts
// the limit itself; it is the stricter and is used elsewhere too.
func Sulphites(market Market) SulphiteRule {
	switch market {
	case EU, Germany, France, UK:
		return SulphiteRule{10, false, recalled("European Union", "Regulation (EU) No 1169/2011", "Annex II, kept in UK law")}
	}
	return SulphiteRule{10, true, read("US Food and Drug Administration", "21 CFR 101.100", "(a)(4)")}
}

// MustDeclare tells that a content, mg/kg as total SO2, has to be declared. A
// content that is no number has to be, for nothing is known of it.
func (s SulphiteRule) MustDeclare(mgPerKG float64) bool {
	return !(mgPerKG < s.LimitMGPerKG || !s.AtLimit && mgPerKG == s.LimitMGPerKG)
}
