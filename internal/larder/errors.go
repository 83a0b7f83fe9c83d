package larder

import (
	"errors"
	"strings"

	"cruet/internal/chem"
)

// Problem is one thing wrong with what was typed: Field is the name of the
// input (empty when it concerns the whole act), Message a sentence that says
// what to do.
type Problem struct {
	Field   string `json:"field"`
	Message string `json:"message"`
}

// Problems are all that is wrong with one act. Nothing was saved.
type Problems []Problem

// Error joins the messages, one sentence after the other.
func (p Problems) Error() string {
	messages := make([]string, len(p))
	for i, one := range p {
		messages[i] = one.Message
	}
	return strings.Join(messages, " ")
}

// maxProblems is more than anyone mends at once; a form of a million mistakes
// must not make an answer of a million sentences.
const maxProblems = 100

// Add notes a problem with one field.
func (p *Problems) Add(field, message string) {
	if len(*p) < maxProblems {
		*p = append(*p, Problem{Field: field, Message: message})
	}
}

// AddError notes err under field. A chem.FieldError or Problems keeps its own
// field names, put behind prefix when that is not empty.
func (p *Problems) AddError(field string, err error) {
	var many Problems
	var one *chem.FieldError
	switch {
	case err == nil:
	case errors.As(err, &many):
		*p = append(*p, many...)
	case errors.As(err, &one) && field == "" && one.Field != "":
		p.Add(one.Field, one.Message)
	default:
		p.Add(field, err.Error())
	}
}

// Err is p as an error, or nil when there is nothing wrong.
func (p Problems) Err() error {
	if len(p) == 0 {
		return nil
	}
	return p
}

// Refuse is a single Problem as an error.
func Refuse(field, message string) error {
	return Problems{{Field: field, Message: message}}
}

// NotFoundError says that the named thing is not in this kitchen's records.
type NotFoundError struct {
	What string // "jar", "bottle", "lot", "entry"
	ID   string
}

func (e *NotFoundError) Error() string {
	return "There is no " + e.What + " " + e.ID + " in this kitchen's records. Check the label, or look for it on the shelf."
}

// ConflictError says that an act's key was already used for something else.
type ConflictError struct{ Key string }

func (e *ConflictError) Error() string {
	return "The key " + e.Key + " was already used for a different entry. Open the page afresh and send it again; nothing was saved this time."
}

// Fault is why the station could not write its records.
type Fault string

// The faults that somebody at the station's computer can mend.
const (
	DiskFull  Fault = "disk full"
	ReadOnly  Fault = "read-only"
	DiskFails Fault = "disk fails"
	Busy      Fault = "busy" // another program writes for longer than anybody waits
)

// StationError says that the records could not be written, for a reason that
// lies with the station's computer and not with what was sent.
type StationError struct {
	Fault Fault
	Err   error // for the log; it may name paths
}

func (e *StationError) Error() string { return e.Title() + ". " + e.Advice() }

func (e *StationError) Unwrap() error { return e.Err }

// Title says what is the matter.
func (e *StationError) Title() string {
	switch e.Fault {
	case DiskFull:
		return "The station's disk is full"
	case ReadOnly:
		return "The station may not write its records"
	case Busy:
		return "The station's records are busy"
	}
	return "The station's disk failed"
}

// Advice says what to do. What failed at the last moment may be on disk all the
// same, so it never says that nothing was saved.
func (e *StationError) Advice() string {
	const again = " Then send this again; it will be saved once."
	switch e.Fault {
	case DiskFull:
		return "This is not saved yet. Make room on the station's computer." + again
	case ReadOnly:
		return "This is not saved yet. The folder of the records or its disk is read-only: let the station write there." + again
	case Busy:
		return "This is not saved yet. Another program is writing much at once, such as a long table of readings. Wait a minute." + again
	}
	return "This is not saved for certain. Copy the folder of the records to another disk, and run cruet check." + again
}
