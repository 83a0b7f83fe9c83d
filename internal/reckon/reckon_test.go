package reckon

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"cruet/internal/larder"
)

var now = time.Date(2026, 11, 25, 10, 30, 0, 0, time.UTC)

// asJSON is a result the way a program gets it.
func asJSON(t *testing.T, r Result) map[string]any {
	t.Helper()
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var v map[string]any
	if err := json.Unmarshal(b, &v); err != nil {
		t.Fatalf("%v: %s", err, b)
	}
	return v
}

// figure is a JSON number, or 1 for true.
func figure(v any) (float64, bool) {
	switch v := v.(type) {
	case float64:
		return v, true
	case bool:
		if v {
			return 1, true
		}
		return 0, true
	}
	return 0, false
}

// Each kind's worked example gives the published figure; its source stands in
// the kind itself.
func TestWorkedExamples(t *testing.T) {
	if len(Kinds()) < 18 {
		t.Fatalf("there are only %d kinds", len(Kinds()))
	}
	for _, k := range Kinds() {
		e := k.Example
		if e.Source == "" || e.Title == "" || len(e.Inputs) == 0 {
			t.Errorf("%s has no worked example with a source", k.Name)
			continue
		}
		r, err := k.Compute(e.Inputs, now)
		if err != nil {
			t.Errorf("%s: %v", k.Name, err)
			continue
		}
		got, ok := figure(asJSON(t, r)[e.Output])
		if !ok || math.Abs(got-e.Value) > e.Within {
			t.Errorf("%s: %s is %v, published %v ± %v (%s)", k.Name, e.Output, got, e.Value, e.Within, e.Source)
		}
		if len(r.Headline) == 0 || r.Explain.Formula == "" || r.Explain.Source == "" || r.Explain.Limits == "" || len(r.Explain.Values) == 0 {
			t.Errorf("%s: the result does not explain itself: %+v", k.Name, r)
		}
		for _, l := range r.Headline {
			if l.Label == "" || l.Value == "" || (l.Basis != Measured && l.Basis != Computed) || strings.Contains(l.Value, "NaN") {
				t.Errorf("%s: a bad line %+v", k.Name, l)
			}
		}
	}
}

