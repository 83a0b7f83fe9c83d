package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/google/uuid"

	"cruet/internal/larder"
	"cruet/internal/sheet"
)

// shownReadings is how many lines a preview shows as they were understood, and
// how many wrong lines are told.
const shownReadings = 20

// UnderstoodReading is a line of a table as it would be logged.
type UnderstoodReading struct {
	Line  int
	Jar   larder.Jar
	Batch string
	Entry larder.Entry
}

// ReadingsReport tells what a table of readings holds.
type ReadingsReport struct {
	Lines    int // that were read
	Wrong    int
	Jars     int
	First    []UnderstoodReading
	Problems []string // line by line, the first ones
	Replayed bool     // this table was taken before; nothing was changed
}

// WrongReadingsError says that a table was not taken, since not all its lines are
// right.
type WrongReadingsError struct{ Report ReadingsReport }

func (e *WrongReadingsError) Error() string {
	return fmt.Sprintf("%d of %d lines are wrong, so nothing was logged: %s", e.Report.Wrong, e.Report.Lines, strings.Join(e.Report.Problems, " "))
}

// NextReading hands out one line of a table after the other; more is false at the
// end. What it hands out is kept for that line only.
type NextReading func() (line sheet.Reading, more bool, err error)

// ImportReadings logs a table of readings, each line an entry by the same rules as
// if it had been typed, all of them or none; sum is the SHA-256 of the table, so
// that the same act with another table is refused. With preview nothing is logged.
//
// begin reads the table from its start. It is asked twice: all lines are checked
// before the first is written, so that a wrong line at the end of a long table is
// told soon, and nobody who writes waits for a table that will not be taken.
func (db *DB) ImportReadings(ctx context.Context, a larder.Act, sum string, preview bool, begin func() (NextReading, error)) (ReadingsReport, error) {
	var r ReadingsReport
	known, err := db.answeredBefore(ctx, a.Key)
	if err != nil {
		return r, err
	}
	if preview || !known {
		next, err := begin()
		if err != nil {
			return r, err
		}
		if err := db.checkReadings(ctx, a, &r, next); err != nil || preview {
			return r, err
		}
		if r.Wrong > 0 {
			return r, &WrongReadingsError{r}
		}
	}
	next, err := begin()
	if err != nil {
		return r, err
	}
	_, replayed, err := db.act(ctx, a, tableKind, sum, func(t *tx) (string, error) {
		r = ReadingsReport{}
		i := &readingsImport{tx: t, report: &r, id: part(t.act.Key, "lines")}
		if err := i.run(ctx, next); err != nil {
			return "", err
		}
		if r.Wrong > 0 { // a jar was emptied, or the table changed, since they were checked
			return "", &WrongReadingsError{r}
		}
		return fmt.Sprintf("%d readings", r.Lines), nil
	})
	r.Replayed = replayed
	var wrong *WrongReadingsError
	if errors.As(err, &wrong) {
		return r, wrong
	}
	return r, err
}

// checkReadings only tells what would be logged and what is wrong. It reads the
// records as of one moment and holds up nobody.
func (db *DB) checkReadings(ctx context.Context, a larder.Act, r *ReadingsReport, next NextReading) error {
	t, err := db.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return fmt.Errorf("store: beginning to read: %w", err)
	}
	defer t.Rollback()
	i := &readingsImport{tx: &tx{turn: turn{t}, now: db.clock(), act: a}, report: r, only: true}
	if err := i.run(ctx, next); err != nil {
		return wrap(tableKind, err)
	}
	return nil
}

// readingsImport is a table while it is read. Each jar's state is kept here from line
// to line, and written once when all lines are in.
type readingsImport struct {
	tx     *tx
	report *ReadingsReport
	only   bool      // checked, not written
	id     uuid.UUID // of the lines' entries, but for the number
	names  map[string][]larder.Tag
	jars   map[larder.Tag]*larder.Jar
	bench  benchMemo
}

