package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"

	"cruet/internal/larder"
)

// jsonList is values as a JSON list, for json_each.
func jsonList[T any](values ...T) string {
	text, err := json.Marshal(values)
	if err != nil { // strings and numbers always can
		panic(err)
	}
	return string(text)
}

// TakeBack undoes a gift that was recorded by mistake. The gift stays readable
// with the reason; the bottle is here again and may be given to another.
func (db *DB) TakeBack(ctx context.Context, a larder.Act, tag larder.Tag, reason string) (BottlePage, error) {
	_, _, err := db.act(ctx, a, "take back", struct {
		Tag    larder.Tag
		Reason string
	}{tag, reason}, func(t *tx) (string, error) {
		p, err := bottleByTag(ctx, t, tag)
		if err != nil {
			return "", err
		}
		if err := larder.CheckTakeBack(p.Bottle, reason); err != nil {
			return "", err
		}
		_, err = t.ExecContext(ctx, `UPDATE gift SET back_act = ?, back_reason = ?, back_by = ?, back_ms = ? WHERE bottle = ? AND back_act IS NULL`,
			a.Key[:], reason, a.By, t.now.UnixMilli(), tag)
		return string(tag), err
	})
	if err != nil {
		return BottlePage{}, err
	}
	return db.BottleByTag(ctx, tag)
}

const giftSQL = `SELECT to_whom, gift.happened_ms, precision, spread_days, note, by, recorded_ms, back_act IS NOT NULL, back_reason, back_by, back_ms`

// readGift reads the columns of giftSQL and those that follow.
func readGift(row scanner, more ...any) (larder.Gift, error) {
	var g larder.Gift
	var back larder.TakenBack
	var happened, recorded, backMS int64
	var precision string
	var spread int
	var taken bool
	err := row.Scan(append([]any{&g.To, &happened, &precision, &spread, &g.Note, &g.By, &recorded, &taken, &back.Reason, &back.By, &backMS}, more...)...)
	g.When, g.RecordedAt = when(happened, precision, spread), when(recorded, "", 0).At
	if taken {
		back.RecordedAt = when(backMS, "", 0).At
		g.TakenBack = &back
	}
	return g, err
}

func takenBack(ctx context.Context, q querier, tag larder.Tag) ([]larder.Gift, error) {
	rows, err := q.QueryContext(ctx, giftSQL+` FROM gift WHERE bottle = ? AND back_act IS NOT NULL ORDER BY seq`, tag)
	if err != nil {
		return nil, fmt.Errorf("store: gifts: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (larder.Gift, error) { return readGift(r) })
}

const givenSQL = giftSQL + `, bottle.tag, bottle.lot, number, size_ml, lot.name, seq
	FROM gift CROSS JOIN bottle ON bottle.tag = gift.bottle CROSS JOIN lot ON lot.id = bottle.lot`

func readGiven(row scanner) (g larder.Given, seq int64, err error) {
	gift, err := readGift(row, &g.Bottle.Tag, &g.Bottle.Lot, &g.Bottle.Number, &g.Bottle.SizeML, &g.LotName, &seq)
	g.Bottle.Gift = &gift
	return g, seq, err
}

// Gifts lists who has what, the newest first, with those taken back.
func (db *DB) Gifts(ctx context.Context) ([]larder.Given, error) {
	rows, err := db.read.QueryContext(ctx, givenSQL+` ORDER BY gift.happened_ms DESC, seq DESC`)
	if err != nil {
		return nil, fmt.Errorf("store: gifts: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (larder.Given, error) {
		g, _, err := readGiven(r)
		return g, err
	})
}

// recipientNamesSQL goes from one name to the next in the index of names: of each person
// one gift is read, however many there were.
const recipientNamesSQL = `WITH RECURSIVE who (name) AS (
		SELECT min(to_whom) FROM gift
		UNION ALL SELECT (SELECT min(to_whom) FROM gift WHERE to_whom > who.name) FROM who WHERE who.name IS NOT NULL)
	SELECT name FROM who WHERE EXISTS (SELECT 1 FROM gift WHERE to_whom = who.name AND back_act IS NULL)
	ORDER BY name COLLATE NOCASE, name LIMIT ?`

// RecipientNames are the names of those who have a bottle, to offer when giving, so
// many at most.
func (db *DB) RecipientNames(ctx context.Context, limit int) ([]string, error) {
	rows, err := db.read.QueryContext(ctx, recipientNamesSQL, limit)
	if err != nil {
		return nil, fmt.Errorf("store: who has what: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (name string, err error) { return name, r.Scan(&name) })
}

// Recipients lists everyone who has a bottle, by name, with how many.
func (db *DB) Recipients(ctx context.Context) ([]larder.Recipient, error) {
	rows, err := db.read.QueryContext(ctx, `SELECT to_whom, count(*), max(happened_ms), precision, spread_days
		FROM gift WHERE back_act IS NULL GROUP BY to_whom ORDER BY to_whom COLLATE NOCASE, to_whom`)
	if err != nil {
		return nil, fmt.Errorf("store: who has what: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (larder.Recipient, error) {
		var one larder.Recipient
		var ms int64
		var precision string
		var spread int
		err := r.Scan(&one.Name, &one.Bottles, &ms, &precision, &spread)
		one.Last = when(ms, precision, spread)
		return one, err
	})
}
