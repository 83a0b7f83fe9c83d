package labels

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"
)

// Die sizes that the trade quotes in inches, worked out here: common practice,
// no published source.
func TestInchSizes(t *testing.T) {
	const inch = 25.4
	tests := []struct {
		id         string
		w, h       float64
		cols, rows int
	}{
		{"letter-3x10", 2.625 * inch, 1 * inch, 3, 10},
		{"letter-2x7", 4 * inch, 4.0 / 3 * inch, 2, 7},
		{"letter-2x5", 4 * inch, 2 * inch, 2, 5},
		{"letter-4x20", 1.75 * inch, 0.5 * inch, 4, 20},
		{"roll-57x32", 2.25 * inch, 1.25 * inch, 1, 1},
		{"roll-102x152", 4 * inch, 6 * inch, 1, 1},
	}
	for _, tt := range tests {
		s := mustStock(t, tt.id)
		if math.Abs(s.LabelWMM-tt.w) > 0.01 || math.Abs(s.LabelHMM-tt.h) > 0.01 || s.Cols != tt.cols || s.Rows != tt.rows {
			t.Errorf("%s is %d x %d of %g x %g mm, want %d x %d of %g x %g", tt.id, s.Cols, s.Rows, s.LabelWMM, s.LabelHMM, tt.cols, tt.rows, tt.w, tt.h)
		}
	}
}

// Every built-in stock's margins add up, the page's sizes are ISO 216's A4 or
// ANSI's Letter, and the sheet is as far from the left edge as from the right.
func TestCatalogueArithmetic(t *testing.T) {
	if len(Stocks()) < 35 {
		t.Fatalf("only %d stocks", len(Stocks()))
	}
	for _, s := range Stocks() {
		if err := s.Check(); err != nil {
			t.Error(err)
		}
		a4 := s.PageWMM == 210 && s.PageHMM == 297
		letter := s.PageWMM == 215.9 && s.PageHMM == 279.4
		if s.Roll == (a4 || letter) {
			t.Errorf("%s: a page of %g x %g mm", s.ID, s.PageWMM, s.PageHMM)
		}
		x, y := s.Place(s.Places() - 1)
		right, bottom := s.PageWMM-x-s.LabelWMM, s.PageHMM-y-s.LabelHMM
		if math.Abs(right-s.LeftMM) > 0.05 || math.Abs(bottom-s.TopMM) > 0.3 {
			t.Errorf("%s is not centred: left %g, right %g, top %g, bottom %g", s.ID, s.LeftMM, right, s.TopMM, bottom)
		}
		if s.Name == "" || strings.ContainsAny(s.Name, "®™") {
			t.Errorf("%s has the name %q", s.ID, s.Name)
		}
	}
}

func TestStockByID(t *testing.T) {
	if s, err := StockByID(" A4-3x8 "); err != nil || s.ID != "a4-3x8" {
		t.Errorf("got %q, %v", s.ID, err)
	}
	_, err := StockByID("letter-9x9")
	for _, want := range []string{"letter-9x9", "letter-3x10", "roll-57x32"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("the error should name %s: %v", want, err)
		}
	}
}

func TestBadStocks(t *testing.T) {
	good := "mine,sheet,210,297,3,8,63.5,33.9,7.21,12.9,66.04,33.9,2,600"
	tests := []struct{ row, want string }{
		{strings.Replace(good, "66.04", "76.04", 1), "last column ends"},
		{strings.Replace(good, ",3,8,", ",3,9,", 1), "last row ends"},
		{strings.Replace(good, "66.04", "60", 1), "overlap sideways"},
		{strings.Replace(good, "12.9,66.04,33.9", "12.9,66.04,20", 1), "overlap downwards"},
		{strings.Replace(good, ",2,600", ",20,600", 1), "corner radius"},
		{strings.Replace(good, "600", "601", 1), "dots per inch"},
		{strings.Replace(good, "63.5", "wide", 1), "label_w_mm is a number"},
		{strings.Replace(good, "63.5", "NaN", 1), "lengths in millimetres"},
		{strings.Replace(good, "63.5", "-63.5", 1), "lengths in millimetres"},
		{strings.Replace(good, "7.21", "Inf", 1), "left, top and corner"},
		{strings.Replace(good, "sheet", "card", 1), "kind is sheet, roll or continuous"},
		{strings.Replace(good, "sheet", "roll", 1), "one label a page"},
		{strings.Replace(good, "mine", "Mine!", 1), "id is made of"},
		{strings.Replace(good, ",3,8,", ",0,8,", 1), "counted from 1"},
		{good + "\n" + good, "listed twice"},
		{"mine,sheet", "cannot be read"},
		{"", "lists no stock"},
	}
	if _, err := ReadStocks(strings.NewReader(stockColumns + "\n" + good + "\n")); err != nil {
		t.Fatal(err)
	}
	for _, tt := range tests {
		_, err := ReadStocks(strings.NewReader(stockColumns + "\n" + tt.row + "\n"))
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: got %v, want %q", tt.row, err, tt.want)
		}
	}
	if _, err := ReadStocks(strings.NewReader("a,b\n")); err == nil {
		t.Error("a wrong head line was taken")
	}
}

// FuzzReadStocks reads any bytes as a kitchen's own list of papers: each that is
// taken adds up, and is the same when it is written and read again.
func FuzzReadStocks(f *testing.F) {
	f.Add(stocksCSV)
	for _, row := range []string{
		"a,sheet,210,297,3,8,70,37.125,0,0,70,37.125,0,600", "b,roll,62,29,1,1,62,29,0,0,62,29,0,300", "c,continuous,62,29,1,1,62,29,0,0,62,29,31,300", "\"a", "a,sheet", "=1,sheet,NaN,Inf,1e9,-1,0x1p4,1_0,,,,,,", "# a remark\n",
	} {
		f.Add(stockColumns + "\n" + row + "\n")
	}
	f.Fuzz(func(t *testing.T, text string) {
		stocks, err := ReadStocks(strings.NewReader(text))
		if err == nil && len(stocks) == 0 {
			t.Fatal("nothing was read, and nothing is wrong")
		}
		for _, s := range stocks {
			if err := s.Check(); err != nil {
				t.Fatalf("taken, and wrong: %v", err)
			}
		}
		if len(stocks) == 0 {
			return
		}
		var b bytes.Buffer
		if err := WriteStocks(&b, stocks); err != nil {
			t.Fatal(err)
		}
		again, err := ReadStocks(&b)
		if err != nil || !slices.EqualFunc(again, stocks, func(a, b Stock) bool { a.Name, b.Name = "", ""; return a == b }) {
			t.Fatalf("%+v comes back as %+v (%v)", stocks, again, err)
		}
	})
}
