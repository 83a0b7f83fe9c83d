package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"cruet/internal/larder"
	"cruet/internal/sheet"
)

// ExportTables lists the kinds of record that an export has, each after those
// that it refers to.
func ExportTables() []sheet.Table {
	out := make([]sheet.Table, len(exportTables))
	for i, t := range exportTables {
		out[i] = sheet.Table{Name: t.name, Means: t.means}
		for _, c := range t.columns {
			out[i].Columns = append(out[i].Columns, sheet.Column{Name: c.name, Means: c.means})
			out[i].Bare = append(out[i].Bare, c.kind == asWhole || c.kind == asNumber || c.kind == asJSON)
		}
	}
	return out
}

// ExportCount is how many records an export would have.
func (db *DB) ExportCount(ctx context.Context) (n int64, err error) {
	for _, t := range exportTables {
		var one int64
		if err := db.read.QueryRowContext(ctx, `SELECT count(*) FROM `+t.from()).Scan(&one); err != nil {
			return 0, fmt.Errorf("store: export: %w", err)
		}
		n += one
	}
	return n, nil
}

// Export hands out every record as of one moment, table by table, in memory for
// one record only. each must not keep the values.
func (db *DB) Export(ctx context.Context, each func(sheet.Row) error) error {
	return db.snapshot(ctx, func(q querier) error {
		for _, t := range exportTables {
			if err := exportTo(ctx, q, t, each); err != nil {
				return fmt.Errorf("store: export: %s: %w", t.name, err)
			}
		}
		return nil
	})
}

func exportTo(ctx context.Context, q querier, t exportTable, each func(sheet.Row) error) error {
	rows, err := q.QueryContext(ctx, `SELECT `+t.list()+` FROM `+t.from()+` ORDER BY `+t.order)
	if err != nil {
		return err
	}
	defer rows.Close()
	values, into := make([]any, len(t.columns)), make([]any, len(t.columns))
	for i := range values {
		into[i] = &values[i]
	}
	row := sheet.Row{Table: t.name, Values: make([]string, len(t.columns))}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		for i, c := range t.columns {
			if row.Values[i], err = c.text(values[i]); err != nil {
				return err
			}
		}
		if err := each(row); err != nil {
			return err
		}
	}
	return rows.Err()
}

// list names the table's columns for SQL.
func (t exportTable) list() string {
	names := make([]string, len(t.columns))
	for i, c := range t.columns {
		names[i] = `"` + c.column + `"`
	}
	return strings.Join(names, ", ")
}

// NotNewError says that an import needs a station without records.
type NotNewError struct{ Dir string }

func (e *NotNewError) Error() string {
	return "There are records in " + e.Dir + " already. An import needs a new folder; nothing was changed."
}

