package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"strconv"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// Filled is the answer to an act that poured jars into others.
type Filled struct {
	Batch    larder.Batch // of the jars that got it
	Jars     []larder.Jar // the jars that got it, in the order asked for; new ones unless jars were joined
	From     []larder.Jar // what gave, as it is now
	Entry    uuid.UUID    // striking it takes the whole act back
	Replayed bool
}

// Split pours parts of a jar into new vessels. They stay in its batch; the jar
// becomes empty when all of it went out.
func (db *DB) Split(ctx context.Context, a larder.Act, from larder.Tag, n larder.NewSplit) (Filled, error) {
	return db.fillJars(ctx, a, "split", struct {
		From larder.Tag
		N    larder.NewSplit
	}{from, n}, func(t *tx) error {
		jar, err := t.jar(ctx, from)
		if err != nil {
			return err
		}
		if err := n.Check(jar, t.now); err != nil {
			return err
		}
		return t.split(ctx, jar, n, larder.SplitOff, "parts[%d].spare_tag")
	})
}

// Move pours a whole jar into a new vessel of the same batch; the old one becomes
// empty.
func (db *DB) Move(ctx context.Context, a larder.Act, from larder.Tag, n larder.NewMove) (Filled, error) {
	return db.fillJars(ctx, a, "move", struct {
		From larder.Tag
		N    larder.NewMove
	}{from, n}, func(t *tx) error {
		jar, err := t.jar(ctx, from)
		if err != nil {
			return err
		}
		if err := n.Check(jar, t.now); err != nil {
			return err
		}
		split, err := n.Split(jar)
		if err != nil {
			return err
		}
		return t.split(ctx, jar, split, larder.Moved, "spare_tag")
	})
}

// Blend joins jars in a new vessel, which begins a new batch.
func (db *DB) Blend(ctx context.Context, a larder.Act, n larder.NewBlend) (Filled, error) {
	return db.fillJars(ctx, a, "blend", n, func(t *tx) error {
		jars, err := t.givers(ctx, n.Pours)
		if err != nil {
			return err
		}
		pours, err := n.Check(jars, t.now)
		if err != nil {
			return err
		}
		return t.blend(ctx, n, pours, jars)
	})
}

// Join pours jars into one that stands on the shelf already.
func (db *DB) Join(ctx context.Context, a larder.Act, into larder.Tag, n larder.NewJoin) (Filled, error) {
	return db.fillJars(ctx, a, "join", struct {
		Into larder.Tag
		N    larder.NewJoin
	}{into, n}, func(t *tx) error {
		jar, err := t.jar(ctx, into)
		if err != nil {
			return err
		}
		jars, err := t.givers(ctx, n.Pours)
		if err != nil {
			return err
		}
		pours, err := n.Check(jar, jars, t.now)
		if err != nil {
			return err
		}
		return t.join(ctx, into, n, pours, jars)
	})
}

// givers reads the jars of pours, in their order.
func (t *tx) givers(ctx context.Context, pours []larder.Pour) ([]larder.Jar, error) {
	jars := make([]larder.Jar, len(pours))
	for i, pour := range pours {
		var err error
		var missing *larder.NotFoundError
		if jars[i], err = t.jar(ctx, pour.Jar); errors.As(err, &missing) {
			return nil, larder.Refuse("jars", "There is no jar "+string(pour.Jar)+" to take from. Check its label.")
		} else if err != nil {
			return nil, err
		}
	}
	return jars, nil
}

// filledSQL lists the jars that an act wrote into, in its order; got tells those
// that were filled or fed.
const filledSQL = `SELECT jar, json_extract(body, '$.inherit') IS NOT NULL OR json_extract(body, '$.feed') IS NOT NULL FROM entry WHERE ` + ofActSQL + ` ORDER BY seq`

