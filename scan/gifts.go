package scan

import (
	"context"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/store"
)

// giftsPage is how many gifts the page lists at once.
const giftsPage = 100

// giftsView is who has what.
type giftsView struct {
	To     string // only what this one has; empty: everyone
	People part[personLine]
	Groups []giftGroup
	Newest string // the first part of the list, when this is another
	Older  string // the part behind this one
	Of     int    // how many there are, when all are on this page
	Taken  []takenLine
	Toggle link // the other way of putting them in order
}

// giftGroup is what one person has, or where one lot went.
type giftGroup struct {
	Name  link
	Under string
	Lines []giftLine
}

type giftLine struct {
	URL, Bottle, Name, When, Note string
}

type takenLine struct {
	Bottle link
	Text   string
}

func (p *Pages) gifts(c *gin.Context) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k)}
	byLot := c.Query("by") == "lot"
	v := giftsView{To: strings.TrimSpace(c.Query("to"))}
	from, older := cursorOf(c.Query("older"))
	standing, next, err := p.DB.GiftsFrom(ctx, store.GiftAsk{To: v.To}, from, giftsPage)
	if err != nil {
		return err
	}
	switch self := "/gifts" + query("to", v.To, "by", c.Query("by")); {
	case older:
		v.Newest = self
	case next == nil:
		v.Of = len(standing)
	}
	if next != nil {
		v.Older = "/gifts" + query("to", v.To, "by", c.Query("by"), "older", fmt.Sprintf("%d.%d", next.HappenedMS, next.Seq))
	}
	if !older {
		if err := p.takenBack(ctx, &v, w); err != nil {
			return err
		}
	}
	v.group(standing, byLot, w)
	v.Toggle = link{"/gifts" + query("to", v.To, "by", "lot"), "By lot"}
	if byLot {
		v.Toggle = link{"/gifts" + query("to", v.To), "By person"}
	}
	return render(c, http.StatusOK, "gifts", p.frame(k, "Gifts"), v)
}

// takenBack adds the newest gifts that were taken back.
func (p *Pages) takenBack(ctx context.Context, v *giftsView, w writer) error {
	gifts, _, err := p.DB.GiftsFrom(ctx, store.GiftAsk{To: v.To, TakenBack: true}, store.Cursor{}, tracedLines)
	if err != nil {
		return err
	}
	for _, g := range gifts {
		back := g.Bottle.Gift.TakenBack
		text := g.Bottle.Gift.To + ", " + dayOf(g.Bottle.Gift.When, w.now) + ". Taken back"
		if back.By != "" {
			text += " by " + back.By
		}
		v.Taken = append(v.Taken, takenLine{link{bottleURL(g.Bottle), "Bottle " + strconv.Itoa(g.Bottle.Number) + " of " + g.Bottle.Lot}, text + ": " + back.Reason})
	}
	return nil
}

func (v *giftsView) group(gifts []larder.Given, byLot bool, w writer) {
	at := map[string]int{}
	for _, g := range gifts {
		gift, bottle := g.Bottle.Gift, "Bottle "+strconv.Itoa(g.Bottle.Number)+" of "+g.Bottle.Lot
		key, group := gift.To, giftGroup{Name: link{"/gifts" + query("to", gift.To), gift.To}}
		line := giftLine{URL: bottleURL(g.Bottle), Bottle: bottle, Name: g.LotName + ", " + w.volume(g.Bottle.SizeML), When: dayOf(gift.When, w.now), Note: gift.Note}
		if byLot {
			key, group = g.Bottle.Lot, giftGroup{Name: link{lotURL(g.Bottle.Lot), g.Bottle.Lot}, Under: g.LotName}
			line.Bottle, line.Name = "Bottle "+strconv.Itoa(g.Bottle.Number), gift.To+", "+w.volume(g.Bottle.SizeML)
		}
		i, seen := at[key]
		if !seen {
			i, at[key] = len(v.Groups), len(v.Groups)
			v.Groups = append(v.Groups, group)
		}
		v.Groups[i].Lines = append(v.Groups[i].Lines, line)
	}
	if !byLot && v.Of > 0 { // a part of the list does not tell how many one has
		for i, g := range v.Groups {
			v.Groups[i].Under = count(len(g.Lines), "bottle")
		}
	}
}

// backForm takes a gift back.
func backForm(b larder.Bottle, fb *builder, key, by string) form {
	return fb.finish(form{Key: key, Title: "Take this gift back", Action: bottleURL(b) + "/back", Submit: "Take it back",
		Intro:  "For a gift that was logged by mistake, or that came back unopened. The record stays readable, with your reason.",
		Fields: []field{fb.area("reason", "Why", ""), fb.by(by)}})
}

func (p *Pages) takeBack(c *gin.Context) error {
	_, b, err := p.bottleOf(c)
	if err != nil {
		return err
	}
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	act := r.act()
	if err = r.problems.Err(); err == nil {
		if _, err = p.DB.TakeBack(c.Request.Context(), act, b.Tag, r.text("reason")); err == nil {
			remember(c, byCookie, act.By)
			c.Redirect(http.StatusSeeOther, bottleURL(b)+"?back=1")
			return nil
		}
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showLotBottle(c, status, &sent{form: "back", typed: r.typed, problems: problems, key: key})
}
