package scan

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/reckon"
	"cruet/internal/store"
)

// historyPage is how many entries a jar's page shows at once.
const historyPage = 50

// head is a jar's printed label, as the top of its page.
type head struct {
	Tag, Letter, Batch string
	BatchURL           string
	Stages             []stageMark
	Stage              string
	Live               bool
	Lines              []pair // ruled lines: stage, volume, place
	About              []pair // what is asked for less often: started, starter, target
	Hold               string
	Mould              string // when it was seen
}

type pair struct{ Name, Text string }

type stageMark struct {
	Name string
	Now  bool
	Past bool
}

// value is one of the newest readings.
type value struct {
	Name, Text string
	Unit       string
	How        string // measured, computed, outdated
	When       string
	Note       string
}

// todo is one thing that the jar wants.
type todo struct {
	What, Reason, Window string
	Status               string // overdue, due, coming
	Go                   link   // where to do it
	Stir                 string // the key of a form that is sent with one tap; empty: none
}

// notice tells what was just saved and what that changed.
type notice struct {
	Title   string
	Changes []string
	Label   link // the next label to print
	Links   []link
}

type jarView struct {
	Begun       *begunView // an act in progress that this jar may serve
	Head        head
	URL         string
	Took        string // which look-alikes were taken for what
	Notice      *notice
	Todos       []todo
	Sums        []link // the calculators that this stage asks for
	Values      []value
	Outlook     *outlookView
	Forms       []form
	Written     template.HTML // the rows of the history
	OlderURL    string
	Older       bool // this is an older part of the history
	Ingredients []string
	Note        string
	CameFrom    []step
	WentInto    []step
	KinLeft     int    // steps that only the lineage's own page shows
	HeldBehind  []link // holds on what it came from
	Siblings    []link
	By          string
	Retired     bool
	Active      bool // ferments: must never be sealed
	Total       string
	Round       string     // where it is measured in the round that goes on; empty: none does
	Finish      string     // the finishing bench with it; empty while it is not for it
	Behind      []heldLine // holds on what it came from
	Printed     string     // when its label was printed last, and for which address
}

// step is one edge of the lineage in words, with the jar or lot at its end.
type step struct {
	Text string
	Link link
}

// sent is a form that came back: which one, what was typed, what is wrong.
type sent struct {
	form     string
	typed    url.Values
	problems larder.Problems
	key      string
}

// tagOf reads the tag in the path.
func tagOf(c *gin.Context) (larder.Tag, []larder.Taken, error) {
	return larder.ParseTag(c.Param("tag"))
}

func (p *Pages) jar(c *gin.Context) error {
	tag, taken, err := tagOf(c)
	if err != nil {
		return err
	}
	if tag.IsBottle() {
		c.Redirect(http.StatusSeeOther, "/B/"+string(tag))
		return nil
	}
	kind, err := p.DB.TagKind(c.Request.Context(), tag)
	if err != nil {
		return err
	}
	if kind == "spare" {
		return p.spare(c, tag)
	}
	if typed := c.Query("typed"); typed != "" && len(taken) == 0 {
		if _, as, err := larder.ParseTag(typed); err == nil {
			taken = as
		}
	}
	return p.showJar(c, http.StatusOK, tag, taken, nil)
}

// showJar renders the jar's page, with a form that came back when there is one.
func (p *Pages) showJar(c *gin.Context, status int, tag larder.Tag, taken []larder.Taken, back *sent) error {
	v, f, err := p.jarPage(c, tag, taken, back)
	if err != nil {
		return err
	}
	return render(c, status, "jar", f, v)
}

