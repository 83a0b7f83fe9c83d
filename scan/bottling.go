package scan

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/verdict"
	"cruet/labels"
)

// bottleRuns is how many sizes of bottle one form takes.
const bottleRuns = 3

type bottlingView struct {
	Jars    []pourJar
	JarsBad string
	Waiting []link // jars that are nearly there
	Form    form
}

// pourJar is a finished jar to tick.
type pourJar struct {
	Tag, Letter, Batch, Holds, Acidity string
	Chosen                             bool
	Dilute, Outlook                    string // what water brings it to the target; where the whole verdict stands
	Verdict                            []verdictRow
	Volume                             field
}

func (p *Pages) bottlingForm(c *gin.Context) error {
	return p.showBottling(c, http.StatusOK, c.Request.URL.Query(), nil, "")
}

func (p *Pages) showBottling(c *gin.Context, status int, typed url.Values, problems larder.Problems, key string) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	shelf, err := p.DB.Shelf(ctx, false)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k)}
	if !typed.Has("by") {
		typed.Set("by", remembered(c, byCookie))
	}
	b := newBuilder("bottling", typed, problems, k.Units())
	v := bottlingView{JarsBad: b.take("jars")}
	chosen := chosenTags(typed)
	for _, s := range shelf {
		switch s.Jar.State.Stage {
		case larder.Finished:
			v.Jars = append(v.Jars, pourJarOf(s, w, b, chosen[s.Jar.Tag]))
		case larder.Acetic, larder.Maturing:
			v.Waiting = append(v.Waiting, link{jarURL(s.Jar.Tag), s.Batch.Name + " " + s.Jar.Letter + " · " + string(s.Jar.State.Stage)})
		}
	}
	// One finished jar needs no choosing.
	if len(v.Jars) == 1 && len(chosen) == 0 {
		v.Jars[0].Chosen = true
	}
	v.Form = b.finish(bottlingFields(b, key))
	wrong := v.JarsBad != "" // the first of the jars' boxes has the focus then
	for i := range v.Jars {
		if wrong = wrong || v.Jars[i].Volume.Error != ""; wrong {
			v.Jars[i].Volume.Focus = v.JarsBad == ""
			unfocus(v.Form.Fields)
			break
		}
	}
	return render(c, status, "bottling", p.frame(k, "Bottle"), v)
}

func bottlingFields(b *builder, key string) form {
	var runs []field
	for i := 1; i <= bottleRuns; i++ {
		number := b.number(runField("bottles", i), "How many", "", "")
		number.Mode = "numeric"
		runs = append(runs, row("", number, b.bottleVolume(runField("size_ml", i), "Each holds", "")))
	}
	runs[0].Label = "Bottles"
	fields := []field{runs[0], fold("Bottles of another size", runs[1:]...)}
	fields = append(fields, b.text("name", "Name on the label", "empty: the batch's name", larder.MaxNameRunes), b.area("note", "Note", ""))
	fields = append(fields, b.whenAndBy("")...)
	return form{Key: key, Action: "/bottle", Fields: fields, Submit: "Bottle it"}
}

func chosenTags(typed url.Values) map[larder.Tag]bool {
	out := map[larder.Tag]bool{}
	for _, t := range typed["tag"] {
		if tag, _, err := larder.ParseTag(t); err == nil {
			out[tag] = true
		}
	}
	return out
}

func pourJarOf(s store.ShelfJar, w writer, b *builder, chosen bool) pourJar {
	holds := "holds up to " + w.volume(s.Jar.SizeML)
	if v := s.Jar.State.VolumeML; v != nil {
		holds = "has " + w.volume(*v)
	}
	acidity := "acidity not measured"
	if a := acidityValue(s.Jar.State.Acidity, w); a.How != "unknown" {
		acidity = a.Text + " " + a.Unit + ", " + a.How
	}
	dilute := ""
	if d, ok := larder.DilutionTo(s.Batch.TargetGPer100ML, s.Jar.State); ok {
		dilute = larder.DilutionSentence(d, s.Batch.TargetGPer100ML, w.k.Units())
	}
	return pourJar{Dilute: dilute, Outlook: jarURL(s.Jar.Tag) + "/outlook", Verdict: verdictRows(verdictOf(s.Jar, s.Batch, w), false), Tag: string(s.Jar.Tag), Letter: s.Jar.Letter, Batch: s.Batch.Name, Holds: holds, Acidity: acidity, Chosen: chosen,
		Volume: b.volume("pour_"+string(s.Jar.Tag), "Takes from it", "empty: shared out")}
}

