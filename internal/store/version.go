package store

import (
	"context"
	"database/sql"
	"fmt"
	"sync"
)

// Version marks the records as they stand: while two are equal, nothing was
// committed between them, by this program or another.
type Version struct{ connection, data int64 }

// versions asks on a connection of its own, since SQLite counts what others
// committed for each connection alone.
type versions struct {
	mu         sync.Mutex
	pinned     *sql.Conn
	connection int64 // how many there were; numbers of different ones do not compare
}

// Version is the version of the records now.
func (db *DB) Version(ctx context.Context) (Version, error) {
	ctx = context.WithoutCancel(ctx) // it takes microseconds, and must not cost the connection
	v := &db.versions
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.pinned == nil {
		c, err := db.read.Conn(ctx)
		if err != nil {
			return Version{}, fmt.Errorf("store: version: %w", err)
		}
		v.pinned = c
		v.connection++
	}
	now := Version{connection: v.connection}
	if err := v.pinned.QueryRowContext(ctx, `PRAGMA data_version`).Scan(&now.data); err != nil {
		_ = v.pinned.Close() // the next call takes another
		v.pinned = nil
		return Version{}, fmt.Errorf("store: version: %w", err)
	}
	return now, nil
}

func (v *versions) close() error {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.pinned == nil {
		return nil
	}
	c := v.pinned
	v.pinned = nil
	return c.Close()
}
