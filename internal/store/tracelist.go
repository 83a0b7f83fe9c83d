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
	back, forward := t.depths()
	if err := t.listJars(ctx, back, forward); err != nil {
		return err
	}
	if err := t.listBatches(ctx); err != nil {
		return err
	}
	if err := t.listLots(ctx); err != nil {
		return err
	}
	if err := t.listHeld(ctx); err != nil {
		return err
	}
	held, err := behindHolds(ctx, t)
	if err != nil {
		return err
	}
	for i, j := range t.out.Jars {
		t.out.Jars[i].Behind = held.jars[j.Tag]
	}
	for i, l := range t.out.Lots {
		t.out.Lots[i].Behind = held.lots[l.ID]
	}
	return t.balance(ctx)
}

// depths says how many steps each jar lies from the subject, and notes from when
// on a touched jar counts. The subject's own jars count from ever.
func (t *tracing) depths() (back, forward map[larder.Tag]int) {
	back, forward = map[larder.Tag]int{}, map[larder.Tag]int{}
	for _, tag := range t.jars {
		forward[tag] = 0
		t.since[string(tag)] = math.MinInt64
	}
	for _, s := range t.out.Back {
		if _, seen := back[s.FromJar]; !seen && s.FromJar != "" {
			back[s.FromJar] = s.Depth
		}
	}
	for _, s := range t.out.Forward {
		if s.ToJar == "" {
			continue
		}
		if _, seen := forward[s.ToJar]; !seen {
			forward[s.ToJar] = s.Depth
		}
		ms := s.When.At.UnixMilli()
		if since, seen := t.since[string(s.ToJar)]; !seen || ms < since {
			t.since[string(s.ToJar)] = ms
		}
	}
	return back, forward
}

func (t *tracing) listJars(ctx context.Context, back, forward map[larder.Tag]int) error {
	tags := make([]larder.Tag, 0, len(back)+len(forward))
	for tag := range back {
		tags = append(tags, tag)
	}
	for tag := range forward {
		if _, seen := back[tag]; !seen {
			tags = append(tags, tag)
		}
	}
	rows, err := t.QueryContext(ctx, `SELECT jar.tag, jar.batch_id, batch.name, letter, json_extract(state, '$.stage'), coalesce(json_extract(state, '$.place'), jar.place), size_ml,
		json_extract(state, '$.volume_ml'), hold FROM json_each(?) j CROSS JOIN jar ON jar.tag = j.value CROSS JOIN batch ON batch.id = jar.batch_id`, jsonList(tags...))
	if err != nil {
		return fmt.Errorf("listing jars: %w", err)
	}
	t.out.Jars, err = collect(rows, func(r *sql.Rows) (larder.TraceJar, error) {
		var j larder.TraceJar
		var volume sql.NullFloat64
		err := r.Scan(&j.Tag, &j.BatchID, &j.Batch, &j.Letter, &j.Stage, &j.Place, &j.SizeML, &volume, &j.Hold)
		j.VolumeML = optional[chem.Millilitres](volume)
		j.Back, j.Forward = depthOf(back, j.Tag), depthOf(forward, j.Tag)
		return j, err
	})
	slices.SortFunc(t.out.Jars, func(a, b larder.TraceJar) int {
		return cmp.Or(cmp.Compare(a.BatchID, b.BatchID), cmp.Compare(len(a.Letter), len(b.Letter)), cmp.Compare(a.Letter, b.Letter))
	})
	return err
}

func depthOf(depths map[larder.Tag]int, tag larder.Tag) *int {
	if d, ok := depths[tag]; ok {
		return &d
	}
	return nil
}

