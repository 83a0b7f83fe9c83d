package main

import (
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/reckon"
)

const reckonHelp = `Do one of the sums of the trade; no jar and no records are needed.

Quantities are typed with their unit ("2 mL", "0.1 mol/L", "68 F"), a decimal
comma is understood. A list is the same flag given several times. With --json
the answer is the sum's own, the units standing in the names of its fields;
"cruet reckon KIND --help" lists them and shows a worked example with its
published source.`

// reckonCommand has one command for each kind of sum that reckon knows.
func (a *app) reckonCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "reckon", Short: "Do the sums of the trade: acidity, pH, sugar, water, blends, dates", Long: reckonHelp,
		Example: `  cruet reckon
  cruet reckon titration --sample "2 mL" --base "0.1 mol/L" --burette 0.00-16.65 --burette 0.10-16.80
  cruet reckon dilute --volume "1 L" --acidity 6.2 --target 5 --json`,
		Args: cobra.ArbitraryArgs,
	}
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if len(args) > 0 {
			return unknownKind(cmd, args[0])
		}
		return a.listKinds(*asJSON)
	}
	for _, k := range reckon.Kinds() {
		cmd.AddCommand(a.kindCommand(k))
	}
	return cmd
}

func unknownKind(cmd *cobra.Command, name string) error {
	e := &usageError{message: fmt.Sprintf("There is no sum %q.", name), hint: `"cruet reckon" lists the sums: ` + strings.Join(reckon.Names(), ", ") + "."}
	near := cmd.SuggestionsFor(name)
	if strings.HasPrefix(strings.ToLower(name), "ph") {
		e.message += " " + chem.PHNeverAcidity
	}
	if len(near) > 0 {
		e.hint = "Did you mean " + strings.Join(near, " or ") + "? " + e.hint
	}
	return e
}

// listKinds lists the kinds under the question that each answers.
func (a *app) listKinds(asJSON bool) error {
	if asJSON {
		type kind struct {
			Kind    string `json:"kind"`
			Title   string `json:"title"`
			Purpose string `json:"purpose"`
		}
		var out []kind
		for _, k := range reckon.Kinds() {
			out = append(out, kind{k.Name, k.Title, k.Purpose})
		}
		return a.printJSON(map[string]any{"kinds": out})
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	group := ""
	for _, k := range reckon.Kinds() {
		if k.Group != group {
			group = k.Group
			fmt.Fprintln(w, group)
		}
		fmt.Fprintf(w, "  %s\t%s\n", k.Name, k.Question)
	}
	fmt.Fprintln(w, "\n\"cruet reckon KIND --help\" shows a worked example of each.")
	return w.Flush()
}

func (a *app) kindCommand(k reckon.Kind) *cobra.Command {
	cmd := &cobra.Command{Use: k.Name, Short: k.Title + ": " + lowerWord(k.Question), Example: "  " + exampleLine(k), Args: exactly()}
	// To describe the outputs takes longer than all other commands together.
	cmd.SetHelpFunc(func(cmd *cobra.Command, args []string) {
		cmd.Long = kindHelp(k)
		cmd.Parent().HelpFunc()(cmd, args)
	})
	cmd.SetUsageTemplate(strings.ReplaceAll(cmd.UsageTemplate(), ".LocalFlags.FlagUsages", ".LocalFlags.FlagUsagesWrapped 100"))
	flags := cmd.Flags()
	flags.SortFlags = false
	texts := map[string]*string{}
	lists := map[string]*[]string{}
	for _, f := range k.Fields {
		if f.Accepts == reckon.List {
			lists[f.Name] = flags.StringArray(f.Flag, nil, flagHelp(f))
		} else {
			texts[f.Name] = flags.String(f.Flag, "", flagHelp(f))
		}
	}
	asJSON := jsonFlag(cmd)
	// The names of the API, which carry units, are understood too.
	flags.SetNormalizeFunc(func(_ *pflag.FlagSet, name string) pflag.NormalizedName {
		if f, ok := k.Field(strings.ReplaceAll(name, "-", "_")); ok {
			name = f.Flag
		}
		return pflag.NormalizedName(name)
	})
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		in := map[string]string{}
		for _, f := range k.Fields {
			switch {
			case !cmd.Flags().Changed(f.Flag):
			case f.Accepts == reckon.List:
				in[f.Name] = strings.Join(*lists[f.Name], "\n")
			default:
				in[f.Name] = *texts[f.Name]
			}
		}
		res, err := k.Compute(in, time.Now())
		if err != nil {
			return kindTrouble(cmd, k, err)
		}
		if *asJSON {
			return a.printJSON(res)
		}
		return a.printReckoned(res)
	}
	return cmd
}

