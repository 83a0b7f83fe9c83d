package main

import (
	"context"
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
)

func (a *app) giftsCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "gifts [NAME]", Short: "List who has which bottle",
		Long: `List who has which bottle, the newest first, or what one person has. Gifts that were
taken back are listed with --all.`,
		Example: `  cruet gifts
  cruet gifts ana
  cruet gifts --people`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return exactly("NAME")(cmd, args)
			}
			return nil
		},
	}
	people := cmd.Flags().Bool("people", false, "only the names, with how many bottles each has")
	all := cmd.Flags().Bool("all", false, "those that were taken back, too")
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			if *people {
				return a.recipients(ctx, r, *asJSON)
			}
			gifts, err := r.db.Gifts(ctx)
			if err != nil {
				return err
			}
			to := ""
			if len(args) == 1 {
				to = args[0]
			}
			gifts = larder.GiftsTo(gifts, to, *all)
			if *asJSON {
				return a.printJSON(map[string]any{"gifts": append([]larder.Given{}, gifts...)})
			}
			return a.printGifts(gifts, r)
		})
	}
	return cmd
}

func (a *app) recipients(ctx context.Context, r room, asJSON bool) error {
	who, err := r.db.Recipients(ctx)
	if err != nil {
		return err
	}
	if asJSON {
		return a.printJSON(map[string]any{"people": append([]larder.Recipient{}, who...)})
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "NAME\tBOTTLES\tLAST")
	for _, p := range who {
		fmt.Fprintf(w, "%s\t%d\t%s\n", p.Name, p.Bottles, p.Last.DateIn(r.loc))
	}
	return w.Flush()
}

func (a *app) printGifts(gifts []larder.Given, r room) error {
	if len(gifts) == 0 {
		_, err := fmt.Fprintln(a.out, "No bottle on record.")
		return err
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "BOTTLE\tNAME\tSIZE\tGIVEN TO\tWHEN\tNOTE")
	for _, g := range gifts {
		note := g.Bottle.Gift.Note
		if back := g.Bottle.Gift.TakenBack; back != nil {
			note = "taken back: " + back.Reason
		}
		fmt.Fprintf(w, "%s#%d\t%s\t%s\t%s\t%s\t%s\n", g.Bottle.Lot, g.Bottle.Number, g.LotName, r.speech().volume(&g.Bottle.SizeML), g.Bottle.Gift.To, g.Bottle.Gift.When.DateIn(r.loc), oneLine(note))
	}
	return w.Flush()
}
