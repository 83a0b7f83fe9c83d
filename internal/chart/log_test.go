package chart

import (
	"math"
	"testing"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

func TestFromLog(t *testing.T) {
	entry := func(day float64, b larder.Body) larder.Entry {
		return larder.Entry{ID: uuid.New(), When: larder.ExactAt(at(day)), Kind: b.Kind(), Body: b}
	}
	run := chem.Replicate{StartML: 0, EndML: 8.33}
	titration := larder.Titration{Titration: chem.Titration{SampleML: 2, BaseMolPerL: 0.2, Replicates: []chem.Replicate{run, run}}}
	wrong := entry(30, larder.Reading{PH: new(chem.PH(9))})
	wrong.StruckBy = uuid.New()
	log := []larder.Entry{
		entry(0, larder.StageChange{To: larder.Alcoholic, VolumeML: new(chem.Millilitres(900))}),
		entry(10, larder.StageChange{From: larder.Alcoholic, To: larder.Acetic, VolumeML: new(chem.Millilitres(900)), Starter: &larder.Feed{From: larder.FromAir}}),
		entry(20, larder.Reading{PH: new(chem.PH(3.1)), TempC: new(chem.Celsius(21)), ABV: new(chem.PercentVol(6))}),
		wrong,
		entry(40, titration),
		entry(41, larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: new(chem.Millilitres(100))}}),
		entry(42, larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromOther, Name: "cider", VolumeML: new(chem.Millilitres(100))}}),
		entry(5, larder.Reading{SG: new(chem.SpecificGravity(1.02))}), // recorded late
	}
	in := FromLog(log, at(45).In(dublin))
	in.Title = "Jar"
	if _, err := SVG(in); err != nil {
		t.Fatal(err)
	}
	a := in.Series[0].Points
	// AOAC 930.35 by arithmetic: 8.33 mL x 0.2 mol/L x 60.05 g/mol / (10 x 2 mL)
	// = 5.00 g/100 mL; 900 mL with 100 mL of water are 0.9 of that. What cider
	// does to it nobody knows, so the last entry adds no point.
	if len(a) != 2 || math.Abs(a[0].Value-5.00) > 0.005 || a[0].Computed || a[0].HalfWidth <= 0 || math.Abs(a[1].Value-4.50) > 0.005 || !a[1].Computed {
		t.Errorf("acidity %+v", a)
	}
	rows, err := Rows(in)
	if err != nil || len(rows) != 2+1+1+1+1 {
		t.Errorf("%d rows, %v: %v", len(rows), err, rows)
	}
	if s := in.Stages; len(s) != 2 || s[0].Name != "alcoholic" || !s[0].To.Equal(at(10)) || !s[1].To.IsZero() {
		t.Errorf("stages %+v", s)
	}
	if in := FromLog(nil, at(45)); len(in.Stages) != 0 || len(in.shown()) != 0 {
		t.Errorf("an empty log draws %+v", in)
	}
}
