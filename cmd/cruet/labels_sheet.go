package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/spool"
	"cruet/labels"
)

// sheetFlags say on what labels are printed and where the PDF goes.
type sheetFlags struct {
	outFile
	stock, address, font string
	printer              string // whose alignment is used
	send                 string // the spooler's printer that gets the PDF
	sheet                labels.Sheet
	layouts, layout      []string // those that the command has, those asked for
	stocks               labels.Catalogue
	why                  string // a paper that was not named was taken
	quiet                bool
}

func (f *sheetFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVarP(&f.name, "output", "o", "", "`FILE` for the PDF, or - for standard output")
	flags.BoolVar(&f.force, "force", false, "replace FILE if it is there already")
	flags.StringVar(&f.stock, "stock", "", "`ID` of the label paper; \"cruet labels stocks\" lists them (default: the one used last for such labels, else by the kitchen's settings)")
	flags.IntVar(&f.sheet.First, "first", 1, "begin at the `N`th place of a part-used sheet, counted along the rows")
	flags.IntVar(&f.sheet.Copies, "copies", 1, "`N` of each label")
	flags.IntVar(&f.sheet.DPI, "dpi", 0, "the printer's dots per inch, `203`, 300 or 600 (default: what suits the printer or the stock)")
	flags.BoolVar(&f.sheet.Outlines, "outlines", false, "draw the labels' edges, for plain paper and scissors")
	flags.StringVar(&f.address, "address", "", "`HOST:PORT` that the codes name (default: where the station was last served)")
	flags.StringVar(&f.font, "font", "", "TrueType `FILE` for characters that the built-in fonts lack")
	flags.StringVar(&f.send, "print", "", "print on `PRINTER`; \"cruet labels printers\" lists them")
	flags.StringVar(&f.printer, "printer", "", "correct for `PRINTER` as it was aligned (default: that of --print)")
	flags.Float64Var(&f.sheet.OffsetXMM, "offset-x", 0, "move everything `MM` to the right")
	flags.Float64Var(&f.sheet.OffsetYMM, "offset-y", 0, "move everything `MM` down")
	flags.Float64Var(&f.sheet.Scale, "scale", 1, "stretch the distances between labels by this `FACTOR`")
	if len(f.layouts) > 0 {
		flags.StringSliceVar(&f.layout, "layout", f.layouts[:1], "`LAYOUT`: "+strings.Join(f.layouts, " or ")+"; several print one label of each")
	}
}

const maxFontBytes = 40 << 20

// prepare checks all that can be checked before anything is read or recorded.
func (f *sheetFlags) prepare(a *app, cmd *cobra.Command) error {
	dir, err := a.dataDir()
	if err != nil {
		return err
	}
	f.stocks = labels.StocksIn(dir)
	if cmd.Flags().Changed("stock") {
		if f.sheet.Stock, err = f.stocks.Find(f.stock); err != nil {
			return wrongUse("--stock", "%s", err)
		}
	}
	for _, n := range []struct {
		flag  string
		value int
	}{{"first", f.sheet.First}, {"copies", f.sheet.Copies}} { // zero is a default inside, but nothing that a person means
		if n.value < 1 {
			return wrongUse("--"+n.flag, "%d is not possible; it is counted from 1.", n.value)
		}
	}
	for _, l := range f.layout {
		if !slices.Contains(f.layouts, l) {
			return wrongUse("--layout", "there is no layout %q here: %s.", l, strings.Join(f.layouts, " or "))
		}
	}
	if f.address != "" {
		if err := larder.CheckAddress(f.address); err != nil {
			return wrongUse("--address", "%s", err)
		}
	}
	if f.font != "" {
		if f.sheet.Font, err = readAtMost(f.font, maxFontBytes); err != nil {
			return &hinted{err, "Give a TrueType file (.ttf) with --font."}
		}
	}
	if f.send != "" && f.name == "" {
		return nil
	}
	return f.check()
}

// readAtMost reads a file that must not be larger than limit.
func readAtMost(name string, limit int64) ([]byte, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, limit+1))
	if err == nil && int64(len(data)) > limit {
		err = fmt.Errorf("%s is larger than %d MB", name, limit>>20)
	}
	return data, err
}

