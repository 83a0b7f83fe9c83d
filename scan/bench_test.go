package scan

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// TestBenchCalibration saves what a meter showed of two buffers. The buffers at
// 20 °C are 1.675 (IUPAC Recommendations 2002) and 4.001 (Hetzer et al. 1977), so
// a meter that shows 1.70 and 4.03 has a slope of 2.33/2.326 = 100.2 %.
func TestBenchCalibration(t *testing.T) {
	s := newStation(t)
	s.get("/bench").wants(200, "pH meter", "The titration's base", "Control sample", "No meter is calibrated", "The base was never checked: a titration will not support a claim", "goggles")
	v := formOf("meter", "bench pH", "buffer_1", string(chem.Tetroxalate), "temperature_c_1", "20", "temperature_c_1_unit", "°C", "shown_1", "1,70", "shown_1_unit", "pH",
		"buffer_3", string(chem.Phthalate), "temperature_c_3", "68", "temperature_c_3_unit", "°F", "shown_3", "4.03", "shown_3_unit", "pH", "by", "ro")
	s.post("/bench/calibration", v).follow().wants(200, "Saved.", "Passed: slope 100.2 % of the ideal", "buffers 1.6", "bench pH", "today", "How this is reckoned").lacks("No meter is calibrated")

	// A wrong buffer comes back at its own row, the rest kept.
	v.Set("key", newKey())
	v.Set("shown_3", "44.03")
	s.post("/bench/calibration", v).wants(422, "Calibrate a meter", "44.03").has(`id="calibration-shown_3-error"`, `value="1,70"`)
	v.Set("shown_3", "")
	s.post("/bench/calibration", v).wants(422, "Type what the meter showed").has(`id="calibration-shown_3-error"`)
	v.Set("shown_3", "4.03")
	v.Set("meter", "")
	s.post("/bench/calibration", v).wants(422, "meter's name is missing").has(`id="calibration-meter-error"`)

	// Swapped buffers fail, and a failed calibration says so and is kept.
	v = formOf("meter", "bench pH", "buffer_1", string(chem.Tetroxalate), "temperature_c_1", "20 C", "shown_1", "4.03", "buffer_2", string(chem.Phthalate), "temperature_c_2", "20 C", "shown_2", "1.70")
	s.post("/bench/calibration", v).follow().wants(200, "Failed: slope -100.2 %", "buffers were not swapped", "It failed, so nothing is corrected by it")
	book, err := s.db.BenchBook(context.Background(), larder.KindCalibration, "", 10)
	if err != nil || len(book) != 2 {
		t.Fatalf("%d lines, %v", len(book), err)
	}
	// Struck, the one before is in force again.
	strike := "/bench/strike?entry=" + book[0].ID.String()
	s.get(strike).wants(200, "Nothing is erased", "Failed: slope")
	s.post(strike, formOf("by", "ro")).follow().wants(200, "Passed: slope 100.2 %", "Struck").lacks("It failed")
	s.get(strike).wants(200, "was struck already")
	s.get("/bench/strike?entry=1").wants(404)
	s.post("/bench/nonsense", formOf("meter", "x")).wants(404)
}

