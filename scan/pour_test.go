package scan

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// pours is the address of one act of a jar.
func poursAt(tag larder.Tag, act string) string { return at(tag, "/pour/"+act) }

func (s *station) spare() larder.Tag {
	s.t.Helper()
	spares, err := s.db.IssueSpares(context.Background(), act(), 1)
	if err != nil {
		s.t.Fatal(err)
	}
	return spares[0]
}

// TestPourActs does each act by its page: one act, said on the page that follows,
// with the volumes counted on both sides; sent again it changes nothing.
func TestPourActs(t *testing.T) {
	for _, c := range []struct {
		name, act string
		jar       string
		typed     func(s *station) []string
		says      []string
		holdsML   map[string]float64 // of jars by name, after
		stage     larder.Stage
	}{
		{"strained, mother from a jar", "strain", "Quince juice/A", func(s *station) []string {
			return []string{"volume_ml", "5,4", "volume_ml_unit", "L", "then", "acetic", "from", "jar", "other", string(s.jars["Barley/A"]), "amount_ml", "200", "amount_ml_unit", "mL", "mother", "1"}
		}, []string{"Saved: alcoholic → acetic", "5.4 L in the jar", "Starter: mother and 200 mL from jar"}, map[string]float64{"Quince juice/A": 5600, "Barley/A": 4100}, larder.Acetic},
		{"strained only", "strain", "Quince juice/A", func(*station) []string { return []string{"volume_ml", "5.5 L", "then", "stay"} },
			[]string{"Saved: Strained", "5.5 L left in the jar"}, map[string]float64{"Quince juice/A": 5500}, larder.Alcoholic},
		{"mother of a bottle", "mother", "Pear trimmings/A", func(*station) []string {
			return []string{"from", "bought", "name", "raw cider vinegar", "acidity", "5", "live", "1", "amount_ml", "100", "amount_ml_unit", "mL", "mother", "1", "supplier", "Low Orchard", "supplier_lot", "L7"}
		}, []string{"Saved: Starter: mother and 100 mL of bought raw cider vinegar (stated 5 %)", "It now holds 2.5 L", "outdated"}, map[string]float64{"Pear trimmings/A": 2500}, larder.Acetic},
		{"a mother alone", "mother", "Windfalls/A", func(s *station) []string {
			return []string{"from", "jar", "other", "http://192.168.1.20:8080/J/" + string(s.jars["Barley/A"]), "mother", "1"}
		}, []string{"Saved: Starter: mother from jar"}, map[string]float64{"Windfalls/A": 2000, "Barley/A": 4300}, larder.Must},
		{"a mother, and on to vinegar", "mother", "Quince juice/A", func(*station) []string {
			return []string{"from", "bought", "name", "raw vinegar", "acidity", "5 %", "live", "1", "amount_ml", "500", "amount_ml_unit", "mL", "mother", "1", "then", "acetic", "volume_ml", "6", "volume_ml_unit", "L"}
		}, []string{"Saved: alcoholic → acetic", "6 L in the jar", "Starter: mother and 500 mL of bought raw vinegar (stated 5 %)"}, map[string]float64{"Quince juice/A": 6500}, larder.Acetic},
		{"top-up from a jar", "top-up", "Pear trimmings/A", func(s *station) []string {
			return []string{"from", "jar", "other", string(s.jars["Barley/A"]), "amount_ml", "1 cup"}
		}, []string{"Saved: Topped up: 237 mL from jar"}, map[string]float64{"Pear trimmings/A": 2400 + 236.588236, "Barley/A": 4300 - 236.588236}, larder.Acetic},
		{"top-up with wine", "top-up", "Pear trimmings/A", func(*station) []string {
			return []string{"from", "else", "name", "damson wine", "amount_ml", "0,5", "amount_ml_unit", "L"}
		}, []string{"Saved: Topped up: 500 mL of damson wine"}, map[string]float64{"Pear trimmings/A": 2900}, larder.Acetic},
		{"water", "water", "Barley/A", func(*station) []string { return []string{"amount_ml", "300", "amount_ml_unit", "mL"} },
			[]string{"Saved: Diluted: 300 mL of water", "computed"}, map[string]float64{"Barley/A": 4600}, larder.Finished},
		{"infusion", "infuse", "Barley/A", func(*station) []string { return []string{"name", "rosemary", "mass_g", "20", "mass_g_unit", "g"} },
			[]string{"Saved: Infused: 20 g of rosemary"}, map[string]float64{"Barley/A": 4300}, larder.Finished},
		{"join into this jar", "join", "Pear trimmings/A", func(s *station) []string {
			tag := string(s.jars["Barley/A"])
			return []string{"into", "here", "jars", tag, "give_" + tag + "_ml", "0,4", "give_" + tag + "_ml_unit", "L"}
		}, []string{"Saved: Topped up: 400 mL from jar"}, map[string]float64{"Pear trimmings/A": 2800, "Barley/A": 3900}, larder.Acetic},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := stocked(t)
			tag := s.jars[c.jar]
			s.get(poursAt(tag, c.act)).wants(200)
			form := formOf(append(c.typed(s), "by", "mk", "note", "with care")...)
			page := s.post(poursAt(tag, c.act), form).follow().wants(200, c.says...)
			page.wants(200, "with care", "· mk")
			check := func() {
				t.Helper()
				for name, want := range c.holdsML {
					if got := float64(*s.state(s.jars[name]).VolumeML); got < want-0.01 || got > want+0.01 {
						t.Errorf("jar %s holds %g mL, want %g", name, got, want)
					}
				}
			}
			check()
			if got := s.state(tag).Stage; got != c.stage {
				t.Errorf("the jar is %s, want %s", got, c.stage)
			}
			n := s.entries(tag)
			s.post(poursAt(tag, c.act), form).follow().wants(200, "Already saved, once")
			check()
			if s.entries(tag) != n {
				t.Error("the same form sent again added an entry")
			}
			if report, err := s.db.Check(context.Background()); err != nil || len(report.Findings) > 0 {
				t.Errorf("check: %v, %v", report.Findings, err)
			}
		})
	}
}

