package scan

import (
	"fmt"
	"net/url"
	"strings"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// benchRows is how many buffers or runs a bench form takes.
const benchRows = 3

// How a base may be checked.
const (
	asStated         = "stated"
	againstPhthalate = "phthalate"
	againstVinegar   = "vinegar"
)

// benchForm lays out the form of one kind; name is the meter or base used last.
func benchForm(kind larder.BenchKind, b *builder, name, by string) form {
	var f form
	switch kind {
	case larder.KindCalibration:
		f = calibrationForm(b)
	case larder.KindBase:
		f = baseForm(b)
	default:
		f = form{Title: "Log a control sample", Submit: "Save the control sample", Fields: []field{
			b.text("meter", "Meter", "", larder.MaxNameRunes),
			row("", b.number("ph", "pH shown", "", ""), b.temperature("temp_c", "Temperature", ""))}}
	}
	if b.typed == nil {
		f.Fields[0].Value = name
	}
	f.Fields = append(append(f.Fields, b.area("note", "Note", "")), b.whenAndBy(by)...)
	return f
}

func calibrationForm(b *builder) form {
	buffers := []option{{Value: "", Text: "–"}}
	for _, x := range chem.Buffers() {
		buffers = append(buffers, option{Value: string(x), Text: bufferName(x)})
	}
	fields := []field{b.text("meter", "Meter", "", larder.MaxNameRunes)}
	for i := 1; i <= benchRows; i++ {
		label := fmt.Sprintf("Buffer %d", i)
		if i == benchRows {
			label += ", if you have it"
		}
		fields = append(fields,
			row(label, b.pull(runField("buffer", i), "buffer at 25 °C", "", buffers...), b.number(runField("buffer_ph", i), "or pH on bottle", "", "")),
			row("", b.temperature(runField("temperature_c", i), "temperature", ""), b.withUnits(runField("shown", i), "meter showed", "", []string{"pH", "mV"})))
	}
	fields = append(fields, b.check("adjusted", "the meter was set by these buffers afterwards"))
	return form{Title: "Calibrate a meter", Submit: "Save the calibration", Fields: fields,
		Intro: "Two or three buffers, rinsed between. Type what the meter shows before it is set."}
}

// bufferName is "1.68 tetroxalate": the value at 25 °C first, as on its bottle.
func bufferName(b chem.Buffer) string {
	ph, err := b.PH(25)
	if err != nil {
		return string(b)
	}
	name := strings.ReplaceAll(string(b), "_", " ")
	if strings.HasPrefix(name, "tech ") {
		name = "technical"
	}
	return fmt.Sprintf("%.2f %s", float64(ph), name)
}

func baseForm(b *builder) form {
	fields := []field{
		b.text("base", "Which base", `like "sodium hydroxide 0.1 mol/L"`, larder.MaxNameRunes),
		b.choice("how", "Checked", againstPhthalate,
			option{Value: againstPhthalate, Text: "against phthalate", Pick: againstPhthalate},
			option{Value: againstVinegar, Text: "against a bought vinegar", Pick: againstVinegar},
			option{Value: asStated, Text: "fresh bottle, as it says", Pick: asStated}),
		only(b.number("stated_mol_per_l", "Strength on the bottle", "mol/L", "opened just now"), asStated),
		only(row("Bought vinegar", b.number("labelled_g_per_100ml", "its label", "%", ""), b.number("sample_ml", "sample", "mL", "")), againstVinegar),
	}
	for i := 1; i <= benchRows; i++ {
		fields = append(fields,
			only(row(fmt.Sprintf("Run %d", i), b.number(runField("khp_g", i), "phthalate", "g", ""), b.number(runField("base_ml", i), "base used", "mL", "")), againstPhthalate),
			only(b.number(runField("vinegar_base_ml", i), fmt.Sprintf("Run %d, base used", i), "mL", ""), againstVinegar))
	}
	fields = append(fields,
		only(row("If you know them", b.number("blank_ml", "blank", "mL", ""), b.number("burette_tolerance_ml", "burette ±", "mL", "")), againstPhthalate+" "+againstVinegar),
		only(b.number("mass_tolerance_g", "Balance ±", "g", "as printed on it"), againstPhthalate))
	return form{Title: "Check the base", Submit: "Save the check", Caution: chem.BaseCaution, Fields: fields}
}

// readBench reads the bench's form of that kind; ok is false when there is none.
func readBench(kind larder.BenchKind, r *reader) (n larder.NewBench, ok bool) {
	n.When, n.Note = r.when(), r.text("note")
	switch kind {
	case larder.KindCalibration:
		n.Body = readCalibration(r)
	case larder.KindBase:
		n.Body = readBaseCheck(r)
	case larder.KindControl:
		n.Body = larder.ControlSample{Meter: r.text("meter"), PH: chem.PH(r.need("ph", "Type what the meter showed.")), TempC: r.needTemperature("temp_c")}
	default:
		return n, false
	}
	return n, true
}

func (r *reader) needTemperature(name string) chem.Celsius {
	if r.text(name) == "" {
		r.problems.Add(name, "Say how warm it was.")
		return 0
	}
	if t := r.temperature(name); t != nil {
		return *t
	}
	return 0
}

// filledBuffers are the rows in which a buffer was typed.
func filledBuffers(typed url.Values) []int {
	var out []int
	for i := 1; i <= benchRows; i++ {
		text := ""
		for _, name := range []string{"buffer", "buffer_ph", "temperature_c", "shown"} {
			text += strings.TrimSpace(typed.Get(runField(name, i)))
		}
		if text != "" {
			out = append(out, i)
		}
	}
	return out
}

func readCalibration(r *reader) larder.MeterCalibration {
	m := larder.MeterCalibration{Meter: r.text("meter"), Adjusted: r.text("adjusted") != ""}
	for _, i := range filledBuffers(r.typed) {
		pt := chem.CalibrationPoint{Buffer: chem.Buffer(r.text(runField("buffer", i))), BufferPH: typedAs[chem.PH](r.number(runField("buffer_ph", i))),
			TemperatureC: r.needTemperature(runField("temperature_c", i))}
		if pt.Buffer == "" && r.text(runField("buffer_ph", i)) == "" {
			r.problems.Add(runField("buffer", i), "Choose the buffer, or type the pH that its bottle gives.")
		}
		shown := runField("shown", i)
		if v := r.need(shown, "Type what the meter showed."); r.typed.Get(shown+"_unit") == "mV" {
			pt.MV = &v
		} else {
			pt.ShownPH = new(chem.PH(v))
		}
		m.Points = append(m.Points, pt)
	}
	return m
}

func readBaseCheck(r *reader) larder.BaseCheck {
	b := larder.BaseCheck{Base: r.text("base")}
	how := r.text("how")
	if how == asStated {
		b.StatedMolPerL = chem.MolPerLitre(r.need("stated_mol_per_l", "Type the strength that the bottle gives, in mol/L."))
		return b
	}
	s := &chem.Standardisation{BlankML: r.millilitres("blank_ml"), BuretteTolML: r.millilitres("burette_tolerance_ml")}
	b.Against = s
	if how == againstVinegar {
		s.LabelledGPer100ML = chem.GramsPer100ML(r.need("labelled_g_per_100ml", "Type the strength on the label, like 5."))
		s.VinegarML = chem.Millilitres(r.need("sample_ml", "Say how much of it was titrated, in mL."))
		for i := 1; i <= benchRows; i++ {
			if v := r.number(runField("vinegar_base_ml", i)); v != nil {
				s.VinegarBaseML = append(s.VinegarBaseML, chem.Millilitres(*v))
			}
		}
		return b
	}
	if v := r.number("mass_tolerance_g"); v != nil {
		s.MassTolG = chem.Grams(*v)
	}
	for i := 1; i <= benchRows; i++ {
		mass, base := runField("khp_g", i), runField("base_ml", i)
		if r.text(mass) == "" && r.text(base) == "" {
			continue
		}
		s.Runs = append(s.Runs, chem.KHPRun{KHPG: chem.Grams(r.need(mass, "Type how much phthalate was weighed, in g.")),
			BaseML: chem.Millilitres(r.need(base, "Type how much base it took, in mL."))})
	}
	return b
}

// millilitres is an optional plain number of mL.
func (r *reader) millilitres(name string) chem.Millilitres {
	if v := r.number(name); v != nil {
		return chem.Millilitres(*v)
	}
	return 0
}
