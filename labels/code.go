package labels

import (
	"strconv"
	"unicode/utf8"

	qrcode "github.com/skip2/go-qrcode"
)

// Level is how much of a code may be lost and still be read (ISO/IEC 18004):
// about 7, 15, 25 and 30 % of its codewords.
type Level int

// The error-correction levels, weakest first.
const (
	LevelL Level = iota
	LevelM
	LevelQ
	LevelH
)

func (l Level) String() string { return string("LMQH"[l]) }

// QuietModules is the white border a code needs on every side (ISO/IEC 18004).
const QuietModules = 4

// Code is a QR code: a square of modules, black or white, without its quiet
// zone. It knows nothing of labels.
type Code struct {
	Text    string
	Version int
	Level   Level
	size    int
	black   []bool // row by row
}

// Size is the number of modules a side: 21 for version 1, 4 more per version.
func (c Code) Size() int { return c.size }

// Black tells whether the module in column x of row y is black; outside the
// symbol, in the quiet zone, none is.
func (c Code) Black(x, y int) bool {
	return x >= 0 && y >= 0 && x < c.size && y < c.size && c.black[y*c.size+x]
}

// NewCode encodes text in the smallest version that holds it at level min or
// better, and at the highest level which that version gives for free.
func NewCode(text string, min Level) (Code, error) {
	if text == "" {
		return Code{}, refuse("code", "A code needs a text to carry; none was given.")
	}
	if min < LevelL || min > LevelH {
		return Code{}, refuse("code", "Error-correction level %d does not exist; choose L, M, Q or H.", min)
	}
	best, err := encode(text, min)
	if err != nil {
		return Code{}, refuse("code", "The code's text is %d characters long, more than any QR code holds at level %v. Use a shorter address.", utf8.RuneCountInString(text), min)
	}
	level := min
	for higher := min + 1; higher <= LevelH; higher++ {
		q, err := encode(text, higher)
		if err != nil || q.VersionNumber > best.VersionNumber {
			break
		}
		best, level = q, higher
	}
	return remasked(text, best.VersionNumber, level, best.Bitmap()), nil
}

// remasked is the library's code of a text, under the mask that reads best.
func remasked(text string, version int, level Level, rows [][]bool) Code {
	if version > mostMaskedVersion {
		return fromRows(text, version, level, rows)
	}
	b, m := newBitmap(rows), maskingOf(version, level)
	m.strip(b)
	out := make(bitmap, len(b))
	m.best(b, out)
	return out.code(text, version, level)
}

func encode(text string, level Level) (*qrcode.QRCode, error) {
	// The library's names lie one step beside the standard's letters: its
	// High is Q, its Highest is H.
	names := [...]qrcode.RecoveryLevel{qrcode.Low, qrcode.Medium, qrcode.High, qrcode.Highest}
	q, err := qrcode.New(text, names[level])
	if err != nil {
		return nil, err
	}
	q.DisableBorder = true // only heeded before the first Bitmap
	return q, nil
}

func fromRows(text string, version int, level Level, rows [][]bool) Code {
	c := Code{Text: text, Version: version, Level: level, size: len(rows)}
	c.black = make([]bool, 0, c.size*c.size)
	for _, row := range rows {
		c.black = append(c.black, row...)
	}
	return c
}

// run is a black rectangle of whole modules.
type run struct{ x, y, w, h int }

// runs covers exactly the black modules with rectangles that do not overlap:
// the runs of each row, joined with the same run of the rows above.
func (c Code) runs() []run {
	done := make([]run, 0, 8*c.size)
	open := make([]run, c.size) // by the column they begin in; h 0: none
	row := make([]int, c.size)  // widths of this row's runs, likewise
	for y := 0; y <= c.size; y++ {
		clear(row)
		for x := 0; x < c.size; x++ {
			start := x
			for c.Black(x, y) {
				x++
			}
			if x > start {
				row[start] = x - start
			}
		}
		for x, r := range open {
			if r.h > 0 && row[x] == r.w {
				open[x].h++
				continue
			}
			if r.h > 0 {
				done = append(done, r)
			}
			open[x] = run{}
			if row[x] > 0 {
				open[x] = run{x, y, row[x], 1}
			}
		}
	}
	return done
}

// path is the code's black modules as PDF rectangles, a module wide 1.
func (c Code) path() []byte {
	runs := c.runs()
	out := make([]byte, 0, 14*len(runs))
	for _, r := range runs {
		for _, n := range [...]int{r.x, r.y, r.w, r.h} {
			out = append(strconv.AppendInt(out, int64(n), 10), ' ')
		}
		out = append(out, "re\n"...)
	}
	return out
}
