package larder

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Print is a label that was made once: a lost one is printed again with the same
// tag, and one that names an address which the station left has to be.
type Print struct {
	Tag     Tag       `json:"tag"`
	Address string    `json:"address"` // HOST:PORT that its code names
	Stock   string    `json:"stock"`   // id of the label paper
	Layout  string    `json:"layout"`  // "jar", "lid", "spare", "bottle", "neck", "gift", "shelf"
	At      time.Time `json:"at"`
	By      string    `json:"by,omitempty"`
}

// Said is the print in words: "3 Nov 2026 as a jar label on A4, 3 × 7, 63.5 × 38.1 mm".
// nameOf tells the paper of an id by its name for people.
func (p Print) Said(loc *time.Location, nameOf func(id string) string) string {
	day := p.At.In(loc).Format("2 Jan 2006")
	if p.Layout == "shelf" {
		return day + " on a shelf sheet"
	}
	return fmt.Sprintf("%s as a %s label on %s", day, p.Layout, nameOf(p.Stock))
}

// PaperKind names the labels that share a paper with those of this layout: a spare
// tag is a jar's label.
func PaperKind(layout string) string {
	if layout == "spare" {
		return "jar"
	}
	return layout
}

// Printer is how one printer puts things on paper, as its proof page showed:
// where labels are to be asked for so that they land in their places.
type Printer struct {
	Name      string  `json:"name"` // the spooler's, or the maker's own
	OffsetXMM float64 `json:"offset_x_mm"`
	OffsetYMM float64 `json:"offset_y_mm"`
	Scale     float64 `json:"scale"`         // 1: true to size
	DPI       int     `json:"dpi,omitempty"` // 0: what suits the stock
}

const maxPrinterOffsetMM, maxPrinterStretch = 15, 0.05

// Check says all that is wrong with p.
func (p Printer) Check() error {
	var wrong Problems
	checkText(&wrong, "printer", "The printer's name", p.Name, MaxNameRunes, true)
	if strings.HasPrefix(p.Name, "-") || strings.ContainsAny(p.Name, "\n\t") {
		wrong.Add("printer", "A printer's name does not begin with a hyphen, and stands on one line.")
	}
	if !(math.Abs(p.OffsetXMM) <= maxPrinterOffsetMM && math.Abs(p.OffsetYMM) <= maxPrinterOffsetMM) {
		wrong.Add("offset", fmt.Sprintf("A printer's offset is at most %d mm either way.", maxPrinterOffsetMM))
	}
	if !(math.Abs(p.Scale-1) <= maxPrinterStretch) {
		wrong.Add("scale", fmt.Sprintf("A printer's scale is between %.2f and %.2f, not %g.", 1-maxPrinterStretch, 1+maxPrinterStretch, p.Scale))
	}
	switch p.DPI {
	case 0, 203, 300, 360, 600, 720, 1200:
	default:
		wrong.Add("dpi", fmt.Sprintf("The printer's resolution is 203, 300, 360, 600, 720 or 1200 dots per inch, not %d.", p.DPI))
	}
	return wrong.Err()
}
