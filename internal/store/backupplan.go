package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"cruet/internal/larder"
	"cruet/internal/lazy"
)

// BackupFolder is where a station keeps its daily backups, in the data folder,
// unless it is told another place.
const BackupFolder = "backups"

// LastBackup is the newest good backup that was made of these records, and the
// failure that came after it, if any.
type LastBackup struct {
	At       time.Time `json:"at"`   // zero: there was never one
	Path     string    `json:"path"` // where it was put
	Entries  int       `json:"entries"`
	Photos   int       `json:"photos"`
	FailedAt time.Time `json:"failed_at"` // zero: nothing failed since
	Failure  string    `json:"failure,omitempty"`
	// Why is the failure's kind. Failure may hold paths, which no page tells.
	Why BackupTrouble `json:"why,omitempty"`
	// PutOffAt is when a station put one off that was due and has not been made since.
	PutOffAt time.Time `json:"put_off_at,omitzero"`
}

// BackupTrouble is a kind of failure that somebody can mend; empty: another one.
type BackupTrouble string

// The kinds of failure of a backup.
const (
	BackupNoRoom     BackupTrouble = "no room"
	BackupNotAllowed BackupTrouble = "not allowed"
	BackupNoFolder   BackupTrouble = "no folder"
	BackupDamaged    BackupTrouble = "damaged"
)

func troubleOf(err error) BackupTrouble {
	var bad *DamagedBackupError
	switch fault := faultOf(err); {
	case errors.As(err, &bad), fault == larder.DiskFails:
		return BackupDamaged
	case fault == larder.DiskFull:
		return BackupNoRoom
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, fs.ErrExist), errors.Is(err, syscall.ENOTDIR):
		return BackupNoFolder
	case fault == larder.ReadOnly:
		return BackupNotAllowed
	}
	return ""
}

// LastBackup tells of the newest good backup.
func (db *DB) LastBackup(ctx context.Context) (LastBackup, error) {
	return lastBackup(ctx, db.read)
}

func lastBackup(ctx context.Context, q querier) (LastBackup, error) {
	var out LastBackup
	var text string
	err := q.QueryRowContext(ctx, `SELECT value FROM setting WHERE name = ?`, backupSettings).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return out, nil
	}
	if err == nil {
		err = json.Unmarshal([]byte(text), &out)
	}
	if err != nil {
		return out, fmt.Errorf("store: the last backup: %w", err)
	}
	return out, nil
}

func (db *DB) noteBackup(ctx context.Context, path string, m Manifest) error {
	full, err := filepath.Abs(path)
	if err != nil {
		full = path
	}
	return setLastBackup(ctx, db.write, LastBackup{At: m.Made, Path: full, Entries: m.Entries, Photos: m.Photos})
}

