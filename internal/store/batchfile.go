package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"

	"github.com/google/uuid"

	"cruet/internal/larder"
)

// BatchFile is all that the records have of a batch, as of one moment: for a
// printed record. A number that is no batch's is a larder.NotFoundError.
func (db *DB) BatchFile(ctx context.Context, id int64) (larder.BatchFile, error) {
	var out larder.BatchFile
	err := db.snapshot(ctx, func(q querier) (err error) {
		out, err = batchFile(ctx, q, id)
		return err
	})
	if err != nil {
		err = wrap("batch record", err)
	}
	return out, err
}

func batchFile(ctx context.Context, q querier, id int64) (larder.BatchFile, error) {
	var f larder.BatchFile
	var err error
	if f.Batch, err = batchByID(ctx, q, id); err != nil {
		return f, err
	}
	jars, err := jarsOfBatch(ctx, q, id)
	if err != nil {
		return f, err
	}
	lots, rests := map[string]bool{}, map[uuid.UUID]bool{}
	for _, jar := range jars {
		j := larder.JarFile{Jar: jar}
		if j.Log, err = wholeLog(ctx, q, jar.Tag); err != nil {
			return f, err
		}
		slices.SortFunc(j.Log, func(x, y larder.Entry) int { return cmp.Compare(x.Seq, y.Seq) })
		if j.CameFrom, err = edges(ctx, q, `to_jar`, string(jar.Tag)); err != nil {
			return f, err
		}
		if j.WentInto, err = edges(ctx, q, `from_jar`, string(jar.Tag)); err != nil {
			return f, err
		}
		for _, e := range j.Log {
			if t, ok := e.Body.(larder.Transfer); ok && t.Lot != "" {
				lots[t.Lot] = true
			}
			for _, on := range larder.RestsOn(e.Body) {
				rests[on] = true
			}
		}
		f.Jars = append(f.Jars, j)
	}
	for on := range rests {
		e, err := benchEntry(ctx, q, on)
		if err != nil {
			return f, err
		}
		f.Bench = append(f.Bench, e)
	}
	slices.SortFunc(f.Bench, func(x, y larder.BenchEntry) int {
		return cmp.Or(x.When.At.Compare(y.When.At), cmp.Compare(x.Seq, y.Seq))
	})
	for _, lot := range slices.Sorted(maps.Keys(lots)) {
		l, err := lotFile(ctx, q, lot)
		if err != nil {
			return f, err
		}
		f.Lots = append(f.Lots, l)
	}
	return f, nil
}

func lotFile(ctx context.Context, q querier, id string) (larder.LotFile, error) {
	var f larder.LotFile
	var err error
	if f.Lot, err = lotByID(ctx, q, id); err != nil {
		return f, err
	}
	if f.Bottles, err = bottlesOf(ctx, q, id); err != nil {
		return f, err
	}
	if f.Log, err = lotLog(ctx, q, id); err != nil {
		return f, err
	}
	rows, err := q.QueryContext(ctx, giftSQL+`, bottle.tag, bottle.lot, number, size_ml FROM bottle JOIN gift ON gift.bottle = bottle.tag
		WHERE bottle.lot = ? AND back_act IS NOT NULL ORDER BY number, seq`, id)
	if err != nil {
		return f, fmt.Errorf("gifts taken back: %w", err)
	}
	f.Taken, err = collect(rows, func(r *sql.Rows) (larder.Bottle, error) {
		var b larder.Bottle
		gift, err := readGift(r, &b.Tag, &b.Lot, &b.Number, &b.SizeML)
		b.Gift = &gift
		return b, err
	})
	return f, err
}
