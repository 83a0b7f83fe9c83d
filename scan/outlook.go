package scan

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"cruet/internal/chart"
	"cruet/internal/chem"
	"cruet/internal/forecast"
	"cruet/internal/larder"
	"cruet/internal/reckon"
	"cruet/internal/store"
	"cruet/internal/verdict"
)

// outlookView is where a jar can get, where it is going and what it may be used
// for: in short on the jar's page, in full on a page of its own.
type outlookView struct {
	URL      string
	Ceiling  ceilingView
	Forecast forecastView
	Chart    template.HTML
	Verdict  []verdictRow // uses that share answer and reason together
	Rules    string       // whose rules
	Defer    string
}

type ceilingView struct {
	Text, From string
	Changes    []string
	Missing    string // ingredients that could not be counted
	None       string // why there is no ceiling
	Explain    *explainView
	Strong     []string // notes to act on now
	Notes      []string // the others
}

type forecastView struct {
	Dates, Chance string
	Findings      []string
	Caution       string // empty when nothing is forecast
}

// verdictRow is one line of the verdict in short.
type verdictRow struct {
	Uses, Word, Class, Reason string
}

// explainView is a result opened to how it came about.
type explainView struct {
	Formula, Source, Limits string
	Given                   []pair
}

// explained is nil when there is nothing to open.
func explained(e chem.Explain) *explainView {
	if e.Formula == "" {
		return nil
	}
	v := &explainView{Formula: e.Formula, Source: e.Source, Limits: e.Limits}
	for _, g := range e.Values {
		v.Given = append(v.Given, pair{g.Name, strings.TrimSpace(reckon.Figure(g.Value) + " " + g.Unit)})
	}
	return v
}

// outlook puts the outlook on the jar's page, and marks a pH that is rough or
// cannot be right.
func (p *Pages) outlook(ctx context.Context, v *jarView, w writer) error {
	if v.Retired {
		return nil
	}
	o, err := p.DB.Outlook(ctx, w.jar, w.now)
	if err != nil {
		return err
	}
	if v.Outlook, err = outlookOf(o, w); err != nil {
		return err
	}
	v.Outlook.Ceiling.Explain = nil // opened on the outlook's own page
	for i := range v.Values {
		if v.Values[i].Name == "pH" {
			v.Values[i].Note = strings.Join(phNotes(o), " ")
		}
		if v.Values[i].Name == "Specific gravity" {
			v.Values[i].Note = larder.StillGravity(o.Jar.State, o.Log)
		}
	}
	return nil
}

func outlookOf(o store.Outlook, w writer) (*outlookView, error) {
	v := &outlookView{URL: jarURL(o.Jar.Tag) + "/outlook", Ceiling: ceilingOf(o, w), Forecast: forecastOf(o.Forecast, w.now),
		Rules: o.Market.Name(), Verdict: verdictRows(o.Verdict, true), Defer: verdict.Defer}
	in := chartOf(o, w)
	if !slices.ContainsFunc(in.Series, func(s chart.Series) bool { return len(s.Points) > 1 }) {
		return v, nil // one point is told better in words
	}
	svg, err := chart.SVG(in)
	v.Chart = template.HTML(svg) // chart escapes all text that it is given
	return v, err
}

// verdictRows is a verdict in short. Uses of one answer share a row, when reasons
// are told only those of one reason.
func verdictRows(findings []verdict.Finding, reasons bool) []verdictRow {
	var out []verdictRow
	for _, f := range findings {
		row := verdictRow{Uses: string(f.Use), Word: string(f.Answer), Class: answerClass(f.Answer)}
		if len(f.Reasons) > 0 && reasons {
			row.Reason = f.Reasons[0].Text
		}
		same := slices.IndexFunc(out, func(r verdictRow) bool { return r.Word == row.Word && r.Reason == row.Reason })
		if same >= 0 {
			out[same].Uses += ", " + row.Uses
			continue
		}
		out = append(out, row)
	}
	return out
}

// verdictOf judges a jar as it stands, for a list of jars.
func verdictOf(jar larder.Jar, batch larder.Batch, w writer) []verdict.Finding {
	market, err := verdict.ParseMarket(w.k.Market)
	if err != nil {
		market = verdict.Elsewhere // the strictest limits
	}
	return verdict.Judge(verdict.EvidenceOf(jar, batch, w.now), market)
}

func answerClass(a verdict.Answer) string {
	switch a {
	case verdict.Supported:
		return "yes"
	case verdict.No:
		return "no"
	}
	return "unsure"
}

