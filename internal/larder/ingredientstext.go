package larder

import (
	"encoding/json"
	"strconv"
	"strings"
	"unicode/utf8"

	"cruet/internal/chem"
)

// ParseIngredients reads a recipe as its JSON, just as json.Unmarshal does. A shelf or
// a trace reads hundreds, and nearly all of them are as json.Marshal writes them, with
// nothing to unescape; that form is read here, in an eighth of the time.
func ParseIngredients(text string) ([]Ingredient, error) {
	if out, ok := plainIngredients(text); ok {
		return out, nil
	}
	var out []Ingredient
	err := json.Unmarshal([]byte(text), &out)
	return out, err
}

// plainIngredients reads the form that json.Marshal writes; ok is false for any other.
func plainIngredients(text string) (out []Ingredient, ok bool) {
	r := plainReader{rest: text, ok: true}
	r.must("[")
	out = []Ingredient{}
	for r.ok && !r.has("]") {
		if len(out) > 0 {
			r.must(",")
		}
		var i Ingredient
		r.must(`{"name":"`)
		i.Name = r.text()
		r.must(`,"amount":{"value":`)
		i.Amount.Value = r.number()
		r.must(`,"unit":"`)
		i.Amount.Unit = r.text()
		if r.has(`,"mass_g":`) {
			i.Amount.MassG = chem.Grams(r.number())
		}
		if r.has(`,"volume_ml":`) {
			i.Amount.VolumeML = chem.Millilitres(r.number())
		}
		r.must("}")
		if r.has(`,"abv_percent_vol":`) {
			i.ABVPercent = new(chem.PercentVol(r.number()))
		}
		if r.has(`,"sugar_g_per_100g":`) {
			i.SugarGPer100G = new(r.number())
		}
		if r.has(`,"supplier":"`) {
			i.Supplier = r.text()
		}
		if r.has(`,"supplier_lot":"`) {
			i.SupplierLot = r.text()
		}
		r.must("}")
		out = append(out, i)
	}
	return out, r.ok && r.rest == ""
}

// plainReader reads one thing after another; after what it does not know it reads
// nothing more.
type plainReader struct {
	rest string
	ok   bool
}

func (r *plainReader) has(what string) bool {
	if !r.ok || !strings.HasPrefix(r.rest, what) {
		return false
	}
	r.rest = r.rest[len(what):]
	return true
}

func (r *plainReader) must(what string) { r.ok = r.has(what) }

// text reads up to the closing quote, if nothing before it is escaped or would be
// replaced.
func (r *plainReader) text() string {
	end := strings.IndexByte(r.rest, '"')
	if r.ok = r.ok && end >= 0; !r.ok {
		return ""
	}
	text := r.rest[:end]
	for i := range len(text) {
		r.ok = r.ok && text[i] >= ' ' && text[i] != '\\'
	}
	r.ok = r.ok && utf8.ValidString(text)
	r.rest = r.rest[end+1:]
	return text
}

// number reads digits and perhaps a fraction; json.Unmarshal reads the rarer forms.
func (r *plainReader) number() float64 {
	end := 0
	for end < len(r.rest) && (r.rest[end] >= '0' && r.rest[end] <= '9' || r.rest[end] == '.') {
		end++
	}
	text := r.rest[:end]
	r.rest = r.rest[end:]
	whole, part, split := strings.Cut(text, ".")
	if whole == "" || len(whole) > 1 && whole[0] == '0' || split && (part == "" || strings.Contains(part, ".")) {
		r.ok = false
		return 0
	}
	v, err := strconv.ParseFloat(text, 64)
	r.ok = r.ok && err == nil
	return v
}
