package larder

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"cruet/internal/chem"
)

// Words is what an entry's body says, in one line: for terminals and paper.
func Words(b Body, units chem.System) string {
	switch b := b.(type) {
	case Reading:
		return b.words(units)
	case Titration:
		return b.words()
	case StageChange:
		return b.words(units)
	case Action:
		return b.words(units)
	case Transfer:
		return b.words(units)
	case Hold:
		if b.On {
			return "put on hold: " + b.Reason
		}
		return "hold lifted: " + b.Reason
	case Photo:
		return b.words()
	case Strike:
		return "struck an entry: " + b.Reason
	}
	return "note"
}

// AcidityWords writes an acidity in as many digits as its 95 % uncertainty
// allows; the uncertainty is rounded up.
func AcidityWords(v, expanded chem.GramsPer100ML) string {
	return AcidityNumber(v, expanded) + " g/100 mL"
}

// AcidityNumber is AcidityWords without the unit, which then stands beside it.
func AcidityNumber(v, expanded chem.GramsPer100ML) string {
	switch {
	case expanded <= 0:
		return fmt.Sprintf("%.2f", float64(v))
	case expanded < 0.0995:
		return fmt.Sprintf("%.2f ± %.2f", float64(v), math.Ceil(float64(expanded)*100-1e-9)/100)
	}
	return fmt.Sprintf("%.1f ± %.1f", float64(v), math.Ceil(float64(expanded)*10-1e-9)/10)
}

func (r Reading) words(units chem.System) string {
	var parts []string
	say := func(format string, v float64) {
		parts = append(parts, fmt.Sprintf(format, strconv.FormatFloat(v, 'f', -1, 64)))
	}
	if r.PH != nil {
		say("pH %s", float64(*r.PH))
	}
	if r.CorrectedPH != nil && *r.CorrectedPH != *r.PH {
		say("corrected to %s", math.Round(float64(*r.CorrectedPH)*100)/100)
	}
	if r.TempC != nil {
		parts = append(parts, chem.FormatTemperature(*r.TempC, units))
	}
	if r.SG != nil {
		parts = append(parts, fmt.Sprintf("gravity %.3f", float64(*r.SG)))
	}
	if r.Brix != nil {
		say("%s °Bx", float64(*r.Brix))
	}
	if r.ABV != nil {
		say("%s %% vol", float64(*r.ABV))
	}
	if r.VolumeML != nil {
		parts = append(parts, chem.FormatVolume(*r.VolumeML, units)+" in the jar")
	}
	if r.Instrument != "" {
		parts = append(parts, "by "+r.Instrument)
	}
	if r.PHMark != "" {
		parts = append(parts, "pH is rough")
	}
	return strings.Join(parts, ", ")
}

func (t Titration) words() string {
	r, err := t.Result()
	if err != nil {
		return "titration: " + err.Error()
	}
	text := "titrated " + AcidityWords(r.AcidityGPer100ML, r.ExpandedUGPer100ML)
	if r.HasSD {
		text += fmt.Sprintf(" (%d runs, standard deviation %.2f)", r.Replicates, float64(r.SDGPer100ML))
	}
	return text
}

func (s StageChange) words(units chem.System) string {
	text := "became " + string(s.To)
	if s.From == "" {
		text = "started as " + string(s.To)
	}
	if s.VolumeML != nil {
		text += ", " + chem.FormatVolume(*s.VolumeML, units)
		if s.VolumeFromFill {
			text += " (taken from the fill)"
		}
	}
	if s.Starter != nil {
		text += ", starter: " + s.Starter.Describe()
	}
	if s.Reason != "" {
		text += " (" + s.Reason + ")"
	}
	return text
}

func (a Action) words(units chem.System) string {
	text := string(a.What)
	if a.VolumeML != nil {
		text += ", " + chem.FormatVolume(*a.VolumeML, units) + " left"
	}
	if a.Place != "" {
		text += ": " + a.Place
	}
	if a.TempC != nil {
		text += " at " + chem.FormatTemperature(*a.TempC, units)
	}
	if a.Minutes != nil {
		text += fmt.Sprintf(" for %g minutes", *a.Minutes)
	}
	return text
}

func (t Transfer) words(units chem.System) string {
	volume := "some"
	if t.VolumeML != nil {
		volume = chem.FormatVolume(*t.VolumeML, units)
	}
	switch {
	case t.Feed != nil:
		return string(t.What) + ": " + t.Feed.Describe()
	case t.What == Bottled:
		return "bottled " + volume + " as lot " + t.Lot
	case t.VolumeML == nil:
		return "gave a mother to jar " + string(t.To)
	case t.Mother:
		return "gave a mother and " + volume + " to jar " + string(t.To)
	}
	return "gave " + volume + " to jar " + string(t.To)
}

// Words is one step of the lineage, seen from the jar that got it (incoming) or
// gave it: "mother and 200 mL from jar K7RM40".
func (e Edge) Words(incoming bool, units chem.System) string {
	var what []string
	if e.Mother {
		what = append(what, "mother")
	}
	if e.VolumeML != nil {
		what = append(what, chem.FormatVolume(*e.VolumeML, units))
	}
	text := strings.Join(what, " and ")
	switch {
	case incoming && e.FromJar != "":
		text += " from jar " + string(e.FromJar)
	case incoming:
		text += " of " + e.FromName
	case e.ToLot != "":
		text += " bottled as lot " + e.ToLot
	default:
		text += " to jar " + string(e.ToJar)
	}
	return strings.TrimSpace(text)
}
