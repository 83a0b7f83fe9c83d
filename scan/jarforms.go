package scan

import (
	"fmt"
	"net/url"
	"strings"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
)

// atHand are the forms that stand on every live jar's page, so that they can be
// filled in while the station is away. The others are asked for by a link, which
// keeps the page light.
var atHand = map[string]bool{"reading": true, "titration": true, "action": true}

// jarForms lays out the forms of a jar's page. open names the one that stands
// open, pick what is chosen in it; back is a form that came back.
func jarForms(page store.JarPage, w writer, by, open, pick string, back *sent) []form {
	type maker struct {
		id  string
		lay func(forms, *builder) form
	}
	makers := []maker{{"reading", forms.reading}, {"titration", forms.titration}, {"action", forms.action},
		{"feed", forms.feed}, {"stage", forms.stage}, {"note", forms.note}, {"hold", forms.hold}}
	var out []form
	key := newKey()
	for i, m := range makers {
		cameBack := back != nil && back.form == m.id
		if !page.Jar.State.Stage.Live() && m.id != "note" && !cameBack {
			continue
		}
		if m.id == "feed" && open != m.id && !cameBack {
			continue // what comes in has pages of its own, where another label is scanned
		}
		fs := forms{page: page, w: w, by: by}
		b := newBuilder(m.id, nil, nil, w.k.Units())
		if cameBack {
			b = newBuilder(m.id, back.typed, back.problems, w.k.Units())
		}
		if open == m.id {
			fs.pick = pick
		}
		f := m.lay(fs, b)
		f.ID = m.id
		if page.Jar.State.Stage.Live() && !atHand[m.id] && !cameBack && open != m.id {
			f.Link = "?open=" + m.id + "#" + m.id
			out = append(out, f)
			continue
		}
		f.Action = jarURL(page.Jar.Tag) + "/log/" + m.id
		f.Keep = fmt.Sprintf("%s, %s %s, %s", f.Title, page.Batch.Name, page.Jar.Letter, page.Jar.Tag)
		f.Open, f.Key = open == m.id && back == nil, nextKey(key, i)
		if cameBack {
			f.Key, f.Open = back.key, true
		}
		out = append(out, b.finish(f))
	}
	return out
}

// forms knows what the jar's forms are about.
type forms struct {
	page store.JarPage
	w    writer
	by   string
	pick string
}

// last is the hint with the value measured before.
func last[T ~float64](m *larder.Measured[T], w writer, text func(T) string) string {
	if m == nil {
		return ""
	}
	return "last " + text(m.Value) + " on " + dayOf(m.When, w.now)
}

func (fs forms) reading(b *builder) form {
	s, w := fs.page.Jar.State, fs.w
	temp := func(v chem.Celsius) string { return chem.FormatTemperature(v, w.k.Units()) }
	holds := ""
	if s.VolumeML != nil {
		holds = "last " + w.volume(*s.VolumeML)
	}
	ph := limited(b.number("ph", "pH", "", last(s.PH, w, plain[chem.PH])), "ph")
	gravity := limited(b.number("specific_gravity", "Specific gravity", "", last(s.SG, w, gravityText)), "specific_gravity")
	brix := limited(b.number("brix", "Brix", "°Bx", last(s.Brix, w, short[chem.DegreesBrix])), "brix")
	alcohol := limited(b.number("abv_percent_vol", "Alcohol", "% vol", last(s.ABV, w, short[chem.PercentVol])), "abv_percent")
	heat := limited(b.temperature("temp_c", "Temperature", last(s.TempC, w, temp)), "temperature_c")
	held := b.volume("volume_ml", "Liquid in the jar", holds)
	meter := b.text("instrument", "Instrument", "", larder.MaxNameRunes)
	// What is mostly read in this stage stands open, the rest in a fold.
	fields := []field{ph, heat, held, fold("Alcohol, gravity, Brix, instrument", alcohol, gravity, brix, meter)}
	if s.Stage == larder.Must || s.Stage == larder.Alcoholic {
		fields = []field{gravity, brix, heat, ph, fold("Alcohol, liquid in the jar, instrument", alcohol, held, meter)}
	}
	return form{Title: "Reading", Intro: "Fill in what you measured; leave the rest empty.",
		Fields: fs.end(b, fields), Submit: "Save the reading"}
}

