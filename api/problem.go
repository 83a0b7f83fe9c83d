package api

import (
	"errors"
	"fmt"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/validation"
	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/web"
)

// ProblemDetails is an error as RFC 9457 has it.
type ProblemDetails struct {
	Type   string           `json:"type" format:"uri-reference" example:"/api/v1/problems/invalid-input" doc:"Which sort of problem this is: an address that explains it."`
	Title  string           `json:"title" example:"Something in the request is wrong" doc:"The sort of problem in words; the same for every problem of this type."`
	Status int              `json:"status" example:"422" doc:"The HTTP status of this answer."`
	Detail string           `json:"detail" example:"The batch's name is missing." doc:"What is wrong this time and what to do about it."`
	Errors []larder.Problem `json:"errors,omitempty" doc:"What is wrong field by field."`
}

// Error is the detail.
func (p *ProblemDetails) Error() string { return p.Detail }

// GetStatus is the HTTP status.
func (p *ProblemDetails) GetStatus() int { return p.Status }

// ContentType is the media type of problem details.
func (p *ProblemDetails) ContentType(string) string { return "application/problem+json" }

// The kinds of problem that only a program's request can have, besides web's.
const (
	keyMissing   web.Kind = "key-missing"
	unreadable   web.Kind = "unreadable"
	unknownPath  web.Kind = "unknown-path"
	wrongMethod  web.Kind = "wrong-method"
	notJSON      web.Kind = "not-json"
	slowToArrive web.Kind = "slow-to-arrive"
)

// kinds says what every type of problem is. RFC 9457 wants one title a type.
var kinds = []struct {
	kind    web.Kind
	status  int
	title   string
	meaning string
}{
	{web.InvalidInput, http.StatusUnprocessableEntity, "Something in the request is wrong", "Nothing was saved. The errors say for each field what to do; correct them and send the request again, under the same or another key."},
	{web.MistypedTag, http.StatusNotFound, "This tag is mistyped", "A tag ends in a check character, and that does not fit the others. Compare the tag with its label."},
	{web.NotFound, http.StatusNotFound, "Not in this kitchen's records", "The tag, lot or entry is well written, but this kitchen has none of that name."},
	{web.KeyReused, http.StatusUnprocessableEntity, "This key was used for something else", "Each act has a key of its own. The key was sent before with a different request; nothing was saved this time. Make a new UUID if this is a new act."},
	{web.TooLarge, http.StatusRequestEntityTooLarge, "Too much at once", "The request is larger than this station accepts."},
	{web.TookTooLong, http.StatusServiceUnavailable, "It took too long", "Nothing was saved. Send the request again under the same key; it will be saved once."},
	{web.TooOften, http.StatusTooManyRequests, "Asked too often", "Wait as many seconds as the header Retry-After says, then send the request again. Nothing was saved."},
	{web.CrossSite, http.StatusForbidden, "Another site tried to send this", "A browser sent this from the page of another site. Nothing was saved. A program that is no browser sends neither Origin nor Sec-Fetch-Site."},
	{web.OtherName, http.StatusMisdirectedRequest, "This station does not go by that name", "Call the station by an address that its terminal shows, or add the name: cruet kitchen --host NAME."},
	{web.Failed, http.StatusInternalServerError, "Something failed on the station", "Nothing was saved, and the request is not to blame. The reason stands in the station's log."},
	{web.DiskFull, http.StatusInsufficientStorage, "The station's disk is full", "Make room on the station's computer and send the request again under the same key; it will be saved once."},
	{web.Unwritable, http.StatusInternalServerError, "The station cannot write its records", "The folder of the records is read-only, or its disk fails. Mend that and send the request again under the same key; it will be saved once."},
	{web.Busy, http.StatusServiceUnavailable, "The station's records are busy", "Another program on the station is writing much at once, such as a long table of readings. Nothing was saved. Wait a minute and send the request again under the same key; it will be saved once."},
	{web.NotPaired, http.StatusUnauthorized, "Not let in", "Send a token in the header Authorization, as \"Bearer TOKEN\". \"cruet phones add NAME\" on the station makes one. Nothing was saved."},
	{web.SayAgain, http.StatusForbidden, "The passphrase is wanted", "This phone has written nothing for long. Say the kitchen's passphrase on its page; a program's token is never asked for it. Nothing was saved."},
	{keyMissing, http.StatusBadRequest, "The idempotency key is missing", "Every act carries the header Idempotency-Key with a UUID made by the client, the same each time the act is sent, so that sending it twice saves it once."},
	{unreadable, http.StatusBadRequest, "The request cannot be read", "The body must be one JSON object, as the OpenAPI document describes it."},
	{notJSON, http.StatusUnsupportedMediaType, "The body is not JSON", "Send the body with Content-Type: application/json; a photo as multipart/form-data."},
	{slowToArrive, http.StatusRequestTimeout, "The request was too slow to arrive", "Nothing was saved. Send it again under the same key."},
	{unknownPath, http.StatusNotFound, "There is nothing at this address", "The OpenAPI document at " + DocumentPath + " lists all addresses."},
	{wrongMethod, http.StatusMethodNotAllowed, "This address does not take that method", "The OpenAPI document at " + DocumentPath + " lists the methods of each address."},
}

