package scan

import (
	"bytes"
	"net/http"
	"strconv"
	"strings"
	"unicode"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/labels"
)

// paperOf is the paper that a document is asked for on; where none is named, the
// one that the kitchen's market prints on.
func paperOf(c *gin.Context, k larder.Kitchen) (labels.Page, error) {
	paper := c.Query("paper")
	if paper == "" && labels.OnLetter(k) {
		paper = "letter"
	}
	return labels.PageByID(paper)
}

// attach sends a file. Its name keeps letters, digits and dashes only, since it
// is made from what somebody typed.
func attach(c *gin.Context, name, contentType string, data []byte) {
	clean := strings.Map(func(r rune) rune {
		if r < unicode.MaxASCII && (unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("-.", r)) {
			return r
		}
		return '-'
	}, name)
	how := "attachment"
	if contentType == "application/pdf" {
		how = "inline"
	}
	c.Header("Content-Disposition", how+`; filename="`+clean+`"`)
	c.Data(http.StatusOK, contentType, data)
}

// batchRecord is the record of a batch to print.
func (p *Pages) batchRecord(c *gin.Context) error {
	ctx := c.Request.Context()
	id, err := strconv.ParseInt(c.Param("id"), 10, 64)
	if err != nil {
		return &larder.NotFoundError{What: "batch", ID: c.Param("id")}
	}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	file, err := p.DB.BatchFile(ctx, id)
	if err != nil {
		return err
	}
	r := labels.RecordOf(file, k)
	r.Date = p.now(k)
	if r.Page, err = paperOf(c, k); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := labels.WriteRecord(&b, r); err != nil {
		return err
	}
	attach(c, "record-batch-"+c.Param("id")+".pdf", "application/pdf", b.Bytes())
	return nil
}

// giftCard is a bottle's card to fold.
func (p *Pages) giftCard(c *gin.Context) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	l, bottle, err := p.bottleOf(c)
	if err != nil {
		return err
	}
	now := p.now(k)
	card := labels.Card{Date: now, To: strings.TrimSpace(c.Query("to")), Message: strings.TrimSpace(c.Query("message"))}
	card.Filled = labels.Filled{Bottle: bottle, Lot: l.Lot, Bottles: len(l.Bottles), Kitchen: k, Address: p.Address, Now: now}
	if card.Trace, err = p.DB.TraceUpTo(ctx, larder.Subject{Kind: larder.SubjectLot, ID: l.Lot.ID}, 0); err != nil {
		return err
	}
	if card.Findings, err = p.DB.VerdictOfLot(ctx, l.Lot, now); err != nil {
		return err
	}
	if card.Page, err = paperOf(c, k); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := labels.WriteCard(&b, card); err != nil {
		return err
	}
	attach(c, "card-"+l.Lot.ID+"-"+strconv.Itoa(bottle.Number)+".pdf", "application/pdf", b.Bytes())
	return nil
}
