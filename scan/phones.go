package scan

import (
	"fmt"
	"html/template"
	"net/http"
	"strconv"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/labels"
)

// phonesView lists who may write, shows a code for another phone, and holds the
// rules.
type phonesView struct {
	Said   string
	Key    string // of the forms that do the same however often they are sent
	Phones []phoneLine
	Shown  *shownCode
	Rules  form
}

type phoneLine struct {
	ID               int64
	Name, What, Seen string
	This             bool
}

// shownCode is a code to type, and as a picture to point a camera at.
type shownCode struct {
	Code, Address, Until string
	Picture              template.HTML
}

func (p *Pages) registerPhones(e *gin.Engine) {
	e.GET("/phones", p.page(func(c *gin.Context) error { return p.showPhones(c, http.StatusOK, nil, nil) }))
	e.POST("/phones/code", p.page(p.showCode))
	e.POST("/phones/remove", p.page(p.removePhone))
	e.POST("/phones/rules", p.page(p.setRules))
}

func (p *Pages) showPhones(c *gin.Context, status int, shown *shownCode, back *sent) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	all, err := p.DB.Phones(ctx)
	if err != nil {
		return err
	}
	rules, err := p.DB.Access(ctx)
	if err != nil {
		return err
	}
	v := phonesView{Key: newKey(), Shown: shown, Said: phonesSaid(c.Query("said"))}
	this, now := visitorOf(c).Phone, p.now(k)
	for _, one := range all {
		l := phoneLine{ID: one.ID, Name: one.Name, What: "phone", This: this != nil && this.ID == one.ID}
		if one.Program {
			l.What = "program"
		}
		l.Seen = "paired " + dayOf(larder.ExactAt(one.PairedAt), now) + ", last here " + dayOf(larder.ExactAt(one.SeenAt), now)
		v.Phones = append(v.Phones, l)
	}
	v.Rules = rulesForm(rules, back, k)
	return render(c, status, "phones", p.frame(k, "Phones"), v)
}

func phonesSaid(what string) string {
	switch what {
	case "removed":
		return "Removed: it may not write any more. What it wrote stays."
	case "rules":
		return "Saved."
	}
	return ""
}

func rulesForm(a larder.Access, back *sent, k larder.Kitchen) form {
	b, key := newBuilder("rules", nil, nil, k.Units()), ""
	if back != nil {
		b, key = newBuilder("rules", back.typed, back.problems, k.Units()), back.key
	}
	idle := b.number("idle_days", "Ask for it again when a phone wrote nothing for", "days", "")
	if idle.Mode = "numeric"; back == nil && a.IdleDays > 0 {
		idle.Value = strconv.Itoa(a.IdleDays)
	}
	idle.Placeholder = strconv.Itoa(larder.DefaultIdleDays)
	label, hint := "A passphrase, asked when a phone is paired", "none is set"
	if a.Passphrase {
		label, hint = "Another passphrase", "one is set; left empty, it stays"
	}
	pass := b.text("passphrase", label, hint, 128)
	pass.Value = ""
	fields := []field{
		b.choice("writers", "Who may write", string(a.Writers), option{Value: string(larder.WritersPaired), Text: "paired phones"}, option{Value: string(larder.WritersEveryone), Text: "everyone in this network"}),
		b.choice("look", "What others may look at", string(a.Look), option{Value: string(larder.LookBottles), Text: "bottles in hand"}, option{Value: string(larder.LookJars), Text: "also jars they scan"}, option{Value: string(larder.LookAll), Text: "all"}),
		pass,
	}
	if a.Passphrase {
		fields = append(fields, b.check("forget", "Ask for no passphrase any more"))
	}
	return b.finish(form{Key: key, Action: "/phones/rules", Submit: "Save these rules", Fields: append(fields, idle)})
}

// showCode shows a code that pairs another phone. It stands on this page alone.
func (p *Pages) showCode(c *gin.Context) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	by := "the demo"
	if phone := visitorOf(c).Phone; phone != nil {
		by = fmt.Sprintf("phone %d", phone.ID)
	}
	made, err := p.DB.IssueCode(ctx, by, larder.PairingCodeLife)
	if err != nil {
		return err
	}
	shown, err := p.shown(made, k)
	if err != nil {
		return err
	}
	return p.showPhones(c, http.StatusOK, shown, nil)
}

func (p *Pages) shown(made store.PairingCode, k larder.Kitchen) (*shownCode, error) {
	picture, err := labels.CodeSVG(larder.PairLink(p.Address, made.Code), "Code that opens the page to pair a phone")
	if err != nil {
		return nil, err
	}
	return &shownCode{Code: larder.SpacedCode(made.Code), Address: "http://" + p.Address, Until: made.Until.In(k.Location()).Format("15:04"),
		Picture: template.HTML(picture)}, nil // made of numbers and of the words above
}

func (p *Pages) removePhone(c *gin.Context) error {
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	id, err := strconv.ParseInt(r.text("id"), 10, 64)
	if err != nil {
		return larder.Refuse("phone", "Which phone is to be removed did not arrive. Open the page of phones afresh.")
	}
	if err := p.DB.RemovePhone(c.Request.Context(), id); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/phones?said=removed")
	return nil
}

func (p *Pages) setRules(c *gin.Context) error {
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	if err := p.saveRules(c, r); err != nil {
		problems, status, key, mine := refused(err, r.typed)
		if !mine {
			return err
		}
		return p.showPhones(c, status, nil, &sent{typed: r.typed, problems: problems, key: key})
	}
	c.Redirect(http.StatusSeeOther, "/phones?said=rules")
	return nil
}

func (p *Pages) saveRules(c *gin.Context, r *reader) error {
	ctx := c.Request.Context()
	rules := larder.Access{Writers: larder.Writers(r.text("writers")), Look: larder.Look(r.text("look"))}
	if days := r.number("idle_days"); days != nil {
		if rules.IdleDays = int(*days); float64(rules.IdleDays) != *days || rules.IdleDays == 0 {
			r.problems.Add("idle_days", "A number of days is whole, and at least 1.")
		}
	}
	passphrase, forget := r.typed.Get("passphrase"), r.text("forget") != ""
	if passphrase != "" {
		r.problems.AddError("passphrase", larder.CheckPassphrase(passphrase))
		if forget {
			r.problems.Add("passphrase", "Either type another passphrase, or ask for none any more.")
		}
	}
	if err := r.withRules(rules.Check()); err != nil {
		return err
	}
	if err := p.DB.SetAccess(ctx, rules); err != nil {
		return err
	}
	if passphrase != "" || forget {
		return p.DB.SetPassphrase(ctx, passphrase)
	}
	return nil
}
