package scan

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"cruet/internal/larder"
	"cruet/internal/store"
)

// TestReading logs a reading with decimal commas and units, sees it, and finds
// what it changed told.
func TestReading(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	before := s.entries(tag)
	page := s.post(at(tag, "/log/reading"), formOf("ph", "3,05", "temp_c", "68", "temp_c_unit", "°F", "volume_ml", "2,1", "volume_ml_unit", "L",
		"instrument", "bench pH", "by", "mk", "note", "clear")).follow()
	page.wants(200, "Saved: pH 3.05 · 20 °C · holds 2.1 L", "pH was 3.1 on 22 Nov", "It now holds 2.1 L", "with bench pH", "clear", "· mk")
	if n := s.entries(tag); n != before+1 {
		t.Errorf("%d entries, want one more than %d", n, before)
	}
	state := s.state(tag)
	if state.PH.Value != 3.05 || *state.VolumeML != 2100 {
		t.Errorf("pH %v, volume %v", state.PH.Value, *state.VolumeML)
	}
	// 68 °F is 20 °C: NIST SP 811, B.8.
	if c := state.TempC.Value; c < 19.999 || c > 20.001 {
		t.Errorf("68 °F became %v °C, want 20", c)
	}
	// The phone remembers who it is.
	s.get(at(tag, "")).has(`id="reading-by" name="by" value="mk"`)
}

