package scan

import (
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/labels"
)

// publicView is all that the page of a bottle tells whoever holds it: nothing
// of other jars, no form, no way into the kitchen.
type publicView struct {
	Name        string
	Acidity     string
	AcidityNote string
	Measured    bool
	Lines       []pair
	Cautions    []string
	Hold, Void  bool
	Maker       string
}

func (p *Pages) bottle(c *gin.Context) error {
	ctx := c.Request.Context()
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	if !tag.IsBottle() {
		c.Redirect(http.StatusSeeOther, jarURL(tag))
		return nil
	}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	page, err := p.DB.BottleByTag(ctx, tag)
	if err != nil {
		return err
	}
	lot, err := p.DB.Lot(ctx, page.Lot.ID)
	if err != nil {
		return err
	}
	l := labels.ForBottle(page.Bottle, page.Lot, len(lot.Bottles), k, p.Address)
	v := publicView{Name: l.Name, Acidity: upperFirst(l.Acidity), AcidityNote: upperFirst(l.AcidityNote),
		Measured: page.Lot.Acidity.Basis == larder.ByTitration, Cautions: labels.Minds(page.Lot),
		Hold: len(page.Holds) > 0, Void: page.Lot.Void, Maker: l.Maker,
		Lines: []pair{{"Bottled", l.Bottled}, {"Net", l.Net}}}
	if len(page.Lot.Ingredients) > 0 {
		v.Lines = append(v.Lines, pair{"Made from", strings.Join(page.Lot.Ingredients, ", ")})
	}
	v.Lines = append(v.Lines, pair{"Lot", page.Lot.ID}, pair{"Bottle", strconv.Itoa(page.Bottle.Number) + " of " + strconv.Itoa(len(lot.Bottles))})
	f := p.frame(k, l.Name)
	f.Public = true
	return render(c, http.StatusOK, "bottle", f, v)
}
