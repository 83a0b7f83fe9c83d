package main

import (
	"bytes"
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"cruet/labels"
)

// paperFlags say where a document goes and on what paper.
type paperFlags struct {
	outFile
	page string
}

func (f *paperFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVarP(&f.name, "output", "o", "", "`FILE` for the PDF, or - for standard output")
	cmd.Flags().BoolVar(&f.force, "force", false, "replace FILE if it is there already")
	cmd.Flags().StringVar(&f.page, "paper", "a4", "`PAPER`: a4 or letter")
}

func (f *paperFlags) prepare() (labels.Page, error) {
	page, err := labels.PageByID(f.page)
	if err != nil {
		return page, wrongUse("--paper", "%s", err)
	}
	return page, f.check()
}

func (a *app) cardCommand() *cobra.Command {
	var f paperFlags
	var to, message string
	cmd := &cobra.Command{
		Use: "card BOTTLE", Short: "Make a gift card to fold, with the story of the vinegar",
		Long: `Make a PDF of one page, printed on one side: fold it back along its middle, then
close it like a book. It tells from the record what the vinegar was made from and
when, whose mother it had, how sour it is, what it is good for and what to mind.`,
		Example: `  cruet card L261125A#3 -o card.pdf
  cruet card L261125A#3 --to ana --message "For the salad bowl." --paper letter -o card.pdf`,
		Args: exactly("The BOTTLE"),
	}
	f.add(cmd)
	cmd.Flags().StringVar(&to, "to", "", "`NAME` on the cover (default: to whom it was given)")
	cmd.Flags().StringVar(&message, "message", "", "`TEXT` of your own (default: the gift's note)")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		page, err := f.prepare()
		if err != nil {
			return err
		}
		find, err := a.bottleNamed(args[0])
		if err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			tag, err := find(ctx, r.db)
			if err != nil {
				return err
			}
			p, err := r.db.BottleByTag(ctx, tag)
			if err != nil {
				return err
			}
			l, err := r.db.Lot(ctx, p.Lot.ID)
			if err != nil {
				return err
			}
			c := labels.Card{Page: page, To: to, Message: message, Date: time.Now()}
			if c.Filled, err = filled(ctx, r, l, ""); err != nil {
				return err
			}
			c.Bottle = p.Bottle
			if c.Findings, err = r.db.VerdictOfLot(ctx, p.Lot, c.Now); err != nil {
				return err
			}
			var pdf bytes.Buffer
			if err := labels.WriteCard(&pdf, c); err != nil {
				return err
			}
			if err := f.write(a.out, pdf.Bytes()); err != nil || f.name == "-" {
				return err
			}
			_, err = fmt.Fprintf(a.out, "%s: print it at 100 %%, fold it back along its middle, then close it like a book.\n", f.name)
			return err
		})
	}
	return cmd
}
