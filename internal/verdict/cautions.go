package verdict

import (
	"slices"

	"cruet/internal/larder"
)

// Caution is a hazard or a duty that comes with a use.
type Caution struct {
	ID     string `json:"id"`
	Text   string `json:"text"`
	Source Source `json:"source"`
}

// cautionRow says for which uses, and for which evidence, a caution is shown.
type cautionRow struct {
	uses    []Use
	markets []Market            // empty: all
	when    func(Evidence) bool // nil: always
	Caution
}

var leaving = []Use{GivingAway, Selling}

// cautions is the whole list.
var cautions = []cautionRow{
	{uses: []Use{Canning}, Caution: Caution{"botulism",
		"Food preserved with too little acid can carry botulism, which cannot be seen, smelled or tasted. Follow a tested recipe to the letter, or keep the food cold.",
		recalled("US Department of Agriculture", "Complete Guide to Home Canning", "guide 1")}},
	{uses: []Use{Canning}, Caution: Caution{"already-canned",
		"If jars were already put up with weaker vinegar: within 24 hours, move them to the refrigerator and use them within about a month; after that, discard them.",
		read("", "Your Vinegar's Acidity Matters When It Comes To Canning", "citing the National Center for Home Food Preservation; second-hand")}},
	{uses: []Use{FridgePickles}, Caution: Caution{"keep-cold",
		"Keep such pickles in the refrigerator from the first hour to the last, in small amounts, and eat them soon; cold slows microbes and does not kill them. Never move them to a shelf. People who are pregnant, old or weakened do better with pickles made by a tested recipe.",
		recalled("National Center for Home Food Preservation", "refrigerator pickles", "storage")}},
	{uses: []Use{Table, FridgePickles, GivingAway, Selling}, when: hasTitration, Caution: Caution{"fruit-acids",
		"A titration counts every acid. 4 g of malic acid left in a litre of cider vinegar reads as 0.36 g/100 mL of acetic acid.",
		read("AOAC International", "Official Methods 930.35 and 942.15", "factors for acetic and malic acid; the sum is ours")}},
	{uses: []Use{Table, FridgePickles, GivingAway, Selling}, when: func(e Evidence) bool { return e.SulphiteFrom != "" && e.SulphiteMGPerKG == nil }, Caution: Caution{"sulphites",
		"It may hold sulphites, which can bring on asthma in sensitive people. Say so to whoever gets it, and write it on the label, unless a measurement shows that there are too few to declare.",
		recalled("US Food and Drug Administration", "21 CFR 101.100", "(a)(4), which was read; the hazard is recalled")}},
	{uses: []Use{Table, GivingAway}, when: alcoholUnknown, Caution: Caution{"alcohol-left",
		"Some alcohol may be left in it. Tell whoever avoids alcohol.",
		own("common practice")}},
	{uses: []Use{Selling}, when: alcoholUnknown, Caution: Caution{"alcohol-method",
		"A hydrometer or a refractometer cannot read the alcohol left in vinegar, because the acid disturbs both; it is distilled off first. A laboratory does that.",
		recalled("International Organisation of Vine and Wine", "Methods of analysis of vinegars", "alcohol")}},
	{uses: []Use{Table, GivingAway, Selling}, when: madeFrom(larder.Honey), Caution: Caution{"honey",
		"It was made from honey: not for children under one year.",
		recalled("US Centers for Disease Control and Prevention", "Botulism prevention", "honey and infants")}},
	{uses: []Use{GivingAway, Selling}, when: madeFrom(larder.Ale), Caution: Caution{"gluten",
		"Beer and ale bring barley or wheat with them. Name the cereal on the label as an allergen.",
		recalled("European Union", "Regulation (EU) No 1169/2011", "Annex II; wheat also under US law")}},
	{uses: leaving, when: func(e Evidence) bool { return !e.Heated }, Caution: Caution{"not-heated",
		"It was not pasteurised. It may grow a mother or go on working in the bottle: fill to the top, close, keep cool, open with care. Never bottle anything that still ferments; the bottle can burst.",
		read("", "Fail Of The Week: Exploding Fermentation", "a bottle that injured people; the advice on filling is common practice")}},
	{uses: leaving, Caution: Caution{"gift-label",
		"Put on the label: what it is and was made from, every ingredient and allergen, the measured acidity with its date and method, that it is home-made and not inspected, that it is not for canning, whether it was heated, the lot, the date, and whom to ask.",
		own("least content of a gift label")}},
	{uses: []Use{Table, GivingAway, Selling}, when: infusedOne, Caution: Caution{"infused-cold",
		"Keep flavoured vinegar in the refrigerator and use it within about three months. Herbs or garlic in oil are another matter: they can carry botulism.",
		read("Colorado State University Extension", "Flavored Vinegars and Oils, fact sheet 9.340", "storage")}},
	{uses: []Use{Selling}, markets: []Market{US}, when: madeFrom(larder.FruitScraps), Caution: Caution{"scrap-name",
		"Vinegar made from peels and cores is not called cider or apple cider vinegar. It says \"vinegar made from\" and what it was made from.",
		read("US Food and Drug Administration", "Compliance Policy Guide Sec. 525.825 Vinegar, Definitions", "dried apples, cores and peels; the application to scraps is our reading")}},
	{uses: []Use{Table, GivingAway, Selling}, Caution: Caution{"vessels",
		"Keep it in glass, food-grade plastic or sound enamel. Vinegar takes lead out of crystal and unsuitable glazes, and eats aluminium, iron, copper and pewter.",
		read("US Food and Drug Administration; Ohio State University Extension", "advice on lead crystal; HYG-5346 Making Cider Vinegar at Home", "vessels")}},
	{uses: []Use{Cleaning}, Caution: Caution{"bleach",
		"Never mix vinegar with bleach, nor use one straight after the other: they give off chlorine, a poisonous gas. Do not mix it with hydrogen peroxide either.",
		recalled("US Centers for Disease Control and Prevention", "advice on cleaning with bleach", "mixing")}},
	{uses: []Use{Cleaning}, Caution: Caution{"not-disinfectant",
		"It cleans; it does not disinfect. Where germs matter, use a product that is approved for it, as its label says.",
		recalled("US Environmental Protection Agency", "registered disinfectants", "")}},
	{uses: []Use{Cleaning}, Caution: Caution{"surfaces",
		"Keep it off marble and other limestone, aluminium, and your eyes. Label the bottle, and keep it apart from food and from children.",
		own("common practice")}},
}

// Cautions is the whole list, for a page that shows it. The caller may keep it.
func Cautions() []Caution {
	var all []Caution
	for _, row := range cautions {
		all = append(all, row.Caution)
	}
	return all
}

func cautionsFor(e Evidence, market Market, use Use) []Caution {
	var chosen []Caution
	for _, row := range cautions {
		here := len(row.markets) == 0 || slices.Contains(row.markets, market)
		if here && slices.Contains(row.uses, use) && (row.when == nil || row.when(e)) {
			chosen = append(chosen, row.Caution)
		}
	}
	return chosen
}

func hasTitration(e Evidence) bool { _, why := e.usable(); return why == "" }
func alcoholUnknown(e Evidence) bool {
	_, counts := e.alcohol()
	return !counts
}
func infusedOne(e Evidence) bool { return e.Infuse != "" }
func madeFrom(b larder.Base) func(Evidence) bool {
	return func(e Evidence) bool { return slices.Contains(e.Bases, b) }
}
