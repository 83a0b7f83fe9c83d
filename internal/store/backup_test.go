package store

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"cruet/internal/larder"
)

// keepPhoto puts a file where photos lie.
func keepPhoto(t testing.TB, dir, content string) string {
	t.Helper()
	sum := sha256.Sum256([]byte(content))
	hash := hex.EncodeToString(sum[:])
	name := filepath.Join(dir, "photos", hash[:2], hash+".jpg")
	if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// A backup that is made while others write holds whole acts only, and restores to
// records that pass the check.
func TestBackupWhileWriting(t *testing.T) {
	db, _ := kitchen(t)
	tags := jarsOfWine(t, db, 2)
	photo := keepPhoto(t, db.Dir(), "a picture")
	if err := os.WriteFile(filepath.Join(db.Dir(), "stocks.csv"), []byte("own paper"), 0o600); err != nil {
		t.Fatal(err)
	}
	stop, done := make(chan struct{}), make(chan int)
	go func() {
		n := 0
		for ; ; n++ {
			select {
			case <-stop:
				done <- n
				return
			default:
			}
			// One act writes into two jars.
			if _, err := db.Append(ctx, act(), tags[n%2], larder.NewEntry{Body: larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromJar, Jar: tags[1-n%2], VolumeML: ml(1)}}}); err != nil {
				t.Error(err)
			}
		}
	}()
	var files []string
	for i := range 5 {
		file := filepath.Join(t.TempDir(), fmt.Sprintf("b%d.zip", i))
		m, err := db.Backup(ctx, file)
		if err != nil || m.Photos != 1 || m.Jars != 2 {
			t.Fatalf("%+v, %v", m, err)
		}
		files = append(files, file)
	}
	close(stop)
	if n := <-done; n == 0 {
		t.Error("nothing was written meanwhile")
	}
	for _, file := range files {
		dir := filepath.Join(t.TempDir(), "again")
		m, err := Restore(ctx, file, dir)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Open(ctx, dir, Options{})
		if err != nil {
			t.Fatal(err)
		}
		r, err := again.Check(ctx)
		if err != nil || len(r.Findings) > 0 || r.Entries != m.Entries {
			t.Errorf("%+v, %v; the manifest has %d entries", r, err, m.Entries)
		}
		again.Close()
		kept, err := os.ReadFile(filepath.Join(dir, "photos", filepath.Base(filepath.Dir(photo)), filepath.Base(photo)))
		own, err2 := os.ReadFile(filepath.Join(dir, "stocks.csv"))
		if err != nil || err2 != nil || string(kept) != "a picture" || string(own) != "own paper" {
			t.Errorf("%q %v, %q %v", kept, err, own, err2)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(files[0]), ".*")); len(left) > 0 {
		t.Errorf("left beside the backup: %v", left)
	}
	last, err := db.LastBackup(ctx)
	if err != nil || last.Path != files[4] || last.Photos != 1 || last.Failure != "" {
		t.Errorf("the last backup is %+v, %v", last, err)
	}
}

