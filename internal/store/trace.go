package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"cruet/internal/larder"
)

// namedSQL goes from one name to the next in the indexes of names: many batches have the
// same few, and those alone are read. Upper and lower case are the same name.
const namedSQL = `WITH RECURSIVE
	went (name) AS (
		SELECT min(name) FROM recipe
		UNION ALL SELECT (SELECT min(name) FROM recipe WHERE recipe.name > went.name) FROM went WHERE went.name IS NOT NULL),
	came (name) AS (
		SELECT ''
		UNION ALL SELECT (SELECT from_name FROM edge WHERE from_name <> '' AND NOT struck AND from_name COLLATE NOCASE > came.name ORDER BY from_name COLLATE NOCASE LIMIT 1)
		FROM came WHERE came.name IS NOT NULL)
	SELECT name COLLATE NOCASE FROM went WHERE name IS NOT NULL
	UNION SELECT name FROM came WHERE name <> '' AND name <> 'water' ORDER BY 1`

// Named lists the names of all that ever went in: ingredients, bought vinegars,
// infusions. They can be traced.
func (db *DB) Named(ctx context.Context) ([]string, error) {
	rows, err := db.read.QueryContext(ctx, namedSQL)
	if err != nil {
		return nil, fmt.Errorf("store: names: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (name string, err error) { return name, r.Scan(&name) })
}

// touched is a jar that a trace touches.
type touched struct {
	tag           larder.Tag
	back, forward *int  // how many steps it lies before and after the subject
	sinceMS       int64 // where forward is set: from when on its liquid counts
}

// tracing is a trace under way.
type tracing struct {
	querier
	out     larder.Trace
	jars    []larder.Tag // where it starts: nil for a lot or a bottle
	lot     *larder.Lot  // the subject's, for a lot or a bottle
	batches []int64      // whose recipes are the subject's first step back
	touched []touched

	maxBottles int // more are counted only
}

// Trace is all that a subject came from and all that it went into, following
// time, with the volume balance, as of one moment. A subject that is not in the
// records is a larder.NotFoundError.
func (db *DB) Trace(ctx context.Context, s larder.Subject) (larder.Trace, error) {
	return db.TraceUpTo(ctx, s, math.MaxInt)
}

// TraceUpTo is Trace, but where there are more bottles than that, they are only
// counted, lot by lot: Bottles stays empty and UnlistedBottles says how many.
func (db *DB) TraceUpTo(ctx context.Context, s larder.Subject, bottles int) (larder.Trace, error) {
	var out larder.Trace
	err := db.unwatched(ctx, func(q querier) error {
		t := tracing{querier: q, out: larder.Trace{Subject: s, Back: []larder.Step{}, Forward: []larder.Step{}}, maxBottles: bottles}
		err := t.trace(ctx, s)
		out = t.out
		return err
	})
	if err != nil {
		return out, wrap("trace", err)
	}
	return out, nil
}

// Lineage is what a jar came from and what it went into, that many steps each way and one
// more, which tells where there are further ones: the steps and lots, with the jars of
// as many steps and the holds behind the jar, but neither recipes, bottles nor balance.
func (db *DB) Lineage(ctx context.Context, tag larder.Tag, steps int) (larder.Trace, error) {
	var out larder.Trace
	err := db.unwatched(ctx, func(q querier) error {
		t := tracing{querier: q, out: larder.Trace{Subject: larder.Subject{Kind: larder.SubjectJar, ID: string(tag)}}}
		err := t.lineage(ctx, tag, steps)
		out = t.out
		return err
	})
	if err != nil {
		return out, wrap("lineage", err)
	}
	return out, nil
}

func (t *tracing) lineage(ctx context.Context, tag larder.Tag, steps int) error {
	err := t.ofJar(ctx, tag)
	if err != nil {
		return err
	}
	back, forward := newWalk(t, true), newWalk(t, false)
	back.most, forward.most = steps+1, steps+1
	if t.out.Back, err = back.from(ctx, t.jars, math.MaxInt64, nil); err != nil {
		return err
	}
	if t.out.Forward, err = forward.from(ctx, t.jars, 0, nil); err != nil {
		return err
	}
	t.touch()
	for i := range t.touched {
		for _, depth := range []**int{&t.touched[i].back, &t.touched[i].forward} {
			if *depth != nil && **depth > steps {
				*depth = nil
			}
		}
	}
	t.touched = slices.DeleteFunc(t.touched, func(j touched) bool { return j.back == nil && j.forward == nil })
	for _, list := range []func(context.Context) error{t.listJars, t.nameBatches, t.listLots, t.markBehind} {
		if err := list(ctx); err != nil {
			return err
		}
	}
	jar, err := jarByTag(ctx, t, tag)
	if err != nil {
		return err
	}
	t.out.Held, err = heldBehind(ctx, t, jar, math.MaxInt64)
	return err
}

func (t *tracing) trace(ctx context.Context, s larder.Subject) error {
	var err error
	switch s.Kind {
	case larder.SubjectJar:
		err = t.ofJar(ctx, larder.Tag(s.ID))
	case larder.SubjectBatch:
		err = t.ofBatch(ctx, s.ID)
	case larder.SubjectBottle:
		err = t.ofBottle(ctx, larder.Tag(s.ID))
	case larder.SubjectLot:
		var lot larder.Lot
		lot, err = lotByID(ctx, t, s.ID)
		t.lot = &lot
	case larder.SubjectNamed:
		t.out.Forward, err = t.ofName(ctx, s.ID)
	default:
		return larder.Refuse("subject", "A trace starts from a jar, a bottle, a lot, a batch, or the name of what went in.")
	}
	if err != nil {
		return err
	}
	switch {
	case s.Kind == larder.SubjectNamed: // it is done
	case t.lot != nil:
		t.out.Back, err = walkBackFromLot(ctx, t, t.lot.ID)
	default:
		if t.out.Back, err = walkBack(ctx, t, t.jars, math.MaxInt64); err != nil {
			return err
		}
		t.out.Forward, err = walkForward(ctx, t, t.jars)
	}
	if err != nil {
		return err
	}
	return t.describe(ctx)
}

func (t *tracing) ofJar(ctx context.Context, tag larder.Tag) error {
	var batch int64
	err := t.QueryRowContext(ctx, `SELECT batch_id FROM jar WHERE tag = ?`, tag).Scan(&batch)
	if errors.Is(err, sql.ErrNoRows) {
		return &larder.NotFoundError{What: "jar", ID: tag.Spaced()}
	}
	t.jars, t.batches = []larder.Tag{tag}, []int64{batch}
	return err
}

func (t *tracing) ofBatch(ctx context.Context, text string) error {
	id, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return &larder.NotFoundError{What: "batch", ID: text}
	}
	if _, err := batchByID(ctx, t, id); err != nil {
		return err
	}
	t.batches = []int64{id}
	t.jars, err = t.jarsOf(ctx, t.batches)
	return err
}

func (t *tracing) jarsOf(ctx context.Context, batches []int64) ([]larder.Tag, error) {
	rows, err := t.QueryContext(ctx, `SELECT tag FROM json_each(?) b JOIN jar ON jar.batch_id = b.value ORDER BY tag`, jsonList(batches...))
	if err != nil {
		return nil, fmt.Errorf("listing jars: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (tag larder.Tag, err error) { return tag, r.Scan(&tag) })
}

func (t *tracing) ofBottle(ctx context.Context, tag larder.Tag) error {
	b, lot, err := bottleOfLot(ctx, t, tag)
	t.lot, t.out.Bottles = &lot, []larder.Bottle{b}
	return err
}

// ofName starts from the jars of the batches in whose recipe the name stands, and
// from the edges by which it went into others later.
func (t *tracing) ofName(ctx context.Context, name string) ([]larder.Step, error) {
	rows, err := t.QueryContext(ctx, `SELECT batch_id FROM recipe WHERE name = ?`, name)
	if err != nil {
		return nil, fmt.Errorf("looking for the recipes: %w", err)
	}
	if t.batches, err = collect(rows, func(r *sql.Rows) (id int64, err error) { return id, r.Scan(&id) }); err != nil {
		return nil, fmt.Errorf("looking for the recipes: %w", err)
	}
	if t.jars, err = t.jarsOf(ctx, t.batches); err != nil {
		return nil, err
	}
	forward, err := walkForwardFromName(ctx, t, t.jars, name)
	if err == nil && len(t.batches) == 0 && len(forward) == 0 {
		err = &larder.NotFoundError{What: "ingredient or bought vinegar", ID: name}
	}
	return forward, err
}

// mouldSQL reads the states of those jars alone that may tell of mould.
const mouldSQL = `SELECT jar.tag, state ->> '$.mould_at' FROM json_each(?) j CROSS JOIN jar ON jar.tag = j.value WHERE instr(state, '"mould_at"') > 0 AND state ->> '$.mould_at' IS NOT NULL`

// MouldIn tells in which of the jars of a trace mould was seen, and when.
func (db *DB) MouldIn(ctx context.Context, jars []larder.TraceJar) (map[larder.Tag]time.Time, error) {
	tags := make([]larder.Tag, len(jars))
	for i, j := range jars {
		tags[i] = j.Tag
	}
	rows, err := db.read.QueryContext(ctx, mouldSQL, jsonList(tags...))
	if err != nil {
		return nil, fmt.Errorf("store: looking for mould: %w", err)
	}
	seen := map[larder.Tag]time.Time{}
	_, err = collect(rows, func(r *sql.Rows) (none struct{}, err error) {
		var tag larder.Tag
		var text string
		if err := r.Scan(&tag, &text); err != nil {
			return none, err
		}
		seen[tag], err = time.Parse(time.RFC3339Nano, text)
		return none, err
	})
	if err != nil {
		return nil, fmt.Errorf("store: looking for mould: %w", err)
	}
	return seen, nil
}
