package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/labels"
)

func (a *app) stocksCommand() *cobra.Command {
	var picture string
	var out outFile
	var asCSV bool
	cmd := &cobra.Command{
		Use: "stocks", Short: "List the label papers, or draw one",
		Long: `List the label papers: those of stocks.csv in the data folder first, then the
built-in ones. --picture draws the places of one, to lay over the paper.`,
		Example: `  cruet labels stocks
  cruet labels stocks --picture a4-3x8 -o a4-3x8.svg
  cruet labels stocks --csv`,
		Args: exactly(),
	}
	cmd.Flags().StringVar(&picture, "picture", "", "draw the stock of this `ID` as SVG, to -o")
	cmd.Flags().StringVarP(&out.name, "output", "o", "", "`FILE` for the picture, or - for standard output")
	cmd.Flags().BoolVar(&out.force, "force", false, "replace FILE if it is there already")
	cmd.Flags().BoolVar(&asCSV, "csv", false, "print them as stocks.csv has them, to copy a line from")
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		dir, err := a.dataDir()
		if err != nil {
			return err
		}
		c := labels.StocksIn(dir)
		if picture != "" {
			s, err := c.Find(picture)
			if err != nil {
				return wrongUse("--picture", "%s", err)
			}
			if err := out.check(); err != nil {
				return err
			}
			return out.write(a.out, []byte(s.SVG()))
		}
		if err := a.listStocks(c, *asJSON, asCSV); err != nil {
			return err
		}
		if c.Err != nil { // the list is whole without those lines, but the maker wanted them
			return &hinted{c.Err, "Correct those lines; the other stocks can be used. \"cruet labels stocks --csv\" shows the form."}
		}
		return nil
	}
	return cmd
}

func (a *app) listStocks(c labels.Catalogue, asJSON, asCSV bool) error {
	if asCSV {
		return labels.WriteStocks(a.out, c.Stocks)
	}
	if asJSON {
		return a.printJSON(map[string]any{"stocks": stockList(c)})
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "ID\tLABELS\tDPI\tPAPER")
	for _, s := range stockList(c) {
		own := ""
		if s.Own {
			own = " (yours)"
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t%s%s\n", s.ID, s.Places, s.DPI, s.Name, own)
	}
	return w.Flush()
}

type stockLine struct {
	ID       string  `json:"id"`
	Name     string  `json:"name"`
	Places   int     `json:"labels_a_page"`
	LabelWMM float64 `json:"label_w_mm"`
	LabelHMM float64 `json:"label_h_mm"`
	DPI      int     `json:"dpi"`
	Own      bool    `json:"own,omitempty"`
}

func stockList(c labels.Catalogue) []stockLine {
	var out []stockLine
	for i, s := range c.Stocks {
		out = append(out, stockLine{s.ID, s.Name, s.Places(), s.LabelWMM, s.LabelHMM, s.DPI, i < c.Own})
	}
	return out
}

// proofCommand makes the page that a printer is measured by.
func (a *app) proofCommand() *cobra.Command {
	f := sheetFlags{}
	cmd := &cobra.Command{
		Use: "proof", Short: "A page to measure with a ruler how far off a printer is",
		Example: `  cruet labels proof -o proof.pdf
  cruet labels proof --stock a4-3x8 --print office`,
		Args: exactly(),
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.name, "output", "o", "", "`FILE` for the PDF, or - for standard output")
	flags.BoolVar(&f.force, "force", false, "replace FILE if it is there already")
	flags.StringVar(&f.stock, "stock", "", "`ID` of the paper (default: A4 or US Letter, by the kitchen's settings)")
	flags.StringVar(&f.send, "print", "", "print on `PRINTER`")
	f.sheet.First, f.sheet.Copies = 1, 1
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if err := f.prepare(a, cmd); err != nil {
			return err
		}
		if err := f.proofPaper(a, cmd); err != nil {
			return err
		}
		var pdf bytes.Buffer
		if err := labels.WriteProof(&pdf, f.sheet); err != nil {
			return err
		}
		if f.name != "" {
			if err := f.write(a.out, pdf.Bytes()); err != nil {
				return err
			}
		}
		if f.send != "" {
			id, err := f.spool(cmd.Context(), "proof", pdf.Bytes(), labels.Printed{PageHMM: f.sheet.Stock.PageHMM})
			if err != nil {
				return err
			}
			fmt.Fprintf(a.out, "Sent to %s as job %s.\n", f.send, id)
		}
		if f.name != "-" {
			fmt.Fprintln(a.out, "Measure A, B and C on the page, then: cruet labels align NAME --left A --top B --length C")
		}
		return nil
	}
	return cmd
}

// proofPaper takes the kitchen's kind of paper where none was named. A printer may be
// measured before there is a kitchen.
func (f *sheetFlags) proofPaper(a *app, cmd *cobra.Command) error {
	if f.sheet.Stock.ID != "" {
		return nil
	}
	dir, err := a.dataDir()
	if err != nil {
		return err
	}
	if _, err := os.Stat(filepath.Join(dir, store.FileName)); errors.Is(err, fs.ErrNotExist) {
		f.sheet.Stock = f.stocks.Usual(larder.Kitchen{}, "proof", "")[0].Stock
		return nil
	}
	return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error { return f.usual(ctx, r, "proof", nil) })
}

func (a *app) alignCommand() *cobra.Command {
	var left, top, length float64
	var dpi int
	var forget bool
	cmd := &cobra.Command{
		Use: "align PRINTER", Short: "Remember how far off a printer is, as its proof page shows",
		Long: `Remember how far off a printer is. Print "cruet labels proof" on it and take a ruler
to the page: A from the left edge to the upright line, B from the top edge to the
level line, C the level line's length, in mm. PRINTER is the spooler's name for it,
so that --print corrects for it, or any name for --printer.`,
		Example: `  cruet labels align office --left 20.8 --top 19.5 --length 150.3
  cruet labels align thermal --left 20 --top 20 --length 150 --dpi 203
  cruet labels align office --forget`,
		Args: exactly("PRINTER"),
	}
	cmd.Flags().Float64Var(&left, "left", 20, "A in `MM`")
	cmd.Flags().Float64Var(&top, "top", 20, "B in `MM`")
	cmd.Flags().Float64Var(&length, "length", 150, "C in `MM`")
	cmd.Flags().IntVar(&dpi, "dpi", 0, "its dots per inch, `203`, 300 or 600 (default: what suits the stock)")
	cmd.Flags().BoolVar(&forget, "forget", false, "forget the printer")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		p := larder.Printer{Name: args[0], DPI: dpi}
		var err error
		if p.OffsetXMM, p.OffsetYMM, p.Scale, err = labels.Align(left, top, length); err != nil {
			return err
		}
		return a.inKitchen(cmd, create, func(ctx context.Context, r room) error {
			if forget {
				return r.db.ForgetPrinter(ctx, args[0])
			}
			if err := r.db.SetPrinter(ctx, p); err != nil {
				return err
			}
			fmt.Fprintf(a.out, "%s: %s.\n", p.Name, alignment(p))
			return nil
		})
	}
	return cmd
}

// alignment is a printer's correction in words.
func alignment(p larder.Printer) string {
	text := fmt.Sprintf("labels move %+.2f mm across and %+.2f mm down, stretched by %+.2f %%", p.OffsetXMM, p.OffsetYMM, (p.Scale-1)*100)
	if p.DPI > 0 {
		text += fmt.Sprintf(", at %d dpi", p.DPI)
	}
	return text
}
