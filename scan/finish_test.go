package scan

import (
	"context"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

func bench(tags ...larder.Tag) string {
	v := url.Values{}
	for _, t := range tags {
		v.Add("tag", string(t))
	}
	return "/finish?" + v.Encode()
}

func TestFinishingBench(t *testing.T) {
	s := stocked(t)
	tag := s.ready()
	s.get("/shelf").wants(200).has(`href="/finish"`)
	s.get(at(tag, "")).wants(200, "Finishing bench").has(`href="` + bench(tag) + `"`)
	s.get(at(s.jars["Windfalls/A"], "")).wants(200).lacks("/finish")
	s.get("/finish").wants(200, "Which jars?", "Barley A", "finished, 1.3 L").lacks("Windfalls")

	// 1.3 L at 6.245 ± 0.09: the sure water is 1300 × (6.155 / 5 − 1), about 300 mL,
	// and 1.6 L fill 6 bottles of 250 mL. Nothing may be bottled before it is in.
	page := s.get(bench(tag)).wants(200, "Add water", "keeps it surely at 5 g/100 mL or above", "6 bottles of 250 mL", "Ohio State University Extension", "60 °C", "Hot vinegar scalds").lacks(`href="/bottle?`)
	page.has(`value="5"`, `name="feed_volume_ml" value="3`)
	as := s.get(bench(tag)+"&target_g_per_100ml=0").wants(200, "none", "5 bottles of 250 mL 50 mL left over").has(`href="/bottle?`)
	as.lacks("Add water</dt>")

	// Sizes are remembered as typed; what is wrong comes back with all that was typed.
	s.get(bench(tag)+"&sizes="+url.QueryEscape("0,33 L; 100 mL")).wants(200, "of 330 mL", "of 100 mL")
	s.get(bench(tag)).wants(200, "of 330 mL").has(`value="0,33 L; 100 mL"`)
	s.get(bench(tag)+"&target_g_per_100ml=lots&sizes=some").wants(422, "not a plain number", "Bring it to").has(`value="lots"`, `value="some"`)
	s.get(bench(tag)+"&target_g_per_100ml=50").wants(422, "lies between 0.5 and 12").has(`value="50"`)
	s.get(bench(tag)+"&sizes=1+mL").wants(422, "between 10 mL and 20 L")
	s.get(bench(tag)+"&target_g_per_100ml=7").wants(200, "Water cannot make 7")
	s.get("/finish?tag=&tag="+strings.ToLower(string(tag))).wants(200, "Add water")
	s.get("/finish?tag=http://192.168.1.20:8080/J/"+string(tag)).wants(200, "Add water")
	s.get(bench(tag, tag)).wants(422, "named twice")
	s.get("/finish?tag=xx").wants(422)
	s.get("/finish?tag=" + unknown(larder.MinJarTag)).wants(404)
	s.get(bench(s.jars["Windfalls/A"])).wants(200, "must, not finished", "not measured", "Measure it")
	s.get(bench(s.jars["Honey/A"])).wants(200, "on hold").lacks(`href="/bottle?`)
}

func TestFinishingSteps(t *testing.T) {
	s := stocked(t)
	tag := s.ready()
	before := s.entries(tag)
	on := func(pairs ...string) url.Values {
		return formOf(append([]string{"tag", string(tag), "target_g_per_100ml", "5", "by", "ro"}, pairs...)...)
	}
	s.post("/finish/heat", on("temp_c", "65 C", "note", "slowly")).wants(422, "how many minutes").has(`value="65 C"`, "slowly", "open")
	s.post("/finish/water", on()).wants(422, "how much")
	s.post("/finish/water", on("feed_volume_ml", "9", "feed_volume_ml_unit", "L")).wants(422, "does not fit").has(`value="9"`)
	s.post("/finish/filter", on("volume_ml", "9 L")).wants(422, "does not fit")
	s.post("/finish/vessel", on()).wants(422, "how much the vessel holds")
	s.post("/finish/boil", on()).wants(404)
	s.post("/finish/water", formOf("feed_volume_ml", "9 mL")).wants(422, "Choose at least one jar")
	if n := s.entries(tag); n != before {
		t.Fatalf("refused, yet the log went from %d to %d lines", before, n)
	}
	filter := on("volume_ml", "1.2", "volume_ml_unit", "L")
	s.post("/finish/filter", filter).follow().wants(200, "Filtered.", "1.2 L")
	s.post("/finish/filter", filter).follow().wants(200) // sent twice, saved once
	s.post("/finish/water", on("feed_volume_ml", "200", "feed_volume_ml_unit", "mL")).follow().wants(200, "Its strength is computed now", "≈", "Measure again")
	s.post("/finish/heat", on("temp_c", "50 C", "minutes", "30")).follow().wants(200, "does not count as pasteurised")
	s.post("/finish/heat", on("temp_c", "66 C", "minutes", "30")).follow().wants(200, "Pasteurised.", "pasteurised")
	if n := s.entries(tag); n != before+4 {
		t.Errorf("%d lines were logged, want 4", n-before)
	}
	st := s.state(tag)
	if *st.VolumeML != 1400 || st.Acidity.Basis != larder.Computed || st.HeatedAt == nil {
		t.Errorf("%+v", st)
	}
}

// Several jars are joined before water goes in; a vessel that is too small is
// poured into a larger one. Neither loses the story.
func TestFinishingSeveral(t *testing.T) {
	s := stocked(t)
	a := s.ready()
	b := s.start(larder.NewBatch{Name: "Oats", Base: larder.Ale, When: s.daysAgo(60), Stage: larder.Acetic, JarSizeML: 1000, FillML: litres(1)})[0].Tag
	t2 := larder.Titration{Titration: chem.Titration{SampleML: 5, BaseMolPerL: 0.1, SampleTolML: 0.02, BuretteTolML: 0.02, Replicates: []chem.Replicate{{EndML: 52}, {EndML: 52.1}}}}
	s.log(b, s.daysAgo(1), t2, "")
	s.log(b, s.daysAgo(0.5), larder.StageChange{To: larder.Maturing}, "")
	s.get(bench(b)).wants(200, "Call it finished", "has no room in this one")
	s.post("/finish/finished", formOf("tag", string(b), "by", "ro")).follow().wants(200, "The jar is finished.")
	s.get(bench(a, b)).wants(200, "Together", "Add water", "Join them in one vessel", "computed").has("Barley and Oats")
	s.post("/finish/water", formOf("tag", string(a), "tag", string(b), "by", "ro", "feed_volume_ml", "100 mL")).wants(422, "logged on one jar")
	s.post("/finish/vessel", formOf("tag", string(a), "tag", string(b), "by", "ro", "size_ml", "2 L", "name", "Grain")).wants(422, "cannot hold").has(`value="Grain"`)
	page := s.post("/finish/vessel", formOf("tag", string(a), "tag", string(b), "by", "ro", "size_ml", "5 L", "name", "Grain")).follow()
	page.wants(200, "print its label", "Grain", "2.3 L")
	if s.state(a).Stage != larder.Empty || s.state(b).Stage != larder.Empty {
		t.Errorf("the old vessels are %s and %s", s.state(a).Stage, s.state(b).Stage)
	}
}

// Bad input is a sentence, and changes nothing.
func TestBottlingIsRefused(t *testing.T) {
	s := stocked(t)
	tag := string(s.ready())
	lots := func() int {
		all, err := s.db.Lots(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		return len(all)
	}
	before := lots()
	for name, c := range map[string]struct{ tag, bottles, says string }{
		"more than there is": {tag, "40", "cannot be taken out of it"}, "an unfinished jar": {string(s.jars["Quince juice/A"]), "2", "not finished"},
		"a held jar": {string(s.jars["Honey/A"]), "2", "not finished"},
	} {
		t.Log(name)
		s.post("/bottle", formOf("tag", c.tag, "bottles_1", c.bottles, "size_ml_1", "250 mL", "note", "for the fair")).wants(422, c.says).has("for the fair", `value="250 mL"`)
	}
	s.log(larder.Tag(tag), larder.When{}, larder.Hold{On: true, Reason: "a smell of glue"}, "")
	s.post("/bottle", formOf("tag", tag, "bottles_1", "2", "size_ml_1", "250 mL")).wants(422, "is on hold: a smell of glue")
	if lots() != before {
		t.Error("something was bottled")
	}
	all, _ := s.db.Lots(context.Background())
	lot, err := s.db.Lot(context.Background(), all[0].Lot.ID)
	if err != nil {
		t.Fatal(err)
	}
	s.post(bottleURL(lot.Bottles[0]), formOf("to", "ana")).wants(422, "is on hold")
	s.get(lotURL(lot.Lot.ID)).wants(200, "On hold:", "a smell of glue").has(`href="/gifts"`)
	s.log(larder.Tag(tag), larder.When{}, larder.Hold{Reason: "it was the cupboard"}, "")
	s.get(bottleURL(lot.Bottles[0])).wants(200, "Nothing proves yet that it may be given away", "It is yours to decide")
	s.post(bottleURL(lot.Bottles[0]), formOf("to", "ana", "by", "ro")).follow().wants(200, "given to ana")
	s.post(bottleURL(lot.Bottles[0]), formOf("to", "ben", "by", "ro")).wants(422, "already given to ana")
}

func TestLotLabelsPage(t *testing.T) {
	s := stocked(t)
	lot := s.bottled(3)
	url := lotURL(lot.Lot.ID) + "/labels"
	page := s.get(url).wants(200, "What it lacks", "No postal address is set", "Still yours to check", "What the rules ask: European Union", "Papers it does not fit on", "No public address is set", "NOT FOR CANNING")
	page.has(`value="facts" checked`, `value="eu" checked`, "labels.svg?", `formaction="`+url+`.pdf"`).lacks(`option value="letter-3x10"`)
	s.get(url + ".svg?stock=a4-2x4&rules=eu").wants(200).has("<svg")
	one := s.get(url + ".svg?stock=a4-2x4&rules=eu&one=1").wants(200)
	one.has(`width="99.1mm" height="67.7mm"`)
	for _, q := range []string{"layout=neck&stock=letter-2x7&rules=eu", "stock=roll-102x76&rules=us&for=sale", "stock=a4-3x7&rules=plain", "stock=a4-2x4&rules=eu&code=link&bottle=2"} {
		s.get(url+"?"+q).wants(200, "Make the PDF").has("labels.svg?")
		if a := s.get(url + ".pdf?" + q).wants(200); !strings.HasPrefix(a.Body.String(), "%PDF-") {
			t.Errorf("%s is no PDF", q)
		}
	}
	s.get(url+"?rules=us").wants(200, "US Food and Drug Administration")
	s.get(url+".pdf?stock=letter-3x10&rules=us").wants(422, "do not fit whole on stock letter-3x10. It does on: letter-2x").has(`value="us" checked`, `value="letter-3x10" selected`)
	s.get(url + "?stock=nothing").wants(422)
	s.get(url+"?rules=mars").wants(422, "There is no rule set")
	s.get(url+"?bottle=9").wants(422, "has no bottle 9")
	s.get("/lots/L000101A/labels").wants(404)
	s.get(bottleURL(lot.Bottles[1])).wants(200, "Gift card to fold")
	if a := s.get(bottleURL(lot.Bottles[1]) + "/card.pdf").wants(200); !strings.HasPrefix(a.Body.String(), "%PDF-") {
		t.Error("the card is no PDF")
	}
	s.get(lotURL(lot.Lot.ID) + "/bottles/9/card.pdf").wants(404)

	k, err := s.db.Kitchen(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	k.PublicAddress, k.Market = "https://quince.example", "US"
	if err := s.db.SetKitchen(context.Background(), k); err != nil {
		t.Fatal(err)
	}
	s.get(url).wants(200, "the kitchen's public address").has(`value="link" checked`, `value="us" checked`)

	// Its titration is struck: the lot, its label, its page and the outsider's say so.
	page2, err := s.db.Lot(context.Background(), lot.Lot.ID)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.db.Strike(context.Background(), act(), page2.Lot.Acidity.Entry, "read the wrong burette"); err != nil {
		t.Fatal(err)
	}
	s.get(lotURL(lot.Lot.ID)).wants(200, "acidity not measured", "was struck since. Titrate what is in a bottle").lacks("5.3 % acidity")
	s.get(bottleURL(lot.Bottles[0])).wants(200, "was struck since")
	s.get(url).wants(200, "The reading behind the acidity of lot")
	s.get("/B/"+string(lot.Bottles[0].Tag)).wants(200, "Acidity not measured", "was taken back since").lacks("5.3 %", string(s.jars["Barley/A"]))
}

func TestPrintLotLabels(t *testing.T) {
	s := stocked(t)
	lot := s.bottled(2)
	dir := t.TempDir()
	for name, body := range map[string]string{"lpstat": "echo office", "lp": `cat > "` + dir + `/sent.pdf"; echo "request id is office-9 (0 file(s))"`} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("#!/bin/sh\n"+body+"\n"), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("PATH", dir+":/usr/bin:/bin")
	url := lotURL(lot.Lot.ID) + "/labels"
	s.get(url).wants(200).has(`formaction="`+url+`/print"`, `value="office"`)
	s.post(url+"/print", formOf("to", "cellar", "stock", "a4-2x4")).wants(422, "knows no printer")
	s.post(url+"/print", formOf("to", "office", "stock", "a4-2x4", "rules", "eu")).follow().wants(200, "Handed to the printer: 2 labels for office")
	if pdf, err := os.ReadFile(filepath.Join(dir, "sent.pdf")); err != nil || !strings.HasPrefix(string(pdf), "%PDF-") {
		t.Errorf("%d bytes, %v", len(pdf), err)
	}
}
