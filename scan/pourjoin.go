package scan

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"slices"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
)

type ctx = context.Context

// placed gives problems with the nth vessel the form's number of it, since empty
// lines between do not count.
func placed(err error, rows []int) error {
	var problems larder.Problems
	if !errors.As(err, &problems) {
		return err
	}
	out := slices.Clone(problems)
	for i, p := range out {
		var n int
		var what string
		if _, err := fmt.Sscanf(p.Field, "parts[%d].%s", &n, &what); err == nil && n < len(rows) {
			out[i].Field = partField(rows[n], what)
		}
	}
	return out
}

// joined are the jars that are poured together so far, this one not among them.
func joined(typed url.Values) []string { return typed["jars"] }

func giveField(tag string) string { return "give_" + tag + "_ml" }

func takeJoined(typed url.Values, tag larder.Tag) {
	typed.Del("other")
	if !slices.Contains(typed["jars"], string(tag)) && len(typed["jars"]) < larder.MaxLotJars {
		typed.Add("jars", string(tag))
	}
}

func leaveJoined(typed url.Values, tag string) {
	typed["jars"] = slices.DeleteFunc(typed["jars"], func(t string) bool { return t == tag })
}

func (g pouring) join(b *builder) form {
	fields := []field{b.choice("into", "Into", "new", option{Value: "new", Text: "a new jar", Pick: "into-new"}, option{Value: "here", Text: "this jar, " + g.jar.Letter, Pick: "into-here"})}
	var taken []larder.Tag
	jars := field{Kind: "joined", ID: "joined", Label: "Poured together", Error: b.take("jars")}
	jars.Parts = append(jars.Parts, only(g.gives(b, store.ShelfJar{Jar: g.jar, Batch: g.batch}, "this jar"), "into-new"))
	for _, tag := range joined(b.typed) {
		taken = append(taken, larder.Tag(tag))
		s, ok := g.find(larder.Tag(tag))
		if !ok {
			s.Jar.Tag = larder.Tag(tag) // the check says what is wrong with it
		}
		one := g.gives(b, s, tag)
		one.Leave = tag
		jars.Parts = append(jars.Parts, one)
	}
	other := g.other(b, "Add a jar", anyJar, taken...)
	other.Adds = true
	fields = append(fields, jars, other,
		only(b.text("name", "The blend's name", "", larder.MaxNameRunes), "into-new"),
		only(b.volume("size_ml", "The new jar can hold", ""), "into-new"),
		only(fold("Its tag, place and target", b.text("spare_tag", "Spare tag that it wears", "empty: a new one", 24),
			b.text("place", "Stands where", "empty: where this one stands", larder.MaxNameRunes),
			b.number("target_g_per_100ml", "Acidity to reach", "g/100 mL", "empty: the highest of the batches")), "into-new"),
		field{Kind: "more", Name: "reckon", Label: "How much, and how sour?"})
	return form{Fields: g.end(b, fields...), Submit: "Save the blend",
		Intro: "A new jar begins a batch of its own with several parents. Poured into this jar, it stays the batch that it is. A jar that gives all is empty then."}
}

// gives asks how much of a jar goes in, beside what it holds.
func (g pouring) gives(b *builder, s store.ShelfJar, what string) field {
	hint := "how much?"
	if v := s.Jar.State.VolumeML; v != nil {
		hint = "holds " + g.w.volume(*v) + "; empty: all of it"
	}
	label := "of " + what
	if s.Batch.Name != "" {
		label = "of " + jarName(s.Jar, s.Batch)
	}
	return b.volume(giveField(string(s.Jar.Tag)), label, hint)
}

// pours reads what each jar gives; this jar is the first one when it gives, too.
func (g pouring) pours(r *reader) []larder.Pour {
	tags := []string{}
	if r.text("into") != "here" {
		tags = append(tags, string(g.jar.Tag))
	}
	var out []larder.Pour
	for _, text := range append(tags, joined(r.typed)...) {
		tag, _, err := larder.ParseTag(text)
		if err != nil {
			r.problems.Add("jars", err.Error())
			continue
		}
		pour := larder.Pour{Jar: tag}
		if v := r.volume(giveField(text)); v != nil {
			pour.VolumeML = *v
		}
		out = append(out, pour)
	}
	return out
}