// TestSplitMoveBlend makes new jars: their page says what was done and offers
// their labels, and a printed spare tag can be theirs.
func TestSplitMoveBlend(t *testing.T) {
	s := stocked(t)
	ale, pear := s.jars["Barley/A"], s.jars["Pear trimmings/A"]
	spare := s.spare()
	page := s.post(poursAt(ale, "split"), formOf("parts[0].volume_ml", "", "parts[0].size_ml", "", "parts[1].volume_ml", "1", "parts[1].volume_ml_unit", "L", "parts[1].size_ml", "1,5", "parts[1].size_ml_unit", "L", "parts[1].spare_tag", string(spare),
		"parts[2].volume_ml", "500 mL", "parts[2].size_ml", "750 mL", "parts[2].place", "window")).follow()
	page.wants(200, "Saved: poured into 2 jars", "Print their labels", "B · Barley, "+string(spare)+", holds 1 L", "holds 500 mL")
	if v := *s.state(ale).VolumeML; v < 2799.9 || v > 2800.1 {
		t.Errorf("%g mL stay, want 2800", float64(v))
	}
	// What was titrated before it was poured is said to be of the other jar.
	s.get(at(spare, "")).wants(200, "Barley", "1 L of 1.5 L", "finished", "titrated, 3 runs; in the jar that it came from")
	s.get(at(ale, "")).wants(200, "titrated, 3 runs").lacks("in the jar that it came from")

	// A move tells so on the new jar, from the act's page and from the tag's own.
	to := s.spare()
	s.post(poursAt(spare, "move"), formOf("size_ml", "2 L", "spare_tag", string(to), "place", "cellar")).follow().
		wants(200, "Saved: Moved: 1 L from jar "+string(spare), "From "+string(spare)+", which is empty now", "Print the next label", "cellar")
	last := s.spare()
	v := formOf("from", string(to), "size_ml", "3 L")
	s.post(at(last, "/move"), v).follow().wants(200, "Saved: Moved: 1 L from jar "+string(to), "Print the next label")
	s.post(at(last, "/move"), v).follow().wants(200, "Already saved, once")

	blend := formOf("into", "new", "name", "House vinegar", "size_ml", "5 L", "jars", string(pear), "give_"+string(pear)+"_ml", "1 L", "give_"+string(last)+"_ml", "")
	page = s.post(poursAt(last, "join"), blend).follow()
	page.wants(200, "House vinegar", "Saved: Blended", "2 L of 5 L", "Print the next label", "From "+string(last)+", which is empty now", "From "+string(pear)+", which still holds 1.4 L")
	if report, err := s.db.Check(context.Background()); err != nil || len(report.Findings) > 0 {
		t.Errorf("check: %v, %v", report.Findings, err)
	}
}