// station is the address that the codes name.
func (f *sheetFlags) station(k larder.Kitchen) (string, error) {
	switch {
	case f.address != "":
		return f.address, nil
	case k.Address != "":
		return k.Address, nil
	}
	return "", fail(`Run "cruet serve" once, or say --address HOST:PORT.`, "The station's address is not known yet, and a label's code must name it.")
}

// usual takes the usual paper for labels of a layout where none was named: the first
// that takes all of these, if any are given.
func (f *sheetFlags) usual(ctx context.Context, r room, layout string, takes []labels.Label) error {
	if f.sheet.Stock.ID != "" {
		return nil
	}
	last, err := r.db.LastStock(ctx, layout)
	if err != nil {
		return err
	}
	u, err := labels.FirstFor(takes, f.stocks.Usual(r.kitchen, layout, last))
	f.sheet.Stock, f.why = u.Stock, u.Why
	return err
}

// onePerSize is for each layout a label of each size of bottle: if those fit a
// paper, all do. Jars have none.
func onePerSize(all []printed) []labels.Label {
	bottles, list := map[string][]larder.Bottle{}, map[string][]labels.Label{}
	for _, p := range all {
		if p.bottle.Tag != "" {
			bottles[p.layout], list[p.layout] = append(bottles[p.layout], p.bottle), append(list[p.layout], p.label)
		}
	}
	var out []labels.Label
	for layout, of := range bottles {
		out = append(out, labels.OnePerSize(of, list[layout])...)
	}
	return out
}

// align corrects the sheet for a printer, except where a flag says otherwise.
func (f *sheetFlags) align(ctx context.Context, cmd *cobra.Command, r room) error {
	name := f.printer
	if name == "" {
		name = f.send
	}
	if name == "" {
		return nil
	}
	p, known, err := r.db.Printer(ctx, name)
	if err != nil {
		return err
	}
	if !known && f.printer != "" {
		return fail(`"cruet labels align" remembers a printer, "cruet labels printers" lists them.`, "No printer %q was aligned here.", name)
	}
	changed := cmd.Flags().Changed
	if !changed("offset-x") {
		f.sheet.OffsetXMM = p.OffsetXMM
	}
	if !changed("offset-y") {
		f.sheet.OffsetYMM = p.OffsetYMM
	}
	if !changed("scale") {
		f.sheet.Scale = p.Scale
	}
	if !changed("dpi") {
		f.sheet.DPI = p.DPI
	}
	return nil
}

// deliver makes the PDF, says how it will read, writes or prints it, and
// remembers what was printed.
func (a *app) deliver(ctx context.Context, cmd *cobra.Command, r room, f *sheetFlags, all []printed) error {
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	if len(all) == 0 {
		return fail(seeHelp(cmd), "There is nothing to print.")
	}
	if err := f.usual(ctx, r, all[0].layout, onePerSize(all)); err != nil {
		return err
	}
	if err := f.align(ctx, cmd, r); err != nil {
		return err
	}
	list, tags, seen := make([]labels.Label, len(all)), []larder.Tag(nil), map[larder.Tag]bool{}
	for i, p := range all {
		list[i] = p.label
		if !seen[p.tag] {
			seen[p.tag], tags = true, append(tags, p.tag)
		}
	}
	before, err := r.db.LastPrints(ctx, tags)
	if err != nil {
		return err
	}
	var pdf bytes.Buffer
	made, err := labels.Print(ctx, &pdf, f.sheet, list, a.progress(len(list), "labels"))
	if errors.Is(err, context.Canceled) {
		return fail("Run it again for the whole of it.", "Stopped; nothing was written or printed.")
	}
	if err != nil {
		return &hinted{err, "Nothing was written. \"cruet labels stocks\" lists the label papers, " + seeHelp(cmd)}
	}
	if f.name != "" {
		if err := f.write(a.out, pdf.Bytes()); err != nil {
			return err
		}
	}
	sent := ""
	if f.send != "" {
		if sent, err = f.spool(ctx, cmd.Name(), pdf.Bytes(), made); err != nil {
			return err
		}
	}
	// What was delivered is remembered, also when somebody has pressed Ctrl-C since.
	if err := f.remember(context.WithoutCancel(ctx), r, all); err != nil {
		return err
	}
	a.tellPrinted(f, r, made, sent, tags, before)
	return nil
}

