package larder

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

// Hosts: RFC 1123, 2.1 and RFC 1035, 2.3.4.
func TestCheckAddress(t *testing.T) {
	for _, ok := range []string{"192.168.1.20:8080", "cruet.local:80", "CRUET.LOCAL:8080", "[fd00::1]:8080", "larder-2.example.org:65535", "localhost:1", "3com.example:80"} {
		if err := CheckAddress(ok); err != nil {
			t.Errorf("%s: %v", ok, err)
		}
	}
	for _, wrong := range []string{"", "larder", ":8080", "larder:", "larder:0", "larder:65536", "larder:http", "http://larder:80", "a b:80", "-a.example:80", "a-.example:80", "a..b:80", "a_b:80", "käse:80", strings.Repeat("a", 64) + ".example:80", strings.Repeat("a.", 127) + "ab:80", "larder:80/x", "::1:80"} {
		var p Problems
		if err := CheckAddress(wrong); !errors.As(err, &p) || !strings.Contains(p[0].Message, "like 192.168.1.20:8080") {
			t.Errorf("%s: %v", wrong, err)
		}
	}
}

func TestSettings(t *testing.T) {
	many := make([]string, maxListed+1)
	for i := range many {
		many[i] = "x"
	}
	good := Kitchen{Name: "Quince Yard", LocalName: "pantry-2", NamedAddress: "pantry-2.local:8080", Hosts: []string{"larder.example.org", "fd00::1", "192.168.1.9"},
		Instruments: []string{"bench pH"}, Places: []string{"pantry, top shelf"}, BaseName: "lye", BaseMolPerL: 0.1}
	if err := good.Check(); err != nil {
		t.Fatal(err)
	}
	for field, spoil := range map[string]func(*Kitchen){
		"local_name":     func(k *Kitchen) { k.LocalName = "pantry.local" },
		"named_address":  func(k *Kitchen) { k.NamedAddress = "pantry" },
		"hosts":          func(k *Kitchen) { k.Hosts = []string{"http://larder.example.org"} },
		"instruments":    func(k *Kitchen) { k.Instruments = many },
		"places":         func(k *Kitchen) { k.Places = []string{strings.Repeat("x", MaxNameRunes+1)} },
		"stocks":         func(k *Kitchen) { k.Stocks = []string{"a\tb"} },
		"base_name":      func(k *Kitchen) { k.BaseName = "a\nb" },
		"base_mol_per_l": func(k *Kitchen) { k.BaseMolPerL = 40 },
	} {
		k := good
		spoil(&k)
		var p Problems
		if err := k.Check(); !errors.As(err, &p) || p[0].Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	if got := (Kitchen{}).LocalHost(); got != "cruet.local" {
		t.Error(got)
	}
	if got := (Kitchen{LocalName: "Pantry"}).LocalHost(); got != "pantry.local" {
		t.Error(got)
	}
	if got := Lines(" a \r\n\nb\nA\n  \nc"); !slices.Equal(got, []string{"a", "b", "c"}) {
		t.Errorf("%q", got)
	}
}
