package scan

import (
	"cmp"
	"context"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/verdict"
	"cruet/labels"
)

// Reach is how phones find this station, where it is served to some.
type Reach struct {
	Port  string                          // that it listens on
	Opens func(host string) bool          // whether it answers under that host
	Named func() (name, trouble string)   // what it announces in the network, or why it does not
	Fixed bool                            // the address was named when it was started
	Moved func(ctx context.Context) error // takes the settings of the address up
}

// setupView is the page of settings: parts that open, each with what stands now.
type setupView struct {
	Paired bool // this phone was the first, just now
	Saved  string
	Parts  []setupPart
	Labels labelCheck
	Backup backupCheck
}

type setupPart struct {
	Now  string
	Form form
}

// labelCheck says whether the labels that hang on jars still open here.
type labelCheck struct {
	Count  int
	Groups []labelGroup
	Dead   int
	Again  string // prints the dead ones again
	Choose string // lets choose their paper first
}

type labelGroup struct {
	Address, Says, Count string
	Dead                 bool
	Tags                 string
}

func (p *Pages) registerSetup(e *gin.Engine) {
	e.GET("/setup", p.page(func(c *gin.Context) error { return p.showSetup(c, http.StatusOK, nil) }))
	e.POST("/setup/:part", p.page(p.setUp))
}

// setupForm lays out one part of the settings, and reads it back.
type setupForm struct {
	id   string
	form func(*Pages, *builder, larder.Kitchen) setupPart
	read func(*Pages, *reader, *larder.Kitchen)
}

// setupForms are the parts in their order.
var setupForms = []setupForm{
	{"kitchen", (*Pages).kitchenPart, (*Pages).readKitchenPart},
	{"ways", (*Pages).waysPart, (*Pages).readWaysPart},
	{"bench", (*Pages).benchPart, (*Pages).readBenchPart},
	{"shelf", (*Pages).shelfPart, (*Pages).readShelfPart},
	{"papers", (*Pages).papersPart, (*Pages).readPapersPart},
	{"address", (*Pages).addressPart, (*Pages).readAddressPart},
}

func (p *Pages) showSetup(c *gin.Context, status int, back *sent) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	v := setupView{Paired: c.Query("paired") != ""}
	for _, s := range setupForms {
		b, key := newBuilder(s.id, nil, nil, k.Units()), ""
		if back != nil && back.form == s.id {
			b, key = newBuilder(s.id, back.typed, back.problems, k.Units()), back.key
		}
		part := s.form(p, b, k)
		if s.id == "bench" {
			if part.Now, err = p.benchNow(ctx, k); err != nil {
				return err
			}
		}
		part.Form.Action, part.Form.Key, part.Form.Submit = "/setup/"+s.id, key, cmp.Or(part.Form.Submit, "Save")
		part.Form.Open = c.Query("open") == s.id || v.Paired && s.id == "kitchen"
		part.Form = b.finish(part.Form)
		if c.Query("saved") == s.id {
			v.Saved = part.Form.Title + ": saved."
		}
		v.Parts = append(v.Parts, part)
	}
	if v.Labels, err = p.checkLabels(ctx); err != nil {
		return err
	}
	if v.Backup, err = p.checkBackups(ctx); err != nil {
		return err
	}
	return render(c, status, "setup", p.frame(k, "Set up"), v)
}

// setUp saves one part. It sets what stands in the form, so that sending it twice
// does the same as once.
func (p *Pages) setUp(c *gin.Context) error {
	ctx := c.Request.Context()
	_, r, err := p.form(c)
	if err != nil {
		return err
	}
	id := c.Param("part")
	i := slices.IndexFunc(setupForms, func(s setupForm) bool { return s.id == id })
	if i < 0 {
		return p.noRoute(c)
	}
	err = p.DB.ChangeKitchen(ctx, func(k *larder.Kitchen) error {
		setupForms[i].read(p, r, k)
		return r.withRules(k.Check())
	})
	if err == nil && id == "address" && p.Reach.Moved != nil {
		err = p.Reach.Moved(ctx)
	}
	if err != nil {
		problems, status, key, mine := refused(err, r.typed)
		if !mine {
			return err
		}
		return p.showSetup(c, status, &sent{form: id, typed: r.typed, problems: problems, key: key})
	}
	c.Redirect(http.StatusSeeOther, "/setup"+query("saved", id))
	return nil
}

