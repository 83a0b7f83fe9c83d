package api

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/verdict"
)

// NewPour is what one jar gives to a lot, as sent.
type NewPour struct {
	Jar      string            `json:"jar" example:"3CFX72" doc:"The jar's tag."`
	VolumeML *chem.Millilitres `json:"volume_ml,omitempty" example:"1500" doc:"What it gives. Left out: its share by what the jars hold."`
}

// NewLot is a bottling run as sent.
type NewLot struct {
	Common
	Name  string       `json:"name,omitempty" example:"Pear vinegar" doc:"What the label says. Empty: the batch's name."`
	Pours []NewPour    `json:"pours" doc:"From which jars."`
	Runs  []larder.Run `json:"runs" doc:"How many bottles of which size."`
}

// Lot is a bottling run as recorded.
type Lot struct {
	ID           string        `json:"id"`
	Name         string        `json:"name"`
	When         larder.When   `json:"when"`
	Pours        []larder.Pour `json:"pours"`
	Runs         []larder.Run  `json:"runs"`
	AcidityBasis larder.Basis  `json:"acidity_basis"`
	Acidity      *Acidity      `json:"acidity,omitempty"`
	AcidityText  string        `json:"acidity_text"`
	AcidityWhy   string        `json:"acidity_why,omitempty"`
	Bases        []larder.Base `json:"bases"`
	Ingredients  []string      `json:"ingredients"`
	Heated       bool          `json:"heated"`
	Cautions     []string      `json:"cautions"`
	Note         string        `json:"note,omitempty"`
	By           string        `json:"by,omitempty"`
	RecordedAt   time.Time     `json:"recorded_at"`
	Void         bool          `json:"void,omitempty"`
}

func lotOf(l larder.Lot, market verdict.Market) Lot {
	why := ""
	if l.Acidity.Basis == larder.NotMeasured {
		why = l.Acidity.Why
	}
	return Lot{
		AcidityWhy: why, ID: l.ID, Name: l.Name, When: l.When, Pours: list(l.Pours), Runs: list(l.Runs),
		AcidityBasis: l.Acidity.Basis, Acidity: acidityOf(&l.Acidity), AcidityText: l.Acidity.LabelText(), Bases: list(l.Bases), Ingredients: list(l.Ingredients),
		Heated: l.Heated, Cautions: verdict.ShortTexts(verdict.OnLot(l, market)), Note: l.Note, By: l.By, RecordedAt: l.RecordedAt, Void: l.Void,
	}
}

// LotLine is a lot in the list of lots.
type LotLine struct {
	Lot         Lot  `json:"lot"`
	BottleCount int  `json:"bottle_count"`
	GivenCount  int  `json:"given_count"`
	Behind      bool `json:"behind_hold"`
}

// Lots are all lots.
type Lots struct {
	Lots []LotLine `json:"lots"`
}

// BottledLot is a lot with its bottles.
type BottledLot struct {
	Lot      Lot             `json:"lot"`
	Bottles  []larder.Bottle `json:"bottles"`
	Replayed bool            `json:"replayed,omitempty"`
}

// BottlePage is a bottle with its lot.
type BottlePage struct {
	Bottle larder.Bottle `json:"bottle"`
	Lot    Lot           `json:"lot"`
	Holds  []string      `json:"holds"`
	Link   string        `json:"link"`
	Giving Giving        `json:"giving"`
}

// Giving is what the evidence allows of giving a bottle away. It stops nobody; a
// hold does.
type Giving struct {
	Answer  verdict.Answer `json:"answer"`
	Against []string       `json:"against"`
}

// NewGift is a gift as sent.
type NewGift struct {
	To string `json:"to" example:"Aunt Hedwig" doc:"Who got the bottle."`
	Common
}

func (a *API) registerLots(h huma.API) {
	huma.Register(h, act("/lots", "bottle", "lots", "Bottle",
		"Records a bottling run from finished jars: a lot with numbered bottles, and on each jar what it gave. Strike one of those entries to take the lot back.", http.StatusNotFound), a.bottleUp)
	huma.Register(h, get("/lots", "list-lots", "lots", "All lots, the newest first", ""), a.lots)
	huma.Register(h, get("/lots/{id}", "get-lot", "lots", "A lot with its bottles, and who has which", "", http.StatusNotFound), a.lot)
	huma.Register(h, get("/lots/{id}/label", "draft-label", "lots", "A lot's label as it will be printed, what it lacks and why that matters",
		"The label of the lot's first bottle, built from the record: its texts, what its code says, what is missing under the rules, what the maker still has to check, and on which papers it fits. POST /labels prints it.", http.StatusNotFound), a.draftLabel)
	huma.Register(h, get("/bottles/{tag}", "get-bottle", "lots", "A bottle with its lot", "", http.StatusNotFound), a.bottle)
	huma.Register(h, act("/bottles/{tag}/gift", "give-bottle", "lots", "Give a bottle away",
		"Records to whom the bottle went, so that they can be told should something turn out wrong. A bottle is given once. What the evidence says of giving it comes with the answer; it stops nobody, as a hold does.", http.StatusNotFound), a.give)
}