// TestPourRefused sends what cannot be: each comes back with a sentence at the
// field, with all that was typed, and nothing is changed.
func TestPourRefused(t *testing.T) {
	const none = ""
	for _, c := range []struct {
		name, act, jar string
		typed          func(s *station) []string
		status         int
		field          string // whose input is marked; empty: the form as a whole
		says           string
	}{
		{"more than the jar holds", "top-up", "Pear trimmings/A", func(s *station) []string {
			return []string{"from", "jar", "other", string(s.jars["Windfalls/A"]), "amount_ml", "2.1 L"}
		}, 422, "amount_ml", "does not fit"},
		{"more than the giver holds", "top-up", "Quince juice/A", func(s *station) []string {
			return []string{"from", "jar", "other", string(s.jars["Windfalls/A"]), "amount_ml", "2", "amount_ml_unit", "L", "when", "", "note", "over", "amount_ml", "2"}
		}, 303, none, ""},
		{"more than the other has", "mother", "Quince juice/A", func(s *station) []string {
			return []string{"from", "jar", "other", string(s.jars["Barley/A"]), "amount_ml", "4.4 L"}
		}, 422, "amount_ml", "does not fit"},
		{"before the other was there", "mother", "Pear trimmings/A", func(s *station) []string {
			return []string{"from", "jar", "other", string(s.jars["Windfalls/A"]), "mother", "1", "when", "20 days ago"}
		}, 422, "other", "before this jar was started"},
		{"before the jar was there", "mother", "Windfalls/A", func(s *station) []string {
			return []string{"from", "jar", "other", string(s.jars["Barley/A"]), "mother", "1", "when", "20 days ago"}
		}, 422, "when", "before this jar was started"},
		{"itself", "mother", "Pear trimmings/A", func(s *station) []string {
			return []string{"from", "jar", "other", string(s.jars["Pear trimmings/A"]), "mother", "1"}
		}, 422, "other", "its own tag"},
		{"an unknown tag", "top-up", "Pear trimmings/A", func(*station) []string {
			return []string{"from", "jar", "other", unknown(larder.MinJarTag), "amount_ml", "0.1 L"}
		}, 422, "other", "There is no jar " + unknown(larder.MinJarTag)},
		{"a mistyped tag", "top-up", "Pear trimmings/A", func(*station) []string {
			return []string{"from", "jar", "other", "K7RM4T", "amount_ml", "0.1 L"}
		}, 422, "other", "mistyped"},
		{"a bottle's tag", "top-up", "Pear trimmings/A", func(*station) []string {
			return []string{"from", "jar", "other", unknown(larder.BottleTagLength), "amount_ml", "0.1 L"}
		}, 422, "other", "bottle's tag"},
		{"a discarded jar", "mother", "Pear trimmings/A", func(s *station) []string {
			return []string{"from", "jar", "other", string(s.jars["Pear trimmings/B"]), "mother", "1"}
		}, 422, "other", "discarded"},
		{"a held jar", "mother", "Pear trimmings/A", func(s *station) []string {
			return []string{"from", "jar", "other", string(s.jars["Honey/A"]), "mother", "1"}
		}, 422, "other", "on hold: mould sighting"},
		{"into a discarded jar", "water", "Pear trimmings/B", func(*station) []string { return []string{"amount_ml", "0.1 L"} }, 422, none, "tag is retired"},
		{"no volume, no mother", "mother", "Pear trimmings/A", func(s *station) []string { return []string{"from", "jar", "other", string(s.jars["Barley/A"])} }, 422, "amount_ml", "how much liquid"},
		{"no water", "water", "Pear trimmings/A", func(*station) []string { return nil }, 422, "amount_ml", "how much water"},
		{"no herb", "infuse", "Barley/A", func(*station) []string { return []string{"mass_g", "20 g"} }, 422, "name", "is missing"},
		{"a herb of litres", "infuse", "Barley/A", func(*station) []string { return []string{"name", "wine", "mass_g", "2 L"} }, 422, "mass_g", "weight"},
		{"strained without volume", "strain", "Quince juice/A", func(*station) []string { return []string{"then", "acetic", "from", "none"} }, 422, "volume_ml", "after straining"},
		{"a split into nothing", "split", "Barley/A", func(*station) []string { return nil }, 422, none, "into which vessels"},
		{"a split of more", "split", "Barley/A", func(*station) []string {
			return []string{"parts[0].volume_ml", "3 L", "parts[0].size_ml", "3 L", "parts[1].volume_ml", "1.5 L", "parts[1].size_ml", "3 L"}
		}, 422, none, "cannot be taken out"},
		{"a part that does not fit", "split", "Barley/A", func(*station) []string {
			return []string{"parts[0].volume_ml", "", "parts[1].volume_ml", "3 L", "parts[1].size_ml", "2 L"}
		}, 422, "parts[1].volume_ml", "cannot hold 3 L"},
		{"a part unreadable", "split", "Barley/A", func(*station) []string { return []string{"parts[1].volume_ml", "3 barrels", "parts[1].size_ml", ""} }, 422, "parts[1].volume_ml", "barrels"},
		{"a split of a held jar", "split", "Honey/A", func(*station) []string { return []string{"parts[0].volume_ml", "1 L", "parts[0].size_ml", "2 L"} }, 422, none, "on hold: mould sighting"},
		{"a split before it was there", "split", "Windfalls/A", func(*station) []string {
			return []string{"parts[0].volume_ml", "1 L", "parts[0].size_ml", "2 L", "when", "20 days ago"}
		}, 422, "when", "was started"},
		{"a move into too small", "move", "Barley/A", func(*station) []string { return []string{"size_ml", "2 L"} }, 422, "volume_ml", "cannot hold"},
		{"a move to a tag in use", "move", "Barley/A", func(s *station) []string { return []string{"size_ml", "5 L", "spare_tag", string(s.jars["Honey/A"])} }, 422, "spare_tag", "not a spare one"},
		{"a blend of one", "join", "Barley/A", func(*station) []string { return []string{"into", "new", "name", "x", "size_ml", "5 L"} }, 422, "joined", "joins 2 to"},
		{"a blend with a held jar", "join", "Barley/A", func(s *station) []string {
			return []string{"into", "new", "name", "x", "size_ml", "9 L", "jars", string(s.jars["Honey/A"])}
		}, 422, "joined", "on hold: mould sighting"},
		{"a join with itself", "join", "Barley/A", func(s *station) []string { return []string{"into", "here", "jars", string(s.jars["Barley/A"])} }, 422, "joined", "into itself"},
		{"a join that runs over", "join", "Pear trimmings/A", func(s *station) []string { return []string{"into", "here", "jars", string(s.jars["Barley/A"])} }, 422, none, "does not fit"},
		{"a join of what was not added yet", "join", "Pear trimmings/A", func(s *station) []string {
			return []string{"into", "new", "name", "x", "size_ml", "9 L", "other", string(s.jars["Barley/A"])}
		}, 422, "joined", "was added: say how much"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := stocked(t)
			tag := s.jars[c.jar]
			before := map[string]int{}
			for name, tag := range s.jars {
				before[name] = s.entries(tag)
			}
			typed := c.typed(s)
			page := s.post(poursAt(tag, c.act), formOf(append(typed, "note", "cold hands")...)).wants(c.status)
			if c.status != 422 {
				return // the neighbour of a case that is refused
			}
			page.wants(422, c.says).has("cold hands</textarea>")
			for i := 1; i < len(typed); i += 2 {
				if v := typed[i]; v != "" && !strings.HasSuffix(typed[i-1], "_unit") {
					page.has(`value="` + v + `"`)
				}
			}
			switch c.field {
			case none:
				page.has(`<p class="wrong" role="alert">`)
			case "joined":
				page.has(`id="joined-error"`)
			default:
				if input := element(page.Body.String(), "pour-"+c.field); !strings.Contains(input, `aria-invalid="true"`) {
					t.Errorf("the input %s is not marked: %s", c.field, input)
				}
			}
			for name, tag := range s.jars {
				if n := s.entries(tag); n != before[name] {
					t.Errorf("jar %s has %d entries, had %d", name, n, before[name])
				}
			}
		})
	}
}

