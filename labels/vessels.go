package labels

import (
	_ "embed"
	"encoding/csv"
	"math"
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
	SizeML        float64
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
		v := Vessel{ID: row[0], Name: row[1]}
		for i, into := range []*float64{&v.SizeML, &v.LowMM, &v.HighMM} {
			if *into, err = strconv.ParseFloat(row[2+i], 64); err != nil {
				panic("labels: the embedded list of vessels has no number for " + row[0])
			}
		}
		list = append(list, v)
	}
	return list
})

// JarDiameterMM is the outer diameter, in mm, that a jar of a size is likely to
// have: the least of the listed jars within a fifth of it, since the smaller jar
// bends its label more. 0: no listed jar is like it.
func JarDiameterMM(sizeML float64) float64 {
	least := 0.0
	for _, v := range vessels() {
		like := math.Abs(v.SizeML/sizeML-1) <= 0.2 && !strings.HasPrefix(v.ID, "bottle-")
		if like && (least == 0 || v.LowMM < least) {
			least = v.LowMM
		}
	}
	return least
}
