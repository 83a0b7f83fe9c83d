package scan

import (
	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
)

// stepsOf lays out the way from the jars to the lot. What is done says so; the
// first that is needed and not done is open.
func stepsOf(f store.Finishing, ask benchAsk, w writer, filtered bool, by string, back *sent) []finishStep {
	m := stepMaker{f: f, ask: ask, w: w, by: by, back: back, jar: f.Jars[0]}
	if len(f.Jars) > 1 {
		return m.open([]finishStep{m.vessel("Join them in one vessel",
			"Water is added, filtered and heated in one vessel, so that all bottles are alike. Without water to add they may be bottled straight from their jars: each gives its share.", f.Plan.AddML >= 1), m.bottle()})
	}
	var out []finishStep
	if move, err := larder.FindMove(m.jar.State.Stage, larder.Finished); err == nil && m.jar.State.Stage != larder.Finished {
		out = append(out, m.finished(move))
	}
	out = append(out, m.filter(filtered))
	if f.Plan.OverflowML >= 1 {
		out = append(out, m.vessel("Pour it into a larger vessel", "The water has no room in this one.", true))
	}
	if s := m.water(); s.Form != nil || s.Done != "" {
		out = append(out, s)
	}
	if s := m.measure(); s.Go != nil {
		out = append(out, s)
	}
	return m.open(append(out, m.heat(), m.bottle()))
}

type stepMaker struct {
	f    store.Finishing
	ask  benchAsk
	w    writer
	by   string
	back *sent
	jar  larder.Jar
}

// open leaves one step open: the one whose form came back, else the first that is
// next.
func (m stepMaker) open(steps []finishStep) []finishStep {
	found := false
	for _, s := range steps {
		found = found || (s.Form != nil && m.back != nil && s.Form.ID == m.back.form)
	}
	for i := range steps {
		s := &steps[i]
		if found {
			s.Next = s.Form != nil && s.Form.ID == m.back.form
			continue
		}
		if s.Next {
			for k := i + 1; k < len(steps); k++ {
				steps[k].Next = false
			}
			break
		}
	}
	return steps
}

// form is a step's form: its own fields, and what leads back to the bench.
func (m stepMaker) form(id, submit, caution string, fields func(*builder) []field) *form {
	b, key := newBuilder(id, nil, nil, m.w.k.Units()), ""
	if m.back != nil && m.back.form == id {
		b, key = newBuilder(id, m.back.typed, m.back.problems, m.w.k.Units()), m.back.key
	}
	all := append(m.ask.carried(), fields(b)...)
	when := b.whenAndBy(m.by)
	who := when[1]
	if m.by != "" && who.Error == "" {
		who = field{Kind: "hidden", Name: "by", Value: m.by}
	}
	all = append(all, fold("Another day, or a note", when[0], b.area("note", "Note", "")), who)
	f := b.finish(form{Key: key, Action: "/finish/" + id, Submit: submit, Caution: caution, Fields: all})
	return &f
}

func (m stepMaker) finished(move larder.Move) finishStep {
	return finishStep{Title: "Call it finished", Next: m.jar.State.Stage == larder.Maturing, Text: []string{"Only a finished jar is bottled: its bubbling is over, and a titration says that it is sour enough."},
		Form: m.form("finished", "It is finished", "", func(b *builder) []field {
			if move.NeedsReason {
				return []field{b.area("reason", "Why", "asked for since this is not the usual way")}
			}
			return nil
		})}
}

func (m stepMaker) filter(done bool) finishStep {
	s := finishStep{Title: "Filter", Text: []string{"Before the water, since cloth and lees keep some back. Say what is left; the bottles are counted by it."},
		Form: m.form("filter", "Filtered", "", func(b *builder) []field {
			return []field{b.volume("volume_ml", "Liquid left in the jar", "has "+m.w.volume(*m.jar.State.VolumeML))}
		})}
	if done {
		s.Done = "filtered"
	}
	return s
}

