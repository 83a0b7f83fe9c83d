package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/reckon"
	"cruet/internal/store"
)

// logFlags are all that "cruet log" may be told. One entry holds one kind of
// thing; kind says which the given flags make.
type logFlags struct {
	actFlags
	ph, temp, sg, brix, abv, volume, instrument string

	titration                          bool
	sample, base, baseName, baseU      string
	blank, dilution, endpointPH        string
	sampleTolerance, buretteTolerance  string
	burette                            []string
	baseCheckedDays                    int
	action, place, minutes, hold, lift string
	note, water, infuse, mass, photo   string
	starter, topUp                     feedFlags
}

const logHelp = `Add one entry to a jar's log. An entry holds one kind of thing:

  a reading     --ph --temp --sg --brix --abv --volume, as many as were read
  a titration   --titration --sample --base and one --burette for each run
  an action     --action, with --volume when strained, --place when moved
  an addition   --starter-..., --top-up-..., --water, or --infuse with --mass
  a stop        --hold REASON; --lift REASON
  a photo       --photo FILE: JPEG, PNG, WebP or GIF; kept small, bare of place
  a note        --note alone; with any of the others it is kept beside it

Only a titration tells how sour vinegar is; pH does not. The base burns skin and
eyes: wear goggles and gloves, and follow the warnings on its bottle.`

func (a *app) logCommand() *cobra.Command {
	var f logFlags
	cmd := &cobra.Command{
		Use: "log TAG", Short: "Log a reading, titration, action, addition, hold, photo or note", Long: logHelp,
		Example: `  cruet log K7RM74 --ph 3.2 --temp "68 F" --instrument "bench pH"
  cruet log K7RM74 --titration --sample "2 mL" --base "0.1 mol/L" --burette 0.0-16.7 --burette 16.7-33.5
  cruet log K7RM74 --action stirred --when yesterday
  cruet log K7RM74 --water "400 mL"
  cruet log K7RM74 --photo skin.jpg --note "smooth all over"
  cruet log K7RM74 --infuse rosemary --mass "20 g"
  cruet log K7RM74 --hold "grey fluff on the surface"`,
		Args: exactly("The jar's TAG"),
	}
	f.add(cmd)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		tag, err := a.jarTag(args[0])
		if err != nil {
			return err
		}
		body, err := f.body(a, cmd)
		if err != nil {
			return err
		}
		n := larder.NewEntry{Note: f.note, Body: body}
		if body.Kind() == larder.KindPhoto {
			return a.appendPhoto(cmd, tag, f, n, *asJSON)
		}
		return a.append(cmd, tag, f.actFlags, n, *asJSON)
	}
	return cmd
}

