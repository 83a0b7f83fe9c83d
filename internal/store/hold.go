package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"cruet/internal/larder"
)

const onHoldSQL = `SELECT tag FROM jar WHERE hold <> ''`

// jarsOnHold are all jars that are on hold; when there is none, nobody need walk.
func jarsOnHold(ctx context.Context, q querier) (map[larder.Tag]bool, error) {
	rows, err := q.QueryContext(ctx, onHoldSQL)
	if err != nil {
		return nil, fmt.Errorf("store: looking for holds: %w", err)
	}
	tags, err := collect(rows, func(r *sql.Rows) (tag larder.Tag, err error) { return tag, r.Scan(&tag) })
	if err != nil {
		return nil, fmt.Errorf("store: looking for holds: %w", err)
	}
	on := map[larder.Tag]bool{}
	for _, tag := range tags {
		on[tag] = true
	}
	return on, nil
}

// heldAmong lists the holds on the jars that a walk back came to, by tag.
func heldAmong(ctx context.Context, q querier, walk func() ([]larder.Step, error)) ([]larder.Held, error) {
	on, err := jarsOnHold(ctx, q)
	if err != nil || len(on) == 0 {
		return nil, err
	}
	found, err := walk()
	if err != nil {
		return nil, fmt.Errorf("store: looking for holds: %w", err)
	}
	var tags []larder.Tag
	for _, s := range found {
		if on[s.FromJar] {
			tags = append(tags, s.FromJar)
		}
	}
	slices.Sort(tags)
	return holdsOn(ctx, q, slices.Compact(tags))
}

// holdsOn reads the holds on jars that are known to be on hold.
func holdsOn(ctx context.Context, q querier, tags []larder.Tag) ([]larder.Held, error) {
	var out []larder.Held
	for _, tag := range tags {
		jar, err := jarByTag(ctx, q, tag)
		if err != nil {
			return nil, err
		}
		out = append(out, heldJar(tag, jar.State))
	}
	return out, nil
}

func heldJar(tag larder.Tag, s larder.State) larder.Held {
	h := larder.Held{Jar: tag, Reason: s.Hold}
	if s.HoldAt != nil {
		h.Since = *s.HoldAt
	}
	return h
}

// behind is what something of a jar on hold went into.
type behind struct {
	jars map[larder.Tag]bool
	lots map[string]bool
}

// behindHolds walks once from all jars on hold, for lists of jars or lots.
func behindHolds(ctx context.Context, q querier) (behind, error) {
	on, err := jarsOnHold(ctx, q)
	if err != nil {
		return behind{}, err
	}
	return behindOf(ctx, q, on)
}

// behindOf walks once from jars on hold.
func behindOf(ctx context.Context, q querier, on map[larder.Tag]bool) (b behind, err error) {
	if len(on) == 0 {
		return b, nil
	}
	found, err := walkForward(ctx, q, slices.Collect(maps.Keys(on)))
	if err != nil {
		return b, fmt.Errorf("store: looking for what came from jars on hold: %w", err)
	}
	b.jars, b.lots = map[larder.Tag]bool{}, map[string]bool{}
	for _, s := range found {
		if s.ToJar != "" {
			b.jars[s.ToJar] = true
		} else {
			b.lots[s.ToLot] = true
		}
	}
	return b, nil
}

// heldBehind lists the jars on hold that something in this jar came from until
// a time, this one first if it is on hold itself.
func heldBehind(ctx context.Context, q querier, jar larder.Jar, untilMS int64) ([]larder.Held, error) {
	behind, err := heldAmong(ctx, q, func() ([]larder.Step, error) { return walkBack(ctx, q, []larder.Tag{jar.Tag}, untilMS) })
	if err != nil {
		return nil, err
	}
	var out []larder.Held
	if jar.State.Hold != "" {
		out = append(out, heldJar(jar.Tag, jar.State))
	}
	for _, h := range behind {
		if h.Jar != jar.Tag {
			out = append(out, h)
		}
	}
	return out, nil
}

// holdOnLot is the hold on the lot itself, if there is one.
func holdOnLot(ctx context.Context, q querier, lot larder.Lot) ([]larder.Held, error) {
	if lot.Hold == "" {
		return nil, nil
	}
	log, err := lotLog(ctx, q, lot.ID)
	if err != nil {
		return nil, err
	}
	h := larder.Held{Lot: lot.ID, Reason: lot.Hold}
	for _, line := range log { // since the first after the last release
		switch {
		case !line.On:
			h.Since = larder.When{}
		case h.Since.IsZero() || line.When.Before(h.Since):
			h.Since = line.When
		}
	}
	return []larder.Held{h}, nil
}

