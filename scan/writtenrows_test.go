package scan

import (
	"bytes"
	"fmt"
	"html/template"
	"reflect"
	"testing"
)

// freshRow is a row as the template writes it, without what is kept.
func freshRow(t *testing.T, lang string, l line) template.HTML {
	t.Helper()
	var b bytes.Buffer
	if err := pageIn(lang, "jar")().ExecuteTemplate(&b, "historyrow", l); err != nil {
		t.Fatal(err)
	}
	return template.HTML(b.String())
}

// changes of one value: of each of its fields, and theirs.
func variants(v reflect.Value, name string, each func(name string)) {
	switch v.Kind() {
	case reflect.String:
		before := v.String()
		for i := range 2 {
			v.SetString(before + fmt.Sprintf("<%d", i))
			each(name)
		}
		v.SetString(before)
	case reflect.Int:
		v.SetInt(v.Int() + 1)
		each(name)
		v.SetInt(v.Int() - 1)
	case reflect.Bool:
		v.SetBool(!v.Bool())
		each(name)
		v.SetBool(!v.Bool())
	case reflect.Slice:
		before := v.Interface()
		for i := range v.Len() {
			variants(v.Index(i), fmt.Sprintf("%s %d", name, i), each)
		}
		v.Set(v.Slice(0, v.Len()-1))
		each(name + " shorter")
		v.Set(reflect.ValueOf(before))
	case reflect.Pointer:
		before := v.Interface()
		variants(v.Elem(), name, each)
		v.SetZero()
		each(name + " missing")
		v.Set(reflect.ValueOf(before))
	case reflect.Struct:
		for i := range v.NumField() {
			variants(v.Field(i), name+"."+v.Type().Field(i).Name, each)
		}
	default:
		panic("a row holds a " + v.Kind().String() + ", of which this test knows nothing")
	}
}

// A kept row is what would be written afresh, whichever of its words changed, in
// each language.
func TestWrittenRowsAreTheTemplates(t *testing.T) {
	l := line{ID: "1", Kind: "reading", When: "25 Nov", By: "ro", Logged: "26 Nov", Title: "pH 3.2", Details: []string{"a", "b"}, Note: "n", Links: []link{{"/J/1", "Jar 1"}, {"/J/2", "Jar 2"}},
		Shot: &shot{"/u", "/s", "alt", 4, 3}, StruckWhy: "w", StruckBy: "ana", StrikeURL: "/strike"}
	cases := 0
	l.Struck = true // what struck it shows only then
	variants(reflect.ValueOf(&l).Elem(), "line", func(name string) {
		cases++
		for _, lang := range languages {
			tag := lang.tag.String()
			for range 2 {
				got, err := writtenRows([]line{l}, tag)
				if want := freshRow(t, tag, l); err != nil || got != want {
					t.Errorf("%s, in %s: kept as\n%s\nwritten\n%s\n%v", name, tag, got, want, err)
				}
			}
		}
	})
	if cases < 40 {
		t.Errorf("only %d changes were tried", cases)
	}
	// Words that run over from one field into the next make another row.
	one, _ := writtenRows([]line{{Title: "ab", Note: "c"}}, "en")
	two, _ := writtenRows([]line{{Title: "a", Note: "bc"}}, "en")
	if one == two {
		t.Error("two rows are one")
	}
	for i := range mostRows + 100 {
		if _, err := writtenRows([]line{{Title: fmt.Sprint(i)}}, "en"); err != nil {
			t.Fatal(err)
		}
	}
	if len(written.rows) > mostRows {
		t.Errorf("%d rows are kept", len(written.rows))
	}
}
