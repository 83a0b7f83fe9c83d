package labels

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// Card is a gift card: one page, printed on one side and folded twice, that
// tells the story of a bottle from the record.
type Card struct {
	Filled
	Page     Page
	Findings []verdict.Finding // of the lot; what it may be used for
	Message  string            // a line for whoever gets it; empty: the gift's note
	To       string            // empty: as the gift was recorded
	Date     time.Time         // of the PDF; zero: now
}

// Story is what a card tells, in the order of reading.
type Story struct {
	Name, Food, To, Message string
	Tale                    []string // paragraphs
	Sour                    string   // how sour, and how that is known
	Uses                    []string
	Minds                   []string // cautions
	Facts                   string   // the code's text
	Foot                    []string // lot, date, maker
}

// Tell gathers a card's story from the record.
func (c Card) Tell() (Story, error) {
	d, err := DraftBottle(c.Filled, Wanted{Code: Facts})
	if err != nil {
		return Story{}, err
	}
	loc := c.Kitchen.Location()
	s := Story{Name: d.Label.Name, Food: d.Label.Food, To: c.To, Message: c.Message, Facts: d.Label.URL}
	if g := c.Bottle.Gift; g != nil {
		s.To, s.Message = firstOf(s.To, g.To), firstOf(s.Message, g.Note)
	}
	s.Tale = c.tale(loc)
	s.Sour = joinNonEmpty("; ", upperFirst(d.Label.Acidity), d.Label.AcidityNote)
	if c.Lot.Acidity.Basis == larder.NotMeasured || c.Lot.Acidity.Basis == larder.Outdated {
		s.Sour = "Nobody measured how sour it is, so taste it before you use it."
	}
	s.Uses = usesOf(c.Findings, d)
	for _, text := range d.Label.Cautions {
		s.Minds = append(s.Minds, text+".")
	}
	s.Minds = append(s.Minds, nonBlank(d.Label.Contains, d.Label.State, d.Label.Keep)...)
	s.Minds = append(s.Minds, "Throw it away if anything coloured or furry grows on it.")
	s.Foot = nonBlank(fmt.Sprintf("Lot %s, bottle %d of %d", c.Lot.ID, c.Bottle.Number, c.Bottles), "bottled "+c.Lot.When.DateIn(loc)+", "+d.Label.Net, d.Label.Home, d.Label.Maker)
	return s, nil
}

func nonBlank(texts ...string) []string {
	var out []string
	for _, t := range texts {
		if strings.TrimSpace(t) != "" {
			out = append(out, t)
		}
	}
	return out
}

// tale is what went in and when, whose mother it had, and how long it took.
func (c Card) tale(loc *time.Location) []string {
	var out []string
	own := map[larder.Tag]bool{}
	for _, p := range c.Lot.Pours {
		own[p.Jar] = true
	}
	batches := map[int64]bool{}
	for _, j := range c.Trace.Jars {
		if own[j.Tag] {
			batches[j.BatchID] = true
		}
	}
	for _, j := range c.Trace.Jars { // jars that the lot's own were filled from
		own[j.Tag] = own[j.Tag] || batches[j.BatchID]
	}
	var began time.Time
	for _, b := range c.Trace.Batches {
		if !batches[b.ID] {
			continue
		}
		if began.IsZero() || b.When.At.Before(began) {
			began = b.When.At
		}
		out = append(out, "Begun "+longDate(b.When, loc)+madeFrom(b, c.Kitchen.Units())+".")
	}
	if text := c.motherTale(own, loc); text != "" {
		out = append(out, text)
	}
	for _, s := range c.Trace.Back {
		if s.What == larder.Infused && own[s.ToJar] {
			out = append(out, upperFirst(s.FromName)+" went in on "+longDate(s.When, loc)+".")
		}
	}
	if !began.IsZero() {
		out = append(out, fmt.Sprintf("Bottled %s, %s after it was begun.", longDate(c.Lot.When, loc), duration(c.Lot.When.At.Sub(began))))
	}
	return out
}

