package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"slices"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/web"
)

// shutdownGrace is how long requests under way may take to finish.
const shutdownGrace = 15 * time.Second

type serveFlags struct {
	listen, address  string
	tlsCert, tlsKey  string
	demo, noAnnounce bool
	backups, keep    string
	noBackups        bool
}

func (a *app) serveCommand() *cobra.Command {
	var f serveFlags
	cmd := &cobra.Command{
		Use: "serve", Short: "Start the station that phones open",
		Long: `Start the station: the pages that a jar's label opens, and the JSON API. It prints
the address to open, a code of it for the phone, and where the records lie. Ctrl-C
stops it; what was saved stays saved.

Only paired phones write; the first is paired by the code that the station prints
while there is none. Serve it on the kitchen's own network only.

Once a day it makes a backup, as "cruet backup" does, in the folder "backups" among
the records, as soon as nobody has asked for a page for a minute, or five minutes
after it was due. It removes old ones: --keep "7d 5w 12m" keeps the newest of the
last 7 days, 5 weeks and 12 months. --backups DIR puts them on another disk, which
is safer: a folder on it, not the place where it is mounted, so that none is made
elsewhere while the disk is not plugged in.

--demo shows an invented kitchen, made afresh in a folder of its own and removed at
the end. It never touches real records.`,
		Example: `  cruet serve --demo
  cruet serve
  cruet serve --listen :8081 --address larder.local:8081`,
		Args: exactly(),
	}
	cmd.Flags().StringVar(&f.listen, "listen", ":8080", "`HOST:PORT` to listen on; port 0 takes any free one")
	cmd.Flags().StringVar(&f.address, "address", "", "`HOST:PORT` that labels name (default: this machine's on the local network)")
	cmd.Flags().StringVar(&f.tlsCert, "tls-cert", "", "`FILE` with a certificate (PEM), to serve over TLS; a label's code is sent on to it")
	cmd.Flags().StringVar(&f.tlsKey, "tls-key", "", "`FILE` with the certificate's key (PEM)")
	cmd.Flags().BoolVar(&f.noAnnounce, "no-announce", false, "do not tell the network a name like cruet.local (multicast DNS)")
	cmd.Flags().BoolVar(&f.demo, "demo", false, "serve an invented kitchen")
	cmd.Flags().StringVar(&f.backups, "backups", "", "`DIR` for the daily backups (default: backups, among the records)")
	cmd.Flags().StringVar(&f.keep, "keep", "7d 5w 12m", "how many `DAYS WEEKS MONTHS` of backups stay")
	cmd.Flags().BoolVar(&f.noBackups, "no-backups", false, "make no daily backups")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.serve(cmd, f) }
	return cmd
}

