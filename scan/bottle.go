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
		Measured: page.Lot.Acidity.Basis == larder.ByTitration, Cautions: cautionSentences(page.Lot),
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

// cautionSentences are the lot's cautions, each with what it means for whoever
// holds the bottle.
func cautionSentences(l larder.Lot) []string {
	var out []string
	for _, caution := range l.Cautions() {
		switch {
		case strings.HasPrefix(caution, "Not for canning"):
			out = append(out, "Not for canning or preserving: home-made vinegar must not be relied on to keep food safe. For preserves use bought vinegar of the strength that a tested recipe and your local rules ask for.")
		case strings.Contains(caution, "sulphites"):
			out = append(out, "It was made from wine and may contain sulphites, which some people do not tolerate.")
		case strings.HasPrefix(caution, "Unpasteurised"):
			out = append(out, "It is unpasteurised and alive. A slippery disc or threads may form: that is a mother, harmless, and can be strained out. Whoever must avoid live foods should not have it.")
		default:
			out = append(out, caution+".")
		}
	}
	return append(out, "Throw it away if anything coloured or furry grows on it.")
}
