package verdict

import (
	"fmt"
	"slices"
	"strings"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// Answer is what the evidence supports.
type Answer string

// The answers, the weightier last: the weightiest reason decides.
const (
	Supported Answer = "supported"
	NotProven Answer = "not proven"
	No        Answer = "no"
)

func (a Answer) weight() int { return slices.Index([]Answer{Supported, NotProven, No}, a) }

// Reason is one thing that speaks for or against a use, and the rules behind it.
type Reason struct {
	Answer Answer `json:"answer"`
	Text   string `json:"text"`
	Rules  []Rule `json:"rules"`
}

// Finding is the verdict on one use. Answer is that of the weightiest reason.
type Finding struct {
	Use           Use       `json:"use"`
	Market        Market    `json:"market"`
	Answer        Answer    `json:"answer"`
	Reasons       []Reason  `json:"reasons"` // the weightiest first
	Evidence      []string  `json:"evidence"`
	Disagreements []string  `json:"disagreements,omitempty"` // between sources, and what was made of it
	Cautions      []Caution `json:"cautions"`
}

// Defer closes every verdict.
const Defer = "This is what the log and published rules show, not a permission. Local rules and licensed practice come first."

// Judge gives the verdict on every use, in the order of Uses. An unknown market
// is held to the strictest limits.
func Judge(e Evidence, market Market) []Finding {
	var findings []Finding
	for _, use := range Uses() {
		findings = append(findings, judgeUse(e, market, use))
	}
	return findings
}

// Of is the verdict on one use among findings.
func Of(use Use, findings []Finding) Finding {
	i := slices.IndexFunc(findings, func(f Finding) bool { return f.Use == use })
	if i < 0 {
		return Finding{Use: use, Answer: NotProven}
	}
	return findings[i]
}

// Against are the reasons that keep a use from being supported, the weightiest
// first, in sentences; none when it is.
func (f Finding) Against() []string {
	var out []string
	for _, r := range f.Reasons {
		if r.Answer != Supported {
			out = append(out, r.Text)
		}
	}
	if len(out) == 0 && f.Answer != Supported {
		out = []string{"Nothing on record speaks for it."}
	}
	return out
}

func judgeUse(e Evidence, market Market, use Use) Finding {
	if !slices.Contains(Markets(), market) {
		market = Elsewhere
	}
	j := &judgement{e: e, use: use, rules: RulesFor(market, use, e.fromWine())}
	j.f = Finding{Use: use, Market: market, Evidence: e.Lines()}
	j.mould()
	j.hold()
	j.stage()
	switch use {
	case Canning:
		j.canning()
	case Cleaning:
		j.cleaning()
	default:
		j.infused()
		j.strength()
		j.alcohol()
	}
	switch use {
	case FridgePickles:
		j.add(Supported, "Its acidity is asked for by titration; taste, pH and the recipe do not count.", "pickles-known")
	case GivingAway:
		j.custom()
	case Selling:
		j.sale()
	}
	j.f.Cautions = cautionsFor(e, market, use)
	return j.close()
}

// judgement gathers the reasons for one use.
type judgement struct {
	e     Evidence
	use   Use
	rules []Rule
	f     Finding
}

// add notes a reason under the named rules.
func (j *judgement) add(answer Answer, text string, ids ...string) {
	var by []Rule
	for _, r := range j.rules {
		if slices.Contains(ids, r.ID) {
			by = append(by, r)
		}
	}
	j.because(answer, text, by)
}

func (j *judgement) because(answer Answer, text string, by []Rule) {
	j.f.Reasons = append(j.f.Reasons, Reason{answer, text, by})
}

func (j *judgement) mould() {
	if j.e.MouldAt == nil {
		return
	}
	text := "Mould was seen. Discard all of it, the mother too, and give none of it to another jar; do not scrape it off and go on."
	if j.use == Cleaning {
		text += " Do not keep it for cleaning either."
	}
	j.add(No, text, "mould")
}

func (j *judgement) hold() {
	if j.e.Hold == "" {
		return
	}
	if text := "It is on hold: " + strings.TrimRight(j.e.Hold, ". ") + "."; j.use.Food() {
		j.add(No, text+" Settle that and lift the hold first.", "hold")
	} else {
		j.add(NotProven, text+" Until that is settled, the reason may matter for cleaning too.", "hold")
	}
}

func (j *judgement) stage() {
	switch s := j.e.Stage; s {
	case larder.Finished:
	case larder.Maturing:
		if j.use == GivingAway || j.use == Selling {
			j.add(NotProven, "It is still maturing. Move it to finished when it is, then bottle it.", "finished")
		}
	case larder.Acetic:
		if slices.Contains([]Use{GivingAway, Selling, FridgePickles}, j.use) {
			j.add(NotProven, "It is still working. Closed up now it may go on, build pressure and change its strength; wait until it is finished.", "finished")
		}
	case larder.Must, larder.Alcoholic:
		j.add(No, "It is "+string(s)+", not vinegar yet.", "not-vinegar-yet")
	case larder.Discarded:
		j.add(No, "It was discarded.", "not-vinegar-yet")
	case larder.Empty:
		j.add(No, "The jar is empty; look at the lot that was bottled from it.", "not-vinegar-yet")
	default:
		j.add(NotProven, "Its stage is not known.", "not-vinegar-yet")
	}
}

func (j *judgement) canning() {
	text := "Do not preserve with home-made vinegar, whatever it measures. Use bought vinegar of at least 5 % and a tested recipe."
	if j.e.Basis == larder.ByTitration && j.e.AcidityGPer100ML >= 5 {
		text += " That this one was titrated at 5 % or more does not change it."
	}
	j.add(No, text, "canning-never")
}

func (j *judgement) cleaning() {
	switch {
	case j.e.Stage == larder.Finished || j.e.Stage == larder.Maturing:
		j.add(Supported, "No strength is promised and none is asked for.", "cleaning")
	case j.e.Stage == larder.Acetic:
		if answer, why := j.e.usable(); answer != Supported {
			j.add(NotProven, "It is still working. "+why, "cleaning")
			return
		}
		j.add(Supported, "It is still working, but sour by titration. No strength is promised and none is asked for.", "cleaning")
	}
}

func (j *judgement) infused() {
	if j.e.Infuse != "" {
		j.add(NotProven, "It is flavoured ("+j.e.Infuse+"). Published advice starts flavoured vinegar from a bought one.", "infused-base")
	}
}

func (j *judgement) strength() {
	least, by := LeastAcidity(j.f.Market, j.use, j.e.fromWine())
	answer, why := j.e.atLeast(least)
	if answer == No && j.use == Table && j.e.AcidityGPer100ML < chem.WeakestVinegarGPer100ML {
		why += " Treat it as a sour drink that spoils: keep it cold and use it soon, or let it go on working."
	}
	for _, r := range j.rules {
		if r.ID == "fresh-evidence" {
			by = append(by, r)
		}
	}
	j.because(answer, why, by)
}

func (j *judgement) alcohol() {
	most, by, ok := MostAlcohol(j.f.Market, j.use, j.e.fromWine())
	if !ok {
		return
	}
	abv, counts := j.e.alcohol()
	switch {
	case !counts:
		j.because(NotProven, fmt.Sprintf("The alcohol left in it was not measured since it became %s; no more than %s %% vol is permitted.", orElse(string(j.e.Stage), "what it is"), num(most)), by)
	case abv > most:
		j.because(No, fmt.Sprintf("It holds %s %% vol of alcohol; no more than %s is permitted.", num(abv), num(most)), by)
	default:
		j.because(Supported, fmt.Sprintf("It holds %s %% vol of alcohol; up to %s is permitted.", num(abv), num(most)), by)
	}
}

// custom names the rule on gifts of the market.
func (j *judgement) custom() {
	for _, r := range j.rules {
		if slices.Contains([]string{"eu-gift", "uk-gift", "us-gift"}, r.ID) {
			j.because(Supported, "An occasional gift between private people. "+r.Says, []Rule{r})
		}
	}
}

func (j *judgement) sale() {
	j.add(NotProven, "Whether you may sell it cannot be seen from here. Ask the local food authority before you do, and show it this evidence.", "sale-licence")
	for _, r := range j.rules {
		if r.ID == "us-home-wine" {
			j.because(NotProven, r.Says+" Ask whether vinegar from it may be sold.", []Rule{r})
		}
	}
}

// close settles the answer and tells where sources disagree.
func (j *judgement) close() Finding {
	f := &j.f
	slices.SortStableFunc(f.Reasons, func(a, b Reason) int { return b.Answer.weight() - a.Answer.weight() })
	f.Answer = NotProven // without a reason, nothing is shown
	if len(f.Reasons) > 0 {
		f.Answer = f.Reasons[0].Answer
	}
	least, by := LeastAcidity(f.Market, f.Use, j.e.fromWine())
	if told := disagreement(by, "at least %s g/100 mL", func(r Rule) float64 { return float64(r.MinAcidityGPer100ML) }, float64(least)); told != "" {
		f.Disagreements = append(f.Disagreements, told)
	}
	most, by, _ := MostAlcohol(f.Market, f.Use, j.e.fromWine())
	if told := disagreement(by, "at most %s %% vol of alcohol", func(r Rule) float64 { return float64(r.MaxAlcoholPercentVol) }, float64(most)); told != "" {
		f.Disagreements = append(f.Disagreements, told)
	}
	for _, reason := range f.Reasons {
		for _, r := range reason.Rules {
			if r.Differs != "" && !slices.Contains(f.Disagreements, r.Differs) {
				f.Disagreements = append(f.Disagreements, r.Differs)
			}
		}
	}
	return *f
}

// disagreement tells which limits the sources name when they are not all the
// one that is used. Our own floor is told only when it is the one.
func disagreement(by []Rule, format string, limit func(Rule) float64, used float64) string {
	var told []string
	differ := false
	for _, r := range by {
		v := limit(r)
		if r.Source.Standing == OwnRule && v != used {
			continue
		}
		differ = differ || v != used
		told = append(told, fmt.Sprintf(format, num(v))+" by "+r.Source.String())
	}
	if !differ {
		return ""
	}
	return "Not all sources name the same limit: " + strings.Join(told, "; ") + ". The strictest, " + fmt.Sprintf(format, num(used)) + ", is used."
}
