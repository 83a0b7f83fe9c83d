package labels

import (
	"math/bits"
	"runtime"
	"slices"
	"strings"
	"sync"

	qrcode "github.com/skip2/go-qrcode"
)

// A print run's codes differ in a few characters. Two characters of QR's
// alphanumeric mode are one number of 11 bits, the error correction is linear
// over bits, and a mask is added: so the matrix of a text is that of another,
// with one known pattern of modules turned over for each bit that differs. The
// patterns are learned from the library's own codes, and the mask is chosen as
// the library chooses it, on 64 modules at once. What comes out is the library's
// matrix, at a fraction of its time; where a sample shows that it is not, the
// library does all the work.

// alphanumeric is the order of the mode's characters (ISO/IEC 18004, table 5).
const alphanumeric = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"

const (
	leastSiblings   = 128 // fewer are not worth learning from
	sampledSiblings = 8
	mostSiblingSize = 41 // version 6; larger symbols carry version bits and split differently
)

// bitmap is a symbol's rows, then its columns, a bit a module.
type bitmap []uint64

func (b bitmap) flip(o bitmap) {
	for i := range b {
		b[i] ^= o[i]
	}
}

// siblings are texts of one length that differ in one stretch.
type siblings struct {
	prefix, suffix string
	length         int
	version        int
	level          Level
	size           int
	base           bitmap // of the text with the stretch full of As, without mask and format
	pairs          []pair
	masks          [8]bitmap // with the format that names each
}

// pair is one or two characters that are one number.
type pair struct {
	at, n  int
	zero   int // the number that base has there
	turned []bitmap
}

// value is the pair's number in a text, negative when it cannot be one.
func (p pair) value(text string) int {
	v := 0
	for _, c := range []byte(text[p.at : p.at+p.n]) {
		i := strings.IndexByte(alphanumeric, c)
		if i < 0 {
			return -1
		}
		v = 45*v + i
	}
	return v
}

// coder makes the codes of one print run.
type coder struct{ families []*siblings }

// newCoder learns what the labels' texts have in common.
func newCoder(labels []Label) *coder {
	type kind struct {
		length int
		level  Level
	}
	groups := map[kind][]string{}
	var order []kind
	for _, l := range labels {
		if l == nil {
			continue
		}
		text, level := l.codeText()
		k := kind{len(text), level}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], text)
	}
	c := &coder{}
	for _, k := range order {
		if texts := groups[k]; len(texts) >= leastSiblings {
			if s := newSiblings(texts, k.level); s != nil {
				c.families = append(c.families, s)
			}
		}
	}
	return c
}

// code is NewCode, quicker for texts of the run.
func (c *coder) code(text string, min Level) (Code, error) {
	if c != nil {
		for _, s := range c.families {
			if code, ok := s.code(text); ok && s.level >= min {
				return code, nil
			}
		}
	}
	return NewCode(text, min)
}

// newSiblings learns from texts of one length, or gives nil where that does
// not work.
func newSiblings(texts []string, min Level) *siblings {
	a, b := stretch(texts)
	if a >= b {
		return nil
	}
	for _, single := range []bool{false, true} { // does the last character stand alone?
		if s := learn(texts, a, b, single, min); s != nil {
			return s
		}
	}
	return nil
}

// stretch is where texts of one length differ.
func stretch(texts []string) (a, b int) {
	first := texts[0]
	a, b = len(first), 0
	for _, t := range texts[1:] {
		for i := 0; i < a; i++ {
			if t[i] != first[i] {
				a = i
			}
		}
		for i := len(t) - 1; i >= b; i-- {
			if t[i] != first[i] {
				b = i + 1
			}
		}
	}
	return a, b
}

