package api

import (
	"context"
	"maps"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/larder"
)

// Trace is all that something came from and all that it went into.
type Trace struct {
	Subject         larder.Subject     `json:"subject"`
	Held            []larder.Held      `json:"held"`
	Balance         larder.Balance     `json:"balance"`
	Back            []larder.Step      `json:"back"`
	Batches         []Batch            `json:"batches"`
	Forward         []larder.Step      `json:"forward"`
	Jars            []larder.TraceJar  `json:"jars"`
	Lots            []larder.TraceLot  `json:"lots"`
	Bottles         []larder.Bottle    `json:"bottles"`
	UnlistedBottles int                `json:"unlisted_bottle_count,omitempty"`
	People          []larder.Recipient `json:"people"`
}

// LotLog is a lot's own log, and what stops it now.
type LotLog struct {
	Held []larder.Held    `json:"held"`
	Log  []larder.LotHold `json:"log"`
}

// NewLotHold is a stop on a lot, or its lifting, as sent.
type NewLotHold struct {
	On     bool   `json:"on" doc:"true puts the lot on hold, false releases it."`
	Reason string `json:"reason" example:"a cork crumbled" doc:"Why."`
	Common
}

// NewTakeBack says why a gift is taken back.
type NewTakeBack struct {
	Reason string `json:"reason" example:"it was bottle 4" doc:"Why: logged by mistake, or come back unopened."`
	By     string `json:"by,omitempty" example:"MO" doc:"Who takes it back: initials or a short name."`
}

// Gifts are who has what.
type Gifts struct {
	Gifts  []larder.Given     `json:"gifts"`
	People []larder.Recipient `json:"people"`
}

func init() {
	maps.Copy(glossary, map[string]word{
		"subject":               {"What the trace starts from.", nil},
		"Subject.kind":          {"jar, bottle, lot, batch, or named for what went in.", "jar"},
		"Subject.id":            {"Its tag, lot mark, batch number or name.", "3CFX72"},
		"held":                  {"The holds that stand on it and on what it came from.", nil},
		"Held.jar":              {"The jar that is on hold.", "3CFX72"},
		"Held.lot":              {"The lot that is on hold.", "L261125A"},
		"since":                 {"Since when.", nil},
		"balance":               {"Where the liquid is: made = on hand + given + used + unaccounted.", nil},
		"made_ml":               {"What was in it and came into what it touched afterwards, mL; of a lot, what its bottles hold.", nil},
		"on_hand_ml":            {"In jars and bottles here, mL.", nil},
		"given_ml":              {"In bottles that were given away, mL.", nil},
		"used_ml":               {"Left over when a jar was emptied, or thrown away, mL.", nil},
		"discarded_ml":          {"The part of it that was thrown away, mL.", nil},
		"unaccounted_ml":        {"Straining, samples, evaporation, lees, spills, mL; negative when more was found than was logged.", nil},
		"effectiveness_percent": {"(on hand + given + used) ÷ made × 100; the target of a recall is 100.", nil},
		"unknown_jars":          {"Jars whose volume the log does not tell.", nil},
		"back":                  {"What it came from, by depth, the newest first.", nil},
		"forward":               {"What it went into, by depth, the oldest first.", nil},
		"TraceJar.back":         {"How many steps the jar lies before the subject; left out when it does not.", 1},
		"TraceJar.forward":      {"How many steps the jar lies after the subject, 0 for the subject itself; left out when it does not. In a perpetual crock both can stand.", 1},
		"TraceJar.batch":        {"The name of the jar's batch.", nil},
		"TraceJar.behind_hold":  {"true: something of a jar on hold went into it, so nothing of it may be bottled or given away; left out when not.", nil},
		"TraceLot.behind_hold":  {"true: something of a jar on hold went into it, so none of it may be given away; left out when not.", nil},
		"TraceLot.hold":         {"Why the lot is on hold; left out when it is not.", nil},
		"depth":                 {"How many steps from the subject, from 1.", 1},
		"given":                 {"How many of them were given away.", 3},
		"TraceLot.bottles":      {"How many bottles the lot has.", 12},
		"Recipient.bottles":     {"How many bottles this one has.", 2},
		"Trace.batches":         {"The recipes of the subject and of all that it came from, with suppliers.", nil},
		"Trace.jars":            {"Every jar that the trace touches.", nil},
		"Trace.lots":            {"Every lot that the trace touches.", nil},
		"Trace.bottles":         {"The bottles of the lots, with their gifts.", nil},
		"unlisted_bottle_count": {"How many bottles there are when they are only counted, lot by lot: more than the question asked to list.", nil},
		"people":                {"Who has bottles, by name.", nil},
		"last":                  {"When this one got the last.", nil},
		"log":                   {"The holds that were put on the lot and lifted, the oldest first.", nil},
		"LotHold.on":            {"true: put on hold; false: lifted.", nil},
		"Gifts.gifts":           {"The gifts, the newest first.", nil},
		"GivenBottle.bottle":    {"The bottle, with this gift.", nil},
		"lot_name":              {"The lot's name.", "Pear vinegar"},
		"taken_back":            {"Why the gift was taken back; left out while it stands.", nil},
	})
}

