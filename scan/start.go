package scan

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// Lines of ingredients on a fresh form, and how many "more lines" adds.
const (
	freshLines = 4
	moreLines  = 4
)

type startView struct {
	Form    form
	Ceiling *ceilingView // of the recipe as typed, when it was asked for
}

func (p *Pages) startForm(c *gin.Context) error {
	typed := url.Values{}
	if spare := c.Query("spare"); spare != "" {
		typed.Set("spare_tags", spare)
	}
	return p.showStart(c, http.StatusOK, typed, nil, "")
}

func (p *Pages) showStart(c *gin.Context, status int, typed url.Values, problems larder.Problems, key string) error {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return err
	}
	var v startView
	if typed.Get(checkRecipe) != "" {
		v.Ceiling, problems = recipeCheck(typed, writer{k: k, now: p.now(k)})
	}
	v.Form = startFields(newBuilder("start", typed, problems, k.Units()), remembered(c, byCookie), key)
	return render(c, status, "start", p.frame(k, "Start a batch"), v)
}

func startFields(b *builder, by, key string) form {
	fresh := func(name, value string) {
		if !b.typed.Has(name) {
			b.typed.Set(name, value)
		}
	}
	fresh("jars", "1")
	fresh("target_g_per_100ml", short(larder.DefaultTarget))
	fresh("by", by)
	var bases []option
	for _, base := range larder.Bases() {
		bases = append(bases, option{Value: string(base), Text: string(base)})
	}
	fields := []field{
		b.text("name", "Name", `like "Pear trimmings"`, larder.MaxNameRunes),
		b.choice("base", "Made from", "", bases...),
	}
	for i := range ingredientLines(b.typed) {
		amount := b.text(ingredientField(i, "amount"), "Amount", "", 40)
		amount.Placeholder = "2.4 kg"
		fields = append(fields, row(fmt.Sprintf("Ingredient %d", i+1), b.text(ingredientField(i, "name"), "What", "", larder.MaxNameRunes), amount))
	}
	fields[2].Hint = "with a unit: 2.4 kg, 3 cups, 4 L, 6 pieces"
	jars := b.number("jars", "Jars", "", "")
	jars.Mode = "numeric"
	fields = append(fields,
		labelStrengths(b),
		field{Kind: "more", Label: "More ingredients"},
		row("Jars", jars, b.volume("jar_size_ml", "Each can hold", "")),
		b.volume("fill_ml", "Liquid in each jar", "if you know it"),
		b.number("target_g_per_100ml", "Acidity to reach", "g/100 mL", "the % of a shop's label; mostly 5"),
		field{Kind: "more", Name: checkRecipe, Label: "Check this recipe"},
		fold("Place, spare tags, diameter, note",
			b.text("place", "Stands where", "", larder.MaxNameRunes),
			b.text("spare_tags", "Spare tags already stuck on", "one for each jar in turn", 400),
			b.number("jar_outer_diameter_mm", "Jar's outer diameter", "mm", "keeps the code readable round a narrow jar"),
			b.area("note", "Note", "")))
	return b.finish(form{Key: key, Action: "/start", Fields: append(fields, b.whenAndBy(by)...), Submit: "Start the batch", More: true})
}

func ingredientField(i int, what string) string { return fmt.Sprintf("ingredients[%d].%s", i, what) }

// ingredientLines is how many lines the form shows: all that were sent.
func ingredientLines(typed url.Values) int {
	n := 0
	for n < larder.MaxIngredients && typed.Has(ingredientField(n, "name")) {
		n++
	}
	if n == 0 {
		n = freshLines
	}
	if typed.Get("more") != "" {
		n = min(n+moreLines, larder.MaxIngredients)
	}
	return n
}

