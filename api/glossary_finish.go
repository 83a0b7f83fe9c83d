package api

import "maps"

func init() { maps.Copy(glossary, finishGlossary) }

// finishGlossary describes the finishing bench, a label's draft and what is told
// of a bottle before it is given.
var finishGlossary = map[string]word{
	"Finishing.jars":      {"The jars, in the order asked for.", nil},
	"held_ml":             {"What the jars hold together, mL.", 3500},
	"add_water_ml":        {"The water to add, mL, so that even the lower bound of the measurement stays at the target; 0: none.", 480},
	"likely_water_ml":     {"The water that would bring the middle of the measurement to the target, mL. Left out: none can be reckoned.", 600},
	"why_no_water":        {"Why no water can be reckoned, in a sentence.", nil},
	"expected_ml":         {"What there is once the water is in, mL.", 3980},
	"expected_acidity":    {"The acidity once the water is in; computed when there is water to add. Left out: not known.", nil},
	"overflow_ml":         {"Of what is expected, what the jars themselves have no room for, mL.", 0},
	"fills":               {"The bottles of each size that the expected volume fills.", nil},
	"Fill.count":          {"How many bottles it fills.", 15},
	"Fill.size_ml":        {"What a bottle holds, mL.", 250},
	"left_ml":             {"What is left over, mL.", 230},
	"not_yet":             {"Why these jars cannot be bottled as they are, in sentences.", nil},
	"verdict_after_water": {"For each use, what the evidence allows once the water is in; empty when none is to be added.", nil},
	"giving":              {"What the evidence says of giving the bottle away. It stops nobody; a hold does.", nil},
	"answer":              {"What the evidence says.", nil},
	"Giving.against":      {"What keeps giving it away from being supported, the weightiest first, in sentences.", nil},
	"acidity_why":         {"Why the acidity does not count, such as that the reading behind it was struck since.", nil},
	"food":                {"The name that the rules let the food have.", "Malt vinegar"},
	"LabelDraft.name":     {"The name on the label.", "Barley vinegar"},
	"texts":               {"What the label says, from top to end.", nil},
	"code_kind":           {"What the code holds: link or facts.", "facts"},
	"code_text":           {"The code's text.", nil},
	"code_why":            {"Why that kind of code was taken, when nobody chose it.", nil},
	"missing":             {"What the label should say and cannot, why it matters, and the rule.", nil},
	"check":               {"What the maker still has to check, since no record can tell it.", nil},
	"rule_lines":          {"The rules that the label follows, each with its source; empty for a plain label.", nil},
	"fits_on":             {"Ids of the stocks on which all of the label fits, its code reading well.", nil},
	"does_not_fit_on":     {"Ids of the stocks on which it does not.", nil},
	"Point.field":         {"What it is about.", "acidity"},
	"Point.what":          {"What is missing, or to be checked.", nil},
	"Point.why":           {"Why it matters.", nil},
	"LabelDraft.notes":    {"What else is good to know.", nil},
	"RuleLine.says":       {"The rule, in our words.", nil},
	"RuleLine.id":         {"The rule's name.", nil},
}