func learn(texts []string, a, b int, single bool, min Level) *siblings {
	first := texts[0]
	end := len(first)
	s := &siblings{length: end}
	if single {
		end--
		if b > end {
			s.pairs = append(s.pairs, pair{at: end, n: 1})
		}
	}
	for at := end - 2; at >= 0 && at+2 > a; at -= 2 {
		if at < b {
			s.pairs = append(s.pairs, pair{at: at, n: 2})
		}
	}
	if len(s.pairs) == 0 {
		return nil
	}
	s.prefix, s.suffix = first[:a], first[b:]
	base := first[:a] + strings.Repeat("A", b-a) + first[b:]
	best, err := NewCode(base, min)
	if err != nil || best.size > mostSiblingSize || best.Version < 2 {
		return nil
	}
	s.version, s.level, s.size = best.Version, best.Level, best.size
	if !s.learnPatterns(base) || !s.agrees(texts) {
		return nil
	}
	return s
}

// learnPatterns asks the library for codes in which one number differs.
func (s *siblings) learnPatterns(base string) bool {
	for m := range s.masks {
		s.masks[m] = s.mask(m)
	}
	var ok bool
	if s.base, ok = s.unmasked(base); !ok {
		return false
	}
	all := true
	var wg sync.WaitGroup
	done := make([]bool, len(s.pairs))
	for i := range s.pairs {
		wg.Go(func() { done[i] = s.learnPair(&s.pairs[i], base) })
	}
	wg.Wait()
	for _, d := range done {
		all = all && d
	}
	return all
}

func (s *siblings) learnPair(p *pair, base string) bool {
	width, most := 11, 45*45-1
	if p.n == 1 {
		width, most = 6, 44
	}
	if p.zero = p.value(base); p.zero < 0 {
		return false
	}
	for k := range width {
		v := p.zero ^ 1<<k
		if v > most { // with lower bits cleared it is a number that there is
			v &^= 1<<k - 1
		}
		if v > most {
			p.turned = append(p.turned, nil) // no number turns this bit
			continue
		}
		text := base[:p.at] + characters(v, p.n) + base[p.at+p.n:]
		pattern, ok := s.unmasked(text)
		if !ok {
			return false
		}
		pattern.flip(s.base)
		for low := range k {
			if (v^p.zero)>>low&1 == 1 {
				if p.turned[low] == nil {
					return false
				}
				pattern.flip(p.turned[low])
			}
		}
		p.turned = append(p.turned, pattern)
	}
	return true
}

func characters(v, n int) string {
	if n == 1 {
		return alphanumeric[v : v+1]
	}
	return alphanumeric[v/45:v/45+1] + alphanumeric[v%45:v%45+1]
}

// agrees compares samples, module by module, with the library's codes.
func (s *siblings) agrees(texts []string) bool {
	var wg sync.WaitGroup
	wrong := make([]bool, sampledSiblings)
	for i := range sampledSiblings {
		wg.Go(func() {
			text := texts[i*(len(texts)-1)/(sampledSiblings-1)]
			want, err := NewCode(text, s.level)
			got, ok := s.code(text)
			wrong[i] = err != nil || !ok || got.Version != want.Version || got.Level != want.Level || !slices.Equal(got.black, want.black)
		})
		if runtime.GOMAXPROCS(0) == 1 {
			wg.Wait()
		}
	}
	wg.Wait()
	return !slices.Contains(wrong, true)
}

// unmasked is the library's code of a text without its mask and format.
func (s *siblings) unmasked(text string) (bitmap, bool) {
	names := [...]qrcode.RecoveryLevel{qrcode.Low, qrcode.Medium, qrcode.High, qrcode.Highest}
	q, err := qrcode.NewWithForcedVersion(text, s.version, names[s.level])
	if err != nil {
		return nil, false
	}
	q.DisableBorder = true
	rows := q.Bitmap()
	b := make(bitmap, 2*s.size)
	for y, row := range rows {
		for x, black := range row {
			if black {
				b[y] |= 1 << x
				b[s.size+x] |= 1 << y
			}
		}
	}
	// Bits 10 to 12 of the format name the mask; they stand in row 8.
	f := 0
	for i, x := range []int{4, 3, 2} {
		f |= int(b[8]>>x&1) << i
	}
	f = f ^ 0x5412>>10&7
	b.flip(s.masks[f])
	return b, true
}

