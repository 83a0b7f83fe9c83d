package scan

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// rounded is a station in the middle of a measuring round, with one jar out of
// line and one skipped; the address is that of its results.
func (s *station) rounded(pear string) string {
	s.t.Helper()
	if open, err := s.db.OpenRound(context.Background()); err != nil {
		s.t.Fatal(err)
	} else if open != nil {
		return roundURL(*open)
	}
	if at := s.post("/round", formOf("jars", "all", "by", "ro")).wants(http.StatusSeeOther).Header().Get("Location"); at != "/round" {
		s.t.Fatalf("a round that was begun leads to %s", at)
	}
	s.post("/round/jar/"+pear, formOf("ph", "3.9", "temp_c", "20", "temp_c_unit", "°C", "sample_ml", "2", "base_mol_per_l", "0.1", "start_ml_1", "0", "end_ml_1", "6.1")).wants(http.StatusSeeOther)
	s.post("/round/jar/"+string(s.jars["Windfalls/A"])+"/skip", formOf()).wants(http.StatusSeeOther)
	open, err := s.db.OpenRound(context.Background())
	if err != nil || open == nil {
		s.t.Fatalf("no round goes on: %v", err)
	}
	return roundURL(*open)
}

// TestRound goes through a round: the bench, jar after jar, a scan in the middle,
// a mistake, a second phone, and the results.
func TestRound(t *testing.T) {
	s := stocked(t)
	pear, windfall, barley := s.jars["Pear trimmings/A"], s.jars["Windfalls/A"], s.jars["Barley/A"]
	s.get("/round").wants(200, "Calibrate", "due a reading (2 jars)", "turning or turned sour (2 jars)", "all (5 jars)", "Begin the round")
	s.get("/round/jar/"+string(pear)).follow().wants(200, "Begin the round")
	s.post("/round/jar/"+string(pear), formOf("ph", "3.2")).wants(422, "No measuring round goes on")
	s.post("/round", formOf("jars", "none")).wants(422, "No jar is to be measured")
	s.get(at(pear, "")).lacks("/round/jar/")

	s.post("/round", formOf("jars", "all", "by", "ro")).follow().wants(200, "Begun 25 Nov, 10:30", "Next, 5 left", "No meter is calibrated", "Read the bought 5 % vinegar")
	// Along the shelf: the cellar, the pantry, then those without a place.
	hub := words(s.get("/round").Body.String())
	if i, j, k := strings.LastIndex(hub, string(barley)), strings.LastIndex(hub, string(pear)), strings.LastIndex(hub, string(windfall)); i > j || j > k {
		t.Errorf("the jars are not in the order of the shelf: %s", hub)
	}
	s.post("/bench/calibration", formOf("back", "round", "meter", "bench pH", "buffer_1", string(chem.Tetroxalate), "temperature_c_1", "20 C", "shown_1", "1.70",
		"buffer_2", string(chem.Phthalate), "temperature_c_2", "20 C", "shown_2", "4.03")).follow().wants(200, "Measuring round", "Saved: Passed", "a pH is corrected by that")
	s.post("/bench/control", formOf("back", "round", "meter", "bench pH")).wants(422, "Type what the meter showed").has(`name="back" value="round"`)
	s.post("/bench/control", formOf("back", "round", "meter", "bench pH", "ph", "2.4", "temp_c", "20", "temp_c_unit", "°C")).follow().wants(200, "bench pH: pH 2.40 at 20 °C")

	for _, c := range s.get("/round").Result().Cookies() {
		if c.Name == "cruet_round" && (c.MaxAge < 3600 || c.MaxAge > 12*3600 || !c.HttpOnly) {
			t.Errorf("the round's cookie is %+v, want a few hours", c)
		}
	}
	// A jar that is scanned offers to go on with the round, on this phone only.
	s.get(at(pear, "")).wants(200, "A measuring round goes on").has(`href="/round/jar/` + string(pear) + `"`)
	other := &station{t: t, db: s.db, engine: s.engine, pages: s.pages, jars: s.jars}
	other.move(s.now())
	other.jar = append(other.jar, s.paired("mk"))
	other.get(at(pear, "")).lacks("/round/jar/")
	other.get("/round").wants(200, "Next, 5 left") // and it is resumed there
	other.post("/round", formOf("jars", "all")).follow().wants(200, "Next, 5 left")

	page := s.get("/round/jar/"+string(pear)).wants(200, "Rinse the electrode", "last 3.1 on 22 Nov", "5 of 5 left", "Titration")
	page.has(`value="bench pH"`).lacks("specific_gravity")
	s.get("/round/jar/"+string(windfall)).wants(200, "Specific gravity").lacks("sample_ml")
	back := s.post("/round/jar/"+string(pear), formOf("ph", "32", "note", "cloudy")).wants(422, "3.2")
	back.has(`value="32"`, "cloudy</textarea>", `aria-invalid="true"`)
	s.post("/round/jar/"+string(pear), formOf()).wants(422, "fill in what you measured, or skip this jar")
	s.post("/round/jar/"+string(pear), formOf("ph", "3.2", "start_ml_1", "0", "end_ml_1", "9")).wants(422, "how much vinegar was titrated", "how strong the base is")
	if n := s.entries(pear); n != 10 {
		t.Errorf("%d entries after forms that were refused, want 10", n)
	}

	// pH 3.9 after 3.1 is out of line; 6.1 mL of base for 2 mL is 1.83 g/100 mL
	// (6.1 x 0.1 x 60.05 / (10 x 2); AOAC 930.15), below the 2.96 of before.
	form := formOf("ph", "3.9", "temp_c", "20", "temp_c_unit", "°C", "by", "mk", "sample_ml", "2", "base_mol_per_l", "0.1", "start_ml_1", "0", "end_ml_1", "6.1")
	saved := s.post("/round/jar/"+string(pear), form)
	next := saved.follow().wants(200, "Pear trimmings A: pH 3.9", "pH went from 3.1 to 3.9", "Acidity fell from", "Measure it again", "4 of 5 left")
	next.lacks(`action="/round/jar/` + string(pear) + `"`)
	if got := s.state(pear); got.PH.Value != 3.9 || got.Acidity.GPer100ML < 1.8 || got.Acidity.GPer100ML > 1.9 {
		t.Errorf("the jar has pH %v and %v g/100 mL", got.PH.Value, got.Acidity.GPer100ML)
	}
	// The same form again is the same act.
	before := s.entries(pear)
	s.post("/round/jar/"+string(pear), form).wants(http.StatusSeeOther)
	if n := s.entries(pear); n != before || before != 12 {
		t.Errorf("%d entries after the form was sent again, %d before; want 12", n, before)
	}
	s.post("/round/jar/"+string(windfall)+"/skip", formOf()).wants(http.StatusSeeOther)
	s.get("/round/jar?tag="+strings.ToLower(string(barley))).follow().wants(200, "Barley")
	s.post("/round/jar/"+string(barley), formOf("ph", "2.9")).follow().wants(200, "Barley A: pH 2.9").lacks("Measure it again")

	// A jar that was not of the round joins it.
	late := s.start(larder.NewBatch{Name: "Late", Base: larder.Wine, When: s.daysAgo(30)})[0].Tag
	s.post("/round/jar/"+string(late), formOf("ph", "3.3")).wants(http.StatusSeeOther)

	results := s.get(s.rounded("")).wants(200, "3 measured, 1 flagged, 1 skipped, 2 missing", "was 3.1", "was 3.0", "pH went from 3.1", "End the round", "Go on with the round")
	results.lacks("No control sample", "is rough")
	open, _ := s.db.OpenRound(context.Background())
	s.move(s.now().Add(time.Hour))
	s.post("/round/end", formOf("round", open.ID.String())).follow().wants(200, "3 measured").lacks("End the round", "Go on with")
	s.get("/round").wants(200, "Rounds before", "25 Nov, 10:30", "3 jars")
	s.get(at(pear, "")).lacks("A measuring round goes on")

	// The titration can be struck alone, and the results say so.
	log, err := s.db.Measurements(context.Background(), pear)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.db.Strike(context.Background(), act(), log[len(log)-1].ID, "the wrong sample"); err != nil {
		t.Fatal(err)
	}
	if got := s.state(pear); got.PH.Value != 3.9 || got.Acidity.GPer100ML < 2.9 {
		t.Errorf("after the strike the jar has pH %v and %v g/100 mL, want 3.9 and 2.96", got.PH.Value, got.Acidity.GPer100ML)
	}
	s.get(roundURL(*open)).wants(200, "Struck since", "pH went from")
	s.get("/rounds/nonsense").wants(404)
}

