package labels

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chart"
	"cruet/internal/chem"
	"cruet/internal/larder"
)

// BatchRecord is all that a kitchen knows of a batch, to be printed for a
// licensing visit or a notebook.
type BatchRecord struct {
	Kitchen larder.Kitchen
	Batch   larder.Batch
	Jars    []JarRecord
	Bench   []larder.BenchEntry // calibrations and checks of the base
	Lots    []LotRecord
	Page    Page
	Date    time.Time // of printing; zero: now
}

// The parts of a record are what the records have of a batch.
type (
	JarRecord = larder.JarFile
	LotRecord = larder.LotFile
)

// RecordOf is the record of a batch to be printed.
func RecordOf(f larder.BatchFile, k larder.Kitchen) BatchRecord {
	return BatchRecord{Kitchen: k, Batch: f.Batch, Jars: f.Jars, Bench: f.Bench, Lots: f.Lots}
}

// WriteRecord makes the record as a PDF with numbered pages. Text that no font
// has is shown as ?, and the last page says so.
func WriteRecord(w io.Writer, b BatchRecord) error {
	if b.Date.IsZero() {
		b.Date = time.Now()
	}
	if b.Page == (Page{}) {
		b.Page = A4
	}
	if len(b.Jars) == 0 {
		return refuse("batch", "A record needs at least one jar of the batch.")
	}
	r := recordSheet{BatchRecord: b, document: newDocument(b.Kitchen, b.Page, "Batch record: "+b.Batch.Name, b.Date)}
	r.p.foot = func(int, int) string {
		return fmt.Sprintf("%s, batch %d, %s", b.Kitchen.Name, b.Batch.ID, b.Batch.Name)
	}
	r.head()
	r.recipe()
	r.jars()
	r.measurements()
	r.bench()
	r.lots()
	r.signOff()
	return r.p.write(w)
}

// document is what records and traces have in common.
type document struct {
	p     *paper
	loc   *time.Location
	units chem.System
	now   time.Time
}

func newDocument(k larder.Kitchen, page Page, title string, date time.Time) document {
	return document{p: newPaper(page, title, date), loc: k.Location(), units: k.Units(), now: date}
}

// title begins a document: what it is, of what, by whom and when.
func (d document) title(kind, name, under string) {
	p := d.p
	p.put(style("bold", 8).ink(90), strings.ToUpper(kind), p.left(), p.y+3, p.width(), 0)
	p.space(5)
	l := style("serif", 24)
	l.lead = 1.1
	p.say(l, name)
	p.space(2)
	p.say(style("sans", 8.5).ink(60), under)
	p.space(3)
	p.line(p.left(), p.y, p.width(), 0.4, 0)
	p.space(2)
}

// heading begins a section, and keeps the room for its first lines on the page.
func (d document) heading(text string) {
	d.p.need(32)
	d.p.space(5)
	d.p.say(style("serif", 14), text)
	d.p.space(1.6)
}

// fact sets a name in the margin and what it is beside it.
func (d document) fact(name, text string) {
	if strings.TrimSpace(text) == "" {
		return
	}
	p := d.p
	p.row([]cell{{style("sans", 8.5).ink(90), name, p.left(), 30}, {style("sans", 9), text, p.left() + 32, p.width() - 32}}, false)
	p.space(0.6)
}

// tableColumn of a table: its title and its width in mm; 0 takes what is left.
type tableColumn struct {
	title string
	wMM   float64
}

