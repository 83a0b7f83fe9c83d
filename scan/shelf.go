package scan

import (
	"fmt"
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"cruet/internal/chart"
	"cruet/internal/chem"
	"cruet/internal/larder"
)

// shelfPage is how many jars the shelf shows at once.
const shelfPage = 100

// maxBatchChoice is how many batches the filter lists; with more, the search by
// name is quicker.
const maxBatchChoice = 60

// shelfView is the shelf, or the part of it that was asked for.
type shelfView struct {
	Batches       []shelfBatch
	Total, Found  int
	Wants         string // how many of them want a hand
	Stages        []shelfStage
	Text          string
	Places        []option
	BatchChoice   []option
	Hold, Due     bool
	Stage         string
	More          bool // the further filters stand open
	Filtered      bool
	Before, After string // the pages beside this one
	Part          string // "1 to 100 of 240"
}

type shelfStage struct {
	Name, URL string
	Count     int
	Now       bool
}

type shelfBatch struct {
	Name, URL string
	Started   string
	Jars      []shelfJar
}

type shelfJar struct {
	URL, Tag, Letter string
	Stage, For       string
	Acidity          *value // nil while nobody expects one
	Rest             string // pH and place
	Hold             string
	Todo             *todo // the most urgent
	Spark            template.HTML
}

// shelfAsk is what the address asks of the shelf; it holds the whole state of
// the filter, so that a bookmark keeps it.
type shelfAsk struct {
	larder.ShelfFilter
	Page int
}

func shelfAskOf(c *gin.Context) shelfAsk {
	ask := shelfAsk{Page: 1}
	ask.Stage, ask.Place, ask.Text = larder.Stage(c.Query("stage")), c.Query("place"), strings.TrimSpace(c.Query("q"))
	ask.Held, ask.Due = c.Query("hold") != "", c.Query("due") != ""
	ask.Batch, _ = strconv.ParseInt(c.Query("batch"), 10, 64) // what is no number asks for none
	if n, err := strconv.Atoi(c.Query("page")); err == nil && n > 1 {
		ask.Page = n
	}
	return ask
}

// url is the shelf's address for another stage or page of the same question.
func (a shelfAsk) url() string {
	batch, page, hold, due := "", "", "", ""
	if a.Batch != 0 {
		batch = strconv.FormatInt(a.Batch, 10)
	}
	if a.Page > 1 {
		page = strconv.Itoa(a.Page)
	}
	if a.Held {
		hold = "1"
	}
	if a.Due {
		due = "1"
	}
	return "/shelf" + query("stage", string(a.Stage), "place", a.Place, "batch", batch, "hold", hold, "due", due, "q", a.Text, "page", page)
}

// shelf lists the live jars by batch with the newest reading, a small curve and
// what each wants.
func (p *Pages) shelf(c *gin.Context) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	all, err := p.DB.Standing(ctx)
	if err != nil {
		return err
	}
	w, ask := writer{k: k, now: p.now(k)}, shelfAskOf(c)
	v := shelfView{Total: len(all), Text: ask.Text, Hold: ask.Held, Due: ask.Due, Stage: string(ask.Stage),
		More: ask.Place != "" || ask.Batch != 0 || ask.Held || ask.Due, Filtered: ask.ShelfFilter != larder.ShelfFilter{}}
	v.choices(all, ask)
	found := v.stages(all, ask, w.now)
	v.Found, v.Wants = len(found), wantsText(found, w.now)
	shown := v.turn(found, ask)
	tags := make([]larder.Tag, len(shown))
	for i, s := range shown {
		tags[i] = s.Jar.Tag
	}
	curves, err := p.DB.Curves(ctx, tags)
	if err != nil {
		return err
	}
	v.rows(shown, curves, w)
	return render(c, http.StatusOK, "shelf", p.frame(k, "Shelf"), v)
}

// choices fills the lists of places and batches to choose from.
func (v *shelfView) choices(all []larder.ShelfJar, ask shelfAsk) {
	v.Places = []option{{Text: "anywhere"}}
	for _, place := range larder.Places(all) {
		v.Places = append(v.Places, option{Value: place, Text: place, Chosen: place == ask.Place})
	}
	v.BatchChoice = []option{{Text: "any batch"}}
	seen := map[int64]bool{}
	for _, s := range all {
		if b := s.Batch; !seen[b.ID] && (len(seen) < maxBatchChoice || b.ID == ask.Batch) {
			seen[b.ID] = true
			v.BatchChoice = append(v.BatchChoice, option{Value: strconv.FormatInt(b.ID, 10), Text: b.Name, Chosen: b.ID == ask.Batch})
		}
	}
}

