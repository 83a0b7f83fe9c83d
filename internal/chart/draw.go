package chart

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Sizes in mm. 328 CSS pixels are 86.8 mm, so that the text, 3 mm, is 11.3
// pixels high on a narrow phone.
const (
	textMM    = 3.0
	charMM    = 0.54 * textMM // mean width of a character of a sans serif, a guess on the wide side
	titleMM   = 4.8           // height of a panel's title line
	gapMM     = 2.2           // under a panel
	axisMM    = 4.6           // dates under the last panel
	stageMM   = 4.6           // names of the stages above the first
	legendMM  = 5.0
	radiusMM  = 0.7
	capMM     = 1.8 // wider than a point, so that a short bar is seen behind it
	insetMM   = 1.6 // free space left and right of the first and last point
	leastPlot = 6.0 // mm of plot in a panel, below which nothing can be read
	tallShare = 2.2 // height of the first panel, relative to the others
)

// MinWidthMM is the narrowest drawing.
const MinWidthMM = 50

// HeightMM is a good height for a drawing, about as wide as a phone.
func HeightMM(in Input) float64 {
	panels := len(in.shown())
	h := in.furnitureMM(panels)
	if panels > 0 {
		h += 12 * (tallShare + float64(panels-1))
	}
	return h + 6
}

// furnitureMM is the height of everything but the plots.
func (in Input) furnitureMM(panels int) float64 {
	h := axisMM + float64(panels)*(titleMM+gapMM)
	if len(in.Stages) > 0 {
		h += stageMM
	}
	if in.hasLegend() {
		h += legendMM
	}
	return h
}

// Draw lays the drawing out in widthMM by heightMM, in drawing order. It
// refuses numbers that cannot be drawn and sizes that cannot be read.
func Draw(in Input, widthMM, heightMM float64) ([]Shape, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	panels := in.shown()
	least := in.furnitureMM(len(panels))
	if len(panels) > 0 {
		least += leastPlot * (tallShare + float64(len(panels)-1))
	}
	if !usable(widthMM) || !usable(heightMM) || widthMM < MinWidthMM || heightMM < least || widthMM > 2000 || heightMM > 2000 {
		return nil, fmt.Errorf("chart: %.0f by %.0f mm cannot hold this drawing; it needs at least %d by %.0f mm, and no more than 2000", widthMM, heightMM, MinWidthMM, least)
	}
	d := &drawing{in: in, widthMM: widthMM, heightMM: heightMM}
	from, to, ok := in.period()
	if !ok {
		d.text(RoleLabel, Middle, widthMM/2, heightMM/2, "Nothing measured yet.")
		return d.shapes, nil
	}
	d.layOut(panels, from, to)
	return d.shapes, nil
}

// drawing gathers the shapes.
type drawing struct {
	in                Input
	widthMM, heightMM float64
	x                 scale
	shapes            []Shape
}

// panel is one series with its place.
type panel struct {
	Series
	y          scale
	ticks      []tick
	topMM      float64 // of the title line
	plotTopMM  float64
	plotFootMM float64
}

func (d *drawing) layOut(series []Series, from, to time.Time) {
	top := 0.0
	if len(d.in.Stages) > 0 {
		top = stageMM
	}
	foot := d.heightMM - axisMM
	if d.in.hasLegend() {
		foot -= legendMM
	}
	panels, gutter := d.place(series, top, foot)
	d.x = scale{float64(from.Unix()), float64(to.Unix()), gutter + insetMM, d.widthMM - insetMM}
	d.stages(foot)
	d.timeAxis(foot)
	for _, p := range panels {
		d.panel(p)
	}
	if len(panels) == 0 {
		d.text(RoleLabel, Middle, d.widthMM/2, (top+foot)/2, "Nothing measured yet.")
	}
	if d.in.hasLegend() {
		d.legend(d.heightMM - 1.2)
	}
}

// place shares the height out and finds how wide the value labels are.
func (d *drawing) place(series []Series, top, foot float64) (panels []panel, gutter float64) {
	n := float64(len(series))
	unit := (foot - top - n*(titleMM+gapMM)) / (tallShare + n - 1)
	for i, s := range series {
		h := unit
		if i == 0 {
			h *= tallShare
		}
		p := panel{Series: s, topMM: top, plotTopMM: top + titleMM, plotFootMM: top + titleMM + h}
		low, high := s.valueRange()
		p.y = scale{low, high, p.plotFootMM, p.plotTopMM}
		p.ticks = valueTicks(low, high, max(2, int(h/6)))
		for _, t := range p.ticks {
			gutter = max(gutter, width(t.label)+1)
		}
		panels = append(panels, p)
		top = p.plotFootMM + gapMM
	}
	return panels, gutter
}

