package reckon

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"cruet/internal/chem"
	"cruet/internal/forecast"
	"cruet/internal/larder"
	"cruet/internal/lazy"
)

// The parsers of one line of a list. Their errors are sentences.

var (
	aciditySuffixes = []string{"g/100 mL", "g/100mL", "%"}
	alcoholSuffixes = []string{"% vol", "%vol", "% ABV", "%"}
)

var buretteRE = lazy.RE(`^([0-9.,]+)\s*(?:mL|ml)?\s*(?:-|–|−|to)\s*([0-9.,]+)\s*(?:mL|ml)?$`)

// parseBurette reads the burette before and after in mL: "0.00-16.65",
// "0 to 16.7 mL".
func parseBurette(line string, _ time.Time) (any, error) {
	m := buretteRE().FindStringSubmatch(strings.TrimSpace(line))
	if m == nil {
		return nil, fmt.Errorf("%q is no pair of readings; write the burette in mL before and after, like 0.00-16.65.", clip(line))
	}
	start, err := chem.ParseNumber(m[1])
	if err != nil {
		return nil, plainError(err)
	}
	end, err := chem.ParseNumber(m[2])
	if err != nil {
		return nil, plainError(err)
	}
	return chem.Replicate{StartML: chem.Millilitres(start), EndML: chem.Millilitres(end)}, nil
}

// pieces splits a line before each number: "phthalate 25 C 172 mV" is
// "phthalate", "25 C", "172 mV". A fraction stays with its whole: "1 1/2 cups".
// Words and marks that only join are dropped.
func pieces(line string) []string {
	line = strings.NewReplacer("@", " ", ";", " ", "→", " ", "\t", " ").Replace(line)
	var out []string
	last := ""
	for _, word := range strings.Fields(line) {
		word = strings.TrimSuffix(word, ",")
		switch strings.ToLower(word) {
		case "", "at", "and", "of", "took", "reads", "shows", "showed", "=", "->":
			continue
		}
		if (!startsNumber(word) && len(out) > 0) || (isFraction(word) && isWhole(last)) {
			out[len(out)-1] += " " + word
		} else {
			out = append(out, word)
		}
		last = word
	}
	return out
}

func startsNumber(word string) bool {
	word = strings.TrimLeft(word, "+-−–.,")
	r, _ := utf8.DecodeRuneInString(word)
	return (r >= '0' && r <= '9') || strings.ContainsRune("½⅓⅔¼¾⅛⅜⅝⅞", r)
}

func isWhole(word string) bool { return word != "" && strings.Trim(word, "0123456789") == "" }

func isFraction(word string) bool {
	r, _ := utf8.DecodeRuneInString(word)
	over, _, ok := strings.Cut(word, "/")
	return strings.ContainsRune("½⅓⅔¼¾⅛⅜⅝⅞", r) || (ok && isWhole(over))
}

// parseKHPRun reads a weighing and the base it took: "0.3888 g 18.64 mL".
func parseKHPRun(line string, _ time.Time) (any, error) {
	p := pieces(line)
	if len(p) != 2 {
		return nil, fmt.Errorf("%q is no weighing; write the phthalate and the base it took, like 0.3888 g 18.64 mL.", clip(line))
	}
	g, err := chem.ParseMass(p[0])
	if err != nil {
		return nil, plainError(err)
	}
	v, err := chem.ParseVolume(p[1])
	if err != nil {
		return nil, plainError(err)
	}
	return chem.KHPRun{KHPG: g, BaseML: v}, nil
}

func parseVolumeLine(line string, _ time.Time) (any, error) {
	v, err := chem.ParseVolume(line)
	if err != nil {
		return nil, plainError(err)
	}
	return v, nil
}

const bufferHelp = `write the buffer, its temperature and what the meter showed, like "phthalate 25 C 172 mV" or "4.01 25 C 4.05 pH"`

// parseBuffer reads one buffer of a calibration: its name or the pH on its
// bottle, its temperature, and the meter's mV or pH.
func parseBuffer(line string, _ time.Time) (any, error) {
	p := pieces(strings.TrimPrefix(strings.TrimSpace(line), "pH "))
	if len(p) != 3 {
		return nil, fmt.Errorf("%q is no buffer reading: %s.", clip(line), bufferHelp)
	}
	var out chem.CalibrationPoint
	if startsNumber(p[0]) {
		v, err := parseWith(p[0], []string{"pH"})
		if err != nil {
			return nil, plainError(err)
		}
		ph := chem.PH(v)
		out.BufferPH = &ph
	} else {
		out.Buffer = chem.Buffer(strings.ToLower(p[0]))
	}
	t, err := chem.ParseTemperature(p[1])
	if err != nil {
		return nil, plainError(err)
	}
	out.TemperatureC = t
	if number, ok := cutSuffixFold(p[2], "mV"); ok {
		mv, err := chem.ParseNumber(strings.TrimSpace(number))
		out.MV = &mv
		return out, plainOrNil(err)
	}
	if number, ok := cutSuffixFold(p[2], "pH"); ok {
		v, err := chem.ParseNumber(strings.TrimSpace(number))
		ph := chem.PH(v)
		out.ShownPH = &ph
		return out, plainOrNil(err)
	}
	return nil, fmt.Errorf("%q needs mV or pH behind it: %s.", clip(p[2]), bufferHelp)
}

