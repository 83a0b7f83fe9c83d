package labels

import (
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
// patterns are learned from the library's own codes, and the mask is chosen as for
// every code (see mask.go). What comes out is what NewCode gives, at a fraction of
// its time; where a sample shows that it is not, the library does all the work.

// alphanumeric is the order of the mode's characters (ISO/IEC 18004, table 5).
const alphanumeric = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"

const (
	leastSiblings   = 128 // fewer are not worth learning from
	sampledSiblings = 8
	mostSiblingSize = 41 // version 6; larger symbols carry version bits and split differently
)

// siblings are texts of one length that differ in one stretch.
type siblings struct {
	prefix, suffix string
	length         int
	version        int
	level          Level
	size           int
	base           bitmap // of the text with the stretch full of As, without mask and format
	pairs          []pair
	masks          *masking
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
	s.masks = maskingOf(s.version, s.level)
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
	s.masks.best(plain, best[:2*s.size])
	return bitmap(best[:2*s.size]).code(text, s.version, s.level), true
}

// unmasked is the library's code of a text without its mask and format.
func (s *siblings) unmasked(text string) (bitmap, bool) {
	names := [...]qrcode.RecoveryLevel{qrcode.Low, qrcode.Medium, qrcode.High, qrcode.Highest}
	q, err := qrcode.NewWithForcedVersion(text, s.version, names[s.level])
	if err != nil {
		return nil, false
	}
	q.DisableBorder = true
	b := newBitmap(q.Bitmap())
	s.masks.strip(b)
	return b, true
}
