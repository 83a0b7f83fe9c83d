package scan

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"cruet/labels"
)

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
	record, err := p.filled(ctx, lot, k)
	if err != nil {
		return err
	}
	record.Bottle = page.Bottle
	v, err := labels.PublicOf(record)
	if err != nil {
		return err
	}
	f := p.frame(k, v.Name)
	f.Public = true
	return render(c, http.StatusOK, "bottle", f, v)
}