func width(text string) float64 { return float64(utf8.RuneCountInString(text)) * charMM }

// stages shades every other stage and names each that is wide enough.
func (d *drawing) stages(foot float64) {
	bands := slices.Clone(d.in.Stages)
	slices.SortStableFunc(bands, func(a, b StageBand) int { return a.From.Compare(b.From) })
	for i, b := range bands {
		left, right := d.at(b.From), d.x.toMM
		if !b.To.IsZero() {
			right = d.at(b.To)
		}
		if i == 0 {
			left -= insetMM
		}
		if i == len(bands)-1 {
			right += insetMM
		}
		if i%2 == 0 {
			d.add(Area, RoleStage, XY{left, 0}, XY{right, 0}, XY{right, foot}, XY{left, foot})
		}
		if width(b.Name)+1 <= right-left {
			d.text(RoleLabel, Middle, (left+right)/2, stageMM-1.3, b.Name)
		}
	}
}

func (d *drawing) at(t time.Time) float64 { return d.x.mm(float64(t.Unix())) }

func (d *drawing) timeAxis(foot float64) {
	d.add(Line, RoleGrid, XY{d.x.fromMM - insetMM, foot}, XY{d.widthMM, foot})
	for _, t := range timeTicks(d.x, d.in.zone(), charMM) {
		x := d.x.mm(t.at)
		d.add(Bar, RoleGrid, XY{x, foot}, XY{x, foot + 1})
		half := width(t.label) / 2
		d.text(RoleLabel, Middle, min(max(x, half), d.widthMM-half), foot+axisMM-0.6, t.label)
	}
}

func (d *drawing) panel(p panel) {
	d.title(p)
	for _, t := range p.ticks {
		y := p.y.mm(t.at)
		d.add(Line, RoleGrid, XY{d.x.fromMM - insetMM, y}, XY{d.widthMM, y})
	}
	for _, t := range p.ticks {
		y := p.y.mm(t.at)
		d.text(RoleLabel, End, d.x.fromMM-insetMM-0.8, y+0.36*textMM, t.label)
	}
	d.forecast(p)
	if p.Target != nil {
		y := p.y.mm(*p.Target)
		d.add(Line, RoleTarget, XY{d.x.fromMM - insetMM, y}, XY{d.widthMM, y})
	}
	points := inOrder(p.Points)
	if len(points) > 1 {
		var trend []XY
		for _, pt := range points {
			trend = append(trend, XY{d.at(pt.At), p.y.mm(pt.Value)})
		}
		d.add(Line, RoleTrend, trend...)
	}
	for _, pt := range points {
		if pt.HalfWidth > 0 {
			d.bar(pt, p.y)
		}
	}
	d.points(points, p.y)
}

// bar draws a point's interval as two halves, which begin at the edge of the
// point so that a hollow one stays hollow. A half no longer than the point's
// radius is left out: the point itself is as wide.
func (d *drawing) bar(pt Point, y scale) {
	x, middle := d.at(pt.At), y.mm(pt.Value)
	half := middle - y.mm(pt.Value+pt.HalfWidth)
	if half <= radiusMM {
		return
	}
	for _, up := range []float64{-1, 1} {
		d.shapes = append(d.shapes, Shape{Kind: Bar, Role: RoleBar, At: []XY{{x, middle + up*radiusMM}, {x, middle + up*half}}, CapMM: capMM})
	}
}

// points draws the measured ones first, so that they lie together in the list.
func (d *drawing) points(points []Point, y scale) {
	for _, computed := range []bool{false, true} {
		for _, pt := range points {
			if pt.Computed != computed {
				continue
			}
			kind, role := Dot, RoleMeasured
			if computed {
				kind, role = Ring, RoleComputed
			}
			d.mark(kind, role, XY{d.at(pt.At), y.mm(pt.Value)})
		}
	}
}

func (d *drawing) forecast(p panel) {
	if len(p.Forecast) == 0 {
		return
	}
	steps := thin(p.Forecast)
	var edge, mid []XY
	for _, b := range steps {
		edge = append(edge, XY{d.at(b.At), p.y.mm(b.High)})
		mid = append(mid, XY{d.at(b.At), p.y.mm(b.Mid)})
	}
	for _, b := range slices.Backward(steps) {
		edge = append(edge, XY{d.at(b.At), p.y.mm(b.Low)})
	}
	d.add(Area, RoleForecast, edge...)
	d.add(Line, RoleForecast, mid...)
}