// set fills a fresh form's field.
func (b *builder) set(f field, value string) field {
	if b.typed == nil {
		f.Value = value
	}
	return f
}

func (p *Pages) kitchenPart(b *builder, k larder.Kitchen) setupPart {
	return setupPart{k.Name, form{Title: "The kitchen", Fields: []field{
		b.set(b.text("name", "Name of the kitchen", "", larder.MaxNameRunes), k.Name),
		b.set(b.text("maker_line", "Maker's line on bottles", "who made it, whom to ask", larder.MaxNameRunes), k.MakerLine),
		b.set(b.area("maker_address", "Postal address on bottles", "where the rules ask for one"), k.MakerAddress),
	}}}
}

func (p *Pages) readKitchenPart(r *reader, k *larder.Kitchen) {
	k.Name, k.MakerLine, k.MakerAddress = r.text("name"), r.text("maker_line"), strings.Join(strings.Fields(r.text("maker_address")), " ")
}

func (p *Pages) waysPart(b *builder, k larder.Kitchen) setupPart {
	var markets []option
	name := ""
	for _, m := range verdict.Markets() {
		markets = append(markets, option{Value: string(m), Text: m.Name()})
		if string(m) == k.Market {
			name, _, _ = strings.Cut(m.Name(), " (")
		}
	}
	units, shown := "metric", "metric"
	if k.USUnits {
		units, shown = "us", "US units"
	}
	zone := b.set(b.text("time_zone", "Time zone", "like Europe/Dublin; empty: this machine's, "+k.Location().String(), 60), k.TimeZone)
	return setupPart{strings.Join(compact(name, shown, k.TimeZone), ", "), form{Title: "Rules, units, time", Fields: []field{
		b.choice("market", "Whose rules the verdicts follow", k.Market, markets...),
		b.choice("units", "Units shown", units, option{Value: "metric", Text: "metric"}, option{Value: "us", Text: "US"}), zone}}}
}

func compact(texts ...string) []string {
	return slices.DeleteFunc(texts, func(s string) bool { return s == "" })
}

func (p *Pages) readWaysPart(r *reader, k *larder.Kitchen) {
	market, err := verdict.ParseMarket(r.text("market"))
	r.problems.AddError("market", err)
	k.Market, k.TimeZone = string(market), r.text("time_zone")
	if k.USUnits = r.text("units") == "us"; !k.USUnits && r.text("units") != "metric" {
		r.problems.Add("units", "Choose metric or US units.")
	}
}

func (p *Pages) benchPart(b *builder, k larder.Kitchen) setupPart {
	days := b.set(b.number("base_max_age_days", "A check of the base holds for", "days", ""), wholeOrNone(k.BaseMaxAgeDays))
	hours := b.set(b.number("calibration_max_age_hours", "A calibration of the meter holds for", "hours", ""), wholeOrNone(k.CalibrationMaxAgeHours))
	days.Mode, hours.Mode = "numeric", "numeric"
	days.Placeholder, hours.Placeholder = strconv.Itoa(chem.DefaultBaseMaxAgeDays), strconv.Itoa(int(chem.DefaultCalibrationMaxAge.Hours()))
	base := ""
	if k.BaseMolPerL > 0 {
		base = short(k.BaseMolPerL)
	}
	return setupPart{"", form{Title: "Bench", Fields: []field{
		b.set(b.area("instruments", "Instruments", "one a line: pH meter, burette, hydrometer"), strings.Join(k.Instruments, "\n")),
		b.set(b.text("base_name", "The base you titrate with", "", larder.MaxNameRunes), k.BaseName),
		b.set(b.number("base_mol_per_l", "Its strength", "mol/L", "titrations begin with it"), base),
		days, hours}, Caution: "Sodium hydroxide burns skin and eyes: wear goggles and gloves."}}
}

