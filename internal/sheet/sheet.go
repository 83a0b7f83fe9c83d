// Package sheet writes tables as text for spreadsheets: CSV as RFC 4180 has it,
// with a header line, CRLF line ends, and cells that no spreadsheet takes for a
// formula.
package sheet

import (
	"encoding/csv"
	"fmt"
	"io"
	"strings"

	"cruet/internal/lazy"
)

// Column is a column's name, as the header line has it, and what it means.
type Column struct{ Name, Means string }

// risky begin a formula in one spreadsheet or another (OWASP, "CSV Injection").
const risky = "=+-@\t\r\n"

var plainNumber = lazy.RE(`^[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?$`)

// Safe puts an apostrophe before a cell that a spreadsheet could run. Numbers
// stay as they are. Raw undoes it.
func Safe(cell string) string {
	if isRisky(cell) {
		return "'" + cell
	}
	return cell
}

// Raw is the text that Safe was given.
func Raw(cell string) string {
	if strings.HasPrefix(cell, "'") && isRisky(cell[1:]) {
		return cell[1:]
	}
	return cell
}

// isRisky looks behind apostrophes too, so that Raw can tell its own from one
// that was there before.
func isRisky(cell string) bool {
	bare := strings.TrimLeft(cell, "'")
	return bare != "" && strings.ContainsRune(risky, rune(bare[0])) && !plainNumber().MatchString(bare)
}

// Writer writes one table.
type Writer struct {
	csv   *csv.Writer
	at    map[string]int
	cells []string
}

// NewWriter writes the header line of a table.
func NewWriter(w io.Writer, columns []Column) (*Writer, error) {
	out := &Writer{csv: csv.NewWriter(w), at: map[string]int{}, cells: make([]string, len(columns))}
	out.csv.UseCRLF = true
	for i, c := range columns {
		out.at[c.Name], out.cells[i] = i, c.Name
	}
	return out, out.csv.Write(out.cells)
}

// Row writes a line with these cells by column; the others stay empty.
func (w *Writer) Row(cells map[string]string) error {
	clear(w.cells)
	for name, text := range cells {
		i, ok := w.at[name]
		if !ok {
			return fmt.Errorf("sheet: there is no column %q", name)
		}
		w.cells[i] = Safe(text)
	}
	return w.csv.Write(w.cells)
}

// Flush writes what is still held back.
func (w *Writer) Flush() error {
	w.csv.Flush()
	return w.csv.Error()
}