// kindTrouble is wrong use when the flags cannot be understood, and a refusal
// when the sum cannot be right. Both name the flags.
func kindTrouble(cmd *cobra.Command, k reckon.Kind, err error) error {
	var problems larder.Problems
	if !errors.As(err, &problems) {
		return err
	}
	var said, flags []string
	for _, p := range problems {
		message := p.Message
		if f, ok := k.Field(p.Field); ok {
			message = "--" + f.Flag + ": " + message
			if len(flags) == 0 || flags[len(flags)-1] != "--"+f.Flag {
				flags = append(flags, "--"+f.Flag)
			}
		}
		said = append(said, message)
	}
	message := strings.Join(said, " ")
	hint := fmt.Sprintf("%q shows a worked example.", cmd.CommandPath()+" --help")
	if len(flags) > 0 {
		hint = "Look at " + strings.Join(flags, ", ") + ". " + hint
	}
	var unreadable *reckon.UnreadableError
	if errors.As(err, &unreadable) {
		return &usageError{message: message, hint: hint}
	}
	return &hinted{errors.New(message), hint}
}

func (a *app) printReckoned(res reckon.Result) error {
	wide := 0
	for _, l := range res.Headline {
		wide = max(wide, len([]rune(l.Label)))
	}
	for _, l := range res.Headline {
		mark := ""
		if l.Basis == reckon.Measured {
			mark = "  (measured)"
		}
		pad := strings.Repeat(" ", wide-len([]rune(l.Label)))
		fmt.Fprintf(a.out, "%s%s  %s%s\n", l.Label, pad, strings.TrimSpace(l.Value+" "+l.Unit), mark)
	}
	for _, n := range res.Notes {
		fmt.Fprintln(a.out, "\nnote:", wrapped(n, 80, "  "))
	}
	for _, c := range res.Cautions {
		fmt.Fprintln(a.out, "\ncaution:", wrapped(c, 80, "  "))
	}
	_, err := fmt.Fprintf(a.out, "\nreckoned by: %s\nsource: %s\n", wrapped(res.Explain.Formula, 80, "  "), wrapped(res.Explain.Source, 80, "  "))
	return err
}

// kindHelp tells what a kind does, with its worked example and the names of its
// JSON fields.
func kindHelp(k reckon.Kind) string {
	var b strings.Builder
	fmt.Fprintln(&b, wrapped(k.Purpose, 80, ""))
	if k.Why != "" {
		fmt.Fprintf(&b, "\n%s\n", wrapped(k.Why, 80, ""))
	}
	e := k.Example
	fmt.Fprintf(&b, "\nWorked example\n  %s\n  Published: %s (%s)\n  Source: %s\n", wrapped(e.Title, 76, "  "), e.Published(), e.Output, wrapped(e.Source, 70, "  "))
	fmt.Fprintf(&b, "\nJSON fields\n")
	for _, o := range k.Outputs() {
		describeOutput(&b, o, "  ")
	}
	return strings.TrimRight(b.String(), "\n")
}

func describeOutput(b *strings.Builder, o reckon.Output, indent string) {
	name := o.Name
	if o.List {
		name += "[]"
	}
	text := o.Meaning
	if o.Optional {
		text += " (may be left out)"
	}
	const column = 36
	head := indent + name
	if len(head) < column {
		head += strings.Repeat(" ", column-len(head))
	} else {
		head += "\n" + strings.Repeat(" ", column)
	}
	fmt.Fprintf(b, "%s%s\n", head, wrapped(text, 84-column, strings.Repeat(" ", column)))
	if o.Name == "explain" {
		return // the same in all of them
	}
	for _, inner := range o.Inner {
		describeOutput(b, inner, indent+"  ")
	}
}

// exampleLine is the worked example as one would type it.
func exampleLine(k reckon.Kind) string {
	line := "cruet reckon " + k.Name
	for _, f := range k.Fields {
		text, ok := k.Example.Inputs[f.Name]
		if !ok {
			continue
		}
		for one := range strings.SplitSeq(text, "\n") {
			if strings.ContainsAny(one, " ±") {
				one = `"` + one + `"`
			}
			line += " --" + f.Flag + " " + one
		}
	}
	return line
}

// flagHelp says what to type, what is taken when nothing is, and whether
// something must be.
func flagHelp(f reckon.Field) string {
	sample, _, _ := strings.Cut(f.Sample, "\n")
	text := f.Label
	if f.Accepts == reckon.Choice {
		text += ", a `CHOICE` of " + strings.Join(f.Choices, ", ")
	} else {
		text += ", `" + strings.ToUpper(string(f.Accepts)) + "` like \"" + sample + `"`
		if f.Accepts == reckon.Number && f.Unit != "" && !strings.Contains(sample, f.Unit) {
			text += " in " + f.Unit
		}
	}
	if f.Accepts == reckon.List {
		text += ", once for each"
	}
	if f.Help != "" {
		text += "; " + f.Help
	}
	switch {
	case f.Required:
		text += " (needed)"
	case f.Default != "":
		text += " (else: " + f.Default + ")"
	}
	return text
}

// wrapped breaks text into lines of at most width, those after the first
// behind an indent.
func wrapped(text string, width int, indent string) string {
	var b strings.Builder
	used := 0
	for i, word := range strings.Fields(text) {
		n := len([]rune(word))
		switch {
		case i == 0:
		case used+1+n > width:
			b.WriteString("\n" + indent)
			used = 0
		default:
			b.WriteByte(' ')
			used++
		}
		b.WriteString(word)
		used += n
	}
	return b.String()
}

// lowerWord makes a sentence's first letter small.
func lowerWord(s string) string { return strings.ToLower(s[:1]) + s[1:] }
