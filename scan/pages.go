// Package scan is what a phone sees after a scan: the kitchen's pages and the
// page of a bottle for whoever got it. Pages are plain HTML that works without
// a script. A form goes parse, check, save, redirect; the checks are larder's,
// the saving is one method of the store, and a wrong field comes back marked
// with everything that was typed.
package scan

import (
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/web"
)

// Pages serves one kitchen.
type Pages struct {
	DB      *store.DB
	Address string           // HOST:PORT that labels name
	Now     func() time.Time // the clock; nil: time.Now
	Demo    bool             // says on every page that nothing here is real

	kept   keptPages
	Reach  Reach
	Before *Pages // that served until now, of which this one takes over what waits

	engine  *gin.Engine
	drafts  *drafts      // acts begun and not saved yet
	guesses *web.Limiter // of codes and passphrases
	stash   *stash
}

// What one network may guess of codes and passphrases.
const (
	guessesAtOnce = 10
	guessEvery    = 6 * time.Second
)

// Register adds the pages, and the answers to what is unknown, to e.
func (p *Pages) Register(e *gin.Engine) {
	p.engine = e
	if b := p.Before; b != nil {
		p.drafts, p.guesses, p.stash, p.Before = b.drafts, b.guesses, b.stash, nil
	} else {
		p.drafts, p.guesses, p.stash = new(drafts), web.NewLimiter(guessEvery, guessesAtOnce), new(stash)
	}
	e.Use(p.guard)
	p.registerPair(e)
	p.registerPhones(e)
	p.registerSetup(e)
	e.GET("/static/:name", serveStatic)
	e.GET("/", p.page(p.keeping(p.today)))
	e.GET("/shelf", p.page(p.shelf))
	p.registerPlans(e)
	p.registerRound(e)
	e.GET("/find", p.page(p.find))
	e.GET("/start", p.page(p.startForm))
	e.POST("/start", p.page(p.start))
	e.GET("/batches/:id", p.page(p.batch))
	for _, jar := range []string{"/J/:tag", "/j/:tag"} {
		e.GET(jar, p.page(p.keeping(p.jar)))
		e.GET(jar+"/label.pdf", p.page(p.jarLabel))
		e.GET(jar+"/outlook", p.page(p.jarOutlook))
		e.POST(jar+"/log/:kind", p.page(p.log))
		e.POST(jar+"/move", p.page(p.moveHere))
		e.GET(jar+"/strike", p.page(p.strikeForm))
		e.POST(jar+"/strike", p.page(p.strike))
		e.GET(jar+"/photo", p.page(p.photoForm))
		e.POST(jar+"/photo", p.page(p.addPhoto))
		e.GET(jar+"/photo/:entry", p.page(p.photo))
	}
	e.GET("/B/:tag", p.page(p.bottle))
	e.GET("/b/:tag", p.page(p.bottle))
	p.registerPours(e)
	p.registerLabels(e)
	e.GET("/finish", p.page(p.finishing))
	e.POST("/finish/:step", p.page(p.finishStep))
	e.GET("/bottle", p.page(p.bottlingForm))
	e.POST("/bottle", p.page(p.bottling))
	e.GET("/lots", p.page(p.lots))
	e.GET("/lots/:id", p.page(p.lot))
	e.GET("/lots/:id/labels", p.page(p.lotLabelsPage))
	e.GET("/lots/:id/labels.svg", p.page(p.lotLabelsSVG))
	e.GET("/lots/:id/labels.pdf", p.page(p.lotLabels))
	e.POST("/lots/:id/labels/print", p.page(p.printLotLabels))
	e.GET("/lots/:id/bottles/:n", p.page(p.lotBottle))
	e.POST("/lots/:id/bottles/:n", p.page(p.give))
	e.GET("/bench", p.page(p.bench))
	e.POST("/bench/:kind", p.page(p.benchAdd))
	e.GET("/bench/strike", p.page(p.benchStrikeForm))
	e.POST("/bench/strike", p.page(p.benchStrike))
	e.GET("/photos/:name", p.page(p.photoFile))
	e.GET("/help/caution", p.page(p.caution))
	e.GET("/help/looks", p.page(p.looks))
	p.registerScan(e)
	e.GET("/display", p.page(p.display))
	e.POST("/display", p.page(p.setDisplay))
	p.registerReckon(e)
	p.registerTrace(e)
	p.Fallbacks(e)
}

// Fallbacks adds the answers to unknown paths and methods to e.
func (p *Pages) Fallbacks(e *gin.Engine) {
	e.NoRoute(p.page(p.noRoute))
	e.NoMethod(p.page(p.noMethod))
}

