package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"cruet/internal/larder"
)

// Bench adds a line to the bench book: a calibration, a check of the base, or a
// control sample.
func (db *DB) Bench(ctx context.Context, a larder.Act, n larder.NewBench) (larder.BenchEntry, error) {
	var kind larder.BenchKind
	if n.Body != nil {
		kind = n.Body.BenchKind()
	}
	_, _, err := db.act(ctx, a, "bench", struct {
		Kind larder.BenchKind
		N    larder.NewBench
	}{kind, n}, func(t *tx) (string, error) {
		if err := n.Check(t.now); err != nil {
			return "", err
		}
		body, err := json.Marshal(n.Body)
		if err != nil {
			return "", fmt.Errorf("writing the bench book: %w", err)
		}
		w := t.fill(n.When)
		_, err = t.ExecContext(ctx, `INSERT INTO bench (id, kind, name, happened_ms, precision, spread_days, recorded_ms, by, note, body)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			a.Key[:], kind, n.Body.Name(), w.At.UnixMilli(), w.Precision, w.SpreadDays, t.now.UnixMilli(), a.By, n.Note, string(body))
		return a.Key.String(), err
	})
	if err != nil {
		return larder.BenchEntry{}, err
	}
	return db.BenchEntry(ctx, a.Key)
}

// StrikeBench takes back a line of the bench book; readings that it was attached
// to keep what they were recorded with.
func (db *DB) StrikeBench(ctx context.Context, a larder.Act, id uuid.UUID) (larder.BenchEntry, error) {
	_, _, err := db.act(ctx, a, "strike bench", id, func(t *tx) (string, error) {
		res, err := t.ExecContext(ctx, `UPDATE bench SET struck_by = ? WHERE id = ? AND struck_by IS NULL`, a.Key[:], id[:])
		if err != nil {
			return "", fmt.Errorf("striking: %w", err)
		}
		if n, err := res.RowsAffected(); err != nil || n == 0 {
			return "", errors.Join(err, &larder.NotFoundError{What: "standing bench entry", ID: id.String()})
		}
		return id.String(), nil
	})
	if err != nil {
		return larder.BenchEntry{}, err
	}
	return db.BenchEntry(ctx, id)
}

const benchSQL = `SELECT seq, id, kind, happened_ms, precision, spread_days, recorded_ms, by, note, body, struck_by IS NOT NULL FROM bench`

func readBench(row scanner) (larder.BenchEntry, error) {
	var e larder.BenchEntry
	var id []byte
	var happened, recorded int64
	var precision, body string
	var spread int
	if err := row.Scan(&e.Seq, &id, &e.Kind, &happened, &precision, &spread, &recorded, &e.By, &e.Note, &body, &e.Struck); err != nil {
		return e, err
	}
	copy(e.ID[:], id)
	e.When, e.RecordedAt = when(happened, precision, spread), when(recorded, "", 0).At
	var err error
	e.Body, err = larder.DecodeBench(e.Kind, []byte(body))
	return e, err
}

// BenchEntry is the line with that id, or a larder.NotFoundError.
func (db *DB) BenchEntry(ctx context.Context, id uuid.UUID) (larder.BenchEntry, error) {
	return benchEntry(ctx, db.read, id)
}

func benchEntry(ctx context.Context, q querier, id uuid.UUID) (larder.BenchEntry, error) {
	e, err := readBench(q.QueryRowContext(ctx, benchSQL+` WHERE id = ?`, id[:]))
	if errors.Is(err, sql.ErrNoRows) {
		return e, &larder.NotFoundError{What: "bench entry", ID: id.String()}
	}
	return e, err
}

// BenchBook lists the newest lines of one kind, struck ones included; name
// empty: of every meter or base.
func (db *DB) BenchBook(ctx context.Context, kind larder.BenchKind, name string, limit int) ([]larder.BenchEntry, error) {
	rows, err := db.read.QueryContext(ctx, benchSQL+` WHERE kind = ? AND (? = '' OR name = ?) ORDER BY happened_ms DESC, seq DESC LIMIT ?`, kind, name, name, limit)
	if err != nil {
		return nil, fmt.Errorf("store: the bench book: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (larder.BenchEntry, error) { return readBench(r) })
}

// InForce is the newest standing line of that kind at an instant, nil when
// there is none; name empty: of whichever meter or base came last.
func (db *DB) InForce(ctx context.Context, kind larder.BenchKind, name string, at time.Time) (*larder.BenchEntry, error) {
	return newestBench(ctx, db.read, kind, name, at)
}

func newestBench(ctx context.Context, q querier, kind larder.BenchKind, name string, at time.Time) (*larder.BenchEntry, error) {
	// A line dated with its day alone stands at noon, yet holds from the morning.
	e, err := readBench(q.QueryRowContext(ctx, benchSQL+` WHERE kind = ? AND (? = '' OR name = ?) AND struck_by IS NULL
		AND happened_ms - iif(precision = 'exact', 0, 43200000) <= ?
		ORDER BY happened_ms DESC, seq DESC LIMIT 1`, kind, name, name, at.UnixMilli()))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("looking up the bench book: %w", err)
	}
	return &e, nil
}

// benchMemo answers at once what was asked last, for an act of many lines: those of a
// maker's table that follow each other are mostly of one day and one meter. It serves
// one act, which changes neither the bench book nor the kitchen's settings.
type benchMemo struct {
	kitchen *larder.Kitchen
	kind    larder.BenchKind
	name    string
	at      time.Time // zero: nothing was asked yet
	line    *larder.BenchEntry
}

// inForce is newestBench, with the kitchen's settings, which say how long it holds;
// they are read only for a line that there is.
func (m *benchMemo) inForce(ctx context.Context, q querier, kind larder.BenchKind, name string, at time.Time) (k larder.Kitchen, line *larder.BenchEntry, err error) {
	if kind != m.kind || name != m.name || !at.Equal(m.at) {
		if line, err = newestBench(ctx, q, kind, name, at); err != nil {
			return k, nil, err
		}
		m.kind, m.name, m.at, m.line = kind, name, at, line
	}
	if m.line == nil {
		return k, nil, nil
	}
	if m.kitchen == nil {
		if k, err = kitchenOf(ctx, q); err != nil {
			return k, nil, err
		}
		m.kitchen = &k
	}
	return *m.kitchen, m.line, nil
}
