package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

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

// errPreview takes back what a preview wrote.
var errPreview = errors.New("store: only a preview")

// ImportReadings logs a table of readings, each line an entry by the same rules as
// if it had been typed, all of them or none; sum is the SHA-256 of the table, so
// that the same act with another table is refused. With preview nothing is logged.
// What next hands out is kept for one line only.
func (db *DB) ImportReadings(ctx context.Context, a larder.Act, sum string, preview bool, next func() (sheet.Reading, bool, error)) (ReadingsReport, error) {
	var r ReadingsReport
	do := func(t *tx) (string, error) {
		r = ReadingsReport{}
		err := t.readings(ctx, &r, next)
		switch {
		case err != nil:
			return "", err
		case r.Wrong > 0:
			return "", &WrongReadingsError{r}
		case preview:
			return "", errPreview
		}
		return fmt.Sprintf("%d readings", r.Lines), nil
	}
	if preview {
		err := db.inTx(ctx, a, func(t *tx) error { _, err := do(t); return err })
		var wrong *WrongReadingsError
		if errors.Is(err, errPreview) || errors.As(err, &wrong) {
			err = nil
		}
		return r, err
	}
	_, replayed, err := db.act(ctx, a, "readings", sum, do)
	r.Replayed = replayed
	var wrong *WrongReadingsError
	if errors.As(err, &wrong) {
		return r, wrong
	}
	return r, err
}

func (t *tx) readings(ctx context.Context, r *ReadingsReport, next func() (sheet.Reading, bool, error)) error {
	names, err := jarNames(ctx, t)
	if err != nil {
		return err
	}
	jars := map[larder.Tag]*larder.Jar{}
	for {
		line, more, err := next()
		var problems larder.Problems
		if err != nil && !errors.As(err, &problems) {
			return err
		}
		if !more {
			r.Jars = len(jars)
			return nil
		}
		r.Lines++
		if err == nil {
			err = t.reading(ctx, r, line, names, jars)
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
}

func (t *tx) reading(ctx context.Context, r *ReadingsReport, line sheet.Reading, names map[string][]larder.Tag, jars map[larder.Tag]*larder.Jar) error {
	tag, err := namedJar(line.Jar, names)
	if err != nil {
		return err
	}
	jar := jars[tag]
	if jar == nil {
		found, err := t.jar(ctx, tag)
		if err != nil {
			return err
		}
		jar = &found
		jars[tag] = jar
	}
	n := line.Entry
	if n.Body, err = t.complete(ctx, n, *jar); err != nil {
		return err
	}
	if err := n.Check(*jar, t.now); err != nil {
		return err
	}
	if r.Wrong > 0 { // it will all be taken back; only the checks still matter
		return nil
	}
	entry, after, err := t.append(ctx, part(t.act.Key, fmt.Sprintf("line %d", line.Line)), *jar, n)
	if err != nil {
		return err
	}
	jar.State = after
	if len(r.First) < shownReadings {
		b, err := batchByID(ctx, t, jar.BatchID)
		if err != nil {
			return err
		}
		r.First = append(r.First, UnderstoodReading{line.Line, *jar, b.Name, entry})
	}
	return nil
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
