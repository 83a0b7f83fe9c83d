package scan

import (
	"fmt"
	"net/url"
	"slices"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
)

// feedPlaces are the rules' names of what comes in, as these forms have them.
var feedPlaces = map[string]string{
	"feed": "from", "starter": "from", "feed_jar": "other", "starter_jar": "other", "feed_name": "name", "starter_name": "name",
	"feed_volume_ml": "amount_ml", "starter_volume_ml": "amount_ml", "feed_acidity": "acidity", "starter_acidity": "acidity",
	"feed_supplier": "supplier", "starter_supplier": "supplier", "feed_supplier_lot": "supplier_lot", "starter_supplier_lot": "supplier_lot",
	"feed_mass_g": "mass_g",
}

// end adds note, when and who.
func (g pouring) end(b *builder, fields ...field) []field {
	fields = append(fields, b.area("note", "Note", ""))
	return append(fields, b.whenAndBy(g.by)...)
}

// other asks which jar, in three ways: scanned, typed, chosen from the shelf.
func (g pouring) other(b *builder, label string, serves func(larder.Jar) bool, taken ...larder.Tag) field {
	f := b.field("other", "other", label, "")
	f.Max = 80
	if f.Value != "" && f.Error == "" {
		f.Note = g.found(f.Value)
	}
	for _, s := range g.shelf {
		if s.Jar.Tag == g.jar.Tag || slices.Contains(taken, s.Jar.Tag) || cannotServe(s.Jar) != "" || !serves(s.Jar) {
			continue
		}
		f.Options = append(f.Options, option{Value: string(s.Jar.Tag), Text: g.about(s)})
	}
	return f
}

// found says which jar a typed tag names, and which look-alikes were taken for what.
func (g pouring) found(typed string) string {
	r := &reader{typed: url.Values{"other": {typed}}}
	tag := r.jarTag("other")
	if tag == "" {
		return "" // the check says so
	}
	s, ok := g.find(tag)
	if !ok {
		return ""
	}
	text := g.about(s)
	if _, taken, err := larder.ParseTag(typed); err == nil {
		if took := tookText(taken, tag); took != "" {
			text = took + " " + text
		}
	}
	return text
}

func anyJar(larder.Jar) bool { return true }

// isVinegar tells the jars that may hold a live mother.
func isVinegar(j larder.Jar) bool {
	s := j.State.Stage
	return s == larder.Acetic || s == larder.Maturing || s == larder.Finished
}

// bottleFields ask what stands on a bought bottle.
func (g pouring) bottleFields(b *builder, pick string) []field {
	return []field{
		only(b.text("name", "What it is called", "as on its label", larder.MaxNameRunes), pick),
		only(b.number("acidity", "Acidity on its label", "%", ""), pick),
		only(b.check("live", "sold as live, with its mother: raw, not pasteurised"), pick),
	}
}

// sold asks who sold it: one step back, should something turn out wrong.
func (g pouring) sold(b *builder, pick string) field {
	return only(fold("Who sold it, and the mark on its pack", b.text("supplier", "Supplier", "", larder.MaxSupplierRunes), b.text("supplier_lot", "Lot mark", "", larder.MaxNameRunes)), pick)
}

// amount asks how much came over, beside what the chosen jar holds.
func (g pouring) amount(b *builder, label, hint string) field {
	r := &reader{typed: url.Values{"other": {b.typed.Get("other")}}}
	if s, ok := g.find(r.jarTag("other")); ok && s.Jar.State.VolumeML != nil && s.Jar.Tag != g.jar.Tag {
		hint = string(s.Jar.Tag) + " holds " + g.w.volume(*s.Jar.State.VolumeML)
	}
	return b.volume("amount_ml", label, hint)
}

func (g pouring) strain(b *builder) form {
	hint := ""
	if v := g.jar.State.VolumeML; v != nil {
		hint = "held " + g.w.volume(*v) + " before"
	}
	fields := []field{b.volume("volume_ml", "Liquid after straining", hint)}
	if s := g.jar.State.Stage; g.starts() {
		fields = append(fields, b.choice("then", "Then it", string(larder.Acetic),
			option{Value: string(larder.Acetic), Text: "goes on to vinegar", Pick: string(larder.Acetic)},
			option{Value: "stay", Text: "stays " + string(s), Pick: "stay"}),
			only(b.choice("from", "Mother or starter", g.alreadyIn(), g.starterOptions()...), string(larder.Acetic)),
			only(g.other(b, "From which jar", isVinegar), "starter-jar"))
		fields = append(fields, g.bottleFields(b, "starter-bought")...)
		fields = append(fields, only(g.amount(b, "How much liquid came with it", "empty: only a mother"), "starter-jar starter-bought"),
			only(b.check("mother", "a mother was carried over"), "starter-jar starter-bought"), g.sold(b, "starter-bought"))
	}
	return form{Fields: g.end(b, fields...), Submit: "Save the straining",
		Intro: "Press the fruit only gently. What is left in the cloth is thrown away or cooked; the liquid is measured."}
}

