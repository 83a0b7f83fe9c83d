// Package api answers programs: the same acts as the pages, as JSON under
// /api/v1, described by an OpenAPI 3.1 document that is generated from this
// code. It holds no rules of the trade; those are larder's, and an act is one
// call of the store.
package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"
	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/store"
)

// The paths of the acts and of the document that describes them.
const (
	Root         = "/api/v1"
	DocumentPath = "/api/openapi.json"
)

// API is the JSON side of a station.
type API struct {
	DB      *store.DB
	Address string // HOST:PORT that labels encode
	Demo    bool   // nothing here is real, and whoever comes may write
}

const about = `Batches, jars, their logs, lots and bottles of one kitchen.

**Units** stand in the names of the fields: volume_ml, temp_c, acidity in g acetic acid per 100 mL. Numbers are plain JSON numbers in that unit. Only amounts of ingredients are text, a number with a unit: "2.4 kg".

**Dates** of acts (` + "`when`" + `) are text: RFC 3339, a day (2026-11-22), or as people say it ("yesterday", "about 22 Nov"). Without one, the act happened now. Answers give {at, precision, spread_days}.

**Sending twice saves once.** Every act needs the header Idempotency-Key with a UUID made by the client (version 7 is best), the same each time the act is sent. A repeat changes nothing and answers with what was saved; the same key with another body is refused with 422.

**Who may write.** A program shows a token in the header Authorization, as "Bearer TOKEN"; "cruet phones add NAME" on the station makes one. Without it the answer is 401, but for the sums and, if the maker allows it, for looking.

**Problems** are RFC 9457 problem details; what is wrong with single fields stands in ` + "`errors`" + `. Nothing was saved when a problem is answered.

**Safety.** pH says nothing about strength: only a titration measures acidity. An acidity that is computed, outdated or not measured says so in its basis. Vinegar made at home is never shown as fit for canning or preserving, whatever it measures; local rules and licensed practice come first.`

// Register adds the routes and the OpenAPI document to e. Paths under /api/
// that are not routes are answered with problem details too.
func (a *API) Register(e *gin.Engine) {
	config := huma.DefaultConfig("Cruet", "1")
	config.Info.Description = about
	config.OpenAPIPath, config.DocsPath, config.SchemasPath = "", "", "" // the document is served below; the built-in page loads scripts from elsewhere
	config.CreateHooks = nil                                             // no $schema links in answers
	config.RejectUnknownQueryParameters = true
	config.Components.Schemas = huma.NewMapRegistry("#/components/schemas/", schemaName)
	aliases(config.Components.Schemas)
	e.Use(missing, a.guard)
	h := humagin.New(e, config)
	a.registerStart(h)
	a.registerJars(h)
	a.registerPlans(h)
	a.registerLog(h)
	a.registerPhotos(h)
	a.registerPours(h)
	a.registerFinish(h)
	a.registerLots(h)
	a.registerOutlook(h)
	a.registerBench(h)
	a.registerLabels(h)
	a.registerScan(h)
	a.registerKitchen(h)
	a.registerAccess(h)
	a.registerReckon(h)
	a.registerTrace(h)
	document(h.OpenAPI())
	secured(h.OpenAPI())
	text := sync.OnceValues(func() ([]byte, error) { return json.MarshalIndent(h.OpenAPI(), "", "  ") })
	e.GET(DocumentPath, func(c *gin.Context) {
		body, err := text()
		if err != nil {
			writeProblem(c, newProblem(http.StatusInternalServerError, "", err))
			return
		}
		c.Data(http.StatusOK, "application/vnd.oai.openapi+json;version=3.1", body)
	})
}

// schemaName keeps apart what this package shows of a thing and what a record
// keeps of it, where both have the same name.
func schemaName(t reflect.Type, hint string) string {
	name := huma.DefaultSchemaNamer(t, hint)
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t == reflect.TypeFor[larder.Acidity]() {
		return "Recorded" + name
	}
	if t == reflect.TypeFor[larder.Given]() {
		return name + "Bottle"
	}
	return name
}

// route is an operation with its answers: status when all is well, and what
// can go wrong besides bad input.
func route(method, path, id, tag, summary, description string, status int, errors ...int) huma.Operation {
	return huma.Operation{
		Method: method, Path: Root + path, OperationID: id, Tags: []string{tag}, Summary: summary, Description: description,
		DefaultStatus: status, Errors: append(errors, http.StatusUnauthorized, http.StatusTooManyRequests, http.StatusUnprocessableEntity, http.StatusInternalServerError),
	}
}

// get is the route of a question; tagged ones may name what is not there.
func get(path, id, tag, summary, description string, errors ...int) huma.Operation {
	return route(http.MethodGet, path, id, tag, summary, description, http.StatusOK, errors...)
}

// act is the route of something that is recorded, under a key.
func act(path, id, tag, summary, description string, errors ...int) huma.Operation {
	return route(http.MethodPost, path, id, tag, summary, description, http.StatusCreated,
		append(errors, http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType)...)
}

func at(format string, args ...any) string { return Root + fmt.Sprintf(format, args...) }

// now is the clock for what is read; what is recorded takes the store's.
func now() time.Time { return time.Now() }
