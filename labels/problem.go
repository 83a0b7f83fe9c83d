package labels

import (
	"errors"
	"fmt"

	"cruet/internal/larder"
)

// refuse says in a sentence or two what is wrong with what was asked of this
// package, as larder.Problems; field is the name of the input.
func refuse(field, format string, args ...any) error {
	return larder.Refuse(field, fmt.Sprintf(format, args...))
}

// LabelError says which of several labels cannot be printed. Nothing was. It
// is larder.Problems too, with the label's number in the message.
type LabelError struct {
	Index, Of int // Index counts from 0
	Err       error
}

func (e *LabelError) Error() string {
	return fmt.Sprintf("Label %d of %d: %v", e.Index+1, e.Of, e.Err)
}

// Unwrap gives the problem first, so that it is told with the label's number.
func (e *LabelError) Unwrap() []error {
	return []error{larder.Refuse(fieldOf(e.Err), e.Error()), e.Err}
}

func fieldOf(err error) string {
	var p larder.Problems
	if errors.As(err, &p) && len(p) > 0 {
		return p[0].Field
	}
	return ""
}
