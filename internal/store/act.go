package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"cruet/internal/larder"
)

// tx is one act's transaction, with one clock reading for all that it writes.
type tx struct {
	turn
	now time.Time
	act larder.Act
}

// act runs do in one transaction under the act's key and remembers ref, the
// name of what it made. A key that was answered before runs nothing and gives
// the same ref and replayed; the same key with another input is a
// larder.ConflictError. Any error leaves the records as they were.
func (db *DB) act(ctx context.Context, a larder.Act, kind string, input any, do func(*tx) (ref string, err error)) (ref string, replayed bool, err error) {
	if err := a.Check(); err != nil {
		return "", false, err
	}
	text, err := json.Marshal(input)
	if err != nil {
		return "", false, fmt.Errorf("store: %s: %w", kind, err)
	}
	print := sha256.Sum256(append([]byte(kind+"\n"), text...))
	ref = a.Key.String()
	err = db.transact(ctx, a, func(t *tx) error {
		// The act comes before what refers to it; most acts make what bears their key.
		res, err := t.ExecContext(ctx, `INSERT INTO act (key, kind, fingerprint, ref, by, recorded_ms) VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
			a.Key[:], kind, print[:], ref, a.By, t.now.UnixMilli())
		if err != nil {
			return fmt.Errorf("keeping the key: %w", err)
		}
		if n, err := res.RowsAffected(); err != nil {
			return fmt.Errorf("keeping the key: %w", err)
		} else if n == 0 {
			replayed = true
			ref, err = t.answered(ctx, print[:])
			return err
		}
		made, err := do(t)
		if err != nil || made == ref {
			return err
		}
		ref = made
		_, err = t.ExecContext(ctx, `UPDATE act SET ref = ? WHERE key = ?`, ref, a.Key[:])
		return err
	})
	if err != nil {
		return "", false, wrap(kind, err)
	}
	return ref, replayed, nil
}

// answeredBefore tells whether an act with that key is on disk.
func (db *DB) answeredBefore(ctx context.Context, key uuid.UUID) (bool, error) {
	var known bool
	err := db.read.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM act WHERE key = ?)`, key[:]).Scan(&known)
	if err != nil {
		err = fmt.Errorf("store: looking up the key: %w", err)
	}
	return known, err
}

// answered is what the act made when it was answered before.
func (t *tx) answered(ctx context.Context, print []byte) (ref string, err error) {
	var before []byte
	if err := t.QueryRowContext(ctx, `SELECT fingerprint, ref FROM act WHERE key = ?`, t.act.Key[:]).Scan(&before, &ref); err != nil {
		return "", fmt.Errorf("looking up the key: %w", err)
	}
	if !bytes.Equal(before, print) {
		return "", &larder.ConflictError{Key: t.act.Key.String()}
	}
	return ref, nil
}

// inTx is a transaction that has no key, since doing it twice is doing it once.
func (db *DB) inTx(ctx context.Context, a larder.Act, do func(*tx) error) error {
	return StationFault(db.transact(ctx, a, do))
}

func (db *DB) transact(ctx context.Context, a larder.Act, do func(*tx) error) error {
	return db.writer.do(ctx, func(t turn) error {
		return do(&tx{turn: t, now: db.clock(), act: a})
	})
}

// wrap leaves what a person can act on as it is and names the act on the rest.
func wrap(kind string, err error) error {
	var problems larder.Problems
	var missing *larder.NotFoundError
	var conflict *larder.ConflictError
	if errors.As(err, &problems) || errors.As(err, &missing) || errors.As(err, &conflict) {
		return err
	}
	return StationFault(fmt.Errorf("store: %s: %w", kind, err))
}

// fill makes the zero When the transaction's time.
func (t *tx) fill(w larder.When) larder.When {
	if w.IsZero() {
		return larder.ExactAt(t.now)
	}
	w.At = w.At.UTC().Truncate(time.Millisecond)
	return w
}

// part is the id of a further entry of the same act.
func part(key uuid.UUID, what string) uuid.UUID {
	return uuid.NewSHA1(key, []byte(what))
}

func when(ms int64, precision string, spread int) larder.When {
	return larder.When{At: time.UnixMilli(ms).UTC(), Precision: larder.Precision(precision), SpreadDays: spread}
}
