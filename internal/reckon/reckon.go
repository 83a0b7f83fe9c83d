// Package reckon is the calculators that need no jar: each takes what a person
// typed, as text, and answers with one of the sums of chem or forecast. Kinds
// lists them with their inputs, a worked example and its published source, so
// that the page, the command line and the API are made from one list.
//
// # Text of the inputs
//
// Volumes, masses, temperatures and the concentration of the base need their
// unit: "2 mL", "0,4 g", "68 F", "0.1 mol/L". Numbers of which the unit stands
// in the name may repeat it: "5", "5 %", "5 g/100 mL". A decimal comma is
// understood everywhere. Dates are as larder.ParseWhen reads them.
//
// A list has one entry a line:
//
//	burette     0.00-16.65                 before and after, mL
//	phthalate   0.3888 g 18.64 mL          weighed, and the base it took
//	buffer      phthalate 25 C 172 mV      a known buffer, its temperature, what the meter showed
//	            4.01 25 C 4.05 pH          the pH on its bottle, likewise
//	portion     5 L at 3.5 %, 0.7 % vol    volume, acidity, alcohol if any
//	point       2026-10-04: 2.1 ± 0.2      date, acidity, its 95 % uncertainty if known
//	ingredient  wine: 1 L, 12 % vol        name, amount, alcohol or sugar off the label
package reckon

