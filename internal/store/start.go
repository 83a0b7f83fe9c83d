package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"cruet/internal/larder"
)

// Started is the answer to a start.
type Started struct {
	Batch    larder.Batch
	Jars     []larder.Jar
	Replayed bool
}

// Start records a new batch with its jars, each with a tag of its own and a
// first entry.
func (db *DB) Start(ctx context.Context, a larder.Act, n larder.NewBatch) (Started, error) {
	ref, replayed, err := db.act(ctx, a, "start", n, func(t *tx) (string, error) {
		if err := n.Check(t.now); err != nil {
			return "", err
		}
		id, err := t.insertBatch(ctx, n)
		if err != nil {
			return "", err
		}
		for i := range n.Jars {
			if err := t.insertJar(ctx, n, id, i); err != nil {
				return "", err
			}
		}
		return strconv.FormatInt(id, 10), nil
	})
	if err != nil {
		return Started{}, err
	}
	id, err := strconv.ParseInt(ref, 10, 64)
	if err != nil {
		return Started{}, fmt.Errorf("store: start: %w", err)
	}
	s := Started{Replayed: replayed}
	if s.Batch, err = db.Batch(ctx, id); err != nil {
		return s, err
	}
	s.Jars, err = db.JarsOfBatch(ctx, id)
	return s, err
}

func (t *tx) insertBatch(ctx context.Context, n larder.NewBatch) (int64, error) {
	ingredients := n.Ingredients
	if ingredients == nil {
		ingredients = []larder.Ingredient{}
	}
	text, err := json.Marshal(ingredients)
	if err != nil {
		return 0, fmt.Errorf("writing the recipe: %w", err)
	}
	w := t.fill(n.When)
	res, err := t.ExecContext(ctx, `INSERT INTO batch (name, base, ingredients, happened_ms, precision, spread_days, target_g_per_100ml, jar_outer_diameter_mm, note, by, recorded_ms)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		strings.TrimSpace(n.Name), n.Base, string(text), w.At.UnixMilli(), w.Precision, w.SpreadDays, n.TargetGPer100ML, n.JarOuterDiameterMM, n.Note, t.act.By, t.now.UnixMilli())
	if err != nil {
		return 0, fmt.Errorf("writing the batch: %w", err)
	}
	id, err := res.LastInsertId()
	if err != nil {
		return 0, fmt.Errorf("writing the batch: %w", err)
	}
	for _, i := range ingredients {
		if _, err := t.ExecContext(ctx, `INSERT INTO recipe (name, batch_id) VALUES (?, ?) ON CONFLICT DO NOTHING`, i.Name, id); err != nil {
			return 0, fmt.Errorf("writing the recipe: %w", err)
		}
	}
	return id, nil
}

func (t *tx) insertJar(ctx context.Context, n larder.NewBatch, batch int64, i int) error {
	var tag larder.Tag
	var err error
	if i < len(n.SpareTags) {
		tag = n.SpareTags[i]
		err = t.bindSpare(ctx, "spare_tags", tag)
	} else {
		tag, err = t.issue(ctx, "jar")
	}
	if err != nil {
		return err
	}
	jar := larder.Jar{Tag: tag, BatchID: batch, Letter: larder.JarLetter(i), SizeML: n.JarSizeML, Place: n.Place}
	if err := t.writeJar(ctx, jar); err != nil {
		return err
	}
	first := larder.NewEntry{When: n.When, Body: larder.StageChange{To: n.FirstStage(), VolumeML: n.FillML}}
	_, _, err = t.append(ctx, part(t.act.Key, jar.Letter), jar, first)
	return err
}

// writeJar writes a jar whose first entry follows in the same transaction.
func (t *tx) writeJar(ctx context.Context, jar larder.Jar) error {
	_, err := t.ExecContext(ctx, `INSERT INTO jar (tag, batch_id, letter, size_ml, place, live, state) VALUES (?, ?, ?, ?, ?, 1, '{}')`,
		jar.Tag, jar.BatchID, jar.Letter, jar.SizeML, jar.Place)
	if err != nil {
		return fmt.Errorf("writing jar %s: %w", jar.Letter, err)
	}
	return nil
}

// issue draws a tag that was never issued and records it as of that kind. Jar
// tags grow a character when the short ones become scarce.
func (t *tx) issue(ctx context.Context, kind string) (larder.Tag, error) {
	for try := range 64 {
		var tag larder.Tag
		var err error
		switch {
		case kind == "bottle":
			tag, err = larder.NewBottleTag()
		case try < 8:
			tag, err = larder.NewJarTag(larder.MinJarTag)
		default:
			tag, err = larder.NewJarTag(larder.MaxJarTag)
		}
		if err != nil {
			return "", err
		}
		res, err := t.ExecContext(ctx, `INSERT INTO tag (tag, kind, issued_ms) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`, tag, kind, t.now.UnixMilli())
		if err != nil {
			return "", fmt.Errorf("issuing a tag: %w", err)
		}
		if n, err := res.RowsAffected(); err != nil || n == 1 {
			return tag, err
		}
	}
	return "", fmt.Errorf("issuing a tag: no free one was found")
}

// bindSpare makes a spare tag a jar's; field names its input.
func (t *tx) bindSpare(ctx context.Context, field string, tag larder.Tag) error {
	res, err := t.ExecContext(ctx, `UPDATE tag SET kind = 'jar' WHERE tag = ? AND kind = 'spare'`, tag)
	if err != nil {
		return fmt.Errorf("binding a spare tag: %w", err)
	}
	if n, err := res.RowsAffected(); err != nil || n == 1 {
		return err
	}
	return larder.Refuse(field, "The tag "+tag.Spaced()+" is not a spare one of this kitchen: it was never printed here, or a jar wears it already.")
}

// MaxSpareTags bounds one print of spare tags.
const MaxSpareTags = 200

// IssueSpares issues count tags that no jar wears yet.
func (db *DB) IssueSpares(ctx context.Context, a larder.Act, count int) ([]larder.Tag, error) {
	ref, _, err := db.act(ctx, a, "spares", count, func(t *tx) (string, error) {
		if count < 1 || count > MaxSpareTags {
			return "", larder.Refuse("count", fmt.Sprintf("Print between 1 and %d spare tags at a time.", MaxSpareTags))
		}
		tags := make([]string, count)
		for i := range tags {
			tag, err := t.issue(ctx, "spare")
			if err != nil {
				return "", err
			}
			tags[i] = string(tag)
		}
		return strings.Join(tags, " "), nil
	})
	if err != nil {
		return nil, err
	}
	var tags []larder.Tag
	for _, s := range strings.Fields(ref) {
		tags = append(tags, larder.Tag(s))
	}
	return tags, nil
}

// Spares lists the spare tags that no jar wears yet, the oldest first.
func (db *DB) Spares(ctx context.Context) ([]larder.Tag, error) {
	rows, err := db.read.QueryContext(ctx, `SELECT tag FROM tag WHERE kind = 'spare' ORDER BY issued_ms, tag`)
	if err != nil {
		return nil, fmt.Errorf("store: spare tags: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (tag larder.Tag, err error) { return tag, r.Scan(&tag) })
}
