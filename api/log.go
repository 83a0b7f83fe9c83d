package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
)

// NewReading is what instruments showed, as sent.
type NewReading struct {
	PH         *chem.PH              `json:"ph,omitempty"`
	TempC      *chem.Celsius         `json:"temp_c,omitempty"`
	SG         *chem.SpecificGravity `json:"specific_gravity,omitempty"`
	Brix       *chem.DegreesBrix     `json:"brix,omitempty"`
	ABV        *chem.PercentVol      `json:"abv_percent_vol,omitempty"`
	VolumeML   *chem.Millilitres     `json:"volume_ml,omitempty"`
	Instrument string                `json:"instrument,omitempty"`
	Common
}

func (b NewReading) body() larder.Body {
	return larder.Reading{PH: b.PH, TempC: b.TempC, SG: b.SG, Brix: b.Brix, ABV: b.ABV, VolumeML: b.VolumeML, Instrument: b.Instrument}
}

// NewTitration is a titration as sent.
type NewTitration struct {
	chem.Titration
	EndpointPH *chem.PH `json:"endpoint_ph,omitempty"`
	Instrument string   `json:"instrument,omitempty"`
	BaseName   string   `json:"base,omitempty"`
	Common
}

func (b NewTitration) body() larder.Body {
	return larder.Titration{Titration: b.Titration, EndpointPH: b.EndpointPH, Instrument: b.Instrument, BaseName: b.BaseName}
}

// NewNote is a note as sent.
type NewNote struct {
	When string `json:"when,omitempty" example:"yesterday" doc:"When it was noticed; as for every act. Empty: now."`
	Note string `json:"note" example:"The mother sank." doc:"The note."`
	By   string `json:"by,omitempty" example:"MO" doc:"Who writes: initials or a short name."`
}

// NewAction is something done to a jar, as sent.
type NewAction struct {
	larder.Action
	Common
}

// NewTransfer is something that went into a jar, as sent.
type NewTransfer struct {
	What larder.TransferKind `json:"what" enum:"starter,topped up,diluted,infused" example:"topped up" doc:"Why it went in. What a jar gives to another is written by the taker's entry."`
	Feed larder.Feed         `json:"feed"`
	Common
}

// NewStage is a change of stage as sent.
type NewStage struct {
	To       larder.Stage      `json:"to" example:"acetic"`
	VolumeML *chem.Millilitres `json:"volume_ml,omitempty" example:"2100" doc:"Liquid after straining and before any starter. Needed for acetic; where nothing is strained, as of wine, and left out, it is taken from the jar's fill."`
	Starter  *larder.Feed      `json:"starter,omitempty"`
	Reason   string            `json:"reason,omitempty" example:"the fermentation was not over" doc:"Why; needed when the move is unusual."`
	Common
}

// NewHold is a stop on a jar, or its lifting, as sent.
type NewHold struct {
	larder.Hold
	Common
}

// NewStrike says why an entry is struck.
type NewStrike struct {
	Reason string `json:"reason" example:"typed into the wrong jar" doc:"Why it was wrong."`
	By     string `json:"by,omitempty" example:"MO" doc:"Who strikes it: initials or a short name."`
}

// Saved is the answer to an entry.
type Saved struct {
	Entry    Entry `json:"entry"`
	State    State `json:"state"`
	Replayed bool  `json:"replayed,omitempty"`
}

// logging is the input of an act on one jar.
type logging[B any] struct {
	Keyed
	JarPath
	Body B
}

func (a *API) registerLog(h huma.API) {
	entry := func(path, id, summary, description string) huma.Operation {
		return act("/jars/{tag}/"+path, id, "log", summary, description, http.StatusNotFound)
	}
	register(a, h, entry("readings", "log-reading", "Log a reading", "What instruments showed: at least one value. pH says nothing about strength."),
		func(b NewReading) (Common, larder.Body) { return b.Common, b.body() })
	register(a, h, entry("titrations", "log-titration", "Log a titration",
		"The acidity follows from sample, base and burette readings, as acetic acid in g/100 mL with its uncertainty. "+chem.BaseCaution),
		func(b NewTitration) (Common, larder.Body) { return b.Common, b.body() })
	register(a, h, entry("notes", "log-note", "Log a note", "Notes may be added to a retired jar too."),
		func(b NewNote) (Common, larder.Body) { return Common(b), larder.Note{} })
	register(a, h, entry("actions", "log-action", "Log what was done", "Stirring, straining, tasting and the like: what moves no liquid in."),
		func(b NewAction) (Common, larder.Body) { return b.Common, b.Action })
	register(a, h, entry("transfers", "log-transfer", "Log what went in", "A starter, a top-up, water, or what is put in to infuse, which is weighed. When it came from another jar, that jar's log gets the other side."),
		func(b NewTransfer) (Common, larder.Body) {
			return b.Common, larder.Transfer{What: b.What, Feed: &b.Feed}
		})
	register(a, h, entry("stages", "change-stage", "Move a jar to another stage", "What may follow, and what it needs, stands in may_become of the jar."),
		func(b NewStage) (Common, larder.Body) {
			return b.Common, larder.StageChange{To: b.To, VolumeML: b.VolumeML, Starter: b.Starter, Reason: b.Reason}
		})
	register(a, h, entry("holds", "hold-jar", "Put a jar on hold, or release it", "While a hold stands, nothing of the jar may be bottled or given away."),
		func(b NewHold) (Common, larder.Body) { return b.Common, b.Hold })
	huma.Register(h, act("/entries/{id}/strike", "strike-entry", "log", "Strike a wrong entry",
		"Takes the entry back, with all that its act wrote into other jars. Both stay readable. The answer's entry is the strike.", http.StatusNotFound), a.strike)
	huma.Register(h, get("/entries/{id}", "get-entry", "log", "One entry", "", http.StatusNotFound), a.entry)
}