// alreadyIn is the answer that is chosen at first where a starter went in before.
func (g pouring) alreadyIn() string {
	if g.jar.State.Starter == "" {
		return ""
	}
	return starterIsIn
}

func (g pouring) starterOptions() []option {
	options := []option{{Value: "jar", Text: "from a jar", Pick: "starter-jar"}, {Value: "bought", Text: "from a bought bottle", Pick: "starter-bought"}}
	if g.alreadyIn() != "" {
		return append([]option{{Value: starterIsIn, Text: starterIsInText, Pick: "starter-in"}}, options...)
	}
	return append(options, option{Value: "none", Text: "none, left to the air", Pick: "starter-none"})
}

// readStrain is one entry: a change of stage with its starter, or the straining alone.
func readStrain(g pouring, r *reader) deed {
	volume := r.volume("volume_ml")
	if r.text("then") != string(larder.Acetic) {
		return g.entry(r, larder.Action{What: larder.Strained, VolumeML: volume})
	}
	change := larder.StageChange{To: larder.Acetic, VolumeML: volume}
	if change.WithFill(g.batch, g.jar.State).VolumeFromFill && !r.marked("volume_ml") {
		// Whoever strains has less than was filled in.
		r.problems.Add("volume_ml", "Say how much liquid there is after straining.")
	}
	if feed, ok := g.feed(r); ok {
		change.Starter = &feed
	}
	return g.entry(r, change)
}

func (g pouring) entry(r *reader, body larder.Body) deed {
	return deed{entry: &larder.NewEntry{When: r.when(), Note: r.text("note"), Body: body}}
}

// feed reads where something came from.
func (g pouring) feed(r *reader) (f larder.Feed, ok bool) {
	switch r.text("from") {
	case "jar":
		f.From, f.Jar = larder.FromJar, r.jarTag("other")
	case "bought":
		f.From, f.Name, f.Live = larder.FromBought, r.text("name"), r.text("live") != ""
		f.Acidity = typedAs[chem.GramsPer100ML](r.number("acidity"))
		f.Supplier, f.SupplierLot = r.text("supplier"), r.text("supplier_lot")
	case "else":
		f.From, f.Name = larder.FromOther, r.text("name")
		f.Supplier, f.SupplierLot = r.text("supplier"), r.text("supplier_lot")
	case "none":
		return larder.Feed{From: larder.FromAir}, true
	default:
		return f, false
	}
	f.VolumeML, f.Mother = r.volume("amount_ml"), r.text("mother") != ""
	return f, true
}

// starts tells that a mother given now makes the jar acetic, unless it is to wait.
func (g pouring) starts() bool {
	return g.jar.State.Stage == larder.Must || g.jar.State.Stage == larder.Alcoholic
}

func (g pouring) mother(b *builder) form {
	fields := []field{
		b.choice("from", "It comes", "jar", option{Value: "jar", Text: "from a jar", Pick: "starter-jar"}, option{Value: "bought", Text: "from a bought bottle", Pick: "starter-bought"}),
		only(g.other(b, "From which jar", isVinegar), "starter-jar"),
	}
	fields = append(fields, g.bottleFields(b, "starter-bought")...)
	fields = append(fields, g.amount(b, "How much liquid came with it", "empty: only a mother"), b.check("mother", "a mother was carried over"), g.sold(b, "starter-bought"))
	if g.starts() {
		start, before := "stay", b.volume("volume_ml", "Liquid in the jar", "before the mother went in")
		if g.jar.State.Stage == larder.Alcoholic {
			start = string(larder.Acetic)
		}
		if v := g.jar.State.VolumeML; v != nil && b.typed == nil {
			if before.Value, before.Unit = volumeIn(*v, before.Units); before.Units[0] == "L" {
				before.Value, before.Unit = short(*v/1000), "L" // as the log has it
			}
		}
		fields = append(fields, b.choice("then", "Then it", start,
			option{Value: string(larder.Acetic), Text: "goes on to vinegar", Pick: string(larder.Acetic)},
			option{Value: "stay", Text: "stays " + string(g.jar.State.Stage), Pick: "stay"}),
			only(before, string(larder.Acetic)))
	}
	return form{Fields: g.end(b, fields...), Submit: "Save the mother",
		Intro: "The mother, the liquid round it, or both. What was not alive starts nothing, but its acid protects."}
}

