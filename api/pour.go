package api

import (
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
)

// NewPart is one new vessel of a split, as sent.
type NewPart struct {
	SizeML   chem.Millilitres `json:"size_ml" example:"1500" doc:"What the vessel holds when full."`
	VolumeML chem.Millilitres `json:"volume_ml" example:"1000" doc:"What goes into it."`
	SpareTag string           `json:"spare_tag,omitempty" example:"3CFX72" doc:"The printed spare tag that it wears. Empty: a new tag."`
	Place    string           `json:"place,omitempty" example:"cellar" doc:"Where it stands. Empty: where the old jar stands."`
}

// NewSplit pours parts of a jar into new vessels, as sent.
type NewSplit struct {
	Common
	Parts []NewPart `json:"parts" doc:"The new vessels. What is not named stays in the jar."`
}

// NewMove pours a whole jar into another vessel, as sent.
type NewMove struct {
	Common
	SizeML   chem.Millilitres  `json:"size_ml" example:"5000" doc:"What the new vessel holds when full."`
	VolumeML *chem.Millilitres `json:"volume_ml,omitempty" example:"2900" doc:"Measured on the way. Left out: all that the log says."`
	SpareTag string            `json:"spare_tag,omitempty" example:"3CFX72" doc:"The printed spare tag that it wears. Empty: a new tag."`
	Place    string            `json:"place,omitempty" example:"cellar" doc:"Where it stands. Empty: where the old jar stands."`
}

// NewBlendPour is what one jar gives to a blend, as sent.
type NewBlendPour struct {
	Jar      string            `json:"jar" example:"3CFX72" doc:"The jar's tag."`
	VolumeML *chem.Millilitres `json:"volume_ml,omitempty" example:"1500" doc:"What it gives. Left out: all that it has."`
}

// NewBlend joins jars in a new one, as sent.
type NewBlend struct {
	Common
	Name            string             `json:"name" example:"House vinegar" doc:"What the blend's batch is called."`
	Pours           []NewBlendPour     `json:"pours" doc:"Which jars give how much: two or more."`
	SizeML          chem.Millilitres   `json:"size_ml" example:"5000" doc:"What the new jar holds when full."`
	SpareTag        string             `json:"spare_tag,omitempty" example:"3CFX72" doc:"The printed spare tag that it wears. Empty: a new tag."`
	Place           string             `json:"place,omitempty" example:"cellar" doc:"Where it stands. Empty: where the first jar stands."`
	TargetGPer100ML chem.GramsPer100ML `json:"target_g_per_100ml,omitempty" example:"5" doc:"The acidity aimed at. Left out: the highest target of the batches that go in."`
}

// NewJoin pours jars into one that stands there, as sent.
type NewJoin struct {
	Common
	Pours []NewBlendPour `json:"pours" doc:"Which jars give how much."`
}

// Poured is the answer to an act that poured jars into others.
type Poured struct {
	Batch    Batch     `json:"batch" doc:"The batch of the jars that got it."`
	Jars     []Jar     `json:"jars" doc:"The jars that got it, in the order asked for."`
	From     []Jar     `json:"from" doc:"The jars that gave, as they are now."`
	Entry    uuid.UUID `json:"entry" doc:"Striking this entry takes the whole act back."`
	Replayed bool      `json:"replayed,omitempty"`
}

// Lineage is a jar's lineage as a tree, both ways.
type Lineage struct {
	Jar larder.Tag `json:"jar"`
	larder.Tree
	Jars []larder.TraceJar `json:"jars" doc:"The jars that the tree touches, this one among them."`
	Held []larder.Held     `json:"held" doc:"The holds that stand on the jar and on all that it came from. While there is one, nothing of it may be bottled or given away."`
}

func (a *API) registerPours(h huma.API) {
	huma.Register(h, act("/jars/{tag}/split", "split-jar", "pour", "Split a jar",
		"Pours parts of a jar into new vessels. They stay in its batch and get its next letters; a jar that gave all is empty then.", http.StatusNotFound), a.split)
	huma.Register(h, act("/jars/{tag}/move", "move-jar", "pour", "Move a jar's liquid to another vessel",
		"Pours all of it, with its batch and its history. The old jar is empty then and its tag retired.", http.StatusNotFound), a.move)
	huma.Register(h, act("/jars/{tag}/join", "join-jars", "pour", "Pour other jars into this one",
		"The jar stays what it is. A jar that gave all is empty then.", http.StatusNotFound), a.join)
	huma.Register(h, act("/blends", "blend-jars", "pour", "Blend jars in a new one",
		"The new jar begins a batch with several parents. Its acidity is the mean by volume when all were titrated as they stand; nothing averages pH.", http.StatusNotFound), a.blend)
	huma.Register(h, get("/jars/{tag}/lineage", "jar-lineage", "pour", "What a jar came from and went into, as a tree",
		"Each step stands once, at its shortest distance from the jar; a perpetual crock's cycles end.", http.StatusNotFound), a.lineage)
}

