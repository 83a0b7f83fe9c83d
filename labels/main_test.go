package labels

import (
	"bytes"
	"fmt"
	"image"
	"math"
	"sync"
	"testing"
	"time"

	"cruet/labels/readback/pdfium"
)

// One rasteriser for all tests: starting it takes seconds.
var rasteriser = sync.OnceValues(pdfium.New)

var rasterLock sync.Mutex

// pages rasterises a PDF.
func pages(t testing.TB, pdf []byte, dpi int) []*image.Gray {
	t.Helper()
	rasterLock.Lock()
	defer rasterLock.Unlock()
	r, err := rasteriser()
	if err != nil {
		t.Fatal(err)
	}
	var list []*image.Gray
	err = r.Pages(pdf, dpi, func(_ int, picture *image.Gray) error {
		list = append(list, picture)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

var testDate = time.Date(2026, 10, 22, 12, 0, 0, 0, time.UTC)

func mustStock(t testing.TB, id string) Stock {
	t.Helper()
	s, err := StockByID(id)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func write(t testing.TB, sheet Sheet, labels ...Label) []byte {
	t.Helper()
	sheet.Date = testDate
	var b bytes.Buffer
	if err := Write(&b, sheet, labels); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// crop cuts the i-th place of a page out of its picture.
func crop(picture *image.Gray, s Stock, i int) *image.Gray {
	x, y := s.Place(i)
	kx, ky := float64(picture.Rect.Dx())/s.PageWMM, float64(picture.Rect.Dy())/s.PageHMM
	r := image.Rect(int(math.Round(x*kx)), int(math.Round(y*ky)), int(math.Round((x+s.LabelWMM)*kx)), int(math.Round((y+s.LabelHMM)*ky)))
	return picture.SubImage(r).(*image.Gray)
}

const testHost = "192.168.178.114:8080"

// testTag makes tags of the shape that jars wear; their check characters do
// not matter here.
func testTag(i, n int) string {
	const letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	tag := make([]byte, n)
	for k := range tag {
		i = (i*1103515245 + 12345) & 0x7fffffff
		tag[k] = letters[i>>16&31]
	}
	return string(tag)
}

func testJar(i int) JarLabel {
	tag := testTag(i, 7)
	return JarLabel{URL: "http://" + testHost + "/J/" + tag, Tag: tag, Batch: uglyNames[i%len(uglyNames)], Jar: string(rune('A' + i%6)),
		Started: "about 22 Oct 2026", Next: []string{"strain 29 Nov – 6 Dec", "taste from 3 Jan 2027"}}
}

func testSpare(i int) SpareLabel {
	tag := testTag(i, 7)
	return SpareLabel{URL: "http://" + testHost + "/J/" + tag, Tag: tag}
}

func testBottle(i int) BottleLabel {
	tag := testTag(i, 13)
	return BottleLabel{URL: "http://" + testHost + "/B/" + tag, Tag: tag, Name: uglyNames[i%len(uglyNames)], Acidity: "5.0 % acidity",
		Bottled: "3 Jan 2027", Net: NetText(250), Ingredients: "ale (water, barley malt, yeast), vinegar mother", Lot: "L0412",
		Number: fmt.Sprintf("bottle %d of 12", i%12+1), Cautions: []string{"Not for canning or preserving."}, Maker: "Quince Yard"}
}

// uglyNames are what a maker might call a batch, and what goes wrong with it.
var uglyNames = []string{
	"Pear trimmings",
	"Quince juice, second pressing from the old tree behind the barn, not the young one",
	"Supercalifragilisticvinegarwithoutanyspaceswhatsoever",
	"Apfelschalen Süßmost",
	"Γλυκό ξύδι από μήλα",
	"Яблочный уксус Ґедзь",
	`"<>&()\\ %s 100 % {x}`,
	"Cre\u0301me bru\u0302le\u0301e, combining", // composed to one letter each
	"Dấm táo mèo",                               // Vietnamese
	"ж\u0301 a\u0327\u0301",                     // marks that no single letter has
	"A",
	"well-kept half-and-half cider-vinegar",
	"Ωμέγα Ὕδωρ polytonic",
}
