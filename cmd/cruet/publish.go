package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/labels"
)

const publishedName = "index.html"

func (a *app) publishCommand() *cobra.Command {
	var dir string
	var withdraw bool
	cmd := &cobra.Command{
		Use: "publish [LOT|BOTTLE...]", Short: "Write the pages of bottles as a site for any web host",
		Long: `Write the pages of the given bottles below a folder that a web host can carry: plain
HTML, no script, nothing of other jars or of who got what, not for search engines.
Without a LOT or BOTTLE the pages that are there are written afresh, so that a hold
reaches them. --withdraw takes pages away. A page is there whole or not at all.

Copy the folder to where the kitchen's public address points; then labels of the
kind "link" open it.`,
		Example: `  cruet publish --to site L261125A
  cruet publish --to site
  cruet publish --to site --withdraw L261125A#3`,
		Args: cobra.ArbitraryArgs,
	}
	cmd.Flags().StringVar(&dir, "to", "", "`DIR` of the site")
	cmd.Flags().BoolVar(&withdraw, "withdraw", false, "take the pages of these bottles away")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		switch {
		case dir == "":
			return &usageError{message: "--to is missing: the DIR of the site."}
		case withdraw && len(args) == 0:
			return &usageError{message: "Say which LOT or BOTTLE to withdraw."}
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			s := site{a: a, r: r, dir: filepath.Join(dir, larder.PublicFolder)}
			if len(args) == 0 {
				var err error
				if args, err = s.published(); err != nil {
					return err
				}
			}
			bottles, err := s.named(ctx, args)
			if err != nil {
				return err
			}
			if withdraw {
				return s.withdraw(bottles)
			}
			return s.publish(bottles)
		})
	}
	return cmd
}

// site is the folder of bottles' pages.
type site struct {
	a   *app
	r   room
	dir string
}

func (s site) page(tag larder.Tag) string {
	return filepath.Join(s.dir, string(tag), publishedName)
}

// published lists the tags of the pages that are there.
func (s site) published() ([]string, error) {
	entries, err := os.ReadDir(s.dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	var tags []string
	for _, e := range entries {
		if tag, _, err := larder.ParseTag(e.Name()); err == nil && e.IsDir() && tag.IsBottle() {
			tags = append(tags, string(tag))
		}
	}
	if len(tags) == 0 {
		return nil, fail(`Name a LOT or BOTTLE to publish; "cruet lots" lists what was bottled.`, "There are no pages in %s to write afresh.", s.dir)
	}
	return tags, nil
}

// named finds the record of every bottle, before anything is written.
func (s site) named(ctx context.Context, args []string) ([]labels.Filled, error) {
	var out []labels.Filled
	for _, arg := range args {
		lotID, only := strings.ToUpper(arg), larder.Tag("")
		if !lotMark().MatchString(arg) {
			find, err := s.a.bottleNamed(arg)
			if err != nil {
				return nil, err
			}
			if only, err = find(ctx, s.r.db); err != nil {
				return nil, err
			}
			p, err := s.r.db.BottleByTag(ctx, only)
			if err != nil {
				return nil, err
			}
			lotID = p.Lot.ID
		}
		l, err := s.r.db.Lot(ctx, lotID)
		if err != nil {
			return nil, err
		}
		record, err := filled(ctx, s.r, l, "")
		if err != nil {
			return nil, err
		}
		for _, b := range l.Bottles {
			if only == "" || b.Tag == only {
				record.Bottle = b
				out = append(out, record)
			}
		}
	}
	return out, nil
}

func (s site) publish(bottles []labels.Filled) error {
	pages := make([]bytes.Buffer, len(bottles))
	for i, f := range bottles {
		public, err := labels.PublicOf(f)
		if err != nil {
			return err
		}
		if err := labels.WritePublic(&pages[i], public); err != nil {
			return err
		}
		if err := s.ours(s.page(f.Bottle.Tag), true); err != nil {
			return err
		}
	}
	var door bytes.Buffer
	if err := labels.WritePublicDoor(&door, s.r.kitchen.Name); err != nil {
		return err
	}
	doors := []string{filepath.Join(filepath.Dir(s.dir), publishedName), filepath.Join(s.dir, publishedName)}
	if err := os.MkdirAll(s.dir, 0o755); err != nil {
		return err
	}
	for i, f := range bottles {
		if err := os.MkdirAll(filepath.Dir(s.page(f.Bottle.Tag)), 0o755); err != nil {
			return err
		}
		if err := (outFile{name: s.page(f.Bottle.Tag)}).write(nil, pages[i].Bytes()); err != nil {
			return err
		}
	}
	for i, path := range doors {
		// The site's own front page stays; a list of the bottles must not.
		if err := s.ours(path, true); err != nil && i == 0 {
			continue
		}
		if err := (outFile{name: path}).write(nil, door.Bytes()); err != nil {
			return err
		}
	}
	fmt.Fprintf(s.a.out, "%s: %s written.\n", s.dir, plural(len(bottles), "page"))
	if s.r.kitchen.PublicAddress == "" {
		fmt.Fprintln(s.a.out, `Say where a web host carries them: cruet kitchen --public-address https://...`)
	} else {
		fmt.Fprintf(s.a.out, "The first is %s once the folder is carried there.\n", s.r.kitchen.PublicLink(bottles[0].Bottle.Tag))
	}
	return nil
}

// ours refuses to touch a file that this command did not write.
func (s site) ours(path string, mayMiss bool) error {
	data, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist) && mayMiss:
		return nil
	case errors.Is(err, fs.ErrNotExist):
		return fail("Nothing was withdrawn. Without a LOT or BOTTLE, \"cruet publish\" tells which pages are there.", "%s is not there: that bottle is not published in this folder.", path)
	case err != nil:
		return err
	case !bytes.Contains(data, []byte(labels.PublicMark)):
		return fail("Nothing was changed. Move it away, or publish to another folder.", "%s was not written by this program.", path)
	}
	return nil
}

func (s site) withdraw(bottles []labels.Filled) error {
	for _, f := range bottles {
		if err := s.ours(s.page(f.Bottle.Tag), false); err != nil {
			return err
		}
	}
	for _, f := range bottles {
		if err := os.Remove(s.page(f.Bottle.Tag)); err != nil {
			return err
		}
		// What else lies in the folder is not ours; then it stays.
		if err := os.Remove(filepath.Dir(s.page(f.Bottle.Tag))); err != nil && !errors.Is(err, fs.ErrExist) && !isNotEmpty(err) {
			return err
		}
	}
	fmt.Fprintf(s.a.out, "%s: %s withdrawn. Copy the folder to the web host again, so that they are gone there too.\n", s.dir, plural(len(bottles), "page"))
	return nil
}

func isNotEmpty(err error) bool { return strings.Contains(err.Error(), "not empty") }

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