// FilledBy is what an act that split, moved, blended or joined jars did. An act
// that did none of these is a larder.NotFoundError.
func (db *DB) FilledBy(ctx context.Context, act uuid.UUID) (Filled, error) {
	f := Filled{Entry: act}
	err := db.snapshot(ctx, func(q querier) error {
		rows, err := q.QueryContext(ctx, filledSQL, act[:])
		if err != nil {
			return fmt.Errorf("store: what an act filled: %w", err)
		}
		type wrote struct {
			jar larder.Tag
			got bool
		}
		entries, err := collect(rows, func(r *sql.Rows) (w wrote, err error) { return w, r.Scan(&w.jar, &w.got) })
		if err != nil {
			return fmt.Errorf("store: what an act filled: %w", err)
		}
		seen := map[larder.Tag]bool{}
		for _, w := range entries {
			if seen[w.jar] {
				continue
			}
			seen[w.jar] = true
			jar, err := jarByTag(ctx, q, w.jar)
			if err != nil {
				return err
			}
			if w.got {
				f.Jars = append(f.Jars, jar)
			} else {
				f.From = append(f.From, jar)
			}
		}
		if len(f.Jars) == 0 || len(f.From) == 0 {
			return &larder.NotFoundError{What: "act", ID: act.String()}
		}
		f.Batch, err = batchByID(ctx, q, f.Jars[0].BatchID)
		return err
	})
	return f, err
}

func (db *DB) fillJars(ctx context.Context, a larder.Act, kind string, input any, do func(*tx) error) (Filled, error) {
	_, replayed, err := db.act(ctx, a, kind, input, func(t *tx) (string, error) { return a.Key.String(), do(t) })
	if err != nil {
		return Filled{}, err
	}
	f, err := db.FilledBy(ctx, a.Key)
	f.Replayed = replayed
	return f, err
}

// newJar is a vessel to be filled in an act.
type newJar struct {
	batch    int64
	part     larder.Part
	stage    larder.Stage
	inherit  larder.Inherit
	what     larder.TransferKind
	pours    []larder.Pour
	when     larder.When
	note     string
	tagField string // names the spare tag's input
}

func (t *tx) split(ctx context.Context, jar larder.Jar, n larder.NewSplit, what larder.TransferKind, tagField string) error {
	n.When = t.fill(n.When)
	then, err := t.asOf(ctx, jar, n.When)
	if err != nil {
		return err
	}
	for i, part := range n.Parts {
		if part.Place == "" {
			part.Place = jar.Place
		}
		field := tagField
		if what == larder.SplitOff {
			field = fmt.Sprintf(tagField, i)
		}
		err := t.fillJar(ctx, i, newJar{batch: jar.BatchID, part: part, stage: then.State.Stage, inherit: then.State.Inherit(), what: what,
			pours: []larder.Pour{{Jar: jar.Tag, VolumeML: part.VolumeML}}, when: n.When, note: n.Note, tagField: field})
		if err != nil {
			return err
		}
	}
	if what == larder.Moved || larder.AllOut(jar, n.TotalML()) {
		return t.empty(ctx, jar.Tag, n.When, "all of it was "+string(what))
	}
	return nil
}

func (t *tx) blend(ctx context.Context, n larder.NewBlend, pours []larder.Pour, jars []larder.Jar) error {
	n.When = t.fill(n.When)
	then := make([]larder.Jar, len(jars))
	parts := make([]larder.BlendPart, len(jars))
	var total chem.Millilitres
	for i, jar := range jars {
		var err error
		if then[i], err = t.asOf(ctx, jar, n.When); err != nil {
			return err
		}
		parts[i].VolumeML = pours[i].VolumeML
		total += pours[i].VolumeML
		if parts[i].Batch, err = batchByID(ctx, t, jar.BatchID); err != nil {
			return err
		}
		if parts[i].MadeML, err = liquidOfBatch(ctx, t, jar.BatchID); err != nil {
			return err
		}
	}
	base, ingredients, target := larder.BlendBatch(parts)
	if n.TargetGPer100ML != 0 {
		target = n.TargetGPer100ML
	}
	batch, err := t.insertBatch(ctx, larder.NewBatch{Name: n.Name, Base: base, Ingredients: ingredients, When: n.When, TargetGPer100ML: target, Note: n.Note})
	if err != nil {
		return err
	}
	part := larder.Part{SizeML: n.SizeML, VolumeML: total, SpareTag: n.SpareTag, Place: n.Place}
	if part.Place == "" {
		part.Place = jars[0].Place
	}
	err = t.fillJar(ctx, 0, newJar{batch: batch, part: part, stage: larder.BlendStage(then), inherit: larder.InheritBlend(pours, then), what: larder.Blended,
		pours: pours, when: n.When, note: n.Note, tagField: "spare_tag"})
	if err != nil {
		return err
	}
	return t.emptied(ctx, n.When, pours, jars, "all of it was blended")
}

// emptied retires the jars of which all was poured out.
func (t *tx) emptied(ctx context.Context, at larder.When, pours []larder.Pour, jars []larder.Jar, why string) error {
	for i, jar := range jars {
		if larder.AllOut(jar, pours[i].VolumeML) {
			if err := t.empty(ctx, jar.Tag, at, why); err != nil {
				return err
			}
		}
	}
	return nil
}

