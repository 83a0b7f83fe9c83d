// Package labels says what stands on a label and where, and writes sheets of
// labels as PDF: stocks (the paper), layouts (what goes where, in
// millimetres), codes drawn as vector paths on the printer's own dots, and
// the text set in embedded fonts.
//
// Millimetres throughout, measured from the top left corner: of the page for
// places, of the die cut for what is drawn on a label. Type sizes are in
// points (1/72 inch), as printers give them.
package labels
