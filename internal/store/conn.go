package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"strings"

	"modernc.org/sqlite"
)

// openPool is a pool whose connections keep the statements that they prepared. To
// prepare one costs more than to run it, and the store's texts are few: acts and
// pages run the same ones over and over. begin begins a transaction. seen, when not nil, is told each text
// that is prepared.
func openPool(dsn, begin string, seen func(query string)) (*sql.DB, error) {
	// What a commit writes and needs to be read back is on disk either way; without
	// the file's times the disk has half the work.
	if _, err := sqlite.Fdatasync(true); err != nil && !errors.Is(err, sqlite.ErrFdatasyncUnavailable) {
		return nil, err
	}
	c, err := sqlite.NewConnector(dsn)
	if err != nil {
		return nil, err
	}
	return sql.OpenDB(connector{c, begin, seen}), nil
}

type connector struct {
	driver.Connector
	begin string
	seen  func(string)
}

func (c connector) Connect(ctx context.Context) (driver.Conn, error) {
	inner, err := c.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	return &conn{inner.(driverConn), map[string]statement{}, c.begin, c.seen}, nil
}

// driverConn is what the driver's connections can do.
type driverConn interface {
	driver.Conn
	driver.ConnBeginTx
	driver.ConnPrepareContext
	driver.ExecerContext
	driver.QueryerContext
	driver.Pinger
	driver.SessionResetter
	driver.Validator
}

type statement interface {
	driver.Stmt
	driver.StmtExecContext
	driver.StmtQueryContext
}

// maxIdle bounds the statements that a connection keeps, should texts ever be
// made up; the store has fewer.
const maxIdle = 256

// conn is one connection with its statements that nobody is running. One that is
// running, while its rows are read, is not among them: the same text asked for
// meanwhile is prepared once more.
type conn struct {
	driverConn
	idle  map[string]statement
	begin string
	seen  func(string)
}

// Unwrap is for the driver's own functions.
func (c *conn) Unwrap() driver.Conn { return c.driverConn }

func (c *conn) take(ctx context.Context, query string) (statement, error) {
	if s, ok := c.idle[query]; ok {
		delete(c.idle, query)
		return s, nil
	}
	if c.seen != nil {
		c.seen(query)
	}
	s, err := c.PrepareContext(ctx, query)
	if err != nil {
		return nil, err
	}
	return s.(statement), nil
}

func (c *conn) give(query string, s statement) error {
	if _, ok := c.idle[query]; ok || len(c.idle) == maxIdle {
		return s.Close()
	}
	c.idle[query] = s
	return nil
}

// BeginTx begins a transaction by a statement that is kept, and ends it by one. Where
// a context could end the wait for a lock, the driver's own way does.
func (c *conn) BeginTx(ctx context.Context, opt driver.TxOptions) (driver.Tx, error) {
	begin := c.begin
	if opt.ReadOnly {
		begin = beginReading // which waits for nothing
	} else if ctx.Done() != nil {
		return c.driverConn.BeginTx(ctx, opt)
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if _, err := c.ExecContext(context.WithoutCancel(ctx), begin, nil); err != nil {
		return nil, err
	}
	return transaction{c}, nil
}

// How a transaction begins: one that reads takes no lock, one that writes takes the
// only one there is at once.
const (
	beginReading = "BEGIN"
	beginWriting = "BEGIN IMMEDIATE"
)

// transaction is one that BeginTx began.
type transaction struct{ c *conn }

func (t transaction) Commit() error {
	_, err := t.c.ExecContext(context.Background(), "COMMIT", nil)
	if err != nil {
		_ = t.Rollback() // of a failed commit something may be left; err says why
	}
	return err
}

func (t transaction) Rollback() error {
	_, err := t.c.ExecContext(context.Background(), "ROLLBACK", nil)
	return err
}

// script says that a text may be several statements, as a migration is.
func script(query string) bool { return strings.Contains(query, ";") }

func (c *conn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	if script(query) {
		return c.driverConn.ExecContext(ctx, query, args)
	}
	s, err := c.take(ctx, query)
	if err != nil {
		return nil, err
	}
	res, err := s.ExecContext(ctx, args)
	if err != nil {
		s.Close() // the error of running it says more
		return nil, err
	}
	return res, c.give(query, s)
}

func (c *conn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	s, err := c.take(ctx, query)
	if err != nil {
		return nil, err
	}
	rows, err := s.QueryContext(ctx, args)
	if err != nil {
		s.Close()
		return nil, err
	}
	return &lent{rows, c, query, s}, nil
}

// lent are rows that give their statement back when they are closed.
type lent struct {
	driver.Rows
	from  *conn
	query string
	s     statement
}

func (r *lent) Close() error {
	if err := r.Rows.Close(); err != nil {
		r.s.Close()
		return err
	}
	return r.from.give(r.query, r.s)
}

// Close closes the statements too, which the driver would leave behind.
func (c *conn) Close() error {
	for _, s := range c.idle {
		s.Close() // closing the connection tells what is wrong with it
	}
	clear(c.idle)
	return c.driverConn.Close()
}
