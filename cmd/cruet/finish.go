package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cruet/api"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/verdict"
)

func (a *app) finishCommand() *cobra.Command {
	var target, sizes string
	cmd := &cobra.Command{
		Use: "finish TAG...", Short: "Reckon how finished jars are diluted and how many bottles they fill",
		Long: `Reckon, for one or several jars together: how sour they are and how surely, the water
that keeps even the lower bound of the measurement at a target, what there is then,
the bottles of each size that it fills, and what the evidence allows. Nothing is
written. The water is logged with "cruet log TAG --water", filtering and heating with
"--action filtered" and "--action pasteurised". After water the strength is computed
until it is measured again.

Several jars get water once they are joined in one vessel.`,
		Example: `  cruet finish K7RM74
  cruet finish K7RM74 3CFX72 --target 5% --bottles 250mL,500mL`,
		Args: atLeastOne("The TAG of a jar"),
	}
	cmd.Flags().StringVar(&target, "target", "", "`ACIDITY` to dilute to, g/100 mL or %; 0: add no water (default: 5 where it surely is above)")
	cmd.Flags().StringVar(&sizes, "bottles", "", "`SIZES` of bottle: \"250 mL, 500 mL\" (default: common sizes)")
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		tags := make([]larder.Tag, len(args))
		var err error
		for i, arg := range args {
			if tags[i], err = a.jarTag(arg); err != nil {
				return err
			}
		}
		aim, err := optional("target", target, parseAcidity)
		if err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			if sizes == "" {
				sizes = larder.CommonSizes(r.kitchen.Units())
			}
			bottles, err := larder.ParseSizes(sizes)
			if err != nil {
				return wrongUse("--bottles", "%s", err)
			}
			f, err := r.db.Finish(ctx, tags, aim, bottles, time.Now().In(r.loc))
			if err != nil {
				return err
			}
			if *asJSON {
				return a.printJSON(api.FinishingOf(f))
			}
			a.printFinishing(f, r.speech())
			return nil
		})
	}
	return cmd
}

func (a *app) printFinishing(f store.Finishing, s speech) {
	p := f.Plan
	say := func(head, format string, args ...any) {
		fmt.Fprintf(a.out, "%-11s %s\n", head, fmt.Sprintf(format, args...))
	}
	for i, jar := range f.Jars {
		fmt.Fprintf(a.out, "%s  %s %s, %s, %s\n", jar.Tag, f.Batches[i].Name, jar.Letter, jar.State.Stage, s.volume(jar.State.VolumeML))
	}
	say("acidity", "%s", s.acidity(&p.Acidity))
	switch {
	case p.Water != nil:
		say("water", "%s", p.WaterSentence(s.units))
	case p.WhyNoWater != "":
		say("water", "none: %s", p.WhyNoWater)
	default:
		say("water", "none")
	}
	strength := "acidity not known"
	if p.Expected.Basis == larder.ByTitration || p.Expected.Basis == larder.Computed {
		strength = larder.AcidityWords(p.Expected.GPer100ML, p.Expected.ExpandedUGPer100ML) + ", " + string(p.Expected.Basis)
	}
	say("makes", "%s at %s", s.volume(&p.ExpectedML), strength)
	if p.OverflowML >= 1 {
		say("", "%s of it do not fit in the vessel; move it to a larger one first", s.volume(&p.OverflowML))
	}
	for _, one := range p.Fills {
		say("fills", "%d of %s, %s left over", one.Count, s.volume(&one.SizeML), s.volume(&one.LeftML))
	}
	for _, why := range p.NotYet {
		say("not yet", "%s", why)
	}
	for _, v := range f.Verdict {
		why := ""
		if v.Use == verdict.GivingAway && len(v.Against()) > 0 {
			why = ": " + v.Against()[0]
		}
		say("may be used", "%s — %s%s", v.Use, v.Answer, why)
	}
	if p.AddML >= 1 {
		say("next", "add the water, then titrate again: until then its strength is computed")
		if len(f.Jars) == 1 {
			say("", "cruet log %s --water \"%.0f mL\"", f.Jars[0].Tag, float64(p.AddML))
		}
	}
	say("", "%s", strings.TrimSpace(verdict.Defer))
}