func (p *Pages) start(c *gin.Context) error {
	ctx := c.Request.Context()
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	if r.typed.Get("more") != "" || r.typed.Get(checkRecipe) != "" {
		return p.showStart(c, http.StatusOK, r.typed, nil, r.typed.Get("key"))
	}
	n := readBatch(r)
	act := r.act()
	if err = r.problems.Err(); err != nil {
		err = r.withRules(n.Check(r.now))
	} else {
		s, e := p.DB.Start(ctx, act, n)
		if e == nil {
			remember(c, byCookie, act.By)
			c.Redirect(http.StatusSeeOther, batchURL(s.Batch)+"?started=1")
			return nil
		}
		err = e
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showStart(c, status, r.typed, placeIngredients(problems, r.typed), key)
}

func readBatch(r *reader) larder.NewBatch {
	n := larder.NewBatch{Name: r.text("name"), Base: larder.Base(r.text("base")), When: r.when(), Place: r.text("place"), Note: r.text("note"),
		FillML: r.volume("fill_ml")}
	for _, i := range filledLines(r.typed) {
		n.Ingredients = append(n.Ingredients, r.ingredient(i))
	}
	if jars := r.need("jars", "Say how many jars."); jars == float64(int(jars)) {
		n.Jars = int(jars)
	} else {
		r.problems.Add("jars", "Jars come in whole numbers.")
	}
	if v := r.volume("jar_size_ml"); v != nil {
		n.JarSizeML = *v
	}
	n.TargetGPer100ML = chem.GramsPer100ML(r.need("target_g_per_100ml", "Say how sour it should become; ordinary shop vinegar has 5."))
	if v := r.number("jar_outer_diameter_mm"); v != nil {
		n.JarOuterDiameterMM = *v
	}
	for _, text := range strings.FieldsFunc(r.text("spare_tags"), func(r rune) bool { return strings.ContainsRune(" ,;\n\t", r) }) {
		tag, _, err := larder.ParseTag(text)
		if err != nil {
			r.problems.Add("spare_tags", err.Error())
			continue
		}
		n.SpareTags = append(n.SpareTags, tag)
	}
	return n
}

// filledLines are the lines of ingredients in which something was typed.
func filledLines(typed url.Values) []int {
	var out []int
	for i := range larder.MaxIngredients + 1 {
		if strings.TrimSpace(typed.Get(ingredientField(i, "name"))+typed.Get(ingredientField(i, "amount"))+typed.Get(ingredientField(i, abvField))+typed.Get(ingredientField(i, sugarField))) != "" {
			out = append(out, i)
		}
	}
	return out
}

func (r *reader) ingredient(i int) larder.Ingredient {
	one := larder.Ingredient{Name: r.text(ingredientField(i, "name"))}
	if one.Name == "" {
		r.problems.Add(ingredientField(i, "name"), "Say what this is.")
	}
	if text := r.text(ingredientField(i, "amount")); text != "" {
		var err error
		if one.Amount, err = chem.ParseAmount(text); err != nil {
			r.problems.Add(ingredientField(i, "amount"), err.Error())
		}
	}
	one.ABVPercent = typedAs[chem.PercentVol](r.number(ingredientField(i, abvField)))
	one.SugarGPer100G = r.number(ingredientField(i, sugarField))
	return one
}

// placeIngredients moves a problem with the nth ingredient to the line on which
// it was typed, since empty lines between do not count.
func placeIngredients(problems larder.Problems, typed url.Values) larder.Problems {
	filled := filledLines(typed)
	out := append(larder.Problems(nil), problems...)
	for i, p := range out {
		var n int
		var what string
		if _, err := fmt.Sscanf(p.Field, "ingredients[%d].%s", &n, &what); err == nil && n < len(filled) && p.Message != "Say what this is." && what != "amount" {
			out[i].Field = ingredientField(filled[n], what)
		}
	}
	return out
}

type batchView struct {
	Name        string
	Started     bool // just now
	Lines       []pair
	Ingredients []string
	Note        string
	Ceiling     ceilingView
	Jars        []shelfJar
	Labels      string
	Record      string // the PDF
	Trace       string
}

// batch shows a batch with its jars; after the start it offers their labels.
func (p *Pages) batch(c *gin.Context) error {
	ctx := c.Request.Context()
	id, err := strconv.ParseInt(c.Param("id"), 10, 64)
	if err != nil {
		return &larder.NotFoundError{What: "batch", ID: c.Param("id")}
	}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	b, err := p.DB.Batch(ctx, id)
	if err != nil {
		return err
	}
	jars, err := p.DB.JarsOfBatch(ctx, id)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k)}
	v := batchView{Name: b.Name, Started: c.Query("started") != "", Note: b.Note,
		Record: fmt.Sprintf("/batches/%d/record.pdf", id), Trace: traceURL(larder.Subject{Kind: larder.SubjectBatch, ID: strconv.FormatInt(id, 10)}),
		Lines: []pair{{"Made from", string(b.Base)}, {"Started", b.When.DateIn(w.now.Location())}, {"Aims at", short(b.TargetGPer100ML) + " g/100 mL"}}}
	if b.By != "" {
		v.Lines = append(v.Lines, pair{"By", b.By})
	}
	for _, i := range b.Ingredients {
		v.Ingredients = append(v.Ingredients, i.String())
	}
	if v.Ceiling, err = p.ceilingOfBatch(ctx, b, w); err != nil {
		return err
	}
	tags := url.Values{}
	for _, j := range jars {
		v.Jars = append(v.Jars, shelfJarOf(j, b, w))
		if j.State.Stage.Live() {
			tags.Add("tag", string(j.Tag))
		}
	}
	if len(tags) > 0 {
		v.Labels = "/labels?" + tags.Encode()
	}
	return render(c, http.StatusOK, "batch", p.frame(k, b.Name), v)
}
