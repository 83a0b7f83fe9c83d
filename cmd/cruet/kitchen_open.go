package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/store"
)

// dataDir is the folder of the records: --data, else Cruet's own among the
// user's data.
func (a *app) dataDir() (string, error) {
	if a.data != "" {
		return a.data, nil
	}
	return defaultDataDir(runtime.GOOS, os.Getenv)
}

func defaultDataDir(goos string, env func(string) string) (string, error) {
	dir := ""
	switch home := env("HOME"); {
	case goos == "windows":
		if base := env("LocalAppData"); base != "" {
			dir = filepath.Join(base, "Cruet")
		}
	case goos == "darwin" && home != "":
		dir = filepath.Join(home, "Library", "Application Support", "Cruet")
	// The XDG Base Directory Specification: a relative path is to be ignored.
	case filepath.IsAbs(env("XDG_DATA_HOME")):
		dir = filepath.Join(env("XDG_DATA_HOME"), "cruet")
	case home != "":
		dir = filepath.Join(home, ".local", "share", "cruet")
	}
	if dir == "" {
		return "", fail("Name a folder with --data DIR.", "The user's data folder is not known: no home folder is set.")
	}
	return dir, nil
}

// room is an open kitchen with what a command needs to know of it.
type room struct {
	db      *store.DB
	kitchen larder.Kitchen
	loc     *time.Location
}

// mode tells whether a command may make a kitchen where there is none. Only
// those that begin one may: a mistyped --data must not look like an empty shelf.
type mode int

const (
	existing mode = iota
	create
)

// inKitchen opens the records, does the act and closes them.
func (a *app) inKitchen(cmd *cobra.Command, m mode, do func(context.Context, room) error) (err error) {
	dir, err := a.dataDir()
	if err != nil {
		return err
	}
	if _, err := os.Stat(filepath.Join(dir, store.FileName)); m == existing && errors.Is(err, fs.ErrNotExist) {
		return fail(`Begin with "cruet start" or "cruet serve", or name the right folder with --data.`, "There are no records in %s.", dir)
	}
	ctx := cmd.Context()
	db, err := store.Open(ctx, dir, store.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	k, err := db.Kitchen(ctx)
	if err != nil {
		return err
	}
	return do(ctx, room{db: db, kitchen: k, loc: k.Location()})
}

// actFlags are the flags of every command that records something.
type actFlags struct{ when, by, key string }

func (f *actFlags) add(cmd *cobra.Command, withWhen bool) {
	if withWhen {
		cmd.Flags().StringVar(&f.when, "when", "", "`DATE` when it happened: \"about 22 Nov\", yesterday, 2026-11-22 (default: now)")
	}
	cmd.Flags().StringVar(&f.by, "by", "", "`INITIALS` of who did it (default: the environment's CRUET_BY)")
	cmd.Flags().StringVar(&f.key, "key", "", "`UUID` of this act, for scripts: the same key sent again saves once")
}

// act is the identity of the deed.
func (f actFlags) act() (larder.Act, error) {
	a := larder.Act{By: f.by}
	if a.By == "" {
		a.By = os.Getenv("CRUET_BY")
	}
	var err error
	if f.key == "" {
		a.Key, err = uuid.NewV7()
		return a, err
	}
	if a.Key, err = uuid.Parse(f.key); err != nil || a.Key == uuid.Nil {
		return a, wrongUse("--key", "%q is not a UUID. Leave the flag out and one is made.", f.key)
	}
	return a, nil
}

// date reads --when in the kitchen's zone.
func (f actFlags) date(r room) (larder.When, error) {
	w, err := larder.ParseWhen(f.when, time.Now(), r.loc)
	if err != nil {
		return w, wrongUse("--when", "%s", err)
	}
	return w, nil
}

// jsonFlag adds --json.
func jsonFlag(cmd *cobra.Command) *bool {
	return cmd.Flags().Bool("json", false, "print JSON, for scripts")
}

// printJSON prints v as indented JSON.
func (a *app) printJSON(v any) error {
	e := json.NewEncoder(a.out)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// jarTag reads a jar's tag from the command line, and says on stderr when a
// look-alike was read as the character that is printed.
func (a *app) jarTag(typed string) (larder.Tag, error) {
	tag, err := a.anyTag(typed)
	if err == nil && tag.IsBottle() {
		return "", &usageError{message: tag.Spaced() + " is a bottle's tag; a jar's is asked for here.", hint: `"cruet show" tells about a bottle.`}
	}
	return tag, err
}

func (a *app) anyTag(typed string) (larder.Tag, error) {
	tag, taken, err := larder.ParseTag(typed)
	if err != nil {
		return "", err
	}
	for _, t := range taken {
		fmt.Fprintf(a.err, "note: %c was read as %c, which is what labels print\n", t.Typed, t.As)
	}
	return tag, nil
}
