package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// Answer is an error as a client gets it, in the terms of RFC 9457: the pages
// show it in words, the API as application/problem+json.
type Answer struct {
	Status   int
	Kind     Kind
	Title    string          // what went wrong, for a person
	Detail   string          // what to do about it
	Problems larder.Problems // field by field, when the input is at fault
}

// Kind is what sort of problem an Answer tells of, for programs.
type Kind string

// The kinds of problem that an error can be.
const (
	InvalidInput Kind = "invalid-input"
	MistypedTag  Kind = "mistyped-tag"
	NotFound     Kind = "not-found"
	KeyReused    Kind = "key-reused"
	TooLarge     Kind = "too-large"
	TookTooLong  Kind = "took-too-long"
	NotPaired    Kind = "not-paired"
	SayAgain     Kind = "say-the-passphrase"
	TooOften     Kind = "too-often"
	CrossSite    Kind = "cross-site"
	OtherName    Kind = "other-name"
	Failed       Kind = "failed"
	DiskFull     Kind = "disk-full"
	Unwritable   Kind = "unwritable"
	Busy         Kind = "busy"
)

// AnswerTo is the one place where an error becomes an answer. What a person can
// act on is told; everything else is logged and told only as "nothing was saved".
func AnswerTo(err error) Answer {
	var problems larder.Problems
	var field *chem.FieldError
	var tag *larder.TagError
	var missing *larder.NotFoundError
	var conflict *larder.ConflictError
	var tooLarge *http.MaxBytesError
	var several *larder.SeveralError
	var station *larder.StationError
	var access *larder.AccessError
	switch {
	case errors.As(err, &access) && access.Need == larder.NeedPassphrase:
		return Answer{http.StatusForbidden, SayAgain, "Say the passphrase", access.Error(), nil}
	case errors.As(err, &access):
		return Answer{http.StatusForbidden, NotPaired, "This phone is not paired", access.Error(), nil}
	case errors.As(err, &problems):
		return Answer{http.StatusUnprocessableEntity, InvalidInput, "Not saved yet", problems.Error(), problems}
	case errors.As(err, &field):
		return Answer{http.StatusUnprocessableEntity, InvalidInput, "Not saved yet", field.Message, larder.Problems{{Field: field.Field, Message: field.Message}}}
	case errors.As(err, &tag):
		return Answer{http.StatusNotFound, MistypedTag, "This tag is mistyped", tag.Reason, larder.Problems{{Field: "tag", Message: tag.Reason}}}
	case errors.As(err, &missing):
		return Answer{http.StatusNotFound, NotFound, "Not in this kitchen", missing.Error(), nil}
	case errors.As(err, &several):
		text := several.Error() + " " + several.Hint()
		return Answer{http.StatusUnprocessableEntity, InvalidInput, "This names several things", text, larder.Problems{{Field: "of", Message: text}}}
	case errors.As(err, &conflict):
		// 422, not 409: draft-ietf-httpapi-idempotency-key-header keeps 409 for a
		// repeat that overtakes the first, which may be sent again; this may not.
		return Answer{http.StatusUnprocessableEntity, KeyReused, "Sent twice with a change", conflict.Error(), nil}
	case errors.As(err, &station):
		slog.Error("the records could not be written", "fault", station.Fault, "error", station.Err)
		switch station.Fault {
		case larder.DiskFull:
			return Answer{http.StatusInsufficientStorage, DiskFull, station.Title(), station.Advice(), nil}
		case larder.Busy:
			return Answer{http.StatusServiceUnavailable, Busy, station.Title(), station.Advice(), nil}
		}
		return Answer{http.StatusInternalServerError, Unwritable, station.Title(), station.Advice(), nil}
	case errors.As(err, &tooLarge) && tooLarge.Limit > MaxBodyBytes:
		return Answer{http.StatusRequestEntityTooLarge, TooLarge, "Too much at once", fmt.Sprintf("More than %d MB arrived. Send one picture of 20 MB at most; set the camera to a smaller size for that.", tooLarge.Limit>>20), nil}
	case errors.As(err, &tooLarge):
		return Answer{http.StatusRequestEntityTooLarge, TooLarge, "Too much at once", "This is larger than the page accepts. Shorten the note and send it again.", nil}
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		return Answer{http.StatusServiceUnavailable, TookTooLong, "It took too long", "Nothing was saved. Send it again; it will be saved once.", nil}
	}
	slog.Error("a request failed", "error", err)
	return unexpected
}

// unexpected is the answer to what nobody foresaw.
var unexpected = Answer{http.StatusInternalServerError, Failed, "Something failed on the station", "Nothing was saved. Send it again; if it fails again, look at the station's terminal for the reason.", nil}
