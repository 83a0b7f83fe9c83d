package main

import (
	"strings"

	"cruet/labels"
)

// terminalQR draws the code of text with half blocks, two rows of modules a
// line, with its quiet zone. ansi sets black on white by escape codes, so that
// the code reads on dark and light terminals; without it the ink is the
// module, as on paper.
func terminalQR(text string, ansi bool) (string, error) {
	code, err := labels.NewCode(text, labels.LevelM)
	if err != nil {
		return "", err
	}
	// From the 256-colour cube, whose black and white no theme redefines.
	const blackOnWhite, reset = "\x1b[38;5;16;48;5;231m", "\x1b[0m"
	var b strings.Builder
	for y := -labels.QuietModules; y < code.Size()+labels.QuietModules; y += 2 {
		if ansi {
			b.WriteString(blackOnWhite)
		}
		for x := -labels.QuietModules; x < code.Size()+labels.QuietModules; x++ {
			switch top, bottom := code.Black(x, y), code.Black(x, y+1); {
			case top && bottom:
				b.WriteRune('█')
			case top:
				b.WriteRune('▀')
			case bottom:
				b.WriteRune('▄')
			default:
				b.WriteByte(' ')
			}
		}
		if ansi {
			b.WriteString(reset)
		}
		b.WriteByte('\n')
	}
	return b.String(), nil
}
