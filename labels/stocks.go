package labels

import (
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"sync"

	"cruet/internal/larder"
	"cruet/internal/lazy"
)

//go:embed stocks.csv
var stocksCSV string

// Stock is one kind of label paper: a sheet of die-cut labels, or a roll that
// yields one label a page. Lengths are millimetres.
type Stock struct {
	ID         string // short name by dimension: "letter-3x10"
	Name       string // for people, by dimension
	PageWMM    float64
	PageHMM    float64
	Cols, Rows int
	LabelWMM   float64
	LabelHMM   float64
	LeftMM     float64 // page edge to the first label's left edge
	TopMM      float64 // page edge to the first label's top edge
	PitchXMM   float64 // left edge to left edge of the next label
	PitchYMM   float64 // top edge to top edge of the next label
	CornerMM   float64 // radius of the die's corners; half of both sides makes a disc
	DPI        int     // dots per inch of the printer this stock usually meets
	Roll       bool    // one label a page; the page is the label
	Continuous bool    // a roll that is cut to the length the content needs
}

const (
	sizeToleranceMM = 0.02 // catalogue figures are rounded to 0.001 mm and added up to 20 times
	mmPerInch       = 25.4
)

// Places is how many labels one page holds.
func (s Stock) Places() int { return s.Cols * s.Rows }

// Place gives the top left corner, in mm on the page, of place i, counted
// from 0, along the rows.
func (s Stock) Place(i int) (xMM, yMM float64) {
	return s.LeftMM + float64(i%s.Cols)*s.PitchXMM, s.TopMM + float64(i/s.Cols)*s.PitchYMM
}

// Disc tells a round die from a rectangular one.
func (s Stock) Disc() bool {
	return s.LabelWMM == s.LabelHMM && s.CornerMM >= s.LabelWMM/2-sizeToleranceMM
}

// DotMM is the width of one printer dot at dpi.
func DotMM(dpi int) float64 { return mmPerInch / float64(dpi) }

var stockID = lazy.RE(`^[a-z0-9][a-z0-9.-]{0,39}$`)

// Check tells, in a sentence, what is wrong with a stock's arithmetic.
func (s Stock) Check() error {
	fail := func(format string, args ...any) error {
		return refuse("stock", "Stock %q: %s.", s.ID, fmt.Sprintf(format, args...))
	}
	if !stockID().MatchString(s.ID) {
		return fail("an id is made of lower-case letters, digits, dots and hyphens, at most 40")
	}
	for _, v := range []float64{s.PageWMM, s.PageHMM, s.LabelWMM, s.LabelHMM, s.PitchXMM, s.PitchYMM} {
		if !(v >= 5 && v <= 2000) {
			return fail("page, label and pitch are lengths in millimetres between 5 and 2000; one of them is %g", v)
		}
	}
	for _, v := range []float64{s.LeftMM, s.TopMM, s.CornerMM} {
		if !(v >= 0 && v <= 1000) {
			return fail("left, top and corner are millimetres from 0 upwards; one of them is %g", v)
		}
	}
	if s.Cols < 1 || s.Rows < 1 || s.Cols > 100 || s.Rows > 200 {
		return fail("columns and rows are counted from 1 (at most 100 x 200), not %d x %d", s.Cols, s.Rows)
	}
	right := s.LeftMM + float64(s.Cols-1)*s.PitchXMM + s.LabelWMM
	bottom := s.TopMM + float64(s.Rows-1)*s.PitchYMM + s.LabelHMM
	switch {
	case right > s.PageWMM+sizeToleranceMM:
		return fail("the last column ends %.2f mm from the left, on a page %.2f mm wide; check left, pitch and label width", right, s.PageWMM)
	case bottom > s.PageHMM+sizeToleranceMM:
		return fail("the last row ends %.2f mm from the top, on a page %.2f mm high; check top, pitch and label height", bottom, s.PageHMM)
	case s.Cols > 1 && s.PitchXMM < s.LabelWMM-sizeToleranceMM:
		return fail("labels overlap sideways: the pitch of %.2f mm is less than the label's width of %.2f mm", s.PitchXMM, s.LabelWMM)
	case s.Rows > 1 && s.PitchYMM < s.LabelHMM-sizeToleranceMM:
		return fail("labels overlap downwards: the pitch of %.2f mm is less than the label's height of %.2f mm", s.PitchYMM, s.LabelHMM)
	case s.CornerMM > math.Min(s.LabelWMM, s.LabelHMM)/2+sizeToleranceMM:
		return fail("a corner radius of %.2f mm is more than half the label's short side", s.CornerMM)
	case !knownDPI(s.DPI):
		return fail("the printer's resolution is 203, 300, 360, 600, 720 or 1200 dots per inch, not %d", s.DPI)
	case s.Roll && s.Places() != 1:
		return fail("a roll holds one label a page, not %d", s.Places())
	}
	return nil
}

func knownDPI(dpi int) bool {
	switch dpi {
	case 203, 300, 360, 600, 720, 1200:
		return true
	}
	return false
}

var catalogue = sync.OnceValue(func() []Stock {
	stocks, err := ReadStocks(strings.NewReader(stocksCSV))
	if err != nil {
		panic("labels: the embedded catalogue of stocks is broken: " + err.Error())
	}
	return stocks
})

