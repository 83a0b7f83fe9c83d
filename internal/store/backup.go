package store

import (
	"archive/zip"
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
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"cruet/internal/lazy"
)

// A backup is one ZIP file whose members are stored as they are, not compressed:
// the database, the photos, the maker's own papers, and a manifest that says what
// there must be.
const (
	backupFormat   = 1
	manifestName   = "manifest.json"
	ownStocksName  = "stocks.csv"
	maxManifest    = 1 << 20
	maxOwnStocks   = 4 << 20
	maxMembers     = 2_000_000
	backupSettings = "backup" // the name of the setting with the last one
)

// photoMember is where a photo lies in the data folder and in a backup: its name
// is the SHA-256 of its content.
var photoMember = lazy.RE(`^photos/(?:[0-9a-f]{2}/)?([0-9a-f]{64})(?:\.[a-z0-9]{1,5})?$`)

// Manifest is what a backup says of itself.
type Manifest struct {
	Format  int       `json:"format"`
	Made    time.Time `json:"made"`
	Version int       `json:"version"` // of the records
	SHA256  string    `json:"sha256"`  // of the database
	Batches int       `json:"batches"`
	Jars    int       `json:"jars"`
	Entries int       `json:"entries"`
	Lots    int       `json:"lots"`
	Bottles int       `json:"bottles"`
	Gifts   int       `json:"gifts"`
	Photos  int       `json:"photos"` // files
}

func (m *Manifest) count(r Report) {
	m.Version, m.Batches, m.Jars, m.Entries, m.Lots, m.Bottles, m.Gifts = r.Version, r.Batches, r.Jars, r.Entries, r.Lots, r.Bottles, r.Gifts
}

// sameCounts tells that two manifests count the same.
func (m Manifest) sameCounts(o Manifest) bool {
	m.Made, m.SHA256, m.Format = o.Made, o.SHA256, o.Format
	return m == o
}

// DamagedBackupError says why a file is no backup that can be restored.
type DamagedBackupError struct{ Path, Why string }

func (e *DamagedBackupError) Error() string {
	return fmt.Sprintf("%s cannot be restored: %s.", e.Path, strings.TrimSuffix(e.Why, "."))
}

// Backup writes all records and photos into one file, as of one moment, while
// others read and write. The file is written beside its place, synced, renamed,
// then opened again and counted; path must not be there yet. When and where the
// last good one was made is kept with the records.
func (db *DB) Backup(ctx context.Context, path string) (m Manifest, err error) {
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		if err == nil {
			err = fs.ErrExist
		}
		return m, fmt.Errorf("store: backup: %s: %w", path, err)
	}
	work, err := os.MkdirTemp(filepath.Dir(path), workFolders[0])
	if err != nil {
		return m, fmt.Errorf("store: backup: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	copied := filepath.Join(work, FileName)
	if err := db.vacuumInto(ctx, copied); err != nil {
		return m, err
	}
	made := filepath.Join(work, "made.zip")
	if m, err = db.pack(ctx, copied, made); err != nil {
		return m, fmt.Errorf("store: backup: %w", err)
	}
	if err := os.Rename(made, path); err != nil {
		return m, fmt.Errorf("store: backup: %w", err)
	}
	if err := syncFolder(filepath.Dir(path)); err != nil {
		return m, fmt.Errorf("store: backup: %w", err)
	}
	seen, err := VerifyBackup(ctx, path)
	if err != nil {
		return m, fmt.Errorf("store: backup: reading it again: %w", err)
	}
	if !seen.sameCounts(m) {
		return m, &DamagedBackupError{path, "what was written is not what it should hold"}
	}
	return m, db.noteBackup(ctx, path, m)
}

// vacuumInto copies the database as of one moment. It has a connection of its own,
// so that nobody waits for it to write.
func (db *DB) vacuumInto(ctx context.Context, file string) error {
	source, err := filepath.Abs(filepath.Join(db.dir, FileName))
	if err != nil {
		return fmt.Errorf("store: backup: %w", err)
	}
	c, err := sql.Open("sqlite", dsn(source, "mode=rw"))
	if err != nil {
		return fmt.Errorf("store: backup: %w", err)
	}
	defer c.Close()
	if _, err := c.ExecContext(ctx, `VACUUM INTO ?`, file); err != nil {
		return fmt.Errorf("store: backup: copying the records: %w", err)
	}
	return nil
}

// pack puts the copied database and the files beside the records into a ZIP.
// Photos are written before the entries that show them, so all that the copy
// knows of are there.
func (db *DB) pack(ctx context.Context, copied, made string) (m Manifest, err error) {
	report, err := countFile(ctx, copied)
	if err != nil {
		return m, err
	}
	m = Manifest{Format: backupFormat, Made: db.now().UTC().Truncate(time.Second)}
	m.count(report)
	if m.SHA256, err = hashFile(copied); err != nil {
		return m, err
	}
	photos, err := db.photoFiles()
	if err != nil {
		return m, err
	}
	f, err := os.OpenFile(made, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	z := zip.NewWriter(f)
	if err := addFile(z, FileName, copied, m.Made); err != nil {
		return m, err
	}
	if err := addFile(z, ownStocksName, filepath.Join(db.dir, ownStocksName), m.Made); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return m, err
	}
	for _, name := range photos {
		if err := ctx.Err(); err != nil {
			return m, err
		}
		switch err := addFile(z, name, filepath.Join(db.dir, filepath.FromSlash(name)), m.Made); {
		case errors.Is(err, fs.ErrNotExist): // no entry needed it, and it was swept away meanwhile
		case err != nil:
			return m, err
		default:
			m.Photos++
		}
	}
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return m, err
	}
	w, err := z.CreateHeader(&zip.FileHeader{Name: manifestName, Method: zip.Store, Modified: m.Made})
	if err != nil {
		return m, err
	}
	if _, err := w.Write(append(text, '\n')); err != nil {
		return m, err
	}
	if err := z.Close(); err != nil {
		return m, err
	}
	return m, f.Sync()
}

