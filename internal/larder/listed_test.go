package larder

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"cruet/internal/chem"
)

// listedWhen is any date to the millisecond, as the store keeps them.
func listedWhen(t *rapid.T, name string) When {
	w := When{At: time.UnixMilli(rapid.Int64Range(-1e12, 4e12).Draw(t, name)).UTC(), Precision: rapid.SampledFrom([]Precision{Exact, Day, About}).Draw(t, name+" precision")}
	if w.Precision == About {
		w.SpreadDays = rapid.IntRange(0, 400).Draw(t, name+" spread")
	}
	return w
}

func maybe[T any](t *rapid.T, name string, draw func() T) *T {
	if !rapid.Bool().Draw(t, "has "+name) {
		return nil
	}
	return new(draw())
}

// drawState is any state, most of its values set, whether a log gives it or not.
func drawState(t *rapid.T) State {
	number := func(name string) float64 { return rapid.Float64Range(-1, 1e5).Draw(t, name) }
	text := func(name string) string {
		return rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "-", "+", `"`, "a\tb", `"quoted"`, "cellar, top shelf\r\n", "\x00"})).Draw(t, name)
	}
	at := func(name string) time.Time { return listedWhen(t, name).At }
	s := State{
		Stage: rapid.SampledFrom(Stages()).Draw(t, "stage"), StageSince: listedWhen(t, "since"), StartedAt: listedWhen(t, "started"),
		VolumeML:   maybe(t, "volume", func() chem.Millilitres { return chem.Millilitres(number("volume")) }),
		StirredAt:  maybe(t, "stirred", func() time.Time { return at("stirred") }),
		StrainedAt: maybe(t, "strained", func() time.Time { return at("strained") }),
		HeatedAt:   maybe(t, "heated", func() time.Time { return at("heated") }),
		Starter:    text("starter"), Infused: []string{"thyme"}, WaterPart: 0.2,
		Hold: rapid.SampledFrom([]string{"", "", "mould\twas seen", text("hold")}).Draw(t, "held"), Place: text("place"),
		PH: maybe(t, "ph", func() Measured[chem.PH] {
			return Measured[chem.PH]{Value: chem.PH(number("ph")), When: listedWhen(t, "ph at"), Entry: uuid.New()}
		}),
		SG: maybe(t, "sg", func() Measured[chem.SpecificGravity] {
			return Measured[chem.SpecificGravity]{Value: chem.SpecificGravity(number("sg")), When: listedWhen(t, "sg at"), Entry: uuid.New()}
		}),
		ABV: &Measured[chem.PercentVol]{Value: 5},
		Acidity: maybe(t, "acidity", func() Acidity {
			return Acidity{GPer100ML: chem.GramsPer100ML(number("acidity")), ExpandedUGPer100ML: chem.GramsPer100ML(number("u")), SDGPer100ML: 0.1,
				Replicates: rapid.IntRange(0, 9).Draw(t, "replicates"), Basis: rapid.SampledFrom([]Basis{NotMeasured, ByTitration, Computed, Outdated}).Draw(t, "basis"),
				When: listedWhen(t, "titrated"), Entry: uuid.New(), Why: text("why"), StrengthMark: "one run"}
		}),
	}
	if rapid.IntRange(0, 9).Draw(t, "not begun") == 0 {
		s.Stage, s.StageSince, s.StartedAt = "", When{}, When{}
	}
	return s
}

// What is kept for lists comes back as it was, and of it every plan and filter says
// what it says of the whole state.
func TestListedSaysTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawState(t)
		got, err := ParseListed(s.ListedText())
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got, s.Listed()) {
			t.Fatalf("%q gives\n%s\nwant\n%s", s.ListedText(), asJSON(t, got), asJSON(t, s.Listed()))
		}
		first, err := ParseListedFirst(s.ListedText())
		if want := (State{Stage: s.Stage, StageSince: got.StageSince, StartedAt: got.StartedAt, Starter: s.Starter, Hold: s.Hold, Place: s.Place, VolumeML: s.VolumeML}); err != nil || !reflect.DeepEqual(first, want) {
			t.Fatalf("the first of %q is\n%s (%v)\nwant\n%s", s.ListedText(), asJSON(t, first), err, asJSON(t, want))
		}
		b := Batch{ID: 1, Name: "Russet", Base: rapid.SampledFrom(Bases()).Draw(t, "base"), When: s.StartedAt}
		now := listedWhen(t, "now").At
		whole, part := ShelfJar{Jar{Tag: jarA, State: s}, b}, ShelfJar{Jar{Tag: jarA, State: got}, b}
		for _, ask := range []func(ShelfJar) any{
			func(j ShelfJar) any { return j.Batch.Due(j.Jar.State, now) },
			func(j ShelfJar) any { return j.Batch.NextDates(j.Jar.State, time.UTC, 3) },
			func(j ShelfJar) any {
				return ShelfFilter{Stage: s.Stage, Held: true}.Match(j, now)
			},
			func(j ShelfJar) any { return ShelfFilter{Due: true}.Match(j, now) },
			func(j ShelfJar) any { return TodayOf([]ShelfJar{j}, BenchState{}, Kitchen{}, nil, now) },
			func(j ShelfJar) any {
				var n [3]int
				for i, c := range []MeasureChoice{MeasureAll, MeasureDue, MeasureSour} {
					n[i] = len(c.Choose([]ShelfJar{j}, now))
				}
				return n
			},
		} {
			if a, b := asJSON(t, ask(whole)), asJSON(t, ask(part)); a != b {
				t.Fatalf("of the whole state\n%s\nof what is listed\n%s", a, b)
			}
		}
	})
}

// A line that was cut, or written by hand, is refused.
func TestListedRefusesWhatItDidNotWrite(t *testing.T) {
	line := Fold(logOf(logged{daysAgo(3), Reading{PH: new(chem.PH(3.2))}}, logged{daysAgo(2), aTitration()})).ListedText()
	if _, err := ParseListed(line); err != nil {
		t.Fatal(err)
	}
	fields := strings.Split(line, "\t")
	for i := range fields {
		if _, err := ParseListed(strings.Join(fields[:i], "\t")); err == nil {
			t.Errorf("the first %d of %q are taken", i, fields)
		}
		if _, err := ParseListedFirst(strings.Join(fields[:min(i, 6)], "\t")); err == nil {
			t.Errorf("the first %d of %q are taken for all that comes first", min(i, 6), fields)
		}
	}
	for _, bad := range []string{"", line + "\t", line + "\t-", strings.Replace(line, "+", "?", 1), fmt.Sprintf("must\t%s\t\t\t\t-\t-\t-\t-\t-\t-", "yesterday")} {
		if s, err := ParseListed(bad); err == nil {
			t.Errorf("%q is taken, as %+v", bad, s)
		}
	}
}
