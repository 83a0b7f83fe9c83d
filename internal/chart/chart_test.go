package chart

import (
	"encoding/xml"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

var update = flag.Bool("update", false, "write the golden drawings")

const goldens = "../../testdata/chart"

func TestGolden(t *testing.T) {
	for name, in := range samples() {
		got, err := SVG(in)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		file := filepath.Join(goldens, name+".svg")
		if *update {
			if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s differs from its golden; look at both, then run with -update if the new one is right", file)
		}
	}
}

// element is one element as an XML parser sees it.
type element struct {
	name string
	attr map[string]string
}

func parse(t *testing.T, svg string) (elements []element, text string) {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := dec.Token()
		if err == io.EOF {
			return elements, text
		}
		if err != nil {
			t.Fatalf("not well-formed: %v\n%s", err, svg)
		}
		switch e := token.(type) {
		case xml.StartElement:
			el := element{e.Name.Local, map[string]string{}}
			for _, a := range e.Attr {
				el.attr[a.Name.Local] = a.Value
			}
			elements = append(elements, el)
		case xml.CharData:
			text += string(e)
		}
	}
}

// A page's content security policy forbids inline style and script.
func TestMarkup(t *testing.T) {
	for name, in := range samples() {
		svg, err := SVG(in)
		if err != nil {
			t.Fatal(err)
		}
		elements, _ := parse(t, svg)
		root := elements[0]
		if root.name != "svg" || root.attr["role"] != "img" || root.attr["aria-labelledby"] != "chart-title chart-desc" {
			t.Errorf("%s: root %v", name, root)
		}
		if elements[1].name != "title" || elements[1].attr["id"] != "chart-title" || elements[2].name != "desc" || elements[2].attr["id"] != "chart-desc" {
			t.Errorf("%s: no title and description first", name)
		}
		for _, e := range elements {
			if !slices.Contains([]string{"svg", "title", "desc", "path", "text"}, e.name) {
				t.Errorf("%s: element %s", name, e.name)
			}
			for key, value := range e.attr {
				if key == "style" || strings.HasPrefix(key, "on") || strings.Contains(value, "url(") {
					t.Errorf("%s: <%s %s=%q>", name, e.name, key, value)
				}
				if (key == "fill" || key == "stroke") && value != "currentColor" && value != "none" {
					t.Errorf("%s: a colour of its own: %s=%q", name, key, value)
				}
			}
		}
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			t.Errorf("%s: a number that is none", name)
		}
	}
}

func TestReadableOnANarrowPhone(t *testing.T) {
	for name, in := range samples() {
		svg, _ := SVG(in)
		elements, _ := parse(t, svg)
		size, err := strconv.ParseFloat(elements[0].attr["font-size"], 64)
		if err != nil || size < 11 || elements[0].attr["width"] != "328" || !strings.HasPrefix(elements[0].attr["viewBox"], "0 0 328 ") {
			t.Errorf("%s: %v px in %s by %v", name, size, elements[0].attr["viewBox"], err)
		}
	}
}

// Nothing is drawn outside, and no two labels on one line run into each other.
func TestNothingRunsOut(t *testing.T) {
	for name, in := range samples() {
		w, h := WidthPX/pxPerMM, HeightMM(in)
		shapes, err := Draw(in, w, h)
		if err != nil {
			t.Fatal(err)
		}
		type span struct{ y, from, to float64 }
		var texts []span
		for _, s := range shapes {
			for _, p := range s.At {
				if p.XMM < -0.01 || p.XMM > w+0.01 || p.YMM < -0.01 || p.YMM > h+0.01 {
					t.Errorf("%s: %s at %v outside %v by %v", name, s.Role, p, w, h)
				}
			}
			if s.Kind != Text {
				continue
			}
			from := s.At[0].XMM - map[Anchor]float64{Start: 0, Middle: 0.5, End: 1}[s.Anchor]*width(s.Text)
			if from < -0.6 || from+width(s.Text) > w+0.6 {
				t.Errorf("%s: %q runs out of the drawing", name, s.Text)
			}
			for _, other := range texts {
				if math.Abs(other.y-s.At[0].YMM) < 2.6 && from < other.to && other.from < from+width(s.Text) {
					t.Errorf("%s: %q runs into another text", name, s.Text)
				}
			}
			texts = append(texts, span{s.At[0].YMM, from, from + width(s.Text)})
		}
	}
}

func TestSizeBudget(t *testing.T) {
	svg, err := SVG(fifty())
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("50 entries: %d bytes, %d elements", len(svg), strings.Count(svg, "\n")-1)
	if len(svg) > 12_000 {
		t.Errorf("50 entries take %d bytes, more than 12 000", len(svg))
	}
}

