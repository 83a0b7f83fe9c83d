package web

import (
	"context"
	"fmt"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
)

// What one network may ask: far more than a kitchen's phones do, and few tags
// that are on no label. This machine itself is not counted, but for its tags.
const (
	asksAtOnce   = 600
	askEvery     = 20 * time.Millisecond
	missesAtOnce = 60
	missEvery    = 5 * time.Second
)

// answerTime is how long a request may keep the station busy.
const answerTime = 45 * time.Second

// Bounds are limits on what one network asks.
type Bounds struct {
	asks, misses *Limiter
}

// NewBounds are the limits of a kitchen.
func NewBounds() *Bounds {
	return &Bounds{NewLimiter(askEvery, asksAtOnce), NewLimiter(missEvery, missesAtOnce)}
}

// hold answers 429 to who asks too much, or has guessed at too many tags.
func (b *Bounds) hold(c *gin.Context) {
	if b == nil {
		c.Next()
		return
	}
	asker, tags := Asker(c.Request), namesTag(c.Request.URL)
	if !isLoopback(c.Request.RemoteAddr) {
		if wait, ok := b.asks.Allow(asker); !ok {
			tooMany(c, wait, "This phone, or another in its network, asks more often than a person can.")
			return
		}
	}
	if wait, spent := b.misses.Spent(asker); spent && tags {
		tooMany(c, wait, "Many tags were tried from here that are on no label. Compare the tag with its label, character by character.")
		return
	}
	c.Next()
	if tags && c.Writer.Status() == http.StatusNotFound {
		b.misses.Allow(asker)
	}
}

// tagFolders are the paths that hold a tag, and tagQueries those that take one
// after the question mark; with them the name it goes by there.
var (
	tagFolders = []string{"/j/", "/b/", "/find", "/round/jar/", "/api/v1/jars/", "/api/v1/bottles/", "/api/v1/tags/"}
	tagQueries = map[string]string{"/scan": "tag", "/help/looks": "tag", "/round/jar": "tag", "/trace": "of", "/trace.csv": "of", "/trace.pdf": "of", "/api/v1/trace": "of"}
)

// namesTag tells whether an address holds a tag that could be guessed.
func namesTag(u *url.URL) bool {
	path := strings.ToLower(u.Path)
	if name, ok := tagQueries[path]; ok && u.Query().Get(name) != "" {
		return true
	}
	return slices.ContainsFunc(tagFolders, func(folder string) bool { return strings.HasPrefix(path, folder) })
}

func tooMany(c *gin.Context, wait int, why string) {
	c.Header("Retry-After", strconv.Itoa(wait))
	refuse(c, Answer{Status: http.StatusTooManyRequests, Kind: TooOften, Title: "Asked too often",
		Detail: fmt.Sprintf("%s Wait %s, then load the page again. Nothing was saved; what you typed is still on your phone's page: go back to it.", why, seconds(wait))})
}

func seconds(n int) string {
	if n == 1 {
		return "1 second"
	}
	return fmt.Sprintf("%d seconds", n)
}

func isLoopback(remote string) bool {
	a, err := netip.ParseAddrPort(remote)
	return err == nil && a.Addr().Unmap().IsLoopback()
}

// timer is where a request keeps what gives it another time.
const timer = "cruet.timer"

// limitTime ends what a request has asked of the records when its time is over,
// so that nothing slow piles up. Then its context is done, and AnswerTo says so.
func limitTime(limit time.Duration) gin.HandlerFunc {
	return func(c *gin.Context) {
		whole := c.Request.Context()
		var cancels []context.CancelFunc
		set := func(d time.Duration) {
			ctx, cancel := context.WithTimeout(whole, d)
			cancels = append(cancels, cancel)
			c.Request = c.Request.WithContext(ctx)
		}
		set(limit)
		c.Set(timer, set)
		c.Next()
		for _, cancel := range cancels {
			cancel()
		}
	}
}

// giveTime gives a request that time from now on.
func giveTime(c *gin.Context, d time.Duration) {
	if set, ok := c.Value(timer).(func(time.Duration)); ok {
		set(d)
	}
}
