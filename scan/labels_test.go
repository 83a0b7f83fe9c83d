package scan

import (
	"context"
	"encoding/xml"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"cruet/internal/larder"
	"cruet/labels"
)

// The page shows the first page as it will be printed, and how it will read.
func TestLabelsPreview(t *testing.T) {
	s := stocked(t)
	a := string(s.jars["Pear trimmings/A"])
	s.get("/labels").lacks("<figure")
	page := s.get("/labels?tag="+a+"&stock=a4-3x8&copies=3&first=7").wants(200, "3 labels on 1 page: reads").has("dots at 600 dpi")
	src := "/labels/preview.svg?" + strings.ReplaceAll(between(page.Body.String(), `<img src="/labels/preview.svg?`, `"`), "&amp;", "&")
	svg := s.get(src).wants(200).has("<svg")
	if ct := svg.Header().Get("Content-Type"); ct != "image/svg+xml" {
		t.Error(ct)
	}
	if err := xml.Unmarshal(svg.Body.Bytes(), new(struct{})); err != nil {
		t.Error(err)
	}
	if n := strings.Count(svg.Body.String(), "<path transform"); n != 3 {
		t.Errorf("%d codes in the preview, want 3", n)
	}
	s.get("/labels?tag="+a+"&stock=letter-4x20").wants(200, "0.375 mm at the very least", "It does on:").lacks("<figure")
	s.get("/labels?tag=" + a + "&layout=lid&stock=letter-3x4-round51").wants(200).has("<figure")
	s.get("/labels?tag="+a+"&copies=none").wants(200, "number of copies is a whole number")
	s.get("/labels/jars.pdf?layout=shelf").wants(200, "%PDF-")
	s.get("/labels/jars.pdf?layout=shelf&stock=roll-57x32").wants(422, "at least 200 x 200 mm")
}

func between(text, before, after string) string {
	_, rest, _ := strings.Cut(text, before)
	found, _, _ := strings.Cut(rest, after)
	return found
}

// The paper that is offered first, and taken where none is named, is the one that
// such labels were printed on last, from whichever phone or program.
func TestPaperUsedLast(t *testing.T) {
	s := stocked(t)
	a := string(s.jars["Pear trimmings/A"])
	lot := s.bottled(2).Lot.ID
	first := func(path, want string) {
		t.Helper()
		s.get(path).wants(200).has(`<option value="` + want + `" selected>`)
	}
	printed := func(want string) {
		t.Helper()
		got, err := s.db.Prints(t.Context(), 1)
		if err != nil || got[0].Stock != want {
			t.Errorf("printed on %v, %v; want %s", got, err, want)
		}
	}
	first("/labels", "a4-3x7")
	s.get("/labels/jars.pdf?tag="+a+"&stock=a4-2x7").wants(200, "%PDF-")
	first("/labels", "a4-2x7")
	s.get("/labels/jars.pdf?tag="+a).wants(200, "%PDF-")
	printed("a4-2x7")
	s.get("/labels?tag="+a).wants(200, "1 label on 1 page")
	s.get("/labels/jars.pdf?layout=shelf").wants(200, "%PDF-") // a sheet of its own
	first("/labels", "a4-2x7")
	if err := s.db.RecordPrints(t.Context(), "", []larder.Print{{Tag: s.jars["Barley/A"], Address: "192.168.1.20:8080", Stock: "roll-57x32", Layout: "jar"}}); err != nil {
		t.Fatal(err)
	}
	first("/labels", "roll-57x32")
	s.get("/labels/jars.pdf?layout=shelf").wants(200, "%PDF-")
	s.post("/labels/spare.pdf", formOf("count", "1")).wants(200, "%PDF-")
	printed("roll-57x32")

	// Bottles have a paper of their own, if it takes what their label says.
	s.get(lotURL(lot)+"/labels.pdf?stock=letter-2x3").wants(200, "%PDF-")
	first(lotURL(lot)+"/labels", "letter-2x3")
	s.get(lotURL(lot)+"/labels.pdf").wants(200, "%PDF-")
	printed("letter-2x3")
	s.get(lotURL(lot)+"/labels.pdf?rules=plain&stock=roll-57x32").wants(200, "%PDF-")
	s.get(lotURL(lot) + "/labels").wants(200).lacks(`<option value="roll-57x32" selected>`)
	first("/labels", "roll-57x32")
}

