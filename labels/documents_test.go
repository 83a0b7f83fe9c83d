package labels

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/verdict"
	"cruet/labels/readback"
)

func givenBottle(t testing.TB) Card {
	f := pears(t)
	f.Bottle.Gift = &larder.Gift{To: "the neighbours at no. 4", Note: "With thanks for the plums, and for the ladder.", When: day(2027, 1, 5)}
	return Card{Filled: f, Page: Letter, Date: testDate, Findings: verdict.Judge(verdict.EvidenceOfLot(f.Lot, nil, f.Now), verdict.EU)}
}

func TestStory(t *testing.T) {
	s, err := givenBottle(t).Tell()
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"Begun 22 October 2026 from 340 g of sugar, 2.4 kg of pear peels and cores and 4 L of water.", "A mother came over from the barley on 5 November 2026.", "Bottled 3 January 2027, 10 weeks after it was begun."}
	if strings.Join(s.Tale, "|") != strings.Join(want, "|") {
		t.Errorf("%q", s.Tale)
	}
	wantText(t, "to", s.To, "the neighbours at no. 4")
	if !strings.Contains(s.Sour, "Nobody measured") || !strings.Contains(strings.Join(s.Minds, " "), verdict.NotForCanning) || !strings.Contains(strings.Join(s.Minds, " "), "BARLEY") {
		t.Errorf("%+v", s)
	}
	if strings.Contains(strings.Join(s.Uses, " "), "pickle") {
		t.Errorf("unmeasured vinegar for pickles: %q", s.Uses)
	}
	f := givenBottle(t)
	f.Findings = []verdict.Finding{{Use: verdict.Table, Answer: verdict.No}}
	if s, err = f.Tell(); err != nil || len(s.Uses) != 0 {
		t.Errorf("refused for the table, yet good for %q (%v)", s.Uses, err)
	}
}

func cardPDF(t testing.TB, c Card) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteCard(&b, c); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The card is one page; its inside is set upside down, so that it reads upright
// once folded; its code is read from a 300 dpi picture.
func TestCard(t *testing.T) {
	for _, page := range []Page{A4, Letter} {
		c := givenBottle(t)
		c.Page = page
		pdf := cardPDF(t, c)
		if !bytes.Equal(pdf, cardPDF(t, c)) {
			t.Error("the same card gives other bytes")
		}
		sheets := pages(t, pdf, 300)
		if len(sheets) != 1 {
			t.Fatalf("%d pages", len(sheets))
		}
		all := readback.Codes(sheets[0])
		s, err := c.Tell()
		if err != nil || len(all) != 1 || all[0].Text != s.Facts {
			t.Errorf("%s: read %v, want %q (%v)", page.ID, all, s.Facts, err)
		}
		if at := all[0].At; at.X > sheets[0].Rect.Dx()/2 || at.Y < sheets[0].Rect.Dy()/2 {
			t.Errorf("the code is at %v, not on the back of the card", at)
		}
	}
	goldenPicture(t, "card-letter.png", pages(t, cardPDF(t, givenBottle(t)), 72)[0])
}

func TestCardTakesUglyNames(t *testing.T) {
	for _, name := range uglyNames {
		c := givenBottle(t)
		c.Lot.Name, c.To, c.Kitchen.Name = name, name, name
		cardPDF(t, c)
	}
	c := givenBottle(t)
	c.Message = strings.Repeat("This goes on and on. ", 150)
	var b bytes.Buffer
	if err := WriteCard(&b, c); err == nil || !strings.Contains(err.Error(), "does not fit whole") || b.Len() > 0 {
		t.Errorf("an endless message: %v, %d bytes", err, b.Len())
	}
}

