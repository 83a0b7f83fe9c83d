package reckon

import "time"

// Makers of fields, so that a table of them reads as one.

func volumeField(name, label, sample, help string) Field {
	return Field{Name: name, Label: label, Unit: "mL", Accepts: Volume, Sample: sample, Help: help}
}

func massField(name, label, sample, help string) Field {
	return Field{Name: name, Label: label, Unit: "g", Accepts: Mass, Sample: sample, Help: help}
}

func temperatureField(name, label, sample, help string) Field {
	return Field{Name: name, Label: label, Unit: "°C", Accepts: Temperature, Sample: sample, Help: help, zeroOK: true, negativeOK: true}
}

func baseField(name, label, sample, help string) Field {
	return Field{Name: name, Label: label, Unit: "mol/L", Accepts: Concentration, Sample: sample, Help: help}
}

func acidityField(name, label, sample, help string) Field {
	return Field{Name: name, Label: label, Unit: "g/100 mL", Accepts: Number, Sample: sample, Help: help, suffixes: aciditySuffixes}
}

func alcoholField(name, label, sample, help string) Field {
	return Field{Name: name, Label: label, Unit: "% vol", Accepts: Number, Sample: sample, Help: help, suffixes: alcoholSuffixes}
}

func numberField(name, label, unit, sample, help string) Field {
	f := Field{Name: name, Label: label, Unit: unit, Accepts: Number, Sample: sample, Help: help}
	if unit != "" {
		f.suffixes = []string{unit}
	}
	return f
}

func dateField(name, label, sample, help string) Field {
	return Field{Name: name, Label: label, Accepts: Date, Sample: sample, Help: help}
}

func choiceField(name, label, none string, choices []string, help string) Field {
	return Field{Name: name, Label: label, Accepts: Choice, Default: none, Choices: choices, Sample: choices[0], Help: help}
}

func listField(name, flag, label, sample, help string, parse func(string, time.Time) (any, error)) Field {
	return Field{Name: name, Flag: flag, Label: label, Accepts: List, Sample: sample, Help: help, parse: parse}
}

func (f Field) required() Field { f.Required = true; return f }

// or says what is taken when nothing is typed.
func (f Field) or(none string) Field { f.Default = none; return f }

// orZero lets the field be 0.
func (f Field) orZero() Field { f.zeroOK = true; return f }

func (f Field) flag(name string) Field { f.Flag = name; return f }

// rare keeps the field out of the way.
func (f Field) rare() Field { f.Rare = true; return f }
