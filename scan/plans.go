package scan

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
)

func (p *Pages) registerPlans(e *gin.Engine) {
	e.GET("/plans", p.page(p.plans))
	e.POST("/plans/:kind", p.page(p.setPlan))
	e.GET("/calendar", p.page(p.calendarPage))
	e.POST("/calendar", p.page(p.renewCalendar))
	e.GET("/calendar.ics", p.page(p.calendarFeed))
}

// plansView is the plan of each kind of batch, and of the bench.
type plansView struct {
	Saved string
	Kinds []planView
}

type planView struct {
	Name    string
	Changed int  // how many of its steps
	Edit    bool // its form stands open
	Steps   []planLine
	Form    form
}

// planLine is one step of a plan in words.
type planLine struct {
	Stage, What, Rule, Why string
	Changed                bool
	First                  bool // of its stage
}

func (p *Pages) plans(c *gin.Context) error { return p.showPlans(c, http.StatusOK, nil) }

func planSlug(kind larder.Base) string { return strings.ReplaceAll(string(kind), " ", "-") }

func planTitle(kind larder.Base) string {
	if kind == larder.KitchenTasks {
		return "The bench"
	}
	return upperFirst(string(kind))
}

func (p *Pages) showPlans(c *gin.Context, status int, back *sent) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	plans, err := p.DB.Plans(ctx)
	if err != nil {
		return err
	}
	var v plansView
	for _, kind := range larder.PlanKinds() {
		slug := planSlug(kind)
		b := newBuilder("plan-"+slug, nil, nil, k.Units())
		mine := back != nil && back.form == slug
		if mine {
			b = newBuilder("plan-"+slug, back.typed, back.problems, k.Units())
		}
		one := planOf(kind, plans[kind], k, b)
		one.Form.Action, one.Form.Open = "/plans/"+slug, c.Query("open") == slug || c.Query("saved") == slug
		if mine {
			one.Form.Key, one.Form.Open = back.key, true
		}
		one.Form = b.finish(one.Form)
		one.Edit = mine || c.Query("open") == slug
		v.Kinds = append(v.Kinds, one)
		if c.Query("saved") == slug {
			v.Saved = "The plan for " + strings.ToLower(one.Name) + " is saved."
		}
	}
	return render(c, status, "plans", p.frame(k, "Plans"), v)
}

// planOf lays out one kind's plan: in words, and as a form.
func planOf(kind larder.Base, plan larder.Plan, k larder.Kitchen, b *builder) planView {
	v := planView{Name: planTitle(kind)}
	stage := larder.Stage("")
	var fields []field
	for _, s := range plan.Steps(kind) {
		line := planLine{Stage: upperFirst(string(s.Stage)), What: upperFirst(s.What), Rule: s.Rule(), Why: s.Why, Changed: s.Changed, First: s.Stage != stage}
		if kind == larder.KitchenTasks {
			line.Stage, line.First, line.Rule = "Before a measuring", len(v.Steps) == 0, benchRule(s, k)
		}
		stage = s.Stage
		if s.Changed {
			v.Changed++
		}
		v.Steps = append(v.Steps, line)
		fields = append(fields, stepFields(b, kind, s, k)...)
	}
	v.Form = form{Submit: "Save this plan", More: true}
	v.Form.Fields = append(fields, field{Kind: "more", Name: "reset", Label: "Back to the usual plan"})
	return v
}

func benchRule(s larder.PlanStep, k larder.Kitchen) string {
	switch {
	case s.Days.Off:
		return "not asked for"
	case s.Do == larder.DoCalibrate:
		return fmt.Sprintf("before measuring, when the last one is older than %.0f hours", k.CalibrationMaxAge().Hours())
	}
	return fmt.Sprintf("before a titration, when the last one is older than %d days", k.BaseMaxAge())
}

// stepFields are the boxes of one step.
func stepFields(b *builder, kind larder.Base, s larder.PlanStep, k larder.Kitchen) []field {
	ask := b.check(larder.PlanField(s.ID, "ask"), "ask for it")
	if b.typed == nil {
		ask.Checked = !s.Days.Off
	}
	days := func(name, label string, fresh int) field {
		f := b.number(name, label, "", "")
		f.Mode = "numeric"
		if b.typed == nil {
			f.Value = strconv.Itoa(fresh)
		}
		return f
	}
	title := upperFirst(s.What)
	if kind == larder.KitchenTasks {
		holds := days("base_max_age_days", "A check holds, days", k.BaseMaxAge())
		if s.Do == larder.DoCalibrate {
			holds = days("calibration_max_age_hours", "A calibration holds, hours", int(k.CalibrationMaxAge().Hours()))
		}
		return []field{row(title, holds), ask}
	}
	title = upperFirst(string(s.Stage)) + ": " + s.What
	parts := []field{days(larder.PlanField(s.ID, "from_days"), "from day", s.Days.First), days(larder.PlanField(s.ID, "until_days"), "to day", s.Days.Last)}
	if s.Repeats {
		parts = append(parts, days(larder.PlanField(s.ID, "every_days"), "again after, days", s.Days.Every))
	}
	return []field{row(title, parts...), ask}
}

// setPlan saves one kind's plan, or puts it back to the usual.
func (p *Pages) setPlan(c *gin.Context) error {
	ctx := c.Request.Context()
	k, r, err := p.form(c)
	if err != nil {
		return err
	}
	kind, err := larder.ParsePlanKind(c.Param("kind"))
	if err != nil {
		return p.noRoute(c)
	}
	plan := larder.Plan{}
	if r.text("reset") == "" {
		plan = r.plan(kind)
		if kind == larder.KitchenTasks {
			k.CalibrationMaxAgeHours, k.BaseMaxAgeDays = r.whole("calibration_max_age_hours"), r.whole("base_max_age_days")
		}
	} else if kind == larder.KitchenTasks {
		k.CalibrationMaxAgeHours, k.BaseMaxAgeDays = 0, 0
	}
	if err = r.problems.Err(); err == nil && kind == larder.KitchenTasks {
		err = p.DB.SetKitchen(ctx, k)
	}
	if err == nil {
		err = p.DB.SetPlan(ctx, kind, plan)
	}
	if err == nil {
		c.Redirect(http.StatusSeeOther, "/plans"+query("saved", planSlug(kind))+"#plan-"+planSlug(kind))
		return nil
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showPlans(c, status, &sent{form: planSlug(kind), typed: r.typed, problems: problems, key: key})
}

// plan reads the boxes of all steps of a kind.
func (r *reader) plan(kind larder.Base) larder.Plan {
	plan := larder.Plan{}
	for _, s := range (larder.Plan{}).Steps(kind) {
		d := larder.Days{Off: r.text(larder.PlanField(s.ID, "ask")) == ""}
		if kind != larder.KitchenTasks {
			d.First, d.Last = r.whole(larder.PlanField(s.ID, "from_days")), r.whole(larder.PlanField(s.ID, "until_days"))
			if s.Repeats {
				d.Every = r.whole(larder.PlanField(s.ID, "every_days"))
			}
		}
		plan[s.ID] = d
	}
	return plan
}

// whole is a whole number that must be there.
func (r *reader) whole(name string) int {
	text := r.text(name)
	n, err := strconv.Atoi(text)
	if err != nil || n < -1e6 || n > 1e6 {
		r.problems.Add(name, "Type a whole number, like 7.")
		return 0
	}
	return n
}