// TestWrongFieldComesBack tells for every form that a wrong field comes back
// marked with a sentence, the rest kept, the form open, and nothing saved.
func TestWrongFieldComesBack(t *testing.T) {
	for _, c := range []struct {
		name, form string
		jar        string
		typed      []string
		field      string   // id of the marked input
		says       []string // what the page says
		keeps      []string // source that shows kept input
	}{
		{"slip of the point", "reading", "Pear trimmings/A", []string{"ph", "32", "note", "cold hands", "specific_gravity", "1,010"}, "reading-ph",
			[]string{"did you mean 3.2"}, []string{`value="32"`, "cold hands</textarea>", `value="1,010"`}},
		{"letter among digits", "reading", "Pear trimmings/A", []string{"ph", "3,4o", "by", "ro"}, "reading-ph", []string{"3,4o", "not a plain number"}, []string{`value="3,4o"`}},
		{"no unit", "reading", "Pear trimmings/A", []string{"volume_ml", "2.4", "volume_ml_unit", ""}, "reading-volume_ml", []string{"has no unit", "mL, cl, dl, L"}, []string{`value="2.4"`}},
		{"typed unit that is none", "reading", "Pear trimmings/A", []string{"volume_ml", "2 barrels", "volume_ml_unit", "L"}, "reading-volume_ml", []string{"barrels"}, []string{`value="2 barrels"`}},
		{"more than fits", "reading", "Pear trimmings/A", []string{"volume_ml", "9", "volume_ml_unit", "L"}, "reading-volume_ml", []string{"does not fit"}, []string{`value="9"`}},
		{"a date to come", "reading", "Pear trimmings/A", []string{"ph", "3.2", "when", "2027-01-01"}, "reading-when", []string{"still to come"}, []string{`value="2027-01-01"`, `value="3.2"`}},
		{"no date", "note", "Pear trimmings/A", []string{"note", "hm", "when", "full moon"}, "note-when", []string{"not a date", "3 days ago"}, []string{`value="full moon"`, "hm</textarea>"}},
		{"swapped burette readings", "titration", "Pear trimmings/A", []string{"sample_ml", "2", "base_mol_per_l", "0,1", "start_ml_1", "0", "end_ml_1", "9,8", "start_ml_2", "9,9", "end_ml_2", "0,1"},
			"titration-end_ml_2", []string{"swapped"}, []string{`value="9,9"`, `value="0,1"`}},
		{"half a run", "titration", "Pear trimmings/A", []string{"sample_ml", "2", "base_mol_per_l", "0.1", "start_ml_1", "0"}, "titration-end_ml_1", []string{"after this run is missing"}, []string{`value="0.1"`}},
		{"no run", "titration", "Pear trimmings/A", []string{"sample_ml", "2", "base_mol_per_l", "0.1"}, "titration-end_ml_1", []string{"burette reading before and after"}, nil},
		{"no sample", "titration", "Pear trimmings/A", []string{"start_ml_1", "0", "end_ml_1", "5"}, "titration-sample_ml", []string{"how much vinegar was titrated"}, []string{`value="5"`}},
		{"empty note", "note", "Pear trimmings/A", nil, "note-note", []string{"write the note"}, nil},
		{"strained without volume", "action", "Pear trimmings/A", []string{"action", "strained", "note", "slow"}, "action-volume_ml", []string{"after straining"}, []string{"slow</textarea>", `value="strained" data-pick="strained" checked`}},
		{"moved nowhere", "action", "Pear trimmings/A", []string{"action", "moved to another place"}, "action-place", []string{"where the jar stands"}, nil},
		{"feed from a mistyped jar", "feed", "Pear trimmings/A", []string{"feed", "starter-jar", "feed_jar", "K7RM4T", "feed_volume_ml", "2", "feed_volume_ml_unit", "cup"}, "feed-feed_jar", []string{"mistyped"}, []string{`value="K7RM4T"`, "<option selected>cup"}},
		{"feed from an unknown jar", "feed", "Pear trimmings/A", []string{"feed", "topup-jar", "feed_jar", unknown(larder.MinJarTag), "feed_volume_ml", "0.1", "feed_volume_ml_unit", "L"}, "feed-feed_jar", []string{"There is no jar " + unknown(larder.MinJarTag)}, nil},
		{"feed with a bottle", "feed", "Pear trimmings/A", []string{"feed", "topup-jar", "feed_jar", unknown(larder.BottleTagLength)}, "feed-feed_jar", []string{"bottle's tag"}, nil},
		{"water without how much", "feed", "Pear trimmings/A", []string{"feed", "water"}, "feed-feed_volume_ml", []string{"how much water"}, nil},
		{"too much water", "feed", "Pear trimmings/A", []string{"feed", "water", "feed_volume_ml", "2 qt"}, "feed-feed_volume_ml", []string{"does not fit"}, []string{`value="2 qt"`}},
		{"stage without straining", "stage", "Quince juice/A", []string{"from", "alcoholic", "stage", "acetic", "starter", "none"}, "stage-volume_ml", []string{"after straining"}, []string{`value="none" data-pick="starter-none" checked`}},
		{"back without a reason", "stage", "Quince juice/A", []string{"from", "alcoholic", "stage", "must", "note", "hm"}, "stage-reason", []string{"say why"}, []string{"hm</textarea>"}},
		{"hold without a reason", "hold", "Pear trimmings/A", []string{"hold", "on"}, "hold-reason", []string{"reason is missing"}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := stocked(t)
			tag := s.jars[c.jar]
			before := s.entries(tag)
			v := formOf(c.typed...)
			page := s.post(at(tag, "/log/"+c.form), v).wants(http.StatusUnprocessableEntity, c.says...).has(c.keeps...)
			page.has(`id="`+c.form+`" open`, `value="`+v.Get("key")+`"`, c.field+"-error")
			input := element(page.Body.String(), c.field)
			for _, want := range []string{`aria-invalid="true"`, c.field + "-error", "autofocus"} {
				if !strings.Contains(input, want) {
					t.Errorf("the marked input has no %s: %s", want, input)
				}
			}
			if n := s.entries(tag); n != before {
				t.Errorf("%d entries, want still %d", n, before)
			}
		})
	}
}

// element is the source of the element with that id, up to its end.
func element(html, id string) string {
	i := strings.Index(html, `id="`+id+`"`)
	if i < 0 {
		return ""
	}
	start := strings.LastIndexByte(html[:i], '<')
	return html[start : i+strings.IndexByte(html[i:], '>')]
}