// TestScanTheOther begins an act, scans another jar's label in its middle, and
// comes back to all that was typed; a spare tag becomes the new vessel's.
func TestScanTheOther(t *testing.T) {
	s := stocked(t)
	juice, ale := s.jars["Quince juice/A"], s.jars["Barley/A"]
	s.get(at(ale, "")).lacks("Leave that") // nothing was begun
	s.get(poursAt(juice, "strain")).wants(200, "It holds 6 L and has room for 2 L")
	form := formOf("volume_ml", "5,4", "volume_ml_unit", "L", "then", "acetic", "from", "jar", "note", "slow", "by", "mk")
	form.Set("scan", "1")
	s.post(poursAt(juice, "strain"), form).follow().wants(200, "Point the phone's camera at it").has(`value="5,4"`, "slow</textarea>")
	// The label's code says the same in capitals; the first thing on its page is the way back.
	other := s.get("/J/"+string(ale)).wants(200, "Use this jar as the mother for A · Quince juice", "Back to A · Quince juice", "Leave that")
	if body := other.Body.String(); strings.Index(body, "Use this jar as the mother") > strings.Index(body, `class="label jarhead"`) {
		t.Error("the offer does not stand at the top")
	}
	back := poursAt(juice, "strain") + "?other=" + string(ale)
	other.has(`href="` + back + `#other"`)
	s.get(back).wants(200, "A · Barley, finished, holds 4.3 L", string(ale)+" holds 4.3 L").has(`value="5,4"`, "slow</textarea>", `value="`+string(ale)+`"`, `value="mk"`, `value="`+form.Get("key")+`"`)
	form.Del("scan")
	form.Set("other", string(ale))
	form.Set("mother", "1")
	s.post(poursAt(juice, "strain"), form).follow().wants(200, "The jar is now acetic", "Starter: mother from jar "+string(ale))
	s.get(at(ale, "")).lacks("Leave that") // it is done

	// A jar that cannot serve says why, and the act can be left.
	s.get(poursAt(juice, "top-up"))
	s.get(at(s.jars["Honey/A"], "")).wants(200, "This jar is on hold: mould sighting. Nothing can be taken out").lacks("Top up A")
	s.get(at(s.jars["Pear trimmings/B"], "")).wants(200, "This jar is discarded, so nothing can be taken out of it")
	s.post(poursAt(juice, "top-up"), formOf("name", "wine", "keep", "1"))
	s.get(at(juice, "")).wants(200, "Go on: top up")
	s.post("/pour/drop", formOf("tag", jarURL(ale))).follow().wants(200, "Barley").lacks("Leave that")

	// The same page reached over the station's own pages, not by a scan: the form
	// that holds nothing was left. One that holds something waits.
	walk := func(to, from string) answer {
		r := httptest.NewRequest("GET", to, nil)
		r.Header.Set("Referer", "http://"+r.Host+from)
		return s.send(r, to)
	}
	s.get(poursAt(juice, "mother"))
	walk(at(ale, ""), poursAt(juice, "mother")).wants(200, "Leave that") // chosen in the form itself
	walk(at(ale, ""), "/scan").wants(200, "Leave that")                  // read from a photo of the label
	walk(at(ale, ""), "/shelf").wants(200, "Barley").lacks("Leave that")
	s.get(at(ale, "")).lacks("Leave that") // and it stays so
	s.post(poursAt(juice, "mother"), formOf("amount_ml", "1", "keep", "1"))
	walk(at(ale, ""), "/shelf").wants(200, "Leave that")
	s.post("/pour/drop", formOf("tag", jarURL(ale)))

	// A form that was only looked at is left without a word.
	s.get(poursAt(juice, "water"))
	s.get(at(ale, "")).lacks("Leave that")
	s.get(poursAt(juice, "mother"))
	s.get(at(juice, "")).lacks("Go on", "Leave that")
	s.get(at(ale, "")).lacks("Leave that")

	// A spare tag is the vessel of a move.
	spare := s.spare()
	s.get(poursAt(juice, "move"))
	s.get(at(spare, "")).wants(200, "Pour A · Quince juice into the jar with this tag").has(`href="` + poursAt(juice, "move") + "?other=" + string(spare))
	s.get(poursAt(juice, "move") + "?other=" + string(spare)).wants(200).has(`name="spare_tag" value="` + string(spare) + `"`)
}

