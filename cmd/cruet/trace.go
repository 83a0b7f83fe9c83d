package main

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/sheet"
	"cruet/labels"
)

// shownSteps is how many lines of each kind a terminal gets without --all.
const shownSteps = 40

type traceFlags struct {
	kind, csv, pdf, paper string
	all, force            bool
}

func (a *app) traceCommand() *cobra.Command {
	var f traceFlags
	cmd := &cobra.Command{
		Use: "trace TAG|LOT|NAME", Short: "Tell what something came from, and where it went",
		Long: `Trace a jar, a bottle, a lot, a batch ("batch 3"), a bought starter or an
ingredient: every step back to what it came from, every step on to jars, lots,
bottles and people, with volumes and dates, what is still here and what has left,
and the balance. It holds what Regulation (EC) 178/2002 art. 18 and the US rules on
one-up-one-down records (21 CFR 1.337 and 1.345) ask for: supplier, recipient, date,
lot and quantity.

--csv writes one line for each thing, with these columns:

` + columnHelp(sheet.TraceColumns()),
		Example: `  cruet trace K7RM74
  cruet trace L261125A --pdf trace.pdf
  cruet trace "live cider vinegar" --csv trace.csv`,
		Args: exactly("The TAG, LOT or NAME"),
	}
	flags := cmd.Flags()
	flags.StringVar(&f.kind, "kind", "", "`KIND` of what is named: jar, bottle, lot, batch, or named for what went in")
	flags.StringVar(&f.csv, "csv", "", "write CSV (RFC 4180) to `FILE`, or - for standard output")
	flags.StringVar(&f.pdf, "pdf", "", "write a PDF to print to `FILE`, or - for standard output")
	flags.StringVar(&f.paper, "paper", "a4", "`PAPER` of the PDF: a4 or letter")
	flags.BoolVar(&f.all, "all", false, fmt.Sprintf("print every step, jar and bottle (default: %d of each)", shownSteps))
	flags.BoolVar(&f.force, "force", false, "replace FILE if it is there already")
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		kind, err := larder.ParseSubjectKind(f.kind)
		if err != nil {
			return wrongUse("--kind", "%s", err)
		}
		page, err := labels.PageByID(f.paper)
		if err != nil {
			return wrongUse("--paper", "%s", err)
		}
		csvFile, pdfFile := outFile{name: f.csv, force: f.force}, outFile{name: f.pdf, force: f.force}
		for _, file := range []outFile{csvFile, pdfFile} {
			if err := file.checkIfNamed(); err != nil {
				return err
			}
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			s, err := r.db.FindSubject(ctx, args[0], kind)
			if err != nil {
				return err
			}
			listed := math.MaxInt
			if f.csv == "" && f.pdf == "" && !*asJSON && !f.all {
				listed = shownSteps
			}
			t, err := r.db.TraceUpTo(ctx, s, listed)
			if err != nil {
				return err
			}
			var out bytes.Buffer
			if f.csv != "" {
				if err := sheet.WriteTrace(&out, t, r.loc); err != nil {
					return err
				}
				if err := csvFile.write(a.out, out.Bytes()); err != nil {
					return err
				}
			}
			if f.pdf != "" {
				out.Reset()
				if err := labels.WriteTrace(&out, labels.TraceRecord{Kitchen: r.kitchen, Trace: t, Page: page}); err != nil {
					return err
				}
				if err := pdfFile.write(a.out, out.Bytes()); err != nil {
					return err
				}
			}
			switch {
			case *asJSON:
				return a.printJSON(t)
			case f.csv == "-" || f.pdf == "-":
				return nil
			}
			a.printTrace(t, r.speech(), f.all)
			return nil
		})
	}
	return cmd
}

// columnHelp lists columns for a help text, in the width of a terminal.
func columnHelp(columns []sheet.Column) string {
	const indent, wide = 29, 84
	var b strings.Builder
	for _, c := range columns {
		fmt.Fprintf(&b, "  %-26s", c.Name)
		at := indent - 1
		for _, word := range strings.Fields(c.Means) {
			n := utf8.RuneCountInString(word)
			if at+1+n > wide {
				fmt.Fprintf(&b, "\n%*s", indent-1, "")
				at = indent - 1
			}
			b.WriteString(" " + word)
			at += 1 + n
		}
		b.WriteByte('\n')
	}
	return strings.TrimRight(b.String(), "\n")
}

func (a *app) printTrace(t larder.Trace, s speech, all bool) {
	say := func(format string, args ...any) { fmt.Fprintln(a.out, oneLineKeep(fmt.Sprintf(format, args...))) }
	fold := func(n, of int, what string) bool {
		if n == shownSteps && !all && of > shownSteps {
			say("  ... and %d more %s; --all lists them", of-n, what)
		}
		return n < shownSteps || all
	}
	say("%s", strings.ToUpper(t.Subject.String()[:1])+t.Subject.String()[1:])
	for _, h := range t.Held {
		say("ON HOLD     %s", h)
	}
	b := t.Balance
	say("made        %s (%s)", s.volume(&b.MadeML), t.MadeOf())
	say("on hand     %s", s.volume(&b.OnHandML))
	say("given       %s", s.volume(&b.GivenML))
	say("used        %s", s.volume(&b.UsedML))
	say("unaccounted %s", s.volume(&b.UnaccountedML))
	if b.MadeML > 0 {
		say("accounted   %.0f %%", b.EffectivenessPercent)
	}
	if len(b.UnknownJars) > 0 {
		say("not known   what %d of the jars hold", len(b.UnknownJars))
	}
	say("came from:")
	for i, e := range t.Back {
		if !fold(i, len(t.Back), "steps back") {
			break
		}
		say("  %d  %s into %s", e.Depth, s.edge(e.Edge, true), e.ToJar.String()+e.ToLot)
	}
	for _, batch := range t.Batches[:min(len(t.Batches), shownSteps)] {
		for _, i := range batch.Ingredients {
			text := fmt.Sprintf("  recipe of batch %d, %s: %s", batch.ID, batch.Name, i)
			say("%s", text)
		}
	}
	say("went into:")
	for i, e := range t.Forward {
		if !fold(i, len(t.Forward), "steps on") {
			break
		}
		say("  %d  %s %s", e.Depth, e.FromJar.String()+e.FromName, s.edge(e.Edge, false))
	}
	for i, l := range t.Lots {
		if !fold(i, len(t.Lots), "lots") {
			break
		}
		say("  lot %s, %s, %s: %d bottles, %s; %d given, %d here", l.ID, l.Name, l.When.DateIn(s.loc), l.Bottles, s.volume(&l.MadeML), l.Given, l.Bottles-l.Given)
	}
	if t.UnlistedBottles > 0 {
		say("who has it: %d bottles in all; --all lists them", t.UnlistedBottles)
		return
	}
	say("who has it:")
	for i, bottle := range t.Gifts() {
		if !fold(i, len(t.Gifts()), "bottles") {
			break
		}
		g := bottle.Gift
		say("  %s: bottle %s#%d, %s, %s", g.To, bottle.Lot, bottle.Number, s.volume(&bottle.SizeML), g.When.DateIn(s.loc))
	}
	if len(t.Gifts()) == 0 {
		say("  nobody on record")
	}
}

// oneLineKeep takes line breaks out of a line, and keeps its columns.
func oneLineKeep(s string) string { return strings.NewReplacer("\r", " ", "\n", " ").Replace(s) }
