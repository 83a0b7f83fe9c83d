package larder

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"cruet/internal/chem"
)

// logged makes a log of bodies, each at its When, each of an act of its own.
type logged struct {
	When When
	Body Body
}

func logOf(lines ...logged) []Entry {
	log := []Entry{{Seq: 1, ID: uuid.New(), Act: uuid.New(), Jar: jarA, When: daysAgo(30), Kind: KindStage, Body: StageChange{To: Alcoholic, VolumeML: ml(2000)}}}
	for i, l := range lines {
		log = append(log, Entry{Seq: int64(i + 2), ID: uuid.New(), Act: uuid.New(), Jar: jarA, When: l.When, Kind: l.Body.Kind(), Body: l.Body})
	}
	return log
}

func water(v float64) Transfer {
	return Transfer{What: Dilution, Feed: &Feed{From: FromWater, VolumeML: ml(v)}}
}

func wine(v float64) Transfer {
	return Transfer{What: TopUp, Feed: &Feed{From: FromOther, Name: "wine", VolumeML: ml(v)}}
}

func gave(v float64) Transfer { return Transfer{What: Gave, To: jarB, VolumeML: ml(v)} }

func holdsML(t *testing.T, s State, want float64) {
	t.Helper()
	if s.VolumeML == nil || math.Abs(float64(*s.VolumeML)-want) > 1e-9 {
		t.Errorf("the jar holds %v, want %g mL", s.VolumeML, want)
	}
}

// The acid of a titrated jar stays when water comes in: c1·V1 = c2·V2.
func TestWaterMakesTheAcidityComputed(t *testing.T) {
	s := Fold(logOf(logged{daysAgo(5), aTitration()}, logged{daysAgo(4), water(500)}, logged{daysAgo(3), water(500)}))
	before := Fold(logOf(logged{daysAgo(5), aTitration()})).Acidity
	holdsML(t, s, 3000)
	a := s.Acidity
	if a.Basis != Computed || a.When != before.When || a.Entry == uuid.Nil || !strings.Contains(a.Why, "500 mL of water") {
		t.Errorf("after water the acidity is %+v", a)
	}
	for name, pair := range map[string][2]chem.GramsPer100ML{
		"acidity": {a.GPer100ML, before.GPer100ML}, "lower bound": {a.LowerGPer100ML, before.LowerGPer100ML},
		"uncertainty": {a.ExpandedUGPer100ML, before.ExpandedUGPer100ML}, "standard deviation": {a.SDGPer100ML, before.SDGPer100ML},
	} {
		if math.Abs(float64(pair[0])*3000-float64(pair[1])*2000) > 1e-9 {
			t.Errorf("%s: %g g/100 mL in 3 L is not %g in 2 L", name, pair[0], pair[1])
		}
	}
}

func TestWhatOutdatesTheAcidity(t *testing.T) {
	for name, row := range map[string]struct {
		log  []Entry
		want Basis
	}{
		"a top-up":                       {logOf(logged{daysAgo(5), aTitration()}, logged{daysAgo(4), wine(100)}), Outdated},
		"a top-up, then water":           {logOf(logged{daysAgo(5), aTitration()}, logged{daysAgo(4), wine(100)}, logged{daysAgo(3), water(100)}), Outdated},
		"only a mother":                  {logOf(logged{daysAgo(5), aTitration()}, logged{daysAgo(4), Transfer{What: StarterIn, Feed: &Feed{From: FromJar, Jar: jarB, Mother: true}}}), ByTitration},
		"taking some out":                {logOf(logged{daysAgo(5), aTitration()}, logged{daysAgo(4), gave(500)}), ByTitration},
		"a titration after the top-up":   {logOf(logged{daysAgo(5), wine(100)}, logged{daysAgo(4), aTitration()}), ByTitration},
		"an old top-up, logged late":     {logOf(logged{daysAgo(4), aTitration()}, logged{daysAgo(5), wine(100)}), ByTitration},
		"an old titration, logged late":  {logOf(logged{daysAgo(4), wine(100)}, logged{daysAgo(5), aTitration()}), Outdated},
		"an old titration before water":  {logOf(logged{daysAgo(7), aTitration()}, logged{daysAgo(4), water(500)}, logged{daysAgo(5), aTitration()}), Outdated},
		"water on the titration's day":   {logOf(logged{daysAgo(4), aTitration()}, logged{ExactAt(daysAgo(4).At.Add(-2 * time.Hour)), water(500)}), Computed},
		"wine about the titration's day": {logOf(logged{daysAgo(4), aTitration()}, logged{When{At: daysAgo(5).At, Precision: About, SpreadDays: 2}, wine(5)}), Outdated},
		"water into an unknown volume": {func() []Entry {
			log := logOf(logged{daysAgo(5), aTitration()}, logged{daysAgo(4), water(500)})
			log[0].Body = StageChange{To: Alcoholic}
			return log
		}(), Outdated},
	} {
		if a := Fold(row.log).Acidity; a == nil || a.Basis != row.want || (a.Basis != ByTitration) != (a.Why != "") {
			t.Errorf("%s: the acidity is %+v, want it %s", name, a, row.want)
		}
	}
}