// TestThreeWays chooses the other jar from the shelf and by typing, with
// look-alikes forgiven and said, and sends the phone to the page that reads
// photos; each keeps what was typed.
func TestThreeWays(t *testing.T) {
	s := stocked(t)
	juice, ale := s.jars["Quince juice/A"], s.jars["Barley/A"]
	page := s.get(poursAt(juice, "mother")).wants(200, "Choose from the shelf", "A · Barley, finished, holds 4.3 L")
	page.has(`name="pick" value="`+string(ale)+`"`).lacks(`value="`+string(s.jars["Honey/A"])+`"`, `value="`+string(s.jars["Windfalls/A"])+`"`, `value="`+string(juice)+`"`)
	form := formOf("from", "jar", "note", "kept", "amount_ml", "150", "amount_ml_unit", "mL")
	with := func(name, value string) url.Values {
		v := url.Values{}
		for k, all := range form {
			v[k] = all
		}
		v.Set(name, value)
		return v
	}
	s.post(poursAt(juice, "mother"), with("pick", string(ale))).follow().wants(200, "A · Barley, finished").has("kept</textarea>", `value="150"`, `<option selected>mL`)
	for i := 0; !strings.Contains(string(ale), "0"); i++ {
		ale = s.start(larder.NewBatch{Name: "Trial", Base: larder.Ale, Stage: larder.Acetic, FillML: litres(2)})[0].Tag
	}
	typed := strings.ReplaceAll(strings.ToLower(string(ale)), "0", "o")
	v := with("look", "1")
	v.Set("other", typed)
	s.post(poursAt(juice, "mother"), v).follow().wants(200, "Took O for 0: this is jar "+string(ale)).has("kept</textarea>", `value="`+typed+`"`)
	v.Del("look")
	s.post(poursAt(juice, "mother"), v).follow().wants(200, "Saved: Starter: 150 mL from jar "+string(ale), "Took O for 0: this is jar "+string(ale))
	photo := s.post(poursAt(juice, "mother"), with("photo", "1")).wants(http.StatusSeeOther)
	if to := photo.Header().Get("Location"); to != "/scan?for="+url.QueryEscape(poursAt(juice, "mother")) {
		t.Errorf("a photo is taken at %s", to)
	}
	// The page's script keeps what was typed when the phone turns to its camera.
	s.post(poursAt(juice, "mother"), with("keep", "1")).wants(http.StatusNoContent)
	s.get(poursAt(juice, "mother")).has("kept</textarea>")
	for _, cookie := range s.jar {
		if cookie.Name == draftCookie && (!cookie.HttpOnly || cookie.SameSite != http.SameSiteLaxMode || cookie.MaxAge <= 0 || cookie.MaxAge > 7200) {
			t.Errorf("the cookie is %+v", cookie)
		}
	}
	// A cookie of anybody's making opens nothing.
	for _, value := range []string{"x", "..", "K7RM40.fly.1", string(ale) + ".mother.nobody"} {
		s.jar = []*http.Cookie{{Name: draftCookie, Value: value}}
		s.get(at(juice, "")).wants(200).lacks("kept</textarea>")
	}
}