// A paper is told by its name for people, in German too.
func TestPapersAreNamed(t *testing.T) {
	s := stocked(t)
	a := s.jars["Pear trimmings/A"]
	for _, c := range []struct{ query, layout, english, german string }{
		{"stock=a4-3x7", "jar", "as a jar label on A4, 3 × 7, 63.5 × 38.1 mm.", "als Glasetikett auf A4, 3 × 7, 63,5 × 38,1 mm gedruckt."},
		{"stock=roll-57x32", "jar", "as a jar label on roll, 57.1 × 31.8 mm.", "als Glasetikett auf Rolle, 57,1 × 31,8 mm gedruckt."},
		{"stock=roll-62-cont", "jar", "as a jar label on continuous roll, 62 mm wide, cut to length.", "als Glasetikett auf Endlosrolle, 62 mm breit, auf Länge geschnitten gedruckt."},
		{"layout=lid&stock=letter-3x4-round51", "lid", "as a lid label on US Letter, 3 × 4, round 50.8 mm.", "als Deckeletikett auf US Letter, 3 × 4, rund 50,8 mm gedruckt."},
		{"layout=shelf&stock=a4-3x7", "shelf", "on a shelf sheet.", "auf einem Regalbogen gedruckt."},
	} {
		s.get("/labels/jars.pdf?tag="+string(a)+"&"+c.query).wants(200, "%PDF-")
		s.get(at(a, "")).wants(200, "Label printed 25 Nov 2026 "+c.english)
		s.say(at(a, ""), "de").wants(200, "Am 25. Nov. 2026 "+c.german)
		s.get("/labels").wants(200, strings.TrimSuffix("25 Nov 2026 "+c.english, ".")+", for 192.168.1.20:8080")
	}
}

// What was printed is remembered, shown, and told when it names an address that
// the station left.
func TestPrintsAreShown(t *testing.T) {
	s := stocked(t)
	a := s.jars["Pear trimmings/A"]
	s.get(at(a, "")).lacks("Label printed")
	s.get("/labels?tag=" + string(a)).lacks("printed 25 Nov") // looking is not printing
	s.get(at(a, "/label.pdf")).wants(200, "%PDF-")
	s.get(at(a, "")).wants(200, "Label printed 25 Nov 2026 as a jar label on A4, 3 × 7, 63.5 × 38.1 mm.").lacks("no longer")
	s.get("/labels").wants(200, "printed 25 Nov", "25 Nov 2026 as a jar label on A4, 3 × 7, 63.5 × 38.1 mm, for 192.168.1.20:8080").lacks("name another address")
	s.pages.Address = "192.168.1.77:8080"
	s.get("/labels").wants(200, "name another address", "the tag stays the same")
	s.get(at(a, "")).wants(200, "names 192.168.1.20:8080, where this station is no longer")
	s.get("/labels/jars.pdf?layout=lid&tag="+string(a)).wants(200, "%PDF-")
	s.get("/labels").lacks("name another address")
}

