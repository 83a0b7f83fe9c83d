// Package spool hands PDFs to the system's print spooler (CUPS). It never builds
// a shell line, takes only printers that the spooler lists, and gives the
// spooler's own reason when something fails.
package spool

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"time"

	"cruet/internal/larder"
)

// Job is a PDF for a printer.
type Job struct {
	Printer          string // as Printers lists it
	Title            string
	PDF              []byte
	PageWMM, PageHMM float64
	DPI              int // 0: the printer's own choice
}

const (
	askTimeout  = 10 * time.Second
	sendTimeout = 60 * time.Second
)

// Printers lists the printers that the spooler knows. It is empty when there
// are none; an error, as larder.Problems, says why the spooler cannot tell.
func Printers(ctx context.Context) ([]string, error) {
	out, err := run(ctx, askTimeout, nil, "lpstat", "-e")
	// With no printer at all, some versions say so and fail.
	if err != nil && strings.Contains(err.Error(), "No destinations added") {
		return nil, nil
	}
	return strings.Fields(out), err
}

// Send hands a job over and gives the spooler's name for it. Errors are
// larder.Problems; nothing is printed then.
func Send(ctx context.Context, j Job) (id string, err error) {
	printers, err := Printers(ctx)
	if err != nil {
		return "", err
	}
	if !slices.Contains(printers, j.Printer) {
		known := "it lists no printer"
		if len(printers) > 0 {
			known = "it lists: " + strings.Join(printers, ", ")
		}
		return "", larder.Refuse("printer", fmt.Sprintf("The print spooler knows no printer %q; %s.", j.Printer, known))
	}
	out, err := run(ctx, sendTimeout, j.PDF, "lp", j.arguments()...)
	if err != nil {
		return "", err
	}
	return jobID(out), nil
}

// arguments tell lp the paper and the resolution, and to scale nothing.
func (j Job) arguments() []string {
	args := []string{"-d", j.Printer, "-t", j.Title, "-o", "media=" + media(j.PageWMM, j.PageHMM), "-o", "print-scaling=none"}
	if j.DPI > 0 {
		args = append(args, "-o", fmt.Sprintf("printer-resolution=%ddpi", j.DPI))
	}
	return args
}

// media is the standard name of a page's size (PWG 5101.1), or a size of its
// own in the form that CUPS reads.
func media(wMM, hMM float64) string {
	is := func(w, h float64) bool { return math.Abs(wMM-w) < 0.2 && math.Abs(hMM-h) < 0.2 }
	switch {
	case is(210, 297):
		return "iso_a4_210x297mm"
	case is(215.9, 279.4):
		return "na_letter_8.5x11in"
	}
	return "Custom." + short(wMM) + "x" + short(hMM) + "mm"
}

func short(v float64) string { return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64) }

// jobID finds "queue-12" in "request id is queue-12 (0 file(s))".
func jobID(out string) string {
	_, after, ok := strings.Cut(out, "request id is ")
	if !ok {
		return ""
	}
	id, _, _ := strings.Cut(after, " ")
	return id
}

func run(ctx context.Context, limit time.Duration, stdin []byte, name string, args ...string) (string, error) {
	path, err := exec.LookPath(name)
	if err != nil {
		return "", larder.Refuse("printer", "This machine has no print spooler (the program "+name+" of CUPS is missing). Save the PDF, and print it from a machine that has a printer.")
	}
	limited, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	cmd := exec.CommandContext(limited, path, args...)
	cmd.Env = append(os.Environ(), "LC_ALL=C.UTF-8") // what is read here is in English
	cmd.WaitDelay = time.Second
	cmd.Stdin = bytes.NewReader(stdin)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	err = cmd.Run()
	switch {
	case err == nil:
		return out.String(), nil
	case ctx.Err() != nil:
		return "", ctx.Err()
	case errors.Is(limited.Err(), context.DeadlineExceeded):
		return "", larder.Refuse("printer", fmt.Sprintf("The print spooler did not answer within %d seconds. Nothing was printed; see whether it runs, or save the PDF instead.", int(limit.Seconds())))
	}
	return "", larder.Refuse("printer", "The print spooler says: "+reason(said.String(), err)+" Nothing was printed.")
}

// reason is the spooler's words as a sentence, without its program's name.
func reason(said string, err error) string {
	text := strings.Join(strings.Fields(said), " ")
	for _, prefix := range []string{"lp: ", "lpstat: ", "Error - "} {
		text = strings.TrimPrefix(text, prefix)
	}
	if text == "" {
		text = err.Error()
	}
	return strings.TrimRight(text, ".!") + "."
}
