package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"text/tabwriter"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"cruet/internal/sheet"
	"cruet/internal/store"
)

func (a *app) importReadingsCommand() *cobra.Command {
	var f actFlags
	var preview bool
	cmd := &cobra.Command{
		Use: "readings FILE.csv", Short: "Log a table of readings of your own; --preview shows it first",
		Long: `Log a table of readings that you kept yourself. Each line becomes an entry by the
same rules as if it had been typed. All lines are logged or none: what is wrong is
told line by line. The same table read twice is logged once. "cruet strike" takes
back one line, or with --whole-table all of them.

The first line names the columns, in any order; cells are parted by commas,
semicolons or tabs. Acidity is not taken: log the titrations themselves. The columns:

` + columnHelp(sheet.ReadingColumns()),
		Example: `  cruet import readings shelf.csv --preview
  cruet import readings shelf.csv`,
		Args: exactly("The FILE"),
	}
	cmd.Flags().BoolVar(&preview, "preview", false, "show how the first lines are understood and what is wrong; log nothing")
	f.add(cmd, false)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		file, err := os.Open(args[0])
		if err != nil {
			return &hinted{err, "Save the table from your spreadsheet as CSV first."}
		}
		defer file.Close()
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error { return a.importReadings(ctx, r, file, f, preview) })
	}
	return cmd
}

func (a *app) importReadings(ctx context.Context, r room, file *os.File, f actFlags, preview bool) error {
	h := sha256.New()
	total, err := io.Copy(h, file)
	if err != nil {
		return &hinted{err, "Save the table from your spreadsheet as CSV first."}
	}
	sum := hex.EncodeToString(h.Sum(nil))
	act, err := f.act()
	if err != nil {
		return err
	}
	if f.key == "" { // the same table is the same act
		act.Key = uuid.NewHash(sha256.New(), uuid.NameSpaceOID, []byte("cruet readings "+sum), 8)
	}
	size, now, whats := &readSize{total: total}, time.Now(), []string{"KiB checked", "KiB logged"}
	var bar func(done int)
	report, err := r.db.ImportReadings(ctx, act, sum, preview, func() (store.NextReading, error) {
		if _, err := file.Seek(0, io.SeekStart); err != nil {
			return nil, err
		}
		*size = readSize{total: total}
		in, err := sheet.NewReadingReader(countingReader{file, size}, now, r.loc)
		if err != nil {
			return nil, err
		}
		bar = a.progress(int(total>>10), whats[0])
		whats = whats[len(whats)-1:]
		return func() (sheet.Reading, bool, error) {
			if bar != nil && size.due() {
				bar(min(int(size.read>>10)+1, int(total>>10)))
			}
			return in.Next()
		}, nil
	})
	size.stop(bar)
	var wrong *store.WrongReadingsError
	switch {
	case errors.As(err, &wrong):
		for _, p := range wrong.Report.Problems {
			fmt.Fprintln(a.err, "wrong:", oneLine(p))
		}
		return fail("Correct them, or leave them out, and read the table again; --preview shows what is understood.", "%d of %s wrong; nothing was logged.", wrong.Report.Wrong, plural(wrong.Report.Lines, "line")+" are")
	case err != nil:
		return importTrouble(err)
	}
	if preview {
		return a.printReadings(report, r)
	}
	a.saidBefore(report.Replayed)
	if !report.Replayed {
		_, err = fmt.Fprintf(a.out, "%s logged, of %s.\n", plural(report.Lines, "line"), plural(report.Jars, "jar"))
	}
	return err
}

func (a *app) printReadings(report store.ReadingsReport, r room) error {
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "LINE\tJAR\tBATCH\tWHEN\tWHAT")
	for _, u := range report.First {
		text := r.speech().body(u.Entry.Body)
		if u.Entry.Note != "" {
			text += " — " + u.Entry.Note
		}
		fmt.Fprintf(w, "%d\t%s\t%s %s\t%s\t%s\n", u.Line, u.Jar.Tag, u.Batch, u.Jar.Letter, u.Entry.When.In(r.loc), oneLine(text))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for _, p := range report.Problems {
		fmt.Fprintln(a.out, "wrong:", oneLine(p))
	}
	_, err := fmt.Fprintf(a.out, "%s of %s, %d wrong. Nothing was logged yet.\n", plural(report.Lines, "line"), plural(report.Jars, "jar"), report.Wrong)
	return err
}
