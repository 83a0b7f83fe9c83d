package scan

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/store"
)

// kinSteps is how many steps each way a jar's own page shows; all of them stand
// on the page of its lineage.
const kinSteps = 6

// kin puts a jar's next of kin on its page.
func (v *jarView) kin(page store.JarPage, w writer) {
	from, to := page.CameFrom, page.WentInto
	if n := len(from) - kinSteps; n > 0 {
		v.KinLeft, from = n, from[n:] // the newest
	}
	if n := len(to) - kinSteps; n > 0 {
		v.KinLeft, to = v.KinLeft+n, to[n:]
	}
	for _, e := range from {
		v.CameFrom = append(v.CameFrom, w.cameFrom(e))
	}
	for _, e := range to {
		v.WentInto = append(v.WentInto, w.wentInto(e))
	}
	for _, h := range page.Held {
		if h.Jar != page.Jar.Tag {
			v.HeldBehind = append(v.HeldBehind, heldLink(h))
		}
	}
}

func heldLink(h larder.Held) link {
	if h.Lot != "" {
		return link{"/lots/" + h.Lot, upperFirst(h.String())}
	}
	return link{jarURL(h.Jar), upperFirst(h.String())}
}

// treeNode is one jar, lot or bought thing in the drawing of a lineage.
type treeNode struct {
	Link   link   // no URL for what was bought
	Letter string // of a jar; empty otherwise
	What   string // "topped up: 500 mL"
	When   string
	Rest   string // stage and volume now, or what the bottle's label said
	Hold   string
	Behind bool // something that it came from is on hold
	Gone   bool // not on the shelf any more
	Again  bool
	More   link // the steps beyond that are not drawn here
	Beyond []treeNode
}

type lineageView struct {
	Name, Tag   string
	URL, Letter string
	Now         string
	Hold        string
	Held        []link // holds behind it
	CameFrom    []treeNode
	WentInto    []treeNode
	HiddenBack  int
	HiddenOn    int
	Deeper      string // draws more steps; empty: all are drawn
}

// lineage draws what a jar came from and what it went into.
func (p *Pages) lineage(c *gin.Context) error {
	g, err := p.pouring(c)
	if err != nil {
		return err
	}
	depth := larder.TreeDepth
	if c.Query("deep") != "" {
		depth = larder.MaxTreeDepth
	}
	trace, err := p.DB.Lineage(c.Request.Context(), g.jar.Tag, depth)
	if err != nil {
		return err
	}
	d := drawer{w: g.w, jars: map[larder.Tag]larder.TraceJar{}, lots: map[string]larder.TraceLot{}}
	for _, j := range trace.Jars {
		d.jars[j.Tag] = j
	}
	for _, l := range trace.Lots {
		d.lots[l.ID] = l
	}
	tree := trace.Tree(depth)
	v := lineageView{Name: g.batch.Name, Letter: g.jar.Letter, Tag: string(g.jar.Tag), URL: jarURL(g.jar.Tag),
		Now: g.now(), Hold: g.jar.State.Hold, HiddenBack: tree.HiddenBack, HiddenOn: tree.HiddenForward,
		CameFrom: d.nodes(tree.CameFrom, true, false), WentInto: d.nodes(tree.WentInto, false, len(trace.Held) > 0)}
	for _, h := range trace.Held {
		if h.Jar != g.jar.Tag {
			v.Held = append(v.Held, heldLink(h))
		}
	}
	if depth < larder.MaxTreeDepth && d.cut {
		v.Deeper = v.URL + "/lineage?deep=1"
	}
	return render(c, http.StatusOK, "lineage", p.frame(g.w.k, "Lineage · "+jarName(g.jar, g.batch)), v)
}

// now says what the jar is and has.
func (g pouring) now() string {
	text := string(g.jar.State.Stage)
	if v := g.jar.State.VolumeML; v != nil && g.jar.State.Stage.Live() {
		text += ", holds " + g.w.volume(*v)
	}
	return text
}

// drawer turns the branches of a lineage into nodes.
type drawer struct {
	w    writer
	jars map[larder.Tag]larder.TraceJar
	lots map[string]larder.TraceLot
	cut  bool // something is not drawn
}

// nodes are in the order of time: what is above flows down. behind tells that
// something above is on hold.
func (d *drawer) nodes(branches []*larder.Branch, back, behind bool) []treeNode {
	out := make([]treeNode, len(branches))
	for i, b := range branches {
		out[i] = d.node(b, back, behind)
	}
	if back {
		slices.Reverse(out)
	}
	return out
}