// More published rows for the kinds that have several.
func TestPublishedValues(t *testing.T) {
	for _, c := range []struct {
		kind, inputs, output string
		want, within         float64
		source               string
	}{
		{"titration", "sample_ml=10 mL;base_mol_per_l=0.5 M;replicates=0-20", "acidity_g_per_100ml", 6.0, 0.02, "OIV-MA-VI-01, by 60 g/mol"},
		{"titration", "sample_ml=10 mL;base_mol_per_l=0,1 N;replicates=0.0-8,3;dilution_factor=10", "acidity_g_per_100ml", 4.984, 0.006, "AOAC 930.35 with a tenfold dilution"},
		{"titration", "sample_ml=2 mL;base_mol_per_l=0.2 mol/L;replicates=0-8.33", "grain", 50.0, 0.1, "AOAC 930.35; 10 grain per g/100 mL"},
		{"standardise", "runs=0.5105 g 25.00 mL", "base_mol_per_l", 0.09999, 2e-5, "AOAC 936.16"},
		{"calibrate", "buffers=7.01 25 C -15 mV|4.01 25 C 160 mV", "slope_percent", 98.60, 0.05, "laboratory handout on offset and slope"},
		{"calibrate", "buffers=7.02 20 C 3 mV|4.00 20 C 175 mV;mv=268;temperature_c=20 C", "ph", 2.367, 0.003, "two-point calibration, IUPAC 2002"},
		{"ph-of", "acidity_g_per_100ml=5 %", "ph", 2.419, 0.003, "weak acid with Davies' activity, pKa 4.756"},
		{"ph-ratio", "first_ph=4;second_ph=3", "hydrogen_ion_ratio", 10, 1e-9, "IUPAC Green Book"},
		{"gravity", "reading_sg=1.050;temperature_c=20 C", "brix", 12.387, 0.006, "cubic fit to NBS C440"},
		{"gravity", "reading_sg=1.012;temperature_c=20 C", "plato", 3.068, 0.006, "ASBC polynomial"},
		{"brix", "brix=20 °Bx", "sugar_g_per_l", 216.2, 0.3, "CRC Handbook density"},
		{"brix", "plato=9.99359", "specific_gravity", 1.04, 2e-5, "ASBC table polynomial"},
		{"alcohol", "original_gravity=1.048;present_gravity=1.010", "abv_percent", 4.94, 0.01, "HMRC Notice 226"},
		{"alcohol-mass", "abw_percent=5", "abv_percent", 6.24, 0.09, "US Pharmacopeia alcoholometric table"},
		{"ceiling", "ingredients=sugar: 50 g;volume_ml=1 qt;yield_alcohol=0.9;yield_acid=0.85", "likely_g_per_100ml", 2.84, 0.02, "the scrap recipe with usual yields"},
		{"ceiling", "ingredients=sugar: 25 g;volume_ml=4 cups", "stoichiometric_g_per_100ml", 1.85, 0.02, "two tablespoons of sugar to four cups"},
		{"ceiling", "abv_percent=10", "stoichiometric_g_per_100ml", 10.3, 0.05, "a small-farm textbook, p. 366"},
		{"ceiling", "ingredients=apple juice: 1046 g;volume_ml=1 L", "stoichiometric_g_per_100ml", 6.75, 0.02, "USDA SR Legacy 09016"},
		{"sugar-for", "target_g_per_100ml=4.5;volume_ml=1 L;yield_alcohol=0.85;yield_acid=0.8", "sucrose_g_per_l", 94.3, 0.2, "stoichiometry"},
		{"cut", "volume_ml=1 L;abv_percent=40;target_abv_percent=8", "water_ml", 3995, 3, "OIML R 22"},
		{"cut", "volume_ml=1 L;abv_percent=95;target_abv_percent=70", "water_ml", 391, 3, "OIML R 22"},
		{"dilute", "volume_ml=1000 mL;acidity_g_per_100ml=6,2;target_g_per_100ml=5,0", "water_ml", 240, 0.2, "C1 V1 = C2 V2"},
		{"blend", "portions=2 L at 4.4|1 L at 6.5", "acidity_g_per_100ml", 5.10, 0.001, "mass balance"},
		{"blend", "portions=1200 mL 3.5 %|800 mL 6.1 %", "acidity_g_per_100ml", 4.540, 0.003, "mass balance"},
		{"blend", "portions=5 L at 3.5 %, 0.7 % vol|1.92 L at 0 %, 12.5 % vol", "total_concentration_g_per_100ml", 6.5, 0.01, "a vinegar course"},
		{"square", "low=3.2;high=7.5;target=5;total_ml=2 L", "high_ml", 837.2, 0.2, "alligation"},
		{"acid", "acidity_g_per_100ml=1;from=malic", "acetic_g_per_100ml", 0.8957, 0.0005, "equivalent weights"},
		{"pasteurise", "temperature_c=59 C;minutes=30", "meets_guide", 0, 0, "Ohio State University Extension HYG-5346-09: 140 °F at least"},
	} {
		k, ok := Find(c.kind)
		if !ok {
			t.Errorf("there is no kind %s", c.kind)
			continue
		}
		in := map[string]string{}
		for pair := range strings.SplitSeq(c.inputs, ";") {
			name, value, _ := strings.Cut(pair, "=")
			in[name] = strings.ReplaceAll(value, "|", "\n")
		}
		r, err := k.Compute(in, now)
		if err != nil {
			t.Errorf("%s %s: %v", c.kind, c.inputs, err)
			continue
		}
		if got, ok := figure(asJSON(t, r)[c.output]); !ok || math.Abs(got-c.want) > c.within {
			t.Errorf("%s %s: %s is %v, want %v ± %v (%s)", c.kind, c.inputs, c.output, got, c.want, c.within, c.source)
		}
	}
}

