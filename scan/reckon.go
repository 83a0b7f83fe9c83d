package scan

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"unicode"

	"github.com/gin-gonic/gin"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/reckon"
)

// registerReckon adds the calculators, which need no jar and save nothing.
func (p *Pages) registerReckon(e *gin.Engine) {
	e.GET("/reckon", p.page(p.reckonIndex))
	e.GET("/reckon/:kind", p.page(p.reckon))
}

type reckonIndexView struct{ Groups []reckonGroup }

type reckonGroup struct {
	Question string
	Kinds    []reckonCard
}

type reckonCard struct{ URL, Question, Title string }

func (p *Pages) reckonIndex(c *gin.Context) error {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return err
	}
	var v reckonIndexView
	for _, kind := range reckon.Kinds() {
		if n := len(v.Groups); n == 0 || v.Groups[n-1].Question != kind.Group {
			v.Groups = append(v.Groups, reckonGroup{Question: kind.Group})
		}
		g := &v.Groups[len(v.Groups)-1]
		g.Kinds = append(g.Kinds, reckonCard{URL: reckonURL(kind.Name, nil), Question: kind.Question, Title: kind.Title})
	}
	return render(c, http.StatusOK, "reckon", p.frame(k, "Reckon"), v)
}

func reckonURL(kind string, in map[string]string) string {
	pairs := make([]string, 0, 2*len(in))
	for name, text := range in {
		pairs = append(pairs, name, text)
	}
	return "/reckon/" + url.PathEscape(kind) + query(pairs...)
}

// reckonView is one calculator, with its answer when something was asked.
type reckonView struct {
	Title, Purpose, Why string
	Action              string
	Problem             string
	Fields, More        []field // what must be typed or usually is, and what may be
	MoreOpen            bool
	Answer              *reckonAnswer
	Example             reckonExample
}

type reckonAnswer struct {
	Headline        []reckon.Line
	Notes, Cautions []string
	Explain         *explainView
}

type reckonExample struct{ Title, Published, Source, URL string }

// reckon shows one calculator. What is asked stands in the address, so that an
// answer can be kept and sent on.
func (p *Pages) reckon(c *gin.Context) error {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return err
	}
	kind, ok := reckon.Find(c.Param("kind"))
	if !ok {
		return p.noSuchSum(c)
	}
	typed := c.Request.URL.Query()
	in, asked := reckonInputs(kind, typed)
	if tidy := tidyQuery(in, asked); asked && tidy != typed.Encode() {
		c.Redirect(http.StatusSeeOther, "/reckon/"+kind.Name+"?"+tidy)
		return nil
	}
	v := reckonView{Title: kind.Title, Purpose: kind.Purpose, Why: kind.Why, Action: "/reckon/" + kind.Name,
		Example: reckonExample{Title: kind.Example.Title, Source: kind.Example.Source, Published: kind.Example.Published(), URL: reckonURL(kind.Name, kind.Example.Inputs)}}
	status := http.StatusOK
	var problems larder.Problems
	if asked {
		res, err := kind.Compute(in, p.now(k))
		switch {
		case err == nil:
			v.Answer = answerOf(res, kind, k.Units())
		case errors.As(err, &problems):
			status = http.StatusUnprocessableEntity
		default:
			return err
		}
	}
	v.layOut(kind, in, problems, k.Units())
	return render(c, status, "reckonkind", p.frame(k, kind.Title), v)
}

// noSuchSum is the answer to an unknown calculator. Whoever looks for one that
// starts from a pH is told why there is none.
func (p *Pages) noSuchSum(c *gin.Context) error {
	t := trouble{Title: "There is no such sum", Detail: "Pick one from the list.", Back: link{URL: "/reckon", Text: "See all sums"}}
	if strings.HasPrefix(strings.ToLower(c.Param("kind")), "ph") {
		t.Title, t.Detail = "No sum goes from pH to acidity", chem.PHNeverAcidity
	}
	p.troubled(c, http.StatusNotFound, t)
	return nil
}

// reckonInputs takes the kind's inputs out of an address; asked tells that the
// form was sent, be it empty.
func reckonInputs(kind reckon.Kind, typed url.Values) (in map[string]string, asked bool) {
	in = map[string]string{}
	asked = typed.Has("asked")
	for _, f := range kind.Fields {
		asked = asked || typed.Has(f.Name)
		text := strings.TrimSpace(strings.ReplaceAll(typed.Get(f.Name), "\r\n", "\n"))
		if text == "" {
			continue
		}
		unit := typed.Get(f.Name + "_unit")
		if f.Accepts == reckon.Concentration {
			unit = f.Unit // the form shows it behind the box
		}
		if unit != "" && !strings.ContainsFunc(text, unicode.IsLetter) && text != "" {
			text += " " + unit
		}
		in[f.Name] = text
	}
	return in, asked
}

