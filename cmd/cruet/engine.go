package main

import (
	"net"
	"net/http"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"

	"cruet/api"
	"cruet/internal/web"
	"cruet/scan"
)

// engine is the pages and the API on one address, which they name. The API describes
// itself by looking at its own types, which takes longer than all else before the
// first answer: it does so when a program first asks.
func engine(r *running, address string) http.Handler {
	_, port, _ := net.SplitHostPort(r.at.String()) // a listener's address has one
	options := web.Options{Hosts: r.hosts, Bounds: r.bounds, Health: r.health, Say: scan.Words}
	pages := web.NewEngine(options)
	r.last = &scan.Pages{DB: r.db, Address: address, Demo: r.demo, Before: r.last, Reach: scan.Reach{
		Port: port, Opens: r.hosts.Allowed, Named: r.announced, Fixed: r.named != "", Moved: r.moved}}
	r.last.Register(pages)
	unknown := r.last.Fallbacks
	programs := sync.OnceValue(func() *gin.Engine {
		e := web.NewEngine(options)
		(&api.API{DB: r.db, Address: address, Demo: r.demo}).Register(e)
		unknown(e)
		return e
	})
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, "/api/") {
			programs().ServeHTTP(w, r)
			return
		}
		pages.ServeHTTP(w, r)
	})
}
