package larder

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"cruet/internal/chem"
)

const (
	jarA Tag = "K7RM4T"
	jarB Tag = "C3VW9H"
)

// shelfJar is a 3 L jar in that stage since 10 days, started 20 days ago, with
// 2 L in it.
func shelfJar(stage Stage) Jar {
	return Jar{Tag: jarA, SizeML: 3000, State: State{Stage: stage, StageSince: daysAgo(10), StartedAt: daysAgo(20), VolumeML: ml(2000)}}
}

// aTitration gives 5.0 to 5.1 g/100 mL: 5 mL taken 42.0 and 42.2 mL of 0.1 mol/L,
// V × N × 60.05 / (10 × 5).
func aTitration() Titration {
	return Titration{Titration: chem.Titration{SampleML: 5, BaseMolPerL: 0.1,
		Replicates: []chem.Replicate{{StartML: 0, EndML: 42}, {StartML: 1, EndML: 43.2}}}}
}

func TestNewEntryCheck(t *testing.T) {
	jarFeed := func(v float64) *Feed { return &Feed{From: FromJar, Jar: jarB, VolumeML: ml(v)} }
	for name, row := range map[string]struct {
		stage Stage
		when  When
		body  Body
		want  []string
	}{
		"a pH":                       {Acetic, When{}, Reading{PH: new(chem.PH(3.2))}, nil},
		"everything":                 {Acetic, daysAgo(3), Reading{PH: new(chem.PH(3.2)), TempC: new(chem.Celsius(21)), SG: new(chem.SpecificGravity(1.01)), Brix: new(chem.DegreesBrix(5)), ABV: new(chem.PercentVol(6)), VolumeML: ml(1900)}, nil},
		"no body":                    {Acetic, When{}, nil, []string{""}},
		"a blank reading":            {Acetic, When{}, Reading{Instrument: "bench pH"}, []string{""}},
		"a lost point":               {Acetic, When{}, Reading{PH: new(chem.PH(32))}, []string{"ph"}},
		"not a number":               {Acetic, When{}, Reading{PH: new(chem.PH(math.NaN())), VolumeML: ml(math.NaN())}, []string{"ph", "volume_ml"}},
		"all wrong":                  {Acetic, When{}, Reading{PH: new(chem.PH(-1)), TempC: new(chem.Celsius(300)), SG: new(chem.SpecificGravity(2)), Brix: new(chem.DegreesBrix(90)), ABV: new(chem.PercentVol(40)), VolumeML: ml(9000)}, []string{"ph", "temp_c", "specific_gravity", "brix", "abv_percent_vol", "volume_ml"}},
		"no volume":                  {Acetic, When{}, Reading{VolumeML: ml(0)}, []string{"volume_ml"}},
		"a titration":                {Acetic, When{}, aTitration(), nil},
		"an empty titration":         {Acetic, When{}, Titration{}, []string{"sample_ml"}},
		"a wrong endpoint":           {Acetic, When{}, Titration{Titration: aTitration().Titration, EndpointPH: new(chem.PH(82))}, []string{"endpoint_ph"}},
		"to come":                    {Acetic, daysAgo(-2), Note{}, []string{"when"}},
		"before the start":           {Acetic, daysAgo(30), Note{}, []string{"when"}},
		"before the stage":           {Acetic, daysAgo(15), Reading{PH: new(chem.PH(3.2))}, nil},
		"a move before the last":     {Acetic, daysAgo(15), StageChange{To: Finished}, []string{"when"}},
		"a move after it":            {Acetic, daysAgo(5), StageChange{To: Finished}, nil},
		"an impossible move":         {Must, When{}, StageChange{To: Finished}, []string{"stage"}},
		"an unknown stage":           {Must, When{}, StageChange{To: "vinegar"}, []string{"stage"}},
		"acetic without facts":       {Alcoholic, When{}, StageChange{To: Acetic}, []string{"volume_ml", "starter"}},
		"acetic left to the air":     {Alcoholic, When{}, StageChange{To: Acetic, VolumeML: ml(1800), Starter: &Feed{From: FromAir}}, nil},
		"air that has a volume":      {Alcoholic, When{}, StageChange{To: Acetic, VolumeML: ml(1800), Starter: &Feed{From: FromAir, VolumeML: ml(100)}}, []string{"starter"}},
		"acetic, too full":           {Alcoholic, When{}, StageChange{To: Acetic, VolumeML: ml(2900), Starter: jarFeed(200)}, []string{"starter_volume_ml"}},
		"acetic, full":               {Alcoholic, When{}, StageChange{To: Acetic, VolumeML: ml(2800), Starter: jarFeed(200)}, nil},
		"a starter elsewhere":        {Acetic, When{}, StageChange{To: Maturing, Starter: jarFeed(100)}, []string{"starter"}},
		"backward without a reason":  {Acetic, When{}, StageChange{To: Alcoholic}, []string{"reason"}},
		"backward with one":          {Acetic, When{}, StageChange{To: Alcoholic, Reason: "still bubbling"}, nil},
		"discarded without a reason": {Acetic, When{}, StageChange{To: Discarded}, []string{"reason"}},
		"stirred":                    {Must, When{}, Action{What: Stirred}, nil},
		"strained, but how much":     {Alcoholic, When{}, Action{What: Strained}, []string{"volume_ml"}},
		"moved, but where":           {Alcoholic, When{}, Action{What: Shifted}, []string{"place"}},
		"shaken":                     {Alcoholic, When{}, Action{What: "shaken"}, []string{"action"}},
		"a mother from a jar":        {Acetic, When{}, Transfer{What: StarterIn, Feed: &Feed{From: FromJar, Jar: jarB, Mother: true}}, nil},
		"from a jar, but what":       {Acetic, When{}, Transfer{What: StarterIn, Feed: &Feed{From: FromJar}}, []string{"feed_jar", "feed_volume_ml"}},
		"from itself":                {Acetic, When{}, Transfer{What: TopUp, Feed: &Feed{From: FromJar, Jar: jarA, VolumeML: ml(10)}}, []string{"feed_jar"}},
		"bought, but what":           {Acetic, When{}, Transfer{What: StarterIn, Feed: &Feed{From: FromBought, VolumeML: ml(200)}}, []string{"feed_name"}},
		"bought with a jar's tag":    {Acetic, When{}, Transfer{What: StarterIn, Feed: &Feed{From: FromBought, Name: "live vinegar", Jar: jarB}}, []string{"feed_jar"}},
		"bought at 50 %":             {Acetic, When{}, Transfer{What: StarterIn, Feed: &Feed{From: FromBought, Name: "essence", Acidity: new(chem.GramsPer100ML(50))}}, []string{"feed_acidity"}},
		"water, but how much":        {Acetic, When{}, Transfer{What: Dilution, Feed: &Feed{From: FromWater}}, []string{"feed_volume_ml"}},
		"water":                      {Acetic, When{}, Transfer{What: Dilution, Feed: &Feed{From: FromWater, VolumeML: ml(1000)}}, nil},
		"too much water":             {Acetic, When{}, Transfer{What: Dilution, Feed: &Feed{From: FromWater, VolumeML: ml(1001)}}, []string{"feed_volume_ml"}},
		"less than no water":         {Acetic, When{}, Transfer{What: Dilution, Feed: &Feed{From: FromWater, VolumeML: ml(-5)}}, []string{"feed_volume_ml"}},
		"diluted with wine":          {Acetic, When{}, Transfer{What: Dilution, Feed: &Feed{From: FromOther, Name: "wine", VolumeML: ml(5)}}, []string{"feed"}},
		"topped up with nothing":     {Acetic, When{}, Transfer{What: TopUp}, []string{"feed"}},
		"an unknown origin":          {Acetic, When{}, Transfer{What: TopUp, Feed: &Feed{From: "sky"}}, []string{"feed"}},
		"an unknown transfer":        {Acetic, When{}, Transfer{What: "spilt"}, []string{"transfer"}},
		"gave more than it has":      {Acetic, When{}, Transfer{What: Gave, To: jarB, VolumeML: ml(2001)}, []string{"volume_ml"}},
		"gave all":                   {Acetic, When{}, Transfer{What: Gave, To: jarB, VolumeML: ml(2000)}, nil},
		"a hold without a reason":    {Acetic, When{}, Hold{On: true}, []string{"reason"}},
		"lifting no hold":            {Acetic, When{}, Hold{Reason: "settled"}, []string{""}},
		"a hold":                     {Acetic, When{}, Hold{On: true, Reason: "mould"}, nil},
		"a reading of no jar":        {Empty, When{}, Reading{PH: new(chem.PH(3))}, []string{""}},
		"a note on a retired jar":    {Discarded, When{}, Note{}, nil},
		"a strike without a reason":  {Acetic, When{}, Strike{}, []string{"reason"}},
	} {
		n := NewEntry{When: row.when, Body: row.body}
		if _, ok := row.body.(Note); ok {
			n.Note = "smells of pears"
		}
		err := n.Check(shelfJar(row.stage), testNow)
		if got := fields(t, err); !slices.Equal(got, row.want) {
			t.Errorf("%s: problems with %q (%v), want %q", name, got, err, row.want)
		}
	}
	if got := fields(t, NewEntry{Note: " ", Body: Note{}}.Check(shelfJar(Must), testNow)); !slices.Equal(got, []string{"note"}) {
		t.Errorf("a blank note: problems with %q", got)
	}
	long := NewEntry{Note: strings.Repeat("x", MaxNoteRunes+1), Body: Note{}}
	if got := fields(t, long.Check(shelfJar(Must), testNow)); !slices.Equal(got, []string{"note"}) {
		t.Errorf("a novel: problems with %q", got)
	}
}

