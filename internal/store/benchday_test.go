package store

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// What was checked on the bench serves whatever was measured on that day, also
// where the measurement says only the day, or about which day, which stands at noon.
func TestTheDaysBenchServesTheDay(t *testing.T) {
	db, clock := kitchen(t)
	n := damson()
	n.When = clock.daysAgo(30)
	tag := start(t, db, n).Jars[0].Tag
	clock.now = clock.now.Add(8 * time.Hour) // well after noon
	noon := time.Date(clock.now.Year(), clock.now.Month(), clock.now.Day(), 12, 0, 0, 0, time.UTC)
	if !clock.now.After(noon) {
		t.Fatalf("the clock says %v", clock.now)
	}
	base, err := db.Bench(ctx, act(), larder.NewBench{Body: larder.BaseCheck{Base: "lye", StatedMolPerL: 0.1}})
	if err != nil {
		t.Fatal(err)
	}
	meter, err := db.Bench(ctx, act(), larder.NewBench{Body: larder.MeterCalibration{Meter: "pen", CalibrationInput: chem.CalibrationInput{Points: []chem.CalibrationPoint{
		{Buffer: chem.Tetroxalate, TemperatureC: 25, MV: new(313.0)}, {Buffer: chem.Phthalate, TemperatureC: 25, MV: new(177.5)}}}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		when larder.When
		want bool
	}{
		{"today", larder.When{At: noon, Precision: larder.Day}, true},
		{"yesterday", larder.When{At: noon.AddDate(0, 0, -1), Precision: larder.Day}, false},
		{"about today", larder.When{At: noon, Precision: larder.About, SpreadDays: 2}, true},
		{"about yesterday", larder.When{At: noon.AddDate(0, 0, -1), Precision: larder.About, SpreadDays: 2}, false},
		{"an hour before the check", larder.ExactAt(clock.now.Add(-time.Hour)), false},
	} {
		e := titration()
		e.When = c.when
		got := add(t, db, tag, e).Entry.Body.(larder.Titration)
		if (got.BaseID == base.ID) != c.want || got.BaseID != base.ID && got.BaseID != uuid.Nil {
			t.Errorf("%s: the titration took the base %v", c.name, got.BaseID)
		}
		if c.want && (got.BaseCheckedDaysAgo == nil || *got.BaseCheckedDaysAgo != 0) {
			t.Errorf("%s: checked %v days ago", c.name, got.BaseCheckedDaysAgo)
		}
		r := body(larder.Reading{PH: new(chem.PH(3.2)), Instrument: "pen"})
		r.When = c.when
		read := add(t, db, tag, r).Entry.Body.(larder.Reading)
		if (read.CalibrationID == meter.ID) != c.want || (read.PHMark == "") != c.want {
			t.Errorf("%s: the reading took the calibration %v, marked %q", c.name, read.CalibrationID, read.PHMark)
		}
	}
	sound(t, db)
}
