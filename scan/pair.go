package scan

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/web"
)

// pairView asks for the code that pairs this phone, or for the passphrase.
type pairView struct {
	Kitchen    string
	Key        string
	To, Kept   string // what was asked for, and the form that was sent there
	Stash      string // names the picture that waits on the station
	StashSize  string
	Typed      []pair
	Problem    string
	Code, Name field
	Passphrase *field
	Paired     string // the name of this phone, when it is paired already
	Unlock     bool   // the passphrase alone is asked for
	Looks      bool   // a jar's page is open without pairing
}

func (p *Pages) registerPair(e *gin.Engine) {
	for _, path := range []string{"/pair", "/PAIR"} {
		e.GET(path, p.page(p.pairForm))
		e.GET(path+"/:code", p.page(p.pairForm))
	}
	e.POST("/pair", p.page(p.pair))
}

// pairForm is where a shown code leads.
func (p *Pages) pairForm(c *gin.Context) error {
	typed := url.Values{"to": {c.Query("to")}}
	if code := c.Param("code"); code != "" {
		typed.Set("code", larder.SpacedCode(strings.ToUpper(code)))
	}
	return p.showPair(c, http.StatusOK, visitorOf(c), larder.NeedPairing, typed, nil)
}

func (p *Pages) showPair(c *gin.Context, status int, who larder.Visitor, need larder.Need, typed url.Values, problems larder.Problems) error {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return err
	}
	b := newBuilder("pair", typed, problems, k.Units())
	v := pairView{Kitchen: k.Name, Key: typed.Get("key"), To: local(typed.Get("to")), Kept: typed.Get("kept"), Unlock: need == larder.NeedPassphrase,
		Stash: typed.Get("stash"), StashSize: typed.Get("stash_size"), Looks: who.Access.Look != larder.LookBottles}
	if v.Key == "" {
		v.Key = newKey()
	}
	v.Code = b.text("code", "Code", "8 characters", 40)
	v.Name = b.text("name", "Your initials", "they stand on what you write", larder.MaxByRunes)
	if who.Access.Passphrase {
		f := b.field("password", "passphrase", "The kitchen's passphrase", "")
		f.Value = ""
		v.Passphrase = &f
	}
	for _, f := range []*field{&v.Code, &v.Name, v.Passphrase} {
		if f != nil && f.Error != "" {
			f.Focus = true
			break
		}
	}
	v.Problem, v.Typed = b.rest(), keptLines(v.Kept)
	if v.Stash != "" {
		v.Typed = []pair{{"picture", v.StashSize}}
	}
	if who.Phone != nil && !v.Unlock {
		v.Paired = who.Phone.Name
	}
	title := "Pair this phone"
	if v.Unlock {
		title = "Say the passphrase"
	}
	return render(c, status, "pair", p.frame(k, title), v)
}

// keptLines shows what was typed, without the marks that forms carry.
func keptLines(kept string) []pair {
	form, err := url.ParseQuery(kept)
	if err != nil {
		return nil
	}
	var out []pair
	for name, values := range form {
		for _, text := range values {
			if text == "" || name == "key" || strings.HasSuffix(name, "_unit") {
				continue
			}
			if unit := form.Get(name + "_unit"); unit != "" {
				text += " " + unit
			}
			out = append(out, pair{strings.ReplaceAll(name, "_", " "), text})
		}
	}
	slices.SortFunc(out, func(a, b pair) int { return strings.Compare(a.Name+a.Text, b.Name+b.Text) })
	return out
}

// local is a path of this station, but not this page's own; "" when it is none.
func local(to string) string {
	if localPath(to) != to || strings.HasPrefix(strings.ToLower(to), "/pair") {
		return ""
	}
	return to
}

// pair pairs this phone, or takes the passphrase of one that rested long, and
// then does what was asked for before.
func (p *Pages) pair(c *gin.Context) error {
	ctx := c.Request.Context()
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	who, need := visitorOf(c), larder.NeedPairing
	if r.text("unlock") != "" && who.Phone != nil {
		need = larder.NeedPassphrase
	}
	if wait, ok := p.guesses.Allow(web.Asker(c.Request)); !ok {
		c.Header("Retry-After", strconv.Itoa(wait))
		return p.showPair(c, http.StatusTooManyRequests, who, need, r.typed,
			larder.Problems{{Message: fmt.Sprintf("There were too many tries from here. Wait %s, then press the button again; nothing typed is lost.", seconds(wait))}})
	}
	first := false
	if need == larder.NeedPassphrase {
		err = p.DB.Unlock(ctx, who, r.typed.Get("passphrase"))
	} else {
		first, err = p.pairNew(c, r)
	}
	if err != nil {
		problems, status, key, mine := refused(err, r.typed)
		if !mine {
			return err
		}
		r.typed.Set("key", key)
		return p.showPair(c, status, who, need, r.typed, problems)
	}
	to := local(r.typed.Get("to"))
	switch kept := r.typed.Get("kept"); {
	case to == "" && first:
		to = "/setup?paired=1"
	case to == "":
		to = "/"
	case r.typed.Get("stash") != "":
		body, kind, size, ok := p.stash.get(r.typed.Get("stash"), p.clock())
		if !ok {
			return larder.Refuse("", "This phone is paired now, but the picture waited too long. Go back and send it again.")
		}
		return p.sendKept(c, to, body, kind, size)
	case kept != "":
		return p.sendKept(c, to, strings.NewReader(kept), "application/x-www-form-urlencoded", int64(len(kept)))
	}
	c.Redirect(http.StatusSeeOther, to)
	return nil
}

// pairNew pairs this phone, and tells whether it is the kitchen's first.
func (p *Pages) pairNew(c *gin.Context, r *reader) (first bool, err error) {
	act := r.act()
	if err := r.problems.Err(); err != nil {
		return false, err
	}
	made, err := p.DB.Pair(c.Request.Context(), act, larder.NewPhone{Code: r.text("code"), Name: r.text("name"), Passphrase: r.typed.Get("passphrase")})
	if err != nil {
		return false, err
	}
	http.SetCookie(c.Writer, web.TokenCookie(c.Request, made.Token))
	remember(c, byCookie, made.Name)
	web.ShowToken(c.Request, made.Token)
	all, err := p.DB.Phones(c.Request.Context())
	return len(all) == 1, err
}

// sendKept does what the form asked for that was sent before the phone was
// paired. Its key makes it one act, however often it arrives.
func (p *Pages) sendKept(c *gin.Context, to string, body io.Reader, kind string, size int64) error {
	again := c.Request.Clone(c.Request.Context())
	u, err := url.Parse(to)
	if err != nil {
		return err
	}
	again.URL.Path, again.URL.RawPath, again.URL.RawQuery, again.RequestURI = u.Path, u.RawPath, u.RawQuery, to
	again.Form, again.PostForm, again.MultipartForm = nil, nil, nil
	again.Header.Set("Content-Type", kind)
	again.Body, again.ContentLength = io.NopCloser(body), size
	p.engine.ServeHTTP(c.Writer, again)
	return nil
}

func seconds(n int) string {
	if n < 60 {
		return count(n, "second")
	}
	return count((n+59)/60, "minute")
}