func readJoin(g pouring, r *reader) deed {
	if r.text("other") != "" { // typed but not added: its volume was not asked for yet
		if tag := r.jarTag("other"); tag != "" {
			if slices.Contains(joined(r.typed), string(tag)) {
				r.typed.Del("other")
			} else if tag == g.jar.Tag {
				r.problems.Add("other", "That is this jar itself. Name another.")
			} else {
				takeJoined(r.typed, tag)
				r.problems.Add("jars", "Jar "+string(tag)+" was added: say how much of it goes in, or leave its box empty to pour all of it, and save again.")
			}
		}
	}
	when, note, pours := r.when(), r.text("note"), g.pours(r)
	if r.text("into") == "here" {
		n := larder.NewJoin{When: when, Note: note, Pours: pours}
		return deed{fill: func(ctx ctx, db *store.DB, a larder.Act) (store.Filled, error) { return db.Join(ctx, a, g.jar.Tag, n) }}
	}
	n := larder.NewBlend{Name: r.text("name"), When: when, Note: note, Pours: pours, SpareTag: r.jarTag("spare_tag"), Place: r.text("place")}
	if size := r.volume("size_ml"); size != nil {
		n.SizeML = *size
	}
	if target := r.number("target_g_per_100ml"); target != nil {
		n.TargetGPer100ML = chem.GramsPer100ML(*target)
	}
	return deed{fill: func(ctx ctx, db *store.DB, a larder.Act) (store.Filled, error) { return db.Blend(ctx, a, n) }}
}

// reckon says what the act would give, before it is done.
func (g pouring) reckon(a pour, r *reader) (sum []string, bad string, problems larder.Problems) {
	if a.name == "join" {
		return g.reckonJoin(r)
	}
	target := chem.GramsPer100ML(r.need("target_g_per_100ml", "Say how sour it should be; ordinary shop vinegar has 5."))
	if len(r.problems) > 0 {
		return nil, "", r.problems
	}
	plan, err := larder.Finish([]larder.Jar{g.jar}, &target, nil)
	if errors.As(err, &problems) {
		return nil, problems.Error(), nil
	}
	if plan.Water == nil {
		return nil, plan.WhyNoWater, nil
	}
	sum = append(sum, plan.WaterSentence(g.w.k.Units()))
	if plan.AddML >= 1 {
		sum = append(sum, fmt.Sprintf("With %s of water there are %s of about %.1f g/100 mL, by reckoning.", g.w.volume(plan.AddML), g.w.volume(plan.ExpectedML), float64(plan.ExpectedGPer100ML)))
		if r.text("amount_ml") == "" {
			r.typed.Set("amount_ml", g.w.volume(plan.AddML))
			sum = append(sum, "It stands in the box below: correct it to what you poured.")
		}
	}
	if plan.OverflowML >= 1 {
		sum = append(sum, "This jar cannot hold that: "+g.w.volume(plan.OverflowML)+" would run over. Pour a part of it into another vessel first.")
	}
	return sum, "", nil
}

// reckonJoin adds up the volume, and the acidity where all of it is known.
func (g pouring) reckonJoin(r *reader) (sum []string, bad string, problems larder.Problems) {
	pours := g.pours(r)
	if len(r.problems) > 0 {
		return nil, "", r.problems
	}
	if r.text("into") == "here" { // what it holds already is mixed, too
		pours = append([]larder.Pour{{Jar: g.jar.Tag}}, pours...)
	}
	jars := make([]larder.Jar, len(pours))
	var total chem.Millilitres
	for i, pour := range pours {
		s, ok := g.find(pour.Jar)
		if !ok {
			return nil, "Jar " + string(pour.Jar) + " does not stand on the shelf.", nil
		}
		jars[i] = s.Jar
		if held := s.Jar.State.VolumeML; pour.VolumeML == 0 && held != nil {
			pours[i].VolumeML = *held
		} else if pour.VolumeML == 0 {
			return nil, "The log does not say how much is in jar " + string(pour.Jar) + ". Say how much of it goes in.", nil
		}
		total += pours[i].VolumeML
	}
	if len(pours) < 2 {
		return nil, "Add another jar first.", nil
	}
	sum = append(sum, "Together "+g.w.volume(total)+".")
	switch a := larder.LotAcidity(pours, jars); a.Basis {
	case larder.NotMeasured:
		sum = append(sum, "How sour it will be nobody can say: not every jar was titrated as it stands. Titrate the blend.")
	default:
		sum = append(sum, "Acidity about "+larder.AcidityWords(a.GPer100ML, a.ExpandedUGPer100ML)+", reckoned by volume. Titrate the blend to be sure.")
	}
	return append(sum, "For the pH, measure: two pH values never average."), "", nil
}
