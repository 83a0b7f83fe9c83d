package store

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// yard is a kitchen in which a property test acts at random.
type yard struct {
	t      *testing.T
	r      *rapid.T
	db     *DB
	c      *clock
	jars   []larder.Tag
	lots   []string
	acts   []uuid.UUID // one entry of each act that may be struck
	late   bool        // acts may be logged late, with vague dates
	passed map[string]int
}

func newYard(t *testing.T, r *rapid.T, passed map[string]int) *yard {
	c := newClock()
	y := &yard{t: t, r: r, c: c, db: openIn(t, t.TempDir(), Options{Now: c.Now}), passed: passed}
	// Hundreds of kitchens need not outlive a power cut.
	if _, err := y.db.write.Exec(`PRAGMA synchronous = OFF`); err != nil {
		t.Fatal(err)
	}
	n := damson()
	n.Jars, n.When, n.Stage = 3, c.daysAgo(30), larder.Acetic
	for _, j := range start(t, y.db, n).Jars {
		y.jars = append(y.jars, j.Tag)
		if j.Letter != "C" {
			add(t, y.db, j.Tag, larder.NewEntry{When: c.daysAgo(25), Body: larder.StageChange{To: larder.Finished}})
		}
	}
	return y
}

// held are the jars on hold, or all when there is none.
func (y *yard) held() []larder.Tag {
	var out []larder.Tag
	for _, tag := range y.jars {
		if jar(y.t, y.db, tag).State.Hold != "" {
			out = append(out, tag)
		}
	}
	if len(out) == 0 {
		return y.jars
	}
	return out
}

func (y *yard) jar(label string) larder.Tag { return rapid.SampledFrom(y.jars).Draw(y.r, label) }

func (y *yard) volume() chem.Millilitres {
	return chem.Millilitres(rapid.IntRange(1, 1500).Draw(y.r, "volume_ml"))
}

func (y *yard) when() larder.When {
	if !y.late || rapid.IntRange(0, 2).Draw(y.r, "late") > 0 {
		return larder.When{}
	}
	w := y.c.daysAgo(rapid.IntRange(1, 20).Draw(y.r, "days_ago"))
	if rapid.Bool().Draw(y.r, "about") {
		w.Precision, w.SpreadDays = larder.About, 2
	}
	return w
}

var yardActs = []string{"top up", "top up", "top up", "mother", "water", "bought", "read", "titrate", "finish", "retire", "split", "split", "move", "blend", "blend", "join", "join", "bottle", "bottle", "give", "give", "hold", "release", "release", "hold lot", "strike"}

// act does one thing at random and says what and whether it was accepted.
func (y *yard) act() (what string, err error) {
	y.c.pass(time.Hour)
	what = rapid.SampledFrom(yardActs).Draw(y.r, "act")
	tag, other, when, volume := y.jar("jar"), y.jar("other"), y.when(), y.volume()
	key := act()
	log := func(b larder.Body) error {
		_, err := y.db.Append(ctx, key, tag, larder.NewEntry{When: when, Body: b})
		return err
	}
	var made []larder.Jar
	switch what {
	case "top up":
		err = log(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: other, VolumeML: &volume}})
	case "mother":
		err = log(larder.Transfer{What: larder.StarterIn, Feed: &larder.Feed{From: larder.FromJar, Jar: other, Mother: true}})
	case "water":
		err = log(larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: &volume}})
	case "bought":
		err = log(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromBought, Name: "live vinegar", VolumeML: &volume}})
	case "read":
		err = log(larder.Reading{VolumeML: &volume})
	case "titrate":
		err = log(titration().Body)
	case "finish":
		err = log(larder.StageChange{To: larder.Finished, Reason: "it went so"})
	case "retire":
		err = log(larder.StageChange{To: rapid.SampledFrom([]larder.Stage{larder.Empty, larder.Discarded}).Draw(y.r, "to"), Reason: "it went so"})
	case "split":
		var f Filled
		f, err = y.db.Split(ctx, key, tag, larder.NewSplit{When: when, Parts: []larder.Part{{SizeML: 2000, VolumeML: volume}, {SizeML: 2000, VolumeML: y.volume()}}})
		made = f.Jars
	case "move":
		n := larder.NewMove{When: when, SizeML: 6000}
		if rapid.Bool().Draw(y.r, "measured") {
			n.VolumeML = &volume
		}
		var f Filled
		f, err = y.db.Move(ctx, key, tag, n)
		made = f.Jars
	case "blend":
		var f Filled
		f, err = y.db.Blend(ctx, key, larder.NewBlend{Name: "blend", When: when, SizeML: 9000, Pours: []larder.Pour{{Jar: tag, VolumeML: volume}, {Jar: other}}})
		made = f.Jars
	case "join":
		n := larder.NewJoin{When: when, Pours: []larder.Pour{{Jar: other, VolumeML: volume}}}
		if third := y.jar("third"); rapid.Bool().Draw(y.r, "all_of_another") {
			n.Pours = append(n.Pours, larder.Pour{Jar: third})
		}
		_, err = y.db.Join(ctx, key, tag, n)
	case "bottle":
		err = y.bottle(key, tag, other, when)
	case "give":
		err = y.give(key)
	case "hold":
		err = log(larder.Hold{On: true, Reason: "white fur"})
	case "release":
		tag = rapid.SampledFrom(y.held()).Draw(y.r, "released")
		err = log(larder.Hold{Reason: "it was flour"})
	case "hold lot":
		if len(y.lots) > 0 {
			_, err = y.db.HoldLot(ctx, key, rapid.SampledFrom(y.lots).Draw(y.r, "lot"), larder.NewLotHold{On: rapid.Bool().Draw(y.r, "on"), Reason: "a cork"})
		}
		return what, err
	case "strike":
		if len(y.acts) == 0 {
			return what, errors.New("nothing to strike")
		}
		_, err = y.db.Strike(ctx, key, rapid.SampledFrom(y.acts).Draw(y.r, "strike"), "wrong jar")
		return what, err
	}
	for _, j := range made {
		y.jars = append(y.jars, j.Tag)
	}
	if err == nil && what != "give" {
		y.acts = append(y.acts, y.entryOf(key.Key))
	}
	return what, err
}

