package labels

import (
	"bytes"
	"io"
	"sync"
	"testing"

	"github.com/jung-kurt/gofpdf"
)

// Several phones may print at once, and the PDF writer changes the bytes of a font
// that it is given. Each face is left as it is; what prints share besides is for the
// race detector to find, with which CI runs this.
func TestPrintsAtOnce(t *testing.T) {
	faces := []*face{}
	for _, f := range builtin() {
		faces = append(faces, f.regular, f.bold)
	}
	for _, set := range documentFaces() {
		faces = append(faces, set...)
	}
	for _, f := range faces {
		before := bytes.Clone(f.ttf)
		var wait sync.WaitGroup
		for range 3 {
			wait.Go(func() {
				pdf := gofpdf.New("P", "mm", "A4", "")
				pdf.AddPage()
				f.addTo(pdf)
				pdf.SetFont(f.family, f.style, 12)
				pdf.Text(10, 10, "Quince")
				if err := pdf.Output(io.Discard); err != nil {
					t.Error(err)
				}
			})
		}
		wait.Wait()
		if !bytes.Equal(f.ttf, before) {
			t.Errorf("the font %s %s is another after a print", f.family, f.style)
		}
	}
}
