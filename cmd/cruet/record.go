package main

import (
	"bytes"
	"context"
	"fmt"
	"strconv"

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
			file, err := r.db.BatchFile(ctx, id)
			if err != nil {
				return err
			}
			b := labels.RecordOf(file, r.kitchen)
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