// table sets rows under a head that repeats on every page.
func (d document) table(columns []tableColumn, rows [][]string, struck []bool) {
	p := d.p
	const gap = 2.5
	rest := p.width()
	for _, c := range columns {
		rest -= c.wMM + gap
	}
	xs, ws := make([]float64, len(columns)), make([]float64, len(columns))
	x := p.left()
	for i, c := range columns {
		w := c.wMM
		if w == 0 {
			w = rest + gap
		}
		xs[i], ws[i] = x, w
		x += w + gap
	}
	head := func() {
		for i, c := range columns {
			p.put(style("bold", 7.5).ink(90), c.title, xs[i], p.y+2.6, ws[i], 0)
		}
		p.space(3.8)
		p.line(p.left(), p.y, p.width(), 0.2, 120)
		p.space(0.8)
	}
	p.need(16)
	head()
	p.onPage = head
	for n, row := range rows {
		cells := make([]cell, len(row))
		for i, text := range row {
			cells[i] = cell{style("sans", 8.5), text, xs[i], ws[i]}
		}
		p.row(cells, n < len(struck) && struck[n])
		p.space(0.9)
		p.line(p.left(), p.y, p.width(), 0.1, 205)
		p.space(0.3)
	}
	p.onPage = nil
	p.space(1)
}

func (d document) volume(v *chem.Millilitres) string {
	if v == nil {
		return "not known"
	}
	return chem.FormatVolume(*v, d.units)
}

type recordSheet struct {
	BatchRecord
	document
}

func (r recordSheet) head() {
	r.title("Batch record", r.Batch.Name, fmt.Sprintf("%s. Batch %d, begun %s%s. Printed %s.", joinNonEmpty(", ", r.Kitchen.Name, r.Kitchen.MakerAddress),
		r.Batch.ID, r.Batch.When.DateIn(r.loc), by(r.Batch.By), r.Date.In(r.loc).Format("2 Jan 2006, 15:04")))
}

func by(name string) string {
	if name == "" {
		return ""
	}
	return " by " + name
}

func (r recordSheet) recipe() {
	r.heading("Recipe")
	r.fact("base", string(r.Batch.Base))
	r.fact("target", fmt.Sprintf("%.3g g/100 mL as acetic acid", float64(r.Batch.TargetGPer100ML)))
	r.fact("note", r.Batch.Note)
	if len(r.Batch.Ingredients) == 0 {
		r.fact("ingredients", "none on record")
		return
	}
	r.p.space(1)
	var rows [][]string
	for _, i := range r.Batch.Ingredients {
		bare := i
		bare.Name, bare.Amount = "", chem.Amount{}
		amount := "not recorded"
		if i.Amount != (chem.Amount{}) {
			amount = i.Amount.String()
		}
		rows = append(rows, []string{i.Name, joinNonEmpty(", ", amount, strings.Trim(bare.String(), ", ")), joinNonEmpty("; lot ", firstOf(i.Supplier, "not recorded"), i.SupplierLot)})
	}
	r.table([]tableColumn{{"Ingredient", 0}, {"Amount", 40}, {"From whom", 55}}, rows, nil)
}

func (r recordSheet) jars() {
	for _, j := range r.Jars {
		s := j.Jar.State
		r.heading("Jar " + j.Jar.Letter + ", tag " + string(j.Jar.Tag))
		r.fact("stage", string(s.Stage)+" since "+s.StageSince.DateIn(r.loc))
		r.fact("holds", r.volume(s.VolumeML)+" in a vessel of "+r.volume(&j.Jar.SizeML))
		if s.Hold != "" {
			r.fact("on hold", s.Hold)
		}
		r.fact("acidity", r.acidity(s.Acidity))
		for _, e := range j.CameFrom {
			r.fact("came from", fmt.Sprintf("%s, %s (%s)", e.Words(true, r.units), e.When.DateIn(r.loc), e.What))
		}
		for _, e := range j.WentInto {
			r.fact("went into", fmt.Sprintf("%s, %s (%s)", e.Words(false, r.units), e.When.DateIn(r.loc), e.What))
		}
		r.chart(j)
		r.log(j)
	}
}

func (r recordSheet) acidity(a *larder.Acidity) string {
	if a == nil || a.Basis == larder.NotMeasured {
		return "not measured"
	}
	value := larder.AcidityWords(a.GPer100ML, a.ExpandedUGPer100ML)
	switch a.Basis {
	case larder.Computed:
		return "about " + value + ", computed; " + a.Why
	case larder.Outdated:
		return "not known now; " + value + " " + a.Why
	}
	return value + ", measured " + a.When.DateIn(r.loc)
}

