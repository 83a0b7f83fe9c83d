package labels

import (
	"slices"
	"strings"
	"unicode"
)

// Type sizes below which a label can no longer be read at arm's length, in
// points; 5 pt of the main font has a lower-case x of 0.93 mm.
const (
	tagMinPt  = 8.0
	nameMinPt = 6.5
	smallPt   = 5.5
	textMinPt = 5.0
)

// draw puts the code beside the text where the label is wide, above it where
// it is round, square or narrow.
func (l JarLabel) draw(b *board, c Code) error { return drawTagged(b, c, l.tagged()) }

func (l JarLabel) tagged() tagged {
	return tagged{tag: l.Tag, letter: l.Jar, name: l.Batch, started: l.Started, next: l.Next, diameterMM: l.DiameterMM}
}

// draw gives a spare label's tag, and lines for what it will be bound to.
func (l SpareLabel) draw(b *board, c Code) error {
	return drawTagged(b, c, tagged{tag: l.Tag, spare: true, diameterMM: l.DiameterMM})
}

// tagged is what jar and spare labels have in common.
type tagged struct {
	tag, letter, name, started string
	next                       []string
	spare                      bool
	diameterMM                 float64
}

func drawTagged(b *board, c Code, t tagged) error {
	if t.tag == "" {
		return refuse("tag", "A label needs a tag; none was given.")
	}
	if b.disc || b.w < 1.35*b.h && b.w < 55 {
		return t.above(b, c)
	}
	return t.beside(b, c)
}

// column is where the text beside a code goes.
type column struct{ x, top, w, bottom float64 }

// beside draws the code on the left and the text on the right, its top and
// bottom in line with the symbol's; below, where there is room, lines to
// write on.
func (t tagged) beside(b *board, c Code) error {
	dots, err := chooseDots(c, b.dpi, codeWants{hardMM: min(b.h+quietOverMM, b.w), softMM: 0.44 * b.w, diameterMM: t.diameterMM}, b.stock.ID)
	if err != nil {
		return err
	}
	side, quiet := boxMM(c, dots, b.dpi), float64(QuietModules*dots)*DotMM(b.dpi)
	bandH := min(max(side, 0.36*b.h), b.h, 56) // of code and text
	if b.h-bandH < 2*writeOnMM {               // nothing to be gained below: centre
		bandH = b.h
	}
	// Inside the band the code sits as far from the left as from the top.
	off := max(-quietOverMM/2, (bandH-side)/2)
	if bandH < b.h {
		off = 0
	}
	b.code(c, dots, b.x+max(0, min(off, 1.5)), b.y+off)
	// Level with the quiet zone's top and bottom edge, or on a low label, where
	// that would be at its margin, half-way to the symbol's. Above lines to
	// write on, level with the symbol's top, and to the band's end.
	col := column{x: b.x + max(0, min(off, 1.5)) + side, top: b.y + off, bottom: b.y + off + side}
	switch {
	case bandH < b.h:
		col.top, col.bottom = col.top+quiet, b.y+bandH-0.5*quiet
	case bandH-side < 2:
		col.top, col.bottom = col.top+0.5*quiet, col.bottom-0.5*quiet
	}
	col.w = b.x + b.w - col.x - max(min(1.0, 0.02*b.w), b.cornerPad())
	if err := t.text(b, col); err != nil {
		return err
	}
	t.writeOn(b, b.y+bandH)
	return nil
}

func (t tagged) text(b *board, col column) error {
	h := col.bottom - col.top
	y, err := t.header(b, col, h)
	if err != nil {
		return err
	}
	if t.spare {
		return t.spareLines(b, col, y)
	}
	return t.nameAndDates(b, col, y, h)
}

