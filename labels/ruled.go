package labels

import (
	"math"
	"slices"
	"strings"
)

// RuledLabel is a bottle's label laid out as a rule set asks: the net quantity
// in letters of a given height and place, no small print under a given height,
// all required text together.
type RuledLabel struct {
	BottleLabel
	Food     string // the name that the rules let it have; empty when Name is that
	Contains string // allergens and sulphites: "Contains BARLEY (gluten)."
	State    string // "Unpasteurised, contains live mother."
	Keep     string // how to keep it
	Home     string // "Homemade, not inspected."

	NetMM      float64 // least height of the net quantity's letters
	NetOnLower bool    // measured on the lower-case o, else on figures
	NetLow     bool    // stands in the lowest 30 % of the label
	SmallXMM   float64 // least x-height of all other text
}

// infoWantPt is the small print that is readily read; more room goes to the head.
const (
	infoWantPt   = 8.0
	ruledNameMax = 26.0
	ruledGapMM   = 1.6
)

// ruled is a label being laid out.
type ruled struct {
	RuledLabel
	b     *board
	set   resolved
	least float64 // scale of the small print at which it is as high as it must be
}

func (l RuledLabel) draw(b *board, c Code) error {
	if b.disc {
		b.frame = inscribed(b.frame)
	}
	r := ruled{RuledLabel: l, b: b}
	var err error
	if r.set, err = resolveParas(b, join(r.headParas(), r.info(), []para{{field: "net volume", text: l.netText(), bold: true}}), l.Tag); err != nil {
		return err
	}
	for _, t := range r.set {
		r.least = max(r.least, l.SmallXMM/t.face.xEm*ptPerMM/bottleBasePt, bottleMinPt/bottleBasePt)
	}
	dots, err := chooseDots(c, b.dpi, codeWants{hardMM: min(b.h, b.w), softMM: min(0.36*b.w, 0.6*b.h), diameterMM: l.DiameterMM}, b.stock.ID)
	if err != nil {
		return err
	}
	var best ruledPlan
	for n := dots; n == dots || float64(n)*DotMM(b.dpi) >= GoodModuleMM && best.scale < infoWantPt/bottleBasePt; n-- {
		for _, p := range append(r.wide(boxMM(c, n, b.dpi)), r.tall(boxMM(c, n, b.dpi))...) {
			p.dots = n
			if p.worth() > best.worth()+1e-9 {
				best = p
			}
		}
	}
	if best.scale == 0 {
		return b.noRoom("The name, net quantity, ingredients and cautions in the letters that the rules ask for do not fit whole")
	}
	r.place(c, best)
	return nil
}

func (l RuledLabel) headParas() []para {
	return nonEmpty([]para{
		{field: "name", text: l.Name, bold: true},
		{field: "name of the food", text: l.Food},
		{field: "acidity", text: upperFirst(l.Acidity), bold: true},
		{field: "acidity", text: upperFirst(l.AcidityNote)},
	})
}

// info is what the information panel says, together and in this order.
func (l RuledLabel) info() []para {
	list := l.content() // ingredients, cautions
	var contains []para
	if l.Contains != "" {
		contains = []para{{field: "allergens", text: l.Contains, bold: true, pt: bottleBasePt, gap: 0.25}}
	}
	at := 0
	if l.Ingredients != "" {
		at = 1
	}
	list = join(list[:at], contains, list[at:])
	rest := joinNonEmpty(" ", l.State, l.Keep, l.Home)
	list = append(list, nonEmpty([]para{{field: "keeping", text: rest, pt: bottleBasePt, gap: 0.3}})...)
	return join(list, l.foot())
}

// netText is the net quantity with the places where a line may end: between the
// two systems of units alone.
func (l RuledLabel) netText() string {
	metric, us, both := strings.Cut(l.Net, " (")
	if !both {
		return whole(l.Net)
	}
	return whole(metric) + " " + whole("("+us)
}

// ruledPlan is one way to lay the label out.
type ruledPlan struct {
	dots         int
	codeX, codeY float64
	head, net    area
	namePt       float64
	centred      bool
	info         part
	scale        float64
}