// TestChoicesComeBack covers the fields that are choices, whose mark is a
// sentence over the buttons.
func TestChoicesComeBack(t *testing.T) {
	s := stocked(t)
	pear, juice := s.jars["Pear trimmings/A"], s.jars["Quince juice/A"]
	s.post(at(pear, "/log/feed"), formOf("note", "kept")).wants(422, "Say what came into the jar").has("kept</textarea>", `id="feed" open`)
	s.post(at(pear, "/log/action"), formOf("note", "kept")).wants(422, "Say what was done").has("kept</textarea>", `id="action" open`)
	s.post(at(juice, "/log/stage"), formOf("from", "alcoholic", "stage", "acetic", "volume_ml", "5", "volume_ml_unit", "L")).wants(422, "where the starter came from").has(`value="5"`)
	s.post(at(juice, "/log/stage"), formOf("from", "alcoholic", "stage", "finished")).wants(422, "cannot become finished")
	s.post(at(juice, "/log/reading"), formOf("note", "nothing measured")).wants(422, "nothing to save yet").has("nothing measured</textarea>")
}

// TestTypedUnitWins lets a typed unit overrule the one chosen beside it: one
// US pint is 473.176473 mL (NIST Handbook 44, appendix C).
func TestTypedUnitWins(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Windfalls/A"]
	s.post(at(tag, "/log/reading"), formOf("volume_ml", "1 pt", "volume_ml_unit", "L")).follow().wants(200, "holds 473 mL")
	if v := float64(*s.state(tag).VolumeML); v < 473.1764 || v > 473.1765 {
		t.Errorf("1 pt became %v mL", v)
	}
}

// TestSentTwice sends every form twice: it is saved once and answered the same.
func TestSentTwice(t *testing.T) {
	for _, c := range []struct {
		form, jar string
		typed     []string
	}{
		{"reading", "Pear trimmings/A", []string{"ph", "3.2"}},
		{"titration", "Pear trimmings/A", []string{"sample_ml", "2", "base_mol_per_l", "0.1", "start_ml_1", "0", "end_ml_1", "10"}},
		{"action", "Pear trimmings/A", []string{"action", "stirred"}},
		{"feed", "Pear trimmings/A", []string{"feed", "water", "feed_volume_ml", "100 mL"}},
		{"stage", "Quince juice/A", []string{"from", "alcoholic", "stage", "acetic", "volume_ml", "5 L", "starter", "none"}},
		{"stage", "Barley/A", []string{"from", "finished", "stage", "empty"}},
		{"note", "Pear trimmings/A", []string{"note", "smells of pears\r\nand sharp"}},
		{"hold", "Pear trimmings/A", []string{"hold", "on", "reason", "fly in it"}},
		{"hold", "Honey/A", []string{"hold", "off", "reason", "it was a mother"}},
	} {
		t.Run(c.form+" "+c.jar, func(t *testing.T) {
			s := stocked(t)
			tag := s.jars[c.jar]
			before, v := s.entries(tag), formOf(c.typed...)
			s.post(at(tag, "/log/"+c.form), v).follow().wants(200, "Saved: ")
			s.post(at(tag, "/log/"+c.form), v).follow().wants(200, "Already saved, once: ")
			if n := s.entries(tag); n != before+1 {
				t.Errorf("%d entries, want %d", n, before+1)
			}
			// The same key with other values is not lost without a word.
			v.Set("note", "another thought")
			if c.form == "hold" {
				v.Set("reason", "another thought")
			}
			page := s.post(at(tag, "/log/"+c.form), v)
			page.wants(http.StatusConflict, "saved once already").has("another thought</textarea>").lacks(`name="key" value="` + v.Get("key"))
		})
	}
}

// TestFormWithoutKey is asked for again rather than saved without protection.
func TestFormWithoutKey(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	before := s.entries(tag)
	s.post(at(tag, "/log/reading"), url.Values{"ph": {"3.2"}}).wants(422, "press the button again").has(`value="3.2"`)
	if s.entries(tag) != before {
		t.Error("it was saved")
	}
}

