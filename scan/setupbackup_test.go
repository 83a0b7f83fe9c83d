package scan

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"cruet/internal/store"
)

// The page of settings tells how the backups stand, by the records' own note of
// them: none yet, a fresh one, an old one, and a failure since.
func TestSetUpTellsOfBackups(t *testing.T) {
	s, ctx := newStation(t), context.Background()
	const alarm = "Backups need a hand"
	s.get("/setup").wants(200, "No good backup yet", "cruet backup FILE").lacks(alarm)

	dir := filepath.Join(s.db.Dir(), store.BackupFolder)
	made, err := s.db.DailyBackup(ctx, dir, store.UsualKeep)
	if err != nil {
		t.Fatal(err)
	}
	s.move(s.now().Add(3*time.Hour + 10*time.Minute))
	fresh := s.get("/setup").wants(200, "Last good backup 3 h ago", filepath.Base(made)).lacks(alarm)
	if strings.Contains(fresh.Body.String(), dir) {
		t.Error("the page tells the folder")
	}

	s.move(s.now().Add(4 * 24 * time.Hour))
	s.get("/setup").wants(200, alarm, "Last good backup 4 days ago", filepath.Base(made), "--no-backups")
	// One that waits for a quiet minute is none yet.
	if off, err := s.db.PutOffBackup(ctx, dir); err != nil || !off {
		t.Fatalf("%v, %v", off, err)
	}
	s.get("/setup").wants(200, alarm, "Last good backup 4 days ago", filepath.Base(made), "--no-backups")

	blocked := filepath.Join(s.db.Dir(), "blocked")
	if err := os.WriteFile(blocked, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := s.db.DailyBackup(ctx, blocked, store.UsualKeep); err == nil {
		t.Fatal("a backup into a file went well")
	}
	s.move(s.now().Add(5 * time.Minute))
	failed := s.get("/setup").wants(200, alarm, "Last good backup 4 days ago", "5 min ago failed", "is no folder", "serve --backups DIR")
	if strings.Contains(failed.Body.String(), blocked) {
		t.Error("the page tells the folder")
	}

	stick := filepath.Join(t.TempDir(), "stick")
	if _, err := s.db.DailyBackup(ctx, stick, store.UsualKeep); err == nil {
		t.Fatal("a backup on a disk that is not there went well")
	}
	if s.get("/setup").wants(200, alarm, "just now failed", "is not there", "Plug its disk in"); strings.Contains(s.get("/setup").Body.String(), stick) {
		t.Error("the page tells the folder")
	}

	// A good one ends the alarm.
	if _, err := s.db.DailyBackup(ctx, dir, store.UsualKeep); err != nil {
		t.Fatal(err)
	}
	s.get("/setup").wants(200, "Last good backup just now").lacks(alarm, "failed")
}

// Each kind of failure says what happened and what to do, and no path.
func TestBackupFailuresSayWhatToDo(t *testing.T) {
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	for why, want := range map[store.BackupTrouble]string{
		store.BackupNoRoom: "disk is full", store.BackupNotAllowed: "may not write", store.BackupNoFolder: "not there", store.BackupDamaged: "cruet check", "": "own output",
	} {
		v := backupSays(store.LastBackup{FailedAt: now.Add(-time.Hour), Failure: "/secret/place: some failure", Why: why}, now)
		if !v.Wrong || !strings.Contains(v.Do, want) || strings.Contains(v.Do, "secret") || !strings.Contains(v.Says, "No good backup yet") || v.File != "" {
			t.Errorf("%q: %+v, want %q", why, v, want)
		}
	}
	for ago, want := range map[time.Duration]string{-time.Hour: "just now", 59 * time.Second: "just now", 89 * time.Minute: "89 min ago", 90 * time.Minute: "1 h ago", 47 * time.Hour: "47 h ago", 49 * time.Hour: "2 days ago"} {
		if got := agoBy(ago); got != want {
			t.Errorf("%s: %q, want %q", ago, got, want)
		}
	}
}
