package scan

import (
	"errors"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/web"
)

// sight is what a page shows, as far as it matters who asks for it.
type sight int

const (
	anyone  sight = iota // a bottle's page, cautions and sums
	pairing              // the page to pair a phone
	oneJar               // the page of a jar whose label is in hand
	kitchen              // all else
	manage               // who may write, and how the kitchen is set up
)

// sightOf is the one list of what is open to whom. A path that it does not know
// is the kitchen's own.
func sightOf(path string) sight {
	path = strings.ToLower(path)
	under := func(folder string) bool { return path == folder || strings.HasPrefix(path, folder+"/") }
	switch {
	case under("/b"), under("/static"), under("/help"), under("/reckon"), path == "/calendar.ics": // whose key is in its address
		return anyone
	case under("/pair"):
		return pairing
	case under("/setup"), under("/phones"), path == "/calendar": // which shows the feed's key
		return manage
	case under("/photos"):
		return oneJar
	}
	// What prints a label or leads to a change is not for whoever only looks.
	if rest, ok := strings.CutPrefix(path, "/j/"); ok {
		switch _, rest, _ = strings.Cut(rest, "/"); {
		case rest == "", rest == "outlook", rest == "lineage", strings.HasPrefix(rest, "photo/"):
			return oneJar
		}
	}
	return kitchen
}

const (
	visitorKey = "visitor"
	looksKey   = "looks"
)

// visitorOf is who asks; for a page open to anyone that is not looked up.
func visitorOf(c *gin.Context) larder.Visitor {
	v, _ := c.Get(visitorKey)
	who, _ := v.(larder.Visitor)
	return who
}

// guard lets through who may, by larder's rules. Everybody else gets the page to
// pair a phone, which keeps what was sent.
func (p *Pages) guard(c *gin.Context) {
	path, see := c.Request.URL.Path, sightOf(c.Request.URL.Path)
	looks := c.Request.Method == http.MethodGet || c.Request.Method == http.MethodHead
	// How a phone shows its pages is kept on that phone, not in the records.
	if strings.HasPrefix(path, "/api/") || path == "/display" || see == anyone && looks {
		c.Next()
		return
	}
	ctx := c.Request.Context()
	v, err := p.DB.Visitor(ctx, web.Token(c.Request))
	if err != nil {
		p.fail(c, err)
		c.Abort()
		return
	}
	c.Set(visitorKey, v)
	c.Set(looksKey, !p.Demo && v.Phone == nil && v.Access.Writers != larder.WritersEveryone)
	if err := p.allowed(v, see, looks); err != nil {
		c.Abort()
		if err := p.turnAway(c, v, err); err != nil {
			p.fail(c, err)
		}
		return
	}
	// The cookie of a phone in use begins anew about once a day.
	if v.Phone != nil && !v.Phone.Program && p.clock().Sub(v.Phone.SeenAt) > 24*time.Hour {
		http.SetCookie(c.Writer, web.TokenCookie(c.Request, web.Token(c.Request)))
	}
	if err := p.DB.Seen(ctx, v, !looks); err != nil {
		slog.Warn("when a phone was last here is not kept", "error", err)
	}
	c.Next()
}

func (p *Pages) allowed(v larder.Visitor, see sight, looks bool) error {
	switch {
	case see == pairing, p.Demo, see == manage && looks && v.Phone != nil:
		return nil
	case see == manage:
		return v.MayManage(p.clock())
	case !looks:
		return v.MayWrite(p.clock())
	}
	return v.MayLook(see == oneJar)
}

func (p *Pages) clock() time.Time {
	if p.Now == nil {
		return time.Now()
	}
	return p.Now()
}

// onlyLooks tells whether a page is shown to somebody who is not paired.
func onlyLooks(c *gin.Context) bool { return c.GetBool(looksKey) }

// turnAway answers with the page to pair a phone, or to say the passphrase. The
// form that was sent stands in it, so that nothing typed is lost.
func (p *Pages) turnAway(c *gin.Context, v larder.Visitor, why error) error {
	var access *larder.AccessError
	if !errors.As(why, &access) {
		return why
	}
	typed := url.Values{"to": {c.Request.URL.RequestURI()}}
	if c.Request.Method != http.MethodGet && c.Request.Method != http.MethodHead {
		if strings.HasPrefix(c.GetHeader("Content-Type"), "multipart/form-data") {
			id, size, err := p.stash.put(c, p.clock())
			if err != nil {
				return err
			}
			typed.Set("stash", id)
			typed.Set("stash_size", megabytes(size))
			return p.showPair(c, http.StatusForbidden, v, access.Need, typed, nil)
		}
		kept, err := readForm(c, p.clock())
		if err != nil {
			return err
		}
		typed.Set("kept", kept.typed.Encode())
		typed.Set("name", kept.typed.Get("by"))
	}
	return p.showPair(c, http.StatusForbidden, v, access.Need, typed, nil)
}