// TestRoundEndedMeanwhile keeps what was measured on a phone while another one
// ended the round.
func TestRoundEndedMeanwhile(t *testing.T) {
	s := stocked(t)
	pear := s.jars["Pear trimmings/A"]
	s.post("/round", formOf("jars", "sour")).wants(http.StatusSeeOther)
	open, err := s.db.OpenRound(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.db.EndRound(context.Background(), act(), open.ID); err != nil {
		t.Fatal(err)
	}
	s.post("/round/jar/"+string(pear), formOf("ph", "3.05")).follow().wants(200, "1 measured", "3.05")
	if got := s.state(pear).PH.Value; got != 3.05 {
		t.Errorf("pH %v, want 3.05", got)
	}
}

// TestDriftInRound flags a round whose control sample left its usual range: eight
// readings of 2.40 ± 0.01, then one of 2.50 (Shewhart's rule of three standard
// deviations, NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2).
func TestDriftInRound(t *testing.T) {
	s := stocked(t)
	for i, ph := range []chem.PH{2.39, 2.41, 2.40, 2.41, 2.39, 2.40, 2.41, 2.39} {
		n := larder.NewBench{When: s.daysAgo(float64(9 - i)), Body: larder.ControlSample{Meter: "bench pH", PH: ph, TempC: 20}}
		if _, err := s.db.Bench(context.Background(), act(), n); err != nil {
			t.Fatal(err)
		}
	}
	s.post("/round", formOf("jars", "all")).follow().wants(200, "Read the bought 5 % vinegar")
	s.post("/bench/control", formOf("back", "round", "meter", "bench pH", "ph", "2.5", "temp_c", "20", "temp_c_unit", "°C")).follow().wants(200, "out of control")
	open, err := s.db.OpenRound(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	s.get(roundURL(*open)).wants(200, "bench pH is out of control", "0 measured", "5 missing")
	s.get("/round").has(`class="benchcheck wanting"`)
}

// TestRoundWithoutScript needs no script: every step is a link or a form.
func TestRoundWithoutScript(t *testing.T) {
	s := stocked(t)
	s.rounded(string(s.jars["Pear trimmings/A"]))
	for _, path := range []string{"/round", "/round/jar/" + string(s.jars["Barley/A"])} {
		page := s.get(path).wants(200)
		if strings.Contains(page.Body.String(), "onclick") || !strings.Contains(page.Body.String(), `method="post"`) {
			t.Errorf("%s leans on a script", path)
		}
	}
}
