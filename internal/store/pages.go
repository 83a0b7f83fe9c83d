package store

import (
	"context"
	"database/sql"
	"fmt"
	"math"

	"cruet/internal/larder"
)

// begin is where a list that is read in pages begins: with the newest.
func (c Cursor) begin() Cursor {
	if c == (Cursor{}) {
		return Cursor{math.MaxInt64, math.MaxInt64}
	}
	return c
}

// LotCursor marks a place in the list of lots, to go on from there. The zero
// LotCursor is the newest end.
type LotCursor struct {
	HappenedMS int64
	ID         string
}

// lotsPageSQL reads the lots older than a place in the list.
const lotsPageSQL = `SELECT ` + lotColumns + `, (SELECT count(*) FROM bottle WHERE bottle.lot = lot.id),
	(SELECT count(*) FROM gift WHERE gift.lot = lot.id AND back_act IS NULL)
	FROM lot WHERE (happened_ms, id) < (?, ?) ORDER BY happened_ms DESC, id DESC LIMIT ?`

// LotsFrom lists lots from a cursor on, the newest first, limit at most (at least
// one); older is where those behind them begin, nil when there are none.
func (db *DB) LotsFrom(ctx context.Context, from LotCursor, limit int) (lots []LotCount, older *LotCursor, err error) {
	limit = max(1, limit)
	if from == (LotCursor{}) {
		from.HappenedMS = math.MaxInt64
	}
	rows, err := db.read.QueryContext(ctx, lotsPageSQL, from.HappenedMS, from.ID, limit+1)
	if err == nil {
		lots, err = collect(rows, func(r *sql.Rows) (c LotCount, err error) {
			c.Lot, err = readLot(r, &c.Bottles, &c.Given)
			return c, err
		})
	}
	if err != nil {
		return nil, nil, fmt.Errorf("store: lots: %w", err)
	}
	if len(lots) > limit {
		lots = lots[:limit]
		last := lots[limit-1].Lot
		older = &LotCursor{last.When.At.UnixMilli(), last.ID}
	}
	return lots, older, markBehind(ctx, db.read, lots)
}

// GiftAsk says which gifts are asked for.
type GiftAsk struct {
	To        string // to whom, as written; empty: anyone
	TakenBack bool   // those that were taken back, instead of those that stand
}

// giftsPageSQL reads the gifts older than a place in the list.
func (a GiftAsk) giftsPageSQL() string {
	query := givenSQL + ` WHERE (gift.happened_ms, seq) < (?, ?) AND back_act IS `
	if a.TakenBack {
		query += `NOT `
	}
	query += `NULL`
	if a.To != "" {
		query += ` AND to_whom = ?`
	}
	return query + ` ORDER BY gift.happened_ms DESC, seq DESC LIMIT ?`
}

// GiftsFrom lists gifts from a cursor on, the newest first, limit at most (at least
// one); older is where those behind them begin, nil when there are none.
func (db *DB) GiftsFrom(ctx context.Context, ask GiftAsk, from Cursor, limit int) (gifts []larder.Given, older *Cursor, err error) {
	limit = max(1, limit)
	from = from.begin()
	args := []any{from.HappenedMS, from.Seq}
	if ask.To != "" {
		args = append(args, ask.To)
	}
	rows, err := db.read.QueryContext(ctx, ask.giftsPageSQL(), append(args, limit+1)...)
	if err != nil {
		return nil, nil, fmt.Errorf("store: gifts: %w", err)
	}
	var seqs []int64
	gifts, err = collect(rows, func(r *sql.Rows) (larder.Given, error) {
		g, seq, err := readGiven(r)
		seqs = append(seqs, seq)
		return g, err
	})
	if err != nil {
		return nil, nil, fmt.Errorf("store: gifts: %w", err)
	}
	if len(gifts) > limit {
		gifts = gifts[:limit]
		older = &Cursor{HappenedMS: gifts[limit-1].Bottle.Gift.When.At.UnixMilli(), Seq: seqs[limit-1]}
	}
	return gifts, older, nil
}
