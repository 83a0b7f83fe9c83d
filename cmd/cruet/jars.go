package main

import (
	"context"
	"fmt"
	"strconv"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/store"
)

// shelfJar is one jar of "cruet jars --json".
type shelfJar struct {
	Jar   larder.Jar    `json:"jar"`
	Batch larder.Batch  `json:"batch"`
	Due   []larder.Todo `json:"due"`
}

func (a *app) jarsCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "jars", Short: "List what stands on the shelf and what is due",
		Long: `List the jars on the shelf, the newest batch first. Acidity is in g/100 mL and
only from a titration; in brackets it was computed from one.`,
		Example: `  cruet jars
  cruet jars --due`,
		Args: exactly(),
	}
	all := cmd.Flags().Bool("all", false, "also the jars that are empty or discarded")
	due := cmd.Flags().Bool("due", false, "only the jars that want something now")
	var filter larder.ShelfFilter
	stage := cmd.Flags().String("stage", "", "only jars of this `STAGE`")
	cmd.Flags().StringVar(&filter.Place, "place", "", "only jars that stand at this `PLACE`")
	cmd.Flags().BoolVar(&filter.Held, "hold", false, "only jars on hold")
	cmd.Flags().StringVar(&filter.Text, "find", "", "only jars with this `TEXT` in their name, place or tag")
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *stage != "" {
			var err error
			if filter.Stage, err = larder.ParseStage(*stage); err != nil {
				return wrongUse("--stage", "%s", err)
			}
		}
		filter.Due = *due
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			shelf, err := r.db.Shelf(ctx, *all)
			if err != nil {
				return err
			}
			now := time.Now().In(r.loc)
			jars := withDue(filter.Filter(shelf, now), now)
			if *asJSON {
				return a.printJSON(map[string]any{"jars": jars})
			}
			return a.printShelf(jars, r.speech())
		})
	}
	return cmd
}

func withDue(shelf []store.ShelfJar, now time.Time) []shelfJar {
	out := []shelfJar{}
	for _, j := range shelf {
		todos := j.Batch.Due(j.Jar.State, now)
		out = append(out, shelfJar{Jar: j.Jar, Batch: j.Batch, Due: append([]larder.Todo{}, todos...)})
	}
	return out
}

func (a *app) printShelf(jars []shelfJar, s speech) error {
	if len(jars) == 0 {
		_, err := fmt.Fprintln(a.out, "No jar.")
		return err
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "TAG\tBATCH\tJAR\tSTAGE\tAGE\tACIDITY\tPH\tVOLUME\tNEXT")
	for _, j := range jars {
		st := j.Jar.State
		ph := none
		if st.PH != nil {
			ph = strconv.FormatFloat(float64(st.PH.Value), 'f', -1, 64)
		}
		next := none
		switch {
		case st.Hold != "":
			next = "ON HOLD: " + st.Hold
		case len(j.Due) > 0:
			next = fmt.Sprintf("%s %s (%s)", j.Due[0].What, j.Due[0].Window(s.loc), j.Due[0].Urgency)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", j.Jar.Tag, j.Batch.Name, j.Jar.Letter, st.Stage,
			s.age(st.StartedAt), s.shortAcidity(st.Acidity), ph, s.volume(st.VolumeML), oneLine(next))
	}
	return w.Flush()
}
