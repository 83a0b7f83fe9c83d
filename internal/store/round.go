package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// BeginRound begins a measuring round of these jars, in their order. Only one
// goes on at a time, so that two phones share it.
func (db *DB) BeginRound(ctx context.Context, a larder.Act, tags []larder.Tag) (larder.Round, error) {
	ref, _, err := db.act(ctx, a, "round", tags, func(t *tx) (string, error) {
		if len(tags) == 0 {
			return "", larder.Refuse("jars", "No jar is to be measured. Choose other jars, or come back when a reading is due.")
		}
		var open int
		if err := t.QueryRowContext(ctx, `SELECT count(*) FROM round WHERE ended_ms = 0`).Scan(&open); err != nil {
			return "", err
		}
		if open > 0 {
			return "", larder.Refuse("", "A measuring round is going on already. Go on with it, or end it first.")
		}
		if _, err := t.ExecContext(ctx, `INSERT INTO round (id, started_ms, by) VALUES (?, ?, ?)`, a.Key[:], t.now.UnixMilli(), a.By); err != nil {
			return "", err
		}
		for i, tag := range tags {
			if _, err := t.jar(ctx, tag); err != nil {
				return "", err
			}
			if _, err := t.ExecContext(ctx, `INSERT INTO round_jar (round, place, jar) VALUES (?, ?, ?)`, a.Key[:], i, tag); err != nil {
				return "", err
			}
		}
		return a.Key.String(), nil
	})
	if err != nil {
		return larder.Round{}, err
	}
	return db.Round(ctx, uuid.MustParse(ref))
}

// OpenRound is the round that goes on, nil when none does.
func (db *DB) OpenRound(ctx context.Context) (*larder.Round, error) {
	var id []byte
	err := db.read.QueryRowContext(ctx, `SELECT id FROM round WHERE ended_ms = 0 ORDER BY started_ms DESC LIMIT 1`).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("store: the round: %w", err)
	}
	r, err := db.Round(ctx, uuid.UUID(id))
	return &r, err
}

