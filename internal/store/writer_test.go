package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"cruet/internal/larder"
)

// queued starts acts that all wait for their turn, then lets them run: so they
// share transactions for certain. Each returns what it was answered.
func queued(db *DB, acts []func() error) []error {
	errs := make([]error, len(acts))
	var wait sync.WaitGroup
	db.writer.turn.Lock()
	for i, act := range acts {
		wait.Go(func() { errs[i] = act() })
	}
	for int(db.writer.waiting.Load()) < len(acts) {
		time.Sleep(100 * time.Microsecond)
	}
	db.writer.turn.Unlock()
	wait.Wait()
	return errs
}

// setting is a value that the tests' acts read and write, as any act does.
func setting(ctx context.Context, q querier) string {
	var text string
	_ = q.QueryRowContext(ctx, `SELECT value FROM setting WHERE name = 'test'`).Scan(&text) // missing: empty
	return text
}

func (t *tx) mark(ctx context.Context, mark string) error {
	_, err := t.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES ('test', ?) ON CONFLICT DO UPDATE SET value = value || excluded.value`, mark)
	return err
}

func TestActsShareACommit(t *testing.T) {
	db, _ := kitchen(t)
	groups := map[*group]int{}
	var acts []func() error
	for range groupActs + 10 {
		acts = append(acts, func() error {
			return db.inTx(ctx, larder.Act{}, func(x *tx) error {
				groups[db.writer.open]++
				return x.mark(ctx, "x")
			})
		})
	}
	if err := errors.Join(queued(db, acts)...); err != nil {
		t.Fatal(err)
	}
	if len(groups) != 2 {
		t.Errorf("%d acts went into %d transactions, want 2", len(acts), len(groups))
	}
	if got := setting(ctx, db.read); got != strings.Repeat("x", len(acts)) {
		t.Errorf("%d acts left %q", len(acts), got)
	}
}

// However acts fall into transactions and whichever of them fail, the outcome is
// that of the same acts one after another in the order in which they ran: each
// sees what those before it wrote, a failed one leaves nothing, a key counts once.
func TestSharedCommitsEqualSerialActs(t *testing.T) {
	errBroken := errors.New("broken on purpose")
	type plan struct {
		key  int // acts of one key are one act
		fate string
	}
	one := rapid.Custom(func(t *rapid.T) plan {
		return plan{rapid.IntRange(0, 5).Draw(t, "key"), rapid.SampledFrom([]string{"keep", "keep", "keep", "refuse", "break", "panic", "leave", "leave before"}).Draw(t, "fate")}
	})
	db, _ := kitchen(t)
	rapid.Check(t, func(t *rapid.T) {
		if _, err := db.write.Exec(`DELETE FROM setting`); err != nil {
			t.Fatal(err)
		}
		keys := [6]larder.Act{}
		for i := range keys {
			keys[i] = act()
		}
		plans := rapid.SliceOfN(one, 1, 12).Draw(t, "acts")
		var ran []string // by the acts themselves, in their turns
		replays := make([]bool, len(plans))
		var acts []func() error
		for i, p := range plans {
			mark := string(rune('a' + i))
			acts = append(acts, func() (err error) {
				ctx, leave := context.WithCancel(ctx)
				defer leave()
				defer func() {
					if r := recover(); r != nil {
						err = fmt.Errorf("%v: %w", r, errBroken)
					}
				}()
				if p.fate == "leave before" {
					leave()
				}
				var ref string
				ref, replays[i], err = db.act(ctx, keys[p.key], "test", p.key, func(x *tx) (string, error) {
					// What is there must be what those that stand wrote.
					if got, want := setting(ctx, x), strings.Join(ran, ""); got != want {
						return "", fmt.Errorf("it sees %q, want %q", got, want)
					}
					if err := x.mark(ctx, mark); err != nil {
						return "", err
					}
					switch p.fate {
					case "refuse":
						return "", larder.Refuse("test", "refused on purpose")
					case "break":
						return "", errBroken
					case "panic":
						panic("on purpose")
					case "leave":
						leave()
						return "", ctx.Err()
					}
					ran = append(ran, mark)
					return mark, nil
				})
				if err == nil && (ref == "" || !strings.Contains(strings.Join(ran, ""), ref)) {
					return fmt.Errorf("the answer is %q, of %v", ref, ran)
				}
				return err
			})
		}
		errs := queued(db, acts)
		stands := map[int]bool{}
		for i, err := range errs {
			var refused larder.Problems
			fate := plans[i].fate
			switch {
			case err == nil && !replays[i] && fate != "keep":
				t.Fatalf("act %d (%s) was answered as saved", i, fate)
			case err == nil && !replays[i] && stands[plans[i].key]:
				t.Fatalf("key %d was saved twice", plans[i].key)
			case err == nil && !replays[i]:
				stands[plans[i].key] = true
			case err == nil:
			case fate == "refuse" && errors.As(err, &refused), fate == "leave" && errors.Is(err, context.Canceled),
				fate == "leave before" && errors.Is(err, context.Canceled), (fate == "break" || fate == "panic") && errors.Is(err, errBroken):
			default:
				t.Fatalf("act %d (%s): %v", i, fate, err)
			}
		}
		if got, want := setting(ctx, db.read), strings.Join(ran, ""); got != want || len(stands) != len(ran) {
			t.Fatalf("on disk is %q, want %q, of %d keys", got, want, len(stands))
		}
	})
	sound(t, db)
}

// Forty take a tenth of what a jar held at first, all at once: ten get it.
func TestSharedCommitsKeepTheRules(t *testing.T) {
	db, _ := kitchen(t)
	n := damson()
	n.JarSizeML = 10_000
	jars := start(t, db, n).Jars
	from, to := jars[0].Tag, jars[1].Tag
	var acts []func() error
	for range 40 {
		acts = append(acts, func() error {
			_, err := db.Append(ctx, act(), to, body(larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: from, VolumeML: ml(300)}}))
			return err
		})
	}
	got := 0
	for _, err := range queued(db, acts) {
		var p larder.Problems
		if err == nil {
			got++
		} else if !errors.As(err, &p) {
			t.Error(err)
		}
	}
	if got != 10 {
		t.Errorf("%d were given 300 of 3000 mL", got)
	}
	holdsML(t, db, from, 0)
	holdsML(t, db, to, 6000)
	sound(t, db)
}

// When SQLite itself ends the transaction, as it may on a full disk, nobody who
// shared it is told that something was saved, and the next act is a fresh start.
func TestEndedTransactionFailsAllThatSharedIt(t *testing.T) {
	db, _ := kitchen(t)
	for _, others := range []int{0, 5} {
		before := setting(ctx, db.read)
		acts := []func() error{func() error {
			return db.inTx(ctx, larder.Act{}, func(x *tx) error {
				_, err := x.ExecContext(ctx, `ROLLBACK`)
				return errors.Join(err, errors.New("the disk is full"))
			})
		}}
		saved := make([]bool, others)
		for i := range others {
			acts = append(acts, func() error {
				return db.inTx(ctx, larder.Act{}, func(x *tx) error { return x.mark(ctx, string(rune('a'+i))) })
			})
		}
		errs := queued(db, acts)
		for i := range others {
			saved[i] = errs[i+1] == nil
		}
		if errs[0] == nil || !strings.Contains(errs[0].Error(), "the disk is full") {
			t.Errorf("the act that failed was told %v", errs[0])
		}
		got := setting(ctx, db.read)
		for i, ok := range saved {
			if mark := string(rune('a' + i)); strings.Contains(strings.TrimPrefix(got, before), mark) != ok {
				t.Errorf("act %s: saved %v, on disk is %q", mark, ok, got)
			}
		}
		if err := db.inTx(ctx, larder.Act{}, func(x *tx) error { return x.mark(ctx, "!") }); err != nil {
			t.Error(err)
		}
	}
	sound(t, db)
}

// Closing waits for the acts that began: whoever was answered finds its row when
// the file is opened again, whoever was not does not.
func TestCloseWaitsForActs(t *testing.T) {
	dir := t.TempDir()
	db := openIn(t, dir, Options{})
	tag := start(t, db, damson()).Jars[0].Tag
	var wait sync.WaitGroup
	answered := make(chan larder.Act, 10_000)
	for range 16 {
		wait.Go(func() {
			for range cap(answered) / 16 {
				a := act()
				if _, err := db.Append(ctx, a, tag, note("while closing")); err != nil {
					return
				}
				answered <- a
			}
		})
	}
	for len(answered) < 50 {
		time.Sleep(time.Millisecond)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	wait.Wait()
	close(answered)
	again := openIn(t, dir, Options{})
	n := 0
	for a := range answered {
		n++
		if _, err := again.Entry(ctx, a.Key); err != nil {
			t.Errorf("entry %s was answered: %v", a.Key, err)
		}
	}
	if r := sound(t, again); r.Entries != n+2 { // and the two of the start
		t.Errorf("%d entries are there, %d were answered", r.Entries-2, n)
	}
}

// A statement whose rows are still read is not lent to another reader, and one
// that failed is not kept.
func TestStatementsAreKept(t *testing.T) {
	var texts []string
	dir := t.TempDir()
	db := openIn(t, dir, Options{Seen: func(q string) { texts = append(texts, q) }})
	tags := start(t, db, damson()).Jars
	texts = nil
	for range 3 {
		for _, j := range tags {
			add(t, db, j.Tag, ph(3.3))
		}
	}
	seen := map[string]int{}
	for _, q := range texts {
		if seen[q]++; seen[q] > 1 {
			t.Errorf("prepared again: %s", q)
		}
	}
	if len(seen) == 0 {
		t.Error("nothing was prepared")
	}
	err := db.snapshot(ctx, func(q querier) error {
		const query = `SELECT tag FROM jar ORDER BY tag`
		outer, err := q.QueryContext(ctx, query)
		if err != nil {
			return err
		}
		defer outer.Close()
		n := 0
		for ; outer.Next(); n++ {
			inner, err := q.QueryContext(ctx, query)
			if err != nil {
				return err
			}
			m := 0
			for ; inner.Next(); m++ {
			}
			if err := errors.Join(inner.Err(), inner.Close()); err != nil || m != 2 {
				return fmt.Errorf("inside: %d rows, %v", m, err)
			}
		}
		if n != 2 {
			return fmt.Errorf("outside: %d rows", n)
		}
		if _, err := q.QueryContext(ctx, `SELECT nothing FROM jar`); err == nil {
			return errors.New("a wrong query was run")
		}
		return outer.Err()
	})
	if err != nil {
		t.Error(err)
	}
}
