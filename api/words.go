package api

import (
	"reflect"

	"github.com/danielgtaylor/huma/v2"
	"github.com/google/uuid"

	"cruet/internal/larder"
)

// words is the schema of text that is one of some words.
func words[T ~string](all ...T) *huma.Schema {
	s := &huma.Schema{Type: huma.TypeString}
	for _, w := range all {
		s.Enum = append(s.Enum, string(w))
	}
	s.PrecomputeMessages()
	return s
}

// Each of these stands in the document for a type of larder's or uuid's, which
// know nothing of documents.
type (
	stageWord     struct{}
	baseWord      struct{}
	actionWord    struct{}
	transferWord  struct{}
	originWord    struct{}
	basisWord     struct{}
	precisionWord struct{}
	kindWord      struct{}
	uuidText      struct{}
)

func (stageWord) Schema(huma.Registry) *huma.Schema  { return words(larder.Stages()...) }
func (baseWord) Schema(huma.Registry) *huma.Schema   { return words(larder.Bases()...) }
func (actionWord) Schema(huma.Registry) *huma.Schema { return words(larder.ActionKinds()...) }
func (transferWord) Schema(huma.Registry) *huma.Schema {
	return words(larder.StarterIn, larder.TopUp, larder.Dilution, larder.Infused, larder.SplitOff, larder.Moved, larder.Blended, larder.Gave, larder.Bottled)
}
func (originWord) Schema(huma.Registry) *huma.Schema {
	return words(larder.FromJar, larder.FromBought, larder.FromWater, larder.FromOther, larder.FromAir)
}
func (basisWord) Schema(huma.Registry) *huma.Schema {
	return words(larder.NotMeasured, larder.ByTitration, larder.Computed, larder.Outdated)
}
func (precisionWord) Schema(huma.Registry) *huma.Schema {
	return words(larder.Exact, larder.Day, larder.About)
}
func (kindWord) Schema(huma.Registry) *huma.Schema {
	return words(larder.KindReading, larder.KindTitration, larder.KindStage, larder.KindAction,
		larder.KindTransfer, larder.KindHold, larder.KindNote, larder.KindPhoto, larder.KindStrike)
}
func (uuidText) Schema(huma.Registry) *huma.Schema {
	return &huma.Schema{Type: huma.TypeString, Format: "uuid"}
}

func aliases(r huma.Registry) {
	r.RegisterTypeAlias(reflect.TypeFor[larder.Stage](), reflect.TypeFor[stageWord]())
	r.RegisterTypeAlias(reflect.TypeFor[larder.Base](), reflect.TypeFor[baseWord]())
	r.RegisterTypeAlias(reflect.TypeFor[larder.ActionKind](), reflect.TypeFor[actionWord]())
	r.RegisterTypeAlias(reflect.TypeFor[larder.TransferKind](), reflect.TypeFor[transferWord]())
	r.RegisterTypeAlias(reflect.TypeFor[larder.Origin](), reflect.TypeFor[originWord]())
	r.RegisterTypeAlias(reflect.TypeFor[larder.Basis](), reflect.TypeFor[basisWord]())
	r.RegisterTypeAlias(reflect.TypeFor[larder.Precision](), reflect.TypeFor[precisionWord]())
	r.RegisterTypeAlias(reflect.TypeFor[larder.Kind](), reflect.TypeFor[kindWord]())
	r.RegisterTypeAlias(reflect.TypeFor[uuid.UUID](), reflect.TypeFor[uuidText]())
}