func (t *tx) join(ctx context.Context, into larder.Tag, n larder.NewJoin, pours []larder.Pour, jars []larder.Jar) error {
	n.When = t.fill(n.When)
	for i, pour := range pours {
		id := t.act.Key // the first one of the act names it; see Filled.Entry
		if i > 0 {
			id = part(t.act.Key, fmt.Sprintf("gave %d", i))
		}
		got := larder.NewEntry{When: n.When, Note: n.Note, Body: larder.Transfer{What: larder.TopUp,
			Feed: &larder.Feed{From: larder.FromJar, Jar: pour.Jar, VolumeML: new(pour.VolumeML)}}}
		if err := t.giveAs(ctx, id, into, got); err != nil {
			return err
		}
		jar, err := t.jar(ctx, into)
		if err != nil {
			return err
		}
		if _, _, err = t.append(ctx, part(t.act.Key, fmt.Sprintf("got %d", i)), jar, got); err != nil {
			return err
		}
	}
	return t.emptied(ctx, n.When, pours, jars, "all of it was poured into jar "+string(into))
}

// asOf is the jar as its log had it at a time: what was logged of later days
// does not go along with liquid that had left by then.
func (t *tx) asOf(ctx context.Context, jar larder.Jar, at larder.When) (larder.Jar, error) {
	log, err := wholeLog(ctx, t, jar.Tag)
	if err != nil {
		return jar, err
	}
	jar.State = larder.AsOf(log, at, math.MaxInt64) // the entry is still to be written
	return jar, nil
}

// fillJar writes the nth new jar of an act: the jar, its first entry, and for
// each pour what the one side gave and the other got.
func (t *tx) fillJar(ctx context.Context, nth int, n newJar) error {
	tag := n.part.SpareTag
	var err error
	if tag != "" {
		err = t.bindSpare(ctx, n.tagField, tag)
	} else {
		tag, err = t.issue(ctx, "jar")
	}
	if err != nil {
		return err
	}
	var siblings int
	if err := t.QueryRowContext(ctx, `SELECT count(*) FROM jar WHERE batch_id = ?`, n.batch).Scan(&siblings); err != nil {
		return fmt.Errorf("lettering the jar: %w", err)
	}
	jar := larder.Jar{Tag: tag, BatchID: n.batch, Letter: larder.JarLetter(siblings), SizeML: n.part.SizeML, Place: n.part.Place}
	if err := t.writeJar(ctx, jar); err != nil {
		return err
	}
	born := larder.NewEntry{When: n.when, Note: n.note, Body: larder.StageChange{To: n.stage, VolumeML: new(chem.Millilitres(0)), Inherit: &n.inherit}}
	if _, jar.State, err = t.append(ctx, part(t.act.Key, "new "+strconv.Itoa(nth)), jar, born); err != nil {
		return err
	}
	for i, pour := range n.pours {
		id := t.act.Key // the first one of the act names it; see Filled.Entry
		if nth > 0 || i > 0 {
			id = part(t.act.Key, fmt.Sprintf("gave %d %d", nth, i))
		}
		got := larder.NewEntry{When: n.when, Body: larder.Transfer{What: n.what, Feed: &larder.Feed{From: larder.FromJar, Jar: pour.Jar, VolumeML: new(pour.VolumeML)}}}
		if err := t.giveAs(ctx, id, jar.Tag, got); err != nil {
			return err
		}
		if _, jar.State, err = t.append(ctx, part(t.act.Key, fmt.Sprintf("got %d %d", nth, i)), jar, got); err != nil {
			return err
		}
	}
	return nil
}

// empty retires a jar from which all was poured.
func (t *tx) empty(ctx context.Context, tag larder.Tag, at larder.When, reason string) error {
	jar, err := t.jar(ctx, tag)
	if err != nil {
		return err
	}
	n := larder.NewEntry{When: at, Body: larder.StageChange{From: jar.State.Stage, To: larder.Empty, Reason: reason}}
	if err := n.Check(jar, t.now); err != nil {
		var p larder.Problems
		if errors.As(err, &p) {
			return larder.Refuse("when", "Jar "+string(tag)+" cannot become empty then: "+p.Error())
		}
		return err
	}
	_, _, err = t.append(ctx, part(t.act.Key, "empty "+string(tag)), jar, n)
	return err
}
