package verdict

import (
	"slices"
	"strings"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// Short is a caution in the few words that a label has room for.
type Short struct {
	ID     string `json:"id"`
	Text   string `json:"text"`
	Source Source `json:"source"`
}

// NotForCanning stands on every bottle: see the rule canning-never.
const NotForCanning = "Not for canning or preserving"

// The IDs of the cautions on a bottle.
const (
	ShortCanning   = "canning-never"
	ShortInfants   = "honey"
	ShortCold      = "infused-cold"
	ShortWeak      = "too-weak"
	ShortSulphites = "sulphites"
	ShortGluten    = "gluten"
	ShortLive      = "live"
)

// Grave tells that a label without room for the caution must not be printed. The
// others may be left out on a small one.
func (s Short) Grave() bool { return s.ID != ShortLive }

// OnLabel are the cautions that a bottle carries, the gravest first. bases and
// names are those of all that went in and of what it came from, see Contains.
func OnLabel(bases []larder.Base, names []string, e Evidence, market Market) []Short {
	out := []Short{{ShortCanning, NotForCanning, pennState}}
	if slices.Contains(e.Bases, larder.Honey) || slices.Contains(bases, larder.Honey) || slices.ContainsFunc(names, hasHoney) {
		out = append(out, Short{ShortInfants, "Not for children under one year", CautionSource(ShortInfants)})
	}
	if infusedOne(e) {
		out = append(out, Short{ShortCold, "Keep in the refrigerator, use within 3 months", CautionSource(ShortCold)})
	}
	if answer, _ := e.atLeast(chem.WeakestVinegarGPer100ML); answer == No && !infusedOne(e) { // which is kept cold already
		out = append(out, Short{ShortWeak, "Weaker than vinegar: keep in the refrigerator, use soon", own("lowest strength called vinegar, after the US policy guide")})
	}
	var cereals []Substance
	for _, s := range Contains(bases, names, e, market) {
		if s.ID != "sulphites" {
			cereals = append(cereals, s)
			continue
		}
		text := "Contains " + s.Name
		if s.May {
			text = "May contain " + s.Name
		}
		out = append(out, Short{ShortSulphites, text, s.Source})
	}
	if len(cereals) > 0 {
		var held []string
		for _, s := range cereals {
			name := s.Name
			if s.ID != "oats" {
				name += " (gluten)"
			}
			held = append(held, name)
		}
		out = append(out, Short{ShortGluten, "Contains " + strings.Join(held, ", "), cereals[0].Source})
	}
	if !e.Heated {
		text := "Unpasteurised; a live mother may form"
		if market == US {
			text = "Unpasteurized; a live mother may form"
		}
		out = append(out, Short{ShortLive, text, own("common practice, no published source")})
	}
	return out
}

// hasHoney tells that a name is one of honey or of what is made from it.
func hasHoney(name string) bool { return hasWord(name, []string{"honey", "mead"}) }

// OnLot are the cautions on every bottle of a lot, by what the lot itself kept.
func OnLot(l larder.Lot, market Market) []Short {
	return OnLabel(slices.Concat(l.Bases, l.TraceBases), l.Ingredients, EvidenceOfLot(l, nil, l.When.At), market)
}

// ShortTexts are the texts alone.
func ShortTexts(list []Short) []string {
	out := []string{}
	for _, s := range list {
		out = append(out, s.Text)
	}
	return out
}

// CautionSource is where the caution with that ID is written.
func CautionSource(id string) Source {
	for _, c := range cautions {
		if c.ID == id {
			return c.Source
		}
	}
	return own("common practice")
}

// Substance is something in it that some people must not have.
type Substance struct {
	ID     string // "barley", "wheat", "rye", "oats", "spelt", "sulphites"
	Name   string // as a label says it under the market's rules
	From   string // what brought it in
	May    bool   // nobody measured whether enough of it is there to declare
	Major  bool   // one of the allergens that the market's law lists
	Source Source
}

// Contains lists what has to be declared, by the names of all that went in, of
// what it came from too: an allergen that a mother or a splash of another
// vinegar brought along is declared as well. bases are those of the same.
func Contains(bases []larder.Base, names []string, e Evidence, market Market) []Substance {
	var out []Substance
	us := market == US
	gluten := recalled("European Union", "Regulation (EU) No 1169/2011", "Annex II: cereals containing gluten")
	if us {
		gluten = recalled("US Food and Drug Administration", "FALCPA", "wheat is a major allergen; barley, rye and oats are not, but barley and rye hold gluten")
	}
	for _, cereal := range []struct {
		id    string
		words []string
	}{{"wheat", []string{"wheat", "spelt", "khorasan"}}, {"barley", []string{"barley", "malt"}}, {"rye", []string{"rye"}}, {"oats", []string{"oat", "oats"}}} {
		for _, n := range names {
			if hasWord(n, cereal.words) {
				out = append(out, Substance{ID: cereal.id, Name: cereal.id, From: n, Major: !us || cereal.id == "wheat", Source: gluten})
				break
			}
		}
	}
	if slices.Contains(bases, larder.Ale) && len(out) == 0 {
		out = append(out, Substance{ID: "barley", Name: "barley", From: "the ale", Major: !us, Source: gluten})
	}
	if s, declared := sulphites(bases, names, e, market); declared {
		out = append(out, s)
	}
	return out
}

func sulphites(bases []larder.Base, names []string, e Evidence, market Market) (Substance, bool) {
	rule := Sulphites(market)
	s := Substance{ID: "sulphites", Name: "sulphites", From: e.SulphiteFrom, May: true, Major: true, Source: rule.Source}
	if market == US {
		s.Name, s.Major = "sulfites", false
	}
	if e.SulphiteMGPerKG != nil {
		s.May = false
		return s, rule.MustDeclare(*e.SulphiteMGPerKG)
	}
	if s.From == "" {
		for _, n := range names {
			low := strings.ToLower(n)
			if hasWord(n, []string{"wine"}) || slices.ContainsFunc(sulphited, func(w string) bool { return strings.Contains(low, w) }) {
				s.From = n
				break
			}
		}
	}
	if s.From == "" && slices.Contains(bases, larder.Wine) {
		s.From = "a wine that it came from"
	}
	return s, s.From != ""
}
