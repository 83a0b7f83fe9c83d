package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"cruet/internal/larder"
	"cruet/internal/photo"
)

// photoFolder is the folder of the pictures in the data folder.
const photoFolder = "photos"

// orphanAge is how old a file must be before it counts as left over: an entry
// that is being written has its files first.
const orphanAge = 24 * time.Hour

// photoPath is where a picture lies: named by its hash, spread over 256 folders.
func photoPath(dir, hash string) string {
	return filepath.Join(dir, photoFolder, hash[:2], hash+".jpg")
}

// writePhoto writes a picture beside its place, syncs it and renames it, so that
// it is there whole or not at all, even after the power failed.
func writePhoto(dir string, k photo.Kept) (err error) {
	path := photoPath(dir, k.SHA256)
	folder := filepath.Dir(path)
	if err := makeFolder(folder); err != nil {
		return fmt.Errorf("store: making the folder of the photos: %w", err)
	}
	f, err := os.CreateTemp(folder, ".new-*")
	if err != nil {
		return fmt.Errorf("store: writing a photo: %w", err)
	}
	defer func() {
		if err != nil {
			err = fmt.Errorf("store: writing a photo: %w", errors.Join(err, os.Remove(f.Name())))
		}
	}()
	_, err = f.Write(k.JPEG)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return err
	}
	return syncFolder(folder)
}

// makeFolder makes the folder and those above it that are missing, and syncs the
// folders that got a new name.
func makeFolder(folder string) error {
	if _, err := os.Stat(folder); err == nil {
		return nil
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	above := filepath.Dir(folder)
	return errors.Join(syncFolder(above), syncFolder(filepath.Dir(above)))
}

// syncFolder puts the names in a folder on disk.
func syncFolder(folder string) error {
	if runtime.GOOS == "windows" {
		return nil // which keeps names by itself, and opens no folder for syncing
	}
	d, err := os.Open(folder)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// SweepPhotos removes files in the photos' folder that no entry needs and that
// are older than a day: what is left when the power failed between a picture and
// its entry. It does so in the writing transaction, in which AddPhoto makes sure
// of its files, so that no picture goes that is just being logged.
func (db *DB) SweepPhotos(ctx context.Context) (removed int, err error) {
	left, err := db.orphans(ctx, db.read)
	if err != nil || len(left) == 0 {
		return 0, err
	}
	err = db.inTx(ctx, larder.Act{}, func(t *tx) error {
		left, err := db.orphans(ctx, t)
		if err != nil {
			return err
		}
		for _, path := range left {
			if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return fmt.Errorf("store: removing what is left of a photo: %w", err)
			}
			removed++
		}
		return nil
	})
	return removed, err
}

// orphans are the files that may be removed. Files of other names are not ours.
func (db *DB) orphans(ctx context.Context, q querier) ([]string, error) {
	var out []string
	before := db.now().Add(-orphanAge)
	root := filepath.Join(db.dir, photoFolder)
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil || d.IsDir() {
			return err
		}
		hash, ours := strings.CutSuffix(d.Name(), ".jpg")
		ours = ours && larder.IsPhotoHash(hash)
		if !ours && !strings.HasPrefix(d.Name(), ".new-") {
			return nil
		}
		info, err := d.Info()
		if errors.Is(err, fs.ErrNotExist) || (err == nil && info.ModTime().After(before)) {
			return nil
		}
		if err != nil {
			return err
		}
		var needed bool
		if ours {
			err = q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM photo WHERE sha256 = ? OR thumb_sha256 = ?)`, hash, hash).Scan(&needed)
		}
		if err == nil && !needed {
			out = append(out, path)
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("store: looking through the photos: %w", err)
	}
	return out, nil
}

// checkPhotos reads every picture, compares it with its name, and finds the
// entries whose pictures are kept otherwise than they say.
func (db *DB) checkPhotos(ctx context.Context, q querier, r *Report) error {
	rows, err := q.QueryContext(ctx, `SELECT entry.jar, entry.body, coalesce(photo.sha256, ''), coalesce(photo.thumb_sha256, '')
		FROM entry LEFT JOIN photo ON photo.entry = entry.seq AND photo.jar = entry.jar AND photo.happened_ms = entry.happened_ms
		WHERE entry.kind = ? ORDER BY entry.seq`, larder.KindPhoto)
	if err != nil {
		return fmt.Errorf("store: check: %w", err)
	}
	type kept struct {
		jar  larder.Tag
		said larder.Photo
		row  larder.Photo
	}
	all, err := collect(rows, func(rows *sql.Rows) (k kept, err error) {
		var body string
		if err := rows.Scan(&k.jar, &body, &k.row.SHA256, &k.row.ThumbSHA256); err != nil {
			return k, err
		}
		return k, json.Unmarshal([]byte(body), &k.said)
	})
	if err != nil {
		return fmt.Errorf("store: check: %w", err)
	}
	r.Photos = len(all)
	for _, k := range all {
		if k.row.SHA256 != k.said.SHA256 || k.row.ThumbSHA256 != k.said.ThumbSHA256 {
			r.Findings = append(r.Findings, fmt.Sprintf("A photo of jar %s is not listed as its entry says.", k.jar))
		}
		for _, hash := range []string{k.said.SHA256, k.said.ThumbSHA256} {
			if what := db.photoFault(hash); what != "" {
				r.Findings = append(r.Findings, fmt.Sprintf("A photo of jar %s, %s, %s.", k.jar, hash, what))
			}
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	return nil
}

// photoFault says what is wrong with a picture's file; empty: nothing.
func (db *DB) photoFault(hash string) string {
	if !larder.IsPhotoHash(hash) {
		return "has a name that is none"
	}
	f, err := os.Open(photoPath(db.dir, hash))
	if errors.Is(err, fs.ErrNotExist) {
		return "is missing"
	}
	if err != nil {
		return "cannot be read"
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "cannot be read"
	}
	if hex.EncodeToString(h.Sum(nil)) != hash {
		return "is damaged: it is not what was saved"
	}
	return ""
}