// chart draws the jar's history with the shapes that its page has.
func (r recordSheet) chart(j JarRecord) {
	in := chart.FromLog(j.Log, r.Date.In(r.loc))
	measured := slices.ContainsFunc(in.Series, func(s chart.Series) bool { return len(s.Points) > 0 })
	if !measured {
		return
	}
	target := float64(r.Batch.TargetGPer100ML)
	in.Series[0].Target = &target
	h := chart.HeightMM(in)
	shapes, err := chart.Draw(in, r.p.width(), h)
	if err != nil {
		r.fact("chart", "It cannot be drawn: "+strings.TrimPrefix(err.Error(), "chart: ")+".")
		return
	}
	r.p.need(h + 4)
	r.p.space(2)
	r.p.shapes(shapes, r.p.left(), r.p.y)
	r.p.space(h + 2)
}

// log lists every entry with who and when, struck ones struck.
func (r recordSheet) log(j JarRecord) {
	number := map[uuid.UUID]int{}
	for i, e := range j.Log {
		number[e.ID] = i + 1
	}
	var rows [][]string
	var struck []bool
	for i, e := range j.Log {
		text := larder.Words(e.Body, r.units)
		if s, ok := e.Body.(larder.Strike); ok {
			text = fmt.Sprintf("struck entry %d: %s", number[s.Target], s.Reason)
		}
		text = joinNonEmpty(". ", text, e.Note)
		if e.Struck() {
			text += fmt.Sprintf(" [struck by entry %d]", number[e.StruckBy])
		}
		rows = append(rows, []string{strconv.Itoa(i + 1), e.When.In(r.loc), e.By, text, e.RecordedAt.In(r.loc).Format("2 Jan 2006, 15:04")})
		struck = append(struck, e.Struck())
	}
	r.p.space(1.5)
	r.table([]tableColumn{{"No", 8}, {"When", 33}, {"Who", 12}, {"What", 0}, {"Recorded", 33}}, rows, struck)
}

// measurements opens every titration to its sums.
func (r recordSheet) measurements() {
	begun := false
	for _, j := range r.Jars {
		for i, e := range j.Log {
			t, ok := e.Body.(larder.Titration)
			if !ok {
				continue
			}
			if !begun {
				r.p.need(60) // with the first of them
				r.heading("Titrations")
				r.p.say(style("sans", 8.5).ink(60), "Acidity is that of all acids together, as acetic acid: (V - blank) × N × E × D ÷ (10 × S), with E 60.05 g/mol (AOAC 930.35, OIV-MA-VI-01). The interval is 95 % (JCGM 100:2008).")
				r.p.space(1.5)
				begun = true
			}
			r.titration(j, i+1, e, t)
		}
	}
}

func (r recordSheet) titration(j JarRecord, n int, e larder.Entry, t larder.Titration) {
	p := r.p
	p.need(24)
	title := fmt.Sprintf("Jar %s, entry %d, %s%s", j.Jar.Letter, n, e.When.In(r.loc), by(e.By))
	if e.Struck() {
		title += " (struck)"
	}
	p.say(style("bold", 9), title)
	res, err := t.Result()
	if err != nil {
		p.say(style("sans", 8.5), "It no longer adds up: "+err.Error())
		p.space(2)
		return
	}
	dilution := t.DilutionFactor
	if dilution == 0 {
		dilution = 1
	}
	for k, run := range t.Replicates {
		v := run.EndML - run.StartML
		p.say(style("sans", 8.5), fmt.Sprintf("Run %d: burette %s to %s mL, V = %s mL: (%s - %s) × %.5g × 60.05 × %g ÷ (10 × %g) = %.3f g/100 mL", k+1, num2(run.StartML), num2(run.EndML), num2(v),
			num2(v), num2(t.BlankML), float64(t.BaseMolPerL), dilution, float64(t.SampleML), float64(res.PerReplicate[k])))
	}
	sum := "Result " + larder.AcidityWords(res.AcidityGPer100ML, res.ExpandedUGPer100ML) + fmt.Sprintf(", so at least %.2f", float64(res.LowerGPer100ML))
	if t.EndpointPH != nil {
		sum += fmt.Sprintf("; to pH %.2f", float64(*t.EndpointPH))
	}
	p.say(style("sans", 8.5), joinNonEmpty("; ", sum, base(t))+".")
	if res.StrengthMark != "" {
		p.say(style("sans", 8.5).ink(60), res.StrengthMark)
	}
	p.space(2.5)
}