func problemOf(kind web.Kind, detail string, fields larder.Problems) *ProblemDetails {
	for _, k := range kinds {
		if k.kind == kind {
			if detail == "" {
				detail = k.meaning
			}
			return &ProblemDetails{Type: web.ProblemRoot + string(kind), Title: k.title, Status: k.status, Detail: detail, Errors: fields}
		}
	}
	panic("api: no such kind of problem: " + kind)
}

// problemFor is the answer to an error of a lower layer.
func problemFor(err error) *ProblemDetails {
	var own *ProblemDetails
	if errors.As(err, &own) {
		return own
	}
	a := web.AnswerTo(err)
	return problemOf(a.Kind, a.Detail, a.Problems)
}

// huma has these as variables of the package, not of one API: this is the only
// package that uses it.
func init() {
	huma.NewError = func(status int, message string, errs ...error) huma.StatusError {
		return newProblem(status, message, errs...)
	}
	huma.DefaultArrayNullable = false
	huma.ValidateStrictCasing = true // "pH" beside "ph" must not win silently
	validation.MsgUnexpectedProperty = "is not a field of this request; check its spelling in the OpenAPI document"
	validation.MsgExpectedRequiredProperty = missingMark + "%s"
	validation.MsgExpectedNumber = "must be a number, without quotes, in the unit that its name states"
	validation.MsgExpectedInteger = "must be a whole number, without quotes"
	validation.MsgExpectedString = "must be text in quotes"
	validation.MsgExpectedBoolean = "must be true or false, without quotes"
	validation.MsgExpectedArray = "must be a list in square brackets"
	validation.MsgExpectedObject = "must be an object in curly brackets"
	validation.MsgExpectedOneOf = "must be one of: %s"
	validation.MsgExpectedMinimumNumber = "must be %v at least"
	validation.MsgExpectedMaximumNumber = "must be %v at most"
	validation.MsgExpectedRFC4122UUID = "must be a UUID like 0193a8f0-7a1c-7c3e-9d55-3f2f8c1a4b6e (%v)"
}

// missingMark tells a missing property from other problems: huma gives only its
// parent's place and this message.
const missingMark = "missing: "

// newProblem is huma's hook for every error that it finds or that a handler
// returns.
func newProblem(status int, message string, errs ...error) *ProblemDetails {
	if status == 0 { // huma asks what an error looks like, for the document
		return &ProblemDetails{}
	}
	if len(errs) == 1 {
		if _, place := errs[0].(*huma.ErrorDetail); !place {
			return problemFor(errs[0])
		}
	}
	switch status {
	case http.StatusUnprocessableEntity:
		if bodyTooLarge(errs) {
			return problemFor(&http.MaxBytesError{Limit: maxPhotoBody})
		}
		return problemFor(fieldProblems(errs))
	case http.StatusRequestEntityTooLarge:
		return problemFor(&http.MaxBytesError{})
	case http.StatusUnsupportedMediaType:
		return problemOf(notJSON, "", nil)
	case http.StatusRequestTimeout:
		return problemOf(slowToArrive, "", nil)
	case http.StatusBadRequest:
		for _, err := range errs {
			message = err.(huma.ErrorDetailer).ErrorDetail().Message
		}
		return problemOf(unreadable, "The body must be one JSON object, and it is not: "+message+".", nil)
	}
	return problemFor(fmt.Errorf("api: status %d: %s: %w", status, message, errors.Join(errs...)))
}

func fieldProblems(errs []error) larder.Problems {
	var p larder.Problems
	for _, err := range errs {
		detailer, ok := err.(huma.ErrorDetailer)
		if !ok {
			p.AddError("", err)
			continue
		}
		d := detailer.ErrorDetail()
		_, field, _ := strings.Cut(d.Location, ".") // after body, query, path or header
		if name, ok := strings.CutPrefix(d.Message, missingMark); ok {
			field, d.Message = strings.TrimPrefix(field+"."+name, "."), "is missing"
		}
		p.Add(field, sentence(field, d.Message))
	}
	return p
}

// sentence puts what huma found wrong behind the field's name.
func sentence(field, message string) string {
	if field == "" {
		field = "The body"
	}
	if kind, ok := strings.CutPrefix(message, "invalid "); ok { // of a path or query
		message = "cannot be read as " + kind
	}
	return field + " " + strings.TrimSuffix(message, ".") + "."
}

// missing answers for paths under /api/ that gin has no route for.
func missing(c *gin.Context) {
	if c.FullPath() != "" || !strings.HasPrefix(c.Request.URL.Path, "/api/") {
		c.Next()
		return
	}
	kind := unknownPath
	if c.Writer.Status() == http.StatusMethodNotAllowed {
		kind = wrongMethod
	}
	writeProblem(c, problemOf(kind, "", nil))
}

func writeProblem(c *gin.Context, p *ProblemDetails) {
	c.Header("Content-Type", p.ContentType(""))
	c.AbortWithStatusJSON(p.Status, p)
}

// renamed gives the fields of larder's problems the names that the request has
// for them.
func renamed(err error, names map[string]string) error {
	var problems larder.Problems
	if !errors.As(err, &problems) {
		return err
	}
	out := make(larder.Problems, len(problems))
	for i, p := range problems {
		if name, ok := names[p.Field]; ok {
			p.Field = name
		}
		out[i] = p
	}
	return out
}
