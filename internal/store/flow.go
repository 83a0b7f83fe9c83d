package store

import (
	"context"
	"database/sql"
	"fmt"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// flow keeps what an entry changed of its jar's volume.
func (t *tx) flow(ctx context.Context, e larder.Entry, before, after larder.State) error {
	var running chem.Millilitres
	if before.VolumeML != nil {
		running = *before.VolumeML
	} else if err := t.QueryRowContext(ctx, `SELECT total(ml) FROM flow WHERE jar = ?`, e.Jar).Scan(&running); err != nil {
		return fmt.Errorf("adding up a jar's volume: %w", err)
	}
	return writeFlows(ctx, t, e, larder.Flows(before, e, after, running))
}

func writeFlows(ctx context.Context, t execer, e larder.Entry, flows []larder.Flow) error {
	for _, f := range flows {
		_, err := t.ExecContext(ctx, `INSERT INTO flow (entry, kind, jar, happened_ms, ml) VALUES (?, ?, ?, ?, ?)`,
			e.Seq, f.Kind, e.Jar, e.When.At.UnixMilli(), f.ML)
		if err != nil {
			return fmt.Errorf("keeping a change of volume: %w", err)
		}
	}
	return nil
}

// reflow derives a jar's changes of volume afresh, after an entry was struck.
func reflow(ctx context.Context, t execer, jar larder.Tag, log []larder.Entry) error {
	if _, err := t.ExecContext(ctx, `DELETE FROM flow WHERE jar = ?`, jar); err != nil {
		return fmt.Errorf("adding up a jar's volume: %w", err)
	}
	for i, flows := range larder.FoldFlows(log) {
		if err := writeFlows(ctx, t, log[i], flows); err != nil {
			return err
		}
	}
	return nil
}

// deriveAll derives the state and the changes of volume of every jar afresh, for
// records that were written before all of it was kept.
func deriveAll(ctx context.Context, t *sql.Tx) error {
	rows, err := t.QueryContext(ctx, `SELECT tag FROM jar ORDER BY tag`)
	if err != nil {
		return fmt.Errorf("listing the jars: %w", err)
	}
	tags, err := collect(rows, func(r *sql.Rows) (tag larder.Tag, err error) { return tag, r.Scan(&tag) })
	if err != nil {
		return fmt.Errorf("listing the jars: %w", err)
	}
	for _, tag := range tags {
		log, err := wholeLog(ctx, t, tag)
		if err != nil {
			return err
		}
		if err := setState(ctx, t, tag, larder.Fold(log)); err != nil {
			return err
		}
		if err := reflow(ctx, t, tag, log); err != nil {
			return err
		}
	}
	return nil
}

// listAll keeps for lists what each jar's state says, for records whose states are
// as they would be derived today.
func listAll(ctx context.Context, t *sql.Tx) error {
	rows, err := t.QueryContext(ctx, jarSQL)
	if err != nil {
		return fmt.Errorf("listing the jars: %w", err)
	}
	jars, err := collect(rows, func(r *sql.Rows) (larder.Jar, error) { return readJar(r) })
	if err != nil {
		return fmt.Errorf("listing the jars: %w", err)
	}
	for _, j := range jars {
		if err := setState(ctx, t, j.Tag, j.State); err != nil {
			return err
		}
	}
	return nil
}

func wholeLog(ctx context.Context, q querier, tag larder.Tag) ([]larder.Entry, error) {
	rows, err := q.QueryContext(ctx, entrySQL+` WHERE jar = ? ORDER BY seq`, tag)
	if err != nil {
		return nil, fmt.Errorf("reading the log: %w", err)
	}
	return collect(rows, scanEntry)
}
