package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/verdict"
)

func (a *app) giveCommand() *cobra.Command {
	var f actFlags
	cmd := &cobra.Command{
		Use: "give BOTTLE", Short: "Record to whom a bottle went",
		Long: `Record that a bottle left the kitchen. Name it by the tag on its label, or by lot
and number. A bottle of a jar that is on hold cannot be given. What the evidence says
against giving it is told as a warning; the decision is yours.`,
		Example: `  cruet give L261125A#3 --to "the neighbours at no. 4"`,
		Args:    exactly("The BOTTLE"),
	}
	to := cmd.Flags().String("to", "", "`NAME` of who got it")
	note := cmd.Flags().String("note", "", "`TEXT`")
	f.add(cmd, true)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		find, err := a.bottleNamed(args[0])
		if err != nil {
			return err
		}
		act, err := f.act()
		if err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			tag, err := find(ctx, r.db)
			if err != nil {
				return err
			}
			n := larder.NewGift{To: *to, Note: *note}
			if n.When, err = f.date(r); err != nil {
				return err
			}
			p, err := r.db.Give(ctx, act, tag, n)
			if err != nil {
				return err
			}
			giving, err := a.warnOfGiving(ctx, r, p.Lot)
			if err != nil {
				return err
			}
			if *asJSON {
				return a.printJSON(map[string]any{"bottle": p.Bottle, "lot": p.Lot, "giving": map[string]any{"answer": giving.Answer, "against": append([]string{}, giving.Against()...)}})
			}
			fmt.Fprintf(a.out, "Given to %s: bottle %d of lot %s, %s.\n", p.Bottle.Gift.To, p.Bottle.Number, p.Lot.ID, p.Bottle.Gift.When.DateIn(r.loc))
			return nil
		})
	}
	cmd.AddCommand(a.giveBackCommand())
	return cmd
}

// warnOfGiving tells what speaks against giving a bottle of the lot away.
func (a *app) warnOfGiving(ctx context.Context, r room, lot larder.Lot) (verdict.Finding, error) {
	giving, err := r.db.VerdictOnGiving(ctx, lot, time.Now().In(r.loc))
	if err != nil {
		return giving, err
	}
	if against := giving.Against(); len(against) > 0 {
		fmt.Fprintf(a.err, "warning: what the evidence says of giving it away: %s. %s\n", giving.Answer, oneLine(strings.Join(against, " ")))
	}
	return giving, nil
}

func (a *app) giveBackCommand() *cobra.Command {
	var f actFlags
	cmd := &cobra.Command{
		Use: "back BOTTLE", Short: "Take a gift back that was recorded by mistake, or came back unopened",
		Long: `Take a gift back. The record of it stays readable, with your reason; the bottle is
here again and may be given to another.`,
		Example: `  cruet give back L261125A#3 --reason "it was bottle 4"`,
		Args:    exactly("The BOTTLE"),
	}
	reason := cmd.Flags().String("reason", "", "`TEXT` saying what was wrong")
	f.add(cmd, false)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		find, err := a.bottleNamed(args[0])
		if err != nil {
			return err
		}
		act, err := f.act()
		if err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			tag, err := find(ctx, r.db)
			if err != nil {
				return err
			}
			p, err := r.db.TakeBack(ctx, act, tag, *reason)
			if err != nil {
				return err
			}
			if *asJSON {
				return a.printJSON(map[string]any{"bottle": p.Bottle, "lot": p.Lot, "taken_back": p.Taken})
			}
			was := p.Taken[len(p.Taken)-1]
			fmt.Fprintf(a.out, "Taken back from %s: bottle %d of lot %s is here again.\n", was.To, p.Bottle.Number, p.Lot.ID)
			return nil
		})
	}
	return cmd
}

// bottleNamed reads a bottle's tag, or LOT#N.
func (a *app) bottleNamed(text string) (func(context.Context, *store.DB) (larder.Tag, error), error) {
	lot, number, byNumber := strings.Cut(text, "#")
	if !byNumber {
		tag, err := a.anyTag(text)
		if err == nil && !tag.IsBottle() {
			err = &usageError{message: string(tag) + " is a jar's tag; name a bottle."}
		}
		return func(context.Context, *store.DB) (larder.Tag, error) { return tag, nil }, err
	}
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 || !lotMark().MatchString(lot) {
		return nil, &usageError{message: fmt.Sprintf("%q is not a bottle; write the tag on its label, or lot and number like L261125A#3.", text)}
	}
	return func(ctx context.Context, db *store.DB) (larder.Tag, error) {
		l, err := db.Lot(ctx, strings.ToUpper(lot))
		if err != nil {
			return "", err
		}
		for _, b := range l.Bottles {
			if b.Number == n {
				return b.Tag, nil
			}
		}
		return "", &larder.NotFoundError{What: "bottle", ID: text}
	}, nil
}
