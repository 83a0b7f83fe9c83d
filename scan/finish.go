package scan

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/verdict"
)

// sizesCookie remembers the bottles that this kitchen has, as typed.
const sizesCookie = "sizes"

// finishView is the finishing bench: which jars, how sour, what they become, and
// the steps to the lot, one form each.
type finishView struct {
	Choose  []labelJar // finished and maturing jars to tick
	JarsBad string
	Jars    []finishJar // the chosen
	Several bool
	Asked   bool   // jars were named
	Problem string // with a step whose form is not shown
	Saved   string
	Acidity value
	Verdict []verdictRow
	Giving  []string // what speaks against giving it away
	NotYet  []string
	Form    form
	Plan    *becomes
	Steps   []finishStep
	Defer   string
}

type finishJar struct {
	URL, Tag, Letter, Batch, Stage, Holds, Outlook string
}

// becomes is what the jars become; all of it is computed.
type becomes struct {
	Target           string // empty: bottled as it is
	Water, Why       string // how much to add; why none, or what else to know
	Volume, Strength string
	Overflow         string
	Fills            []fillRow
}

type fillRow struct{ Bottles, Size, Left, URL string }

// finishStep is one step on the way to the lot; the next one is open.
type finishStep struct {
	Title, Done string
	Next        bool
	Text        []string
	Form        *form
	Go          *link
}

func (p *Pages) finishing(c *gin.Context) error {
	return p.showFinishing(c, http.StatusOK, c.Request.URL.Query(), nil)
}

// bench reads what the bench is about out of what was typed.
type benchAsk struct {
	tags     []larder.Tag
	target   *chem.GramsPer100ML
	sizes    []chem.Millilitres
	text     string // the sizes as typed
	problems larder.Problems
}

func (p *Pages) readBenchAsk(c *gin.Context, w writer, typed url.Values) benchAsk {
	r := &reader{typed: typed, now: w.now}
	var a benchAsk
	for _, t := range typed["tag"] {
		if i := strings.LastIndexByte(t, '/'); i >= 0 {
			t = t[i+1:] // a scanned link
		}
		if strings.TrimSpace(t) == "" {
			continue // no tag was typed beside the ticks
		}
		tag, _, err := larder.ParseTag(t)
		if err != nil {
			r.problems.Add("jars", err.Error())
			continue
		}
		a.tags = append(a.tags, tag)
	}
	a.target = typedAs[chem.GramsPer100ML](r.number("target_g_per_100ml"))
	a.text = strings.TrimSpace(typed.Get("sizes"))
	if a.text == "" {
		a.text = remembered(c, sizesCookie)
	}
	if a.text == "" {
		a.text = larder.CommonSizes(w.k.Units())
	}
	var err error
	if a.sizes, err = larder.ParseSizes(a.text); err != nil {
		r.problems.AddError("size_ml", err)
	}
	a.problems = r.problems
	return a
}

// url leads back to the same bench.
func (a benchAsk) url(pairs ...string) string {
	v := url.Values{}
	for _, t := range a.tags {
		v.Add("tag", string(t))
	}
	if a.target != nil {
		v.Set("target_g_per_100ml", plain(*a.target))
	}
	for i := 0; i+1 < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return "/finish?" + v.Encode()
}

// carried are the hidden fields by which a step's form leads back to its bench.
func (a benchAsk) carried() []field {
	var out []field
	for _, t := range a.tags {
		out = append(out, field{Kind: "hidden", Name: "tag", Value: string(t)})
	}
	if a.target != nil {
		out = append(out, field{Kind: "hidden", Name: "target_g_per_100ml", Value: plain(*a.target)})
	}
	return out
}

// showFinishing shows the bench; back is a step's form that came back.
func (p *Pages) showFinishing(c *gin.Context, status int, typed url.Values, back *sent) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k)}
	ask := p.readBenchAsk(c, w, typed)
	v := finishView{Defer: verdict.Defer, Saved: c.Query("saved"), Asked: len(typed["tag"]) > 0}
	if v.Choose, err = p.finishable(c, w, ask.tags); err != nil {
		return err
	}
	problems := ask.problems
	if len(ask.tags) > 0 && len(problems) == 0 {
		f, err := p.DB.Finish(ctx, ask.tags, ask.target, ask.sizes, w.now)
		switch more, _, _, mine := refused(err, typed); {
		case mine:
			problems = more
		case err != nil:
			return err
		default:
			if err := p.fillFinishing(c, &v, f, ask, w, back); err != nil {
				return err
			}
			if typed.Has("sizes") {
				remember(c, sizesCookie, ask.text)
			}
		}
	}
	if len(problems) > 0 {
		status = http.StatusUnprocessableEntity
	}
	b := newBuilder("finish", typed, problems, k.Units())
	target := b.number("target_g_per_100ml", "Bring it to", "g/100 mL", "0: bottle as it is")
	if target.Value == "" && v.Plan != nil && v.Plan.Target != "" {
		target.Value = v.Plan.Target
	}
	sizes := b.text("sizes", "Bottles you have", "several: 250 mL, 500 mL", 120)
	if sizes.Value == "" {
		sizes.Value = ask.text
	}
	if bad := b.take("size_ml"); bad != "" {
		sizes.Error = bad
	}
	v.JarsBad = b.take("jars")
	v.Form = b.finish(form{Action: "/finish", Submit: "Reckon", Fields: []field{target, sizes}})
	return render(c, status, "finish", p.frame(k, "Finishing bench"), v)
}

