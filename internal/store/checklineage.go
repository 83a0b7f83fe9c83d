package store

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"slices"

	"github.com/google/uuid"

	"cruet/internal/larder"
)

// checkLineage compares what is derived from entries with what they say: the
// lineage, the changes of volume, the holds; and that whatever came from a jar
// is logged on that jar too, with the same volume.
func checkLineage(ctx context.Context, q querier, r *Report) error {
	shelf, err := shelf(ctx, q, true)
	if err != nil {
		return err
	}
	drawn, err := edgeRows(ctx, q)
	if err != nil {
		return err
	}
	kept, err := flowRows(ctx, q)
	if err != nil {
		return err
	}
	found := func(format string, args ...any) { r.Findings = append(r.Findings, fmt.Sprintf(format, args...)) }
	moved := map[movedKey]float64{}
	edges := 0
	for _, s := range shelf {
		log, err := wholeLog(ctx, q, s.Jar.Tag)
		if err != nil {
			return fmt.Errorf("store: check: %w", err)
		}
		flows := larder.FoldFlows(log)
		var total float64
		for i, e := range log {
			if want, ok := wantEdge(e); ok {
				edges++
				if have, drawn := drawn[e.Seq]; !drawn || have != want {
					found("The lineage kept for entry %d of jar %s differs from what the entry says.", e.Seq, e.Jar)
				}
			}
			if !sameFlows(flows[i], kept[e.Seq]) {
				found("The change of volume kept for entry %d of jar %s differs from what its log adds up to.", e.Seq, e.Jar)
			}
			delete(kept, e.Seq)
			for _, f := range flows[i] {
				total += float64(f.ML)
			}
			noteMoved(moved, e)
		}
		if v := s.Jar.State.VolumeML; v != nil && math.Abs(float64(*v)-total) > 0.01 {
			found("Jar %s holds %.1f mL, but what came in and went out leaves %.1f mL.", s.Jar.Tag, float64(*v), total)
		}
	}
	if edges != len(drawn) {
		found("%d steps of lineage are kept, but the entries draw %d.", len(drawn), edges)
	}
	for seq := range kept {
		found("A change of volume is kept for entry %d, which is not there.", seq)
	}
	var keys []movedKey
	for k, v := range moved {
		if math.Abs(v) > 0.01 {
			keys = append(keys, k)
		}
	}
	slices.SortFunc(keys, func(a, b movedKey) int { return slices.Compare(a.act[:], b.act[:]) })
	for _, k := range keys {
		found("What jar %s gave and what jar %s got in one act differ by %.1f mL.", k.from, k.to, math.Abs(moved[k]))
	}
	return checkDerived(ctx, q, found)
}

// checkDerived compares the columns and tables that only speed up searches.
func checkDerived(ctx context.Context, q querier, found func(string, ...any)) error {
	for _, one := range []struct{ says, query string }{
		{"The hold kept for %d jars differs from their state.", `SELECT count(*) FROM jar WHERE hold <> coalesce(json_extract(state, '$.hold'), '')`},
		{"The hold kept for %d lots differs from their log.", `SELECT count(*) FROM lot WHERE hold <> coalesce((SELECT iif("on", reason, '') FROM lot_log WHERE lot_log.lot = lot.id ORDER BY seq DESC LIMIT 1), '')`},
		{"%d gifts name another lot than their bottle.", `SELECT count(*) FROM gift JOIN bottle ON bottle.tag = gift.bottle WHERE gift.lot <> bottle.lot`},
		{"%d lines of recipes cannot be searched for.", `SELECT count(*) FROM batch, json_each(ingredients) line WHERE NOT EXISTS (SELECT 1 FROM recipe WHERE recipe.batch_id = batch.id AND recipe.name = json_extract(line.value, '$.name'))`},
		{"%d names can be searched for that stand in no recipe.", `SELECT count(*) FROM recipe WHERE NOT EXISTS (SELECT 1 FROM batch, json_each(ingredients) line WHERE batch.id = recipe.batch_id AND json_extract(line.value, '$.name') = recipe.name COLLATE NOCASE)`},
	} {
		var n int
		if err := q.QueryRowContext(ctx, one.query).Scan(&n); err != nil {
			return fmt.Errorf("store: check: %w", err)
		}
		if n > 0 {
			found(one.says, n)
		}
	}
	return nil
}

