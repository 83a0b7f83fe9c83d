package larder

import (
	"fmt"
	"strings"

	"cruet/internal/chem"
)

// BenchWords is a line of the bench book in words.
type BenchWords struct {
	Headline string   // "Passed: slope 97.9 % of the ideal, offset -3.1 mV"
	Notes    []string // what to do, or to know
	Failed   bool     // the calibration corrects nothing, or the check cannot be used
	Explain  chem.Explain
}

// Words tells what a line of the bench book found.
func (e BenchEntry) Words() BenchWords {
	switch b := e.Body.(type) {
	case MeterCalibration:
		return b.words()
	case BaseCheck:
		return b.words()
	case ControlSample:
		text := fmt.Sprintf("pH %.2f", float64(b.PH))
		return BenchWords{Headline: text + " at " + chem.FormatTemperature(b.TempC, chem.Metric)}
	}
	return BenchWords{}
}

func (m MeterCalibration) words() BenchWords {
	c, err := m.Result()
	if err != nil {
		return BenchWords{Headline: "It no longer adds up: " + err.Error(), Failed: true}
	}
	w := BenchWords{Headline: fmt.Sprintf("Passed: slope %.1f %% of the ideal, offset %.1f mV", c.SlopePercent, c.OffsetMV), Explain: c.Explain}
	if !c.Passed {
		w.Headline = strings.Replace(w.Headline, "Passed", "Failed", 1)
		w.Failed = true
	}
	w.Headline += fmt.Sprintf(", buffers %.2f to %.2f", float64(c.LowestPH), float64(c.HighestPH))
	w.Notes = append(append(w.Notes, c.Failures...), c.Notes...)
	if c.Passed && m.Adjusted {
		w.Notes = append(w.Notes, "The meter was set by these buffers: what it shows since counts as it is.")
	}
	return w
}

func (b BaseCheck) words() BenchWords {
	if b.Against == nil {
		return BenchWords{Headline: fmt.Sprintf("%.4g mol/L, as its bottle says", float64(b.StatedMolPerL)),
			Notes: []string{"A bottle's word, taken as good to 1 %: true only of a fresh, sealed one. Phthalate is surer."}}
	}
	r, err := b.Against.Result()
	if err != nil {
		return BenchWords{Headline: "It no longer adds up: " + err.Error(), Failed: true}
	}
	against := "phthalate"
	if b.Against.LabelledGPer100ML > 0 {
		against = "a bought vinegar"
	}
	runs := "1 run"
	if r.Runs > 1 {
		runs = fmt.Sprintf("%d runs", r.Runs)
	}
	return BenchWords{Headline: fmt.Sprintf("%.4f ± %.4f mol/L (95 %%), against %s, %s", float64(r.BaseMolPerL), float64(r.ExpandedUMolPerL), against, runs), Notes: r.Notes, Explain: r.Explain}
}
