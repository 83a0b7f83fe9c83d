package sheet

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// ReadingColumns are the columns that a maker's own table of readings may have,
// in any order. Jar and date must be there.
func ReadingColumns() []Column {
	return []Column{
		{"jar", "the jar's tag, or its batch's name and letter: \"Pear trimmings A\"; also called tag or name"},
		{"date", "when it was read: 2026-11-22, \"22 Nov\", \"about 22 Nov\", with a time if known; also called when or day"},
		{"ph", "pH as the meter showed it"},
		{"temp_c", "temperature, °C; temp_f for °F, or temp with the unit in each cell"},
		{"specific_gravity", "as the hydrometer showed it; also called sg or gravity"},
		{"brix", "degrees Brix"},
		{"abv_percent_vol", "alcohol, % by volume; also called abv or alcohol"},
		{"volume_ml", "liquid in the jar, mL; volume_l for litres, or volume with the unit in each cell"},
		{"instrument", "the meter's or hydrometer's name; also called meter"},
		{"note", "anything else; alone it is a note"},
	}
}

// readingNames are the columns by all names that they may have; the second word
// is the unit of a bare number.
var readingNames = map[string][2]string{
	"jar": {"jar"}, "tag": {"jar"}, "name": {"jar"}, "date": {"date"}, "when": {"date"}, "day": {"date"}, "ph": {"ph"},
	"temp": {"temp"}, "temperature": {"temp"}, "tempc": {"temp", " °C"}, "temperaturec": {"temp", " °C"}, "tempf": {"temp", " °F"}, "temperaturef": {"temp", " °F"},
	"sg": {"specific_gravity"}, "gravity": {"specific_gravity"}, "specificgravity": {"specific_gravity"}, "brix": {"brix"}, "bx": {"brix"},
	"abv": {"abv_percent_vol"}, "alcohol": {"abv_percent_vol"}, "abvpercentvol": {"abv_percent_vol"},
	"volume": {"volume"}, "volumeml": {"volume", " mL"}, "volumel": {"volume", " L"}, "instrument": {"instrument"}, "meter": {"instrument"}, "note": {"note"}, "notes": {"note"}, "remark": {"note"},
}

// Reading is one line of a table: the jar as it is named there and the entry.
type Reading struct {
	Line  int
	Jar   string
	Entry larder.NewEntry
}

// ReadingReader reads a maker's own table of readings, a line at a time.
type ReadingReader struct {
	csv   *csv.Reader
	heads []readingHead
	now   time.Time
	loc   *time.Location
}

type readingHead struct{ name, unit string }

// NewReadingReader reads the header line. Cells may be parted by commas,
// semicolons or tabs, and decimals may have a comma where those do not part them.
// Dates are in the zone loc.
func NewReadingReader(r io.Reader, now time.Time, loc *time.Location) (*ReadingReader, error) {
	in := bufio.NewReaderSize(r, 1<<16)
	if mark, err := in.Peek(3); err == nil && string(mark) == "\uFEFF" {
		if _, err := in.Discard(3); err != nil {
			return nil, err
		}
	}
	begin, err := in.Peek(in.Size())
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	first, _, _ := strings.Cut(string(begin), "\n")
	out := &ReadingReader{csv: csv.NewReader(in), now: now, loc: loc}
	out.csv.ReuseRecord = true
	for _, part := range ";\t" {
		if strings.Count(first, string(part)) > strings.Count(first, ",") {
			out.csv.Comma = part
		}
	}
	out.csv.TrimLeadingSpace = out.csv.Comma != '\t' // a tab is a space, too
	heads, err := out.csv.Read()
	if err != nil {
		return nil, &RowError{"Line 1", "the header line with the names of the columns cannot be read"}
	}
	return out, out.readHeads(heads)
}

