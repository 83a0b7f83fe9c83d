package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"cruet/internal/larder"
)

// Kitchen is what the maker set; a new kitchen has only a plain name.
func (db *DB) Kitchen(ctx context.Context) (larder.Kitchen, error) {
	return kitchenOf(ctx, db.read)
}

func kitchenOf(ctx context.Context, q querier) (larder.Kitchen, error) {
	k := larder.Kitchen{Name: "Kitchen"}
	var text string
	err := q.QueryRowContext(ctx, `SELECT value FROM setting WHERE name = 'kitchen'`).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return k, nil
	}
	if err == nil {
		err = json.Unmarshal([]byte(text), &k)
	}
	if err != nil {
		return k, fmt.Errorf("store: the kitchen's settings: %w", err)
	}
	return k, nil
}

// SetKitchen keeps the kitchen's settings.
func (db *DB) SetKitchen(ctx context.Context, k larder.Kitchen) error {
	if err := k.Check(); err != nil {
		return err
	}
	text, err := json.Marshal(k)
	if err == nil {
		_, err = db.write.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES ('kitchen', ?) ON CONFLICT DO UPDATE SET value = excluded.value`, string(text))
	}
	if err != nil {
		return StationFault(fmt.Errorf("store: the kitchen's settings: %w", err))
	}
	return nil
}

// ChangeKitchen changes the settings as they then stand, so that two phones which
// each set another part do not undo each other.
func (db *DB) ChangeKitchen(ctx context.Context, change func(*larder.Kitchen) error) error {
	return db.inTx(ctx, larder.Act{}, func(t *tx) error {
		k, err := kitchenOf(ctx, t)
		if err == nil {
			err = change(&k)
		}
		if err == nil {
			err = k.Check()
		}
		if err != nil {
			return err
		}
		text, err := json.Marshal(k)
		if err == nil {
			_, err = t.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES ('kitchen', ?) ON CONFLICT DO UPDATE SET value = excluded.value`, string(text))
		}
		if err != nil {
			return fmt.Errorf("store: the kitchen's settings: %w", err)
		}
		return nil
	})
}

func (db *DB) location(ctx context.Context) (*time.Location, error) {
	k, err := db.Kitchen(ctx)
	return k.Location(), err
}
