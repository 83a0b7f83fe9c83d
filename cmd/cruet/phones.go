package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/mattn/go-isatty"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"cruet/internal/larder"
	"cruet/internal/store"
)

func (a *app) phonesCommand() *cobra.Command {
	var writers, look string
	var idleDays int
	cmd := &cobra.Command{
		Use: "phones", Short: "List the phones that may write, pair and remove them, set the rules",
		Long: `List the phones and programs that may write, and the rules of who may; or set the
rules that are given. A phone is paired once, by a code that a paired phone or
"cruet phones pair" shows. This terminal always may.`,
		Example: `  cruet phones
  cruet phones pair
  cruet phones --writers paired --look bottles`,
		Args: exactly(),
	}
	flags := cmd.Flags()
	flags.StringVar(&writers, "writers", "", "`WHO` may write: paired (phones), or everyone in the network")
	flags.StringVar(&look, "look", "", "`WHAT` others may look at: bottles in their hands, also jars they scan, or all")
	flags.IntVar(&idleDays, "idle", 0, "`DAYS` without writing after which a phone is asked for the passphrase (0: 30)")
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		set := flags.Changed("writers") || flags.Changed("look") || flags.Changed("idle")
		return a.inKitchen(cmd, modeOf(set), func(ctx context.Context, r room) error {
			rules, err := r.db.Access(ctx)
			if err != nil {
				return err
			}
			if flags.Changed("writers") {
				rules.Writers = larder.Writers(writers)
			}
			if flags.Changed("look") {
				rules.Look = larder.Look(look)
			}
			if flags.Changed("idle") {
				rules.IdleDays = idleDays
			}
			if set {
				if err := r.db.SetAccess(ctx, rules); err != nil {
					return err
				}
			}
			return a.printPhones(ctx, r, rules, *asJSON)
		})
	}
	cmd.AddCommand(a.phonesPairCommand(), a.phonesAddCommand(), a.phonesRemoveCommand(), a.phonesPassphraseCommand())
	return cmd
}

func modeOf(set bool) mode {
	if set {
		return create
	}
	return existing
}

func (a *app) printPhones(ctx context.Context, r room, rules larder.Access, asJSON bool) error {
	all, err := r.db.Phones(ctx)
	if err != nil {
		return err
	}
	if asJSON {
		return a.printJSON(struct {
			Phones []larder.Phone `json:"phones"`
			larder.Access
		}{append([]larder.Phone{}, all...), rules})
	}
	for _, p := range all {
		kind := "phone"
		if p.Program {
			kind = "program"
		}
		fmt.Fprintf(a.out, "%3d  %-24s %-7s  paired %s, last here %s\n", p.ID, p.Name, kind, p.PairedAt.In(r.loc).Format("2 Jan 2006"), p.SeenAt.In(r.loc).Format("2 Jan 2006"))
	}
	if len(all) == 0 {
		fmt.Fprintln(a.out, `No phone is paired yet. "cruet phones pair" shows a code.`)
	}
	passphrase := "none"
	if rules.Passphrase {
		passphrase = "set"
	}
	_, err = fmt.Fprintf(a.out, "writers     %s\nlook        %s\npassphrase  %s\n", rules.Writers, rules.Look, passphrase)
	return err
}

func (a *app) phonesPairCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "pair", Short: "Show a code that pairs one phone",
		Long: `Show a code that pairs one phone: point its camera at the picture, or open the
station's page on it and type the code. A code made here before stops working.`,
		Example: "  cruet phones pair",
		Args:    exactly(),
	}
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			made, err := r.db.IssueCode(ctx, "the terminal", larder.TerminalCodeLife)
			if err != nil {
				return err
			}
			if *asJSON {
				return a.printJSON(made)
			}
			return a.printCode(made, r.kitchen.Address)
		})
	}
	return cmd
}

// printCode shows a code to scan and to type.
func (a *app) printCode(made store.PairingCode, address string) error {
	if address != "" {
		picture, err := terminalQR(larder.PairLink(address, made.Code), a.onTerminal())
		if err != nil {
			return err
		}
		fmt.Fprintf(a.out, "Scan this with the phone to pair it, or open http://%s/pair and type the code.\n\n%s\n", address, picture)
	}
	_, err := fmt.Fprintf(a.out, "Code to pair one phone: %s (for %.0f hours)\n", larder.SpacedCode(made.Code), larder.TerminalCodeLife.Hours())
	return err
}