func (p *Pages) bottling(c *gin.Context) error {
	ctx := c.Request.Context()
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	n := readLot(r)
	act := r.act()
	if err = r.problems.Err(); err == nil {
		lot, e := p.DB.Bottle(ctx, act, n)
		if e == nil {
			remember(c, byCookie, act.By)
			c.Redirect(http.StatusSeeOther, lotURL(lot.Lot.ID)+"?new=1")
			return nil
		}
		err = e
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showBottling(c, status, r.typed, placeSizes(problems, n, r.typed), key)
}

func readLot(r *reader) larder.NewLot {
	n := larder.NewLot{Name: r.text("name"), When: r.when(), Note: r.text("note")}
	for _, typed := range r.typed["tag"] {
		tag, _, err := larder.ParseTag(typed)
		if err != nil {
			r.problems.Add("jars", err.Error())
			continue
		}
		pour := larder.Pour{Jar: tag}
		if v := r.volume("pour_" + string(tag)); v != nil {
			pour.VolumeML = *v
		}
		n.Pours = append(n.Pours, pour)
	}
	if len(r.typed["tag"]) == 0 {
		r.problems.Add("jars", "Tick the jar that is bottled.")
	}
	for _, i := range filledRuns(r.typed) {
		bottles, size := runField("bottles", i), runField("size_ml", i)
		run := larder.Run{}
		count := r.need(bottles, "Say how many bottles.")
		if run.Count = int(count); count != float64(run.Count) {
			r.problems.Add(bottles, "Bottles come in whole numbers.")
		}
		if v := r.volume(size); v != nil {
			run.SizeML = *v
		} else if r.text(size) == "" {
			r.problems.Add(size, "Say how much a bottle holds.")
		}
		n.Runs = append(n.Runs, run)
	}
	if len(n.Runs) == 0 {
		r.problems.Add(runField("bottles", 1), "Say how many bottles, and how much each holds.")
	}
	return n
}

// filledRuns are the lines of bottles in which something was typed.
func filledRuns(typed url.Values) []int {
	var out []int
	for i := 1; i <= bottleRuns; i++ {
		if strings.TrimSpace(typed.Get(runField("bottles", i))+typed.Get(runField("size_ml", i))) != "" {
			out = append(out, i)
		}
	}
	return out
}

// placeSizes moves a problem with the bottles to the line that has it.
func placeSizes(problems larder.Problems, n larder.NewLot, typed url.Values) larder.Problems {
	filled := filledRuns(typed)
	for k, p := range problems {
		if (p.Field != "bottles" && p.Field != "size_ml") || len(filled) == 0 {
			continue
		}
		at := filled[0]
		for i, run := range n.Runs {
			bad := run.Count < 1 || run.Count > larder.MaxLotBottles
			if p.Field == "size_ml" {
				bad = !(run.SizeML >= 10)
			}
			if bad && i < len(filled) {
				at = filled[i]
				break
			}
		}
		problems[k].Field = runField(p.Field, at)
	}
	return problems
}

func lotURL(id string) string { return "/lots/" + url.PathEscape(id) }

// lotsPage is how many lots the page lists at once.
const lotsPage = 50

type lotsView struct {
	Lots   []lotLine
	Begins bool   // with the newest
	Older  string // the part of the list behind this one
}

func lotCursorOf(text string) (store.LotCursor, bool) {
	ms, id, ok := strings.Cut(text, ".")
	at, err := strconv.ParseInt(ms, 10, 64)
	if !ok || err != nil {
		return store.LotCursor{}, false
	}
	return store.LotCursor{HappenedMS: at, ID: id}, true
}

type lotLine struct {
	URL, ID, Name, When, Acidity, Counts string
	Hold                                 string // why the lot itself is on hold
	Void                                 bool
	Behind                               bool // a hold stands on what it came from
}

func (p *Pages) lots(c *gin.Context) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	from, older := lotCursorOf(c.Query("older"))
	lots, next, err := p.DB.LotsFrom(ctx, from, lotsPage)
	if err != nil {
		return err
	}
	v := lotsView{Begins: !older}
	if next != nil {
		v.Older = "/lots" + query("older", fmt.Sprintf("%d.%s", next.HappenedMS, next.ID))
	}
	for _, l := range lots {
		v.Lots = append(v.Lots, lotLine{URL: lotURL(l.Lot.ID), ID: l.Lot.ID, Name: l.Lot.Name, When: l.Lot.When.DateIn(k.Location()),
			Acidity: l.Lot.Acidity.LabelText(), Counts: givenText(l.Bottles, l.Given), Void: l.Lot.Void, Hold: l.Lot.Hold, Behind: l.Behind && l.Lot.Hold == ""})
	}
	return render(c, http.StatusOK, "lots", p.frame(k, "Bottles"), v)
}

