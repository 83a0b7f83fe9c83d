package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"cruet/internal/chem"
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

// tracing is a trace under way.
type tracing struct {
	querier
	out     larder.Trace
	jars    []larder.Tag     // where it starts: nil for a lot or a bottle
	lot     *larder.Lot      // the subject's, for a lot or a bottle
	batches []int64          // whose recipes are the subject's first step back
	since   map[string]int64 // per touched jar: from when on its liquid counts

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
	err := db.snapshot(ctx, func(q querier) error {
		t := tracing{querier: q, out: larder.Trace{Subject: s}, since: map[string]int64{}, maxBottles: bottles}
		err := t.trace(ctx, s)
		out = t.out
		return err
	})
	if err != nil {
		return out, wrap("trace", err)
	}
	return out, nil
}

func (t *tracing) trace(ctx context.Context, s larder.Subject) error {
	var back, forward []walked
	var err error
	switch s.Kind {
	case larder.SubjectJar:
		jar, err := jarByTag(ctx, t, larder.Tag(s.ID))
		if err != nil {
			return err
		}
		t.jars, t.batches = []larder.Tag{jar.Tag}, []int64{jar.BatchID}
	case larder.SubjectBatch:
		err = t.ofBatch(ctx, s.ID)
	case larder.SubjectBottle:
		err = t.ofBottle(ctx, larder.Tag(s.ID))
	case larder.SubjectLot:
		var lot larder.Lot
		lot, err = lotByID(ctx, t, s.ID)
		t.lot = &lot
	case larder.SubjectNamed:
		forward, err = t.ofName(ctx, s.ID)
	default:
		return larder.Refuse("subject", "A trace starts from a jar, a bottle, a lot, a batch, or the name of what went in.")
	}
	if err != nil {
		return err
	}
	switch {
	case s.Kind == larder.SubjectNamed: // forward is done
	case t.lot != nil:
		back, err = t.walk(ctx, backSQL, intoLotSQL, t.lot.ID)
	default:
		if back, err = t.walk(ctx, backSQL, intoJarSQL, int64(math.MaxInt64), jsonList(t.jars...)); err != nil {
			return err
		}
		forward, err = t.walk(ctx, forwardSQL, outOfJarSQL, jsonList(t.jars...))
	}
	if err != nil {
		return err
	}
	t.order(back, forward)
	return t.describe(ctx)
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
	p, err := bottleByTag(ctx, t, tag)
	if err != nil {
		return err
	}
	t.lot = &p.Lot
	t.out.Bottles = []larder.Bottle{p.Bottle}
	return nil
}

// ofName starts from the jars of the batches in whose recipe the name stands, and
// from the edges by which it went into others later.
func (t *tracing) ofName(ctx context.Context, name string) ([]walked, error) {
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
	forward, err := t.walk(ctx, forwardSQL, outOfJarSQL+` UNION ALL SELECT entry FROM edge WHERE from_name = ? COLLATE NOCASE AND from_name <> '' AND NOT struck`,
		jsonList(t.jars...), name)
	if err == nil && len(t.batches) == 0 && len(forward) == 0 {
		err = &larder.NotFoundError{What: "ingredient or bought vinegar", ID: name}
	}
	return forward, err
}

// stepSQL reads the edges that were walked. The entry behind an edge is looked up
// only where it tells more: what was bought, and whether a date is a day or about.
const stepSQL = `
	SELECT entry, what, coalesce(from_jar, ''), from_name, coalesce(to_jar, ''), coalesce(to_lot, ''), volume_ml, mother, happened_ms, early_ms, late_ms,
		iif(late_ms - happened_ms = 43200000, (SELECT precision FROM entry WHERE seq = edge.entry), ''),
		iif(from_jar IS NULL, (SELECT coalesce(body ->> '$.feed', body ->> '$.starter', '') FROM entry WHERE seq = edge.entry), '')
	FROM walk CROSS JOIN edge USING (entry)`

// walked is a step with the ends of what its date may mean.
type walked struct {
	larder.Step
	earlyMS, lateMS int64
}

func (t *tracing) walk(ctx context.Context, walk, begin string, args ...any) ([]walked, error) {
	rows, err := t.QueryContext(ctx, fmt.Sprintf(walk, begin)+stepSQL, args...)
	if err != nil {
		return nil, fmt.Errorf("walking the lineage: %w", err)
	}
	steps, err := collect(rows, readStep)
	if err != nil {
		return nil, fmt.Errorf("walking the lineage: %w", err)
	}
	return steps, nil
}

func readStep(r *sql.Rows) (walked, error) {
	var s walked
	var ms int64
	var precision, fed string
	var volume sql.NullFloat64
	err := r.Scan(&s.Seq, &s.What, &s.FromJar, &s.FromName, &s.ToJar, &s.ToLot, &volume, &s.Mother, &ms, &s.earlyMS, &s.lateMS, &precision, &fed)
	if err != nil {
		return s, err
	}
	const halfDayMS, dayMS = 12 * 3600 * 1000, 24 * 3600 * 1000
	spread := 0
	switch {
	case precision != "":
	case s.lateMS == ms:
		precision = string(larder.Exact)
	default:
		precision, spread = string(larder.About), int((s.lateMS-ms-halfDayMS)/dayMS)
	}
	s.When, s.VolumeML = when(ms, precision, spread), optional[chem.Millilitres](volume)
	if fed != "" {
		var f larder.Feed
		if err := json.Unmarshal([]byte(fed), &f); err != nil {
			return s, err
		}
		s.StatedAcidity, s.Live, s.MassG, s.Supplier, s.SupplierLot = f.Acidity, f.Live, f.MassG, f.Supplier, f.SupplierLot
	}
	return s, nil
}

func optional[T ~float64](v sql.NullFloat64) *T {
	if !v.Valid {
		return nil
	}
	return new(T(v.Float64))
}

// order gives each step its depth and puts them in order.
func (t *tracing) order(back, forward []walked) {
	start := map[string]bool{}
	for _, tag := range t.jars {
		start[string(tag)] = true
	}
	if t.lot != nil {
		start[t.lot.ID] = true
	}
	named := t.out.Subject.Kind == larder.SubjectNamed
	begins := func(steps []walked, at func(larder.Link) string) (all, first []larder.Link) {
		all = make([]larder.Link, len(steps))
		for i, s := range steps {
			l := s.LinkWithin(s.earlyMS, s.lateMS)
			all[i] = l
			if start[at(l)] || (named && strings.EqualFold(s.FromName, t.out.Subject.ID)) {
				first = append(first, l)
			}
		}
		return all, first
	}
	all, first := begins(back, func(l larder.Link) string { return l.To })
	t.out.Back = deepen(back, larder.BackDepths(all, first), -1)
	all, first = begins(forward, func(l larder.Link) string { return l.From })
	t.out.Forward = deepen(forward, larder.ForwardDepths(all, first), 1)
}

// deepen sorts by depth, then by time in the direction of the walk.
func deepen(steps []walked, depths map[int64]int, direction int) []larder.Step {
	type key struct {
		depth, at int
		ms, seq   int64
	}
	keys := make([]key, len(steps))
	for i := range steps {
		s := &steps[i]
		s.Depth = depths[s.Seq]
		keys[i] = key{s.Depth, i, int64(direction) * s.When.At.UnixMilli(), int64(direction) * s.Seq}
	}
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(cmp.Compare(a.depth, b.depth), cmp.Compare(a.ms, b.ms), cmp.Compare(a.seq, b.seq))
	})
	out := make([]larder.Step, len(steps))
	for i, k := range keys {
		out[i] = steps[k.at].Step
	}
	return out
}
