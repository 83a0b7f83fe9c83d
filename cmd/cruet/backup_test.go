package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"cruet/internal/store"
)

// stationBackups are a station's backups by a clock that the test moves.
type stationBackups struct {
	t         *testing.T
	db        *store.DB
	now, used time.Time
	said      []string
	b         *backups
}

func backupStation(t *testing.T, dir string, at time.Time) *stationBackups {
	t.Helper()
	s := &stationBackups{t: t, now: at}
	db, err := store.Open(context.Background(), dir, store.Options{Now: func() time.Time { return s.now }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	s.db = db
	s.start()
	return s
}

// start starts the station again on the same records.
func (s *stationBackups) start() {
	s.used, s.said = time.Time{}, nil
	s.b = &backups{dir: filepath.Join(s.db.Dir(), store.BackupFolder), keep: store.UsualKeep, began: s.now,
		now: func() time.Time { return s.now }, used: func() time.Time { return s.used },
		say: func(format string, args ...any) { s.said = append(s.said, fmt.Sprintf(format, args...)) }}
}

// looks passes a time in which the station looks as often as it says, while it is
// used or not, and tells how long it took until a backup was made, or -1.
func (s *stationBackups) looks(during time.Duration, inUse bool) time.Duration {
	s.t.Helper()
	before := len(s.made())
	for begun := s.now; s.now.Sub(begun) <= during; {
		if inUse {
			s.used = s.now
		}
		next := s.b.look(context.Background(), s.db)
		if n := len(s.made()); n > before {
			return s.now.Sub(begun)
		}
		s.now = s.now.Add(next)
	}
	return -1
}

func (s *stationBackups) made() []string {
	found, err := filepath.Glob(filepath.Join(s.b.dir, "cruet-*.zip"))
	if err != nil {
		s.t.Fatal(err)
	}
	return found
}

// The first pages do not share the computer with a backup: one that is due waits until
// the station was left alone for a minute, five at most.
func TestBackupWaitsForAQuietMinute(t *testing.T) {
	morning := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name  string
		inUse bool
		want  time.Duration
	}{{"nobody asks", false, backupQuiet}, {"somebody asks all the time", true, backupPatience}} {
		s := backupStation(t, t.TempDir(), morning)
		if took := s.looks(time.Hour, c.inUse); took != c.want {
			t.Errorf("%s: the first was made after %v, want %v", c.name, took, c.want)
		}
		if took := s.looks(23*time.Hour, c.inUse); took >= 0 {
			t.Errorf("%s: another after %v more", c.name, took)
		}
		// The next is due a day after the first. It is seen at the next look, ten minutes
		// later at most.
		first, err := s.db.LastBackup(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if s.looks(2*time.Hour, c.inUse) < 0 {
			t.Errorf("%s: none on the next day", c.name)
		}
		late := s.now.Sub(first.At.Add(24 * time.Hour))
		most := backupLook
		if c.inUse {
			most += backupPatience
		}
		if late < 0 || late > most {
			t.Errorf("%s: the second came %v after it was due, want %v at most", c.name, late, most)
		}
	}
	// Used for two minutes and then left alone: a minute later.
	s := backupStation(t, t.TempDir(), morning)
	if took := s.looks(2*time.Minute, true); took >= 0 {
		t.Errorf("made after %v of use", took)
	}
	left := s.used
	if s.looks(time.Hour, false) < 0 || s.now.Sub(left) < backupQuiet || s.now.Sub(left) > backupQuiet+backupPeek {
		t.Errorf("made %v after it was used last", s.now.Sub(left))
	}
}

// A station that is never on for long makes its backups too: the one that waits is
// made when it stops, and when that is cut short, at the next start at once.
func TestBackupOfAStationThatIsOftenRestarted(t *testing.T) {
	s := backupStation(t, t.TempDir(), time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC))
	for day := range 4 { // on for half a minute, four times an hour, and cut off
		before := s.made()
		for start := range 6 {
			s.start()
			s.looks(30*time.Second, true)
			if now := s.made(); start == 0 && len(now) > len(before) {
				t.Errorf("day %d: the first start of the day did not wait", day)
			} else if start == 1 && len(now) != len(before)+1 {
				t.Errorf("day %d: the second start made no backup", day)
			}
			s.now = s.now.Add(10 * time.Minute)
		}
		if len(s.made()) != len(before)+1 {
			t.Errorf("day %d: %d backups more", day, len(s.made())-len(before))
		}
		s.now = s.now.Add(24 * time.Hour)
	}
	// On once a day, and stopped in order.
	for day := range 4 {
		before := s.made()
		s.start()
		if took := s.looks(30*time.Second, true); took >= 0 {
			t.Errorf("day %d: made after %v", day, took)
		}
		s.b.stop(s.db)
		if now := s.made(); now[len(now)-1] == before[len(before)-1] || len(s.said) != 1 {
			t.Errorf("day %d: %v, then %v: %q", day, before, now, s.said)
		}
		if last, err := s.db.LastBackup(context.Background()); err != nil || !last.At.Equal(s.now.Truncate(time.Second)) || !last.PutOffAt.IsZero() {
			t.Errorf("day %d: the last is %+v, %v", day, last, err)
		}
		s.b.waits = time.Time{} // what the end of the program forgets
		s.now = s.now.Add(24 * time.Hour)
	}
	// Where none is due, none is made at the end.
	s.start()
	s.looks(10*time.Minute, true)
	said := len(s.said)
	s.b.stop(s.db)
	s.start()
	s.looks(10*time.Second, true)
	s.b.stop(s.db)
	if said != 1 || len(s.said) != 0 {
		t.Errorf("said %d and %q", said, s.said)
	}
}

// What stands against a backup is told at once, and does not wait.
func TestBackupTroubleDoesNotWait(t *testing.T) {
	s := backupStation(t, t.TempDir(), time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC))
	s.b.dir = filepath.Join(t.TempDir(), "stick", "daily")
	if next := s.b.look(context.Background(), s.db); next != backupLook || len(s.said) != 1 {
		t.Errorf("looks again after %v: %q", next, s.said)
	}
	// Mended, it is made at the next look: enough time was lost.
	if err := os.MkdirAll(s.b.dir, 0o700); err != nil {
		t.Fatal(err)
	}
	s.now, s.used = s.now.Add(backupLook), s.now.Add(backupLook)
	if s.b.look(context.Background(), s.db); len(s.made()) != 1 {
		t.Errorf("%q", s.said)
	}
}

// A clock that is set back while a backup waits does not make it wait for that long.
func TestBackupAndAClockSetBack(t *testing.T) {
	s := backupStation(t, t.TempDir(), time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC))
	s.looks(time.Minute/2, true)
	s.now = s.now.Add(-3 * time.Hour)
	if took := s.looks(time.Minute, true); took != 0 {
		t.Errorf("made after %v", took)
	}
}