func givenText(bottles, given int) string {
	text := count(bottles, "bottle")
	if given > 0 {
		text += ", " + strconv.Itoa(given) + " given"
	}
	return text
}

type lotView struct {
	ID, Name  string
	New, Void bool
	Lines     []pair
	Cautions  []string
	Verdict   []verdictRow
	Defer     string
	Pours     []step
	Bottles   []bottleLine
	Note      string
	LabelsURL string
	Log       *lotLog
	Struck    string // why its acidity no longer counts
	Mould     []step // jars that it came from in which mould was seen
	CameFrom  []step
	WentOn    []step // what else came of its jars afterwards
}

type bottleLine struct{ URL, Number, Size, To, When string }

func (p *Pages) lot(c *gin.Context) error {
	return p.showLot(c, http.StatusOK, nil)
}

// showLot shows a lot; back is its log's form when that came back.
func (p *Pages) showLot(c *gin.Context, status int, back *sent) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	l, err := p.DB.Lot(ctx, c.Param("id"))
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k)}
	v := lotView{ID: l.Lot.ID, Name: l.Lot.Name, New: c.Query("new") != "", Void: l.Lot.Void, Cautions: verdict.ShortTexts(verdict.OnLot(l.Lot, verdict.MarketOf(k))), Note: l.Lot.Note,
		Lines: []pair{{"Acidity", acidityOnLabel(l.Lot, k)}, {"Bottled", l.Lot.When.DateIn(k.Location())}}, LabelsURL: lotURL(l.Lot.ID) + "/labels"}
	if len(l.Lot.Ingredients) > 0 {
		v.Lines = append(v.Lines, pair{"From", strings.Join(l.Lot.Ingredients, ", ")})
	}
	if !l.Lot.Void {
		if v.Log, err = p.lotLog(c, l.Lot, w, back); err != nil {
			return err
		}
		findings, err := p.DB.VerdictOfLot(ctx, l.Lot, w.now)
		if err != nil {
			return err
		}
		v.Verdict, v.Defer = verdictRows(findings, true), verdict.Defer
	}
	if err := p.lotLineage(ctx, &v, l.Lot, w); err != nil {
		return err
	}
	if l.Lot.Acidity.Basis == larder.NotMeasured {
		v.Struck = l.Lot.Acidity.Why
	}
	for _, pour := range l.Lot.Pours {
		v.Pours = append(v.Pours, step{Text: w.volume(pour.VolumeML), Link: link{jarURL(pour.Jar), "from jar " + string(pour.Jar)}})
	}
	for _, b := range l.Bottles {
		line := bottleLine{URL: bottleURL(b), Number: strconv.Itoa(b.Number), Size: chem.FormatVolume(b.SizeML, k.Units())}
		if b.Gift != nil {
			line.To, line.When = b.Gift.To, dayOf(b.Gift.When, w.now)
		}
		v.Bottles = append(v.Bottles, line)
	}
	return render(c, status, "lot", p.frame(k, "Lot "+l.Lot.ID), v)
}

func acidityOnLabel(l larder.Lot, k larder.Kitchen) string {
	text := l.Acidity.LabelText()
	if note := l.Acidity.LabelNote(k.Location()); note != "" {
		text += ", " + note
	}
	return text
}

// giftView is a bottle's page in the kitchen, where it is given away.
type giftView struct {
	LotID, LotURL, Name, Tag string
	Number, Of               int
	Lines                    []pair
	Given                    string // to whom and when; empty: it is still here
	GivenNote                string
	Saved, Void              bool
	Holds                    []string
	Lift                     []link // where each hold is looked into and lifted
	Form                     form
	Back                     *form // takes the gift back
	Returned                 bool  // it was just taken back
	Taken                    []string
	Public, Label            string
	Card, Trace              string
	Struck                   string   // why the acidity no longer counts
	Giving                   string   // what the evidence says of giving it, in a word
	Against                  []string // and what speaks against it
}

func (p *Pages) lotBottle(c *gin.Context) error {
	return p.showLotBottle(c, http.StatusOK, nil)
}

func (p *Pages) bottleOf(c *gin.Context) (store.BottledLot, larder.Bottle, error) {
	l, err := p.DB.Lot(c.Request.Context(), c.Param("id"))
	if err != nil {
		return l, larder.Bottle{}, err
	}
	for _, b := range l.Bottles {
		if strconv.Itoa(b.Number) == c.Param("n") {
			return l, b, nil
		}
	}
	return l, larder.Bottle{}, &larder.NotFoundError{What: "bottle", ID: c.Param("n") + " in lot " + l.Lot.ID}
}

