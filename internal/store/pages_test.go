package store

import (
	"database/sql"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/larder"
)

// The pages of a list, put one after the other, are the whole list: none is left out
// or told twice, however many stand on a page and whatever shares an instant.
func TestListsInPages(t *testing.T) {
	db, clock := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	finish(t, db, tag)
	clock.pass(time.Hour)
	var lots []BottledLot
	for i := range 4 {
		lots = append(lots, bottle(t, db, 3, tag)) // two at each instant
		if i%2 == 1 {
			clock.pass(time.Minute)
		}
	}
	for i, lot := range lots {
		for k, b := range lot.Bottles {
			if _, err := db.Give(ctx, act(), b.Tag, larder.NewGift{To: []string{"ana", "the choir"}[(i+k)%2]}); err != nil {
				t.Fatal(err)
			}
			if k == 2 {
				if _, err := db.TakeBack(ctx, act(), b.Tag, "it leaked"); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	whole, err := db.Lots(ctx)
	if err != nil || len(whole) != 4 {
		t.Fatalf("%d lots, %v", len(whole), err)
	}
	gifts, err := db.Gifts(ctx)
	if err != nil || len(gifts) != 12 {
		t.Fatalf("%d gifts, %v", len(gifts), err)
	}
	for limit := 1; limit <= 13; limit++ {
		var got []LotCount
		pages(t, func() bool {
			from := LotCursor{}
			if n := len(got); n > 0 {
				from = LotCursor{got[n-1].Lot.When.At.UnixMilli(), got[n-1].Lot.ID}
			}
			some, older, err := db.LotsFrom(ctx, from, limit)
			if err != nil || len(some) > limit {
				t.Fatalf("%d lots of %d, %v", len(some), limit, err)
			}
			got = append(got, some...)
			return older != nil
		})
		if !reflect.DeepEqual(got, whole) {
			t.Errorf("%d lots at a time: %+v, want %+v", limit, got, whole)
		}
		for _, ask := range []GiftAsk{{}, {TakenBack: true}, {To: "ana"}, {To: "the choir", TakenBack: true}, {To: "zoe"}} {
			var want, got []larder.Given
			for _, g := range gifts {
				if (g.Bottle.Gift.TakenBack != nil) == ask.TakenBack && (ask.To == "" || g.Bottle.Gift.To == ask.To) {
					want = append(want, g)
				}
			}
			from := Cursor{}
			pages(t, func() bool {
				some, older, err := db.GiftsFrom(ctx, ask, from, limit)
				if err != nil || len(some) > limit {
					t.Fatalf("%d gifts of %d, %v", len(some), limit, err)
				}
				got = append(got, some...)
				if older != nil {
					from = *older
				}
				return older != nil
			})
			if !reflect.DeepEqual(got, want) {
				t.Errorf("%+v, %d at a time: %d gifts, want %d", ask, limit, len(got), len(want))
			}
		}
	}
}

// pages asks for one page after the other.
func pages(t *testing.T, next func() bool) {
	t.Helper()
	for range 100 {
		if !next() {
			return
		}
	}
	t.Fatal("the list has no end")
}

// A page of a list is found by an index and needs no sorting, whatever is asked.
func TestListsInPagesUseIndexes(t *testing.T) {
	db, _ := kitchen(t)
	for query, index := range map[string]string{
		lotsPageSQL:                             "SEARCH lot USING INDEX lot_time",
		GiftAsk{}.giftsPageSQL():                "SEARCH gift USING INDEX gift_time",
		GiftAsk{To: "a"}.giftsPageSQL():         "SEARCH gift USING INDEX gift_whom",
		GiftAsk{TakenBack: true}.giftsPageSQL(): "SEARCH gift USING INDEX gift_back",
	} {
		plan := planOf(t, db, query)
		if !strings.Contains(plan, index) || strings.Contains(plan, "SCAN lot") || strings.Contains(plan, "SCAN gift") || strings.Contains(plan, "B-TREE") {
			t.Errorf("%s\nreads:\n%s", query, plan)
		}
	}
}

// The names that forms offer are those of a plain question for all names, which however
// reads every gift and every batch.
func TestOfferedNames(t *testing.T) {
	db, _ := kitchen(t)
	plain := func(query string) (names []string) {
		t.Helper()
		rows, err := db.read.QueryContext(ctx, query)
		if err == nil {
			names, err = collect(rows, func(r *sql.Rows) (name string, err error) { return name, r.Scan(&name) })
		}
		if err != nil {
			t.Fatal(err)
		}
		return names
	}
	same := func() {
		t.Helper()
		who, err := db.RecipientNames(ctx, 300)
		if want := plain(`SELECT to_whom FROM gift WHERE back_act IS NULL GROUP BY to_whom ORDER BY to_whom COLLATE NOCASE, to_whom`); err != nil || !slices.Equal(who, want) {
			t.Errorf("offered to give to: %q, %v, want %q", who, err, want)
		}
		if few, err := db.RecipientNames(ctx, 2); err != nil || !slices.Equal(few, who[:min(2, len(who))]) {
			t.Errorf("two of them: %q, %v", few, err)
		}
		names, err := db.Named(ctx)
		if want := plain(`SELECT DISTINCT name FROM recipe UNION SELECT DISTINCT from_name FROM edge WHERE from_name <> '' AND from_name <> 'water' AND NOT struck ORDER BY 1`); err != nil || !slices.Equal(names, want) {
			t.Errorf("offered to trace: %q, %v, want %q", names, err, want)
		}
	}
	same() // nothing is there yet
	for _, name := range []string{"pears", "apple juice", "Élan", "quince"} {
		for range 2 {
			n := damson()
			n.Ingredients[0].Name = name
			start(t, db, n)
		}
	}
	tag := start(t, db, damson()).Jars[0].Tag
	finish(t, db, tag) // with bought live vinegar
	struck := start(t, db, damson()).Jars[0].Tag
	fed := add(t, db, struck, body(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromBought, Name: "a mistake", VolumeML: ml(100)}}))
	add(t, db, struck, body(larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: ml(100)}}))
	same()
	if _, err := db.Strike(ctx, act(), fed.Entry.ID, "it was another jar"); err != nil {
		t.Fatal(err)
	}
	lot := bottle(t, db, 8, tag)
	for i, to := range []string{"zoe", "Ana", "ana", "bo", "Élan", "ana", "the choir"} {
		if _, err := db.Give(ctx, act(), lot.Bottles[i].Tag, larder.NewGift{To: to}); err != nil {
			t.Fatal(err)
		}
	}
	same()
	for _, i := range []int{3, 5} { // all of bo's, and one of ana's
		if _, err := db.TakeBack(ctx, act(), lot.Bottles[i].Tag, "it leaked"); err != nil {
			t.Fatal(err)
		}
	}
	same()
	for _, query := range []string{recipientNamesSQL, namedSQL} {
		if plan := planOf(t, db, query); regexp.MustCompile(`SCAN (gift|recipe|edge)`).MatchString(plan) {
			t.Errorf("%s\nreads:\n%s", query, plan)
		}
	}
}
