package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/labels"
)

// sheetFlags say on what labels are printed and where the PDF goes.
type sheetFlags struct {
	outFile
	stock, address string
	sheet          labels.Sheet
}

func (f *sheetFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVarP(&f.name, "output", "o", "", "`FILE` for the PDF, or - for standard output")
	flags.BoolVar(&f.force, "force", false, "replace FILE if it is there already")
	flags.StringVar(&f.stock, "stock", labels.DefaultStock().ID, "`ID` of the label paper; \"cruet labels stocks\" lists them")
	flags.IntVar(&f.sheet.First, "first", 1, "begin at the `N`th place of a part-used sheet, counted along the rows")
	flags.IntVar(&f.sheet.Copies, "copies", 1, "`N` of each label")
	flags.IntVar(&f.sheet.DPI, "dpi", 0, "the printer's dots per inch, `203`, 300 or 600 (default: what suits the stock)")
	flags.BoolVar(&f.sheet.Outlines, "outlines", false, "draw the labels' edges, for plain paper and scissors")
	flags.StringVar(&f.address, "address", "", "`HOST:PORT` that the codes name (default: where the station was last served)")
}

// prepare checks all that can be checked before anything is read or recorded.
func (f *sheetFlags) prepare() error {
	var err error
	if f.sheet.Stock, err = labels.StockByID(f.stock); err != nil {
		return wrongUse("--stock", "%s", err)
	}
	if f.address != "" {
		if err := checkAddress(f.address); err != nil {
			return wrongUse("--address", "%s", err)
		}
	}
	return f.check()
}

// station is the address that the codes name.
func (f *sheetFlags) station(k larder.Kitchen) (string, error) {
	switch {
	case f.address != "":
		return f.address, nil
	case k.Address != "":
		return k.Address, nil
	}
	return "", fail(`Run "cruet serve" once, or say --address HOST:PORT.`, "The station's address is not known yet, and a label's code must name it.")
}

func (a *app) labelsCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "labels", Short: "Make labels for jars and bottles as a PDF",
		Long: `Make a PDF of labels: for jars, for the bottles of a lot, or spare ones to stick on
jars that are still to be started. Print it at 100 %, not "fit to page". An existing
file is not replaced unless --force is given.`,
		Example: `  cruet labels jars K7RM74 3CFX72 -o labels.pdf
  cruet labels bottles L261125A --stock a4-3x8 --first 4 -o bottles.pdf
  cruet labels spare 30 -o spare.pdf`,
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return &usageError{message: fmt.Sprintf("There are no labels for %q: jars, bottles, spare or stocks.", args[0])}
			}
			return cmd.Help()
		},
	}
	cmd.AddCommand(a.jarLabelsCommand(), a.bottleLabelsCommand(), a.spareLabelsCommand(), a.stocksCommand())
	return cmd
}

func (a *app) jarLabelsCommand() *cobra.Command {
	var f sheetFlags
	cmd := &cobra.Command{
		Use: "jars TAG...", Short: "Labels for jars",
		Example: `  cruet labels jars K7RM74 3CFX72 -o labels.pdf
  cruet labels jars K7RM74 --stock roll-57x32 --dpi 203 -o - | lp`,
		Args: atLeastOne("The TAG of a jar"),
	}
	f.add(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		tags := make([]larder.Tag, len(args))
		for i, arg := range args {
			var err error
			if tags[i], err = a.jarTag(arg); err != nil {
				return err
			}
		}
		if err := f.prepare(); err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			address, err := f.station(r.kitchen)
			if err != nil {
				return err
			}
			var print []labels.Label
			for _, tag := range tags {
				jar, err := r.db.Jar(ctx, tag)
				if err != nil {
					return spareHint(ctx, r.db, tag, err)
				}
				batch, err := r.db.Batch(ctx, jar.BatchID)
				if err != nil {
					return err
				}
				print = append(print, labels.ForJar(jar, batch, address, r.loc))
			}
			return a.printLabels(cmd, f, print)
		})
	}
	return cmd
}

func (a *app) bottleLabelsCommand() *cobra.Command {
	var f sheetFlags
	cmd := &cobra.Command{
		Use: "bottles LOT|BOTTLE...", Short: "Labels for the bottles of a lot, or for single ones",
		Example: `  cruet labels bottles L261125A --stock a4-2x4 -o bottles.pdf
  cruet labels bottles L261125A#7 --stock a4-2x4 -o one.pdf`,
		Args: atLeastOne("The LOT"),
	}
	f.add(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if err := f.prepare(); err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			address, err := f.station(r.kitchen)
			if err != nil {
				return err
			}
			var print []labels.Label
			for _, arg := range args {
				some, err := a.bottleLabels(ctx, r, arg, address)
				if err != nil {
					return err
				}
				print = append(print, some...)
			}
			return a.printLabels(cmd, f, print)
		})
	}
	return cmd
}