func (f *logFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&f.ph, "ph", "", "`PH` as the meter showed it")
	flags.StringVar(&f.temp, "temp", "", "`TEMPERATURE`: \"20 C\", \"68 F\"")
	flags.StringVar(&f.sg, "sg", "", "specific `GRAVITY` as the hydrometer showed it: 1.046")
	flags.StringVar(&f.brix, "brix", "", "sugar in `°Bx`: 12.5")
	flags.StringVar(&f.abv, "abv", "", "alcohol in `%` vol: 6.9")
	flags.StringVar(&f.volume, "volume", "", "`VOLUME` in the jar; with --action strained, what is left")
	flags.StringVar(&f.instrument, "instrument", "", "`NAME` of the meter, hydrometer or burette")
	flags.BoolVar(&f.titration, "titration", false, "a titration: --sample, --base and --burette tell of it")
	flags.StringVar(&f.sample, "sample", "", "`VOLUME` titrated: \"2 mL\"")
	flags.StringVar(&f.base, "base", "", "`CONCENTRATION` of the sodium hydroxide: \"0.1 mol/L\"")
	flags.StringArrayVar(&f.burette, "burette", nil, "burette in mL before and after, `0.0-16.7`; once for each run")
	flags.StringVar(&f.blank, "blank", "", "`VOLUME` of base that the water alone took")
	flags.StringVar(&f.dilution, "dilution", "", "`FACTOR` by which the vinegar was diluted first; 10 for 10 mL made up to 100 mL")
	flags.StringVar(&f.endpointPH, "endpoint-ph", "", "`PH` titrated to, with a meter instead of an indicator")
	flags.StringVar(&f.baseName, "base-name", "", "`NAME` of the bottle of base (default: the one checked last)")
	flags.StringVar(&f.baseU, "base-u", "", "standard uncertainty of the base's `CONCENTRATION`: \"0.0005 mol/L\"")
	flags.StringVar(&f.sampleTolerance, "sample-tolerance", "", "`VOLUME` that the pipette may be out: \"0.02 mL\"")
	flags.StringVar(&f.buretteTolerance, "burette-tolerance", "", "`VOLUME` that the burette may be out: \"0.05 mL\"")
	flags.IntVar(&f.baseCheckedDays, "base-checked-days", 0, "`DAYS` since the base was checked against a standard (default: not known)")
	flags.StringVar(&f.action, "action", "", "`WHAT` was done: "+actionNames())
	flags.StringVar(&f.place, "place", "", "`PLACE` where the jar stands now")
	flags.StringVar(&f.minutes, "minutes", "", "`MINUTES` held hot; with --action pasteurised, --temp says how hot")
	f.starter.add(cmd, "starter", "live vinegar or a mother", false)
	f.topUp.add(cmd, "top-up", "what was topped up with", true)
	flags.StringVar(&f.water, "water", "", "`VOLUME` of water added")
	flags.StringVar(&f.infuse, "infuse", "", "`NAME` of the herb, peel or spice that went in")
	flags.StringVar(&f.mass, "mass", "", "`MASS` of what was put in to infuse: \"20 g\"")
	flags.StringVar(&f.hold, "hold", "", "`REASON` to stop: nothing of the jar may be bottled or given")
	flags.StringVar(&f.lift, "lift", "", "`REASON` to lift the hold")
	flags.StringVar(&f.photo, "photo", "", "`FILE` of a picture of the jar, up to 20 MB")
	flags.StringVar(&f.note, "note", "", "`TEXT`")
	f.actFlags.add(cmd, true)
}