// AsOf leaves out what came later, by date where that tells and else by the order
// of recording, and what was struck of another jar whenever that was.
func TestAsOf(t *testing.T) {
	about := When{At: daysAgo(5).At, Precision: About, SpreadDays: 2}
	for name, row := range map[string]struct {
		when When
		want bool // that the titration, entry 2 of day 5, counts
		seq  int64
	}{
		"the day after":             {daysAgo(4), true, 3},
		"the day before":            {daysAgo(6), false, 3},
		"that day, recorded after":  {daysAgo(5), true, 3},
		"that day, recorded before": {daysAgo(5), false, 2},
		"about that day, after":     {about, true, 3},
		"about that day, before":    {about, false, 2},
		"later, recorded before":    {daysAgo(4), true, 2},
	} {
		if got := AsOf(logOf(logged{daysAgo(5), aTitration()}), row.when, row.seq).Acidity != nil; got != row.want {
			t.Errorf("%s: the titration counts: %v", name, got)
		}
	}
	log := logOf()
	a := Fold(logOf(logged{daysAgo(40), aTitration()})).Acidity
	log[0].Body = StageChange{To: Acetic, VolumeML: ml(2000), Inherit: &Inherit{Acidity: a, AcidityFrom: []uuid.UUID{a.Entry}}}
	if AsOf(log, daysAgo(5), 9).Acidity == nil {
		t.Fatal("nothing was inherited")
	}
	log = append(log, Entry{Seq: 2, ID: uuid.New(), Jar: jarA, When: daysAgo(1), Kind: KindStrike, Body: Strike{Target: a.Entry, Reason: "wrong base"}})
	if got := AsOf(log, daysAgo(5), 2).Acidity; got != nil {
		t.Errorf("of a titration struck since: %+v", got)
	}
}

func TestVolume(t *testing.T) {
	read := func(v float64) Reading { return Reading{VolumeML: ml(v)} }
	for name, row := range map[string]struct {
		log  []Entry
		want float64
	}{
		"in and out":                        {logOf(logged{daysAgo(9), wine(300)}, logged{daysAgo(8), gave(500)}), 1800},
		"measured":                          {logOf(logged{daysAgo(9), wine(300)}, logged{daysAgo(8), read(2200)}), 2200},
		"measured, then out":                {logOf(logged{daysAgo(8), read(2200)}, logged{daysAgo(7), gave(200)}), 2000},
		"an old measure, logged late":       {logOf(logged{daysAgo(7), read(1500)}, logged{daysAgo(8), read(1900)}), 1500},
		"a measure from before, gave since": {logOf(logged{daysAgo(7), gave(500)}, logged{daysAgo(8), read(1900)}), 1500},
		"a feed that was measured already":  {logOf(logged{daysAgo(7), read(2200)}, logged{daysAgo(8), wine(200)}), 2200},
		"a gift that was measured already":  {logOf(logged{daysAgo(7), read(1500)}, logged{daysAgo(8), gave(500)}), 1500},
		"strained, with a starter":          {logOf(logged{daysAgo(7), StageChange{From: Alcoholic, To: Acetic, VolumeML: ml(1600), Starter: &Feed{From: FromJar, Jar: jarB, VolumeML: ml(200)}}}), 1800},
		"emptied":                           {logOf(logged{daysAgo(7), StageChange{From: Alcoholic, To: Empty, Reason: "spilt"}}), 0},
	} {
		t.Run(name, func(t *testing.T) { holdsML(t, Fold(row.log), row.want) })
	}
}

