package scan

// option is one of a choice. Pick names it for the style sheet, which shows
// the fields that matter for the picked one.
type option struct {
	Value, Text, Pick string
	Chosen            bool
	Group             string // under which heading it stands in a pulled-down list
}

type optionGroup struct {
	Name    string // empty: no heading
	Options []option
}

// Groups are the options under their headings, in the order that they stand.
func (f field) Groups() []optionGroup {
	var out []optionGroup
	for _, o := range f.Options {
		if len(out) == 0 || out[len(out)-1].Name != o.Group {
			out = append(out, optionGroup{Name: o.Group})
		}
		last := &out[len(out)-1]
		last.Options = append(last.Options, o)
	}
	return out
}
