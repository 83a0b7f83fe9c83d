package api

import (
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// NewIngredient is one line of a recipe as sent.
type NewIngredient struct {
	Name   string `json:"name" example:"pears, peels and cores" doc:"What went in."`
	Amount string `json:"amount,omitempty" example:"2.4 kg" doc:"How much: a number with a unit, as text."`
	// What the label of it says.
	ABVPercent    *chem.PercentVol `json:"abv_percent_vol,omitempty" example:"11.5" doc:"Wine, ale, cider: its alcohol, % by volume. Its amount must be a volume then."`
	SugarGPer100G *float64         `json:"sugar_g_per_100g,omitempty" example:"60" doc:"Sugar in 100 g of it, when its label says so; otherwise it is looked up by name."`
}

// NewBatch is a batch as sent.
type NewBatch struct {
	Common
	Name               string             `json:"name" example:"Pear scraps" doc:"What the batch is called."`
	Base               larder.Base        `json:"base" example:"fruit scraps" doc:"What it is made from; this decides its plan."`
	Ingredients        []NewIngredient    `json:"ingredients,omitempty" doc:"The recipe."`
	Stage              larder.Stage       `json:"stage,omitempty" example:"must" doc:"The stage it starts in. Empty: the usual one of its base."`
	Jars               int                `json:"jars" example:"2" doc:"How many jars."`
	JarSizeML          float64            `json:"jar_size_ml" example:"3000" doc:"What one jar holds when full."`
	FillML             *float64           `json:"fill_ml,omitempty" example:"2500" doc:"Liquid in each jar at the start, when known."`
	TargetGPer100ML    chem.GramsPer100ML `json:"target_g_per_100ml,omitempty" default:"5" example:"5" doc:"The acidity aimed at, as acetic acid."`
	Place              string             `json:"place,omitempty" example:"cellar, top shelf" doc:"Where the jars stand."`
	SpareTags          []string           `json:"spare_tags,omitempty" example:"[\"3CFX72\"]" doc:"Printed spare tags for the first jars; the others get new ones."`
	JarOuterDiameterMM float64            `json:"jar_outer_diameter_mm,omitempty" example:"110" doc:"Across the jar's outside, so that its label can be made to go round."`
}

// Started is the answer to a start, and to asking for a batch.
type Started struct {
	Batch    Batch    `json:"batch"`
	Jars     []Jar    `json:"jars"`
	Ceiling  *Ceiling `json:"ceiling,omitempty"`
	Replayed bool     `json:"replayed,omitempty"`
}

// NewSpares asks for spare tags.
type NewSpares struct {
	Count int    `json:"count" example:"24" doc:"How many tags."`
	By    string `json:"by,omitempty" example:"MO" doc:"Who asks: initials or a short name."`
}

// Spares is a list of spare tags.
type Spares struct {
	Tags []larder.Tag `json:"tags"`
}

type answer[B any] struct{ Body B }

// created is the answer to an act, with the address of what it made.
type created[B any] struct {
	Location string `header:"Location" doc:"The address of what was recorded."`
	Body     B
}

func (a *API) registerStart(h huma.API) {
	huma.Register(h, act("/batches", "start-batch", "jars", "Start a batch",
		"Records a new batch with its jars. Each jar gets a tag of its own and a first entry in its log."), a.start)
	huma.Register(h, get("/batches/{id}", "get-batch", "jars", "A batch with its jars", "", http.StatusNotFound), a.batch)
	huma.Register(h, act("/spare-tags", "issue-spare-tags", "jars", "Issue spare tags",
		"Issues tags that no jar wears yet, to print now and bind when a batch is started."), a.issueSpares)
	huma.Register(h, get("/spare-tags", "list-spare-tags", "jars", "The spare tags that no jar wears yet", ""), a.spares)
}

func (a *API) start(ctx context.Context, in *struct {
	Keyed
	Body NewBatch
}) (*created[Started], error) {
	act, err := in.act(in.Body.By)
	if err != nil {
		return nil, err
	}
	n, err := a.newBatch(ctx, in.Body)
	if err != nil {
		return nil, err
	}
	s, err := a.DB.Start(ctx, act, n)
	if err != nil {
		return nil, err
	}
	out, err := a.started(ctx, s.Batch, s.Jars)
	out.Replayed = s.Replayed
	return &created[Started]{at("/batches/%d", s.Batch.ID), out}, err
}

func (a *API) newBatch(ctx context.Context, b NewBatch) (larder.NewBatch, error) {
	var p larder.Problems
	n := larder.NewBatch{
		Name: b.Name, Base: b.Base, Stage: b.Stage, Jars: b.Jars, JarSizeML: chem.Millilitres(b.JarSizeML),
		FillML: (*chem.Millilitres)(b.FillML), TargetGPer100ML: b.TargetGPer100ML, Place: b.Place, Note: b.Note,
		JarOuterDiameterMM: b.JarOuterDiameterMM,
	}
	var err error
	n.When, err = a.when(ctx, b.When)
	p.AddError("when", err)
	for i, ing := range b.Ingredients {
		one := larder.Ingredient{Name: ing.Name, ABVPercent: ing.ABVPercent, SugarGPer100G: ing.SugarGPer100G}
		if ing.Amount != "" {
			one.Amount, err = chem.ParseAmount(ing.Amount)
			p.AddError(fmt.Sprintf("ingredients[%d].amount", i), err)
		}
		n.Ingredients = append(n.Ingredients, one)
	}
	n.SpareTags = parseTags(&p, b.SpareTags, func(i int) string { return fmt.Sprintf("spare_tags[%d]", i) })
	if len(p) > 0 { // say what the rules have against the rest too, so that a client learns of everything at once
		p.AddError("", n.Check(now()))
	}
	return n, p.Err()
}

func (a *API) batch(ctx context.Context, in *struct {
	ID int64 `path:"id" example:"1" doc:"The batch's number."`
}) (*answer[Started], error) {
	b, err := a.DB.Batch(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	jars, err := a.DB.JarsOfBatch(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	out, err := a.started(ctx, b, jars)
	return &answer[Started]{out}, err
}

// started is a batch with its jars and how sour its recipe can get.
func (a *API) started(ctx context.Context, b larder.Batch, jars []larder.Jar) (Started, error) {
	liquid, err := a.DB.LiquidOfBatch(ctx, b.ID)
	return Started{Batch: batchOf(b), Jars: each(jars, jarOf), Ceiling: recipeCeiling(b, liquid)}, err
}

func (a *API) issueSpares(ctx context.Context, in *struct {
	Keyed
	Body NewSpares
}) (*answer[Spares], error) {
	act, err := in.act(in.Body.By)
	if err != nil {
		return nil, err
	}
	tags, err := a.DB.IssueSpares(ctx, act, in.Body.Count)
	return &answer[Spares]{Spares{tags}}, err
}

func (a *API) spares(ctx context.Context, _ *struct{}) (*answer[Spares], error) {
	tags, err := a.DB.Spares(ctx)
	return &answer[Spares]{Spares{list(tags)}}, err
}

// list makes an empty list [] instead of null.
func list[T any](items []T) []T {
	if items == nil {
		return []T{}
	}
	return items
}
