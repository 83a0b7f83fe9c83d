package api

import (
	"strings"

	"github.com/danielgtaylor/huma/v2"
)

// word says what a field means, with an example where the name leaves a doubt.
type word struct {
	text    string
	example any
}

// glossary describes the fields of larder's and store's types, which know
// nothing of documents: by field, or by schema and field where one name means
// two things. Units stand in the names and again here.
var glossary = map[string]word{
	"abv_percent_vol":                  {"Alcohol, % by volume at 20 °C.", 6.2},
	"acid":                             {"A further acid to express the result as. Empty: acetic only.", nil},
	"acidity":                          {"What is known of how sour it is, as acetic acid. Left out: nothing is known.", nil},
	"acidity_basis":                    {"How the lot's acidity is known.", nil},
	"acidity_g_per_100ml":              {"Acidity as acetic acid, g/100 mL: the mean of the replicates.", 5.4},
	"acidity_text":                     {"The acidity as the label states it, rounded down.", "5.4 % acidity"},
	"phones":                           {"All that may write.", nil},
	"paired_at":                        {"When it was paired.", nil},
	"seen_at":                          {"When it was last here, to the hour.", nil},
	"program":                          {"Whether it is a program with a token; else a phone.", nil},
	"Phone.id":                         {"Its number.", 3},
	"Phone.name":                       {"The initials or name that stand on what it writes.", "MO"},
	"act":                              {"The act that wrote this; one act may write into several jars.", nil},
	"address":                          {"HOST:PORT that labels encode. Empty: the station's own.", "192.168.1.20:8080"},
	"amount":                           {"How much of it.", nil},
	"base":                             {"What the batch is made from.", nil},
	"base_checked_days_ago":            {"Days since the base was standardised. Left out: never, or not known; then the result supports no strength claim.", 12},
	"base_max_age_days":                {"Days for which a standardised base is trusted. 0: the usual.", nil},
	"base_mol_per_l":                   {"Concentration of the sodium hydroxide, mol/L.", 0.1},
	"base_standard_u_mol_per_l":        {"Standard uncertainty of the base, mol/L.", nil},
	"bases":                            {"What the lot's batches were made from.", nil},
	"basis":                            {"How the acidity is known: measured by titration, computed after water went in, outdated by something else that went in, or not measured.", nil},
	"batch":                            {"The batch.", nil},
	"batch_id":                         {"The number of the jar's batch.", 1},
	"batches":                          {"How many batches there are.", nil},
	"blank_ml":                         {"Base that water and indicator alone took, mL.", 0.05},
	"body":                             {"What the entry holds; its form depends on kind.", nil},
	"bottle":                           {"The bottle.", nil},
	"bottle_count":                     {"How many bottles the lot has.", nil},
	"bottles":                          {"The lot's bottles by number, with the gift where one was given.", nil},
	"Report.bottles":                   {"How many bottles there are.", nil},
	"brix":                             {"Degrees Brix, g sucrose in 100 g, as the refractometer showed it.", 12.5},
	"burette_tolerance_ml":             {"Half width of the burette's or syringe's tolerance, mL.", nil},
	"by":                               {"Who did it: initials or a short name.", "MO"},
	"came_from":                        {"What came into the jar, and from where.", nil},
	"cautions":                         {"What every bottle of the lot must say, the gravest first.", nil},
	"columns":                          {"Labels side by side on a page.", nil},
	"computed":                         {"What follows from the titration; the body holds what was measured.", nil},
	"count":                            {"How many bottles.", 6},
	"dilution_factor":                  {"Final volume over vinegar volume when the sample was diluted: 10 for 10 mL made up to 100 mL. 0 or 1: undiluted.", nil},
	"dpi":                              {"Dots per inch of the printers that this paper usually meets.", nil},
	"depth":                            {"How many steps it lies from the subject, from 1.", nil},
	"beyond":                           {"The steps beyond: what that came from, or what it went into.", nil},
	"hidden_count":                     {"How many steps directly beyond are left out; ask for that jar's own lineage.", nil},
	"hidden_back_count":                {"How many steps directly into the jar are left out.", nil},
	"hidden_forward_count":             {"How many steps directly out of the jar are left out.", nil},
	"again":                            {"What lies beyond stands at another place of the tree.", nil},
	"back":                             {"How many steps before the subject it lies; left out when it does not.", nil},
	"forward":                          {"How many steps after the subject it lies, 0 for itself; left out when it does not.", nil},
	"since":                            {"Since when it stands.", nil},
	"due":                              {"What the jar wants now and next, the most urgent first.", nil},
	"end_ml":                           {"Burette reading after, mL.", 9.1},
	"endpoint_ph":                      {"The pH at which the titration stopped, when titrated to a meter.", 8.2},
	"entries":                          {"The entries of this page, the newest first.", nil},
	"Report.entries":                   {"How many entries there are.", nil},
	"entry":                            {"The id of the entry that holds the measurement.", nil},
	"Saved.entry":                      {"What was recorded.", nil},
	"errors":                           {"What is wrong field by field.", nil},
	"expanded_uncertainty_g_per_100ml": {"95 % uncertainty of the acidity, g/100 mL.", nil},
	"feed":                             {"What went in.", nil},
	"sha256":                           {"The SHA-256 of the picture kept, in lower-case hexadecimal: its name under /photos.", nil},
	"thumb_sha256":                     {"That of the small one, 320 pixels long at most.", nil},
	"width_px":                         {"Width of the picture kept, pixels.", 1600},
	"height_px":                        {"Its height, pixels.", 1200},
	"photos":                           {"How many photos there are, struck ones too: their files are kept.", nil},
	"field":                            {"The field of the request, with dots and [index] into it; empty when it concerns the whole act.", "ph"},
	"findings":                         {"What is wrong with the records; empty when all is well.", nil},
	"from":                             {"The stage before; left out for the jar's first.", nil},
	"Feed.from":                        {"Where it came from: a jar, bought, water, other, or none (left to the air).", nil},
	"inherit":                          {"What stayed true of the liquid when it came into this jar: a snapshot of the giving jars.", nil},
	"supplier":                         {"Who supplied it.", nil},
	"supplier_lot":                     {"The supplier's lot mark.", nil},
	"taken_back":                       {"Set when the gift was recorded by mistake and taken back.", nil},
	"must_specific_gravity":            {"The first gravity of the must.", nil},
	"must_brix":                        {"The first °Brix of the must.", nil},
	"abv_water_part":                   {"The part, 0 to 1, that is water added since the alcohol was measured.", nil},
	"water_part":                       {"The part, 0 to 1, that is water added since the start.", nil},
	"acidity_from":                     {"The titrations that the acidity rests on.", nil},
	"infused":                          {"What it was infused with.", nil},
	"do":                               {"What to do, as a name for programs.", "titrate"},
	"Todo.from":                        {"From when it is due.", nil},
	"from_jar":                         {"The jar that gave.", nil},
	"from_name":                        {"What gave, when it was not a jar.", nil},
	"g_per_100ml":                      {"Acidity as acetic acid, g/100 mL.", 5.4},
	"gift":                             {"To whom it went; left out while it is in the kitchen.", nil},
	"gifts":                            {"How many bottles were given.", nil},
	"given_count":                      {"How many of them were given away.", nil},
	"heated":                           {"Every jar of the lot was pasteurised.", nil},
	"heated_at":                        {"When it was last pasteurised.", nil},
	"hold":                             {"Why the jar is on hold; left out when it is not. Nothing of it may be bottled or given away.", nil},
	"holds":                            {"Why jars of this bottle are on hold.", nil},
	"id":                               {"Its id.", nil},
	"Batch.id":                         {"The batch's number.", 1},
	"Lot.id":                           {"The lot's mark, as printed on the bottles.", "L261125A"},
	"Stock.id":                         {"The stock's id.", "letter-3x10"},
	"ingredients":                      {"The recipe.", nil},
	"Lot.ingredients":                  {"What went into the lot's batches, the heaviest first.", nil},
	"instrument":                       {"Which instrument showed it.", "blue pH meter"},
	"jar":                              {"The jar's tag.", nil},
	"ShelfJar.jar":                     {"The jar.", nil},
	"JarPage.jar":                      {"The jar.", nil},
	"jar_outer_diameter_mm":            {"Across the jar's outside, mm.", nil},
	"jars":                             {"The batch's jars by letter.", nil},
	"Report.jars":                      {"How many jars there are.", nil},
	"Shelf.jars":                       {"The jars.", nil},
	"kind":                             {"What the body holds.", nil},
	"label_height_mm":                  {"Height of one label, mm.", nil},
	"label_width_mm":                   {"Width of one label, mm.", nil},
	"letter":                           {"The jar's letter within its batch.", "A"},
	"Bottle.tag":                       {"The code on its label, for whoever holds the bottle.", "26XVT-K2Y34-0H95J"},
	"link":                             {"The text of the code on the label.", nil},
	"live":                             {"Sold as live, with its mother.", nil},
	"lot":                              {"The lot's mark.", "L261125A"},
	"BottlePage.lot":                   {"The bottle's lot.", nil},
	"BottledLot.lot":                   {"The lot.", nil},
	"LotLine.behind_hold":              {"true: something of a jar on hold went into it, so none of it may be given away.", nil},
	"LotLine.lot":                      {"The lot.", nil},
	"lots":                             {"The lots, the newest first.", nil},
	"Report.lots":                      {"How many lots there are.", nil},
	"lower_g_per_100ml":                {"The lower end of the acidity's 95 % interval, g/100 mL: what a claim of strength must use.", 5.2},
	"maker_line":                       {"Printed on bottles: whom to ask.", "Quince Yard"},
	"mass_g":                           {"The amount as a mass, g, when it is one.", nil},
	"may_become":                       {"The stages that may follow, the usual way first.", nil},
	"meaning":                          {"What happened and what to do.", nil},
	"message":                          {"What to do about it.", "PH 32 is outside 0 to 14; did you mean 3.2?"},
	"minutes":                          {"Pasteurised: how long the heat was held, minutes.", 10},
	"mother":                           {"A mother was carried over.", nil},
	"mould_at":                         {"When mould was last seen. Mould means discard.", nil},
	"name":                             {"Its name.", nil},
	"needs_reason":                     {"Say why.", nil},
	"needs_starter":                    {"Say where the starter came from, unless one is in already.", nil},
	"needs_volume":                     {"Say how much liquid there is.", nil},
	"backward":                         {"This goes back a stage.", nil},
	"next":                             {"Where the older entries begin: send it as from. Left out: there are none.", nil},
	"note":                             {"Anything else, in words.", nil},
	"notes":                            {"What the sum wants you to know.", nil},
	"number":                           {"The bottle's number within its lot, from 1.", 1},
	"on":                               {"true puts the jar on hold, false releases it.", true},
	"page_height_mm":                   {"Height of the page, mm; of one label for a roll.", nil},
	"page_width_mm":                    {"Width of the page, mm; of one label for a roll.", nil},
	"ph":                               {"pH as the instrument showed it. It says nothing about strength.", 3.2},
	"place":                            {"Where the jar stands.", "cellar, top shelf"},
	"pours":                            {"What each jar gave.", nil},
	"precision":                        {"How much of at is meant: the minute, the day, or some days either side.", nil},
	"at":                               {"UTC instant; for a day or a vague date it is noon in the kitchen.", "2026-11-22T12:00:00Z"},
	"reason":                           {"Why.", "the cloth was off overnight"},
	"recorded_at":                      {"When it was recorded, UTC.", nil},
	"replayed":                         {"This key was answered before; nothing was recorded this time.", nil},
	"replicate_count":                  {"How many runs the acidity is the mean of.", 2},
	"replicates":                       {"The runs: burette readings before and after.", nil},
	"calibration":                      {"The calibration of the meter that was in force.", nil},
	"corrected_ph":                     {"pH computed from what the meter showed and its calibration.", nil},
	"ph_mark":                          {"Why the pH is rough; left out when it is not.", nil},
	"base_check":                       {"The check of the base that was in force.", nil},
	"Titration.base":                   {"Which bottle of base. Empty: the one checked last.", nil},
	"NewTitration.base":                {"Which bottle of base. Empty: the one checked last.", nil},
	"roll":                             {"One label a page.", nil},
	"rows":                             {"Labels one below the other on a page.", nil},
	"runs":                             {"How many bottles of which size.", nil},
	"sample_ml":                        {"Vinegar titrated, mL.", 10},
	"sample_tolerance_ml":              {"Half width of the pipette's or syringe's tolerance, mL.", nil},
	"sd_g_per_100ml":                   {"Standard deviation of the runs, g/100 mL. From two runs on.", 0.05},
	"seq":                              {"The order of recording in this kitchen.", nil},
	"siblings":                         {"The other jars of the batch.", nil},
	"size_ml":                          {"What it holds when full, mL.", 250},
	"specific_gravity":                 {"Specific gravity 20/20 °C, as the hydrometer showed it.", 1.05},
	"spread_days":                      {"For a vague date: days either side.", 2},
	"stage":                            {"Where the jar stands on its way to vinegar.", nil},
	"stage_since":                      {"Since when.", nil},
	"start_ml":                         {"Burette reading before, mL.", 0.1},
	"started_at":                       {"When the jar was started.", nil},
	"starter":                          {"Where the starter came from; left out where one is in already.", nil},
	"State.starter":                    {"Where the starter came from, in words.", nil},
	"stated_acidity_g_per_100ml":       {"Bought: the acidity its label states, g/100 mL. It was not measured here.", 6},
	"state":                            {"What the jar's log adds up to.", nil},
	"Saved.state":                      {"What the jar's log adds up to now.", nil},
	"status":                           {"coming, due or overdue.", nil},
	"ProblemType.status":               {"Its HTTP status.", nil},
	"stirred_at":                       {"When it was last stirred.", nil},
	"stocks":                           {"The label papers.", nil},
	"strained_at":                      {"When the fruit came out.", nil},
	"strength_mark":                    {"Why the measurement supports no claim of strength; left out when it does.", nil},
	"struck_by":                        {"The entry that took this one back; left out while it stands.", nil},
	"tag":                              {"The code on its label.", "3CFX72"},
	"tags":                             {"The tags.", nil},
	"target":                           {"The entry that is struck.", nil},
	"target_g_per_100ml":               {"The acidity aimed at, g/100 mL as acetic acid.", 5},
	"temp_c":                           {"Temperature, °C.", 21.5},
	"title":                            {"The problem in words.", nil},
	"to":                               {"The stage it moved to.", nil},
	"Gift.to":                          {"Who got the bottle.", nil},
	"Transfer.to":                      {"Gave: the jar that took it.", nil},
	"Move.to":                          {"The stage.", nil},
	"to_jar":                           {"The jar that took.", nil},
	"to_lot":                           {"The lot that took.", nil},
	"type":                             {"The type's address.", nil},
	"until":                            {"After when it is overdue.", nil},
	"us_units":                         {"Pages show US units. Here units are always those in the names.", nil},
	"value":                            {"The measured value, in the unit of the quantity's name.", nil},
	"version":                          {"The version of the records.", nil},
	"void":                             {"The bottling was struck: it never happened so.", nil},
	"volume_ml":                        {"Volume of liquid, mL.", 2100},
	"volume_from_fill":                 {"volume_ml was not measured at the move but taken from the jar's fill and what was poured since.", nil},
	"went_into":                        {"What left the jar, and whereto.", nil},
	"what":                             {"What was done.", nil},
	"Edge.what":                        {"Why it moved.", nil},
	"Transfer.what":                    {"Why it moved.", nil},
	"Todo.what":                        {"What to do.", "titrate"},
	"when":                             {"When it happened, as well as the maker knew.", nil},
	"why":                              {"Why.", nil},
	"Acidity.why":                      {"What made the acidity computed or outdated.", nil},
}