// A spare tag takes over a jar; what is missing is asked for.
func TestMoveIntoSpare(t *testing.T) {
	s := stocked(t)
	tags, err := s.db.IssueSpares(context.Background(), act(), 2)
	if err != nil {
		t.Fatal(err)
	}
	from := s.jars["Honey/A"]
	spare := at(tags[0], "")
	s.get(spare).wants(200, "Move a jar here", "Print it again").has(`value="` + string(from) + `"`)
	s.get("/labels?tag="+string(tags[0])).wants(200, "not on the shelf").has("<figure", `value="`+string(tags[0])+`" checked`)
	from = s.jars["Windfalls/A"]
	before, err := s.db.Jar(context.Background(), from)
	if err != nil {
		t.Fatal(err)
	}
	s.post(spare+"/move", formOf("from", string(from))).wants(422, "how much the new vessel holds").has(`value="` + string(from) + `" selected`)
	v := formOf("from", string(from), "size_ml", "20 L", "place", "cellar", "by", "ro", "volume_ml", "2 L")
	s.post(spare+"/move", v).follow().wants(200, "cellar", "Windfalls")
	s.post(spare+"/move", v).follow().wants(200, "cellar") // sent twice
	jar, err := s.db.Jar(context.Background(), tags[0])
	if err != nil || jar.BatchID != before.BatchID || jar.Place != "cellar" {
		t.Errorf("%+v, %v", jar, err)
	}
	if old, _ := s.db.Jar(context.Background(), from); old.State.Stage != larder.Empty {
		t.Errorf("the old jar is %s", old.State.Stage)
	}
	s.post(at(tags[1], "/move"), formOf("from", string(from), "size_ml", "3 L")).wants(422, "empty")
}

// A printer is aligned from the proof page, and labels are corrected for it.
func TestPapersAndPrinters(t *testing.T) {
	s := stocked(t)
	s.get("/labels/paper").wants(200, "letter-3x10", "Proof page, A4")
	s.get("/labels/proof.pdf?stock=a4-3x8").wants(200, "%PDF-")
	s.get("/labels/proof.pdf?stock=roll-57x32").wants(422, "at least 175 x 175 mm")
	s.get("/labels/stocks/a4-3x8.svg").wants(200).has("<svg")
	s.get("/labels/stocks/napkin.svg").wants(422, "no label stock")
	s.post("/labels/paper", formOf("name", "desk", "length", "120")).wants(422, "cannot measure 120 mm").has(`value="120"`)
	s.post("/labels/paper", formOf("length", "150")).wants(422, "name is missing")
	s.post("/labels/paper", formOf("name", "desk", "left", "2x")).wants(422, "2x")
	s.post("/labels/paper", formOf("name", "desk", "left", "21,5", "top", "20", "length", "150", "dpi", "300")).follow().wants(200, "moved -1.5 mm across, +0.0 mm down", "300 dpi")
	a := string(s.jars["Pear trimmings/A"])
	s.get("/labels?printer=desk&tag="+a).wants(200, "correct for desk", "at 300 dpi")
	plain, moved := s.get("/labels/jars.pdf?tag="+a).Body.String(), s.get("/labels/jars.pdf?printer=desk&tag="+a).Body.String()
	if plain == moved {
		t.Error("the alignment changes nothing")
	}
	s.post("/labels/paper", formOf("forget", "desk")).follow().wants(200, "Forgot desk").lacks("moved -1.5")
	s.post("/labels/paper", formOf("forget", "desk")).wants(422, "nothing to forget")

	own := "id,kind,page_w_mm,page_h_mm,cols,rows,label_w_mm,label_h_mm,left_mm,top_mm,pitch_x_mm,pitch_y_mm,corner_mm,dpi\npantry,sheet,210,297,4,6,45,40,10,20,48,43,1,300\nover,sheet,210,297,4,6,60,40,10,20,62,43,1,300\n"
	if err := os.WriteFile(filepath.Join(s.db.Dir(), labels.StocksFile), []byte(own), 0o600); err != nil {
		t.Fatal(err)
	}
	s.get("/labels/paper").wants(200, "pantry", "yours", "Line 3: Stock")
	s.get("/labels/jars.pdf?stock=pantry&tag="+a).wants(200, "%PDF-")
	s.get("/labels?stock=over&tag="+a).wants(200, "Line 3: Stock")
}
