package scan

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// benchHistory is how many lines of each kind the bench page shows.
const benchHistory = 40

// benchView is the bench: meter, base and control sample, each with its book.
type benchView struct {
	Saved    string
	Sections []benchSection
}

type benchSection struct {
	Title, Why string
	Now, Age   string // what is in force, and how old
	Bad        string // why it is not good enough
	Caution    string
	Form       form
	Charts     []controlView
	Lines      []benchLine
}

type benchLine struct {
	When, By, Name string
	Headline       string
	Notes          []string
	Note           string
	Explain        *explainView
	Failed, Struck bool
	StrikeURL      string
}

func (p *Pages) bench(c *gin.Context) error { return p.showBench(c, http.StatusOK, nil) }

func (p *Pages) showBench(c *gin.Context, status int, back *sent) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k)}
	var v benchView
	if id, err := uuid.Parse(c.Query("saved")); err == nil {
		if e, err := p.DB.BenchEntry(ctx, id); err == nil {
			v.Saved = e.Words().Headline + "."
		}
	}
	for _, kind := range []larder.BenchKind{larder.KindCalibration, larder.KindBase, larder.KindControl} {
		lines, err := p.DB.BenchBook(ctx, kind, "", benchHistory)
		if err != nil {
			return err
		}
		s := benchSectionOf(kind, lines, w)
		newest := cmp.Or(newestName(lines), settingsName(kind, k))
		b := newBuilder(string(kind), nil, nil, k.Units())
		fresh := back == nil || back.form != string(kind)
		if !fresh {
			b = newBuilder(string(kind), back.typed, back.problems, k.Units())
		}
		s.Form = benchForm(kind, b, newest, remembered(c, byCookie))
		if !fresh && back.typed.Get("back") != "" {
			s.Form.Fields = append(s.Form.Fields, b.hidden("back", ""))
		}
		s.Form.Action, s.Form.Open = "/bench/"+string(kind), c.Query("open") == string(kind)
		if !fresh {
			s.Form.Key, s.Form.Open = back.key, true
		}
		s.Form = b.finish(s.Form)
		v.Sections = append(v.Sections, s)
	}
	return render(c, status, "bench", p.frame(k, "Bench"), v)
}

// newestName is the meter or base that stands last in the book.
func newestName(lines []larder.BenchEntry) string {
	for _, e := range lines {
		if !e.Struck {
			return e.Body.Name()
		}
	}
	return ""
}

// settingsName is the meter or base that the settings name, when they name one.
func settingsName(kind larder.BenchKind, k larder.Kitchen) string {
	switch {
	case kind == larder.KindBase:
		return k.BaseName
	case len(k.Instruments) == 1:
		return k.Instruments[0]
	}
	return ""
}

func benchSectionOf(kind larder.BenchKind, lines []larder.BenchEntry, w writer) benchSection {
	var s benchSection
	newest := slices.IndexFunc(lines, func(e larder.BenchEntry) bool { return !e.Struck })
	switch kind {
	case larder.KindCalibration:
		s = benchSection{Title: "pH meter", Why: "Vinegar lies between pH 2.4 and 3.4: the buffers 1.68 (or 2.00) and 4.01 lie on both sides of it, 4 and 7 do not."}
		if newest < 0 {
			s.Bad = calibrationHint(nil, w.k, w.now)
		} else if chem.CalibrationAgeMark(madeBy(lines[newest], w.now), w.now, w.k.CalibrationMaxAge()) != "" {
			s.Bad = calibrationHint(&lines[newest], w.k, w.now)
		}
	case larder.KindBase:
		s = benchSection{Title: "The titration's base", Caution: chem.BaseCaution,
			Why: "A base left in the air weakens, and then every vinegar reads stronger than it is. Check it every month."}
		if newest < 0 {
			s.Bad = baseHint(nil, w.k, w.now)
		} else if days := daysSince(lines[newest], w.now); chem.BaseAgeMark(&days, w.k.BaseMaxAge()) != "" {
			s.Bad = baseHint(&lines[newest], w.k, w.now)
		}
	default:
		s = benchSection{Title: "Control sample", Why: "Read the pH of the same bought 5 % vinegar before each round. When it leaves its usual range, the meter drifts or the sample has gone off.",
			Charts: controlCharts(lines, w)}
	}
	if newest >= 0 {
		words := lines[newest].Words()
		s.Now, s.Age = lines[newest].Body.Name()+": "+words.Headline+".", upperFirst(agoText(lines[newest].When, w.now))+"."
		if words.Failed {
			s.Bad = "It failed, so nothing is corrected by it."
		}
	}
	for _, e := range lines {
		s.Lines = append(s.Lines, w.benchLine(e))
	}
	return s
}