// recordOf is the barley batch's record with a log of n readings on top.
func recordOf(t testing.TB, n int) BatchRecord {
	f := barley(t)
	ml := func(v float64) *chem.Millilitres { x := chem.Millilitres(v); return &x }
	jar := larder.Jar{Tag: "K7RM40", BatchID: 3, Letter: "A", SizeML: 6000}
	id := func(i int) uuid.UUID {
		return uuid.MustParse(fmt.Sprintf("01890000-0000-7000-8000-%012d", i))
	}
	days, wrong := 9, larder.Titration{BaseName: "sodium hydroxide 1 mol/L"}
	wrong.SampleML, wrong.BaseMolPerL, wrong.BaseCheckedDaysAgo = 10, 1, &days
	wrong.Replicates = []chem.Replicate{{StartML: 0, EndML: 9.9}}
	right := wrong
	right.Replicates = []chem.Replicate{{StartML: 0, EndML: 8.34}, {StartML: 0.06, EndML: 8.4}, {StartML: 0.02, EndML: 8.38}}
	log := []larder.Entry{
		{When: day(2026, 8, 6), By: "mk", Body: larder.StageChange{To: larder.Alcoholic, VolumeML: ml(5000)}},
		{When: day(2026, 8, 8), By: "mk", Body: larder.StageChange{From: larder.Alcoholic, To: larder.Acetic, VolumeML: ml(5000), Starter: &larder.Feed{From: larder.FromBought, Name: "live vinegar", Mother: true, VolumeML: ml(500)}}},
		{When: day(2027, 1, 2), By: "ro", Note: "the burette was read from the wrong end", Body: wrong, StruckBy: id(4)},
		{When: day(2027, 1, 2), By: "ro", Body: larder.Strike{Target: id(3), Reason: "misread"}},
		{When: day(2027, 1, 2), By: "ro", Body: right},
		{When: day(2027, 1, 3), By: "ro", Body: larder.Transfer{What: larder.Bottled, Lot: f.Lot.ID, VolumeML: ml(3000)}},
	}
	for i := range n {
		ph := chem.PH(float64(390-2*(i%40)) / 100)
		log = append(log, larder.Entry{When: larder.ExactAt(time.Date(2026, 8, 9, 8, 0, 0, 0, time.UTC).Add(time.Duration(i) * 8 * time.Hour)), By: "ro", Note: uglyNames[i%len(uglyNames)] + " 🐝 \u05d0", Body: larder.Reading{PH: &ph, Instrument: "bench pH"}})
	}
	for i := range log {
		log[i].ID, log[i].Seq, log[i].Jar, log[i].RecordedAt = id(i+1), int64(i+1), jar.Tag, log[i].When.At.Add(time.Hour)
		log[i].Kind = log[i].Body.Kind()
	}
	jar.State = larder.Fold(log)
	bottles := []larder.Bottle{f.Bottle}
	bottles[0].Gift = &larder.Gift{To: "choir supper", When: day(2027, 1, 6), By: "mk", Note: "for the table"}
	back := f.Bottle
	back.Number++
	back.Gift = &larder.Gift{To: "the ferry crew", When: day(2027, 1, 5), By: "mk", TakenBack: &larder.TakenBack{Reason: "the ferry had left", By: "ro"}}
	held := []larder.LotHold{{Seq: 1, On: true, Reason: "a cap leaked", When: day(2027, 1, 4), By: "ro"}, {Seq: 2, Reason: "it was one cap", When: day(2027, 1, 5), By: "mk", Note: "all caps tried"}}
	low, high := chem.PH(1.70), chem.PH(3.98)
	bench := []larder.BenchEntry{{When: day(2026, 12, 30), By: "ro", Body: larder.BaseCheck{Base: "sodium hydroxide 1 mol/L", StatedMolPerL: 1}},
		{When: day(2026, 12, 31), By: "mk", Note: "fresh buffers", Body: larder.MeterCalibration{Meter: "bench pH", CalibrationInput: chem.CalibrationInput{Points: []chem.CalibrationPoint{
			{Buffer: chem.Tetroxalate, TemperatureC: 25, ShownPH: &low}, {Buffer: chem.Phthalate, TemperatureC: 25, ShownPH: &high}}}}}}
	return BatchRecord{Kitchen: quinceYard, Batch: f.Trace.Batches[0], Jars: []JarRecord{{Jar: jar, Log: log, CameFrom: []larder.Edge{{What: larder.StarterIn, FromName: "live vinegar", Mother: true, VolumeML: ml(500), When: day(2026, 8, 8)}},
		WentInto: []larder.Edge{{What: larder.Bottled, FromJar: jar.Tag, ToLot: f.Lot.ID, VolumeML: ml(3000), When: f.Lot.When}}}},
		Bench: bench, Lots: []LotRecord{{Lot: f.Lot, Bottles: bottles, Log: held, Taken: []larder.Bottle{back}}}, Page: A4, Date: time.Date(2027, 1, 7, 10, 0, 0, 0, time.UTC)}
}