// end adds note, when and who.
func (fs forms) end(b *builder, fields []field) []field {
	fields = append(fields, b.area("note", "Note", ""))
	return append(fields, b.whenAndBy(fs.by)...)
}

// replicateRows is how many runs a fresh titration form has room for.
const replicateRows = 3

func (fs forms) titration(b *builder) form {
	fields := []field{
		row("Sample and base",
			b.number("sample_ml", "Vinegar sample", "mL", ""),
			b.number("base_mol_per_l", "Base", "mol/L", "")),
	}
	if b.typed == nil {
		fields[0].Parts[0].Value, fields[0].Parts[1].Value = fs.lastSample()
	}
	for i := 1; i <= replicateRows || b.typed.Has(runField("start_ml", i)); i++ {
		fields = append(fields, row(fmt.Sprintf("Run %d, burette", i),
			b.number(runField("start_ml", i), "start", "mL", ""),
			b.number(runField("end_ml", i), "end", "mL", "")))
	}
	fields = append(fields,
		row("If it applies",
			b.number("blank_ml", "Blank", "mL", ""),
			b.number("dilution_factor", "Diluted ×", "", "")),
		row("",
			b.number("endpoint_ph", "End point pH", "", ""),
			b.text("instrument", "Instrument", "", larder.MaxNameRunes)),
		fs.tolerances(b))
	return form{Title: "Titration", Intro: "Acidity comes from this alone, never from pH. Two or three runs are better than one.",
		Caution: "Sodium hydroxide burns skin and eyes: wear goggles and gloves. Throw the sample away afterwards; never taste it.",
		Fields:  fs.end(b, fields), Submit: "Save the titration"}
}

// tolerances are what makes a result surer, the same as last time.
func (fs forms) tolerances(b *builder) field {
	sample, burette := b.number("sample_tolerance_ml", "pipette or syringe ±", "mL", ""), b.number("burette_tolerance_ml", "burette ±", "mL", "")
	base := b.text("base", "Bottle of base", "empty: the one checked last", larder.MaxNameRunes)
	f := fold("Tolerances, bottle of base", row("As printed on them", sample, burette), base)
	if last := fs.lastTitration(); b.typed == nil && last != nil {
		if last.SampleTolML > 0 {
			f.Parts[0].Parts[0].Value = short(last.SampleTolML)
		}
		if last.BuretteTolML > 0 {
			f.Parts[0].Parts[1].Value = short(last.BuretteTolML)
		}
		f.Parts[1].Value = last.BaseName
	}
	return f
}

// lastTitration is the newest on the page, nil when there is none.
func (fs forms) lastTitration() *larder.Titration {
	for _, e := range fs.page.Entries {
		if t, ok := e.Body.(larder.Titration); ok && !e.Struck() {
			return &t
		}
	}
	return nil
}

func runField(name string, i int) string { return fmt.Sprintf("%s_%d", name, i) }

// lastSample is the sample volume and base of the newest titration on the
// page, which are mostly the same next time.
func (fs forms) lastSample() (sample, base string) {
	if t := fs.lastTitration(); t != nil {
		return short(t.SampleML), short(t.BaseMolPerL)
	}
	if base := fs.w.k.BaseMolPerL; base > 0 {
		return "", short(base)
	}
	return "", ""
}

func (fs forms) action(b *builder) form {
	var options []option
	for _, k := range larder.ActionKinds() {
		options = append(options, option{Value: string(k), Text: string(k), Pick: actionPick(k)})
	}
	fields := []field{
		b.choice("action", "What was done", fs.pick, options...),
		only(b.volume("volume_ml", "Liquid left in the jar", ""), "strained filtered skimmed"),
		only(b.text("place", "Stands now", "", larder.MaxNameRunes), "moved"),
		only(b.temperature("temp_c", "Heated to", ""), "pasteurised"),
		only(b.number("minutes", "Held for", "minutes", ""), "pasteurised"),
	}
	return form{Title: "Something done", Fields: fs.end(b, fields), Submit: "Save"}
}