// TestTitration checks the page against a sum by hand: 2 mL took 10.00 mL of
// 0.1 mol/L, so 10.00 x 0.1 x 60.05 / (10 x 2) = 3.00 g/100 mL as acetic acid
// (molar mass 60.052 from IUPAC's abridged atomic weights).
func TestTitration(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	page := s.post(at(tag, "/log/titration"), formOf("sample_ml", "2", "base_mol_per_l", "0,1", "start_ml_1", "0,0", "end_ml_1", "10,0",
		"start_ml_2", "10,0", "end_ml_2", "20,0")).follow()
	page.wants(200, "Acidity is now 3.0 ±", "measured", "2 mL sample, base 0.1 mol/L, burette 0→10, 10→20 mL", "never stands in for acidity")
	if a := float64(s.state(tag).Acidity.GPer100ML); a < 3.0025 || a > 3.0027 {
		t.Errorf("acidity %v, want 3.0026", a)
	}
	// A pH logged afterwards changes nothing of it.
	s.post(at(tag, "/log/reading"), formOf("ph", "2.4")).follow()
	if a := float64(s.state(tag).Acidity.GPer100ML); a < 3.0025 || a > 3.0027 {
		t.Errorf("a pH changed the acidity to %v", a)
	}
	// The next form offers the same sample and base.
	s.get(at(tag, "")).has(`id="titration-sample_ml" name="sample_ml" value="2"`, `id="titration-base_mol_per_l" name="base_mol_per_l" value="0.1"`)
}

// TestFeed shows the lineage from both ends, and an acidity that became computed.
func TestFeed(t *testing.T) {
	s := stocked(t)
	juice, barley, pear := s.jars["Quince juice/A"], s.jars["Barley/A"], s.jars["Pear trimmings/A"]
	s.post(at(juice, "/log/feed"), formOf("feed", "starter-jar", "feed_jar", strings.ToLower(string(barley)), "feed_mother", "1",
		"feed_volume_ml", "200", "feed_volume_ml_unit", "mL")).follow().wants(200, "Starter: mother and 200 mL from jar "+string(barley), "It now holds 6.2 L")
	s.get(at(juice, "")).has(`href="/J/` + string(barley) + `"`)
	s.get(at(barley, "")).has(`href="/J/`+string(juice)+`"`).wants(200, "Gave a mother and 200 mL to jar "+string(juice))
	s.post(at(pear, "/log/feed"), formOf("feed", "water", "feed_volume_ml", "0,5", "feed_volume_ml_unit", "L")).follow().
		wants(200, "Its acidity is now computed").has(`class="computed"`)
	s.post(at(pear, "/log/feed"), formOf("feed", "topup-other", "feed_name", "pear juice", "feed_volume_ml", "20", "feed_volume_ml_unit", "mL")).follow().
		wants(200, "outdated").has(`class="outdated"`)
}

// TestStage moves a jar on and offers its next label; fields of another choice
// do not count.
func TestStage(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Quince juice/A"]
	s.get(at(tag, "?open=stage&pick=acetic")).has(`id="stage" open`, `data-pick="acetic" checked`)
	page := s.post(at(tag, "/log/stage"), formOf("from", "alcoholic", "stage", "acetic", "volume_ml", "5,5", "volume_ml_unit", "L",
		"starter", "bought", "starter_name", "live cider vinegar", "starter_volume_ml", "1 cup", "reason", "typed before another choice", "when", "yesterday")).follow()
	page.wants(200, "The jar is now acetic", "Print the next label", "live cider vinegar").lacks("typed before another choice")
	if s.state(tag).Stage != larder.Acetic {
		t.Error("it did not move")
	}
	s.post(at(tag, "/log/stage"), formOf("from", "acetic", "stage", "discarded", "reason", "blue mould", "volume_ml", "x")).follow().
		wants(200, "The jar is discarded", "tag is retired", "Why: blue mould")
}

func TestHold(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Barley/A"]
	s.post(at(tag, "/log/hold"), formOf("hold", "on", "reason", "fly in it")).follow().wants(200, "On hold: fly in it", "may be bottled or given")
	s.get("/shelf").wants(200, "On hold: fly in it")
	v := formOf("tag", string(tag), "bottles_1", "2", "size_ml_1", "250 mL")
	s.post("/bottle", v).wants(422, "is on hold")
	s.post(at(tag, "/log/hold"), formOf("hold", "off", "reason", "strained it out")).follow().wants(200, "Saved: Hold lifted")
	if s.state(tag).Hold != "" {
		t.Error("the hold still stands")
	}
}

