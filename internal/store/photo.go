package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/google/uuid"

	"cruet/internal/larder"
	"cruet/internal/photo"
)

// AddPhoto adds a picture to a jar's log: what is kept of it is made, written and
// synced first, then the entry is committed, so that no entry is without its
// picture. n's Body is left empty; what is wrong with the picture is a
// larder.Problems about the field "photo". The same key with the same picture
// again changes nothing.
func (db *DB) AddPhoto(ctx context.Context, a larder.Act, tag larder.Tag, n larder.NewEntry, picture io.ReadSeeker) (Saved, error) {
	var saved Saved
	sent, err := hashOf(picture)
	if err != nil {
		return saved, err
	}
	var kept photo.Prepared
	// A key that was answered needs no picture made: act answers it.
	answered, err := db.answered(ctx, a.Key)
	if err == nil && !answered {
		n.Body, kept, err = db.photoBody(ctx, tag, n, picture)
	}
	if err != nil {
		return saved, err
	}
	_, replayed, err := db.act(ctx, a, "photo", struct {
		Tag  larder.Tag
		When larder.When
		Note string
		Sent string
	}{tag, n.When, n.Note, sent}, func(t *tx) (string, error) {
		jar, err := t.jar(ctx, tag)
		if err != nil {
			return "", err
		}
		if err := n.Check(jar, t.now); err != nil {
			return "", err
		}
		// Within the transaction nothing sweeps files away; see SweepPhotos.
		for _, one := range []photo.Kept{kept.Full, kept.Thumb} {
			if _, err := os.Stat(photoPath(db.dir, one.SHA256)); err == nil {
				continue
			}
			if err := writePhoto(db.dir, one); err != nil {
				return "", err
			}
		}
		saved.Before = jar.State
		if saved.Entry, saved.After, err = t.append(ctx, a.Key, jar, n); err != nil {
			return "", err
		}
		return a.Key.String(), t.photo(ctx, saved.Entry)
	})
	if err != nil || !replayed {
		return saved, err
	}
	return db.replay(ctx, a.Key)
}

// hashOf is the SHA-256 of a picture as it was sent, read no further than what
// Prepare refuses.
func hashOf(picture io.ReadSeeker) (string, error) {
	if picture == nil {
		return "", larder.Refuse("photo", "Choose a picture first.")
	}
	if _, err := picture.Seek(0, io.SeekStart); err != nil {
		return "", fmt.Errorf("store: photo: reading the picture: %w", err)
	}
	h := sha256.New()
	if _, err := io.Copy(h, io.LimitReader(picture, photo.MaxBytes+1)); err != nil {
		return "", fmt.Errorf("store: photo: reading the picture: %w", err)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func (db *DB) answered(ctx context.Context, key uuid.UUID) (bool, error) {
	var known bool
	err := db.read.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM act WHERE key = ?)`, key[:]).Scan(&known)
	if err != nil {
		return false, fmt.Errorf("store: photo: looking up the key: %w", err)
	}
	return known, nil
}

// photoBody makes what is kept of a picture and writes it. All that is wrong,
// with the picture and with the rest, is told at once.
func (db *DB) photoBody(ctx context.Context, tag larder.Tag, n larder.NewEntry, picture io.ReadSeeker) (larder.Body, photo.Prepared, error) {
	jar, err := db.Jar(ctx, tag)
	if err != nil {
		return nil, photo.Prepared{}, err
	}
	kept, err := photo.Prepare(ctx, picture)
	var wrong larder.Problems
	if err != nil && !errors.As(err, &wrong) {
		return nil, kept, err
	}
	b := larder.Photo{SHA256: kept.Full.SHA256, ThumbSHA256: kept.Thumb.SHA256, WidthPX: kept.Full.WidthPX, HeightPX: kept.Full.HeightPX}
	n.Body = b
	if err := n.Check(jar, db.now()); err != nil {
		var rest larder.Problems
		if !errors.As(err, &rest) {
			return nil, kept, err
		}
		for _, p := range rest {
			if len(wrong) == 0 || p.Field != "photo" {
				wrong = append(wrong, p)
			}
		}
	}
	if len(wrong) > 0 {
		return nil, kept, wrong
	}
	return b, kept, StationFault(errors.Join(writePhoto(db.dir, kept.Full), writePhoto(db.dir, kept.Thumb)))
}

// photo keeps which files an entry needs.
func (t *tx) photo(ctx context.Context, e larder.Entry) error {
	b, ok := e.Body.(larder.Photo)
	if !ok {
		return nil
	}
	_, err := t.ExecContext(ctx, `INSERT INTO photo (entry, jar, happened_ms, sha256, thumb_sha256) VALUES (?, ?, ?, ?, ?)`,
		e.Seq, e.Jar, e.When.At.UnixMilli(), b.SHA256, b.ThumbSHA256)
	if err != nil {
		return fmt.Errorf("writing which photo it is: %w", err)
	}
	return nil
}

// OpenPhoto opens the file of a picture, of either size, that an entry which
// stands shows; else it is a larder.NotFoundError.
func (db *DB) OpenPhoto(ctx context.Context, hash string) (*os.File, error) {
	missing := &larder.NotFoundError{What: "photo", ID: hash}
	if !larder.IsPhotoHash(hash) {
		return nil, missing
	}
	var shown bool
	err := db.read.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM photo JOIN entry ON entry.seq = photo.entry
		WHERE (photo.sha256 = ? OR photo.thumb_sha256 = ?) AND entry.struck_by IS NULL)`, hash, hash).Scan(&shown)
	switch {
	case err != nil:
		return nil, fmt.Errorf("store: photo: %w", err)
	case !shown:
		return nil, missing
	}
	f, err := os.Open(photoPath(db.dir, hash))
	if err != nil {
		return nil, fmt.Errorf("store: photo: %w", err)
	}
	return f, nil
}

