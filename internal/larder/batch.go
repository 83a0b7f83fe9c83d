package larder

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

// Base is what a batch is made from.
type Base string

// The bases. A base decides the stage a batch starts in and its plan.
const (
	FruitScraps Base = "fruit scraps"
	Juice       Base = "juice"
	Wine        Base = "wine"
	Ale         Base = "beer or ale"
	Honey       Base = "honey"
	OtherBase   Base = "other"
)

// Bases lists them in the order of the form.
func Bases() []Base { return []Base{FruitScraps, Juice, Wine, Ale, Honey, OtherBase} }

// ParseBase reads a base, forgiving case, and "scraps", "beer", "ale".
func ParseBase(text string) (Base, error) {
	s := Base(strings.ToLower(strings.Join(strings.Fields(text), " ")))
	switch s {
	case "scraps", "fruit", "fruit-scraps":
		return FruitScraps, nil
	case "beer", "ale":
		return Ale, nil
	}
	names := make([]string, 0, 6)
	for _, b := range Bases() {
		if s == b {
			return b, nil
		}
		names = append(names, string(b))
	}
	return "", Refuse("base", "Say what the batch is made from: "+strings.Join(names, ", ")+".")
}

// FirstStage is the stage in which a batch of this base starts unless told otherwise.
func (b Base) FirstStage() Stage {
	switch b {
	case Wine, Ale:
		return Alcoholic
	}
	return Must
}

// Act identifies one deed of a person: sending the same Key again changes
// nothing and answers the same.
type Act struct {
	Key uuid.UUID // UUID v7 made by the client
	By  string    // initials; may be empty
}

// MaxByRunes bounds the initials or name on an entry.
const MaxByRunes = 24

// Check refuses an act without a key or with an overlong name.
func (a Act) Check() error {
	var p Problems
	if a.Key == uuid.Nil {
		p.Add("key", "The act needs a key: a UUID made by the client, the same each time it is sent.")
	}
	checkText(&p, "by", "The initials", a.By, MaxByRunes, false)
	return p.Err()
}

// Ingredient is one line of a recipe.
type Ingredient struct {
	Name          string           `json:"name"`
	Amount        chem.Amount      `json:"amount"`
	ABVPercent    *chem.PercentVol `json:"abv_percent_vol,omitempty"`  // wine, ale, cider: as measured or as its label says
	SugarGPer100G *float64         `json:"sugar_g_per_100g,omitempty"` // as its label says; otherwise from the table
	Supplier      string           `json:"supplier,omitempty"`         // who it came from and what finds them again
	SupplierLot   string           `json:"supplier_lot,omitempty"`     // the mark on its pack
}

// String is "pears, peels and cores: 2.4 kg", "cider: 3 L, 6 % vol".
func (i Ingredient) String() string {
	text := i.Name
	if i.Amount != (chem.Amount{}) {
		text += ": " + i.Amount.String()
	}
	if i.ABVPercent != nil {
		text += fmt.Sprintf(", %g %% vol", float64(*i.ABVPercent))
	}
	if i.SugarGPer100G != nil {
		text += fmt.Sprintf(", %g %% sugar", *i.SugarGPer100G)
	}
	return text
}

func (i Ingredient) check(p *Problems, field string) {
	checkText(p, field+".name", "An ingredient's name", i.Name, MaxNameRunes, true)
	checkOptional(p, field+".abv_percent_vol", i.ABVPercent, chem.CheckABV)
	if s := i.SugarGPer100G; s != nil && !(*s >= 0 && *s <= 100) {
		p.Add(field+".sugar_g_per_100g", "Sugar lies between 0 and 100 g in 100 g, as the label says.")
	}
	checkText(p, field+".supplier", "The supplier", i.Supplier, MaxSupplierRunes, false)
	checkText(p, field+".supplier_lot", "The supplier's lot mark", i.SupplierLot, MaxNameRunes, false)
}

