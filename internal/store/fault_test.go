package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"syscall"
	"testing"

	"cruet/internal/larder"
)

func faulted(t *testing.T, err error, want larder.Fault) {
	t.Helper()
	var station *larder.StationError
	if !errors.As(err, &station) || station.Fault != want {
		t.Fatalf("the answer is %v (%T), want a station's fault: %s", err, err, want)
	}
}

// A database that may not grow any more, as on a full disk: SQLite answers
// SQLITE_FULL. What was saved stays, reading goes on, and once there is room the
// same act is saved once.
func TestDiskFull(t *testing.T) {
	db, _ := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	limit := func(pages string) {
		t.Helper()
		if _, err := db.write.Exec(`PRAGMA max_page_count = ` + pages); err != nil {
			t.Fatal(err)
		}
	}
	limit("1") // which means: no more than there are
	a, long := act(), note(strings.Repeat("pears, ", larder.MaxNoteRunes/8))
	var saved int
	var err error
	for err == nil && saved < 200 {
		a = act()
		if _, err = db.Append(ctx, a, tag, long); err == nil {
			saved++
		}
	}
	faulted(t, err, larder.DiskFull)
	for range 3 {
		_, err = db.Append(ctx, a, tag, long)
		faulted(t, err, larder.DiskFull)
	}
	if _, err := db.AddPhoto(ctx, act(), tag, larder.NewEntry{Note: long.Note}, shot(t, 3)); err == nil {
		t.Error("a photo was saved on a full disk")
	}
	if n := len(history(t, db, tag).Entries); n != saved+1 {
		t.Errorf("%d entries, want the %d that were answered", n, saved+1)
	}
	sound(t, db)
	limit("100000")
	for i, replayed := range []bool{false, true} {
		s, err := db.Append(ctx, a, tag, long)
		if err != nil || s.Replayed != replayed {
			t.Errorf("with room again, sent for the %d. time: %v, %v", i+1, s.Replayed, err)
		}
	}
	if n := len(history(t, db, tag).Entries); n != saved+2 {
		t.Errorf("%d entries, want %d", n, saved+2)
	}
	sound(t, db)
}

// A connection that may only read, as after the disk was made read-only.
func TestReadOnly(t *testing.T) {
	db, _ := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	if _, err := db.write.Exec(`PRAGMA query_only = ON`); err != nil {
		t.Fatal(err)
	}
	a := act()
	_, err := db.Append(ctx, a, tag, note("pears"))
	faulted(t, err, larder.ReadOnly)
	sound(t, db)
	if _, err := db.write.Exec(`PRAGMA query_only = OFF`); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Append(ctx, a, tag, note("pears")); err != nil {
		t.Error(err)
	}
	sound(t, db)
}

// Another program writes, as one that reads a long table does, for longer than a
// writer waits: that is told as what it is, and what was typed is saved once afterwards.
func TestBusy(t *testing.T) {
	db, clock := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	other := openIn(t, db.Dir(), Options{Now: clock.Now})
	long, err := other.write.BeginTx(ctx, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer long.Rollback()
	if _, err := db.write.Exec(`PRAGMA busy_timeout = 0`); err != nil { // which is ten seconds
		t.Fatal(err)
	}
	a := act()
	_, err = db.Append(ctx, a, tag, ph(3.4))
	faulted(t, err, larder.Busy)
	if err := long.Rollback(); err != nil {
		t.Fatal(err)
	}
	for i, replayed := range []bool{false, true} {
		if s, err := db.Append(ctx, a, tag, ph(3.4)); err != nil || s.Replayed != replayed {
			t.Errorf("afterwards, sent for the %d. time: %v, %v", i+1, s.Replayed, err)
		}
	}
	sound(t, db)
}

func TestFaults(t *testing.T) {
	for _, row := range []struct {
		err  error
		want larder.Fault
	}{
		{&fs.PathError{Op: "open", Path: "x", Err: syscall.ENOSPC}, larder.DiskFull},
		{&fs.PathError{Op: "open", Path: "x", Err: syscall.EROFS}, larder.ReadOnly},
		{&fs.PathError{Op: "open", Path: "x", Err: syscall.EACCES}, larder.ReadOnly},
		{fmt.Errorf("writing: %w", syscall.EIO), larder.DiskFails},
	} {
		faulted(t, StationFault(row.err), row.want)
		if !errors.Is(StationFault(row.err), row.err) {
			t.Errorf("%v is lost for the log", row.err)
		}
	}
	for _, err := range []error{io.ErrUnexpectedEOF, larder.Refuse("ph", "x"), nil} {
		var station *larder.StationError
		if errors.As(StationFault(err), &station) {
			t.Errorf("%v became %v", err, station)
		}
	}
}
