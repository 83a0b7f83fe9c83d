package store

import (
	"cmp"
	"context"
	"database/sql"
	"database/sql/driver"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// querier is what reads: a pool or a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// snapshot reads all that do reads from one moment of the records, whatever is
// written meanwhile.
func (db *DB) snapshot(ctx context.Context, do func(querier) error) error {
	t, err := db.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return fmt.Errorf("store: beginning to read: %w", err)
	}
	defer t.Rollback()
	return do(t)
}

// unwatched is snapshot for many short statements. To watch a context takes goroutines
// for each of them, which costs more than a short one itself; so here it is asked between
// them, and one that has begun is not interrupted.
func (db *DB) unwatched(ctx context.Context, do func(querier) error) error {
	alone := context.WithoutCancel(ctx)
	c, err := db.read.Conn(ctx)
	if err != nil {
		return fmt.Errorf("store: beginning to read: %w", err)
	}
	defer c.Close()
	if _, err := c.ExecContext(alone, beginReading); err != nil {
		return fmt.Errorf("store: beginning to read: %w", err)
	}
	defer func() {
		if _, err := c.ExecContext(alone, "ROLLBACK"); err != nil {
			_ = c.Raw(func(any) error { return driver.ErrBadConn }) // nobody may get it that way
		}
	}()
	return do(unwatchedConn{c})
}

// unwatchedConn is a connection whose statements, once begun, run to their end.
type unwatchedConn struct{ *sql.Conn }

func (c unwatchedConn) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	return c.Conn.QueryContext(steady(ctx), query, args...)
}

func (c unwatchedConn) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	return c.Conn.QueryRowContext(steady(ctx), query, args...)
}

// scanner is a row, or rows at one row.
type scanner interface{ Scan(...any) error }

// collect reads all rows and closes them.
func collect[T any](rows *sql.Rows, scan func(*sql.Rows) (T, error)) ([]T, error) {
	defer rows.Close()
	var out []T
	for rows.Next() {
		one, err := scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, one)
	}
	return out, rows.Err()
}

// entrySQL hands out the act only where it is not the entry's own, and what there is
// beside the keys as one text: a value costs more to hand out than to find. The index
// of a jar's entries holds both, by these very words.
const entrySQL = `SELECT seq, id, nullif(act, id), jar, happened_ms, struck_by,
	kind || ' ' || precision || ' ' || spread_days || ' ' || recorded_ms || ' ' || length(CAST(by AS BLOB)) || ' ' || length(CAST(note AS BLOB)) || ' ' || by || note || body
	FROM entry`

// ofActSQL finds the entries that the act ?1 wrote: the one under its own key, and
// the further ones.
const ofActSQL = `(id = ?1 OR (act = ?1 AND act <> id))`

func scanEntry(rows *sql.Rows) (larder.Entry, error) { return readEntry(rows) }

func readEntry(row scanner) (larder.Entry, error) {
	var e larder.Entry
	var id, act, struck []byte
	var happened int64
	var text string
	if err := row.Scan(&e.Seq, &id, &act, &e.Jar, &happened, &struck, &text); err != nil {
		return e, err
	}
	copy(e.ID[:], id)
	e.Act = e.ID
	copy(e.Act[:], act)
	copy(e.StruckBy[:], struck)
	return e, readText(&e, happened, text)
}

// readText takes the text of entrySQL apart.
func readText(e *larder.Entry, happened int64, text string) error {
	word := func() (w string) {
		w, text, _ = strings.Cut(text, " ")
		return w
	}
	var failed error
	number := func() int64 {
		n, err := strconv.ParseInt(word(), 10, 64)
		failed = cmp.Or(failed, err)
		return n
	}
	e.Kind = larder.Kind(word())
	e.When = when(happened, word(), int(number()))
	e.RecordedAt = when(number(), "", 0).At
	by, note := int(number()), int(number())
	if failed != nil || by < 0 || note < 0 || by > len(text) || note > len(text)-by {
		return fmt.Errorf("entry %d cannot be read", e.Seq)
	}
	e.By, e.Note = text[:by], text[by:by+note]
	var err error
	e.Body, err = larder.DecodeBody(e.Kind, []byte(text[by+note:]))
	return err
}

func oneEntry(row *sql.Row, id uuid.UUID) (larder.Entry, error) {
	e, err := readEntry(row)
	if errors.Is(err, sql.ErrNoRows) {
		return e, &larder.NotFoundError{What: "entry", ID: id.String()}
	}
	return e, err
}

// Entry is the entry with that id, or a larder.NotFoundError.
func (db *DB) Entry(ctx context.Context, id uuid.UUID) (larder.Entry, error) {
	return oneEntry(db.read.QueryRowContext(ctx, entrySQL+` WHERE id = ?`, id[:]), id)
}

const entriesOfActSQL = entrySQL + ` WHERE ` + ofActSQL + ` ORDER BY seq`

