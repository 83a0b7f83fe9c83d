package store

import (
	"context"
	"errors"
	"maps"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

var ctx = context.Background()

func TestStart(t *testing.T) {
	db, clock := kitchen(t)
	n := damson()
	n.When = clock.daysAgo(40)
	s := start(t, db, n)
	if s.Replayed || s.Batch.Name != n.Name || s.Batch.By != "ro" || s.Batch.When != n.When || !reflect.DeepEqual(s.Batch.Ingredients, n.Ingredients) || len(s.Jars) != 2 {
		t.Fatalf("started %+v", s)
	}
	for i, j := range s.Jars {
		if j.Letter != larder.JarLetter(i) || j.State.Stage != larder.Alcoholic || *j.State.VolumeML != 3000 || j.Place != "pantry" || j.State.StartedAt != n.When {
			t.Errorf("jar %d is %+v", i, j)
		}
		if kind, err := db.TagKind(ctx, j.Tag); kind != "jar" || err != nil {
			t.Errorf("its tag is a %s's, %v", kind, err)
		}
		if p := history(t, db, j.Tag); len(p.Entries) != 1 || len(p.Siblings) != 1 || p.Siblings[0].Tag == j.Tag {
			t.Errorf("its history is %+v", p)
		}
	}
	shelf, err := db.Shelf(ctx, false)
	if err != nil || len(shelf) != 2 || shelf[0].Batch.ID != s.Batch.ID {
		t.Errorf("the shelf has %+v, %v", shelf, err)
	}
	if _, err := db.Start(ctx, act(), larder.NewBatch{}); err == nil {
		t.Error("an empty batch was started")
	}
	if _, err := db.Start(ctx, larder.Act{}, damson()); err == nil {
		t.Error("a batch was started without a key")
	}
	if r := sound(t, db); r.Jars != 2 || r.Batches != 1 || r.Entries != 2 {
		t.Errorf("check counts %+v", r)
	}
}

func TestSpareTags(t *testing.T) {
	db, _ := kitchen(t)
	a := act()
	tags, err := db.IssueSpares(ctx, a, 5)
	if err != nil || len(tags) != 5 {
		t.Fatalf("%v, %v", tags, err)
	}
	if again, err := db.IssueSpares(ctx, a, 5); err != nil || !reflect.DeepEqual(again, tags) {
		t.Errorf("sent again: %v, %v", again, err)
	}
	n := damson()
	n.Jars, n.SpareTags = 3, tags[:2]
	s := start(t, db, n)
	if s.Jars[0].Tag != tags[0] || s.Jars[1].Tag != tags[1] {
		t.Errorf("the jars wear %s and %s, want %v", s.Jars[0].Tag, s.Jars[1].Tag, tags[:2])
	}
	left, err := db.Spares(ctx)
	if err != nil || len(left) != 3 {
		t.Errorf("spares left: %v, %v", left, err)
	}
	before := rows(t, db)
	for name, spare := range map[string][]larder.Tag{"a jar's": tags[:1], "twice": {tags[2], tags[2]}, "a stranger's": {"000000"}} {
		n.SpareTags = spare
		_, err := db.Start(ctx, act(), n)
		refused(t, err, "spare_tags", "not a spare one")
		if after := rows(t, db); !maps.Equal(before, after) {
			t.Errorf("%s: a refused start left %v, was %v", name, after, before)
		}
	}
	for _, count := range []int{0, -1, MaxSpareTags + 1} {
		_, err := db.IssueSpares(ctx, act(), count)
		refused(t, err, "count", "Print between")
	}
}

// acts are all acts on one kitchen, each with another input for the same key.
func acts(t *testing.T, db *DB) map[string]func(larder.Act, bool) (any, error) {
	s := start(t, db, damson())
	done := start(t, db, damson()).Jars[0].Tag
	finish(t, db, done)
	wrong := add(t, db, s.Jars[0].Tag, ph(3.9)).Entry.ID
	given := bottle(t, db, 2, done).Bottles[0].Tag
	pick := func(changed bool, same, other string) string {
		if changed {
			return other
		}
		return same
	}
	return map[string]func(larder.Act, bool) (any, error){
		"start": func(a larder.Act, changed bool) (any, error) {
			n := damson()
			n.Name = pick(changed, "Quince juice", "Quince cider")
			s, err := db.Start(ctx, a, n)
			s.Replayed = false
			return s, err
		},
		"spares": func(a larder.Act, changed bool) (any, error) {
			return db.IssueSpares(ctx, a, len(pick(changed, "x", "xx")))
		},
		"entry": func(a larder.Act, changed bool) (any, error) {
			s, err := db.Append(ctx, a, s.Jars[0].Tag, note(pick(changed, "cloudy", "clear")))
			return s.Entry, err
		},
		"transfer": func(a larder.Act, changed bool) (any, error) {
			f := larder.Feed{From: larder.FromJar, Jar: s.Jars[1].Tag, VolumeML: ml(float64(len(pick(changed, "100", "1000"))))}
			s, err := db.Append(ctx, a, s.Jars[0].Tag, body(larder.Transfer{What: larder.TopUp, Feed: &f}))
			return s.Entry, err
		},
		"strike": func(a larder.Act, changed bool) (any, error) {
			s, err := db.Strike(ctx, a, wrong, pick(changed, "wrong jar", "misread"))
			return s.Entry, err
		},
		"bottle": func(a larder.Act, changed bool) (any, error) {
			n := larder.NewLot{Name: pick(changed, "Damson", "Damson vinegar"), Pours: []larder.Pour{{Jar: done}}, Runs: []larder.Run{{Count: 3, SizeML: 250}}}
			l, err := db.Bottle(ctx, a, n)
			l.Replayed = false
			return l, err
		},
		"give": func(a larder.Act, changed bool) (any, error) {
			return db.Give(ctx, a, given, larder.NewGift{To: pick(changed, "ana", "choir supper")})
		},
	}
}

// The same key with the same input answers the same and adds no row; with
// another input, or for another act, it is a conflict and adds none either.
func TestSentAgain(t *testing.T) {
	db, clock := kitchen(t)
	all := acts(t, db)
	keys := map[string]larder.Act{}
	for name, do := range all {
		a := act()
		keys[name] = a
		first, err := do(a, false)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		before := rows(t, db)
		clock.pass(time.Minute)
		again, err := do(a, false)
		if err != nil || !reflect.DeepEqual(first, again) {
			t.Errorf("%s again gives\n%+v, %v; first\n%+v", name, again, err, first)
		}
		var conflict *larder.ConflictError
		if _, err := do(a, true); !errors.As(err, &conflict) || !strings.Contains(err.Error(), a.Key.String()) {
			t.Errorf("%s with another input: %v, want a conflict", name, err)
		}
		if after := rows(t, db); !maps.Equal(before, after) {
			t.Errorf("%s sent again changed the rows from %v to %v", name, before, after)
		}
	}
	var conflict *larder.ConflictError
	if _, err := all["start"](keys["give"], false); !errors.As(err, &conflict) {
		t.Errorf("a start under a gift's key: %v, want a conflict", err)
	}
	sound(t, db)
}

// A form sent again later, its date left empty, is still the same act, although
// "now" has moved on; the answer tells that nothing changed.
func TestAppendAgainIsReplayed(t *testing.T) {
	db, clock := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	a := act()
	first, err := db.Append(ctx, a, tag, ph(3.4))
	if err != nil || first.Replayed || first.Before.PH != nil || first.After.PH.Value != 3.4 || first.Entry.By != "ro" || !first.Entry.When.At.Equal(clock.now) {
		t.Fatalf("%+v, %v", first, err)
	}
	clock.pass(time.Hour)
	add(t, db, tag, ph(3.2))
	again, err := db.Append(ctx, a, tag, ph(3.4))
	if err != nil || !again.Replayed || !reflect.DeepEqual(again.Entry, first.Entry) || again.After.PH.Value != 3.2 || !reflect.DeepEqual(again.Before, again.After) {
		t.Errorf("sent again: %+v, %v", again, err)
	}
	struck, err := db.Strike(ctx, act(), first.Entry.ID, "wrong jar")
	if err != nil {
		t.Fatal(err)
	}
	if again, err := db.Append(ctx, a, tag, ph(3.4)); err != nil || again.Entry.StruckBy != struck.Entry.ID {
		t.Errorf("sent again after its strike: %+v, %v; want it still struck", again, err)
	}
}

func TestAppendRefuses(t *testing.T) {
	db, _ := kitchen(t)
	s := start(t, db, damson())
	a, b := s.Jars[0].Tag, s.Jars[1].Tag
	before := rows(t, db)
	from := func(tag larder.Tag, v float64) *larder.Feed {
		return &larder.Feed{From: larder.FromJar, Jar: tag, VolumeML: ml(v)}
	}
	for name, row := range map[string]struct {
		n           larder.NewEntry
		field, says string
	}{
		"nothing":                {larder.NewEntry{}, "", "nothing to save"},
		"a lost point":           {ph(34), "ph", "did you mean 3.4"},
		"a strike":               {body(larder.Strike{Target: uuid.New(), Reason: "x"}), "", "by striking it"},
		"what it gave":           {body(larder.Transfer{What: larder.Gave, To: b, VolumeML: ml(5)}), "transfer", "on the jar that got it"},
		"what was bottled":       {body(larder.Transfer{What: larder.Bottled, VolumeML: ml(5)}), "transfer", "by bottling"},
		"from a jar not here":    {body(larder.Transfer{What: larder.TopUp, Feed: from("000000", 5)}), "feed_jar", "no jar 000000"},
		"more than fits":         {body(larder.Transfer{What: larder.TopUp, Feed: from(b, 2001)}), "feed_volume_ml", "does not fit"},
		"a starter from nowhere": {body(larder.StageChange{To: larder.Acetic, VolumeML: ml(3000), Starter: from("000000", 5)}), "starter_jar", "no jar 000000"},
		"a starter too large":    {body(larder.StageChange{To: larder.Acetic, VolumeML: ml(1000), Starter: from(b, 3500)}), "starter_volume_ml", "cannot give that"},
		"before the other began": {larder.NewEntry{When: larder.ExactAt(newClock().now.AddDate(-1, 0, 0)), Body: larder.Transfer{What: larder.TopUp, Feed: from(b, 5)}}, "when", "before this jar was started"},
	} {
		_, err := db.Append(ctx, act(), a, row.n)
		refused(t, err, row.field, row.says)
		if after := rows(t, db); !maps.Equal(before, after) {
			t.Errorf("%s: refused, yet the rows went from %v to %v", name, before, after)
		}
	}
	var missing *larder.NotFoundError
	if _, err := db.Append(ctx, act(), "000000", ph(3)); !errors.As(err, &missing) {
		t.Errorf("an entry for a jar not here: %v", err)
	}
	if _, err := db.Strike(ctx, act(), uuid.New(), "x"); !errors.As(err, &missing) {
		t.Errorf("a strike of nothing: %v", err)
	}
	if _, err := db.History(ctx, "000000", Cursor{}, 10); !errors.As(err, &missing) {
		t.Errorf("the history of a jar not here: %v", err)
	}
	sound(t, db)
}

func TestStarterHasTwoSides(t *testing.T) {
	db, _ := kitchen(t)
	crock := start(t, db, damson()).Jars[0].Tag
	fresh := start(t, db, damson()).Jars[0].Tag
	feed := &larder.Feed{From: larder.FromJar, Jar: crock, VolumeML: ml(400), Mother: true}
	saved := add(t, db, fresh, body(larder.StageChange{To: larder.Acetic, VolumeML: ml(2900), Starter: feed}))
	holdsML(t, db, fresh, 3300)
	holdsML(t, db, crock, 2600)
	if from, into := history(t, db, fresh).CameFrom, history(t, db, crock).WentInto; len(from) != 1 || len(into) != 1 || !reflect.DeepEqual(from, into) ||
		from[0].FromJar != crock || from[0].ToJar != fresh || *from[0].VolumeML != 400 || !from[0].Mother || from[0].What != larder.StarterIn {
		t.Errorf("the lineage is %+v and %+v", from, into)
	}
	other := history(t, db, crock).Entries[0]
	if other.Act != saved.Entry.Act || other.ID == saved.Entry.ID || other.Body.(larder.Transfer).To != fresh {
		t.Errorf("the giver's entry is %+v", other)
	}
	sound(t, db)

	// Struck from the giver's side, both go.
	if _, err := db.Strike(ctx, act(), other.ID, "it was the other crock"); err != nil {
		t.Fatal(err)
	}
	holdsML(t, db, fresh, 3000)
	holdsML(t, db, crock, 3000)
	if s := jar(t, db, fresh).State; s.Stage != larder.Alcoholic || s.Starter != "" {
		t.Errorf("after the strike the jar is %+v", s)
	}
	for _, tag := range []larder.Tag{fresh, crock} {
		p := history(t, db, tag)
		struck := p.Entries[1]
		if len(p.CameFrom)+len(p.WentInto) != 0 || len(p.Entries) != 3 || !struck.Struck() || struck.StruckBy != p.Entries[0].ID || p.Entries[0].Kind != larder.KindStrike {
			t.Errorf("jar %s: %+v", tag, p)
		}
		if target := p.Entries[0].Body.(larder.Strike).Target; target != struck.ID {
			t.Errorf("jar %s: the strike names %s, struck is %s", tag, target, struck.ID)
		}
	}
	_, err := db.Strike(ctx, act(), saved.Entry.ID, "again")
	refused(t, err, "", "struck already")
	_, err = db.Strike(ctx, act(), history(t, db, fresh).Entries[0].ID, "undo")
	refused(t, err, "", "cannot be struck")
	sound(t, db)
}

func TestStrikeRefuses(t *testing.T) {
	db, _ := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	in := add(t, db, tag, body(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromOther, Name: "wine", VolumeML: ml(1000)}}))
	other := start(t, db, damson()).Jars[0].Tag
	add(t, db, other, body(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: tag, VolumeML: ml(2000)}}))
	add(t, db, other, body(larder.Reading{VolumeML: ml(3000)}))
	add(t, db, other, body(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: tag, VolumeML: ml(1500)}}))
	before := rows(t, db)
	_, err := db.Strike(ctx, act(), in.Entry.ID, "it was the other jar")
	refused(t, err, "", "Strike those first")
	_, err = db.Strike(ctx, act(), in.Entry.ID, " ")
	refused(t, err, "", "Strike those first")
	p := history(t, db, tag)
	_, err = db.Strike(ctx, act(), p.Entries[len(p.Entries)-1].ID, "never was")
	refused(t, err, "", "start of a jar")
	_, err = db.Strike(ctx, act(), p.Entries[0].ID, " ")
	refused(t, err, "reason", "missing")
	if after := rows(t, db); !maps.Equal(before, after) {
		t.Errorf("refused, yet the rows went from %v to %v", before, after)
	}
	for _, e := range history(t, db, tag).Entries {
		if e.Struck() {
			t.Errorf("a refused strike left entry %d struck", e.Seq)
		}
	}
	sound(t, db)
}