// TestSums reckons the water and the blend beside the form: 6.25 g/100 mL to 5 in
// 1.3 L is 1.3 × (6.25/5 − 1) = 0.325 L (mass balance, C1 V1 = C2 V2).
func TestSums(t *testing.T) {
	s := stocked(t)
	pear := s.jars["Pear trimmings/A"]
	ale := s.ready()
	a := s.state(ale).Acidity
	want := 1300 * (float64(a.GPer100ML)/5 - 1)
	page := s.post(poursAt(ale, "water"), formOf("target_g_per_100ml", "5", "reckon", "1", "note", "hm")).wants(200, "of water would bring it to about 5 g/100 mL", "Reckoned, not measured").has("hm</textarea>")
	if text := (writer{k: larder.Kitchen{}}).volume(chem.Millilitres(want)); !strings.Contains(words(page.Body.String()), text+" of water would") {
		t.Errorf("the page does not say %s: %s", text, words(page.Body.String()))
	}
	s.post(poursAt(ale, "water"), formOf("target_g_per_100ml", "9", "reckon", "1")).wants(200, "Water cannot make 9")
	s.post(poursAt(ale, "water"), formOf("target_g_per_100ml", "", "reckon", "1")).wants(200, "Say how sour")
	s.post(poursAt(s.jars["Windfalls/A"], "water"), formOf("target_g_per_100ml", "5", "reckon", "1")).wants(200, "Titrate first")
	s.post(poursAt(ale, "join"), formOf("into", "new", "jars", string(pear), "reckon", "1")).wants(200, "Together 3.7 L", "Acidity about", "two pH values never average")
	s.post(poursAt(ale, "join"), formOf("into", "new", "jars", string(s.jars["Windfalls/A"]), "reckon", "1")).wants(200, "nobody can say")
}