// mask is a mask's pattern over the data's modules, with the format that names
// it (ISO/IEC 18004, 7.8.2 and 7.9).
func (s *siblings) mask(m int) bitmap {
	b := make(bitmap, 2*s.size)
	set := func(x, y int) { b[y] |= 1 << x; b[s.size+x] |= 1 << y }
	for y := range s.size {
		for x := range s.size {
			if s.isData(x, y) && masks[m](x, y) {
				set(x, y)
			}
		}
	}
	f := formatBits(s.level, m)
	for i := range 15 {
		if f>>i&1 == 0 {
			continue
		}
		// Once along the upper left finder, once split over the other two.
		switch {
		case i < 6:
			set(8, i)
		case i < 8:
			set(8, i+1)
		case i == 8:
			set(7, 8)
		default:
			set(14-i, 8)
		}
		if i < 8 {
			set(s.size-1-i, 8)
		} else {
			set(8, s.size-15+i)
		}
	}
	return b
}

// isData tells the data's modules from the patterns that every symbol has.
func (s *siblings) isData(x, y int) bool {
	n := s.size
	switch {
	case x < 9 && (y < 9 || y >= n-8) || x >= n-8 && y < 9: // finders and format
		return false
	case x == 6 || y == 6: // timing
		return false
	case x >= n-9 && x < n-4 && y >= n-9 && y < n-4: // alignment
		return false
	}
	return true
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

// code is the code of a text of the family.
func (s *siblings) code(text string) (Code, bool) {
	if len(text) != s.length || !strings.HasPrefix(text, s.prefix) || !strings.HasSuffix(text, s.suffix) {
		return Code{}, false
	}
	var work, best [2 * mostSiblingSize]uint64
	plain := bitmap(work[:2*s.size])
	copy(plain, s.base)
	for _, p := range s.pairs {
		v := p.value(text)
		if v < 0 {
			return Code{}, false
		}
		for k, d := 0, v^p.zero; d != 0; k, d = k+1, d>>1 {
			if d&1 == 1 {
				if p.turned[k] == nil {
					return Code{}, false
				}
				plain.flip(p.turned[k])
			}
		}
	}
	least := -1
	for m := range s.masks {
		plain.flip(s.masks[m])
		if score := penalty(plain, s.size); least < 0 || score < least {
			least = score
			copy(best[:], plain)
		}
		plain.flip(s.masks[m])
	}
	c := Code{Text: text, Version: s.version, Level: s.level, size: s.size, black: make([]bool, s.size*s.size)}
	for y := range s.size {
		for row := best[y]; row != 0; row &= row - 1 {
			c.black[y*s.size+bits.TrailingZeros64(row)] = true
		}
	}
	return c, true
}

// penalty scores a masked symbol as the library does, which counts lines of six
// and more where the standard counts from five.
func penalty(b bitmap, n int) int {
	inner := uint64(1)<<(n-1) - 1
	score, dark := 0, 0
	for i, row := range b {
		same := ^(row ^ row>>1) & inner
		long := same & (same >> 1) & (same >> 2) & (same >> 3) & (same >> 4)
		if long != 0 {
			score += bits.OnesCount64(long) + 3*bits.OnesCount64(long&^(long<<1))
		}
		if row&^(row>>1)&(row>>2)&(row>>3)&(row>>4)&^(row>>5)&(row>>6) != 0 {
			score += 40 * finderLike(row, n)
		}
		if i >= n {
			continue
		}
		dark += bits.OnesCount64(row)
		if i > 0 {
			above := b[i-1]
			score += 3 * bits.OnesCount64(same&^(above^above>>1)&^(above^row))
		}
	}
	off := n*n/2 - dark
	return score + 10*(max(off, -off)/(n*n/20))
}

// finderLike counts what looks like a finder pattern in a line, as the library
// does.
func finderLike(row uint64, n int) (count int) {
	seen := uint16(0)
	for x := range n {
		seen = seen<<1 | uint16(row>>x&1)
		if v := seen & 0x7ff; v == 0x05d || v == 0x5d0 || x == n-1 && seen&0x7f == 0x5d {
			count++
			seen = 0xff
		}
	}
	return count
}
