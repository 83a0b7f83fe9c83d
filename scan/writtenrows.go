package scan

import (
	"bytes"
	"fmt"
	"html/template"
	"strings"
	"sync"
)

// A row of a history says the same for as long as its words do, and to write it
// through a template costs more than all that leads to the words. So rows that were
// written are kept, by all that stands in them and the language; of a page that is
// made after one more entry was logged only that one is written.
var written = struct {
	sync.Mutex
	rows map[string]template.HTML
}{rows: map[string]template.HTML{}}

// mostRows bounds them, at some five hundred bytes and a key each.
const mostRows = 4000

// writtenRows are the rows of a history as the jar's page shows them.
func writtenRows(lines []line, lang string) (template.HTML, error) {
	out := make([]template.HTML, len(lines))
	keys := make([]string, len(lines))
	var buf []byte
	written.Lock()
	for i := range lines {
		buf = lines[i].appendKey(append(buf[:0], lang...))
		if row, ok := written.rows[string(buf)]; ok {
			out[i] = row
		} else {
			keys[i] = string(buf)
		}
	}
	written.Unlock()
	for i, key := range keys {
		if key == "" {
			continue
		}
		var b bytes.Buffer
		if err := pageIn(lang, "jar")().ExecuteTemplate(&b, "historyrow", lines[i]); err != nil {
			return "", fmt.Errorf("scan: a row of the history: %w", err)
		}
		out[i] = template.HTML(b.String()) // written by html/template
		keepRow(key, out[i])
	}
	var all strings.Builder
	for _, row := range out {
		all.WriteString(string(row))
	}
	return template.HTML(all.String()), nil // of rows that were escaped
}

func keepRow(key string, row template.HTML) {
	written.Lock()
	defer written.Unlock()
	for old := range written.rows { // whichever; it is written again when it is shown
		if len(written.rows) < mostRows {
			break
		}
		delete(written.rows, old)
	}
	written.rows[key] = row
}

// appendKey appends all that the row's template prints, in a form that no other row
// has.
func (l *line) appendKey(key []byte) []byte {
	for _, s := range [...]string{l.When, l.By, l.Logged, l.Title, l.Note, l.StruckWhy, l.StruckBy, l.StrikeURL} {
		key = appendPart(key, s)
	}
	key = append(key, byte(len(l.Details)), byte(len(l.Details)>>8), byte(len(l.Links)), byte(len(l.Links)>>8), bit(l.Struck), bit(l.Shot != nil))
	for _, s := range l.Details {
		key = appendPart(key, s)
	}
	for _, one := range l.Links {
		key = appendPart(appendPart(key, one.URL), one.Text)
	}
	if s := l.Shot; s != nil {
		key = fmt.Appendf(key, "%q %q %q %v %v", s.URL, s.Src, s.Alt, s.WidthPX, s.HeightPX)
	}
	return key
}

func appendPart(key []byte, s string) []byte {
	return append(append(key, byte(len(s)), byte(len(s)>>8), byte(len(s)>>16), byte(len(s)>>24)), s...)
}

func bit(on bool) byte {
	if on {
		return 1
	}
	return 0
}
