package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// maxMeasurements bounds what a chart and a forecast look at: years of weekly
// readings.
const maxMeasurements = 1000

// Measurements is what a jar's chart and forecast are drawn from: its newest
// readings, titrations, changes of stage and transfers, in the order of
// recording, struck ones included.
func (db *DB) Measurements(ctx context.Context, tag larder.Tag) ([]larder.Entry, error) {
	rows, err := db.read.QueryContext(ctx, entrySQL+` WHERE jar = ? AND kind IN ('reading', 'titration', 'stage', 'transfer')
		ORDER BY happened_ms DESC, seq DESC LIMIT ?`, tag, maxMeasurements)
	if err != nil {
		return nil, fmt.Errorf("store: measurements: %w", err)
	}
	entries, err := collect(rows, scanEntry)
	slices.SortFunc(entries, func(a, b larder.Entry) int { return cmp.Compare(a.Seq, b.Seq) })
	return entries, err
}

// LiquidOfBatch is the liquid that a batch's jars held at their start, nil when
// that was not logged for all of them.
func (db *DB) LiquidOfBatch(ctx context.Context, id int64) (*chem.Millilitres, error) {
	return liquidOfBatch(ctx, db.read, id)
}

func liquidOfBatch(ctx context.Context, q querier, id int64) (*chem.Millilitres, error) {
	var known bool
	var total sql.NullFloat64
	err := q.QueryRowContext(ctx, `SELECT count(*) = count(volume), sum(volume) FROM (
		SELECT (SELECT json_extract(body, '$.volume_ml') FROM entry WHERE entry.jar = jar.tag AND kind = 'stage' ORDER BY seq LIMIT 1) AS volume
		FROM jar WHERE batch_id = ?)`, id).Scan(&known, &total)
	if err != nil {
		return nil, fmt.Errorf("store: the batch's liquid: %w", err)
	}
	// A blend's jar was filled from others; what its recipe made is what that holds.
	if !known || !total.Valid || total.Float64 == 0 {
		return nil, nil
	}
	return new(chem.Millilitres(total.Float64)), nil
}
