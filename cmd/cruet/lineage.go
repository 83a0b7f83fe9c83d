package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
)

func (a *app) lineageCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "lineage TAG", Short: "Draw what a jar came from and what it went into",
		Long: `Draw a jar's lineage as a tree: what it came from above, what it went into below,
the older first, with volumes and dates. A bought starter and a lot are its leaves. A
hold on a jar that something came from is shown on both.`,
		Example: `  cruet lineage K7RM74 --depth 6`,
		Args:    exactly("The jar's TAG"),
	}
	depth := cmd.Flags().Int("depth", larder.TreeDepth, fmt.Sprintf("how many `STEPS` each way, 1 to %d", larder.MaxTreeDepth))
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		tag, err := a.jarTag(args[0])
		if err != nil {
			return err
		}
		if *depth < 1 || *depth > larder.MaxTreeDepth {
			return wrongUse("--depth", "%d is not between 1 and %d.", *depth, larder.MaxTreeDepth)
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			trace, err := r.db.Lineage(ctx, tag, *depth)
			if err != nil {
				return spareHint(ctx, r.db, tag, err)
			}
			tree := trace.Tree(*depth)
			if *asJSON {
				return a.printJSON(map[string]any{"jar": tag, "came_from": tree.CameFrom, "went_into": tree.WentInto,
					"hidden_back_count": tree.HiddenBack, "hidden_forward_count": tree.HiddenForward, "jars": append([]larder.TraceJar{}, trace.Jars...), "held": append([]larder.Held{}, trace.Held...)})
			}
			a.printTree(tag, trace, tree, r.speech())
			return nil
		})
	}
	return cmd
}

func (a *app) printTree(tag larder.Tag, trace larder.Trace, tree larder.Tree, s speech) {
	d := treePrinter{a, s, map[larder.Tag]larder.TraceJar{}}
	for _, j := range trace.Jars {
		d.jars[j.Tag] = j
	}
	for _, h := range trace.Held {
		if h.Jar != tag {
			fmt.Fprintf(a.out, "Came from one on hold, %s. Nothing of it may be bottled or given.\n", h)
		}
	}
	if tree.HiddenBack > 0 {
		fmt.Fprintf(a.out, "(%d older steps are left out)\n", tree.HiddenBack)
	}
	d.up(tree.CameFrom, "")
	fmt.Fprintf(a.out, "%s\n", d.jar(tag))
	d.down(tree.WentInto, "")
	if tree.HiddenForward > 0 {
		fmt.Fprintf(a.out, "(%d later steps are left out)\n", tree.HiddenForward)
	}
}

type treePrinter struct {
	*app
	s    speech
	jars map[larder.Tag]larder.TraceJar
}

func (d treePrinter) jar(tag larder.Tag) string {
	j := d.jars[tag]
	text := fmt.Sprintf("%s %s %s, %s", tag, j.Batch, j.Letter, j.Stage)
	if j.Hold != "" {
		text += ", ON HOLD: " + j.Hold
	}
	return text
}

// up draws what flows down into the line below it.
func (d treePrinter) up(branches []*larder.Branch, indent string) {
	for i, b := range slices.Backward(branches) { // the newest stand first in the tree
		bar := "│ "
		if i == len(branches)-1 { // drawn first
			bar = "  "
		}
		d.up(b.Beyond, indent+bar)
		d.hidden(b, indent+bar)
		mark := "├─"
		if i == len(branches)-1 {
			mark = "┌─"
		}
		fmt.Fprintf(d.out, "%s%s %s\n", indent, mark, d.step(b, true))
	}
}

func (d treePrinter) down(branches []*larder.Branch, indent string) {
	for i, b := range branches {
		mark, bar := "├─", "│ "
		if i == len(branches)-1 {
			mark, bar = "└─", "  "
		}
		fmt.Fprintf(d.out, "%s%s %s\n", indent, mark, d.step(b, false))
		d.down(b.Beyond, indent+bar)
		d.hidden(b, indent+bar)
	}
}

func (d treePrinter) hidden(b *larder.Branch, indent string) {
	if b.Hidden > 0 {
		fmt.Fprintf(d.out, "%s   (%d more beyond; ask for its own lineage, or for more --depth)\n", indent, b.Hidden)
	}
}

func (d treePrinter) step(b *larder.Branch, back bool) string {
	var what []string
	if b.Mother {
		what = append(what, "mother")
	}
	if b.VolumeML != nil {
		what = append(what, d.s.volume(b.VolumeML))
	}
	tag := b.ToJar
	if back {
		tag = b.FromJar
	}
	end := ""
	switch {
	case tag != "":
		end = d.jar(tag)
	case back:
		end = b.FromName
	default:
		end = "lot " + b.ToLot
	}
	text := fmt.Sprintf("%s: %s", end, strings.TrimSpace(string(b.What)+" "+strings.Join(what, " and "))+", "+b.When.DateIn(d.s.loc))
	if b.Again {
		text += " (goes on at its other place)"
	}
	return oneLine(text)
}
