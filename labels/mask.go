package labels

import (
	"math/bits"
	"slices"
	"sync"
)

// A code may wear any of eight masks, and says which: every reader takes them
// all off. ISO/IEC 18004, 7.8.3 has the encoder score them, mostly against large
// areas of one colour, and the library does so. Two other things lose codes. Where
// the data happen to look like a finder pattern in both directions, a reader may
// take them for one, even of a clean print: all of several thousand clean codes
// that one decoder could not read had such a place. And out of focus, a black
// module among white ones fades first, a checkerboard altogether, while readers
// keep their place in any area. So the mask here is the one with the fewest false
// finders, and of those, the one with the fewest borders between black and white.
// mask_test.go prints what decoders of three families make of either choice.

// bitmap is a symbol's rows, then its columns, a bit a module.
type bitmap []uint64

func newBitmap(rows [][]bool) bitmap {
	size := len(rows)
	b := make(bitmap, 2*size)
	for y, row := range rows {
		for x, black := range row {
			if black {
				b.set(x, y)
			}
		}
	}
	return b
}

func (b bitmap) set(x, y int) {
	b[y] |= 1 << x
	b[len(b)/2+x] |= 1 << y
}

func (b bitmap) flip(o bitmap) {
	for i := range b {
		b[i] ^= o[i]
	}
}

// borders counts the pairs of neighbours of which one is black.
func (b bitmap) borders() (n int) {
	inner := uint64(1)<<(len(b)/2-1) - 1
	for _, line := range b {
		n += bits.OnesCount64((line ^ line>>1) & inner)
	}
	return n
}

// finders counts the black modules in the middle of what looks like a finder
// pattern both along its row and along its column. Of the three real ones that
// is 27, under any mask.
func (b bitmap) finders() (n int) {
	size := len(b) / 2
	for y, row := range b[:size] {
		for along := finderMiddles(row); along != 0; along &= along - 1 {
			n += int(finderMiddles(b[size+bits.TrailingZeros64(along)]) >> y & 1)
		}
	}
	return n
}

// finderMiddles are the modules of a line in a black run of 2 to 5 between single
// ones, white, black and white again, on both sides: what readers that allow for
// half a module take for the 1:1:3:1:1 of a finder.
func finderMiddles(line uint64) (middles uint64) {
	black := line << 1 // the quiet zone before it; that behind it is there
	white := ^black
	found := white & (black >> 1) & (white >> 2) & (black >> 3) & (black >> 4)
	for run := 2; run <= 5 && found != 0; run++ {
		whole := found & (white >> (3 + run)) & (black >> (4 + run)) & (white >> (5 + run))
		for i := range run {
			middles |= whole << (3 + i)
		}
		found &= black >> (3 + run)
	}
	return middles >> 1
}

func (b bitmap) code(text string, version int, level Level) Code {
	size := len(b) / 2
	c := Code{Text: text, Version: version, Level: level, size: size, black: make([]bool, size*size)}
	for y := range size {
		for row := b[y]; row != 0; row &= row - 1 {
			c.black[y*size+bits.TrailingZeros64(row)] = true
		}
	}
	return c
}

// mostMaskedVersion is the largest symbol that gets its mask here; no label's
// text comes near it. A line of it fits 64 bits.
const mostMaskedVersion = 9

// masking is what the masks turn over in a symbol of one version, each with the
// format that names mask and level.
type masking [8]bitmap

var maskings [mostMaskedVersion + 1][LevelH + 1]func() *masking

func init() {
	for version := range maskings {
		for level := range LevelH + 1 {
			maskings[version][level] = sync.OnceValue(func() *masking {
				var all masking
				for m := range all {
					all[m] = maskOf(17+4*version, level, m)
				}
				return &all
			})
		}
	}
}

func maskingOf(version int, level Level) *masking { return maskings[version][level]() }

