package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/labels"
)

func (a *app) labelsCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "labels", Short: "Make labels for jars and bottles, as a PDF or on a printer",
		Long: `Make a PDF of labels: for jars, for the bottles of a lot, or spare ones to stick on
jars that are still to be started. Print it at 100 %, not "fit to page", or let
--print hand it to a printer. An existing file is not replaced unless --force is
given.

A printer that prints a little off is measured once: "cruet labels proof" makes a
page to take a ruler to, "cruet labels align" remembers what the ruler says, and
--printer uses it. "cruet labels test" reads printed labels back.

Papers of your own are lines of a file stocks.csv in the data folder, with the
columns that "cruet labels stocks --csv" shows.`,
		Example: `  cruet labels jars K7RM74 3CFX72 -o labels.pdf
  cruet labels bottles L261125A --stock a4-3x8 --first 4 -o bottles.pdf
  cruet labels spare 30 --print office`,
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return &usageError{message: fmt.Sprintf("There are no labels for %q: jars, bottles, spare, shelf or stocks.", args[0])}
			}
			return cmd.Help()
		},
	}
	cmd.AddCommand(a.jarLabelsCommand(), a.bottleLabelsCommand(), a.spareLabelsCommand(), a.shelfLabelsCommand(), a.stocksCommand(),
		a.proofCommand(), a.alignCommand(), a.printersCommand(), a.testLabelsCommand())
	return cmd
}

// printed is a label with what is remembered of it.
type printed struct {
	label  labels.Label
	tag    larder.Tag
	layout string
	bottle larder.Bottle // zero for a jar's
}

func (a *app) jarLabelsCommand() *cobra.Command {
	f := sheetFlags{layouts: []string{"jar", "lid"}}
	cmd := &cobra.Command{
		Use: "jars TAG...", Short: "Labels for jars and spare tags",
		Long: `Print labels for jars, several on one sheet. A label that was lost is printed again
with the same tag, and so is a spare tag.`,
		Example: `  cruet labels jars K7RM74 3CFX72 -o labels.pdf
  cruet labels jars K7RM74 --layout jar,lid --stock letter-3x4-round51 -o labels.pdf
  cruet labels jars K7RM74 --stock roll-57x32 --dpi 203 --print labels`,
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
		if err := f.prepare(a, cmd); err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			address, err := f.station(r.kitchen)
			if err != nil {
				return err
			}
			var all []printed
			for _, tag := range tags {
				some, err := jarLabels(ctx, r, tag, address, f.layout)
				if err != nil {
					return err
				}
				all = append(all, some...)
			}
			return a.deliver(ctx, cmd, r, &f, all)
		})
	}
	return cmd
}

// jarLabels are the labels of a jar, one for each layout, or that of a spare tag.
func jarLabels(ctx context.Context, r room, tag larder.Tag, address string, layouts []string) ([]printed, error) {
	kind, err := r.db.TagKind(ctx, tag)
	if err != nil {
		return nil, err
	}
	if kind == "spare" {
		return []printed{{label: labels.ForSpare(tag, address), tag: tag, layout: "spare"}}, nil
	}
	jar, err := r.db.Jar(ctx, tag)
	if err != nil {
		return nil, err
	}
	batch, err := r.db.Batch(ctx, jar.BatchID)
	if err != nil {
		return nil, err
	}
	var out []printed
	for _, layout := range layouts {
		l := labels.ForJar(jar, batch, address, r.loc)
		if layout == "lid" {
			out = append(out, printed{label: labels.LidLabel{JarLabel: l}, tag: tag, layout: layout})
		} else {
			out = append(out, printed{label: l, tag: tag, layout: layout})
		}
	}
	return out, nil
}