func (f *sheetFlags) spool(ctx context.Context, title string, pdf []byte, made labels.Printed) (string, error) {
	id, err := spool.Send(ctx, spool.Job{Printer: f.send, Title: "Cruet " + title, PDF: pdf,
		PageWMM: f.sheet.Stock.PageWMM, PageHMM: made.PageHMM, DPI: made.Worst.DPI})
	if err != nil {
		hint := `"cruet labels printers" lists the printers; -o FILE writes the PDF for another machine.`
		if f.name != "" && f.name != "-" {
			hint = f.name + " was written all the same. " + hint
		}
		return "", &hinted{err, hint}
	}
	return id, nil
}

func (f *sheetFlags) remember(ctx context.Context, r room, all []printed) error {
	address, _ := f.station(r.kitchen) // a bottle's code may hold its facts and name no address
	records := make([]larder.Print, len(all))
	for i, p := range all {
		records[i] = larder.Print{Tag: p.tag, Address: address, Stock: f.sheet.Stock.ID, Layout: p.layout}
	}
	return r.db.RecordPrints(ctx, os.Getenv("CRUET_BY"), records)
}

// tellPrinted says what was made and how it will read; what to mind comes on
// stderr.
func (a *app) tellPrinted(f *sheetFlags, r room, made labels.Printed, sent string, tags []larder.Tag, before map[larder.Tag]larder.Print) {
	note := func(format string, args ...any) { fmt.Fprintf(a.err, "note: "+format+"\n", args...) }
	for _, loss := range made.Losses {
		note("%s", oneLine(loss))
	}
	for _, w := range made.Worst.Warnings {
		note("%s", oneLine(w))
	}
	noteReprints(note, r, f.stocks, tags, before)
	if f.quiet || f.name == "-" {
		if f.why != "" {
			note("the paper is %s, %s.", f.sheet.Stock.Name, f.why)
		}
		return
	}
	what := fmt.Sprintf("%d labels on %s", made.Labels, f.sheet.Stock.Name)
	if f.why != "" {
		what += ", " + f.why
	}
	if f.name != "" {
		fmt.Fprintf(a.out, "%s: %s. Print it at 100 %%, not \"fit to page\".\n", f.name, what)
	}
	if f.send != "" {
		if sent != "" {
			sent = " as job " + sent
		}
		fmt.Fprintf(a.out, "Sent to %s%s: %s.\n", f.send, sent, what)
	}
	fmt.Fprintf(a.out, "It %s: %s.\n", made.Worst.Verdict(), made.Worst.Measures())
}

// noteReprints says that labels were printed before.
func noteReprints(note func(string, ...any), r room, stocks labels.Catalogue, tags []larder.Tag, before map[larder.Tag]larder.Print) {
	const most = 3
	told := 0
	for _, tag := range tags {
		p, ok := before[tag]
		if !ok {
			continue
		}
		if told++; told <= most {
			note("%s was printed before, %s; this label has the same tag.", tag.Spaced(), p.Said(r.loc, stocks.NameOf))
		}
	}
	if told > most {
		note("%d more were printed before; their labels have the same tags.", told-most)
	}
}

// progress draws a bar on a terminal for a run that takes its time.
func (a *app) progress(of int, what string) func(done int) {
	f, ok := a.err.(*os.File)
	if !ok || !isatty.IsTerminal(f.Fd()) || of < 1000 {
		return nil
	}
	return progressBar(a.err, of, what, time.Now())
}

func progressBar(w io.Writer, of int, what string, start time.Time) func(done int) {
	const wide = 30
	return func(done int) {
		n := done * wide / of
		left := time.Duration(float64(time.Since(start)) * float64(of-done) / float64(done)).Round(time.Second)
		fmt.Fprintf(w, "\r[%s%s] %d of %d %s, %v left ", strings.Repeat("#", n), strings.Repeat("-", wide-n), done, of, what, left)
		if done >= of {
			fmt.Fprintf(w, "\r%*s\r", wide+60, "")
		}
	}
}
