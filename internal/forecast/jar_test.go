package forecast

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

var jarStart = time.Date(2026, 10, 1, 12, 0, 0, 0, time.UTC)

// logged is an entry so many days after the start.
func logged(day float64, b larder.Body) larder.Entry {
	return larder.Entry{ID: uuid.New(), When: larder.ExactAt(jarStart.Add(time.Duration(day * 24 * float64(time.Hour)))), Kind: b.Kind(), Body: b}
}

// took is a titration of 2 mL with 0.1 mol/L base: 16.65 mL are 5.0 g/100 mL.
func took(mL float64) larder.Titration {
	run := chem.Replicate{EndML: chem.Millilitres(mL)}
	return larder.Titration{Titration: chem.Titration{SampleML: 2, BaseMolPerL: 0.1, SampleTolML: 0.02, Replicates: []chem.Replicate{run, run}}}
}

func fed(v chem.Millilitres) larder.Transfer {
	return larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromOther, Name: "wine", VolumeML: &v}}
}

func ofJar(t *testing.T, stage larder.Stage, most chem.GramsPer100ML, log ...larder.Entry) Forecast {
	t.Helper()
	jar := larder.Jar{State: larder.Fold(log)}
	jar.State.Stage = stage
	c := larder.Ceiling{CeilingResult: chem.CeilingResult{StoichiometricGPer100ML: most, LikelyLowGPer100ML: 0.75 * most, LikelyHighGPer100ML: 0.9 * most}}
	f, err := OfJar(larder.Batch{TargetGPer100ML: 5}, jar, log, c, jarStart.AddDate(0, 0, 30))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func acetic(day float64) larder.Entry {
	return logged(day, larder.StageChange{From: larder.Alcoholic, To: larder.Acetic})
}

// A jar on its way gets dates, and nothing above its ceiling.
func TestOfJarRises(t *testing.T) {
	f := ofJar(t, larder.Acetic, 7.1, acetic(0), logged(8, took(5.5)), logged(15, took(8.4)), logged(22, took(11.2)), logged(29, took(13.8)))
	if !f.Enough() || f.FinishKind != FinishTarget || !f.Finish.Early.Before(f.Finish.Late) || f.Finish.Late.Before(f.Now) {
		t.Fatalf("%+v %v", f.Finish, f.Findings)
	}
	steps := f.Steps()
	if len(steps) != 13 || !steps[0].At.Equal(f.Now) || steps[12].At.Before(f.Finish.Late) {
		t.Errorf("%d steps, to %s", len(steps), steps[len(steps)-1].At)
	}
	for i, s := range steps {
		if s.HighGPer100ML > 7.1 || s.LowGPer100ML > s.MidGPer100ML || s.MidGPer100ML > s.HighGPer100ML || i > 0 && !s.At.After(steps[i-1].At) {
			t.Errorf("step %d: %+v", i, s)
		}
	}
}

// What was titrated before liquid came in, or was struck, belongs to no curve.
func TestOfJarLeavesOutWhatIsNotItsCurve(t *testing.T) {
	wrong := logged(20, took(2))
	wrong.StruckBy = uuid.New()
	for name, log := range map[string][]larder.Entry{
		"struck":                {acetic(0), logged(8, took(5.5)), wrong},
		"before a top-up":       {acetic(0), logged(8, took(5.5)), logged(15, took(8.4)), logged(16, fed(500)), logged(22, took(9))},
		"nothing titrated":      {acetic(0)},
		"recorded out of order": {acetic(0), logged(16, fed(500)), logged(8, took(5.5)), logged(22, took(9))},
	} {
		if f := ofJar(t, larder.Acetic, 7.1, log...); f.Enough() || !f.Has(NotEnoughData) || len(f.Steps()) > 0 {
			t.Errorf("%s: %v", name, f.Findings)
		}
	}
	// A mother that brings no measured liquid starts no new curve.
	mother := larder.Transfer{What: larder.StarterIn, Feed: &larder.Feed{From: larder.FromBought, Name: "a mother", Mother: true}}
	if f := ofJar(t, larder.Acetic, 7.1, acetic(0), logged(8, took(5.5)), logged(9, mother), logged(15, took(8.4))); !f.Enough() {
		t.Errorf("after a mother: %v", f.Findings)
	}
}

func TestOfJarGoesByTheStage(t *testing.T) {
	log := []larder.Entry{acetic(0), logged(8, took(5.5)), logged(15, took(8.4))}
	for stage, want := range map[larder.Stage]FindingKind{larder.Must: NotEnoughData, larder.Alcoholic: NotEnoughData, larder.Maturing: StageOver, larder.Finished: StageOver, larder.Empty: StageOver} {
		if f := ofJar(t, stage, 7.1, log...); f.Enough() || !f.Has(want) {
			t.Errorf("%s: %v", stage, f.Findings)
		}
	}
	if f := ofJar(t, larder.Acetic, 0, log...); f.Enough() || !f.Has(NotEnoughData) {
		t.Errorf("without a ceiling: %v", f.Findings)
	}
}

// What was poured in may take a jar past the ceiling of its recipe, so that nothing
// is said to be out of reach.
func TestOfJarOfAnOpenCeiling(t *testing.T) {
	c := larder.Ceiling{Open: true}
	c.StoichiometricGPer100ML, c.LikelyLowGPer100ML, c.LikelyHighGPer100ML = 4.2, 3.2, 3.8
	jar := larder.Jar{State: larder.State{Stage: larder.Acetic}}
	f, err := OfJar(larder.Batch{TargetGPer100ML: 5}, jar, []larder.Entry{acetic(0), logged(8, took(5.5)), logged(15, took(8.4)), logged(22, took(15.5))}, c, simTime(23))
	if err != nil || f.Enough() || len(f.Findings) != 1 || !f.Has(NotEnoughData) {
		t.Errorf("%+v, %v", f.Findings, err)
	}
}

// A recipe of more sugar than bacteria bear is held to where they stop, 14 g/100
// mL (chemistry texts on acetic bacteria), and is no error.
func TestOfJarOfAMuchTooStrongRecipe(t *testing.T) {
	f := ofJar(t, larder.Acetic, 30, acetic(0), logged(8, took(5.5)), logged(15, took(8.4)))
	if !f.Enough() || float64(f.End.HighGPer100ML) > 14+1e-9 || math.IsNaN(float64(f.End.HighGPer100ML)) {
		t.Errorf("it ends at %v, %v", f.End, f.Findings)
	}
}

// The step back to acetic begins the curve anew.
func TestAceticSince(t *testing.T) {
	back := logged(20, larder.StageChange{From: larder.Maturing, To: larder.Acetic})
	if at := aceticSince([]larder.Entry{acetic(0), logged(10, larder.StageChange{From: larder.Acetic, To: larder.Maturing}), back}); !at.Equal(back.When.At) {
		t.Errorf("since %s", at)
	}
	struck := back
	struck.StruckBy = uuid.New()
	if at := aceticSince([]larder.Entry{acetic(0), struck}); !at.Equal(jarStart) {
		t.Errorf("since %s", at)
	}
	if at := aceticSince(nil); !at.IsZero() {
		t.Errorf("since %s", at)
	}
}

// Whoever titrated and then poured something in is not told that nothing was titrated.
func TestOfJarSaysWhatAnAdditionDid(t *testing.T) {
	for name, c := range map[string]struct {
		log  []larder.Entry
		want string
	}{
		"never titrated":     {[]larder.Entry{acetic(0), logged(16, fed(500))}, "no titration of this jar yet"},
		"titrated before it": {[]larder.Entry{acetic(0), logged(8, took(5.5)), logged(15, took(8.4)), logged(16, fed(500))}, "something went in since the last titration"},
		"and again since":    {[]larder.Entry{acetic(0), logged(8, took(5.5)), logged(16, fed(500)), logged(22, took(9))}, "one titration shows"},
	} {
		f := ofJar(t, larder.Acetic, 7.1, c.log...)
		if len(f.Findings) != 1 || !strings.Contains(f.Findings[0].Text, c.want) {
			t.Errorf("%s: %v", name, f.Findings)
		}
	}
}
