package larder

import (
	"fmt"
	"strconv"
	"strings"

	"cruet/internal/lazy"
)

// SubjectKinds lists what a trace may start from.
func SubjectKinds() []SubjectKind {
	return []SubjectKind{SubjectJar, SubjectBottle, SubjectLot, SubjectBatch, SubjectNamed}
}

// ParseSubjectKind reads the kind of a subject; empty means any.
func ParseSubjectKind(text string) (SubjectKind, error) {
	if text == "" {
		return "", nil
	}
	for _, k := range SubjectKinds() {
		if string(k) == text {
			return k, nil
		}
	}
	return "", Refuse("kind", fmt.Sprintf("%q is nothing that can be traced: jar, bottle, lot, batch, or named for what went in.", text))
}

// String names a subject: "jar K7RM40", "lot L261125A", "cider".
func (s Subject) String() string {
	switch s.Kind {
	case SubjectNamed:
		return s.ID
	case SubjectBottle:
		return "bottle " + Tag(s.ID).Spaced()
	}
	return string(s.Kind) + " " + s.ID
}

// Choice is one of several things that a text may mean.
type Choice struct {
	Subject Subject `json:"subject"`
	Words   string  `json:"words"`
}

// SeveralError says that a text names more than one thing.
type SeveralError struct {
	Typed   string
	Choices []Choice
	More    bool // there are others besides
}

func (e *SeveralError) Error() string {
	words := make([]string, len(e.Choices))
	for i, c := range e.Choices {
		words[i] = c.Words
		if c.Subject.Kind == SubjectNamed {
			words[i] = c.Words + " (an ingredient)"
		}
	}
	list := strings.Join(words, "; ")
	if e.More {
		list += "; and more"
	}
	return fmt.Sprintf("%q names several things: %s. Say which.", e.Typed, list)
}

// Hint says how to tell them apart when typing.
func (e *SeveralError) Hint() string {
	for _, c := range e.Choices {
		if c.Subject.Kind == SubjectBatch {
			return fmt.Sprintf("Type a batch as \"batch %s\", or more of the name; the kind \"named\" asks for what went in.", c.Subject.ID)
		}
	}
	return "Type the whole name."
}

var (
	lotMark    = lazy.RE(`(?i)^L\d{6}[A-Z]+$`)
	batchWords = lazy.RE(`(?i)^batch\s+#?(\d{1,15})$`)
	// tagLike is a text that was meant as a tag: one word of a tag's length, or
	// nearly, that has a digit, or a bottle's tag in its groups.
	tagLike = lazy.RE(`^[0-9A-Za-z]{5,8}$|^[0-9A-Za-z]{13,17}$|^[0-9A-Za-z]{4,6}[- ][0-9A-Za-z]{4,6}[- ][0-9A-Za-z]{4,6}$`)
)

// BatchNumber reads "batch 3", or a bare number when a batch is asked for.
func BatchNumber(text string, kind SubjectKind) (int64, bool) {
	if m := batchWords().FindStringSubmatch(text); m != nil {
		text, kind = m[1], SubjectBatch
	}
	n, err := strconv.ParseInt(text, 10, 64)
	return n, err == nil && kind == SubjectBatch
}

// DamagedTag tells what is wrong with a text that was meant as a tag, and is nil
// for any other text and for a right tag.
func DamagedTag(text string) error {
	if !tagLike().MatchString(text) || lotMark().MatchString(text) || !strings.ContainsAny(text, "0123456789") {
		return nil
	}
	_, _, err := ParseTag(text)
	return err
}