// Measured points are filled, computed ones hollow.
func TestMeasuredAndComputedDiffer(t *testing.T) {
	in := aJar()
	in.BarMeaning, in.Series[0].Forecast = "", nil
	shapes, err := Draw(in, 86, 110)
	if err != nil {
		t.Fatal(err)
	}
	dots, rings := 0, 0
	for _, s := range shapes {
		switch {
		case s.Kind == Dot && s.Role == RoleMeasured:
			dots++
		case s.Kind == Ring && s.Role == RoleComputed:
			rings++
		case s.Kind == Dot || s.Kind == Ring:
			t.Errorf("a %v in the role %s", s.Kind, s.Role)
		}
	}
	// One more of each in the legend.
	if dots != 4+8+4+8+1 || rings != 1+1 {
		t.Errorf("%d dots and %d rings", dots, rings)
	}
}

// Positions are read back from the drawing: values map evenly onto the panel,
// times onto the axis.
func TestPositionsAreProportional(t *testing.T) {
	in := Input{Series: []Series{{Name: "Acidity", Decimals: 1, Points: []Point{{At: at(0), Value: 1}, {At: at(10), Value: 3}, {At: at(40), Value: 2}}}}}
	shapes, err := Draw(in, 100, 60)
	if err != nil {
		t.Fatal(err)
	}
	var p []XY
	for _, s := range shapes {
		if s.Kind == Dot {
			p = append(p, s.At[0])
		}
	}
	if len(p) != 3 {
		t.Fatalf("%d dots", len(p))
	}
	if share := (p[1].XMM - p[0].XMM) / (p[2].XMM - p[0].XMM); math.Abs(share-0.25) > 1e-6 {
		t.Errorf("day 10 of 40 stands at %v", share)
	}
	if share := (p[0].YMM - p[2].YMM) / (p[0].YMM - p[1].YMM); math.Abs(share-0.5) > 1e-6 {
		t.Errorf("2 between 1 and 3 stands at %v", share)
	}
}