// shelfLabelsCommand makes one page of all codes of a shelf.
func (a *app) shelfLabelsCommand() *cobra.Command {
	f := sheetFlags{}
	var place string
	cmd := &cobra.Command{
		Use: "shelf", Short: "A page with the codes of all jars on the shelf, to hang up and scan from",
		Example: `  cruet labels shelf -o shelf.pdf
  cruet labels shelf --place pantry --stock a4-1x2 -o pantry.pdf`,
		Args: exactly(),
	}
	f.add(cmd)
	cmd.Flags().StringVar(&place, "place", "", "only the jars that stand in this `PLACE`")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if err := f.prepare(a, cmd); err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			address, err := f.station(r.kitchen)
			if err != nil {
				return err
			}
			if err := f.usual(ctx, r, "shelf", nil); err != nil {
				return err
			}
			if f.sheet.Stock, err = labels.ShelfStock(f.sheet.Stock); err != nil {
				return err
			}
			f.sheet.Title, f.sheet.Outlines = labels.ShelfTitle(r.kitchen.Name, place), true
			shelf, err := r.db.Shelf(ctx, false)
			if err != nil {
				return err
			}
			var all []printed
			for _, s := range shelf {
				if place == "" || strings.EqualFold(s.Jar.Place, strings.TrimSpace(place)) {
					all = append(all, printed{label: labels.ForShelf(s.Jar, s.Batch, address, r.loc), tag: s.Jar.Tag, layout: "shelf"})
				}
			}
			if len(all) == 0 {
				return fail(`"cruet jars" lists the jars on the shelf and where they stand.`, "No jar stands there, so there is nothing to print.")
			}
			return a.deliver(ctx, cmd, r, &f, all)
		})
	}
	return cmd
}

func (a *app) bottleLabelsCommand() *cobra.Command {
	f := sheetFlags{layouts: []string{"bottle", "neck"}}
	var rules ruleFlags
	cmd := &cobra.Command{
		Use: "bottles LOT|BOTTLE...", Short: "Labels for the bottles of a lot, or for single ones",
		Example: `  cruet labels bottles L261125A --stock a4-2x4 -o bottles.pdf
  cruet labels bottles L261125A --layout neck --stock letter-2x10 -o necks.pdf
  cruet labels bottles L261125A#7 --stock a4-2x4 --rules eu --code facts -o one.pdf`,
		Args: atLeastOne("The LOT"),
	}
	f.add(cmd)
	rules.add(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if err := f.prepare(a, cmd); err != nil {
			return err
		}
		if err := rules.prepare(); err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			address, err := f.station(r.kitchen)
			if err != nil && rules.needsStation(r.kitchen) {
				return err
			}
			var all []printed
			for _, arg := range args {
				some, err := a.bottleLabels(ctx, r, arg, address, f.layout, rules)
				if err != nil {
					return err
				}
				all = append(all, some...)
			}
			return a.deliver(ctx, cmd, r, &f, all)
		})
	}
	return cmd
}

// bottleLabels are the labels of a whole lot, or of one bottle of it.
func (a *app) bottleLabels(ctx context.Context, r room, arg, address string, layouts []string, rules ruleFlags) ([]printed, error) {
	lotID, only := strings.ToUpper(arg), larder.Tag("")
	if !lotMark().MatchString(arg) {
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
	record, err := filled(ctx, r, l, address)
	if err != nil {
		return nil, err
	}
	var out []printed
	for _, b := range l.Bottles {
		if only != "" && b.Tag != only {
			continue
		}
		for _, layout := range layouts {
			label, d, err := rules.draftOf(record, b, layout)
			if err != nil {
				return nil, err
			}
			if len(out) == 0 {
				a.tellDraft(lotID, d, !rules.want.Plain)
			}
			out = append(out, printed{label, b.Tag, layout, b})
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
		if err := f.prepare(a, cmd); err != nil {
			return err
		}
		return a.inKitchen(cmd, create, func(ctx context.Context, r room) error { return a.spares(ctx, cmd, r, &f, act, count, *asJSON) })
	}
	return cmd
}

func (a *app) spares(ctx context.Context, cmd *cobra.Command, r room, f *sheetFlags, flags actFlags, count int, asJSON bool) error {
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
	if err := f.usual(ctx, r, "spare", nil); err != nil {
		return err
	}
	if _, err := labels.Draw(f.sheet, labels.ForSpare(trial, address)); err != nil {
		return err
	}
	tags, err := r.db.IssueSpares(ctx, act, count)
	if err != nil {
		return err
	}
	all := make([]printed, len(tags))
	for i, tag := range tags {
		all[i] = printed{label: labels.ForSpare(tag, address), tag: tag, layout: "spare"}
	}
	f.quiet = asJSON
	if err := a.deliver(ctx, cmd, r, f, all); err != nil {
		return &hinted{err, "The tags are recorded; run it again with --key " + act.Key.String() + " to print the same ones."}
	}
	if asJSON {
		return a.printJSON(map[string]any{"tags": tags})
	}
	return nil
}