// madeBy is when a line was made, no later than now: a day alone stands at noon.
func madeBy(e larder.BenchEntry, now time.Time) time.Time {
	if e.When.At.After(now) && !e.When.Earliest().After(now) {
		return now
	}
	return e.When.At
}

func daysSince(e larder.BenchEntry, now time.Time) int {
	return max(0, int(math.Round(now.Sub(e.When.At).Hours()/24)))
}

func agoText(w larder.When, now time.Time) string {
	if a := age(w, now); a != "today" {
		return a + " ago"
	}
	return "today"
}

func (w writer) benchLine(e larder.BenchEntry) benchLine {
	words := e.Words()
	l := benchLine{When: momentOf(e.When, w.now), By: e.By, Name: e.Body.Name(), Headline: words.Headline, Notes: words.Notes, Note: e.Note,
		Explain: explained(words.Explain), Failed: words.Failed, Struck: e.Struck}
	if !e.Struck {
		l.StrikeURL = "/bench/strike" + query("entry", e.ID.String())
	} else {
		l.Explain = nil
	}
	return l
}

// benchAdd saves one of the bench's forms.
func (p *Pages) benchAdd(c *gin.Context) error {
	ctx := c.Request.Context()
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	kind := larder.BenchKind(c.Param("kind"))
	n, ok := readBench(kind, r)
	if !ok {
		return p.noRoute(c)
	}
	act := r.act()
	if err = r.problems.Err(); err != nil {
		err = r.withRules(n.Check(r.now))
	} else {
		e, failed := p.DB.Bench(ctx, act, n)
		if failed == nil {
			remember(c, byCookie, act.By)
			c.Redirect(http.StatusSeeOther, r.backTo("/bench")+query("saved", e.ID.String()))
			return nil
		}
		err = failed
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showBench(c, status, &sent{form: string(kind), typed: r.typed, problems: placeBench(problems, r.typed), key: key})
}

// benchStrikeView asks whether a line of the bench book is to be struck.
type benchStrikeView struct {
	Line benchLine
	Form form
}

func (p *Pages) benchStrikeForm(c *gin.Context) error {
	return p.showBenchStrike(c, http.StatusOK, nil)
}

func (p *Pages) benchEntry(c *gin.Context) (larder.BenchEntry, error) {
	id, err := uuid.Parse(c.Query("entry"))
	if err != nil {
		return larder.BenchEntry{}, &larder.NotFoundError{What: "bench entry", ID: c.Query("entry")}
	}
	return p.DB.BenchEntry(c.Request.Context(), id)
}

func (p *Pages) showBenchStrike(c *gin.Context, status int, back *sent) error {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return err
	}
	e, err := p.benchEntry(c)
	if err != nil {
		return err
	}
	b, key := newBuilder("strike", nil, nil, k.Units()), ""
	if back != nil {
		b, key = newBuilder("strike", back.typed, back.problems, k.Units()), back.key
	}
	v := benchStrikeView{Line: writer{k: k, now: p.now(k)}.benchLine(e)}
	v.Form = b.finish(form{Key: key, Action: "/bench/strike" + query("entry", e.ID.String()), Submit: "Strike this line", Fields: []field{b.by(remembered(c, byCookie))}})
	return render(c, status, "benchstrike", p.frame(k, "Strike a line of the bench book"), v)
}

