package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
)

func (a *app) holdCommand() *cobra.Command {
	return a.stopCommand(true, &cobra.Command{
		Use: "hold TAG|LOT", Short: "Put a jar or a lot on hold",
		Long: `Put a jar or a lot on hold. While it stands, nothing of it, and nothing that it
went into, may be bottled or given away. "cruet trace" tells what that touches.`,
		Example: `  cruet hold K7RM74 --why "grey fluff on the surface"
  cruet hold L261125A --why "a cork crumbled" --when yesterday`,
	})
}

func (a *app) releaseCommand() *cobra.Command {
	return a.stopCommand(false, &cobra.Command{
		Use: "release TAG|LOT", Short: "Lift the hold on a jar or a lot; the story stays",
		Long: `Lift the hold on a jar or a lot. The log keeps that it was held, why, and why it
was lifted. A hold on something that it came from stands until it is lifted there.`,
		Example: `  cruet release K7RM74 --why "it was yeast; smelled, looked at and tasted clean"`,
	})
}

// stopCommand fills in what holding and releasing share.
func (a *app) stopCommand(on bool, cmd *cobra.Command) *cobra.Command {
	var f actFlags
	cmd.Args = exactly("The TAG of a jar, or a LOT")
	why := cmd.Flags().String("why", "", "`TEXT` with the reason")
	note := cmd.Flags().String("note", "", "`TEXT`")
	f.add(cmd, true)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if lotMark().MatchString(args[0]) {
			return a.stopLot(cmd, strings.ToUpper(args[0]), f, larder.NewLotHold{On: on, Reason: *why, Note: *note}, *asJSON)
		}
		tag, err := a.anyTag(args[0])
		if err != nil {
			return err
		}
		if tag.IsBottle() {
			return &usageError{message: tag.Spaced() + " is a bottle's tag; a hold stands on a jar or on a whole lot.", hint: fmt.Sprintf("\"cruet show %s\" names its lot and its jars.", tag)}
		}
		return a.append(cmd, tag, f, larder.NewEntry{Note: *note, Body: larder.Hold{On: on, Reason: *why}}, *asJSON)
	}
	return cmd
}

func (a *app) stopLot(cmd *cobra.Command, id string, f actFlags, n larder.NewLotHold, asJSON bool) error {
	act, err := f.act()
	if err != nil {
		return err
	}
	return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
		if n.When, err = f.date(r); err != nil {
			return err
		}
		l, err := r.db.HoldLot(ctx, act, id, n)
		if err != nil {
			return err
		}
		log, err := r.db.LotLog(ctx, id)
		if err != nil {
			return err
		}
		if asJSON {
			return a.printJSON(map[string]any{"lot": l.Lot, "log": log, "replayed": l.Replayed})
		}
		a.saidBefore(l.Replayed)
		given := 0
		for _, b := range l.Bottles {
			if b.Gift != nil {
				given++
			}
		}
		if n.On {
			fmt.Fprintf(a.out, "Lot %s is on hold: %s. Of %d bottles %d are here; %d left: cruet trace %s\n", id, l.Lot.Hold, len(l.Bottles), len(l.Bottles)-given, given, id)
			return nil
		}
		fmt.Fprintf(a.out, "The hold on lot %s is lifted: %s.\n", id, n.Reason)
		return nil
	})
}

// printLotLog prints the holds that were put on a lot and lifted.
func (a *app) printLotLog(log []larder.LotHold, s speech) {
	for _, h := range log {
		fmt.Fprintln(a.out, oneLine(fmt.Sprintf("%-11s %s %s: %s %s", "log", h.When.In(s.loc), h.By, h.Words(), h.Note)))
	}
}
