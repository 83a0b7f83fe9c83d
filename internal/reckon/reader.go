package reckon

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// Longest texts that are read; what is longer is a slip.
const (
	maxText  = 200
	maxLines = 120
)

// reader holds the inputs of one sum once they are understood.
type reader struct {
	now      time.Time
	numbers  map[string]float64
	words    map[string]string
	dates    map[string]time.Time
	lists    map[string][]any
	problems larder.Problems
}

// read understands all inputs, or notes what is wrong with each.
func (k Kind) read(in map[string]string, now time.Time) *reader {
	if now.IsZero() {
		now = time.Now()
	}
	r := &reader{now: now, numbers: map[string]float64{}, words: map[string]string{}, dates: map[string]time.Time{}, lists: map[string][]any{}}
	r.problems = k.unknown(in)
	for _, f := range k.Fields {
		text := strings.TrimSpace(in[f.Name])
		switch {
		case text == "" && f.Required:
			r.problems.Add(f.Name, fmt.Sprintf("%s is missing: type it like %s.", upperFirst(f.Label), quoted(f.Sample)))
		case text == "":
		case !utf8.ValidString(text) || (f.Accepts != List && len(text) > maxText):
			r.problems.Add(f.Name, fmt.Sprintf("%s cannot be read: type it like %s.", upperFirst(f.Label), quoted(f.Sample)))
		default:
			r.field(f, text)
		}
	}
	return r
}

func quoted(s string) string {
	return `"` + strings.ReplaceAll(s, "\n", `" and on the next line "`) + `"`
}

func (r *reader) field(f Field, text string) {
	switch f.Accepts {
	case List:
		r.list(f, text)
	case Choice:
		word := strings.ToLower(text)
		if !slices.Contains(f.Choices, word) {
			r.problems.Add(f.Name, fmt.Sprintf("%q is no choice for %s: take one of %s.", clip(text), lowerFirst(f.Label), strings.Join(f.Choices, ", ")))
			return
		}
		r.words[f.Name] = word
	case Date:
		w, err := larder.ParseWhen(text, r.now, r.now.Location())
		if err != nil {
			r.problems.Add(f.Name, err.Error())
			return
		}
		if w.IsZero() { // "now"
			w.At = r.now
		}
		r.dates[f.Name] = w.At
	default:
		r.number(f, text)
	}
}

func (r *reader) number(f Field, text string) {
	v, err := f.value(text)
	if err == nil && v == 0 && !f.zeroOK {
		err = fmt.Errorf("%s must be more than zero, like %s.", upperFirst(f.Label), f.Sample)
	}
	if err == nil && v < 0 && !f.negativeOK {
		err = fmt.Errorf("%s cannot be negative; type it like %s.", upperFirst(f.Label), f.Sample)
	}
	if err != nil {
		r.problems.Add(f.Name, err.Error())
		return
	}
	r.numbers[f.Name] = v
}

// value reads a number in the field's own unit.
func (f Field) value(text string) (float64, error) {
	switch f.Accepts {
	case Volume:
		v, err := orNone(text, f.zeroOK, chem.ParseVolume)
		return float64(v), err
	case Mass:
		v, err := orNone(text, f.zeroOK, chem.ParseMass)
		return float64(v), err
	case Temperature:
		v, err := chem.ParseTemperature(text)
		return float64(v), err
	case Concentration:
		return parseConcentration(text)
	}
	return parseWith(text, f.suffixes)
}

// orNone lets a quantity be nothing at all, "0 mL", which the parsers refuse.
func orNone[T ~float64](text string, zeroOK bool, parse func(string) (T, error)) (T, error) {
	digits := strings.TrimLeft(text, "0123456789.,")
	if number := text[:len(text)-len(digits)]; zeroOK && strings.Contains(number, "0") && strings.Trim(number, "0.,") == "" {
		if _, err := chem.ParseNumber(number); err == nil {
			_, err = parse("1" + digits) // the unit must be there all the same
			return 0, err
		}
	}
	return parse(text)
}

var concentrationUnits = []string{"mol/L", "M", "N"}

