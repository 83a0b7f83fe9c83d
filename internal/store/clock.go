package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// clockSlack is how far the machine's clock may be set back without anything
// logged now looking older than what was logged before: a correction over the
// network, or an hour by hand. A clock that is further back is wrong, or was wrong
// before; then it is believed, and whoever starts the station is told.
const clockSlack = 2 * time.Hour

// clock is the time of recording. The order of recording itself is the database's
// and needs no clock; but the newest reading of a jar is that of the newest date.
// Milliseconds are what is stored; an answer must equal what is read later.
func (db *DB) clock() time.Time {
	now, last := db.now().UTC().Truncate(time.Millisecond), db.last.Load()
	if behind := last - now.UnixMilli(); behind > 0 && behind <= clockSlack.Milliseconds() {
		return time.UnixMilli(last).UTC()
	}
	db.last.Store(now.UnixMilli())
	return now
}

// readClock takes over the time of the newest entry.
func (db *DB) readClock(ctx context.Context) error {
	var ms int64
	err := db.write.QueryRowContext(ctx, `SELECT recorded_ms FROM entry ORDER BY seq DESC LIMIT 1`).Scan(&ms)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("reading when the newest entry was made: %w", err)
	}
	db.last.Store(ms)
	return nil
}

// ClockBehind is how far the machine's clock is behind the newest entry, when that
// is more than a correction of the clock explains; else 0.
func (db *DB) ClockBehind() time.Duration {
	behind := time.UnixMilli(db.last.Load()).Sub(db.now())
	if behind <= clockSlack {
		return 0
	}
	return behind
}
