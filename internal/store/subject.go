package store

import (
	"context"
	"database/sql"
	"fmt"
	"strconv"
	"strings"

	"cruet/internal/larder"
)

// maxChoices is how many things a text may name before it says too little.
const maxChoices = 20

// FindSubject says what a text names: the tag of a jar or bottle, a lot mark,
// "batch 3", the name of a batch, or the name of something that went in; kind
// narrows that when it is not empty. Where no name is quite the text, those that
// hold it count. A text that names several things is a larder.SeveralError, a
// mistyped tag a *larder.TagError, and one that names nothing a
// larder.NotFoundError.
func (db *DB) FindSubject(ctx context.Context, text string, kind larder.SubjectKind) (larder.Subject, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return larder.Subject{}, larder.Refuse("of", "Say what to trace: a tag, a lot mark, or the name of what went in.")
	}
	choices, err := db.subjects(ctx, text, kind)
	switch {
	case err != nil:
		return larder.Subject{}, wrap("trace", err)
	case len(choices) == 1:
		return choices[0].Subject, nil
	case len(choices) > 1:
		return larder.Subject{}, &larder.SeveralError{Typed: text, Choices: choices[:min(len(choices), maxChoices)], More: len(choices) > maxChoices}
	}
	if err := larder.DamagedTag(text); err != nil {
		return larder.Subject{}, err
	}
	return larder.Subject{}, &larder.NotFoundError{What: "jar, bottle, lot, batch or ingredient", ID: text}
}

func (db *DB) subjects(ctx context.Context, text string, kind larder.SubjectKind) ([]larder.Choice, error) {
	may := func(k larder.SubjectKind) bool { return kind == "" || kind == k }
	if tag, _, err := larder.ParseTag(text); err == nil {
		is, err := db.TagKind(ctx, tag)
		switch k := larder.SubjectKind(is); {
		case err != nil:
			return nil, err
		case (k == larder.SubjectJar || k == larder.SubjectBottle) && may(k):
			return []larder.Choice{{Subject: larder.Subject{Kind: k, ID: string(tag)}}}, nil
		}
	}
	if may(larder.SubjectLot) {
		found, err := db.chosen(ctx, larder.SubjectLot, `SELECT id, 'lot ' || id || ', ' || name FROM lot WHERE id = upper(?)`, text)
		if err != nil || len(found) > 0 {
			return found, err
		}
	}
	if id, ok := larder.BatchNumber(text, kind); ok {
		found, err := db.chosen(ctx, larder.SubjectBatch, `SELECT CAST(id AS TEXT), 'batch ' || id || ', ' || name FROM batch WHERE id = ?`, id)
		if err != nil || len(found) > 0 {
			return found, err
		}
	}
	for _, how := range []string{`= ?1 COLLATE NOCASE`, `LIKE '%' || ?2 || '%' ESCAPE '\'`} {
		var found []larder.Choice
		for _, one := range []struct {
			kind  larder.SubjectKind
			query string
		}{
			{larder.SubjectNamed, `SELECT min(name), min(name) FROM (
				SELECT name FROM recipe WHERE name %[1]s UNION SELECT from_name FROM edge WHERE from_name %[1]s AND from_name <> '' AND from_name <> 'water' AND NOT struck)
				GROUP BY name COLLATE NOCASE ORDER BY 1 COLLATE NOCASE LIMIT ` + strconv.Itoa(maxChoices+1)},
			{larder.SubjectBatch, `SELECT CAST(id AS TEXT), 'batch ' || id || ', ' || name FROM batch WHERE name %[1]s ORDER BY id DESC LIMIT ` + strconv.Itoa(maxChoices+1)},
		} {
			if !may(one.kind) {
				continue
			}
			more, err := db.chosen(ctx, one.kind, fmt.Sprintf(one.query, how), text, strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(text))
			if err != nil {
				return nil, err
			}
			found = append(found, more...)
		}
		if len(found) > 0 {
			return found, nil
		}
	}
	return nil, nil
}

func (db *DB) chosen(ctx context.Context, kind larder.SubjectKind, query string, args ...any) ([]larder.Choice, error) {
	rows, err := db.read.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("looking for a name: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (larder.Choice, error) {
		c := larder.Choice{Subject: larder.Subject{Kind: kind}}
		return c, r.Scan(&c.Subject.ID, &c.Words)
	})
}
