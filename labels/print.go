package labels

import (
	"context"
	"fmt"
	"io"
)

// Printed says what Print made.
type Printed struct {
	Labels, Pages int
	PageHMM       float64  // of the first page: a continuous roll is cut to it
	Losses        []string // what was shortened or left out, and on which label
	Worst         Score    // of the label that reads worst
}

// maxPrinted keeps one print, which stays in memory whole, near 100 MB.
const maxPrinted = 10_000

// Write prints labels as a PDF, each Copies times, in the order given. The
// same sheet (with a Date) and labels give the same bytes. Nothing is written
// to w when there is an error in the labels or the sheet.
func Write(w io.Writer, sheet Sheet, labels []Label) error {
	_, err := Print(context.Background(), w, sheet, labels, nil)
	return err
}

// Print is Write that can be cancelled, tells how far it is, and gives what it
// made. progress, when not nil, is called with the number of labels laid out.
func Print(ctx context.Context, w io.Writer, sheet Sheet, labels []Label, progress func(done int)) (made Printed, err error) {
	if sheet, err = sheet.ready(); err != nil {
		return made, err
	}
	if len(sheet.Font) > 0 {
		// The PDF writer trusts fonts; this one is a stranger's.
		defer func() {
			if p := recover(); p != nil {
				err = refuse("font", "The font file cannot be embedded (%v). Choose another file.", p)
			}
		}()
	}
	if len(labels) == 0 {
		return made, refuse("labels", "There is nothing to print: choose at least one label.")
	}
	if all := len(labels) * sheet.Copies; all > maxPrinted {
		return made, refuse("copies", "That is %d labels; one print has %d at most. Print fewer copies at a time.", all, maxPrinted)
	}
	fonts, err := fontsFor(sheet.Font)
	if err != nil {
		return made, err
	}
	p := newPrinter(sheet)
	if p.title, err = layOutTitle(sheet, fonts); err != nil {
		return made, err
	}
	if len(labels)*sheet.Copies >= frugalFrom {
		defer beFrugal()()
	}
	codes := newCoder(labels)
	place := sheet.First - 1
	for from := 0; from < len(labels); from += batchSize {
		if err := ctx.Err(); err != nil {
			return made, err
		}
		to := min(from+batchSize, len(labels))
		drawings, err := layOutAll(sheet, fonts, codes, labels, from, to)
		if err != nil {
			return made, err
		}
		for i, d := range drawings {
			made.add(from+i, len(labels), d, sheet, labels[from+i])
			for range sheet.Copies {
				p.label(place, d)
				place++
			}
		}
		if progress != nil {
			progress(to)
		}
	}
	made.Labels, made.Pages = len(labels)*sheet.Copies, p.page
	if err := ctx.Err(); err != nil {
		return made, err
	}
	return made, p.finish(w)
}

// add notes what one label lost and how it reads.
func (m *Printed) add(i, of int, d Drawing, sheet Sheet, l Label) {
	if i == 0 {
		m.PageHMM = sheet.Stock.PageHMM
		if d.LenMM > 0 {
			m.PageHMM = d.LenMM
		}
	}
	for _, loss := range d.Losses {
		if of > 1 {
			loss = fmt.Sprintf("label %d: %s", i+1, loss)
		}
		m.Losses = append(m.Losses, loss)
	}
	if s := scoreOf(d, sheet, l); i == 0 || s.worse(m.Worst) {
		m.Worst = s
	}
}
