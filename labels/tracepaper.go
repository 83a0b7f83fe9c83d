package labels

import (
	"fmt"
	"io"
	"strings"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// TraceRecord is a trace to be printed.
type TraceRecord struct {
	Kitchen larder.Kitchen
	Trace   larder.Trace
	Name    string // what the subject is in words; empty: from the trace
	Page    Page
	Date    time.Time // of printing; zero: now
}

// WriteTrace makes a trace as a PDF: one step back at a time and one step
// forward, with the fields that Regulation (EC) 178/2002 art. 18 and the US
// rules on one-up-one-down records (21 CFR 1.337, 1.345) ask for, and the volume
// balance that a recall needs.
func WriteTrace(w io.Writer, t TraceRecord) error {
	if t.Date.IsZero() {
		t.Date = time.Now()
	}
	if t.Page == (Page{}) {
		t.Page = A4
	}
	s := traceSheet{TraceRecord: t, document: newDocument(t.Kitchen, t.Page, "Trace of "+t.Trace.Subject.ID, t.Date)}
	s.p.foot = func(int, int) string { return t.Kitchen.Name + ", trace of " + t.Trace.Subject.ID }
	s.head()
	s.holds()
	s.balance()
	s.back()
	s.forward()
	s.lots()
	s.people()
	s.end()
	return s.p.write(w)
}

type traceSheet struct {
	TraceRecord
	document
}

func (s traceSheet) head() {
	kind := map[larder.SubjectKind]string{larder.SubjectJar: "jar", larder.SubjectBottle: "bottle", larder.SubjectLot: "lot", larder.SubjectBatch: "batch", larder.SubjectNamed: ""}[s.Trace.Subject.Kind]
	id := s.Trace.Subject.ID
	if s.Trace.Subject.Kind == larder.SubjectBottle {
		id = larder.Tag(id).Spaced()
	}
	name := firstOf(s.Name, strings.TrimSpace(upperFirst(kind+" "+id)))
	s.title("Trace", name, fmt.Sprintf("%s. Printed %s.", strings.TrimSuffix(makerOf(s.Kitchen), "."), s.Date.In(s.loc).Format("2 Jan 2006, 15:04")))
}

func (s traceSheet) holds() {
	if len(s.Trace.Held) == 0 {
		return
	}
	s.heading("Holds")
	for _, h := range s.Trace.Held {
		s.p.say(style("bold", 9.5), upperFirst(h.String()))
	}
	s.p.say(style("sans", 8.5).ink(60), "While a hold stands, nothing that came from it may be bottled or given away.")
}

func (s traceSheet) balance() {
	b := s.Trace.Balance
	s.heading("Where it is")
	v := func(x chem.Millilitres) string { return chem.FormatVolume(x, s.units) }
	s.fact("made", v(b.MadeML)+" ("+s.Trace.MadeOf()+")")
	s.fact("on hand", v(b.OnHandML))
	s.fact("given", v(b.GivenML))
	used := v(b.UsedML)
	if b.DiscardedML > 0 {
		used += ", of that thrown away " + v(b.DiscardedML)
	}
	s.fact("used", used)
	s.fact("unaccounted", v(b.UnaccountedML)+" (straining, samples, evaporation, lees, spills)")
	if b.MadeML > 0 {
		s.fact("accounted for", fmt.Sprintf("%.0f %% (on hand + given + used) ÷ made; target 100 %%", b.EffectivenessPercent))
	}
	if len(b.UnknownJars) > 0 {
		tags := make([]string, len(b.UnknownJars))
		for i, t := range b.UnknownJars {
			tags[i] = string(t)
		}
		s.fact("volume not known", strings.Join(tags, ", "))
	}
}

// back lists what it came from, one step at a time, then the recipes: who sold
// what, when, and the mark on its pack.
func (s traceSheet) back() {
	s.heading("What it came from")
	if len(s.Trace.Back)+len(s.Trace.Batches) == 0 {
		s.p.say(style("sans", 8.5).ink(60), "Nothing on record.")
		return
	}
	var rows [][]string
	for _, e := range s.Trace.Back {
		from := string(e.FromJar)
		if from == "" {
			from = e.FromName
		} else {
			from = s.jar(e.FromJar)
		}
		rows = append(rows, []string{fmt.Sprint(e.Depth), from, s.into(e), s.amount(e), e.When.DateIn(s.loc), joinNonEmpty("; lot ", e.Supplier, e.SupplierLot)})
	}
	if len(rows) > 0 {
		s.table([]tableColumn{{"Step", 8}, {"From", 0}, {"Into", 42}, {"How much", 30}, {"When", 22}, {"Supplier", 28}}, rows, nil)
	}
	for _, b := range s.Trace.Batches {
		s.p.need(18)
		s.p.space(1.5)
		s.p.say(style("bold", 9), fmt.Sprintf("Recipe of batch %d, %s, %s", b.ID, b.Name, b.When.DateIn(s.loc)))
		s.p.space(1)
		var list [][]string
		for _, i := range b.Ingredients {
			amount := "not recorded"
			if i.Amount != (chem.Amount{}) {
				amount = i.Amount.String()
			}
			list = append(list, []string{i.Name, amount, firstOf(i.Supplier, "not recorded"), firstOf(i.SupplierLot, "not recorded")})
		}
		if len(list) == 0 {
			s.p.say(style("sans", 8.5).ink(60), "No ingredients on record.")
			continue
		}
		s.table([]tableColumn{{"Ingredient", 0}, {"Amount", 28}, {"Supplier, address", 55}, {"Supplier's lot", 28}}, list, nil)
	}
}

func (s traceSheet) jar(tag larder.Tag) string {
	for _, j := range s.Trace.Jars {
		if j.Tag == tag {
			return fmt.Sprintf("%s, %s jar %s", tag, j.Batch, j.Letter)
		}
	}
	return string(tag)
}

func (s traceSheet) into(e larder.Step) string {
	if e.ToLot != "" {
		return "lot " + e.ToLot
	}
	return s.jar(e.ToJar)
}

func (s traceSheet) amount(e larder.Step) string {
	var parts []string
	if e.Mother {
		parts = append(parts, "mother")
	}
	if e.VolumeML != nil {
		parts = append(parts, chem.FormatVolume(*e.VolumeML, s.units))
	}
	if e.MassG != nil {
		parts = append(parts, chem.FormatMass(*e.MassG, s.units))
	}
	text := firstOf(strings.Join(parts, " and "), "not recorded") + " (" + string(e.What) + ")"
	if e.StatedAcidity != nil {
		text += fmt.Sprintf(", stated %.3g %%", float64(*e.StatedAcidity))
	}
	if e.Live {
		text += ", live"
	}
	return text
}

func (s traceSheet) forward() {
	s.heading("What it went into")
	if len(s.Trace.Forward) == 0 {
		s.p.say(style("sans", 8.5).ink(60), "No other jar or lot.")
	} else {
		var rows [][]string
		for _, e := range s.Trace.Forward {
			from := e.FromName
			if e.FromJar != "" {
				from = s.jar(e.FromJar)
			}
			rows = append(rows, []string{fmt.Sprint(e.Depth), from, s.into(e), s.amount(e), e.When.DateIn(s.loc)})
		}
		s.table([]tableColumn{{"Step", 8}, {"From", 0}, {"Into", 55}, {"How much", 35}, {"When", 24}}, rows, nil)
	}
	var rows [][]string
	for _, j := range s.Trace.Jars {
		if j.Forward == nil {
			continue
		}
		state := string(j.Stage)
		if j.Hold != "" {
			state += ", on hold: " + j.Hold
		}
		rows = append(rows, []string{s.jar(j.Tag), state, j.Place, s.volume(j.VolumeML)})
	}
	if len(rows) > 0 {
		s.p.need(18)
		s.p.space(1.5)
		s.p.say(style("bold", 9), "Jars that it is or was in, as they stand now")
		s.p.space(1)
		s.table([]tableColumn{{"Jar", 0}, {"Stage", 50}, {"Place", 35}, {"Holds now", 25}}, rows, nil)
	}
}

func (s traceSheet) lots() {
	if len(s.Trace.Lots) == 0 {
		return
	}
	s.heading("Lots")
	var rows [][]string
	for _, l := range s.Trace.Lots {
		rows = append(rows, []string{l.ID, joinNonEmpty(", on hold: ", l.Name, l.Hold), l.When.DateIn(s.loc), fmt.Sprint(l.Bottles), chem.FormatVolume(l.MadeML, s.units), fmt.Sprint(l.Given), fmt.Sprint(l.Bottles - l.Given)})
	}
	s.table([]tableColumn{{"Lot", 24}, {"Food", 0}, {"Bottled", 24}, {"Bottles", 13}, {"Volume", 18}, {"Given", 12}, {"Here", 12}}, rows, nil)
}

// people lists what was released, to whom and when.
func (s traceSheet) people() {
	gifts := s.Trace.Gifts()
	if len(gifts) == 0 {
		s.heading("Who has it")
		s.p.say(style("sans", 8.5).ink(60), "Nobody on record: no bottle of it was given away.")
		return
	}
	s.heading("Who has it")
	names := map[string]string{}
	for _, l := range s.Trace.Lots {
		names[l.ID] = l.Name
	}
	var rows [][]string
	for _, b := range gifts {
		rows = append(rows, []string{b.Gift.To, names[b.Lot], fmt.Sprintf("%s, bottle %d", b.Lot, b.Number), chem.FormatVolume(b.SizeML, s.units), b.Gift.When.DateIn(s.loc), b.Gift.By})
	}
	s.table([]tableColumn{{"To whom", 0}, {"Food", 42}, {"Lot and bottle", 34}, {"Quantity", 16}, {"Released", 24}, {"By", 10}}, rows, nil)
}

func (s traceSheet) end() {
	s.p.need(60) // a signature never stands alone on a page
	s.p.space(6)
	s.p.say(style("sans", 8.5).ink(60), "Food businesses also keep the address and telephone number of whom they supplied and who carried it (21 CFR 1.345; Regulation (EC) 178/2002 art. 18); add them by hand where they apply. Final consumers need not be named there. Local rules come first.")
	s.signOff()
}
