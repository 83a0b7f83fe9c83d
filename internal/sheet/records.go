package sheet

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Table is a kind of record: its columns, and which of them hold numbers or JSON,
// which JSON Lines have as they are.
type Table struct {
	Name, Means string
	Columns     []Column
	Bare        []bool
}

// Row is one record, its values as text in the order of its table's columns.
type Row struct {
	Table  string
	Values []string
}

// maxLine is the longest line of JSON Lines that is read.
const maxLine = 16 << 20

// recordField names the kind of record in a line of JSON Lines.
const recordField = "record"

// LineWriter writes records as JSON Lines: one object a line, "record" naming
// its kind, then its columns. Numbers and JSON stand as they are, what is not
// there is null.
type LineWriter struct {
	w      *bufio.Writer
	tables map[string]Table
}

// NewLineWriter begins JSON Lines of these tables.
func NewLineWriter(w io.Writer, tables []Table) *LineWriter {
	out := &LineWriter{bufio.NewWriterSize(w, 1<<16), map[string]Table{}}
	for _, t := range tables {
		out.tables[t.Name] = t
	}
	return out
}

// Row writes a record.
func (l *LineWriter) Row(r Row) error {
	t, ok := l.tables[r.Table]
	if !ok || len(r.Values) != len(t.Columns) {
		return fmt.Errorf("sheet: %q is no record, or has %d values", r.Table, len(r.Values))
	}
	l.w.WriteString(`{"` + recordField + `":`)
	if err := l.text(r.Table); err != nil {
		return err
	}
	for i, c := range t.Columns {
		l.w.WriteByte(',')
		if err := l.text(c.Name); err != nil {
			return err
		}
		l.w.WriteByte(':')
		if t.Bare[i] && json.Valid([]byte(r.Values[i])) {
			var small bytes.Buffer // on one line
			if err := json.Compact(&small, []byte(r.Values[i])); err != nil {
				return err
			}
			l.w.Write(small.Bytes())
			continue
		}
		if err := l.text(r.Values[i]); err != nil {
			return err
		}
	}
	_, err := l.w.WriteString("}\n")
	return err
}

func (l *LineWriter) text(s string) error {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(s); err != nil {
		return err
	}
	_, err := l.w.Write(bytes.TrimRight(b.Bytes(), "\n"))
	return err
}

// Flush writes what is still held back.
func (l *LineWriter) Flush() error { return l.w.Flush() }

// LineReader reads what LineWriter wrote, a line at a time.
type LineReader struct {
	s      *bufio.Scanner
	tables map[string]Table
	line   int
}

// NewLineReader reads JSON Lines of these tables.
func NewLineReader(r io.Reader, tables []Table) *LineReader {
	out := &LineReader{bufio.NewScanner(r), map[string]Table{}, 0}
	out.s.Buffer(make([]byte, 1<<16), maxLine)
	for _, t := range tables {
		out.tables[t.Name] = t
	}
	return out
}

// Next is the next record and where it stands; more is false at the end.
func (l *LineReader) Next() (row Row, where string, more bool, err error) {
	for l.s.Scan() {
		l.line++
		text := bytes.TrimSpace(l.s.Bytes())
		if len(text) == 0 {
			continue
		}
		where = fmt.Sprintf("Line %d", l.line)
		row, err := l.row(text)
		if err != nil {
			return row, where, false, &RowError{where, err.Error()}
		}
		return row, where, true, nil
	}
	if err := l.s.Err(); err != nil {
		if errors.Is(err, bufio.ErrTooLong) {
			err = &RowError{fmt.Sprintf("Line %d", l.line+1), "it is longer than any record"}
		}
		return row, "", false, err
	}
	return row, "", false, nil
}

// RowError says what is wrong with one record of a file.
type RowError struct{ Where, Why string }

func (e *RowError) Error() string { return e.Where + ": " + strings.TrimSuffix(e.Why, ".") + "." }

func (l *LineReader) row(text []byte) (Row, error) {
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(text, &fields); err != nil {
		return Row{}, errors.New("it is no JSON object")
	}
	var name string
	if json.Unmarshal(fields[recordField], &name) != nil {
		return Row{}, errors.New(`it does not say which "record" it is`)
	}
	t, ok := l.tables[name]
	if !ok {
		return Row{}, fmt.Errorf("there is no record %q", name)
	}
	row := Row{Table: name, Values: make([]string, len(t.Columns))}
	for i, c := range t.Columns {
		raw, ok := fields[c.Name]
		if !ok {
			return row, fmt.Errorf("%s is missing", c.Name)
		}
		delete(fields, c.Name)
		if t.Bare[i] {
			row.Values[i] = string(raw)
			continue
		}
		if err := json.Unmarshal(raw, &row.Values[i]); err != nil {
			return row, fmt.Errorf("%s is no text", c.Name)
		}
	}
	if len(fields) > 1 {
		for name := range fields {
			if name != recordField {
				return row, fmt.Errorf("%q is no column of a %s", name, t.Name)
			}
		}
	}
	return row, nil
}

// oneLF turns every line break into LF, which is what a CSV reader makes of it.
var oneLF = strings.NewReplacer("\r\n", "\n", "\r", "\n")

// Values writes a line of all cells, in the order of the columns.
func (w *Writer) Values(values []string) error {
	for i, v := range values {
		w.cells[i] = Safe(oneLF.Replace(v))
	}
	return w.csv.Write(w.cells)
}

// TableReader reads one table that Writer wrote.
type TableReader struct {
	name, table string
	csv         *csv.Reader
	columns     int
}

// NewTableReader reads a table's header line, which must have its columns in
// order; name is the file's.
func NewTableReader(r io.Reader, name string, t Table) (*TableReader, error) {
	in := csv.NewReader(r)
	in.ReuseRecord = true
	head, err := in.Read()
	if err != nil {
		return nil, &RowError{name, "its header line cannot be read"}
	}
	want := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		want[i] = c.Name
	}
	if strings.Join(head, ",") != strings.Join(want, ",") {
		return nil, &RowError{name + ", line 1", "the columns must be " + strings.Join(want, ",")}
	}
	return &TableReader{name, t.Name, in, len(t.Columns)}, nil
}

// Next is the next record and where it stands; more is false at the end.
func (r *TableReader) Next() (row Row, where string, more bool, err error) {
	cells, err := r.csv.Read()
	if errors.Is(err, io.EOF) {
		return row, "", false, nil
	}
	if err != nil {
		var wrong *csv.ParseError
		if errors.As(err, &wrong) {
			return row, where, false, &RowError{fmt.Sprintf("%s, line %d", r.name, wrong.Line), wrong.Err.Error()}
		}
		return row, where, false, err
	}
	line, _ := r.csv.FieldPos(0)
	where = fmt.Sprintf("%s, line %d", r.name, line)
	row = Row{Table: r.table, Values: make([]string, len(cells))}
	for i, c := range cells {
		row.Values[i] = Raw(c)
	}
	return row, where, true, nil
}
