// Package store keeps a kitchen's records in one SQLite file. It holds the
// transactions; the rules are larder's. Every act is one method and one
// transaction, answered only after its commit is on disk (WAL with
// synchronous=FULL), and may be sent again under the same key without effect.
package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"sort"
	"sync/atomic"
	"time"

	"modernc.org/sqlite" // also the database/sql driver "sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// FileName is the database's name in the data folder.
const FileName = "cruet.db"

// applicationID marks the file as ours: "CRUT" in ASCII.
const applicationID = 0x43525554

// derivedVersion is the newest version that keeps something more of what larder
// derives from a log, which SQL cannot do; older records are derived afresh.
const derivedVersion = 4

// listedVersion is the newest version that lists something more of a jar's state.
const listedVersion = 9

//go:embed migrations/*.sql
var migrationFiles embed.FS

// Options open a database otherwise than usual; the zero value is the usual.
type Options struct {
	Now func() time.Time // the clock; nil: time.Now

	// Seen, when not nil, is told each text of SQL that is prepared, by whichever
	// goroutine prepares it; for tests of how tables are read.
	Seen func(query string)
}

// DB is an open kitchen. One connection writes, so that writers queue instead
// of failing with "busy"; a pool of others reads.
type DB struct {
	write    *sql.DB
	writer   writer // what acts go through, on write
	read     *sql.DB
	versions versions
	now      func() time.Time
	last     atomic.Int64 // the newest time of recording, UTC ms; see clock
	dir      string
}

// NewerError says that the file was written by a newer program. It was not touched.
type NewerError struct {
	Path       string
	Have, Know int
}

func (e *NewerError) Error() string {
	return fmt.Sprintf("%s was written by a newer Cruet (its records are of version %d, this program knows up to %d). Nothing was changed. Install the newer program, or name another folder with --data.", e.Path, e.Have, e.Know)
}

// Open opens the kitchen in dir, creating the folder and the file when they are
// missing and bringing an older file up to date. A file of a newer version, or
// of another program, is refused untouched.
func Open(ctx context.Context, dir string, opt Options) (*DB, error) {
	db, err := open(ctx, dir, opt)
	return db, StationFault(err)
}

func open(ctx context.Context, dir string, opt Options) (*DB, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("making the data folder: %w", err)
	}
	path, err := filepath.Abs(filepath.Join(dir, FileName))
	if err != nil {
		return nil, fmt.Errorf("naming the data folder: %w", err)
	}
	if err := refuseForeign(ctx, path); err != nil {
		return nil, err
	}
	db := &DB{now: opt.Now, dir: dir}
	if db.now == nil {
		db.now = time.Now
	}
	if db.write, err = openPool(dsn(path, "_txlock=immediate&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)"), beginWriting, opt.Seen); err != nil {
		return nil, fmt.Errorf("opening %s: %w", path, err)
	}
	db.write.SetMaxOpenConns(1)
	db.writer.pool = db.write
	if err := db.migrate(ctx, path); err != nil {
		return nil, errors.Join(err, db.write.Close())
	}
	if db.read, err = openPool(dsn(path, "_pragma=query_only(ON)&_pragma=mmap_size(268435456)"), beginReading, opt.Seen); err != nil {
		return nil, errors.Join(fmt.Errorf("opening %s: %w", path, err), db.write.Close())
	}
	if err := db.readClock(ctx); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	readers := 1 + max(4, runtime.NumCPU()) // one is for Version
	db.read.SetMaxOpenConns(readers)
	db.read.SetMaxIdleConns(readers)
	return db, nil
}

// dsn puts every pragma into the address, so that each connection of a pool has
// them: a pool opens connections at will.
func dsn(path, extra string) string {
	slashed := filepath.ToSlash(path)
	if slashed[0] != '/' {
		slashed = "/" + slashed
	}
	u := url.URL{Scheme: "file", Path: slashed, RawQuery: extra + "&_pragma=foreign_keys(ON)&_pragma=busy_timeout(10000)"}
	return u.String()
}

// Close waits for the acts that began and closes all connections; the last one
// folds the write-ahead log back.
func (db *DB) Close() error {
	db.writer.use.Lock()
	defer db.writer.use.Unlock()
	return errors.Join(db.versions.close(), db.read.Close(), db.write.Close())
}

// Dir is the data folder.
func (db *DB) Dir() string { return db.dir }

