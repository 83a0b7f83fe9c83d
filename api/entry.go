package api

import (
	"reflect"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// Entry is one line of a log. What was measured stands in the body as it was
// typed; what follows from it stands beside it.
type Entry struct {
	larder.Entry
	Computed *Computed `json:"computed,omitempty"`
}

// Computed is the acidity that a titration gives.
type Computed struct {
	AcidityGPer100ML   chem.GramsPer100ML  `json:"acidity_g_per_100ml"`
	SDGPer100ML        *chem.GramsPer100ML `json:"sd_g_per_100ml,omitempty"`
	ExpandedUGPer100ML chem.GramsPer100ML  `json:"expanded_uncertainty_g_per_100ml"`
	LowerGPer100ML     chem.GramsPer100ML  `json:"lower_g_per_100ml"`
	Replicates         int                 `json:"replicate_count"`
	StrengthMark       string              `json:"strength_mark,omitempty"`
	Notes              []string            `json:"notes,omitempty"`
}

func shown(e larder.Entry) Entry {
	out := Entry{Entry: e}
	t, ok := e.Body.(larder.Titration)
	if !ok {
		return out
	}
	r, err := t.Result()
	if err != nil {
		return out // recorded when the rules were wider: the readings still show
	}
	out.Computed = &Computed{r.AcidityGPer100ML, nil, r.ExpandedUGPer100ML, r.LowerGPer100ML, r.Replicates, r.StrengthMark, r.Notes}
	if r.HasSD {
		out.Computed.SDGPer100ML = &r.SDGPer100ML
	}
	return out
}

// entryOf describes an Entry of one kind; the document is made from it.
type entryOf[B any] struct {
	Seq        int64       `json:"seq"`
	ID         uuid.UUID   `json:"id"`
	Act        uuid.UUID   `json:"act"`
	Jar        larder.Tag  `json:"jar"`
	When       larder.When `json:"when"`
	RecordedAt time.Time   `json:"recorded_at"`
	By         string      `json:"by,omitempty"`
	Note       string      `json:"note,omitempty"`
	Kind       larder.Kind `json:"kind"`
	Body       B           `json:"body"`
	StruckBy   uuid.UUID   `json:"struck_by,omitzero"`
	Computed   *Computed   `json:"computed,omitempty"`
}

// Schema describes an entry as one of its kinds, told apart by kind.
func (Entry) Schema(r huma.Registry) *huma.Schema {
	const name = "Entry"
	ref := &huma.Schema{Ref: "#/components/schemas/" + name}
	if _, done := r.Map()[name]; done {
		return ref
	}
	s := &huma.Schema{Discriminator: &huma.Discriminator{PropertyName: "kind", Mapping: map[string]string{}}}
	r.Map()[name] = s
	kind[larder.Reading](r, s)
	kind[larder.Titration](r, s)
	kind[larder.StageChange](r, s)
	kind[larder.Action](r, s)
	kind[larder.Transfer](r, s)
	kind[larder.Hold](r, s)
	kind[larder.Note](r, s)
	kind[larder.Photo](r, s)
	kind[larder.Strike](r, s)
	return ref
}

func kind[B larder.Body](r huma.Registry, all *huma.Schema) {
	var body B
	ref := r.Schema(reflect.TypeFor[entryOf[B]](), true, "")
	all.OneOf = append(all.OneOf, ref)
	all.Discriminator.Mapping[string(body.Kind())] = ref.Ref
	one := r.SchemaFromRef(ref.Ref)
	one.Properties["kind"] = words(body.Kind())
	one.PrecomputeMessages()
}
