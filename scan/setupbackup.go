package scan

import (
	"context"
	"fmt"
	"path/filepath"
	"time"

	"cruet/internal/store"
)

// backupCheck says how the backups stand. It names files and never folders: a page
// tells nothing of how this machine is laid out.
type backupCheck struct {
	Says  string
	File  string // empty: there is none
	Wrong bool   // somebody has to do something
	Do    string
}

// backupOld is when a daily backup is one that did not come.
const backupOld = 48 * time.Hour

func (p *Pages) checkBackups(ctx context.Context) (backupCheck, error) {
	last, err := p.DB.LastBackup(ctx)
	if err != nil {
		return backupCheck{}, err
	}
	return backupSays(last, p.clock()), nil
}

func backupSays(last store.LastBackup, now time.Time) backupCheck {
	const never = "No good backup yet."
	v := backupCheck{Says: never}
	age := now.Sub(last.At)
	if !last.At.IsZero() {
		v.Says, v.File = "Last good backup "+agoBy(age)+":", filepath.Base(last.Path)
	}
	switch {
	case !last.FailedAt.IsZero():
		what, do := failureWords(last.Why)
		v.Wrong, v.Do = true, fmt.Sprintf("The one tried %s failed: %s. %s", agoBy(now.Sub(last.FailedAt)), what, do)
	case last.At.IsZero():
		v.Do = "The station makes one a day while it runs, unless it was started with --no-backups. “cruet backup FILE” makes one now."
	case age > backupOld:
		v.Wrong, v.Do = true, "The station makes one a day while it runs: leave it on, and start it without --no-backups. “cruet backup FILE” makes one now."
	default:
		v.Do = "Copy it to another disk or another house now and then: a backup on the same disk dies with it."
	}
	return v
}

// failureWords are what went wrong with a backup, and what to do.
func failureWords(why store.BackupTrouble) (what, do string) {
	switch why {
	case store.BackupNoRoom:
		return "the disk is full", "Make room on it, or keep fewer with “serve --keep”; the station tries again within ten minutes."
	case store.BackupNotAllowed:
		return "the station may not write into the folder for backups", "Let the user that it runs as write there, or name another folder with “serve --backups DIR”; it tries again within ten minutes."
	case store.BackupNoFolder:
		return "the folder for backups is not there, or is no folder", "Plug its disk in, make the folder on it, or name another with “serve --backups DIR”; the station tries again within ten minutes."
	case store.BackupDamaged:
		return "what was written could not be read back whole", "The disk may be failing: run “cruet check”, and make a backup on another disk with “cruet backup FILE”."
	}
	return "the reason is in the station's own output", "Read it there, then try “cruet backup FILE”; the station tries again within ten minutes."
}

// agoBy tells roughly how long ago something was. A clock that was set back since
// makes no negative age.
func agoBy(d time.Duration) string {
	switch {
	case d < time.Minute:
		return "just now"
	case d < 90*time.Minute:
		return fmt.Sprintf("%d min ago", int(d.Minutes()))
	case d < backupOld:
		return fmt.Sprintf("%d h ago", int(d.Hours()))
	}
	return fmt.Sprintf("%d days ago", int(d.Hours()/24))
}