func TestNewestReadingStands(t *testing.T) {
	ph := func(v float64) Reading { return Reading{PH: new(chem.PH(v))} }
	for name, row := range map[string]struct {
		log  []Entry
		want chem.PH
	}{
		"in order":            {logOf(logged{daysAgo(5), ph(3.5)}, logged{daysAgo(3), ph(3.2)}), 3.2},
		"an old one, late":    {logOf(logged{daysAgo(3), ph(3.2)}, logged{daysAgo(5), ph(3.5)}), 3.2},
		"the same instant":    {logOf(logged{daysAgo(3), ph(3.2)}, logged{daysAgo(3), ph(3.3)}), 3.3},
		"the same day, later": {logOf(logged{daysAgo(3), ph(3.2)}, logged{ExactAt(daysAgo(3).At.Add(-3 * time.Hour)), ph(3.1)}), 3.1},
	} {
		if s := Fold(row.log); s.PH == nil || s.PH.Value != row.want {
			t.Errorf("%s: %+v, want pH %g", name, s.PH, row.want)
		}
	}
}

func heating(tempC chem.Celsius, minutes float64) Action {
	return Action{What: Pasteurised, TempC: &tempC, Minutes: &minutes}
}

// What counts as pasteurised: Ohio State University Extension HYG-5346 for the
// 60 °C; the 30 minutes of USDA bulletins are from memory.
func TestWhatCountsAsHeated(t *testing.T) {
	for name, row := range map[string]struct {
		a    Action
		want bool
	}{
		"by the guide": {heating(65, 30), true}, "hotter": {heating(75, 40), true},
		"too cool": {heating(59, 60), false}, "too short": {heating(65, 29), false}, "no figures": {Action{What: Pasteurised}, false},
	} {
		if s := Fold(logOf(logged{daysAgo(2), row.a})); (s.HeatedAt != nil) != row.want {
			t.Errorf("%s: heated %v", name, s.HeatedAt)
		}
	}
	for name, a := range map[string]Action{"frozen": heating(-5, 30), "backwards": heating(65, -30), "no figures": {What: Pasteurised}, "for ever": heating(65, 1e308)} {
		if p := a.check(Jar{SizeML: 1000}); len(p) == 0 {
			t.Errorf("%s is accepted", name)
		}
	}
}

func TestActionsInState(t *testing.T) {
	log := logOf(
		logged{daysAgo(9), Action{What: Stirred}}, logged{daysAgo(12), Action{What: Stirred}},
		logged{daysAgo(8), Action{What: Strained, VolumeML: ml(1700)}}, logged{daysAgo(7), Action{What: MouldSeen}},
		logged{daysAgo(6), Action{What: Shifted, Place: "cellar"}}, logged{daysAgo(5), Hold{On: true, Reason: "mould"}},
		logged{daysAgo(4), heating(65, 30)},
	)
	s := Fold(log)
	if !s.StirredAt.Equal(daysAgo(9).At) || !s.StrainedAt.Equal(daysAgo(8).At) || !s.MouldAt.Equal(daysAgo(7).At) || s.Place != "cellar" || s.Hold != "mould" || !s.HeatedAt.Equal(daysAgo(4).At) {
		t.Errorf("the state is %+v", s)
	}
	if s := s.Apply(Entry{When: daysAgo(3), Body: Hold{Reason: "skimmed off"}}); s.Hold != "" {
		t.Error("a lifted hold stands")
	}
	if s := s.Apply(Entry{When: daysAgo(3), Body: water(100)}); s.HeatedAt == nil {
		t.Error("water undoes the heating")
	}
	if s := s.Apply(Entry{When: daysAgo(3), Body: wine(100)}); s.HeatedAt != nil {
		t.Error("still called pasteurised after something else went in")
	}
	if s := s.Apply(Entry{When: daysAgo(6), Body: wine(100)}); s.HeatedAt == nil {
		t.Error("what went in before the heating was heated too")
	}
}

func TestStrikeRestoresTheEarlierState(t *testing.T) {
	log := logOf(logged{daysAgo(9), aTitration()}, logged{daysAgo(8), wine(300)}, logged{daysAgo(7), Reading{PH: new(chem.PH(3.1))}})
	want := asJSON(t, Fold(log[:3]))
	if err := CheckStrike(StruckWith(log[3], false), log); err != nil {
		t.Fatal(err)
	}
	log[3].StruckBy = uuid.New()
	log = append(log, Entry{ID: log[3].StruckBy, When: daysAgo(6), Kind: KindStrike, Body: Strike{Target: log[3].ID, Reason: "wrong jar"}})
	if got := asJSON(t, Fold(log)); got != want {
		t.Errorf("after the strike\n%s\nwant\n%s", got, want)
	}
}

