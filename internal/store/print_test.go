package store

import (
	"strings"
	"testing"
	"time"

	"cruet/internal/larder"
)

func TestPrintsAreRemembered(t *testing.T) {
	db, clock := kitchen(t)
	jars := start(t, db, damson()).Jars
	a, b := jars[0].Tag, jars[1].Tag
	of := func(tag larder.Tag, address, layout string) larder.Print {
		return larder.Print{Tag: tag, Address: address, Stock: "letter-3x10", Layout: layout}
	}
	record := func(prints ...larder.Print) {
		t.Helper()
		if err := db.RecordPrints(ctx, "ro", prints); err != nil {
			t.Fatal(err)
		}
	}
	record(of(a, "old:8080", "jar"), of(b, "old:8080", "jar"))
	record(of(a, "old:8080", "jar")) // the phone asks again
	clock.pass(24 * time.Hour)
	record(of(a, "new:8080", "lid"), of(a, "new:8080", "lid"))
	all, err := db.Prints(ctx, 10)
	if err != nil || len(all) != 3 {
		t.Fatalf("%d prints, %v", len(all), err)
	}
	last, err := db.LastPrints(ctx, []larder.Tag{a, b, "000000"})
	if err != nil || len(last) != 2 {
		t.Fatalf("%v, %v", last, err)
	}
	if p := last[a]; p.Address != "new:8080" || p.Layout != "lid" || !p.At.Equal(clock.now) || p.By != "ro" {
		t.Errorf("newest of A: %+v", p)
	}
	if got := last[b].Said(time.UTC, strings.ToUpper); got != "25 Nov 2026 as a jar label on LETTER-3X10" {
		t.Error(got)
	}
	// A tag that was never issued cannot have been printed.
	if err := db.RecordPrints(ctx, "ro", []larder.Print{of(b, "new:8080", "jar"), of("000000", "new:8080", "jar")}); err == nil {
		t.Error("an unknown tag was recorded")
	}
	if all, _ := db.Prints(ctx, 10); len(all) != 3 {
		t.Errorf("%d prints after a refusal", len(all))
	}
	if none, err := db.LastPrints(ctx, nil); err != nil || len(none) != 0 {
		t.Errorf("of no tags: %v, %v", none, err)
	}
}

func TestPrintersAreRemembered(t *testing.T) {
	db, _ := kitchen(t)
	for _, p := range []larder.Printer{{Name: "Office", Scale: 1.01, DPI: 600}, {Name: "desk", OffsetXMM: 1.5, Scale: 1}, {Name: "office ", OffsetYMM: -0.5, Scale: 1}} {
		if err := db.SetPrinter(ctx, p); err != nil {
			t.Fatal(err)
		}
	}
	all, err := db.Printers(ctx)
	if err != nil || len(all) != 2 {
		t.Fatalf("%v, %v", all, err)
	}
	if p, known, err := db.Printer(ctx, "OFFICE"); err != nil || !known || p.OffsetYMM != -0.5 || p.DPI != 0 {
		t.Errorf("%+v, %v, %v", p, known, err)
	}
	if p, known, _ := db.Printer(ctx, "other"); known || p.Scale != 1 {
		t.Errorf("%+v, %v", p, known)
	}
	refused(t, db.SetPrinter(ctx, larder.Printer{Scale: 1}), "printer", "missing")
	refused(t, db.SetPrinter(ctx, larder.Printer{Name: "x", OffsetXMM: 40, Scale: 1}), "offset", "at most 15 mm")
	refused(t, db.SetPrinter(ctx, larder.Printer{Name: "x", Scale: 1.2}), "scale", "between 0.95 and 1.05")
	refused(t, db.SetPrinter(ctx, larder.Printer{Name: "-x", Scale: 1}), "printer", "hyphen")
	refused(t, db.SetPrinter(ctx, larder.Printer{Name: "x", Scale: 1, DPI: 72}), "dpi", "not 72")
	refused(t, db.ForgetPrinter(ctx, "x"), "printer", "nothing to forget")
	if err := db.ForgetPrinter(ctx, "Desk"); err != nil {
		t.Error(err)
	}
	if all, _ := db.Printers(ctx); len(all) != 1 {
		t.Errorf("left: %v", all)
	}
}
