package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"cruet/internal/larder"
)

// Plans are what the maker changed of each kind's plan; a kind without changes
// is missing.
func (db *DB) Plans(ctx context.Context) (map[larder.Base]larder.Plan, error) {
	return plansOf(ctx, db.read)
}

func plansOf(ctx context.Context, q querier) (map[larder.Base]larder.Plan, error) {
	rows, err := q.QueryContext(ctx, `SELECT kind, step, first_day, last_day, every_days, off FROM plan`)
	if err != nil {
		return nil, fmt.Errorf("store: the plans: %w", err)
	}
	defer rows.Close()
	out := map[larder.Base]larder.Plan{}
	for rows.Next() {
		var kind larder.Base
		var id larder.StepID
		var d larder.Days
		if err := rows.Scan(&kind, &id, &d.First, &d.Last, &d.Every, &d.Off); err != nil {
			return nil, fmt.Errorf("store: the plans: %w", err)
		}
		if out[kind] == nil {
			out[kind] = larder.Plan{}
		}
		out[kind][id] = d
	}
	return out, rows.Err()
}

// SetPlan replaces what is changed of one kind's plan; steps that are missing,
// or as usual, go by the usual days again. Doing it twice is doing it once.
func (db *DB) SetPlan(ctx context.Context, kind larder.Base, p larder.Plan) error {
	if err := p.Check(kind); err != nil {
		return err
	}
	err := db.inTx(ctx, larder.Act{}, func(t *tx) error {
		if _, err := t.ExecContext(ctx, `DELETE FROM plan WHERE kind = ?`, kind); err != nil {
			return err
		}
		for id, d := range p.Changes(kind) {
			if _, err := t.ExecContext(ctx, `INSERT INTO plan (kind, step, first_day, last_day, every_days, off) VALUES (?, ?, ?, ?, ?, ?)`,
				kind, id, d.First, d.Last, d.Every, d.Off); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("store: the plan: %w", err)
	}
	return nil
}

// Today is what needs a hand, on now's day in now's time zone.
func (db *DB) Today(ctx context.Context, now time.Time) (larder.Today, error) {
	var t larder.Today
	err := db.snapshot(ctx, func(q querier) error {
		jars, err := standing(ctx, q)
		if err != nil {
			return err
		}
		k, err := kitchenOf(ctx, q)
		if err != nil {
			return err
		}
		plans, err := plansOf(ctx, q)
		if err != nil {
			return err
		}
		var bench larder.BenchState
		if bench.Calibration, err = newestBench(ctx, q, larder.KindCalibration, "", now); err != nil {
			return err
		}
		if bench.Base, err = newestBench(ctx, q, larder.KindBase, "", now); err != nil {
			return err
		}
		t = larder.TodayOf(jars, bench, k, plans[larder.KitchenTasks], now)
		return nil
	})
	return t, err
}

// Calendar is what a phone's calendar subscribes with. Token is the secret in its
// address, empty while there is no calendar; Space makes the kitchen's events
// unlike any other kitchen's.
type Calendar struct {
	Token string    `json:"token"`
	Space uuid.UUID `json:"space"`
}

// Calendar is the calendar in force.
func (db *DB) Calendar(ctx context.Context) (Calendar, error) {
	return calendarOf(ctx, db.read)
}

func calendarOf(ctx context.Context, q querier) (Calendar, error) {
	var c Calendar
	var text string
	err := q.QueryRowContext(ctx, `SELECT value FROM setting WHERE name = 'calendar'`).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return c, nil
	}
	if err == nil {
		err = json.Unmarshal([]byte(text), &c)
	}
	if err != nil {
		return c, fmt.Errorf("store: the calendar: %w", err)
	}
	return c, nil
}

// RenewCalendar gives the calendar a new secret address, so that the one before
// answers no more; open false takes the address away and makes none.
func (db *DB) RenewCalendar(ctx context.Context, a larder.Act, open bool) (Calendar, error) {
	_, _, err := db.act(ctx, a, "calendar", open, func(t *tx) (string, error) {
		c, err := calendarOf(ctx, t)
		if err != nil {
			return "", err
		}
		if c.Space == uuid.Nil {
			c.Space = uuid.New()
		}
		c.Token = ""
		if open {
			c.Token = rand.Text() // at least 128 random bits
		}
		text, err := json.Marshal(c)
		if err != nil {
			return "", err
		}
		_, err = t.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES ('calendar', ?) ON CONFLICT DO UPDATE SET value = excluded.value`, string(text))
		return "calendar", err
	})
	if err != nil {
		return Calendar{}, err
	}
	return db.Calendar(ctx)
}
