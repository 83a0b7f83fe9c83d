package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"

	"modernc.org/sqlite"
)

// A commit waits for the disk, and many phones may save at once. So acts share
// transactions: they run one after another, each in its own goroutine when its
// turn comes, and whoever finds nobody waiting behind it commits for all that ran
// since the last commit. No act is answered before that commit: a saved one since
// its rows are not on disk, a refused one since what it was refused by is not.
// Alone, an act has a transaction of its own, and nothing waits for company.
//
// An act that fails is taken back alone, by a savepoint. A failure that makes
// SQLite end the whole transaction, as a full disk does, and a failed commit, fail
// all that shared it; nobody was answered, and the keys make trying again safe.
type writer struct {
	pool    *sql.DB      // of one connection
	use     sync.RWMutex // held for reading by every act until it is answered; DB.Close waits for it
	turn    sync.Mutex
	waiting atomic.Int32 // acts that want their turn
	open    *group       // what ran since the last commit; guarded by turn
}

// group is the acts that share a transaction.
type group struct {
	conn *sql.Conn // in a transaction
	acts int
	done chan struct{} // closed when err says how the commit ended
	err  error
}

// groupActs bounds a group, so that the first of it is answered in time.
const groupActs = 64

// do runs one act and returns when it is on disk, or when nothing of it is there.
// A panic in it is the caller's own, and takes back as much as an error does.
func (w *writer) do(ctx context.Context, act func(turn) error) error {
	w.use.RLock()
	defer w.use.RUnlock()
	g, err := w.take(ctx, act)
	if g == nil {
		return err
	}
	<-g.done // even when ctx ends: what became of the act is known only then
	if err == nil {
		err = g.err
	}
	return err
}

// take waits for the turn, runs the act, and commits unless another act waits,
// which then will. The group is nil when there is nothing to wait for.
func (w *writer) take(ctx context.Context, act func(turn) error) (*group, error) {
	w.waiting.Add(1)
	w.turn.Lock()
	w.waiting.Add(-1)
	defer w.turn.Unlock()
	defer w.commit()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if w.open == nil {
		conn, err := opened(w.pool)
		if err != nil {
			return nil, fmt.Errorf("beginning: %w", err)
		}
		w.open = &group{conn: conn, done: make(chan struct{})}
	}
	g := w.open
	err := w.run(ctx, g, act)
	if g.acts == 0 {
		g = nil // the act failed as the first, and its transaction is gone
	}
	return g, err
}

// run runs one act in the group's transaction. The first needs no savepoint:
// taking it back takes the transaction back.
func (w *writer) run(ctx context.Context, g *group, act func(turn) error) (err error) {
	t, first, whole := turn{g.conn}, g.acts == 0, false
	defer func() {
		if !whole {
			w.takeBack(t, g, err)
		}
	}()
	if !first {
		if _, err := t.ExecContext(context.Background(), `SAVEPOINT act`); err != nil {
			return fmt.Errorf("beginning: %w", err)
		}
	}
	if err := act(t); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err // who asked is gone, and was told nothing
	}
	if !first {
		if _, err := t.ExecContext(context.Background(), `RELEASE act`); err != nil {
			return fmt.Errorf("keeping the act: %w", err)
		}
	}
	g.acts++
	whole = true
	return nil
}

// takeBack undoes the act that ran last, or ends the group when SQLite has, of
// which cause then tells.
func (w *writer) takeBack(t turn, g *group, cause error) {
	if g.acts == 0 {
		w.end(g, finished(g.conn, "ROLLBACK"))
		return
	}
	_, err := t.ExecContext(context.Background(), `ROLLBACK TO act`)
	if err == nil {
		_, err = t.ExecContext(context.Background(), `RELEASE act`)
	}
	if err != nil {
		_ = finished(g.conn, "ROLLBACK") // err says more
		if _, ok := errors.AsType[*sqlite.Error](cause); ok {
			err = cause
		}
		w.end(g, fmt.Errorf("what was saved at the same time failed: %w", err))
	}
}

func (w *writer) commit() {
	g := w.open
	if g == nil || (w.waiting.Load() > 0 && g.acts < groupActs) {
		return
	}
	err := finished(g.conn, "COMMIT")
	if err != nil {
		err = fmt.Errorf("committing: %w", err)
	}
	w.end(g, err)
}

// opened is a connection in a transaction. It is not a sql.Tx, which would guard each
// statement against the end of a context that never ends, and costs as much as some
// of them.
func opened(pool *sql.DB) (*sql.Conn, error) {
	conn, err := pool.Conn(context.Background()) // one act's context must not end the others'
	if err != nil {
		return nil, err
	}
	if _, err := conn.ExecContext(context.Background(), beginWriting); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return conn, nil
}

// finished ends the transaction of a connection and gives it back. Of a commit that
// failed nothing is left open.
func finished(conn *sql.Conn, how string) error {
	_, err := conn.ExecContext(context.Background(), how)
	if err != nil {
		_, _ = conn.ExecContext(context.Background(), "ROLLBACK") // SQLite may have done it; err says why
	}
	return errors.Join(err, conn.Close())
}

func (w *writer) end(g *group, err error) {
	w.open, g.err = nil, err
	close(g.done)
}

// execer is what writes: an act's transaction, or the one of a migration.
type execer interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}

// turn is the transaction as an act has it. A statement that has begun runs to its
// end whatever becomes of its context, because SQLite answers an interrupted write
// by rolling back all of the transaction; between statements an ended context ends
// the act.
type turn struct{ in inTransaction }

// inTransaction is what runs statements in a transaction: an act's connection, or the
// sql.Tx of an import.
type inTransaction interface {
	querier
	execer
	PrepareContext(ctx context.Context, query string) (*sql.Stmt, error)
}

func steady(ctx context.Context) context.Context {
	if ctx.Err() != nil {
		return ctx // is refused before SQLite hears of it
	}
	return context.WithoutCancel(ctx)
}

func (t turn) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	return t.in.ExecContext(steady(ctx), query, args...)
}

func (t turn) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	return t.in.QueryContext(steady(ctx), query, args...)
}

func (t turn) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	return t.in.QueryRowContext(steady(ctx), query, args...)
}

func (t turn) PrepareContext(ctx context.Context, query string) (*sql.Stmt, error) {
	return t.in.PrepareContext(steady(ctx), query)
}