// photoFiles lists the photos, by their names relative to the data folder.
func (db *DB) photoFiles() ([]string, error) {
	var out []string
	root := filepath.Join(db.dir, photoFolder)
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		name, err := filepath.Rel(db.dir, file)
		if name = filepath.ToSlash(name); err == nil && photoMember().MatchString(name) {
			out = append(out, name)
		}
		return err
	})
	slices.Sort(out)
	return out, err
}

func addFile(z *zip.Writer, name, file string, made time.Time) (err error) {
	f, err := os.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store, Modified: made})
	if err != nil {
		return err
	}
	_, err = io.Copy(w, f)
	return err
}

func hashFile(file string) (string, error) {
	f, err := os.Open(file)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// peekFile opens a database that nobody else has open, by its full path, without
// changing it.
func peekFile(file string) (*sql.DB, error) {
	return sql.Open("sqlite", dsn(file, "mode=ro&immutable=1"))
}

// countFile looks into a copied database: whether it is one of ours that this
// program knows, whole, and how much it holds.
func countFile(ctx context.Context, file string) (Report, error) {
	r := Report{Findings: []string{}}
	file, err := filepath.Abs(file)
	if err != nil {
		return r, err
	}
	if err := refuseForeign(ctx, file); err != nil {
		return r, err
	}
	c, err := peekFile(file)
	if err != nil {
		return r, err
	}
	defer c.Close()
	var id int
	if err := c.QueryRowContext(ctx, `PRAGMA application_id`).Scan(&id); err != nil {
		return r, err
	}
	if id != applicationID {
		return r, errors.New("its database is not one of this program's")
	}
	if err := checkFile(ctx, c, &r); err != nil {
		return r, err
	}
	if len(r.Findings) > 0 {
		return r, errors.New(r.Findings[0])
	}
	return r, count(ctx, c, &r)
}

// VerifyBackup opens a backup, reads all of it, holds the database and every
// photo against their hashes and counts what there is. What is wrong is a
// *DamagedBackupError.
func VerifyBackup(ctx context.Context, file string) (m Manifest, err error) {
	work, err := os.MkdirTemp(filepath.Dir(file), workFolders[1])
	if err != nil {
		if work, err = os.MkdirTemp("", "cruet-verify-*"); err != nil {
			return m, err
		}
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	return unpack(ctx, file, work, false)
}

// unpack reads a backup into a folder, the photos only when keep is set.
func unpack(ctx context.Context, file, into string, keep bool) (Manifest, error) {
	bad := func(format string, args ...any) error {
		return &DamagedBackupError{file, fmt.Sprintf(format, args...)}
	}
	z, err := zip.OpenReader(file)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission) {
			return Manifest{}, err
		}
		return Manifest{}, bad("it is not a backup, or it was cut short")
	}
	defer z.Close()
	m, members, err := membersOf(file, z, bad)
	if err != nil {
		return m, err
	}
	have := Manifest{}
	for _, member := range members {
		if err := ctx.Err(); err != nil {
			return m, err
		}
		name, to := member.Name, ""
		if keep || name == FileName {
			to = filepath.Join(into, filepath.FromSlash(name))
		}
		sum, err := takeOut(member, to)
		if err != nil {
			if errors.Is(err, zip.ErrChecksum) || errors.Is(err, zip.ErrFormat) || errors.Is(err, io.ErrUnexpectedEOF) {
				return m, bad("%s in it is damaged", name)
			}
			return m, err
		}
		switch photo := photoMember().FindStringSubmatch(name); {
		case photo != nil && photo[1] != sum:
			return m, bad("the photo %s in it is damaged", name)
		case photo != nil:
			have.Photos++
		case name == FileName && sum != m.SHA256:
			return m, bad("its database is not the one that was put in")
		}
	}
	report, err := countFile(ctx, filepath.Join(into, FileName))
	if err != nil {
		var newer *NewerError
		if errors.As(err, &newer) {
			return m, bad("it was made by a newer Cruet; install that one first")
		}
		return m, bad("its database is damaged: %v", err)
	}
	have.count(report)
	if !have.sameCounts(m) {
		return m, bad("it should hold %d jars, %d entries and %d photos, but holds %d, %d and %d", m.Jars, m.Entries, m.Photos, have.Jars, have.Entries, have.Photos)
	}
	return m, nil
}

