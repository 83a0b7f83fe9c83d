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

// Plain is the label without the heights and places that rules ask for.
func (d Draft) Plain() BottleLabel {
	l := d.Label.BottleLabel
	l.Net = d.Net
	l.Cautions = slices.Clone(d.cautions)
	if d.Label.Contains != "" && !slices.ContainsFunc(l.Cautions, func(c string) bool { return strings.EqualFold(c, strings.TrimSuffix(d.Label.Contains, ".")) }) {
		l.Cautions = append(l.Cautions, strings.TrimSuffix(d.Label.Contains, "."))
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