// PhotoFile is where the picture with that hash lies.
func (db *DB) PhotoFile(hash string) string { return photoPath(db.dir, hash) }

const photosSQL = entrySQL + ` WHERE struck_by IS NULL AND seq IN (SELECT entry FROM photo WHERE jar = ?)
	ORDER BY happened_ms DESC, seq DESC LIMIT ?`

// Photos are a jar's newest photos that stand, limit at most, the newest first.
func (db *DB) Photos(ctx context.Context, tag larder.Tag, limit int) ([]larder.Entry, error) {
	rows, err := db.read.QueryContext(ctx, photosSQL, tag, limit)
	if err != nil {
		return nil, fmt.Errorf("store: photos: %w", err)
	}
	return collect(rows, scanEntry)
}

// PhotoPage is one photo with those before and after it in the jar's history.
type PhotoPage struct {
	Entry        larder.Entry
	Older, Newer uuid.UUID // uuid.Nil: there is none
}

// Photo is the photo with that entry's id, or a larder.NotFoundError. A struck one
// is found too; its neighbours are those that stand.
func (db *DB) Photo(ctx context.Context, tag larder.Tag, id uuid.UUID) (PhotoPage, error) {
	var p PhotoPage
	err := db.snapshot(ctx, func(q querier) (err error) {
		p.Entry, err = oneEntry(q.QueryRowContext(ctx, entrySQL+` WHERE id = ? AND jar = ? AND kind = ?`, id[:], tag, larder.KindPhoto), id)
		if err != nil {
			return err
		}
		at, seq := p.Entry.When.At.UnixMilli(), p.Entry.Seq
		if p.Older, err = neighbour(ctx, q, tag, `<`, `DESC`, at, seq); err != nil {
			return err
		}
		p.Newer, err = neighbour(ctx, q, tag, `>`, `ASC`, at, seq)
		return err
	})
	return p, err
}

func neighbour(ctx context.Context, q querier, tag larder.Tag, side, order string, ms, seq int64) (id uuid.UUID, err error) {
	var text []byte
	row := q.QueryRowContext(ctx, `SELECT e.id FROM photo p JOIN entry e ON e.seq = p.entry
		WHERE p.jar = ? AND (p.happened_ms, p.entry) `+side+` (?, ?) AND e.struck_by IS NULL
		ORDER BY p.happened_ms `+order+`, p.entry `+order+` LIMIT 1`, tag, ms, seq)
	err = row.Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return uuid.Nil, nil
	}
	if err != nil {
		return uuid.Nil, fmt.Errorf("store: photo: looking for the next: %w", err)
	}
	copy(id[:], text)
	return id, nil
}