// StruckTogether are the entries that are struck when this one is, in whichever jars,
// the oldest first.
func (db *DB) StruckTogether(ctx context.Context, e larder.Entry) ([]larder.Entry, error) {
	alone, err := isTable(ctx, db.read, e.Act)
	if err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	if alone {
		return []larder.Entry{e}, nil
	}
	rows, err := db.read.QueryContext(ctx, entriesOfActSQL, e.Act[:])
	if err != nil {
		return nil, fmt.Errorf("store: the entries of an act: %w", err)
	}
	return collect(rows, scanEntry)
}

// EntryBySeq is one entry by its order of recording, which is short enough for
// a link.
func (db *DB) EntryBySeq(ctx context.Context, seq int64) (larder.Entry, error) {
	e, err := readEntry(db.read.QueryRowContext(ctx, entrySQL+` WHERE seq = ?`, seq))
	if errors.Is(err, sql.ErrNoRows) {
		return e, &larder.NotFoundError{What: "entry", ID: fmt.Sprint(seq)}
	}
	return e, err
}

const jarSQL = `SELECT tag, batch_id, letter, size_ml, place, state FROM jar`

func readJar(row scanner) (larder.Jar, error) {
	var j larder.Jar
	var state string
	if err := row.Scan(&j.Tag, &j.BatchID, &j.Letter, &j.SizeML, &j.Place, &state); err != nil {
		return j, err
	}
	if err := json.Unmarshal([]byte(state), &j.State); err != nil {
		return j, fmt.Errorf("reading the state of jar %s: %w", j.Tag, err)
	}
	if j.State.Place != "" {
		j.Place = j.State.Place
	}
	return j, nil
}

func jarByTag(ctx context.Context, q querier, tag larder.Tag) (larder.Jar, error) {
	j, err := readJar(q.QueryRowContext(ctx, jarSQL+` WHERE tag = ?`, tag))
	if errors.Is(err, sql.ErrNoRows) {
		return j, &larder.NotFoundError{What: "jar", ID: tag.Spaced()}
	}
	return j, err
}

func (t *tx) jar(ctx context.Context, tag larder.Tag) (larder.Jar, error) {
	return jarByTag(ctx, t, tag)
}

// Jar is the jar with that tag, or a larder.NotFoundError.
func (db *DB) Jar(ctx context.Context, tag larder.Tag) (larder.Jar, error) {
	return jarByTag(ctx, db.read, tag)
}

// TagKind is "jar", "bottle" or "spare", or empty for a tag never issued here.
func (db *DB) TagKind(ctx context.Context, tag larder.Tag) (string, error) {
	var kind string
	err := db.read.QueryRowContext(ctx, `SELECT kind FROM tag WHERE tag = ?`, tag).Scan(&kind)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return kind, err
}

const (
	batchColumns = `SELECT id, name, base, ingredients, happened_ms, precision, spread_days, target_g_per_100ml, jar_outer_diameter_mm, note, by, recorded_ms`
	batchSQL     = batchColumns + ` FROM batch`
)

func readBatch(row scanner) (larder.Batch, error) {
	return newCells(batchCells).batch(row)
}

const batchCells = 12 // of batchSQL

// batch reads a row of batchSQL.
func (c *cells) batch(row scanner) (larder.Batch, error) {
	if err := c.read(row); err != nil {
		return larder.Batch{}, err
	}
	b := larder.Batch{ID: c.integer(0), Name: c.text(1), Base: larder.Base(c.text(2)), When: when(c.integer(4), c.text(5), int(c.integer(6))),
		Note: c.text(9), By: c.text(10), RecordedAt: when(c.integer(11), "", 0).At}
	target, _ := c.real(7)
	diameter, _ := c.real(8)
	b.TargetGPer100ML, b.JarOuterDiameterMM = chem.GramsPer100ML(target), diameter
	var err error
	b.Ingredients, err = larder.ParseIngredients(c.text(3))
	return b, err
}

// Batch is the batch with that id, or a larder.NotFoundError.
func (db *DB) Batch(ctx context.Context, id int64) (larder.Batch, error) {
	return batchByID(ctx, db.read, id)
}