// finishable lists the jars that the bench is for, and those chosen besides.
func (p *Pages) finishable(c *gin.Context, w writer, chosen []larder.Tag) ([]labelJar, error) {
	shelf, err := p.DB.Standing(c.Request.Context())
	if err != nil {
		return nil, err
	}
	var out []labelJar
	for _, s := range shelf {
		is := slices.Contains(chosen, s.Jar.Tag)
		if st := s.Jar.State.Stage; st != larder.Finished && st != larder.Maturing && !is {
			continue
		}
		text := string(s.Jar.State.Stage)
		if v := s.Jar.State.VolumeML; v != nil {
			text += ", " + w.volume(*v)
		}
		if a := acidityValue(s.Jar.State.Acidity, w); a.How != "unknown" {
			text += " · " + a.Text + " " + a.Unit + ", " + a.How
		} else {
			text += " · acidity not measured"
		}
		out = append(out, labelJar{Tag: string(s.Jar.Tag), Letter: s.Jar.Letter, Batch: s.Batch.Name, Stage: text, Chosen: is})
	}
	return out, nil
}

func (p *Pages) fillFinishing(c *gin.Context, v *finishView, f store.Finishing, ask benchAsk, w writer, back *sent) error {
	v.Several = len(f.Jars) > 1
	for i, jar := range f.Jars {
		v.Jars = append(v.Jars, finishJar{URL: jarURL(jar.Tag), Tag: string(jar.Tag), Letter: jar.Letter, Batch: f.Batches[i].Name,
			Stage: string(jar.State.Stage), Holds: w.volume(*jar.State.VolumeML), Outlook: jarURL(jar.Tag) + "/outlook"})
	}
	v.Acidity = acidityValue(&f.Plan.Acidity, w)
	if f.Plan.Acidity.Basis == larder.NotMeasured {
		v.Acidity = acidityValue(nil, w)
	}
	v.Verdict, v.Giving = verdictRows(f.Verdict, false), verdict.Of(verdict.GivingAway, f.Verdict).Against()
	v.NotYet = f.Plan.NotYet
	v.Plan = becomesOf(f.Plan, ask, w)
	filtered := false
	if !v.Several {
		page, err := p.DB.History(c.Request.Context(), f.Jars[0].Tag, store.Cursor{}, historyPage)
		if err != nil {
			return err
		}
		filtered = wasFiltered(page.Entries)
	}
	v.Steps = stepsOf(f, ask, w, filtered, remembered(c, byCookie), back)
	if back != nil && !slices.ContainsFunc(v.Steps, func(s finishStep) bool { return s.Form != nil && s.Form.ID == back.form }) {
		v.Problem = newBuilder(back.form, back.typed, back.problems, w.k.Units()).rest()
	}
	return nil
}

// wasFiltered tells that a jar was filtered after anything last came into it.
// entries are the newest first.
func wasFiltered(entries []larder.Entry) bool {
	for _, e := range entries {
		if e.Struck() {
			continue
		}
		if a, ok := e.Body.(larder.Action); ok && a.What == larder.Filtered {
			return true
		}
		if t, ok := e.Body.(larder.Transfer); ok && t.Feed != nil && t.Feed.From != larder.FromWater {
			return false
		}
	}
	return false
}

func becomesOf(f larder.FinishPlan, ask benchAsk, w writer) *becomes {
	v := &becomes{Volume: w.volume(f.ExpectedML), Why: f.WhyNoWater}
	if f.TargetGPer100ML > 0 {
		v.Target = plain(f.TargetGPer100ML)
	}
	if f.Expected.Basis == larder.ByTitration || f.Expected.Basis == larder.Computed {
		v.Strength = larder.AcidityNumber(f.Expected.GPer100ML, f.Expected.ExpandedUGPer100ML) + " g/100 mL, " + string(f.Expected.Basis)
	}
	if f.Water != nil {
		v.Why = f.WaterSentence(w.k.Units())
		if f.AddML >= 1 {
			v.Water = w.volume(f.AddML)
		}
	}
	if f.OverflowML >= 1 {
		v.Overflow = fmt.Sprintf("%s of it do not fit in the vessel: pour it into a larger one first.", w.volume(f.OverflowML))
	}
	for _, one := range f.Fills {
		row := fillRow{Bottles: count(one.Count, "bottle"), Size: w.volume(one.SizeML)}
		if one.LeftML >= 1 {
			row.Left = w.volume(one.LeftML) + " left over"
		} else {
			row.Left = "nothing left over"
		}
		if one.Count > 0 && f.AddML < 1 && len(f.NotYet) == 0 {
			row.URL = bottleThem(ask, one, w)
		}
		v.Fills = append(v.Fills, row)
	}
	return v
}