// A published common recipe, 1 tablespoon of sugar to a cup of water over
// trimmings, falls well short of 5 %.
func TestScrapRecipeFallsShort(t *testing.T) {
	k, _ := Find("ceiling")
	r, err := k.Compute(map[string]string{"ingredients": "sugar: 1 tbsp\nwater: 1 cup\napple peels: 60 g", "target_g_per_100ml": "5"}, now)
	if err != nil {
		t.Fatal(err)
	}
	v := asJSON(t, r)
	if v["reach"] != "out of reach" || v["stoichiometric_g_per_100ml"].(float64) > 4.7 || v["change"] == nil {
		t.Errorf("%v", v)
	}
}

// Every input, typed wrong in every way, is refused in a sentence that names
// an input, and nothing panics.
func TestBadInputIsASentence(t *testing.T) {
	bad := []string{"NaN", "nan", "Inf", "-1", "-5 mL", "0", "0 mL", "0 g", "abc", "1e3", "1e309 mL", "99999999999999999999", "1,2,3", "--", "%", "\x00", "5 parsecs", "½½", strings.Repeat("9", 300), "\xff\xfe"}
	tried := 0
	for _, k := range Kinds() {
		for _, f := range k.Fields {
			in := maps.Clone(k.Example.Inputs)
			delete(in, f.Name)
			if f.Required {
				refused(t, k, in, f.Name, "missing")
			}
			for _, text := range bad {
				in[f.Name] = text
				tried++
				r, err := k.Compute(in, now)
				if err != nil {
					sentences(t, k, err, text)
					continue
				}
				for _, l := range r.Headline {
					if strings.Contains(l.Value, "NaN") || strings.Contains(l.Value, "Inf") {
						t.Errorf("%s %s=%q gives %+v", k.Name, f.Name, text, l)
					}
				}
				if _, err := json.Marshal(r); err != nil {
					t.Errorf("%s %s=%q: %v", k.Name, f.Name, text, err)
				}
			}
			in[f.Name] = "NaN"
			refused(t, k, in, f.Name, "NaN")
			if f.Accepts != Date && f.Accepts != Choice && !f.negativeOK {
				in[f.Name] = "-1"
				refused(t, k, in, f.Name, "negative")
			}
			if f.Accepts == Volume || f.Accepts == Mass || f.Accepts == Temperature || f.Accepts == Concentration {
				in[f.Name] = "5"
				refused(t, k, in, f.Name, "no unit")
			}
			if f.Accepts != Date && f.Accepts != Choice && !f.zeroOK {
				in[f.Name] = "0"
				refused(t, k, in, f.Name, "zero")
			}
		}
		refused(t, k, map[string]string{"colour": "red"}, "colour", "unknown")
	}
	t.Logf("%d wrong inputs of %d kinds", tried, len(Kinds()))
}

// refused wants a problem at that input.
func refused(t *testing.T, k Kind, in map[string]string, field, why string) {
	t.Helper()
	_, err := k.Compute(in, now)
	var problems larder.Problems
	if !errors.As(err, &problems) {
		t.Errorf("%s: %s %s is accepted: %v", k.Name, field, why, err)
		return
	}
	for _, p := range problems {
		if p.Field == field {
			return
		}
	}
	t.Errorf("%s: %s %s: no problem names it: %+v", k.Name, field, why, problems)
}

var sentence = regexp.MustCompile(`(?s)^["0-9A-Zp½−-].* .*[.?!]$`)

func sentences(t *testing.T, k Kind, err error, text string) {
	t.Helper()
	var problems larder.Problems
	if !errors.As(err, &problems) {
		t.Errorf("%s %q: %v is no larder.Problems", k.Name, text, err)
	}
	for _, p := range problems {
		if _, ok := k.Field(p.Field); !ok {
			t.Errorf("%s %q: the problem names no input: %+v", k.Name, text, p)
		}
		if !sentence.MatchString(p.Message) || len(p.Message) > 600 {
			t.Errorf("%s %q: %s: no sentence: %q", k.Name, text, p.Field, p.Message)
		}
	}
}

