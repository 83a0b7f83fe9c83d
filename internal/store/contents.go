package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"

	"cruet/internal/larder"
)

// madeOf puts on a lot what it is made of, with all that came into its jars by that
// time: the names by weight, the bases of the batches that were bottled (those that a
// blend joined, not the blend itself), the bases of whatever else went in, which
// may bring sulphites along, and what was put in to infuse.
func madeOf(ctx context.Context, q querier, lot *larder.Lot, at larder.When) error {
	tags := make([]larder.Tag, len(lot.Pours))
	for i, p := range lot.Pours {
		tags[i] = p.Jar
	}
	steps, err := walkBack(ctx, q, tags, at.Latest().UnixMilli())
	if err != nil {
		return err
	}
	slices.SortFunc(steps, func(a, b larder.Step) int {
		return cmp.Or(a.When.At.Compare(b.When.At), cmp.Compare(a.Seq, b.Seq))
	})
	inflows, err := inflows(ctx, q, steps)
	if err != nil {
		return err
	}
	var bases, traces []larder.Base
	lot.Infused = nil
	filled := map[larder.Tag][]larder.Tag{}
	all := slices.Clone(tags)
	for _, s := range steps {
		if s.FromJar != "" {
			all = append(all, s.FromJar)
		}
		if s.What.Fills() {
			filled[s.ToJar] = append(filled[s.ToJar], s.FromJar)
		}
		if s.What == larder.Infused && !slices.Contains(lot.Infused, s.FromName) {
			lot.Infused = append(lot.Infused, s.FromName)
		}
	}
	jars := map[larder.Tag]larder.Contents{}
	base := map[larder.Tag]larder.Base{}
	for _, tag := range all {
		if _, seen := jars[tag]; seen || len(filled[tag]) > 0 {
			continue // what fills a jar brings its contents along
		}
		if jars[tag], base[tag], err = startOf(ctx, q, tag); err != nil {
			return err
		}
	}
	larder.Mix(jars, inflows)
	seen := map[larder.Tag]bool{}
	var bottled func(larder.Tag)
	bottled = func(tag larder.Tag) {
		if seen[tag] {
			return
		}
		seen[tag] = true
		if b, began := base[tag]; began {
			bases = withBase(bases, b)
		}
		for _, from := range filled[tag] {
			bottled(from)
		}
	}
	for _, tag := range tags {
		bottled(tag)
	}
	for _, tag := range all {
		if b, began := base[tag]; began && !slices.Contains(bases, b) {
			traces = withBase(traces, b)
		}
	}
	lot.Ingredients, lot.Bases, lot.TraceBases = larder.ContentsOfLot(lot.Pours, jars).ByWeight(), bases, traces
	return nil
}

func withBase(list []larder.Base, b larder.Base) []larder.Base {
	if slices.Contains(list, b) {
		return list
	}
	return append(list, b)
}

// startOf is what a jar held when its batch was started.
func startOf(ctx context.Context, q querier, tag larder.Tag) (larder.Contents, larder.Base, error) {
	jar, err := jarByTag(ctx, q, tag)
	if err != nil {
		return nil, "", err
	}
	batch, err := batchByID(ctx, q, jar.BatchID)
	if err != nil {
		return nil, "", err
	}
	made, err := liquidOfBatch(ctx, q, jar.BatchID)
	if err != nil {
		return nil, "", err
	}
	var ml float64
	if made != nil {
		ml = float64(*made)
	}
	return larder.ContentsOfRecipe(batch.Ingredients, ml), batch.Base, nil
}

// inflows looks up how much was in each jar just before each step.
func inflows(ctx context.Context, q querier, steps []larder.Step) ([]larder.Inflow, error) {
	if len(steps) == 0 {
		return nil, nil
	}
	list := make([]int64, len(steps))
	for i, s := range steps {
		list[i] = s.Seq
	}
	rows, err := q.QueryContext(ctx, `SELECT e.entry, (SELECT total(ml) FROM flow WHERE flow.jar = e.to_jar AND (flow.happened_ms, flow.entry) < (e.happened_ms, e.entry))
		FROM json_each(?) s CROSS JOIN edge e ON e.entry = s.value`, jsonList(list...))
	if err != nil {
		return nil, fmt.Errorf("looking up volumes: %w", err)
	}
	type row struct {
		seq  int64
		held float64
	}
	found, err := collect(rows, func(r *sql.Rows) (one row, err error) { return one, r.Scan(&one.seq, &one.held) })
	if err != nil {
		return nil, fmt.Errorf("looking up volumes: %w", err)
	}
	held := map[int64]float64{}
	for _, one := range found {
		held[one.seq] = one.held
	}
	out := make([]larder.Inflow, len(steps))
	for i, s := range steps {
		in := larder.Inflow{To: s.ToJar, From: s.FromJar, Name: s.FromName, HeldML: held[s.Seq]}
		if s.VolumeML != nil {
			in.VolumeML = float64(*s.VolumeML)
		}
		if s.MassG != nil {
			in.MassG = float64(*s.MassG)
		}
		out[i] = in
	}
	return out, nil
}