// Limits on what one batch may hold; beyond them a slip of the finger is likelier.
const (
	MaxJars        = 40
	MaxIngredients = 40
	MaxNameRunes   = 80
	MaxNoteRunes   = 4000
	// MaxSupplierRunes leaves room for a name, an address and a telephone number.
	MaxSupplierRunes = 300
	maxJarML         = 250_000
	minJarML         = 50
)

// NewBatch is what a maker says when starting a batch.
type NewBatch struct {
	Name               string
	Base               Base
	Ingredients        []Ingredient
	When               When  // zero: now
	Stage              Stage // empty: the base's first stage
	Jars               int   // number of jars
	JarSizeML          chem.Millilitres
	FillML             *chem.Millilitres // liquid in each jar, when known
	TargetGPer100ML    chem.GramsPer100ML
	Place              string
	Note               string
	SpareTags          []Tag // printed spare tags for the first jars
	JarOuterDiameterMM float64
}

// DefaultTarget is the acidity of ordinary shop vinegar, 5 g/100 mL.
const DefaultTarget chem.GramsPer100ML = 5

// FirstStage is the stage the batch's jars start in.
func (n NewBatch) FirstStage() Stage {
	if n.Stage != "" {
		return n.Stage
	}
	return n.Base.FirstStage()
}

// Check says all that is wrong with n at the instant now.
func (n NewBatch) Check(now time.Time) error {
	var p Problems
	checkText(&p, "name", "The batch's name", n.Name, MaxNameRunes, true)
	if !slices.Contains(Bases(), n.Base) {
		_, err := ParseBase("")
		p.AddError("base", err)
	}
	if len(n.Ingredients) > MaxIngredients {
		p.Add("ingredients", fmt.Sprintf("A batch holds %d ingredients at most.", MaxIngredients))
	}
	for i, ing := range n.Ingredients {
		ing.check(&p, fmt.Sprintf("ingredients[%d]", i))
	}
	p.AddError("when", n.When.Check("when", now))
	switch n.FirstStage() {
	case Must, Alcoholic, Acetic, Maturing:
	default:
		p.Add("stage", "A batch starts as must, alcoholic, acetic or maturing.")
	}
	if n.Jars < 1 || n.Jars > MaxJars {
		p.Add("jars", fmt.Sprintf("Say how many jars: 1 to %d.", MaxJars))
	}
	n.checkVolumes(&p)
	if n.TargetGPer100ML < 0.5 || n.TargetGPer100ML > 12 {
		p.Add("target_g_per_100ml", "The target acidity lies between 0.5 and 12 g/100 mL; ordinary shop vinegar has 5.")
	}
	checkText(&p, "place", "The place", n.Place, MaxNameRunes, false)
	checkText(&p, "note", "The note", n.Note, MaxNoteRunes, false)
	if len(n.SpareTags) > n.Jars {
		p.Add("spare_tags", "There are more spare tags than jars.")
	}
	if d := n.JarOuterDiameterMM; d != 0 && (d < 20 || d > 600) {
		p.Add("jar_outer_diameter_mm", "A jar's outer diameter lies between 20 and 600 mm. Measure round it with a tape and divide by 3.14.")
	}
	return p.Err()
}

func (n NewBatch) checkVolumes(p *Problems) {
	if n.JarSizeML < minJarML || n.JarSizeML > maxJarML {
		p.Add("jar_size_ml", "Say how much a jar holds, between 50 mL and 250 L.")
		return
	}
	if n.FillML != nil && (*n.FillML <= 0 || *n.FillML > n.JarSizeML) {
		p.Add("fill_ml", "The liquid in a jar is more than nothing and no more than the jar holds.")
	}
}

