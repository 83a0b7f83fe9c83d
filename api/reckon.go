package api

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/larder"
	"cruet/internal/reckon"
)

// Sums are all sums that need no jar.
type Sums struct {
	Sums []Sum `json:"sums" doc:"The sums, in the order of the work."`
}

// Sum is one of them.
type Sum struct {
	Kind     string     `json:"kind" example:"titration" doc:"Its name, the last part of its path."`
	Title    string     `json:"title" doc:"Its name in words."`
	Question string     `json:"question" doc:"The question that it answers."`
	Purpose  string     `json:"purpose" doc:"What it does, in one sentence."`
	Inputs   []SumInput `json:"inputs" doc:"What it is reckoned from."`
	Example  SumExample `json:"example" doc:"A worked example."`
	Cautions []string   `json:"cautions" doc:"What to mind with every answer."`
}

// SumInput is one input of a sum.
type SumInput struct {
	Name     string         `json:"name" example:"sample_ml" doc:"Its name, with the unit."`
	Label    string         `json:"label" doc:"What it is."`
	Unit     string         `json:"unit,omitempty" example:"mL" doc:"The unit in which a JSON number is taken. Left out: it has none."`
	Accepts  reckon.Accepts `json:"accepts" doc:"What may be given: a volume, mass, temperature or concentration as text carries its own unit; a list has one text for each entry."`
	Required bool           `json:"required" doc:"It must be given."`
	Default  string         `json:"default,omitempty" doc:"What is taken without it, in words."`
	Help     string         `json:"help,omitempty" doc:"Where to find it."`
	Sample   string         `json:"sample" example:"2 mL" doc:"A good text; for a list, a line for each entry."`
	Choices  []string       `json:"choices,omitempty" doc:"Of a choice: what there is."`
}

// SumExample is a published worked example.
type SumExample struct {
	Title     string            `json:"title" doc:"It in words."`
	Inputs    map[string]string `json:"inputs" doc:"Its inputs."`
	Output    string            `json:"output" example:"acidity_g_per_100ml" doc:"The field of the answer that was published."`
	Published string            `json:"published" example:"5.014 g/100 mL" doc:"The published figure with its unit."`
	Source    string            `json:"source" doc:"By whom."`
}

const reckonAbout = "Nothing is saved. Inputs are text, a quantity with its unit: \"2 mL\". "

func (a *API) registerReckon(h huma.API) {
	huma.Register(h, get("/reckon", "list-sums", "reckon", "The sums of the trade that need no jar", ""), a.sums)
	for _, k := range reckon.Kinds() {
		answers := map[string]*huma.Response{"200": {Description: "The answer, with how it was reckoned.", Content: map[string]*huma.MediaType{"application/json": {Schema: outputSchema(k.Outputs())}}}}
		ask := get("/reckon/"+k.Name, "reckon-"+k.Name, "reckon", k.Title, reckonAbout+"A list is the parameter given several times. "+k.Purpose)
		ask.SkipValidateParams = true // the sum says in its own words what is wrong
		ask.Parameters, ask.Responses = sumParameters(k), answers
		huma.Register(h, ask, func(ctx context.Context, in *sumQuery) (*answer[any], error) { return a.reckon(ctx, k, in.texts()) })

		send := route(http.MethodPost, "/reckon/"+k.Name, "reckon-"+k.Name+"-json", "reckon", k.Title+", asked in JSON",
			reckonAbout+"A JSON number is taken in the unit that the name states. "+k.Purpose, http.StatusOK,
			http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType)
		send.Responses = map[string]*huma.Response{"200": answers["200"]}
		send.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"application/json": {Schema: inputSchema(k)}}}
		huma.Register(h, send, func(ctx context.Context, in *struct{ Body map[string]any }) (*answer[any], error) {
			texts, err := textsOf(k, in.Body)
			if err != nil {
				return nil, err
			}
			return a.reckon(ctx, k, texts)
		})
	}
}

func (a *API) sums(context.Context, *struct{}) (*answer[Sums], error) {
	return &answer[Sums]{Sums{each(reckon.Kinds(), sumOf)}}, nil
}

func sumOf(k reckon.Kind) Sum {
	e := k.Example
	return Sum{Kind: k.Name, Title: k.Title, Question: k.Question, Purpose: k.Purpose, Cautions: append([]string{}, k.Cautions...),
		Inputs: each(k.Fields, func(f reckon.Field) SumInput {
			return SumInput{f.Name, f.Label, f.Unit, f.Accepts, f.Required, f.Default, f.Help, f.Sample, f.Choices}
		}),
		Example: SumExample{e.Title, e.Inputs, e.Output, e.Published(), e.Source}}
}