func TestCheckStrike(t *testing.T) {
	move := func(from, to Stage) StageChange { return StageChange{From: from, To: to} }
	base := logOf(logged{daysAgo(9), wine(500)}, logged{daysAgo(8), gave(2400)}, logged{daysAgo(7), move(Alcoholic, Acetic)}, logged{daysAgo(6), move(Acetic, Maturing)}, logged{daysAgo(5), Strike{Reason: "x"}})
	struck := append([]Entry(nil), base...)
	struck[1].StruckBy = uuid.New()
	for name, row := range map[string]struct {
		log  []Entry
		i    int
		says string
	}{
		"the start":                 {base, 0, "start of a jar"},
		"what was poured out since": {base, 1, "Later entries take more"},
		"a gift":                    {base, 2, ""},
		"an earlier stage":          {base, 3, "Strike the later change of stage first"},
		"the last stage":            {base, 4, ""},
		"a strike":                  {base, 5, "cannot be struck"},
		"a struck one":              {struck, 1, "struck already"},
	} {
		err := CheckStrike(StruckWith(row.log[row.i], false), row.log)
		if (err == nil) != (row.says == "") || (err != nil && !strings.Contains(err.Error(), row.says)) {
			t.Errorf("%s: %v, want %q", name, err, row.says)
		}
	}
	if err := CheckStrike(StruckWith(Entry{Act: uuid.New()}, false), base); err == nil {
		t.Error("an act that wrote nothing can be struck")
	}
}

func TestEdges(t *testing.T) {
	for name, row := range map[string]struct {
		body Body
		want *Edge
	}{
		"a note":      {Note{}, nil},
		"air":         {StageChange{To: Acetic, Starter: &Feed{From: FromAir}}, nil},
		"the giver":   {gave(200), nil},
		"a starter":   {StageChange{To: Acetic, Starter: &Feed{From: FromJar, Jar: jarB, VolumeML: ml(200), Mother: true}}, &Edge{What: StarterIn, FromJar: jarB, ToJar: jarA, VolumeML: ml(200), Mother: true}},
		"bought":      {Transfer{What: StarterIn, Feed: &Feed{From: FromBought, Name: "live vinegar"}}, &Edge{What: StarterIn, FromName: "live vinegar", ToJar: jarA}},
		"water":       {water(300), &Edge{What: Dilution, FromName: "water", ToJar: jarA, VolumeML: ml(300)}},
		"the bottles": {Transfer{What: Bottled, Lot: "L261125A", VolumeML: ml(1500)}, &Edge{What: Bottled, FromJar: jarA, ToLot: "L261125A", VolumeML: ml(1500)}},
	} {
		got, ok := EdgeOf(Entry{Jar: jarA, When: daysAgo(3), Body: row.body})
		if ok != (row.want != nil) {
			t.Errorf("%s: an edge is drawn: %v", name, ok)
			continue
		}
		if ok {
			row.want.When = daysAgo(3)
			if asJSON(t, got) != asJSON(t, *row.want) {
				t.Errorf("%s: %s, want %s", name, asJSON(t, got), asJSON(t, *row.want))
			}
		}
	}
	giver, out, ok := Giver(jarA, Transfer{What: TopUp, Feed: &Feed{From: FromJar, Jar: jarB, VolumeML: ml(200)}})
	if !ok || giver != jarB || out.What != Gave || out.To != jarA || *out.VolumeML != 200 {
		t.Errorf("the giver is %s with %+v, %v", giver, out, ok)
	}
	if _, _, ok := Giver(jarA, water(100)); ok {
		t.Error("a jar gave water from the tap")
	}
}