func readMother(g pouring, r *reader) deed {
	feed, ok := g.feed(r)
	if !ok {
		r.problems.Add("from", "Say where it came from: a jar, or a bought bottle.")
	}
	if r.text("then") == string(larder.Acetic) {
		return g.entry(r, larder.StageChange{To: larder.Acetic, VolumeML: r.volume("volume_ml"), Starter: &feed})
	}
	return g.entry(r, larder.Transfer{What: larder.StarterIn, Feed: &feed})
}

func (g pouring) topUp(b *builder) form {
	fields := []field{
		b.choice("from", "With", "jar", option{Value: "jar", Text: "what is in a jar", Pick: "topup-jar"},
			option{Value: "bought", Text: "bought vinegar", Pick: "topup-bought"}, option{Value: "else", Text: "wine, juice, other", Pick: "topup-other"}),
		only(g.other(b, "From which jar", anyJar), "topup-jar"),
		only(b.text("name", "What it was", "", larder.MaxNameRunes), "topup-bought topup-other"),
		only(b.number("acidity", "Acidity on its label", "%", ""), "topup-bought"),
		only(b.check("live", "sold as live, with its mother: raw, not pasteurised"), "topup-bought"),
		g.amount(b, "How much", ""),
		g.sold(b, "topup-bought topup-other"),
	}
	return form{Fields: g.end(b, fields...), Submit: "Save the top-up",
		Intro: "Whatever goes in, a titration from before no longer tells how sour it is. Titrate again."}
}

func readTopUp(g pouring, r *reader) deed {
	feed, ok := g.feed(r)
	if !ok {
		r.problems.Add("from", "Say what it was topped up with.")
	} else if feed.VolumeML == nil && !r.marked("amount_ml") {
		r.problems.Add("amount_ml", "Say how much was poured in.")
	}
	feed.Mother = false
	return g.entry(r, larder.Transfer{What: larder.TopUp, Feed: &feed})
}

func (g pouring) water(b *builder) form {
	target := b.number("target_g_per_100ml", "To reach", "g/100 mL", "the % of a shop's label")
	if b.typed == nil {
		target.Value = short(g.batch.TargetGPer100ML)
	}
	fields := []field{target, {Kind: "more", Name: "reckon", Label: "How much water?"}, b.volume("amount_ml", "Water that went in", "")}
	return form{Fields: g.end(b, fields...), Submit: "Save the water",
		Intro: "Boiled and cooled, or as clean as you drink it. Stir, and titrate again before bottling."}
}

func readWater(g pouring, r *reader) deed {
	return g.entry(r, larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: r.volume("amount_ml")}})
}

func (g pouring) infuse(b *builder) form {
	fields := []field{
		b.text("name", "What goes in", `like "rosemary", "orange peel"`, larder.MaxNameRunes),
		b.mass("mass_g", "How much", "weighed, if you can"),
		fold("Who sold it, and the mark on its pack", b.text("supplier", "Supplier", "", larder.MaxSupplierRunes), b.text("supplier_lot", "Lot mark", "", larder.MaxNameRunes)),
	}
	return form{Fields: g.end(b, fields...), Submit: "Save the infusion",
		Caution: "Wash and dry herbs and peel, and keep them under the vinegar: what stands out grows mould. Garlic and vegetables can carry dangerous spores: keep such an infusion in the cold, and follow your food authority's advice.",
		Intro:   "It is weighed, not poured. If liquid goes in, too, log a top-up."}
}

func readInfuse(g pouring, r *reader) deed {
	return g.entry(r, larder.Transfer{What: larder.Infused, Feed: &larder.Feed{From: larder.FromOther, Name: r.text("name"), MassG: r.mass("mass_g"),
		Supplier: r.text("supplier"), SupplierLot: r.text("supplier_lot")}})
}

// vesselRows is how many vessels a split's form has room for.
func vesselRows(typed url.Values) int {
	n := 0
	for n < larder.MaxJars && typed.Has(partField(n, "volume_ml")) {
		n++
	}
	if n == 0 {
		n = 2
	}
	if typed.Get("vessels") == "more" {
		n = min(n+2, larder.MaxJars)
	}
	return n
}