// worth prefers readable small print, then a large name.
func (p ruledPlan) worth() float64 {
	if p.scale == 0 {
		return 0
	}
	return 1 + min(p.scale*bottleBasePt, infoWantPt) + 0.08*min(p.namePt, ruledNameMax)
}

// netPt is the size at which the net quantity's letters are as high as asked.
func (r ruled) netPt() float64 {
	f := r.set[r.netText()].face
	em := f.capEm
	if r.NetOnLower {
		em = f.xEm
	}
	pt := max(r.NetMM/em*ptPerMM, r.least*bottleBasePt)
	return math.Ceil(pt/stepPt-1e-9) * stepPt
}

// netBlock sets the net quantity in a width, on two lines at most.
func (r ruled) netBlock(wMM float64) (block, float64) {
	t, pt := r.set[r.netText()], r.netPt()
	k := fit(t.face, t.text, fitting{wMM: wMM, hMM: 100, maxPt: pt, minPt: pt, lines: 2, lead: paraLead})
	if len(k.lines) == 0 || k.clipped || k.broken {
		return k, 0
	}
	over, under := k.reach()
	return k, over + blockMM(k, paraLead) + under
}

// headBlocks sets name, food and acidity below one another.
func (r ruled) headBlocks(a area, namePt float64) (blocks []block, gaps []float64, hMM float64) {
	for i, p := range r.headParas() {
		t := r.set[p.text]
		least := r.least * bottleBasePt
		pt, lines, gap := max(0.42*namePt, least, 6.5), 3, 0.75
		switch {
		case p.field == "name":
			pt, lines = namePt, 3
		case p.field == "name of the food":
			gap = 0.6
		case !p.bold:
			pt, gap = max(0.3*namePt, least), 0.45
		}
		pt = math.Ceil(pt/stepPt-1e-9) * stepPt
		k := fit(t.face, t.text, fitting{wMM: a.w, hMM: 100, maxPt: pt, minPt: pt, lines: lines, lead: paraLead})
		if len(k.lines) == 0 || k.clipped || k.broken {
			return nil, nil, -1
		}
		over, _ := k.reach()
		g := over
		if i > 0 {
			_, under := blocks[i-1].reach()
			g = under + over + gap*mm(pt)
		}
		blocks, gaps, hMM = append(blocks, k), append(gaps, g), hMM+g+blockMM(k, paraLead)
	}
	if len(blocks) > 0 {
		_, under := blocks[len(blocks)-1].reach()
		hMM += under
	}
	return blocks, gaps, hMM
}

// largestName is the largest size of the name at which the head fits, 0 when
// none does.
func (r ruled) largestName(a area) float64 {
	least := max(9, r.least*bottleBasePt)
	for pt := min(ruledNameMax, 0.45*a.h*ptPerMM); pt >= least; pt -= 0.5 {
		if _, _, h := r.headBlocks(a, pt); h >= 0 && h <= a.h {
			return pt
		}
	}
	if _, _, h := r.headBlocks(a, least); h >= 0 && h <= a.h {
		return least
	}
	return 0
}

// infoScale is the largest setting of the small print in an area.
func (r ruled) infoScale(p part) float64 {
	for scale := infoWantPt / bottleBasePt; ; scale -= 0.04 {
		scale = max(scale, r.least)
		if blocks, _, h := r.set.stack(p, scale, false); h >= 0 && h <= p.h && !slices.ContainsFunc(blocks, func(k block) bool { return k.broken }) {
			return scale
		}
		if scale <= r.least {
			return 0
		}
	}
}

// lowest is where the net quantity may begin at the highest, in mm of the die.
func (r ruled) lowest() float64 {
	if !r.NetLow {
		return 0
	}
	return (1 - netLowPart) * r.b.stock.LabelHMM
}

