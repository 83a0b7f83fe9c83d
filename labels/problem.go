package labels

import "fmt"

// Problem is one thing wrong with what was asked of this package: Field is the
// name of the input, Message a sentence or two that say what to do.
type Problem struct{ Field, Message string }

func (p *Problem) Error() string { return p.Message }

func refuse(field, format string, args ...any) error {
	return &Problem{Field: field, Message: fmt.Sprintf(format, args...)}
}

// LabelError says which of several labels cannot be printed. Nothing was.
type LabelError struct {
	Index, Of int // Index counts from 0
	Err       error
}

func (e *LabelError) Error() string {
	return fmt.Sprintf("Label %d of %d: %v", e.Index+1, e.Of, e.Err)
}

func (e *LabelError) Unwrap() error { return e.Err }
