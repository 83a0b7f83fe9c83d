package labels

import (
	"bytes"
	"flag"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"testing"
)

// go test ./labels -run Golden -update writes the goldens anew; look at them
// before committing.
var update = flag.Bool("update", false, "write the golden files anew")

const goldenDir = "../testdata/labels"

// goldens are looked at by people: what is drawn where, in mm, as text, and
// the label as a picture.
var goldens = []struct{ stock, kind string }{
	{"letter-3x10", "jar"}, {"letter-3x10", "bottle"}, {"letter-3x10", "spare"},
	{"a4-3x8", "jar"}, {"a4-3x8", "bottle"},
	{"roll-57x32", "jar"}, {"roll-57x32", "bottle"},
	{"letter-2x5", "jar"}, {"letter-2x3", "bottle"}, {"letter-3x4-round51", "lid"}, {"letter-2x10", "neck"}, {"a4-2x2", "gift"},
}

// goldenLabels are the scenario's jars: a plain name, and one that has to give way.
func goldenLabels(kind string) map[string]Label {
	plain, long := "Pear trimmings", "Quince juice, second pressing from the old tree"
	jar := JarLabel{URL: "http://" + testHost + "/J/K7RM4TX", Tag: "K7RM4TX", Batch: plain, Jar: "A", Started: "22 Oct 2026", Next: []string{"strain 29 Nov – 6 Dec", "taste from 3 Jan 2027"}}
	bottle := testBottle(6)
	bottle.Name, bottle.Maker = "Barley vinegar", "Quince Yard"
	switch kind {
	case "spare":
		return map[string]Label{"": SpareLabel{URL: jar.URL, Tag: jar.Tag}}
	case "bottle":
		unmeasured := bottle
		unmeasured.Name, unmeasured.Acidity = long, "acidity not measured"
		return map[string]Label{"": bottle, "-long": unmeasured}
	case "neck":
		return map[string]Label{"": NeckLabel{bottle}}
	case "gift":
		return map[string]Label{"": GiftLabel{bottle, "the neighbours at no. 4", "From the summer's ale, with thanks for the plums.", []string{"dressings", "red cabbage", "cleaning windows"}}}
	}
	wordy := jar
	wordy.Batch, wordy.Jar, wordy.Started = long, "B", "about 22 Oct 2026"
	if kind == "lid" {
		return map[string]Label{"": LidLabel{jar}, "-long": LidLabel{wordy}}
	}
	return map[string]Label{"": jar, "-long": wordy}
}

func TestGoldens(t *testing.T) {
	for _, g := range goldens {
		s := mustStock(t, g.stock)
		for suffix, l := range goldenLabels(g.kind) {
			name := g.stock + "-" + g.kind + suffix
			d, err := Draw(Sheet{Stock: s}, l)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			goldenText(t, name+".txt", d.String())
			goldenPicture(t, name+".png", crop(pages(t, write(t, Sheet{Stock: s, Outlines: true}, l), 150)[0], s, 0))
		}
	}
}

func goldenText(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join(goldenDir, name)
	if *update {
		save(t, path, []byte(got))
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; now:\n%s\nwas:\n%s", name, got, want)
	}
}

// goldenPicture allows a hair of difference at the edges of letters.
func goldenPicture(t *testing.T, name string, got *image.Gray) {
	t.Helper()
	path := filepath.Join(goldenDir, name)
	if *update {
		var b bytes.Buffer
		if err := png.Encode(&b, got); err != nil {
			t.Fatal(err)
		}
		save(t, path, b.Bytes())
	}
	want := loadGray(t, path)
	if want.Rect.Size() != got.Rect.Size() {
		t.Fatalf("%s is %v, was %v", name, got.Rect.Size(), want.Rect.Size())
	}
	off := 0
	for y := range want.Rect.Dy() {
		for x := range want.Rect.Dx() {
			a, b := int(want.GrayAt(x, y).Y), int(got.GrayAt(got.Rect.Min.X+x, got.Rect.Min.Y+y).Y)
			if a-b > 64 || b-a > 64 {
				off++
			}
		}
	}
	if off*1000 > want.Rect.Dx()*want.Rect.Dy() {
		t.Errorf("%s: %d of %d pixels differ", name, off, want.Rect.Dx()*want.Rect.Dy())
	}
}

func save(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.MkdirAll(goldenDir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}