// Wrong input that the sums know of, each at the input where it was typed.
func TestRefusals(t *testing.T) {
	for _, c := range []struct{ kind, inputs, field, says string }{
		{"titration", "sample_ml=2 mL;base_mol_per_l=0.1 M;replicates=16.7-0.2", "replicates", "swapped"},
		{"titration", "sample_ml=2 mL;base_mol_per_l=0.1 M;replicates=0-16.7|5", "replicates", "Line 2"},
		{"titration", "sample_ml=2 mL;base_mol_per_l=5 M;replicates=0-16.7", "base_mol_per_l", "lye burns"},
		{"titration", "sample_ml=2 mL;base_mol_per_l=0.1 M;replicates=0-160", "replicates", "more than any ferment"},
		{"titration", "sample_ml=2 mL;base_mol_per_l=0.1 M;replicates=0-16.7;base_checked=2027-01-01", "base_checked", "after today"},
		{"titration", "sample_ml=2 mL;base_mol_per_l=0.1 M;replicates=0-16.7;blank_ml=17 mL", "blank_ml", "blank"},
		{"titration", "sample_ml=1,500 mL;base_mol_per_l=0.1 M;replicates=0-16.7", "sample_ml", "two ways"},
		{"standardise", "runs=0.4 g 20 mL;labelled_g_per_100ml=5", "labelled_g_per_100ml", "not both"},
		{"calibrate", "buffers=phthalate 25 C 172 mV", "buffers", ""},
		{"calibrate", "buffers=phthalate 25 C 172|tech_7.00 25 C 0 mV", "buffers", "mV or pH"},
		{"calibrate", "buffers=phthalate 90 C 172 mV|tech_7.00 25 C 0 mV", "buffers", "Buffer 1"},
		{"calibrate", "buffers=4.01 25 C 172 mV|7.00 25 C 0 mV;mv=262;shown_ph=2.9", "shown_ph", "not both"},
		{"control", "readings_ph=2.8|2.8", "readings_ph", "needs 8"},
		{"ph-of", "acidity_g_per_100ml=15", "acidity_g_per_100ml", "10 g/100 mL"},
		{"gravity", "reading_sg=1050;temperature_c=20 C", "reading_sg", "1.050"},
		{"brix", "brix=15;original_brix=12", "brix", "swapped"},
		{"alcohol", "original_gravity=1.000;present_gravity=1.050", "present_gravity", "swapped"},
		{"ceiling", "ingredients=sugar: 50 g", "volume_ml", "syrup"},
		{"ceiling", "ingredients=apples: 2 kg", "volume_ml", "water"},
		{"ceiling", "ingredients=sugar 50 g;volume_ml=1 L", "ingredients", "NAME: AMOUNT"},
		{"ceiling", "ingredients=sugar: 2 kg;volume_ml=1 L", "volume_ml", "syrup"},
		{"cut", "volume_ml=1 L;abv_percent=5;target_abv_percent=8", "target_abv_percent", "weak enough"},
		{"starter", "feed_ml=3 L;starter_acidity_g_per_100ml=1", "starter_acidity_g_per_100ml", "sourer"},
		{"dilute", "volume_ml=1 L;acidity_g_per_100ml=4;target_g_per_100ml=5", "target_g_per_100ml", "stronger vinegar"},
		{"blend", "portions=1 L at 4|1 L at 6;target_g_per_100ml=7", "target_g_per_100ml", "no blend"},
		{"blend", "portions=1 L at 4|1 L at 6;total_ml=1 L", "total_ml", "target"},
		{"blend", "portions=1 L at 4|1 L at 60", "portions", "Liquid 2"},
		{"square", "low=4;high=6;target=7", "target", "between the two"},
		{"forecast", "points=2026-10-04: 2.1|2027-10-11: 3;ceiling_g_per_100ml=6", "points", "after today"},
		{"forecast", "points=2026-10-04: 2.1|2026-10-11: 3;ceiling_g_per_100ml=6;likely_low_g_per_100ml=5", "likely_high_g_per_100ml", "both ends"},
		{"pasteurise", "temperature_c=110 C;minutes=30", "temperature_c", "100"},
	} {
		k, _ := Find(c.kind)
		in := map[string]string{}
		for pair := range strings.SplitSeq(c.inputs, ";") {
			name, value, _ := strings.Cut(pair, "=")
			in[name] = strings.ReplaceAll(value, "|", "\n")
		}
		_, err := k.Compute(in, now)
		var problems larder.Problems
		if !errors.As(err, &problems) || problems[0].Field != c.field || !strings.Contains(problems[0].Message, c.says) {
			t.Errorf("%s %s: %#v", c.kind, c.inputs, err)
		}
	}
}

