package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
)

// vesselFlags tell of the vessel that something is poured into.
type vesselFlags struct{ size, place string }

func (f *vesselFlags) add(cmd *cobra.Command, what string) {
	cmd.Flags().StringVar(&f.size, "size", "", "`VOLUME` that "+what+" holds to the brim: \"3 L\", \"1 gal\"")
	cmd.Flags().StringVar(&f.place, "place", "", "`PLACE` where it stands (default: where the old jar stands)")
}

func (a *app) splitCommand() *cobra.Command {
	var f struct {
		actFlags
		vesselFlags
		to, spare []string
		note      string
	}
	cmd := &cobra.Command{
		Use: "split TAG", Short: "Pour parts of a jar into new vessels",
		Long: `Pour parts of a jar into new vessels. They stay in its batch and get its next
letters, each with a tag of its own. What is not named stays in the jar; when all of
it goes out, the jar is empty and its tag retired.

Each --to is what goes into one vessel, and what that can hold: "1 L in 1.5 L". With
vessels all alike, --size says it once.`,
		Example: `  cruet split K7RM74 --to "1 L in 1.5 L" --to "500 mL in 750 mL"
  cruet split K7RM74 --to "1 L" --to "1 L" --size "1.5 L" --spare 3CFX72`,
		Args: exactly("The jar's TAG"),
	}
	cmd.Flags().StringArrayVar(&f.to, "to", nil, "`VOLUME in SIZE` of one new vessel: \"1 L in 1.5 L\"; once for each")
	f.vesselFlags.add(cmd, "each new vessel")
	cmd.Flags().StringArrayVar(&f.spare, "spare", nil, "printed spare `TAG` that a new vessel wears already; once for each")
	cmd.Flags().StringVar(&f.note, "note", "", "`TEXT`")
	f.actFlags.add(cmd, true)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		tag, err := a.jarTag(args[0])
		if err != nil {
			return err
		}
		n := larder.NewSplit{Note: f.note}
		for i, text := range f.to {
			part, err := parsePart(text, f.size)
			if err != nil {
				return err
			}
			part.Place = f.place
			if i < len(f.spare) {
				if part.SpareTag, err = a.jarTag(f.spare[i]); err != nil {
					return err
				}
			}
			n.Parts = append(n.Parts, part)
		}
		if len(f.spare) > len(f.to) {
			return &usageError{message: fmt.Sprintf("There are more spare tags than vessels: %d and %d.", len(f.spare), len(f.to))}
		}
		return a.poured(cmd, f.actFlags, tag, *asJSON, func(ctx context.Context, db *store.DB, act larder.Act, when larder.When) (store.Filled, error) {
			n.When = when
			return db.Split(ctx, act, tag, n)
		})
	}
	return cmd
}

// parsePart reads "1 L in 1.5 L", or "1 L" when the size is told apart.
func parsePart(text, size string) (p larder.Part, err error) {
	volume, own, named := strings.Cut(text, " in ")
	if named {
		size = own
	}
	if size == "" {
		return p, wrongUse("--to", "%q does not say what the vessel can hold; write \"1 L in 1.5 L\", or add --size.", text)
	}
	if p.VolumeML, err = needed("to", strings.TrimSpace(volume), chem.ParseVolume); err != nil {
		return p, err
	}
	flag := "size"
	if named {
		flag = "to"
	}
	p.SizeML, err = needed(flag, strings.TrimSpace(size), chem.ParseVolume)
	return p, err
}

func (a *app) moveCommand() *cobra.Command {
	var f struct {
		actFlags
		vesselFlags
		to, volume, note string
	}
	cmd := &cobra.Command{
		Use: "move TAG", Short: "Pour a whole jar into another vessel",
		Long: `Pour all of a jar into a new vessel, with its batch and its history. The new one gets
a tag of its own; the old jar is empty then, and its tag is retired.`,
		Example: `  cruet move K7RM74 --size "5 L" --to 3CFX72 --place cellar`,
		Args:    exactly("The jar's TAG"),
	}
	cmd.Flags().StringVar(&f.to, "to", "", "printed spare `TAG` that the new vessel wears already (default: a new tag)")
	f.vesselFlags.add(cmd, "the new vessel")
	cmd.Flags().StringVar(&f.volume, "volume", "", "`VOLUME` measured on the way (default: all that the log says)")
	cmd.Flags().StringVar(&f.note, "note", "", "`TEXT`")
	f.actFlags.add(cmd, true)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		tag, err := a.jarTag(args[0])
		if err != nil {
			return err
		}
		n := larder.NewMove{Note: f.note, Place: f.place}
		if n.SizeML, err = needed("size", f.size, chem.ParseVolume); err != nil {
			return err
		}
		if n.VolumeML, err = optional("volume", f.volume, chem.ParseVolume); err != nil {
			return err
		}
		if f.to != "" {
			if n.SpareTag, err = a.jarTag(f.to); err != nil {
				return err
			}
		}
		return a.poured(cmd, f.actFlags, tag, *asJSON, func(ctx context.Context, db *store.DB, act larder.Act, when larder.When) (store.Filled, error) {
			n.When = when
			return db.Move(ctx, act, tag, n)
		})
	}
	return cmd
}

type blendFlags struct {
	actFlags
	vesselFlags
	name, into, spare, target, note string
}

