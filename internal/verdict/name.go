package verdict

import (
	"fmt"
	"slices"
	"strings"

	"cruet/internal/larder"
)

// NameRule is one published rule on what a food may be called.
type NameRule struct {
	ID      string   `json:"id"`
	Markets []Market `json:"markets,omitempty"` // empty: all
	Says    string   `json:"says"`
	Source  Source   `json:"source"`
}

var (
	fdaNames = recalled("US Food and Drug Administration", "Compliance Policy Guide Sec. 525.825 Vinegar, Definitions", "the kinds of vinegar; the first and the last heading were read")
	euNames  = recalled("European Union", "Regulation (EU) No 1169/2011", "art. 17: the legal name, else the customary, else a descriptive one")
)

// nameRules is the whole table.
var nameRules = []NameRule{
	{ID: "us-cider", Markets: []Market{US}, Says: "Cider vinegar and apple vinegar are made from the juice of apples.", Source: fdaNames},
	{ID: "us-wine", Markets: []Market{US}, Says: "Wine vinegar and grape vinegar are made from the juice of grapes.", Source: fdaNames},
	{ID: "us-malt", Markets: []Market{US}, Says: "Malt vinegar is made from an infusion of barley malt, or of cereals whose starch malt has converted, without distilling.", Source: fdaNames},
	{ID: "us-scraps", Markets: []Market{US}, Says: "What is made from dried apples, cores or peels is not cider vinegar; it is called \"vinegar made from\" and what it was made from.",
		Source: read("US Food and Drug Administration", "Compliance Policy Guide Sec. 525.825 Vinegar, Definitions; 265 U.S. 438 (1924)", "dried apples, cores and peels; the application to other scraps is our reading")},
	{ID: "us-common", Markets: []Market{US}, Says: "A food that no regulation names goes by its common or usual name, which tells plainly what it is.",
		Source: recalled("US Food and Drug Administration", "21 CFR 101.3 and 102.5", "identity of food")},
	{ID: "eu-wine", Markets: european, Says: "Wine vinegar is made from wine of grapes only and holds at least 60 g/L of acid.", Source: eu1308},
	{ID: "eu-name-of-food", Markets: european, Says: "A food without a legal name goes by its customary name, or one that describes what it is; kinds of vinegar are named by what they were made from.", Source: euNames},
	{ID: "plain-name", Says: "Where no rule is known, the name says what it was made from.", Source: own("descriptive name")},
	{ID: "too-weak", Says: "What was measured to be under the least strength of vinegar is not called vinegar, nor sold as such.",
		Source: read("US Food and Drug Administration", "Compliance Policy Guides Sec. 525.825 and 562.100", "strength; the name we give it instead is our own")},
}

// NameRules is the whole table, for a page that shows it.
func NameRules() []NameRule { return slices.Clone(nameRules) }

// Made is what a vinegar was made from: the bases, and the names of the
// ingredients, the heaviest first.
type Made struct {
	Bases       []larder.Base
	Ingredients []string
	Infused     []string // what was put in to infuse
}

// FoodName is what a vinegar may be called.
type FoodName struct {
	tooWeakForWine bool // to be called wine vinegar

	Text    string   // "Vinegar made from pears, peels and cores"
	Kind    string   // the kind of vinegar in one word of the trade: "cider", "wine", "malt", "honey"; empty for a descriptive name
	Rule    NameRule // by which rule
	Vinegar bool     // false: measured to be too weak to be called so
	Notes   []string // what the maker should know of the name, in sentences
}

