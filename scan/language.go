package scan

import (
	"net/http"
	"sync"

	"golang.org/x/text/language"
)

// tongue is a language in which pages come. English is the one in which they are
// written; any other is a catalogue of words (see catalogue.go), read when a phone
// first asks for that language.
type tongue struct {
	tag  language.Tag
	name string // in itself
	cat  func() *catalogue
}

// languages are those that a phone may choose, English first.
var languages = []tongue{
	{tag: language.English, name: "English"},
	{tag: language.German, name: "Deutsch", cat: sync.OnceValue(func() *catalogue { return loadCatalogue("de") })},
}

// languageCookie keeps a choice that overrules the browser's.
const languageCookie = "lang"

var matcher = func() language.Matcher {
	var tags []language.Tag
	for _, l := range languages {
		tags = append(tags, l.tag)
	}
	return language.NewMatcher(tags)
}()

// languageOf is the language chosen on this phone, else the one that its browser
// asks for, as far as there is one.
func languageOf(r *http.Request) tongue {
	chosen := ""
	if c, err := r.Cookie(languageCookie); err == nil {
		chosen = c.Value
	}
	_, i := language.MatchStrings(matcher, chosen, r.Header.Get("Accept-Language"))
	return languages[i]
}

// others names the languages that this one is not.
func (t tongue) others() string {
	out := ""
	for _, l := range languages {
		if l.tag != t.tag {
			if out != "" {
				out += " · "
			}
			out += l.name
		}
	}
	return out
}

// Words are the words of a refusal that is made before a page is asked for.
func Words(r *http.Request) (lang string, tr func(string) string) {
	t := languageOf(r)
	if t.cat == nil {
		return t.tag.String(), func(s string) string { return s }
	}
	return t.tag.String(), t.cat().say
}
