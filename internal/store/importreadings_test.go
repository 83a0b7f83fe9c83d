package store

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/sheet"
)

// ownReadings reads a table from its start as often as it is asked to, which times
// counts; at each line it first does what the test wants done meanwhile.
func ownReadings(table string, now time.Time, times *int, meanwhile func()) func() (NextReading, error) {
	return func() (NextReading, error) {
		in, err := sheet.NewReadingReader(strings.NewReader(table), now, time.UTC)
		return func() (sheet.Reading, bool, error) {
			line, more, err := in.Next()
			if line.Line == 2 { // the first after the header
				*times++
			}
			if more {
				meanwhile()
			}
			return line, more, err
		}, err
	}
}

// A table's lines become what they would have become if each had been typed: the same
// entries with the same calibrations, and the same states.
func TestReadingsAreAsIfTyped(t *testing.T) {
	ctx := context.Background()
	db, clock := kitchen(t)
	n := damson()
	n.When = clock.daysAgo(40)
	typed, read := start(t, db, n), start(t, db, n)
	meter := func(name string, ago int) {
		t.Helper()
		if _, err := db.Bench(ctx, act(), larder.NewBench{When: clock.daysAgo(ago), Body: larder.MeterCalibration{Meter: name, CalibrationInput: chem.CalibrationInput{Points: []chem.CalibrationPoint{
			{Buffer: chem.Tetroxalate, TemperatureC: 25, MV: new(313.0)}, {Buffer: chem.Phthalate, TemperatureC: 25, MV: new(177.5 + float64(ago))}}}}}); err != nil {
			t.Fatal(err)
		}
	}
	meter("pen", 30)
	meter("pen", 10)
	meter("probe", 20)
	table := "tag,date,ph,volume_ml,meter,note\n"
	for k := range 60 {
		which := k % 2
		when := clock.daysAgo(37 - k/2)
		if k%7 == 3 {
			when = clock.daysAgo(5) // out of the order of the days
		}
		when.At = time.Date(when.At.Year(), when.At.Month(), when.At.Day(), 12, 0, 0, 0, time.UTC) // where a day alone stands
		e := larder.NewEntry{When: when, Note: fmt.Sprintf("line %d", k)}
		r := larder.Reading{PH: new(chem.PH(float64(31+k%5) / 10)), Instrument: []string{"pen", "probe", ""}[k%3]}
		volume := ""
		if k%11 == 5 {
			r.VolumeML = ml(2500 - float64(k))
			volume = fmt.Sprint(2500 - k)
		}
		e.Body = r
		add(t, db, typed.Jars[which].Tag, e)
		table += fmt.Sprintf("%s,%s,%.1f,%s,%s,%s\n", read.Jars[which].Tag, when.At.Format("2006-01-02"), float64(*r.PH), volume, r.Instrument, e.Note)
	}
	times := 0
	report, err := db.ImportReadings(ctx, act(), "sum", false, ownReadings(table, clock.now, &times, func() {}))
	if err != nil || report.Lines != 60 || report.Jars != 2 || times != 2 {
		t.Fatalf("%+v, read %d times, %v", report, times, err)
	}
	told := func(tag larder.Tag) (entries []larder.Entry, state string) {
		t.Helper()
		log, err := wholeLog(ctx, db.read, tag)
		if err != nil {
			t.Fatal(err)
		}
		for i := range log {
			log[i].Seq, log[i].ID, log[i].Act, log[i].Jar = 0, uuid.Nil, uuid.Nil, ""
		}
		return log, jar(t, db, tag).State.ListedText()
	}
	calibrated := map[uuid.UUID]int{}
	for i := range typed.Jars {
		want, state := told(typed.Jars[i].Tag)
		got, same := told(read.Jars[i].Tag)
		if !reflect.DeepEqual(got, want) || same != state {
			t.Errorf("jar %d: read\n%+v\n%s, typed\n%+v\n%s", i, got, same, want, state)
		}
		for _, e := range got {
			if r, ok := e.Body.(larder.Reading); ok {
				calibrated[r.CalibrationID]++
			}
		}
	}
	if len(calibrated) != 4 { // the three, and none before the first
		t.Errorf("the calibrations were used so often: %v", calibrated)
	}
	sound(t, db) // which folds each log and compares the states
}