func (p *Pages) jarPage(c *gin.Context, tag larder.Tag, taken []larder.Taken, back *sent) (v jarView, f frame, err error) {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return v, f, err
	}
	now := p.now(k)
	from, older := cursorOf(c.Query("older"))
	page, err := p.DB.History(ctx, tag, from, historyPage)
	if err != nil {
		return v, f, err
	}
	v = jarView{
		Head: headOf(page, k, now), URL: jarURL(tag), Took: tookText(taken, tag), Older: older,
		Retired: !page.Jar.State.Stage.Live(), By: remembered(c, byCookie),
	}
	if stage := page.Jar.State.Stage; stage == larder.Maturing || stage == larder.Finished {
		v.Finish = "/finish" + query("tag", string(tag))
	}
	w := writer{k: k, now: now, jar: tag}
	rows, err := p.rows(ctx, w, page.Entries)
	if err != nil {
		return v, f, err
	}
	if v.Written, err = writtenRows(rows, languageOf(c.Request).tag.String()); err != nil {
		return v, f, err
	}
	if page.Older != nil {
		v.OlderURL = v.URL + fmt.Sprintf("?older=%d.%d#history", page.Older.HappenedMS, page.Older.Seq)
	}
	if v.Begun, err = p.offer(c, page.Jar, now); err != nil {
		return v, f, err
	}
	if !older {
		p.fillJar(&v, page, w, c, back)
		if err := p.benchHints(ctx, &v, w, back); err != nil {
			return v, f, err
		}
		if err := p.outlook(ctx, &v, w); err != nil {
			return v, f, err
		}
		if v.Round, err = p.roundOffer(c, tag); err != nil {
			return v, f, err
		}
		if v.Printed, err = p.printedText(ctx, tag, now); err != nil {
			return v, f, err
		}
		if v.Notice, err = p.noticeOf(ctx, c, page, w); err != nil {
			return v, f, err
		}
	}
	return v, p.frame(k, page.Batch.Name+" "+page.Jar.Letter+" · "+string(tag)), nil
}

// fillJar adds all that stands above the history on its newest page.
func (p *Pages) fillJar(v *jarView, page store.JarPage, w writer, c *gin.Context, back *sent) {
	s := page.Jar.State
	v.Todos = todosOf(page.Jar, page.Batch, w.now)
	for _, name := range sumsFor[s.Stage] {
		if kind, ok := reckon.Find(name); ok {
			v.Sums = append(v.Sums, link{reckonURL(name, nil), kind.Title})
		}
	}
	v.Values = valuesOf(page.Jar, w)
	v.Forms = jarForms(page, w, v.By, c.Query("open"), c.Query("pick"), back)
	for _, i := range page.Batch.Ingredients {
		v.Ingredients = append(v.Ingredients, i.String())
	}
	v.Note = page.Batch.Note
	v.kin(page, w)
	for _, j := range page.Siblings {
		v.Siblings = append(v.Siblings, link{jarURL(j.Tag), fmt.Sprintf("%s · %s · %s", j.Letter, j.Tag, j.State.Stage)})
	}
	for _, h := range page.Held {
		if h.Jar != page.Jar.Tag {
			v.Behind = append(v.Behind, heldLine{Text: h.Reason, Link: link{jarURL(h.Jar), "jar " + string(h.Jar)}})
		}
	}
	v.Active = s.Stage == larder.Must || s.Stage == larder.Alcoholic
}

// sumsFor are the calculators whose question comes up in a stage.
var sumsFor = map[larder.Stage][]string{
	larder.Must:      {"ceiling", "sugar-for", "gravity"},
	larder.Alcoholic: {"alcohol", "gravity", "starter"},
	larder.Acetic:    {"ph-of", "titration", "standardise"},
	larder.Maturing:  {"blend", "dilute"},
	larder.Finished:  {"dilute", "blend", "pasteurise"},
}

func cursorOf(text string) (store.Cursor, bool) {
	ms, seq, ok := strings.Cut(text, ".")
	if !ok {
		return store.Cursor{}, false
	}
	a, err1 := strconv.ParseInt(ms, 10, 64)
	b, err2 := strconv.ParseInt(seq, 10, 64)
	if err1 != nil || err2 != nil {
		return store.Cursor{}, false
	}
	return store.Cursor{HappenedMS: a, Seq: b}, true
}

func tookText(taken []larder.Taken, tag larder.Tag) string {
	if len(taken) == 0 {
		return ""
	}
	var parts []string
	for _, t := range taken {
		part := fmt.Sprintf("%c for %c", t.Typed, t.As)
		if !strings.Contains(strings.Join(parts, ", "), part) {
			parts = append(parts, part)
		}
	}
	return fmt.Sprintf("Took %s: this is jar %s.", strings.Join(parts, ", "), tag)
}