// stages counts the jars of each stage that answer the rest of the question, and
// gives those that answer all of it.
func (v *shelfView) stages(all []larder.ShelfJar, ask shelfAsk, now time.Time) []larder.ShelfJar {
	rest := ask
	rest.Stage, rest.Page = "", 1
	matching := rest.Filter(all, now)
	counts := map[larder.Stage]int{}
	for _, s := range matching {
		counts[s.Jar.State.Stage]++
	}
	v.Stages = append(v.Stages, shelfStage{Name: "all", URL: rest.url(), Count: len(matching), Now: ask.Stage == ""})
	for _, stage := range larder.Stages() {
		if !stage.Live() || (counts[stage] == 0 && ask.Stage != stage) {
			continue
		}
		one := rest
		one.Stage = stage
		v.Stages = append(v.Stages, shelfStage{Name: string(stage), URL: one.url(), Count: counts[stage], Now: ask.Stage == stage})
	}
	if ask.Stage == "" {
		return matching
	}
	return larder.ShelfFilter{Stage: ask.Stage}.Filter(matching, now)
}

// turn gives the page of the found jars that is asked for, the last one when
// there are not so many.
func (v *shelfView) turn(found []larder.ShelfJar, ask shelfAsk) []larder.ShelfJar {
	pages := max(1, (len(found)+shelfPage-1)/shelfPage)
	ask.Page = min(ask.Page, pages)
	from, to := (ask.Page-1)*shelfPage, min(ask.Page*shelfPage, len(found))
	if pages > 1 {
		v.Part = fmt.Sprintf("%d to %d of %d", from+1, to, len(found))
	}
	if before := ask; ask.Page > 1 {
		before.Page--
		v.Before = before.url()
	}
	if after := ask; ask.Page < pages {
		after.Page++
		v.After = after.url()
	}
	return found[from:to]
}

func (v *shelfView) rows(shown []larder.ShelfJar, curves map[larder.Tag][]larder.Entry, w writer) {
	var last int64 = -1
	for _, s := range shown {
		if s.Batch.ID != last {
			last = s.Batch.ID
			v.Batches = append(v.Batches, shelfBatch{Name: s.Batch.Name, URL: batchURL(s.Batch),
				Started: s.Batch.When.DateIn(w.now.Location())})
		}
		one := shelfJarOf(s.Jar, s.Batch, w)
		if curve, ok := chart.SparkOf(curves[s.Jar.Tag], w.now); ok {
			one.Spark = template.HTML(chart.Spark(curve)) // made of numbers and fixed words
		}
		b := &v.Batches[len(v.Batches)-1]
		b.Jars = append(b.Jars, one)
	}
}

func wantsText(found []larder.ShelfJar, now time.Time) string {
	switch n := len(larder.ShelfFilter{Due: true}.Filter(found, now)); n {
	case 0:
		return "Nothing is due."
	case 1:
		return "1 jar wants a hand."
	default:
		return fmt.Sprintf("%d jars want a hand.", n)
	}
}

func shelfJarOf(j larder.Jar, b larder.Batch, w writer) shelfJar {
	s := j.State
	one := shelfJar{URL: jarURL(j.Tag), Tag: string(j.Tag), Letter: j.Letter, Stage: string(s.Stage), For: forDays(s.StageSince, w.now), Hold: s.Hold}
	var rest []string
	if sour := s.Stage == larder.Acetic || s.Stage == larder.Maturing || s.Stage == larder.Finished; sour || s.Acidity != nil {
		one.Acidity = new(acidityValue(s.Acidity, w))
		if s.Acidity == nil {
			one.Acidity.Text = "acidity not measured"
		}
	}
	if s.PH != nil {
		rest = append(rest, "pH "+plain(s.PH.Value))
	}
	if j.Place != "" {
		rest = append(rest, j.Place)
	}
	one.Rest = strings.Join(rest, " · ")
	if one.Acidity != nil && one.Rest != "" {
		one.Rest = "· " + one.Rest
	}
	if todos := todosOf(j, b, w.now); len(todos) > 0 {
		one.Todo = &todos[0]
	}
	return one
}

func batchURL(b larder.Batch) string { return fmt.Sprintf("/batches/%d", b.ID) }

type cautionView struct{ Base string }

func (p *Pages) caution(c *gin.Context) error {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return err
	}
	return render(c, http.StatusOK, "caution", p.frame(k, "Cautions"), cautionView{Base: chem.BaseCaution})
}
