package labels

import (
	_ "embed"
	"encoding/csv"
	"strconv"
	"strings"
	"sync"
)

//go:embed vessels.csv
var vesselsCSV string

// Vessel is a common size of jar or bottle. Its outer diameter, in mm, lies
// between the two, depending on the maker.
type Vessel struct {
	ID, Name      string
	LowMM, HighMM float64
}

// Vessels is the built-in list, for makers who have no tape at hand. A code is
// judged by the low end: the smaller the jar, the more it bends.
func Vessels() []Vessel { return append([]Vessel(nil), vessels()...) }

var vessels = sync.OnceValue(func() []Vessel {
	r := csv.NewReader(strings.NewReader(vesselsCSV))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		panic("labels: the embedded list of vessels is broken: " + err.Error())
	}
	var list []Vessel
	for _, row := range rows[1:] {
		low, err1 := strconv.ParseFloat(row[2], 64)
		high, err2 := strconv.ParseFloat(row[3], 64)
		if err1 != nil || err2 != nil {
			panic("labels: the embedded list of vessels has no diameter for " + row[0])
		}
		list = append(list, Vessel{row[0], row[1], low, high})
	}
	return list
})