func (d *drawer) node(b *larder.Branch, back, behind bool) treeNode {
	n := treeNode{What: string(b.What) + ": " + d.w.moved(b.VolumeML, b.Mother), When: dayOf(b.When, d.w.now), Again: b.Again}
	if b.VolumeML == nil && !b.Mother && b.MassG != nil {
		n.What = string(b.What) + ": " + d.w.mass(*b.MassG)
	} else if b.VolumeML == nil && !b.Mother {
		n.What = string(b.What)
	}
	tag := b.ToJar
	if back {
		tag = b.FromJar
	}
	switch {
	case tag != "":
		d.jar(&n, d.jars[tag])
		if b.Hidden > 0 {
			d.cut = true
			n.More = link{jarURL(tag) + "/lineage", count(b.Hidden, "more step")}
		}
	case back:
		n.Link.Text, n.Rest = b.FromName, bought(b.Step)
	default:
		d.lot(&n, d.lots[b.ToLot])
	}
	n.Beyond = d.nodes(b.Beyond, back, behind || n.Hold != "")
	n.Behind = behind
	if back {
		n.Behind = slices.ContainsFunc(n.Beyond, func(b treeNode) bool { return b.Hold != "" || b.Behind })
	}
	return n
}

func (d *drawer) jar(n *treeNode, j larder.TraceJar) {
	n.Link, n.Letter, n.Hold = link{jarURL(j.Tag), j.Batch + " " + string(j.Tag)}, j.Letter, j.Hold
	n.Rest, n.Gone = string(j.Stage), !j.Stage.Live()
	if j.VolumeML != nil && j.Stage.Live() {
		n.Rest += ", holds " + d.w.volume(*j.VolumeML)
	}
}

func (d *drawer) lot(n *treeNode, l larder.TraceLot) {
	n.Link, n.Hold = link{"/lots/" + l.ID, "Lot " + l.ID + ", " + l.Name}, l.Hold
	n.Rest = count(l.Bottles, "bottle")
	if l.Given > 0 {
		n.Rest += fmt.Sprintf(", %d given", l.Given)
	}
}

// bought says what stood on a bought bottle or pack.
func bought(s larder.Step) string {
	var parts []string
	if s.StatedAcidity != nil {
		parts = append(parts, "stated "+short(*s.StatedAcidity)+" %")
	}
	if s.Live {
		parts = append(parts, "sold as live")
	}
	if s.Supplier != "" {
		parts = append(parts, s.Supplier)
	}
	if s.SupplierLot != "" {
		parts = append(parts, "lot "+s.SupplierLot)
	}
	return strings.Join(parts, ", ")
}

// ofAct is what the act of an entry wrote into the jar of the page: what came
// in, when something did.
func ofAct(e larder.Entry, page store.JarPage) (larder.Entry, error) {
	found := larder.Entry{}
	for _, one := range page.Entries {
		if t, ok := one.Body.(larder.Transfer); ok && one.Act == e.Act && (found.Body == nil || t.Feed != nil) {
			found = one
		}
	}
	if found.Body == nil {
		return e, &larder.NotFoundError{What: "entry", ID: e.ID.String()}
	}
	return found, nil
}

// otherOf is the jar that an entry took from.
func otherOf(e larder.Entry) larder.Tag {
	tag, _, _ := larder.Giver(e.Jar, e.Body)
	return tag
}

// pouredNotice adds to a notice what an act that filled jars did, and offers
// their labels.
func (p *Pages) pouredNotice(ctx context.Context, n *notice, e larder.Entry, w writer) error {
	t, ok := e.Body.(larder.Transfer)
	if !ok || e.Struck() || (t.What != larder.Gave && !t.What.Fills()) {
		return nil
	}
	f, err := p.DB.FilledBy(ctx, e.Act)
	var missing *larder.NotFoundError
	if errors.As(err, &missing) {
		return nil
	}
	if err != nil {
		return err
	}
	var tags []string
	for _, j := range f.Jars {
		if !slices.ContainsFunc(f.From, func(from larder.Jar) bool { return from.Tag == j.Tag }) && j.State.StartedAt.At.Equal(e.When.At) {
			tags = append(tags, "tag", string(j.Tag))
		}
		if j.Tag != e.Jar {
			n.Links = append(n.Links, link{jarURL(j.Tag), jarName(j, f.Batch) + ", " + string(j.Tag) + ", holds " + w.held(j)})
		}
	}
	for _, j := range f.From {
		if j.Tag != e.Jar {
			n.Links = append(n.Links, link{jarURL(j.Tag), "From " + string(j.Tag) + ", which " + leftIn(j, w)})
		}
	}
	if t.What == larder.Gave && len(f.Jars) > 1 {
		before, _, _ := strings.Cut(n.Title, ":")
		n.Title = before + ": poured into " + count(len(f.Jars), "jar")
	}
	if len(tags) > 0 {
		n.Label = link{"/labels" + query(tags...), "Print the next label"}
		if len(tags) > 2 {
			n.Label.Text = "Print their labels"
		}
	}
	return nil
}

func (w writer) held(j larder.Jar) string {
	if j.State.VolumeML == nil {
		return "an unknown volume"
	}
	return w.volume(*j.State.VolumeML)
}

func leftIn(j larder.Jar, w writer) string {
	if !j.State.Stage.Live() {
		return "is " + string(j.State.Stage) + " now"
	}
	return "still holds " + w.held(j)
}