// All lines are checked before any is written: who types a reading meanwhile does not
// wait for a table that is then refused, and nothing of it is there.
func TestWrongReadingsAreToldBeforeWriting(t *testing.T) {
	ctx := context.Background()
	db, clock := kitchen(t)
	n := damson()
	n.When = clock.daysAgo(40)
	tag := start(t, db, n).Jars[0].Tag
	right := "tag,date,ph\n" + strings.Repeat(string(tag)+",2026-11-20,3.2\n", 50)
	wrong := right + string(tag) + ",2026-11-20,32\n"
	times, typed := 0, 0
	type_ := func() {
		if typed++; typed%10 == 1 {
			add(t, db, tag, ph(3.3))
		}
	}
	before := history(t, db, tag).Jar.State
	key := act()
	report, err := db.ImportReadings(ctx, key, "wrong", false, ownReadings(wrong, clock.now, &times, type_))
	var told *WrongReadingsError
	if !errors.As(err, &told) || told.Report.Wrong != 1 || report.Lines != 51 || !strings.HasPrefix(told.Report.Problems[0], "Line 52: pH 32 is outside") {
		t.Fatalf("%+v, %v", report, err)
	}
	if times != 1 {
		t.Errorf("a wrong table was read %d times", times)
	}
	kept, err := wholeLog(ctx, db.read, tag)
	if err != nil || len(kept) != 1+6 || before.PH != nil {
		t.Errorf("%d entries of the start and 6 typed ones, %v", len(kept), err)
	}
	// A preview neither.
	if report, err = db.ImportReadings(ctx, larder.Act{}, "right", true, ownReadings(right, clock.now, &times, type_)); err != nil || report.Lines != 50 || report.Wrong != 0 || len(report.First) != shownReadings {
		t.Errorf("preview: %+v, %v", report, err)
	}
	// Corrected, under the same key: what was refused is no act yet.
	if report, err = db.ImportReadings(ctx, key, "right", false, ownReadings(right, clock.now, &times, func() {})); err != nil || report.Lines != 50 || report.Replayed {
		t.Errorf("corrected: %+v, %v", report, err)
	}
	// Again: it is not even read. Another table under that key is refused.
	times = 0
	if report, err = db.ImportReadings(ctx, key, "right", false, ownReadings(right, clock.now, &times, func() {})); err != nil || !report.Replayed || times != 0 {
		t.Errorf("again: %+v, read %d times, %v", report, times, err)
	}
	var conflict *larder.ConflictError
	if _, err = db.ImportReadings(ctx, key, "other", false, ownReadings(wrong, clock.now, &times, func() {})); !errors.As(err, &conflict) {
		t.Errorf("another table under that key: %v", err)
	}
	sound(t, db)
}

// Of what changes between the check and the writing nothing is taken on trust.
func TestReadingsAreCheckedWhileWriting(t *testing.T) {
	ctx := context.Background()
	db, clock := kitchen(t)
	n := damson()
	n.When = clock.daysAgo(40)
	tag := start(t, db, n).Jars[0].Tag
	table := "tag,date,ph\n" + strings.Repeat(string(tag)+",2026-11-20,3.2\n", 3)
	lines, times := 0, 0
	_, err := db.ImportReadings(ctx, act(), "sum", false, ownReadings(table, clock.now, &times, func() {
		if lines++; lines == 3 {
			add(t, db, tag, body(larder.StageChange{To: larder.Empty, Reason: "it was spilled"}))
		}
	}))
	var told *WrongReadingsError
	if !errors.As(err, &told) || told.Report.Wrong != 3 || times != 2 {
		t.Errorf("read %d times: %v", times, err)
	}
	if n := rows(t, db)["entry"]; n != 3 { // two starts and the emptying
		t.Errorf("%d entries", n)
	}
	sound(t, db)
}