// bottleThem is the bottling form with all of it filled in.
func bottleThem(ask benchAsk, one larder.Fill, w writer) string {
	v := url.Values{"bottles_1": {fmt.Sprint(min(one.Count, larder.MaxLotBottles))}, "size_ml_1": {plain(one.SizeML)}, "size_ml_1_unit": {"mL"}}
	if w.k.Units() == chem.US {
		v.Set("size_ml_1", short(float64(one.SizeML)/chem.USFluidOunceML))
		v.Set("size_ml_1_unit", "fl oz")
	}
	for _, t := range ask.tags {
		v.Add("tag", string(t))
	}
	return "/bottle?" + v.Encode()
}

// finishActs are the acts of the bench. Each is the same one method of the store
// as on the jar's page; they only lead back here.
var finishActs = map[string]func(p *Pages, c *gin.Context, r *reader, a benchAsk) (said string, tag larder.Tag, err error){
	"filter": func(p *Pages, c *gin.Context, r *reader, a benchAsk) (string, larder.Tag, error) {
		return p.logStep(c, r, a, larder.Action{What: larder.Filtered, VolumeML: r.volume("volume_ml")}, "Filtered.")
	},
	"heat": func(p *Pages, c *gin.Context, r *reader, a benchAsk) (string, larder.Tag, error) {
		body := larder.Action{What: larder.Pasteurised, TempC: r.temperature("temp_c"), Minutes: r.number("minutes")}
		said := "Heated; by the guide it does not count as pasteurised."
		if body.Heated() {
			said = "Pasteurised."
		}
		return p.logStep(c, r, a, body, said)
	},
	"water": func(p *Pages, c *gin.Context, r *reader, a benchAsk) (string, larder.Tag, error) {
		feed := larder.Feed{From: larder.FromWater, VolumeML: r.volume("feed_volume_ml")}
		return p.logStep(c, r, a, larder.Transfer{What: larder.Dilution, Feed: &feed}, "Water added. Its strength is computed now: measure again.")
	},
	"finished": func(p *Pages, c *gin.Context, r *reader, a benchAsk) (string, larder.Tag, error) {
		return p.logStep(c, r, a, larder.StageChange{To: larder.Finished, Reason: r.text("reason")}, "The jar is finished.")
	},
	"vessel": (*Pages).pourTogether,
}

func (p *Pages) logStep(c *gin.Context, r *reader, a benchAsk, body larder.Body, said string) (string, larder.Tag, error) {
	if len(a.tags) != 1 {
		r.problems.Add("", "One step is logged on one jar. Open the bench for that jar alone.")
	}
	n := larder.NewEntry{When: r.when(), Note: r.text("note"), Body: body}
	act := r.act()
	if err := r.problems.Err(); err != nil {
		return "", "", err
	}
	_, err := p.DB.Append(c.Request.Context(), act, a.tags[0], n)
	return said, a.tags[0], err
}

// pourTogether pours one jar into another vessel, or joins several in one.
func (p *Pages) pourTogether(c *gin.Context, r *reader, a benchAsk) (string, larder.Tag, error) {
	ctx := c.Request.Context()
	size := r.volume("size_ml")
	if size == nil && r.text("size_ml") == "" {
		r.problems.Add("size_ml", "Say how much the vessel holds.")
	}
	when, note, act := r.when(), r.text("note"), r.act()
	if err := r.problems.Err(); err != nil {
		return "", "", err
	}
	var filled store.Filled
	var err error
	if len(a.tags) == 1 {
		filled, err = p.DB.Move(ctx, act, a.tags[0], larder.NewMove{When: when, Note: note, SizeML: *size})
	} else {
		n := larder.NewBlend{When: when, Note: note, Name: r.text("name"), SizeML: *size}
		for _, t := range a.tags {
			n.Pours = append(n.Pours, larder.Pour{Jar: t})
		}
		filled, err = p.DB.Blend(ctx, act, n)
	}
	if err != nil {
		return "", "", err
	}
	return fmt.Sprintf("It is in jar %s now: print its label and stick it on.", filled.Jars[0].Tag), filled.Jars[0].Tag, nil
}

func (p *Pages) finishStep(c *gin.Context) error {
	k, r, err := p.form(c)
	if err != nil {
		return err
	}
	do, ok := finishActs[c.Param("step")]
	if !ok {
		return p.noRoute(c)
	}
	ask := p.readBenchAsk(c, writer{k: k, now: r.now}, r.typed)
	if len(ask.tags) == 0 {
		return larder.Refuse("jars", "Choose at least one jar.")
	}
	said, tag, err := do(p, c, r, ask)
	if err == nil {
		remember(c, byCookie, r.text("by"))
		ask.tags = []larder.Tag{tag}
		c.Redirect(http.StatusSeeOther, ask.url("saved", said))
		return nil
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showFinishing(c, status, r.typed, &sent{form: c.Param("step"), typed: r.typed, problems: placeFeed(problems, "feed"), key: key})
}