// listBatches lists the recipes of the subject and of all that it came from.
func (t *tracing) listBatches(ctx context.Context) error {
	ids := slices.Clone(t.batches)
	for _, j := range t.out.Jars {
		if j.Back != nil || (j.Forward != nil && *j.Forward == 0) {
			ids = append(ids, j.BatchID)
		}
	}
	slices.Sort(ids)
	rows, err := t.QueryContext(ctx, batchSQL+` WHERE id IN (SELECT value FROM json_each(?)) ORDER BY id`, jsonList(slices.Compact(ids)...))
	if err != nil {
		return fmt.Errorf("listing recipes: %w", err)
	}
	t.out.Batches, err = collect(rows, func(r *sql.Rows) (larder.Batch, error) { return readBatch(r) })
	return err
}

func (t *tracing) listLots(ctx context.Context) error {
	var ids []string
	if t.lot != nil {
		ids = append(ids, t.lot.ID)
	}
	for _, s := range t.out.Forward {
		if s.ToLot != "" {
			ids = append(ids, s.ToLot)
		}
	}
	slices.Sort(ids)
	list := jsonList(slices.Compact(ids)...)
	sizes := map[string][]larder.Run{}
	rows, err := t.QueryContext(ctx, `SELECT lot.id, lot.name, lot.happened_ms, json_extract(body, '$.when.precision'), coalesce(json_extract(body, '$.when.spread_days'), 0), hold, json_extract(body, '$.runs')
		FROM json_each(?) l CROSS JOIN lot ON lot.id = l.value ORDER BY lot.happened_ms, lot.id`, list)
	if err != nil {
		return fmt.Errorf("listing lots: %w", err)
	}
	t.out.Lots, err = collect(rows, func(r *sql.Rows) (larder.TraceLot, error) {
		var l larder.TraceLot
		var ms int64
		var precision string
		var spread int
		var text string
		if err := r.Scan(&l.ID, &l.Name, &ms, &precision, &spread, &l.Hold, &text); err != nil {
			return l, err
		}
		l.When = when(ms, precision, spread)
		var runs []larder.Run
		if err := json.Unmarshal([]byte(text), &runs); err != nil {
			return l, err
		}
		for _, run := range runs {
			l.Bottles += run.Count
			l.MadeML += chem.Millilitres(run.Count) * run.SizeML
		}
		sizes[l.ID] = runs
		return l, nil
	})
	if err != nil {
		return fmt.Errorf("listing lots: %w", err)
	}
	if t.out.Subject.Kind == larder.SubjectBottle {
		t.countBottle()
		return nil
	}
	if err := t.countGifts(ctx, list, sizes); err != nil {
		return fmt.Errorf("counting gifts: %w", err)
	}
	n := 0
	for _, l := range t.out.Lots {
		n += l.Bottles
	}
	if n > t.maxBottles {
		t.out.UnlistedBottles = n
		return nil
	}
	return t.listBottles(ctx, list)
}

// countGifts says of each lot how many bottles were given, and what they held. An
// index alone answers it, except where a lot has bottles of several sizes and the
// given ones must be looked at.
func (t *tracing) countGifts(ctx context.Context, lots string, sizes map[string][]larder.Run) error {
	at := map[string]*larder.TraceLot{}
	for i := range t.out.Lots {
		at[t.out.Lots[i].ID] = &t.out.Lots[i]
	}
	var mixed []string
	rows, err := t.QueryContext(ctx, `SELECT l.value, count(*) FROM json_each(?) l CROSS JOIN gift INDEXED BY gift_lot ON gift.lot = l.value AND back_act IS NULL GROUP BY l.key`, lots)
	if err != nil {
		return fmt.Errorf("counting gifts: %w", err)
	}
	_, err = collect(rows, func(r *sql.Rows) (none struct{}, err error) {
		var id string
		var given int
		if err := r.Scan(&id, &given); err != nil {
			return none, err
		}
		at[id].Given = given
		if runs := sizes[id]; len(runs) == 1 {
			at[id].GivenML = chem.Millilitres(given) * runs[0].SizeML
		} else {
			mixed = append(mixed, id)
		}
		return none, nil
	})
	if err != nil || len(mixed) == 0 {
		return err
	}
	rows, err = t.QueryContext(ctx, `SELECT l.value, sum(size_ml) FROM json_each(?) l
		CROSS JOIN gift INDEXED BY gift_lot ON gift.lot = l.value AND back_act IS NULL CROSS JOIN bottle ON bottle.tag = gift.bottle GROUP BY l.key`, jsonList(mixed...))
	if err != nil {
		return fmt.Errorf("counting gifts: %w", err)
	}
	_, err = collect(rows, func(r *sql.Rows) (none struct{}, err error) {
		var id string
		var ml chem.Millilitres
		if err := r.Scan(&id, &ml); err != nil {
			return none, err
		}
		at[id].GivenML = ml
		return none, nil
	})
	return err
}