// bottleLabels are the labels of a whole lot, or of one bottle of it.
func (a *app) bottleLabels(ctx context.Context, r room, arg, address string) ([]labels.Label, error) {
	lotID, only := strings.ToUpper(arg), larder.Tag("")
	if !lotMark.MatchString(arg) {
		find, err := a.bottleNamed(arg)
		if err != nil {
			return nil, err
		}
		if only, err = find(ctx, r.db); err != nil {
			return nil, err
		}
		p, err := r.db.BottleByTag(ctx, only)
		if err != nil {
			return nil, err
		}
		lotID = p.Lot.ID
	}
	l, err := r.db.Lot(ctx, lotID)
	if err != nil {
		return nil, err
	}
	if l.Lot.Void {
		return nil, fail(`"cruet lots" lists what was bottled.`, "The bottling of lot %s was struck; it has no bottles to label.", lotID)
	}
	var out []labels.Label
	for _, b := range l.Bottles {
		if only == "" || b.Tag == only {
			out = append(out, labels.ForBottle(b, l.Lot, len(l.Bottles), r.kitchen, address))
		}
	}
	return out, nil
}

func (a *app) spareLabelsCommand() *cobra.Command {
	var f sheetFlags
	var act actFlags
	cmd := &cobra.Command{
		Use: "spare N", Short: "Labels with new tags that no jar wears yet",
		Long: `Print labels ahead: N new tags that no jar wears yet. Stick one on a jar, scan it,
and the page offers to start a batch into it; here, "cruet start" takes --spare TAG.`,
		Example: `  cruet labels spare 30 -o spare.pdf`,
		Args:    exactly("N, how many"),
	}
	f.add(cmd)
	act.add(cmd, false)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		count, err := strconv.Atoi(args[0])
		if err != nil {
			return &usageError{message: fmt.Sprintf("%q is not a number of labels.", args[0])}
		}
		if *asJSON && f.name == "-" {
			return &usageError{message: "--json and -o - both want the standard output."}
		}
		if err := f.prepare(); err != nil {
			return err
		}
		return a.inKitchen(cmd, create, func(ctx context.Context, r room) error { return a.spares(ctx, cmd, r, f, act, count, *asJSON) })
	}
	return cmd
}

func (a *app) spares(ctx context.Context, cmd *cobra.Command, r room, f sheetFlags, flags actFlags, count int, asJSON bool) error {
	address, err := f.station(r.kitchen)
	if err != nil {
		return err
	}
	act, err := flags.act()
	if err != nil {
		return err
	}
	// Tags are issued for good, so the sheet is tried first.
	trial, err := larder.NewJarTag(larder.MinJarTag)
	if err != nil {
		return err
	}
	if err := labels.Write(io.Discard, f.sheet, []labels.Label{labels.ForSpare(trial, address)}); err != nil {
		return err
	}
	tags, err := r.db.IssueSpares(ctx, act, count)
	if err != nil {
		return err
	}
	print := make([]labels.Label, len(tags))
	for i, tag := range tags {
		print[i] = labels.ForSpare(tag, address)
	}
	document := a.makeLabels
	if !asJSON {
		document = a.printLabels
	}
	if err := document(cmd, f, print); err != nil {
		return &hinted{err, "The tags are recorded; run it again with --key " + act.Key.String() + " to print the same ones."}
	}
	if asJSON {
		return a.printJSON(map[string]any{"tags": tags})
	}
	return nil
}

// printLabels makes the PDF and says so.
func (a *app) printLabels(cmd *cobra.Command, f sheetFlags, print []labels.Label) error {
	err := a.makeLabels(cmd, f, print)
	if err == nil && f.name != "-" {
		fmt.Fprintf(a.out, "%s: %d labels on %s. Print it at 100 %%, not \"fit to page\".\n", f.name, len(print)*max(1, f.sheet.Copies), f.sheet.Stock.Name)
	}
	return err
}

// makeLabels writes the PDF and says on stderr what was left off the labels.
func (a *app) makeLabels(cmd *cobra.Command, f sheetFlags, print []labels.Label) error {
	for i, l := range print {
		d, err := labels.Draw(f.sheet, l)
		if err != nil {
			break // Write names the label that does not fit
		}
		for _, loss := range d.Losses {
			fmt.Fprintf(a.err, "note: label %d: %s\n", i+1, oneLine(loss))
		}
	}
	var pdf bytes.Buffer
	if err := labels.Write(&pdf, f.sheet, print); err != nil {
		return &hinted{err, "Nothing was written. \"cruet labels stocks\" lists the label papers, " + seeHelp(cmd)}
	}
	return f.write(a.out, pdf.Bytes())
}

func (a *app) stocksCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "stocks", Short: "List the label papers", Example: "  cruet labels stocks", Args: exactly()}
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *asJSON {
			return a.printJSON(map[string]any{"stocks": stockList()})
		}
		w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "ID\tLABELS\tDPI\tPAPER")
		for _, s := range stockList() {
			fmt.Fprintf(w, "%s\t%d\t%d\t%s\n", s.ID, s.Places, s.DPI, s.Name)
		}
		return w.Flush()
	}
	return cmd
}

type stockLine struct {
	ID       string  `json:"id"`
	Name     string  `json:"name"`
	Places   int     `json:"labels_a_page"`
	LabelWMM float64 `json:"label_w_mm"`
	LabelHMM float64 `json:"label_h_mm"`
	DPI      int     `json:"dpi"`
}

func stockList() []stockLine {
	var out []stockLine
	for _, s := range labels.Stocks() {
		out = append(out, stockLine{s.ID, s.Name, s.Places(), s.LabelWMM, s.LabelHMM, s.DPI})
	}
	return out
}
