package labels

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// Filled is the record that a bottle's label is built from.
type Filled struct {
	Bottle    larder.Bottle
	Lot       larder.Lot
	Bottles   int          // of the lot
	Trace     larder.Trace // of the lot: what it came from
	Kitchen   larder.Kitchen
	Address   string    // HOST:PORT of the station, for a link while nothing is published
	Container Container // zero: a guess by what the bottle holds
	Now       time.Time
}

// Wanted is what the maker chose for a print.
type Wanted struct {
	Rules RuleSet
	Code  CodeKind // empty: a link when a public address is set, else facts
	Sale  bool     // for sale; else a gift, which says that it is home-made and was not inspected
	Plain bool     // without the heights and places that the rules ask for, so that it fits smaller papers
}

// Point is something that is missing on the label, or that the maker has to
// see to: what, why it matters, and the rule behind it.
type Point struct {
	Field  string         `json:"field"`
	What   string         `json:"what"`
	Why    string         `json:"why"`
	Source verdict.Source `json:"source"`
}

// Draft is a bottle's label as it will be printed, and what to know of it.
type Draft struct {
	Label   RuledLabel
	Rules   RuleSet
	Food    verdict.FoodName
	Code    CodeKind
	CodeWhy string  // why that kind of code was taken, when nobody chose it; and what became of the facts
	Missing []Point // what the label should say and cannot
	Check   []Point // what the maker still has to check locally
	Notes   []string
	Net     string // the net quantity in both systems, for labels without rules

	cautions []verdict.Short // all that the bottle carries, whatever the layout
	plain    bool
}

// DraftBottle builds a bottle's label from the record. The error says what in
// the record cannot be put on any label.
func DraftBottle(f Filled, want Wanted) (Draft, error) {
	if want.Rules.ID == "" {
		want.Rules = RuleSetFor(f.Kitchen.Market)
	}
	if f.Lot.Void {
		return Draft{}, refuse("lot", "The bottling of lot %s was struck, so its bottles get no labels.", f.Lot.ID)
	}
	if f.Container == (Container{}) {
		f.Container = ContainerFor(f.Bottle.SizeML)
	}
	if f.Now.IsZero() {
		f.Now = time.Now()
	}
	b := builder{Filled: f, want: want, loc: f.Kitchen.Location(), d: Draft{Rules: want.Rules, plain: want.Plain}}
	b.gather()
	b.words()
	b.heights()
	b.code()
	b.local()
	return b.d, nil
}

// builder gathers a draft.
type builder struct {
	Filled
	want     Wanted
	loc      *time.Location
	d        Draft
	evidence verdict.Evidence
	made     verdict.Made
	parts    []listed      // of the ingredient list
	bases    []larder.Base // of all that it came from
	names    []string      // likewise: ingredients and what was added
	diluted  bool          // water was added to what had been measured or finished
	contains []verdict.Substance
}

// listed is one line of the ingredient list.
type listed struct {
	name   string
	weight float64 // g; 0: not known
}