func (a *app) serve(cmd *cobra.Command, f serveFlags) (err error) {
	if f.demo && cmd.Flags().Changed("data") {
		return &usageError{message: "--demo and --data exclude each other: the demo never lies beside real records.", hint: "Leave one of them out."}
	}
	if (f.tlsCert == "") != (f.tlsKey == "") {
		return &usageError{message: "--tls-cert and --tls-key belong together.", hint: "Name both files, or neither."}
	}
	if f.tlsCert != "" {
		if _, err := tls.LoadX509KeyPair(f.tlsCert, f.tlsKey); err != nil {
			return &hinted{fmt.Errorf("reading the certificate and its key: %w", err), "Both are PEM files: --tls-cert the certificate with its chain, --tls-key the key that belongs to it."}
		}
	}
	if _, _, err := web.Address(f.listen); err != nil {
		return wrongUse("--listen", "%s", err)
	}
	if f.address != "" {
		if err := larder.CheckAddress(f.address); err != nil {
			return wrongUse("--address", "%s", err)
		}
	}
	keep, err := parseKeep(f.keep)
	if err != nil {
		return wrongUse("--keep", "%s.", err)
	}
	collectLess()
	ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt, syscall.SIGTERM)
	defer stop()

	// The port is taken first: a second station on it must not touch anything.
	listener, err := net.Listen("tcp", f.listen)
	if err != nil {
		return &hinted{fmt.Errorf("listening on %s: %w", f.listen, err), "Another station may be running there. Stop it, or name another port with --listen."}
	}
	defer listener.Close() // once more after the server closed it does no harm
	db, cleanUp, err := a.openStation(ctx, f.demo)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close(), cleanUp()) }()

	// What tells versions keeps its connection and reads no table: it takes a fresh one,
	// and leaves to the first page one that has read the schema.
	if _, err := db.Version(ctx); err != nil {
		return err
	}
	before, err := db.Kitchen(ctx)
	if err != nil {
		return err
	}
	r := &running{db: db, demo: f.demo, quiet: f.noAnnounce || f.demo, named: f.address, at: listener.Addr(), hosts: web.NewHosts(),
		bounds: web.NewBounds(), health: web.NewHealth(version(), func(ctx context.Context) error { _, err := db.Kitchen(ctx); return err })}
	st, k, err := r.settle(ctx)
	if err != nil {
		return err
	}
	if err := a.announce(ctx, db, st, k, before.Address, f); err != nil {
		return err
	}
	if behind := db.ClockBehind(); behind > 0 {
		fmt.Fprintf(a.err, "warning: this machine's clock is %v behind the newest entry. Set it right before anything is logged.\n", behind.Round(time.Hour))
	}
	defer a.sweep(ctx, db)()
	if !f.demo && !f.noBackups {
		b := &backups{dir: f.backups, keep: keep, now: time.Now, used: r.lastUsed, say: func(format string, args ...any) { fmt.Fprintf(a.err, "note: "+format+"\n", args...) }}
		if b.dir == "" {
			b.dir = filepath.Join(db.Dir(), store.BackupFolder)
		}
		work, end := context.WithCancel(ctx)
		var ended sync.WaitGroup
		ended.Go(func() { b.run(work, db) })
		defer func() { end(); ended.Wait() }() // before the records are closed
	}
	// The network is asked for nearly a second: meanwhile the station is served.
	told := make(chan struct{})
	go func() {
		defer close(told)
		r.announce(ctx, k)
		a.tellName(r)
	}()
	defer func() { <-told; err = errors.Join(err, r.close()) }()
	return a.serveUntil(ctx, stop, listener, r, f)
}

// collectLess lets garbage wait. A station has a few megabytes of its own, so that by
// Go's default it would collect from four on: in the middle of its first answer, and
// then every few pages. The limit holds for pictures, whose decoding may take a quarter
// of a gigabyte. Whoever sets Go's own variables for this is obeyed.
func collectLess() {
	const percent, limitBytes = 150, 300_000_000
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(percent)
	}
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(limitBytes)
	}
}

// tellName says by which name the station can be opened as well.
func (a *app) tellName(r *running) {
	name, trouble := r.announced()
	switch _, port, err := net.SplitHostPort(r.at.String()); {
	case trouble != "":
		fmt.Fprintf(a.err, "warning: %s\n", trouble)
	case name != "" && err == nil:
		fmt.Fprintf(a.out, "The network is told the name http://%s/ as well.\n", net.JoinHostPort(name, port))
	}
}

// openStation opens the records, or makes the demo's. cleanUp comes after the
// records are closed.
func (a *app) openStation(ctx context.Context, demo bool) (db *store.DB, cleanUp func() error, err error) {
	cleanUp = func() error { return nil }
	var dir string
	if demo {
		if dir, err = os.MkdirTemp("", "cruet-demo-"); err != nil {
			return nil, nil, fmt.Errorf("making the demo's folder: %w", err)
		}
		cleanUp = func() error { return os.RemoveAll(dir) }
		if err := buildDemo(ctx, dir, time.Now()); err != nil {
			return nil, nil, errors.Join(fmt.Errorf("making the demo: %w", err), cleanUp())
		}
	} else if dir, err = a.dataDir(); err != nil {
		return nil, nil, err
	}
	if db, err = store.Open(ctx, dir, store.Options{}); err != nil {
		return nil, nil, errors.Join(err, cleanUp())
	}
	return db, cleanUp, nil
}

