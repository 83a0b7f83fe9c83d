package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"cruet/internal/beacon"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/web"
	"cruet/scan"
)

// running is a station while it is served. Its address may change meanwhile: then
// the pages are made afresh, and later requests get those.
type running struct {
	db    *store.DB
	demo  bool
	quiet bool   // announces no name
	named string // --address, which goes before the settings
	at    net.Addr
	hosts *web.Hosts

	bounds *web.Bounds
	health *web.Health

	used  atomic.Pointer[time.Time] // when the last request came
	pages atomic.Pointer[http.Handler]
	last  *scan.Pages // whose waiting forms the next ones take over

	moving  sync.Mutex // one change of the address at a time
	mu      sync.Mutex // of what follows
	beacon  *beacon.Beacon
	trouble string // why no name is announced
}

func (r *running) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	r.used.Store(new(time.Now()))
	(*r.pages.Load()).ServeHTTP(w, req)
}

// lastUsed is when the last request came; zero: none did.
func (r *running) lastUsed() time.Time {
	if at := r.used.Load(); at != nil {
		return *at
	}
	return time.Time{}
}

// settle finds the station's address by the settings, writes it into them for
// labels printed elsewhere, and makes the pages that name it.
func (r *running) settle(ctx context.Context) (station, larder.Kitchen, error) {
	r.moving.Lock()
	defer r.moving.Unlock()
	var k larder.Kitchen
	var st station
	err := r.db.ChangeKitchen(ctx, func(now *larder.Kitchen) (err error) {
		named := r.named
		if named == "" {
			named = now.NamedAddress
		}
		if st, err = stationAddress(r.at, named); err != nil {
			return err
		}
		now.Address = st.address
		k = *now
		return nil
	})
	if err != nil {
		return st, k, err
	}
	r.hosts.Set(append([]string{st.address, k.PublicAddress, k.LocalHost()}, k.Hosts...)...)
	pages := http.Handler(engine(r, st.address))
	r.pages.Store(&pages)
	return st, k, nil
}

// moved takes up what was set of the address while the station is served.
func (r *running) moved(ctx context.Context) error {
	_, k, err := r.settle(ctx)
	if err == nil {
		r.announce(context.WithoutCancel(ctx), k)
	}
	return err
}

// announce tells the network the station's name. Trouble with it stops nothing.
func (r *running) announce(ctx context.Context, k larder.Kitchen) {
	r.moving.Lock()
	defer r.moving.Unlock()
	name := k.LocalHost()
	r.mu.Lock()
	before := r.beacon
	r.mu.Unlock()
	if r.quiet || before != nil && before.Name == name {
		return
	}
	if before != nil {
		_ = before.Close() // it answers no more, whatever the error
	}
	made, trouble := lightBeacon(ctx, r.at, name)
	r.mu.Lock()
	r.beacon, r.trouble = made, trouble
	r.mu.Unlock()
}

func lightBeacon(ctx context.Context, at net.Addr, name string) (made *beacon.Beacon, trouble string) {
	host, _, err := net.SplitHostPort(at.String())
	if err != nil {
		return nil, err.Error()
	}
	on, err := beacon.Interfaces(host)
	if err == nil {
		made, err = beacon.Start(ctx, name, on)
	}
	switch {
	case errors.Is(err, beacon.ErrNowhere), errors.Is(err, context.Canceled):
		return nil, ""
	case err != nil:
		return nil, fmt.Sprintf("the name %s is not announced: %s", name, err)
	}
	return made, ""
}

// announced is the name that the network is told, or why it is told none.
func (r *running) announced() (name, trouble string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.beacon != nil {
		name = r.beacon.Name
	}
	return name, r.trouble
}

func (r *running) close() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.beacon == nil {
		return nil
	}
	return r.beacon.Close()
}
