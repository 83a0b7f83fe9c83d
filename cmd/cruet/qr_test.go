package main

import (
	"image"
	"image/color"
	"regexp"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"cruet/labels"
)

// What the terminal shows is read back by an independent decoder, gozxing, and
// must have the quiet zone of ISO/IEC 18004.
func TestTerminalCodeReadsBack(t *testing.T) {
	const url = "http://192.168.178.120:8080/"
	for _, ansi := range []bool{false, true} {
		text, err := terminalQR(url, ansi)
		if err != nil {
			t.Fatal(err)
		}
		if ansi != strings.Contains(text, "\x1b[") {
			t.Errorf("ansi %v: escape codes are the other way round", ansi)
		}
		modules := seen(text)
		for y, row := range modules {
			for x, black := range row {
				edge := y < labels.QuietModules || x < labels.QuietModules || x >= len(row)-labels.QuietModules || y >= len(row)-labels.QuietModules
				if black && edge {
					t.Fatalf("ansi %v: a black module at %d, %d stands in the quiet zone", ansi, x, y)
				}
			}
		}
		bitmap, err := gozxing.NewBinaryBitmapFromImage(picture(modules))
		if err != nil {
			t.Fatal(err)
		}
		r, err := qrcode.NewQRCodeReader().Decode(bitmap, nil)
		if err != nil {
			t.Fatalf("ansi %v: %v\n%s", ansi, err, text)
		}
		if r.GetText() != url {
			t.Errorf("ansi %v: read %q", ansi, r.GetText())
		}
	}
}

var escape = regexp.MustCompile("\x1b\\[[0-9;]*m")

// seen is the modules as a person sees them: two rows a line.
func seen(text string) [][]bool {
	var rows [][]bool
	for _, line := range strings.Split(strings.TrimSuffix(escape.ReplaceAllString(text, ""), "\n"), "\n") {
		var top, bottom []bool
		for _, r := range line {
			top = append(top, r == '█' || r == '▀')
			bottom = append(bottom, r == '█' || r == '▄')
		}
		rows = append(rows, top, bottom)
	}
	return rows
}

func picture(modules [][]bool) image.Image {
	const px = 6
	img := image.NewGray(image.Rect(0, 0, len(modules[0])*px, len(modules)*px))
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			if !modules[y/px][x/px] {
				img.SetGray(x, y, color.Gray{Y: 255})
			}
		}
	}
	return img
}
