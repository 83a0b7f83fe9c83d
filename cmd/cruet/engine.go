package main

import (
	"github.com/gin-gonic/gin"

	"cruet/api"
	"cruet/internal/store"
	"cruet/internal/web"
	"cruet/scan"
)

// engine is the pages and the API on one engine.
func engine(db *store.DB, address string, demo bool) *gin.Engine {
	e := web.NewEngine(web.Options{})
	(&scan.Pages{DB: db, Address: address, Demo: demo}).Register(e)
	(&api.API{DB: db, Address: address}).Register(e)
	return e
}