// membersOf looks at a backup's list of members before any is read: nothing may
// lie outside, be twice, be compressed, or claim to be larger than the file.
func membersOf(file string, z *zip.ReadCloser, bad func(string, ...any) error) (m Manifest, members []*zip.File, err error) {
	info, err := os.Stat(file)
	if err != nil {
		return m, nil, err
	}
	if len(z.File) > maxMembers {
		return m, nil, bad("it has too many members")
	}
	seen := map[string]bool{}
	total := uint64(0)
	for _, f := range z.File {
		total += f.UncompressedSize64
		switch {
		case seen[f.Name]:
			return m, nil, bad("%q is in it twice", f.Name)
		case f.Name != manifestName && f.Name != FileName && f.Name != ownStocksName && !photoMember().MatchString(f.Name), path.Clean(f.Name) != f.Name:
			return m, nil, bad("%q does not belong into a backup", f.Name)
		case f.Method != zip.Store || f.UncompressedSize64 != f.CompressedSize64 || !f.Mode().IsRegular():
			return m, nil, bad("%q is not stored as backups are", f.Name)
		case total > uint64(info.Size()):
			return m, nil, bad("it claims to hold more than it can")
		case (f.Name == manifestName && f.UncompressedSize64 > maxManifest) || (f.Name == ownStocksName && f.UncompressedSize64 > maxOwnStocks):
			return m, nil, bad("%q is too large", f.Name)
		}
		seen[f.Name] = true
		if f.Name != manifestName {
			members = append(members, f)
		}
	}
	if !seen[manifestName] || !seen[FileName] {
		return m, nil, bad("it is not a backup of a kitchen")
	}
	at := slices.IndexFunc(z.File, func(f *zip.File) bool { return f.Name == manifestName })
	r, err := z.File[at].Open()
	if err != nil {
		return m, nil, bad("its manifest is damaged")
	}
	defer r.Close()
	text, err := io.ReadAll(io.LimitReader(r, maxManifest))
	if err != nil || json.Unmarshal(text, &m) != nil {
		return m, nil, bad("its manifest is damaged")
	}
	if m.Format != backupFormat {
		return m, nil, bad("it has format %d, and this program knows %d", m.Format, backupFormat)
	}
	return m, members, nil
}

// takeOut reads one member, into a file when to is not empty, and gives its
// SHA-256.
func takeOut(f *zip.File, to string) (sum string, err error) {
	r, err := f.Open()
	if err != nil {
		return "", err
	}
	defer r.Close()
	h := sha256.New()
	var w io.Writer = h
	if to != "" {
		if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
			return "", err
		}
		out, failed := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if failed != nil {
			return "", failed
		}
		defer func() { err = errors.Join(err, out.Sync(), out.Close()) }()
		w = io.MultiWriter(h, out)
	}
	if _, err := io.Copy(w, io.LimitReader(r, int64(f.UncompressedSize64)+1)); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// Restore puts a backup into a folder that must not be there yet, or be empty. It
// is there whole or not at all.
func Restore(ctx context.Context, file, dir string) (m Manifest, err error) {
	switch entries, err := os.ReadDir(dir); {
	case err == nil && len(entries) > 0:
		return m, &NotEmptyError{Dir: dir}
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return m, fmt.Errorf("store: restore: %w", err)
	}
	parent := filepath.Dir(filepath.Clean(dir))
	if err := os.MkdirAll(parent, 0o700); err != nil {
		return m, fmt.Errorf("store: restore: %w", err)
	}
	work, err := os.MkdirTemp(parent, ".cruet-restore-*")
	if err != nil {
		return m, fmt.Errorf("store: restore: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	if m, err = unpack(ctx, file, work, true); err != nil {
		return m, err
	}
	// Rename replaces an empty folder, and fails when somebody filled it meanwhile.
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return m, &NotEmptyError{Dir: dir}
	}
	if err := os.Rename(work, dir); err != nil {
		return m, fmt.Errorf("store: restore: %w", err)
	}
	return m, syncFolder(parent)
}

// NotEmptyError says that a folder holds something already; it was not touched.
type NotEmptyError struct{ Dir string }

func (e *NotEmptyError) Error() string {
	return e.Dir + " is not empty. A backup is restored into a folder of its own; nothing was changed."
}