func (a *API) registerTrace(h huma.API) {
	huma.Register(h, get("/trace", "trace", "trace", "What something came from, and where it went",
		"From a jar, a bottle, a lot, a batch, a bought starter or an ingredient: every step back, every step on to jars, lots, bottles and people, with volumes, dates, suppliers and recipients, as Regulation (EC) 178/2002 art. 18 and 21 CFR 1.337 and 1.345 ask food businesses to keep them, and the volume balance of a recall. The page /trace.csv gives the same as a table.", http.StatusNotFound), a.trace)
	huma.Register(h, get("/names", "list-names", "trace", "The names of all that ever went in", "Each can be traced."), a.names)
	huma.Register(h, get("/gifts", "list-gifts", "lots", "Who has which bottle", ""), a.gifts)
	huma.Register(h, get("/lots/{id}/log", "get-lot-log", "lots", "The holds that were put on a lot and lifted", "", http.StatusNotFound), a.lotLog)
	huma.Register(h, act("/lots/{id}/holds", "hold-lot", "lots", "Put a lot on hold, or release it",
		"While a hold stands, none of its bottles may be given away. The lot's log keeps both.", http.StatusNotFound), a.holdLot)
	huma.Register(h, act("/bottles/{tag}/gift/back", "take-back-gift", "lots", "Take a gift back",
		"For a gift that was recorded by mistake, or that came back unopened. It stays readable; the bottle may be given again.", http.StatusNotFound), a.takeBack)
}

func (a *API) trace(ctx context.Context, in *struct {
	Of      string `query:"of" required:"true" example:"3CFX72" doc:"A tag, a lot mark, \"batch 3\", or a name; a part of a name will do when only one holds it."`
	Kind    string `query:"kind" example:"jar" doc:"jar, bottle, lot, batch or named, where the text alone could mean several things."`
	Bottles int    `query:"bottles" default:"1000" minimum:"0" doc:"List the bottles one by one when there are at most so many; otherwise they are only counted."`
}) (*answer[Trace], error) {
	kind, err := larder.ParseSubjectKind(in.Kind)
	if err != nil {
		return nil, err
	}
	s, err := a.DB.FindSubject(ctx, in.Of, kind)
	if err != nil {
		return nil, err
	}
	t, err := a.DB.TraceUpTo(ctx, s, in.Bottles)
	if err != nil {
		return nil, err
	}
	return &answer[Trace]{Trace{Subject: t.Subject, Held: list(t.Held), Balance: t.Balance, Back: list(t.Back), Batches: each(t.Batches, batchOf), Forward: list(t.Forward),
		Jars: list(t.Jars), Lots: list(t.Lots), Bottles: list(t.Bottles), UnlistedBottles: t.UnlistedBottles, People: list(t.People())}}, nil
}

// Names are the names of all that ever went in.
type Names struct {
	Names []string `json:"names" doc:"Ingredients, bought vinegars, infusions."`
}

func (a *API) names(ctx context.Context, _ *struct{}) (*answer[Names], error) {
	names, err := a.DB.Named(ctx)
	return &answer[Names]{Names{list(names)}}, err
}

func (a *API) gifts(ctx context.Context, in *struct {
	To  string `query:"to" example:"ana" doc:"Only those whose name holds this."`
	All bool   `query:"all" doc:"Those that were taken back, too."`
}) (*answer[Gifts], error) {
	gifts, err := a.DB.Gifts(ctx)
	if err != nil {
		return nil, err
	}
	people, err := a.DB.Recipients(ctx)
	return &answer[Gifts]{Gifts{list(larder.GiftsTo(gifts, in.To, in.All)), list(people)}}, err
}

// LotPath is the path to one lot.
type LotPath struct {
	ID string `path:"id" example:"L261125A" doc:"The lot's mark."`
}

func (a *API) lotLog(ctx context.Context, in *LotPath) (*answer[LotLog], error) {
	held, err := a.DB.HeldOfLot(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	log, err := a.DB.LotLog(ctx, in.ID)
	return &answer[LotLog]{LotLog{list(held), list(log)}}, err
}

func (a *API) holdLot(ctx context.Context, in *struct {
	Keyed
	LotPath
	Body NewLotHold
}) (*answer[LotLog], error) {
	act, err := in.act(in.Body.By)
	if err != nil {
		return nil, err
	}
	n := larder.NewLotHold{On: in.Body.On, Reason: in.Body.Reason, Note: in.Body.Note}
	if n.When, err = a.when(ctx, in.Body.When); err != nil {
		return nil, err
	}
	if _, err := a.DB.HoldLot(ctx, act, in.ID, n); err != nil {
		return nil, err
	}
	return a.lotLog(ctx, &in.LotPath)
}

func (a *API) takeBack(ctx context.Context, in *struct {
	Keyed
	BottlePath
	Body NewTakeBack
}) (*answer[BottlePage], error) {
	act, err := in.act(in.Body.By)
	if err != nil {
		return nil, err
	}
	tag, _, err := larder.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	p, err := a.DB.TakeBack(ctx, act, tag, in.Body.Reason)
	if err != nil {
		return nil, err
	}
	page, err := a.bottlePage(ctx, p)
	return &answer[BottlePage]{page}, err
}