func TestRefusals(t *testing.T) {
	bad := func(change func(*Input)) Input {
		in := aJar()
		change(&in)
		return in
	}
	for name, in := range map[string]Input{
		"NaN":              bad(func(in *Input) { in.Series[1].Points[2].Value = math.NaN() }),
		"infinity":         bad(func(in *Input) { in.Series[1].Points[2].Value = math.Inf(-1) }),
		"NaN half width":   bad(func(in *Input) { in.Series[1].Points[2].HalfWidth = math.NaN() }),
		"minus half width": bad(func(in *Input) { in.Series[1].Points[2].HalfWidth = -1 }),
		"NaN target":       bad(func(in *Input) { in.Series[0].Target = new(math.NaN()) }),
		"NaN forecast":     bad(func(in *Input) { in.Series[0].Forecast[3].Mid = math.NaN() }),
		"crossed forecast": bad(func(in *Input) { in.Series[0].Forecast[3].Low = 99 }),
		"no date":          bad(func(in *Input) { in.Series[0].Points[0].At = time.Time{} }),
		"year 30000":       bad(func(in *Input) { in.Series[0].Points[0].At = time.Date(30000, 1, 1, 0, 0, 0, 0, time.UTC) }),
		"stage backwards":  bad(func(in *Input) { in.Stages[0].To = at(-1) }),
		"stage undated":    bad(func(in *Input) { in.Stages[0].From = time.Time{} }),
		"too many series":  bad(func(in *Input) { in.Series = make([]Series, 9) }),
		"too many points":  bad(func(in *Input) { in.Series[0].Points = make([]Point, 6000) }),
	} {
		if _, err := SVG(in); err == nil {
			t.Errorf("%s: drawn", name)
		} else if !strings.HasPrefix(err.Error(), "chart: ") {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := Rows(in); err == nil {
			t.Errorf("%s: listed", name)
		}
	}
	for _, size := range [][2]float64{{10, 100}, {86, 20}, {math.NaN(), 100}, {86, math.Inf(1)}} {
		if _, err := Draw(aJar(), size[0], size[1]); err == nil {
			t.Errorf("%v mm: drawn", size)
		}
	}
}

func TestEdgeCases(t *testing.T) {
	same := Input{Series: []Series{{Name: "pH", Decimals: 2, Points: []Point{{At: at(1), Value: 3.1}, {At: at(1), Value: 3.1}, {At: at(1), Value: 3.1}}}}}
	zero := Input{Series: []Series{{Name: "Acidity", FromZero: true, Points: []Point{{At: at(1), Value: 0}}}}}
	only := Input{Series: []Series{{Name: "Acidity", Forecast: []BandPoint{{At: at(1), Low: 1, Mid: 2, High: 3}}}}}
	stages := Input{Stages: []StageBand{{Name: "must", From: at(0), To: at(3)}}}
	for name, in := range map[string]Input{"same time and value": same, "zero": zero, "forecast only": only, "stages only": stages, "nothing": {}, "blank series": {Series: []Series{{Name: "pH"}}}} {
		svg, err := SVG(in)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		_, text := parse(t, svg)
		if blank := len(in.shown()) == 0; blank != strings.Contains(text, "Nothing measured yet.") {
			t.Errorf("%s: %q", name, text)
		}
		if regexp.MustCompile(`NaN|Inf`).MatchString(svg) {
			t.Errorf("%s: a number that is none:\n%s", name, svg)
		}
	}
}

func TestNamesAreEscaped(t *testing.T) {
	in := one()
	in.ID, in.Title = `x" onload="y`, "A <script>&\x00\x07\xff B"
	svg, err := SVG(in)
	if err != nil {
		t.Fatal(err)
	}
	elements, text := parse(t, svg)
	if !strings.Contains(text, "A <script>&\uFFFD B") || elements[0].attr["aria-labelledby"] != "xonloady-title xonloady-desc" {
		t.Errorf("%v %q", elements[0], text)
	}
}

func TestValueTicks(t *testing.T) {
	for _, tt := range []struct {
		from, to float64
		most     int
		want     string
	}{
		{0, 6.2, 4, "0 2 4 6"}, {2.8, 3.7, 3, "3.0 3.5"}, {0.996, 1.051, 3, "1.00 1.02 1.04"}, {17, 21, 3, "18 20"}, {-3, 3, 3, "-2 0 2"}, {0, 1, 2, "0 1"},
	} {
		var got []string
		for _, tick := range valueTicks(tt.from, tt.to, tt.most) {
			got = append(got, tick.label)
		}
		if s := strings.Join(got, " "); s != tt.want {
			t.Errorf("%v to %v: %s, want %s", tt.from, tt.to, s, tt.want)
		}
	}
}

// The marks stand on days of the kitchen's calendar; summer time ended in
// Dublin on 25 October 2026.
func TestTimeTicks(t *testing.T) {
	for _, tt := range []struct {
		from, to time.Time
		want     string
	}{
		{at(28), at(32), "24 Oct, 25 Oct, 26 Oct, 27 Oct"},
		{at(0), at(30), "28 Sep, 5 Oct, 12 Oct, 19 Oct"},
		{at(0), at(120), "Oct 2026, Nov, Dec, Jan 2027"},
		{at(0), at(900), "Jan 2027, Jul, Jan 2028, Jul, Jan 2029"},
		{at(0), at(9000), "2030, 2035, 2040, 2045, 2050"},
	} {
		x := scale{float64(tt.from.Unix()), float64(tt.to.Unix()), 8, 85}
		var got []string
		for _, tick := range timeTicks(x, dublin, charMM) {
			got = append(got, tick.label)
			if clock := time.Unix(int64(tick.at), 0).In(dublin).Format("15:04"); clock != "00:00" {
				t.Errorf("%s stands at %s", tick.label, clock)
			}
		}
		if s := strings.Join(got, ", "); s != tt.want {
			t.Errorf("%s to %s: %s, want %s", tt.from.Format(time.DateOnly), tt.to.Format(time.DateOnly), s, tt.want)
		}
	}
}

func TestRows(t *testing.T) {
	rows, err := Rows(aJar())
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 5+8+4+8+1 {
		t.Errorf("%d rows", len(rows))
	}
	for _, want := range []Row{
		{"13 Oct 2026", "Acidity", "1.2 ± 0.2", "g/100 mL", "computed"},
		{"25 Sep 2026", "Specific gravity", "1.048", "", "measured"},
	} {
		if !slices.Contains(rows, want) {
			t.Errorf("%v is missing in %v", want, rows)
		}
	}
	if last := rows[len(rows)-1]; last.Basis != "forecast 80 %" {
		t.Errorf("the last row is %v", last)
	}
	if d := Describe(aJar()); !strings.Contains(d, "Acidity, g/100 mL: 5 values, from 1.2 ± 0.2 on 13 Oct 2026 to 3.6 ± 0.2 on 14 Nov 2026, target 5, forecast") {
		t.Error(d)
	}
}

func BenchmarkSVG(b *testing.B) {
	in := fifty()
	for b.Loop() {
		if _, err := SVG(in); err != nil {
			b.Fatal(err)
		}
	}
}