// actionPick is a word for the style sheet.
func actionPick(k larder.ActionKind) string {
	if k == larder.Shifted {
		return "moved"
	}
	if k == larder.MouldSeen {
		return "mould"
	}
	if k == larder.ClothChange {
		return "cloth"
	}
	return string(k)
}

// feeds are the ways in which something comes into a jar.
var feeds = []struct {
	value, text string
	what        larder.TransferKind
	from        larder.Origin
}{
	{"starter-jar", "starter or mother from a jar", larder.StarterIn, larder.FromJar},
	{"starter-bought", "bought live vinegar", larder.StarterIn, larder.FromBought},
	{"topup-jar", "topped up from a jar", larder.TopUp, larder.FromJar},
	{"topup-other", "topped up with something else", larder.TopUp, larder.FromOther},
	{"water", "water", larder.Dilution, larder.FromWater},
}

func (fs forms) feed(b *builder) form {
	var options []option
	for _, f := range feeds {
		options = append(options, option{Value: f.value, Text: f.text, Pick: f.value})
	}
	fields := []field{
		b.choice("feed", "What came in", fs.pick, options...),
		only(b.text("feed_jar", "From jar", "its tag", 24), "starter-jar topup-jar"),
		only(b.text("feed_name", "What it was", "", larder.MaxNameRunes), "starter-bought topup-other"),
		only(b.number("feed_acidity", "Acidity on its label", "%", ""), "starter-bought"),
		b.volume("feed_volume_ml", "How much", ""),
		only(b.check("feed_mother", "a mother came along"), "starter-jar starter-bought"),
	}
	return form{Title: "Something added", Fields: fs.end(b, fields), Submit: "Save"}
}

// starters are the answers to where a starter came from.
var starters = []struct {
	value, text string
	from        larder.Origin
}{
	{"jar", "from a jar", larder.FromJar},
	{"bought", "bought live vinegar", larder.FromBought},
	{"none", "none, left to the air", larder.FromAir},
}

func (fs forms) stage(b *builder) form {
	moves := larder.MovesFrom(fs.page.Jar.State.Stage)
	var options []option
	reasons, volumes, starts := "", "", ""
	for _, m := range moves {
		text := string(m.To)
		if m.Backward {
			text = "back to " + text
		}
		options = append(options, option{Value: string(m.To), Text: text, Pick: string(m.To)})
		if m.NeedsReason {
			reasons += string(m.To) + " "
		}
		if m.NeedsVolume {
			volumes += string(m.To) + " "
		}
		if m.NeedsStarter {
			starts += string(m.To) + " "
		}
	}
	first := fs.pick
	if first == "" && len(moves) > 0 {
		first = string(moves[0].To)
	}
	fields := []field{b.hidden("from", string(fs.page.Jar.State.Stage)), b.choice("stage", "Moves to", first, options...)}
	if filled := fs.page.Batch.VolumeFromFill(fs.page.Jar.State); volumes != "" && filled != nil && fs.page.Jar.State.Starter == "" {
		fields = append(fields, only(b.volume("volume_ml", "Liquid in the jar", "before any starter; empty: "+fs.w.volume(*filled)+", as filled"), volumes))
	} else if volumes != "" {
		fields = append(fields, only(b.volume("volume_ml", "Liquid after straining", "before any starter"), volumes))
	} else {
		fields = append(fields, only(b.volume("volume_ml", "Liquid in the jar", "if you measured it"), "alcoholic must maturing finished acetic"))
	}
	if starts != "" {
		fields = append(fields, fs.starter(b, starts)...)
	}
	if reasons != "" {
		fields = append(fields, only(b.area("reason", "Why", "asked for since this is not the usual way"), reasons))
	}
	return form{Title: "Next stage", Fields: fs.end(b, fields), Submit: "Move the jar"}
}

// A starter that went in before the jar becomes acetic is not asked for again.
const starterIsIn, starterIsInText = "in", "it is in already"