// NameOf is the name of the food under a market's rules, by what it was made
// from and by how strong it was measured to be.
func NameOf(m Made, e Evidence, market Market) FoodName {
	n := FoodName{Vinegar: true}
	id := ""
	n.Kind, id = kindOf(m, market)
	switch {
	case n.Kind != "":
		n.Text = n.Kind + " vinegar"
	case len(m.subjects()) == 0:
		n.Text = "vinegar"
		n.Notes = append(n.Notes, "The recipe names nothing but water and sugar, so the name cannot say what it was made from. Give the batch its ingredients.")
	default:
		n.Text = "vinegar made from " + list(m.subjects())
	}
	least, _ := LeastAcidity(market, Selling, false)
	if n.Kind == "wine" {
		wine, _ := LeastAcidity(market, Selling, true)
		answer, why := e.atLeast(wine)
		switch {
		case wine == least || answer == Supported:
		case answer == NotProven:
			n.Notes = append(n.Notes, fmt.Sprintf("The rules give the name wine vinegar from %s g/100 mL on. %s", num(wine), why))
		default:
			n.Kind, n.Text, n.tooWeakForWine = "", "vinegar made from "+list(m.subjects()), true
			n.Notes = append(n.Notes, fmt.Sprintf("%s The rules give the name wine vinegar from %s g/100 mL on; ask the local authority whether it may be sold under another.", why, num(wine)))
		}
	}
	switch answer, why := e.atLeast(least); answer {
	case No:
		n.Vinegar, n.Kind, id = false, "", "too-weak"
		n.Text = "sour ferment of " + list(m.subjects())
		n.Notes = append(n.Notes, fmt.Sprintf("%s %s So the name does not say vinegar.", why, "The market's rules ask for "+num(least)+" g/100 mL."))
	case NotProven:
		n.Notes = append(n.Notes, fmt.Sprintf("The rules give the name vinegar from %s g/100 mL on. %s", num(least), why))
	}
	if len(m.Infused) > 0 {
		n.Text += " with " + list(m.Infused)
	}
	n.Text = strings.ToUpper(n.Text[:1]) + n.Text[1:]
	n.Rule = nameRule(id)
	return n
}

func nameRule(id string) NameRule {
	for _, r := range nameRules {
		if r.ID == id {
			return r
		}
	}
	return nameRule("plain-name")
}

// kindOf is the kind of vinegar that has a name of its own, and the rule by
// which it has or has not.
func kindOf(m Made, market Market) (kind, rule string) {
	us, eu := market == US, slices.Contains(european, market)
	descriptive := "plain-name"
	switch {
	case us:
		descriptive = "us-common"
	case eu:
		descriptive = "eu-name-of-food"
	}
	choose := func(kind, usRule, euRule string) (string, string) {
		switch {
		case us:
			return kind, usRule
		case eu:
			return kind, euRule
		}
		return kind, "plain-name"
	}
	if len(m.Bases) == 0 || slices.ContainsFunc(m.Bases, func(b larder.Base) bool { return b != m.Bases[0] }) {
		return "", descriptive
	}
	switch m.Bases[0] {
	case larder.FruitScraps:
		if us {
			return "", "us-scraps"
		}
	case larder.Juice:
		if m.all(func(s string) bool { return hasWord(s, appleWords) }) {
			return choose("cider", "us-cider", "eu-name-of-food")
		}
	case larder.Wine:
		if m.all(func(s string) bool { return hasWord(s, appleWords) }) {
			return choose("cider", "us-cider", "eu-name-of-food")
		}
		if m.all(func(s string) bool { return hasWord(s, wineWords) && !hasWord(s, notGrape) }) {
			return choose("wine", "us-wine", "eu-wine")
		}
	case larder.Ale:
		if !slices.ContainsFunc(m.Ingredients, func(s string) bool { return hasWord(s, []string{"hop", "hops", "hopped"}) }) {
			return choose("malt", "us-malt", "eu-name-of-food")
		}
	case larder.Honey:
		return choose("honey", "us-common", "eu-name-of-food")
	}
	return "", descriptive
}