// tidyQuery is the shortest address that asks the same.
func tidyQuery(in map[string]string, asked bool) string {
	v := url.Values{}
	for name, text := range in {
		v.Set(name, text)
	}
	if len(v) == 0 && asked {
		v.Set("asked", "1")
	}
	return v.Encode()
}

func answerOf(res reckon.Result, kind reckon.Kind, units chem.System) *reckonAnswer {
	a := &reckonAnswer{Cautions: res.Cautions, Explain: explained(res.Explain)}
	for _, l := range res.Headline {
		a.Headline = append(a.Headline, l.In(units))
	}
	for _, n := range res.Notes {
		if !strings.Contains(kind.Why, n) { // it stands above the form already
			a.Notes = append(a.Notes, n)
		}
	}
	return a
}

// layOut makes the form, what is seldom typed in a fold of its own.
func (v *reckonView) layOut(kind reckon.Kind, in map[string]string, problems larder.Problems, units chem.System) {
	typed := url.Values{}
	for name, text := range in {
		typed.Set(name, text)
	}
	b := newBuilder("reckon", typed, problems, units)
	for _, f := range kind.Fields {
		one := reckonField(b, f, in[f.Name])
		if !f.Rare {
			v.Fields = append(v.Fields, one)
			continue
		}
		v.More = append(v.More, one)
		v.MoreOpen = v.MoreOpen || one.Error != "" || (in[f.Name] != "" && f.Accepts != reckon.Choice)
	}
	v.Problem = b.rest()
}

func reckonField(b *builder, f reckon.Field, text string) field {
	hint := f.Help
	if f.Default != "" {
		if hint != "" {
			hint += "; "
		}
		hint += "empty: " + f.Default
	}
	label := f.Label
	if !strings.HasPrefix(label, "pH") {
		label = upperFirst(label)
	}
	switch f.Accepts {
	case reckon.Volume:
		return withUnit(b.volume(f.Name, label, hint), text, f.Sample)
	case reckon.Mass:
		return withUnit(b.withUnits(f.Name, label, hint, []string{"g", "kg", "mg", "oz", "lb"}), text, f.Sample)
	case reckon.Temperature:
		return withUnit(b.temperature(f.Name, label, hint), text, "")
	case reckon.Concentration:
		one := b.number(f.Name, label, f.Unit, hint)
		one.Value = strings.TrimSpace(strings.TrimSuffix(text, f.Unit))
		one.Placeholder = strings.TrimSuffix(f.Sample, " "+f.Unit)
		return one
	case reckon.Choice:
		var options []option
		for _, choice := range f.Choices {
			options = append(options, option{Value: choice, Text: choice})
		}
		return b.pull(f.Name, label, f.Choices[0], options...)
	case reckon.List:
		sample, _, _ := strings.Cut(f.Sample, "\n")
		return b.area(f.Name, label, joinHint("one a line, like "+sample, hint))
	case reckon.Date:
		one := b.text(f.Name, label, hint, 60)
		one.Placeholder = f.Sample
		return one
	}
	one := b.number(f.Name, label, f.Unit, hint)
	one.Value = strings.TrimSpace(strings.TrimSuffix(text, f.Unit))
	one.Placeholder = strings.TrimSpace(strings.TrimSuffix(f.Sample, f.Unit))
	return one
}

func joinHint(first, second string) string {
	if second == "" {
		return first
	}
	return fmt.Sprintf("%s; %s", first, second)
}

// withUnit shares a typed quantity out between the box and the choice behind
// it. Until a unit is typed, that of the sample is chosen.
func withUnit(f field, text, sample string) field {
	f.Value = text
	for _, unit := range f.Units {
		if number, ok := strings.CutSuffix(sample, " "+unit); ok {
			f.Unit, f.Placeholder = unit, number
		}
	}
	for _, unit := range f.Units {
		number, ok := strings.CutSuffix(text, strings.TrimPrefix(unit, "°"))
		if number = strings.TrimRight(number, " °"); ok && number != "" && !strings.ContainsFunc(number, unicode.IsLetter) {
			f.Value, f.Unit = number, unit
		}
	}
	return f
}
