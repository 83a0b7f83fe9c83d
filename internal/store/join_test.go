package store

import (
	"maps"
	"testing"
	"time"

	"cruet/internal/larder"
)

// Joining pours jars into one that stands there: it keeps its batch and stage,
// what it gets is counted jar by jar, and who gave all is empty. Sent again it
// is the same act, and striking it puts all back.
func TestJoin(t *testing.T) {
	db, c := kitchen(t)
	s := start(t, db, damson())
	a, b := s.Jars[0].Tag, s.Jars[1].Tag // 3000 mL each
	add(t, db, a, body(larder.Reading{VolumeML: ml(1200)}))
	n := damson()
	n.Name, n.Jars, n.FillML = "Cider", 1, ml(400)
	third := start(t, db, n).Jars[0].Tag
	c.pass(time.Hour)
	before := stateText(t, db, a) + stateText(t, db, b) + stateText(t, db, third)
	key := act()
	join := larder.NewJoin{Note: "to the brim", Pours: []larder.Pour{{Jar: b, VolumeML: 2000}, {Jar: third}}}
	f, err := db.Join(ctx, key, a, join)
	if err != nil {
		t.Fatal(err)
	}
	holdsML(t, db, a, 3600)
	holdsML(t, db, b, 1000)
	if st := jar(t, db, third).State; st.Stage != larder.Empty {
		t.Errorf("the jar that gave all is %s", st.Stage)
	}
	if len(f.Jars) != 1 || f.Jars[0].Tag != a || len(f.From) != 2 || f.Batch.ID != s.Batch.ID || f.Jars[0].State.Stage != larder.Alcoholic {
		t.Errorf("the answer is %+v", f)
	}
	p := history(t, db, a)
	if len(p.CameFrom) != 2 || p.CameFrom[0].FromJar != b || *p.CameFrom[0].VolumeML != 2000 || *p.CameFrom[1].VolumeML != 400 {
		t.Errorf("it came from %+v", p.CameFrom)
	}
	again, err := db.Join(ctx, key, a, join)
	if err != nil || !again.Replayed || again.Jars[0].Tag != a {
		t.Errorf("sent again: %+v, %v", again, err)
	}
	sound(t, db)
	c.pass(time.Hour)
	if _, err := db.Strike(ctx, act(), f.Entry, "the wrong jars"); err != nil {
		t.Fatal(err)
	}
	if after := stateText(t, db, a) + stateText(t, db, b) + stateText(t, db, third); after != before {
		t.Errorf("the jars were\n%s\nand are\n%s", before, after)
	}
	sound(t, db)
}

// Each of these is refused in a sentence and leaves nothing behind.
func TestJoinRefused(t *testing.T) {
	db, c := kitchen(t)
	s := start(t, db, damson())
	a, b := s.Jars[0].Tag, s.Jars[1].Tag
	gone, held := start(t, db, damson()).Jars[0].Tag, start(t, db, damson()).Jars[1].Tag
	add(t, db, gone, body(larder.StageChange{To: larder.Discarded, Reason: "mould"}))
	add(t, db, held, body(larder.Hold{On: true, Reason: "white fur"}))
	c.pass(time.Hour)
	before := rows(t, db)
	try := func(into larder.Tag, when larder.When, pours ...larder.Pour) error {
		_, err := db.Join(ctx, act(), into, larder.NewJoin{When: when, Pours: pours})
		return err
	}
	for name, one := range map[string]struct {
		err         error
		field, says string
	}{
		"nothing":            {try(a, larder.When{}), "jars", "Say which jars"},
		"itself":             {try(a, larder.When{}, larder.Pour{Jar: a, VolumeML: 1}), "jars", "into itself"},
		"twice":              {try(a, larder.When{}, larder.Pour{Jar: b, VolumeML: 1}, larder.Pour{Jar: b, VolumeML: 1}), "jars", "named twice"},
		"an unknown tag":     {try(a, larder.When{}, larder.Pour{Jar: "000001", VolumeML: 1}), "jars", "There is no jar 000001"},
		"more than fits":     {try(a, larder.When{}, larder.Pour{Jar: b}), "volume_ml", "does not fit"},
		"more than there is": {try(a, larder.When{}, larder.Pour{Jar: b, VolumeML: 3001}), "volume_ml", "cannot be taken out"},
		"a held jar":         {try(a, larder.When{}, larder.Pour{Jar: held, VolumeML: 1}), "jars", "on hold: white fur"},
		"a discarded jar":    {try(a, larder.When{}, larder.Pour{Jar: gone, VolumeML: 1}), "jars", "is discarded"},
		"into a retired one": {try(gone, larder.When{}, larder.Pour{Jar: a, VolumeML: 1}), "", "tag is retired"},
		"before it existed":  {try(a, c.daysAgo(9), larder.Pour{Jar: b, VolumeML: 1}), "when", "was started"},
	} {
		t.Run(name, func(t *testing.T) { refused(t, one.err, one.field, one.says) })
	}
	if after := rows(t, db); !maps.Equal(after, before) {
		t.Errorf("rows went from %v to %v", before, after)
	}
	if _, err := db.FilledBy(ctx, act().Key); err == nil {
		t.Error("an act that never was filled something")
	}
}

// A perpetual crock that is fed by its own descendants is drawn once, and every
// step that a trace finds hangs somewhere in the tree.
func TestTreeOfACrock(t *testing.T) {
	db, c := kitchen(t)
	s := start(t, db, damson())
	crock, jug := s.Jars[0].Tag, s.Jars[1].Tag
	move := func(from, to larder.Tag, volume float64) {
		t.Helper()
		c.pass(time.Hour)
		add(t, db, to, body(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: from, VolumeML: ml(volume)}}))
	}
	add(t, db, crock, body(larder.Transfer{What: larder.StarterIn, Feed: &larder.Feed{From: larder.FromBought, Name: "live cider vinegar", VolumeML: ml(100), Live: true}}))
	for range 3 {
		move(crock, jug, 500)
		move(jug, crock, 400)
	}
	tr := trace(t, db, larder.SubjectJar, string(crock))
	count := func(branches []*larder.Branch) (n int) {
		var walk func([]*larder.Branch)
		walk = func(list []*larder.Branch) {
			for _, b := range list {
				n++
				walk(b.Beyond)
			}
		}
		walk(branches)
		return n
	}
	tree := tr.Tree(larder.MaxTreeDepth)
	if len(tr.Back) != 7 || count(tree.CameFrom) != 7 || count(tree.WentInto) != len(tr.Forward) || len(tr.Forward) != 6 {
		t.Errorf("%d of %d steps back are drawn, %d of %d forward", count(tree.CameFrom), len(tr.Back), count(tree.WentInto), len(tr.Forward))
	}
	again := 0
	var walk func([]*larder.Branch)
	walk = func(list []*larder.Branch) {
		for _, b := range list {
			if b.Again {
				again++
			}
			walk(b.Beyond)
		}
	}
	walk(tree.CameFrom)
	if again == 0 {
		t.Error("no branch says that it goes on elsewhere")
	}
	flat := tr.Tree(1)
	hidden := 0
	for _, b := range flat.CameFrom {
		hidden += b.Hidden
	}
	if count(flat.CameFrom) != 4 || hidden != 3 {
		t.Errorf("one step back %d are drawn and %d left out, want 4 and 3", count(flat.CameFrom), hidden)
	}
}