func base(t larder.Titration) string {
	text := ""
	if t.BaseName != "" {
		text = "base " + t.BaseName
	}
	if t.BaseCheckedDaysAgo != nil {
		text = joinNonEmpty(", ", firstOf(text, "base"), fmt.Sprintf("checked %d days before", *t.BaseCheckedDaysAgo))
	}
	return text
}

func num2(v chem.Millilitres) string { return strconv.FormatFloat(float64(v), 'f', 2, 64) }

func (r recordSheet) bench() {
	if len(r.Bench) == 0 {
		return
	}
	r.heading("Calibrations and checks")
	var rows [][]string
	var struck []bool
	for _, e := range r.Bench {
		w := e.Words()
		rows = append(rows, []string{e.When.In(r.loc), e.By, e.Body.Name(), joinNonEmpty(" ", append([]string{w.Headline + "."}, append(w.Notes, e.Note)...)...)})
		struck = append(struck, e.Struck)
	}
	r.table([]tableColumn{{"When", 33}, {"Who", 12}, {"Of", 32}, {"Found", 0}}, rows, struck)
}

func (r recordSheet) lots() {
	if len(r.Lots) == 0 {
		return
	}
	r.heading("Lots and gifts")
	for _, l := range r.Lots {
		p := r.p
		p.need(20)
		name := fmt.Sprintf("Lot %s, %s", l.Lot.ID, l.Lot.Name)
		switch {
		case l.Lot.Void:
			name += " (struck: it was never bottled so)"
		case l.Lot.Hold != "":
			name += " (on hold: " + l.Lot.Hold + ")"
		}
		p.say(style("bold", 9), name)
		p.say(style("sans", 8.5), fmt.Sprintf("Bottled %s%s, %s, %s.", l.Lot.When.DateIn(r.loc), by(l.Lot.By), bottlesOf(l.Lot, r.units), joinNonEmpty(", ", l.Lot.Acidity.LabelText(), l.Lot.Acidity.LabelNote(r.loc))))
		for _, pour := range l.Lot.Pours {
			p.say(style("sans", 8.5), chem.FormatVolume(pour.VolumeML, r.units)+" from jar "+string(pour.Jar)+".")
		}
		p.space(1)
		r.lotLog(l.Log)
		r.gifts(l)
		p.space(2)
	}
}

// lotLog tells of the holds that were put on a lot and lifted.
func (r recordSheet) lotLog(log []larder.LotHold) {
	if len(log) == 0 {
		return
	}
	var rows [][]string
	for _, h := range log {
		rows = append(rows, []string{h.When.In(r.loc), h.By, joinNonEmpty(". ", h.Words(), h.Note)})
	}
	r.table([]tableColumn{{"When", 33}, {"Who", 12}, {"What", 0}}, rows, nil)
}

// gifts lists who has what, and struck what was taken back.
func (r recordSheet) gifts(l LotRecord) {
	var rows [][]string
	var struck []bool
	for _, b := range slices.Concat(l.Bottles, l.Taken) {
		g := b.Gift
		if g == nil {
			continue
		}
		note := g.Note
		if g.TakenBack != nil {
			note = joinNonEmpty(". ", note, "[taken back"+by(g.TakenBack.By)+": "+g.TakenBack.Reason+"]")
		}
		rows = append(rows, []string{strconv.Itoa(b.Number), chem.FormatVolume(b.SizeML, r.units), g.To, g.When.DateIn(r.loc), g.By, note})
		struck = append(struck, g.TakenBack != nil)
	}
	if len(rows) == 0 {
		r.p.say(style("sans", 8.5).ink(60), "None of it was given away.")
		return
	}
	r.table([]tableColumn{{"No", 8}, {"Size", 18}, {"Given to", 0}, {"When", 28}, {"By", 12}, {"Note", 45}}, rows, struck)
}

