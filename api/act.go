package api

import (
	"context"
	"errors"
	"strings"

	"github.com/google/uuid"

	"cruet/internal/larder"
)

// Keyed is the header that every act carries, after
// draft-ietf-httpapi-idempotency-key-header.
type Keyed struct {
	Key string `header:"Idempotency-Key" example:"0193a8f0-7a1c-7c3e-9d55-3f2f8c1a4b6e" doc:"A UUID made by the client (version 7 is best), bare or in double quotes: the same each time this act is sent, another for each other act."`
}

const uuidLength = 36 // uuid.Parse takes other forms too, which the draft does not

func (k Keyed) act(by string) (larder.Act, error) {
	text := strings.TrimSpace(k.Key)
	if len(text) > 1 && text[0] == '"' && text[len(text)-1] == '"' {
		text = text[1 : len(text)-1]
	}
	if text == "" {
		return larder.Act{}, problemOf(keyMissing, `Send the header Idempotency-Key with a UUID that you made for this act, like "0193a8f0-7a1c-7c3e-9d55-3f2f8c1a4b6e", and the same one when you send it again. Nothing was saved.`,
			larder.Problems{{Field: "Idempotency-Key", Message: "This header is missing."}})
	}
	key, err := uuid.Parse(text)
	// A name-based UUID (version 5) could meet one that the store derives for the
	// other side of an act.
	if err != nil || len(text) != uuidLength || key == uuid.Nil || key.Version() == 5 {
		return larder.Act{}, problemOf(keyMissing, `The header Idempotency-Key must be a UUID, like "0193a8f0-7a1c-7c3e-9d55-3f2f8c1a4b6e". Nothing was saved.`,
			larder.Problems{{Field: "Idempotency-Key", Message: "This is not a UUID."}})
	}
	return larder.Act{Key: key, By: by}, nil
}

// Common is what every act may tell.
type Common struct {
	When string `json:"when,omitempty" example:"about 2026-11-22" doc:"When it happened: RFC 3339, a day, or as people say it (\"yesterday\", \"3 days ago\", \"about 22 Nov\"), in the kitchen's time zone. Empty: now. A date without a year, or counted back, is read on the day that it arrives."`
	Note string `json:"note,omitempty" example:"smells of pears" doc:"Anything else, in words."`
	By   string `json:"by,omitempty" example:"MO" doc:"Who did it: initials or a short name."`
}

// when reads a date as the kitchen means it.
func (a *API) when(ctx context.Context, text string) (larder.When, error) {
	k, err := a.DB.Kitchen(ctx)
	if err != nil {
		return larder.When{}, err
	}
	w, err := larder.ParseWhen(text, now(), k.Location())
	var problems larder.Problems
	if errors.As(err, &problems) {
		return w, renamed(err, map[string]string{"": "when"})
	}
	return w, err
}

// JarPath is the path to one jar.
type JarPath struct {
	Tag string `path:"tag" example:"3CFX72" doc:"The jar's tag as its label has it; either case, and look-alikes are forgiven."`
}

// BottlePath is the path to one bottle.
type BottlePath struct {
	Tag string `path:"tag" example:"26XVT-K2Y34-0H95J" doc:"The bottle's tag as its label has it."`
}

// parseTags reads tags that stand in a body; the problems name field[i].
func parseTags(p *larder.Problems, texts []string, field func(i int) string) []larder.Tag {
	var out []larder.Tag
	for i, text := range texts {
		tag, _, err := larder.ParseTag(text)
		p.AddError(field(i), err)
		out = append(out, tag)
	}
	return out
}
