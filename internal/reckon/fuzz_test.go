package reckon

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"cruet/internal/chem"
	"cruet/internal/forecast"
	"cruet/internal/larder"
)

// lineParsers are the parsers of one line, with a check of what they gave.
var lineParsers = []struct {
	name  string
	parse func(string, time.Time) (any, error)
	fine  func(any) bool
}{
	{"burette", parseBurette, func(v any) bool {
		r := v.(chem.Replicate)
		return r.StartML >= 0 && finite(float64(r.StartML)) && r.EndML >= 0 && finite(float64(r.EndML))
	}},
	{"phthalate", parseKHPRun, func(v any) bool { r := v.(chem.KHPRun); return r.KHPG > 0 && r.BaseML > 0 }},
	{"volume", parseVolumeLine, func(v any) bool { return v.(chem.Millilitres) > 0 }},
	{"buffer", parseBuffer, func(v any) bool {
		p := v.(chem.CalibrationPoint)
		return (p.BufferPH == nil) == (p.Buffer != "") && (p.MV == nil) != (p.ShownPH == nil)
	}},
	{"pH", parsePHLine, func(v any) bool { return finite(float64(v.(chem.PH))) }},
	{"portion", parsePortion, func(v any) bool {
		p := v.(chem.Portion)
		return p.VolumeML > 0 && finite(float64(p.AcidityGPer100ML)) && finite(float64(p.ABVPercent))
	}},
	{"point", parsePoint, func(v any) bool {
		p := v.(forecast.Point)
		return !p.At.IsZero() && finite(float64(p.AcidityGPer100ML)) && p.StdUGPer100ML >= 0
	}},
	{"ingredient", parseIngredient, func(v any) bool { i := v.(chem.Ingredient); return i.Name != "" && i.Amount.Value > 0 }},
}

func FuzzLines(f *testing.F) {
	for _, seed := range []string{"0.00-16.65", "16,7 – 0,2 mL", "0.3888 g 18.64 mL", "phthalate 25 C 172 mV", "4.01 25 C 4.05 pH", "tech_7.00 68 F -3 mV",
		"5 L at 3.5 %, 0.7 % vol", "1 1/2 cups @ 6", "½ gal at 5", "2026-10-04: 2.1 ± 0.2", "about 22 Nov: 3", "wine: 1 L, 12 % vol", "syrup: 300 g, 60 g/100 g",
		"pears, peels: 2,4 kg", ":", "", "±", "-", "1/0 L at 1/0", "NaN 25 C NaN mV", "1e9 g 1e9 mL", "\x00\xff", "9999999999999999999999 L 1"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, line string) {
		for _, p := range lineParsers {
			v, err := p.parse(line, now)
			if err == nil && !p.fine(v) {
				t.Errorf("%s %q is %+v", p.name, line, v)
			}
			if err != nil && strings.TrimSpace(err.Error()) == "" {
				t.Errorf("%s %q: an empty error", p.name, line)
			}
		}
	})
}

// Whatever is typed into one input of one kind's example, the answer is a
// result that JSON can hold, or problems in words.
func FuzzCompute(f *testing.F) {
	for i, seed := range []string{"2 mL", "0.1 M", "0-16.7\n0-16.8", "5", "-0", "25 C", "yesterday", "malic", "1 L at 5\n2 L at 3", "1,5 kg", "∞", "\n\n"} {
		f.Add(uint8(i), uint8(i), seed)
	}
	f.Fuzz(func(t *testing.T, kind, field uint8, text string) {
		k := kinds[int(kind)%len(kinds)]
		name := k.Fields[int(field)%len(k.Fields)].Name
		in := map[string]string{}
		for n, v := range k.Example.Inputs {
			in[n] = v
		}
		in[name] = text
		r, err := k.Compute(in, now)
		var problems larder.Problems
		switch {
		case err == nil:
			if _, err := json.Marshal(r); err != nil {
				t.Errorf("%s %s=%q: %v", k.Name, name, text, err)
			}
		case !errors.As(err, &problems):
			t.Errorf("%s %s=%q: %v", k.Name, name, text, err)
		}
		for _, p := range problems {
			if _, ok := k.Field(p.Field); !ok || !utf8.ValidString(p.Message) {
				t.Errorf("%s %s=%q: %+v", k.Name, name, text, p)
			}
		}
	})
}

func FuzzNumber(f *testing.F) {
	for _, seed := range []string{"5", "5,2 %", "5 % vol", "0 mL", "00,0 mL", "-1", "0.1 N", "1 1/2 cups", "1,500"} {
		f.Add(seed)
	}
	fields := []Field{volumeField("v", "volume", "1 L", "").orZero(), massField("m", "mass", "1 g", ""), temperatureField("t", "temperature", "1 C", ""),
		baseField("b", "base", "0.1 M", ""), acidityField("a", "acidity", "5", ""), alcoholField("l", "alcohol", "5", "")}
	f.Fuzz(func(t *testing.T, text string) {
		for _, field := range fields {
			if v, err := field.value(text); err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Errorf("%s %q is %v", field.Label, text, v)
			}
		}
	})
}