// TestStrike strikes an entry: it stays readable with who and why, and no
// longer counts.
func TestStrike(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	p, err := s.db.History(context.Background(), tag, store.Cursor{}, 50)
	if err != nil {
		t.Fatal(err)
	}
	var id, long string
	for _, e := range p.Entries {
		if r, ok := e.Body.(larder.Reading); ok && r.PH != nil && !e.Struck() {
			id, long = fmt.Sprint(e.Seq), e.ID.String()
			break
		}
	}
	url := at(tag, "/strike?entry="+id)
	s.get(at(tag, "")).has(url)
	s.get(url).wants(200, "pH 3.1", "Nothing is erased")
	s.get(at(tag, "/strike?entry="+long)).wants(200, "pH 3.1", "Nothing is erased")
	s.get(at(tag, "/strike?entry=999999")).wants(404)
	s.post(url, formOf("by", "mk")).wants(422, "reason is missing").has(`value="mk"`, `aria-invalid="true"`)
	v := formOf("reason", "meter was dry", "by", "mk")
	s.post(url, v).follow().wants(200, "Struck by mk", "meter was dry", "pH 3.1", "no longer counts").has("<s><b>pH 3.1")
	n := s.entries(tag)
	s.post(url, v).follow().wants(200)
	if s.entries(tag) != n {
		t.Error("striking twice added an entry")
	}
	if ph := s.state(tag).PH.Value; ph != 3.6 {
		t.Errorf("pH is %v, want the one before, 3.6", ph)
	}
	s.post(url, formOf("reason", "again")).wants(422, "struck already")
	s.get(at(s.jars["Barley/A"], "/strike?entry="+id)).wants(404)
	s.get(at(tag, "/strike?entry=nonsense")).wants(404)
}

// TestStart starts a batch from the form, with empty lines between ingredients
// and a vague date.
func TestStart(t *testing.T) {
	s := newStation(t)
	s.get("/start").has(`name="key"`, `name="ingredients[3].amount"`)
	typed := func(pairs ...string) url.Values {
		v := formOf("name", "Pear & <b>peel", "base", "fruit scraps", "ingredients[0].name", "pears, peels and cores", "ingredients[0].amount", "2,4 kg",
			"ingredients[1].name", "", "ingredients[1].amount", "", "ingredients[2].name", "water", "ingredients[2].amount", "4 L",
			"jars", "2", "jar_size_ml", "3", "jar_size_ml_unit", "L", "fill_ml", "2,6", "fill_ml_unit", "L", "target_g_per_100ml", "5",
			"place", "pantry", "when", "about the 22nd", "by", "ro")
		for i := 0; i < len(pairs); i += 2 {
			v.Set(pairs[i], pairs[i+1])
		}
		return v
	}
	for _, c := range []struct{ field, value, says, id string }{
		{"name", "", "name is missing", "start-name"},
		{"ingredients[2].amount", "4", "no unit", "start-ingredients[2].amount"},
		{"ingredients[2].name", "", "Say what this is", "start-ingredients[2].name"},
		{"jars", "1,5", "whole numbers", "start-jars"},
		{"jars", "99", "how many jars", "start-jars"},
		{"jar_size_ml", "", "how much a jar holds", "start-jar_size_ml"},
		{"fill_ml", "4", "no more than the jar holds", "start-fill_ml"},
		{"target_g_per_100ml", "50", "target acidity lies", "start-target_g_per_100ml"},
		{"jar_outer_diameter_mm", "5", "diameter lies", "start-jar_outer_diameter_mm"},
		{"spare_tags", "K7RM4T", "mistyped", "start-spare_tags"},
		{"when", "soon", "not a date", "start-when"},
	} {
		page := s.post("/start", typed(c.field, c.value)).wants(422, c.says).has("Pear", "about the 22nd"[:5], `value="2,4 kg"`)
		if in := element(page.Body.String(), c.id); !strings.Contains(in, `aria-invalid="true"`) {
			t.Errorf("%s=%q: the input is not marked: %s", c.field, c.value, in)
		}
	}
	s.post("/start", typed("base", "")).wants(422, "Say what the batch is made from")
	s.post("/start", typed("more", "1")).wants(200).has(`name="ingredients[6].name"`, `value="2,4 kg"`)

	v := typed()
	page := s.post("/start", v).follow().wants(200, "Pear & <b>peel is started", "about 22 Nov 2026", "pears, peels and cores: 2.4 kg", "Labels")
	page.lacks("<b>peel").has(`href="/labels?tag=`)
	s.post("/start", v).follow().wants(200)
	shelf, err := s.db.Shelf(context.Background(), true)
	if err != nil || len(shelf) != 2 {
		t.Fatalf("%d jars (%v), want 2", len(shelf), err)
	}
}

