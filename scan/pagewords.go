package scan

import (
	"strings"

	"cruet/internal/lazy"
)

// pieces walks a template's source and hands out each piece of its words: text
// between tags and control actions, and the attributes that are shown or read
// out. A piece may hold actions that print something. What swap returns takes
// the piece's place; printing tells whether an action prints words, which are
// then handed to shown.
type pieces struct {
	swap  func(piece string) string
	shown func(action string) string
}

var (
	controlRE = lazy.RE(`^\{\{-?\s*(?:if|else|end|with|range|define|template|block|break|continue|/\*|\$\w+\s*:?=)`)
	// A part that is put into a tag holds attributes, not words.
	attributeRE = lazy.RE(`^(?:aria-\w+="|autofocus$)`)
	letterRE    = lazy.RE(`\pL`)
	actionRE    = lazy.RE(`\{\{.*?\}\}`)
	wordyRE     = lazy.RE(`(\s(?:aria-label|placeholder|title|alt|data-look|data-drop|data-silent|data-keep|data-out|data-meant|data-nan)=")([^"]*(?:\{\{[^}]*\}\}[^"]*)*)(")`)
)

// rewrite gives the template's source with its words changed.
func (p pieces) rewrite(source string) string {
	var out, text strings.Builder
	tag := ""
	flush := func() {
		if verbatimRE().MatchString(tag) && !letterRE().MatchString(actionRE().ReplaceAllString(text.String(), "")) {
			out.WriteString(text.String())
		} else {
			out.WriteString(p.piece(text.String()))
		}
		text.Reset()
	}
	for len(source) > 0 {
		switch {
		case strings.HasPrefix(source, "{{"):
			end := strings.Index(source, "}}") + 2
			action := source[:end]
			source = source[end:]
			if controlRE().MatchString(action) {
				flush()
				out.WriteString(action)
			} else {
				text.WriteString(action)
			}
		case source[0] == '<':
			flush()
			end := tagEnd(source)
			tag = source[:end]
			out.WriteString(wordyRE().ReplaceAllStringFunc(source[:end], func(s string) string {
				m := wordyRE().FindStringSubmatch(s)
				return m[1] + p.attribute(m[2]) + m[3]
			}))
			source = source[end:]
		default:
			text.WriteByte(source[0])
			source = source[1:]
		}
	}
	flush()
	return out.String()
}

// tagEnd is where the tag at the start of source ends: at the first > outside
// quotes and actions.
func tagEnd(source string) int {
	quoted := false
	for i := 1; i < len(source); i++ {
		switch {
		case strings.HasPrefix(source[i:], "{{"):
			i += strings.Index(source[i:], "}}") + 1
		case source[i] == '"':
			quoted = !quoted
		case source[i] == '>' && !quoted:
			return i + 1
		}
	}
	return len(source)
}

// attribute rewrites a value in which control actions may stand.
func (p pieces) attribute(value string) string {
	var out, text strings.Builder
	for {
		at := actionRE().FindStringIndex(value)
		if at == nil {
			text.WriteString(value)
			break
		}
		text.WriteString(value[:at[0]])
		action := value[at[0]:at[1]]
		value = value[at[1]:]
		if controlRE().MatchString(action) {
			out.WriteString(p.piece(text.String()) + action)
			text.Reset()
			continue
		}
		text.WriteString(action)
	}
	return out.String() + p.piece(text.String())
}

// piece swaps one piece, keeping the space round it, and lets what its actions
// print be translated.
func (p pieces) piece(text string) string {
	trimmed := strings.TrimSpace(text)
	if trimmed == "" {
		return text
	}
	before, after, _ := strings.Cut(text, trimmed)
	if attributeRE().MatchString(trimmed) {
		return text
	}
	if letterRE().MatchString(actionRE().ReplaceAllString(trimmed, "")) {
		trimmed = p.swap(trimmed)
	}
	return before + actionRE().ReplaceAllStringFunc(trimmed, p.shown) + after
}

// wordless are actions that print what makers wrote, what is no word, or what is in
// the language already: it must come out as it was written.
var wordlessRE = lazy.RE(`\b(?:URL|ID|Tag|By|Note|Batch|Kitchen|Letter|Typed|Value|Key|Page|Path|NowMS|Lang|Main|Other|Place|Written)$`)

// verbatimRE are the tags within which stands what a maker wrote.
var verbatimRE = lazy.RE(`^<(?:q|textarea)\b|class="(?:words|tag)`)

// shownIn wraps a printing action into the translating function.
func shownIn(action string) string {
	inner := strings.TrimSpace(strings.Trim(action, "{}-"))
	if wordlessRE().MatchString(inner) {
		return action
	}
	return "{{tr (" + inner + ")}}"
}

// localise is a page's source in the catalogue's language. Pieces that it does
// not have stay English and are told.
func (c *catalogue) localise(source string) (own string, missing []string) {
	own = pieces{shown: shownIn, swap: func(piece string) string {
		if words, ok := c.Pages[piece]; ok {
			return words
		}
		missing = append(missing, piece)
		return piece
	}}.rewrite(source)
	return own, missing
}