func recordPDF(t testing.TB, r BatchRecord) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteRecord(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestRecord(t *testing.T) {
	pdf := recordPDF(t, recordOf(t, 0))
	if !bytes.Equal(pdf, recordPDF(t, recordOf(t, 0))) {
		t.Error("the same record gives other bytes")
	}
	sheets := pages(t, pdf, 72)
	goldenPicture(t, "record.png", stacked(sheets))
	if got := len(pages(t, recordPDF(t, recordOf(t, 400)), 20)); got < 10 || got > 40 {
		t.Errorf("a log of 400 lines takes %d pages", got)
	}
	if err := WriteRecord(&bytes.Buffer{}, BatchRecord{}); err == nil || !strings.Contains(err.Error(), "at least one jar") {
		t.Errorf("a record of nothing: %v", err)
	}
}

// stacked puts pages side by side.
func stacked(sheets []*image.Gray) *image.Gray {
	w, h := 0, 0
	for _, s := range sheets {
		w, h = w+s.Rect.Dx(), max(h, s.Rect.Dy())
	}
	out := image.NewGray(image.Rect(0, 0, w, h))
	x := 0
	for _, s := range sheets {
		draw.Draw(out, image.Rect(x, 0, x+s.Rect.Dx(), s.Rect.Dy()), s, s.Rect.Min, draw.Src)
		x += s.Rect.Dx()
	}
	return out
}

func traceOf(t testing.TB) TraceRecord {
	f := pears(t)
	ml := chem.Millilitres(200)
	acid := chem.GramsPer100ML(5)
	zero, one := 0, 1
	f.Trace.Jars[0].Back, f.Trace.Jars[1].Forward = &one, &zero
	f.Trace.Batches[1].Ingredients[1].Supplier, f.Trace.Batches[1].Ingredients[1].SupplierLot = "the orchard at the bend, tel. 555 0100", "KW43"
	f.Trace.Back = append(f.Trace.Back, larder.Step{Edge: larder.Edge{What: larder.StarterIn, FromName: "live vinegar", ToJar: "K7RM40", VolumeML: &ml, Mother: true, When: day(2026, 8, 8)}, Depth: 3, StatedAcidity: &acid, Live: true, Supplier: "a shop in Fernmouth", SupplierLot: "L77"})
	f.Trace.Forward = []larder.Step{{Edge: larder.Edge{What: larder.Bottled, FromJar: "3CFX72", ToLot: f.Lot.ID, VolumeML: &ml, When: f.Lot.When}, Depth: 1}}
	f.Trace.Lots = []larder.TraceLot{{ID: f.Lot.ID, Name: f.Lot.Name, When: f.Lot.When, Bottles: 4, Given: 1, MadeML: 1000, GivenML: 250}}
	gifted := f.Bottle
	gifted.Gift = &larder.Gift{To: "the seed swap", When: day(2027, 1, 6), By: "mk"}
	f.Trace.Bottles = []larder.Bottle{gifted}
	f.Trace.Held = []larder.Held{{Jar: "K7RM40", Reason: "white fur"}}
	// The worked example of NC State Extension's recall check list as the
	// balance has it: 10.0 L made, 3.0 on hand, 6.5 given, 0.3 used: 98 %.
	f.Trace.Balance = larder.Balance{MadeML: 10000, OnHandML: 3000, GivenML: 6500, UsedML: 300}.Close()
	f.Trace.Subject = larder.Subject{Kind: larder.SubjectJar, ID: "3CFX72"}
	return TraceRecord{Kitchen: quinceYard, Trace: f.Trace, Page: A4, Date: time.Date(2027, 1, 7, 10, 0, 0, 0, time.UTC)}
}

func tracePDF(t testing.TB, r TraceRecord) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteTrace(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestTracePaper(t *testing.T) {
	pdf := tracePDF(t, traceOf(t))
	if !bytes.Equal(pdf, tracePDF(t, traceOf(t))) {
		t.Error("the same trace gives other bytes")
	}
	goldenPicture(t, "trace.png", stacked(pages(t, pdf, 72)))
	tracePDF(t, TraceRecord{Kitchen: quinceYard, Trace: larder.Trace{Subject: larder.Subject{Kind: larder.SubjectNamed, ID: "sugar"}}, Date: testDate})
}

// What the records hold is in the PDFs' text: the fields of 21 CFR 1.345 and
// Regulation (EC) 178/2002 art. 18 for a trace, the sums for a record. OIV-OENO
// 438-2011 has the buffers at 1.679 and 4.005 for 25 °C, so a meter that shows
// 1.70 and 3.98 has a slope of 2.28 ÷ 2.326 = 98.0 %.
func TestDocumentsExtract(t *testing.T) {
	for name, c := range map[string]struct {
		pdf  []byte
		want []string
	}{
		"record": {recordPDF(t, recordOf(t, 60)), []string{"Barley", "5 L", "page 1 of ", "[struck by entry 4]", "struck entry 3: misread", "(8.34 - 0.00) × 1 × 60.05 × 1 ÷ (10 × 10) = 5.008", "choir supper", "name and signature", "Characters that no font here has", "1 mol/L, as its bottle says",
			"bench pH", "slope 98.0 % of the ideal", "buffers 1.68 to 4.0", "fresh buffers", "a cap leaked", "it was one cap. all caps tried", "the ferry crew", "[taken back by ro: the ferry had left]"}},
		"trace": {tracePDF(t, traceOf(t)), []string{"the orchard at the bend, tel. 555 0100", "KW43", "Fernmouth; lot L77", "mother and 200 mL", "(starter), stated 5 %,", "the seed swap", "L270103B, bottle 2", "98 %", "white fur", "pear peels and cores"}},
		"card":  {cardPDF(t, givenBottle(t)), []string{"Pear trimmings", "for the neighbours at no. 4", "Its story", "A mother came over from the barley", "Not for canning or preserving"}},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), name+".pdf")
			if err := os.WriteFile(path, c.pdf, 0o600); err != nil {
				t.Fatal(err)
			}
			text := strings.Join(strings.Fields(runTool(t, "pdftotext", "-raw", path, "-")), " ")
			for _, want := range c.want {
				if !strings.Contains(text, want) {
					t.Errorf("%q is not in the PDF's text: %.2000s", want, text)
				}
			}
			runTool(t, "qpdf", "--check", path)
		})
	}
}