// TestSpareTag goes from a printed spare tag to a batch in that jar.
func TestSpareTag(t *testing.T) {
	s := newStation(t)
	tags, err := s.db.IssueSpares(context.Background(), act(), 2)
	if err != nil {
		t.Fatal(err)
	}
	s.get(at(tags[0], "")).wants(200, "No jar wears this label yet").has(`href="/start?spare=` + string(tags[0]) + `"`)
	s.get("/start?spare=" + string(tags[0])).has(`value="` + string(tags[0]) + `"`)
	s.post("/start", formOf("name", "Plum", "base", "juice", "jars", "1", "jar_size_ml", "3 L", "target_g_per_100ml", "5", "spare_tags", string(tags[0]))).follow()
	s.get(at(tags[0], "")).wants(200, "Plum", "must")
	s.post("/start", formOf("name", "Plum", "base", "juice", "jars", "1", "jar_size_ml", "3 L", "target_g_per_100ml", "5", "spare_tags", string(tags[0]))).
		wants(422, "not a spare one")
}

// TestBottleAndGive bottles a jar and gives a bottle.
func TestBottleAndGive(t *testing.T) {
	s := stocked(t)
	barley := string(s.jars["Barley/A"])
	s.get("/bottle").wants(200, barley, "Takes from it").has("checked")
	base := []string{"tag", barley, "bottles_1", "12", "size_ml_1", "250", "size_ml_1_unit", "mL", "name", "Barley & hop", "by", "ro"}
	s.post("/bottle", formOf()).wants(422, "Tick the jar", "how many bottles")
	s.post("/bottle", formOf(append(base, "bottles_2", "3")...)).wants(422, "how much a bottle holds").has(`value="Barley &amp; hop"`)
	s.post("/bottle", formOf("tag", barley, "bottles_1", "1000", "size_ml_1", "250 mL")).wants(422, "1 to 500")
	s.post("/bottle", formOf("tag", barley, "bottles_1", "40", "size_ml_1", "1 L")).wants(422, "cannot be taken out of it")
	s.post("/bottle", formOf("tag", string(s.jars["Windfalls/A"]), "bottles_1", "4", "size_ml_1", "250 mL")).wants(422, "not finished")
	v := formOf(base...)
	s.post("/bottle", v).follow().wants(200, "Saved: lot L261125A", "Barley & hop", "5.3 % acidity", "titrated 5 Nov 2026", "unhopped ale")
	s.post("/bottle", v).follow().wants(200, "L261125A")
	lots, err := s.db.Lots(context.Background())
	if err != nil || len(lots) != 1 || lots[0].Bottles != 12 {
		t.Fatalf("%v, %v: want one lot of 12", lots, err)
	}
	s.get("/lots").wants(200, "L261125A", "12 bottles")

	lot, err := s.db.Lot(context.Background(), "L261125A")
	if err != nil {
		t.Fatal(err)
	}
	seven := lot.Bottles[6]
	s.get("/find?tag="+strings.ToLower(string(seven.Tag))).follow().wants(200, "Bottle 7 of 12", "Give it away")
	s.post(bottleURL(seven), formOf("note", "for the stew")).wants(422, "who gets it is missing").has("for the stew</textarea>")
	g := formOf("to", "the neighbours at no. 4", "when", "yesterday")
	s.post(bottleURL(seven), g).wants(422, "not filled yet on that date").has(`value="yesterday"`)
	g.Set("when", "")
	s.post(bottleURL(seven), g).follow().wants(200, "Saved: given to the neighbours at no. 4")
	s.post(bottleURL(seven), g).follow().wants(200)
	s.post(bottleURL(seven), formOf("to", "ana")).wants(422, "already given")
	s.get(lotURL("L261125A")).wants(200, "given to the neighbours at no. 4", "still here")
	s.get("/lots/L261125A/bottles/13").wants(404)
	s.get("/lots/L000101A").wants(404)
}
