package labels

import (
	"slices"
	"strings"
	"testing"

	"cruet/labels/readback"
)

func siblingLabels(n int, url func(i int) string) (labels []Label) {
	for i := range n {
		labels = append(labels, SpareLabel{URL: url(i), Tag: testTag(i, 7)})
	}
	return labels
}

// A run's codes are the library's codes, module by module: for short and long
// tags, hosts of either parity, every level, and tags full of digits.
func TestSiblingsAreTheLibrarysCodes(t *testing.T) {
	for _, host := range []string{testHost, "10.0.0.7:8080", "LARDER.LOCAL:8080", "A.B"} {
		for _, n := range []int{6, 7, 15} {
			labels := siblingLabels(400, func(i int) string { return "http://" + host + "/J/" + testTag(i, n) })
			c := newCoder(labels)
			if len(c.families) != 1 {
				t.Errorf("%s, tags of %d: %d families", host, n, len(c.families))
				continue
			}
			different := 0
			for _, l := range labels {
				text, level := l.codeText()
				want := mustCode(t, text, level)
				got, ok := c.families[0].code(text)
				if !ok {
					t.Fatalf("%s is not of its family", text)
				}
				if got.Version != want.Version || got.Level != want.Level || !slices.Equal(got.black, want.black) {
					different++ // another segmentation is right as well, if it reads
					if read, err := readback.Decode(picture(got, 4)); read != text {
						t.Fatalf("%s reads %q, %v", text, read, err)
					}
				}
			}
			if different > len(labels)/100 {
				t.Errorf("%s, tags of %d: %d of %d differ from the library's", host, n, different, len(labels))
			}
		}
	}
}

// Texts that are no family, or not of this one, are left to the library.
func TestStrangersAreNoSiblings(t *testing.T) {
	lower := newCoder(siblingLabels(300, func(i int) string { return "http://host/" + strings.ToLower(testTag(i, 7)) }))
	if len(lower.families) != 0 {
		t.Error("lower-case texts became a family")
	}
	same := newCoder(siblingLabels(300, func(int) string { return "http://HOST/J/AAAAAAA" }))
	if len(same.families) != 0 {
		t.Error("one text became a family")
	}
	c := newCoder(siblingLabels(300, func(i int) string { return "http://HOST/J/" + testTag(i, 7) }))
	if len(c.families) != 1 {
		t.Fatalf("%d families", len(c.families))
	}
	for _, text := range []string{"http://HOST/J/abcdefg", "http://HOST/B/AAAAAAA", "http://HOST/J/AAAAAAAA", "http://HOST/J/0000000"} {
		want := mustCode(t, text, LevelQ)
		got, err := c.code(text, LevelQ)
		if err != nil {
			t.Fatal(err)
		}
		if read, err := readback.Decode(picture(got, 4)); read != text || want.Text != text {
			t.Errorf("%s reads %q, %v", text, read, err)
		}
	}
	if code, err := c.code("http://HOST/J/AAAAAAA", LevelH); err != nil || code.Level < LevelH {
		t.Errorf("asked for H, got %v, %v", code.Level, err)
	}
}
