package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"cruet/internal/larder"
)

// BottledLot is a lot with its bottles.
type BottledLot struct {
	Lot      larder.Lot
	Bottles  []larder.Bottle
	Replayed bool
}

// Bottle records a bottling run: a lot with its numbered bottles, and on each
// jar an entry that takes out what it gave.
func (db *DB) Bottle(ctx context.Context, a larder.Act, n larder.NewLot) (BottledLot, error) {
	loc, err := db.location(ctx)
	if err != nil {
		return BottledLot{}, err
	}
	id, replayed, err := db.act(ctx, a, "bottle", n, func(t *tx) (string, error) {
		if len(n.Pours) > larder.MaxLotJars { // before any of them is looked up
			_, err := n.Check(nil, t.now)
			return "", err
		}
		jars := make([]larder.Jar, len(n.Pours))
		for i, pour := range n.Pours {
			var err error
			if jars[i], err = t.jar(ctx, pour.Jar); err != nil {
				return "", err
			}
		}
		pours, err := n.Check(jars, t.now)
		if err != nil {
			return "", err
		}
		if err := t.refuseHeld(ctx, jars, t.fill(n.When)); err != nil {
			return "", err
		}
		lot := larder.Lot{Name: n.Name, When: t.fill(n.When), Pours: pours, Runs: n.Runs, Note: n.Note, By: a.By, RecordedAt: t.now,
			Acidity: larder.LotAcidity(pours, jars)}
		logs := make([][]larder.Entry, len(jars))
		for i, jar := range jars {
			if logs[i], err = wholeLog(ctx, t, jar.Tag); err != nil {
				return "", err
			}
		}
		if lot.Acidity.Basis != larder.NotMeasured {
			lot.AcidityFrom = larder.LotRestsOn(jars, logs)
		}
		if err := t.describe(ctx, &lot, jars); err != nil {
			return "", err
		}
		prefix := larder.LotID(lot.When, loc, 0)
		var before int
		if err := t.QueryRowContext(ctx, `SELECT count(*) FROM lot WHERE id > ?1 AND id < ?1 || '['`, prefix[:7]).Scan(&before); err != nil {
			return "", fmt.Errorf("numbering the lot: %w", err)
		}
		lot.ID = larder.LotID(lot.When, loc, before)
		if err := t.insertLot(ctx, lot); err != nil {
			return "", err
		}
		return lot.ID, t.pour(ctx, lot, jars)
	})
	if err != nil {
		return BottledLot{}, err
	}
	lot, err := db.Lot(ctx, id)
	lot.Replayed = replayed
	return lot, err
}

// describe puts on the lot what it is made of.
func (t *tx) describe(ctx context.Context, lot *larder.Lot, jars []larder.Jar) error {
	lot.Heated = true
	for _, jar := range jars {
		lot.Heated = lot.Heated && jar.State.HeatedAt != nil
	}
	if lot.Name == "" {
		b, err := batchByID(ctx, t, jars[0].BatchID)
		if err != nil {
			return err
		}
		lot.Name = larder.LotName(b)
	}
	return madeOf(ctx, t, lot, lot.When)
}

func (t *tx) insertLot(ctx context.Context, lot larder.Lot) error {
	body, err := json.Marshal(lot)
	if err != nil {
		return fmt.Errorf("writing the lot: %w", err)
	}
	_, err = t.ExecContext(ctx, `INSERT INTO lot (id, act, name, happened_ms, body) VALUES (?, ?, ?, ?, ?)`,
		lot.ID, t.act.Key[:], lot.Name, lot.When.At.UnixMilli(), string(body))
	if err != nil {
		return fmt.Errorf("writing the lot: %w", err)
	}
	number := 0
	for _, run := range lot.Runs {
		for range run.Count {
			number++
			tag, err := t.issue(ctx, "bottle")
			if err != nil {
				return err
			}
			if _, err := t.ExecContext(ctx, `INSERT INTO bottle (tag, lot, number, size_ml) VALUES (?, ?, ?, ?)`, tag, lot.ID, number, run.SizeML); err != nil {
				return fmt.Errorf("writing bottle %d: %w", number, err)
			}
		}
	}
	return nil
}