// Stocks is the built-in catalogue, sheets first.
func Stocks() []Stock { return append([]Stock(nil), catalogue()...) }

// DefaultStock is what a Sheet without a stock is printed on.
func DefaultStock() Stock { return catalogue()[0] }

// StockByID finds a built-in stock. The error for an unknown one lists them all.
func StockByID(id string) (Stock, error) { return FindStock(catalogue(), id) }

// FindStock finds a stock by id among stocks, whatever its letters' case.
func FindStock(stocks []Stock, id string) (Stock, error) {
	ids := make([]string, len(stocks))
	for i, s := range stocks {
		if strings.EqualFold(s.ID, strings.TrimSpace(id)) {
			return s, nil
		}
		ids[i] = s.ID
	}
	return Stock{}, refuse("stock", "There is no label stock %q. Choose one of: %s.", id, strings.Join(ids, ", "))
}

const stockColumns = "id,kind,page_w_mm,page_h_mm,cols,rows,label_w_mm,label_h_mm,left_mm,top_mm,pitch_x_mm,pitch_y_mm,corner_mm,dpi"

// ReadStocks reads a catalogue: CSV with the columns of stocks.csv, lines that
// begin with # being remarks. Kind is sheet, roll or continuous. Every row's
// arithmetic is checked; the error names each line that is wrong.
func ReadStocks(r io.Reader) ([]Stock, error) {
	rows := csv.NewReader(r)
	rows.Comment, rows.TrimLeadingSpace, rows.FieldsPerRecord = '#', true, -1
	head, err := rows.Read()
	if err != nil || strings.Join(head, ",") != stockColumns {
		return nil, refuse("stock", "A stock catalogue begins with the line %q.", stockColumns)
	}
	var stocks []Stock
	var wrong larder.Problems
	seen := map[string]bool{}
	for {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			wrong.Add("stock", sentence(err.Error())) // names its line
			break                                     // what follows an open quote makes no sense
		}
		line, _ := rows.FieldPos(0)
		s, err := parseStock(row)
		if err == nil && seen[s.ID] {
			err = refuse("stock", "Stock %q is listed twice; give one of them another id.", s.ID)
		}
		if err != nil {
			wrong.Add("stock", fmt.Sprintf("Line %d: %v", line, err))
			continue
		}
		seen[s.ID] = true
		stocks = append(stocks, s)
	}
	if len(stocks) == 0 && len(wrong) == 0 {
		return nil, refuse("stock", "The stock catalogue lists no stock; add at least one line.")
	}
	return stocks, wrong.Err()
}

func sentence(s string) string {
	return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".") + "."
}

func parseStock(row []string) (Stock, error) {
	columns := strings.Split(stockColumns, ",")
	if len(row) != len(columns) {
		return Stock{}, refuse("stock", "the line cannot be read, since it has %d values where %d belong: %s.", len(row), len(columns), strings.Join(columns, ", "))
	}
	s := Stock{ID: row[0]}
	switch row[1] {
	case "sheet":
	case "roll":
		s.Roll = true
	case "continuous":
		s.Roll, s.Continuous = true, true
	default:
		return s, refuse("stock", "Stock %q: the kind is sheet, roll or continuous, not %q.", s.ID, row[1])
	}
	lengths := map[int]*float64{2: &s.PageWMM, 3: &s.PageHMM, 6: &s.LabelWMM, 7: &s.LabelHMM,
		8: &s.LeftMM, 9: &s.TopMM, 10: &s.PitchXMM, 11: &s.PitchYMM, 12: &s.CornerMM}
	counts := map[int]*int{4: &s.Cols, 5: &s.Rows, 13: &s.DPI}
	for i := 2; i < len(columns); i++ {
		var err error
		if p := lengths[i]; p != nil {
			*p, err = strconv.ParseFloat(row[i], 64)
		} else {
			*counts[i], err = strconv.Atoi(row[i])
		}
		if err != nil {
			return s, refuse("stock", "Stock %q: %s is a number, not %q.", s.ID, columns[i], row[i])
		}
	}
	s.Name = s.describe()
	return s, s.Check()
}

// describe names a stock by its dimensions, never by a brand.
func (s Stock) describe() string {
	size := fmt.Sprintf("%s × %s mm", shortMM(s.LabelWMM), shortMM(s.LabelHMM))
	if s.Disc() {
		size = "round " + shortMM(s.LabelWMM) + " mm"
	}
	switch {
	case s.Continuous:
		return fmt.Sprintf("continuous roll, %s mm wide, cut to length", shortMM(s.LabelWMM))
	case s.Roll:
		return "roll, " + size
	}
	page := fmt.Sprintf("%s × %s mm sheet", shortMM(s.PageWMM), shortMM(s.PageHMM))
	switch {
	case s.PageWMM == 215.9 && s.PageHMM == 279.4:
		page = "US Letter"
	case s.PageWMM == 210 && s.PageHMM == 297:
		page = "A4"
	}
	return fmt.Sprintf("%s, %d × %d, %s", page, s.Cols, s.Rows, size)
}

func shortMM(v float64) string {
	return strings.TrimSuffix(strconv.FormatFloat(v, 'f', 1, 64), ".0")
}
