package labels

import (
	"math"
	"strings"
	"unicode"
)

const (
	ptPerMM  = 72 / mmPerInch
	ellipsis = "…"
	stepPt   = 0.25     // how finely type sizes are tried
	unbroken = "\u00a0" // a space at which no line ends; drawn as a plain one
)

// block is a text broken into lines at one size.
type block struct {
	face    *face
	sizePt  float64
	lines   []string
	clipped bool // ends in an ellipsis
	broken  bool // a line ends inside a word
}

func mm(pt float64) float64 { return pt / ptPerMM }

// piece is what lies between two places where a line may break. Widths are in
// parts of the type size; tight leaves off the trailing space.
type piece struct {
	text          string
	wide, tightEm float64
}

func pieces(f *face, text string) []piece {
	var list []piece
	runes := []rune(text)
	start := 0
	for i := range runes {
		if i+1 == len(runes) || mayBreak(runes, i) {
			s := string(runes[start : i+1])
			list = append(list, piece{s, f.widthEm(s), f.widthEm(strings.TrimRight(s, " "))})
			start = i + 1
		}
	}
	return list
}

// mayBreak tells whether a line may end after runes[i]: at a space, and at a
// hyphen or slash that stands between words, so that "L-0412" and
// "2026-10-22" stay whole.
func mayBreak(runes []rune, i int) bool {
	switch runes[i] {
	case ' ':
		return true
	case '-', '‐', '–', '—', '/':
		return i >= 2 && i+2 < len(runes) &&
			unicode.IsLetter(runes[i-1]) && unicode.IsLetter(runes[i-2]) &&
			unicode.IsLetter(runes[i+1]) && unicode.IsLetter(runes[i+2])
	}
	return false
}

// wrap breaks a text into at most n lines no wider than widthEm. It fails when
// it needs more, then giving those n, and when a word is too long, unless
// force lets it break inside words.
func wrap(f *face, list []piece, widthEm float64, force bool, n int) (lines []string, ok bool) {
	line, used := "", 0.0
	flush := func() {
		if line != "" {
			lines = append(lines, strings.TrimRight(line, " "))
		}
		line, used = "", 0
	}
	for _, p := range list {
		if len(lines) >= n {
			return lines[:n], false
		}
		if used+p.tightEm > widthEm {
			if p.tightEm <= widthEm {
				flush()
			} else if !force {
				return nil, false
			} else {
				var rest string
				for rest = p.text; f.wider(strings.TrimRight(rest, " "), widthEm-used); {
					if len(lines) >= n {
						return lines[:n], false
					}
					head, hyphen := cut(f, rest, widthEm-used)
					if head == "" && line == "" {
						return nil, false // not even one letter fits
					}
					rest = rest[len(head):]
					line += head + hyphen
					flush()
				}
				p = piece{rest, f.widthEm(rest), 0}
			}
		}
		line += p.text
		used += p.wide
	}
	flush()
	return lines[:min(len(lines), n)], len(lines) <= n
}

// cut takes as much of a word's beginning as fits, keeping marks with their
// letter, and a hyphen where it parts two letters.
func cut(f *face, word string, widthEm float64) (head, hyphen string) {
	hyphenEm := f.advance('-')
	used, end := 0.0, 0
	var before, last, after rune
	for i, r := range word {
		if !unicode.Is(unicode.Mn, r) { // a mark belongs to the letter before it
			end, last, after = i, before, r
		}
		before = r
		if used += max(f.advance(r), 0); used+hyphenEm > widthEm {
			break
		}
	}
	if unicode.IsLetter(last) && unicode.IsLetter(after) {
		hyphen = "-"
	}
	return word[:end], hyphen
}

// fitting is the room and the sizes a text may take.
type fitting struct {
	wMM, hMM     float64
	maxPt, minPt float64
	lines        int     // at most
	lead         float64 // line to line, in parts of the type size
}

// linesAt is how many lines of a size fit; the last needs no leading below.
func (r fitting) linesAt(f *face, pt float64) int {
	if r.hMM < mm(pt)*f.capEm {
		return 0
	}
	n := math.Floor((r.hMM-mm(pt)*f.capEm)/(mm(pt)*r.lead)+1e-9) + 1
	return int(math.Min(n, float64(r.lines)))
}

// fit sets a text as large as its room allows: whole words first, then broken
// words, at the smallest size cut off with an ellipsis. A block without lines
// says that there is no room at all.
func fit(f *face, text string, room fitting) block {
	list := pieces(f, text)
	for _, force := range []bool{false, true} {
		for pt := room.maxPt; pt >= room.minPt-1e-9; pt -= stepPt {
			n := room.linesAt(f, pt)
			if n == 0 {
				continue
			}
			lines, ok := wrap(f, list, room.wMM/mm(pt), force, n)
			if ok && len(lines) > 0 {
				return block{face: f, sizePt: pt, lines: lines, broken: force}
			}
		}
	}
	return clip(f, list, room)
}

func clip(f *face, list []piece, room fitting) block {
	n := room.linesAt(f, room.minPt)
	widthEm := room.wMM / mm(room.minPt)
	lines, _ := wrap(f, list, widthEm, true, n)
	if n == 0 || len(lines) == 0 {
		return block{face: f, sizePt: room.minPt, clipped: true}
	}
	end := len(lines) - 1
	last := []rune(strings.TrimSuffix(lines[end], "-"))
	for len(last) > 0 && f.widthEm(string(last))+f.advance('…') > widthEm {
		last = last[:len(last)-1]
	}
	for len(last) > 0 && (unicode.IsSpace(last[len(last)-1]) || unicode.Is(unicode.Mn, last[len(last)-1])) {
		last = last[:len(last)-1]
	}
	lines[end] = string(last) + ellipsis
	return block{face: f, sizePt: room.minPt, lines: lines, clipped: true, broken: true}
}

// widest is the size at which a single line just fills a width, within limits;
// 0 when it is too long even at the smallest.
func widest(f *face, text string, wMM, maxPt, minPt float64) float64 {
	em := f.widthEm(text)
	if em <= 0 {
		return maxPt
	}
	pt := min(maxPt, wMM*ptPerMM/em)
	if pt < minPt {
		return 0
	}
	return float64(int(pt/stepPt)) * stepPt
}

// whole keeps a phrase, such as a date or an amount, on one line.
func whole(phrase string) string { return strings.ReplaceAll(phrase, " ", unbroken) }