// parseConcentration reads the base's concentration. Sodium hydroxide takes
// one proton, so a normality equals the concentration in mol/L.
func parseConcentration(text string) (float64, error) {
	text = strings.TrimSpace(text)
	for _, unit := range concentrationUnits {
		if number, ok := cutSuffixFold(text, unit); ok {
			return chem.ParseNumber(strings.TrimSpace(number))
		}
	}
	return 0, fmt.Errorf("%q has no unit; write the concentration with mol/L, M or N, like \"0.1 mol/L\".", clip(text))
}

// parseWith reads a number that may carry one of the suffixes.
func parseWith(text string, suffixes []string) (float64, error) {
	text = strings.TrimSpace(text)
	for _, unit := range suffixes {
		if number, ok := cutSuffixFold(text, unit); ok {
			return chem.ParseNumber(strings.TrimSpace(number))
		}
	}
	return chem.ParseNumber(text)
}

func (r *reader) list(f Field, text string) {
	var lines []string
	for line := range strings.SplitSeq(text, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			lines = append(lines, line)
		}
	}
	if len(lines) > maxLines {
		r.problems.Add(f.Name, fmt.Sprintf("These are %d lines; %d fit into one sum.", len(lines), maxLines))
		return
	}
	for i, line := range lines {
		if len(line) > maxText {
			r.problems.Add(f.Name, fmt.Sprintf("Line %d is too long; one entry a line, like %s.", i+1, quoted(f.Sample)))
			return
		}
		v, err := f.parse(line, r.now)
		if err != nil {
			message := err.Error()
			if len(lines) > 1 {
				message = fmt.Sprintf("Line %d: %s", i+1, message)
			}
			r.problems.Add(f.Name, message)
			continue
		}
		r.lists[f.Name] = append(r.lists[f.Name], v)
	}
}

func (r *reader) has(name string) bool {
	_, number := r.numbers[name]
	_, date := r.dates[name]
	return number || date || len(r.lists[name]) > 0 || r.words[name] != ""
}

// num is a number as the quantity that it is, 0 when nothing was typed.
func num[T ~float64](r *reader, name string) T { return T(r.numbers[name]) }

// maybe is a number, nil when nothing was typed.
func maybe[T ~float64](r *reader, name string) *T {
	v, ok := r.numbers[name]
	if !ok {
		return nil
	}
	t := T(v)
	return &t
}

// orElse is a number, or what stands for none.
func orElse[T ~float64](r *reader, name string, none T) T {
	if v, ok := r.numbers[name]; ok {
		return T(v)
	}
	return none
}

func entries[T any](r *reader, name string) []T {
	var out []T
	for _, v := range r.lists[name] {
		out = append(out, v.(T))
	}
	return out
}

// refuse is a problem of one input that only the whole sum shows.
func refuse(field, format string, args ...any) (Result, error) {
	return Result{}, larder.Refuse(field, fmt.Sprintf(format, args...))
}

// oneOf refuses more than one, or none, of several ways to say a thing.
func (r *reader) oneOf(ask string, names ...string) (string, error) {
	var given []string
	for _, n := range names {
		if r.has(n) {
			given = append(given, n)
		}
	}
	switch len(given) {
	case 0:
		return "", larder.Refuse(names[0], ask)
	case 1:
		return given[0], nil
	}
	return "", larder.Refuse(given[1], ask)
}

func cutSuffixFold(s, suffix string) (string, bool) {
	if n := len(s) - len(suffix); n >= 0 && strings.EqualFold(s[n:], suffix) {
		return s[:n], true
	}
	return s, false
}

func upperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if strings.HasPrefix(s, "pH") || n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

func lowerFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 || (len(s) > n && unicode.IsUpper([]rune(s)[1])) { // "°Bx", "ABV"
		return s
	}
	return string(unicode.ToLower(r)) + s[n:]
}

// clip keeps an echoed input short enough for a sentence.
func clip(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, strings.ToValidUTF8(strings.TrimSpace(s), "?"))
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// plainError gives the sentence of a parser's error.
func plainError(err error) error {
	var field *chem.FieldError
	if errors.As(err, &field) {
		return errors.New(field.Message)
	}
	return err
}
