package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"

	"cruet/internal/larder"
)

// curveEntries is how many of a jar's newest measurements a small curve shows.
const curveEntries = 24

// Curves are the newest readings and titrations of each of these jars, in the
// order in which they happened, struck ones left out.
func (db *DB) Curves(ctx context.Context, tags []larder.Tag) (map[larder.Tag][]larder.Entry, error) {
	out := make(map[larder.Tag][]larder.Entry, len(tags))
	t, err := db.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, fmt.Errorf("store: curves: %w", err)
	}
	defer t.Rollback()
	ask, err := t.PrepareContext(ctx, entrySQL+` WHERE jar = ? AND kind IN ('reading', 'titration') AND struck_by IS NULL
		ORDER BY happened_ms DESC, seq DESC LIMIT ?`)
	if err != nil {
		return nil, fmt.Errorf("store: curves: %w", err)
	}
	defer ask.Close()
	for _, tag := range tags {
		rows, err := ask.QueryContext(ctx, tag, curveEntries)
		if err != nil {
			return nil, fmt.Errorf("store: curves: %w", err)
		}
		entries, err := collect(rows, scanEntry)
		if err != nil {
			return nil, fmt.Errorf("store: curves: %w", err)
		}
		slices.Reverse(entries)
		out[tag] = entries
	}
	return out, nil
}