func headOf(page store.JarPage, k larder.Kitchen, now time.Time) head {
	j, s := page.Jar, page.Jar.State
	loc := now.Location()
	h := head{Tag: string(j.Tag), Letter: j.Letter, Batch: page.Batch.Name, BatchURL: fmt.Sprintf("/batches/%d", j.BatchID),
		Stage: string(s.Stage), Live: s.Stage.Live(), Hold: s.Hold, Stages: stageMarks(s.Stage)}
	started := dayOf(s.StartedAt, now)
	if a := age(s.StartedAt, now); a != "today" {
		started += " · " + a + " ago"
	}
	since := upperFirst(string(s.Stage)) + " since"
	// In days, like the reason of what is next.
	h.Lines = append(h.Lines, pair{since, dayOf(s.StageSince, now) + " · " + forDays(s.StageSince, now)})
	h.About = append(h.About, pair{"Started", started})
	holds := chem.FormatVolume(j.SizeML, k.Units())
	if s.VolumeML != nil && s.Stage.Live() {
		holds = chem.FormatVolume(*s.VolumeML, k.Units()) + " of " + holds
	}
	h.Lines = append(h.Lines, pair{"Holds", holds})
	if j.Place != "" {
		h.Lines = append(h.Lines, pair{"Stands", j.Place})
	}
	if s.Starter != "" {
		h.About = append(h.About, pair{"Starter", s.Starter})
	}
	h.About = append(h.About, pair{"Aims at", short(page.Batch.TargetGPer100ML) + " g/100 mL"})
	if s.MouldAt != nil && s.Stage.Live() {
		h.Mould = s.MouldAt.In(loc).Format("2 Jan 2006")
	}
	return h
}

func forDays(w larder.When, now time.Time) string {
	days := calendarDays(w, now)
	if days == 0 {
		return "today"
	}
	if w.Precision == larder.About {
		return "about " + count(days, "day")
	}
	return count(days, "day")
}

func stageMarks(now larder.Stage) []stageMark {
	var out []stageMark
	past := true
	for _, s := range larder.Stages() {
		if !s.Live() {
			continue
		}
		if s == now {
			past = false
		}
		out = append(out, stageMark{Name: string(s), Now: s == now, Past: past && now.Live()})
	}
	return out
}

// doing says where on the jar's page a thing of the plan is done.
func doing(t larder.Todo, jar larder.Tag) link {
	at := func(form, pick, text string) link {
		return link{jarURL(jar) + query("open", form, "pick", pick) + "#" + form, text}
	}
	switch t.Do {
	case larder.DoStrain:
		return link{jarURL(jar) + "/pour/strain", "Strain it"}
	case larder.DoMother:
		if !strings.HasPrefix(t.What, "strain") { // nothing is left to strain out
			return link{jarURL(jar) + "/pour/mother", "Give it a mother"}
		}
		return link{jarURL(jar) + "/pour/strain", "Strain, give a mother"}
	case larder.DoAcetic:
		return at("stage", string(larder.Acetic), "Move it to acetic")
	case larder.DoTitrate:
		return at("titration", "", "Log a titration")
	case larder.DoBubbles:
		return at("stage", string(larder.Alcoholic), "It bubbles: move to alcoholic")
	case larder.DoBottle:
		return link{"/finish" + query("tag", string(jar)), "Finish and bottle"}
	case larder.DoStir:
		return at("action", string(larder.Stirred), "Log it")
	}
	return at("reading", "", "Log a reading")
}

func todosOf(jar larder.Jar, batch larder.Batch, now time.Time) []todo {
	var out []todo
	for _, t := range batch.Due(jar.State, now) {
		one := todo{What: upperFirst(t.What), Reason: t.Reason(jar.State, now), Window: t.Window(now.Location()),
			Status: t.Status, Go: doing(t, jar.Tag)}
		if t.Do == larder.DoStir && t.Urgency > larder.Coming {
			one.Stir = newKey()
		}
		out = append(out, one)
	}
	return out
}

// valuesOf lists the newest of each reading, acidity first.
func valuesOf(jar larder.Jar, w writer) []value {
	s := jar.State
	out := []value{acidityValue(s.Acidity, w)}
	if out[0].How == "measured" && len(s.AcidityFrom) > 0 {
		out[0].Note += "; in the jar that it came from"
	}
	add := func(name, text, unit string, when larder.When) {
		out = append(out, value{Name: name, Text: text, Unit: unit, How: "measured", When: dayOf(when, w.now)})
	}
	if s.PH != nil {
		add("pH", plain(s.PH.Value), "", s.PH.When)
	}
	if s.SG != nil {
		add("Specific gravity", gravityText(s.SG.Value), "", s.SG.When)
	}
	if s.Brix != nil {
		add("Brix", short(s.Brix.Value), "°Bx", s.Brix.When)
	}
	if s.ABV != nil {
		add("Alcohol", short(s.ABV.Value), "% vol", s.ABV.When)
	}
	if s.TempC != nil {
		add("Temperature", chem.FormatTemperature(s.TempC.Value, w.k.Units()), "", s.TempC.When)
	}
	return out
}

