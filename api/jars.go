package api

import (
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/larder"
	"cruet/internal/store"
)

// ShelfJar is one jar on the shelf.
type ShelfJar struct {
	Jar   Jar           `json:"jar"`
	Batch Batch         `json:"batch"`
	Due   []larder.Todo `json:"due"`
}

// Shelf is what stands on the shelf.
type Shelf struct {
	Jars []ShelfJar `json:"jars"`
}

// Move is a stage that may follow.
type Move struct {
	To           larder.Stage `json:"to"`
	Backward     bool         `json:"backward"`
	NeedsReason  bool         `json:"needs_reason"`
	NeedsVolume  bool         `json:"needs_volume"`
	NeedsStarter bool         `json:"needs_starter"`
}

// JarPage is all about a jar but its log.
type JarPage struct {
	Jar       Jar           `json:"jar"`
	Batch     Batch         `json:"batch"`
	Siblings  []larder.Tag  `json:"siblings"`
	Due       []larder.Todo `json:"due"`
	MayBecome []Move        `json:"may_become"`
	CameFrom  []larder.Edge `json:"came_from"`
	WentInto  []larder.Edge `json:"went_into"`
	Link      string        `json:"link"`
}

// EntryPage is one page of a jar's log.
type EntryPage struct {
	Entries []Entry `json:"entries"`
	Next    string  `json:"next,omitempty"`
}

func (a *API) registerJars(h huma.API) {
	huma.Register(h, get("/jars", "list-jars", "jars", "What stands on the shelf",
		"The jars by batch, the newest batch first, each with what it wants now and next."), a.shelf)
	huma.Register(h, get("/jars/{tag}", "get-jar", "jars", "A jar: its state, its batch, what is due",
		"", http.StatusNotFound), a.jar)
	huma.Register(h, get("/jars/{tag}/entries", "list-entries", "log", "A jar's log, the newest first",
		"Struck entries stay in the list and name the entry that struck them.", http.StatusNotFound), a.entries)
}

func (a *API) shelf(ctx context.Context, in *struct {
	All   bool         `query:"all" doc:"Retired jars too."`
	Stage larder.Stage `query:"stage" doc:"Only of this stage."`
	Place string       `query:"place" example:"cellar, top shelf" doc:"Only those that stand here."`
	Batch int64        `query:"batch" example:"1" doc:"Only of the batch with this number."`
	Hold  bool         `query:"hold" doc:"Only those on hold."`
	Due   bool         `query:"due" doc:"Only those that want something now."`
	Text  string       `query:"q" example:"pear" doc:"Only those with this in their name, place or tag; look-alikes in a tag are forgiven."`
}) (*answer[Shelf], error) {
	now, err := a.kitchenNow(ctx)
	if err != nil {
		return nil, err
	}
	jars, err := a.DB.Shelf(ctx, in.All)
	if err != nil {
		return nil, err
	}
	jars = larder.ShelfFilter{Stage: in.Stage, Place: in.Place, Batch: in.Batch, Held: in.Hold, Due: in.Due, Text: in.Text}.Filter(jars, now)
	out := &answer[Shelf]{Shelf{Jars: []ShelfJar{}}}
	for _, s := range jars {
		out.Body.Jars = append(out.Body.Jars, ShelfJar{jarOf(s.Jar), batchOf(s.Batch), list(s.Batch.Due(s.Jar.State, now))})
	}
	return out, nil
}

func (a *API) jar(ctx context.Context, in *JarPath) (*answer[JarPage], error) {
	tag, _, err := larder.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	h, err := a.DB.History(ctx, tag, store.Cursor{}, 1)
	if err != nil {
		return nil, err
	}
	address, err := a.labelAddress(ctx)
	if err != nil {
		return nil, err
	}
	now, err := a.kitchenNow(ctx)
	if err != nil {
		return nil, err
	}
	p := JarPage{
		Jar: jarOf(h.Jar), Batch: batchOf(h.Batch), Siblings: []larder.Tag{}, MayBecome: []Move{},
		Due:      list(h.Batch.Due(h.Jar.State, now)),
		CameFrom: list(h.CameFrom), WentInto: list(h.WentInto), Link: tag.Link(address),
	}
	for _, j := range h.Siblings {
		p.Siblings = append(p.Siblings, j.Tag)
	}
	for _, m := range larder.MovesFrom(h.Jar.State.Stage) {
		p.MayBecome = append(p.MayBecome, Move{m.To, m.Backward, m.NeedsReason, m.NeedsVolume, m.NeedsStarter})
	}
	return &answer[JarPage]{p}, nil
}

func (a *API) entries(ctx context.Context, in *struct {
	JarPath
	Limit int    `query:"limit" default:"50" minimum:"1" maximum:"200" doc:"How many entries at most."`
	From  string `query:"from" example:"1795341600000-42" doc:"Where to go on: next of the page before. Take it as it is; its form may change."`
}) (*answer[EntryPage], error) {
	tag, _, err := larder.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	var from store.Cursor
	if in.From != "" {
		if _, err := fmt.Sscanf(in.From, "%d-%d", &from.HappenedMS, &from.Seq); err != nil || cursorText(&from) != in.From {
			return nil, larder.Refuse("from", "This is not the next of a page before; leave it out to begin with the newest.")
		}
	}
	h, err := a.DB.History(ctx, tag, from, in.Limit)
	if err != nil {
		return nil, err
	}
	page := EntryPage{Entries: []Entry{}, Next: cursorText(h.Older)}
	for _, e := range h.Entries {
		page.Entries = append(page.Entries, shown(e))
	}
	return &answer[EntryPage]{page}, nil
}

func cursorText(c *store.Cursor) string {
	if c == nil {
		return ""
	}
	return fmt.Sprintf("%d-%d", c.HappenedMS, c.Seq)
}
