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

// benchLines is how many lines of the bench book are listed.
const benchLines = 50

// benchFlags are what the three commands of the bench share.
type benchFlags struct {
	actFlags
	note   string
	strike int64
}

// benchCommand is a command that lists one kind of line of the bench book, adds
// one when it is named, and strikes one with --strike.
func (a *app) benchCommand(kind larder.BenchKind, cmd *cobra.Command, f *benchFlags, body func(name string) (larder.BenchBody, error)) *cobra.Command {
	flags := cmd.Flags()
	flags.StringVar(&f.note, "note", "", "`TEXT` to keep with it")
	flags.Int64Var(&f.strike, "strike", 0, "take back line `N` of the book, as it is numbered there")
	f.add(cmd, true)
	asJSON := jsonFlag(cmd)
	cmd.Args = func(cmd *cobra.Command, args []string) error {
		if len(args) > 1 {
			return &usageError{message: fmt.Sprintf("%q is one word too many; put quotes round a name of several words.", args[1])}
		}
		return nil
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		act, err := f.act()
		if err != nil {
			return err
		}
		switch {
		case f.strike > 0:
			return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
				return a.strikeBench(ctx, r, act, kind, f.strike, *asJSON)
			})
		case len(args) == 0:
			return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error { return a.listBench(ctx, r, kind, *asJSON) })
		}
		b, err := body(args[0])
		if err != nil {
			return err
		}
		return a.inKitchen(cmd, create, func(ctx context.Context, r room) error {
			n := larder.NewBench{Note: f.note, Body: b}
			if n.When, err = f.date(r); err != nil {
				return err
			}
			e, err := r.db.Bench(ctx, act, n)
			if err != nil {
				return err
			}
			return a.printBench(ctx, r, e, *asJSON)
		})
	}
	return cmd
}

func (a *app) printBench(ctx context.Context, r room, e larder.BenchEntry, asJSON bool) error {
	words := e.Words()
	if asJSON {
		return a.printJSON(map[string]any{"line": e, "found": words.Headline, "failed": words.Failed, "notes": append([]string{}, words.Notes...)})
	}
	what := "Saved"
	if e.Struck {
		what = "Struck"
	}
	fmt.Fprintf(a.out, "%s for %s: %s.\n", what, e.Body.Name(), words.Headline)
	for _, note := range words.Notes {
		fmt.Fprintf(a.out, "Note: %s\n", note)
	}
	if e.Kind == larder.KindControl {
		return a.printControl(ctx, r, e.Body.Name())
	}
	return nil
}

// printControl tells what a meter's control chart says.
func (a *app) printControl(ctx context.Context, r room, meter string) error {
	lines, err := r.db.BenchBook(ctx, larder.KindControl, meter, benchLines)
	if err != nil {
		return err
	}
	var ask chem.ControlChart
	for i := len(lines) - 1; i >= 0; i-- {
		if s, ok := lines[i].Body.(larder.ControlSample); ok && !lines[i].Struck {
			ask.ReadingsPH = append(ask.ReadingsPH, s.PH)
		}
	}
	c, err := ask.Result()
	if err != nil {
		_, err = fmt.Fprintf(a.out, "%s: %s\n", meter, err) // too few readings yet
		return err
	}
	state := "in control"
	if !c.InControl {
		state = "OUT OF CONTROL"
	}
	fmt.Fprintf(a.out, "%s is %s: mean pH %.2f, usual range %.2f to %.2f (mean ± 3 s)\n", meter, state, float64(c.MeanPH), float64(c.LowerPH), float64(c.UpperPH))
	if !c.InControl {
		fmt.Fprintf(a.out, "Note: %s\n", c.Flags[len(c.Flags)-1].Why)
	}
	return nil
}