func actionNames() string {
	var names []string
	for _, k := range larder.ActionKinds() {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

var (
	readingOnly    = []string{"ph", "sg", "brix", "abv"}
	titrationFlags = []string{"titration", "sample", "base", "burette", "blank", "dilution", "endpoint-ph", "base-name", "base-u", "sample-tolerance", "burette-tolerance", "base-checked-days"}
)

// body is what the flags say, or a usageError when they say several things.
func (f *logFlags) body(a *app, cmd *cobra.Command) (larder.Body, error) {
	given := func(names ...string) bool {
		for _, n := range names {
			if cmd.Flags().Changed(n) {
				return true
			}
		}
		return false
	}
	kinds := []struct {
		name  string
		given bool
		make  func() (larder.Body, error)
	}{
		{"a titration", given(titrationFlags...), func() (larder.Body, error) { return f.titrationBody(given("base-checked-days")) }},
		{"an action", given("action", "place", "minutes"), f.actionBody},
		{"a starter", f.starter.given(cmd, "starter"), func() (larder.Body, error) { return f.starter.transfer(a, larder.StarterIn, "starter") }},
		{"a top-up", f.topUp.given(cmd, "top-up"), func() (larder.Body, error) { return f.topUp.transfer(a, larder.TopUp, "top-up") }},
		{"water", given("water"), f.waterBody},
		{"an infusion", given("infuse", "mass"), f.infuseBody},
		{"a hold", given("hold"), func() (larder.Body, error) { return larder.Hold{On: true, Reason: f.hold}, nil }},
		{"a photo", given("photo"), func() (larder.Body, error) { return larder.Photo{}, nil }},
		{"a lifted hold", given("lift"), func() (larder.Body, error) { return larder.Hold{Reason: f.lift}, nil }},
		// --temp and --volume belong to an action when there is one.
		{"a reading", given(readingOnly...) || (given("temp", "volume") && !given("action")), f.readingBody},
	}
	var names []string
	make := func() (larder.Body, error) { return larder.Note{}, nil }
	for _, k := range kinds {
		if k.given {
			names, make = append(names, k.name), k.make
		}
	}
	switch {
	case len(names) > 1:
		return nil, &usageError{message: "One entry holds one kind of thing; this is " + strings.Join(names, " and ") + ".", hint: "Log them one after the other."}
	case len(names) == 0 && strings.TrimSpace(f.note) == "":
		return nil, &usageError{message: "There is nothing to log yet."}
	case len(names) == 0 && given("instrument"):
		return nil, &usageError{message: "--instrument goes with a reading or a titration."}
	}
	return make()
}

func (f *logFlags) readingBody() (larder.Body, error) {
	r := larder.Reading{Instrument: f.instrument}
	var err error
	if r.PH, err = optional("ph", f.ph, parsePH); err != nil {
		return nil, err
	}
	if r.TempC, err = optional("temp", f.temp, chem.ParseTemperature); err != nil {
		return nil, err
	}
	if r.SG, err = optional("sg", f.sg, parseGravity); err != nil {
		return nil, err
	}
	if r.Brix, err = optional("brix", f.brix, parseBrix); err != nil {
		return nil, err
	}
	if r.ABV, err = optional("abv", f.abv, parseABV); err != nil {
		return nil, err
	}
	r.VolumeML, err = optional("volume", f.volume, chem.ParseVolume)
	return r, err
}

func (f *logFlags) actionBody() (larder.Body, error) {
	b := larder.Action{What: larder.ActionKind(strings.ToLower(strings.TrimSpace(f.action))), Place: f.place}
	if b.What == "" {
		return nil, &usageError{message: "--action is missing: --place and --minutes go with it."}
	}
	var err error
	if b.VolumeML, err = optional("volume", f.volume, chem.ParseVolume); err != nil {
		return nil, err
	}
	if b.TempC, err = optional("temp", f.temp, chem.ParseTemperature); err != nil {
		return nil, err
	}
	b.Minutes, err = optional("minutes", f.minutes, parseMinutes)
	return b, err
}

func (f *logFlags) waterBody() (larder.Body, error) {
	v, err := needed("water", f.water, chem.ParseVolume)
	return larder.Transfer{What: larder.Dilution, Feed: &larder.Feed{From: larder.FromWater, VolumeML: &v}}, err
}

func (f *logFlags) infuseBody() (larder.Body, error) {
	if strings.TrimSpace(f.infuse) == "" {
		return nil, &usageError{message: "--infuse is missing: what went in; --mass goes with it."}
	}
	mass, err := optional("mass", f.mass, chem.ParseMass)
	return larder.Transfer{What: larder.Infused, Feed: &larder.Feed{From: larder.FromOther, Name: f.infuse, MassG: mass}}, err
}

func (f *logFlags) titrationBody(checked bool) (larder.Body, error) {
	t := larder.Titration{Instrument: f.instrument, BaseName: f.baseName}
	var err error
	if t.SampleML, err = needed("sample", f.sample, chem.ParseVolume); err != nil {
		return nil, err
	}
	if t.BaseMolPerL, err = needed("base", f.base, reckon.BaseStrength); err != nil {
		return nil, err
	}
	if len(f.burette) == 0 {
		return nil, &usageError{message: "--burette is missing: what it showed in mL before and after, like 0.0-16.7."}
	}
	for _, text := range f.burette {
		one, err := needed("burette", text, reckon.Burette)
		if err != nil {
			return nil, err
		}
		t.Replicates = append(t.Replicates, one)
	}
	if checked {
		t.BaseCheckedDaysAgo = &f.baseCheckedDays
	}
	if t.EndpointPH, err = optional("endpoint-ph", f.endpointPH, parsePH); err != nil {
		return nil, err
	}
	return t, f.titrationExtras(&t)
}

// titrationExtras reads what may be left out.
func (f *logFlags) titrationExtras(t *larder.Titration) error {
	for _, v := range []struct {
		flag, text string
		into       *chem.Millilitres
	}{{"blank", f.blank, &t.BlankML}, {"sample-tolerance", f.sampleTolerance, &t.SampleTolML}, {"burette-tolerance", f.buretteTolerance, &t.BuretteTolML}} {
		ml, err := optional(v.flag, v.text, chem.ParseVolume)
		if err != nil {
			return err
		}
		if ml != nil {
			*v.into = *ml
		}
	}
	u, err := optional("base-u", f.baseU, reckon.BaseStrength)
	if err != nil {
		return err
	}
	if u != nil {
		t.BaseStdUMolPerL = *u
	}
	factor, err := optional("dilution", f.dilution, parseFactor)
	if factor != nil {
		t.DilutionFactor = *factor
	}
	return err
}

// append saves one entry and says what it changed.
func (a *app) append(cmd *cobra.Command, tag larder.Tag, f actFlags, n larder.NewEntry, asJSON bool) error {
	act, err := f.act()
	if err != nil {
		return err
	}
	return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
		if n.When, err = f.date(r); err != nil {
			return err
		}
		saved, err := r.db.Append(ctx, act, tag, n)
		if err != nil {
			return spareHint(ctx, r.db, tag, err)
		}
		return a.printSaved(ctx, r, saved, asJSON)
	})
}

