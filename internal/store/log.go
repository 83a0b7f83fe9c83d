package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"cruet/internal/larder"
)

// Saved is the answer to an entry.
type Saved struct {
	Entry    larder.Entry
	Before   larder.State // equal to After when replayed
	After    larder.State
	Replayed bool // the key was answered before; nothing changed
}

// Append adds an entry to a jar's log and keeps the jar's state, the lineage
// and the other side of a transfer in the same transaction.
func (db *DB) Append(ctx context.Context, a larder.Act, tag larder.Tag, n larder.NewEntry) (Saved, error) {
	var saved Saved
	_, replayed, err := db.act(ctx, a, "entry", struct {
		Tag  larder.Tag
		Kind larder.Kind
		N    larder.NewEntry
	}{tag, kindOf(n.Body), n}, func(t *tx) (string, error) {
		jar, err := t.jar(ctx, tag)
		if err != nil {
			return "", err
		}
		if n.Body, err = t.complete(ctx, n, jar); err != nil {
			return "", err
		}
		if err := n.Check(jar, t.now); err != nil {
			return "", err
		}
		if err := larder.CheckByHand(n.Body); err != nil {
			return "", err
		}
		// The giver first: that it is here and has so much is checked there.
		if err := t.give(ctx, jar.Tag, n); err != nil {
			return "", err
		}
		saved.Before = jar.State
		saved.Entry, saved.After, err = t.append(ctx, a.Key, jar, n)
		return a.Key.String(), err
	})
	if err != nil || !replayed {
		return saved, err
	}
	return db.replay(ctx, a.Key)
}

func kindOf(b larder.Body) larder.Kind {
	if b == nil {
		return ""
	}
	return b.Kind()
}

// complete fills in what the record knows better than the sender: the stage
// before, the calibration and the base's check then in force.
func (t *tx) complete(ctx context.Context, n larder.NewEntry, jar larder.Jar) (larder.Body, error) {
	return t.completeBy(ctx, n, jar, &benchMemo{})
}

func (t *tx) completeBy(ctx context.Context, n larder.NewEntry, jar larder.Jar, bench *benchMemo) (larder.Body, error) {
	when := t.fill(n.When)
	at, until := when.At, when.DayEnd() // a day alone stands at noon; what was checked on that day serves it
	switch b := n.Body.(type) {
	case larder.StageChange:
		b.From = jar.State.Stage
		return withFill(ctx, t, jar, b)
	case larder.Reading:
		if b.PH == nil {
			return b.Corrected(nil, at, 0), nil
		}
		k, calibration, err := bench.inForce(ctx, t, larder.KindCalibration, b.Instrument, until)
		return b.Corrected(calibration, at, k.CalibrationMaxAge()), err
	case larder.Titration:
		k, check, err := bench.inForce(ctx, t, larder.KindBase, b.BaseName, until)
		return b.WithBase(check, at, k.BaseMaxAgeDays), err
	}
	return n.Body, nil
}

// WithFill is the body with the volume that the jar's fill tells, where that may
// stand in for one that was not given; for checks before the act.
func (db *DB) WithFill(ctx context.Context, jar larder.Jar, body larder.Body) (larder.Body, error) {
	return withFill(ctx, db.read, jar, body)
}

func withFill(ctx context.Context, q querier, jar larder.Jar, body larder.Body) (larder.Body, error) {
	s, ok := body.(larder.StageChange)
	if !ok {
		return body, nil
	}
	batch, err := batchByID(ctx, q, jar.BatchID)
	return s.WithFill(batch, jar.State), err
}

func (db *DB) replay(ctx context.Context, key uuid.UUID) (Saved, error) {
	e, err := db.Entry(ctx, key)
	if err != nil {
		return Saved{}, err
	}
	jar, err := db.Jar(ctx, e.Jar)
	return Saved{Entry: e, Before: jar.State, After: jar.State, Replayed: true}, err
}

// append writes one checked entry, its edge and the jar's new state.
func (t *tx) append(ctx context.Context, id uuid.UUID, jar larder.Jar, n larder.NewEntry) (larder.Entry, larder.State, error) {
	e, after, err := t.write(ctx, t.entry(id, jar.Tag, n), jar.State)
	if err != nil {
		return e, jar.State, err
	}
	return e, after, setState(ctx, t, jar.Tag, after)
}

// entry is what is logged of a checked entry.
func (t *tx) entry(id uuid.UUID, jar larder.Tag, n larder.NewEntry) larder.Entry {
	return larder.Entry{
		ID: id, Act: t.act.Key, Jar: jar, When: t.fill(n.When), RecordedAt: t.now,
		By: t.act.By, Note: n.Note, Kind: n.Body.Kind(), Body: n.Body,
	}
}

