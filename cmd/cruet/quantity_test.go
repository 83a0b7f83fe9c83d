package main

import (
	"math"
	"path/filepath"
	"testing"

	"cruet/internal/reckon"
)

func TestParseBurette(t *testing.T) {
	for text, want := range map[string][2]float64{
		"0.0-16.7": {0, 16.7}, "0,0-16,7": {0, 16.7}, "16.7 - 33.5": {16.7, 33.5}, "0 mL – 8.95 mL": {0, 8.95}, "0 to 9": {0, 9},
	} {
		r, err := reckon.Burette(text)
		if err != nil || float64(r.StartML) != want[0] || float64(r.EndML) != want[1] {
			t.Errorf("%q: %v, %v", text, r, err)
		}
	}
	for _, text := range []string{"", "16.7", "0-", "-16.7", "0-16-7", "a-b", "0.0.1-3", "1e1-2e1"} {
		if r, err := reckon.Burette(text); err == nil {
			t.Errorf("%q was read as %v", text, r)
		}
	}
}

// One inch is 25.4 mm and a normality of sodium hydroxide its mol/L (NIST
// SP 811, appendix B.8 and section 8.6.5 on equivalents).
func TestParseOwnQuantities(t *testing.T) {
	near := func(what string, have, want float64, err error) {
		if err != nil || math.Abs(have-want) > 1e-9 {
			t.Errorf("%s: %v, %v, want %v", what, have, err, want)
		}
	}
	for text, want := range map[string]float64{"98 mm": 98, "9,8 cm": 98, "4 in": 101.6} {
		mm, err := parseMillimetres(text)
		near(text, mm, want, err)
	}
	for text, want := range map[string]float64{"0.1 mol/L": 0.1, "0,1 M": 0.1, "0.5N": 0.5} {
		c, err := reckon.BaseStrength(text)
		near(text, float64(c), want, err)
	}
	for text, want := range map[string]float64{"5": 5, "5 %": 5, "4,8 g/100 mL": 4.8} {
		a, err := parseAcidity(text)
		near(text, float64(a), want, err)
	}
	for _, text := range []string{"0.1", "0.1 g/L", "", "mol/L"} {
		if c, err := reckon.BaseStrength(text); err == nil {
			t.Errorf("base %q was read as %v", text, c)
		}
	}
	if mm, err := parseMillimetres("98"); err == nil {
		t.Errorf("a length without a unit was read as %v", mm)
	}
}

func TestParseIngredient(t *testing.T) {
	i, err := parseIngredient("pears, peels and cores: 2,4 kg")
	if err != nil || i.Name != "pears, peels and cores" || i.Amount.MassG != 2400 {
		t.Errorf("%+v, %v", i, err)
	}
	if i, err := parseIngredient("a bay leaf"); err != nil || i.Name != "a bay leaf" {
		t.Errorf("%+v, %v", i, err)
	}
	for _, text := range []string{"pears 2.4 kg", "pears: 2.4", "pears: lots", "pears:"} {
		if i, err := parseIngredient(text); err == nil {
			t.Errorf("%q was read as %+v", text, i)
		}
	}
}

// The folders are those of the XDG Base Directory Specification on Linux, and
// of Apple's and Microsoft's guides for an application's data elsewhere.
func TestDefaultDataDir(t *testing.T) {
	for _, c := range []struct {
		goos string
		env  map[string]string
		want string
	}{
		{"linux", map[string]string{"HOME": "/home/ro", "XDG_DATA_HOME": "/srv/data"}, "/srv/data/cruet"},
		{"linux", map[string]string{"HOME": "/home/ro", "XDG_DATA_HOME": "relative"}, "/home/ro/.local/share/cruet"},
		{"linux", map[string]string{"HOME": "/home/ro"}, "/home/ro/.local/share/cruet"},
		{"darwin", map[string]string{"HOME": "/Users/ro", "XDG_DATA_HOME": "/srv"}, "/Users/ro/Library/Application Support/Cruet"},
	} {
		dir, err := defaultDataDir(c.goos, func(name string) string { return c.env[name] })
		if err != nil || filepath.ToSlash(dir) != c.want {
			t.Errorf("%s %v: %q, %v", c.goos, c.env, dir, err)
		}
	}
	if dir, err := defaultDataDir("linux", func(string) string { return "" }); err == nil {
		t.Errorf("without a home: %q", dir)
	}
}