// TestLineagePage draws both ways, with what was bought and what was bottled as
// leaves, and shows a hold on an ancestor on what came from it.
func TestLineagePage(t *testing.T) {
	s := stocked(t)
	ale, pear := s.jars["Barley/A"], s.jars["Pear trimmings/A"]
	s.post(poursAt(pear, "split"), formOf("parts[0].volume_ml", "1 L", "parts[0].size_ml", "2 L")).wants(http.StatusSeeOther)
	lot := s.bottled(12)
	page := s.get(at(ale, "/lineage")).wants(200, "live cider vinegar", "sold as live", "mother and 300 mL", "Pear trimmings "+string(pear), "a mother and 200 mL, 9 Oct", "split off: 1 L", "Lot "+lot.Lot.ID, "12 bottles")
	page.has(`href="`+jarURL(pear)+`"`, `href="/lots/`+lot.Lot.ID+`"`, `aria-label="What Pear trimmings `+string(pear)+` went into"`)
	s.get(at(pear, "")).wants(200, "this jar", "The whole tree").has(`href="` + at(pear, "/lineage") + `"`)
	s.log(ale, larder.When{}, larder.Hold{On: true, Reason: "white fur"}, "")
	for _, path := range []string{"", "/lineage"} {
		s.get(at(pear, path)).wants(200, "It came from one on hold", "Jar "+string(ale)+": white fur")
	}
	s.get(at(pear, "/lineage")).wants(200, "On hold: white fur", "split off: 1 L, 25 Nov acetic, holds 1 L Came from one on hold")
	s.get(at(ale, "/lineage")).wants(200, "So is all that it went into", "Came from one on hold")
	// A crock that was fed for years shows the newest steps, and leads to the rest.
	for range 9 {
		s.log(ale, larder.When{}, larder.Transfer{What: larder.TopUp, Feed: &larder.Feed{From: larder.FromOther, Name: "ale", VolumeML: litres(0.01)}}, "")
	}
	s.get(at(ale, "")).wants(200, "The whole tree, with 4 more steps")
}