// header draws the tag, and the jar's letter at the right end of its line, or
// where that would make the tag small, nowhere: title then takes it along.
func (t *tagged) header(b *board, col column, h float64) (y float64, err error) {
	f, tag, err := b.face("tag", t.tag, true)
	if err != nil {
		return 0, err
	}
	up, _ := f.ink(tag)
	maxPt := min(max(0.235*h, 3)/f.capEm, 13/f.capEm) * ptPerMM
	room := col.w
	letter, lf, err := t.mark(b)
	if err != nil {
		return 0, err
	}
	if letter != "" {
		// Tag, a gap of a third, and a square as high as its capitals.
		em := f.widthEm(tag)
		if both := col.w / (em + 1.35*f.capEm) * ptPerMM; both >= max(tagMinPt, 0.72*min(maxPt, col.w/em*ptPerMM)) {
			pt := float64(int(min(maxPt, both)/stepPt)) * stepPt
			side := f.capEm * mm(pt)
			top := col.top + (up-f.capEm)*mm(pt)
			b.line(f, tag, pt, col.x, top)
			b.mark(lf, letter, col.x+col.w-side, top, side)
			t.letter = ""
			return top + side, nil
		}
	}
	pt := widest(f, tag, room, maxPt, tagMinPt)
	if pt == 0 {
		return 0, b.noRoom("The tag " + tag + " does not fit whole")
	}
	top := col.top + (up-f.capEm)*mm(pt)
	b.line(f, tag, pt, col.x, top)
	return top + f.capEm*mm(pt), nil
}

func (t tagged) mark(b *board) (string, *face, error) {
	if strings.TrimSpace(t.letter) == "" {
		return "", nil, nil
	}
	f, letter, err := b.face("jar letter", t.letter, true)
	if err == nil && len([]rune(letter)) > 3 {
		err = refuse("jar", "A jar's letter is one to three characters, not %q.", letter)
	}
	return letter, f, err
}

const (
	dateLead = 1.3
	nameLead = 1.15
)

// dateRows is the start and the next steps.
type dateRows []dateRow

// dateRow is one of them with its font: on one line, or on two where one has no room
// for it, the date on the second.
type dateRow struct {
	face  *face
	text  string
	lines []string
}

func (t tagged) rows(b *board, wMM float64) (r dateRows, err error) {
	list := t.next
	if t.started != "" {
		list = append([]string{"started " + t.started}, t.next...)
	}
	for _, row := range list {
		f, text, err := b.face("date line", row, false)
		if err != nil {
			return r, err
		}
		lines := []string{text}
		if at := strings.IndexFunc(text, unicode.IsDigit); at > 0 && f.widthEm(text)*mm(textMinPt) > wMM {
			lines = []string{strings.TrimRight(text[:at], " "), text[at:]}
		}
		if slices.ContainsFunc(lines, func(line string) bool { return f.widthEm(line)*mm(textMinPt) > wMM }) {
			b.lose("no room for %q", text) // half a date would be worse than none
			continue
		}
		r = append(r, dateRow{f, text, lines})
	}
	return r, nil
}

func (r dateRows) lines() (n int) {
	for _, row := range r {
		n += len(row.lines)
	}
	return n
}

// heightMM is from the first row's capitals to the last's baseline.
func (r dateRows) heightMM(pt float64, f *face) float64 {
	n := r.lines()
	if n == 0 {
		return 0
	}
	return f.capEm*mm(pt) + float64(n-1)*mm(pt)*dateLead
}