// strip takes off the mask that a symbol says it wears, and its format.
func (all *masking) strip(b bitmap) {
	// Bits 10 to 12 of the format name the mask; they stand in row 8.
	f := 0
	for i, x := range []int{4, 3, 2} {
		f |= int(b[8]>>x&1) << i
	}
	b.flip(all[f^0x5412>>10&7])
}

// best puts a symbol without mask, under the one that reads best, into out.
func (all *masking) best(plain, out bitmap) {
	finders, borders := -1, 0
	for _, m := range all {
		plain.flip(m)
		f, n := plain.finders(), plain.borders()
		if finders < 0 || f < finders || f == finders && n < borders {
			finders, borders = f, n
			copy(out, plain)
		}
		plain.flip(m)
	}
}

// maskOf is a mask's pattern over the data's modules, with the format that names
// it (ISO/IEC 18004, 7.8.2 and 7.9).
func maskOf(size int, level Level, mask int) bitmap {
	b := make(bitmap, 2*size)
	for y := range size {
		for x := range size {
			if isData(size, x, y) && masks[mask](x, y) {
				b.set(x, y)
			}
		}
	}
	f := formatBits(level, mask)
	for i := range 15 {
		if f>>i&1 == 0 {
			continue
		}
		// Once along the upper left finder, once split over the other two.
		switch {
		case i < 6:
			b.set(8, i)
		case i < 8:
			b.set(8, i+1)
		case i == 8:
			b.set(7, 8)
		default:
			b.set(14-i, 8)
		}
		if i < 8 {
			b.set(size-1-i, 8)
		} else {
			b.set(8, size-15+i)
		}
	}
	return b
}

// isData tells the data's modules from the patterns that every symbol has.
func isData(size, x, y int) bool {
	n := size
	switch {
	case x < 9 && (y < 9 || y >= n-8) || x >= n-8 && y < 9: // finders and format
		return false
	case x == 6 || y == 6: // timing
		return false
	case size >= 45 && (x >= n-11 && y < 6 || y >= n-11 && x < 6): // version
		return false
	}
	near := func(at int) int { // the centre of alignment patterns that is within reach
		return slices.IndexFunc(alignments[(size-17)/4], func(centre int) bool { return max(at-centre, centre-at) <= 2 })
	}
	i, j, last := near(x), near(y), len(alignments[(size-17)/4])-1
	if i < 0 || j < 0 {
		return true
	}
	// Where a finder stands there is none.
	return i == 0 && j == 0 || i == 0 && j == last || i == last && j == 0
}

// alignments are the coordinates of alignment patterns' centres, by version
// (ISO/IEC 18004, annex E).
var alignments = [mostMaskedVersion + 1][]int{
	2: {6, 18}, 3: {6, 22}, 4: {6, 26}, 5: {6, 30}, 6: {6, 34},
	7: {6, 22, 38}, 8: {6, 24, 42}, 9: {6, 26, 46},
}

// masks are the conditions of ISO/IEC 18004, table 10.
var masks = [8]func(x, y int) bool{
	func(x, y int) bool { return (x+y)%2 == 0 },
	func(_, y int) bool { return y%2 == 0 },
	func(x, _ int) bool { return x%3 == 0 },
	func(x, y int) bool { return (x+y)%3 == 0 },
	func(x, y int) bool { return (y/2+x/3)%2 == 0 },
	func(x, y int) bool { return x*y%2+x*y%3 == 0 },
	func(x, y int) bool { return (x*y%2+x*y%3)%2 == 0 },
	func(x, y int) bool { return ((x+y)%2+x*y%3)%2 == 0 },
}

// formatBits are level and mask with their BCH check (ISO/IEC 18004, 7.9).
func formatBits(level Level, mask int) int {
	data := [...]int{1, 0, 3, 2}[level]<<3 | mask
	rest := data << 10
	for i := 14; i >= 10; i-- {
		if rest>>i&1 == 1 {
			rest ^= 0x537 << (i - 10)
		}
	}
	return (data<<10 | rest) ^ 0x5412
}