func (t *tracing) listBottles(ctx context.Context, lots string) error {
	rows, err := t.QueryContext(ctx, `SELECT tag, lot, number, size_ml FROM json_each(?) l CROSS JOIN bottle INDEXED BY bottle_lot ON lot = l.value`, lots)
	if err != nil {
		return fmt.Errorf("listing bottles: %w", err)
	}
	t.out.Bottles, err = collect(rows, func(r *sql.Rows) (b larder.Bottle, err error) { return b, r.Scan(&b.Tag, &b.Lot, &b.Number, &b.SizeML) })
	if err != nil {
		return fmt.Errorf("listing bottles: %w", err)
	}
	rows, err = t.QueryContext(ctx, giftSQL+`, bottle FROM json_each(?) l CROSS JOIN gift ON lot = l.value AND back_act IS NULL`, lots)
	if err != nil {
		return fmt.Errorf("listing gifts: %w", err)
	}
	defer rows.Close()
	gifts := map[larder.Tag]*larder.Gift{}
	for rows.Next() {
		var tag larder.Tag
		g, err := readGift(rows, &tag)
		if err != nil {
			return fmt.Errorf("listing gifts: %w", err)
		}
		gifts[tag] = &g
	}
	for i := range t.out.Bottles {
		t.out.Bottles[i].Gift = gifts[t.out.Bottles[i].Tag]
	}
	return rows.Err()
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
		t.out.Held, err = heldOfLot(ctx, t, *t.lot)
		return err
	}
	for _, j := range t.out.Jars {
		own := j.Forward != nil && *j.Forward == 0 && t.out.Subject.Kind != larder.SubjectNamed
		if j.Hold == "" || (!own && j.Back == nil) {
			continue
		}
		jar, err := jarByTag(ctx, t, j.Tag)
		if err != nil {
			return err
		}
		t.out.Held = append(t.out.Held, heldJar(jar.Tag, jar.State))
	}
	return nil
}

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
	type since struct {
		Jar string `json:"j"`
		MS  int64  `json:"t"`
	}
	var list []since
	for jar, ms := range t.since {
		list = append(list, since{jar, ms})
	}
	var before, made, used, discarded, here float64
	err := t.QueryRowContext(ctx, `WITH j (jar, ms) AS MATERIALIZED (SELECT value ->> '$.j', value ->> '$.t' FROM json_each(?))
		SELECT total(ml) FILTER (WHERE happened_ms < ms), total(ml) FILTER (WHERE happened_ms >= ms AND kind IN (?, ?, ?, ?)),
			-total(ml) FILTER (WHERE happened_ms >= ms AND kind IN (?, ?)), -total(ml) FILTER (WHERE happened_ms >= ms AND kind = ?), total(ml)
		FROM j CROSS JOIN flow USING (jar)`, jsonList(list...), larder.FlowMade, larder.FlowFed, larder.FlowFromJar, larder.FlowToJar,
		larder.FlowEmptied, larder.FlowDiscarded, larder.FlowDiscarded).Scan(&before, &made, &used, &discarded, &here)
	if err != nil {
		return fmt.Errorf("adding up volumes: %w", err)
	}
	// What was in a jar already when the subject reached it counts as made.
	b.MadeML, b.OnHandML = chem.Millilitres(before+made), chem.Millilitres(here)
	b.UsedML, b.DiscardedML = chem.Millilitres(used), chem.Millilitres(discarded)
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
