package store

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/larder"
)

// shot is a picture of one colour, as a phone would send it.
func shot(t testing.TB, red uint8) *bytes.Reader {
	t.Helper()
	m := image.NewRGBA(image.Rect(0, 0, 640, 480))
	for y := range 480 {
		for x := range 640 {
			m.Set(x, y, color.RGBA{red, uint8(x), uint8(y), 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return bytes.NewReader(b.Bytes())
}

func addPhoto(t testing.TB, db *DB, tag larder.Tag, when larder.When, red uint8) larder.Entry {
	t.Helper()
	s, err := db.AddPhoto(ctx, act(), tag, larder.NewEntry{When: when, Note: "a skin"}, shot(t, red))
	if err != nil {
		t.Fatal(err)
	}
	return s.Entry
}

// pictures lists what lies in the photos' folder.
func pictures(t testing.TB, db *DB) []string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(db.Dir(), photoFolder, "*", "*"))
	if err != nil {
		t.Fatal(err)
	}
	hidden, err := filepath.Glob(filepath.Join(db.Dir(), photoFolder, "*", ".new-*"))
	if err != nil || len(hidden) > 0 {
		t.Errorf("left beside the photos: %v, %v", hidden, err)
	}
	return names
}

func TestPhotoIsOneEntry(t *testing.T) {
	db, c := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	a, picture := act(), shot(t, 200)
	first, err := db.AddPhoto(ctx, a, tag, larder.NewEntry{Note: "a thin skin"}, picture)
	if err != nil || first.Replayed {
		t.Fatalf("%+v, %v", first, err)
	}
	c.pass(time.Hour)
	again, err := db.AddPhoto(ctx, a, tag, larder.NewEntry{Note: "a thin skin"}, picture)
	if err != nil || !again.Replayed || again.Entry.ID != first.Entry.ID || !again.Entry.When.At.Equal(first.Entry.When.At) {
		t.Errorf("sent again: %+v, %v", again, err)
	}
	var conflict *larder.ConflictError
	if _, err := db.AddPhoto(ctx, a, tag, larder.NewEntry{Note: "a thin skin"}, shot(t, 10)); !errors.As(err, &conflict) {
		t.Errorf("the key with another picture: %v", err)
	}
	if _, err := db.AddPhoto(ctx, a, tag, larder.NewEntry{Note: "something else"}, picture); !errors.As(err, &conflict) {
		t.Errorf("the key with another note: %v", err)
	}
	if n := len(history(t, db, tag).Entries); n != 2 {
		t.Errorf("%d entries, want the start and one photo", n)
	}
	if n := len(pictures(t, db)); n != 2 {
		t.Errorf("%d files, want two", n)
	}
	if r := sound(t, db); r.Photos != 1 {
		t.Errorf("%d photos are counted", r.Photos)
	}
	b := first.Entry.Body.(larder.Photo)
	for _, hash := range []string{b.SHA256, b.ThumbSHA256} {
		f, err := db.OpenPhoto(ctx, hash)
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(f)
		f.Close()
		if _, bad := jpeg.DecodeConfig(bytes.NewReader(data)); err != nil || bad != nil {
			t.Errorf("the file is no JPEG: %v, %v", err, bad)
		}
	}
}

// All that is wrong is told at once, and nothing is written.
func TestPhotoRefused(t *testing.T) {
	db, c := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	before := rows(t, db)
	bad := larder.NewEntry{When: larder.ExactAt(c.now.AddDate(0, 0, -3000)), Note: strings.Repeat("x", larder.MaxNoteRunes+1)}
	_, err := db.AddPhoto(ctx, act(), tag, bad, strings.NewReader("no picture at all, only words"))
	var p larder.Problems
	if !errors.As(err, &p) || len(p) != 3 || p[0].Field != "photo" || !strings.Contains(p[0].Message, "not a picture") {
		t.Errorf("%v", err)
	}
	_, err = db.AddPhoto(ctx, act(), tag, bad, shot(t, 1))
	if !errors.As(err, &p) || len(p) != 2 {
		t.Errorf("with a good picture: %v", err)
	}
	_, err = db.AddPhoto(ctx, act(), tag, larder.NewEntry{}, nil)
	refused(t, err, "photo", "Choose a picture")
	var missing *larder.NotFoundError
	if _, err := db.AddPhoto(ctx, act(), "K7RM74", larder.NewEntry{}, shot(t, 1)); !errors.As(err, &missing) {
		t.Errorf("of no jar: %v", err)
	}
	_, err = db.Append(ctx, act(), tag, body(larder.Photo{SHA256: strings.Repeat("a", 64), ThumbSHA256: strings.Repeat("a", 64), WidthPX: 1, HeightPX: 1}))
	refused(t, err, "photo", "by sending its picture")
	for name, n := range rows(t, db) {
		if n != before[name] {
			t.Errorf("%d rows of %s, there were %d", n, name, before[name])
		}
	}
	if left := pictures(t, db); len(left) != 0 {
		t.Errorf("left: %v", left)
	}
}

// Photos follow each other as they were taken; a struck one stays in the history
// and is shown no more.
func TestPhotosInARow(t *testing.T) {
	db, c := kitchen(t)
	n := damson()
	n.When = c.daysAgo(30)
	jars := start(t, db, n).Jars
	tag := jars[0].Tag
	late := addPhoto(t, db, tag, c.daysAgo(2), 50)
	early := addPhoto(t, db, tag, c.daysAgo(20), 100)
	middle := addPhoto(t, db, tag, c.daysAgo(9), 150)
	addPhoto(t, db, jars[1].Tag, c.daysAgo(10), 200)
	row := func(e larder.Entry, older, newer uuid.UUID) {
		t.Helper()
		p, err := db.Photo(ctx, tag, e.ID)
		if err != nil || p.Older != older || p.Newer != newer {
			t.Errorf("beside %s: %s and %s, %v", e.ID, p.Older, p.Newer, err)
		}
	}
	row(early, uuid.Nil, middle.ID)
	row(middle, early.ID, late.ID)
	row(late, middle.ID, uuid.Nil)
	if _, err := db.Strike(ctx, act(), middle.ID, "of the wrong jar"); err != nil {
		t.Fatal(err)
	}
	row(early, uuid.Nil, late.ID)
	row(late, early.ID, uuid.Nil)
	row(middle, early.ID, late.ID)
	var missing *larder.NotFoundError
	if _, err := db.OpenPhoto(ctx, middle.Body.(larder.Photo).SHA256); !errors.As(err, &missing) {
		t.Errorf("a struck photo is shown: %v", err)
	}
	for _, name := range []string{"", "../cruet.db", strings.Repeat("0", 64)} {
		if _, err := db.OpenPhoto(ctx, name); !errors.As(err, &missing) {
			t.Errorf("%q: %v", name, err)
		}
	}
	if _, err := db.Photo(ctx, jars[1].Tag, early.ID); !errors.As(err, &missing) {
		t.Errorf("a photo of another jar: %v", err)
	}
	list, err := db.Photos(ctx, tag, 10)
	if err != nil || len(list) != 2 || list[0].ID != late.ID || list[1].ID != early.ID {
		t.Errorf("%v, %v", list, err)
	}
	if r := sound(t, db); r.Photos != 4 {
		t.Errorf("%d photos are counted, want all 4: a struck one is kept", r.Photos)
	}
}

func TestCheckReadsPhotos(t *testing.T) {
	db, c := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	b := addPhoto(t, db, tag, c.daysAgo(0), 50).Body.(larder.Photo)
	finds := func(says string) {
		t.Helper()
		r, err := db.Check(ctx)
		if err != nil || len(r.Findings) != 1 || !strings.Contains(r.Findings[0], says) {
			t.Errorf("%v, %v; want one that says %q", r.Findings, err, says)
		}
	}
	path := db.PhotoFile(b.SHA256)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rotten := bytes.Clone(whole)
	rotten[len(rotten)/2] ^= 1
	if err := os.WriteFile(path, rotten, 0o600); err != nil {
		t.Fatal(err)
	}
	finds("is damaged")
	if err := os.Rename(path, path+"x"); err != nil {
		t.Fatal(err)
	}
	finds("is missing")
	// Logging the same picture once more heals the first.
	addPhoto(t, db, tag, larder.When{}, 50)
	sound(t, db)
	if _, err := db.write.Exec(`UPDATE photo SET thumb_sha256 = sha256 WHERE entry = (SELECT min(entry) FROM photo)`); err != nil {
		t.Fatal(err)
	}
	finds("not listed as its entry says")
}

// Only what no entry needs and what is old is removed, and nothing that is not ours.
func TestSweep(t *testing.T) {
	db, c := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	if n, err := db.SweepPhotos(ctx); n != 0 || err != nil {
		t.Errorf("without photos: %d, %v", n, err)
	}
	kept := addPhoto(t, db, tag, c.daysAgo(0), 50)
	struck := addPhoto(t, db, tag, c.daysAgo(0), 60)
	if _, err := db.Strike(ctx, act(), struck.ID, "blurred"); err != nil {
		t.Fatal(err)
	}
	folder := filepath.Dir(db.PhotoFile(kept.Body.(larder.Photo).SHA256))
	write := func(name string, age time.Duration) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, []byte("x"), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, c.now.Add(-age), c.now.Add(-age)); err != nil {
			t.Fatal(err)
		}
		return path
	}
	gone := []string{write(strings.Repeat("ab", 32)+".jpg", 25*time.Hour), write(".new-123", 25*time.Hour)}
	stay := []string{write(strings.Repeat("cd", 32)+".jpg", 23*time.Hour), write(".new-456", time.Hour), write("notes.txt", 1000*time.Hour)}
	for _, e := range []larder.Entry{kept, struck} {
		b := e.Body.(larder.Photo)
		for _, path := range []string{db.PhotoFile(b.SHA256), db.PhotoFile(b.ThumbSHA256)} {
			if err := os.Chtimes(path, c.now.AddDate(0, 0, -9), c.now.AddDate(0, 0, -9)); err != nil {
				t.Fatal(err)
			}
			stay = append(stay, path)
		}
	}
	if n, err := db.SweepPhotos(ctx); n != 2 || err != nil {
		t.Errorf("%d were removed, %v, want 2", n, err)
	}
	for _, path := range gone {
		if _, err := os.Stat(path); err == nil {
			t.Errorf("%s is still there", path)
		}
	}
	for _, path := range stay {
		if _, err := os.Stat(path); err != nil {
			t.Error(err)
		}
	}
}

