package chart

import (
	"fmt"
	"html"
	"slices"
	"strconv"
	"strings"
	"time"
)

// WidthPX is the width for which the drawing on a page is laid out: a narrow
// phone. It may be shown wider.
const WidthPX = 328

const pxPerMM = 96 / 25.4 // CSS pixels

// SVG writes the drawing as one svg element to be put into a page. It has no
// style of its own but presentation attributes in currentColor; every shape
// has a class "chart-ROLE" that a stylesheet may use.
func SVG(in Input) (string, error) {
	shapes, err := Draw(in, WidthPX/pxPerMM, HeightMM(in))
	if err != nil {
		return "", err
	}
	id := cleanID(in.ID)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img" aria-labelledby="%s-title %s-desc" viewBox="0 0 %d %s" width="%d" font-family="sans-serif" font-size="%s" fill="currentColor">`,
		id, id, WidthPX, px(HeightMM(in)), WidthPX, px(textMM))
	fmt.Fprintf(&b, "\n<title id=\"%s-title\">%s</title>\n<desc id=\"%s-desc\">%s</desc>\n", id, escape(in.Title), id, escape(Describe(in)))
	for len(shapes) > 0 {
		n := alike(shapes)
		writeShapes(&b, shapes[:n])
		shapes = shapes[n:]
	}
	b.WriteString("</svg>\n")
	return b.String(), nil
}

// alike counts the first shapes that one path element can hold, which keeps the
// page small: a run of one kind and role.
func alike(shapes []Shape) int {
	first := shapes[0]
	if first.Kind == Text || first.Kind == Area {
		return 1
	}
	n := 1
	for n < len(shapes) && shapes[n].Kind == first.Kind && shapes[n].Role == first.Role {
		n++
	}
	return n
}

func writeShapes(b *strings.Builder, shapes []Shape) {
	s := shapes[0]
	if s.Kind == Text {
		writeText(b, s)
		return
	}
	fmt.Fprintf(b, `<path class="chart-%s"%s d="`, s.Role, paint(s))
	for _, one := range shapes {
		b.WriteString(path(one))
	}
	b.WriteString("\"/>\n")
}

func writeText(b *strings.Builder, s Shape) {
	fmt.Fprintf(b, `<text class="chart-%s" x="%s" y="%s"`, s.Role, px(s.At[0].XMM), px(s.At[0].YMM))
	if s.Anchor != Start {
		fmt.Fprintf(b, ` text-anchor="%s"`, s.Anchor)
	}
	if s.Bold {
		b.WriteString(` font-weight="bold"`)
	}
	b.WriteString(">" + escape(s.Text) + "</text>\n")
}

// paint is a shape's presentation attributes. A dot is a line of no length with
// a round end, the shortest way to write one.
func paint(s Shape) string {
	pen := PenOf(s.Role)
	opacity := ""
	if pen.Opacity < 1 {
		opacity = ` opacity="` + strconv.FormatFloat(pen.Opacity, 'g', 2, 64) + `"`
	}
	switch s.Kind {
	case Area:
		return opacity
	case Dot:
		return opacity + ` stroke="currentColor" stroke-linecap="round" stroke-width="` + px(2*s.RadiusMM) + `"`
	}
	if s.Role == RoleForecast {
		opacity = "" // the band's middle, on top of the band
	}
	attributes := opacity + ` fill="none" stroke="currentColor" stroke-width="` + px(pen.WidthMM) + `"`
	if pen.Dashed {
		attributes += ` stroke-dasharray="5 3"`
	}
	return attributes
}

func path(s Shape) string {
	p := s.At[0]
	switch s.Kind {
	case Dot:
		return "M" + pair(p) + "h0"
	case Ring:
		r, d := px(s.RadiusMM), px(2*s.RadiusMM)
		return "M" + px(p.XMM-s.RadiusMM) + " " + px(p.YMM) + "a" + r + " " + r + " 0 1 0 " + d + " 0a" + r + " " + r + " 0 1 0-" + d + " 0"
	case Bar:
		out := "M" + pair(p) + "V" + px(s.At[1].YMM)
		if s.CapMM > 0 {
			out += "m-" + px(s.CapMM/2) + " 0h" + px(s.CapMM)
		}
		return out
	}
	out := "M" + pair(p)
	if len(s.At) > 1 {
		out += "L"
	}
	for i, next := range s.At[1:] {
		if i > 0 {
			out += " "
		}
		out += pair(next)
	}
	if s.Kind == Area {
		out += "Z"
	}
	return out
}