func (a *app) printSaved(ctx context.Context, r room, saved store.Saved, asJSON bool) error {
	if asJSON {
		return a.printJSON(map[string]any{"entry": saved.Entry, "state": saved.After, "replayed": saved.Replayed})
	}
	a.saidBefore(saved.Replayed)
	s := r.speech()
	fmt.Fprintf(a.out, "Saved for jar %s: %s.\n", saved.Entry.Jar, oneLine(s.body(saved.Entry.Body)))
	if before, after := saved.Before.Acidity, saved.After.Acidity; after != nil && (before == nil || *before != *after) {
		fmt.Fprintf(a.out, "Acidity: %s.\n", s.acidity(after))
		if after.StrengthMark != "" && after.Basis == larder.ByTitration {
			fmt.Fprintf(a.out, "Note: %s\n", after.StrengthMark)
		}
	}
	if r, ok := saved.Entry.Body.(larder.Reading); ok && r.PHMark != "" {
		fmt.Fprintf(a.out, "Note: %s\n", r.PHMark)
	}
	for _, note := range notesOn(saved) {
		fmt.Fprintf(a.out, "Note: %s\n", note)
	}
	if act, ok := saved.Entry.Body.(larder.Action); ok && act.What == larder.MouldSeen {
		fmt.Fprintf(a.out, "Caution: vinegar with mould on it is thrown away, not skimmed. The jar is on hold, and so is all that came from it; look at \"went into\": cruet show %s\n", saved.Entry.Jar)
	}
	jar, err := r.db.Jar(ctx, saved.Entry.Jar)
	if err != nil {
		return err
	}
	batch, err := r.db.Batch(ctx, jar.BatchID)
	if err != nil {
		return err
	}
	if due := batch.Due(jar.State, s.now); len(due) > 0 {
		fmt.Fprintf(a.out, "Next: %s.\n", s.todo(due[0], jar.State))
	}
	return nil
}

// notesOn is what the jar's page tells of such an entry beside what it changed.
func notesOn(saved store.Saved) []string {
	switch b := saved.Entry.Body.(type) {
	case larder.Titration:
		if r, err := b.Result(); err == nil {
			return r.Notes // runs that disagree, an overshot end point
		}
	case larder.Reading:
		return b.Strange(saved.After.Stage)
	case larder.Hold:
		if !b.On && saved.After.MouldAt != nil {
			return []string{larder.MouldStands}
		}
	}
	return nil
}
