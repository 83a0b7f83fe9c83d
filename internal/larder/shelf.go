package larder

import (
	"slices"
	"sort"
	"strings"
	"time"
)

// ShelfFilter says which jars of the shelf are asked for; the zero value asks
// for all.
type ShelfFilter struct {
	Stage Stage
	Place string // as written on the jar
	Batch int64  // 0: any
	Held  bool   // only those on hold
	Due   bool   // only those that want something now
	Text  string // part of a name or tag, in any case; each word must occur
}

// Match tells whether the jar is asked for, on now's day.
func (f ShelfFilter) Match(s ShelfJar, now time.Time) bool {
	switch {
	case f.Stage != "" && s.Jar.State.Stage != f.Stage,
		f.Place != "" && s.Jar.Place != f.Place,
		f.Batch != 0 && s.Batch.ID != f.Batch,
		f.Held && s.Jar.State.Hold == "",
		!f.matchText(s):
		return false
	}
	if !f.Due {
		return true
	}
	due := s.Batch.Due(s.Jar.State, now)
	return len(due) > 0 && due[0].Urgency > Coming
}

func (f ShelfFilter) matchText(s ShelfJar) bool {
	if f.Text == "" {
		return true
	}
	hay := strings.ToLower(s.Batch.Name + " " + s.Jar.Letter + " " + s.Jar.Place)
	tag := string(s.Jar.Tag)
	for _, word := range strings.Fields(strings.ToLower(f.Text)) {
		if len(word) == 1 { // a jar's letter, or a number in a name: in a tag it says nothing
			if !slices.Contains(strings.Fields(hay), word) {
				return false
			}
			continue
		}
		if !strings.Contains(hay, word) && !strings.Contains(tag, asTag(word)) {
			return false
		}
	}
	return true
}

// asTag is a part of a tag as it is printed: upper case, without the
// dashes of its writing, look-alikes read as what labels print.
func asTag(word string) string {
	var b strings.Builder
	for _, r := range strings.ToUpper(word) {
		if as, ok := lookAlikes[r]; ok {
			r = as
		}
		if r != '-' {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// Filter keeps the jars asked for, in their order.
func (f ShelfFilter) Filter(shelf []ShelfJar, now time.Time) []ShelfJar {
	out := make([]ShelfJar, 0, len(shelf))
	for _, s := range shelf {
		if f.Match(s, now) {
			out = append(out, s)
		}
	}
	return out
}

// Places lists where the jars stand, by name.
func Places(shelf []ShelfJar) []string {
	seen := map[string]bool{}
	var out []string
	for _, s := range shelf {
		if s.Jar.Place != "" && !seen[s.Jar.Place] {
			seen[s.Jar.Place] = true
			out = append(out, s.Jar.Place)
		}
	}
	sort.Strings(out)
	return out
}
