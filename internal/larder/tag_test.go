package larder

import (
	"encoding/csv"
	"errors"
	"math"
	"math/big"
	"os"
	"strings"
	"testing"
)

// alphanumerics are the 36 characters that a person may type.
const alphanumerics = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"

// The published examples stand in two files, each with its source.
func TestCheckCharacterPublished(t *testing.T) {
	rows := 0
	try := func(payload, want, source string) {
		rows++
		if got, ok := CheckCharacter(payload); !ok || string(got) != want {
			t.Errorf("CheckCharacter(%s) = %c, %v; %s says %s", payload, got, ok, source, want)
		}
	}
	for _, row := range readCSV(t, "check-characters.csv") {
		try(row["payload"], row["check"], row["source"])
	}
	for _, row := range readCSV(t, "values.csv") {
		if row["topic"] == "j_check_chars" && row["quantity"] == "check_char_mod37_2" {
			try(strings.TrimPrefix(row["inputs"], "payload="), row["value"], row["source"])
		}
	}
	if rows < 4 {
		t.Errorf("only %d published check characters were found", rows)
	}
}

// readCSV reads a table of published values, row by row under its headings.
func readCSV(t *testing.T, name string) []map[string]string {
	t.Helper()
	file, err := os.Open("../../testdata/reference/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, heading := range rows[0] {
			m[heading] = row[i]
		}
		out = append(out, m)
	}
	return out
}

// Another reading of ISO/IEC 7064: position n from the right, the check
// character at n = 0, has the weight 2^n, and the whole is 1 modulo 37.
func TestCheckCharacterIsThePureSystem(t *testing.T) {
	for _, s := range sampleTags(t) {
		sum := new(big.Int)
		for i := range len(s) {
			v := int64(strings.IndexByte(alphanumerics, s[i]))
			sum.Add(sum, new(big.Int).Lsh(big.NewInt(v), uint(len(s)-1-i)))
		}
		if m := new(big.Int).Mod(sum, big.NewInt(37)).Int64(); m != 1 {
			t.Errorf("the weighted sum of %s is %d modulo 37, not 1", s, m)
		}
	}
}

func TestCheckCharacterRefusesOtherCharacters(t *testing.T) {
	for _, s := range []string{"k7", "K 7", "K-7", "K*", "é"} {
		if c, ok := CheckCharacter(s); ok {
			t.Errorf("CheckCharacter(%q) = %c, want a refusal", s, c)
		}
	}
}

// sampleTags are some hundred tags of every length.
func sampleTags(t *testing.T) []Tag {
	t.Helper()
	var tags []Tag
	for range 40 {
		for _, length := range []int{MinJarTag, MaxJarTag} {
			tag, err := NewJarTag(length)
			if err != nil {
				t.Fatal(err)
			}
			tags = append(tags, tag)
		}
		tag, err := NewBottleTag()
		if err != nil {
			t.Fatal(err)
		}
		tags = append(tags, tag)
	}
	return tags
}

func TestIssuedTags(t *testing.T) {
	seen := map[Tag]bool{}
	for range 700 {
		for _, tag := range sampleTags(t)[:3] {
			if strings.Trim(string(tag), tagAlphabet) != "" {
				t.Fatalf("%s holds a character that is not printed", tag)
			}
			back, taken, err := ParseTag(string(tag))
			if err != nil || back != tag || len(taken) > 0 {
				t.Fatalf("ParseTag(%s) = %s, %v, %v", tag, back, taken, err)
			}
			if tag.IsBottle() && seen[tag] {
				t.Fatalf("the bottle tag %s was drawn twice", tag)
			}
			seen[tag] = true
		}
	}
}

// Every one of the 36 alphanumerics is printed, is read as the one that is
// printed in its stead, or never occurs; the three kinds are told apart.
func TestLookAlikesAndAlphabetAreDisjoint(t *testing.T) {
	for _, r := range alphanumerics {
		as, similar := lookAlikes[r]
		printed := strings.ContainsRune(tagAlphabet, r)
		switch {
		case similar && printed:
			t.Errorf("%c is printed and also read as %c", r, as)
		case similar && !strings.ContainsRune(tagAlphabet, as):
			t.Errorf("%c is read as %c, which is never printed", r, as)
		case !similar && !printed && r != 'A' && r != 'E':
			t.Errorf("%c is neither printed nor read as another", r)
		}
	}
}