func (t *tx) pour(ctx context.Context, lot larder.Lot, jars []larder.Jar) error {
	for i, jar := range jars {
		volume := lot.Pours[i].VolumeML
		n := larder.NewEntry{When: lot.When, Body: larder.Transfer{What: larder.Bottled, Lot: lot.ID, VolumeML: &volume}}
		if _, _, err := t.append(ctx, part(t.act.Key, string(jar.Tag)), jar, n); err != nil {
			return err
		}
	}
	return nil
}

// lotColumns read a lot; the last tells that an entry behind its acidity was
// struck since.
const lotColumns = `lot.body, lot.void, lot.hold, EXISTS (SELECT 1 FROM json_each(coalesce(lot.body -> '$.acidity_from', json_array(lot.body ->> '$.acidity.entry'))) f
		JOIN entry ON entry.id = unhex(replace(f.value, '-', '')) WHERE entry.struck_by IS NOT NULL)`

const lotSQL = `SELECT ` + lotColumns + ` FROM lot`

// readLot reads lotColumns and those that follow.
func readLot(row scanner, more ...any) (larder.Lot, error) {
	var lot larder.Lot
	var body, hold string
	var void, struck bool
	if err := row.Scan(append([]any{&body, &void, &hold, &struck}, more...)...); err != nil {
		return lot, err
	}
	err := json.Unmarshal([]byte(body), &lot)
	lot.Void, lot.Hold = void, hold
	if struck {
		lot = lot.ReadingStruck()
	}
	return lot, err
}

// Lot is the lot with that mark and its bottles, or a larder.NotFoundError.
func (db *DB) Lot(ctx context.Context, id string) (BottledLot, error) {
	lot, err := lotByID(ctx, db.read, id)
	if err != nil {
		return BottledLot{}, err
	}
	bottles, err := bottlesOf(ctx, db.read, id)
	return BottledLot{Lot: lot, Bottles: bottles}, err
}

