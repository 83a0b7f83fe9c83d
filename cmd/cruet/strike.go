package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/store"
)

func (a *app) strikeCommand() *cobra.Command {
	var f actFlags
	cmd := &cobra.Command{
		Use: "strike ENTRY|TAG#N", Short: "Take back a wrong entry; it stays readable",
		Long: `Strike an entry that is wrong. It stays in the history, struck through, with your
reason beside it, and the jar's state is derived without it. An addition is struck
in both jars. Name the entry by its id, or by its number in "cruet show TAG".

A line of a table that "cruet import readings" read is struck alone; --whole-table
strikes all lines of its table.`,
		Example: `  cruet strike K7RM74#7 --reason "read the wrong jar"
  cruet strike K7RM74#7 --whole-table --reason "another kitchen's table"`,
		Args: exactly("The ENTRY"),
	}
	reason := cmd.Flags().String("reason", "", "`TEXT` saying what was wrong")
	table := cmd.Flags().Bool("whole-table", false, "strike all that was read from the same table")
	f.add(cmd, false)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		find, err := a.entryNamed(args[0])
		if err != nil {
			return err
		}
		act, err := f.act()
		if err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			id, err := find(ctx, r.db)
			if err != nil {
				return err
			}
			if *table {
				return a.strikeTable(ctx, r, act, id, *reason, *asJSON)
			}
			saved, err := r.db.Strike(ctx, act, id, *reason)
			if err != nil {
				return err
			}
			return a.printStruck(ctx, r, saved, *asJSON)
		})
	}
	return cmd
}

func (a *app) strikeTable(ctx context.Context, r room, act larder.Act, id uuid.UUID, reason string, asJSON bool) error {
	t, err := r.db.StrikeTable(ctx, act, id, reason)
	if err != nil {
		return err
	}
	if asJSON {
		return a.printJSON(t)
	}
	a.saidBefore(t.Replayed)
	if !t.Replayed {
		_, err = fmt.Fprintf(a.out, "Struck: %s of the table, in %s.\n", plural(t.Lines, "line"), plural(t.Jars, "jar"))
	}
	return err
}

// entryNamed reads an entry's id, or TAG#N.
func (a *app) entryNamed(text string) (func(context.Context, *store.DB) (uuid.UUID, error), error) {
	typed, number, byNumber := strings.Cut(text, "#")
	switch {
	case lotMark().MatchString(typed) && byNumber:
		return nil, &usageError{message: text + " is a bottle, which has no log of its own.", hint: fmt.Sprintf("Was it given by mistake? cruet give back %s --reason TEXT. Was the lot never bottled? Strike that entry of its jar: cruet show %s tells which.", text, typed)}
	case lotMark().MatchString(typed):
		return nil, &usageError{message: typed + " is a lot; a bottling is struck by its entry in a jar's log.", hint: fmt.Sprintf("\"cruet show %s\" names its jars, \"cruet show TAG\" the entry's number.", typed)}
	}
	if !byNumber {
		id, err := uuid.Parse(text)
		if err != nil {
			return nil, &usageError{message: fmt.Sprintf("%q is not an entry's id; write the id, or the tag and the number like K7RM74#7.", text)}
		}
		return func(context.Context, *store.DB) (uuid.UUID, error) { return id, nil }, nil
	}
	tag, err := a.jarTag(typed)
	if err != nil {
		return nil, err
	}
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 {
		return nil, &usageError{message: fmt.Sprintf("%q is not an entry's number; \"cruet show %s\" shows them.", number, tag)}
	}
	return func(ctx context.Context, db *store.DB) (uuid.UUID, error) {
		_, log, err := wholeHistory(ctx, db, tag)
		if err != nil {
			return uuid.Nil, err
		}
		for _, e := range log {
			if e.N == n {
				return e.ID, nil
			}
		}
		return uuid.Nil, &larder.NotFoundError{What: "entry", ID: fmt.Sprintf("%s#%d", tag, n)}
	}, nil
}

// printStruck says all that a strike took back: what the struck act wrote into each
// jar, the lot that it bottled, and how the named jar stands without it.
func (a *app) printStruck(ctx context.Context, r room, saved store.Saved, asJSON bool) error {
	struck, err := struckWith(ctx, r.db, saved.Entry)
	if err != nil {
		return err
	}
	if asJSON {
		return a.printJSON(map[string]any{"entry": saved.Entry, "state": saved.After, "replayed": saved.Replayed, "struck": struck})
	}
	s := r.speech()
	for _, e := range struck {
		fmt.Fprintf(a.out, "Struck of jar %s, %s: %s.\n", e.Jar, e.When.In(r.loc), oneLine(s.body(e.Body)))
		switch b := e.Body.(type) {
		case larder.Transfer:
			if b.Lot != "" {
				fmt.Fprintf(a.out, "Lot %s is struck with it: its bottles do not exist.\n", b.Lot)
			}
		case larder.StageChange:
			if b.From == "" {
				fmt.Fprintf(a.out, "Jar %s is struck with it: nothing was poured into it.\n", e.Jar)
			}
		}
	}
	before, after := saved.Before, saved.After
	if before.Stage != after.Stage {
		fmt.Fprintf(a.out, "Jar %s is %s again.\n", saved.Entry.Jar, after.Stage)
	}
	if was, is := s.volume(before.VolumeML), s.volume(after.VolumeML); was != is {
		fmt.Fprintf(a.out, "It holds %s, not %s.\n", is, was)
	}
	if before.Acidity != nil && after.Acidity == nil {
		fmt.Fprintln(a.out, "Its acidity is not measured any more.")
	}
	return a.printSaved(ctx, r, saved, false)
}

// struckWith lists what a strike took back, that of the named jar first.
func struckWith(ctx context.Context, db *store.DB, strike larder.Entry) ([]larder.Entry, error) {
	b, ok := strike.Body.(larder.Strike)
	if !ok {
		return nil, nil
	}
	target, err := db.Entry(ctx, b.Target)
	if err != nil {
		return nil, err
	}
	all, err := db.StruckTogether(ctx, target)
	slices.SortStableFunc(all, func(x, y larder.Entry) int {
		return cmp.Compare(btoi(x.Jar != strike.Jar), btoi(y.Jar != strike.Jar))
	})
	return all, err
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}
