package main

import (
	"fmt"
	"strings"
	"time"

	"cruet/internal/chem"
	"cruet/internal/forecast"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/verdict"
)

// printCeiling says how sour a recipe or a jar can get, and what would change it.
func (a *app) printCeiling(c larder.Ceiling, target chem.GramsPer100ML, stage larder.Stage, acidity *larder.Acidity, volume *chem.Millilitres, units chem.System) {
	fmt.Fprintf(a.out, "%-11s %s Reckoned from %s.\n", "ceiling", c.Sentence(target), c.From)
	if len(c.Missing) > 0 {
		fmt.Fprintf(a.out, "%-11s not counted: %s; with it the ceiling may be higher\n", "", oneLine(strings.Join(c.Missing, ", ")))
	}
	if changes := c.Changes(stage, volume, units); len(changes) > 0 {
		fmt.Fprintf(a.out, "%-11s to get there: %s\n", "", strings.Join(changes, ", or "))
	}
	for _, note := range c.Strong(stage, acidity) {
		fmt.Fprintf(a.out, "%-11s %s\n", "", note)
	}
}

// printOutlook says where the jar can get, where it is going and what it may be
// used for.
func (a *app) printOutlook(o store.Outlook, s speech) {
	st := o.Jar.State
	if o.NoCeiling != "" {
		fmt.Fprintf(a.out, "%-11s not known: %s\n", "ceiling", o.NoCeiling)
	} else {
		a.printCeiling(o.Ceiling, o.Batch.TargetGPer100ML, st.Stage, st.Acidity, st.VolumeML, s.units)
	}
	if still := larder.StillGravity(st, o.Log); still != "" {
		fmt.Fprintf(a.out, "%-11s %s\n", "gravity", still)
	}
	head := "forecast"
	say := func(text string) {
		fmt.Fprintf(a.out, "%-11s %s\n", head, text)
		head = ""
	}
	f := o.Forecast
	if d, over, ok := f.Ahead(); ok {
		what := "target"
		if f.FinishKind == forecast.FinishPlateau {
			what = "end of the rise"
		}
		day := func(t time.Time) string { return t.In(s.loc).Format("2 Jan 2006") }
		when := fmt.Sprintf("between %s and %s, likely about %s (80 %%)", day(d.Early), day(d.Late), day(d.Likely))
		if over {
			when = "by now, by this forecast; titrate again to be sure of it"
		}
		say(what + " " + when)
	}
	for _, x := range f.Findings {
		say(x.Text)
	}
	if f.Enough() {
		say(forecast.Caution)
	}
	if flag := larder.PHFlag(st, o.Ceiling); flag != "" {
		fmt.Fprintf(a.out, "%-11s %s\n", "pH flag", flag)
	}
	for _, high := range st.HighPH() {
		fmt.Fprintf(a.out, "%-11s %s\n", "pH", high)
	}
	head = "may be used"
	for _, v := range o.Verdict {
		why := ""
		if len(v.Reasons) > 0 {
			why = ": " + v.Reasons[0].Text
		}
		say(fmt.Sprintf("%s — %s%s", v.Use, v.Answer, why))
	}
	say("Rules: " + o.Market.Name() + ". " + verdict.Defer)
}
