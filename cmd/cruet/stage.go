package main

import (
	"github.com/spf13/cobra"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

func (a *app) stageCommand() *cobra.Command {
	var f struct {
		actFlags
		feedFlags
		volume, reason, note string
	}
	cmd := &cobra.Command{
		Use: "stage TAG STAGE", Short: "Move a jar to its next stage",
		Long: `Move a jar to another stage: must, alcoholic, acetic, maturing, finished, empty or
discarded. Becoming acetic asks for the volume after straining and for where the
starter came from, unless one was logged before; of wine and ale, of which nothing is
strained, a volume that is not given is taken from the jar's fill. A step back, and
throwing away, ask for a reason. A jar that is empty or discarded keeps its history,
and its tag is never used again.`,
		Example: `  cruet stage K7RM74 acetic --volume "2.4 L" --starter-jar 3CFX72 --mother --starter-volume "200 mL"
  cruet stage K7RM74 acetic --volume "2.4 L" --starter-none
  cruet stage 3CFX72 acetic --starter-bought "live wine vinegar" --starter-volume "500 mL"
  cruet stage K7RM74 discarded --reason "mould"`,
		Args: exactly("The jar's TAG", "The new STAGE"),
	}
	flags := cmd.Flags()
	flags.StringVar(&f.volume, "volume", "", "`VOLUME` of liquid after the move, before any starter")
	f.feedFlags.add(cmd, "starter", "live vinegar or a mother", false)
	flags.BoolVar(&f.air, "starter-none", false, "no starter: left to the air")
	flags.StringVar(&f.reason, "reason", "", "`TEXT` saying why, for an unusual move")
	flags.StringVar(&f.note, "note", "", "`TEXT`")
	f.actFlags.add(cmd, true)
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		tag, err := a.jarTag(args[0])
		if err != nil {
			return err
		}
		b := larder.StageChange{Reason: f.reason}
		if b.To, err = larder.ParseStage(args[1]); err != nil {
			return &usageError{message: err.Error()}
		}
		if b.VolumeML, err = optional("volume", f.volume, chem.ParseVolume); err != nil {
			return err
		}
		if b.Starter, err = f.feed(a, "starter"); err != nil {
			return err
		}
		return a.append(cmd, tag, f.actFlags, larder.NewEntry{Note: f.note, Body: b}, *asJSON)
	}
	return cmd
}