func TestBackupNeverOverwrites(t *testing.T) {
	db, _ := kitchen(t)
	jarsOfWine(t, db, 1)
	file := filepath.Join(t.TempDir(), "b.zip")
	if err := os.WriteFile(file, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Backup(ctx, file); !errors.Is(err, os.ErrExist) {
		t.Errorf("over a file: %v", err)
	}
	if text, _ := os.ReadFile(file); string(text) != "mine" {
		t.Errorf("it became %q", text)
	}
	file = filepath.Join(t.TempDir(), "b.zip")
	if _, err := db.Backup(ctx, file); err != nil {
		t.Fatal(err)
	}
	var full *NotEmptyError
	before, err := os.ReadFile(filepath.Join(db.Dir(), FileName))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(ctx, file, db.Dir()); !errors.As(err, &full) {
		t.Errorf("over records: %v", err)
	}
	if after, _ := os.ReadFile(filepath.Join(db.Dir(), FileName)); !bytes.Equal(before, after) {
		t.Error("the records changed")
	}
	empty := t.TempDir()
	if _, err := Restore(ctx, file, empty); err != nil {
		t.Errorf("into an empty folder: %v", err)
	}
	if _, err := db.Backup(ctx, filepath.Join(t.TempDir(), "no", "such", "b.zip")); err == nil {
		t.Error("a backup into no folder went well")
	}
}

// zipOf makes a ZIP of members.
func zipOf(t testing.TB, method uint16, members ...[2]string) string {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, m := range members {
		w, err := z.CreateHeader(&zip.FileHeader{Name: m[0], Method: method})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, m[1]); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "bad.zip")
	if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// stacked is a backup whose list names the same bytes a hundred times, as a bomb
// does that needs no compression (APPNOTE.TXT, 4.3.12 and 4.3.16: the central
// directory and its end).
func stacked(t *testing.T) string {
	t.Helper()
	file := zipOf(t, zip.Store, [2]string{FileName, strings.Repeat("x", 100_000)}, [2]string{manifestName, `{"format":1}`})
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	at := len(data) - 22
	end := slices.Clone(data[at:])
	order := binary.LittleEndian
	first := data[order.Uint32(end[16:]):][:46+len(FileName)]
	out, count, size := slices.Clone(data[:at]), order.Uint16(end[10:]), order.Uint32(end[12:])
	for n := range 100 {
		name := fmt.Sprintf("photos/%064x", n)
		entry := append(slices.Clone(first[:46]), name...)
		order.PutUint16(entry[28:], uint16(len(name)))
		order.PutUint32(entry[30:], 0) // no extra field, no comment
		out, count, size = append(out, entry...), count+1, size+uint32(len(entry))
	}
	order.PutUint16(end[8:], count)
	order.PutUint16(end[10:], count)
	order.PutUint32(end[12:], size)
	if err := os.WriteFile(file, append(out, end...), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// A file that is no good backup is refused with a sentence, and nothing of it
// lands anywhere: paths outside (CWE-22), bombs, members twice, damage.
func TestRestoreRefuses(t *testing.T) {
	db, _ := kitchen(t)
	jarsOfWine(t, db, 1)
	keepPhoto(t, db.Dir(), "a picture")
	good := filepath.Join(t.TempDir(), "good.zip")
	if _, err := db.Backup(ctx, good); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(good)
	if err != nil {
		t.Fatal(err)
	}
	damaged := func(change func([]byte) []byte) string {
		file := filepath.Join(t.TempDir(), "damaged.zip")
		if err := os.WriteFile(file, change(slices.Clone(data)), 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	hash := strings.Repeat("ab", 32)
	manifest := `{"format":1}`
	for name, c := range map[string]struct{ file, says string }{
		"words":             {damaged(func([]byte) []byte { return []byte("no backup at all") }), "not a backup"},
		"empty":             {damaged(func([]byte) []byte { return nil }), "not a backup"},
		"cut short":         {damaged(func(b []byte) []byte { return b[:len(b)/2] }), "cut short"},
		"a byte changed":    {damaged(func(b []byte) []byte { b[5000] ^= 1; return b }), "damaged"},
		"a photo changed":   {damaged(func(b []byte) []byte { b[bytes.Index(b, []byte("a picture"))] ^= 1; return b }), "damaged"},
		"nothing in it":     {zipOf(t, zip.Store), "not a backup of a kitchen"},
		"up and out":        {zipOf(t, zip.Store, [2]string{manifestName, manifest}, [2]string{FileName, ""}, [2]string{"../evil", "x"}), "does not belong"},
		"photo outside":     {zipOf(t, zip.Store, [2]string{manifestName, manifest}, [2]string{FileName, ""}, [2]string{"photos/../" + hash, "x"}), "does not belong"},
		"rooted":            {zipOf(t, zip.Store, [2]string{manifestName, manifest}, [2]string{FileName, ""}, [2]string{"/etc/passwd", "x"}), "does not belong"},
		"a drive":           {zipOf(t, zip.Store, [2]string{manifestName, manifest}, [2]string{FileName, ""}, [2]string{`photos\..\..\x`, "x"}), "does not belong"},
		"twice":             {zipOf(t, zip.Store, [2]string{manifestName, manifest}, [2]string{FileName, ""}, [2]string{FileName, ""}), "twice"},
		"a bomb":            {zipOf(t, zip.Deflate, [2]string{manifestName, manifest}, [2]string{FileName, strings.Repeat("\x00", 1<<20)}), "not stored as backups are"},
		"members on top":    {stacked(t), "more than it can"},
		"another format":    {zipOf(t, zip.Store, [2]string{manifestName, `{"format":9}`}, [2]string{FileName, ""}), "format 9"},
		"no manifest":       {zipOf(t, zip.Store, [2]string{manifestName, `{`}, [2]string{FileName, ""}), "manifest is damaged"},
		"another database":  {zipOf(t, zip.Store, [2]string{manifestName, manifest}, [2]string{FileName, "x"}), "not the one that was put in"},
		"a photo not its":   {zipOf(t, zip.Store, [2]string{manifestName, manifest}, [2]string{"photos/ab/" + hash + ".jpg", "x"}, [2]string{FileName, ""}), "photo"},
		"a huge stock list": {zipOf(t, zip.Store, [2]string{manifestName, manifest}, [2]string{FileName, ""}, [2]string{ownStocksName, strings.Repeat("x", maxOwnStocks+1)}), "too large"},
	} {
		parent := t.TempDir()
		dir := filepath.Join(parent, "records")
		_, err := Restore(ctx, c.file, dir)
		var bad *DamagedBackupError
		if !errors.As(err, &bad) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want it to say %q", name, err, c.says)
		}
		if left, _ := os.ReadDir(parent); len(left) > 0 {
			t.Errorf("%s left %v", name, left)
		}
		if _, err := VerifyBackup(ctx, c.file); err == nil {
			t.Errorf("%s is taken for good", name)
		}
	}
	if _, err := Restore(ctx, filepath.Join(t.TempDir(), "none.zip"), t.TempDir()); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
}

// Of a year of daily backups the newest of the last 7 days, 5 weeks and 12 months
// stay, and what else lies in the folder is left alone.
func TestKeepRule(t *testing.T) {
	var all []daily
	first := time.Date(2025, 10, 1, 3, 0, 0, 0, time.UTC)
	for day := range 420 {
		at := first.AddDate(0, 0, day)
		all = append(all, daily{at.Format(dailyLayout), at})
	}
	gone := map[string]bool{}
	for _, d := range dropped(all, UsualKeep) {
		gone[d.path] = true
	}
	var stays []string
	for _, d := range all {
		if !gone[d.path] {
			stays = append(stays, d.at.Format("01-02"))
		}
	}
	// The last day is 24 Nov 2026, a Tuesday: Sundays end weeks (ISO 8601).
	want := "12-31 01-31 02-28 03-31 04-30 05-31 06-30 07-31 08-31 09-30 10-31 11-01 11-08 11-15 11-18 11-19 11-20 11-21 11-22 11-23 11-24"
	if got := strings.Join(stays, " "); got != want {
		t.Errorf("stay %s\nwant %s", got, want)
	}
	if got := dropped(all[:1], Keep{}); len(got) != 0 {
		t.Errorf("the newest goes: %v", got)
	}
}

func TestDailyBackup(t *testing.T) {
	db, c := kitchen(t)
	jarsOfWine(t, db, 1)
	dir := filepath.Join(db.Dir(), BackupFolder)
	if last, err := db.LastBackup(ctx); err != nil || !last.At.IsZero() {
		t.Errorf("%+v, %v", last, err)
	}
	made, err := db.DailyBackup(ctx, dir, Keep{Days: 2})
	if err != nil || made == "" {
		t.Fatalf("%q, %v", made, err)
	}
	if err := os.WriteFile(filepath.Join(dir, "mine.zip"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	c.pass(23 * time.Hour)
	if again, err := db.DailyBackup(ctx, dir, Keep{Days: 2}); err != nil || again != "" {
		t.Errorf("a second one within a day: %q, %v", again, err)
	}
	for range 3 {
		c.pass(25 * time.Hour)
		if made, err = db.DailyBackup(ctx, dir, Keep{Days: 2}); err != nil || made == "" {
			t.Fatalf("%q, %v", made, err)
		}
	}
	have, err := os.ReadDir(dir)
	if err != nil || len(have) != 3 {
		t.Errorf("%v, %v: want two backups and the maker's own file", have, err)
	}
	if last, err := db.LastBackup(ctx); err != nil || last.Path != made || !last.At.Equal(c.now.Truncate(time.Second)) {
		t.Errorf("%+v, %v, want %s at %s", last, err, made, c.now)
	}
	// A failure is told, and the last good one stays known.
	c.pass(25 * time.Hour)
	block := filepath.Join(db.Dir(), "blocked")
	if err := os.WriteFile(block, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := db.DailyBackup(ctx, block, UsualKeep); err == nil {
		t.Error("a backup into a file went well")
	}
	if last, err := db.LastBackup(ctx); err != nil || last.Path != made || last.Failure == "" || last.Why != BackupNoFolder || !last.FailedAt.Equal(c.now) {
		t.Errorf("%+v, %v", last, err)
	}
	if r, err := db.Check(ctx); err != nil || len(r.Findings) > 0 {
		t.Errorf("%+v, %v", r, err)
	}
}

// What a backup leaves that was cut off with its program is removed a day later; what
// may be still written, and what is the maker's own, stays.
func TestDailyBackupSweeps(t *testing.T) {
	db, c := kitchen(t)
	jarsOfWine(t, db, 1)
	dir := filepath.Join(db.Dir(), BackupFolder)
	for name, hours := range map[string]int{".cruet-backup-1": 25, ".cruet-verify-2": 49, ".cruet-backup-3": 23, ".cruet-mine": 100} {
		if err := os.MkdirAll(filepath.Join(dir, name), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name, FileName), []byte("cut o"), 0o600); err != nil {
			t.Fatal(err)
		}
		at := c.now.Add(-time.Duration(hours) * time.Hour)
		if err := os.Chtimes(filepath.Join(dir, name), at, at); err != nil {
			t.Fatal(err)
		}
	}
	made, err := db.DailyBackup(ctx, dir, UsualKeep)
	if err != nil {
		t.Fatal(err)
	}
	var have []string
	entries, err := os.ReadDir(dir)
	for _, e := range entries {
		have = append(have, e.Name())
	}
	if want := []string{".cruet-backup-3", ".cruet-mine", filepath.Base(made)}; err != nil || !slices.Equal(have, want) {
		t.Errorf("%v, %v, want %v", have, err, want)
	}
}

// A folder on a disk that is not plugged in is not made: backups would lie on the
// disk that they are to outlive. In the data folder one may be made, at any depth.
func TestBackupFolderIsNotMadeElsewhere(t *testing.T) {
	db, c := kitchen(t)
	jarsOfWine(t, db, 1)
	stick := filepath.Join(t.TempDir(), "stick")
	for _, dir := range []string{filepath.Join(stick, "cruet"), stick, db.Dir() + "-other", filepath.Join(db.Dir(), "..", "beside")} {
		made, err := db.DailyBackup(ctx, dir, UsualKeep)
		if _, ok := errors.AsType[*NoBackupFolderError](err); !ok || made != "" || !strings.Contains(err.Error(), "Plug that disk in") {
			t.Errorf("%s: %q, %v", dir, made, err)
		}
		if _, err := os.Stat(dir); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s was made (%v)", dir, err)
		}
		if last, err := db.LastBackup(ctx); err != nil || last.Why != BackupNoFolder || !last.FailedAt.Equal(c.now) {
			t.Errorf("%s: %+v, %v", dir, last, err)
		}
	}
	if _, err := os.Stat(stick); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the mount point was made (%v)", err)
	}
	if err := os.MkdirAll(filepath.Join(stick, "cruet"), 0o700); err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{filepath.Join(stick, "cruet"), filepath.Join(db.Dir(), "a", "b")} {
		if made, err := db.DailyBackup(ctx, dir, UsualKeep); err != nil || filepath.Dir(made) != dir {
			t.Errorf("%s: %q, %v", dir, made, err)
		}
	}
}

// The errors that POSIX.1-2017 names for a full disk, a disk that fails, and a folder
// that is missing, no folder, or not ours, each have their kind.
func TestBackupTroubleHasAKind(t *testing.T) {
	for err, want := range map[error]BackupTrouble{
		syscall.ENOSPC: BackupNoRoom, syscall.EACCES: BackupNotAllowed, syscall.EROFS: BackupNotAllowed, syscall.ENOENT: BackupNoFolder,
		syscall.ENOTDIR: BackupNoFolder, syscall.EIO: BackupDamaged, &DamagedBackupError{"x.zip", "cut short"}: BackupDamaged, io.EOF: "",
	} {
		if got := troubleOf(fmt.Errorf("store: backup: %w", &fs.PathError{Op: "open", Path: "x", Err: err})); got != want {
			t.Errorf("%v is %q, want %q", err, got, want)
		}
	}
}

// FuzzRestore gives any bytes as a backup: a sentence or a whole restore, never a
// panic, never a file outside the folder.
func FuzzRestore(f *testing.F) {
	db, _ := kitchen(f)
	jarsOfWine(f, db, 1)
	good := filepath.Join(f.TempDir(), "good.zip")
	if _, err := db.Backup(ctx, good); err != nil {
		f.Fatal(err)
	}
	data, err := os.ReadFile(good)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add(data[:len(data)/2])
	for _, name := range []string{"../x", FileName, manifestName} {
		bad, err := os.ReadFile(zipOf(f, zip.Store, [2]string{manifestName, `{"format":1}`}, [2]string{FileName, "x"}, [2]string{name, "y"}))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(bad)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		parent := t.TempDir()
		file := filepath.Join(parent, "in.zip")
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		dir := filepath.Join(parent, "out")
		_, err := Restore(ctx, file, dir)
		left, _ := os.ReadDir(parent)
		if want := map[bool]int{true: 2, false: 1}[err == nil]; len(left) != want {
			t.Fatalf("%v: %d things lie there, want %d", err, len(left), want)
		}
	})
}
