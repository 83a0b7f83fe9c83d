package larder

import (
	"strings"
	"testing"
)

func TestReadCode(t *testing.T) {
	jar, err := NewJarTag(MinJarTag)
	if err != nil {
		t.Fatal(err)
	}
	bottle, err := NewBottleTag()
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []CodeText{
		{Text: jar.Link("192.168.1.20:8080"), Address: "192.168.1.20:8080", Tag: jar},
		{Text: jar.Link("cruet.local"), Address: "cruet.local", Tag: jar},
		{Text: bottle.Link("10.0.0.7:8080"), Address: "10.0.0.7:8080", Tag: bottle},
		{Text: "https://Example.org/vinegar/b/" + strings.ToLower(string(bottle)) + "/", Address: "example.org", Tag: bottle},
		{Text: string(jar), Tag: jar},
		{Text: "PEAR VINEGAR. 5.2 % ACIDITY TITRATED 3 NOV 2026. LOT L261125A/12. BOTTLED 25 NOV 2026. NOT FOR CANNING. ASK RO", LotID: "L261125A", Bottle: 12},
		{Text: "PEAR VINEGAR. ACIDITY NOT MEASURED. L261125AB/3. BOTTLED ABOUT 25 NOV 2026. NOT FOR CANNING.", LotID: "L261125AB", Bottle: 3},
		{Text: "https://example.org/" + string(jar)},
		{Text: "http://192.168.1.20:8080/J/K7RM4T"}, // the check character is wrong
		{Text: "ftp://example.org/J/" + string(jar)},
		{Text: "WIFI:S:pantry;T:WPA;P:secret;;"},
		{Text: ""},
	} {
		if got := ReadCode(tt.Text); got != tt {
			t.Errorf("%q: %+v, want %+v", tt.Text, got, tt)
		}
	}
}

func FuzzReadCode(f *testing.F) {
	for _, s := range []string{"http://192.168.1.20:8080/J/K7RM74", "HTTP://[::1]:80/B/", "LOT L261125A/12. BOTTLED ", "", "http://%zz/J/0", "\xff//J/K7RM74", "K7RM74"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c := ReadCode(text)
		if c.Text != text {
			t.Fatalf("the text became %q", c.Text)
		}
		if c.Tag != "" {
			if again, taken, err := ParseTag(string(c.Tag)); err != nil || again != c.Tag || len(taken) != 0 {
				t.Fatalf("%q gives the tag %q: %v", text, c.Tag, err)
			}
			if c.Address != "" {
				if back := ReadCode("http://" + c.Address + "/J/" + string(c.Tag)); strings.ToLower(c.Address) != c.Address || back.Tag != c.Tag {
					t.Fatalf("%q gives %+v, and that %+v", text, c, back)
				}
			}
		}
		if (c.LotID == "") != (c.Bottle == 0) && c.LotID == "" {
			t.Fatalf("%q: bottle %d of no lot", text, c.Bottle)
		}
	})
}
