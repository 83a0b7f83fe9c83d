package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// describe fills in the jars, recipes, lots, bottles, holds and the balance.
func (t *tracing) describe(ctx context.Context) error {
	t.touch()
	for _, list := range []func(context.Context) error{t.listJars, t.listBatches, t.nameBatches, t.listLots, t.listHeld, t.markBehind, t.balance} {
		if err := list(ctx); err != nil {
			return err
		}
	}
	return nil
}

// touch says how many steps each jar lies from the subject, and from when on one
// that it went into counts. The subject's own jars count from ever.
func (t *tracing) touch() {
	at := make(map[larder.Tag]int, len(t.jars)+len(t.out.Back)+len(t.out.Forward))
	jar := func(tag larder.Tag) *touched {
		i, seen := at[tag]
		if !seen {
			i = len(t.touched)
			at[tag], t.touched = i, append(t.touched, touched{tag: tag})
		}
		return &t.touched[i]
	}
	for _, tag := range t.jars {
		j := jar(tag)
		j.forward, j.sinceMS = new(0), math.MinInt64
	}
	for _, s := range t.out.Back {
		if s.FromJar == "" {
			continue
		}
		if j := jar(s.FromJar); j.back == nil {
			j.back = new(s.Depth)
		}
	}
	for _, s := range t.out.Forward {
		if s.ToJar == "" {
			continue
		}
		j, ms := jar(s.ToJar), s.When.At.UnixMilli()
		if j.forward == nil {
			j.forward, j.sinceMS = new(s.Depth), ms
		}
		j.sinceMS = min(j.sinceMS, ms)
	}
}

// jarsSQL reads jars in the order of a list of their tags.
const jarsSQL = `SELECT batch_id, letter, size_ml, place, listed FROM json_each(?) j CROSS JOIN jar ON jar.tag = j.value`

func (t *tracing) listJars(ctx context.Context) error {
	if len(t.touched) == 0 {
		return nil
	}
	tags := make([]larder.Tag, len(t.touched))
	for i, j := range t.touched {
		tags[i] = j.tag
	}
	rows, err := t.QueryContext(ctx, jarsSQL, jsonList(tags...))
	if err != nil {
		return fmt.Errorf("listing jars: %w", err)
	}
	c := newCells(5)
	t.out.Jars = make([]larder.TraceJar, 0, len(tags))
	_, err = collect(rows, func(r *sql.Rows) (none struct{}, err error) {
		if err := c.read(r); err != nil {
			return none, err
		}
		at := t.touched[len(t.out.Jars)]
		s, err := larder.ParseListedFirst(c.text(4))
		if err != nil {
			return none, fmt.Errorf("jar %s: %w", at.tag, err)
		}
		size, _ := c.real(2)
		t.out.Jars = append(t.out.Jars, larder.TraceJar{Tag: at.tag, BatchID: c.integer(0), Letter: c.text(1), Stage: s.Stage, Place: cmp.Or(s.Place, c.text(3)),
			SizeML: chem.Millilitres(size), VolumeML: s.VolumeML, Hold: s.Hold, Back: at.back, Forward: at.forward})
		return none, nil
	})
	if err == nil && len(t.out.Jars) != len(tags) {
		err = fmt.Errorf("%d of %d are there", len(t.out.Jars), len(tags))
	}
	if err != nil {
		return fmt.Errorf("listing jars: %w", err)
	}
	slices.SortFunc(t.out.Jars, func(a, b larder.TraceJar) int {
		return cmp.Or(cmp.Compare(a.BatchID, b.BatchID), cmp.Compare(len(a.Letter), len(b.Letter)), cmp.Compare(a.Letter, b.Letter))
	})
	return nil
}

const (
	recipesSQL = batchColumns + ` FROM (SELECT value AS wanted FROM json_each(?)) CROSS JOIN batch ON id = wanted`
	namesSQL   = `SELECT batch.id, name FROM json_each(?) b CROSS JOIN batch ON batch.id = b.value`
)