// No kind has a pH among its inputs and an acidity among its answers.
func TestNoKindTurnsPHIntoAcidity(t *testing.T) {
	seen := 0
	for _, k := range Kinds() {
		fromPH := false
		for _, f := range k.Fields {
			fromPH = fromPH || f.Unit == "pH" || f.Name == "buffers" || strings.HasSuffix(f.Name, "_ph")
		}
		if !fromPH {
			continue
		}
		seen++
		for _, o := range flat(k.Outputs(), "") {
			if strings.Contains(o.Name, "per_100ml") || strings.Contains(o.Name, "acidity") || o.Name == "mol_per_l" {
				t.Errorf("%s turns a pH into %s", k.Name, o.Name)
			}
		}
		if !strings.Contains(k.Why, "Titrate") {
			t.Errorf("%s does not say why a pH is no acidity", k.Name)
		}
	}
	if seen < 4 {
		t.Errorf("only %d kinds with a pH were found", seen)
	}
}

func flat(outs []Output, prefix string) []Output {
	var all []Output
	for _, o := range outs {
		o.Name = prefix + o.Name
		all = append(all, o)
		all = append(all, flat(o.Inner, o.Name+".")...)
	}
	return all
}

// Every JSON field is described; what is described is there, and the answer
// holds nothing else.
func TestOutputsAreDescribed(t *testing.T) {
	used := map[string]bool{}
	for _, k := range Kinds() {
		known := map[string]bool{}
		for _, o := range flat(k.Outputs(), "") {
			if o.Meaning == "" {
				t.Errorf("%s: %s is not described", k.Name, o.Name)
			}
			used[o.Name[strings.LastIndexByte(o.Name, '.')+1:]] = true
			known[o.Name] = true
		}
		r, err := k.Compute(k.Example.Inputs, now)
		if err != nil {
			t.Fatal(err)
		}
		v := asJSON(t, r)
		for name := range v {
			if !known[name] {
				t.Errorf("%s: %s is not in the list", k.Name, name)
			}
		}
		for _, o := range k.Outputs() {
			if _, ok := v[o.Name]; !ok && !o.Optional {
				t.Errorf("%s: %s is missing from the answer", k.Name, o.Name)
			}
		}
	}
	for name := range meanings {
		if !used[name] {
			t.Errorf("%s is described, but no kind has it", name)
		}
	}
}

