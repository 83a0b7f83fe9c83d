package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"cruet/internal/larder"
)

// Report is what Check found.
type Report struct {
	Version  int      `json:"version"`
	Batches  int      `json:"batches"`
	Jars     int      `json:"jars"`
	Entries  int      `json:"entries"`
	Lots     int      `json:"lots"`
	Bottles  int      `json:"bottles"`
	Gifts    int      `json:"gifts"`
	Photos   int      `json:"photos"`
	Findings []string `json:"findings"` // empty when all is well
}

// Check verifies the file's pages and references, and derives every jar's state,
// lineage and changes of volume afresh from its log, all as of one moment, and
// reads every photo. It changes nothing.
func (db *DB) Check(ctx context.Context) (Report, error) {
	r := Report{Findings: []string{}}
	err := db.snapshot(ctx, func(q querier) error {
		return errors.Join(count(ctx, q, &r), checkFile(ctx, q, &r), checkStates(ctx, q, &r), checkLineage(ctx, q, &r), db.checkPhotos(ctx, q, &r))
	})
	return r, err
}

func count(ctx context.Context, q querier, r *Report) error {
	for _, one := range []struct {
		into  *int
		query string
	}{
		{&r.Version, `PRAGMA user_version`}, {&r.Batches, `SELECT count(*) FROM batch`}, {&r.Jars, `SELECT count(*) FROM jar`},
		{&r.Entries, `SELECT count(*) FROM entry`}, {&r.Lots, `SELECT count(*) FROM lot`},
		{&r.Bottles, `SELECT count(*) FROM bottle`}, {&r.Gifts, `SELECT count(*) FROM gift WHERE back_act IS NULL`},
	} {
		if err := q.QueryRowContext(ctx, one.query).Scan(one.into); err != nil {
			return fmt.Errorf("store: check: %w", err)
		}
	}
	return nil
}

func checkFile(ctx context.Context, q querier, r *Report) error {
	rows, err := q.QueryContext(ctx, `PRAGMA integrity_check(20)`)
	if err != nil {
		return fmt.Errorf("store: check: %w", err)
	}
	lines, err := collect(rows, func(rows *sql.Rows) (s string, err error) { return s, rows.Scan(&s) })
	if err != nil {
		return fmt.Errorf("store: check: %w", err)
	}
	for _, line := range lines {
		if line != "ok" {
			r.Findings = append(r.Findings, "The database file is damaged: "+line)
		}
	}
	rows, err = q.QueryContext(ctx, `SELECT "table", count(*) FROM pragma_foreign_key_check GROUP BY 1`)
	if err != nil {
		return fmt.Errorf("store: check: %w", err)
	}
	lines, err = collect(rows, func(rows *sql.Rows) (string, error) {
		var table string
		var n int
		err := rows.Scan(&table, &n)
		return fmt.Sprintf("%d rows of %s refer to something that is not there.", n, table), err
	})
	r.Findings = append(r.Findings, lines...)
	return err
}

// checkStates compares what setState keeps of each jar with its whole log.
func checkStates(ctx context.Context, q querier, r *Report) error {
	rows, err := q.QueryContext(ctx, `SELECT tag, state, live, hold, listed FROM jar ORDER BY tag`)
	if err != nil {
		return fmt.Errorf("store: check: %w", err)
	}
	type kept struct {
		tag                 larder.Tag
		state, hold, listed string
		live                bool
	}
	jars, err := collect(rows, func(r *sql.Rows) (k kept, err error) {
		return k, r.Scan(&k.tag, &k.state, &k.live, &k.hold, &k.listed)
	})
	if err != nil {
		return fmt.Errorf("store: check: %w", err)
	}
	for _, have := range jars {
		log, err := wholeLog(ctx, q, have.tag)
		if err != nil {
			return fmt.Errorf("store: check: %w", err)
		}
		s := larder.Fold(log)
		text, err := json.Marshal(s)
		if err != nil {
			return fmt.Errorf("store: check: %w", err)
		}
		switch want := (kept{have.tag, string(text), s.Hold, s.ListedText(), s.Stage.Live()}); {
		case have.state != want.state:
			r.Findings = append(r.Findings, fmt.Sprintf("The state kept for jar %s differs from what its log adds up to.", have.tag))
		case have != want:
			r.Findings = append(r.Findings, fmt.Sprintf("What lists show of jar %s differs from what its log adds up to.", have.tag))
		}
	}
	return nil
}
