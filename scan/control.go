package scan

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// controlView is the control chart of one meter.
type controlView struct {
	Meter, Text string
	Out         bool // the newest reading breaks a rule
	SVG         template.HTML
	Rows        []controlRow
	Flags       []string
}

type controlRow struct{ When, PH, Mark string }

// controlCharts makes a chart for each meter; lines are the newest first.
func controlCharts(lines []larder.BenchEntry, w writer) []controlView {
	var out []controlView
	var meters []string
	for _, e := range lines {
		if name := e.Body.Name(); !e.Struck && !slices.Contains(meters, name) {
			meters = append(meters, name)
		}
	}
	for _, meter := range meters {
		out = append(out, controlChart(meter, lines, w))
	}
	return out
}

func controlChart(meter string, lines []larder.BenchEntry, w writer) controlView {
	v := controlView{Meter: meter}
	var ask chem.ControlChart
	for _, e := range slices.Backward(lines) {
		if s, ok := e.Body.(larder.ControlSample); ok && !e.Struck && s.Meter == meter {
			ask.ReadingsPH = append(ask.ReadingsPH, s.PH)
			v.Rows = append(v.Rows, controlRow{When: dayOf(e.When, w.now), PH: fmt.Sprintf("%.2f", float64(s.PH))})
		}
	}
	r, err := ask.Result()
	if err != nil {
		v.Text = err.Error()
		return v
	}
	v.Text = fmt.Sprintf("In control: mean pH %.2f, usual range %.2f to %.2f (mean ± 3 s).", float64(r.MeanPH), float64(r.LowerPH), float64(r.UpperPH))
	if v.Out = !r.InControl; v.Out {
		v.Text = strings.Replace(v.Text, "In control", "Out of control", 1)
	}
	for _, f := range r.Flags {
		v.Rows[f.Index].Mark = "flagged"
		v.Flags = append(v.Flags, v.Rows[f.Index].When+": "+f.Why)
	}
	v.SVG = drawControl(meter, ask, r)
	return v
}

// drawControl draws the readings in order between their limits: a filled dot is
// usual, an open square is flagged. All ink is the text's own.
func drawControl(meter string, ask chem.ControlChart, r chem.ControlResult) template.HTML {
	const width, height, left, right, top, bottom = 328.0, 130.0, 4.0, 44.0, 12.0, 12.0
	low, high := float64(r.LowerPH), float64(r.UpperPH)
	for _, v := range ask.ReadingsPH {
		low, high = math.Min(low, float64(v)), math.Max(high, float64(v))
	}
	y := func(ph float64) float64 { return top + (high-ph)/(high-low)*(height-top-bottom) }
	x := func(i int) float64 {
		return left + 5 + float64(i)*(width-left-right-10)/float64(max(1, len(ask.ReadingsPH)-1))
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img" aria-label="%s" viewBox="0 0 %g %g" font-size="11" fill="currentColor">`,
		template.HTMLEscapeString(fmt.Sprintf("Control chart of %s: %d readings, mean %.2f, limits %.2f and %.2f, %d flagged", meter, len(ask.ReadingsPH), float64(r.MeanPH), float64(r.LowerPH), float64(r.UpperPH), len(r.Flags))), width, height)
	for _, line := range []struct {
		ph   chem.PH
		dash string
	}{{r.UpperPH, ` stroke-dasharray="5 3"`}, {r.MeanPH, ""}, {r.LowerPH, ` stroke-dasharray="5 3"`}} {
		at := y(float64(line.ph))
		fmt.Fprintf(&b, `<path d="M%g %.1fH%g" stroke="currentColor"%s/><text x="%g" y="%.1f">%.2f</text>`, left, at, width-right, line.dash, width-right+5, at+4, float64(line.ph))
	}
	for i, v := range ask.ReadingsPH {
		if slices.ContainsFunc(r.Flags, func(f chem.ControlFlag) bool { return f.Index == i }) {
			fmt.Fprintf(&b, `<path d="M%.1f %.1fh10v10h-10z" fill="none" stroke="currentColor" stroke-width="2"/>`, x(i)-5, y(float64(v))-5)
			continue
		}
		fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="3"/>`, x(i), y(float64(v)))
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}