func TestPublicPage(t *testing.T) {
	f := pears(t)
	f.Lot.Name = `<script>alert("x")</script>`
	f.Bottle.Gift = &larder.Gift{To: "the neighbours at no. 4", Note: "secret"}
	p, err := PublicOf(f)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := WritePublic(&b, p); err != nil {
		t.Fatal(err)
	}
	html := b.String()
	for _, want := range []string{PublicMark, "noindex", "Vinegar made from pear peels and cores", "Acidity not measured", "L270103B", "Not for canning", "BARLEY", "4 Orchard Lane", "&lt;script&gt;"} {
		if !strings.Contains(html, want) {
			t.Errorf("%q is not on the page", want)
		}
	}
	// Nothing of other jars, of who got it, of the network, and nothing to load.
	for _, not := range []string{"K7RM40", "3CFX72", "neighbours", "secret", testHost, "<script", "src=", "href=", "url(", "http", string(f.Bottle.Tag)} {
		if strings.Contains(html, not) {
			t.Errorf("%q is on the page", not)
		}
	}
	f.Trace.Held = []larder.Held{{Jar: "K7RM40", Reason: "white fur"}}
	f.Lot.Void = true
	if p, err = PublicOf(f); err != nil || !p.Hold || !p.Void {
		t.Errorf("held and struck: %+v, %v", p, err)
	}
}

// What rules ask for looks designed on the common sizes.
func TestRuledGoldens(t *testing.T) {
	for _, g := range []struct {
		stock string
		rules RuleSet
		f     Filled
	}{{"letter-2x4", US, barley(t)}, {"letter-2x4", EU, pears(t)}, {"a4-2x4", EU, barley(t)}, {"a4-3x4", EU, barley(t)}, {"roll-102x76", US, pears(t)}, {"letter-2x3", US, pears(t)}} {
		s := mustStock(t, g.stock)
		l := draft(t, g.f, Wanted{Rules: g.rules, Code: Facts}).Label
		name := fmt.Sprintf("%s-%s-%s", g.stock, g.rules.ID, strings.ToLower(strings.Fields(l.Name)[0]))
		d, err := Draw(Sheet{Stock: s}, l)
		if err != nil {
			t.Fatal(err)
		}
		goldenText(t, name+".txt", d.String())
		goldenPicture(t, name+".png", crop(pages(t, write(t, Sheet{Stock: s, Outlines: true}, l), 100)[0], s, 0))
	}
}