// wide puts three panels side by side: the front with name and quantity, right
// of it the small print, and the code.
func (r ruled) wide(side float64) []ruledPlan {
	b := r.b
	high, codeW := r.set.codeBlock(side)
	if high > b.h {
		return nil
	}
	edge := max(0.6, b.cornerPad())
	top, h := b.y+0.4, b.h-0.8
	var plans []ruledPlan
	for _, share := range []float64{0.3, 0.34, 0.38, 0.42, 0.46, 0.5} {
		front := area{b.x + edge, top, share * b.w, h}
		info := area{front.x + front.w + 1.6*ruledGapMM, top, 0, h}
		info.w = b.x + b.w - codeW - 0.4 - info.x
		if info.w < 15 {
			continue
		}
		_, netH := r.netBlock(front.w)
		if netH == 0 || front.y+front.h-netH < r.lowest() {
			continue
		}
		p := ruledPlan{net: area{front.x, front.y + front.h - netH, front.w, netH}, head: area{front.x, front.y + 0.5, front.w - 0.8, front.h - netH - ruledGapMM - 0.5},
			info: part{area: info, paras: r.info()}, codeX: b.x + b.w - codeW + (codeW-side)/2, codeY: b.y + (b.h-high)/2}
		if p.namePt = r.largestName(p.head); p.namePt > 0 {
			p.scale = r.infoScale(p.info)
			plans = append(plans, p)
		}
	}
	return plans
}

// tall puts the head on top, the small print below, and at the foot the code
// with the quantity beside it.
func (r ruled) tall(side float64) []ruledPlan {
	b := r.b
	high, codeW := r.set.codeBlock(side)
	edge := max(1, b.cornerPad())
	in := area{b.x + edge, b.y + edge, b.w - 2*edge, b.h - edge - 0.4}
	beside := area{b.x + codeW + ruledGapMM, 0, in.x + in.w - b.x - codeW - ruledGapMM, 0}
	if beside.w < 10 || high > 0.6*in.h {
		return nil
	}
	_, netH := r.netBlock(beside.w)
	foot := max(high, netH)
	if netH == 0 || in.y+in.h-netH < r.lowest() {
		return nil
	}
	var plans []ruledPlan
	for namePt := ruledNameMax; namePt >= 9; namePt -= 1 {
		_, _, headH := r.headBlocks(in, namePt)
		infoH := in.h - headH - foot - 2.2*ruledGapMM
		if headH < 0 || infoH < 5 {
			continue
		}
		info := part{area: area{in.x, in.y + headH + 1.2*ruledGapMM, in.w, infoH}, paras: r.info()}
		p := ruledPlan{head: area{in.x, in.y, in.w, headH}, net: area{beside.x, in.y + in.h - netH, beside.w, netH}, namePt: namePt, centred: true,
			info: info, codeX: b.x + (codeW-side)/2, codeY: in.y + in.h - high}
		p.scale = r.infoScale(info)
		if p.scale == 0 { // the column beside the code takes the end of the small print
			continue
		}
		plans = append(plans, p)
	}
	return plans
}

func (r ruled) place(c Code, p ruledPlan) {
	b := r.b
	align := 0.0
	if p.centred {
		align = 0.5
	}
	blocks, gaps, h := r.headBlocks(p.head, p.namePt)
	y := p.head.y
	if !p.centred { // stands a little above the middle of its part
		y += 0.3 * (p.head.h - h)
	}
	for i, k := range blocks {
		y += gaps[i]
		y = b.block(k, p.head.x, y, p.head.w, paraLead, align)
	}
	k, _ := r.netBlock(p.net.w)
	over, _ := k.reach()
	b.block(k, p.net.x, p.net.y+over, p.net.w, paraLead, align)
	if !p.centred {
		b.Items = append(b.Items, Item{Kind: RuleItem, XMM: p.info.x - 0.8*ruledGapMM, YMM: p.info.y + 0.5, WMM: 0.15, HMM: p.info.h - 1})
	}
	r.set.placeCode(b, c, p.dots, p.codeX, p.codeY)
	_, _, infoH := r.set.stack(p.info, p.scale, false)
	info := p.info
	if p.centred {
		info.y += 0.4 * (info.h - infoH)
		info.h = infoH
	} else {
		info.y += 0.5 * (info.h - infoH)
		info.h = infoH
	}
	r.set.place(b, info, plan{scale: p.scale})
}