func asJSON(t interface{ Fatal(...any) }, v any) string {
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// drawBody is any body that may be logged on the jar, some of them wrong.
func drawBody(t *rapid.T, jar Jar) Body {
	volume := func(most float64) *chem.Millilitres {
		return new(chem.Millilitres(rapid.Float64Range(1, most).Draw(t, "volume_ml")))
	}
	origin := rapid.SampledFrom([]Feed{{From: FromJar, Jar: jarB}, {From: FromJar, Jar: jarB, Mother: true}, {From: FromBought, Name: "live vinegar", Live: true}, {From: FromOther, Name: "wine"}, {From: FromWater}})
	switch rapid.IntRange(0, 8).Draw(t, "kind") {
	case 0:
		return Reading{PH: new(chem.PH(rapid.Float64Range(2.5, 4).Draw(t, "ph")))}
	case 1:
		return Reading{VolumeML: volume(3000), SG: new(chem.SpecificGravity(1.01))}
	case 2:
		return aTitration()
	case 3, 4:
		moves := MovesFrom(jar.State.Stage)
		if len(moves) == 0 {
			return Note{}
		}
		s := StageChange{From: jar.State.Stage, To: rapid.SampledFrom(moves).Draw(t, "move").To, Reason: "it went so"}
		if s.To == Acetic {
			s.VolumeML, s.Starter = volume(2500), new(origin.Draw(t, "starter"))
			s.Starter.VolumeML = volume(500)
		}
		return s
	case 5:
		f := origin.Draw(t, "feed")
		f.VolumeML = volume(1500)
		what := TopUp
		if f.From == FromWater {
			what = Dilution
		}
		return Transfer{What: what, Feed: &f}
	case 6:
		return Transfer{What: Gave, To: jarB, VolumeML: volume(2500)}
	case 7:
		return Action{What: rapid.SampledFrom([]ActionKind{Stirred, Pasteurised, MouldSeen, Tasted}).Draw(t, "action")}
	}
	return Hold{On: jar.State.Hold == "" || rapid.Bool().Draw(t, "on"), Reason: "mould"}
}

// Whatever is logged, in whatever order and with whatever dates: the state that
// is carried on equals the state derived from the whole log, also through JSON
// as the store keeps it and after any permitted strike; no volume is negative;
// water never makes a vinegar stronger; a retired jar takes only notes, photos and holds.
func TestStateProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		log := logOf()
		jar := Jar{Tag: jarA, SizeML: 3000, State: Fold(log)}
		for range rapid.IntRange(1, 25).Draw(t, "entries") {
			if len(log) > 1 && rapid.IntRange(0, 5).Draw(t, "strike") == 0 {
				these := StruckWith(log[rapid.IntRange(0, len(log)-1).Draw(t, "which")], rapid.Bool().Draw(t, "alone"))
				if CheckStrike(these, log) == nil {
					for i := range log {
						if these(log[i]) {
							log[i].StruckBy = uuid.New()
						}
					}
					jar.State = Fold(log)
				}
			} else {
				n := NewEntry{When: daysAgo(rapid.IntRange(0, 29).Draw(t, "days_ago")), Note: "as seen", Body: drawBody(t, jar)}
				if n.Check(jar, testNow) != nil {
					continue
				}
				if !jar.State.Stage.Live() && n.Body.Kind() != KindNote && n.Body.Kind() != KindHold {
					t.Fatalf("a jar that is %s took a %s", jar.State.Stage, n.Body.Kind())
				}
				e := Entry{Seq: int64(len(log)), ID: uuid.New(), Act: uuid.New(), Jar: jarA, When: n.When, Kind: n.Body.Kind(), Body: n.Body}
				before := jar.State
				kept := asJSON(t, before)
				jar.State = jar.State.Apply(e)
				if asJSON(t, before) != kept {
					t.Fatal("Apply changed the state before")
				}
				if a, b := jar.State.Acidity, before.Acidity; e.Kind == KindTransfer && a != nil && b != nil && a.GPer100ML > b.GPer100ML {
					t.Fatalf("%+v raised the acidity from %+v to %+v", e.Body, b, a)
				}
				log = append(log, e)
			}
			if v := jar.State.VolumeML; v != nil && (*v < 0 || math.IsNaN(float64(*v))) {
				t.Fatalf("the jar holds %g mL", *v)
			}
			whole := asJSON(t, Fold(log))
			if got := asJSON(t, jar.State); got != whole {
				t.Fatalf("carried on\n%s\nderived\n%s", got, whole)
			}
			var back State
			if err := json.Unmarshal([]byte(whole), &back); err != nil || asJSON(t, back) != whole {
				t.Fatalf("the state does not survive JSON: %v", err)
			}
		}
	})
}