func (y *yard) entryOf(act uuid.UUID) uuid.UUID {
	e, err := readEntry(y.db.read.QueryRow(entrySQL+` WHERE `+ofActSQL+` ORDER BY seq LIMIT 1`, act[:]))
	if err != nil {
		y.r.Fatal(err)
	}
	return e.ID
}

// bottle bottles, and sees by its own walk that nothing behind the jars is held.
func (y *yard) bottle(key larder.Act, tag, other larder.Tag, when larder.When) error {
	n := larder.NewLot{When: when, Pours: []larder.Pour{{Jar: tag}}, Runs: []larder.Run{{Count: 2, SizeML: 100}}}
	if other != tag && rapid.Bool().Draw(y.r, "both") {
		n.Pours = append(n.Pours, larder.Pour{Jar: other})
	}
	lot, err := y.db.Bottle(ctx, key, n)
	if err != nil {
		return err
	}
	y.lots = append(y.lots, lot.Lot.ID)
	y.noneHeld(lot.Lot.ID, when)
	return nil
}

func (y *yard) give(key larder.Act) error {
	if len(y.lots) == 0 {
		return errors.New("nothing to give")
	}
	lot, err := y.db.Lot(ctx, rapid.SampledFrom(y.lots).Draw(y.r, "lot"))
	if err != nil {
		y.r.Fatal(err)
	}
	if _, err = y.db.Give(ctx, key, lot.Bottles[0].Tag, larder.NewGift{To: "ana"}); err == nil {
		y.noneHeld(lot.Lot.ID, larder.When{})
		if lot.Lot.Hold != "" {
			y.r.Fatalf("a bottle of lot %s left while it was on hold", lot.Lot.ID)
		}
	}
	return err
}

// noneHeld looks for holds behind a lot that began before a time, zero for now.
func (y *yard) noneHeld(lot string, at larder.When) {
	for from := range closure(y.edges())[lot] {
		s := jar(y.t, y.db, larder.Tag(from)).State
		if s.Hold != "" && (at.IsZero() || !at.Before(*s.HoldAt)) {
			y.r.Fatalf("lot %s descends from jar %s, which is on hold: %s", lot, from, s.Hold)
		}
	}
}

// steps reads the lineage out of the logs, not out of what the store derived.
func (y *yard) steps() []larder.Step {
	var out []larder.Step
	for _, tag := range y.jars {
		for _, e := range history(y.t, y.db, tag).Entries {
			if edge, ok := larder.EdgeOf(e); ok && !e.Struck() {
				out = append(out, larder.Step{Edge: edge, Seq: e.Seq})
			}
		}
	}
	return out
}

// edges are the steps from a jar.
func (y *yard) edges() []larder.Edge {
	var out []larder.Edge
	for _, s := range y.steps() {
		if s.FromJar != "" {
			out = append(out, s.Edge)
		}
	}
	return out
}

