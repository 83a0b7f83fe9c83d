package larder

import (
	"crypto/rand"
	"fmt"
	"io"
	"slices"
	"strings"
)

// Tag is the code on a label in its canonical form: upper case, no separators,
// check character last. Jar and spare tags have 6 or 7 characters, bottle tags 15.
type Tag string

// tagAlphabet holds one character of every group that the eye confuses, and no
// vowels, so that no tag spells a word. lookAlikes sends the others of a group
// to the one that is printed.
const (
	tagAlphabet = "0123456789CDFHJKMNPRTVWXY"

	// MinJarTag and MaxJarTag are the lengths of a jar's tag, short enough to type.
	MinJarTag = 6
	MaxJarTag = 7
	// BottleTagLength leaves 14 free characters of 25, of which the check
	// character lets about 25 in 37 through: more than 2^64 tags, so that whoever
	// holds one bottle cannot guess another's page.
	BottleTagLength = 15
)

var lookAlikes = map[rune]rune{
	'O': '0', 'Q': '0', 'I': '1', 'L': '1', 'Z': '2', 'S': '5', 'G': '6', 'B': '8', 'U': 'V',
}

// isoAlphabet gives the values 0 to 36 of ISO/IEC 7064 MOD 37-2.
const isoAlphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"

// CheckCharacter is the ISO/IEC 7064 MOD 37-2 check character of s, which holds
// only 0-9 and A-Z; it may be `*`. ok is false when s holds anything else.
func CheckCharacter(s string) (check byte, ok bool) {
	p := 0
	for i := 0; i < len(s); i++ {
		v := strings.IndexByte(isoAlphabet[:36], s[i])
		if v < 0 {
			return 0, false
		}
		p = 2 * (p + v) % 37
	}
	return isoAlphabet[(38-p)%37], true
}

// TagError says why a typed or scanned tag was refused.
type TagError struct {
	Typed  string
	Reason string
}

func (e *TagError) Error() string { return e.Reason }

// Taken tells that a look-alike was typed and which character it was taken for.
type Taken struct{ Typed, As rune }

// ParseTag reads a tag as a person types it: either case, spaces and hyphens
// anywhere, look-alikes forgiven and reported. A single wrong character, or two
// neighbours swapped, always fails the check. The error is a *TagError.
func ParseTag(typed string) (Tag, []Taken, error) {
	var taken []Taken
	var b strings.Builder
	for _, r := range strings.ToUpper(strings.TrimSpace(typed)) {
		if r == '-' || r == ' ' {
			continue
		}
		if as, ok := lookAlikes[r]; ok {
			taken = append(taken, Taken{Typed: r, As: as})
			r = as
		}
		if !strings.ContainsRune(tagAlphabet, r) {
			return "", nil, &TagError{typed, fmt.Sprintf("A tag never holds the character %q. Look at the label again: tags use the digits and the letters C D F H J K M N P R T V W X Y.", r)}
		}
		b.WriteRune(r)
	}
	tag := b.String()
	switch n := len(tag); {
	case n == 0:
		return "", nil, &TagError{typed, "No tag was typed. Type the large code printed on the label."}
	case n != MinJarTag && n != MaxJarTag && n != BottleTagLength:
		return "", nil, &TagError{typed, fmt.Sprintf("%s has %d characters; a jar's tag has %d or %d and a bottle's %d. One may be missing or doubled.", tag, n, MinJarTag, MaxJarTag, BottleTagLength)}
	}
	if check, _ := CheckCharacter(tag[:len(tag)-1]); check != tag[len(tag)-1] {
		return "", nil, &TagError{typed, tag + " is mistyped: one character is wrong, or two neighbours are swapped. Compare it with the label, character by character."}
	}
	return Tag(tag), taken, nil
}

// IsBottle tells a bottle's tag from a jar's.
func (t Tag) IsBottle() bool { return len(t) == BottleTagLength }

// String is the tag as stored and encoded.
func (t Tag) String() string { return string(t) }

// Spaced is the tag as pages and labels write it for reading aloud and typing: a
// bottle's in groups of five, a jar's whole.
func (t Tag) Spaced() string {
	const group = 5
	if len(t) <= MaxJarTag {
		return string(t)
	}
	var groups []string
	for s := range slices.Chunk([]byte(t), group) {
		groups = append(groups, string(s))
	}
	return strings.Join(groups, "-")
}

// Link is the text of the label's code: the scheme in lower case, since some
// phones open nothing else, all the rest in upper case, so that it packs in the
// alphanumeric mode of ISO/IEC 18004. address is HOST:PORT.
func (t Tag) Link(address string) string {
	kind := "/J/"
	if t.IsBottle() {
		kind = "/B/"
	}
	return "http://" + strings.ToUpper(address) + kind + string(t)
}

// NewJarTag draws a jar tag of length characters (MinJarTag or MaxJarTag).
func NewJarTag(length int) (Tag, error) {
	if length != MinJarTag && length != MaxJarTag {
		return "", fmt.Errorf("larder: a jar tag has %d or %d characters, not %d", MinJarTag, MaxJarTag, length)
	}
	return drawTag(rand.Reader, length)
}

// NewBottleTag draws a bottle tag.
func NewBottleTag() (Tag, error) { return drawTag(rand.Reader, BottleTagLength) }

// drawTag draws until the check character is one that we print: never `*`,
// which would be escaped in an address, and never a look-alike.
func drawTag(random io.Reader, length int) (Tag, error) {
	for {
		data := make([]byte, 0, length)
		for len(data) < length-1 {
			var one [1]byte
			if _, err := io.ReadFull(random, one[:]); err != nil {
				return "", fmt.Errorf("larder: drawing a tag: %w", err)
			}
			// 250 is the largest multiple of 25 in a byte; beyond it the
			// remainder would favour the first characters.
			if one[0] < 250 {
				data = append(data, tagAlphabet[one[0]%25])
			}
		}
		check, _ := CheckCharacter(string(data))
		if strings.IndexByte(tagAlphabet, check) >= 0 {
			return Tag(append(data, check)), nil
		}
	}
}