func (a *app) listBench(ctx context.Context, r room, kind larder.BenchKind, asJSON bool) error {
	lines, err := r.db.BenchBook(ctx, kind, "", benchLines)
	if err != nil {
		return err
	}
	if asJSON {
		return a.printJSON(map[string]any{"lines": append([]larder.BenchEntry{}, lines...)})
	}
	if len(lines) == 0 {
		fmt.Fprintf(a.out, "No line yet. %q shows how one is added.\n", "cruet "+benchVerbs[kind]+" --help")
		return nil
	}
	s, seen := r.speech(), map[string]bool{}
	for _, e := range lines {
		text := e.Body.Name() + ": " + e.Words().Headline
		if e.Note != "" {
			text += " — " + e.Note
		}
		if e.Struck {
			text = "[struck] " + text
		}
		fmt.Fprintf(a.out, "#%-3d %s  %s\n", e.Seq, strings.TrimSpace(e.When.In(s.loc)+"  "+e.By), oneLine(text))
	}
	for _, e := range lines {
		if name := e.Body.Name(); kind == larder.KindControl && !e.Struck && !seen[name] {
			seen[name] = true
			if err := a.printControl(ctx, r, name); err != nil {
				return err
			}
		}
	}
	return nil
}

var benchVerbs = map[larder.BenchKind]string{larder.KindCalibration: "calibrate", larder.KindBase: "base", larder.KindControl: "control"}

func (a *app) strikeBench(ctx context.Context, r room, act larder.Act, kind larder.BenchKind, number int64, asJSON bool) error {
	e, err := benchNumber(ctx, r.db, kind, number)
	if err != nil {
		return err
	}
	if e, err = r.db.StrikeBench(ctx, act, e.ID); err != nil {
		return err
	}
	return a.printBench(ctx, r, e, asJSON)
}

func benchNumber(ctx context.Context, db *store.DB, kind larder.BenchKind, number int64) (larder.BenchEntry, error) {
	lines, err := db.BenchBook(ctx, kind, "", 100_000)
	if err != nil {
		return larder.BenchEntry{}, err
	}
	for _, e := range lines {
		if e.Seq == number {
			return e, nil
		}
	}
	return larder.BenchEntry{}, &hinted{fmt.Errorf("There is no line #%d in that book.", number), fmt.Sprintf("Nothing was changed. %q lists its lines.", "cruet "+benchVerbs[kind])}
}

func (a *app) calibrateCommand() *cobra.Command {
	var f benchFlags
	var buffers []string
	var adjusted bool
	cmd := &cobra.Command{
		Use: "calibrate [METER]", Short: "Calibrate a pH meter, or list its calibrations",
		Long: `Note what a pH meter shows of two or three buffers. Readings with that
instrument are then corrected; without METER the calibrations are listed. The
buffers 1.68 and 4.01 lie on both sides of vinegar, 4 and 7 do not.

A buffer is written as its name or the pH on its bottle, its temperature, and
what the meter showed in pH or mV. Names: tetroxalate (1.68), tech_2.00,
tech_4.00, phthalate (4.01), phosphate (6.86), tech_7.00, borate (9.18),
tech_10.01, carbonate (10.01).`,
		Example: `  cruet calibrate "bench pH" --buffer "tetroxalate 20 C 1.70 pH" --buffer "phthalate 20 C 4.03 pH"
  cruet calibrate "bench pH" --buffer "4.01 25 C 172 mV" --buffer "6.86 25 C 8 mV" --adjusted
  cruet calibrate`,
	}
	cmd.Flags().StringArrayVar(&buffers, "buffer", nil, "`BUFFER`, temperature and what was shown; once for each")
	cmd.Flags().BoolVar(&adjusted, "adjusted", false, "the meter was set by these buffers afterwards")
	return a.benchCommand(larder.KindCalibration, cmd, &f, func(meter string) (larder.BenchBody, error) {
		m := larder.MeterCalibration{Meter: meter, Adjusted: adjusted}
		for _, text := range buffers {
			p, err := needed("buffer", text, reckon.Buffer)
			if err != nil {
				return nil, err
			}
			m.Points = append(m.Points, p)
		}
		return m, nil
	})
}