// The whole of the claim, for every tag there can be. In a sum of weights
// 2^n·value modulo 37, a substitution changes it by 2^n(a-b) and a swap of
// neighbours by 2^n(2a+b-2b-a) = 2^n(a-b); neither is 0 for a ≠ b, since 37 is
// prime and values lie between 0 and 36. All weights and pairs are tried.
func TestNoSingleErrorHidesInAnyTag(t *testing.T) {
	weight := 1
	for n := range BottleTagLength {
		for _, a := range tagAlphabet {
			for _, b := range tagAlphabet {
				if a == b {
					continue
				}
				va, vb := strings.IndexRune(isoAlphabet, a), strings.IndexRune(isoAlphabet, b)
				if d := weight * (vb - va) % 37; d == 0 {
					t.Errorf("%c for %c at %d from the right stays hidden", b, a, n)
				}
				// The pair ab with weights 2w and w becomes ba.
				if d := (weight*(2*vb+va) - weight*(2*va+vb)) % 37; d == 0 {
					t.Errorf("%c%c swapped at %d from the right stays hidden", a, b, n)
				}
			}
		}
		weight = weight * 2 % 37
	}
}

// The same through ParseTag itself, over every position and all 36 characters.
func TestSubstitutionsAreRefusedOrTheSame(t *testing.T) {
	for _, tag := range sampleTags(t) {
		for i := range len(tag) {
			for _, r := range alphanumerics {
				typed := string(tag[:i]) + string(r) + string(tag[i+1:])
				got, taken, err := ParseTag(typed)
				meant := lookAlikes[r] == rune(tag[i])
				switch {
				case byte(r) == tag[i] && (err != nil || got != tag || len(taken) != 0):
					t.Fatalf("ParseTag(%s) = %s, %v, %v", typed, got, taken, err)
				case meant && (err != nil || got != tag || len(taken) != 1 || taken[0] != Taken{Typed: r, As: rune(tag[i])}):
					t.Fatalf("ParseTag(%s) = %s, %v, %v; want %s and the look-alike told", typed, got, taken, err, tag)
				case byte(r) != tag[i] && !meant && err == nil:
					t.Fatalf("ParseTag(%s) took it for %s, though %s is printed", typed, got, tag)
				}
			}
		}
	}
}

func TestSwapsAreRefused(t *testing.T) {
	for _, tag := range sampleTags(t) {
		for i := range len(tag) - 1 {
			b := []byte(tag)
			b[i], b[i+1] = b[i+1], b[i]
			got, _, err := ParseTag(string(b))
			if same := tag[i] == tag[i+1]; same != (err == nil) {
				t.Fatalf("%s with %d and %d swapped: %s, %v", tag, i, i+1, got, err)
			}
			var bad *TagError
			if err != nil && (!errors.As(err, &bad) || bad.Typed != string(b) || !strings.Contains(bad.Reason, "swapped")) {
				t.Fatalf("%s: the refusal %v does not say what may be wrong", b, err)
			}
		}
	}
}

// A bottle's tag must not be guessed: the tags that can be issued are counted,
// with the check character among the printed ones, by how many prefixes lead to
// each remainder.
func TestBottleTagHasSixtyBits(t *testing.T) {
	counts := [37]float64{0: 1}
	for range BottleTagLength - 1 {
		var next [37]float64
		for p, n := range counts {
			for _, c := range tagAlphabet {
				next[2*(p+strings.IndexRune(isoAlphabet, c))%37] += n
			}
		}
		counts = next
	}
	total := 0.0
	for p, n := range counts {
		if strings.IndexByte(tagAlphabet, isoAlphabet[(38-p)%37]) >= 0 {
			total += n
		}
	}
	if bits := math.Log2(total); bits < 60 {
		t.Errorf("a bottle's tag holds %.2f bits, want at least 60", bits)
	}
}