func setLastBackup(ctx context.Context, t execer, b LastBackup) error {
	text, err := json.Marshal(b)
	if err == nil {
		_, err = t.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value`, backupSettings, string(text))
	}
	if err != nil {
		return fmt.Errorf("store: the last backup: %w", err)
	}
	return nil
}

// Keep says how many backups stay: one of each of the newest days, weeks and
// months that have one. The newest always stays.
type Keep struct{ Days, Weeks, Months int }

// UsualKeep is what a station keeps unless it is told otherwise.
var UsualKeep = Keep{Days: 7, Weeks: 5, Months: 12}

// DailyBackup makes a backup in a folder unless there is one of the last 24 hours
// in it already, and then removes those that the rule does not keep. made is
// empty when none was due. A failure is kept with the records, too. A folder outside
// the data folder has to be there: see backupFolder.
func (db *DB) DailyBackup(ctx context.Context, dir string, keep Keep) (made string, err error) {
	now := db.now().UTC()
	have, due, err := db.dueBackup(dir, now)
	if err != nil {
		return "", db.failedBackup(ctx, now, err)
	}
	if !due {
		return "", nil
	}
	if err := sweepBackups(dir, now); err != nil {
		return "", db.failedBackup(ctx, now, err)
	}
	made = filepath.Join(dir, now.Format(dailyLayout)+".zip")
	if _, err := db.Backup(ctx, made); err != nil {
		return "", db.failedBackup(ctx, now, err)
	}
	have = append(have, daily{made, now.Truncate(time.Second)})
	for _, old := range dropped(have, keep) {
		if err := os.Remove(old.path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return made, fmt.Errorf("store: removing an old backup: %w", err)
		}
	}
	return made, nil
}

// workFolders are those that a backup, and the reading of one, fill and remove again.
var workFolders = []string{".cruet-backup-*", ".cruet-verify-*"}

// sweepBackups removes the work of backups that were cut off with their program, each
// as large as all records. What is less than a day old may be somebody's who is at it.
func sweepBackups(dir string, now time.Time) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		ours := slices.ContainsFunc(workFolders, func(pattern string) bool { ok, _ := filepath.Match(pattern, e.Name()); return ok })
		if !ours || !e.IsDir() {
			continue
		}
		if info, err := e.Info(); err != nil || now.Sub(info.ModTime()) < 24*time.Hour {
			continue
		}
		if err := os.RemoveAll(filepath.Join(dir, e.Name())); err != nil {
			return err
		}
	}
	return nil
}

// dueBackup lists a folder's daily backups, and tells whether the next is due.
func (db *DB) dueBackup(dir string, now time.Time) (have []daily, due bool, err error) {
	if err := db.backupFolder(dir); err != nil {
		return nil, false, err
	}
	if have, err = dailyBackups(dir); err != nil || len(have) == 0 {
		return have, true, err
	}
	const day = 24 * time.Hour
	// A clock that was set back must not stop the backups until it catches up.
	age := now.Sub(have[len(have)-1].at)
	return have, age >= day || age <= -day, nil
}

// PutOffBackup tells whether a daily backup may be made a little later: it is due,
// nothing stands against it, and none was put off already. That this one is, is kept,
// so that a station which is stopped before it makes it puts no second one off.
func (db *DB) PutOffBackup(ctx context.Context, dir string) (bool, error) {
	now := db.now().UTC()
	if _, due, err := db.dueBackup(dir, now); err != nil || !due {
		return false, err
	}
	off := false
	err := db.inTx(ctx, larder.Act{}, func(t *tx) error {
		last, err := lastBackup(ctx, t)
		if err != nil || !last.PutOffAt.IsZero() || !last.FailedAt.IsZero() {
			return err
		}
		off, last.PutOffAt = true, now
		return setLastBackup(ctx, t, last)
	})
	return off && err == nil, err
}

// NoBackupFolderError says that a folder for backups is not there, and was not made.
type NoBackupFolderError struct{ Dir string }

func (e *NoBackupFolderError) Error() string {
	return "the folder for backups, " + e.Dir + ", is not there, and was not made, since it may lie on a disk that is not plugged in. Plug that disk in, make the folder on it, or name another with --backups."
}

// Is makes it a missing file.
func (e *NoBackupFolderError) Is(target error) bool { return target == fs.ErrNotExist }

// backupFolder makes the folder for backups when it lies in the data folder. One
// that lies elsewhere is most likely on another disk: made while that is not plugged
// in, it would be on the very disk that the backups are to outlive.
func (db *DB) backupFolder(dir string) error {
	data, err := filepath.Abs(db.dir)
	if err != nil {
		return err
	}
	full, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	if within, err := filepath.Rel(data, full); err == nil && filepath.IsLocal(within) {
		return os.MkdirAll(full, 0o700)
	}
	_, err = os.Stat(full)
	if errors.Is(err, fs.ErrNotExist) {
		return &NoBackupFolderError{dir}
	}
	return err
}

func (db *DB) failedBackup(ctx context.Context, at time.Time, err error) error {
	e := db.inTx(ctx, larder.Act{}, func(t *tx) error {
		last, e := lastBackup(ctx, t)
		if e != nil {
			return e
		}
		last.FailedAt, last.Failure, last.Why = at, err.Error(), troubleOf(err)
		return setLastBackup(ctx, t, last)
	})
	return errors.Join(err, e)
}

// daily is a backup that was made by itself; nothing else in the folder is ever
// removed.
type daily struct {
	path string
	at   time.Time
}

const dailyLayout = "cruet-20060102-150405"

var dailyName = lazy.RE(`^(cruet-\d{8}-\d{6})\.zip$`)

// dailyBackups lists a folder's daily backups, the oldest first.
func dailyBackups(dir string) ([]daily, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var out []daily
	for _, e := range entries {
		m := dailyName().FindStringSubmatch(e.Name())
		if m == nil || !e.Type().IsRegular() {
			continue
		}
		if at, err := time.Parse(dailyLayout, m[1]); err == nil {
			out = append(out, daily{filepath.Join(dir, e.Name()), at})
		}
	}
	slices.SortFunc(out, func(a, b daily) int { return a.at.Compare(b.at) })
	return out, nil
}

// dropped are those of the backups, the oldest first, that the rule does not keep.
// Of a day, a week or a month the newest stays.
func dropped(all []daily, keep Keep) []daily {
	stays := map[string]bool{}
	for _, rule := range []struct {
		n      int
		period func(time.Time) string
	}{
		{keep.Days, func(t time.Time) string { return t.Format("2006-01-02") }},
		{keep.Weeks, func(t time.Time) string { y, w := t.ISOWeek(); return fmt.Sprintf("%d-%d", y, w) }},
		{keep.Months, func(t time.Time) string { return t.Format("2006-01") }},
	} {
		seen := map[string]bool{}
		for i := len(all) - 1; i >= 0 && len(seen) < rule.n; i-- {
			if p := rule.period(all[i].at); !seen[p] {
				seen[p], stays[all[i].path] = true, true
			}
		}
	}
	var out []daily
	for i, b := range all {
		if !stays[b.path] && i < len(all)-1 {
			out = append(out, b)
		}
	}
	return out
}