func acidityValue(a *larder.Acidity, w writer) value {
	v := value{Name: "Acidity", Text: "not measured", How: "unknown", Note: "Only a titration tells how sour it is."}
	if a == nil {
		return v
	}
	v.Text, v.Unit, v.When, v.Note = larder.AcidityNumber(a.GPer100ML, a.ExpandedUGPer100ML), "g/100 mL", dayOf(a.When, w.now), ""
	switch a.Basis {
	case larder.ByTitration:
		v.How = "measured"
		v.Note = "titrated, " + count(a.Replicates, "run")
	case larder.Computed:
		v.How = "computed"
		v.Text = "≈ " + v.Text
		v.Note = a.Why + "; titrate to be sure"
	case larder.Outdated:
		v.How = "outdated"
		v.Note = a.Why + "; titrate again"
	}
	return v
}

// noticeOf tells what the entry named in ?saved= did.
func (p *Pages) noticeOf(ctx context.Context, c *gin.Context, page store.JarPage, w writer) (*notice, error) {
	id, err := uuid.Parse(c.Query("saved"))
	if err != nil {
		return nil, nil
	}
	e, err := p.DB.Entry(ctx, id)
	if err == nil && e.Jar != page.Jar.Tag {
		e, err = ofAct(e, page)
	}
	if err != nil {
		return nil, nil // an old or foreign link; the page itself is still right
	}
	line := w.row(e)
	n := &notice{Title: "Saved: " + line.Title}
	if c.Query("again") != "" {
		n.Title = "Already saved, once: " + line.Title
	}
	n.Changes = append(n.Changes, changes(e, page, w)...)
	if b, ok := e.Body.(larder.StageChange); ok && b.To.Live() {
		n.Label = link{"/labels" + query("tag", string(page.Jar.Tag)), "Print the next label"}
	}
	if _, taken, err := larder.ParseTag(c.Query("other")); err == nil && len(taken) > 0 {
		n.Changes = append(n.Changes, tookText(taken, otherOf(e)))
	}
	return n, p.pouredNotice(ctx, n, e, w)
}

// changes says what an entry did to the jar, as the jar stands now.
func changes(e larder.Entry, page store.JarPage, w writer) []string {
	var out []string
	s := page.Jar.State
	add := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	switch b := e.Body.(type) {
	case larder.StageChange:
		if b.To.Live() {
			add("The jar is now %s.", b.To)
		} else {
			add("The jar is %s. Its tag is retired; the history stays.", b.To)
		}
	case larder.Titration:
		if s.Acidity != nil && s.Acidity.Entry == e.ID {
			add("Acidity is now %s, measured.", larder.AcidityWords(s.Acidity.GPer100ML, s.Acidity.ExpandedUGPer100ML))
		} else {
			add("A later titration stands; this one is kept in the history.")
		}
		if r, err := b.Result(); err == nil {
			out = append(out, r.Notes...) // runs that disagree, an overshot end point
		}
	case larder.Reading:
		out = append(append(out, changedReading(e, b, page, w)...), b.Strange(s.Stage)...)
	case larder.Transfer:
		if s.VolumeML != nil {
			add("It now holds %s.", chem.FormatVolume(*s.VolumeML, w.k.Units()))
		}
		if s.Acidity != nil && s.Acidity.Basis != larder.ByTitration {
			add("Its acidity is now %s: %s.", s.Acidity.Basis, s.Acidity.Why)
		}
	case larder.Hold:
		if s.Hold != "" {
			add("Nothing of this jar may be bottled or given until the hold is lifted.")
		} else if s.MouldAt != nil {
			add(larder.MouldStands)
		}
	case larder.Action:
		if b.What == larder.MouldSeen {
			add("Mould means discard: do not taste it, do not skim and keep it.")
		}
	case larder.Strike:
		add("The entry stays readable, struck through, and no longer counts.")
	}
	return out
}

// changedReading compares a reading with the one before it.
func changedReading(e larder.Entry, b larder.Reading, page store.JarPage, w writer) []string {
	var out []string
	if b.VolumeML != nil {
		out = append(out, "It now holds "+chem.FormatVolume(*b.VolumeML, w.k.Units())+".")
	}
	for _, before := range page.Entries {
		r, ok := before.Body.(larder.Reading)
		if !ok || before.Struck() || before.ID == e.ID || before.When.At.After(e.When.At) {
			continue
		}
		if b.PH != nil && r.PH != nil {
			out = append(out, fmt.Sprintf("pH was %s on %s.", plain(*r.PH), dayOf(before.When, w.now)))
			break
		}
		if b.SG != nil && r.SG != nil {
			out = append(out, fmt.Sprintf("Specific gravity was %s on %s.", gravityText(*r.SG), dayOf(before.When, w.now)))
			break
		}
	}
	return out
}