func TestTableIsWhole(t *testing.T) {
	names, flags := map[string]bool{}, map[string]bool{}
	snake := regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)
	for _, k := range Kinds() {
		if names[k.Name] || k.Title == "" || k.Question == "" || k.Purpose == "" || k.Group == "" {
			t.Errorf("%s is twice there or not described", k.Name)
		}
		names[k.Name] = true
		clear(flags)
		for _, f := range k.Fields {
			where := k.Name + "." + f.Name
			if !snake.MatchString(f.Name) || f.Label == "" || f.Sample == "" {
				t.Errorf("%s is not described", where)
			}
			if flags[f.Flag] || f.Flag == "json" || f.Flag == "help" || f.Flag == "data" {
				t.Errorf("%s: flag %s is taken", where, f.Flag)
			}
			flags[f.Flag] = true
			if f.Accepts == List && f.parse == nil {
				t.Errorf("%s has no parser", where)
			}
			// What is shown as a good text must be one.
			if r := (Kind{Name: k.Name, Fields: []Field{f}}).read(map[string]string{f.Name: f.Sample}, now); len(r.problems) > 0 {
				t.Errorf("%s: the sample %q: %v", where, f.Sample, r.problems)
			}
		}
		for name := range k.Example.Inputs {
			if _, ok := k.Field(name); !ok {
				t.Errorf("%s: the example has %s", k.Name, name)
			}
		}
		for from, to := range k.fields {
			if _, ok := k.Field(to); !ok {
				t.Errorf("%s: %s leads to %s, which is no input", k.Name, from, to)
			}
		}
	}
	for _, want := range strings.Fields("titration standardise calibrate control ph-ratio ph-of gravity brix alcohol ceiling sugar-for cut starter dilute blend forecast acid pasteurise") {
		if !names[want] {
			t.Errorf("there is no kind %s", want)
		}
	}
}

// A sum about strength says that it is no licence to can.
func TestStrengthCarriesItsCaution(t *testing.T) {
	for _, name := range []string{"titration", "ceiling", "sugar-for", "dilute", "blend", "square", "forecast", "pasteurise"} {
		k, _ := Find(name)
		r, err := k.Compute(k.Example.Inputs, now)
		if err != nil || !strings.Contains(strings.Join(r.Cautions, " "), "canning") {
			t.Errorf("%s: %v %v", name, r.Cautions, err)
		}
	}
	k, _ := Find("titration")
	r, err := k.Compute(k.Example.Inputs, now)
	if err != nil || !strings.Contains(r.Notes[0], "checked") {
		t.Errorf("a base that was never checked is not marked: %v %v", r.Notes, err)
	}
	in := maps.Clone(k.Example.Inputs)
	in["base_checked"] = "10 days ago"
	r, err = k.Compute(in, now)
	if err != nil || asJSON(t, r)["supports_strength_claim"] != true {
		t.Errorf("checked in time: %v %v", r.Notes, err)
	}
	in["base_max_age_days"] = "7"
	if r, err = k.Compute(in, now); err != nil || asJSON(t, r)["supports_strength_claim"] != false {
		t.Errorf("too old for the set age: %v %v", r.Notes, err)
	}
}

func TestListLines(t *testing.T) {
	for _, c := range []struct {
		parse      func(string, time.Time) (any, error)
		line, want string
	}{
		{parseBurette, "0,00 – 16,65 mL", "{0 16.65}"},
		{parseBurette, "0 to 16.7", "{0 16.7}"},
		{parseKHPRun, "0,3888 g took 18,64 mL", "{0.3888 18.64}"},
		{parsePortion, "1 1/2 L at 6 %", "{1500 6 0}"},
		{parsePortion, "5 L @ 3.5 g/100 mL; 0.7 % vol", "{5000 3.5 0.7}"},
		{parsePHLine, "pH 2,81", "2.81"},
		{parsePoint, "2026-10-04 2,1 %", "{2026-10-04 12:00:00 +0000 UTC 2.1 0}"},
		{parsePoint, "4 Oct: 2.1 ± 0.2", "{2026-10-04 12:00:00 +0000 UTC 2.1 0.1}"},
		{parsePoint, "2026-10-04 14:30: 2.1 +/- 0.2", "{2026-10-04 14:30:00 +0000 UTC 2.1 0.1}"},
		{parseIngredient, "pears, peels and cores: 2,4 kg", "{pears, peels and cores 2.4 kg <nil> 0}"},
		{parseIngredient, "wine: 1 L, 12 % vol", "{wine 1 L <nil> 12}"},
	} {
		got, err := c.parse(c.line, now)
		if s := fmt.Sprint(got); err != nil || s != c.want {
			t.Errorf("%q is %s, want %s, %v", c.line, s, c.want, err)
		}
	}
}
