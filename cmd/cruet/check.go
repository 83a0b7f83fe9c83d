package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"
)

func (a *app) checkCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "check", Short: "Verify the records",
		Long: `Verify the records' file and derive every jar's state afresh from its log. It
changes nothing. The exit code is 0 when all is well, 1 when something was found.`,
		Example: "  cruet check",
		Args:    exactly(),
	}
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			report, err := r.db.Check(ctx)
			if err != nil {
				return err
			}
			if *asJSON {
				err = a.printJSON(report)
			} else {
				batches := plural(report.Batches, "batch")
				if report.Batches != 1 {
					batches = fmt.Sprintf("%d batches", report.Batches)
				}
				_, err = fmt.Fprintf(a.out, "%s: %s, %s, %d entries, %s, %s, %s, %s\n", r.db.Dir(), batches, plural(report.Jars, "jar"), report.Entries,
					plural(report.Lots, "lot"), plural(report.Bottles, "bottle"), plural(report.Gifts, "gift"), plural(report.Photos, "photo"))
				for _, f := range report.Findings {
					fmt.Fprintln(a.out, "found:", f)
				}
			}
			if err == nil && len(report.Findings) > 0 {
				err = fail("Copy the data folder away before anything else, and keep the copy.", "The check found %d faults in the records.", len(report.Findings))
			}
			return err
		})
	}
	return cmd
}