// TestBenchBase checks a base in all three ways. 0.3888 g of phthalate of purity 1
// and 18.64 mL give 0.10214 mol/L: Eurachem/CITAC Guide QUAM, example A2.
func TestBenchBase(t *testing.T) {
	s := newStation(t)
	tag := s.start(larder.NewBatch{Name: "Perry", Base: larder.OtherBase, Stage: larder.Acetic})[0].Tag
	s.get(at(tag, "?open=titration")).wants(200, "The base was never checked")
	s.post("/bench/base", formOf("base", "lye", "how", againstPhthalate, "khp_g_1", "0.3888", "base_ml_1", "18.64", "mass_tolerance_g", "0.0003", "burette_tolerance_ml", "0.03", "when", "12 days ago")).
		follow().wants(200, "0.1021 ± 0.0", "against phthalate, 1 run", "12 days ago")
	s.get(at(tag, "?open=titration")).wants(200, `The base "lye" was checked 12 days ago.`).has(`name="base_mol_per_l" value="0.1021"`)

	s.post("/bench/base", formOf("base", "lye", "how", againstPhthalate)).wants(422, "at least one weighing").has(`id="base-khp_g_1-error"`)
	s.post("/bench/base", formOf("base", "lye", "how", againstPhthalate, "khp_g_2", "0.39")).wants(422, "how much base it took").has(`id="base-base_ml_2-error"`)

	// 2 mL of 5 % vinegar hold 2 × 5 ÷ 100 ÷ 60.052 mol; 16.65 mL of base make that
	// 0.1000 mol/L.
	s.post("/bench/base", formOf("base", "lye", "how", againstVinegar, "labelled_g_per_100ml", "5", "sample_ml", "2", "vinegar_base_ml_1", "16.65", "vinegar_base_ml_2", "16.65")).
		follow().wants(200, "0.1000 ± ", "against a bought vinegar, 2 runs", "the safe way round")
	s.post("/bench/base", formOf("base", "lye", "how", againstVinegar, "labelled_g_per_100ml", "5", "sample_ml", "2")).wants(422).has(`id="base-vinegar_base_ml_1-error"`)

	s.post("/bench/base", formOf("base", "new bottle", "how", asStated, "stated_mol_per_l", "0.1")).follow().wants(200, "0.1 mol/L, as its bottle says", "fresh, sealed")
	s.post("/bench/base", formOf("base", "drain", "how", asStated, "stated_mol_per_l", "19")).wants(422, "between 0.005 and 2 mol/L")
	s.move(s.now().AddDate(0, 0, 45))
	s.get("/bench").wants(200, "was checked 6 weeks ago, more than 30 days ago: a titration will not support a claim of strength")
	s.get(at(tag, "?open=titration")).wants(200, "more than 30 days ago: a titration will not support a claim of strength")
}

// TestControlChart flags a meter that drifted: eight readings of mean 2.40 and
// standard deviation 0.01 make limits of 2.37 and 2.43 (mean ± 3 s, NIST/SEMATECH
// e-Handbook 6.3.2), so 2.50 is out.
func TestControlChart(t *testing.T) {
	s := newStation(t)
	for i, v := range []float64{2.39, 2.41, 2.40, 2.41, 2.39, 2.40, 2.41, 2.39} {
		page := s.post("/bench/control", formOf("meter", "bench pH", "ph", fmt.Sprint(v), "temp_c", "20 C", "when", fmt.Sprintf("%d days ago", 20-i))).follow()
		if i < 7 {
			page.wants(200, "needs 8 readings").lacks("mean ±")
			continue
		}
		page.wants(200, "In control: mean pH 2.40", "2.37 to 2.43").lacks("Out of control")
	}
	page := s.post("/bench/control", formOf("meter", "bench pH", "ph", "2.5", "temp_c", "20 C")).follow().wants(200, "Out of control", "more than 3 s from the mean")
	page.has(`aria-label="Control chart of bench pH: 9 readings, mean 2.40`)
	if n := strings.Count(page.Body.String(), "h10v10h-10z"); n != 1 {
		t.Errorf("%d squares, want one for the flagged reading", n)
	}
	s.post("/bench/control", formOf("meter", "bench pH")).wants(422, "Type what the meter showed", "Say how warm it was")
}

// equipped gives the station a calibrated meter, a checked base and a control
// chart with one reading out, and says which line of the book is the calibration's.
func (s *station) equipped() uuid.UUID {
	s.t.Helper()
	add := func(daysAgo float64, b larder.BenchBody, note string) uuid.UUID {
		e, err := s.db.Bench(context.Background(), act(), larder.NewBench{When: s.daysAgo(daysAgo), Note: note, Body: b})
		if err != nil {
			s.t.Fatal(err)
		}
		return e.ID
	}
	for i, v := range []chem.PH{2.39, 2.41, 2.40, 2.41, 2.39, 2.40, 2.41, 2.39, 2.40, 2.47} {
		add(30-3*float64(i), larder.ControlSample{Meter: "bench pH", PH: v, TempC: 20}, "")
	}
	add(12, larder.BaseCheck{Base: "sodium hydroxide 0.1 mol/L", Against: &chem.Standardisation{
		Runs: []chem.KHPRun{{KHPG: 0.190, BaseML: 9.30}, {KHPG: 0.191, BaseML: 9.36}}, MassTolG: 0.001, BuretteTolML: 0.02}}, "fresh phthalate, dried in the oven")
	low, high := chem.PH(1.70), chem.PH(4.10)
	return add(2, larder.MeterCalibration{Meter: "bench pH", CalibrationInput: chem.CalibrationInput{Points: []chem.CalibrationPoint{
		{Buffer: chem.Tetroxalate, TemperatureC: 20, ShownPH: &low}, {Buffer: chem.Phthalate, TemperatureC: 20, ShownPH: &high}}}}, "<b>new</b> buffers")
}