func (a *app) blendCommand() *cobra.Command {
	var f blendFlags
	cmd := &cobra.Command{
		Use: "blend TAG[=VOLUME]...", Short: "Join jars in a new jar, or in one that stands there",
		Long: `Join jars. In a new jar they begin a batch of their own, with a --name and several
parents; its acidity is reckoned by volume when all were titrated as they stand. With
--into they are poured into a jar that stands there and stays what it is. A jar
without =VOLUME gives all that it has, and is empty then.`,
		Example: `  cruet blend K7RM74="1 L" 3CFX72 --name "House vinegar" --size "5 L"
  cruet blend 3CFX72="500 mL" --into K7RM74`,
		Args: atLeastOne("The TAG of a jar"),
	}
	flags := cmd.Flags()
	flags.StringVar(&f.name, "name", "", "the new batch's `NAME`")
	f.vesselFlags.add(cmd, "the new jar")
	flags.StringVar(&f.into, "into", "", "pour into the jar with that `TAG` instead")
	flags.StringVar(&f.spare, "spare", "", "printed spare `TAG` that the new jar wears already")
	flags.StringVar(&f.target, "target", "", "`ACIDITY` to reach, in % (default: the highest of the batches that go in)")
	flags.StringVar(&f.note, "note", "", "`TEXT`")
	f.actFlags.add(cmd, true)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		pours, err := a.pours(args)
		if err != nil {
			return err
		}
		if f.into != "" {
			return a.joinInto(cmd, f, pours, *asJSON)
		}
		n := larder.NewBlend{Name: f.name, Note: f.note, Place: f.place, Pours: pours}
		if n.SizeML, err = needed("size", f.size, chem.ParseVolume); err != nil {
			return err
		}
		target, err := optional("target", f.target, parseAcidity)
		if err != nil {
			return err
		}
		if target != nil {
			n.TargetGPer100ML = *target
		}
		if f.spare != "" {
			if n.SpareTag, err = a.jarTag(f.spare); err != nil {
				return err
			}
		}
		return a.poured(cmd, f.actFlags, "", *asJSON, func(ctx context.Context, db *store.DB, act larder.Act, when larder.When) (store.Filled, error) {
			n.When = when
			return db.Blend(ctx, act, n)
		})
	}
	return cmd
}

func (a *app) joinInto(cmd *cobra.Command, f blendFlags, pours []larder.Pour, asJSON bool) error {
	for _, name := range []string{"name", "size", "spare", "target", "place"} {
		if cmd.Flags().Changed(name) {
			return &usageError{message: "--" + name + " is of a new jar; with --into, the jars are poured into one that stands there."}
		}
	}
	into, err := a.jarTag(f.into)
	if err != nil {
		return err
	}
	return a.poured(cmd, f.actFlags, into, asJSON, func(ctx context.Context, db *store.DB, act larder.Act, when larder.When) (store.Filled, error) {
		return db.Join(ctx, act, into, larder.NewJoin{When: when, Note: f.note, Pours: pours})
	})
}

// pours reads TAG or TAG=VOLUME.
func (a *app) pours(args []string) ([]larder.Pour, error) {
	var out []larder.Pour
	for _, arg := range args {
		typed, text, named := strings.Cut(arg, "=")
		tag, err := a.jarTag(typed)
		if err != nil {
			return nil, err
		}
		pour := larder.Pour{Jar: tag}
		if named {
			if pour.VolumeML, err = chem.ParseVolume(text); err != nil {
				return nil, wrongUse(arg, "%s", err)
			}
		}
		out = append(out, pour)
	}
	return out, nil
}

// poured does an act that fills jars and says what it did. about is the jar that
// the command names, to tell a spare tag from an unknown one.
func (a *app) poured(cmd *cobra.Command, f actFlags, about larder.Tag, asJSON bool, do func(context.Context, *store.DB, larder.Act, larder.When) (store.Filled, error)) error {
	act, err := f.act()
	if err != nil {
		return err
	}
	return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
		when, err := f.date(r)
		if err != nil {
			return err
		}
		done, err := do(ctx, r.db, act, when)
		if err != nil {
			return spareHint(ctx, r.db, about, err)
		}
		if asJSON {
			return a.printJSON(map[string]any{"batch": done.Batch, "jars": done.Jars, "from": done.From, "entry": done.Entry, "replayed": done.Replayed})
		}
		a.saidBefore(done.Replayed)
		s := r.speech()
		tags := make([]string, len(done.Jars))
		for i, j := range done.Jars {
			tags[i] = string(j.Tag)
			fmt.Fprintf(a.out, "Poured into jar %s  %s, %s: %s, holds %s.\n", j.Letter, j.Tag, done.Batch.Name, j.State.Stage, s.volume(j.State.VolumeML))
			if j.State.Acidity != nil {
				fmt.Fprintf(a.out, "Acidity: %s.\n", s.acidity(j.State.Acidity))
			}
		}
		for _, j := range done.From {
			if j.State.Stage.Live() {
				fmt.Fprintf(a.out, "  from %s, which still holds %s\n", j.Tag, s.volume(j.State.VolumeML))
			} else {
				fmt.Fprintf(a.out, "  from %s, which is %s now\n", j.Tag, j.State.Stage)
			}
		}
		if into := cmd.Flags().Lookup("into"); into != nil && into.Changed {
			return nil // it has its label
		}
		fmt.Fprintf(a.out, "Print the labels: cruet labels jars %s -o labels.pdf\n", strings.Join(tags, " "))
		return nil
	})
}