var (
	appleWords = []string{"apple", "apples", "cider", "cyder"}
	wineWords  = []string{"wine", "grape", "grapes", "sherry", "port", "madeira"}
	// notGrape are what else is made into wine; a wine of one of them is no wine
	// in law. A fruit that is missing here would be called wine vinegar, so the
	// preview asks the maker to check.
	notGrape = []string{"damson", "plum", "plums", "sloe", "apple", "pear", "perry", "quince", "cherry", "elderberry", "elderflower", "blackberry", "bramble",
		"raspberry", "strawberry", "currant", "blackcurrant", "redcurrant", "gooseberry", "blueberry", "bilberry", "cranberry", "peach", "apricot", "nectarine",
		"rhubarb", "dandelion", "nettle", "parsnip", "mead", "honey", "rice", "date", "fig", "pineapple", "mango", "banana", "kiwi", "pomegranate", "fruit",
		"orange", "lemon", "persimmon", "medlar", "mulberry", "rosehip", "palm", "barley", "ginger", "beetroot", "flower", "birch"}
	// helpers are what goes into a recipe without being what it is made from.
	helpers = []string{"water", "sugar", "yeast", "mother", "starter", "vinegar", "campden", "sulphite", "sulfite", "metabisulphite", "metabisulfite", "nutrient", "enzyme", "pectinase", "hops", "tannin", "finings", "bentonite"}
)

// subjects are the ingredients that it is made from.
func (m Made) subjects() []string {
	var out []string
	for _, name := range m.Ingredients {
		name, _, _ = strings.Cut(name, "(") // what that was made from is the ingredient list's
		if s := strings.ToLower(strings.TrimSpace(name)); s != "" && !hasWord(s, helpers) && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	if len(out) > 0 {
		return out
	}
	for _, b := range m.Bases { // a recipe without ingredients still has a base
		if b != larder.OtherBase && !slices.Contains(out, string(b)) {
			out = append(out, string(b))
		}
	}
	return out
}

func (m Made) all(ok func(string) bool) bool {
	subjects := m.subjects()
	return len(subjects) > 0 && !slices.ContainsFunc(subjects, func(s string) bool { return !ok(s) })
}

// hasWord tells that a text holds one of the words, whole.
func hasWord(text string, words []string) bool {
	for _, w := range strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !(r >= 'a' && r <= 'z') }) {
		one := strings.TrimSuffix(w, "s")
		if stem, ok := strings.CutSuffix(w, "ies"); ok {
			one = stem + "y"
		}
		if slices.Contains(words, w) || slices.Contains(words, one) {
			return true
		}
	}
	return false
}

func list(names []string) string {
	switch n := len(names); n {
	case 0:
		return "what the maker can tell"
	case 1:
		return names[0]
	default:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
}

// Misnames says why a name that the maker gave would mislead, in a sentence;
// empty when nothing is known against it. A food may carry a fancy name beside
// its own, but not one that promises another kind of vinegar.
func (n FoodName) Misnames(given string) string {
	if !n.Vinegar && hasWord(given, []string{"vinegar"}) {
		return fmt.Sprintf("The lot is named %q, but it was measured to be too weak to be called vinegar.", given)
	}
	// "Wine vinegar" is a name with a strength of its own: what is made from wine and
	// weaker may say so, but not in these words.
	if n.tooWeakForWine && strings.Contains(strings.ToLower(given), "wine vinegar") {
		return fmt.Sprintf("The lot is named %q, but by the rules it is %q.", given, n.Text)
	}
	for _, k := range []struct {
		kind  string
		words []string
	}{{"cider", []string{"cider", "cyder"}}, {"wine", []string{"wine"}}, {"malt", []string{"malt"}}, {"", []string{"balsamic", "sherry", "champagne", "spirit", "distilled"}}} {
		said := hasWord(n.Text, k.words)
		if hasWord(given, k.words) && (k.kind == "" || n.Kind != k.kind) && !said {
			return fmt.Sprintf("The lot is named %q, which promises another kind of vinegar than %q.", given, n.Text)
		}
	}
	return ""
}