// benchNow says what the bench has: instruments, and what was checked on it.
func (p *Pages) benchNow(ctx context.Context, k larder.Kitchen) (string, error) {
	var has []string
	if n := len(k.Instruments); n > 0 {
		has = append(has, count(n, "instrument"))
	}
	meter, err := p.DB.InForce(ctx, larder.KindCalibration, "", p.now(k))
	if err != nil {
		return "", err
	}
	base, err := p.DB.InForce(ctx, larder.KindBase, "", p.now(k))
	if err != nil {
		return "", err
	}
	if meter != nil {
		has = append(has, "meter calibrated")
	}
	switch {
	case base != nil:
		has = append(has, "base checked")
	case k.BaseMolPerL > 0:
		has = append(has, "base "+short(k.BaseMolPerL)+" mol/L")
	case k.BaseName != "":
		has = append(has, "base named")
	}
	if len(has) == 0 {
		return "none yet", nil
	}
	return strings.Join(has, ", "), nil
}

func wholeOrNone(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func (p *Pages) readBenchPart(r *reader, k *larder.Kitchen) {
	k.Instruments, k.BaseName = larder.Lines(r.text("instruments")), r.text("base_name")
	k.BaseMolPerL = 0
	if v := r.number("base_mol_per_l"); v != nil {
		if k.BaseMolPerL = chem.MolPerLitre(*v); *v == 0 {
			r.problems.AddError("", k.BaseMolPerL.Check())
		}
	}
	k.BaseMaxAgeDays, k.CalibrationMaxAgeHours = r.wholeOrZero("base_max_age_days"), r.wholeOrZero("calibration_max_age_hours")
}

// wholeOrZero is 0 for an empty box.
func (r *reader) wholeOrZero(name string) int {
	if r.text(name) == "" {
		return 0
	}
	return r.whole(name)
}

func (p *Pages) shelfPart(b *builder, k larder.Kitchen) setupPart {
	return setupPart{countOrNone(len(k.Places), "place"), form{Title: "Places", Fields: []field{
		b.set(b.area("places", "Where jars stand", "one a line; the forms suggest them"), strings.Join(k.Places, "\n"))}}}
}

func (p *Pages) readShelfPart(r *reader, k *larder.Kitchen) {
	k.Places = larder.Lines(r.text("places"))
}

func (p *Pages) papersPart(b *builder, k larder.Kitchen) setupPart {
	now := "all offered"
	if len(k.Stocks) > 0 {
		now = count(len(k.Stocks), "paper")
	}
	var fields []field
	all := labels.StocksIn(p.DB.Dir())
	for i, s := range all.Stocks {
		if i < all.Own {
			continue // a paper of the maker's own is always offered
		}
		f := b.check("stock_"+s.ID, s.Name)
		f.Checked = f.Checked || b.typed == nil && slices.Contains(k.Stocks, s.ID)
		fields = append(fields, f)
	}
	return setupPart{now, form{Title: "Label papers", Fields: fields,
		Intro: "Tick those that you use; without a tick all are offered. Papers of your own always are."}}
}

func (p *Pages) readPapersPart(r *reader, k *larder.Kitchen) {
	k.Stocks = nil
	for _, s := range labels.StocksIn(p.DB.Dir()).Stocks {
		if r.text("stock_"+s.ID) != "" {
			k.Stocks = append(k.Stocks, s.ID)
		}
	}
}

// How labels may name this station.
const (
	byNumber = "number"
	byName   = "name"
	byOther  = "other"
)

func (p *Pages) addressPart(b *builder, k larder.Kitchen) setupPart {
	chosen, other := byNumber, ""
	switch {
	case k.NamedAddress == "":
	case strings.EqualFold(k.NamedAddress, net.JoinHostPort(k.LocalHost(), p.port())):
		chosen = byName
	default:
		chosen, other = byOther, k.NamedAddress
	}
	intro := "A number opens on every phone, until the router gives this machine another; many routers can keep it. A name lasts longer: it follows the machine. Old phones may not know names that end in .local: try it before you print. "
	if p.Reach.Named != nil {
		if name, trouble := p.Reach.Named(); trouble != "" {
			intro += "Now: " + trouble + " "
		} else if name != "" {
			intro += "Now the network is told " + name + ". "
		}
	}
	if p.Reach.Fixed {
		intro += "The station was started with --address, which goes before what is set here."
	}
	return setupPart{p.Address, form{Title: "Address", Intro: strings.TrimSpace(intro), Fields: []field{
		b.choice("named", "Labels name this station by", chosen, option{Value: byNumber, Text: "its number"}, option{Value: byName, Text: k.LocalHost()}, option{Value: byOther, Text: "another address"}),
		b.set(b.text("named_address", "Another address", "host and port, like larder.example.org:8080", 200), other),
		b.set(b.text("local_name", "Name in the network", "“.local” is added", 63), cmp.Or(k.LocalName, larder.DefaultLocalName)),
		b.set(b.text("public_address", "Public address of bottles' pages", "where a web host carries them, like https://example.org/vinegar", 60), k.PublicAddress),
		b.set(b.area("hosts", "Further names of this station", "one a line; under any other name it does not answer"), strings.Join(k.Hosts, "\n")),
	}}}
}

func (p *Pages) readAddressPart(r *reader, k *larder.Kitchen) {
	k.LocalName, k.PublicAddress, k.Hosts = r.text("local_name"), r.text("public_address"), larder.Lines(r.text("hosts"))
	if strings.EqualFold(k.LocalName, larder.DefaultLocalName) {
		k.LocalName = ""
	}
	switch r.text("named") {
	case byNumber:
		k.NamedAddress = ""
	case byName:
		k.NamedAddress = net.JoinHostPort(k.LocalHost(), p.port())
	case byOther:
		if k.NamedAddress = r.text("named_address"); k.NamedAddress == "" {
			r.problems.Add("named_address", "Write the other address, with its port, or choose the number or the name.")
		}
	default:
		r.problems.Add("named", "Choose how labels name this station.")
	}
}

// port is where the station listens.
func (p *Pages) port() string {
	if p.Reach.Port != "" {
		return p.Reach.Port
	}
	_, port, err := net.SplitHostPort(p.Address)
	if err != nil {
		return "80"
	}
	return port
}

// opensHere tells whether a label that names address still opens here.
func (p *Pages) opensHere(address string) bool {
	if strings.EqualFold(address, p.Address) {
		return true
	}
	host, port, err := net.SplitHostPort(address)
	return err == nil && p.Reach.Opens != nil && port == p.port() && p.Reach.Opens(host)
}

func (p *Pages) checkLabels(ctx context.Context) (labelCheck, error) {
	worn, err := p.DB.WornPrints(ctx)
	if err != nil {
		return labelCheck{}, err
	}
	v := labelCheck{Count: len(worn)}
	dead := url.Values{}
	for len(worn) > 0 {
		n := 1
		for n < len(worn) && strings.EqualFold(worn[n].Address, worn[0].Address) {
			n++
		}
		g := labelGroup{Address: worn[0].Address, Count: count(n, "label"), Says: "open here"}
		if !p.opensHere(g.Address) {
			g.Dead, g.Says = true, "lead nowhere"
			v.Dead += n
			var tags []string
			for _, w := range worn[:n] {
				dead.Add("tag", string(w.Tag))
				tags = append(tags, string(w.Tag))
			}
			g.Tags = someOf(tags)
		}
		if n == 1 {
			g.Says = strings.Replace(strings.Replace(g.Says, "open", "opens", 1), "lead", "leads", 1)
		}
		v.Groups, worn = append(v.Groups, g), worn[n:]
	}
	if v.Dead > 0 {
		v.Again, v.Choose = "/labels/jars.pdf?"+dead.Encode(), "/labels?"+dead.Encode()
	}
	return v, nil
}

// someOf lists the first of many.
func someOf(tags []string) string {
	const shown = 12
	if len(tags) <= shown {
		return strings.Join(tags, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(tags[:shown], ", "), len(tags)-shown)
}

func countOrNone(n int, one string) string {
	if n == 0 {
		return "none yet"
	}
	return count(n, one)
}