// naiveDepths says in how many steps each one is reached from those that begin, by
// trying every pair until nothing is nearer: slow, and unlike the store's walk.
func naiveDepths(all []larder.Step, back bool, begins func(larder.Step) bool) map[int64]int {
	depths := map[int64]int{}
	for _, s := range all {
		if begins(s) {
			depths[s.Seq] = 1
		}
	}
	for changed := true; changed; {
		changed = false
		for _, near := range all {
			d, reached := depths[near.Seq]
			for _, far := range all {
				in, out := near, far
				if back {
					in, out = far, near
				}
				if !reached || in.ToJar == "" || in.ToJar != out.FromJar || in.When.Earliest().After(out.When.Latest()) {
					continue
				}
				if was, seen := depths[far.Seq]; !seen || d+1 < was {
					depths[far.Seq], changed = d+1, true
				}
			}
		}
	}
	return depths
}

// sameDepths compares one side of a trace with a naive walk, in the order that it is
// told in.
func sameDepths(t interface{ Fatalf(string, ...any) }, what string, got []larder.Step, back bool, want map[int64]int) {
	direction := 1
	if back {
		direction = -1
	}
	for i, s := range got {
		if want[s.Seq] != s.Depth {
			t.Fatalf("%s: step %d is told at depth %d, want %d (0 is not at all)", what, s.Seq, s.Depth, want[s.Seq])
		}
		if i == 0 {
			continue
		}
		last := got[i-1]
		if cmp.Or(cmp.Compare(last.Depth, s.Depth), direction*last.When.At.Compare(s.When.At), direction*cmp.Compare(last.Seq, s.Seq)) >= 0 {
			t.Fatalf("%s: step %d of depth %d, %v comes after %d of %d, %v", what, s.Seq, s.Depth, s.When, last.Seq, last.Depth, last.When)
		}
	}
	if len(got) != len(want) {
		t.Fatalf("%s: %d steps are told, want %d", what, len(got), len(want))
	}
}

// closure is what each jar or lot came from, by trying every pair of edges until
// nothing more is found: slow, and unlike the store's walk.
func closure(edges []larder.Edge) map[string]map[string]bool {
	to := func(e larder.Edge) string { return string(e.ToJar) + e.ToLot }
	before := make([]map[string]bool, len(edges)) // what flowed along each edge
	for i, e := range edges {
		before[i] = map[string]bool{string(e.FromJar): true}
	}
	for changed := true; changed; {
		changed = false
		for i, out := range edges {
			for k, in := range edges {
				if to(in) != string(out.FromJar) || in.When.Earliest().After(out.When.Latest()) {
					continue
				}
				for from := range before[k] {
					if !before[i][from] {
						before[i][from], changed = true, true
					}
				}
			}
		}
	}
	all := map[string]map[string]bool{}
	for i, e := range edges {
		if all[to(e)] == nil {
			all[to(e)] = map[string]bool{}
		}
		for from := range before[i] {
			all[to(e)][from] = true
		}
	}
	return all
}

// states are the states of all jars that stand or stood, as text.
func (y *yard) states() map[larder.Tag]string {
	out := map[larder.Tag]string{}
	for _, tag := range y.jars {
		out[tag] = stateText(y.t, y.db, tag)
	}
	return out
}

// After any acts, logged in time or late: a refused act changed nothing; a strike
// of the last act restored every jar; no bottle was filled or given while
// something behind it was on hold; the records are sound.
func TestRandomTransfers(t *testing.T) {
	passed := map[string]int{}
	rapid.Check(t, func(r *rapid.T) {
		y := newYard(t, r, passed)
		defer y.db.Close()
		y.late = rapid.Bool().Draw(r, "logged_late")
		for range rapid.IntRange(5, 30).Draw(r, "acts") {
			before, count := y.states(), len(y.acts)
			what, err := y.act()
			var p larder.Problems
			switch {
			case err == nil:
				passed[what]++
			case errors.As(err, &p) || err.Error() == "nothing to strike" || err.Error() == "nothing to give":
				same(r, before, y.states(), "a refused "+what)
			default:
				r.Fatalf("%s: %v", what, err)
			}
			others := 3 // go without for each that is struck
			if what == "join" {
				others = 1 // few are drawn, and one of them has to be struck
			}
			if len(y.acts) > count && rapid.IntRange(0, others).Draw(r, "strike_at_once") == 0 {
				if _, err := y.db.Strike(ctx, act(), y.acts[count], "wrong"); err != nil {
					r.Fatalf("striking a %s at once: %v", what, err)
				}
				passed["strike of "+what]++
				same(r, before, y.states(), "a struck "+what)
			}
		}
		report, err := y.db.Check(ctx)
		if err != nil || len(report.Findings) > 0 {
			r.Fatalf("check: %v, %v", report.Findings, err)
		}
	})
	for _, what := range slices.Compact(slices.Sorted(slices.Values(yardActs))) {
		if passed[what] == 0 {
			t.Errorf("no %s was ever accepted: %v", what, passed)
		}
	}
	for _, what := range []string{"split", "move", "blend", "join", "bottle", "retire"} {
		if passed["strike of "+what] == 0 {
			t.Errorf("no %s was ever struck at once: %v", what, passed)
		}
	}
}

