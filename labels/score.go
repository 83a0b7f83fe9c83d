package labels

import (
	"fmt"
	"strings"
)

// Score says how well a label's code will read, before it is printed.
type Score struct {
	ModuleMM float64  // side of one module
	Dots     int      // printer dots a module
	DPI      int      // of the printer
	SymbolMM float64  // width without the quiet zone
	Version  int      // of the code: 1 to 40
	Level    Level    // of error correction
	ReachMM  float64  // about how far away a phone may be
	Good     bool     // nothing to warn of
	Warnings []string // sentences that say what to do
	Losses   []string // what the layout shortened or left out
}

// reachPerModule is the reading distance of a phone's camera in module widths,
// from the same simulated prints as GoodModuleMM.
const reachPerModule = 610.0

// Readability lays a label out and judges its code.
func Readability(l Label, sheet Sheet) (Score, error) {
	sheet, err := sheet.ready()
	if err != nil {
		return Score{}, err
	}
	d, err := Draw(sheet, l)
	if err != nil {
		return Score{}, err
	}
	return scoreOf(d, sheet, l), nil
}

// scoreOf judges a label that is laid out already; sheet is ready.
func scoreOf(d Drawing, sheet Sheet, l Label) Score {
	s := Score{DPI: sheet.DPI, Losses: d.Losses}
	for _, it := range d.Items {
		if it.Kind == CodeItem {
			s.Dots, s.Version, s.Level = it.Dots, it.Code.Version, it.Code.Level
			s.ModuleMM = float64(it.Dots) * DotMM(sheet.DPI)
			s.SymbolMM = s.ModuleMM * float64(it.Code.Size())
		}
	}
	s.ReachMM = s.ModuleMM * reachPerModule
	text, _ := l.codeText()
	s.warn(l.round(), strings.HasPrefix(text, "http"))
	s.Good = len(s.Warnings) == 0
	return s
}

// worse orders scores: one with warnings first, then smaller modules, then the
// smaller jar.
func (s Score) worse(than Score) bool {
	if s.Good != than.Good {
		return !s.Good
	}
	if s.ModuleMM != than.ModuleMM {
		return s.ModuleMM < than.ModuleMM
	}
	return len(s.Warnings) > len(than.Warnings)
}

func (s *Score) warn(diameterMM float64, link bool) {
	say := func(format string, args ...any) { s.Warnings = append(s.Warnings, fmt.Sprintf(format, args...)) }
	if s.ModuleMM < GoodModuleMM {
		say("The modules are %.2f mm; below %.2f mm phones begin to fail. Use a larger stock, or a shorter address.", s.ModuleMM, GoodModuleMM)
	}
	if s.Dots < 4 {
		say("A module has only %d printer dots; a printer with more dots per inch draws it cleaner.", s.Dots)
	}
	if s.Version > 4 && !link {
		say("A code that holds facts is dense (version %d): hold the phone near and straight in front.", s.Version)
	} else if s.Version > 4 {
		say("The address makes the code dense (version %d). A shorter one, such as a bare IP address, reads better.", s.Version)
	}
	if s.SymbolMM > maxSymbolMM {
		say("The code is %.1f mm wide; above %.0f mm it wraps too far round a jar.", s.SymbolMM, maxSymbolMM)
	}
	modules := s.SymbolMM / s.ModuleMM
	if diameterMM > 0 && s.SymbolMM*modules > curvePerDiamMM*diameterMM*(1+1e-9) {
		say("Round a jar of %.0f mm the code bends out of sight: %.1f mm wide where %.1f mm would read from the side. Put it on the lid or a tag, or hold the phone straight in front.", diameterMM, s.SymbolMM, curvePerDiamMM*diameterMM/modules)
	} else if diameterMM > 0 && diameterMM <= smallJarMM {
		say("On a jar of %.0f mm a label is hard to read from the side; the lid is the better place.", diameterMM)
	}
}

// Verdict is the score in a few words.
func (s Score) Verdict() string {
	switch {
	case !s.Good:
		return "may be hard to read"
	case s.ModuleMM >= easyModuleMM:
		return "reads easily"
	}
	return "reads well"
}

// easyModuleMM is from where a larger module gains little.
const easyModuleMM = 0.6

// Measures is what the verdict rests on, in words.
func (s Score) Measures() string {
	return fmt.Sprintf("modules of %.2f mm (%d dots at %d dpi), code %.1f mm wide, version %d at level %v, from as far as %.0f cm",
		s.ModuleMM, s.Dots, s.DPI, s.SymbolMM, s.Version, s.Level, s.ReachMM/10)
}

// String is the score in words, a warning a line.
func (s Score) String() string {
	return strings.Join(append([]string{s.Verdict() + ": " + s.Measures()}, s.Warnings...), "\n")
}
