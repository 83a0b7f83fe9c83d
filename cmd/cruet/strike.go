package main

import (
	"context"
	"fmt"
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
in both jars. Name the entry by its id, or by its number in "cruet show TAG".`,
		Example: `  cruet strike K7RM74#7 --reason "read the wrong jar"`,
		Args:    exactly("The ENTRY"),
	}
	reason := cmd.Flags().String("reason", "", "`TEXT` saying what was wrong")
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
			saved, err := r.db.Strike(ctx, act, id, *reason)
			if err != nil {
				return err
			}
			return a.printSaved(ctx, r, saved, *asJSON)
		})
	}
	return cmd
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
