package chem

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// topics of testdata/reference/values.csv. A topic without a row fails, and so does a row without a
// handler that is not in notTestedHere.
var topics = []string{"a_acetic_ph", "b_titratable_acidity", "c_ph_calibration", "d_brix_sg", "e_alcohol",
	"f_acetification", "g_kitchen_units", "h_blending", "i_statistics", "j_check_chars"}

// notTestedHere names the rows another package's test reads, or no code uses.
var notTestedHere = map[string]string{
	"j_check_chars/":                           "check characters belong to internal/larder, whose test reads this file",
	"b_titratable_acidity/minimum_acidity":     "a rule of internal/verdict, whose test reads this file",
	"b_titratable_acidity/recommended_acidity": "a rule of internal/verdict, whose test reads this file",
	"g_kitchen_units/volume_ml_nominal":        "rounded household conventions (240, 15, 5 mL) that this program does not use: measures are exact",
	"g_kitchen_units/fructose":                 "glucose and fructose are kept together as hexose",
}

// row is one published value; inputs are read by name.
type row struct {
	id, topic, quantity, value, tolerance string
	in                                    map[string]string
	missing                               error
}

func (r *row) has(k string) bool { _, ok := r.in[k]; return ok }

func (r *row) f(k string) float64 {
	if r.in[k] == "inf" {
		return math.Inf(1)
	}
	v, err := strconv.ParseFloat(r.in[k], 64)
	if err != nil {
		r.missing = fmt.Errorf("input %s: %w", k, err)
	}
	return v
}

func (r *row) list(k string) []float64 {
	var out []float64
	for _, s := range strings.Split(r.in[k], "|") {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			r.missing = fmt.Errorf("input %s: %w", k, err)
		}
		out = append(out, v)
	}
	return out
}

func readRows(t *testing.T) []*row {
	t.Helper()
	f, err := os.Open("../../testdata/reference/values.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []*row
	for _, c := range records[1:] {
		r := &row{id: c[0], topic: c[1], quantity: c[3], value: c[4], tolerance: c[6], in: map[string]string{}}
		for _, kv := range strings.Split(c[2], ";") {
			k, v, _ := strings.Cut(kv, "=")
			r.in[k] = v
		}
		rows = append(rows, r)
	}
	return rows
}

func excluded(r *row) bool {
	for _, k := range []string{r.topic + "/" + r.quantity, r.topic + "/"} {
		if _, ok := notTestedHere[k]; ok {
			return true
		}
	}
	return false
}

// TestPublishedValues holds every row of the file within its own tolerance. Each row names its source.
func TestPublishedValues(t *testing.T) {
	type tally struct {
		rows, tested int
		worst        float64
		worstID      string
	}
	sums := map[string]*tally{}
	for _, topic := range topics {
		sums[topic] = &tally{}
	}
	for _, r := range readRows(t) {
		s := sums[r.topic]
		if s == nil {
			t.Errorf("row %s: topic %q is not listed", r.id, r.topic)
			continue
		}
		s.rows++
		if excluded(r) {
			continue
		}
		h := handlers[r.topic+"/"+r.quantity]
		if h == nil {
			t.Errorf("row %s: no handler for %s/%s", r.id, r.topic, r.quantity)
			continue
		}
		got, err := h(r)
		if err == nil {
			err = r.missing
		}
		if err != nil {
			t.Errorf("row %s (%s/%s): %v", r.id, r.topic, r.quantity, err)
			continue
		}
		s.tested++
		ratio, err := deviation(r, got)
		if err != nil {
			t.Errorf("row %s: %v", r.id, err)
		} else if ratio > 1 {
			t.Errorf("row %s (%s/%s): got %v, published %s ± %s", r.id, r.topic, r.quantity, got, r.value, r.tolerance)
		}
		if ratio > s.worst {
			s.worst, s.worstID = ratio, r.id
		}
	}
	for _, topic := range topics {
		s := sums[topic]
		if s.rows == 0 {
			t.Errorf("topic %s has no rows", topic)
		}
		t.Logf("%-22s %3d rows, %3d tested here, largest deviation %.3f of its tolerance (%s)", topic, s.rows, s.tested, s.worst, s.worstID)
	}
}

// deviation is |got - value| over the tolerance; "exact" rows and limits (tolerance 0) must be equal.
func deviation(r *row, got any) (float64, error) {
	if r.tolerance == "exact" {
		if fmt.Sprint(got) != r.value {
			return math.Inf(1), nil
		}
		return 0, nil
	}
	want, err := strconv.ParseFloat(r.value, 64)
	if err != nil {
		return 0, err
	}
	tol, err := strconv.ParseFloat(r.tolerance, 64)
	if err != nil {
		return 0, err
	}
	d := math.Abs(got.(float64) - want)
	if math.IsNaN(d) {
		return math.Inf(1), nil
	}
	if tol == 0 {
		// Equal but for the last bits of a unit conversion.
		if d <= 1e-12*math.Max(1, math.Abs(want)) {
			return 0, nil
		}
		return math.Inf(1), nil
	}
	return d / tol, nil
}

// TestNoExclusionIsStale keeps notTestedHere honest: each entry still excludes a row.
func TestNoExclusionIsStale(t *testing.T) {
	used := map[string]bool{}
	for _, r := range readRows(t) {
		used[r.topic+"/"+r.quantity], used[r.topic+"/"] = true, true
	}
	for k, why := range notTestedHere {
		if !used[k] || why == "" {
			t.Errorf("%s excludes no row", k)
		}
	}
}