// With a source that gives each byte value equally often, each free character
// must come up equally often.
func TestDrawTagIsEven(t *testing.T) {
	counts := map[byte]int{}
	random := strings.NewReader(strings.Repeat(allBytes(), 600))
	for {
		tag, err := drawTag(random, 2) // one free character and its check
		if err != nil {
			break
		}
		counts[tag[0]]++
	}
	least, most := math.MaxInt, 0
	for _, n := range counts {
		least, most = min(least, n), max(most, n)
	}
	if len(counts) < 10 || most-least > 1 {
		t.Errorf("the free characters came up between %d and %d times: %v", least, most, counts)
	}
}

func allBytes() string {
	b := make([]byte, 256)
	for i := range b {
		b[i] = byte(i)
	}
	return string(b)
}

func TestNewJarTagLength(t *testing.T) {
	for _, n := range []int{0, 5, 8, BottleTagLength} {
		if tag, err := NewJarTag(n); err == nil {
			t.Errorf("NewJarTag(%d) = %s, want an error", n, tag)
		}
	}
}

func TestParseTag(t *testing.T) {
	tag := sampleTags(t)[0]
	bottle := sampleTags(t)[2]
	spaced := string(tag[:3]) + " - " + string(tag[3:])
	for typed, want := range map[string]Tag{
		strings.ToLower(string(tag)): tag, " " + string(tag) + "\n": tag, spaced: tag,
		bottle.Spaced(): bottle, strings.ToLower(bottle.Spaced()): bottle,
	} {
		if got, _, err := ParseTag(typed); err != nil || got != want {
			t.Errorf("ParseTag(%q) = %s, %v; want %s", typed, got, err, want)
		}
	}
	for typed, says := range map[string]string{
		"": "No tag", " - ": "No tag", "K7RM4": "has 5 characters", string(tag) + "00": "has 8 characters",
		"K7RA40": `'A'`, "K7RÄ40": `'Ä'`, "K7R*40": `'*'`, "K7R\xff40": "never holds", "K7R%20": "never holds",
	} {
		var bad *TagError
		if _, _, err := ParseTag(typed); !errors.As(err, &bad) || !strings.Contains(bad.Reason, says) || bad.Typed != typed {
			t.Errorf("ParseTag(%q): %v, want a refusal that says %q", typed, err, says)
		}
	}
}

// After the scheme only the characters of QR alphanumeric mode stand in a link
// (ISO/IEC 18004, table 5: digits, A-Z, space $ % * + - . / :).
func TestLinkPacksInAlphanumericMode(t *testing.T) {
	const mode = alphanumerics + " $%*+-./:"
	for _, address := range []string{"192.168.1.20:8080", "cellar.local:80", "[fd00::1]:8080"} {
		for _, tag := range sampleTags(t)[:3] {
			rest, ok := strings.CutPrefix(tag.Link(address), "http://")
			if !ok || (!strings.ContainsAny(address, "[]") && strings.Trim(rest, mode) != "") {
				t.Errorf("Link(%s) = %s", address, tag.Link(address))
			}
			want := "/J/" + string(tag)
			if tag.IsBottle() {
				want = "/B/" + string(tag)
			}
			if !strings.HasSuffix(rest, want) {
				t.Errorf("Link(%s) = %s, want it to end in %s", address, rest, want)
			}
		}
	}
}

func FuzzParseTag(f *testing.F) {
	for _, s := range []string{"K7RM40", "k7rm4o", "K7-RM 40", "", "*", "İıſK", "0000001", "\xff\xfe", strings.Repeat("0", BottleTagLength)} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, typed string) {
		tag, taken, err := ParseTag(typed)
		if err != nil {
			var bad *TagError
			if tag != "" || !errors.As(err, &bad) || bad.Typed != typed || bad.Reason == "" {
				t.Fatalf("ParseTag(%q) = %q, %v", typed, tag, err)
			}
			return
		}
		again, none, err := ParseTag(string(tag))
		if err != nil || again != tag || len(none) != 0 {
			t.Fatalf("ParseTag(%q) = %s, which parses to %s, %v, %v", typed, tag, again, none, err)
		}
		if spaced, _, err := ParseTag(tag.Spaced()); err != nil || spaced != tag {
			t.Fatalf("%s does not parse back to %s", tag.Spaced(), tag)
		}
		if len(taken) > len(typed) {
			t.Fatalf("ParseTag(%q) tells of %d look-alikes", typed, len(taken))
		}
	})
}
