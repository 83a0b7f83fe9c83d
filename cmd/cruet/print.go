package main

import (
	"context"
	"fmt"
	"slices"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/spool"
)

type printerLine struct {
	Name      string          `json:"name"`
	Spooler   bool            `json:"spooler"` // --print may name it
	Alignment *larder.Printer `json:"alignment,omitempty"`
}

// printersCommand lists the spooler's printers and those that were aligned.
func (a *app) printersCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "printers", Short: "List the printers, and how far off they are",
		Long: `List the printers that the system's spooler (CUPS) knows, for --print, and those that
were aligned, for --printer.`,
		Example: "  cruet labels printers", Args: exactly(),
	}
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.inKitchen(cmd, create, func(ctx context.Context, r room) error {
			known, err := r.db.Printers(ctx)
			if err != nil {
				return err
			}
			names, trouble := spool.Printers(ctx)
			list := printerLines(names, known)
			if *asJSON {
				answer := map[string]any{"printers": list}
				if trouble != nil {
					answer["spooler"] = trouble.Error()
				}
				return a.printJSON(answer)
			}
			if len(list) > 0 {
				w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
				fmt.Fprintln(w, "PRINTER\tSPOOLER\tALIGNMENT")
				for _, p := range list {
					spooled, aligned := "no", "not measured; see \"cruet labels proof\""
					if p.Spooler {
						spooled = "yes"
					}
					if p.Alignment != nil {
						aligned = alignment(*p.Alignment)
					}
					fmt.Fprintf(w, "%s\t%s\t%s\n", p.Name, spooled, aligned)
				}
				if err := w.Flush(); err != nil {
					return err
				}
			}
			switch {
			case trouble != nil:
				fmt.Fprintf(a.err, "note: %s\n", oneLine(trouble.Error()))
			case len(list) == 0:
				fmt.Fprintln(a.err, "note: The print spooler lists no printer. Add one in the system's settings, or print the PDF elsewhere.")
			}
			return nil
		})
	}
	return cmd
}

func printerLines(spooled []string, aligned []larder.Printer) []printerLine {
	list := []printerLine{}
	for _, name := range spooled {
		list = append(list, printerLine{Name: name, Spooler: true})
	}
	for _, p := range aligned {
		i := slices.IndexFunc(list, func(l printerLine) bool { return l.Name == p.Name })
		if i < 0 {
			i, list = len(list), append(list, printerLine{Name: p.Name})
		}
		list[i].Alignment = &p
	}
	return list
}
