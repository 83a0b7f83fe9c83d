package main

import (
	"net"

	"github.com/gin-gonic/gin"

	"cruet/api"
	"cruet/internal/web"
	"cruet/scan"
)

// engine is the pages and the API on one engine, which name address.
func engine(r *running, address string) *gin.Engine {
	_, port, _ := net.SplitHostPort(r.at.String()) // a listener's address has one
	e := web.NewEngine(web.Options{Hosts: r.hosts, Bounds: r.bounds, Health: r.health})
	r.last = &scan.Pages{DB: r.db, Address: address, Demo: r.demo, Before: r.last, Reach: scan.Reach{
		Port: port, Opens: r.hosts.Allowed, Named: r.announced, Fixed: r.named != "", Moved: r.moved}}
	r.last.Register(e)
	(&api.API{DB: r.db, Address: address, Demo: r.demo}).Register(e)
	return e
}
