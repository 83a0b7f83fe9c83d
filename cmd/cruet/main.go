// Command cruet is the kitchen's station: it serves the pages that a jar's
// label opens, and does the same acts from a terminal. This package only wires
// the others together; the rules are larder's and the transactions store's.
package main

import (
	"context"
	"io"
	"os"
	_ "time/tzdata" // the kitchen's time zone works on a machine without a zone database

	"github.com/spf13/cobra"
)

// The exit codes, as the help text states them.
const (
	exitDone   = 0
	exitFailed = 1 // understood, but refused or failed
	exitUsage  = 2 // the command line could not be understood
)

func main() { os.Exit(run(os.Args...)) }

// run runs one command line, its first word being the program's name, and
// returns the exit code.
func run(args ...string) int {
	root := newRoot(os.Stdout, os.Stderr)
	root.SetArgs(args[1:])
	cmd, err := root.ExecuteContextC(context.Background())
	if err != nil {
		return report(os.Stderr, cmd, err)
	}
	return exitDone
}

// app is what the commands share.
type app struct {
	out, err io.Writer
	data     string // --data
}

const rootHelp = `Cruet keeps the log of a vinegar kitchen: what went into each jar and when, how
sour it is by measurement, what is due next, and where every bottle went.

"cruet serve" starts the station: a jar's label opens the jar's page on a phone.
The other commands do the same acts from this terminal, also while the station
runs.

A quantity is a number with a unit: "2.4 kg", "3 cups", "68 F"; a decimal comma
is understood. A date is like 2026-11-22, 22 Nov, yesterday, "3 days ago" or
"about 22 Nov".

Exit codes: 0 done; 1 refused or failed, and nothing was saved; 2 wrong use.`

func newRoot(out, err io.Writer) *cobra.Command {
	a := &app{out: out, err: err}
	root := &cobra.Command{
		Use: "cruet", Short: "The log, labels and bottles of a vinegar kitchen", Long: rootHelp,
		Example: `  cruet serve --demo
  cruet start "Pear trimmings" --from "fruit scraps" --with "pears: 2.4 kg" --jars 2 --size "3 L"
  cruet labels jars K7RM74 -o labels.pdf`,
		Version: version(), Args: cobra.ArbitraryArgs, SilenceErrors: true, SilenceUsage: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cmd.Help()
			}
			return unknownCommand(cmd, args[0])
		},
	}
	root.SuggestionsMinimumDistance = 2
	root.CompletionOptions.DisableDefaultCmd = true
	root.SetOut(out)
	root.SetErr(err)
	root.SetVersionTemplate("cruet {{.Version}}\n")
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return &usageError{message: sentence(err.Error()), hint: seeHelp(cmd)}
	})
	root.PersistentFlags().StringVar(&a.data, "data", "", "`DIR` with the kitchen's records (default: Cruet's folder among the user's data)")
	root.AddCommand(a.serveCommand(), a.startCommand(), a.jarsCommand(), a.showCommand(), a.logCommand(), a.stageCommand(), a.strikeCommand(),
		a.finishCommand(), a.bottleCommand(), a.lotsCommand(), a.giveCommand(), a.labelsCommand(), a.kitchenCommand(), a.checkCommand(), a.versionCommand())
	root.AddCommand(a.todayCommand(), a.planCommand(), a.calendarCommand())
	root.AddCommand(a.splitCommand(), a.moveCommand(), a.blendCommand(), a.lineageCommand())
	root.AddCommand(a.reckonCommand(), a.calibrateCommand(), a.baseCommand(), a.controlCommand(), a.cardCommand(), a.recordCommand(), a.publishCommand(), a.phonesCommand())
	root.AddCommand(a.traceCommand(), a.giftsCommand(), a.holdCommand(), a.releaseCommand(), a.backupCommand(), a.restoreCommand(), a.exportCommand(), a.importCommand())
	return root
}