// A jar whose volume nobody knows gives no more than its vessel holds.
func TestUnknownVolume(t *testing.T) {
	jar := shelfJar(Acetic)
	jar.State.VolumeML = nil
	for v, want := range map[float64]bool{2999: true, 3000: true, 3001: false} {
		err := NewEntry{Body: Transfer{What: Gave, To: jarB, VolumeML: ml(v)}}.Check(jar, testNow)
		if (err == nil) != want {
			t.Errorf("giving %g mL of an unknown volume: %v", v, err)
		}
	}
}

func TestCheckByHand(t *testing.T) {
	for _, b := range []Body{Strike{Reason: "x"}, Photo{SHA256: aHash}, Transfer{What: Gave, To: jarB}, Transfer{What: Bottled, Lot: "L261125A"}, Transfer{What: Gave, Feed: &Feed{From: FromWater}}} {
		if CheckByHand(b) == nil {
			t.Errorf("%+v may be logged by hand", b)
		}
	}
	for _, b := range []Body{Note{}, Reading{}, Hold{}, Transfer{What: TopUp, Feed: &Feed{}}} {
		if err := CheckByHand(b); err != nil {
			t.Errorf("%+v: %v", b, err)
		}
	}
}

func TestBodiesSurviveJSON(t *testing.T) {
	bodies := []Body{
		Reading{PH: new(chem.PH(3.2)), VolumeML: ml(1900), Instrument: "bench pH"},
		aTitration(),
		StageChange{From: Alcoholic, To: Acetic, VolumeML: ml(1800), Starter: &Feed{From: FromJar, Jar: jarB, VolumeML: ml(200), Mother: true}},
		Action{What: Pasteurised, TempC: new(chem.Celsius(65)), Minutes: new(30.0)},
		Transfer{What: Bottled, Lot: "L261125A", VolumeML: ml(1500)},
		Hold{On: true, Reason: "mould"}, Note{}, Photo{SHA256: aHash, ThumbSHA256: aHash, WidthPX: 1600, HeightPX: 1200}, Strike{Target: uuid.New(), Reason: "wrong jar"},
	}
	kinds := map[Kind]bool{}
	for _, b := range bodies {
		kinds[b.Kind()] = true
		data, err := json.Marshal(b)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := DecodeBody(b.Kind(), data); err != nil || !reflect.DeepEqual(got, b) {
			t.Errorf("%s comes back as %+v, %v", data, got, err)
		}
		if _, err := DecodeBody(b.Kind(), []byte(`[`)); err == nil {
			t.Errorf("a broken %s decodes", b.Kind())
		}
	}
	if len(kinds) != 9 {
		t.Errorf("%d kinds were tried, there are 9", len(kinds))
	}
	if _, err := DecodeBody("poem", []byte(`{}`)); err == nil {
		t.Error("a poem decodes")
	}
}

func TestDescribe(t *testing.T) {
	for want, f := range map[string]Feed{
		"mother and 200 mL from jar K7RM4T":            {From: FromJar, Jar: jarA, VolumeML: ml(200), Mother: true},
		"mother from jar K7RM4T":                       {From: FromJar, Jar: jarA, Mother: true},
		"200 mL of bought live vinegar (stated 5.5 %)": {From: FromBought, Name: "live vinegar", VolumeML: ml(200), Acidity: new(chem.GramsPer100ML(5.5))},
		"500 mL of water":                              {From: FromWater, VolumeML: ml(500)},
		"200 mL of cider":                              {From: FromOther, Name: "cider", VolumeML: ml(200)},
		"none; left to the air":                        {From: FromAir},
	} {
		if got := f.Describe(); got != want {
			t.Errorf("Describe = %q, want %q", got, want)
		}
	}
}