func (i *readingsImport) run(ctx context.Context, next NextReading) (err error) {
	if i.names, err = jarNames(ctx, i.tx); err != nil {
		return err
	}
	i.jars = map[larder.Tag]*larder.Jar{}
	r := i.report
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		line, more, err := next()
		var problems larder.Problems
		if err != nil && !errors.As(err, &problems) {
			return err
		}
		if !more {
			break
		}
		r.Lines++
		if err == nil {
			err = i.line(ctx, line)
		}
		var missing *larder.NotFoundError
		if !errors.As(err, &problems) && !errors.As(err, &missing) {
			if err != nil {
				return err
			}
			continue
		}
		if r.Wrong++; len(r.Problems) < shownReadings {
			r.Problems = append(r.Problems, fmt.Sprintf("Line %d: %s", line.Line, err.Error()))
		}
	}
	r.Jars = len(i.jars)
	if i.only || r.Wrong > 0 {
		return nil
	}
	for _, tag := range slices.Sorted(maps.Keys(i.jars)) {
		if err := setState(ctx, i.tx, tag, i.jars[tag].State); err != nil {
			return err
		}
	}
	return nil
}

func (i *readingsImport) line(ctx context.Context, line sheet.Reading) error {
	tag, err := namedJar(line.Jar, i.names)
	if err != nil {
		return err
	}
	jar := i.jars[tag]
	if jar == nil {
		found, err := i.tx.jar(ctx, tag)
		if err != nil {
			return err
		}
		jar = &found
		i.jars[tag] = jar
	}
	n := line.Entry
	if n.Body, err = i.tx.completeBy(ctx, n, *jar, &i.bench); err != nil {
		return err
	}
	if err := n.Check(*jar, i.tx.now); err != nil {
		return err
	}
	if i.report.Wrong > 0 { // only the checks still matter
		return nil
	}
	entry := i.tx.entry(lineID(i.id, line.Line), tag, n)
	if i.only {
		jar.State = jar.State.Apply(entry)
	} else if entry, jar.State, err = i.tx.write(ctx, entry, jar.State); err != nil {
		return err
	}
	if len(i.report.First) < shownReadings {
		b, err := batchByID(ctx, i.tx, jar.BatchID)
		if err != nil {
			return err
		}
		i.report.First = append(i.report.First, UnderstoodReading{line.Line, *jar, b.Name, entry})
	}
	return nil
}

// lineID is the id of a line's entry: the table's, but for the end, which is the line's
// number. So the ids of a table lie together in the index of ids, where each of a random
// kind would be on another page to read and to write. It keeps the version of the ids
// that are derived here, which no client's key has.
func lineID(table uuid.UUID, line int) uuid.UUID {
	binary.BigEndian.PutUint32(table[12:], uint32(line))
	return table
}

// jarNames are the jars by their batch's name and letter, and by the name alone.
func jarNames(ctx context.Context, q querier) (map[string][]larder.Tag, error) {
	rows, err := q.QueryContext(ctx, `SELECT jar.tag, batch.name, letter FROM jar JOIN batch ON batch.id = jar.batch_id`)
	if err != nil {
		return nil, fmt.Errorf("listing the jars: %w", err)
	}
	out := map[string][]larder.Tag{}
	_, err = collect(rows, func(r *sql.Rows) (none struct{}, err error) {
		var tag larder.Tag
		var name, letter string
		err = r.Scan(&tag, &name, &letter)
		for _, key := range []string{name, name + " " + letter} {
			key = strings.ToLower(strings.Join(strings.Fields(key), " "))
			out[key] = append(out[key], tag)
		}
		return none, err
	})
	return out, err
}

// namedJar finds a jar by its tag, or by its name where only one has it.
func namedJar(text string, names map[string][]larder.Tag) (larder.Tag, error) {
	found := names[strings.ToLower(strings.Join(strings.Fields(text), " "))]
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) > 1:
		tags := make([]string, min(len(found), 5))
		for i := range tags {
			tags[i] = string(found[i])
		}
		return "", larder.Refuse("jar", fmt.Sprintf("%q names %d jars: %s. Write the tag, or the name and the letter.", text, len(found), strings.Join(tags, ", ")))
	}
	tag, _, err := larder.ParseTag(text)
	if err != nil {
		return "", larder.Refuse("jar", fmt.Sprintf("There is no jar %q. Write its tag, or its batch's name and letter.", text))
	}
	return tag, nil
}
