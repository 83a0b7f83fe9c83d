package labels

import (
	"fmt"
	"sync"

	"cruet/internal/larder"
)

// Label is what goes on one label: a JarLabel, BottleLabel or SpareLabel.
type Label interface {
	// codeText is what the label's code says, and the least level it needs.
	codeText() (string, Level)
	// draw lays the label out on a board.
	draw(b *board, c Code) error
	// round is the outer diameter in mm of the jar the label goes round, 0 when not known.
	round() float64
}

// JarLabel is worn by a jar for months.
type JarLabel struct {
	URL        string   // what the code says
	Tag        string   // always whole, and large
	Batch      string   // the batch's name; shortened with an ellipsis when it must be
	Jar        string   // the jar's letter in its batch
	Started    string   // "22 Oct 2026", "about 22 Oct 2026"
	Next       []string // next steps with their dates: "strain 29 Nov – 6 Dec"
	DiameterMM float64  // of the jar, 0 when not known
}

func (l JarLabel) codeText() (string, Level) { return l.URL, LevelQ }
func (l JarLabel) round() float64            { return l.DiameterMM }

// SpareLabel is printed ahead and not yet bound to a jar.
type SpareLabel struct {
	URL        string
	Tag        string
	DiameterMM float64
}

func (l SpareLabel) codeText() (string, Level) { return l.URL, LevelQ }
func (l SpareLabel) round() float64            { return l.DiameterMM }

// BottleLabel leaves the kitchen with a bottle. Acidity, ingredients and
// cautions are printed whole or not at all: a stock without room for them is
// refused.
type BottleLabel struct {
	URL         string
	Tag         string // the code for typing, should the scan fail; printed small
	Name        string
	Acidity     string   // "5.0 % acidity", "acidity not measured"
	AcidityNote string   // "titrated 3 Jan 2027"; may be empty
	Bottled     string   // "3 Jan 2027"
	Net         string   // "250 mL (8.4 fl oz)"; see NetText
	Ingredients string   // "ale (water, barley malt), mother"
	Lot         string   // "L0412"
	Number      string   // "bottle 7 of 12"
	Cautions    []string // "Not for canning or preserving"
	Minor       []string // what may go when there is no room, the last first
	Maker       string
	DiameterMM  float64
}

func (l BottleLabel) codeText() (string, Level) { return l.URL, LevelM }
func (l BottleLabel) round() float64            { return l.DiameterMM }

// mLPerFlOz is the US fluid ounce, 1/128 of a gallon of 231 cubic inches
// (NIST Handbook 44, appendix C).
const mLPerFlOz = 231 * 16.387064 / 128

// NetText states a net volume in both systems, each rounded down so that the
// label never promises more than the bottle holds.
func NetText(volumeML float64) string {
	const hair = 1e-9 // so that 250.0 stored as 249.9999... stays 250
	return fmt.Sprintf("%d mL (%.1f fl oz)", int(volumeML+hair), float64(int(volumeML/mLPerFlOz*10+hair))/10)
}

// layOut draws one label on a stock, for a printer of dpi dots per inch.
func layOut(l Label, c Code, stock Stock, dpi int, fonts fontSet) (Drawing, error) {
	if stock.Continuous {
		return layOutLength(l, c, stock, dpi, fonts)
	}
	b := &board{frame: frameOf(stock), stock: stock, dpi: dpi, fonts: fonts}
	if b.w < 5 || b.h < 5 {
		return Drawing{}, b.noRoom("Nothing can be drawn 1 mm inside the die cut and 5 mm inside the paper's edge, so no label fits")
	}
	if err := l.draw(b, c); err != nil {
		return Drawing{}, err
	}
	return b.Drawing, nil
}

// Lengths that a continuous roll is cut to, and what a label must have before
// more length is of no use.
const (
	minCutMM, maxCutMM, cutStepMM = 20.0, 120.0, 1.0
	cutSymbolMM                   = 17.0 // of what a jar wears
	cutGiftSymbolMM               = 14.0 // of what leaves with a bottle, read once and from near
	cutTextPt                     = 6.0
)

// layOutLength cuts a continuous roll to the least length at which nothing is
// lost, the code is as wide as wanted, and the type easily read; failing that,
// to the least at which the label fits at all.
func layOutLength(l Label, c Code, roll Stock, dpi int, fonts fontSet) (Drawing, error) {
	var tight *Drawing
	var last error
	for length := minCutMM; length <= maxCutMM; length += cutStepMM {
		cut := roll
		cut.Continuous, cut.PageHMM, cut.LabelHMM, cut.PitchYMM = false, length, length, length
		d, err := layOut(l, c, cut, dpi, fonts)
		if err != nil {
			last = err
			continue
		}
		d.LenMM = length
		if tight == nil {
			tight = &d
		}
		if len(d.Losses) == 0 && easy(d, l, dpi) {
			return d, nil
		}
	}
	if tight != nil {
		return *tight, nil
	}
	return Drawing{}, last
}

func easy(d Drawing, l Label, dpi int) bool {
	wantMM := cutGiftSymbolMM
	if _, level := l.codeText(); level >= LevelQ {
		wantMM = cutSymbolMM
	}
	for _, it := range d.Items {
		if it.Kind == CodeItem && float64(it.Code.Size()*it.Dots)*DotMM(dpi) < wantMM ||
			it.Kind == TextItem && it.SizePt < cutTextPt-0.5 {
			return false
		}
	}
	return true
}

// Fit parts stocks into those that take all of these labels, their codes with
// modules that read well at each stock's own resolution, and the rest.
func Fit(list []Label, stocks []Stock) (fit, rest []Stock, err error) {
	fonts, err := fontsFor(nil)
	if err != nil {
		return nil, nil, err
	}
	codes := make([]Code, len(list))
	for i, l := range list {
		if codes[i], err = NewCode(l.codeText()); err != nil {
			return nil, nil, err
		}
	}
	takes := make([]bool, len(stocks))
	var wg sync.WaitGroup
	for k, s := range stocks {
		wg.Go(func() {
			takes[k] = true
			for i := 0; takes[k] && i < len(list); i++ {
				d, err := layOut(list[i], codes[i], s, s.DPI, fonts)
				takes[k] = err == nil && goodModules(d, s.DPI) && len(d.Losses) == 0
			}
		})
	}
	wg.Wait()
	for k, s := range stocks {
		if takes[k] {
			fit = append(fit, s)
		} else {
			rest = append(rest, s)
		}
	}
	return fit, rest, nil
}

// fitsOn lists the built-in stocks that take a label, at most six, nearest in
// size first: sheets of the same page, then the others.
func fitsOn(l Label, c Code, like Stock, fonts fontSet) []string {
	var same, other []string
	for _, s := range catalogue() {
		d, err := layOut(l, c, s, s.DPI, fonts)
		if err != nil || !goodModules(d, s.DPI) {
			continue
		}
		if s.PageWMM == like.PageWMM && s.PageHMM == like.PageHMM || s.Roll && like.Roll {
			same = append(same, s.ID)
		} else {
			other = append(other, s.ID)
		}
	}
	all := append(same, other...)
	return all[:min(len(all), 6)]
}

func goodModules(d Drawing, dpi int) bool {
	for _, it := range d.Items {
		if it.Kind == CodeItem && float64(it.Dots)*DotMM(dpi) < GoodModuleMM {
			return false
		}
	}
	return true
}

// typed is a tag as the pages write it, for reading aloud and typing.
func typed(tag string) string { return larder.Tag(tag).Spaced() }