// nameAndDates shares what lies below the tag between the batch's name and its
// dates: first type sizes give way, then the latest steps, then the name's end.
func (t tagged) nameAndDates(b *board, col column, y, h float64) error {
	nf, name, err := b.face("batch name", t.name, true)
	if err != nil {
		return err
	}
	rows, err := t.rows(b, col.w)
	if err != nil {
		return err
	}
	nameCol, mark, err := t.besideName(b, col, y, h)
	if err != nil {
		return err
	}
	maxPt := min(max(0.39*h, smallPt), 14)
	gap := min(0.09*h, 3.2)
	var k block
	var n int
	var pt float64
search:
	for _, breaking := range []bool{false, true} {
		for n = len(rows); n >= 0; n-- {
			for pt = maxPt; pt >= smallPt; pt -= stepPt {
				room := col.bottom - y - 2*gap - rows[:n].heightMM(pt, b.fonts[0].regular)
				least := max(nameMinPt, 1.15*pt)
				k = fit(nf, name, fitting{wMM: nameCol.w, hMM: room, maxPt: max(least, 1.4*maxPt), minPt: least, lines: 3, lead: nameLead})
				last := breaking && n <= 1 && pt-stepPt < smallPt
				if name == "" || len(k.lines) > 0 && (last || !k.clipped && (breaking || !k.broken)) {
					break search
				}
			}
		}
	}
	n = max(n, 0)
	if k.clipped {
		b.lose("the name is cut short")
	}
	for _, row := range rows[n:] {
		b.lose("no room for %q", row.text)
	}
	room := col.bottom - y - rows[:n].heightMM(pt, b.fonts[0].regular)
	// Optically centred between tag and dates, a little towards the tag.
	at := y + 0.45*max(room-blockMM(k, nameLead), 0)
	if mark != nil {
		mark.YMM = at + (blockMM(k, nameLead)-mark.HMM)/2
		b.Items = append(b.Items, *mark)
	}
	b.block(k, nameCol.x, at, nameCol.w, nameLead, 0)
	t.dates(b, col, rows[:n], pt)
	return nil
}

// besideName makes the jar's letter a mark before the name, when the tag's
// line had no room for it.
func (t tagged) besideName(b *board, col column, y, h float64) (column, *Item, error) {
	letter, lf, err := t.mark(b)
	if err != nil || letter == "" {
		return col, nil, err
	}
	side := min(0.22*h, 0.25*col.w)
	aside := &board{frame: b.frame}
	aside.mark(lf, letter, col.x, y, side)
	col.x, col.w = col.x+side+0.8, col.w-side-0.8
	return col, &aside.Items[0], nil
}

// dates draws the rows, the last on the column's bottom line.
func (t tagged) dates(b *board, col column, rows dateRows, pt float64) {
	below := rows.lines()
	for _, row := range rows {
		for _, line := range row.lines {
			below--
			k := fit(row.face, line, fitting{wMM: col.w, hMM: mm(pt), maxPt: pt, minPt: min(pt, textMinPt), lines: 1, lead: 1})
			base := col.bottom - float64(below)*mm(pt)*dateLead
			b.block(k, col.x, base-row.face.capEm*mm(k.sizePt), col.w, 1, 0)
		}
	}
}

const writeOnMM = 7.0 // from one line for pencil to the next

// writeOn fills the rest of a large label with lines to write on.
func (t tagged) writeOn(b *board, y float64) {
	n := int((b.y + b.h - y - 0.5) / writeOnMM)
	if n < 1 || b.disc {
		return
	}
	pad := max(min(1.5, 0.02*b.w), b.cornerPad())
	pitch := (b.y + b.h - 0.8 - y) / float64(n)
	for i := 1; i <= n; i++ {
		b.rule(b.x+pad, y+float64(i)*pitch-ruleMM, b.w-2*pad)
	}
}

// spareLines asks for what and when, by pencil.
func (t tagged) spareLines(b *board, col column, y float64) error {
	f := b.fonts[0].regular
	pt := min(max((col.bottom-y)*0.16*ptPerMM, textMinPt), 9)
	captions := []string{"what", "started"}
	pitch := (col.bottom - y) / float64(len(captions))
	if pitch < 4.5 {
		captions, pitch = captions[:1], col.bottom-y
	}
	for i, caption := range captions {
		base := y + float64(i+1)*pitch
		b.line(f, caption, pt, col.x, base-0.9-f.capEm*mm(pt))
		b.rule(col.x, base-ruleMM, col.w)
	}
	return nil
}
