package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/labels"
)

// ruleFlags say under whose rules a bottle is labelled, and what its code holds.
type ruleFlags struct {
	rules, code string
	want        labels.Wanted
}

func (f *ruleFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&f.rules, "rules", "", "label by the published `RULES` for sale: us or eu; what is missing is told (default: a plain label)")
	flags.StringVar(&f.code, "code", "", "what the code `HOLDS`: link or facts (default: facts, until a public address is set)")
	flags.BoolVar(&f.want.Sale, "sale", false, "for sale: leave out what a gift says of home-made food, for local wording")
}

func (f *ruleFlags) prepare() error {
	if _, err := labels.ParseCodeKind(f.code); err != nil {
		return wrongUse("--code", "%s", err)
	}
	want, err := labels.ParseWanted(f.rules, f.code, f.want.Sale)
	if err != nil {
		return wrongUse("--rules", "%s", err)
	}
	f.want = want
	return nil
}

// needsStation tells that the codes name the station's own address.
func (f *ruleFlags) needsStation(k larder.Kitchen) bool {
	return f.want.Code == labels.Link && k.PublicAddress == ""
}

// filled reads the record that the labels of a lot are built from.
func filled(ctx context.Context, r room, l store.BottledLot, address string) (labels.Filled, error) {
	trace, err := r.db.TraceUpTo(ctx, larder.Subject{Kind: larder.SubjectLot, ID: l.Lot.ID}, 0)
	return labels.Filled{Lot: l.Lot, Bottles: len(l.Bottles), Trace: trace, Kitchen: r.kitchen, Address: address, Now: time.Now().In(r.loc)}, err
}

// draftOf makes one bottle's label in a layout.
func (f *ruleFlags) draftOf(record labels.Filled, b larder.Bottle, layout string) (labels.Label, labels.Draft, error) {
	record.Bottle = b
	d, err := labels.DraftBottle(record, f.want)
	if err != nil {
		return nil, d, err
	}
	return d.Print(layout), d, nil
}

// tellDraft says on stderr what the maker has to know of a lot's labels.
func (a *app) tellDraft(lot string, d labels.Draft, ruled bool) {
	if d.CodeWhy != "" {
		fmt.Fprintf(a.err, "note: %s: %s\n", lot, d.CodeWhy)
	}
	if !ruled {
		return
	}
	for _, p := range d.Missing {
		fmt.Fprintf(a.err, "missing: %s: %s %s [%s]\n", p.Field, p.What, p.Why, p.Source)
	}
	for _, n := range d.Notes {
		fmt.Fprintf(a.err, "note: %s\n", n)
	}
	for _, p := range d.Check {
		fmt.Fprintf(a.err, "check: %s: %s %s [%s]\n", p.Field, p.What, p.Why, p.Source)
	}
}