func TestBackdatedReadings(t *testing.T) {
	db, clock := kitchen(t)
	n := damson()
	n.When = clock.daysAgo(60)
	tag := start(t, db, n).Jars[0].Tag
	for _, row := range []struct {
		ago  int
		ph   float64
		want chem.PH
	}{{10, 3.3, 3.3}, {30, 3.6, 3.3}, {20, 3.5, 3.3}, {5, 3.2, 3.2}} {
		e := ph(row.ph)
		e.When = clock.daysAgo(row.ago)
		if s := add(t, db, tag, e); s.After.PH.Value != row.want {
			t.Errorf("after %g of %d days ago the pH is %g, want %g", row.ph, row.ago, s.After.PH.Value, row.want)
		}
	}
	var got []chem.PH
	for _, e := range history(t, db, tag).Entries {
		if r, ok := e.Body.(larder.Reading); ok {
			got = append(got, *r.PH)
		}
	}
	if !reflect.DeepEqual(got, []chem.PH{3.2, 3.3, 3.5, 3.6}) {
		t.Errorf("the history shows %v, want the newest day first", got)
	}
	sound(t, db)
}

func TestRetiredJar(t *testing.T) {
	db, _ := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	empty := add(t, db, tag, body(larder.StageChange{To: larder.Empty, Reason: "tipped over"}))
	if shelf, err := db.Shelf(ctx, false); err != nil || len(shelf) != 1 {
		t.Errorf("the shelf has %d jars, %v; want the other one", len(shelf), err)
	}
	if shelf, err := db.Shelf(ctx, true); err != nil || len(shelf) != 2 {
		t.Errorf("with the retired, the shelf has %d jars, %v", len(shelf), err)
	}
	_, err := db.Append(ctx, act(), tag, ph(3))
	refused(t, err, "", "retired")
	add(t, db, tag, note("the cat"))
	if _, err := db.Strike(ctx, act(), empty.Entry.ID, "it was jar B"); err != nil {
		t.Fatal(err)
	}
	add(t, db, tag, ph(3.3))
	if shelf, err := db.Shelf(ctx, false); err != nil || len(shelf) != 2 {
		t.Errorf("after the strike the shelf has %d jars, %v", len(shelf), err)
	}
	sound(t, db)
}

func TestKitchenSettings(t *testing.T) {
	db, _ := kitchen(t)
	if k, err := db.Kitchen(ctx); err != nil || k.Name == "" {
		t.Errorf("a new kitchen is %+v, %v", k, err)
	}
	want := larder.Kitchen{Name: "Quince Yard", TimeZone: "Europe/Dublin", USUnits: true}
	for range 2 {
		if err := db.SetKitchen(ctx, want); err != nil {
			t.Fatal(err)
		}
	}
	if k, err := db.Kitchen(ctx); err != nil || !reflect.DeepEqual(k, want) {
		t.Errorf("%+v, %v; want %+v", k, err, want)
	}
	refused(t, db.SetKitchen(ctx, larder.Kitchen{Name: "x", TimeZone: "Mars"}), "time_zone", "Europe/Dublin")
}
