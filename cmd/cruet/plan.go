package main

import (
	"context"
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
)

// planKind is one kind's plan of "cruet plan --json".
type planKind struct {
	Kind  larder.Base       `json:"kind"`
	Steps []larder.PlanStep `json:"steps"`
}

func (a *app) planCommand() *cobra.Command {
	var from, until, every int
	var off, ask, reset bool
	cmd := &cobra.Command{
		Use: "plan [KIND [STEP]]", Short: "Show or change when each kind of batch is asked for what",
		Long: `Show the plans, or that of one kind of batch; "kitchen" is what the bench wants.
With a step, change its days: they count from the start of the stage, or from what
the plan names. How long a calibration and a check of the base hold is set with
"cruet kitchen".`,
		Example: `  cruet plan
  cruet plan "fruit scraps"
  cruet plan "fruit scraps" must/strain --from 5 --until 10
  cruet plan juice acetic/titrate --every 14
  cruet plan juice --reset`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 2 {
				return &usageError{message: fmt.Sprintf("%q is one word too many; put quotes round a kind of several words.", args[2])}
			}
			return nil
		},
	}
	flags := cmd.Flags()
	flags.IntVar(&from, "from", 0, "due from day `N`")
	flags.IntVar(&until, "until", 0, "overdue after day `N`")
	flags.IntVar(&every, "every", 0, "again after `N` days")
	flags.BoolVar(&off, "off", false, "never ask for it")
	flags.BoolVar(&ask, "on", false, "ask for it again")
	flags.BoolVar(&reset, "reset", false, "go back to the usual days, of the step or of the whole plan")
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		set := false
		for _, f := range []string{"from", "until", "every", "off", "on"} {
			set = set || cmd.Flags().Changed(f)
		}
		switch {
		case set && len(args) < 2:
			return &usageError{message: "Name the kind of batch and the step that is to be changed.", hint: `"cruet plan" lists them.`}
		case off && ask:
			return wrongUse("--off", "--off and --on exclude each other.")
		case reset && (set || len(args) == 0):
			return wrongUse("--reset", "--reset goes with a kind, or a kind and a step, and without new days.")
		}
		var kind larder.Base
		if len(args) > 0 {
			var err error
			if kind, err = larder.ParsePlanKind(args[0]); err != nil {
				return wrongUse("KIND", "%s", err)
			}
		}
		mode := existing
		if set || reset {
			mode = create
		}
		return a.inKitchen(cmd, mode, func(ctx context.Context, r room) error {
			plans, err := r.db.Plans(ctx)
			if err != nil {
				return err
			}
			if set || reset {
				plan, err := changedPlan(plans[kind], kind, args[1:], reset, func(d *larder.Days) {
					for _, f := range []struct {
						flag string
						into *int
						to   int
					}{{"from", &d.First, from}, {"until", &d.Last, until}, {"every", &d.Every, every}} {
						if cmd.Flags().Changed(f.flag) {
							*f.into = f.to
						}
					}
					d.Off = (d.Off || off) && !ask
				})
				if err != nil {
					return err
				}
				if err := r.db.SetPlan(ctx, kind, plan); err != nil {
					return &hinted{err, "Nothing was changed. Look at --from, --until and --every."}
				}
				plans[kind] = plan.Changes(kind)
			}
			return a.printPlans(plans, kind, r.kitchen, *asJSON)
		})
	}
	return cmd
}

// changedPlan is a plan with one step changed, or put back; without a step all
// of it is put back.
func changedPlan(old larder.Plan, kind larder.Base, step []string, reset bool, change func(*larder.Days)) (larder.Plan, error) {
	plan := larder.Plan{}
	if len(step) == 0 {
		return plan, nil
	}
	id, known := larder.StepID(strings.ToLower(step[0])), false
	for _, s := range old.Steps(kind) {
		plan[s.ID] = s.Days
		if s.ID != id {
			continue
		}
		known = true
		d := s.Days
		if change(&d); reset {
			d = s.Usual
		}
		plan[s.ID] = d
	}
	if !known {
		return nil, fail(fmt.Sprintf("\"cruet plan '%s'\" lists its steps.", kind), "The plan for %s has no step %q.", kind, step[0])
	}
	return plan, nil
}

func (a *app) printPlans(plans map[larder.Base]larder.Plan, only larder.Base, k larder.Kitchen, asJSON bool) error {
	out := []planKind{}
	for _, kind := range larder.PlanKinds() {
		if only == "" || kind == only {
			out = append(out, planKind{kind, plans[kind].Steps(kind)})
		}
	}
	if asJSON {
		return a.printJSON(map[string]any{"plans": out})
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	for i, p := range out {
		if i > 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "%s\n", strings.ToUpper(string(p.Kind)))
		for _, s := range p.Steps {
			rule := s.Rule()
			if p.Kind == larder.KitchenTasks && !s.Days.Off {
				rule = fmt.Sprintf("before measuring, when older than %d days", k.BaseMaxAge())
				if s.Do == larder.DoCalibrate {
					rule = fmt.Sprintf("before measuring, when older than %.0f hours", k.CalibrationMaxAge().Hours())
				}
			}
			mark := ""
			if s.Changed {
				mark = "changed"
			}
			fmt.Fprintf(w, "  %s\t%s\t%s\t%s\n", s.ID, s.What, rule, mark)
		}
	}
	return w.Flush()
}
