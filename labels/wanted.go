package labels

import (
	"slices"
	"strings"
)

// CodeKind says what a bottle's code carries.
type CodeKind string

// The kinds of code. Link opens the bottle's page; Facts is the label's facts
// themselves, which any phone shows without a network.
const (
	Link  CodeKind = "link"
	Facts CodeKind = "facts"
)

// ParseCodeKind reads a kind; empty text is the empty kind, see Wanted.
func ParseCodeKind(text string) (CodeKind, error) {
	switch k := CodeKind(strings.ToLower(strings.TrimSpace(text))); k {
	case "", Link, Facts:
		return k, nil
	}
	return "", refuse("code", "A bottle's code is a link or facts, not %q.", text)
}

// ParseWanted reads what a maker chose: rules us, eu, or plain (as is empty text),
// and the kind of code.
func ParseWanted(rules, code string, sale bool) (Wanted, error) {
	w := Wanted{Sale: sale}
	var err error
	if w.Code, err = ParseCodeKind(code); err != nil {
		return w, err
	}
	if rules = strings.TrimSpace(rules); rules == "" || strings.EqualFold(rules, "plain") {
		w.Plain = true
		return w, nil
	}
	w.Rules, err = RuleSetByID(rules)
	return w, err
}

// Print is the label in a layout, bottle or neck, as it was wanted.
func (d Draft) Print(layout string) Label {
	switch {
	case layout == "neck":
		return d.Neck()
	case d.plain:
		return d.Plain()
	}
	return d.Label
}

// Plain is the label without the heights and places that rules ask for. It says
// the same cautions; how to keep it goes before any of those when there is no room.
func (d Draft) Plain() BottleLabel {
	l := d.Label.BottleLabel
	l.Net = d.Net
	if d.Label.Contains != "" { // sulphites and gluten, with the emphasis that the rules ask for
		l.Cautions = append(slices.Clone(l.Cautions), strings.TrimSuffix(d.Label.Contains, "."))
	}
	for _, c := range d.cautions {
		if !c.Grave() {
			l.Minor = append(l.Minor, c.Text)
		}
	}
	if keep := strings.TrimSuffix(d.Label.Keep, "."); keep != "" {
		l.Minor = append(l.Minor, keep)
	}
	return l
}

// Neck is a strip for a bottle's neck: what the plain label says.
func (d Draft) Neck() NeckLabel { return NeckLabel{d.Plain()} }

// Texts are what the label says, from top to end, as it was wanted.
func (d Draft) Texts() []string {
	l := d.Label
	list := join(l.headParas(), []para{{text: l.Net}}, l.info())
	if d.plain {
		p := d.Plain()
		list = join(p.head(false), p.content(), p.foot())
	}
	var out []string
	for _, p := range list {
		if text := strings.ReplaceAll(p.text, unbroken, " "); text != "" {
			out = append(out, text)
		}
	}
	return out
}
