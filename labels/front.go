package labels

// The front of a large bottle label: name, acidity and volume centred above,
// code and small print at the foot, with air around all of it.
const (
	frontMinWMM, frontMinHMM = 55.0, 45.0
	frontPad                 = 0.05 // of the short side
	frontNamePt              = 34.0
	frontSmallPt             = 8.0
	frontHeadMM              = 13.0 // less is no front
)

// front draws a large label, or nothing when it is not large enough for that.
// What is extra comes between the name and the foot.
func (l BottleLabel) front(b *board, c Code, set resolved, extra []para) (bool, error) {
	if b.stock.Disc() || b.w < frontMinWMM || b.h < frontMinHMM {
		return false, nil
	}
	pad := frontPad * min(b.w, b.h)
	in := area{b.x + pad, b.y + pad, b.w - 2*pad, b.h - 2*pad}
	dots, err := chooseDots(c, b.dpi, codeWants{hardMM: min(in.w, in.h), softMM: min(0.36*in.w, 0.45*in.h), diameterMM: l.DiameterMM}, b.stock.ID)
	if err != nil {
		return false, err
	}
	side := boxMM(c, dots, b.dpi)
	high, wide := set.codeBlock(side)
	small, scale := l.smallPrint(set, area{w: in.w - wide - 1.5}, max(high, 0.5*in.h))
	if scale == 0 {
		return false, nil
	}
	_, _, h := set.stack(small, scale, false)
	band := max(h, high)
	head := area{in.x, in.y, in.w, in.h - band - 1.5}
	middle, middleScale := part{}, 0.0
	if len(extra) > 0 {
		middle = part{area: area{in.x, in.y, in.w, 0.55 * head.h}, paras: extra, bottom: true}
		if middleScale = set.scale(plan{parts: []part{middle}}); middleScale == 0 {
			return false, nil
		}
		middleScale = min(middleScale, 1.2)
		_, _, middle.h = set.stack(middle, middleScale, false)
		head.h -= middle.h + 3
		middle.y = head.y + head.h + 1
	}
	if head.h < frontHeadMM || !l.placard(b, set, head) {
		return false, nil
	}
	if len(extra) > 0 {
		set.place(b, middle, plan{scale: middleScale})
	}
	set.placeCode(b, c, dots, in.x+(wide-side)/2, in.y+in.h-high)
	small.area = area{in.x + wide + 1.5, in.y + in.h - h, in.w - wide - 1.5, h}
	set.place(b, small, plan{scale: scale})
	return true, nil
}

// smallPrint is the largest setting of the small print in a width that is not
// higher than maxMM.
func (l BottleLabel) smallPrint(set resolved, a area, maxMM float64) (part, float64) {
	p := part{area: a, paras: join(l.content(), l.foot())}
	for pt := frontSmallPt; pt >= bottleMinPt; pt -= stepPt {
		if _, _, h := set.stack(p, pt/bottleBasePt, false); h >= 0 && h <= maxMM {
			return p, pt / bottleBasePt
		}
	}
	return p, 0
}

// placard centres name, rule, acidity and volume in an area.
func (l BottleLabel) placard(b *board, set resolved, a area) bool {
	name := set[l.Name]
	under := l.head(false)[min(1, len(l.head(false))):]
	if name.text == "" {
		return false
	}
	for cap := frontNamePt; cap >= 9; cap-- {
		k := fit(name.face, name.text, fitting{wMM: a.w, hMM: 0.7 * a.h, maxPt: cap, minPt: min(cap, 12), lines: 3, lead: 1.12})
		if len(k.lines) == 0 || k.clipped && cap > 9 || k.broken && cap > 14 {
			continue
		}
		blocks, h := set.underName(under, a.w, min(max(0.42*k.sizePt, 7), 12))
		gap := max(1.2, 0.3*mm(k.sizePt))
		over, _ := k.reach()
		total := over + blockMM(k, 1.12) + 2*gap + ruleMM + h
		if h < 0 || total > a.h {
			continue
		}
		if k.clipped {
			b.lose("the name is cut short")
		}
		y := b.block(k, a.x, a.y+over+0.45*(a.h-total), a.w, 1.12, 0.5) + gap
		b.rule(a.x+0.38*a.w, y, 0.24*a.w)
		y += ruleMM + gap
		for _, line := range blocks {
			over, _ := line.reach()
			y = b.block(line, a.x, y+over, a.w, paraLead, 0.5) + 0.55*mm(line.sizePt)
		}
		return true
	}
	return false
}

// underName sets the lines below a name at one size, and gives their height.
func (set resolved) underName(paras []para, wMM, pt float64) (blocks []block, hMM float64) {
	for _, p := range paras {
		r := set[p.text]
		k := fit(r.face, r.text, fitting{wMM: wMM, hMM: 30, maxPt: pt, minPt: pt, lines: 3, lead: paraLead})
		if len(k.lines) == 0 || k.clipped || k.broken {
			return nil, -1
		}
		over, _ := k.reach()
		hMM += over + blockMM(k, paraLead) + 0.55*mm(pt)
		blocks = append(blocks, k)
	}
	return blocks, hMM
}
