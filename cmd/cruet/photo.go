package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/store"
)

// appendPhoto saves the picture in a file and says what it is.
func (a *app) appendPhoto(cmd *cobra.Command, tag larder.Tag, f logFlags, n larder.NewEntry, asJSON bool) (err error) {
	act, err := f.act()
	if err != nil {
		return err
	}
	picture, err := os.Open(f.photo)
	if err != nil {
		return &hinted{fmt.Errorf("opening the picture: %w", err), "Name the file of a picture with --photo."}
	}
	defer func() { err = errors.Join(err, picture.Close()) }()
	return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
		if n.When, err = f.date(r); err != nil {
			return err
		}
		saved, err := r.db.AddPhoto(ctx, act, tag, n, picture)
		if err != nil {
			return spareHint(ctx, r.db, tag, err)
		}
		return a.printSaved(ctx, r, saved, asJSON)
	})
}

// printPhotos says where the pictures of the photos that stand lie.
func (a *app) printPhotos(r room, log []numbered) {
	first := true
	for _, e := range log {
		b, ok := e.Body.(larder.Photo)
		if !ok || e.Struck() {
			continue
		}
		if first {
			fmt.Fprintln(a.out, "photos:")
			first = false
		}
		fmt.Fprintf(a.out, "  #%-3d %s\n", e.N, r.db.PhotoFile(b.SHA256))
	}
}

// sweep removes, beside the serving, what is left of photos that were never
// logged. wait returns when it has ended, which it does soon after ctx does.
func (a *app) sweep(ctx context.Context, db *store.DB) (wait func()) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		switch n, err := db.SweepPhotos(ctx); {
		case err != nil && ctx.Err() == nil:
			fmt.Fprintf(a.err, "warning: looking for left-over photos: %v\n", err)
		case n > 0:
			fmt.Fprintf(a.err, "note: %d picture files that no entry needs were removed\n", n)
		}
	}()
	return func() { <-done }
}
