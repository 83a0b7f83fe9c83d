package scan

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
)

// lotLog is what happened to a lot since it was bottled, and what stops it.
type lotLog struct {
	Held     []heldLine
	Form     form
	Lines    []logLine
	TraceURL string
}

type logLine struct{ When, By, Text, Note string }

// lotLog reads a lot's log; back is its form when it came back.
func (p *Pages) lotLog(c *gin.Context, lot larder.Lot, w writer, back *sent) (*lotLog, error) {
	ctx := c.Request.Context()
	log, err := p.DB.LotLog(ctx, lot.ID)
	if err != nil {
		return nil, err
	}
	held, err := p.DB.HeldOfLot(ctx, lot.ID)
	if err != nil {
		return nil, err
	}
	out := &lotLog{TraceURL: traceURL(larder.Subject{Kind: larder.SubjectLot, ID: lot.ID})}
	for _, h := range held {
		line := heldLine{Text: h.Reason + ", since " + dayOf(h.Since, w.now), Link: link{Text: "This lot"}}
		if h.Jar != "" {
			line.Link = link{jarURL(h.Jar), "Jar " + string(h.Jar)}
		}
		out.Held = append(out.Held, line)
	}
	for i := range log { // the newest first
		h := log[len(log)-1-i]
		out.Lines = append(out.Lines, logLine{When: momentOf(h.When, w.now), By: h.By, Text: upperFirst(h.Words()), Note: h.Note})
	}
	b, key := newBuilder("hold", nil, nil, w.k.Units()), ""
	if back != nil {
		b, key = newBuilder("hold", back.typed, back.problems, w.k.Units()), back.key
	}
	on := "on"
	f := form{Key: key, Title: "Put this lot on hold", Submit: "Put on hold", Intro: "While a hold stands, none of its bottles may be given away. Those that left are listed by its trace."}
	if lot.Hold != "" {
		on, f.Title, f.Submit, f.Intro = "off", "Lift the hold on this lot", "Lift the hold", "On hold: "+lot.Hold
	}
	f.Action = lotURL(lot.ID) + "/hold"
	f.Fields = append([]field{b.hidden("hold", on), b.area("reason", "Why", "")}, b.whenAndBy(remembered(c, byCookie))...)
	out.Form = b.finish(f)
	return out, nil
}

func (p *Pages) holdLot(c *gin.Context) error {
	ctx := c.Request.Context()
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	id := c.Param("id")
	n := larder.NewLotHold{When: r.when(), On: r.text("hold") != "off", Reason: r.text("reason"), Note: r.text("note")}
	act := r.act()
	if err = r.problems.Err(); err == nil {
		if _, err = p.DB.HoldLot(ctx, act, id, n); err == nil {
			remember(c, byCookie, act.By)
			c.Redirect(http.StatusSeeOther, lotURL(id))
			return nil
		}
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showLot(c, status, &sent{form: "hold", typed: r.typed, problems: problems, key: key})
}
