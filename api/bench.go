package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// NewCalibration is a calibration of a meter as sent.
type NewCalibration struct {
	larder.MeterCalibration
	Common
}

// NewBaseCheck is a check of the base as sent.
type NewBaseCheck struct {
	larder.BaseCheck
	Common
}

// NewControlSample is a control sample as sent.
type NewControlSample struct {
	larder.ControlSample
	Common
}

// BenchLine is one line of the bench book.
type BenchLine[B larder.BenchBody] struct {
	ID         uuid.UUID   `json:"id"`
	Seq        int64       `json:"seq"`
	When       larder.When `json:"when"`
	RecordedAt time.Time   `json:"recorded_at"`
	By         string      `json:"by,omitempty"`
	Note       string      `json:"note,omitempty"`
	Body       B           `json:"body"`
	Found      Found       `json:"found"`
	Struck     bool        `json:"struck"`
}

// Found is what follows from a line of the bench book.
type Found struct {
	Text             string            `json:"text"`
	Failed           bool              `json:"failed"`
	Notes            []string          `json:"notes"`
	SlopePercent     *float64          `json:"slope_percent,omitempty"`
	OffsetMV         *float64          `json:"offset_mv,omitempty"`
	BaseMolPerL      *chem.MolPerLitre `json:"base_mol_per_l,omitempty"`
	StandardUMolPerL *chem.MolPerLitre `json:"base_standard_u_mol_per_l,omitempty"`
}

// BenchBook is the newest lines of one kind.
type BenchBook[B larder.BenchBody] struct {
	Lines []BenchLine[B] `json:"lines"`
}

func (a *API) registerBench(h huma.API) {
	registerBenchKind(a, h, "calibrations", "calibration", "a calibration of a pH meter",
		"Two or three buffers as the meter showed them. It is attached to readings with that instrument from then on; those before keep what they had.",
		func(b NewCalibration) (Common, larder.MeterCalibration) { return b.Common, b.MeterCalibration })
	registerBenchKind(a, h, "base-checks", "base-check", "a check of the titration's base",
		"As its fresh bottle states, or found against phthalate or a bought vinegar. "+chem.BaseCaution,
		func(b NewBaseCheck) (Common, larder.BaseCheck) { return b.Common, b.BaseCheck })
	registerBenchKind(a, h, "control-samples", "control-sample", "a control sample",
		"The pH of the same bought 5 % vinegar, read before each round, shows when a meter drifts.",
		func(b NewControlSample) (Common, larder.ControlSample) { return b.Common, b.ControlSample })
}

// BenchPath is the path to one line of the bench book.
type BenchPath struct {
	ID string `path:"id" format:"uuid" example:"0193a8f0-7a1c-7c3e-9d55-3f2f8c1a4b6e" doc:"The line's id."`
}

// registerBenchKind is the routes of one kind of line.
func registerBenchKind[B larder.BenchBody, N any](a *API, h huma.API, plural, one, what, description string, read func(N) (Common, B)) {
	path := "/bench/" + plural
	huma.Register(h, act(path, "add-"+one, "bench", "Record "+what, description), func(ctx context.Context, in *struct {
		Keyed
		Body N
	}) (*created[BenchLine[B]], error) {
		common, body := read(in.Body)
		act, err := in.act(common.By)
		if err != nil {
			return nil, err
		}
		n := larder.NewBench{Note: common.Note, Body: body}
		if n.When, err = a.when(ctx, common.When); err != nil {
			return nil, err
		}
		e, err := a.DB.Bench(ctx, act, n)
		if err != nil {
			return nil, err
		}
		return &created[BenchLine[B]]{at("%s/%s", path, e.ID), benchLineOf[B](e)}, nil
	})
	huma.Register(h, get(path, "list-"+plural, "bench", "The bench book: "+plural, "The newest first, struck ones included."), func(ctx context.Context, in *struct {
		Name  string `query:"name" example:"bench pH" doc:"Only of this meter or base. Empty: all."`
		Limit int    `query:"limit" default:"50" minimum:"1" maximum:"200" doc:"How many lines at most."`
	}) (*answer[BenchBook[B]], error) {
		var b B
		lines, err := a.DB.BenchBook(ctx, b.BenchKind(), in.Name, in.Limit)
		return &answer[BenchBook[B]]{BenchBook[B]{each(lines, benchLineOf[B])}}, err
	})
	huma.Register(h, get(path+"/{id}", "get-"+one, "bench", "One line of the bench book", "", http.StatusNotFound), func(ctx context.Context, in *BenchPath) (*answer[BenchLine[B]], error) {
		e, err := benchOf[B](ctx, a, in.ID)
		return &answer[BenchLine[B]]{benchLineOf[B](e)}, err
	})
	huma.Register(h, act(path+"/{id}/strike", "strike-"+one, "bench", "Strike a wrong line of the bench book",
		"It stays readable and no longer counts. Readings that it was attached to keep what they were recorded with.", http.StatusNotFound), func(ctx context.Context, in *struct {
		Keyed
		BenchPath
		Body struct {
			By string `json:"by,omitempty" example:"MO" doc:"Who strikes it: initials or a short name."`
		}
	}) (*created[BenchLine[B]], error) {
		act, err := in.act(in.Body.By)
		if err != nil {
			return nil, err
		}
		e, err := benchOf[B](ctx, a, in.ID)
		if err != nil {
			return nil, err
		}
		e, err = a.DB.StrikeBench(ctx, act, e.ID)
		return &created[BenchLine[B]]{at("%s/%s", path, e.ID), benchLineOf[B](e)}, err
	})
}

// benchOf is the line of that kind.
func benchOf[B larder.BenchBody](ctx context.Context, a *API, text string) (larder.BenchEntry, error) {
	missing := &larder.NotFoundError{What: "bench entry", ID: text}
	id, err := uuid.Parse(text)
	if err != nil {
		return larder.BenchEntry{}, missing
	}
	e, err := a.DB.BenchEntry(ctx, id)
	if _, ok := e.Body.(B); err == nil && !ok {
		return e, missing
	}
	return e, err
}

func benchLineOf[B larder.BenchBody](e larder.BenchEntry) BenchLine[B] {
	body, _ := e.Body.(B)
	words := e.Words()
	out := BenchLine[B]{ID: e.ID, Seq: e.Seq, When: e.When, RecordedAt: e.RecordedAt, By: e.By, Note: e.Note, Body: body, Struck: e.Struck,
		Found: Found{Text: words.Headline, Failed: words.Failed, Notes: list(words.Notes)}}
	switch b := e.Body.(type) {
	case larder.MeterCalibration:
		if r, err := b.Result(); err == nil {
			out.Found.SlopePercent, out.Found.OffsetMV = &r.SlopePercent, &r.OffsetMV
		}
	case larder.BaseCheck:
		if c, u, err := b.Strength(); err == nil {
			out.Found.BaseMolPerL, out.Found.StandardUMolPerL = &c, &u
		}
	}
	return out
}