// station is where this run of the program can be opened.
type station struct {
	address   string // what labels name
	reachable bool   // by a phone, as far as this machine can tell
}

// stationAddress is the address named by the maker, else this machine's on the
// local network with the port that was really taken.
func stationAddress(at net.Addr, named string) (station, error) {
	if named != "" {
		return station{named, true}, nil
	}
	address, reachable, err := web.Address(at.String())
	return station{address, reachable}, err
}

// announce prints where the station can be opened and where the records lie.
func (a *app) announce(ctx context.Context, db *store.DB, st station, k larder.Kitchen, before string, f serveFlags) error {
	url := "http://" + st.address + "/"
	if f.tlsCert != "" {
		url = "https://" + st.address + "/"
	}
	first, err := firstCode(ctx, db, f.demo)
	if err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%s is served at %s\n\n", k.Name, url)
	if first != nil {
		err = a.printCode(*first, st.address)
	} else {
		err = a.printAddress(url)
	}
	if err != nil {
		return err
	}
	if f.demo {
		fmt.Fprintf(a.out, "This is the demo: nothing in it is real, everybody may write in it, and it is removed at the end.\n")
	}
	if _, err := fmt.Fprintf(a.out, "The records lie in %s\nCtrl-C stops the station.\n", db.Dir()); err != nil {
		return err
	}
	if !st.reachable {
		fmt.Fprintf(a.err, "warning: phones cannot reach %s, which is this machine alone. Join the kitchen's network, or say --address HOST:PORT.\n", st.address)
	}
	if before != "" && before != st.address {
		fmt.Fprintf(a.err, "warning: labels printed before name %s. To keep them working, give this machine that address again.\n", before)
	}
	return nil
}

// firstCode is a code to pair the first phone by, while none is paired.
func firstCode(ctx context.Context, db *store.DB, demo bool) (*store.PairingCode, error) {
	phones, err := db.Phones(ctx)
	if err != nil || demo || slices.ContainsFunc(phones, func(p larder.Phone) bool { return !p.Program }) {
		return nil, err
	}
	rules, err := db.Access(ctx)
	if err != nil || rules.Writers == larder.WritersEveryone {
		return nil, err
	}
	made, err := db.IssueCode(ctx, "the terminal", larder.TerminalCodeLife)
	return &made, err
}

func (a *app) printAddress(url string) error {
	picture, err := terminalQR(url, a.onTerminal())
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.out, "%s\n", picture)
	return err
}

// serveUntil serves until ctx ends, then lets the requests under way finish.
func (a *app) serveUntil(ctx context.Context, stop func(), l net.Listener, h http.Handler, f serveFlags) error {
	server := web.Server(h)
	server.ErrorLog = slog.NewLogLogger(slog.Default().Handler(), slog.LevelWarn)
	failed := make(chan error, 1)
	go func() {
		if f.tlsCert != "" {
			failed <- web.ServeTLS(server, l, f.tlsCert, f.tlsKey)
			return
		}
		failed <- server.Serve(l)
	}()
	select {
	case err := <-failed:
		return fmt.Errorf("serving: %w", err)
	case <-ctx.Done():
	}
	stop() // a second Ctrl-C ends the program at once
	io.WriteString(a.out, "Stopping.\n")
	grace, cancel := context.WithTimeout(context.Background(), shutdownGrace)
	defer cancel()
	if err := server.Shutdown(grace); err != nil {
		return fmt.Errorf("stopping: %w", errors.Join(err, server.Close()))
	}
	return nil
}
