package verdict

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"
)

// The strengths that testdata/reference publishes, each with its source in the
// row: FDA's policy guide, Extension's 5 % for pickling, Regulation 1308/2013.
func TestPublishedStrengths(t *testing.T) {
	file, err := os.Open("../../testdata/reference/values.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, r := range rows[1:] {
		if r[3] != "minimum_acidity" && r[3] != "recommended_acidity" {
			continue
		}
		found++
		want, err := strconv.ParseFloat(r[4], 64)
		if err != nil {
			t.Fatalf("%s: %v", r[0], err)
		}
		if r[5] == "g/L" {
			want /= 10
		}
		market, use, wine := US, Selling, false
		switch {
		case strings.Contains(r[2], "use=home_pickling"):
			use = FridgePickles
		case strings.Contains(r[2], "country=EU"):
			market, wine = EU, strings.Contains(r[2], "wine_vinegar")
		}
		if least, by := LeastAcidity(market, use, wine); float64(least) != want || len(by) == 0 {
			t.Errorf("%s: %s asks for at least %g g/100 mL of %s, by %d rules; %s says %g", r[0], market, least, use, len(by), r[7], want)
		}
	}
	if found < 3 {
		t.Errorf("only %d published strengths were found", found)
	}
}