func (m stepMaker) vessel(title, text string, next bool) finishStep {
	return finishStep{Title: title, Next: next, Text: []string{text, "The new vessel gets a tag of its own, and keeps the whole story."},
		Form: m.form("vessel", title, "", func(b *builder) []field {
			size := b.volume("size_ml", "The vessel holds", "all of it, and the water")
			if len(m.f.Jars) == 1 {
				return []field{size}
			}
			name := b.text("name", "What the blend is called", "", larder.MaxNameRunes)
			if b.typed == nil {
				name.Value = blendName(m.f.Batches)
			}
			return []field{size, name}
		})}
}

func blendName(batches []larder.Batch) string {
	name := batches[0].Name
	for _, b := range batches[1:] {
		if b.Name != name {
			return batches[0].Name + " and " + b.Name
		}
	}
	return name + ", joined"
}

func (m stepMaker) water() finishStep {
	p := m.f.Plan
	s := finishStep{Title: "Add water", Next: p.OverflowML < 1}
	if p.AddML < 1 {
		if p.Acidity.Basis == larder.Computed {
			s.Done = "added"
		}
		return s
	}
	s.Text = []string{"Boiled water, cooled. Add it in the jar and stir; the log then reckons the new strength."}
	s.Form = m.form("water", "The water is in", "", func(b *builder) []field {
		v := b.volume("feed_volume_ml", "Water", "so that even the lower bound stays above the target")
		if b.typed == nil {
			v.Value, v.Unit = volumeIn(p.AddML, v.Units)
		}
		return []field{v}
	})
	return s
}

// volumeIn writes a volume as a number and one of the units of a form, rounded
// down to what a jug shows.
func volumeIn(v chem.Millilitres, units []string) (number, unit string) {
	if len(units) > 0 && units[0] != "L" && units[0] != "mL" {
		return short(float64(int(float64(v)/chem.USFluidOunceML*10)) / 10), "fl oz"
	}
	if v >= 1000 {
		return short(float64(int(v/10)) / 100), "L"
	}
	return plain(float64(int(v))), "mL"
}

func (m stepMaker) measure() finishStep {
	a := m.f.Plan.Acidity
	s := finishStep{Title: "Measure again"}
	titrate := &link{jarURL(m.jar.Tag) + query("open", "titration") + "#titration", "Log a titration"}
	switch {
	case a.Basis == larder.Computed:
		s.Text = []string{"Its strength is computed, not measured: " + a.Why + ". Let it stand, then titrate; the label says which of the two it is."}
	case a.Basis != larder.ByTitration:
		s.Title, s.Text = "Measure it", []string{"Nobody knows how sour it is as it stands. Without a titration the label says \"acidity not measured\"."}
	case a.StrengthMark != "":
		s.Title, s.Text = "Measure it with a checked base", []string{a.StrengthMark}
	default:
		return s
	}
	s.Go, s.Next = titrate, true
	return s
}

func (m stepMaker) heat() finishStep {
	guide := chem.PasteuriseGuide()
	temp := func(c chem.Celsius) string { return chem.FormatTemperature(c, m.w.k.Units()) }
	s := finishStep{Title: "Heat, if it is to keep still", Text: []string{
		"Unheated it stays alive, and a mother may form in the bottle. To end that: at least " + temp(chem.PasteuriseMinC) + ", not over " + temp(chem.PasteuriseMaxC) + ", for 30 minutes, in the middle of the liquid; then bottle hot, cap and cool.",
		"From: " + guide.Source + " " + guide.Limits},
		Form: m.form("heat", "Heated", chem.PasteuriseCaution, func(b *builder) []field {
			return []field{row("", b.temperature("temp_c", "Heated to", ""), b.number("minutes", "Held for", "min", ""))}
		})}
	if m.jar.State.HeatedAt != nil {
		s.Done = "pasteurised"
	}
	return s
}

func (m stepMaker) bottle() finishStep {
	s := finishStep{Title: "Bottle this lot", Next: true}
	switch {
	case len(m.f.Plan.NotYet) > 0:
		s.Text = m.f.Plan.NotYet
	case m.f.Plan.AddML >= 1:
		s.Text = []string{"Once the water is in. To bottle it as it is, bring it to 0 above."}
	default:
		s.Text = []string{"Washed, heated bottles. Bottle only what has stopped working: a live ferment can burst a sealed bottle."}
	}
	return s
}