// movedKey is one pouring from jar to jar.
type movedKey struct {
	act      uuid.UUID
	from, to larder.Tag
}

// noteMoved adds what was got and takes away what was given.
func noteMoved(moved map[movedKey]float64, e larder.Entry) {
	if e.Struck() {
		return
	}
	if giver, gave, ok := larder.Giver(e.Jar, e.Body); ok && gave.VolumeML != nil {
		moved[movedKey{e.Act, giver, e.Jar}] += float64(*gave.VolumeML)
	}
	if b, ok := e.Body.(larder.Transfer); ok && b.What == larder.Gave && b.VolumeML != nil {
		moved[movedKey{e.Act, e.Jar, b.To}] -= float64(*b.VolumeML)
	}
}

// edgeRow is an edge as kept.
type edgeRow struct {
	what            larder.TransferKind
	from, to        larder.Tag
	name, lot       string
	ml              float64
	mother, struck  bool
	earlyMS, lateMS int64
}

func wantEdge(e larder.Entry) (edgeRow, bool) {
	edge, ok := larder.EdgeOf(e)
	row := edgeRow{what: edge.What, from: edge.FromJar, to: edge.ToJar, name: edge.FromName, lot: edge.ToLot, mother: edge.Mother, struck: e.Struck(), ml: -1}
	if edge.VolumeML != nil {
		row.ml = float64(*edge.VolumeML)
	}
	if ok {
		row.earlyMS, row.lateMS = edge.When.Earliest().UnixMilli(), edge.When.Latest().UnixMilli()
	}
	return row, ok
}

func edgeRows(ctx context.Context, q querier) (map[int64]edgeRow, error) {
	rows, err := q.QueryContext(ctx, `SELECT entry, what, coalesce(from_jar, ''), from_name, coalesce(to_jar, ''), coalesce(to_lot, ''), coalesce(volume_ml, -1), mother, struck, early_ms, late_ms FROM edge`)
	if err != nil {
		return nil, fmt.Errorf("store: check: %w", err)
	}
	defer rows.Close()
	out := map[int64]edgeRow{}
	for rows.Next() {
		var seq int64
		var e edgeRow
		if err := rows.Scan(&seq, &e.what, &e.from, &e.name, &e.to, &e.lot, &e.ml, &e.mother, &e.struck, &e.earlyMS, &e.lateMS); err != nil {
			return nil, fmt.Errorf("store: check: %w", err)
		}
		out[seq] = e
	}
	return out, rows.Err()
}

func flowRows(ctx context.Context, q querier) (map[int64][]larder.Flow, error) {
	rows, err := q.QueryContext(ctx, `SELECT entry, kind, ml FROM flow ORDER BY entry, kind`)
	if err != nil {
		return nil, fmt.Errorf("store: check: %w", err)
	}
	type row struct {
		seq  int64
		flow larder.Flow
	}
	list, err := collect(rows, func(r *sql.Rows) (one row, err error) { return one, r.Scan(&one.seq, &one.flow.Kind, &one.flow.ML) })
	if err != nil {
		return nil, fmt.Errorf("store: check: %w", err)
	}
	out := map[int64][]larder.Flow{}
	for _, one := range list {
		out[one.seq] = append(out[one.seq], one.flow)
	}
	return out, nil
}

// sameFlows forgives the rounding of added floats.
func sameFlows(want, have []larder.Flow) bool {
	sum := map[larder.FlowKind]float64{}
	for _, f := range want {
		sum[f.Kind] += float64(f.ML)
	}
	for _, f := range have {
		sum[f.Kind] -= float64(f.ML)
	}
	for _, v := range sum {
		if math.Abs(v) > 0.001 {
			return false
		}
	}
	return true
}