// listBatches lists the recipes of the subject and of all that it came from.
func (t *tracing) listBatches(ctx context.Context) error {
	ids := slices.Clone(t.batches)
	for _, j := range t.out.Jars {
		if j.Back != nil || (j.Forward != nil && *j.Forward == 0) {
			ids = append(ids, j.BatchID)
		}
	}
	slices.Sort(ids)
	rows, err := t.QueryContext(ctx, recipesSQL, jsonList(slices.Compact(ids)...))
	if err != nil {
		return fmt.Errorf("listing recipes: %w", err)
	}
	c := newCells(batchCells)
	if t.out.Batches, err = collect(rows, func(r *sql.Rows) (larder.Batch, error) { return c.batch(r) }); err != nil {
		return fmt.Errorf("listing recipes: %w", err)
	}
	return nil
}

// nameBatches names the batches of all jars, those whose recipes are not read too.
func (t *tracing) nameBatches(ctx context.Context) error {
	names := make(map[int64]string, len(t.out.Batches))
	for _, b := range t.out.Batches {
		names[b.ID] = b.Name
	}
	var others []int64
	for _, j := range t.out.Jars { // by batch
		if _, named := names[j.BatchID]; !named && (len(others) == 0 || others[len(others)-1] != j.BatchID) {
			others = append(others, j.BatchID)
		}
	}
	if len(others) > 0 {
		rows, err := t.QueryContext(ctx, namesSQL, jsonList(others...))
		if err != nil {
			return fmt.Errorf("naming batches: %w", err)
		}
		_, err = collect(rows, func(r *sql.Rows) (none struct{}, err error) {
			var id int64
			var name string
			err = r.Scan(&id, &name)
			names[id] = name
			return none, err
		})
		if err != nil {
			return fmt.Errorf("naming batches: %w", err)
		}
	}
	for i := range t.out.Jars {
		t.out.Jars[i].Batch = names[t.out.Jars[i].BatchID]
	}
	return nil
}

const (
	lotsSQL = `SELECT lot.id, lot.name, lot.happened_ms, body ->> '$.when.precision', body ->> '$.when.spread_days', hold, body -> '$.runs'
		FROM json_each(?) l CROSS JOIN lot ON lot.id = l.value`
	// An index alone counts gifts; where a lot has bottles of several sizes, the given
	// ones must be looked at.
	countSQL   = `SELECT (SELECT count(*) FROM gift INDEXED BY gift_lot WHERE lot = l.value AND back_act IS NULL) FROM json_each(?) l`
	mixedSQL   = `SELECT (SELECT total(size_ml) FROM gift INDEXED BY gift_lot CROSS JOIN bottle ON bottle.tag = gift.bottle WHERE gift.lot = l.value AND back_act IS NULL) FROM json_each(?) l`
	bottlesSQL = `SELECT l.key, tag, number, size_ml FROM json_each(?) l CROSS JOIN bottle INDEXED BY bottle_lot ON lot = l.value`
	givenToSQL = `SELECT bottle, to_whom, happened_ms, precision, spread_days, note, by, recorded_ms FROM json_each(?) l CROSS JOIN gift ON lot = l.value AND back_act IS NULL`
)

func (t *tracing) listLots(ctx context.Context) error {
	runs := map[string][]larder.Run{} // of each lot
	if l := t.lot; l != nil {         // it is read already
		t.out.Lots, runs[l.ID] = []larder.TraceLot{tracedLot(l.ID, l.Name, l.When, l.Hold, l.Runs)}, l.Runs
	}
	var ids []string
	for _, s := range t.out.Forward {
		if s.ToLot != "" {
			ids = append(ids, s.ToLot)
		}
	}
	if len(ids) > 0 {
		slices.Sort(ids)
		if err := t.readLots(ctx, jsonList(slices.Compact(ids)...), runs); err != nil {
			return fmt.Errorf("listing lots: %w", err)
		}
	}
	if t.out.Subject.Kind == larder.SubjectBottle {
		t.countBottle()
		return nil
	}
	n := 0
	ids = ids[:0]
	for _, l := range t.out.Lots {
		n += l.Bottles
		ids = append(ids, l.ID)
	}
	switch {
	case n == 0:
		return nil
	case n > t.maxBottles:
		t.out.UnlistedBottles = n
		return t.countGifts(ctx, ids, runs)
	}
	return t.listBottles(ctx, jsonList(ids...))
}