func same(r *rapid.T, before, after map[larder.Tag]string, what string) {
	for tag, was := range before {
		if after[tag] != was {
			r.Fatalf("%s left jar %s\n%s\nbefore\n%s", what, tag, after[tag], was)
		}
	}
}

// Volume is conserved: what came in from outside is in the jars, in bottles, was
// poured away, or was found missing when a volume was measured. The sums are
// made from the entries, one by one.
func TestVolumeIsConserved(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		y := newYard(t, r, map[string]int{})
		defer y.db.Close()
		for range rapid.IntRange(5, 30).Draw(r, "acts") {
			if _, err := y.act(); err != nil {
				continue
			}
		}
		var in, held, out, losses float64
		for _, tag := range y.jars {
			log := history(t, y.db, tag).Entries
			slices.Reverse(log)
			volume := 0.0
			for _, e := range log {
				if e.Struck() {
					continue
				}
				switch b := e.Body.(type) {
				case larder.StageChange:
					switch {
					case b.From == "" && b.Inherit == nil:
						volume = float64(*b.VolumeML)
						in += volume
					case !b.To.Live():
						out += volume
						volume = 0
					}
				case larder.Reading:
					if b.VolumeML != nil {
						losses += volume - float64(*b.VolumeML)
						volume = float64(*b.VolumeML)
					}
				case larder.Transfer:
					switch {
					case b.Feed != nil && b.Feed.VolumeML != nil:
						volume += float64(*b.Feed.VolumeML)
						if b.Feed.From != larder.FromJar {
							in += float64(*b.Feed.VolumeML)
						}
					case b.Feed == nil && b.VolumeML != nil:
						volume -= float64(*b.VolumeML)
						if b.What == larder.Bottled {
							out += float64(*b.VolumeML)
						}
					}
				}
			}
			if volume < -0.01 {
				r.Fatalf("jar %s holds %g mL", tag, volume)
			}
			if v := jar(t, y.db, tag).State.VolumeML; v != nil && math.Abs(float64(*v)-volume) > 0.01 {
				r.Fatalf("jar %s is said to hold %g mL; its entries leave %g", tag, float64(*v), volume)
			}
			held += volume
		}
		if d := in - held - out - losses; math.Abs(d) > 0.05 {
			r.Fatalf("%g mL came in, %g are here, %g went out, %g were lost: %g too many", in, held, out, losses, d)
		}
		// The whole batch's balance says the same.
		tr := trace(t, y.db, larder.SubjectNamed, "damson wine")
		b := tr.Balance
		if d := float64(b.MadeML - b.OnHandML - b.GivenML - b.UsedML - b.UnaccountedML); math.Abs(d) > 0.05 {
			r.Fatalf("the balance does not close: %+v", b)
		}
		if d := float64(b.MadeML) - in; math.Abs(d) > 0.05 || math.Abs(float64(b.UnaccountedML)-losses) > 0.05 {
			r.Fatalf("made %g mL, unaccounted %g; the entries say %g and %g", float64(b.MadeML), float64(b.UnaccountedML), in, losses)
		}
	})
}