// refuseForeign looks at an existing file without changing it.
func refuseForeign(ctx context.Context, path string) error {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) || (err == nil && info.Size() == 0) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("looking at %s: %w", path, err)
	}
	// Without a write-ahead log nobody has the file open, and looking at it as
	// immutable leaves no files beside it; with one, the log must be read too.
	mode := "mode=ro"
	if _, err := os.Stat(path + "-wal"); errors.Is(err, fs.ErrNotExist) {
		mode += "&immutable=1"
	}
	peek, err := sql.Open("sqlite", dsn(path, mode))
	if err != nil {
		return fmt.Errorf("opening %s: %w", path, err)
	}
	defer peek.Close()
	// The pragmas read the header alone, and spare reading the whole schema, which is
	// done for every connection that asks more.
	var id, have, tables int
	for pragma, into := range map[string]*int{"application_id": &id, "user_version": &have} {
		if err := peek.QueryRowContext(ctx, "PRAGMA "+pragma).Scan(into); err != nil {
			return fmt.Errorf("%s cannot be read as a Cruet database: %w", path, err)
		}
	}
	if id != applicationID {
		if err := peek.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema`).Scan(&tables); err != nil {
			return fmt.Errorf("%s cannot be read as a Cruet database: %w", path, err)
		}
	}
	know, err := migrations()
	switch {
	case err != nil:
		return err
	case tables > 0:
		return fmt.Errorf("%s is a database of another program. Nothing was changed; name another folder with --data", path)
	case have > len(know):
		return &NewerError{Path: path, Have: have, Know: len(know)}
	}
	return nil
}

// migrations are the embedded files in order; the nth brings version n-1 to n.
func migrations() ([]string, error) {
	names, err := fs.Glob(migrationFiles, "migrations/*.sql")
	if err != nil {
		return nil, fmt.Errorf("listing migrations: %w", err)
	}
	sort.Strings(names)
	texts := make([]string, len(names))
	for i, name := range names {
		var n int
		if _, err := fmt.Sscanf(filepath.Base(name), "%04d_", &n); err != nil || n != i+1 {
			return nil, fmt.Errorf("migration %s should be number %d", name, i+1)
		}
		text, err := migrationFiles.ReadFile(name)
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", name, err)
		}
		texts[i] = string(text)
	}
	return texts, nil
}

// firstTx begins the first transaction. The connection that it opens turns the
// write-ahead log on, and while another program does the same with a fresh file
// SQLite answers "busy" at once, whatever the busy time-out: so it is tried again.
func (db *DB) firstTx(ctx context.Context) (*sql.Tx, error) {
	const wait, patience = 10 * time.Millisecond, 10 * time.Second
	for begun := time.Now(); ; {
		tx, err := db.write.BeginTx(ctx, nil)
		var failed *sqlite.Error
		if err == nil || !errors.As(err, &failed) || failed.Code()&0xff != sqlite3.SQLITE_BUSY || time.Since(begun) > patience {
			return tx, err
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(wait):
		}
	}
}

// migrate brings the file to the newest version in one transaction. Another
// process may have done it meanwhile, so the version is read inside.
func (db *DB) migrate(ctx context.Context, path string) error {
	texts, err := migrations()
	if err != nil {
		return err
	}
	tx, err := db.firstTx(ctx)
	if err != nil {
		return fmt.Errorf("opening the records: %w", err)
	}
	defer tx.Rollback()
	var have int
	if err := tx.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&have); err != nil {
		return fmt.Errorf("reading the records' version: %w", err)
	}
	if have > len(texts) {
		return &NewerError{Path: path, Have: have, Know: len(texts)}
	}
	if have == len(texts) {
		return nil
	}
	for i := have; i < len(texts); i++ {
		if _, err := tx.ExecContext(ctx, texts[i]); err != nil {
			return fmt.Errorf("bringing the records to version %d: %w", i+1, err)
		}
	}
	if have > 0 && have < derivedVersion {
		if err := deriveAll(ctx, tx); err != nil {
			return fmt.Errorf("bringing the records to version %d: %w", derivedVersion, err)
		}
	}
	if have >= derivedVersion && have < listedVersion {
		if err := listAll(ctx, tx); err != nil {
			return fmt.Errorf("bringing the records to version %d: %w", listedVersion, err)
		}
	}
	pragmas := fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, len(texts))
	if _, err := tx.ExecContext(ctx, pragmas); err != nil {
		return fmt.Errorf("marking the records' version: %w", err)
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("bringing the records up to date: %w", err)
	}
	return nil
}
