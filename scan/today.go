package scan

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/internal/larder"
)

// tasksShown is how many tasks of one urgency the page lists; beyond them the
// shelf is the better list.
const tasksShown = 60

// todayView is what needs a hand, or how to begin.
type todayView struct {
	Day      string
	Saved    string // what a one-tap act did
	SavedURL string
	First    bool // nothing stands on the shelf yet
	Sections []todaySection
	Next     *taskView // what comes first, when nothing is due
	Quiet    bool
	Live     string
	Held     string
	Round    string // where a measuring round goes on
}

type todaySection struct {
	Title string
	Count int
	Intro string // how to begin with them; empty where there is nothing to say
	Tasks []taskView
	More  string // where the rest is listed
}

// taskView is one thing to do, with the way to do it.
type taskView struct {
	What, Name, Where string
	Letter            string
	URL               string // the jar's page; empty: the bench's
	Tag               string
	Reason, Window    string
	Status            string
	Go                link
	Stir              string // the key of a form that is sent with one tap; empty: none
	By                string // whose tap it is, as far as this phone knows
	Inside            bool   // stands folded within another task of its jar
	Rest              []taskView
	More              string // what Rest holds, in words
}

// today is what needs a hand now: overdue, due, and the coming days.
func (p *Pages) today(c *gin.Context) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k), by: remembered(c, byCookie)}
	list, err := p.DB.Today(ctx, w.now)
	if err != nil {
		return err
	}
	v := todayView{Day: w.now.Format("Monday 2 January"), First: list.Live == 0}
	if list.Live > 0 {
		v.Live = count(list.Live, "jar") + " on the shelf"
	}
	if list.Held > 0 {
		v.Held = count(list.Held, "jar") + " on hold"
	}
	if round, err := p.DB.OpenRound(ctx); err != nil {
		return err
	} else if round != nil {
		v.Round = "/round"
	}
	v.fill(list.Within(larder.ComingDays, w.now), w)
	if at := slices.IndexFunc(list.Tasks, func(t larder.Task) bool { return t.Jar != "" }); len(v.Sections) == 0 && at >= 0 {
		v.Next = new(w.task(list.Tasks[at]))
	}
	if v.Saved, v.SavedURL, err = p.savedText(c, w); err != nil {
		return err
	}
	return render(c, http.StatusOK, "today", p.frame(k, "Today"), v)
}

// longOverdueIntro tells what to do with a jar of which nothing was logged for weeks.
const longOverdueIntro = "Look into each of these jars first; if there is mould, throw all of it away. Then log what was done, with its day."

// fill sorts the tasks into sections, the most urgent first. What is overdue for
// weeks has a section of its own, with one row for each jar, so that a log which
// begins late buries nothing else.
func (v *todayView) fill(list larder.Today, w writer) {
	for _, s := range []struct {
		urgency            larder.Urgency
		long               bool
		title, intro, more string
	}{{larder.Overdue, false, "Overdue", "", "/shelf?due=1"}, {larder.Overdue, true, "Overdue for weeks", longOverdueIntro, "/shelf?due=1"},
		{larder.DueNow, false, "Due", "", "/shelf?due=1"}, {larder.Coming, false, "Coming days", "", "/shelf"}} {
		one := todaySection{Title: s.title, Intro: s.intro}
		var shown []larder.Task
		for _, t := range list.Tasks {
			if t.Urgency != s.urgency || t.LongOverdue(w.now) != s.long {
				continue
			}
			if one.Count++; one.Count <= tasksShown {
				shown = append(shown, t)
			}
		}
		if s.long {
			one.Tasks = w.folded(shown)
		} else {
			for _, t := range shown {
				one.Tasks = append(one.Tasks, w.task(t))
			}
		}
		if one.Count > tasksShown {
			one.More = s.more
		}
		if one.Count > 0 {
			v.Sections = append(v.Sections, one)
		}
	}
	v.Quiet = len(list.Tasks) == 0 || list.Tasks[0].Urgency == larder.Coming
}

// folded shows one task of each jar; the jar's others are named below it and open
// with a tap.
func (w writer) folded(tasks []larder.Task) (out []taskView) {
	of := map[larder.Tag][]larder.Task{}
	for _, t := range tasks {
		of[t.Jar] = append(of[t.Jar], t)
	}
	for _, first := range tasks {
		own := of[first.Jar]
		if first.Jar == "" {
			out = append(out, w.task(first))
			continue
		}
		delete(of, first.Jar)
		if len(own) == 0 {
			continue // shown with the first of its jar
		}
		main := larder.Foremost(own)
		v := w.task(own[main])
		var names []string
		for i, t := range own {
			if i != main {
				one := w.task(t)
				one.Inside = true
				v.Rest, names = append(v.Rest, one), append(names, t.What)
			}
		}
		if len(v.Rest) > 0 {
			v.More = fmt.Sprintf("%d more: %s", len(v.Rest), strings.Join(names, ", "))
		}
		out = append(out, v)
	}
	return out
}

func (w writer) task(t larder.Task) taskView {
	v := taskView{What: upperFirst(t.What), Reason: upperFirst(t.Reason), Window: t.Window(w.now.Location()), Status: t.Status, Where: t.Place}
	if t.Jar == "" {
		v.Name, v.Go = "Bench", benchDoing(t.Do)
		return v
	}
	v.Name, v.Letter, v.Tag, v.URL, v.Go = t.Batch, t.Letter, string(t.Jar), jarURL(t.Jar), doing(t.Todo, t.Jar)
	if t.Do == larder.DoStir && t.Urgency > larder.Coming {
		v.Stir, v.By = newKey(), w.by
	}
	return v
}

// benchDoing says where on the bench a task of its own is done.
func benchDoing(do larder.Deed) link {
	if do == larder.DoCheckBase {
		return link{"/bench?open=base#base", "Check the base"}
	}
	return link{"/bench?open=calibration#calibration", "Calibrate"}
}

// savedText tells what the entry named in ?saved= did, for a form that leads
// back to a list.
func (p *Pages) savedText(c *gin.Context, w writer) (text, url string, err error) {
	id, err := uuid.Parse(c.Query("saved"))
	if err != nil {
		return "", "", nil
	}
	ctx := c.Request.Context()
	e, err := p.DB.Entry(ctx, id)
	if err != nil {
		return "", "", nil // an old or foreign link; the page itself is still right
	}
	jar, err := p.DB.Jar(ctx, e.Jar)
	if err != nil {
		return "", "", err
	}
	batch, err := p.DB.Batch(ctx, jar.BatchID)
	if err != nil {
		return "", "", err
	}
	title := "Saved"
	if c.Query("again") != "" {
		title = "Already saved, once"
	}
	w.jar = e.Jar
	return fmt.Sprintf("%s: %s, %s %s.", title, w.row(e).Title, batch.Name, jar.Letter), jarURL(e.Jar), nil
}

// The lists that a one-tap form may lead back to, by the name in the form.
var backs = map[string]string{"today": "/", "round": "/round", "shelf": "/shelf"}

// backTo is where a saved form leads: the list that it was sent from, else its
// own page.
func (r *reader) backTo(own string) string {
	if to, ok := backs[r.text("back")]; ok {
		return to
	}
	return own
}

func savedQuery(id uuid.UUID, again bool) string {
	if again {
		return query("saved", id.String(), "again", "1")
	}
	return query("saved", id.String())
}
