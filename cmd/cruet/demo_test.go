package main

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/forecast"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/verdict"
)

// demoToday are the moments at which the demo must come out right: midday, just
// after and just before midnight, and the days on which Dublin's clocks change.
var demoToday = []string{
	"2026-11-22T12:00:00Z", "2027-01-01T00:01:00Z", "2026-07-31T22:59:00Z",
	"2026-03-29T00:30:00Z", "2026-10-25T01:30:00Z",
}

type demoJar struct {
	store.JarPage
	readings int
	gravity  []larder.Entry
}

func openDemo(t *testing.T, now time.Time) (*store.DB, map[string][]demoJar) {
	t.Helper()
	ctx, dir := context.Background(), t.TempDir()
	if err := buildDemo(ctx, dir, now); err != nil {
		t.Fatal(err)
	}
	db, err := store.Open(ctx, dir, store.Options{Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	shelf, err := db.Shelf(ctx, true)
	if err != nil {
		t.Fatal(err)
	}
	byBatch := map[string][]demoJar{}
	for _, s := range shelf {
		p, err := db.History(ctx, s.Jar.Tag, store.Cursor{}, 200)
		if err != nil {
			t.Fatal(err)
		}
		j := demoJar{JarPage: p}
		for _, e := range p.Entries {
			switch b := e.Body.(type) {
			case larder.Titration:
				j.readings++
			case larder.Reading:
				j.readings++
				if b.SG != nil {
					j.gravity = append(j.gravity, e)
				}
			}
			if e.When.At.After(now) || e.RecordedAt.After(now) {
				t.Errorf("%s: an entry of %s lies after today, %s", s.Batch.Name, e.When.At, now)
			}
		}
		byBatch[s.Batch.Name] = append(byBatch[s.Batch.Name], j)
	}
	return db, byBatch
}

// The expected states are those of the scenario that the demo tells.
func TestDemoTellsItsScenario(t *testing.T) {
	for _, text := range demoToday {
		t.Run(text, func(t *testing.T) {
			now, err := time.Parse(time.RFC3339, text)
			if err != nil {
				t.Fatal(err)
			}
			db, batches := openDemo(t, now)
			checkDemoBatches(t, db, batches, now)
			checkDemoLot(t, db, batches)
			r, err := db.Check(context.Background())
			if err != nil || len(r.Findings) > 0 {
				t.Errorf("check: %v, %v", r.Findings, err)
			}
		})
	}
}

func checkDemoBatches(t *testing.T, db *store.DB, batches map[string][]demoJar, now time.Time) {
	t.Helper()
	loc, err := time.LoadLocation(demoZone)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]struct {
		daysBefore, jars int
		base             larder.Base
		stage            larder.Stage
	}{
		"Pear trimmings":             {61, 2, larder.FruitScraps, larder.Acetic},
		"Damson wine":                {40, 1, larder.Wine, larder.Acetic},
		"Barley":                     {150, 1, larder.Ale, larder.Finished},
		"Quince juice":               {9, 2, larder.Juice, larder.Alcoholic},
		"Honey":                      {75, 1, larder.Honey, larder.Alcoholic},
		"Pear and rosemary infusion": {12, 1, larder.OtherBase, larder.Maturing},
	}
	if len(batches) != len(want) {
		t.Errorf("there are %d batches, want %d", len(batches), len(want))
	}
	for name, w := range want {
		jars := batches[name]
		if len(jars) != w.jars {
			t.Fatalf("%s: %d jars, want %d", name, len(jars), w.jars)
		}
		for _, j := range jars {
			if j.Batch.Base != w.base || j.Jar.State.Stage != w.stage {
				t.Errorf("%s: %s, %s; want %s, %s", name, j.Batch.Base, j.Jar.State.Stage, w.base, w.stage)
			}
			y, m, d := now.In(loc).Date()
			if day := j.Batch.When.At.In(loc).Format("2006-01-02"); day != time.Date(y, m, d-w.daysBefore, 12, 0, 0, 0, loc).Format("2006-01-02") {
				t.Errorf("%s: started on %s, which is not %d days before %s", name, day, w.daysBefore, now)
			}
		}
	}
	for name, jars := range batches {
		for _, e := range jars[0].Entries {
			if r, ok := e.Body.(larder.Reading); ok && r.PH != nil && (r.CorrectedPH == nil || r.PHMark != "") {
				t.Errorf("%s: a pH without a calibration in time: %s", name, r.PHMark)
			}
			if r, ok := e.Body.(larder.Titration); ok && r.BaseID == (uuid.UUID{}) {
				t.Errorf("%s: a titration without a check of its base", name)
			}
		}
	}
	for _, j := range batches["Pear trimmings"] {
		if j.readings != 6 {
			t.Errorf("pear, jar %s: %d readings, want 6", j.Jar.Letter, j.readings)
		}
	}
	checkDemoRising(t, batches["Damson wine"][0])
	checkDemoStuck(t, batches["Honey"][0], now)
	for _, j := range batches["Quince juice"] {
		due := j.Batch.Due(j.Jar.State, now)
		strain := false
		for _, todo := range due {
			strain = strain || strings.Contains(todo.What, "strain") && todo.Urgency == larder.DueNow
		}
		if !strain {
			t.Errorf("quince: straining is not due: %v", due)
		}
		if b := j.Jar.State.Brix; b == nil || b.Value != 12.5 {
			t.Errorf("quince: %v °Bx, want 12.5", b)
		}
	}
	checkDemoOutlook(t, db, batches, now)
	if note := batches["Pear and rosemary infusion"][0].Batch.Note; !strings.Contains(note, "cleaning") {
		t.Errorf("the infusion's note does not say that it is for cleaning: %q", note)
	}
}

// checkDemoOutlook holds what the pages will say of the scenario.
func checkDemoOutlook(t *testing.T, db *store.DB, batches map[string][]demoJar, now time.Time) {
	t.Helper()
	of := func(name string) store.Outlook {
		o, err := db.Outlook(context.Background(), batches[name][0].Jar.Tag, now)
		if err != nil || len(o.Verdict) != len(verdict.Uses()) {
			t.Fatalf("%s: %d uses, %v", name, len(o.Verdict), err)
		}
		return o
	}
	answer := func(o store.Outlook, use verdict.Use) verdict.Answer {
		return o.Verdict[slices.Index(verdict.Uses(), use)].Answer
	}
	if o := of("Pear trimmings"); !(o.Ceiling.StoichiometricGPer100ML > 4 && o.Ceiling.StoichiometricGPer100ML < 5) || o.Ceiling.Reach != chem.ReachNever || len(o.Ceiling.Missing) > 0 {
		t.Errorf("pear: the ceiling is %.2f, %s, without %v; it should lie under 5", float64(o.Ceiling.StoichiometricGPer100ML), o.Ceiling.Reach, o.Ceiling.Missing)
	}
	// 6.9 % vol, the wine's 11.5 in 3 of 5 L, at 7.89 g/L of ethanol a per cent
	// (OIML R 22) and 60.052/46.069 of that in acid; with 400 mL of the barley jar,
	// titrated with 8.90 mL before: 8.90 × 0.1 × 60.052 ÷ 10 (IUPAC CIAAW).
	o := of("Damson wine")
	if c := float64(o.Ceiling.StoichiometricGPer100ML); math.Abs(c-(6.9*0.789*60.052/46.069*5000+8.90*0.1*60.052/10*400)/5400) > 0.02 {
		t.Errorf("damson: the ceiling is %.2f", c)
	}
	if f := o.Forecast; f.FinishKind != forecast.FinishTarget || !f.Finish.Early.After(now.AddDate(0, 0, -4)) || !f.Finish.Late.After(now) || f.Finish.Late.After(now.AddDate(0, 0, 60)) {
		t.Errorf("damson: %s between %s and %s, %v", f.FinishKind, f.Finish.Early, f.Finish.Late, f.Findings)
	}
	if o := of("Barley"); o.Jar.State.Acidity.StrengthMark != "" || answer(o, verdict.Canning) != verdict.No {
		t.Errorf("barley: marked %q, canning %s", o.Jar.State.Acidity.StrengthMark, answer(o, verdict.Canning))
	}
	for _, v := range of("Honey").Verdict {
		if v.Answer != verdict.No || !strings.Contains(v.Reasons[0].Text, "Mould was seen") {
			t.Errorf("honey: %s is %s: %s", v.Use, v.Answer, v.Reasons[0].Text)
		}
	}
	infusion := of("Pear and rosemary infusion")
	for _, use := range verdict.Uses() {
		if want := use == verdict.Cleaning; (answer(infusion, use) == verdict.Supported) != want {
			t.Errorf("infusion: %s is %s", use, answer(infusion, use))
		}
	}
	checkDemoControl(t, db)
}

// checkDemoControl finds the meter in control.
func checkDemoControl(t *testing.T, db *store.DB) {
	t.Helper()
	book, err := db.BenchBook(context.Background(), larder.KindControl, benchPH, 100)
	if err != nil {
		t.Fatal(err)
	}
	var ask chem.ControlChart
	for _, e := range slices.Backward(book) {
		ask.ReadingsPH = append(ask.ReadingsPH, e.Body.(larder.ControlSample).PH)
	}
	if r, err := ask.Result(); err != nil || !r.InControl || len(r.Flags) > 0 {
		t.Errorf("the meter's control chart: %+v, %v", r, err)
	}
}

func checkDemoRising(t *testing.T, j demoJar) {
	t.Helper()
	var values []float64
	for _, e := range j.Entries { // newest first
		if b, ok := e.Body.(larder.Titration); ok {
			r, err := b.Result()
			if err != nil {
				t.Fatal(err)
			}
			values = append(values, float64(r.AcidityGPer100ML))
		}
	}
	if len(values) < 3 || !sort.IsSorted(sort.Reverse(sort.Float64Slice(values))) || values[0] >= 5 {
		t.Errorf("damson: titrations, newest first, %v; they should rise towards 5", values)
	}
	if len(j.CameFrom) != 1 || !j.CameFrom[0].Mother || j.CameFrom[0].FromJar == "" {
		t.Errorf("damson: the mother should come from the barley jar: %+v", j.CameFrom)
	}
}

func checkDemoStuck(t *testing.T, j demoJar, now time.Time) {
	t.Helper()
	if !strings.Contains(j.Jar.State.Hold, "mould") || j.Jar.State.MouldAt == nil {
		t.Errorf("honey: hold %q after mould at %v", j.Jar.State.Hold, j.Jar.State.MouldAt)
	}
	last := j.gravity[0].Body.(larder.Reading)
	since := j.gravity[0].When.At
	for _, e := range j.gravity {
		if *e.Body.(larder.Reading).SG != *last.SG {
			break
		}
		since = e.When.At
	}
	if days := now.Sub(since).Hours() / 24; days < 21 {
		t.Errorf("honey: the gravity stands still for %.1f days, want three weeks", days)
	}
}

func checkDemoLot(t *testing.T, db *store.DB, batches map[string][]demoJar) {
	t.Helper()
	barley := batches["Barley"][0]
	lots, err := db.Lots(context.Background())
	if err != nil || len(lots) != 1 {
		t.Fatalf("%d lots, %v", len(lots), err)
	}
	if lots[0].Bottles != 12 || lots[0].Given != 4 {
		t.Errorf("%d bottles, %d given; want 12 and 4", lots[0].Bottles, lots[0].Given)
	}
	a := lots[0].Lot.Acidity
	if a.Basis != larder.ByTitration || math.Abs(float64(a.GPer100ML)-5) > 0.05 {
		t.Errorf("the lot carries %v %.2f, want a measured 5.0", a.Basis, float64(a.GPer100ML))
	}
	// Before the water it was finished at 5.4 ± 0.1.
	found := false
	for _, e := range barley.Entries {
		if b, ok := e.Body.(larder.Titration); ok {
			r, err := b.Result()
			if err != nil {
				t.Fatal(err)
			}
			found = found || math.Abs(float64(r.AcidityGPer100ML)-5.4) < 0.05 && r.ExpandedUGPer100ML > 0.05 && r.ExpandedUGPer100ML < 0.15 && r.SupportsStrength
		}
	}
	if !found {
		t.Error("barley: no titration shows 5.4 ± 0.1 that supports a strength")
	}
	l, err := db.Lot(context.Background(), lots[0].Lot.ID)
	if err != nil {
		t.Fatal(err)
	}
	var to []string
	for _, b := range l.Bottles {
		if b.SizeML != 250 {
			t.Errorf("bottle %d holds %v mL", b.Number, b.SizeML)
		}
		if b.Gift != nil {
			to = append(to, b.Gift.To)
		}
	}
	if have := strings.Join(to, "; "); have != "the neighbours at no. 4; choir supper; ana; the seed swap" {
		t.Errorf("given to %s", have)
	}
}

// Nothing may be left behind when the demo cannot be made.
func TestDemoFolderIsRemoved(t *testing.T) {
	tmp := t.TempDir()
	t.Setenv("TMPDIR", tmp)
	t.Setenv("TMP", tmp) // Windows
	a := &app{}
	db, cleanUp, err := a.openStation(context.Background(), true)
	if err != nil {
		t.Fatal(err)
	}
	if dir := filepath.Dir(db.Dir()); dir != tmp {
		t.Errorf("the demo lies in %s", dir)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if err := cleanUp(); err != nil {
		t.Fatal(err)
	}
	cancelled, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, err := a.openStation(cancelled, true); err == nil {
		t.Error("a cancelled start made a demo")
	}
	left, err := os.ReadDir(tmp)
	if err != nil || len(left) > 0 {
		t.Errorf("%d folders are left, %v", len(left), err)
	}
}
