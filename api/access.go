package api

import (
	"context"
	"log/slog"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/web"
)

// guard lets through who may, by larder's rules: a program with its token, or a
// paired phone with its cookie. What holds nothing of the kitchen is open.
func (a *API) guard(c *gin.Context) {
	path, open := strings.CutPrefix(c.Request.URL.Path, Root+"/")
	if !open || strings.HasPrefix(path, "problems/") || path == "reckon" || strings.HasPrefix(path, "reckon/") {
		c.Next()
		return
	}
	ctx := c.Request.Context()
	v, err := a.DB.Visitor(ctx, web.Token(c.Request))
	looks := c.Request.Method == http.MethodGet || c.Request.Method == http.MethodHead
	if err == nil {
		err = a.allowed(v, path, looks)
	}
	if err != nil {
		// RFC 6750, section 3: how to be let in.
		c.Header("WWW-Authenticate", `Bearer realm="cruet"`)
		p := problemFor(err)
		if p.Status == http.StatusUnauthorized {
			p = problemOf(web.NotPaired, "", nil) // its meaning speaks to programs
		}
		writeProblem(c, p)
		return
	}
	if err := a.DB.Seen(ctx, v, !looks); err != nil {
		slog.Warn("when a program was last here is not kept", "error", err)
	}
	c.Next()
}

func (a *API) allowed(v larder.Visitor, path string, looks bool) error {
	folder, rest, _ := strings.Cut(path, "/")
	switch {
	case a.Demo:
		return nil
	case folder == "phones" || folder == "access" || folder == "calendar" || folder == "kitchen" && !looks:
		return v.MayManage(now())
	case !looks:
		return v.MayWrite(now())
	}
	return v.MayLook(folder == "jars" && rest != "" && !strings.Contains(rest, "/"))
}

// Rules are who may look and write.
type Rules struct {
	Writers  string `json:"writers" enum:"paired,everyone" doc:"Who may write: paired phones and programs, or everyone in the network."`
	Look     string `json:"look" enum:"bottles,jars,all" doc:"What others may look at: a bottle's page alone, also a jar's, or all."`
	IdleDays int    `json:"idle_days,omitempty" example:"30" doc:"After how many days without writing a phone is asked for the passphrase; 0 is the usual 30."`
}

// RulesInForce are the rules, and whether there is a passphrase.
type RulesInForce struct {
	Rules
	Passphrase bool `json:"passphrase" doc:"Whether a passphrase is set. It is set on the page of phones or by the command."`
}

// PhonePath is the path to one phone or program.
type PhonePath struct {
	ID int64 `path:"id" example:"3" doc:"The phone's number, as the list has it."`
}

func (a *API) registerAccess(h huma.API) {
	huma.Register(h, get("/phones", "list-phones", "kitchen", "The phones and programs that may write", "", http.StatusForbidden), a.phones)
	huma.Register(h, route(http.MethodDelete, "/phones/{id}", "remove-phone", "kitchen", "Remove a phone or program",
		"It may not write any more; what it wrote stays. Removing it twice does the same as once.", http.StatusOK, http.StatusForbidden), a.removePhone)
	huma.Register(h, get("/access", "get-access", "kitchen", "Who may look and write", "", http.StatusForbidden), a.access)
	huma.Register(h, route(http.MethodPut, "/access", "set-access", "kitchen", "Set who may look and write",
		"Replaces the rules. Sending it twice does the same as once, so it needs no key.", http.StatusOK,
		http.StatusBadRequest, http.StatusForbidden, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType), a.setAccess)
}

// PhoneList is all that may write.
type PhoneList struct {
	Phones []larder.Phone `json:"phones"`
}

func (a *API) phones(ctx context.Context, _ *struct{}) (*answer[PhoneList], error) {
	all, err := a.DB.Phones(ctx)
	return &answer[PhoneList]{PhoneList{append([]larder.Phone{}, all...)}}, err
}

func (a *API) removePhone(ctx context.Context, in *PhonePath) (*answer[PhoneList], error) {
	if err := a.DB.RemovePhone(ctx, in.ID); err != nil {
		return nil, renamed(err, map[string]string{"phone": "id"})
	}
	return a.phones(ctx, nil)
}

func (a *API) access(ctx context.Context, _ *struct{}) (*answer[RulesInForce], error) {
	r, err := a.DB.Access(ctx)
	return &answer[RulesInForce]{RulesInForce{Rules{string(r.Writers), string(r.Look), r.IdleDays}, r.Passphrase}}, err
}

func (a *API) setAccess(ctx context.Context, in *struct{ Body Rules }) (*answer[RulesInForce], error) {
	err := a.DB.SetAccess(ctx, larder.Access{Writers: larder.Writers(in.Body.Writers), Look: larder.Look(in.Body.Look), IdleDays: in.Body.IdleDays})
	if err != nil {
		return nil, err
	}
	return a.access(ctx, nil)
}

// secured says in the document how a program is let in.
func secured(o *huma.OpenAPI) {
	o.Components.SecuritySchemes = map[string]*huma.SecurityScheme{"token": {Type: "http", Scheme: "bearer",
		Description: "A token made on the station by \"cruet phones add NAME\". A paired phone's cookie does as well."}}
	o.Security = []map[string][]string{{"token": {}}}
}