import (
	"encoding/json"
	"errors"
	"fmt"
	"sort"
	"strings"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// Accepts says what text an input takes.
type Accepts string

// What inputs take.
const (
	Volume        Accepts = "volume"        // with its unit
	Mass          Accepts = "mass"          // with its unit
	Temperature   Accepts = "temperature"   // with its unit
	Concentration Accepts = "concentration" // of the base, with mol/L, M or N
	Number        Accepts = "number"        // the unit stands in the name
	Date          Accepts = "date"
	Choice        Accepts = "choice"
	List          Accepts = "list" // one entry a line
)

// Field is one input of a kind.
type Field struct {
	Name     string  // snake_case, with the unit: "sample_ml"
	Flag     string  // on the command line, without the unit: "sample"
	Label    string  // for a person
	Unit     string  // of the number; "" has none
	Accepts  Accepts // what may be typed
	Required bool
	Default  string // what is taken when nothing is typed, in words; "" when that is nothing
	Help     string // what to type and where it is found
	Sample   string // one good text
	Choices  []string
	Rare     bool // seldom typed: a form may keep it out of the way

	zeroOK, negativeOK bool
	suffixes           []string // that a number may carry
	parse              func(string, time.Time) (any, error)
}

// Example is a sum somebody published, and what came out.
type Example struct {
	Title  string
	Inputs map[string]string
	Output string  // the JSON field that was published: "acidity_g_per_100ml"
	Value  float64 // as published; 1 for true
	Unit   string
	Within float64 // the published figure's own tolerance, in the same unit
	Source string
}

// Published is the published answer in words: "5.014 g/100 mL".
func (e Example) Published() string {
	if e.Output == "meets_guide" {
		return "it meets the guide"
	}
	return strings.TrimSpace(Figure(e.Value) + " " + e.Unit)
}

// Kind is one calculator.
type Kind struct {
	Name     string // "titration"
	Question string // "How sour is it?"
	Title    string
	Purpose  string // one sentence
	Group    string // the heading that it stands under
	Fields   []Field
	Example  Example
	Cautions []string // shown with every result
	Why      string   // a warning of what this must not be used for

	result any // zero value of what run gives
	run    func(*reader) (Result, error)
	fields map[string]string // chem's name of a field to that of the input
}

// Basis says how a figure is known.
type Basis string

// Measured is read off an instrument or titrated; Computed follows by a sum
// from what may or may not come true.
const (
	Measured Basis = "measured"
	Computed Basis = "computed"
)

// Line is one figure of the answer, ready to be read.
type Line struct {
	Label string `json:"label"`
	Value string `json:"value"`
	Unit  string `json:"unit"`
	Basis Basis  `json:"basis"`

	quantity any // chem.Millilitres or chem.Grams, for In
}

// In is the line in another system of units.
func (l Line) In(s chem.System) Line {
	text := ""
	switch q := l.quantity.(type) {
	case chem.Millilitres:
		text = chem.FormatVolume(q, s)
	case chem.Grams:
		text = chem.FormatMass(q, s)
	default:
		return l
	}
	l.Value, l.Unit, _ = strings.Cut(text, " ")
	return l
}

// Result is the answer of a kind.
type Result struct {
	Kind     string
	Headline []Line
	Notes    []string
	Cautions []string
	Raw      any // the sum's own result, with units in its JSON names
	Explain  chem.Explain
}

// MarshalJSON is the raw result with the kind before it and the cautions
// behind it.
func (r Result) MarshalJSON() ([]byte, error) {
	raw, err := json.Marshal(r.Raw)
	if err != nil {
		return nil, fmt.Errorf("reckon: %s: %w", r.Kind, err)
	}
	cautions, err := json.Marshal(append([]string{}, r.Cautions...))
	if err != nil {
		return nil, err
	}
	out := append([]byte(`{"kind":"`+r.Kind+`",`), raw[1:len(raw)-1]...)
	return append(append(append(out, `,"cautions":`...), cautions...), '}'), nil
}

// UnreadableError is about inputs that could not be understood or are missing,
// before anything was reckoned.
type UnreadableError struct{ larder.Problems }

// Unwrap gives the problems, field by field.
func (e *UnreadableError) Unwrap() error { return e.Problems }

// Kinds lists all calculators in the order of the work.
func Kinds() []Kind { return kinds }

// kinds is filled once; a broken table stops the program at its start.
var kinds = allKinds()

func allKinds() []Kind {
	var out []Kind
	for _, group := range [][]Kind{sourKinds(), phKinds(), sugarKinds(), recipeKinds(), blendKinds(), timeKinds()} {
		out = append(out, group...)
	}
	for i := range out {
		for j := range out[i].Fields {
			f := &out[i].Fields[j]
			if f.Flag == "" {
				f.Flag = flagOf(f.Name)
			}
		}
	}
	return out
}

// flagOf is a field's name without its unit, as one types it.
func flagOf(name string) string {
	for _, unit := range []string{"_g_per_100ml", "_mol_per_l", "_g_per_100g", "_percent", "_ml", "_g", "_c"} {
		if short, ok := strings.CutSuffix(name, unit); ok {
			name = short
			break
		}
	}
	return strings.ReplaceAll(name, "_", "-")
}

// Find is the kind of that name.
func Find(name string) (Kind, bool) {
	for _, k := range kinds {
		if k.Name == name {
			return k, true
		}
	}
	return Kind{}, false
}

// Names lists the kinds' names.
func Names() []string {
	var out []string
	for _, k := range kinds {
		out = append(out, k.Name)
	}
	return out
}

// Field is the kind's input of that name.
func (k Kind) Field(name string) (Field, bool) {
	for _, f := range k.Fields {
		if f.Name == name {
			return f, true
		}
	}
	return Field{}, false
}

// Compute reckons with what was typed; now is the clock, in the zone in which
// dates are meant. An error is larder.Problems with the names of inputs: an
// *UnreadableError when something could not be understood, the Problems alone
// when the sum refuses.
func (k Kind) Compute(in map[string]string, now time.Time) (Result, error) {
	r := k.read(in, now)
	if len(r.problems) > 0 {
		return Result{}, &UnreadableError{r.problems}
	}
	res, err := k.run(r)
	if err != nil {
		return Result{}, k.refusal(err)
	}
	res.Kind = k.Name
	res.Cautions = append(append([]string{}, k.Cautions...), res.Cautions...)
	return res, nil
}

// refusal gives an error of a sum the name of the input behind it.
func (k Kind) refusal(err error) error {
	var field *chem.FieldError
	var problems larder.Problems
	switch {
	case errors.As(err, &problems):
		return problems
	case errors.As(err, &field):
		return larder.Refuse(k.inputOf(field.Field), field.Message)
	}
	return fmt.Errorf("reckon: %s: %w", k.Name, err)
}

// inputOf is the input behind a field of the sum, "" when there is none.
func (k Kind) inputOf(field string) string {
	whole, _, _ := strings.Cut(field, "[")
	if name, ok := k.fields[whole]; ok {
		return name
	}
	if _, ok := k.Field(whole); ok {
		return whole
	}
	return ""
}

// unknown says which of the inputs the kind does not have.
func (k Kind) unknown(in map[string]string) larder.Problems {
	var p larder.Problems
	for name := range in {
		if _, ok := k.Field(name); !ok {
			var names []string
			for _, f := range k.Fields {
				names = append(names, f.Name)
			}
			p.Add(name, fmt.Sprintf("%q is not an input of %s; its inputs are %s.", clip(name), k.Name, strings.Join(names, ", ")))
		}
	}
	sort.Slice(p, func(i, j int) bool { return p[i].Field < p[j].Field })
	return p
}