func partField(i int, what string) string { return fmt.Sprintf("parts[%d].%s", i, what) }

func (g pouring) split(b *builder) form {
	var fields []field
	for i := range vesselRows(b.typed) {
		name := func(what string) string { return partField(i, what) }
		fields = append(fields,
			row(fmt.Sprintf("Vessel %d", i+1), b.volume(name("volume_ml"), "gets", ""), b.volume(name("size_ml"), "can hold", "")),
			fold("Its tag, and where it stands", b.text(name("spare_tag"), "Spare tag that it wears", "empty: a new one", 24), b.text(name("place"), "Stands where", "empty: where this one stands", larder.MaxNameRunes)))
	}
	return form{Fields: g.end(b, append(fields, field{Kind: "more", Label: "More vessels"})...), Submit: "Save the split",
		Intro: "The new jars stay in this batch and get its next letters. What is not named stays in this jar; when all goes out, it is empty and its tag retired."}
}

func readSplit(g pouring, r *reader) deed {
	n := larder.NewSplit{When: r.when(), Note: r.text("note")}
	var rows []int
	for i := range larder.MaxJars {
		name := func(what string) string { return partField(i, what) }
		if r.text(name("volume_ml"))+r.text(name("size_ml"))+r.text(name("spare_tag"))+r.text(name("place")) == "" {
			continue
		}
		rows = append(rows, i)
		n.Parts = append(n.Parts, r.part(name("volume_ml"), name("size_ml"), name("spare_tag"), name("place")))
	}
	if err := n.Check(g.jar, r.now); len(r.problems) > 0 {
		r.problems, _ = r.withRules(placed(err, rows)).(larder.Problems)
	}
	return deed{fill: func(ctx ctx, db *store.DB, a larder.Act) (store.Filled, error) {
		f, err := db.Split(ctx, a, g.jar.Tag, n)
		return f, placed(err, rows)
	}}
}

// part reads a new vessel.
func (r *reader) part(volume, size, tag, place string) larder.Part {
	v := larder.Part{SpareTag: r.jarTag(tag), Place: r.text(place)}
	if ml := r.volume(volume); ml != nil {
		v.VolumeML = *ml
	}
	if ml := r.volume(size); ml != nil {
		v.SizeML = *ml
	}
	return v
}

func (g pouring) move(b *builder) form {
	hint := ""
	if v := g.jar.State.VolumeML; v != nil {
		hint = "empty: all that the log says, " + g.w.volume(*v)
	}
	return form{Fields: g.end(b, b.volume("size_ml", "The new vessel can hold", ""), b.volume("volume_ml", "Measured on the way", hint),
		b.text("spare_tag", "Spare tag that it wears", "empty: a new one", 24), b.text("place", "Stands where", "empty: where this one stands", larder.MaxNameRunes)),
		Submit: "Save the move", Intro: "All of it goes into the new vessel, with its batch and its history. This jar is empty then, and its tag retired."}
}

func readMove(g pouring, r *reader) deed {
	n := larder.NewMove{When: r.when(), Note: r.text("note"), VolumeML: r.volume("volume_ml"), SpareTag: r.jarTag("spare_tag"), Place: r.text("place")}
	if size := r.volume("size_ml"); size != nil {
		n.SizeML = *size
	}
	if len(r.problems) > 0 {
		r.problems, _ = r.withRules(n.Check(g.jar, r.now)).(larder.Problems)
	}
	return deed{fill: func(ctx ctx, db *store.DB, a larder.Act) (store.Filled, error) {
		return db.Move(ctx, a, g.jar.Tag, n)
	}}
}

// takeSpare puts a spare tag that was scanned where the next new vessel is asked for.
func takeSpare(typed url.Values, tag larder.Tag) {
	for i := range vesselRows(typed) {
		name := partField(i, "spare_tag")
		if have := typed.Get(name); have == string(tag) {
			break
		} else if have == "" {
			typed.Set(name, string(tag))
			break
		}
	}
	typed.Set("spare_tag", string(tag)) // of a move and a join, which have one vessel
}

// mass is a number with a choice of units of weight, the kitchen's first.
func (b *builder) mass(name, label, hint string) field {
	units := []string{"g", "kg", "oz", "lb"}
	if b.units == chem.US {
		units = []string{"oz", "lb", "g", "kg"}
	}
	return b.withUnits(name, label, hint, units)
}

func (r *reader) mass(name string) *chem.Grams { return readQuantity(r, name, chem.ParseMass) }