func (p *Pages) benchStrike(c *gin.Context) error {
	ctx := c.Request.Context()
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	e, err := p.benchEntry(c)
	if err != nil {
		return err
	}
	act := r.act()
	if err = r.problems.Err(); err == nil {
		if _, err = p.DB.StrikeBench(ctx, act, e.ID); err == nil {
			c.Redirect(http.StatusSeeOther, "/bench")
			return nil
		}
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showBenchStrike(c, status, &sent{typed: r.typed, problems: problems, key: key})
}

// benchHints tells in a jar's forms which calibration and which check of the
// base are in force, how old they are, and puts the base's strength into a fresh
// form.
func (p *Pages) benchHints(ctx context.Context, v *jarView, w writer, back *sent) error {
	calibration, err := p.DB.InForce(ctx, larder.KindCalibration, "", w.now)
	if err != nil {
		return err
	}
	base, err := p.DB.InForce(ctx, larder.KindBase, "", w.now)
	if err != nil {
		return err
	}
	for i := range v.Forms {
		switch f := &v.Forms[i]; f.ID {
		case "reading":
			f.Bench = calibrationHint(calibration, w.k, w.now)
		case "titration":
			f.Bench = baseHint(base, w.k, w.now)
			if back == nil || back.form != f.ID {
				prefillBase(f.Fields, base)
			}
		}
	}
	return nil
}

func calibrationHint(e *larder.BenchEntry, k larder.Kitchen, now time.Time) string {
	if e == nil {
		return "No meter is calibrated: a pH will be marked as rough."
	}
	text := fmt.Sprintf("Meter %q was calibrated %s", e.Body.Name(), agoText(e.When, now))
	switch {
	case e.Words().Failed:
		return text + " and failed: a pH will not be corrected."
	case chem.CalibrationAgeMark(madeBy(*e, now), now, k.CalibrationMaxAge()) != "":
		return text + ", too long ago: a pH will be marked as rough."
	}
	return text + "; a pH is corrected by that."
}

func baseHint(e *larder.BenchEntry, k larder.Kitchen, now time.Time) string {
	if e == nil {
		return "The base was never checked: a titration will not support a claim of strength."
	}
	days := daysSince(*e, now)
	text := fmt.Sprintf("The base %q was checked %s", e.Body.Name(), agoText(e.When, now))
	if chem.BaseAgeMark(&days, k.BaseMaxAge()) != "" {
		return text + fmt.Sprintf(", more than %s ago: a titration will not support a claim of strength.", count(k.BaseMaxAge(), "day"))
	}
	return text + "."
}

func prefillBase(fields []field, e *larder.BenchEntry) {
	if e == nil {
		return
	}
	b, ok := e.Body.(larder.BaseCheck)
	if !ok {
		return
	}
	strength, _, err := b.Strength()
	if err != nil {
		return
	}
	for i := range fields {
		if fields[i].Name == "base_mol_per_l" {
			fields[i].Value = short(strength)
		}
		prefillBase(fields[i].Parts, e)
	}
}

// placeBench names the form's fields in problems that chem tells by the sum's.
func placeBench(problems larder.Problems, typed url.Values) larder.Problems {
	for i, p := range problems {
		var n int
		if _, err := fmt.Sscanf(p.Message, "Buffer %d:", &n); err == nil {
			if rows := filledBuffers(typed); n >= 1 && n <= len(rows) {
				n = rows[n-1]
			}
			name := map[string]string{"mv": "shown", "shown_ph": "shown"}[p.Field]
			if name == "" {
				name = p.Field
			}
			problems[i].Field = runField(name, n)
			continue
		}
		if name, ok := map[string]string{"runs": "khp_g", "khp_g": "khp_g", "base_ml": "base_ml", "vinegar_base_ml": "vinegar_base_ml"}[p.Field]; ok {
			problems[i].Field = runField(name, 1)
			if typed.Get("how") == againstVinegar && name == "base_ml" {
				problems[i].Field = runField("vinegar_base_ml", 1)
			}
		}
	}
	return problems
}