// heldOfLot lists the hold on the lot and on what it came from.
func heldOfLot(ctx context.Context, q querier, lot larder.Lot) ([]larder.Held, error) {
	out, err := holdOnLot(ctx, q, lot)
	if err != nil {
		return nil, err
	}
	behind, err := heldAmong(ctx, q, func() ([]larder.Step, error) { return walkBackFromLot(ctx, q, lot.ID) })
	return append(out, behind...), err
}

// refuseHeld refuses to bottle jars at a time while something behind them is held.
func (t *tx) refuseHeld(ctx context.Context, jars []larder.Jar, at larder.When) error {
	for _, jar := range jars {
		behind, err := heldBehind(ctx, t, jar, at.Latest().UnixMilli())
		if err != nil {
			return err
		}
		if err := larder.CheckHeld(jar.Tag, behind, at); err != nil {
			return err
		}
	}
	return nil
}

// HeldAncestors lists the holds that stand on a jar or bottle and on all that it
// came from. While there is one, nothing of it may be bottled or given. A tag
// that is neither's is a larder.NotFoundError.
func (db *DB) HeldAncestors(ctx context.Context, tag larder.Tag) ([]larder.Held, error) {
	if tag.IsBottle() {
		p, err := db.BottleByTag(ctx, tag)
		return p.Held, err
	}
	jar, err := db.Jar(ctx, tag)
	if err != nil {
		return nil, err
	}
	return heldBehind(ctx, db.read, jar, math.MaxInt64)
}

// HeldOfLot is HeldAncestors of a lot.
func (db *DB) HeldOfLot(ctx context.Context, id string) ([]larder.Held, error) {
	lot, err := lotByID(ctx, db.read, id)
	if err != nil {
		return nil, err
	}
	return heldOfLot(ctx, db.read, lot)
}

func lotByID(ctx context.Context, q querier, id string) (larder.Lot, error) {
	lot, err := readLot(q.QueryRowContext(ctx, lotSQL+` WHERE id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return lot, &larder.NotFoundError{What: "lot", ID: id}
	}
	if err != nil {
		return lot, fmt.Errorf("store: lot: %w", err)
	}
	return lot, nil
}

// HoldLot puts a hold on a lot or lifts it; the lot's log keeps both.
func (db *DB) HoldLot(ctx context.Context, a larder.Act, id string, n larder.NewLotHold) (BottledLot, error) {
	_, replayed, err := db.act(ctx, a, "hold lot", struct {
		Lot string
		N   larder.NewLotHold
	}{id, n}, func(t *tx) (string, error) {
		lot, err := lotByID(ctx, t, id)
		if err != nil {
			return "", err
		}
		if err := n.Check(lot, t.now); err != nil {
			return "", err
		}
		w := t.fill(n.When)
		_, err = t.ExecContext(ctx, `INSERT INTO lot_log (act, lot, "on", reason, happened_ms, precision, spread_days, note, by, recorded_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			a.Key[:], id, n.On, n.Reason, w.At.UnixMilli(), w.Precision, w.SpreadDays, n.Note, a.By, t.now.UnixMilli())
		if err != nil {
			return "", fmt.Errorf("writing the lot's log: %w", err)
		}
		stands := ""
		if n.On {
			stands = n.Reason
		}
		_, err = t.ExecContext(ctx, `UPDATE lot SET hold = ? WHERE id = ?`, stands, id)
		return id, err
	})
	if err != nil {
		return BottledLot{}, err
	}
	lot, err := db.Lot(ctx, id)
	lot.Replayed = replayed
	return lot, err
}

// LotLog lists the holds that were put on a lot and lifted, the oldest first.
func (db *DB) LotLog(ctx context.Context, id string) ([]larder.LotHold, error) {
	return lotLog(ctx, db.read, id)
}

func lotLog(ctx context.Context, q querier, id string) ([]larder.LotHold, error) {
	rows, err := q.QueryContext(ctx, `SELECT seq, "on", reason, happened_ms, precision, spread_days, note, by, recorded_ms FROM lot_log WHERE lot = ? ORDER BY seq`, id)
	if err != nil {
		return nil, fmt.Errorf("store: the lot's log: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (larder.LotHold, error) {
		var h larder.LotHold
		var happened, recorded int64
		var precision string
		var spread int
		err := r.Scan(&h.Seq, &h.On, &h.Reason, &happened, &precision, &spread, &h.Note, &h.By, &recorded)
		h.When, h.RecordedAt = when(happened, precision, spread), when(recorded, "", 0).At
		return h, err
	})
}