func batchByID(ctx context.Context, q querier, id int64) (larder.Batch, error) {
	b, err := readBatch(q.QueryRowContext(ctx, batchSQL+` WHERE id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return b, &larder.NotFoundError{What: "batch", ID: fmt.Sprint(id)}
	}
	if err != nil {
		return b, err
	}
	plans, err := plansOf(ctx, q)
	b.Plan = plans[b.Base]
	return b, err
}

// JarsOfBatch lists a batch's jars by letter.
func (db *DB) JarsOfBatch(ctx context.Context, id int64) ([]larder.Jar, error) {
	return jarsOfBatch(ctx, db.read, id)
}

const ofBatchSQL = ` WHERE batch_id = ? ORDER BY length(letter), letter`

func jarsOfBatch(ctx context.Context, q querier, id int64) ([]larder.Jar, error) {
	rows, err := q.QueryContext(ctx, jarSQL+ofBatchSQL, id)
	if err != nil {
		return nil, fmt.Errorf("store: jars of a batch: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (larder.Jar, error) { return readJar(r) })
}

// Cursor marks a place in a jar's history, to go on from there. The zero
// Cursor is the newest end.
type Cursor struct {
	HappenedMS int64
	Seq        int64
}

// JarPage is what a jar's page shows.
type JarPage struct {
	Jar      larder.Jar
	Batch    larder.Batch
	Siblings []larder.Jar   // the other jars of the batch, with what lists show of them
	Entries  []larder.Entry // newest first, struck ones included
	Older    *Cursor        // where the older entries begin; nil when there are none
	CameFrom []larder.Edge
	WentInto []larder.Edge
	Held     []larder.Held // holds that stand on it and on what it came from
}

// History is a jar with its newest entries from a cursor on, limit at most (at
// least one), and its lineage one step each way. A tag that is not a jar's is a
// larder.NotFoundError.
func (db *DB) History(ctx context.Context, tag larder.Tag, from Cursor, limit int) (JarPage, error) {
	var p JarPage
	err := db.snapshot(ctx, func(q querier) (err error) {
		if p.Jar, err = jarByTag(ctx, q, tag); err != nil {
			return err
		}
		if p.Batch, err = batchByID(ctx, q, p.Jar.BatchID); err != nil {
			return err
		}
		rows, err := q.QueryContext(ctx, listedSQL+ofBatchSQL, p.Jar.BatchID)
		if err == nil {
			p.Siblings, err = collect(rows, readListed)
		}
		if err != nil {
			return fmt.Errorf("store: jars of a batch: %w", err)
		}
		p.Siblings = slices.DeleteFunc(p.Siblings, func(j larder.Jar) bool { return j.Tag == tag })
		if p.Entries, p.Older, err = entries(ctx, q, tag, from, max(1, limit)); err != nil {
			return err
		}
		if p.CameFrom, err = edges(ctx, q, `to_jar`, string(tag)); err != nil {
			return err
		}
		if p.WentInto, err = edges(ctx, q, `from_jar`, string(tag)); err != nil {
			return err
		}
		p.Held, err = heldBehind(ctx, q, p.Jar, math.MaxInt64)
		return err
	})
	return p, err
}

const (
	newestSQL = entrySQL + ` WHERE jar = ? ORDER BY happened_ms DESC, seq DESC LIMIT ?`
	olderSQL  = entrySQL + ` WHERE jar = ? AND (happened_ms, seq) < (?, ?) ORDER BY happened_ms DESC, seq DESC LIMIT ?`
)

func entries(ctx context.Context, q querier, tag larder.Tag, from Cursor, limit int) ([]larder.Entry, *Cursor, error) {
	query, args := newestSQL, []any{tag, limit + 1}
	if from != (Cursor{}) {
		query, args = olderSQL, []any{tag, from.HappenedMS, from.Seq, limit + 1}
	}
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, nil, fmt.Errorf("store: history: %w", err)
	}
	entries, err := collect(rows, scanEntry)
	if err != nil {
		return nil, nil, fmt.Errorf("store: history: %w", err)
	}
	if len(entries) <= limit {
		return entries, nil, nil
	}
	entries = entries[:limit]
	last := entries[limit-1]
	return entries, &Cursor{HappenedMS: last.When.At.UnixMilli(), Seq: last.Seq}, nil
}

// edgesAt reads the standing lineage at one end: column is from_jar, to_jar or to_lot.
func edgesAt(column string) string {
	return `SELECT what, coalesce(from_jar, ''), from_name, coalesce(to_jar, ''), coalesce(to_lot, ''), edge.volume_ml, mother,
			entry.happened_ms, entry.precision, entry.spread_days
		FROM edge JOIN entry ON entry.seq = edge.entry
		WHERE edge.` + column + ` = ? AND NOT struck ORDER BY edge.happened_ms, edge.entry`
}

func edges(ctx context.Context, q querier, column, id string) ([]larder.Edge, error) {
	rows, err := q.QueryContext(ctx, edgesAt(column), id)
	if err != nil {
		return nil, fmt.Errorf("store: lineage: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (larder.Edge, error) {
		var e larder.Edge
		var ms int64
		var precision string
		var spread int
		var volume sql.NullFloat64
		err := r.Scan(&e.What, &e.FromJar, &e.FromName, &e.ToJar, &e.ToLot, &volume, &e.Mother, &ms, &precision, &spread)
		e.When = when(ms, precision, spread)
		if volume.Valid {
			e.VolumeML = new(chem.Millilitres(volume.Float64))
		}
		return e, err
	})
}