// fieldNames are larder's names of fields that a request has elsewhere.
var fieldNames = map[string]string{
	"stage": "to", "action": "what", "transfer": "what",
	"starter_jar": "starter.jar", "starter_name": "starter.name", "starter_volume_ml": "starter.volume_ml", "starter_acidity": "starter.stated_acidity_g_per_100ml",
	"feed_jar": "feed.jar", "feed_name": "feed.name", "feed_volume_ml": "feed.volume_ml", "feed_acidity": "feed.stated_acidity_g_per_100ml", "feed_mass_g": "feed.mass_g", "feed_supplier": "feed.supplier", "feed_supplier_lot": "feed.supplier_lot",
	"starter_supplier": "starter.supplier", "starter_supplier_lot": "starter.supplier_lot",
}

// register is the route of one kind of entry; read takes its request apart.
func register[B any](a *API, h huma.API, op huma.Operation, read func(B) (Common, larder.Body)) {
	huma.Register(h, op, func(ctx context.Context, in *logging[B]) (*created[Saved], error) {
		common, body := read(in.Body)
		act, err := in.act(common.By)
		if err != nil {
			return nil, err
		}
		saved, err := a.log(ctx, act, in.Tag, common, body)
		if err != nil {
			return nil, renamed(err, fieldNames)
		}
		return &created[Saved]{at("/entries/%s", saved.Entry.ID), Saved{shown(saved.Entry), stateOf(saved.After), saved.Replayed}}, nil
	})
}

func (a *API) log(ctx context.Context, act larder.Act, typed string, common Common, body larder.Body) (store.Saved, error) {
	tag, _, err := larder.ParseTag(typed)
	if err != nil {
		return store.Saved{}, err
	}
	var p larder.Problems
	n := larder.NewEntry{Note: common.Note, Body: body}
	n.When, err = a.when(ctx, common.When)
	p.AddError("when", err)
	p.AddError("", tidyFeed(body))
	if len(p) > 0 {
		jar, err := a.DB.Jar(ctx, tag)
		if err != nil {
			return store.Saved{}, err
		}
		if n.Body, err = a.DB.WithFill(ctx, jar, n.Body); err != nil {
			return store.Saved{}, err
		}
		p.AddError("", n.Check(jar, now())) // a client learns of everything at once
		return store.Saved{}, p
	}
	return a.DB.Append(ctx, act, tag, n)
}

// tidyFeed gives the tag of the jar that a body takes from its canonical form.
func tidyFeed(body larder.Body) error {
	feed, field := (*larder.Feed)(nil), "starter_jar"
	switch b := body.(type) {
	case larder.StageChange:
		feed = b.Starter
	case larder.Transfer:
		feed, field = b.Feed, "feed_jar"
	}
	if feed == nil || feed.Jar == "" {
		return nil
	}
	tag, _, err := larder.ParseTag(string(feed.Jar))
	if err != nil {
		return larder.Refuse(field, err.Error())
	}
	feed.Jar = tag
	return nil
}

// EntryPath is the path to one entry.
type EntryPath struct {
	ID string `path:"id" format:"uuid" example:"0193a8f0-7a1c-7c3e-9d55-3f2f8c1a4b6e" doc:"The entry's id."`
}

func (a *API) strike(ctx context.Context, in *struct {
	Keyed
	EntryPath
	Body NewStrike
}) (*created[Saved], error) {
	act, err := in.act(in.Body.By)
	if err != nil {
		return nil, err
	}
	id, err := uuid.Parse(in.ID)
	if err != nil {
		return nil, &larder.NotFoundError{What: "entry", ID: in.ID}
	}
	saved, err := a.DB.Strike(ctx, act, id, in.Body.Reason)
	if err != nil {
		return nil, err
	}
	return &created[Saved]{at("/entries/%s", saved.Entry.ID), Saved{shown(saved.Entry), stateOf(saved.After), saved.Replayed}}, nil
}

func (a *API) entry(ctx context.Context, in *EntryPath) (*answer[Entry], error) {
	id, err := uuid.Parse(in.ID)
	if err != nil {
		return nil, &larder.NotFoundError{What: "entry", ID: in.ID}
	}
	e, err := a.DB.Entry(ctx, id)
	return &answer[Entry]{shown(e)}, err
}