func (a *API) reckon(ctx context.Context, k reckon.Kind, texts map[string]string) (*answer[any], error) {
	kitchen, err := a.DB.Kitchen(ctx)
	if err != nil {
		return nil, err
	}
	res, err := k.Compute(texts, now().In(kitchen.Location()))
	if err != nil {
		return nil, err
	}
	return &answer[any]{res}, nil
}

// sumQuery is whatever parameters were asked with; the sum knows its own.
type sumQuery struct{ Values url.Values }

// Resolve takes the query out of the address.
func (q *sumQuery) Resolve(ctx huma.Context) []error {
	u := ctx.URL()
	q.Values = u.Query()
	return nil
}

func (q *sumQuery) texts() map[string]string {
	out := map[string]string{}
	for name, values := range q.Values {
		out[name] = strings.Join(values, "\n")
	}
	return out
}

// textsOf makes of each JSON value the text that a person would type.
func textsOf(k reckon.Kind, body map[string]any) (map[string]string, error) {
	out := map[string]string{}
	var problems larder.Problems
	for name, value := range body {
		f, _ := k.Field(name) // the sum refuses what it does not know
		text, ok := textOf(f, value)
		if !ok {
			problems.Add(name, name+" must be text in quotes, a number, or a list of them.")
		}
		out[name] = text
	}
	return out, problems.Err()
}

func textOf(f reckon.Field, value any) (string, bool) {
	switch v := value.(type) {
	case nil:
		return "", true
	case string:
		return v, true
	case float64:
		text := strconv.FormatFloat(v, 'f', -1, 64)
		switch f.Accepts {
		case reckon.Volume, reckon.Mass, reckon.Temperature, reckon.Concentration:
			text += " " + f.Unit
		}
		return text, true
	case []any:
		var lines []string
		for _, one := range v {
			if _, nested := one.([]any); nested {
				return "", false
			}
			line, ok := textOf(f, one)
			if !ok {
				return "", false
			}
			lines = append(lines, line)
		}
		return strings.Join(lines, "\n"), true
	}
	return "", false
}

// inputText describes an input.
func inputText(f reckon.Field) string {
	text := f.Label
	if f.Unit != "" {
		text += ", " + f.Unit
	}
	if f.Help != "" {
		text += "; " + f.Help
	}
	switch {
	case f.Required:
		text += ". Needed."
	case f.Default != "":
		text += ". Without it: " + f.Default + "."
	default:
		text += "."
	}
	return text
}

func sumParameters(k reckon.Kind) []*huma.Param {
	var out []*huma.Param
	for _, f := range k.Fields {
		schema := &huma.Schema{Type: huma.TypeString, Examples: []any{f.Sample}}
		for _, c := range f.Choices {
			schema.Enum = append(schema.Enum, c)
		}
		if f.Accepts == reckon.List {
			schema = &huma.Schema{Type: huma.TypeArray, Items: &huma.Schema{Type: huma.TypeString}, Examples: []any{strings.Split(f.Sample, "\n")}}
		}
		out = append(out, &huma.Param{Name: f.Name, In: "query", Description: inputText(f), Required: f.Required, Schema: schema})
	}
	return out
}

// inputSchema lets every input be text, a number or a list: the sum refuses
// what does not fit, in its own words.
func inputSchema(k reckon.Kind) *huma.Schema {
	s := &huma.Schema{Type: huma.TypeObject, AdditionalProperties: true, Properties: map[string]*huma.Schema{}, Description: fmt.Sprintf("The inputs of %s.", k.Name)}
	for _, f := range k.Fields {
		s.Properties[f.Name] = &huma.Schema{Description: inputText(f), Examples: []any{f.Sample}}
	}
	s.PrecomputeMessages()
	return s
}

// outputSchema is the schema of an answer.
func outputSchema(outs []reckon.Output) *huma.Schema {
	s := &huma.Schema{Type: huma.TypeObject, Properties: map[string]*huma.Schema{}}
	for _, o := range outs {
		one := &huma.Schema{Type: huma.TypeString}
		switch o.Type {
		case "object":
			one = outputSchema(o.Inner)
		case "number":
			one.Type = huma.TypeNumber
		case "true or false":
			one.Type = huma.TypeBoolean
		}
		if o.List {
			one = &huma.Schema{Type: huma.TypeArray, Items: one}
		}
		one.Description = o.Meaning
		s.Properties[o.Name] = one
		if !o.Optional {
			s.Required = append(s.Required, o.Name)
		}
	}
	return s
}
