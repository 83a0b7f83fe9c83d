package store

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"cruet/internal/larder"
)

// Scanned is what a code on a label names in this kitchen's records.
type Scanned struct {
	larder.CodeText
	Kind   string         // "jar", "spare", "bottle" or "lot"; empty: nothing here
	Jar    *larder.Jar    // of a jar's label
	Batch  string         // its batch's name
	Bottle *larder.Bottle // of a bottle's label
	Lot    *larder.Lot    // of a bottle's label, or of its facts
}

// Scanned looks up what a code names. What is not in the records is no error: its
// Kind is empty.
func (db *DB) Scanned(ctx context.Context, c larder.CodeText) (Scanned, error) {
	n := Scanned{CodeText: c}
	err := db.lookUp(ctx, &n)
	var missing *larder.NotFoundError
	if errors.As(err, &missing) {
		return Scanned{CodeText: c}, nil
	}
	return n, err
}

func (db *DB) lookUp(ctx context.Context, n *Scanned) error {
	if n.LotID != "" {
		lot, err := db.Lot(ctx, n.LotID)
		if err != nil {
			return err
		}
		n.Kind, n.Lot = "lot", &lot.Lot
		if i := slices.IndexFunc(lot.Bottles, func(b larder.Bottle) bool { return b.Number == n.CodeText.Bottle }); i >= 0 {
			n.Kind, n.Bottle = "bottle", &lot.Bottles[i]
		}
		return nil
	}
	if n.Tag == "" {
		return nil
	}
	kind, err := db.TagKind(ctx, n.Tag)
	if err != nil {
		return fmt.Errorf("store: looking a tag up: %w", err)
	}
	switch kind {
	case "jar":
		jar, err := db.Jar(ctx, n.Tag)
		if err != nil {
			return err
		}
		batch, err := db.Batch(ctx, jar.BatchID)
		if err != nil {
			return err
		}
		n.Jar, n.Batch = &jar, batch.Name
	case "bottle":
		b, err := db.BottleByTag(ctx, n.Tag)
		if err != nil {
			return err
		}
		n.Bottle, n.Lot = &b.Bottle, &b.Lot
	}
	n.Kind = kind
	return nil
}
