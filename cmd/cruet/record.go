package main

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/labels"
)

func (a *app) recordCommand() *cobra.Command {
	var f paperFlags
	cmd := &cobra.Command{
		Use: "record BATCH|TAG", Short: "Make the record of a batch as a PDF, for a visit or a notebook",
		Long: `Make a PDF of all that is known of a batch: the recipe, every entry of every jar with
who and when, struck ones struck, the titrations with their sums, calibrations, the
charts, what came from where, lots and gifts. Name the batch by its number or by the
tag of one of its jars.`,
		Example: `  cruet record K7RM74 -o record.pdf
  cruet record 3 --paper letter -o record.pdf`,
		Args: exactly("The number of a BATCH, or the TAG of one of its jars"),
	}
	f.add(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		page, err := f.prepare()
		if err != nil {
			return err
		}
		find, err := a.batchNamed(args[0])
		if err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			id, err := find(ctx, r.db)
			if err != nil {
				return err
			}
			b, err := batchRecord(ctx, r, id)
			if err != nil {
				return err
			}
			b.Page = page
			var pdf bytes.Buffer
			if err := labels.WriteRecord(&pdf, b); err != nil {
				return err
			}
			if err := f.write(a.out, pdf.Bytes()); err != nil || f.name == "-" {
				return err
			}
			_, err = fmt.Fprintf(a.out, "%s: the record of batch %d, %s.\n", f.name, b.Batch.ID, b.Batch.Name)
			return err
		})
	}
	return cmd
}

// batchNamed reads a batch's number, or the tag of one of its jars. A number of
// six or seven digits that is a right tag is one.
func (a *app) batchNamed(text string) (func(context.Context, *store.DB) (int64, error), error) {
	if n, err := strconv.ParseInt(text, 10, 64); err == nil && n > 0 && len(text) < larder.MinJarTag {
		return func(context.Context, *store.DB) (int64, error) { return n, nil }, nil
	}
	tag, err := a.jarTag(text)
	return func(ctx context.Context, db *store.DB) (int64, error) {
		jar, err := db.Jar(ctx, tag)
		if err != nil {
			return 0, spareHint(ctx, db, tag, err)
		}
		return jar.BatchID, nil
	}, err
}

// batchRecord reads all that is known of a batch.
func batchRecord(ctx context.Context, r room, id int64) (labels.BatchRecord, error) {
	b := labels.BatchRecord{Kitchen: r.kitchen, Date: time.Now()}
	var err error
	if b.Batch, err = r.db.Batch(ctx, id); err != nil {
		return b, err
	}
	jars, err := r.db.JarsOfBatch(ctx, id)
	if err != nil {
		return b, err
	}
	lots, rests := map[string]bool{}, map[uuid.UUID]bool{}
	for _, jar := range jars {
		page, log, err := wholeHistory(ctx, r.db, jar.Tag)
		if err != nil {
			return b, err
		}
		j := labels.JarRecord{Jar: page.Jar, CameFrom: page.CameFrom, WentInto: page.WentInto}
		for _, e := range log {
			j.Log = append(j.Log, e.Entry)
			if t, ok := e.Body.(larder.Transfer); ok && t.Lot != "" {
				lots[t.Lot] = true
			}
			for _, on := range restsOn(e.Body) {
				rests[on] = true
			}
		}
		slices.SortFunc(j.Log, func(x, y larder.Entry) int { return cmp.Compare(x.Seq, y.Seq) })
		b.Jars = append(b.Jars, j)
	}
	if b.Bench, err = benchOf(ctx, r.db, rests); err != nil {
		return b, err
	}
	for _, lotID := range sortedKeys(lots) {
		l, err := r.db.Lot(ctx, lotID)
		if err != nil {
			return b, err
		}
		b.Lots = append(b.Lots, labels.LotRecord{Lot: l.Lot, Bottles: l.Bottles})
	}
	return b, nil
}

// restsOn are the calibrations and base checks that a measurement rests on.
func restsOn(b larder.Body) []uuid.UUID {
	switch b := b.(type) {
	case larder.Reading:
		return []uuid.UUID{b.CalibrationID}
	case larder.Titration:
		return []uuid.UUID{b.BaseID}
	}
	return nil
}

func benchOf(ctx context.Context, db *store.DB, ids map[uuid.UUID]bool) ([]larder.BenchEntry, error) {
	var out []larder.BenchEntry
	for id := range ids {
		if id == uuid.Nil {
			continue
		}
		e, err := db.BenchEntry(ctx, id)
		if err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	slices.SortFunc(out, func(x, y larder.BenchEntry) int {
		return cmp.Or(x.When.At.Compare(y.When.At), cmp.Compare(x.Seq, y.Seq))
	})
	return out, nil
}

func sortedKeys(m map[string]bool) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