// gather reads the recipe and what was added on the way out of the trace. The
// ingredients are those of the lot's own batches and of what was added to them;
// further back only what has to be declared counts.
func (b *builder) gather() {
	b.evidence = verdict.EvidenceOfLot(b.Lot, nil, b.Now.In(b.loc))
	own := map[larder.Tag]bool{}
	batches := map[int64]bool{}
	for _, p := range b.Lot.Pours {
		own[p.Jar] = true
	}
	for _, j := range b.Trace.Jars {
		if own[j.Tag] {
			batches[j.BatchID] = true
		}
	}
	b.bases = slices.Concat(b.Lot.Bases, b.Lot.TraceBases)
	for _, batch := range b.Trace.Batches {
		b.bases = append(b.bases, batch.Base)
		for _, i := range batch.Ingredients {
			b.names = append(b.names, i.Name)
			if batches[batch.ID] {
				b.add(i.Name, float64(i.Amount.MassG)+float64(i.Amount.VolumeML))
			}
		}
	}
	if len(b.parts) == 0 { // a trace without recipes: what the lot kept
		for _, name := range b.Lot.Ingredients {
			b.add(name, 0)
			b.names = append(b.names, name)
		}
	}
	for _, j := range b.Trace.Jars {
		if batches[j.BatchID] {
			own[j.Tag] = true
		}
	}
	for _, s := range b.Trace.Back {
		b.step(s, own[s.ToJar])
	}
	for _, p := range b.parts {
		if !slices.Contains(b.made.Infused, p.name) {
			b.made.Ingredients = append(b.made.Ingredients, p.name)
		}
	}
	b.order()
	b.made.Bases = b.Lot.Bases
	if len(b.made.Infused) > 0 && b.evidence.Infuse == "" {
		b.evidence.Infuse = b.made.Infused[0]
	}
	if (slices.Contains(b.bases, larder.Honey)) && !slices.Contains(b.evidence.Bases, larder.Honey) {
		b.evidence.Bases = append(slices.Clone(b.evidence.Bases), larder.Honey)
	}
	b.contains = verdict.Contains(b.bases, b.names, b.evidence, b.want.Rules.Market)
}

// order puts the ingredients by weight. The sums here count a whole batch, and
// what was added to one of its jars in full; the lot reckoned with what came from
// each jar, so its own order decides between the names that it knows.
func (b *builder) order() {
	slices.SortStableFunc(b.parts, func(x, y listed) int { return cmp.Compare(y.weight, x.weight) })
	rank := func(p listed) int {
		return slices.IndexFunc(b.Lot.Ingredients, func(name string) bool { return strings.EqualFold(name, p.name) })
	}
	var known []listed
	for _, p := range b.parts {
		if rank(p) >= 0 {
			known = append(known, p)
		}
	}
	slices.SortStableFunc(known, func(x, y listed) int { return cmp.Compare(rank(x), rank(y)) })
	for i := range b.parts {
		if rank(b.parts[i]) >= 0 {
			b.parts[i], known = known[0], known[1:]
		}
	}
}

// step adds what one step of the lineage brought in.
func (b *builder) step(s larder.Step, into bool) {
	if s.FromName != "" {
		b.names = append(b.names, s.FromName)
	}
	if s.What == larder.Dilution {
		b.diluted = true
	}
	if !into || s.What.Fills() || s.What == larder.Bottled {
		return
	}
	weight := 0.0
	switch {
	case s.MassG != nil:
		weight = float64(*s.MassG)
	case s.VolumeML != nil:
		weight = float64(*s.VolumeML)
	}
	switch {
	case s.What == larder.Infused:
		b.made.Infused = append(b.made.Infused, s.FromName)
		b.add(s.FromName, weight)
	case s.FromName != "":
		b.add(s.FromName, weight)
	case s.FromJar != "" && s.VolumeML != nil:
		b.add("vinegar ("+b.batchOf(s.FromJar)+")", weight)
	case s.Mother:
		b.add("vinegar mother", 0)
	}
}

func (b *builder) batchOf(tag larder.Tag) string {
	for _, j := range b.Trace.Jars {
		if j.Tag == tag {
			return strings.ToLower(j.Batch)
		}
	}
	return "from jar " + string(tag)
}

func (b *builder) add(name string, weight float64) {
	for i := range b.parts {
		if strings.EqualFold(b.parts[i].name, name) {
			b.parts[i].weight += weight
			return
		}
	}
	b.parts = append(b.parts, listed{name, weight})
}

