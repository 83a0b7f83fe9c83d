package api

import (
	"context"
	"net/http"
	"net/url"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/larder"
)

// Plan is when one kind of batch is asked for what.
type Plan struct {
	Kind  string            `json:"kind" example:"fruit scraps"`
	Steps []larder.PlanStep `json:"steps"`
}

// Plans are all of them.
type Plans struct {
	Plans []Plan `json:"plans"`
}

// PlanChanges are the steps that differ from the usual plan; those left out go
// by the usual days.
type PlanChanges struct {
	Steps []PlanChange `json:"steps" maxItems:"50"`
}

// PlanChange is one step's days.
type PlanChange struct {
	ID larder.StepID `json:"id"`
	larder.Days
}

// PlanPath is the path to one kind's plan.
type PlanPath struct {
	Kind string `path:"kind" example:"fruit-scraps" doc:"The kind of batch, or kitchen for what the bench wants; dashes for spaces."`
}

// CalendarAddress is where a phone's calendar subscribes.
type CalendarAddress struct {
	Address string `json:"address,omitempty" example:"http://192.168.1.20:8080/calendar.ics?key=4LJ3KZ2QW5T7XH6M" doc:"The whole address, with its secret key. Left out: the calendar is closed."`
}

func (a *API) registerPlans(h huma.API) {
	huma.Register(h, get("/today", "get-today", "jars", "What needs a hand",
		"Overdue first, then due, then what comes within some days; each with its reason in words. What the bench wants stands before what it is wanted for."), a.today)
	huma.Register(h, get("/plans", "list-plans", "kitchen", "When each kind of batch is asked for what", ""), a.plans)
	huma.Register(h, get("/plans/{kind}", "get-plan", "kitchen", "One kind's plan", ""), a.plan)
	huma.Register(h, route(http.MethodPut, "/plans/{kind}", "set-plan", "kitchen", "Change one kind's plan",
		"Replaces all changes; an empty list brings the usual plan back. Sending it twice does the same as once, so it needs no key. How long a calibration and a check of the base hold is one of the kitchen's settings.", http.StatusOK,
		http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType), a.setPlan)
	huma.Register(h, get("/calendar", "get-calendar", "kitchen", "Where a phone's calendar subscribes", ""), a.calendar)
	huma.Register(h, act("/calendar", "renew-calendar", "kitchen", "Give the calendar a new secret address, or close it",
		"The address before answers no more."), a.renewCalendar)
}

// kitchenNow is now in the kitchen's zone, whose days plans count.
func (a *API) kitchenNow(ctx context.Context) (time.Time, error) {
	k, err := a.DB.Kitchen(ctx)
	return now().In(k.Location()), err
}

func (a *API) today(ctx context.Context, in *struct {
	Days int `query:"days" default:"7" minimum:"0" maximum:"730" doc:"How many days ahead to look."`
}) (*answer[larder.Today], error) {
	now, err := a.kitchenNow(ctx)
	if err != nil {
		return nil, err
	}
	t, err := a.DB.Today(ctx, now)
	return &answer[larder.Today]{t.Within(in.Days, now)}, err
}

func (a *API) plans(ctx context.Context, _ *struct{}) (*answer[Plans], error) {
	all, err := a.DB.Plans(ctx)
	if err != nil {
		return nil, err
	}
	out := Plans{Plans: []Plan{}}
	for _, kind := range larder.PlanKinds() {
		out.Plans = append(out.Plans, Plan{string(kind), all[kind].Steps(kind)})
	}
	return &answer[Plans]{out}, nil
}

func (a *API) plan(ctx context.Context, in *PlanPath) (*answer[Plan], error) {
	kind, err := larder.ParsePlanKind(in.Kind)
	if err != nil {
		return nil, err
	}
	all, err := a.DB.Plans(ctx)
	return &answer[Plan]{Plan{string(kind), all[kind].Steps(kind)}}, err
}

func (a *API) setPlan(ctx context.Context, in *struct {
	PlanPath
	Body PlanChanges
}) (*answer[Plan], error) {
	kind, err := larder.ParsePlanKind(in.Kind)
	if err != nil {
		return nil, err
	}
	plan := larder.Plan{}
	for _, s := range in.Body.Steps {
		plan[s.ID] = s.Days
	}
	if err := a.DB.SetPlan(ctx, kind, plan); err != nil {
		return nil, err
	}
	return a.plan(ctx, &in.PlanPath)
}

func (a *API) calendar(ctx context.Context, _ *struct{}) (*answer[CalendarAddress], error) {
	c, err := a.calendarAddress(ctx)
	return &answer[CalendarAddress]{c}, err
}

func (a *API) calendarAddress(ctx context.Context) (CalendarAddress, error) {
	c, err := a.DB.Calendar(ctx)
	if err != nil || c.Token == "" {
		return CalendarAddress{}, err
	}
	address, err := a.labelAddress(ctx)
	return CalendarAddress{"http://" + address + "/calendar.ics?key=" + url.QueryEscape(c.Token)}, err
}

func (a *API) renewCalendar(ctx context.Context, in *struct {
	Keyed
	Body struct {
		Close bool   `json:"close,omitempty" doc:"Take the address away and make none."`
		By    string `json:"by,omitempty" example:"MO" doc:"Who does it: initials or a short name."`
	}
}) (*created[CalendarAddress], error) {
	act, err := in.act(in.Body.By)
	if err != nil {
		return nil, err
	}
	if _, err := a.DB.RenewCalendar(ctx, act, !in.Body.Close); err != nil {
		return nil, err
	}
	c, err := a.calendarAddress(ctx)
	return &created[CalendarAddress]{at("/calendar"), c}, err
}