func (t *tracing) readLots(ctx context.Context, list string, runs map[string][]larder.Run) error {
	rows, err := t.QueryContext(ctx, lotsSQL, list)
	if err != nil {
		return err
	}
	c := newCells(7)
	t.out.Lots, err = collect(rows, func(r *sql.Rows) (larder.TraceLot, error) {
		if err := c.read(r); err != nil {
			return larder.TraceLot{}, err
		}
		id := c.text(0)
		var its []larder.Run
		if err := json.Unmarshal([]byte(c.text(6)), &its); err != nil {
			return larder.TraceLot{}, err
		}
		runs[id] = its
		return tracedLot(id, c.text(1), when(c.integer(2), c.text(3), int(c.integer(4))), c.text(5), its), nil
	})
	slices.SortFunc(t.out.Lots, func(a, b larder.TraceLot) int {
		return cmp.Or(a.When.At.Compare(b.When.At), cmp.Compare(a.ID, b.ID))
	})
	return err
}

func tracedLot(id, name string, when larder.When, hold string, runs []larder.Run) larder.TraceLot {
	l := larder.TraceLot{ID: id, Name: name, When: when, Hold: hold}
	for _, run := range runs {
		l.Bottles += run.Count
		l.MadeML += chem.Millilitres(run.Count) * run.SizeML
	}
	return l
}

// countGifts says of each lot how many bottles were given, and what they held.
func (t *tracing) countGifts(ctx context.Context, lots []string, runs map[string][]larder.Run) error {
	given, err := numbersOf[int](ctx, t, countSQL, lots)
	if err != nil {
		return err
	}
	var mixed []string
	for i := range t.out.Lots {
		l := &t.out.Lots[i]
		if l.Given = given[i]; len(runs[l.ID]) == 1 {
			l.GivenML = chem.Millilitres(l.Given) * runs[l.ID][0].SizeML
		} else {
			mixed = append(mixed, l.ID)
		}
	}
	if len(mixed) == 0 {
		return nil
	}
	held, err := numbersOf[chem.Millilitres](ctx, t, mixedSQL, mixed)
	if err != nil {
		return err
	}
	for i := range t.out.Lots {
		if l := &t.out.Lots[i]; len(runs[l.ID]) != 1 {
			l.GivenML, held = held[0], held[1:]
		}
	}
	return nil
}

// numbersOf asks for one number of each lot.
func numbersOf[T any](ctx context.Context, q querier, query string, lots []string) ([]T, error) {
	rows, err := q.QueryContext(ctx, query, jsonList(lots...))
	if err != nil {
		return nil, fmt.Errorf("counting gifts: %w", err)
	}
	out, err := collect(rows, func(r *sql.Rows) (n T, err error) { return n, r.Scan(&n) })
	if err == nil && len(out) != len(lots) {
		err = fmt.Errorf("%d of %d lots are there", len(out), len(lots))
	}
	if err != nil {
		return nil, fmt.Errorf("counting gifts: %w", err)
	}
	return out, nil
}

// listBottles lists the bottles of the lots with their gifts, and counts those.
func (t *tracing) listBottles(ctx context.Context, lots string) error {
	rows, err := t.QueryContext(ctx, givenToSQL, lots)
	if err != nil {
		return fmt.Errorf("listing gifts: %w", err)
	}
	gifts := map[larder.Tag]*larder.Gift{}
	c := newCells(8)
	_, err = collect(rows, func(r *sql.Rows) (none struct{}, err error) {
		err = c.read(r)
		gifts[larder.Tag(c.text(0))] = &larder.Gift{To: c.text(1), When: when(c.integer(2), c.text(3), int(c.integer(4))), Note: c.text(5), By: c.text(6), RecordedAt: when(c.integer(7), "", 0).At}
		return none, err
	})
	if err != nil {
		return fmt.Errorf("listing gifts: %w", err)
	}
	if rows, err = t.QueryContext(ctx, bottlesSQL, lots); err != nil {
		return fmt.Errorf("listing bottles: %w", err)
	}
	c = newCells(4)
	t.out.Bottles, err = collect(rows, func(r *sql.Rows) (larder.Bottle, error) {
		if err := c.read(r); err != nil {
			return larder.Bottle{}, err
		}
		l, size := &t.out.Lots[c.integer(0)], chem.Millilitres(0)
		if ml, ok := c.real(3); ok {
			size = chem.Millilitres(ml)
		}
		b := larder.Bottle{Tag: larder.Tag(c.text(1)), Lot: l.ID, Number: int(c.integer(2)), SizeML: size}
		if b.Gift = gifts[b.Tag]; b.Gift != nil {
			l.Given++
			l.GivenML += size
		}
		return b, nil
	})
	if err != nil {
		return fmt.Errorf("listing bottles: %w", err)
	}
	return nil
}

