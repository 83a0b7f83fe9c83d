package scan

import (
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"cruet/internal/lazy"
)

//go:embed words/*.json
var wordFiles embed.FS

// catalogue is one language: the pages' own words, which are replaced when the
// templates are parsed, and the sentences that Go makes, which are replaced when
// they are shown.
type catalogue struct {
	Pages     map[string]string `json:"pages"`     // a piece of a template, actions and all
	Sentences map[string]string `json:"sentences"` // an exact text, or one with {} for each part that varies, {#} for a number
	Months    map[string]string `json:"months"`    // "Oct"

	patterns map[string][]pattern // by first word; "" for those that begin with {}
	seen     sync.Map             // what was translated before
	kept     atomic.Int64
}

// pattern is a sentence with parts that vary.
type pattern struct {
	english func() *regexp.Regexp // compiled when a text may be it
	own     string
}

func loadCatalogue(name string) *catalogue {
	data, err := wordFiles.ReadFile("words/" + name + ".json")
	if err != nil {
		panic("scan: " + err.Error())
	}
	c := &catalogue{patterns: map[string][]pattern{}}
	if err := json.Unmarshal(data, c); err != nil {
		panic("scan: words of " + name + ": " + err.Error())
	}
	keys := make([]string, 0, len(c.Sentences))
	for key := range c.Sentences {
		if holeRE().MatchString(key) {
			keys = append(keys, key)
		}
	}
	// The pattern that says most comes first.
	slices.SortFunc(keys, func(a, b string) int {
		if d := len(b) - len(a); d != 0 {
			return d
		}
		return strings.Compare(a, b)
	})
	for _, key := range keys {
		first := firstWord(key)
		if holeRE().MatchString(first) {
			first = ""
		}
		c.patterns[first] = append(c.patterns[first], pattern{sync.OnceValue(func() *regexp.Regexp { return patternRE(key) }), c.Sentences[key]})
	}
	return c
}

// patternRE matches the sentences that a key with holes stands for.
func patternRE(key string) *regexp.Regexp {
	return regexp.MustCompile(`^` + holeRE().ReplaceAllStringFunc(regexp.QuoteMeta(key), func(hole string) string {
		if strings.Contains(hole, "#") {
			return `([<≈]?\d[^;,·]{0,14}?)`
		}
		return `((?:[^;.\n]|\.[^ ])+?)` // within one sentence
	}) + `$`)
}

// holeRE finds the holes of a pattern, as they stand in it and quoted: {} for
// any words, {#} for a number with its unit.
var holeRE = lazy.RE(`\\?\{#?\\?\}`)

func firstWord(text string) string {
	word, _, _ := strings.Cut(text, " ")
	return word
}

// mostKept bounds what the catalogue remembers of what makers wrote.
const mostKept = 20_000

// say translates what Go made. What is in no catalogue stays as it is, but for
// its numbers and dates.
func (c *catalogue) say(text string) string {
	if own, ok := c.seen.Load(text); ok {
		return own.(string)
	}
	own := text
	if trimmed := strings.TrimSpace(text); trimmed != "" {
		words, _ := c.find(trimmed)
		own = strings.Replace(text, trimmed, words, 1)
	}
	if c.kept.Add(1) < mostKept {
		c.seen.Store(text, own)
	}
	return own
}

// find translates a text; known tells that nothing of it stayed English.
func (c *catalogue) find(text string) (own string, known bool) {
	text = strings.TrimSpace(text)
	if own, ok := c.Sentences[text]; ok {
		return own, true
	}
	// A month alone, as on the axis of a drawing.
	if month, year, _ := strings.Cut(text, " "); c.Months[month] != "" && (year == "" || yearRE().MatchString(year)) {
		return strings.TrimSpace(c.Months[month] + " " + year), true
	}
	for _, p := range slices.Concat(c.patterns[firstWord(text)], c.patterns[""]) {
		m := p.english().FindStringSubmatch(text)
		if m == nil {
			continue
		}
		own := p.own
		for i, part := range m[1:] {
			words, _ := c.find(part)
			own = strings.ReplaceAll(own, fmt.Sprintf("{%d}", i+1), words)
		}
		return own, true
	}
	// Several things told in one line, or one after the other.
	for _, between := range []string{" · ", ". ", "; ", ", "} {
		parts := strings.Split(text, between)
		if len(parts) == 1 {
			continue
		}
		all := true
		for i := range parts {
			end := ""
			if between == ". " && i < len(parts)-1 {
				end = "."
			}
			words, ok := c.find(parts[i] + end)
			parts[i], all = strings.TrimSuffix(words, end), all && ok
		}
		// Half a sentence in each language reads worse than one in English.
		if all || between != ", " {
			return strings.Join(parts, between), all
		}
	}
	return c.numbers(text), !letterRE().MatchString(text)
}

var (
	dateRE    = lazy.RE(`\b(\d{1,2})([–-]\d{1,2})? (Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b`)
	yearRE    = lazy.RE(`^\d{4}$`)
	decimalRE = lazy.RE(`(^|[^\d.])(\d+)\.(\d+)($|[^\d.]|\.$)`)
)

// numbers writes dates and decimals as this language does.
func (c *catalogue) numbers(text string) string {
	text = dateRE().ReplaceAllStringFunc(text, func(date string) string {
		m := dateRE().FindStringSubmatch(date)
		day := m[1] + "."
		if m[2] != "" {
			day = m[1] + "." + m[2] + "."
		}
		return day + " " + c.Months[m[3]]
	})
	for range 2 { // neighbours share the character between them
		text = decimalRE().ReplaceAllString(text, "${1}${2},${3}${4}")
	}
	return text
}

// drawnRE finds the words of a drawing.
var drawnRE = lazy.RE(`(<(?:text|title|desc)\b[^>]*>|\saria-label=")([^<"]*)(</|")`)

// translate is what templates call on what they show.
func (c *catalogue) translate(value any) any {
	switch v := value.(type) {
	case string:
		return c.say(v)
	case template.HTML:
		return template.HTML(drawnRE().ReplaceAllStringFunc(string(v), func(s string) string {
			m := drawnRE().FindStringSubmatch(s)
			return m[1] + c.say(m[2]) + m[3]
		}))
	}
	if v := reflect.ValueOf(value); v.Kind() == reflect.String {
		return c.say(v.String())
	}
	return value
}