// starter asks where the starter came from.
func (fs forms) starter(b *builder, picks string) []field {
	var options []option
	start, given := "", fs.page.Jar.State.Starter != ""
	if given {
		start = starterIsIn
		options = append(options, option{Value: starterIsIn, Text: starterIsInText, Pick: "starter-in"})
	}
	for _, s := range starters {
		if given && s.from == larder.FromAir {
			continue // it was not left to the air
		}
		options = append(options, option{Value: s.value, Text: s.text, Pick: "starter-" + s.value})
	}
	return []field{
		only(b.choice("starter", "Starter", start, options...), picks),
		only(b.text("starter_jar", "From jar", "its tag", 24), "starter-jar"),
		only(b.text("starter_name", "What it was", "", larder.MaxNameRunes), "starter-bought"),
		only(b.number("starter_acidity", "Acidity on its label", "%", ""), "starter-bought"),
		only(b.volume("starter_volume_ml", "How much starter", ""), "starter-jar starter-bought"),
		only(b.check("starter_mother", "a mother came along"), "starter-jar starter-bought"),
	}
}

func (fs forms) note(b *builder) form {
	fields := append([]field{b.area("note", "Note", "")}, b.whenAndBy(fs.by)...)
	return form{Title: "Note", Fields: fields, Submit: "Save the note"}
}

func (fs forms) hold(b *builder) form {
	f := form{Title: "Put on hold", Submit: "Put on hold",
		Intro: "While a hold stands, nothing of this jar may be bottled or given away."}
	if fs.page.Jar.State.Hold != "" {
		f = form{Title: "Lift the hold", Submit: "Lift the hold", Intro: "On hold: " + fs.page.Jar.State.Hold}
		if fs.page.Jar.State.MouldAt != nil {
			f.Intro = strings.TrimRight(f.Intro, ". ") + ". " + larder.MouldStands
		}
	}
	on := "on"
	if fs.page.Jar.State.Hold != "" {
		on = "off"
	}
	f.Fields = append([]field{b.hidden("hold", on), b.area("reason", "Why", "")}, b.whenAndBy(fs.by)...)
	return f
}

// readEntry reads the form of that id into an entry. What cannot be read is
// among the reader's problems; ok is false for a form that there is not.
func readEntry(id string, r *reader) (n larder.NewEntry, ok bool) {
	bodies := map[string]func(*reader) larder.Body{
		"reading": readReading, "titration": readTitration, "action": readAction, "feed": readFeed,
		"stage": readStage, "note": readNote, "hold": readHold,
	}
	read, ok := bodies[id]
	if !ok {
		return n, false
	}
	n.When, n.Note = r.when(), r.text("note")
	n.Body = read(r)
	return n, true
}

func readReading(r *reader) larder.Body {
	return larder.Reading{
		PH: typedAs[chem.PH](r.number("ph")), TempC: r.temperature("temp_c"),
		SG: typedAs[chem.SpecificGravity](r.number("specific_gravity")), Brix: typedAs[chem.DegreesBrix](r.number("brix")),
		ABV: typedAs[chem.PercentVol](r.number("abv_percent_vol")), VolumeML: r.volume("volume_ml"), Instrument: r.text("instrument"),
	}
}

func readTitration(r *reader) larder.Body {
	t := larder.Titration{Instrument: r.text("instrument"), BaseName: r.text("base"), EndpointPH: typedAs[chem.PH](r.number("endpoint_ph"))}
	t.SampleTolML, t.BuretteTolML = r.millilitres("sample_tolerance_ml"), r.millilitres("burette_tolerance_ml")
	t.SampleML = chem.Millilitres(r.need("sample_ml", "Say how much vinegar was titrated, in mL."))
	t.BaseMolPerL = chem.MolPerLitre(r.need("base_mol_per_l", "Say how strong the base is, in mol/L; it stands on its bottle."))
	if v := r.number("blank_ml"); v != nil {
		t.BlankML = chem.Millilitres(*v)
	}
	if v := r.number("dilution_factor"); v != nil {
		t.DilutionFactor = *v
	}
	for i := 1; i <= replicateRows || r.typed.Has(runField("start_ml", i)); i++ {
		start, end := runField("start_ml", i), runField("end_ml", i)
		if r.text(start) == "" && r.text(end) == "" {
			continue
		}
		t.Replicates = append(t.Replicates, chem.Replicate{
			StartML: chem.Millilitres(r.need(start, "The reading before this run is missing; it may be 0.")),
			EndML:   chem.Millilitres(r.need(end, "The reading after this run is missing.")),
		})
	}
	return t
}

