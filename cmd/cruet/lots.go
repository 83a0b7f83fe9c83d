package main

import (
	"context"
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/verdict"
)

func (a *app) lotsCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "lots", Short: "List what was bottled", Example: "  cruet lots", Args: exactly()}
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error { return a.lots(ctx, r, *asJSON) })
	}
	return cmd
}

func (a *app) lots(ctx context.Context, r room, asJSON bool) error {
	lots, err := r.db.Lots(ctx)
	if err != nil {
		return err
	}
	if asJSON {
		type lotCount struct {
			Lot     larder.Lot `json:"lot"`
			Bottles int        `json:"bottles"`
			Given   int        `json:"given"`
			Behind  bool       `json:"behind_hold"`
		}
		out := []lotCount{}
		for _, l := range lots {
			out = append(out, lotCount(l))
		}
		return a.printJSON(map[string]any{"lots": out})
	}
	if len(lots) == 0 {
		_, err := fmt.Fprintln(a.out, "Nothing was bottled yet.")
		return err
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "LOT\tNAME\tBOTTLED\tBOTTLES\tGIVEN\tACIDITY")
	for _, l := range lots {
		name := l.Lot.Name
		if l.Lot.Void {
			name += " (struck)"
		}
		if l.Lot.Hold != "" || l.Behind {
			name += " (on hold)"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%d\t%d\t%s\n", l.Lot.ID, name, l.Lot.When.DateIn(r.loc), l.Bottles, l.Given, l.Lot.Acidity.LabelText())
	}
	return w.Flush()
}

func (a *app) showLot(ctx context.Context, r room, id string, asJSON bool) error {
	l, err := r.db.Lot(ctx, id)
	if err != nil {
		return err
	}
	log, err := r.db.LotLog(ctx, id)
	if err != nil {
		return err
	}
	held, err := r.db.HeldOfLot(ctx, id)
	if err != nil {
		return err
	}
	if asJSON {
		return a.printJSON(map[string]any{"lot": l.Lot, "bottles": l.Bottles, "log": append([]larder.LotHold{}, log...), "held": append([]larder.Held{}, held...)})
	}
	a.printLot(l.Lot, r)
	for _, h := range held {
		fmt.Fprintf(a.out, "%-11s %s\n", "ON HOLD", oneLine(h.String()))
	}
	a.printLotLog(log, r.speech())
	for _, b := range l.Bottles {
		fmt.Fprintf(a.out, "  %s  #%-3d %s", b.Tag.Spaced(), b.Number, r.speech().volume(&b.SizeML))
		if b.Gift != nil {
			fmt.Fprintf(a.out, "  given to %s, %s", b.Gift.To, b.Gift.When.DateIn(r.loc))
		}
		fmt.Fprintln(a.out)
	}
	return nil
}

func (a *app) printLot(lot larder.Lot, r room) {
	s := r.speech()
	fmt.Fprintf(a.out, "%s  %s, bottled %s\n", lot.ID, lot.Name, lot.When.DateIn(s.loc))
	if lot.Void {
		fmt.Fprintln(a.out, "STRUCK: it was never bottled so")
	}
	fmt.Fprintf(a.out, "%-11s %s\n", "acidity", s.lotAcidity(lot.Acidity))
	if lot.Acidity.Basis == larder.NotMeasured && lot.Acidity.Why != "" {
		fmt.Fprintf(a.out, "%-11s %s\n", "", lot.Acidity.Why)
	}
	for _, p := range lot.Pours {
		fmt.Fprintf(a.out, "%-11s %s of jar %s\n", "from", s.volume(&p.VolumeML), p.Jar)
	}
	for _, c := range verdict.OnLot(lot, verdict.MarketOf(r.kitchen)) {
		fmt.Fprintf(a.out, "%-11s %s\n", "caution", c.Text)
	}
}

func (a *app) showBottle(ctx context.Context, r room, tag larder.Tag, asJSON bool) error {
	p, err := r.db.BottleByTag(ctx, tag)
	if err != nil {
		return err
	}
	if asJSON {
		return a.printJSON(map[string]any{"bottle": p.Bottle, "lot": p.Lot, "holds": append([]string{}, p.Holds...)})
	}
	fmt.Fprintf(a.out, "%s  bottle %d, %s\n", tag.Spaced(), p.Bottle.Number, r.speech().volume(&p.Bottle.SizeML))
	if g := p.Bottle.Gift; g != nil {
		fmt.Fprintf(a.out, "%-11s %s, %s\n", "given to", g.To, g.When.DateIn(r.loc))
	}
	for _, h := range p.Holds {
		fmt.Fprintf(a.out, "%-11s %s\n", "ON HOLD", h)
	}
	a.printLot(p.Lot, r)
	return nil
}
