package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"

	"cruet/internal/larder"
)

// backSQL walks from edges against the flow, following time. Its rows are
// edges; from one into jar X, two others are reached: the one into X before it,
// and the last one into the jar that it came from which may have been there in
// time. So every edge is looked at once, and the cycles of a perpetual crock end.
// The start is put in for %s; a row may be null.
const backSQL = `WITH RECURSIVE
	begin (entry) AS (%s),
	walk (entry) AS (
		SELECT entry FROM begin
		UNION
		SELECT (SELECT entry FROM edge p WHERE p.to_jar = e.to_jar AND NOT p.struck AND (p.early_ms, p.entry) < (e.early_ms, e.entry)
			ORDER BY p.early_ms DESC, p.entry DESC LIMIT 1)
		FROM walk JOIN edge e USING (entry)
		UNION
		SELECT (SELECT entry FROM edge p WHERE p.to_jar = e.from_jar AND NOT p.struck AND p.early_ms <= e.late_ms
			ORDER BY p.early_ms DESC, p.entry DESC LIMIT 1)
		FROM walk JOIN edge e USING (entry)
	)`

// forwardSQL walks with the flow: the next edge out of the same jar, and the
// first one out of the jar that it went into.
const forwardSQL = `WITH RECURSIVE
	begin (entry) AS (%s),
	walk (entry) AS (
		SELECT entry FROM begin
		UNION
		SELECT (SELECT entry FROM edge n WHERE n.from_jar = e.from_jar AND NOT n.struck AND (n.late_ms, n.entry) > (e.late_ms, e.entry)
			ORDER BY n.late_ms, n.entry LIMIT 1)
		FROM walk JOIN edge e USING (entry)
		UNION
		SELECT (SELECT entry FROM edge n WHERE n.from_jar = e.to_jar AND NOT n.struck AND n.late_ms >= e.early_ms
			ORDER BY n.late_ms, n.entry LIMIT 1)
		FROM walk JOIN edge e USING (entry)
	)`

const (
	// intoJarSQL starts a walk back from jars (a JSON list) as they were at a
	// time; outOfJarSQL one forward from all that they ever held.
	intoJarSQL = `SELECT (SELECT entry FROM edge WHERE to_jar = j.value AND NOT struck AND early_ms <= ? ORDER BY early_ms DESC, entry DESC LIMIT 1)
		FROM json_each(?) j`
	outOfJarSQL = `SELECT (SELECT entry FROM edge WHERE from_jar = j.value AND NOT struck ORDER BY late_ms, entry LIMIT 1) FROM json_each(?) j`
	intoLotSQL  = `SELECT entry FROM edge WHERE to_lot = ? AND NOT struck`
)

const heldSQL = `
	SELECT DISTINCT jar.tag, jar.state FROM walk JOIN edge USING (entry) JOIN jar ON jar.tag = edge.from_jar
	WHERE jar.hold <> '' ORDER BY jar.tag`

// anyHold tells that some jar is on hold; when none is, nobody need walk.
func anyHold(ctx context.Context, q querier) (any bool, err error) {
	if err = q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM jar WHERE hold <> '')`).Scan(&any); err != nil {
		err = fmt.Errorf("store: looking for holds: %w", err)
	}
	return any, err
}

func held(ctx context.Context, q querier, begin string, args ...any) ([]larder.Held, error) {
	if any, err := anyHold(ctx, q); err != nil || !any {
		return nil, err
	}
	rows, err := q.QueryContext(ctx, fmt.Sprintf(backSQL, begin)+heldSQL, args...)
	if err != nil {
		return nil, fmt.Errorf("store: looking for holds: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (larder.Held, error) {
		var tag larder.Tag
		var text string
		var state larder.State
		if err := r.Scan(&tag, &text); err != nil {
			return larder.Held{}, err
		}
		err := json.Unmarshal([]byte(text), &state)
		return heldJar(tag, state), err
	})
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
func behindHolds(ctx context.Context, q querier) (b behind, err error) {
	if any, err := anyHold(ctx, q); err != nil || !any {
		return b, err
	}
	b.jars, b.lots = map[larder.Tag]bool{}, map[string]bool{}
	rows, err := q.QueryContext(ctx, fmt.Sprintf(forwardSQL, strings.Replace(outOfJarSQL, "json_each(?) j", "(SELECT tag AS value FROM jar WHERE hold <> '') j", 1))+`
		SELECT DISTINCT coalesce(to_jar, ''), coalesce(to_lot, '') FROM walk JOIN edge USING (entry)`)
	if err != nil {
		return b, fmt.Errorf("store: looking for what came from jars on hold: %w", err)
	}
	_, err = collect(rows, func(r *sql.Rows) (none struct{}, err error) {
		var tag larder.Tag
		var lot string
		if err = r.Scan(&tag, &lot); err == nil {
			b.jars[tag], b.lots[lot] = true, true
		}
		return none, err
	})
	return b, err
}

// heldBehind lists the jars on hold that something in this jar came from until
// a time, this one first if it is on hold itself.
func heldBehind(ctx context.Context, q querier, jar larder.Jar, untilMS int64) ([]larder.Held, error) {
	behind, err := held(ctx, q, intoJarSQL, untilMS, jsonList(jar.Tag))
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

// heldOfLot lists the hold on the lot and on what it came from.
func heldOfLot(ctx context.Context, q querier, lot larder.Lot) ([]larder.Held, error) {
	var out []larder.Held
	if lot.Hold != "" {
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
		out = append(out, h)
	}
	behind, err := held(ctx, q, intoLotSQL, lot.ID)
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
