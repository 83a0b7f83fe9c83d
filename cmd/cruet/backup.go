package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cruet/internal/store"
)

func (a *app) backupCommand() *cobra.Command {
	var checkOnly bool
	cmd := &cobra.Command{
		Use: "backup FILE", Short: "Write all records and photos into one file",
		Long: `Write all records and photos into one file, as of one moment, also while the station
runs. It is written beside its place, synced and renamed, then opened again and
counted. A FILE that is there already is never replaced. The station makes one a day
by itself; "cruet serve --help" says where.

Keep copies elsewhere: a backup on the same disk dies with it. The file is an
uncompressed ZIP: cruet.db, photos, manifest.json. --check reads one and changes
nothing.`,
		Example: `  cruet backup /mnt/stick/cruet.zip
  cruet backup --check /mnt/stick/cruet.zip`,
		Args: exactly("The FILE"),
	}
	cmd.Flags().BoolVar(&checkOnly, "check", false, "read FILE, a backup, and tell whether it is whole")
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		file := args[0]
		if checkOnly {
			m, err := store.VerifyBackup(cmd.Context(), file)
			if err != nil {
				return backupTrouble(err)
			}
			return a.printManifest(file, "is whole", m, *asJSON)
		}
		if _, err := os.Lstat(file); err == nil {
			return fail("Name another FILE, or move this one away.", "%s is there already; nothing was written.", file)
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			m, err := r.db.Backup(ctx, file)
			if err != nil {
				return backupTrouble(err)
			}
			return a.printManifest(file, "was written and read again", m, *asJSON)
		})
	}
	return cmd
}

func (a *app) restoreCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "restore FILE", Short: "Put a backup into a new folder of records",
		Long: `Put a backup into the folder that --data names. The folder must not be there yet, or
be empty: nothing is ever overwritten. It is there whole or not at all.`,
		Example: `  cruet restore /mnt/stick/cruet.zip --data /srv/cruet`,
		Args:    exactly("The FILE"),
	}
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if a.data == "" {
			return &usageError{message: "--data is missing: the DIR to restore into."}
		}
		m, err := store.Restore(cmd.Context(), args[0], a.data)
		if err != nil {
			return backupTrouble(err)
		}
		return a.printManifest(a.data, "holds what "+filepath.Base(args[0])+" held", m, *asJSON)
	}
	return cmd
}

// backupTrouble adds what to do.
func backupTrouble(err error) error {
	var bad *store.DamagedBackupError
	var full *store.NotEmptyError
	switch {
	case errors.As(err, &bad):
		return &hinted{bad, "Nothing was changed. Take an older backup, or copy this one from where it was made again."}
	case errors.As(err, &full):
		return &hinted{full, "Name a folder that is not there yet with --data."}
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, fs.ErrPermission):
		return &hinted{err, "Check that the file and its folder are there and may be read and written."}
	}
	return err
}

func (a *app) printManifest(what, how string, m store.Manifest, asJSON bool) error {
	if asJSON {
		return a.printJSON(m)
	}
	_, err := fmt.Fprintf(a.out, "%s %s: %s, %s, %d entries, %s, %s, %s, of %s.\n", what, how, batches(m.Batches), plural(m.Jars, "jar"), m.Entries, plural(m.Lots, "lot"), plural(m.Bottles, "bottle"), plural(m.Photos, "photo"),
		m.Made.Local().Format("2 Jan 2006, 15:04"))
	return err
}

func batches(n int) string {
	if n == 1 {
		return "1 batch"
	}
	return fmt.Sprintf("%d batches", n)
}

// parseKeep reads "7d 5w 12m".
func parseKeep(text string) (store.Keep, error) {
	var k store.Keep
	for _, word := range strings.Fields(strings.ReplaceAll(text, ",", " ")) {
		n, err := strconv.Atoi(word[:len(word)-1])
		into, ok := map[byte]*int{'d': &k.Days, 'w': &k.Weeks, 'm': &k.Months}[word[len(word)-1]]
		if err != nil || !ok || n < 0 || n > 10_000 {
			return k, fmt.Errorf(`%q is not understood; write like "7d 5w 12m": that many days, weeks and months`, word)
		}
		*into = n
	}
	if k == (store.Keep{}) {
		return k, errors.New(`nothing would be kept; write like "7d 5w 12m"`)
	}
	return k, nil
}

// backups makes the daily backups of a station until it stops. One that is due waits
// until nobody has asked the station for anything for a minute, five minutes at most:
// copying the records of many years takes a small computer a minute, in which each
// page takes several times as long, and whoever starts the station opens it next. A
// station that stops while one waits makes it then, if it can be done soon; else the
// next start makes it at once.
type backups struct {
	dir   string
	keep  store.Keep
	say   func(format string, args ...any)
	now   func() time.Time
	used  func() time.Time // when the station was last asked for something; zero: not yet
	began time.Time        // the station
	waits time.Time        // since when one that is due waits; zero: none does
}

const (
	backupLook     = 10 * time.Minute
	backupPeek     = 5 * time.Second // while one waits
	backupQuiet    = time.Minute
	backupPatience = 5 * time.Minute
	backupStopping = 10 * time.Second // it may take so long at the end
)

func (b *backups) run(ctx context.Context, db *store.DB) {
	b.began = b.now()
	for {
		next := b.look(ctx, db)
		select {
		case <-ctx.Done():
			b.stop(db)
			return
		case <-time.After(next):
		}
	}
}

// look makes a backup when it is time for one, and tells when to look again.
func (b *backups) look(ctx context.Context, db *store.DB) time.Duration {
	if b.wait(ctx, db) {
		return backupPeek
	}
	b.waits = time.Time{}
	b.make(ctx, db)
	return backupLook
}

// wait tells whether the next backup, if it is due, had better wait.
func (b *backups) wait(ctx context.Context, db *store.DB) bool {
	now := b.now()
	quiet := b.began
	if used := b.used(); used.After(quiet) {
		quiet = used
	}
	if now.Sub(quiet) >= backupQuiet {
		return false
	}
	if b.waits.IsZero() {
		// A station that stops at this moment knows that one waits, and makes it.
		if off, err := db.PutOffBackup(context.WithoutCancel(ctx), b.dir); err != nil || !off { // trouble is told by trying
			return false
		}
		b.waits = now
	}
	waited := now.Sub(b.waits)
	return waited >= 0 && waited < backupPatience // a clock may be set back
}

// stop makes the backup that waits.
func (b *backups) stop(db *store.DB) {
	if b.waits.IsZero() {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), backupStopping)
	defer cancel()
	b.make(ctx, db)
}

func (b *backups) make(ctx context.Context, db *store.DB) {
	switch made, err := db.DailyBackup(ctx, b.dir, b.keep); {
	case made != "" && err == nil:
		b.say("backup: %s", made)
	case ctx.Err() != nil: // cut off by the station's end
	case err != nil:
		b.say("the daily backup failed: %s", oneLine(err.Error()))
	}
}
