package labels

import (
	"fmt"
	"math"
	"strings"

	"cruet/internal/larder"
)

// What a phone needs of a printed code. The figures come from simulated prints
// photographed flat and round jars, so trust their order more than their last
// digit (no published source; degrade_test.go measures in the same way). The
// quiet zone is ISO/IEC 18004's.
const (
	GoodModuleMM   = 0.50  // below this, reading falls off: warn
	MinModuleMM    = 0.375 // below this, many phones fail: refuse
	aimSymbolMM    = 22.0  // wider stops helping, and hurts on a curve
	maxSymbolMM    = 26.0
	curvePerDiamMM = 7.0 // width in mm x modules a side <= 7 x jar diameter in mm
	smallJarMM     = 60.0

	dieMarginMM  = 1.0 // nothing is drawn nearer to the die cut: printers shift by as much
	pageMarginMM = 5.0 // nothing is drawn nearer to a sheet's edge: many printers cannot
	quietOverMM  = 0.2 // what a quiet zone may take of that margin, above and below together, where a dot more a module is to be had
)

// frame is the part of a label that may be drawn on, in mm from the die's top
// left corner.
type frame struct {
	x, y, w, h float64
	disc       bool
	corner     float64 // radius of the die's corners
}

// frameOf leaves a margin to the die cut, and to the paper's edge where that
// comes nearer; the same for all places, so that all labels look alike.
func frameOf(s Stock) frame {
	const inset = dieMarginMM + 0.1 // the tenth absorbs rounding to dots
	left, top, right, bottom := inset, inset, inset, inset
	if !s.Roll {
		left = math.Max(left, pageMarginMM-s.LeftMM)
		top = math.Max(top, pageMarginMM-s.TopMM)
		right = math.Max(right, pageMarginMM-(s.PageWMM-s.LeftMM-float64(s.Cols-1)*s.PitchXMM-s.LabelWMM))
		bottom = math.Max(bottom, pageMarginMM-(s.PageHMM-s.TopMM-float64(s.Rows-1)*s.PitchYMM-s.LabelHMM))
	}
	return frame{left, top, s.LabelWMM - left - right, s.LabelHMM - top - bottom, s.Disc(), s.CornerMM}
}

// spread gives the left edge and the width free for something between the
// heights top and bottom: all of a rectangle, the chord of a disc.
func (f frame) spread(top, bottom float64) (x, w float64) {
	if !f.disc {
		pad := 0.0
		if top < f.y+f.corner || bottom > f.y+f.h-f.corner {
			pad = f.cornerPad()
		}
		return f.x + pad, f.w - 2*pad
	}
	r, cx, cy := f.w/2, f.x+f.w/2, f.y+f.h/2
	d := math.Max(math.Abs(top-cy), math.Abs(bottom-cy))
	if d >= r {
		return cx, 0
	}
	half := math.Sqrt(r*r - d*d)
	return cx - half, 2 * half
}

// cornerPad is how far something at the very top or bottom of the frame has to
// stay from its sides, so that a rounded corner keeps its margin, too.
func (f frame) cornerPad() float64 {
	r, inset := f.corner, dieMarginMM+0.1
	if f.disc || r <= inset {
		return 0
	}
	arc := r - dieMarginMM
	return max(0, r-math.Sqrt(max(0, arc*arc-(r-inset)*(r-inset)))-inset)
}

// RoomError says that something does not fit on a stock.
type RoomError struct {
	What  string   // the sentence's first half
	Stock string   // id of the stock
	Fits  []string // ids of stocks on which it does; filled in by Write
}

func (e *RoomError) Error() string {
	msg := fmt.Sprintf("%s on stock %s.", e.What, e.Stock)
	if len(e.Fits) > 0 {
		msg += " It does on: " + strings.Join(e.Fits, ", ") + "."
	} else {
		msg += " Shorten it, or use a larger stock."
	}
	return msg
}

// Unwrap makes it a problem that every edge of the program knows how to tell.
func (e *RoomError) Unwrap() error { return larder.Refuse("stock", e.Error()) }

// codeWants is what a layout wants of a code's size.
type codeWants struct {
	hardMM     float64 // side of the box that quiet zone and all must stay in
	softMM     float64 // side it should stay in, as long as modules stay good
	diameterMM float64 // of the jar it goes round; 0 when not known
}

// chooseDots gives the printer dots a module gets: the largest whole number
// that fits. On a narrow bottle more room helps no code of facts: its modules are
// as small as phones read well, and already it bends too far to be read from the
// side, so the score warns on every stock. An error tells that even the smallest readable one does not.
func chooseDots(c Code, dpi int, want codeWants, stock string) (int, error) {
	dot := DotMM(dpi)
	all := float64(c.Size() + 2*QuietModules)
	// One dot of the box is left for moving the code onto the dot grid.
	hard := math.Floor((want.hardMM-dot)/(all*dot) + 1e-6)
	soft := math.Floor((want.softMM-dot)/(all*dot) + 1e-6)
	symbolMM := aimSymbolMM
	if want.diameterMM > 0 {
		symbolMM = math.Min(symbolMM, curvePerDiamMM*want.diameterMM/float64(c.Size()))
	}
	soft = math.Min(soft, math.Floor(symbolMM/(float64(c.Size())*dot)+1e-6))
	good := math.Ceil(GoodModuleMM/dot - 1e-6)
	n := math.Min(hard, math.Max(soft, good))
	// An even number of fine dots is a whole number of dots on the same
	// printer in its draft mode, too.
	if dpi >= 600 && math.Mod(n, 2) == 1 && (n-1)*dot >= GoodModuleMM {
		n--
	}
	if n*dot < MinModuleMM-1e-9 {
		return 0, &RoomError{What: fmt.Sprintf("A code of version %d gets modules of %.2f mm where phones need %.3f mm at the very least, so it does not fit", c.Version, math.Max(n, 0)*dot, MinModuleMM), Stock: stock}
	}
	return int(n), nil
}

// boxMM is the side of the square that a code and its quiet zone take, with
// the one dot it may be moved by.
func boxMM(c Code, dots, dpi int) float64 {
	return (float64((c.Size()+2*QuietModules)*dots) + 1) * DotMM(dpi)
}