// thin keeps the first, the last and at most 22 steps between them, in order.
func thin(band []BandPoint) []BandPoint {
	const most = 24
	sorted := slices.Clone(band)
	slices.SortStableFunc(sorted, func(a, b BandPoint) int { return a.At.Compare(b.At) })
	if len(sorted) <= most {
		return sorted
	}
	out := make([]BandPoint, most)
	for i := range out {
		out[i] = sorted[i*(len(sorted)-1)/(most-1)]
	}
	return out
}

// title names the quantity and its unit on the left, the newest value on the
// right; what does not fit is left out, the unit and target first.
func (d *drawing) title(p panel) {
	y := p.topMM + titleMM - 1.4
	left := p.Name
	newest := ""
	if points := inOrder(p.Points); len(points) > 0 {
		newest = p.value(points[len(points)-1])
	}
	if p.Unit != "" {
		left = d.ifRoom(left, ", "+p.Unit, newest)
	}
	if p.Target != nil {
		left = d.ifRoom(left, "; target "+trim(*p.Target, p.Decimals), newest)
	}
	d.titleText(Start, d.x.fromMM-insetMM, y, left, false)
	if newest != "" {
		d.titleText(End, d.widthMM-0.5, y, newest, true)
	}
}

func (d *drawing) ifRoom(left, more, right string) string {
	if width(left+more)+width(right)+2*charMM < d.widthMM-d.x.fromMM {
		return left + more
	}
	return left
}

func (d *drawing) titleText(a Anchor, x, y float64, text string, bold bool) {
	d.shapes = append(d.shapes, Shape{Kind: Text, Role: RoleTitle, At: []XY{{x, y}}, Text: text, SizeMM: textMM, Anchor: a, Bold: bold})
}

func (d *drawing) text(r Role, a Anchor, x, y float64, text string) {
	d.shapes = append(d.shapes, Shape{Kind: Text, Role: r, At: []XY{{x, y}}, Text: text, SizeMM: textMM, Anchor: a})
}

func (d *drawing) add(k Kind, r Role, at ...XY) {
	d.shapes = append(d.shapes, Shape{Kind: k, Role: r, At: at})
}

func (d *drawing) mark(k Kind, r Role, at XY) {
	d.shapes = append(d.shapes, Shape{Kind: k, Role: r, At: []XY{at}, RadiusMM: radiusMM})
}

// has says which of computed points, bars and forecasts there are.
func (in Input) has() (computed, bars, forecast bool) {
	for _, s := range in.Series {
		forecast = forecast || len(s.Forecast) > 0
		for _, p := range s.Points {
			computed = computed || p.Computed
			bars = bars || p.HalfWidth > 0
		}
	}
	return computed, bars, forecast
}

func (in Input) hasLegend() bool {
	computed, bars, forecast := in.has()
	return computed || forecast || bars && in.BarMeaning != ""
}

// legend explains the marks, on one line; what does not fit is left to Rows.
func (d *drawing) legend(y float64) {
	x := 0.5
	middle := y - 0.33*textMM
	item := func(label string, draw func(x float64)) {
		if x+4+width(label) > d.widthMM {
			return
		}
		draw(x + 1.5)
		d.text(RoleLabel, Start, x+4, y, label)
		x += 4 + width(label) + 2.2
	}
	computed, bars, forecast := d.in.has()
	item("measured", func(x float64) { d.mark(Dot, RoleMeasured, XY{x, middle}) })
	if computed {
		item("computed", func(x float64) { d.mark(Ring, RoleComputed, XY{x, middle}) })
	}
	if bars && d.in.BarMeaning != "" {
		item(d.in.BarMeaning, func(x float64) {
			for _, end := range []float64{-1.3, 1.3} {
				d.shapes = append(d.shapes, Shape{Kind: Bar, Role: RoleBar, At: []XY{{x, middle}, {x, middle + end}}, CapMM: capMM})
			}
		})
	}
	if forecast {
		item(strings.TrimSpace("forecast "+d.in.BandMeaning), func(x float64) {
			d.add(Area, RoleForecast, XY{x - 1.5, middle - 1.2}, XY{x + 1.5, middle - 1.2}, XY{x + 1.5, middle + 1.2}, XY{x - 1.5, middle + 1.2})
		})
	}
}

func inOrder(points []Point) []Point {
	sorted := slices.Clone(points)
	slices.SortStableFunc(sorted, func(a, b Point) int { return cmp.Compare(a.At.UnixNano(), b.At.UnixNano()) })
	return sorted
}

// value is "4.8 ± 0.2".
func (s Series) value(p Point) string {
	v := strconv.FormatFloat(p.Value, 'f', s.Decimals, 64)
	if p.HalfWidth > 0 {
		v += " ± " + strconv.FormatFloat(p.HalfWidth, 'f', s.Decimals, 64)
	}
	return v
}

func trim(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}