// now is the clock in the kitchen's zone.
func (p *Pages) now(k larder.Kitchen) time.Time {
	return p.clock().In(k.Location())
}

// page makes a handler of a function that may fail: an error, or a panic, gets
// a page that says what to do. Nothing was written yet then, since pages are
// rendered to a buffer.
func (p *Pages) page(do func(*gin.Context) error) gin.HandlerFunc {
	return func(c *gin.Context) {
		defer func() {
			if r := recover(); r != nil {
				slog.Error("a page panicked", "what", fmt.Sprint(r), "stack", string(debug.Stack()))
				p.fail(c, fmt.Errorf("a page panicked: %v", r))
			}
		}()
		if err := do(c); err != nil {
			p.fail(c, err)
		}
	}
}

// trouble is an error as a page.
type trouble struct {
	Title, Detail string
	AskTag        bool   // show the box to type a tag
	Typed         string // what stands in the box
	Back          link
}

func (p *Pages) fail(c *gin.Context, err error) {
	if c.Writer.Written() {
		return
	}
	a := web.AnswerTo(err)
	t := trouble{Title: a.Title, Detail: a.Detail, Back: link{URL: "/shelf", Text: "Go to the shelf"}}
	var tag *larder.TagError
	var missing *larder.NotFoundError
	switch {
	case errors.As(err, &tag):
		t.AskTag, t.Typed = true, tag.Typed
	case errors.As(err, &missing):
		t.AskTag = true
	}
	p.troubled(c, a.Status, t)
}

func (p *Pages) troubled(c *gin.Context, status int, t trouble) {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		k = larder.Kitchen{Name: "Kitchen"}
	}
	f := p.frame(k, t.Title)
	// Whoever holds a bottle is told nothing of the kitchen, not even its shelf.
	if strings.HasPrefix(strings.ToUpper(c.Request.URL.Path), "/B/") {
		f.Public, t.AskTag, t.Back = true, false, link{}
	}
	if err := render(c, status, "trouble", f, t); err != nil {
		slog.Error("the error page failed", "error", err)
		c.String(http.StatusInternalServerError, "Something failed on the station. Nothing was saved; try again.")
	}
}

func (p *Pages) noRoute(c *gin.Context) error {
	const title, detail = "There is no such page", "The address may be cut short or mistyped. Type the tag from the label, or go to the shelf."
	if strings.HasPrefix(c.Request.URL.Path, "/api/") {
		problemJSON(c, http.StatusNotFound, title, "See /api/openapi.json for the paths there are.")
		return nil
	}
	p.troubled(c, http.StatusNotFound, trouble{Title: title, Detail: detail, AskTag: true, Back: link{URL: "/shelf", Text: "Go to the shelf"}})
	return nil
}

func (p *Pages) noMethod(c *gin.Context) error {
	const title = "This page cannot be used that way"
	if strings.HasPrefix(c.Request.URL.Path, "/api/") {
		problemJSON(c, http.StatusMethodNotAllowed, title, "See /api/openapi.json for the methods there are.")
		return nil
	}
	p.troubled(c, http.StatusMethodNotAllowed, trouble{Title: title, Detail: "Nothing was saved. Open the page afresh and send its form again.", Back: link{URL: "/shelf", Text: "Go to the shelf"}})
	return nil
}

// problemJSON answers a program that asked for a path that nobody serves, in
// the form of RFC 9457 that it expects under /api/.
func problemJSON(c *gin.Context, status int, title, detail string) {
	c.Header("Content-Type", "application/problem+json")
	c.JSON(status, gin.H{"title": title, "status": status, "detail": detail})
}

// find opens what a typed tag names: a jar's page, or a bottle's in the kitchen.
func (p *Pages) find(c *gin.Context) error {
	typed := strings.TrimSpace(c.Query("tag"))
	// A pasted or photographed link is as good as the tag at its end.
	if i := strings.LastIndexByte(typed, '/'); i >= 0 {
		typed = typed[i+1:]
	}
	tag, taken, err := larder.ParseTag(typed)
	if err != nil {
		return err
	}
	if tag.IsBottle() {
		b, err := p.DB.BottleByTag(c.Request.Context(), tag)
		if err != nil {
			return err
		}
		c.Redirect(http.StatusSeeOther, bottleURL(b.Bottle))
		return nil
	}
	to := jarURL(tag)
	if len(taken) > 0 {
		to += query("typed", typed)
	}
	c.Redirect(http.StatusSeeOther, to)
	return nil
}
