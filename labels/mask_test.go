package labels

import (
	"fmt"
	"image"
	"strings"
	"testing"

	"cruet/labels/readback"

	qrcode "github.com/skip2/go-qrcode"
)

// underMasks is the library's code of a text, under each of the eight masks.
func underMasks(t testing.TB, text string, version int, level Level) (list [8]Code) {
	t.Helper()
	q, err := qrcode.NewWithForcedVersion(text, version, [...]qrcode.RecoveryLevel{qrcode.Low, qrcode.Medium, qrcode.High, qrcode.Highest}[level])
	if err != nil {
		t.Fatal(err)
	}
	q.DisableBorder = true
	b, all := newBitmap(q.Bitmap()), maskingOf(version, level)
	all.strip(b)
	for m, mask := range all {
		b.flip(mask)
		list[m] = b.code(text, version, level)
		b.flip(mask)
	}
	return list
}

// Every version, level and mask that a label's code may have is read, by
// decoders that share nothing with the encoder; so masks, formats and the places
// of all patterns are the standard's.
func TestEveryMaskReads(t *testing.T) {
	t.Parallel()
	var texts []string
	var pictures []*image.Gray
	for version := 1; version <= mostMaskedVersion; version++ {
		for level := range LevelH + 1 {
			for m, c := range underMasks(t, fmt.Sprint("M", version, level), version, level) {
				texts, pictures = append(texts, c.Text), append(pictures, picture(c, 4))
				if c.Size() != 17+4*version {
					t.Errorf("mask %d: %d modules in version %d", m, c.Size(), version)
				}
			}
		}
	}
	for _, d := range decodersHere(t) {
		for i, read := range d.read(t, pictures) {
			if read != texts[i] {
				t.Errorf("%s reads %q of version %d, level %v, mask %d", d.name, read, i/32+1, Level(i/8%4), i%8)
			}
		}
	}
}

// Of the eight masks a code wears the one with the fewest false finders and then
// borders, counted here module by module; the text is its own either way.
func TestCodesWearTheBestMask(t *testing.T) {
	texts := []string{"A", "http://10.0.0.7:8080/J/K7RM4T", strings.Repeat("long ", 18)}
	for i := range 200 {
		texts = append(texts, addressOf(i)+"/J/"+testTag(i, 7), addressOf(i)+"/B/"+testTag(i, 13))
	}
	avoided := 0
	for _, text := range texts {
		c := mustCode(t, text, LevelQ)
		finders, borders := falseFinders(c), bordersOf(c)
		for m, other := range underMasks(t, text, c.Version, c.Level) {
			f, b := falseFinders(other), bordersOf(other)
			if f < finders || f == finders && b < borders {
				t.Errorf("%q: %d false finders, %d borders; under mask %d %d, %d", text, finders, borders, m, f, b)
			}
			if f > finders && b < borders {
				avoided++
			}
		}
		if got, err := readback.Decode(picture(c, 4)); got != text {
			t.Errorf("reads %q, want %q (%v)", got, text, err)
		}
	}
	if avoided == 0 {
		t.Error("no text of these has a mask with fewer borders and more false finders")
	}
}

func bordersOf(c Code) (n int) {
	for y := range c.Size() {
		for x := range c.Size() {
			if x > 0 && c.Black(x, y) != c.Black(x-1, y) {
				n++
			}
			if y > 0 && c.Black(x, y) != c.Black(x, y-1) {
				n++
			}
		}
	}
	return n
}

func falseFinders(c Code) (n int) {
	for y := range c.Size() {
		for x := range c.Size() {
			if likeFinder(func(i int) bool { return c.Black(i, y) }, x) && likeFinder(func(i int) bool { return c.Black(x, i) }, y) {
				n++
			}
		}
	}
	return n
}

// likeFinder tells whether the black run that a place lies in is 2 to 5 long, and
// has runs of one white and one black module before and behind it.
func likeFinder(black func(i int) bool, at int) bool {
	if !black(at) {
		return false
	}
	first, last := at, at
	for black(first - 1) {
		first--
	}
	for black(last + 1) {
		last++
	}
	run := last - first + 1
	return run >= 2 && run <= 5 && black(first-2) && !black(first-3) && black(last+2) && !black(last+3)
}

// A clean print is read, whatever its text.
func TestCleanCodesAllRead(t *testing.T) {
	t.Parallel()
	const n = 1500
	failed := make([]string, n)
	inParallel(n, func(i int) {
		text, level := addressOf(i)+"/J/"+testTag(i, 7), LevelQ
		if i%2 == 1 {
			text, level = addressOf(i)+"/B/"+testTag(i, 13), LevelM
		}
		c, err := NewCode(text, level)
		if err != nil {
			failed[i] = err.Error()
		} else if got, err := readback.Decode(picture(c, 4)); got != text {
			failed[i] = fmt.Sprintf("%q reads %q: %v", text, got, err)
		}
	})
	for _, f := range failed {
		if f != "" {
			t.Error(f)
		}
	}
}

// Why the mask matters: the same text in the same place, under the library's
// choice of mask and under ours, photographed out of focus and on a jar.
func TestBestMaskReadsBest(t *testing.T) {
	t.Parallel()
	const dots, dpi, texts = 5, 203, 60
	print := func(c Code) target {
		module := dots * DotMM(dpi)
		middle := float64(c.Size()+2*QuietModules) * module / 2
		return target{text: c.Text, picture: picture(c, dots), perMM: dpi / mmPerInch, xMM: middle, yMM: middle, sideMM: module * float64(c.Size()), moduleMM: module}
	}
	var first, second []target
	for i := range texts {
		text := addressOf(i) + "/J/" + testTag(i, 7)
		c := mustCode(t, text, LevelQ)
		q, err := encode(text, c.Level)
		if err != nil {
			t.Fatal(err)
		}
		first, second = append(first, print(c)), append(second, print(fromRows(text, c.Version, c.Level, q.Bitmap())))
	}
	for _, s := range []shot{{blurPx: 1.6}, {blurPx: 2}, {blurPx: 2.6}, {diameterMM: 76, turnDeg: 20}} {
		s.dpi = dpi
		var all photos
		for i := range first {
			all.texts = append(all.texts, first[i].text)
			all.ours, all.plain = append(all.ours, viewOf(first[i], s, uint64(i))), append(all.plain, viewOf(second[i], s, uint64(i)))
		}
		for _, d := range decodersHere(t) {
			ours, theirs := all.right(t, d, all.ours), all.right(t, d, all.plain)
			mark := compare(t, fmt.Sprintf("%+v by %s", s, d.name), ours, theirs)
			t.Logf("blur %.1f px, turned %2.0f deg: %-7s reads %2d %s %2d of %d under the library's mask", s.blurPx, s.turnDeg, d.name, count(ours), mark, count(theirs), texts)
		}
	}
}
