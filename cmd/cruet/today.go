package main

import (
	"context"
	"fmt"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"cruet/internal/calendar"
	"cruet/internal/larder"
)

func (a *app) todayCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "today", Short: "List what needs a hand: overdue, due, and the coming days",
		Long: `List what the jars and the bench want, the most urgent first, each with its reason.
"cruet plan" shows and changes when what is asked for.`,
		Example: `  cruet today
  cruet today --days 28`,
		Args: exactly(),
	}
	days := cmd.Flags().Int("days", larder.ComingDays, "look `N` days ahead")
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *days < 0 {
			return wrongUse("--days", "%d is no number of days ahead.", *days)
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			now := time.Now().In(r.loc)
			t, err := r.db.Today(ctx, now)
			if err != nil {
				return err
			}
			t = t.Within(*days, now)
			if *asJSON {
				return a.printJSON(t)
			}
			return a.printToday(t, r.loc)
		})
	}
	return cmd
}

func (a *app) printToday(t larder.Today, loc *time.Location) error {
	if len(t.Tasks) == 0 {
		_, err := fmt.Fprintln(a.out, "Nothing needs a hand.")
		return err
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "WHEN\tDAYS\tWHAT\tTAG\tJAR\tWHY")
	for _, one := range t.Tasks {
		tag, name := none, "the bench"
		if one.Jar != "" {
			tag, name = string(one.Jar), one.Batch+" "+one.Letter
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", one.Status, one.Window(loc), one.What, tag, name, oneLine(one.Reason))
	}
	return w.Flush()
}

func (a *app) calendarCommand() *cobra.Command {
	var renew, shut bool
	var out outFile
	var f actFlags
	cmd := &cobra.Command{
		Use: "calendar", Short: "Show, renew or close the address of the phones' calendar feed",
		Long: `Show the address that a phone's calendar subscribes to, with its secret key: whoever
knows it can read what is due, no more. --renew makes one, or another in place of
the one before, which answers no more. With -o the feed (iCalendar, RFC 5545) is
written to a file instead.`,
		Example: `  cruet calendar --renew
  cruet calendar -o jars.ics`,
		Args: exactly(),
	}
	flags := cmd.Flags()
	flags.BoolVar(&renew, "renew", false, "make a new address")
	flags.BoolVar(&shut, "close", false, "take the address away")
	flags.StringVarP(&out.name, "output", "o", "", "`FILE` for the feed, or - for standard output")
	flags.BoolVar(&out.force, "force", false, "replace the file when it is there already")
	f.add(cmd, false)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		act, err := f.act()
		if err != nil {
			return err
		}
		if renew && (shut || out.name != "") || (shut && out.name != "") {
			return wrongUse("--renew", "--renew, --close and -o each go alone.")
		}
		if out.name != "" {
			if err := out.check(); err != nil {
				return err
			}
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			if r.kitchen.Address == "" && !shut {
				return fail(`Start the station once with "cruet serve", or say cruet kitchen --address HOST:PORT.`, "The station's address is not known yet, and the calendar leads to it.")
			}
			if out.name != "" {
				return a.writeCalendar(ctx, r, out)
			}
			if renew || shut {
				if _, err := r.db.RenewCalendar(ctx, act, renew); err != nil {
					return err
				}
			}
			c, err := r.db.Calendar(ctx)
			if err != nil {
				return err
			}
			if c.Token == "" {
				_, err = fmt.Fprintln(a.out, `The calendar is closed. "cruet calendar --renew" makes an address for it.`)
				return err
			}
			_, err = fmt.Fprintf(a.out, "http://%s/calendar.ics?key=%s\n", r.kitchen.Address, c.Token)
			return err
		})
	}
	return cmd
}

// writeCalendar writes the feed as a phone would get it.
func (a *app) writeCalendar(ctx context.Context, r room, out outFile) error {
	now := time.Now().In(r.loc)
	t, err := r.db.Today(ctx, now)
	if err != nil {
		return err
	}
	c, err := r.db.Calendar(ctx)
	if err != nil {
		return err
	}
	feed := calendar.Write(calendar.Feed{Kitchen: r.kitchen.Name, Tasks: t.Tasks, Space: c.Space, Now: now, Link: func(t larder.Task) string {
		if t.Jar == "" {
			return "http://" + r.kitchen.Address + "/bench"
		}
		return t.Jar.Link(r.kitchen.Address)
	}})
	return out.write(a.out, feed)
}