// words writes the label's texts.
func (b *builder) words() {
	us := b.want.Rules.ID == US.ID
	b.d.Food = verdict.NameOf(b.made, b.evidence, b.want.Rules.Market)
	l := &b.d.Label
	l.BottleLabel = fromLot(b.Bottle, b.Lot, b.Bottles, b.Kitchen, b.Address)
	l.Food = b.d.Food.Text
	if wrong := b.d.Food.Misnames(b.Lot.Name); wrong != "" {
		l.Name = b.d.Food.Text
		b.miss("name", wrong+" The label calls it by the food's own name instead.", "A name that promises something else misleads whoever eats it, and is unlawful on what is sold.", "name")
	}
	if strings.EqualFold(l.Name, l.Food) {
		l.Food = ""
	}
	b.acidity()
	b.d.Net, l.Net = l.Net, b.want.Rules.Net(b.Bottle.SizeML)
	l.Ingredients, l.Contains = b.ingredients(), b.declared()
	b.d.cautions = verdict.OnLabel(b.bases, b.names, b.evidence, b.want.Rules.Market)
	for _, c := range b.d.cautions {
		switch c.ID {
		case verdict.ShortSulphites, verdict.ShortGluten: // in Contains
		case verdict.ShortLive: // in State
		default:
			l.Cautions = append(l.Cautions, c.Text)
		}
	}
	switch {
	case b.Lot.Heated && us:
		l.State = "Pasteurized."
	case b.Lot.Heated:
		l.State = "Pasteurised."
	case us:
		l.State = "Unpasteurized, contains live mother."
	default:
		l.State = "Unpasteurised, contains live mother."
	}
	if !slices.ContainsFunc(b.d.cautions, func(c verdict.Short) bool { return c.ID == verdict.ShortCold || c.ID == verdict.ShortWeak }) {
		l.Keep = "Keep closed, cool and dark."
	}
	if !b.want.Sale {
		l.Home = "Homemade, not inspected."
	}
	l.AcidityNote = strings.ReplaceAll(l.AcidityNote, "± ", "±"+unbroken)
	l.Maker = makerOf(b.Kitchen)
}

// makerOf is who made it and where: one line, or two sentences.
func makerOf(k larder.Kitchen) string {
	line := firstOf(k.MakerLine, k.Name)
	if k.MakerAddress != "" && strings.HasSuffix(line, ".") {
		return line + " " + k.MakerAddress
	}
	return joinNonEmpty(", ", line, k.MakerAddress)
}

func firstOf(texts ...string) string {
	for _, t := range texts {
		if strings.TrimSpace(t) != "" {
			return t
		}
	}
	return ""
}

func (b *builder) acidity() {
	l, a := &b.d.Label, b.Lot.Acidity
	l.Acidity = b.want.Rules.Acidity(a, b.diluted)
	const why = "Strength is what tells vinegar from something sour. Without a measurement nobody can know what it may be used for, and pH does not tell it."
	switch {
	case a.Basis == larder.ByTitration:
	case a.Basis == larder.Computed:
		b.miss("acidity", "The acidity is computed, not measured. Titrate what is in the bottle.", why, "strength")
	case a.Why != "":
		b.miss("acidity", a.Why, why, "strength")
	default:
		b.miss("acidity", "The acidity was not measured as it was bottled. Titrate it, or the label says so.", why, "strength")
	}
	if !b.d.Food.Vinegar {
		b.miss("acidity", strings.Join(b.d.Food.Notes, " "), "Below the least strength it is not vinegar and may not be sold or given as such.", "strength")
	} else {
		b.d.Notes = append(b.d.Notes, b.d.Food.Notes...)
	}
}

// ingredients is the list, the heaviest first, allergens in capitals.
func (b *builder) ingredients() string {
	var out []string
	unknown := 0
	for _, p := range b.parts {
		out = append(out, b.emphasised(p.name))
		if p.weight == 0 && !strings.Contains(strings.ToLower(p.name), "mother") {
			unknown++
		}
	}
	const why = "The list goes by weight, so that whoever reads it knows what there is most of."
	switch {
	case len(out) == 0:
		b.miss("ingredients", "The batch has no ingredients on record. Give them when a batch is started.", "Whoever must not eat something has to find it here.", "ingredients")
	case unknown > 0 && len(out) > 1:
		b.miss("ingredients", fmt.Sprintf("%d of the %d ingredients have no amount, so they stand last.", unknown, len(out)), why, "ingredients")
	}
	return strings.Join(out, ", ")
}

