package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"cruet/api"
	"cruet/internal/chem"
	"cruet/internal/larder"
)

type startFlags struct {
	actFlags
	from, size, fill, target, place, stage, note, diameter string
	with, spare                                            []string
	jars                                                   int
}

func (a *app) startCommand() *cobra.Command {
	var f startFlags
	cmd := &cobra.Command{
		Use: "start NAME", Short: "Start a batch; each of its jars gets a tag",
		Long: `Start a batch: what was begun together, from one recipe, in one or more jars.
Each jar gets a tag of its own, to be printed with "cruet labels jars".`,
		Example: `  cruet start "Pear trimmings" --from "fruit scraps" --with "pears, peels and cores: 2.4 kg" \
      --with "water: 4 L" --with "sugar: 340 g" --jars 2 --size "3 L" --when "about 22 Oct" --by ro`,
		Args: exactly("The batch's NAME"),
	}
	flags := cmd.Flags()
	flags.StringVar(&f.from, "from", "", "`BASE`: fruit scraps, juice, wine, beer or ale, honey, other")
	flags.StringArrayVar(&f.with, "with", nil, "`INGREDIENT` and its amount, \"pears: 2.4 kg\", with what its label says: \"wine: 3 L, 11.5 % vol\"; once for each")
	flags.IntVar(&f.jars, "jars", 1, "`N` jars")
	flags.StringVar(&f.size, "size", "", "`VOLUME` that one jar holds to the brim: \"3 L\", \"1 gal\"")
	flags.StringVar(&f.fill, "fill", "", "`VOLUME` of liquid in each jar, when known")
	flags.StringVar(&f.target, "target", "5", "`ACIDITY` to reach, in % (g/100 mL)")
	flags.StringVar(&f.place, "place", "", "`PLACE` where the jars stand")
	flags.StringVar(&f.stage, "stage", "", "`STAGE` to begin in (default: what the base begins in)")
	flags.StringVar(&f.diameter, "jar-diameter", "", "`LENGTH` across a jar, \"98 mm\", for labels that go round it")
	flags.StringArrayVar(&f.spare, "spare", nil, "printed spare `TAG` that a jar wears already; once for each")
	flags.StringVar(&f.note, "note", "", "`TEXT` to keep with the batch")
	f.add(cmd, true)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.start(cmd, args[0], f, *asJSON) }
	return cmd
}

func (a *app) start(cmd *cobra.Command, name string, f startFlags, asJSON bool) error {
	n, err := a.newBatch(name, f)
	if err != nil {
		return err
	}
	act, err := f.act()
	if err != nil {
		return err
	}
	return a.inKitchen(cmd, create, func(ctx context.Context, r room) error {
		if n.When, err = f.date(r); err != nil {
			return err
		}
		s, err := r.db.Start(ctx, act, n)
		if err != nil {
			return err
		}
		liquid, err := r.db.LiquidOfBatch(ctx, s.Batch.ID)
		if err != nil {
			return err
		}
		ceiling, noCeiling := larder.CeilingOfRecipe(s.Batch.Ingredients, liquid, s.Batch.TargetGPer100ML)
		if asJSON {
			out := map[string]any{"batch": s.Batch, "jars": s.Jars, "replayed": s.Replayed}
			if noCeiling == nil {
				out["ceiling"] = api.CeilingOf(ceiling, s.Batch.TargetGPer100ML)
			}
			return a.printJSON(out)
		}
		a.saidBefore(s.Replayed)
		fmt.Fprintf(a.out, "Started %s, %s.\n", s.Batch.Name, s.Batch.When.In(r.loc))
		tags := make([]string, len(s.Jars))
		for i, jar := range s.Jars {
			tags[i] = string(jar.Tag)
			fmt.Fprintf(a.out, "  jar %s  %s  %s\n", jar.Letter, jar.Tag, jar.State.Stage)
		}
		if noCeiling == nil {
			a.printCeiling(ceiling, s.Batch.TargetGPer100ML, "", nil, nil, r.kitchen.Units())
		} else if len(s.Batch.Ingredients) > 0 {
			fmt.Fprintf(a.out, "%-11s not known: %s\n", "ceiling", noCeiling)
		}
		fmt.Fprintf(a.out, "Print the labels: cruet labels jars %s -o labels.pdf\n", strings.Join(tags, " "))
		return nil
	})
}

func (a *app) newBatch(name string, f startFlags) (larder.NewBatch, error) {
	n := larder.NewBatch{Name: name, Jars: f.jars, Place: f.place, Note: f.note}
	var err error
	if n.Base, err = needed("from", f.from, larder.ParseBase); err != nil {
		return n, err
	}
	if n.JarSizeML, err = needed("size", f.size, chem.ParseVolume); err != nil {
		return n, err
	}
	if n.FillML, err = optional("fill", f.fill, chem.ParseVolume); err != nil {
		return n, err
	}
	if n.TargetGPer100ML, err = needed("target", f.target, parseAcidity); err != nil {
		return n, err
	}
	stage, err := optional("stage", f.stage, larder.ParseStage)
	if err != nil {
		return n, err
	}
	if stage != nil {
		n.Stage = *stage
	}
	mm, err := optional("jar-diameter", f.diameter, parseMillimetres)
	if err != nil {
		return n, err
	}
	if mm != nil {
		n.JarOuterDiameterMM = *mm
	}
	for _, text := range f.with {
		i, err := needed("with", text, parseIngredient)
		if err != nil {
			return n, err
		}
		n.Ingredients = append(n.Ingredients, i)
	}
	for _, text := range f.spare {
		tag, err := a.jarTag(text)
		if err != nil {
			return n, err
		}
		n.SpareTags = append(n.SpareTags, tag)
	}
	return n, nil
}

// saidBefore tells that an act was a repetition.
func (a *app) saidBefore(replayed bool) {
	if replayed {
		fmt.Fprintln(a.err, "note: this act was saved before; nothing changed")
	}
}