// spareTag reads a spare tag, empty for a new one.
func spareTag(p *larder.Problems, field, text string) larder.Tag {
	if text == "" {
		return ""
	}
	tag, _, err := larder.ParseTag(text)
	p.AddError(field, err)
	return tag
}

func readPours(p *larder.Problems, sent []NewBlendPour) []larder.Pour {
	texts := make([]string, len(sent))
	for i, pour := range sent {
		texts[i] = pour.Jar
	}
	var out []larder.Pour
	for i, tag := range parseTags(p, texts, func(i int) string { return fmt.Sprintf("pours[%d].jar", i) }) {
		pour := larder.Pour{Jar: tag}
		if v := sent[i].VolumeML; v != nil {
			if pour.VolumeML = *v; *v == 0 { // which would ask the store for all of it
				p.Add(fmt.Sprintf("pours[%d].volume_ml", i), "A jar that gives nothing is left out; leave out the volume to pour all of it.")
			}
		}
		out = append(out, pour)
	}
	return out
}

// pouring is an act on one jar that fills others.
type pouring[B any] struct {
	Keyed
	JarPath
	Body B
}

// pour reads what all these acts share, and does the act unless something is wrong.
func (a *API) pour(ctx context.Context, k Keyed, common Common, p *larder.Problems, do func(larder.Act, larder.When) (store.Filled, error)) (*created[Poured], error) {
	act, err := k.act(common.By)
	if err != nil {
		return nil, err
	}
	when, err := a.when(ctx, common.When)
	p.AddError("when", err)
	if len(*p) > 0 {
		return nil, *p
	}
	f, err := do(act, when)
	if err != nil {
		return nil, renamed(err, map[string]string{"jars": "pours"})
	}
	out := Poured{Batch: batchOf(f.Batch), Jars: each(f.Jars, jarOf), From: each(f.From, jarOf), Entry: f.Entry, Replayed: f.Replayed}
	return &created[Poured]{at("/jars/%s", f.Jars[0].Tag), out}, nil
}

func (a *API) split(ctx context.Context, in *pouring[NewSplit]) (*created[Poured], error) {
	tag, _, err := larder.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	var p larder.Problems
	n := larder.NewSplit{Note: in.Body.Note}
	for i, part := range in.Body.Parts {
		n.Parts = append(n.Parts, larder.Part{SizeML: part.SizeML, VolumeML: part.VolumeML, Place: part.Place, SpareTag: spareTag(&p, fmt.Sprintf("parts[%d].spare_tag", i), part.SpareTag)})
	}
	return a.pour(ctx, in.Keyed, in.Body.Common, &p, func(act larder.Act, when larder.When) (store.Filled, error) {
		n.When = when
		return a.DB.Split(ctx, act, tag, n)
	})
}

func (a *API) move(ctx context.Context, in *pouring[NewMove]) (*created[Poured], error) {
	tag, _, err := larder.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	var p larder.Problems
	b := in.Body
	n := larder.NewMove{Note: b.Note, SizeML: b.SizeML, VolumeML: b.VolumeML, Place: b.Place, SpareTag: spareTag(&p, "spare_tag", b.SpareTag)}
	return a.pour(ctx, in.Keyed, b.Common, &p, func(act larder.Act, when larder.When) (store.Filled, error) {
		n.When = when
		return a.DB.Move(ctx, act, tag, n)
	})
}

func (a *API) join(ctx context.Context, in *pouring[NewJoin]) (*created[Poured], error) {
	tag, _, err := larder.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	var p larder.Problems
	n := larder.NewJoin{Note: in.Body.Note, Pours: readPours(&p, in.Body.Pours)}
	return a.pour(ctx, in.Keyed, in.Body.Common, &p, func(act larder.Act, when larder.When) (store.Filled, error) {
		n.When = when
		return a.DB.Join(ctx, act, tag, n)
	})
}

func (a *API) blend(ctx context.Context, in *struct {
	Keyed
	Body NewBlend
}) (*created[Poured], error) {
	var p larder.Problems
	b := in.Body
	n := larder.NewBlend{Name: b.Name, Note: b.Note, Pours: readPours(&p, b.Pours), SizeML: b.SizeML, Place: b.Place, TargetGPer100ML: b.TargetGPer100ML,
		SpareTag: spareTag(&p, "spare_tag", b.SpareTag)}
	return a.pour(ctx, in.Keyed, b.Common, &p, func(act larder.Act, when larder.When) (store.Filled, error) {
		n.When = when
		return a.DB.Blend(ctx, act, n)
	})
}

func (a *API) lineage(ctx context.Context, in *struct {
	JarPath
	Depth int `query:"depth" default:"4" minimum:"1" maximum:"12" doc:"How many steps each way."`
}) (*answer[Lineage], error) {
	tag, _, err := larder.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	trace, err := a.DB.Lineage(ctx, tag, in.Depth)
	if err != nil {
		return nil, err
	}
	return &answer[Lineage]{Lineage{Jar: tag, Tree: trace.Tree(in.Depth), Jars: list(trace.Jars), Held: list(trace.Held)}}, nil
}
