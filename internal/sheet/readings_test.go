package sheet

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"cruet/internal/larder"
)

var now = time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)

func readings(t testing.TB, text string) ([]Reading, []string) {
	t.Helper()
	r, err := NewReadingReader(strings.NewReader(text), now, time.UTC)
	if err != nil {
		return nil, []string{err.Error()}
	}
	var out []Reading
	var wrong []string
	for {
		one, more, err := r.Next()
		var p larder.Problems
		switch {
		case errors.As(err, &p):
			wrong = append(wrong, fmt.Sprintf("%d: %v", one.Line, err))
		case err != nil:
			return out, append(wrong, err.Error())
		case !more:
			return out, wrong
		default:
			out = append(out, one)
		}
		if !more {
			return out, wrong
		}
	}
}

// Tables as spreadsheets in several countries write them say the same.
func TestReadingsOfManySpreadsheets(t *testing.T) {
	for name, text := range map[string]string{
		"commas":     "tag,date,ph,temp_c,volume_l\nK7RM74,2026-11-20,3.2,20,2.5\n",
		"semicolons": "\uFEFFTag;Date;pH;Temp °C;Volume (L)\r\nK7RM74;2026-11-20;3,2;20;2,5\r\n",
		"tabs":       "Jar\tDay\tPH\tTemp F\tVolume\nK7RM74\t20 Nov\t3,2\t68\t2500 mL\n\t\t\t\t\n",
		"quoted":     "name,when,ph,temperature,volume_ml\n\"K7RM74\",\"2026-11-20\",\"3,2\",\"20 C\",2500\n",
	} {
		got, wrong := readings(t, text)
		if len(got) != 1 || len(wrong) > 0 {
			t.Errorf("%s: %+v, %v", name, got, wrong)
			continue
		}
		b := got[0].Entry.Body.(larder.Reading)
		// 68 °F is 20 °C: NIST SP 811, B.8.
		if got[0].Jar != "K7RM74" || float64(*b.PH) != 3.2 || float64(*b.TempC) < 19.999 || float64(*b.TempC) > 20.001 || *b.VolumeML != 2500 || got[0].Entry.When.DateIn(time.UTC) != "20 Nov 2026" {
			t.Errorf("%s: %+v", name, got[0])
		}
	}
}

func TestReadingsRefused(t *testing.T) {
	for text, says := range map[string]string{
		"":                               "header line",
		"jar,date,jar\n":                 "says the same as another",
		"jar,tag,date\n":                 "says the same as another",
		"jar,date,ph\nA,2026-11-20\n":    "2: It has 2 cells, and the header line has 3.",
		"jar,date,ph\n,2026-11-20,3\n":   "2: The jar is missing.",
		"jar,date,ph\nA,,3\n":            "date: The date is missing.",
		"jar,date,temp\nA,1 Nov,20\n":    "has no unit",
		"jar,date,ph\nA,1 Nov,\"3\nx\n":  "quote",
		"jar,date,ph\nA,1 Nov,=3+1\n":    "ph: ",
		"jar,date,ph\nA,1 Nov,\"'=3\"\n": "ph: ",
	} {
		got, wrong := readings(t, text)
		if len(got) > 0 || len(wrong) != 1 || !strings.Contains(wrong[0], says) {
			t.Errorf("%q: %v, %v, want %q", text, got, wrong, says)
		}
	}
}

// Any bytes give readings or a sentence, and the reader ends.
func FuzzReadings(f *testing.F) {
	for _, text := range []string{"tag,date,ph\nK7RM74,2026-11-20,3.2\n", "\uFEFFJar;Day;Temp F\n\"a\nb\";1 Nov;68\n", "jar\tdate\tvolume_l\nA\tabout 3 Oct\t2,5\n", "jar,date\n\"", "jar,date,ph\n,,\n"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) { readings(t, text) })
}

// Any bytes give records or a sentence, and the readers end.
func FuzzRecords(f *testing.F) {
	tables := []Table{{Name: "tag", Columns: []Column{{Name: "tag"}, {Name: "n"}}, Bare: []bool{false, true}}}
	f.Add(`{"record":"tag","tag":"K7RM74","n":5}` + "\n")
	f.Add("tag,n\r\nK7RM74,5\r\n\"'=x\",6\r\n")
	f.Add(`{"record":"tag"`)
	f.Add("tag,n\n\"00")
	f.Fuzz(func(t *testing.T, text string) {
		lines := NewLineReader(strings.NewReader(text), tables)
		for more := true; more; {
			var err error
			if _, _, more, err = lines.Next(); err != nil {
				break
			}
		}
		table, err := NewTableReader(strings.NewReader(text), "tag.csv", tables[0])
		for more := err == nil; more; {
			if _, _, more, err = table.Next(); err != nil {
				break
			}
		}
	})
}
