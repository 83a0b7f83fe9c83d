package verdict

// Standing says how a source stands behind a rule or a caution.
type Standing string

// Read: the published text, or an excerpt of it, was read when the row was
// written. Recalled: written from memory of that source; look it up before
// relying on it. OwnRule: no published source; our own choice or common
// practice.
const (
	Read     Standing = "read"
	Recalled Standing = "recalled from memory"
	OwnRule  Standing = "own rule, no published source"
)

// Source is where a rule or caution comes from.
type Source struct {
	Body     string   `json:"body"`              // who published it
	Title    string   `json:"title"`             // of the publication
	Section  string   `json:"section,omitempty"` // where in it
	Standing Standing `json:"standing"`
}

// String is "FDA, CPG Sec. 525.825 Vinegar, Definitions (read)".
func (s Source) String() string {
	out := s.Title
	if s.Body != "" {
		out = s.Body + ", " + out
	}
	if s.Section != "" {
		out += ", " + s.Section
	}
	return out + " (" + string(s.Standing) + ")"
}

func read(body, title, section string) Source     { return Source{body, title, section, Read} }
func recalled(body, title, section string) Source { return Source{body, title, section, Recalled} }
func own(title string) Source                     { return Source{"Cruet", title, "", OwnRule} }