func ceilingOf(o store.Outlook, w writer) ceilingView {
	if o.NoCeiling != "" {
		return ceilingView{None: o.NoCeiling}
	}
	return ceilingWords(o.Ceiling, o.Batch.TargetGPer100ML, o.Jar.State.Stage, o.Jar.State.Acidity, o.Jar.State.VolumeML, w)
}

// ceilingWords is a ceiling in words; stage is empty for a recipe not begun.
func ceilingWords(c larder.Ceiling, target chem.GramsPer100ML, stage larder.Stage, acidity *larder.Acidity, volume *chem.Millilitres, w writer) ceilingView {
	strong := c.Strong(stage, acidity)
	return ceilingView{Text: c.Sentence(target), From: c.From, Missing: strings.Join(c.Missing, ", "),
		Changes: c.Changes(stage, volume, w.k.Units()), Explain: explained(c.Explain), Strong: strong,
		Notes: slices.DeleteFunc(slices.Clone(c.Notes), func(n string) bool { return slices.Contains(strong, n) })}
}

func forecastOf(f forecast.Forecast, now time.Time) forecastView {
	var v forecastView
	for _, x := range f.Findings {
		v.Findings = append(v.Findings, x.Text)
	}
	if !f.Enough() {
		return v
	}
	v.Caution = forecast.Caution
	if d, over, ok := f.Ahead(); ok {
		what, is := "The target should be reached", "the target, if it is reached at all, is reached"
		if f.FinishKind == forecast.FinishPlateau {
			what, is = "The rise should be over", "the rise is over"
		}
		v.Dates = fmt.Sprintf("%s between %s and %s, likely about %s (80 %%).", what, shortDay(d.Early, now), shortDay(d.Late, now), shortDay(d.Likely, now))
		if over {
			v.Dates = "By this forecast " + is + " by now; titrate again to be sure of it."
		}
	}
	if chance, ok := f.Chance(); ok {
		v.Chance = fmt.Sprintf("The chance that it reaches the target at all is %s.", chanceText(chance))
	}
	return v
}

// chanceText never says that something is sure.
func chanceText(p float64) string {
	switch {
	case p < 0.05:
		return "under 5 %"
	case p > 0.95:
		return "over 95 %"
	}
	return fmt.Sprintf("about %.0f %%", math.Round(p*20)*5)
}

func shortDay(t, now time.Time) string {
	return dayOf(larder.When{At: t, Precision: larder.Day}, now)
}

// chartOf is the jar's drawing with its target and the forecast's band.
func chartOf(o store.Outlook, w writer) chart.Input {
	in := chart.FromLog(o.Log, w.now)
	in.ID, in.Title = "history-chart", fmt.Sprintf("%s %s, jar %s", o.Batch.Name, o.Jar.Letter, o.Jar.Tag)
	acidity := &in.Series[0]
	acidity.Target = new(float64(o.Batch.TargetGPer100ML))
	if len(acidity.Points) == 0 {
		return in
	}
	for _, b := range o.Forecast.Steps() {
		acidity.Forecast = append(acidity.Forecast, chart.BandPoint{At: b.At, Low: float64(b.LowGPer100ML), Mid: float64(b.MidGPer100ML), High: float64(b.HighGPer100ML)})
	}
	return in
}

// phNotes tells of the newest pH whether and how it was corrected, why it is
// rough, and that it cannot be right, if so.
func phNotes(o store.Outlook) []string {
	s := o.Jar.State
	if s.PH == nil {
		return nil
	}
	var out []string
	if c := s.CorrectedPH; c != nil && c.Entry == s.PH.Entry {
		out = append(out, correctedText(s.PH.Value, c.Value))
	}
	for _, e := range o.Log {
		if r, ok := e.Body.(larder.Reading); ok && e.ID == s.PH.Entry && r.PHMark != "" {
			out = append(out, r.PHMark)
		}
	}
	if flag := larder.PHFlag(s, o.Ceiling); flag != "" {
		out = append(out, flag)
	}
	return append(out, s.HighPH()...)
}

func correctedText(shown, corrected chem.PH) string {
	if math.Abs(float64(shown-corrected)) < 0.005 {
		return "The calibration in force changes nothing."
	}
	return fmt.Sprintf("Corrected by the calibration in force: %.2f.", float64(corrected))
}

// outlookPage is the outlook in full: evidence, rules, cautions, formulas.
type outlookPage struct {
	*outlookView
	Tag, JarURL, Batch, Letter string
	Rows                       []chart.Row
	RowsOf                     int    // how many numbers there are
	AllRows                    string // where all are; empty: these are all
	Acidity                    *acidityBudget
	PH                         []string
	PHNever                    string
	Uses                       []useView
	Cautions                   []usedWith
	Evidence                   []string
	Retired                    bool
}