// motherTale says whose mother it had.
func (c Card) motherTale(own map[larder.Tag]bool, loc *time.Location) string {
	for _, s := range c.Trace.Back {
		if s.What != larder.StarterIn || !own[s.ToJar] {
			continue
		}
		what := "A starter"
		if s.Mother {
			what = "A mother"
		}
		switch {
		case s.FromJar != "":
			for _, j := range c.Trace.Jars {
				if j.Tag == s.FromJar {
					return fmt.Sprintf("%s came over from the %s on %s.", what, strings.ToLower(j.Batch), longDate(s.When, loc))
				}
			}
		case s.FromName != "":
			return fmt.Sprintf("%s came from %s on %s.", what, s.FromName, longDate(s.When, loc))
		}
	}
	return ""
}

func madeFrom(b larder.Batch, units chem.System) string {
	var parts []string
	for _, i := range b.Ingredients {
		amount := ""
		switch {
		case i.Amount.MassG > 0:
			amount = chem.FormatMass(i.Amount.MassG, units) + " of "
		case i.Amount.VolumeML > 0:
			amount = chem.FormatVolume(i.Amount.VolumeML, units) + " of "
		}
		parts = append(parts, amount+i.Name)
	}
	switch n := len(parts); n {
	case 0:
		return " from " + string(b.Base)
	case 1:
		return " from " + parts[0]
	default:
		return " from " + strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
}

func longDate(w larder.When, loc *time.Location) string {
	text := w.At.In(loc).Format("2 January 2006")
	if w.Precision == larder.About {
		return "about " + text
	}
	return text
}

func duration(d time.Duration) string {
	days := int(math.Round(d.Hours() / 24))
	switch {
	case days < 21:
		return fmt.Sprintf("%d days", days)
	case days < 120:
		return fmt.Sprintf("%d weeks", (days+3)/7)
	case days < 700:
		return fmt.Sprintf("%d months", int(math.Round(float64(days)/30.44)))
	}
	return fmt.Sprintf("%d years", int(math.Round(float64(days)/365.25)))
}

// usesOf says what it is good for. What a use asks of the acidity is decided by
// the verdict; the dishes are common practice, no published source.
func usesOf(findings []verdict.Finding, d Draft) []string {
	answer := map[verdict.Use]verdict.Answer{}
	for _, f := range findings {
		answer[f.Use] = f.Answer
	}
	uses := []string{"salads and dressings", "a spoonful in soups and sauces"}
	if d.Food.Kind == "malt" {
		uses = []string{"chips and fried fish", "marinades", "a spoonful in stews"}
	}
	if !d.Food.Vinegar || answer[verdict.Table] == verdict.No {
		uses = nil
	}
	if answer[verdict.FridgePickles] == verdict.Supported {
		uses = append(uses, "pickles that stay in the refrigerator")
	}
	if answer[verdict.Cleaning] == verdict.Supported {
		uses = append(uses, "cleaning windows and kettles, never together with bleach")
	}
	return uses
}

// WriteCard makes the card as a PDF of one page. Nothing is written when there
// is an error.
func WriteCard(w io.Writer, c Card) error {
	s, err := c.Tell()
	if err != nil {
		return err
	}
	if c.Page == (Page{}) {
		c.Page = A4
	}
	if c.Date.IsZero() {
		c.Date = time.Now()
	}
	code, err := NewCode(s.Facts, LevelM)
	if err != nil {
		return err
	}
	k := cardSheet{Story: s, p: newPaper(c.Page, "Gift card: "+s.Name, c.Date), kitchen: c.Kitchen.Name, w: c.Page.WMM / 2, h: c.Page.HMM / 2}
	if err := k.draw(code); err != nil {
		return err
	}
	return k.p.write(w)
}

// cardSheet is a card being laid out. The sheet has four panels. Folded back
// along its middle and then closed like a book, the lower right is the cover and
// the lower left the back; the upper two, set upside down, are the inside.
type cardSheet struct {
	Story
	p       *paper
	kitchen string
	w, h    float64 // of one panel
}

const cardPadMM = 13.0

func (k *cardSheet) draw(code Code) error {
	p := k.p
	k.folds()
	k.panel(k.w, k.h, k.cover)
	k.panel(0, k.h, func() { k.back(code) })
	k.flipped(k.w, 0, k.inside)
	k.flipped(0, 0, k.advice)
	if len(p.sheets) > 1 {
		return &RoomError{What: "The card's story does not fit whole", Stock: p.page.ID}
	}
	return nil
}

// panel sets the paper's text area to one quarter of the sheet.
func (k *cardSheet) panel(x, y float64, do func()) {
	p := k.p
	p.sides = [2]float64{x + cardPadMM, p.page.WMM - x - k.w + cardPadMM}
	p.top, p.end = y+cardPadMM, y+k.h-cardPadMM*0.8
	p.y = p.top
	do()
}

// flipped is a panel that is read with the sheet upside down.
func (k *cardSheet) flipped(x, y float64, do func()) {
	cx, cy := k.p.page.WMM/2, k.p.page.HMM/2
	k.p.draw(func(r *press) {
		r.pdf.TransformBegin()
		r.pdf.TransformRotate(180, cx, cy)
	})
	k.panel(2*cx-x-k.w, 2*cy-y-k.h, do)
	k.p.draw(func(r *press) { r.pdf.TransformEnd() })
}

// folds marks where to fold, at the paper's edges alone.
func (k *cardSheet) folds() {
	const tick = 4.0
	p := k.p
	p.line(k.w, 6, 0.15, tick, 150)
	p.line(k.w, p.page.HMM-6-tick, 0.15, tick, 150)
	p.line(6, k.h, tick, 0.15, 150)
	p.line(p.page.WMM-6-tick, k.h, tick, 0.15, 150)
}

// frame draws a fine double rule round a panel.
func (p *paper) frame(x, y, w, h, thick float64, grey int) {
	p.line(x, y, w, thick, grey)
	p.line(x, y+h-thick, w, thick, grey)
	p.line(x, y, thick, h, grey)
	p.line(x+w-thick, y, thick, h, grey)
}

func (k *cardSheet) cover() {
	p := k.p
	x, y := p.left()-cardPadMM, p.top-cardPadMM
	p.frame(x+7, y+7, k.w-14, k.h-14, 0.5, 40)
	p.frame(x+8.2, y+8.2, k.w-16.4, k.h-16.4, 0.15, 40)
	middle := y + 0.40*k.h
	for pt := 30.0; ; pt -= 1 {
		l := style("serif", pt)
		l.lead = 1.12
		b := p.lines(l, k.Name, p.width())
		if fits := len(b.lines) <= 4 && widestOf(b)*mm(pt) <= p.width() && !midWord(b.lines, k.Name); fits || pt <= 14 {
			p.y = middle - float64(len(b.lines))*mm(pt)*l.lead/2
			p.sayIn(l, k.Name, p.left(), p.width(), 0.5)
			break
		}
	}
	p.y += 4
	k.ornament(x + k.w/2)
	p.y += 4
	if k.Food != "" {
		p.sayIn(style("italic", 12.5), k.Food, p.left(), p.width(), 0.5)
	}
	if k.To != "" {
		p.y = max(p.y+6, y+0.72*k.h)
		p.sayIn(style("italic", 12), "for "+k.To, p.left(), p.width(), 0.5)
	}
	p.put(style("serif", 9.5), k.kitchen, p.left(), y+k.h-16, p.width(), 0.5)
}

func widestOf(b broken) float64 {
	w := 0.0
	for _, l := range b.lines {
		w = max(w, b.face.widthEm(l))
	}
	return w
}

// midWord tells that a line ends inside a word.
func midWord(lines []string, text string) bool {
	words := strings.Fields(text)
	for _, l := range lines {
		for _, w := range strings.Fields(l) {
			found := false
			for _, have := range words {
				found = found || have == w || strings.Contains(have, "-") && strings.Contains(have, w)
			}
			if !found {
				return true
			}
		}
	}
	return false
}

// ornament is a rule with a drop in its middle.
func (k *cardSheet) ornament(x float64) {
	p, y := k.p, k.p.y
	p.line(x-16, y, 12.5, 0.2, 40)
	p.line(x+3.5, y, 12.5, 0.2, 40)
	p.draw(func(r *press) {
		r.pdf.SetFillColor(40, 40, 40)
		r.pdf.MoveTo(x, y-2.6)
		r.pdf.CurveBezierCubicTo(x+0.5, y-1.2, x+1.5, y-0.5, x+1.5, y+0.6)
		r.pdf.CurveBezierCubicTo(x+1.5, y+1.5, x+0.8, y+2, x, y+2)
		r.pdf.CurveBezierCubicTo(x-0.8, y+2, x-1.5, y+1.5, x-1.5, y+0.6)
		r.pdf.CurveBezierCubicTo(x-1.5, y-0.5, x-0.5, y-1.2, x, y-2.6)
		r.pdf.ClosePath()
		r.pdf.DrawPath("F")
	})
}

func (k *cardSheet) heading(text string) {
	p := k.p
	p.need(14)
	p.sayIn(style("italic", 15).ink(60), text, p.left(), p.width(), 0)
	p.space(1)
	p.line(p.left(), p.y, 10, 0.3, 60)
	p.space(2.4)
}

// inside tells the story, in type as large as it fits.
func (k *cardSheet) inside() {
	k.heading("Its story")
	k.paragraphs(append(k.Tale, nonBlank(k.Message)...), len(k.Tale))
}

// paragraphs sets the largest type that fits; those from index soft on are the
// giver's own words, in italics.
func (k *cardSheet) paragraphs(list []string, soft int) {
	p := k.p
	for pt := 12.0; ; pt -= 0.25 {
		h := 0.0
		for i, text := range list {
			h += float64(len(p.lines(k.voice(i, soft, pt), text, p.width()).lines))*mm(pt)*1.34 + 0.6*mm(pt)
		}
		if p.y+h > p.end && pt > 8 {
			continue
		}
		for i, text := range list {
			p.sayIn(k.voice(i, soft, pt), text, p.left(), p.width(), 0)
			p.space(0.6 * mm(pt))
		}
		return
	}
}

func (k *cardSheet) voice(i, soft int, pt float64) look {
	l := style("serif", pt)
	if i >= soft {
		l = style("italic", pt)
	}
	l.lead = 1.34
	return l
}

func (k *cardSheet) advice() {
	p := k.p
	k.heading("How sour")
	p.say(style("serif", 11), k.Sour)
	if len(k.Uses) > 0 {
		p.space(5)
		k.heading("Good for")
		k.list(k.Uses, style("serif", 11))
	}
	p.space(5)
	k.heading("Please mind")
	k.list(k.Minds, style("serif", 10))
}

func (k *cardSheet) list(items []string, l look) {
	p := k.p
	for _, text := range items {
		y := p.y
		sheets := len(p.sheets)
		p.sayIn(l, text, p.left()+4, p.width()-4, 0)
		if len(p.sheets) == sheets {
			p.line(p.left(), y+mm(l.pt)*0.62, 2.2, 0.25, 60)
		}
		p.space(0.25 * mm(l.pt))
	}
}

func (k *cardSheet) back(code Code) {
	p := k.p
	const moduleMM = 0.6
	side := float64(code.Size()) * moduleMM
	lines := style("sans", 8)
	h := side + 7 + float64(len(k.Foot)+2)*mm(8)*lines.lead
	y := p.end - h
	x := p.left() + (p.width()-side)/2
	p.draw(func(r *press) { r.code(code, x, y, side) })
	p.y = y + side + 5
	p.sayIn(style("italic", 9).ink(60), "A phone reads its facts here; no network is needed.", p.left(), p.width(), 0.5)
	p.space(1.5)
	for _, text := range k.Foot {
		p.sayIn(lines, text, p.left(), p.width(), 0.5)
	}
}
