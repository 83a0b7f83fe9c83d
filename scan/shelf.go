package scan

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

type shelfView struct {
	Batches []shelfBatch
	Wants   string // how many jars want a hand
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
}

// shelf lists the live jars by batch with what each wants.
func (p *Pages) shelf(c *gin.Context) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	jars, err := p.DB.Shelf(ctx, false)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k)}
	var v shelfView
	wanting := 0
	var last int64 = -1
	for _, s := range jars {
		if s.Batch.ID != last {
			last = s.Batch.ID
			v.Batches = append(v.Batches, shelfBatch{Name: s.Batch.Name, URL: batchURL(s.Batch),
				Started: s.Batch.When.DateIn(w.now.Location())})
		}
		one := shelfJarOf(s.Jar, s.Batch, w)
		if one.Todo != nil && one.Todo.Status != larder.Coming.String() {
			wanting++
		}
		b := &v.Batches[len(v.Batches)-1]
		b.Jars = append(b.Jars, one)
	}
	switch wanting {
	case 0:
		v.Wants = "Nothing is due."
	case 1:
		v.Wants = "1 jar wants a hand."
	default:
		v.Wants = fmt.Sprintf("%d jars want a hand.", wanting)
	}
	return render(c, http.StatusOK, "shelf", p.frame(k, "Shelf"), v)
}

func shelfJarOf(j larder.Jar, b larder.Batch, w writer) shelfJar {
	s := j.State
	one := shelfJar{URL: jarURL(j.Tag), Tag: string(j.Tag), Letter: j.Letter, Stage: string(s.Stage), For: forAge(s.StageSince, w.now), Hold: s.Hold}
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