// While photos are logged and files that are old enough are swept, no entry ever
// stands without its picture: each picture here lies about as an old orphan first.
func TestSweepBesidePhotos(t *testing.T) {
	db, c := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	const count = 24
	for red := range count {
		e := addPhoto(t, db, tag, larder.When{}, uint8(red))
		b := e.Body.(larder.Photo)
		if _, err := db.write.Exec(`DELETE FROM photo WHERE entry = ?`, e.Seq); err != nil {
			t.Fatal(err)
		}
		if _, err := db.write.Exec(`DELETE FROM entry WHERE seq = ?`, e.Seq); err != nil {
			t.Fatal(err)
		}
		for _, hash := range []string{b.SHA256, b.ThumbSHA256} {
			if err := os.Chtimes(db.PhotoFile(hash), c.now.AddDate(0, 0, -9), c.now.AddDate(0, 0, -9)); err != nil {
				t.Fatal(err)
			}
		}
	}
	stop, swept := make(chan bool), make(chan error, 1)
	go func() {
		for {
			select {
			case <-stop:
				swept <- nil
				return
			default:
				if _, err := db.SweepPhotos(ctx); err != nil {
					swept <- err
					return
				}
			}
		}
	}()
	var all sync.WaitGroup
	for red := range count {
		all.Go(func() {
			if _, err := db.AddPhoto(ctx, act(), tag, larder.NewEntry{}, shot(t, uint8(red))); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	close(stop)
	if err := <-swept; err != nil {
		t.Error(err)
	}
	if r := sound(t, db); r.Photos != count {
		t.Errorf("%d photos, want %d", r.Photos, count)
	}
}