func bottlesOf(ctx context.Context, q querier, lot string) ([]larder.Bottle, error) {
	rows, err := q.QueryContext(ctx, bottleSQL+` WHERE bottle.lot = ? ORDER BY number`, lot)
	if err != nil {
		return nil, fmt.Errorf("store: bottles: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (larder.Bottle, error) { return readBottle(r) })
}

// LotCount is a lot with how many of its bottles there are and were given.
type LotCount struct {
	Lot            larder.Lot
	Bottles, Given int
	Behind         bool // something of a jar on hold went into it
}

// Lots lists all lots, the newest first.
func (db *DB) Lots(ctx context.Context) ([]LotCount, error) {
	rows, err := db.read.QueryContext(ctx, `SELECT `+lotColumns+`, count(bottle.tag), count(gift.bottle)
		FROM lot JOIN bottle ON bottle.lot = lot.id LEFT JOIN gift ON gift.bottle = bottle.tag AND gift.back_act IS NULL
		GROUP BY lot.id ORDER BY lot.happened_ms DESC, lot.id DESC`)
	if err != nil {
		return nil, fmt.Errorf("store: lots: %w", err)
	}
	all, err := collect(rows, func(r *sql.Rows) (LotCount, error) {
		var c LotCount
		var err error
		c.Lot, err = readLot(r, &c.Bottles, &c.Given)
		return c, err
	})
	if err != nil {
		return nil, err
	}
	return all, markBehind(ctx, db.read, all)
}

// markBehind marks the lots that a hold on a jar stands behind.
func markBehind(ctx context.Context, q querier, lots []LotCount) error {
	held, err := behindHolds(ctx, q)
	for i := range lots {
		lots[i].Behind = held.lots[lots[i].Lot.ID]
	}
	return err
}

const bottleSQL = `SELECT bottle.tag, bottle.lot, number, size_ml, to_whom, happened_ms, precision, spread_days, note, by, recorded_ms
	FROM bottle LEFT JOIN gift ON gift.bottle = bottle.tag AND gift.back_act IS NULL`

func readBottle(row scanner) (larder.Bottle, error) {
	var b larder.Bottle
	var to, precision, note, by sql.NullString
	var happened, spread, recorded sql.NullInt64
	err := row.Scan(&b.Tag, &b.Lot, &b.Number, &b.SizeML, &to, &happened, &precision, &spread, &note, &by, &recorded)
	if to.Valid {
		b.Gift = &larder.Gift{To: to.String, When: when(happened.Int64, precision.String, int(spread.Int64)),
			Note: note.String, By: by.String, RecordedAt: when(recorded.Int64, "", 0).At}
	}
	return b, err
}

// BottlePage is a bottle with its lot.
type BottlePage struct {
	Bottle larder.Bottle
	Lot    larder.Lot
	Held   []larder.Held // holds that stand on its lot, its jars and what went into them
	Holds  []string      // the same in words
	Taken  []larder.Gift // gifts of it that were taken back, the oldest first
}

// BottleByTag is the bottle with that tag, or a larder.NotFoundError.
func (db *DB) BottleByTag(ctx context.Context, tag larder.Tag) (BottlePage, error) {
	return bottleByTag(ctx, db.read, tag)
}

// bottleOfLot is a bottle and its lot.
func bottleOfLot(ctx context.Context, q querier, tag larder.Tag) (b larder.Bottle, lot larder.Lot, err error) {
	b, err = readBottle(q.QueryRowContext(ctx, bottleSQL+` WHERE bottle.tag = ?`, tag))
	if errors.Is(err, sql.ErrNoRows) {
		return b, lot, &larder.NotFoundError{What: "bottle", ID: tag.Spaced()}
	}
	if err != nil {
		return b, lot, fmt.Errorf("store: bottle: %w", err)
	}
	if lot, err = readLot(q.QueryRowContext(ctx, lotSQL+` WHERE id = ?`, b.Lot)); err != nil {
		return b, lot, fmt.Errorf("store: lot: %w", err)
	}
	return b, lot, nil
}

func bottleByTag(ctx context.Context, q querier, tag larder.Tag) (BottlePage, error) {
	var p BottlePage
	var err error
	if p.Bottle, p.Lot, err = bottleOfLot(ctx, q, tag); err != nil {
		return p, err
	}
	if p.Held, err = heldOfLot(ctx, q, p.Lot); err != nil {
		return p, err
	}
	for _, h := range p.Held {
		p.Holds = append(p.Holds, h.String())
	}
	p.Taken, err = takenBack(ctx, q, tag)
	return p, err
}

// Give records that a bottle left the kitchen. A bottle is given once.
func (db *DB) Give(ctx context.Context, a larder.Act, tag larder.Tag, n larder.NewGift) (BottlePage, error) {
	_, _, err := db.act(ctx, a, "give", struct {
		Tag larder.Tag
		N   larder.NewGift
	}{tag, n}, func(t *tx) (string, error) {
		p, err := bottleByTag(ctx, t, tag)
		if err != nil {
			return "", err
		}
		if err := n.Check(p.Bottle, p.Lot, p.Held, t.now); err != nil {
			return "", err
		}
		w := t.fill(n.When)
		_, err = t.ExecContext(ctx, `INSERT INTO gift (bottle, lot, act, to_whom, happened_ms, precision, spread_days, note, by, recorded_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			tag, p.Lot.ID, a.Key[:], n.To, w.At.UnixMilli(), w.Precision, w.SpreadDays, n.Note, a.By, t.now.UnixMilli())
		return string(tag), err
	})
	if err != nil {
		return BottlePage{}, err
	}
	return db.BottleByTag(ctx, tag)
}