func bottlesOf(l larder.Lot, units chem.System) string {
	var runs []string
	for _, run := range l.Runs {
		runs = append(runs, fmt.Sprintf("%d × %s", run.Count, chem.FormatVolume(run.SizeML, units)))
	}
	return strings.Join(runs, ", ")
}

// signOff ends a document with room for a signature.
func (d document) signOff() {
	p := d.p
	if p.replaced {
		p.space(3)
		p.say(style("sans", 8).ink(60), "Characters that no font here has are shown as ?. The records have them as they were typed.")
	}
	p.need(30)
	p.space(18)
	half := (p.width() - 10) / 2
	p.line(p.left(), p.y, half, 0.2, 0)
	p.line(p.left()+half+10, p.y, half, 0.2, 0)
	p.put(style("sans", 8).ink(60), "name and signature", p.left(), p.y+4, half, 0)
	p.put(style("sans", 8).ink(60), "place and date", p.left()+half+10, p.y+4, half, 0)
	p.space(8)
}

func (r recordSheet) signOff() {
	r.p.need(60) // a signature never stands alone on a page
	r.p.space(6)
	r.p.say(style("sans", 8.5).ink(60), "This is what was logged, as it was logged: entries are never changed, and struck ones stay readable. It is no permission; local rules and licensed practice come first.")
	r.document.signOff()
}

// shapes puts a drawing on paper, its ink as grey as its role asks for.
func (p *paper) shapes(list []chart.Shape, x, y float64) {
	for _, s := range list {
		if s.Kind == chart.Text {
			name := "sans"
			if s.Bold {
				name = "bold"
			}
			align := map[chart.Anchor]float64{chart.Start: 0, chart.Middle: 0.5, chart.End: 1}[s.Anchor]
			p.put(style(name, s.SizeMM*ptPerMM), s.Text, x+s.At[0].XMM, y+s.At[0].YMM, 0, align)
			continue
		}
		p.draw(func(r *press) { r.shape(s, x, y) })
	}
}

func (r *press) shape(s chart.Shape, x, y float64) {
	pen := chart.PenOf(s.Role)
	grey := int(255 * (1 - pen.Opacity))
	r.pdf.SetFillColor(grey, grey, grey)
	r.pdf.SetDrawColor(grey, grey, grey)
	r.pdf.SetLineWidth(pen.WidthMM)
	if pen.Dashed {
		r.pdf.SetDashPattern([]float64{1.5, 1}, 0)
		defer r.pdf.SetDashPattern(nil, 0)
	}
	at := func(i int) (float64, float64) { return x + s.At[i].XMM, y + s.At[i].YMM }
	x0, y0 := at(0)
	switch s.Kind {
	case chart.Dot:
		r.pdf.Circle(x0, y0, s.RadiusMM, "F")
	case chart.Ring:
		r.pdf.SetFillColor(255, 255, 255)
		r.pdf.Circle(x0, y0, s.RadiusMM, "FD")
	case chart.Line, chart.Area:
		r.pdf.MoveTo(x0, y0)
		for i := 1; i < len(s.At); i++ {
			r.pdf.LineTo(at(i))
		}
		if s.Kind == chart.Area {
			r.pdf.ClosePath()
			r.pdf.DrawPath("F")
		} else {
			r.pdf.DrawPath("D")
		}
	case chart.Bar:
		x1, y1 := at(1)
		r.pdf.Line(x0, y0, x1, y1)
		if s.CapMM > 0 {
			r.pdf.Line(x1-s.CapMM/2, y1, x1+s.CapMM/2, y1)
		}
	}
}
