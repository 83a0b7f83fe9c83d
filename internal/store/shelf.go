package store

import (
	"context"
	"database/sql"
	"fmt"

	"cruet/internal/larder"
)

// ShelfJar is one jar on the shelf with the batch it belongs to.
type ShelfJar = larder.ShelfJar

// Shelf lists the jars that stand on the shelf, by batch, the newest batch
// first; retired ones too when all is set.
func (db *DB) Shelf(ctx context.Context, all bool) ([]ShelfJar, error) {
	var out []ShelfJar
	err := db.snapshot(ctx, func(q querier) (err error) {
		out, err = shelf(ctx, q, all)
		return err
	})
	return out, err
}

func shelf(ctx context.Context, q querier, all bool) ([]ShelfJar, error) {
	where := ` WHERE live = 1`
	if all {
		where = ``
	}
	rows, err := q.QueryContext(ctx, jarSQL+where+` ORDER BY batch_id DESC, length(letter), letter`)
	if err != nil {
		return nil, fmt.Errorf("store: shelf: %w", err)
	}
	jars, err := collect(rows, func(r *sql.Rows) (larder.Jar, error) { return readJar(r) })
	if err != nil {
		return nil, fmt.Errorf("store: shelf: %w", err)
	}
	batches, err := batchesOf(ctx, q, where)
	if err != nil {
		return nil, err
	}
	out := make([]ShelfJar, len(jars))
	for i, j := range jars {
		out[i] = ShelfJar{Jar: j, Batch: batches[j.BatchID]}
	}
	return out, nil
}

// batchesOf are the batches of the jars that a condition on jars finds, each
// with its plan.
func batchesOf(ctx context.Context, q querier, where string) (map[int64]larder.Batch, error) {
	plans, err := plansOf(ctx, q)
	if err != nil {
		return nil, err
	}
	rows, err := q.QueryContext(ctx, batchSQL+` WHERE id IN (SELECT batch_id FROM jar`+where+`)`)
	if err != nil {
		return nil, fmt.Errorf("store: batches of the shelf: %w", err)
	}
	batches, err := collect(rows, func(r *sql.Rows) (larder.Batch, error) { return readBatch(r) })
	out := map[int64]larder.Batch{}
	for _, b := range batches {
		b.Plan = plans[b.Base]
		out[b.ID] = b
	}
	return out, err
}

// Standing lists what Shelf lists of the live jars, in its order, with that part of
// each state which lists show and plans ask for (larder.State.Listed): without
// reading a whole state.
func (db *DB) Standing(ctx context.Context) ([]ShelfJar, error) {
	var out []ShelfJar
	err := db.snapshot(ctx, func(q querier) (err error) {
		out, err = standing(ctx, q)
		return err
	})
	return out, err
}

const listedSQL = `SELECT tag, batch_id, letter, size_ml, place, listed FROM jar`

// standingSQL is answered from the index jar_shelf alone.
const standingSQL = listedSQL + ` WHERE live = 1 ORDER BY batch_id DESC, length(letter), letter`

// readListed reads a jar of a list.
func readListed(rows *sql.Rows) (larder.Jar, error) {
	var j larder.Jar
	var line string
	if err := rows.Scan(&j.Tag, &j.BatchID, &j.Letter, &j.SizeML, &j.Place, &line); err != nil {
		return j, err
	}
	var err error
	if j.State, err = larder.ParseListed(line); err != nil {
		return j, fmt.Errorf("jar %s: %w", j.Tag, err)
	}
	if j.State.Place != "" {
		j.Place = j.State.Place
	}
	return j, nil
}

func standing(ctx context.Context, q querier) ([]ShelfJar, error) {
	batches, err := batchesOf(ctx, q, ` WHERE live = 1`)
	if err != nil {
		return nil, err
	}
	rows, err := q.QueryContext(ctx, standingSQL)
	if err != nil {
		return nil, fmt.Errorf("store: what stands on the shelf: %w", err)
	}
	out, err := collect(rows, func(r *sql.Rows) (ShelfJar, error) {
		j, err := readListed(r)
		return ShelfJar{Jar: j, Batch: batches[j.BatchID]}, err
	})
	if err != nil {
		return nil, fmt.Errorf("store: what stands on the shelf: %w", err)
	}
	return out, nil
}