// emphasised is an ingredient with the words that name an allergen in capitals.
func (b *builder) emphasised(name string) string {
	for _, s := range b.contains {
		if s.Major {
			name = upperWord(name, s.ID)
		}
	}
	return name
}

// upperWord writes a word of a text in capitals, where it stands alone.
func upperWord(text, word string) string {
	low := strings.ToLower(text)
	at := strings.Index(low, word)
	if at < 0 || len(low) != len(text) {
		return text
	}
	return text[:at] + strings.ToUpper(text[at:at+len(word)]) + text[at+len(word):]
}

// declared is what it contains, or may contain, that somebody must not have.
func (b *builder) declared() string {
	var sure, may []string
	for _, s := range b.contains {
		name := s.Name
		if s.Major {
			name = strings.ToUpper(name)
		}
		if s.ID != "sulphites" && s.ID != "oats" {
			name += " (gluten)"
		}
		if s.May {
			may = append(may, name)
			b.see(s.ID, fmt.Sprintf("%s may have brought in %s, and nobody measured how much is left.", upperFirst(s.From), s.Name), "They have to be declared from 10 mg/kg on, and can bring on asthma. The label says \"may contain\"; a laboratory can tell.", s.Source)
		} else {
			sure = append(sure, name)
		}
	}
	if slices.Contains(b.bases, larder.Ale) && !slices.ContainsFunc(b.names, func(n string) bool {
		low := strings.ToLower(n)
		return strings.Contains(low, "barley") || strings.Contains(low, "wheat") || strings.Contains(low, "malt")
	}) {
		b.miss("ingredients", "The ale's cereals are not named in the recipe. Barley is assumed; look whether there was wheat, rye or oats in it.", "Wheat is a major allergen everywhere.", "allergens")
	}
	var text []string
	if len(sure) > 0 {
		text = append(text, "Contains "+strings.Join(sure, ", "))
	}
	if len(may) > 0 {
		text = append(text, "may contain "+strings.Join(may, ", "))
	}
	if len(text) == 0 {
		return ""
	}
	return upperFirst(strings.Join(text, "; ")) + "."
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func (b *builder) heights() {
	l, r := &b.d.Label, b.want.Rules
	l.NetMM, l.NetOnLower = r.NetHeightMM(b.Bottle.SizeML, b.Container)
	l.NetLow, l.SmallXMM = r.NetLow(b.Container), r.SmallHeightMM(b.Container)
	l.DiameterMM = b.Container.DiameterMM
}

// code chooses what the code carries.
func (b *builder) code() {
	l := &b.d.Label
	public := b.Kitchen.PublicLink(b.Bottle.Tag)
	b.d.Code = b.want.Code
	if b.d.Code == "" {
		b.d.Code = Facts
		b.d.CodeWhy = "No public address is set, so a link would only open in this kitchen's network. The code carries the facts themselves; any phone shows them without a network."
		if public != "" {
			b.d.Code, b.d.CodeWhy = Link, "The code opens the bottle's page at the kitchen's public address. Publish the page, or it leads nowhere."
		}
	}
	if b.d.Code == Link {
		if public != "" {
			l.URL = public
		} else {
			b.see("code", "The code's link opens only in this kitchen's network.", "Whoever gets the bottle cannot open it. Choose facts, or set a public address and publish the page.", own(none))
		}
		return
	}
	facts := FactsOf(b.d, b.Lot, b.Bottle, b.loc)
	l.URL = facts.Text
	l.Tag = "" // its facts name lot and number; the tag belongs to a link
	for _, w := range facts.Warnings {
		b.see("code", w, "A code of this kind knows capitals, digits and a few signs only.", read("ISO/IEC", "18004", "alphanumeric mode"))
	}
}

// miss notes what the label should say and cannot, under a line of the rules.
func (b *builder) miss(field, what, why, line string) {
	b.d.Missing = append(b.d.Missing, Point{field, what, why, b.want.Rules.line(line).Source})
}

func (b *builder) see(field, what, why string, s verdict.Source) {
	b.d.Check = append(b.d.Check, Point{field, what, why, s})
}
