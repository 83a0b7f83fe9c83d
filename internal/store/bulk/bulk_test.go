package bulk

import (
	"context"
	"testing"
	"time"

	"cruet/internal/store"
)

// What is made for benchmarks is what acts would have made.
func TestFillIsSound(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	now := time.Now()
	live, err := Fill(ctx, dir, Size{Entries: 3000, Jars: 30, Live: 10, Bottles: 100}, now)
	if err != nil || len(live) != 10 {
		t.Fatalf("%d jars, %v", len(live), err)
	}
	db, err := store.Open(ctx, dir, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	r, err := db.Check(ctx)
	if err != nil || len(r.Findings) > 0 {
		t.Fatalf("%v, %v", r.Findings, err)
	}
	if r.Entries < 3000 || r.Jars != 30 || r.Bottles != 100 || r.Lots != 2 {
		t.Errorf("it has %+v", r)
	}
	p, err := db.History(ctx, live[0], store.Cursor{}, 50)
	if err != nil || len(p.Entries) != 50 || p.Older == nil || p.Jar.State.Acidity == nil || p.Jar.State.PH == nil {
		t.Errorf("a jar's page: %d entries, %+v, %v", len(p.Entries), p.Jar.State, err)
	}
	if today, err := db.Today(ctx, now); err != nil || today.Live != 10 {
		t.Errorf("today: %+v, %v", today, err)
	}
	if _, err := db.Outlook(ctx, live[0], now); err != nil {
		t.Error(err)
	}
}
