package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

type bottleFlags struct {
	actFlags
	name, note string
	bottles    []int
	sizes      []string
}

func (a *app) bottleCommand() *cobra.Command {
	var f bottleFlags
	cmd := &cobra.Command{
		Use: "bottle TAG[=VOLUME]...", Short: "Bottle finished jars as a lot",
		Long: `Bottle one or more finished jars as one lot. Each bottle gets a tag of its own, for
its label. The acidity is carried over from the jars' titrations with its date;
without one the label says "acidity not measured". A jar without =VOLUME gives in
proportion to what it holds.

Home-made vinegar is not for canning. Bottle only what no longer ferments: a closed
bottle that does may burst.`,
		Example: `  cruet bottle K7RM74 --bottles 12 --size "250 mL"
  cruet bottle K7RM74="1.5 L" 3CFX72 --bottles 6 --size "500 mL" --bottles 2 --size "250 mL"`,
		Args: atLeastOne("The TAG of a jar"),
	}
	flags := cmd.Flags()
	flags.IntSliceVar(&f.bottles, "bottles", nil, "`N` bottles of the size that stands beside it")
	flags.StringArrayVar(&f.sizes, "size", nil, "`VOLUME` of one bottle: \"250 mL\"; one for each --bottles")
	flags.StringVar(&f.name, "name", "", "`NAME` on the label (default: the batch's)")
	flags.StringVar(&f.note, "note", "", "`TEXT`")
	f.add(cmd, true)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.bottle(cmd, args, f, *asJSON) }
	return cmd
}

func (a *app) bottle(cmd *cobra.Command, args []string, f bottleFlags, asJSON bool) error {
	n, err := a.newLot(args, f)
	if err != nil {
		return err
	}
	act, err := f.act()
	if err != nil {
		return err
	}
	return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
		if n.When, err = f.date(r); err != nil {
			return err
		}
		l, err := r.db.Bottle(ctx, act, n)
		if err != nil {
			return err
		}
		if _, err := a.warnOfGiving(ctx, r, l.Lot); err != nil {
			return err
		}
		if asJSON {
			return a.printJSON(map[string]any{"lot": l.Lot, "bottles": l.Bottles, "replayed": l.Replayed})
		}
		a.saidBefore(l.Replayed)
		a.printLot(l.Lot, r)
		for _, b := range l.Bottles {
			fmt.Fprintf(a.out, "  %s  #%-3d %s\n", b.Tag.Spaced(), b.Number, r.speech().volume(&b.SizeML))
		}
		fmt.Fprintf(a.out, "Print the labels: cruet labels bottles %s -o bottles.pdf\n", l.Lot.ID)
		return nil
	})
}

func (a *app) newLot(args []string, f bottleFlags) (larder.NewLot, error) {
	n := larder.NewLot{Name: f.name, Note: f.note}
	for _, arg := range args {
		typed, text, named := strings.Cut(arg, "=")
		tag, err := a.jarTag(typed)
		if err != nil {
			return n, err
		}
		pour := larder.Pour{Jar: tag}
		if named {
			if pour.VolumeML, err = chem.ParseVolume(text); err != nil {
				return n, wrongUse(arg, "%s", err)
			}
		}
		n.Pours = append(n.Pours, pour)
	}
	if len(f.bottles) == 0 {
		return n, &usageError{message: "--bottles is missing: how many, and --size for how much each holds."}
	}
	if len(f.bottles) != len(f.sizes) {
		return n, &usageError{message: fmt.Sprintf("Each --bottles goes with one --size; there are %d and %d.", len(f.bottles), len(f.sizes))}
	}
	for i, text := range f.sizes {
		size, err := needed("size", text, chem.ParseVolume)
		if err != nil {
			return n, err
		}
		n.Runs = append(n.Runs, larder.Run{Count: f.bottles[i], SizeML: size})
	}
	return n, nil
}
