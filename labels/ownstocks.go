package labels

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"cruet/internal/larder"
)

// StocksFile is the name, in the data folder, of the list of a kitchen's own
// label papers. It has the form of the built-in stocks.csv.
const StocksFile = "stocks.csv"

// Catalogue is the label papers of one kitchen: its own, then the built-in ones.
type Catalogue struct {
	Stocks []Stock
	Own    int   // how many of them, at the front, are the kitchen's
	Err    error // what is wrong in the kitchen's file, line by line; those lines are left out
}

// StocksIn reads the catalogue of the kitchen in a data folder. A folder
// without a file of its own has the built-in stocks.
func StocksIn(dir string) Catalogue {
	c := Catalogue{Stocks: Stocks()}
	path := filepath.Join(dir, StocksFile)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return c
	}
	if err != nil {
		c.Err = refuse("stock", "Your own label papers cannot be read: %v.", err)
		return c
	}
	own, err := ReadStocks(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))))
	var wrong larder.Problems
	errors.As(err, &wrong)
	wrong = slices.Clone(wrong)
	kept := own[:0]
	for _, s := range own {
		if _, err := FindStock(catalogue(), s.ID); err == nil {
			wrong.Add("stock", fmt.Sprintf("Line %d: Stock %q is a built-in one; give yours another id.", lineOf(data, s.ID), s.ID))
			continue
		}
		kept = append(kept, s)
	}
	for i := range wrong {
		wrong[i].Message = path + ": " + wrong[i].Message
	}
	c.Stocks, c.Own, c.Err = append(kept, c.Stocks...), len(kept), wrong.Err()
	return c
}

func lineOf(data []byte, id string) int {
	lines := bufio.NewScanner(bytes.NewReader(data))
	for n := 1; lines.Scan(); n++ {
		if strings.HasPrefix(strings.Trim(lines.Text(), ` "`), id) {
			return n
		}
	}
	return 0
}

// Find finds a stock by its id; where none is named, Usual tells the one to take.
// For an id that is nowhere, what is wrong in the kitchen's own file is told first:
// the stock may stand there.
func (c Catalogue) Find(id string) (Stock, error) {
	s, err := FindStock(c.Stocks, id)
	if err != nil && c.Err != nil {
		return s, c.Err
	}
	return s, err
}

// NameOf is the name for people of a paper, by its id; the id itself where the paper
// is not listed any more.
func (c Catalogue) NameOf(id string) string {
	if s, err := FindStock(c.Stocks, id); err == nil {
		return s.Name
	}
	return id
}

// WriteStocks writes stocks in the form that ReadStocks reads.
func WriteStocks(w io.Writer, stocks []Stock) error {
	out := csv.NewWriter(w)
	rows := [][]string{strings.Split(stockColumns, ",")}
	for _, s := range stocks {
		kind := "sheet"
		if s.Roll {
			kind = "roll"
		}
		if s.Continuous {
			kind = "continuous"
		}
		row := []string{s.ID, kind}
		for _, v := range []float64{s.PageWMM, s.PageHMM, float64(s.Cols), float64(s.Rows), s.LabelWMM, s.LabelHMM, s.LeftMM, s.TopMM, s.PitchXMM, s.PitchYMM, s.CornerMM, float64(s.DPI)} {
			row = append(row, strconv.FormatFloat(v, 'f', -1, 64))
		}
		rows = append(rows, row)
	}
	return out.WriteAll(rows)
}