func (r *ReadingReader) readHeads(heads []string) error {
	seen := map[string]bool{}
	for _, h := range heads {
		plain := strings.Map(func(c rune) rune {
			if unicode.IsLetter(c) || unicode.IsDigit(c) {
				return unicode.ToLower(c)
			}
			return -1
		}, h)
		known, ok := readingNames[plain]
		switch {
		case strings.Contains(plain, "acid"):
			return &RowError{"Line 1", fmt.Sprintf("the column %q cannot be taken: acidity comes from a titration with its sample, base and burette readings. Log those, and leave the column out", h)}
		case !ok:
			return &RowError{"Line 1", fmt.Sprintf("the column %q is not known. Known are %s. Rename it, or leave it out", h, knownReadings())}
		case seen[known[0]]:
			return &RowError{"Line 1", fmt.Sprintf("the column %q says the same as another", h)}
		}
		seen[known[0]] = true
		r.heads = append(r.heads, readingHead{known[0], known[1]})
	}
	for _, name := range []string{"jar", "date"} {
		if !seen[name] {
			return &RowError{"Line 1", "the column " + name + " is missing"}
		}
	}
	return nil
}

func knownReadings() string {
	var names []string
	for _, c := range ReadingColumns() {
		names = append(names, c.Name)
	}
	return strings.Join(names, ", ")
}

// Next is the next line; more is false at the end. What is wrong with its cells
// is a larder.Problems, and the lines after it can still be read; a table that
// cannot be read on is a *RowError.
func (r *ReadingReader) Next() (out Reading, more bool, err error) {
	cells, err := r.csv.Read()
	if errors.Is(err, io.EOF) {
		return out, false, nil
	}
	var wrong *csv.ParseError
	switch {
	case errors.As(err, &wrong) && errors.Is(err, csv.ErrFieldCount):
		out.Line = wrong.Line
		return out, true, larder.Refuse("", fmt.Sprintf("It has %d cells, and the header line has %d.", len(cells), len(r.heads)))
	case errors.As(err, &wrong):
		return out, false, &RowError{fmt.Sprintf("Line %d", wrong.Line), wrong.Err.Error()}
	case err != nil:
		return out, false, err
	}
	out.Line, _ = r.csv.FieldPos(0)
	if !slices.ContainsFunc(cells, func(c string) bool { return strings.TrimSpace(c) != "" }) {
		return r.Next() // an empty line of a spreadsheet
	}
	return out, true, r.read(&out, cells)
}

func (r *ReadingReader) read(out *Reading, cells []string) error {
	var p larder.Problems
	var b larder.Reading
	some := false
	for i, head := range r.heads {
		text := strings.TrimSpace(Raw(cells[i]))
		switch head.name {
		case "jar":
			out.Jar = text
			continue
		case "note":
			out.Entry.Note = text
			continue
		case "date":
			w, err := larder.ParseWhen(text, r.now, r.loc)
			if err == nil && w.IsZero() {
				err = larder.Refuse("", "The date is missing.")
			}
			out.Entry.When = w
			addTo(&p, head.name, err)
			continue
		case "instrument":
			b.Instrument = text
			continue
		}
		if text == "" {
			continue
		}
		some = true
		bare := !strings.ContainsFunc(text, unicode.IsLetter)
		if bare {
			text += head.unit
		}
		var err error
		switch head.name {
		case "ph":
			b.PH, err = plainReading[chem.PH](text)
		case "specific_gravity":
			b.SG, err = plainReading[chem.SpecificGravity](text)
		case "brix":
			b.Brix, err = plainReading[chem.DegreesBrix](text)
		case "abv_percent_vol":
			b.ABV, err = plainReading[chem.PercentVol](text)
		case "temp":
			b.TempC, err = parsed(text, chem.ParseTemperature)
		case "volume":
			b.VolumeML, err = parsed(text, chem.ParseVolume)
		}
		addTo(&p, head.name, err)
	}
	if out.Jar == "" {
		p.Add("jar", "The jar is missing.")
	}
	switch {
	case some:
		out.Entry.Body = b
	case out.Entry.Note != "":
		out.Entry.Body = larder.Note{}
	case len(p) == 0:
		p.Add("", "There is no value in it.")
	}
	return p.Err()
}

// addTo names the column in front of what is wrong.
func addTo(p *larder.Problems, column string, err error) {
	if err != nil {
		p.Add(column, column+": "+err.Error())
	}
}

func plainReading[T ~float64](text string) (*T, error) {
	v, err := chem.ParseNumber(strings.TrimSpace(strings.TrimSuffix(text, "%")))
	if err != nil {
		return nil, err
	}
	return new(T(v)), nil
}

func parsed[T any](text string, parse func(string) (T, error)) (*T, error) {
	v, err := parse(text)
	if err != nil {
		return nil, err
	}
	return &v, nil
}
