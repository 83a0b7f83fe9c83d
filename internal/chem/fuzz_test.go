package chem

import (
	"errors"
	"math"
	"testing"
	"unicode/utf8"
)

var seeds = []string{"2.4 kg", "3 cups", "6 pieces", "1 pt", "68 F", "-5 °C", "293.15 K", "1 1/2 cups", "½ cup", "1½cups", "2,4 kg", "1,500 mL", "8 oz", "8 fl. oz.", "1 imp pt",
	"", " ", "5", "NaN", "inf", "-1 L", "0 g", "1e9 g", "0x1F g", "1/0 cup", "1 2 cups", "1.5 1/2 cup", "９ g", "\xff\xfe g", "1\u00a0L", "−3 C", "3.2", "3,2", ".", "1..2", "--1", "999999999999999999999999 kg", "1 g\x00", "piece", "1/3 g", "65535 1/65535 imp gal"}

// sentence checks that an error is a *FieldError a page can show.
func sentence(t *testing.T, in string, err error) {
	var fe *FieldError
	if !errors.As(err, &fe) || fe.Field == "" || fe.Message == "" || !utf8.ValidString(fe.Message) || len(fe.Message) > 600 {
		t.Fatalf("%q: %#v", in, err)
	}
}

func FuzzParseVolume(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := ParseVolume(s)
		if err != nil {
			sentence(t, s, err)
		} else if !(v > 0 && v <= 1e7) {
			t.Fatalf("%q is %v mL", s, v)
		}
	})
}

func FuzzParseMass(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := ParseMass(s)
		if err != nil {
			sentence(t, s, err)
		} else if !(v > 0 && v <= 1e7) {
			t.Fatalf("%q is %v g", s, v)
		}
	})
}

func FuzzParseTemperature(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := ParseTemperature(s)
		if err != nil {
			sentence(t, s, err)
		} else if !(v >= -30 && v <= 120) {
			t.Fatalf("%q is %v °C", s, v)
		}
	})
}

func FuzzParseNumber(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := ParseNumber(s)
		if err != nil {
			sentence(t, s, err)
		} else if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%q is %v", s, v)
		}
	})
}

func FuzzParseAmount(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := ParseAmount(s)
		if err != nil {
			sentence(t, s, err)
			return
		}
		if !(a.Value > 0) || (a.MassG > 0 && a.VolumeML > 0) || a.Unit == "" {
			t.Fatalf("%q is %+v", s, a)
		}
		again, err := ParseAmount(a.String())
		if err != nil || again != a {
			t.Fatalf("%q shows %q, read back as %+v, %v; was %+v", s, a.String(), again, err, a)
		}
	})
}

func FuzzParseAcid(f *testing.F) {
	for _, s := range []string{"", "acetic", "Malic acid", "citric", "x", "\xff", "acid"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := ParseAcid(s)
		if err != nil {
			sentence(t, s, err)
		} else if e, err := a.GramsPerEquivalent(); err != nil || e < 50 {
			t.Fatalf("%q is %q, %v, %v", s, a, e, err)
		}
	})
}

func FuzzFindFood(f *testing.F) {
	for _, s := range []string{"apple peels", "Cherries", "sugar", "", "and of", "\xff", "tap water"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if food, ok := FindFood(s); ok && (food.Name == "" || food.SucroseG+food.HexoseG > 100) {
			t.Fatalf("%q is %+v", s, food)
		}
	})
}