// acidityBudget is a titration's result and where its uncertainty comes from.
type acidityBudget struct {
	Text, Also, Mark string
	Notes            []string
	Terms            []budgetTerm
	Explain          *explainView
}

type budgetTerm struct{ Source, Percent, Share, How string }

type useView struct {
	Use, Word, Class string
	Reasons          []reasonView
	Differ           []string
}

type reasonView struct {
	Word, Class, Text string
	Rules             []string
}

type usedWith struct{ Uses, Text, Source string }

// listedNumbers is how many of a drawing's numbers a page lists before "show all": what
// a jar that is measured every week gives in some years. A drawing has up to two
// thousand, which would be most of the page.
const listedNumbers = 300

func (p *Pages) jarOutlook(c *gin.Context) error {
	ctx := c.Request.Context()
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k), jar: tag}
	o, err := p.DB.Outlook(ctx, tag, w.now)
	if err != nil {
		return err
	}
	v := outlookPage{Tag: string(tag), JarURL: jarURL(tag), Batch: o.Batch.Name, Letter: o.Jar.Letter, PH: phNotes(o), PHNever: chem.PHNeverAcidity,
		Retired: !o.Jar.State.Stage.Live(), Acidity: budgetOf(o)}
	if v.outlookView, err = outlookOf(o, w); err != nil {
		return err
	}
	if v.Rows, err = chart.Rows(chartOf(o, w)); err != nil {
		return err
	}
	if v.RowsOf = len(v.Rows); v.RowsOf > listedNumbers && c.Query("all") != "numbers" {
		v.Rows, v.AllRows = v.Rows[v.RowsOf-listedNumbers:], v.URL+"?all=numbers#numbers"
	}
	v.Uses, v.Cautions = usesOf(o.Verdict)
	if len(o.Verdict) > 0 {
		v.Evidence = o.Verdict[0].Evidence
	}
	return render(c, http.StatusOK, "jaroutlook", p.frame(k, "Outlook of "+string(tag)), v)
}

// usesOf is the verdict in full. A caution that stands with several uses is told
// once.
func usesOf(findings []verdict.Finding) (uses []useView, cautions []usedWith) {
	at := map[string]int{}
	for _, f := range findings {
		u := useView{Use: upperFirst(string(f.Use)), Word: string(f.Answer), Class: answerClass(f.Answer), Differ: f.Disagreements}
		for _, r := range f.Reasons {
			one := reasonView{Word: string(r.Answer), Class: answerClass(r.Answer), Text: r.Text}
			for _, rule := range r.Rules {
				one.Rules = append(one.Rules, rule.Says+" "+rule.Source.String())
			}
			u.Reasons = append(u.Reasons, one)
		}
		uses = append(uses, u)
		for _, x := range f.Cautions {
			if i, seen := at[x.ID]; seen {
				cautions[i].Uses += ", " + string(f.Use)
				continue
			}
			at[x.ID] = len(cautions)
			cautions = append(cautions, usedWith{Uses: upperFirst(string(f.Use)), Text: x.Text, Source: x.Source.String()})
		}
	}
	return uses, cautions
}

// budgetOf opens the newest titration; nil when there is none.
func budgetOf(o store.Outlook) *acidityBudget {
	a := o.Jar.State.Acidity
	if a == nil {
		return nil
	}
	i := slices.IndexFunc(o.Log, func(e larder.Entry) bool { return e.ID == a.Entry })
	if i < 0 {
		return nil
	}
	t, ok := o.Log[i].Body.(larder.Titration)
	if !ok {
		return nil
	}
	r, err := t.Result()
	if err != nil {
		return nil
	}
	v := &acidityBudget{Text: larder.AcidityWords(r.AcidityGPer100ML, r.ExpandedUGPer100ML), Mark: r.StrengthMark, Notes: r.Notes, Explain: explained(r.Explain),
		Also: fmt.Sprintf("That is %.0f grain, or %.3f mol/L. The true acidity lies between %.2f and %.2f with 95 %% confidence.", r.Grain, float64(r.MolPerL), math.Floor(100*float64(r.LowerGPer100ML))/100, math.Ceil(100*float64(r.AcidityGPer100ML+r.ExpandedUGPer100ML))/100)}
	total := 0.0
	for _, b := range r.Budget {
		total += b.RelativeU * b.RelativeU
	}
	for _, b := range r.Budget {
		how := "stated or measured"
		if b.Assumed {
			how = "assumed"
		}
		v.Terms = append(v.Terms, budgetTerm{b.Source, fmt.Sprintf("%.2f %%", 100*b.RelativeU), fmt.Sprintf("%.0f %%", 100*b.RelativeU*b.RelativeU/total), how})
	}
	return v
}
