package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cruet/internal/larder"
)

// printAgain is how soon the same label made once more is the same print: a
// phone that shows a PDF asks for it several times.
const printAgain = 10 * time.Minute

// RecordPrints remembers that labels were made. Those made just before, on the
// same paper for the same address, are not remembered twice.
func (db *DB) RecordPrints(ctx context.Context, by string, prints []larder.Print) error {
	return db.inTx(ctx, larder.Act{By: by}, func(t *tx) error {
		since := t.now.Add(-printAgain).UnixMilli()
		add, err := t.PrepareContext(ctx, `INSERT INTO print (tag, address, stock, layout, printed_ms, by)
			SELECT ?1, ?2, ?3, ?4, ?5, ?6 WHERE NOT EXISTS
			(SELECT 1 FROM print WHERE tag = ?1 AND address = ?2 AND stock = ?3 AND layout = ?4 AND printed_ms > ?7)`)
		if err != nil {
			return fmt.Errorf("store: prints: %w", err)
		}
		defer add.Close()
		for _, p := range prints {
			if _, err := add.ExecContext(ctx, p.Tag, p.Address, p.Stock, p.Layout, t.now.UnixMilli(), by, since); err != nil {
				return fmt.Errorf("store: the print of %s: %w", p.Tag, err)
			}
		}
		return nil
	})
}

// LastPrints gives the newest print of each of the tags; those never printed
// are not in it.
func (db *DB) LastPrints(ctx context.Context, tags []larder.Tag) (map[larder.Tag]larder.Print, error) {
	rows, err := db.read.QueryContext(ctx, `SELECT p.tag, p.address, p.stock, p.layout, p.printed_ms, p.by
		FROM json_each(?) wanted JOIN print p ON p.seq = (SELECT max(seq) FROM print WHERE tag = wanted.value)`, jsonList(tags...))
	if err != nil {
		return nil, fmt.Errorf("store: prints: %w", err)
	}
	all, err := collect(rows, scanPrint)
	if err != nil {
		return nil, err
	}
	out := make(map[larder.Tag]larder.Print, len(all))
	for _, p := range all {
		out[p.Tag] = p
	}
	return out, nil
}

// Prints lists the newest prints, at most limit.
func (db *DB) Prints(ctx context.Context, limit int) ([]larder.Print, error) {
	rows, err := db.read.QueryContext(ctx, `SELECT tag, address, stock, layout, printed_ms, by FROM print ORDER BY seq DESC LIMIT ?`, limit)
	if err != nil {
		return nil, fmt.Errorf("store: prints: %w", err)
	}
	return collect(rows, scanPrint)
}

// newestPrints bounds how far back LastStock looks.
const newestPrints = 1000

// LastStock is the id of the label paper on which labels of this kind were printed
// last, empty when none was among the newest prints.
func (db *DB) LastStock(ctx context.Context, layout string) (string, error) {
	rows, err := db.read.QueryContext(ctx, `SELECT stock, layout FROM print ORDER BY seq DESC LIMIT ?`, newestPrints)
	if err != nil {
		return "", fmt.Errorf("store: the last paper: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var stock, as string
		if err := rows.Scan(&stock, &as); err != nil {
			return "", err
		}
		if larder.PaperKind(as) == larder.PaperKind(layout) {
			return stock, nil
		}
	}
	return "", rows.Err()
}

// WornPrints gives the newest label of each jar on the shelf and of each spare
// tag that is not worn yet: what a camera may still be pointed at. A shelf sheet
// is not worn, and jars without a label are left out.
func (db *DB) WornPrints(ctx context.Context) ([]larder.Print, error) {
	rows, err := db.read.QueryContext(ctx, `SELECT p.tag, p.address, p.stock, p.layout, p.printed_ms, p.by
		FROM (SELECT tag FROM jar WHERE live = 1 UNION ALL SELECT tag FROM tag WHERE kind = 'spare') worn
		JOIN print p ON p.seq = (SELECT max(seq) FROM print WHERE tag = worn.tag AND layout <> 'shelf') ORDER BY p.address, p.tag`)
	if err != nil {
		return nil, fmt.Errorf("store: labels worn: %w", err)
	}
	return collect(rows, scanPrint)
}

func scanPrint(r *sql.Rows) (p larder.Print, err error) {
	var at int64
	err = r.Scan(&p.Tag, &p.Address, &p.Stock, &p.Layout, &at, &p.By)
	p.At = time.UnixMilli(at)
	return p, err
}

// Printers lists the printers whose alignment is known, by name.
func (db *DB) Printers(ctx context.Context) ([]larder.Printer, error) {
	return readPrinters(ctx, db.read)
}

// Printer finds a printer's alignment by name, whatever its letters' case. One
// that was never aligned is true to size.
func (db *DB) Printer(ctx context.Context, name string) (p larder.Printer, known bool, err error) {
	all, err := db.Printers(ctx)
	for _, p := range all {
		if strings.EqualFold(p.Name, name) {
			return p, true, err
		}
	}
	return larder.Printer{Name: name, Scale: 1}, false, err
}

func readPrinters(ctx context.Context, q querier) ([]larder.Printer, error) {
	var text string
	err := q.QueryRowContext(ctx, `SELECT value FROM setting WHERE name = 'printers'`).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	var all []larder.Printer
	if err == nil {
		err = json.Unmarshal([]byte(text), &all)
	}
	if err != nil {
		return nil, fmt.Errorf("store: the printers: %w", err)
	}
	return all, nil
}

// SetPrinter keeps a printer's alignment in the place of an earlier one.
func (db *DB) SetPrinter(ctx context.Context, p larder.Printer) error {
	p.Name = strings.TrimSpace(p.Name)
	if err := p.Check(); err != nil {
		return err
	}
	return db.changePrinters(ctx, func(all []larder.Printer) ([]larder.Printer, error) {
		all = slices.DeleteFunc(all, func(old larder.Printer) bool { return strings.EqualFold(old.Name, p.Name) })
		all = append(all, p)
		slices.SortFunc(all, func(a, b larder.Printer) int { return strings.Compare(a.Name, b.Name) })
		return all, nil
	})
}

// ForgetPrinter drops a printer's alignment.
func (db *DB) ForgetPrinter(ctx context.Context, name string) error {
	return db.changePrinters(ctx, func(all []larder.Printer) ([]larder.Printer, error) {
		n := len(all)
		all = slices.DeleteFunc(all, func(old larder.Printer) bool { return strings.EqualFold(old.Name, name) })
		if len(all) == n {
			return nil, larder.Refuse("printer", "No printer "+name+" was aligned here; there is nothing to forget.")
		}
		return all, nil
	})
}

func (db *DB) changePrinters(ctx context.Context, change func([]larder.Printer) ([]larder.Printer, error)) error {
	return db.inTx(ctx, larder.Act{}, func(t *tx) error {
		all, err := readPrinters(ctx, t)
		if err != nil {
			return err
		}
		if all, err = change(all); err != nil {
			return err
		}
		text, err := json.Marshal(all)
		if err == nil {
			_, err = t.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES ('printers', ?) ON CONFLICT DO UPDATE SET value = excluded.value`, string(text))
		}
		if err != nil {
			return fmt.Errorf("store: the printers: %w", err)
		}
		return nil
	})
}