// A trace forward from X holds Y exactly when the trace back from Y holds X, and
// both when there is a way that follows time, cycles or not.
func TestTraceBothWays(t *testing.T) {
	cycles, pairs := 0, 0
	rapid.Check(t, func(r *rapid.T) {
		y := newYard(t, r, map[string]int{})
		defer y.db.Close()
		y.late = true
		for range rapid.IntRange(5, 40).Draw(r, "acts") {
			if _, err := y.act(); err != nil {
				continue
			}
		}
		all := y.steps()
		want := closure(y.edges())
		forward, back := map[string]map[string]bool{}, map[string]map[string]bool{}
		note := func(m map[string]map[string]bool, to, from string) {
			if m[to] == nil {
				m[to] = map[string]bool{}
			}
			m[to][from] = true
		}
		for _, tag := range y.jars {
			tr := trace(t, y.db, larder.SubjectJar, string(tag))
			for _, s := range tr.Forward {
				note(forward, string(s.ToJar)+s.ToLot, string(tag))
			}
			for _, s := range tr.Back {
				if s.FromJar != "" {
					note(back, string(tag), string(s.FromJar))
				}
			}
			sameDepths(r, "back from "+string(tag), tr.Back, true, naiveDepths(all, true, func(s larder.Step) bool { return s.ToJar == tag }))
			y.sameLineage(tag, tr, rapid.IntRange(1, 4).Draw(r, "steps"))
			sameDepths(r, "forward from "+string(tag), tr.Forward, false, naiveDepths(all, false, func(s larder.Step) bool { return s.FromJar == tag }))
		}
		for _, id := range y.lots {
			tr := trace(t, y.db, larder.SubjectLot, id)
			for _, s := range tr.Back {
				if s.FromJar != "" {
					note(back, id, string(s.FromJar))
				}
			}
			sameDepths(r, "back from "+id, tr.Back, true, naiveDepths(all, true, func(s larder.Step) bool { return s.ToLot == id }))
		}
		for _, name := range []string{"damson wine", "live vinegar"} {
			var made []larder.Tag // whose recipe names it
			for _, j := range y.jars {
				if slices.ContainsFunc(history(t, y.db, j).Batch.Ingredients, func(i larder.Ingredient) bool { return i.Name == name }) {
					made = append(made, j)
				}
			}
			want := naiveDepths(all, false, func(s larder.Step) bool { return s.FromName == name || slices.Contains(made, s.FromJar) })
			if tr, err := y.db.Trace(ctx, larder.Subject{Kind: larder.SubjectNamed, ID: name}); err == nil {
				sameDepths(r, "forward from "+name, tr.Forward, false, want)
			} else if len(want) > 0 || name == "damson wine" {
				r.Fatal(err)
			}
		}
		if f, b, w := fmt.Sprint(forward), fmt.Sprint(back), fmt.Sprint(want); f != w || b != w {
			r.Fatalf("forward %s\nback    %s\nwant    %s", f, b, w)
		}
		for to, from := range want {
			pairs += len(from)
			if from[to] {
				cycles++
			}
		}
	})
	if cycles < 20 || pairs < 500 {
		t.Errorf("only %d cycles and %d pairs were traced", cycles, pairs)
	}
}

// sameLineage compares a lineage of so many steps with that part of the whole trace.
func (y *yard) sameLineage(tag larder.Tag, whole larder.Trace, steps int) {
	part, err := y.db.Lineage(ctx, tag, steps)
	if err != nil {
		y.r.Fatal(err)
	}
	if got, want := part.Tree(steps), whole.Tree(steps); !reflect.DeepEqual(got, want) {
		y.r.Fatalf("the tree of %s to %d steps is %+v, want %+v", tag, steps, got, want)
	}
	near := func(depth *int) *int {
		if depth == nil || *depth > steps {
			return nil
		}
		return depth
	}
	var jars []larder.TraceJar
	for _, j := range whole.Jars {
		if j.Back, j.Forward = near(j.Back), near(j.Forward); j.Back != nil || j.Forward != nil {
			jars = append(jars, j)
		}
	}
	if !reflect.DeepEqual(part.Jars, jars) {
		y.r.Fatalf("within %d steps of %s are %+v, want %+v", steps, tag, part.Jars, jars)
	}
	for _, s := range whole.Forward {
		same := func(l larder.TraceLot) bool { return l.ID == s.ToLot }
		if s.ToLot != "" && s.Depth <= steps && part.Lots[slices.IndexFunc(part.Lots, same)] != whole.Lots[slices.IndexFunc(whole.Lots, same)] {
			y.r.Fatalf("lot %s is told in another way: %+v and %+v", s.ToLot, part.Lots, whole.Lots)
		}
	}
	byJar := func(a, b larder.Held) int { return cmp.Compare(a.Jar, b.Jar) }
	if got, want := slices.SortedFunc(slices.Values(part.Held), byJar), slices.SortedFunc(slices.Values(whole.Held), byJar); !slices.Equal(got, want) {
		y.r.Fatalf("%s is held by %+v, want %+v", tag, got, want)
	}
}