func (p *Pages) showLotBottle(c *gin.Context, status int, back *sent) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	l, b, err := p.bottleOf(c)
	if err != nil {
		return err
	}
	page, err := p.DB.BottleByTag(ctx, b.Tag)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k)}
	v := giftView{LotID: l.Lot.ID, LotURL: lotURL(l.Lot.ID), Name: l.Lot.Name, Tag: b.Tag.Spaced(), Number: b.Number, Of: len(l.Bottles),
		Lines: []pair{{"Holds", labels.NetText(float64(b.SizeML))}, {"Acidity", acidityOnLabel(l.Lot, k)}, {"Bottled", l.Lot.When.DateIn(k.Location())}},
		Saved: c.Query("given") != "", Void: l.Lot.Void, Holds: page.Holds, Public: "/B/" + string(b.Tag),
		Card: bottleURL(b) + "/card.pdf", Label: lotURL(l.Lot.ID) + "/labels" + query("bottle", strconv.Itoa(b.Number))}
	if l.Lot.Acidity.Basis == larder.NotMeasured {
		v.Struck = l.Lot.Acidity.Why
	}
	giving, err := p.DB.VerdictOnGiving(ctx, l.Lot, w.now)
	if err != nil {
		return err
	}
	v.Giving, v.Against = string(giving.Answer), giving.Against()
	if g := b.Gift; g != nil {
		v.Given, v.GivenNote = g.To+", "+dayOf(g.When, w.now), g.Note
	}
	v.Card, v.Trace = bottleURL(b)+"/card.pdf", traceURL(larder.Subject{Kind: larder.SubjectBottle, ID: string(b.Tag)})
	v.Returned = c.Query("back") != "" && b.Gift == nil
	for _, g := range page.Taken {
		v.Taken = append(v.Taken, g.To+", "+dayOf(g.When, w.now)+". Taken back: "+g.TakenBack.Reason)
	}
	if b.Gift != nil || (back != nil && back.form == "back") {
		fb, key := newBuilder("back", nil, nil, k.Units()), ""
		if back != nil && back.form == "back" {
			fb, key = newBuilder("back", back.typed, back.problems, k.Units()), back.key
		}
		v.Back = new(backForm(b, fb, key, remembered(c, byCookie)))
	}
	names, err := p.DB.RecipientNames(ctx, offeredNames)
	if err != nil {
		return err
	}
	fb, key := newBuilder("give", nil, nil, k.Units()), ""
	if back != nil && back.form != "back" {
		fb, key = newBuilder("give", back.typed, back.problems, k.Units()), back.key
	}
	for _, h := range page.Held {
		v.Lift = append(v.Lift, liftOf(h))
	}
	to := fb.text("to", "To whom", "kept here only, not on the bottle's page", larder.MaxNameRunes)
	to.List = names
	v.Form = fb.finish(form{Key: key, Action: bottleURL(b), Submit: "Give this bottle", Fields: append([]field{
		to, fb.area("note", "Note", "")},
		fb.whenAndBy(remembered(c, byCookie))...)})
	if v.Form.Title = "It was given before the hold"; back != nil && back.form != "back" {
		v.Form.Open = true
	}
	return render(c, status, "gift", p.frame(k, "Bottle "+strconv.Itoa(b.Number)+" of "+l.Lot.ID), v)
}

// liftOf leads to where a hold is looked into and lifted.
func liftOf(h larder.Held) link {
	if h.Lot != "" {
		return link{lotURL(h.Lot) + "#log", "Lot " + h.Lot + ": look into it"}
	}
	return link{jarURL(h.Jar) + "?open=hold#hold", "Jar " + string(h.Jar) + ": look into it"}
}

func (p *Pages) give(c *gin.Context) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	_, b, err := p.bottleOf(c)
	if err != nil {
		return err
	}
	r, err := readForm(c, p.now(k))
	if err != nil {
		return err
	}
	n := larder.NewGift{To: r.text("to"), When: r.when(), Note: r.text("note")}
	act := r.act()
	if err = r.problems.Err(); err == nil {
		if _, err = p.DB.Give(ctx, act, b.Tag, n); err == nil {
			remember(c, byCookie, act.By)
			c.Redirect(http.StatusSeeOther, bottleURL(b)+"?given=1")
			return nil
		}
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showLotBottle(c, status, &sent{typed: r.typed, problems: problems, key: key})
}
