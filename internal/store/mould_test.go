package store

import (
	"context"
	"testing"
	"time"

	"cruet/internal/larder"
)

// Mould in the jar that gave a mother stops the bottles of the jar that got it,
// without anybody placing a hold, until someone has looked and lifts it.
func TestMouldStopsWhatItWentInto(t *testing.T) {
	ctx := context.Background()
	db, _ := kitchen(t)
	giver, taker := start(t, db, damson()).Jars[0].Tag, start(t, db, damson()).Jars[0].Tag
	add(t, db, taker, body(larder.Transfer{What: larder.StarterIn, Feed: &larder.Feed{From: larder.FromJar, Jar: giver, Mother: true}}))
	finish(t, db, taker)
	lot := bottle(t, db, 2, taker)
	seen := add(t, db, giver, body(larder.Action{What: larder.MouldSeen}))
	if seen.After.Hold == "" {
		t.Fatal("the mouldy jar is not on hold")
	}
	_, err := db.Give(ctx, act(), lot.Bottles[0].Tag, larder.NewGift{To: "ana"})
	refused(t, err, "", "mould was seen")
	if held, err := db.HeldAncestors(ctx, taker); err != nil || len(held) != 1 || held[0].Jar != giver {
		t.Errorf("behind the jar: %+v, %v", held, err)
	}
	mouldy := func() map[larder.Tag]time.Time {
		t.Helper()
		found, err := db.MouldIn(ctx, trace(t, db, larder.SubjectLot, lot.Lot.ID).Jars)
		if err != nil {
			t.Fatal(err)
		}
		return found
	}
	if got := mouldy(); len(got) != 1 || !got[giver].Equal(seen.Entry.When.At) {
		t.Errorf("mould was seen in %v, want in %s at %v", got, giver, seen.Entry.When.At)
	}
	if _, err := db.Strike(ctx, act(), seen.Entry.ID, "it was a mother"); err != nil {
		t.Fatal(err)
	}
	if got := mouldy(); len(got) != 0 {
		t.Errorf("after the strike mould was seen in %v", got)
	}
	if _, err := db.Give(ctx, act(), lot.Bottles[0].Tag, larder.NewGift{To: "ana"}); err != nil {
		t.Error(err)
	}
}