func pair(p XY) string { return px(p.XMM) + " " + px(p.YMM) }

// px writes mm in CSS pixels to a tenth.
func px(mm float64) string {
	s := strconv.FormatFloat(mm*pxPerMM, 'f', 1, 64)
	s = strings.TrimSuffix(s, ".0")
	if s == "-0" {
		return "0"
	}
	return s
}

// escape writes text for XML and drops what XML cannot hold.
func escape(text string) string {
	return html.EscapeString(strings.Map(func(r rune) rune {
		if r < 0x20 && r != '\t' && r != '\n' || r == 0xFFFE || r == 0xFFFF || r == 0x7f {
			return -1
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD")))
}

func cleanID(id string) string {
	id = strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return -1
	}, id)
	if id == "" {
		return "chart"
	}
	return id
}

// Describe tells the drawing in sentences.
func Describe(in Input) string {
	var out []string
	for _, s := range in.shown() {
		out = append(out, s.describe(in.zone()))
	}
	if len(out) == 0 {
		out = append(out, "Nothing measured yet.")
	}
	for _, b := range in.Stages {
		out = append(out, fmt.Sprintf("Stage %s from %s.", b.Name, date(b.From, in.zone())))
	}
	return strings.Join(out, " ")
}

func (s Series) describe(zone *time.Location) string {
	text := s.Name
	if s.Unit != "" {
		text += ", " + s.Unit
	}
	points := inOrder(s.Points)
	switch n := len(points); n {
	case 0:
		text += ": nothing measured"
	case 1:
		text += fmt.Sprintf(": %s on %s", s.value(points[0]), date(points[0].At, zone))
	default:
		text += fmt.Sprintf(": %d values, from %s on %s to %s on %s", n, s.value(points[0]), date(points[0].At, zone), s.value(points[n-1]), date(points[n-1].At, zone))
	}
	if s.Target != nil {
		text += ", target " + trim(*s.Target, s.Decimals)
	}
	if n := len(s.Forecast); n > 0 {
		last := thin(s.Forecast)[min(n, 24)-1]
		text += fmt.Sprintf(", forecast %s by %s", s.interval(last), date(last.At, zone))
	}
	return text + "."
}

func (s Series) interval(b BandPoint) string {
	return strconv.FormatFloat(b.Low, 'f', s.Decimals, 64) + " to " + strconv.FormatFloat(b.High, 'f', s.Decimals, 64)
}

func date(t time.Time, zone *time.Location) string { return t.In(zone).Format("2 Jan 2006") }

// Row is one number of the drawing in words.
type Row struct {
	Date     string // "22 Nov 2026"
	Quantity string // "Acidity"
	Value    string // "4.8 ± 0.2"
	Unit     string
	Basis    string // "measured", "computed" or "forecast"
}

// Rows are the drawing's numbers in the order of time, for a table beside it.
// Of a forecast only its end is listed.
func Rows(in Input) ([]Row, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	type timed struct {
		at time.Time
		Row
	}
	var all []timed
	for _, s := range in.shown() {
		for _, p := range s.Points {
			basis := "measured"
			if p.Computed {
				basis = "computed"
			}
			all = append(all, timed{p.At, Row{date(p.At, in.zone()), s.Name, s.value(p), s.Unit, basis}})
		}
		if steps := thin(s.Forecast); len(steps) > 0 {
			last := steps[len(steps)-1]
			basis := strings.TrimSpace("forecast " + in.BandMeaning)
			all = append(all, timed{last.At, Row{date(last.At, in.zone()), s.Name, s.interval(last), s.Unit, basis}})
		}
	}
	slices.SortStableFunc(all, func(a, b timed) int { return a.at.Compare(b.at) })
	rows := make([]Row, len(all))
	for i, t := range all {
		rows[i] = t.Row
	}
	return rows, nil
}