func (a *app) onTerminal() bool {
	f, ok := a.out.(*os.File)
	return ok && isatty.IsTerminal(f.Fd())
}

func (a *app) phonesAddCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "add NAME", Short: "Let a program write, and print its token",
		Long: `Let a program write through the JSON API. Its token is printed this once; the
records keep only a hash of it. The program shows it in the header
"Authorization: Bearer TOKEN".`,
		Example: `  cruet phones add "scale in the cellar"`,
		Args:    exactly("NAME"),
	}
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			made, err := r.db.AddProgram(ctx, args[0])
			if err != nil {
				return err
			}
			if *asJSON {
				return a.printJSON(made)
			}
			_, err = fmt.Fprintf(a.out, "%s\n", made.Token)
			fmt.Fprintf(a.err, "note: this token of %s is shown this once. Whoever has it may write.\n", made.Name)
			return err
		})
	}
	return cmd
}

func (a *app) phonesRemoveCommand() *cobra.Command {
	return &cobra.Command{
		Use: "remove PHONE", Short: "Take from a phone or program the right to write",
		Long: `Take from a phone or program the right to write. PHONE is its number in "cruet
phones", or its name where only one has it. What it wrote stays.`,
		Example: `  cruet phones remove 2
  cruet phones remove mk`,
		Args: exactly("PHONE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
				p, err := phoneNamed(ctx, r, args[0])
				if err != nil {
					return err
				}
				if err := r.db.RemovePhone(ctx, p.ID); err != nil {
					return err
				}
				_, err = fmt.Fprintf(a.out, "Removed: %s may not write any more. What it wrote stays.\n", p.Name)
				return err
			})
		},
	}
}

func phoneNamed(ctx context.Context, r room, arg string) (larder.Phone, error) {
	all, err := r.db.Phones(ctx)
	if err != nil {
		return larder.Phone{}, err
	}
	id, _ := strconv.ParseInt(arg, 10, 64)
	var found []larder.Phone
	for _, p := range all {
		if p.ID == id {
			return p, nil
		}
		if strings.EqualFold(p.Name, arg) {
			found = append(found, p)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return larder.Phone{}, fail(`"cruet phones" lists them with their numbers.`, "There is no phone %s.", arg)
	}
	return larder.Phone{}, fail(`Give the number instead; "cruet phones" lists them.`, "%d phones are named %s.", len(found), arg)
}

func (a *app) phonesPassphraseCommand() *cobra.Command {
	var off bool
	cmd := &cobra.Command{
		Use: "passphrase", Short: "Set a passphrase that phones are asked for, or take it away",
		Long: `Set a passphrase that a phone is asked for when it is paired, and again when it
has written nothing for long. It is read as one line from the input, so that it
stands in no shell's history; the records keep only a hash of it.`,
		Example: `  cruet phones passphrase < passphrase.txt
  cruet phones passphrase --off`,
		Args: exactly(),
	}
	cmd.Flags().BoolVar(&off, "off", false, "ask for no passphrase any more")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		text := ""
		if !off {
			var err error
			if text, err = a.readPassphrase(cmd.InOrStdin()); err != nil {
				return err
			}
			if text == "" {
				return fail("Type it, or say --off to ask for none any more.", "No passphrase was given.")
			}
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			if err := r.db.SetPassphrase(ctx, text); err != nil {
				return err
			}
			said := "The passphrase is set."
			if off {
				said = "No passphrase is asked for any more."
			}
			_, err := fmt.Fprintln(a.out, said)
			return err
		})
	}
	return cmd
}

// readPassphrase reads a line of in, unseen when somebody types it.
func (a *app) readPassphrase(in io.Reader) (string, error) {
	if stdin := int(os.Stdin.Fd()); term.IsTerminal(stdin) {
		fmt.Fprint(a.err, "Passphrase: ")
		text, err := term.ReadPassword(stdin)
		fmt.Fprintln(a.err)
		return string(text), err
	}
	line, err := bufio.NewReader(in).ReadString('\n')
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return strings.TrimRight(line, "\r\n"), err
}