func plainOrNil(err error) error {
	if err == nil {
		return nil
	}
	return plainError(err)
}

func parsePHLine(line string, _ time.Time) (any, error) {
	v, err := parseWith(strings.TrimPrefix(strings.TrimSpace(line), "pH "), []string{"pH"})
	if err != nil {
		return nil, plainError(err)
	}
	return chem.PH(v), nil
}

// parsePortion reads one liquid of a blend: "5 L at 3.5 %, 0.7 % vol".
func parsePortion(line string, _ time.Time) (any, error) {
	p := pieces(line)
	if len(p) < 2 || len(p) > 3 {
		return nil, fmt.Errorf("%q is no liquid; write its volume and acidity, and its alcohol if it has any, like 5 L at 3.5 %%, 0.7 %% vol.", clip(line))
	}
	v, err := chem.ParseVolume(p[0])
	if err != nil {
		return nil, plainError(err)
	}
	out := chem.Portion{VolumeML: v}
	acidity, err := parseWith(p[1], aciditySuffixes)
	if err != nil {
		return nil, fmt.Errorf("The acidity: %w", plainError(err))
	}
	out.AcidityGPer100ML = chem.GramsPer100ML(acidity)
	if len(p) == 3 {
		abv, err := parseWith(p[2], alcoholSuffixes)
		if err != nil {
			return nil, fmt.Errorf("The alcohol: %w", plainError(err))
		}
		out.ABVPercent = chem.PercentVol(abv)
	}
	return out, nil
}

// parsePoint reads a titration of a jar: "2026-10-04: 2.1 ± 0.2". What stands
// behind ± is the expanded uncertainty (95 %), as a titration gives it.
func parsePoint(line string, now time.Time) (any, error) {
	const help = `write the day and the acidity, and its uncertainty if known, like "2026-10-04: 2.1 ± 0.2"`
	i := strings.LastIndexByte(line, ':')
	if i < 0 {
		i = strings.IndexByte(line, ' ') // "2026-10-04 2.1"
	}
	if i < 0 {
		return nil, fmt.Errorf("%q is no titration: %s.", clip(line), help)
	}
	w, err := larder.ParseWhen(line[:i], now, now.Location())
	if err != nil {
		return nil, err
	}
	if w.IsZero() {
		if strings.TrimSpace(line[:i]) == "" {
			return nil, fmt.Errorf("%q has no date: %s.", clip(line), help)
		}
		w.At = now
	}
	value, u, stated := strings.Cut(strings.ReplaceAll(line[i+1:], "+/-", "±"), "±")
	out := forecast.Point{At: w.At}
	a, err := parseWith(value, aciditySuffixes)
	if err != nil {
		return nil, fmt.Errorf("The acidity: %w", plainError(err))
	}
	out.AcidityGPer100ML = chem.GramsPer100ML(a)
	if stated {
		expanded, err := parseWith(u, aciditySuffixes)
		if err != nil || expanded < 0 {
			return nil, errors.New("What stands behind ± must be the uncertainty in g/100 mL, a number like 0.2.")
		}
		out.StdUGPer100ML = chem.GramsPer100ML(expanded / 2) // coverage factor 2, GUM 6.3.3
	}
	return out, nil
}

// parseIngredient reads one line of a recipe: "pears: 2.4 kg", "wine: 1 L,
// 12 % vol", "cherry syrup: 300 g, 60 % sugar".
func parseIngredient(line string, _ time.Time) (any, error) {
	const help = `write NAME: AMOUNT, like "pears: 2.4 kg", and behind it what its label says of alcohol or sugar, like "wine: 1 L, 12 % vol"`
	name, rest, ok := strings.Cut(line, ":")
	name = strings.TrimSpace(name)
	p := pieces(rest)
	if !ok || name == "" || len(p) == 0 || len(p) > 3 {
		return nil, fmt.Errorf("%q is no ingredient: %s.", clip(line), help)
	}
	amount, err := chem.ParseAmount(p[0])
	if err != nil {
		return nil, plainError(err)
	}
	out := chem.Ingredient{Name: name, Amount: amount}
	for _, extra := range p[1:] {
		if err := labelled(&out, extra); err != nil {
			return nil, fmt.Errorf("%w: %s.", err, help)
		}
	}
	return out, nil
}

// labelled adds what an ingredient's label says.
func labelled(i *chem.Ingredient, extra string) error {
	for _, unit := range []string{"% vol", "%vol", "% ABV"} {
		if number, ok := cutSuffixFold(extra, unit); ok {
			v, err := chem.ParseNumber(strings.TrimSpace(number))
			i.ABVPercent = chem.PercentVol(v)
			return plainOrNil(err)
		}
	}
	for _, unit := range []string{"% sugar", "g/100 g", "g/100g"} {
		if number, ok := cutSuffixFold(extra, unit); ok {
			v, err := chem.ParseNumber(strings.TrimSpace(number))
			i.SugarGPer100G = &v
			return plainOrNil(err)
		}
	}
	return fmt.Errorf("%q needs %% vol or %% sugar", clip(extra))
}