// Batch is a batch as recorded.
type Batch struct {
	ID                 int64              `json:"id"`
	Name               string             `json:"name"`
	Base               Base               `json:"base"`
	Ingredients        []Ingredient       `json:"ingredients"`
	When               When               `json:"when"`
	TargetGPer100ML    chem.GramsPer100ML `json:"target_g_per_100ml"`
	JarOuterDiameterMM float64            `json:"jar_outer_diameter_mm,omitempty"`
	Note               string             `json:"note,omitempty"`
	By                 string             `json:"by,omitempty"`
	RecordedAt         time.Time          `json:"recorded_at"`
	// Plan is what the maker changed of its kind's plan, attached by the store.
	Plan Plan `json:"-"`
}

// Jar is one filling of one vessel.
type Jar struct {
	Tag     Tag              `json:"tag"`
	BatchID int64            `json:"batch_id"`
	Letter  string           `json:"letter"` // A, B, ... AA within the batch
	SizeML  chem.Millilitres `json:"size_ml"`
	Place   string           `json:"place,omitempty"`
	State   State            `json:"state"`
}

// JarLetter names the nth jar of a batch, from 0: A, B, ... Z, AA, AB.
func JarLetter(n int) string {
	if n < 26 {
		return string(rune('A' + n))
	}
	return JarLetter(n/26-1) + JarLetter(n%26)
}

// IngredientsByWeight lists the names of the ingredients, the heaviest first,
// as a food label lists them (21 CFR 101.4; Regulation (EU) 1169/2011 art. 18).
// A volume counts as water, 1 g/mL; ingredients without an amount come last.
func IngredientsByWeight(ingredients []Ingredient) []string {
	sums := map[string]float64{}
	var names []string
	for _, i := range ingredients {
		if _, seen := sums[i.Name]; !seen {
			names = append(names, i.Name)
		}
		sums[i.Name] += float64(i.Amount.MassG) + float64(i.Amount.VolumeML)
	}
	sort.SliceStable(names, func(a, b int) bool { return sums[names[a]] > sums[names[b]] })
	return names
}

// checkText refuses text that is missing (when needed), too long, not UTF-8,
// or that holds control characters other than line breaks and tabs.
func checkText(p *Problems, field, what, text string, maxRunes int, needed bool) {
	switch {
	case needed && !strings.ContainsFunc(text, isVisible):
		p.Add(field, what+" is missing.")
	case !utf8.ValidString(text):
		p.Add(field, what+" holds broken characters; type it again.")
	case utf8.RuneCountInString(text) > maxRunes:
		p.Add(field, fmt.Sprintf("%s is too long: %d characters at most.", what, maxRunes))
	case strings.ContainsFunc(text, isControl):
		p.Add(field, what+" holds control characters that cannot be shown; remove them.")
	case maxRunes < MaxNoteRunes && strings.ContainsAny(text, "\n\r\t"):
		p.Add(field, what+" is one line: take out the line breaks and tabs.")
	}
}

func isVisible(r rune) bool { return unicode.IsGraphic(r) && !unicode.IsSpace(r) }

// isControl is what a page cannot show or a terminal would act upon, and what
// turns the direction of the text around it.
func isControl(r rune) bool {
	turns := (r >= 0x202a && r <= 0x202e) || (r >= 0x2066 && r <= 0x2069)
	return turns || (unicode.IsControl(r) && r != '\n' && r != '\t' && r != '\r')
}

// VolumeFromFill is the liquid that a jar of this batch holds by its fill and what
// was poured since, where that is what goes on to vinegar: of wine or ale, with
// nothing in it that could be strained off. nil: it has to be measured.
func (b Batch) VolumeFromFill(s State) *chem.Millilitres {
	solid := slices.ContainsFunc(b.Ingredients, func(i Ingredient) bool { return i.Amount.VolumeML <= 0 })
	if !slices.Contains(unstrained, b.Base) || solid || len(s.Infused) > 0 || s.StrainedAt != nil {
		return nil
	}
	if s.VolumeML == nil || *s.VolumeML <= 0 || s.VolumeAt == nil || !s.VolumeAt.At.Equal(s.StartedAt.At) {
		return nil // not known, or measured since
	}
	return new(*s.VolumeML)
}
