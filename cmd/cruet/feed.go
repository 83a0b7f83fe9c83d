package main

import (
	"strings"

	"github.com/spf13/cobra"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// feedFlags say what went into a jar and where it came from.
type feedFlags struct {
	jar, bought, other, volume, acidity string
	supplier, supplierLot               string
	live, mother, air                   bool
}

// add adds the flags under a prefix. Only a top-up may be something else than
// vinegar.
func (f *feedFlags) add(cmd *cobra.Command, prefix, what string, other bool) {
	flags := cmd.Flags()
	flags.StringVar(&f.jar, prefix+"-jar", "", what+": from the jar with that `TAG`")
	flags.StringVar(&f.bought, prefix+"-bought", "", what+": the `NAME` of a bought vinegar")
	if other {
		flags.StringVar(&f.other, prefix+"-other", "", what+": the `NAME` of something else, like cider")
	} else {
		flags.BoolVar(&f.mother, "mother", false, "a mother was carried over")
	}
	flags.StringVar(&f.acidity, prefix+"-acidity", "", "`%` acidity that the bought one's label states")
	flags.BoolVar(&f.live, prefix+"-live", false, "the bought one is sold as live, with its mother")
	flags.StringVar(&f.supplier, prefix+"-supplier", "", "`WHO` sold it, with what finds them again")
	flags.StringVar(&f.supplierLot, prefix+"-supplier-lot", "", "the lot `MARK` on its pack")
	flags.StringVar(&f.volume, prefix+"-volume", "", "`VOLUME` of liquid that went in")
}

func (f *feedFlags) given(cmd *cobra.Command, prefix string) bool {
	for _, name := range []string{"-jar", "-bought", "-other", "-acidity", "-live", "-volume", "-supplier", "-supplier-lot"} {
		if cmd.Flags().Changed(prefix + name) {
			return true
		}
	}
	return prefix == "starter" && cmd.Flags().Changed("mother")
}

// feed reads the flags; nil when none says where it came from.
func (f *feedFlags) feed(a *app, prefix string) (*larder.Feed, error) {
	out := &larder.Feed{Live: f.live, Mother: f.mother, Supplier: f.supplier, SupplierLot: f.supplierLot}
	var from []string
	if f.jar != "" {
		tag, err := a.jarTag(f.jar)
		if err != nil {
			return nil, err
		}
		out.From, out.Jar, from = larder.FromJar, tag, append(from, "--"+prefix+"-jar")
	}
	if f.bought != "" {
		out.From, out.Name, from = larder.FromBought, f.bought, append(from, "--"+prefix+"-bought")
	}
	if f.other != "" {
		out.From, out.Name, from = larder.FromOther, f.other, append(from, "--"+prefix+"-other")
	}
	if f.air {
		out.From, from = larder.FromAir, append(from, "--"+prefix+"-none")
	}
	if len(from) > 1 {
		return nil, &usageError{message: "It came from one place; this names several: " + strings.Join(from, " and ") + "."}
	}
	var err error
	if out.VolumeML, err = optional(prefix+"-volume", f.volume, chem.ParseVolume); err != nil {
		return nil, err
	}
	if out.Acidity, err = optional(prefix+"-acidity", f.acidity, parseAcidity); err != nil {
		return nil, err
	}
	if len(from) == 0 {
		if *out != (larder.Feed{}) {
			return nil, &usageError{message: "Say where it came from: --" + prefix + "-jar TAG or --" + prefix + "-bought NAME."}
		}
		return nil, nil
	}
	return out, nil
}

func (f *feedFlags) transfer(a *app, what larder.TransferKind, prefix string) (larder.Body, error) {
	feed, err := f.feed(a, prefix)
	if err == nil && feed == nil {
		err = &usageError{message: "Say where it came from: --" + prefix + "-jar TAG or --" + prefix + "-bought NAME."}
	}
	return larder.Transfer{What: what, Feed: feed}, err
}