// countBottle makes the lot of a traced bottle tell of that bottle alone.
func (t *tracing) countBottle() {
	b, l := t.out.Bottles[0], &t.out.Lots[0]
	l.Bottles, l.MadeML = 1, b.SizeML
	if b.Gift != nil {
		l.Given, l.GivenML = 1, b.SizeML
	}
}

// listHeld lists the holds on the subject and behind it.
func (t *tracing) listHeld(ctx context.Context) error {
	if t.lot != nil {
		var err error
		if t.out.Held, err = holdOnLot(ctx, t, *t.lot); err != nil {
			return err
		}
	}
	var tags []larder.Tag
	for _, j := range t.out.Jars {
		own := j.Forward != nil && *j.Forward == 0 && t.out.Subject.Kind != larder.SubjectNamed
		if j.Hold != "" && (own || j.Back != nil) {
			tags = append(tags, j.Tag)
		}
	}
	held, err := holdsOn(ctx, t, tags)
	t.out.Held = append(t.out.Held, held...)
	return err
}

// markBehind marks the jars and lots that a hold on a jar stands behind.
func (t *tracing) markBehind(ctx context.Context) error {
	held, err := behindHolds(ctx, t)
	for i, j := range t.out.Jars {
		t.out.Jars[i].Behind = held.jars[j.Tag]
	}
	for i, l := range t.out.Lots {
		t.out.Lots[i].Behind = held.lots[l.ID]
	}
	return err
}

// flowsSQL adds up what flowed into and out of jars, each with the moment from when
// on it counts, in one word as those of spanList. What was in a jar already when the
// subject reached it counts as made.
const flowsSQL = `WITH j (jar, ms) AS MATERIALIZED (SELECT substr(value, 21), CAST(substr(value, 1, 20) AS INTEGER) FROM json_each(?))
	SELECT total(ml), total(ml) FILTER (WHERE happened_ms < ms OR ` + string(`kind = '`+larder.FlowMade+`' OR kind = '`+larder.FlowFed+`' OR kind = '`+larder.FlowFromJar+`' OR kind = '`+larder.FlowToJar) + `'),
		-total(ml) FILTER (WHERE kind = '` + string(larder.FlowEmptied) + `' AND happened_ms >= ms), -total(ml) FILTER (WHERE kind = '` + string(larder.FlowDiscarded) + `' AND happened_ms >= ms)
	FROM j CROSS JOIN flow USING (jar)`

// balance adds up where the liquid went. Between touched jars what one gave is
// what the other got, so only what came in from elsewhere counts as made.
func (t *tracing) balance(ctx context.Context) error {
	var b larder.Balance
	if t.lot != nil { // a lot or a bottle: what is in the glass
		if t.lot.Void {
			t.out.Balance = b.Close()
			return nil
		}
		for _, l := range t.out.Lots {
			b.MadeML += l.MadeML
			b.GivenML += l.GivenML
		}
		b.OnHandML = b.MadeML - b.GivenML
		t.out.Balance = b.Close()
		return nil
	}
	var words []string
	for _, j := range t.touched {
		if j.forward != nil {
			words = append(words, fmt.Sprintf("%020d%s", j.sinceMS, j.tag))
		}
	}
	var here, made, emptied, discarded float64
	if err := t.QueryRowContext(ctx, flowsSQL, jsonList(words...)).Scan(&here, &made, &emptied, &discarded); err != nil {
		return fmt.Errorf("adding up volumes: %w", err)
	}
	b.MadeML, b.OnHandML = chem.Millilitres(made), chem.Millilitres(here)
	b.UsedML, b.DiscardedML = chem.Millilitres(emptied+discarded), chem.Millilitres(discarded)
	for _, l := range t.out.Lots {
		b.GivenML += l.GivenML
		b.OnHandML += l.MadeML - l.GivenML
	}
	for _, j := range t.out.Jars {
		if j.Forward != nil && j.VolumeML == nil && j.Stage.Live() {
			b.UnknownJars = append(b.UnknownJars, j.Tag)
		}
	}
	t.out.Balance = b.Close()
	return nil
}
