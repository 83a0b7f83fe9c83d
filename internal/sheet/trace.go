package sheet

import (
	"fmt"
	"io"
	"strconv"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// TraceColumns are the columns of a trace as a table.
func TraceColumns() []Column {
	return []Column{
		{"record", "what the line is: subject, hold, balance, back, recipe, jar, forward, lot, bottle (still here) or gift"},
		{"step", "how many steps from the subject; for a jar that lies only behind it, negative"},
		{"what", "how it went: starter, topped up, bottled and so on; for the balance, which figure"},
		{"from", "tag of the jar that it came from, or the name of what was bought"},
		{"from_batch", "that jar's batch and letter"},
		{"to", "tag of the jar that it went into"},
		{"to_batch", "that jar's batch and letter"},
		{"lot", "lot mark"},
		{"food", "name of the food in the lot"},
		{"bottle", "the bottle's tag"},
		{"bottle_number", "its number within the lot"},
		{"bottles", "how many bottles the lot has"},
		{"bottles_given", "how many of them left"},
		{"volume_ml", "how much, mL"},
		{"given_ml", "how much of a lot left, mL"},
		{"mass_g", "how much, g"},
		{"percent", "share accounted for: (on hand + given + used) ÷ made × 100"},
		{"mother", "yes where a mother was carried over"},
		{"live", "yes where what was bought is sold as live"},
		{"stated_acidity_g_per_100ml", "acidity that the label of what was bought states, g acetic acid in 100 mL"},
		{"supplier", "who sold it, with address"},
		{"supplier_lot", "lot mark on what was bought"},
		{"recipient", "who has the bottle"},
		{"when", "day in the kitchen's time zone, with the time and its offset where it is known exactly (RFC 3339)"},
		{"precision", "exact, day or about"},
		{"spread_days", "days either side, where the date is about"},
		{"stage", "stage of the jar now"},
		{"place", "where the jar stands"},
		{"on_hand_ml", "what the jar holds now, mL; empty when that is not known"},
		{"hold", "reason of the hold that stands"},
		{"note", "a note"},
		{"by", "who recorded it"},
	}
}

// WriteTrace writes a trace as a table, one line for each thing that it tells.
func WriteTrace(w io.Writer, t larder.Trace, loc *time.Location) error {
	out, err := NewWriter(w, TraceColumns())
	if err != nil {
		return err
	}
	s := traceSheet{Writer: out, loc: loc, jars: map[larder.Tag]larder.TraceJar{}, foods: map[string]string{}}
	for _, j := range t.Jars {
		s.jars[j.Tag] = j
	}
	for _, l := range t.Lots {
		s.foods[l.ID] = l.Name
	}
	s.write(t)
	if s.err != nil {
		return s.err
	}
	return out.Flush()
}

type traceSheet struct {
	*Writer
	loc   *time.Location
	jars  map[larder.Tag]larder.TraceJar
	foods map[string]string
	err   error
}

type cells = map[string]string

func (s *traceSheet) row(record string, all ...cells) {
	line := cells{"record": record}
	for _, some := range all {
		for name, text := range some {
			line[name] = text
		}
	}
	if s.err == nil {
		s.err = s.Row(line)
	}
}

func (s *traceSheet) write(t larder.Trace) {
	s.row("subject", cells{"what": string(t.Subject.Kind), "from": t.Subject.ID})
	for _, h := range t.Held {
		s.row("hold", cells{"from": string(h.Jar), "lot": h.Lot, "hold": h.Reason}, s.when(h.Since))
	}
	s.balance(t.Balance)
	for _, e := range t.Back {
		s.step("back", e)
	}
	for _, b := range t.Batches {
		for _, i := range b.Ingredients {
			s.row("recipe", cells{"what": i.Amount.String(), "from": i.Name, "to_batch": fmt.Sprintf("batch %d, %s", b.ID, b.Name), "by": b.By,
				"volume_ml": positive(i.Amount.VolumeML), "mass_g": positive(i.Amount.MassG), "supplier": i.Supplier, "supplier_lot": i.SupplierLot}, s.when(b.When))
		}
	}
	for _, j := range t.Jars {
		s.row("jar", cells{"what": string(j.Stage), "to": string(j.Tag), "to_batch": s.batch(j.Tag), "step": steps(j), "stage": string(j.Stage), "place": j.Place, "on_hand_ml": optional(j.VolumeML), "hold": j.Hold})
	}
	for _, e := range t.Forward {
		s.step("forward", e)
	}
	for _, l := range t.Lots {
		s.row("lot", cells{"lot": l.ID, "food": l.Name, "bottles": strconv.Itoa(l.Bottles), "bottles_given": strconv.Itoa(l.Given), "volume_ml": number(l.MadeML), "given_ml": number(l.GivenML), "hold": l.Hold}, s.when(l.When))
	}
	for _, b := range t.Bottles {
		line := cells{"lot": b.Lot, "food": s.foods[b.Lot], "bottle": string(b.Tag), "bottle_number": strconv.Itoa(b.Number), "volume_ml": number(b.SizeML)}
		if b.Gift == nil {
			s.row("bottle", line)
			continue
		}
		s.row("gift", line, cells{"recipient": b.Gift.To, "note": b.Gift.Note, "by": b.Gift.By}, s.when(b.Gift.When))
	}
}

func (s *traceSheet) balance(b larder.Balance) {
	for _, one := range []struct {
		what string
		ml   chem.Millilitres
	}{{"made", b.MadeML}, {"on hand", b.OnHandML}, {"given", b.GivenML}, {"used", b.UsedML}, {"thrown away, part of used", b.DiscardedML}, {"unaccounted", b.UnaccountedML}} {
		s.row("balance", cells{"what": one.what, "volume_ml": number(one.ml)})
	}
	s.row("balance", cells{"what": "accounted for", "percent": number(b.EffectivenessPercent)})
	for _, tag := range b.UnknownJars {
		s.row("balance", cells{"what": "volume not known", "from": string(tag), "from_batch": s.batch(tag)})
	}
}

func (s *traceSheet) step(record string, e larder.Step) {
	from := e.FromName
	if e.FromJar != "" {
		from = string(e.FromJar)
	}
	s.row(record, cells{"step": strconv.Itoa(e.Depth), "what": string(e.What), "from": from, "from_batch": s.batch(e.FromJar), "to": string(e.ToJar), "to_batch": s.batch(e.ToJar), "lot": e.ToLot, "food": s.foods[e.ToLot],
		"volume_ml": optional(e.VolumeML), "mass_g": optional(e.MassG), "mother": yes(e.Mother), "live": yes(e.Live), "stated_acidity_g_per_100ml": optional(e.StatedAcidity),
		"supplier": e.Supplier, "supplier_lot": e.SupplierLot}, s.when(e.When))
}

func (s *traceSheet) batch(tag larder.Tag) string {
	j, ok := s.jars[tag]
	if !ok {
		return ""
	}
	return fmt.Sprintf("%s jar %s", j.Batch, j.Letter)
}

func (s *traceSheet) when(w larder.When) cells {
	if w.IsZero() {
		return nil
	}
	layout, spread := "2006-01-02", ""
	if w.Precision == larder.Exact {
		layout = time.RFC3339
	}
	if w.Precision == larder.About {
		spread = strconv.Itoa(w.SpreadDays)
	}
	return cells{"when": w.At.In(s.loc).Format(layout), "precision": string(w.Precision), "spread_days": spread}
}

// steps is how far a jar lies from the subject: "0" is the subject itself,
// negative behind it.
func steps(j larder.TraceJar) string {
	switch {
	case j.Forward != nil:
		return strconv.Itoa(*j.Forward)
	case j.Back != nil:
		return strconv.Itoa(-*j.Back)
	}
	return ""
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return ""
}

func number[T ~float64](v T) string { return strconv.FormatFloat(float64(v), 'f', -1, 64) }

func positive[T ~float64](v T) string {
	if v > 0 {
		return number(v)
	}
	return ""
}

func optional[T ~float64](v *T) string {
	if v == nil {
		return ""
	}
	return number(*v)
}