// Import writes what next hands out, until it answers false, into a station that
// has no records yet, derives the rest and checks that nothing is missing. It is
// all written or nothing. A record that does not fit is a larder.Problems whose
// message begins with what where says of it.
func (db *DB) Import(ctx context.Context, next func() (row sheet.Row, where string, more bool, err error)) (n int64, err error) {
	tx, err := db.write.BeginTx(ctx, nil)
	if err != nil {
		return 0, fmt.Errorf("store: import: %w", err)
	}
	defer tx.Rollback()
	var used bool
	if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM act) OR EXISTS (SELECT 1 FROM batch) OR EXISTS (SELECT 1 FROM tag) OR EXISTS (SELECT 1 FROM bench)`).Scan(&used); err != nil {
		return 0, fmt.Errorf("store: import: %w", err)
	}
	if used {
		return 0, &NotNewError{db.dir}
	}
	if _, err := tx.ExecContext(ctx, `PRAGMA defer_foreign_keys = ON; DELETE FROM setting WHERE name NOT IN (`+guardList+`)`); err != nil {
		return 0, fmt.Errorf("store: import: %w", err)
	}
	w := importer{tx: tx, tables: map[string]*importTable{}}
	defer w.close()
	for {
		row, where, more, err := next()
		if err != nil {
			return 0, err
		}
		if !more {
			break
		}
		if err := w.write(ctx, row); err != nil {
			if ctx.Err() != nil {
				return 0, ctx.Err()
			}
			return 0, larder.Refuse("", where+": "+strings.TrimSuffix(err.Error(), ".")+". Nothing was imported.")
		}
		n++
	}
	if err := w.derive(ctx); err != nil {
		return 0, larder.Refuse("", "These records do not add up: "+strings.TrimSuffix(err.Error(), ".")+". Nothing was imported.")
	}
	if err := tx.Commit(); err != nil {
		return 0, fmt.Errorf("store: import: %w", err)
	}
	return n, nil
}

type importTable struct {
	exportTable
	insert *sql.Stmt
	args   []any
}

type importer struct {
	tx     *sql.Tx
	tables map[string]*importTable
}

func (w *importer) close() {
	for _, t := range w.tables {
		t.insert.Close()
	}
}

// begun are what stands in the derived columns until they are derived.
var begun = map[string][2]string{"jar": {`, live, state`, `, 1, '{}'`}}

func (w *importer) table(ctx context.Context, name string) (*importTable, error) {
	if t, ok := w.tables[name]; ok {
		return t, nil
	}
	for _, t := range exportTables {
		if t.name != name {
			continue
		}
		query := `INSERT INTO ` + name + ` (` + t.list() + begun[name][0] + `) VALUES (?` + strings.Repeat(`, ?`, len(t.columns)-1) + begun[name][1] + `)`
		stmt, err := w.tx.PrepareContext(ctx, query)
		if err != nil {
			return nil, err
		}
		w.tables[name] = &importTable{t, stmt, make([]any, len(t.columns))}
		return w.tables[name], nil
	}
	return nil, fmt.Errorf("there is no record %q", shortened(name))
}

func (w *importer) write(ctx context.Context, row sheet.Row) error {
	t, err := w.table(ctx, row.Table)
	if err != nil {
		return err
	}
	if len(row.Values) != len(t.columns) {
		return fmt.Errorf("a %s has %d values, not %d", t.name, len(t.columns), len(row.Values))
	}
	if t.name == "setting" && slices.Contains(guardSettings, row.Values[0]) {
		return fmt.Errorf("%q is the station's own: set it there", row.Values[0])
	}
	for i, c := range t.columns {
		if t.args[i], err = c.value(row.Values[i]); err != nil {
			return err
		}
	}
	if _, err := t.insert.ExecContext(ctx, t.args...); err != nil {
		return fmt.Errorf("this %s does not fit: it is there twice, or a value is none that may be", t.name)
	}
	return nil
}

// derive makes afresh what follows from the records.
func (w *importer) derive(ctx context.Context) error {
	var table string
	err := w.tx.QueryRowContext(ctx, `SELECT "table" FROM pragma_foreign_key_check LIMIT 1`).Scan(&table)
	if err == nil {
		return fmt.Errorf("a record of %s refers to one that is not there", table)
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	if _, err := w.tx.ExecContext(ctx, `INSERT OR IGNORE INTO recipe (name, batch_id)
		SELECT json_extract(line.value, '$.name'), batch.id FROM batch, json_each(batch.ingredients) line`); err != nil {
		return err
	}
	t := &tx{turn: turn{w.tx}}
	if err := t.drawEdges(ctx); err != nil {
		return err
	}
	if err := deriveAll(ctx, w.tx); err != nil {
		return err
	}
	rows, err := w.tx.QueryContext(ctx, `SELECT id, body FROM lot`)
	if err != nil {
		return err
	}
	lots, err := collect(rows, func(r *sql.Rows) (id string, err error) {
		var body string
		if err := r.Scan(&id, &body); err != nil {
			return id, err
		}
		var lot larder.Lot
		return id, json.Unmarshal([]byte(body), &lot)
	})
	if err != nil {
		return fmt.Errorf("a lot cannot be read: %w", err)
	}
	for _, id := range lots {
		log, err := lotLog(ctx, w.tx, id)
		if err != nil {
			return err
		}
		stands := ""
		if n := len(log); n > 0 && log[n-1].On {
			stands = log[n-1].Reason
		}
		if _, err := w.tx.ExecContext(ctx, `UPDATE lot SET hold = ? WHERE id = ?`, stands, id); err != nil {
			return err
		}
	}
	return nil
}

// drawEdges draws the lineage of all entries, and finds the photos among them.
func (t *tx) drawEdges(ctx context.Context) error {
	const page = 1000
	for last := int64(0); ; {
		rows, err := t.QueryContext(ctx, entrySQL+` WHERE seq > ? AND kind IN ('stage', 'transfer', 'photo') ORDER BY seq LIMIT ?`, last, page)
		if err != nil {
			return err
		}
		entries, err := collect(rows, scanEntry)
		if err != nil {
			return fmt.Errorf("an entry cannot be read: %w", err)
		}
		for _, e := range entries {
			last = e.Seq
			if err := errors.Join(t.edge(ctx, e), t.photo(ctx, e)); err != nil {
				return err
			}
			if !e.Struck() {
				continue
			}
			if _, err := t.ExecContext(ctx, `UPDATE edge SET struck = 1 WHERE entry = ?`, e.Seq); err != nil {
				return err
			}
		}
		if len(entries) < page {
			return nil
		}
	}
}