// document describes what the code cannot: fields by the glossary, the header
// that is required but answered for with a problem of its own, and the shape of
// every error.
func document(o *huma.OpenAPI) {
	schemas := o.Components.Schemas.Map()
	for name, s := range schemas {
		describe(name, s)
	}
	for _, item := range o.Paths {
		for _, op := range []*huma.Operation{item.Get, item.Put, item.Post} {
			if op == nil {
				continue
			}
			for _, p := range op.Parameters {
				p.Required = p.Required || p.In == "header"
			}
		}
	}
	o.Tags = []*huma.Tag{
		{Name: "jars", Description: "Batches, jars and their tags."},
		{Name: "log", Description: "What happened to a jar. Entries are never changed: a wrong one is struck by a later one, and both stay readable."},
		{Name: "lots", Description: "Bottling, bottles and gifts."},
		{Name: "trace", Description: "What something came from, and where it went."},
		{Name: "bench", Description: "What readings lean on: calibrations of the meter, checks of the base, control samples."},
		{Name: "labels", Description: "Labels as PDF."},
		{Name: "reckon", Description: "Sums of the trade that need no jar; nothing is saved."},
		{Name: "kitchen", Description: "Settings, the records' health, and what problems mean."},
	}
	o.Servers = []*huma.Server{{URL: "/", Description: "This station."}}
}

func describe(name string, s *huma.Schema) {
	if kind, ok := strings.CutPrefix(name, "EntryOf"); ok {
		s.Description = "An entry that holds: " + kind + "."
	}
	for field, p := range s.Properties {
		if p.Description != "" {
			continue
		}
		w, ok := glossary[name+"."+field]
		if !ok {
			w = glossary[field]
		}
		p.Description = w.text
		if w.example != nil && p.Ref == "" && len(p.Examples) == 0 && p.Type != huma.TypeArray {
			p.Examples = []any{w.example}
		}
	}
}
