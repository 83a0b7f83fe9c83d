package larder

import (
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

// Inherit is what stays true of a liquid when it goes into a new jar. It is a
// snapshot of the giving jars at that time, kept in the new jar's first entry,
// so that the new jar's log alone gives its state.
type Inherit struct {
	Acidity      *Acidity                        `json:"acidity,omitempty"`
	AcidityFrom  []uuid.UUID                     `json:"acidity_from,omitempty"` // the entries it rests on
	ABV          *Measured[chem.PercentVol]      `json:"abv_percent_vol,omitempty"`
	MustSG       *Measured[chem.SpecificGravity] `json:"must_specific_gravity,omitempty"`
	MustBrix     *Measured[chem.DegreesBrix]     `json:"must_brix,omitempty"`
	WaterPart    float64                         `json:"water_part,omitempty"`
	ABVWaterPart float64                         `json:"abv_water_part,omitempty"`
	StrainedAt   *time.Time                      `json:"strained_at,omitempty"`
	HeatedAt     *time.Time                      `json:"heated_at,omitempty"`
	MouldAt      *time.Time                      `json:"mould_at,omitempty"`
	Starter      string                          `json:"starter,omitempty"`
	Infused      []string                        `json:"infused,omitempty"`
}

// Inherit is what a part of this liquid takes along into another vessel.
func (s State) Inherit() Inherit {
	return Inherit{
		Acidity: s.Acidity, AcidityFrom: s.acidityFrom(), ABV: s.ABV, MustSG: s.MustSG, MustBrix: s.MustBrix,
		WaterPart: s.WaterPart, ABVWaterPart: s.ABVWaterPart, StrainedAt: s.StrainedAt, HeatedAt: s.HeatedAt, MouldAt: s.MouldAt,
		Starter: s.Starter, Infused: s.Infused,
	}
}

func (s State) acidityFrom() []uuid.UUID {
	switch {
	case s.Acidity == nil:
		return nil
	case len(s.AcidityFrom) > 0:
		return s.AcidityFrom
	}
	return []uuid.UUID{s.Acidity.Entry}
}

// InheritBlend is what a blend of these jars takes along: the acidity as
// LotAcidity has it, heated and strained only when all were, mould when any had
// it. jars are in the order of pours, as they were when poured. Gravity and
// alcohol are not carried over: nobody measured them in the blend.
func InheritBlend(pours []Pour, jars []Jar) Inherit {
	var in Inherit
	if a := LotAcidity(pours, jars); a.Basis != NotMeasured {
		in.Acidity = &a
	}
	var total, water float64
	var starters []string
	for i, jar := range jars {
		s := jar.State
		total += float64(pours[i].VolumeML)
		water += float64(pours[i].VolumeML) * s.WaterPart
		if in.Acidity != nil {
			in.AcidityFrom = append(in.AcidityFrom, s.acidityFrom()...)
		}
		if s.MouldAt != nil {
			later(&in.MouldAt, *s.MouldAt)
		}
		for _, name := range s.Infused {
			in.Infused = withName(in.Infused, name)
		}
		if s.Starter != "" {
			starters = withName(starters, s.Starter)
		}
	}
	if total > 0 {
		in.WaterPart = water / total
	}
	in.HeatedAt = lastOfAll(jars, func(s State) *time.Time { return s.HeatedAt })
	in.StrainedAt = lastOfAll(jars, func(s State) *time.Time { return s.StrainedAt })
	in.Starter = strings.Join(starters, "; ")
	return in
}

// lastOfAll is the newest of a time that every jar has, nil when one has none.
func lastOfAll(jars []Jar, of func(State) *time.Time) *time.Time {
	var last *time.Time
	for _, jar := range jars {
		at := of(jar.State)
		if at == nil {
			return nil
		}
		later(&last, *at)
	}
	return last
}

func (s *State) inherit(in Inherit) {
	s.Acidity, s.AcidityFrom = in.Acidity, in.AcidityFrom
	s.ABV, s.MustSG, s.MustBrix = in.ABV, in.MustSG, in.MustBrix
	s.WaterPart, s.ABVWaterPart = in.WaterPart, in.ABVWaterPart
	s.StrainedAt, s.HeatedAt, s.MouldAt = in.StrainedAt, in.HeatedAt, in.MouldAt
	s.Starter, s.Infused = in.Starter, in.Infused
}

// struck makes a jar without a first entry void, and drops what was inherited
// of an entry that was struck in the jar where it was measured.
func (s *State) struck(b Strike, e Entry) {
	if s.Stage == "" {
		s.Stage, s.StageSince = Void, e.When
	}
	if slices.Contains(s.AcidityFrom, b.Target) {
		s.Acidity, s.AcidityFrom = nil, nil
	}
	dropped(&s.ABV, b.Target)
	dropped(&s.MustSG, b.Target)
	dropped(&s.MustBrix, b.Target)
}

func dropped[T ~float64](have **Measured[T], entry uuid.UUID) {
	if *have != nil && (*have).Entry == entry {
		*have = nil
	}
}

// RestsOn tells that something inherited rests on that entry of another jar.
func (in Inherit) RestsOn(entry uuid.UUID) bool {
	return slices.Contains(in.AcidityFrom, entry) || (in.ABV != nil && in.ABV.Entry == entry) ||
		(in.MustSG != nil && in.MustSG.Entry == entry) || (in.MustBrix != nil && in.MustBrix.Entry == entry)
}

// withName is names with one more, unless it is there already; names itself
// stays as it is.
func withName(names []string, name string) []string {
	if slices.Contains(names, name) {
		return names
	}
	return append(slices.Clip(names), name)
}
