package labels

// above draws the code on top and centred lines below it: for discs, squares
// and narrow labels. As many lines as there is room for: the tag always, then
// name, start and next steps.
func (t tagged) above(b *board, c Code) error {
	f, tag, err := b.face("tag", t.tag, true)
	if err != nil {
		return err
	}
	capMM := tagMinPt * f.capEm / ptPerMM
	hard := b.h - capMM - tagGapMM
	if b.disc { // a square and a line below it in a circle: measured, not solved
		hard = min(hard, 0.68*b.w)
	}
	dots, err := chooseDots(c, b.dpi, codeWants{hardMM: min(hard, b.w), softMM: min(0.62*b.h, hard), diameterMM: t.diameterMM}, b.stock.ID)
	if err != nil {
		return err
	}
	side := boxMM(c, dots, b.dpi)
	top := b.y
	for b.disc { // as high as the circle lets the square's corners be
		if _, w := b.spread(top, top+side); w >= side {
			break
		}
		if top += 0.1; top+side > b.y+b.h {
			return b.noRoom("The code does not fit")
		}
	}
	rest := b.y + b.h - top - side
	lines, used, err := t.centred(b, f, tag, top+side, rest)
	if err != nil {
		return err
	}
	if !b.disc { // what is left over goes in equal parts above, between and below
		air := (rest - used) / 3
		top += air
		for i := range lines {
			lines[i].YMM += 2 * air
		}
	}
	b.code(c, dots, b.x+(b.w-side)/2, top)
	b.Items = append(b.Items, lines...)
	t.writeOn(b, top+side+rest)
	return nil
}

const tagGapMM = 0.3 // the quiet zone above is air enough

// centred sets the lines below a code that ends at y, and gives the height
// they take.
func (t *tagged) centred(b *board, f *face, tag string, y, room float64) ([]Item, float64, error) {
	start := y
	inner := &board{frame: b.frame, stock: b.stock, dpi: b.dpi, fonts: b.fonts}
	letter, lf, err := t.mark(b)
	if err != nil {
		return nil, 0, err
	}
	// The tag takes up to half of the room; on a disc the chord narrows with
	// every line, so its size is tried from large to small.
	pt, markEm := 0.0, 0.0
	up, down := f.ink(tag)
	up = max(up-f.capEm, 0)
	if letter != "" {
		markEm = 1.35 * f.capEm
	}
	for try := min(0.5*room/f.capEm*ptPerMM, 30); ; try -= stepPt {
		try = max(try, tagMinPt)
		_, w := b.spread(y, y+tagGapMM+(f.capEm+down)*mm(try))
		if (f.capEm+down)*mm(try)+tagGapMM <= room+1e-9 {
			if (f.widthEm(tag)+markEm)*mm(try) <= w {
				pt = try
				break
			}
			if try <= tagMinPt && markEm > 0 && f.widthEm(tag)*mm(try) <= w {
				pt, letter, markEm = try, "", 0
				b.lose("no room for the jar's letter")
				break
			}
		}
		if try <= tagMinPt {
			return nil, 0, b.noRoom("The tag " + tag + " does not fit whole below the code")
		}
	}
	capMM := f.capEm * mm(pt)
	x, w := b.spread(y, y+tagGapMM+capMM+down*mm(pt))
	x += (w - (f.widthEm(tag)+markEm)*mm(pt)) / 2
	y += tagGapMM + up*mm(pt)
	inner.line(f, tag, pt, x, y)
	if letter != "" {
		inner.mark(lf, letter, x+(f.widthEm(tag)+markEm)*mm(pt)-capMM, y, capMM)
	}
	y += capMM
	err = t.lines(b, inner, y, start+room, pt)
	used := 0.0
	for _, it := range inner.Items {
		_, bottom := it.ink()
		used = max(used, bottom-start)
	}
	return inner.Items, used, err
}

// lines adds name, start and next steps while they fit.
func (t tagged) lines(b, inner *board, y, bottom, tagPt float64) error {
	type row struct {
		field, text string
		bold        bool
		maxPt       float64
		lines       int
	}
	list := []row{{"batch name", t.name, true, min(0.7*tagPt, 16), 2}}
	if t.started != "" {
		list = append(list, row{"start date", "started " + t.started, false, min(0.5*tagPt, 10), 1})
	}
	for _, next := range t.next {
		list = append(list, row{"next step", next, false, min(0.5*tagPt, 10), 1})
	}
	full := false
	for _, r := range list {
		f, text, err := b.face(r.field, r.text, r.bold)
		if err != nil {
			return err
		}
		if text == "" {
			continue
		}
		gap := 0.55 * mm(max(r.maxPt, textMinPt))
		floor := textMinPt
		if r.bold {
			floor = nameMinPt
		}
		k := b.chordFit(f, text, y+gap, bottom, max(r.maxPt, floor), floor, r.lines)
		if full || len(k.lines) == 0 || k.clipped && !r.bold {
			full = true
			b.lose("no room for %q", text)
			continue
		}
		if k.clipped {
			b.lose("%q is cut short", text)
		}
		h := blockMM(k, 1.15)
		x, w := b.spread(y+gap, y+gap+h)
		inner.block(k, x, y+gap, w, 1.15, 0.5)
		y += gap + h
	}
	return nil
}

// chordFit sets a text in what is left above bottom, in the width that the
// shape leaves at its lowest line.
func (b *board) chordFit(f *face, text string, y, bottom, maxPt, minPt float64, lines int) block {
	var k block
	_, down := f.ink(text)
	for n := 1; n <= lines; n++ {
		for pt := maxPt; pt >= minPt-1e-9; pt -= stepPt {
			h := f.capEm*mm(pt) + float64(n-1)*1.15*mm(pt)
			if y+h+down*mm(pt) > bottom {
				continue
			}
			_, w := b.spread(y, y+h+down*mm(pt))
			k = fit(f, text, fitting{wMM: w, hMM: h, maxPt: pt, minPt: pt, lines: n, lead: 1.15})
			if len(k.lines) > 0 && !k.clipped {
				return k
			}
		}
	}
	return k
}
