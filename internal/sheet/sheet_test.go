package sheet

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// The first characters are those that OWASP's page "CSV Injection" names; a
// number with a sign is not a formula.
func TestSafe(t *testing.T) {
	for cell, want := range map[string]string{
		"=1+1": "'=1+1", "+cmd|' /C calc'!A0": "'+cmd|' /C calc'!A0", "-2+3": "'-2+3", "@SUM(A1)": "'@SUM(A1)", "\tx": "'\tx", "\rx": "'\rx", "\n=x": "'\n=x",
		"-1.5": "-1.5", "+3": "+3", "-1e-5": "-1e-5", "": "", "plain": "plain", "a=b": "a=b", "-": "'-", "'=x": "''=x", "'tis": "'tis", "'-5": "'-5", "--5": "'--5",
	} {
		if got := Safe(cell); got != want {
			t.Errorf("%q is written %q, want %q", cell, got, want)
		}
		if got := Raw(Safe(cell)); got != cell {
			t.Errorf("%q comes back as %q", cell, got)
		}
	}
}

func TestSafeAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.OneOf(rapid.String(), rapid.StringMatching(`['=+@\-0-9.eE]{0,6}`)).Draw(t, "cell")
		safe := Safe(cell)
		if Raw(safe) != cell {
			t.Fatalf("%q was written %q and comes back as %q", cell, safe, Raw(safe))
		}
		if safe != "" && strings.ContainsRune("=+-@\t\r\n", rune(safe[0])) && !plainNumber().MatchString(safe) {
			t.Fatalf("%q could be run", safe)
		}
	})
}

// RFC 4180, 2: CRLF after each record (1, 2), a header with as many fields (3, 4),
// quotes round a field with commas, quotes or line breaks (6), doubled inside (7).
func TestWriterIsRFC4180(t *testing.T) {
	var b bytes.Buffer
	w, err := NewWriter(&b, []Column{{"a", ""}, {"b", ""}})
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []cells{{"a": "x,y", "b": `say "no"`}, {"b": "two\nlines"}} {
		if err := w.Row(row); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Row(cells{"c": "x"}); err == nil {
		t.Error("a cell of a column that there is not was taken")
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if want := "a,b\r\n\"x,y\",\"say \"\"no\"\"\"\r\n,\"two\r\nlines\"\r\n"; b.String() != want {
		t.Errorf("%q, want %q", b.String(), want)
	}
}

func TestTrace(t *testing.T) {
	loc := time.FixedZone("", 3600)
	at := larder.ExactAt(time.Date(2026, 11, 25, 23, 30, 0, 0, time.UTC))
	day := larder.When{At: time.Date(2026, 10, 1, 11, 0, 0, 0, time.UTC), Precision: larder.About, SpreadDays: 3}
	ml, acidity, one, two := chem.Millilitres(250), chem.GramsPer100ML(5), 1, 2
	tr := larder.Trace{
		Subject: larder.Subject{Kind: larder.SubjectJar, ID: "K7RM74"},
		Back: []larder.Step{{Depth: 1, StatedAcidity: &acidity, Live: true, Supplier: "=HYPERLINK(\"x\")", SupplierLot: "B77",
			Edge: larder.Edge{What: larder.StarterIn, FromName: "bought vinegar", ToJar: "K7RM74", VolumeML: &ml, Mother: true, When: day}}},
		Forward: []larder.Step{{Depth: 1, Edge: larder.Edge{What: larder.Bottled, FromJar: "K7RM74", ToLot: "L261125A", VolumeML: &ml, When: at}}},
		Jars:    []larder.TraceJar{{Tag: "K7RM74", Batch: "Quince, late", Letter: "A", Stage: larder.Finished, Forward: new(int), Hold: "fluff"}, {Tag: "3CFX72", Batch: "Pear", Letter: "B", Back: &two}, {Tag: "000001", Forward: &one}},
		Batches: []larder.Batch{{ID: 4, Name: "Quince, late", When: day, Ingredients: []larder.Ingredient{{Name: "quinces", Supplier: "Mill farm"}}}},
		Lots:    []larder.TraceLot{{ID: "L261125A", Name: "Quince vinegar", When: at, Bottles: 2, Given: 1, MadeML: 500, GivenML: 250}},
		Bottles: []larder.Bottle{{Tag: "A", Lot: "L261125A", Number: 1, SizeML: 250, Gift: &larder.Gift{To: "Ana, the neighbour", When: at, By: "ro"}}, {Tag: "B", Lot: "L261125A", Number: 2, SizeML: 250}},
		Balance: larder.Balance{MadeML: 1000, OnHandML: 740, GivenML: 250}.Close(),
		Held:    []larder.Held{{Jar: "K7RM74", Reason: "fluff", Since: at}},
	}
	var b bytes.Buffer
	if err := WriteTrace(&b, tr, loc); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at0, kinds := map[string]int{}, map[string]cells{}
	for i, name := range rows[0] {
		at0[name] = i
	}
	for _, row := range rows[1:] {
		line := cells{}
		for name, i := range at0 {
			line[name] = row[i]
		}
		key := row[0]
		if key == "balance" {
			key = row[at0["what"]]
		}
		if _, seen := kinds[key]; !seen {
			kinds[key] = line
		}
	}
	for kind, want := range map[string]cells{
		"subject":     {"what": "jar", "from": "K7RM74"},
		"hold":        {"from": "K7RM74", "hold": "fluff", "when": "2026-11-26T00:30:00+01:00"},
		"made":        {"volume_ml": "1000"},
		"unaccounted": {"volume_ml": "10"},
		"back": {"step": "1", "what": "starter", "from": "bought vinegar", "to": "K7RM74", "to_batch": "Quince, late jar A", "volume_ml": "250", "mother": "yes", "live": "yes", "stated_acidity_g_per_100ml": "5",
			"supplier": `'=HYPERLINK("x")`, "supplier_lot": "B77", "when": "2026-10-01", "precision": "about", "spread_days": "3"},
		"recipe":  {"from": "quinces", "to_batch": "batch 4, Quince, late", "supplier": "Mill farm"},
		"jar":     {"to": "K7RM74", "step": "0", "hold": "fluff"},
		"forward": {"from": "K7RM74", "from_batch": "Quince, late jar A", "lot": "L261125A", "food": "Quince vinegar"},
		"lot":     {"bottles": "2", "bottles_given": "1", "volume_ml": "500", "given_ml": "250"},
		"bottle":  {"bottle": "B", "bottle_number": "2"},
		"gift":    {"recipient": "Ana, the neighbour", "bottle": "A", "volume_ml": "250", "by": "ro"},
	} {
		for name, text := range want {
			if got := kinds[kind][name]; got != text {
				t.Errorf("%s has %s %q, want %q", kind, name, got, text)
			}
		}
	}
	if got := kinds["accounted for"]["percent"]; got != "99" {
		t.Errorf("accounted for: %q", got)
	}
	for _, c := range TraceColumns() {
		if c.Means == "" {
			t.Errorf("column %s is not explained", c.Name)
		}
	}
}
