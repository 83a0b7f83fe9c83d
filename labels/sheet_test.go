package labels

import (
	"testing"

	"cruet/labels/readback"
)

// A picture of a whole sheet gives every code on it, as a scan of a printed
// page would.
func TestCodesOfAWholeSheet(t *testing.T) {
	t.Parallel()
	for _, id := range []string{"letter-3x10", "a4-5x13", "a4-3x8", "roll-57x32"} {
		s := mustStock(t, id)
		want := map[string]bool{}
		var labels []Label
		for i := range s.Places() {
			l := testSpare(i)
			labels = append(labels, l)
			want[l.URL] = true
		}
		for _, dpi := range []int{203, 300} {
			found := readback.Codes(pages(t, write(t, Sheet{Stock: s}, labels...), dpi)[0])
			for _, f := range found {
				if !want[f.Text] {
					t.Errorf("%s at %d dpi: %q is not on the sheet", id, dpi, f.Text)
				}
			}
			if len(found) != len(want) {
				t.Errorf("%s at %d dpi: %d of %d codes found", id, dpi, len(found), len(want))
			}
		}
	}
}