func (a *app) baseCommand() *cobra.Command {
	var f benchFlags
	var stated, vinegar, sample, blank, burette, balance string
	var phthalate, took []string
	cmd := &cobra.Command{
		Use: "base [BASE]", Short: "Check the titration's base, or list its checks",
		Long: `Note how strong the base is: weighed against potassium hydrogen phthalate,
against a bought vinegar, or as a fresh, sealed bottle states it. Titrations
use the newest check; one older than 30 days supports no claim of strength,
since a base weakens in air and then shows vinegar stronger than it is.

` + wrapped(chem.BaseCaution, 79, ""),
		Example: `  cruet base "lye 0.1" --phthalate "0.3888 g 18.64 mL" --phthalate "0.3901 g 18.71 mL" --balance "1 mg"
  cruet base "lye 0.1" --vinegar "5 %" --sample "2 mL" --took "16.7 mL" --took "16.6 mL"
  cruet base "lye 0.1" --stated "0.1 mol/L"`,
	}
	flags := cmd.Flags()
	flags.StringArrayVar(&phthalate, "phthalate", nil, "`MASS` weighed and the base it took, \"0.3888 g 18.64 mL\"; once for each")
	flags.StringVar(&balance, "balance", "", "`MASS` that the balance may be out: \"1 mg\"")
	flags.StringVar(&vinegar, "vinegar", "", "`ACIDITY` on the bought vinegar's label: \"5 %\"")
	flags.StringVar(&sample, "sample", "", "`VOLUME` of it in each sample: \"2 mL\"")
	flags.StringArrayVar(&took, "took", nil, "`VOLUME` of base that a sample took; once for each")
	flags.StringVar(&blank, "blank", "", "`VOLUME` of base that the water alone took")
	flags.StringVar(&burette, "burette-tolerance", "", "`VOLUME` that the burette may be out: \"0.05 mL\"")
	flags.StringVar(&stated, "stated", "", "`CONCENTRATION` on a fresh bottle: \"0.1 mol/L\"")
	return a.benchCommand(larder.KindBase, cmd, &f, func(base string) (larder.BenchBody, error) {
		b := larder.BaseCheck{Base: base}
		if stated != "" {
			if vinegar != "" || len(phthalate) > 0 {
				return nil, &usageError{message: "--stated goes without --phthalate and --vinegar."}
			}
			var err error
			b.StatedMolPerL, err = needed("stated", stated, reckon.BaseStrength)
			return b, err
		}
		s := &chem.Standardisation{}
		b.Against = s
		for _, text := range phthalate {
			run, err := needed("phthalate", text, reckon.Phthalate)
			if err != nil {
				return nil, err
			}
			s.Runs = append(s.Runs, run)
		}
		for _, text := range took {
			v, err := needed("took", text, chem.ParseVolume)
			if err != nil {
				return nil, err
			}
			s.VinegarBaseML = append(s.VinegarBaseML, v)
		}
		if err := errorOf(into("vinegar", vinegar, parseAcidity, &s.LabelledGPer100ML), into("sample", sample, chem.ParseVolume, &s.VinegarML),
			into("blank", blank, chem.ParseVolume, &s.BlankML), into("burette-tolerance", burette, chem.ParseVolume, &s.BuretteTolML),
			into("balance", balance, chem.ParseMass, &s.MassTolG)); err != nil {
			return nil, err
		}
		return b, nil
	})
}

// into reads an optional flag into its place.
func into[T any](flag, text string, parse func(string) (T, error), place *T) error {
	v, err := optional(flag, text, parse)
	if v != nil {
		*place = *v
	}
	return err
}

// errorOf is the first error.
func errorOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func (a *app) controlCommand() *cobra.Command {
	var f benchFlags
	var ph, temp string
	cmd := &cobra.Command{
		Use: "control [METER]", Short: "Log a control sample, or list them with their chart",
		Long: `Note the pH of the same bought 5 % vinegar, read before each measuring round.
From the eighth on its usual range is known, and a meter that drifts is told.`,
		Example: `  cruet control "bench pH" --ph 2.41 --temp "20 C"
  cruet control`,
	}
	cmd.Flags().StringVar(&ph, "ph", "", "`PH` as the meter showed it")
	cmd.Flags().StringVar(&temp, "temp", "", "`TEMPERATURE`: \"20 C\", \"68 F\"")
	return a.benchCommand(larder.KindControl, cmd, &f, func(meter string) (larder.BenchBody, error) {
		c := larder.ControlSample{Meter: meter}
		var err error
		if c.PH, err = needed("ph", ph, parsePH); err != nil {
			return nil, err
		}
		c.TempC, err = needed("temp", temp, chem.ParseTemperature)
		return c, err
	})
}