// placeRuns moves problems with the burette readings to the run that they are
// about: the first with which the titration fails.
func placeRuns(problems larder.Problems, body larder.Body, typed url.Values) larder.Problems {
	t, ok := body.(larder.Titration)
	if !ok {
		return problems
	}
	var filled []int // the form's row of each replicate
	for i := 1; i <= replicateRows || typed.Has(runField("start_ml", i)); i++ {
		if typed.Get(runField("start_ml", i)) != "" || typed.Get(runField("end_ml", i)) != "" {
			filled = append(filled, i)
		}
	}
	for k, p := range problems {
		switch p.Field {
		case "replicates":
			problems[k].Field = runField("end_ml", 1)
		case "start_ml", "end_ml":
			for n := range t.Replicates {
				part := t.Titration
				part.Replicates = t.Replicates[:n+1]
				if part.Check() != nil && n < len(filled) {
					problems[k].Field = runField(p.Field, filled[n])
					break
				}
			}
		}
	}
	return problems
}

func readAction(r *reader) larder.Body {
	a := larder.Action{What: larder.ActionKind(r.text("action"))}
	// A box that the chosen action does not ask for may still hold what was
	// typed before another was chosen.
	switch a.What {
	case larder.Strained, larder.Filtered, larder.Skimmed:
		a.VolumeML = r.volume("volume_ml")
	case larder.Shifted:
		a.Place = r.text("place")
	case larder.Pasteurised:
		a.TempC, a.Minutes = r.temperature("temp_c"), r.number("minutes")
	}
	return a
}

func readFeed(r *reader) larder.Body {
	picked := r.text("feed")
	for _, f := range feeds {
		if f.value == picked {
			feed := r.feed("feed", f.from)
			return larder.Transfer{What: f.what, Feed: &feed}
		}
	}
	r.problems.Add("feed", "Say what came into the jar.")
	return larder.Transfer{}
}

func (r *reader) feed(prefix string, from larder.Origin) larder.Feed {
	f := larder.Feed{From: from}
	if from != larder.FromAir {
		f.VolumeML = r.volume(prefix + "_volume_ml")
	}
	switch from {
	case larder.FromJar:
		f.Jar, f.Mother = r.jarTag(prefix+"_jar"), r.text(prefix+"_mother") != ""
	case larder.FromBought:
		f.Name, f.Live, f.Mother = r.text(prefix+"_name"), true, r.text(prefix+"_mother") != ""
		f.Acidity = typedAs[chem.GramsPer100ML](r.number(prefix + "_acidity"))
	case larder.FromOther:
		f.Name = r.text(prefix + "_name")
	}
	return f
}

// readStage goes by the stage that the form was made for, not the present one,
// so that a form sent again reads the same.
func readStage(r *reader) larder.Body {
	s := larder.StageChange{To: larder.Stage(r.text("stage"))}
	move, err := larder.FindMove(larder.Stage(r.text("from")), s.To)
	if err != nil {
		return s // the store's check says so
	}
	if s.To.Live() {
		s.VolumeML = r.volume("volume_ml")
	}
	if move.NeedsReason {
		s.Reason = r.text("reason")
	}
	if move.NeedsStarter {
		for _, from := range starters {
			if from.value == r.text("starter") {
				f := r.feed("starter", from.from)
				s.Starter = &f
			}
		}
	}
	return s
}

func readNote(r *reader) larder.Body {
	if r.text("note") == "" {
		r.problems.Add("note", "There is nothing to save yet: write the note.")
	}
	return larder.Note{}
}

func readHold(r *reader) larder.Body {
	return larder.Hold{On: r.text("hold") != "off", Reason: r.text("reason")}
}