// write writes an entry and its edge, and gives the state of its jar after it, which
// whoever calls must keep in the same transaction.
func (t *tx) write(ctx context.Context, e larder.Entry, before larder.State) (larder.Entry, larder.State, error) {
	body, err := json.Marshal(e.Body)
	if err != nil {
		return e, before, fmt.Errorf("writing the entry: %w", err)
	}
	res, err := t.ExecContext(ctx, `INSERT INTO entry (id, act, jar, happened_ms, precision, spread_days, recorded_ms, by, note, kind, body)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		e.ID[:], e.Act[:], e.Jar, e.When.At.UnixMilli(), e.When.Precision, e.When.SpreadDays,
		t.now.UnixMilli(), e.By, e.Note, e.Kind, string(body))
	if err != nil {
		return e, before, fmt.Errorf("writing the entry: %w", err)
	}
	if e.Seq, err = res.LastInsertId(); err != nil {
		return e, before, fmt.Errorf("writing the entry: %w", err)
	}
	if err := t.edge(ctx, e); err != nil {
		return e, before, err
	}
	after := before.Apply(e)
	return e, after, t.flow(ctx, e, before, after)
}

func (t *tx) edge(ctx context.Context, e larder.Entry) error {
	edge, ok := larder.EdgeOf(e)
	if !ok {
		return nil
	}
	_, err := t.ExecContext(ctx, `INSERT INTO edge (entry, what, from_jar, from_name, to_jar, to_lot, volume_ml, mother, happened_ms, early_ms, late_ms)
		VALUES (?, ?, nullif(?, ''), ?, nullif(?, ''), nullif(?, ''), ?, ?, ?, ?, ?)`,
		e.Seq, edge.What, edge.FromJar, edge.FromName, edge.ToJar, edge.ToLot, edge.VolumeML, edge.Mother, edge.When.At.UnixMilli(),
		edge.When.Earliest().UnixMilli(), edge.When.Latest().UnixMilli())
	if err != nil {
		return fmt.Errorf("writing the lineage: %w", err)
	}
	return nil
}

// setState is the one place that writes what is derived of a jar; checkStates
// compares it.
func setState(ctx context.Context, t execer, tag larder.Tag, s larder.State) error {
	text, err := json.Marshal(s)
	if err != nil {
		return fmt.Errorf("keeping the jar's state: %w", err)
	}
	// Mostly neither changes, and their indexes need not be written.
	res, err := t.ExecContext(ctx, `UPDATE jar SET state = ?1, listed = ?4 WHERE tag = ?5 AND live = ?2 AND hold = ?3`,
		string(text), s.Stage.Live(), s.Hold, s.ListedText(), tag)
	if err != nil {
		return fmt.Errorf("keeping the jar's state: %w", err)
	}
	if n, err := res.RowsAffected(); err != nil || n == 1 {
		return err
	}
	if _, err = t.ExecContext(ctx, `UPDATE jar SET state = ?1, live = ?2, hold = ?3, listed = ?4 WHERE tag = ?5`,
		string(text), s.Stage.Live(), s.Hold, s.ListedText(), tag); err != nil {
		return fmt.Errorf("keeping the jar's state: %w", err)
	}
	return nil
}

// give writes the other side of an entry that takes something from another jar.
func (t *tx) give(ctx context.Context, taker larder.Tag, taken larder.NewEntry) error {
	giver, _, _ := larder.Giver(taker, taken.Body)
	return t.giveAs(ctx, part(t.act.Key, string(giver)), taker, taken)
}

func (t *tx) giveAs(ctx context.Context, id uuid.UUID, taker larder.Tag, taken larder.NewEntry) error {
	giver, gave, ok := larder.Giver(taker, taken.Body)
	if !ok {
		return nil
	}
	field := "feed_jar"
	if taken.Body.Kind() == larder.KindStage {
		field = "starter_jar"
	}
	jar, err := t.jar(ctx, giver)
	if err != nil {
		var missing *larder.NotFoundError
		if errors.As(err, &missing) {
			return larder.Refuse(field, "There is no jar "+string(giver)+" to take from. Check its label.")
		}
		return err
	}
	n := larder.NewEntry{When: taken.When, Body: gave}
	if err := n.Check(jar, t.now); err != nil {
		var p larder.Problems
		if errors.As(err, &p) {
			if len(p) == 1 && p[0].Field == "volume_ml" {
				field = strings.TrimSuffix(field, "jar") + "volume_ml"
			}
			return larder.Refuse(field, "Jar "+string(giver)+" cannot give that: "+p.Error())
		}
		return err
	}
	_, _, err = t.append(ctx, id, jar, n)
	return err
}

// Strike takes back the entry with that id, and all entries that its act wrote
// into other jars, each by a later entry that says why. Both stay readable.
// Striking a bottling voids its lot, unless a bottle of it was given away. A line of
// a table of readings is struck alone: its act only logged many at once.
func (db *DB) Strike(ctx context.Context, a larder.Act, target uuid.UUID, reason string) (Saved, error) {
	var saved Saved
	_, replayed, err := db.act(ctx, a, "strike", struck{target, reason}, func(t *tx) (string, error) {
		e, err := oneEntry(t.QueryRowContext(ctx, entrySQL+` WHERE id = ?`, target[:]), target)
		if err != nil {
			return "", err
		}
		alone, err := isTable(ctx, t, e.Act)
		if err != nil {
			return "", err
		}
		if err := t.voidLot(ctx, e.Act); err != nil {
			return "", err
		}
		tags := []larder.Tag{e.Jar}
		if !alone {
			if tags, err = t.jarsOf(ctx, e); err != nil {
				return "", err
			}
		}
		saved, err = t.strike(ctx, tags, &striking{these: larder.StruckWith(e, alone), reason: reason})
		return a.Key.String(), err
	})
	if err != nil || !replayed {
		return saved, err
	}
	return db.replay(ctx, a.Key)
}

// TableStruck is the answer when a whole table of readings is taken back.
type TableStruck struct {
	Lines    int  `json:"lines"` // that were still standing
	Jars     int  `json:"jars"`
	Replayed bool `json:"replayed"` // the key was answered before; nothing changed
}

// StrikeTable takes back all readings of the table that the entry with that id was
// read from, but for those that were struck already.
func (db *DB) StrikeTable(ctx context.Context, a larder.Act, target uuid.UUID, reason string) (TableStruck, error) {
	var out TableStruck
	_, replayed, err := db.act(ctx, a, "strike table", struck{target, reason}, func(t *tx) (string, error) {
		out = TableStruck{}
		e, err := oneEntry(t.QueryRowContext(ctx, entrySQL+` WHERE id = ?`, target[:]), target)
		if err != nil {
			return "", err
		}
		switch table, err := isTable(ctx, t, e.Act); {
		case err != nil:
			return "", err
		case !table:
			return "", larder.Refuse("", "That entry was not read from a table. Strike it alone.")
		}
		tags, err := t.jarsOf(ctx, e)
		if err != nil {
			return "", err
		}
		s := &striking{these: larder.StruckWith(e, false), reason: reason}
		_, err = t.strike(ctx, tags, s)
		out.Lines, out.Jars = s.struck, len(tags)
		return a.Key.String(), err
	})
	out.Replayed = replayed
	return out, err
}

// struck is what a strike is told.
type struck struct {
	Target uuid.UUID
	Reason string
}

// tableKind is the kind of the act that logs a table of readings.
const tableKind = "readings"

// isTable tells whether an act logged a table of readings.
func isTable(ctx context.Context, q querier, act uuid.UUID) (bool, error) {
	var kind string
	if err := q.QueryRowContext(ctx, `SELECT kind FROM act WHERE key = ?`, act[:]).Scan(&kind); err != nil {
		return false, fmt.Errorf("looking up an act: %w", err)
	}
	return kind == tableKind, nil
}

const jarsOfActSQL = `SELECT DISTINCT jar FROM entry WHERE ` + ofActSQL + ` AND struck_by IS NULL ORDER BY jar <> ?2, jar`

// jarsOf lists the jars that an entry's act wrote into and where something of that
// still stands, the entry's own first.
func (t *tx) jarsOf(ctx context.Context, e larder.Entry) ([]larder.Tag, error) {
	rows, err := t.QueryContext(ctx, jarsOfActSQL, e.Act[:], e.Jar)
	if err != nil {
		return nil, fmt.Errorf("listing the jars of an act: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (tag larder.Tag, err error) { return tag, r.Scan(&tag) })
}

// striking is a strike under way.
type striking struct {
	these  func(larder.Entry) bool
	reason string
	struck int // entries, so far
}

// strike strikes in each of these jars; the answer is that of the first.
func (t *tx) strike(ctx context.Context, tags []larder.Tag, s *striking) (first Saved, err error) {
	if len(tags) == 0 {
		return first, larder.StruckAlready()
	}
	for i, tag := range tags {
		id := t.act.Key
		if i > 0 {
			id = part(id, string(tag))
		}
		one, err := t.strikeIn(ctx, tag, id, s)
		if err != nil {
			return first, err
		}
		if i == 0 {
			first = one
		}
	}
	return first, nil
}

// strikeIn strikes in one jar and derives its state afresh.
func (t *tx) strikeIn(ctx context.Context, tag larder.Tag, id uuid.UUID, s *striking) (Saved, error) {
	jar, err := t.jar(ctx, tag)
	if err != nil {
		return Saved{}, err
	}
	log, err := wholeLog(ctx, t, tag)
	if err != nil {
		return Saved{}, err
	}
	if err := larder.CheckStrike(s.these, log); err != nil {
		return Saved{}, err
	}
	var target uuid.UUID
	for i := range log {
		if s.these(log[i]) && !log[i].Struck() {
			log[i].StruckBy = id
			target = log[i].ID
			s.struck++
			if _, err := t.ExecContext(ctx, `UPDATE entry SET struck_by = ? WHERE seq = ?`, id[:], log[i].Seq); err != nil {
				return Saved{}, fmt.Errorf("striking: %w", err)
			}
			if _, err := t.ExecContext(ctx, `UPDATE edge SET struck = 1 WHERE entry = ?`, log[i].Seq); err != nil {
				return Saved{}, fmt.Errorf("striking the lineage: %w", err)
			}
		}
	}
	n := larder.NewEntry{Body: larder.Strike{Target: target, Reason: s.reason}}
	if err := n.Check(jar, t.now); err != nil {
		return Saved{}, err
	}
	if err := reflow(ctx, t, tag, log); err != nil {
		return Saved{}, err
	}
	before := jar.State
	jar.State = larder.Fold(log)
	e, after, err := t.append(ctx, id, jar, n)
	if err != nil {
		return Saved{}, err
	}
	for _, one := range log {
		if one.StruckBy == id && (one.Kind == larder.KindTitration || one.Kind == larder.KindReading) {
			if err := t.disinherit(ctx, tag, one.ID, s.reason, map[larder.Tag]bool{tag: true}); err != nil {
				return Saved{}, err
			}
		}
	}
	return Saved{Entry: e, Before: before, After: after}, nil
}

// disinherit tells the jars that were filled from this one, and those filled from
// them, that a measurement which they took along was struck. Each gets a strike
// in its own log, so that its log alone still gives its state.
func (t *tx) disinherit(ctx context.Context, from larder.Tag, measurement uuid.UUID, reason string, seen map[larder.Tag]bool) error {
	rows, err := t.QueryContext(ctx, `SELECT DISTINCT to_jar FROM edge WHERE from_jar = ? AND NOT struck AND what IN (?, ?, ?) ORDER BY to_jar`,
		from, larder.SplitOff, larder.Moved, larder.Blended)
	if err != nil {
		return fmt.Errorf("looking for what was filled from jar %s: %w", from, err)
	}
	children, err := collect(rows, func(r *sql.Rows) (tag larder.Tag, err error) { return tag, r.Scan(&tag) })
	if err != nil {
		return fmt.Errorf("looking for what was filled from jar %s: %w", from, err)
	}
	for _, tag := range children {
		if seen[tag] {
			continue
		}
		seen[tag] = true
		first, err := readEntry(t.QueryRowContext(ctx, entrySQL+` WHERE jar = ? AND kind = 'stage' ORDER BY seq LIMIT 1`, tag))
		if err != nil {
			return fmt.Errorf("reading how jar %s was filled: %w", tag, err)
		}
		born, ok := first.Body.(larder.StageChange)
		if !ok || born.Inherit == nil || !born.Inherit.RestsOn(measurement) {
			continue
		}
		jar, err := t.jar(ctx, tag)
		if err != nil {
			return err
		}
		n := larder.NewEntry{Body: larder.Strike{Target: measurement, Reason: reason}}
		if _, _, err := t.append(ctx, part(t.act.Key, "struck in "+string(tag)+" "+measurement.String()), jar, n); err != nil {
			return err
		}
		if err := t.disinherit(ctx, tag, measurement, reason, seen); err != nil {
			return err
		}
	}
	return nil
}

// voidLot marks the lot that this act bottled, if it bottled one.
func (t *tx) voidLot(ctx context.Context, act uuid.UUID) error {
	var id string
	err := t.QueryRowContext(ctx, `SELECT id FROM lot WHERE act = ? AND NOT void`, act[:]).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("looking for the lot: %w", err)
	}
	var given int
	if err := t.QueryRowContext(ctx, `SELECT count(*) FROM gift WHERE lot = ? AND back_act IS NULL`, id).Scan(&given); err != nil {
		return fmt.Errorf("counting gifts: %w", err)
	}
	if given > 0 {
		return larder.Refuse("", fmt.Sprintf("This bottling cannot be struck: %d of its bottles were given away, and their labels must stay true.", given))
	}
	if _, err := t.ExecContext(ctx, `UPDATE lot SET void = 1 WHERE id = ?`, id); err != nil {
		return fmt.Errorf("voiding the lot: %w", err)
	}
	return nil
}