// Rounds are the newest rounds that were ended.
func (db *DB) Rounds(ctx context.Context, limit int) ([]larder.Round, error) {
	rows, err := db.read.QueryContext(ctx, `SELECT id FROM round WHERE ended_ms > 0 ORDER BY started_ms DESC LIMIT ?`, limit)
	if err != nil {
		return nil, fmt.Errorf("store: the rounds: %w", err)
	}
	ids, err := collect(rows, func(r *sql.Rows) (uuid.UUID, error) {
		var id []byte
		err := r.Scan(&id)
		return uuid.UUID(id), err
	})
	if err != nil {
		return nil, err
	}
	out := make([]larder.Round, len(ids))
	for i, id := range ids {
		if out[i], err = db.Round(ctx, id); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Round is the round with that id, or a larder.NotFoundError.
func (db *DB) Round(ctx context.Context, id uuid.UUID) (larder.Round, error) {
	return roundOf(ctx, db.read, id)
}

func roundOf(ctx context.Context, q querier, id uuid.UUID) (larder.Round, error) {
	r := larder.Round{ID: id, Jars: []larder.RoundJar{}}
	var started, ended int64
	err := q.QueryRowContext(ctx, `SELECT started_ms, ended_ms, by FROM round WHERE id = ?`, id[:]).Scan(&started, &ended, &r.By)
	if errors.Is(err, sql.ErrNoRows) {
		return r, &larder.NotFoundError{What: "measuring round", ID: id.String()}
	}
	if err != nil {
		return r, fmt.Errorf("store: the round: %w", err)
	}
	r.StartedAt = when(started, "", 0).At
	if ended > 0 {
		r.EndedAt = new(when(ended, "", 0).At)
	}
	rows, err := q.QueryContext(ctx, `SELECT jar, act, skipped FROM round_jar WHERE round = ? ORDER BY place`, id[:])
	if err != nil {
		return r, fmt.Errorf("store: the round: %w", err)
	}
	jars, err := collect(rows, func(row *sql.Rows) (larder.RoundJar, error) {
		var j larder.RoundJar
		var act []byte
		err := row.Scan(&j.Jar, &act, &j.Skipped)
		copy(j.Act[:], act)
		return j, err
	})
	r.Jars = append(r.Jars, jars...)
	return r, err
}

// MeasureInRound writes what was measured of one jar into its log, all of it or
// nothing, and notes it in the round. A jar that was not of the round joins it;
// one that is measured again keeps both measurements in its log. A round that was
// ended meanwhile takes it too: nothing measured is lost.
func (db *DB) MeasureInRound(ctx context.Context, a larder.Act, round uuid.UUID, tag larder.Tag, m larder.Measuring) ([]larder.Entry, error) {
	_, _, err := db.act(ctx, a, "measure", struct {
		Round uuid.UUID
		Tag   larder.Tag
		M     larder.Measuring
	}{round, tag, m}, func(t *tx) (string, error) {
		jar, err := t.jar(ctx, tag)
		if err != nil {
			return "", err
		}
		if err := t.joinRound(ctx, round, tag); err != nil {
			return "", err
		}
		if err := m.Check(jar, t.now); err != nil {
			return "", err
		}
		for i, n := range m.Entries() {
			if n.Body, err = t.complete(ctx, n, jar); err != nil {
				return "", err
			}
			if err := n.Check(jar, t.now); err != nil {
				return "", err
			}
			own := t
			if i > 0 {
				if own, err = t.further(ctx, measuredToo(a.Key)); err != nil {
					return "", err
				}
			}
			if _, jar.State, err = own.append(ctx, own.act.Key, jar, n); err != nil {
				return "", err
			}
		}
		_, err = t.ExecContext(ctx, `UPDATE round_jar SET act = ?, skipped = 0 WHERE round = ? AND jar = ?`, a.Key[:], round[:], tag)
		return a.Key.String(), err
	})
	if err != nil {
		return nil, err
	}
	return db.measured(ctx, tag, a.Key)
}

// measuredToo is the act of a measuring's second entry.
func measuredToo(key uuid.UUID) uuid.UUID { return part(key, "measured too") }

// further is the same transaction under an act of its own, so that what it writes
// can be struck alone.
func (t *tx) further(ctx context.Context, key uuid.UUID) (*tx, error) {
	own := *t
	own.act.Key = key
	_, err := t.ExecContext(ctx, `INSERT INTO act (key, kind, fingerprint, ref, by, recorded_ms) VALUES (?, 'measure', x'', ?, ?, ?)`,
		key[:], key.String(), t.act.By, t.now.UnixMilli())
	return &own, err
}

// joinRound adds a jar to the end of a round that it is not of.
func (t *tx) joinRound(ctx context.Context, round uuid.UUID, tag larder.Tag) error {
	r, err := roundOf(ctx, t, round)
	if err != nil {
		return err
	}
	if _, of := r.Has(tag); of {
		return nil
	}
	_, err = t.ExecContext(ctx, `INSERT INTO round_jar (round, place, jar) VALUES (?, ?, ?)`, round[:], len(r.Jars), tag)
	return err
}

// SkipInRound leaves a jar out of the round.
func (db *DB) SkipInRound(ctx context.Context, a larder.Act, round uuid.UUID, tag larder.Tag) error {
	_, _, err := db.act(ctx, a, "skip", []any{round, tag}, func(t *tx) (string, error) {
		_, err := t.ExecContext(ctx, `UPDATE round_jar SET skipped = 1 WHERE round = ? AND jar = ? AND act IS NULL`, round[:], tag)
		return string(tag), err
	})
	return err
}

// EndRound closes a round; what is left of it stays unmeasured.
func (db *DB) EndRound(ctx context.Context, a larder.Act, round uuid.UUID) error {
	_, _, err := db.act(ctx, a, "end round", round, func(t *tx) (string, error) {
		if _, err := roundOf(ctx, t, round); err != nil {
			return "", err
		}
		_, err := t.ExecContext(ctx, `UPDATE round SET ended_ms = ? WHERE id = ? AND ended_ms = 0`, t.now.UnixMilli(), round[:])
		return round.String(), err
	})
	return err
}

const measuredSQL = entrySQL + ` WHERE (id IN (?1, ?2) OR (act IN (?1, ?2) AND act <> id)) AND +jar = ?3 ORDER BY seq`

// measured are the entries of one measuring.
func (db *DB) measured(ctx context.Context, tag larder.Tag, act uuid.UUID) ([]larder.Entry, error) {
	too := measuredToo(act)
	rows, err := db.read.QueryContext(ctx, measuredSQL, act[:], too[:], tag)
	if err != nil {
		return nil, fmt.Errorf("store: what was measured: %w", err)
	}
	return collect(rows, scanEntry)
}

// RoundLines is what became of each jar of a round, with what is out of line.
func (db *DB) RoundLines(ctx context.Context, r larder.Round) ([]larder.RoundLine, error) {
	out := make([]larder.RoundLine, len(r.Jars))
	for i, j := range r.Jars {
		line, err := db.roundLine(ctx, j)
		if err != nil {
			return nil, err
		}
		out[i] = line
	}
	return out, nil
}

func (db *DB) roundLine(ctx context.Context, j larder.RoundJar) (larder.RoundLine, error) {
	l := larder.RoundLine{RoundJar: j}
	var err error
	if l.Of.Jar, err = db.Jar(ctx, j.Jar); err != nil {
		return l, err
	}
	if l.Of.Batch, err = db.Batch(ctx, l.Of.Jar.BatchID); err != nil {
		return l, err
	}
	if j.Act == uuid.Nil {
		l.Before = l.Of.Jar.State
		return l, nil
	}
	if l.Entries, err = db.measured(ctx, j.Jar, j.Act); err != nil || len(l.Entries) == 0 {
		return l, err
	}
	log, err := db.Measurements(ctx, j.Jar)
	if err != nil {
		return l, err
	}
	first := l.Entries[0].Seq
	l.Before = larder.Fold(slices.DeleteFunc(log, func(e larder.Entry) bool { return e.Seq >= first }))
	return l.Flagged(), nil
}

// RoundBench is what the bench says of a round: the calibration in force and the
// control sample that was read in it.
func (db *DB) RoundBench(ctx context.Context, r larder.Round, now time.Time) (larder.RoundBench, error) {
	var b larder.RoundBench
	until := now
	if r.EndedAt != nil {
		until = *r.EndedAt
	}
	var err error
	if b.Calibration, err = db.InForce(ctx, larder.KindCalibration, "", until); err != nil {
		return b, err
	}
	control, err := db.InForce(ctx, larder.KindControl, "", until)
	if err != nil || control == nil || control.RecordedAt.Before(r.StartedAt) || control.When.Latest().Before(r.StartedAt) {
		return b, err
	}
	b.Control = control
	book, err := db.BenchBook(ctx, larder.KindControl, control.Body.Name(), controlReadings)
	var readings []chem.PH
	for _, e := range slices.Backward(book) {
		if s, ok := e.Body.(larder.ControlSample); ok && !e.Struck && e.Seq <= control.Seq {
			readings = append(readings, s.PH)
		}
	}
	b.Drift = larder.DriftOf(control.Body.Name(), readings)
	return b, err
}

// controlReadings is how many readings a meter's control chart looks back.
const controlReadings = 40