var lotFields = map[string]string{"jars": "pours", "bottles": "runs", "size_ml": "runs.size_ml"}

func (a *API) bottleUp(ctx context.Context, in *struct {
	Keyed
	Body NewLot
}) (*created[BottledLot], error) {
	act, err := in.act(in.Body.By)
	if err != nil {
		return nil, err
	}
	b := in.Body
	var p larder.Problems
	n := larder.NewLot{Name: b.Name, Runs: b.Runs, Note: b.Note}
	n.When, err = a.when(ctx, b.When)
	p.AddError("when", err)
	var tags []string
	for _, pour := range b.Pours {
		tags = append(tags, pour.Jar)
	}
	for i, tag := range parseTags(&p, tags, func(i int) string { return fmt.Sprintf("pours[%d].jar", i) }) {
		pour := larder.Pour{Jar: tag}
		if v := b.Pours[i].VolumeML; v != nil {
			if pour.VolumeML = *v; *v == 0 { // which would ask the store to share out
				p.Add(fmt.Sprintf("pours[%d].volume_ml", i), "A jar that gives nothing is left out; leave out the volume to share out by what the jars hold.")
			}
		}
		n.Pours = append(n.Pours, pour)
	}
	if len(p) > 0 {
		return nil, p
	}
	lot, err := a.DB.Bottle(ctx, act, n)
	if err != nil {
		return nil, renamed(err, lotFields)
	}
	body, err := a.bottled(ctx, lot)
	return &created[BottledLot]{at("/lots/%s", lot.Lot.ID), body}, err
}

func (a *API) bottled(ctx context.Context, l store.BottledLot) (BottledLot, error) {
	k, err := a.DB.Kitchen(ctx)
	return BottledLot{lotOf(l.Lot, verdict.MarketOf(k)), list(l.Bottles), l.Replayed}, err
}

func (a *API) lots(ctx context.Context, _ *struct{}) (*answer[Lots], error) {
	k, err := a.DB.Kitchen(ctx)
	if err != nil {
		return nil, err
	}
	all, err := a.DB.Lots(ctx)
	out := &answer[Lots]{Lots{Lots: []LotLine{}}}
	for _, l := range all {
		out.Body.Lots = append(out.Body.Lots, LotLine{lotOf(l.Lot, verdict.MarketOf(k)), l.Bottles, l.Given, l.Behind})
	}
	return out, err
}

func (a *API) lot(ctx context.Context, in *struct {
	ID string `path:"id" example:"L261125A" doc:"The lot's mark."`
}) (*answer[BottledLot], error) {
	l, err := a.DB.Lot(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	body, err := a.bottled(ctx, l)
	return &answer[BottledLot]{body}, err
}

func (a *API) bottle(ctx context.Context, in *BottlePath) (*answer[BottlePage], error) {
	tag, _, err := larder.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	p, err := a.DB.BottleByTag(ctx, tag)
	if err != nil {
		return nil, err
	}
	page, err := a.bottlePage(ctx, p)
	return &answer[BottlePage]{page}, err
}

func (a *API) bottlePage(ctx context.Context, p store.BottlePage) (BottlePage, error) {
	address, err := a.labelAddress(ctx)
	if err != nil {
		return BottlePage{}, err
	}
	k, err := a.DB.Kitchen(ctx)
	if err != nil {
		return BottlePage{}, err
	}
	v, err := a.DB.VerdictOnGiving(ctx, p.Lot, now())
	return BottlePage{p.Bottle, lotOf(p.Lot, verdict.MarketOf(k)), list(p.Holds), p.Bottle.Tag.Link(address), Giving{v.Answer, list(v.Against())}}, err
}

func (a *API) give(ctx context.Context, in *struct {
	Keyed
	BottlePath
	Body NewGift
}) (*answer[BottlePage], error) {
	act, err := in.act(in.Body.By)
	if err != nil {
		return nil, err
	}
	tag, _, err := larder.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	n := larder.NewGift{To: in.Body.To, Note: in.Body.Note}
	if n.When, err = a.when(ctx, in.Body.When); err != nil {
		return nil, err
	}
	p, err := a.DB.Give(ctx, act, tag, n)
	if err != nil {
		return nil, err
	}
	page, err := a.bottlePage(ctx, p)
	return &answer[BottlePage]{page}, err
}
