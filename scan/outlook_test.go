package scan

import (
	"context"
	"fmt"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"cruet/internal/chem"
	"cruet/internal/forecast"
	"cruet/internal/larder"
)

// scraps is the common recipe of a tablespoon of sugar to a cup of water over
// trimmings: 12.5 g of sugar (200 g a US cup, USDA) to 236.6 mL (NIST Handbook
// 44). 52.8 g/L of sucrose give 52.8 × 4 × 60.052 ÷ 342.297 ÷ 10 = 3.7 g/100 mL
// at most (molar masses of IUPAC CIAAW).
func scraps() url.Values {
	return formOf("name", "Scraps", "base", string(larder.FruitScraps), "ingredients[0].name", "sugar", "ingredients[0].amount", "1 tbsp",
		"ingredients[1].name", "water", "ingredients[1].amount", "1 cup", "ingredients[2].name", "hope", "ingredients[2].amount", "1 piece",
		"jars", "1", "jar_size_ml", "1", "jar_size_ml_unit", "L", "fill_ml", "236.6", "fill_ml_unit", "mL", "target_g_per_100ml", "5")
}

// TestRecipeCheck shows before anything is saved that scraps stay short of 5 %.
func TestRecipeCheck(t *testing.T) {
	s := newStation(t)
	v := scraps()
	v.Set("check", "1")
	page := s.post("/start", v).wants(200, "It can reach 3.7 g/100 mL at most", "the target of 5 is out of reach", "more sugar", "of liquid at 12 % vol", "less water",
		"Not counted: hope", "Nothing is saved yet", "0.5384").has(`value="1 tbsp"`)
	page.lacks("Saved")
	if shelf, err := s.db.Shelf(context.Background(), true); err != nil || len(shelf) > 0 {
		t.Errorf("%d jars, %v: checking saved something", len(shelf), err)
	}
	// What cannot be read comes back on its line; jars and name do not matter yet.
	v.Set("ingredients[2].amount", "many")
	v.Del("name")
	s.post("/start", v).wants(200, "Start a batch").lacks("at most").has(`aria-invalid="true"`)
	// The batch's page says the same once it is started.
	v = scraps()
	s.post("/start", v).follow().wants(200, "It can reach 3.7 g/100 mL at most", "the target of 5 is out of reach")
}

// TestIngredientLabels keeps what labels say of alcohol and sugar. 3 L of wine at
// 11.5 % vol in 5 L are 6.9 % vol: 6.9 × 0.78924 × 60.052 ÷ 46.069 = 7.1 g/100 mL.
func TestIngredientLabels(t *testing.T) {
	s := newStation(t)
	v := formOf("name", "Wine", "base", string(larder.Wine), "ingredients[1].name", "damson wine", "ingredients[1].amount", "3 L", "ingredients[1].abv_percent_vol", "11,5",
		"ingredients[3].name", "water", "ingredients[3].amount", "2 L", "jars", "1", "jar_size_ml", "6", "jar_size_ml_unit", "L", "target_g_per_100ml", "5")
	s.post("/start", v).follow().wants(200, "damson wine: 3 L, 11.5 % vol", "It can reach 7.1 g/100 mL at most")
	v.Set("ingredients[1].abv_percent_vol", "115")
	v.Set("key", newKey())
	page := s.post("/start", v).wants(422)
	if !regexp.MustCompile(`id="start-ingredients\[1\].abv_percent_vol"[^>]*aria-invalid`).MatchString(page.Body.String()) {
		t.Error("the line with 115 % vol is not marked")
	}
}

// rising is a jar of wine, checked and titrated weekly on its way up.
func rising(t *testing.T) (*station, larder.Tag) {
	s := newStation(t)
	if _, err := s.db.Bench(context.Background(), act(), larder.NewBench{When: s.daysAgo(29), Body: larder.BaseCheck{Base: "sodium hydroxide",
		Against: &chem.Standardisation{Runs: []chem.KHPRun{{KHPG: 0.190, BaseML: 9.30}, {KHPG: 0.191, BaseML: 9.36}}, MassTolG: 0.001, BuretteTolML: 0.02}}}); err != nil {
		t.Fatal(err)
	}
	tag := s.start(larder.NewBatch{Name: "Damson wine", Base: larder.Wine, When: s.daysAgo(40), JarSizeML: 6000, FillML: litres(5)})[0].Tag
	s.log(tag, s.daysAgo(40), larder.Reading{ABV: new(chem.PercentVol(6.9))}, "")
	s.log(tag, s.daysAgo(39), larder.StageChange{To: larder.Acetic, VolumeML: litres(5), Starter: &larder.Feed{From: larder.FromAir}}, "")
	for i, titre := range []float64{5.5, 8.4, 11.2, 13.8} {
		s.log(tag, s.daysAgo(25-7*float64(i)), titrated(titre, titre+0.05), "")
	}
	return s, tag
}

// TestOutlook tells ceiling, dates and verdict of a jar that rises, and opens
// each to its sum, its rule and its source.
func TestOutlook(t *testing.T) {
	s, tag := rising(t)
	jar := s.get(at(tag, "")).wants(200, "It can reach 7.1 g/100 mL at most", "6.9 % vol measured on 16 Oct 2026", "should be reached between", "A forecast is a guess",
		"What it may be used for", "canning and shelf-stable pickling", "✕ no", "elsewhere (the strictest limits of all)", "not a permission")
	jar.has(`<svg xmlns="http://www.w3.org/2000/svg" class="chart"`, `href="/J/`+string(tag)+`/outlook"`)
	full := s.get(at(tag, "/outlook")).wants(200, "4.2 ± ", "sample volume", "assumed", "JCGM 100:2008", "The numbers as a table", "forecast 80 %", "How this is reckoned",
		"A pH does not tell the acidity", "(read)", "(recalled from memory)", "botulism", "Local rules and licensed practice come first", "AOAC")
	for _, use := range []string{"Table", "Refrigerator pickles", "Canning and shelf-stable pickling", "Cleaning", "Giving away", "Selling"} {
		full.has("<summary>" + use + " ")
	}
	s.get("/J/"+unknown(larder.MinJarTag)+"/outlook").wants(404, "There is no jar")
	// A market's own limits are asked when the kitchen has one.
	k, err := s.db.Kitchen(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	k.Market = "UK"
	if err := s.db.SetKitchen(context.Background(), k); err != nil {
		t.Fatal(err)
	}
	s.get(at(tag, "")).wants(200, "United Kingdom").lacks("the strictest limits of all")
}

// TestOutlookSaysWhatIsMissing never guesses a ceiling, nor a date from one titration.
func TestOutlookSaysWhatIsMissing(t *testing.T) {
	s := newStation(t)
	tag := s.start(larder.NewBatch{Name: "Grandmother's", Base: larder.OtherBase, Stage: larder.Acetic, When: s.daysAgo(20)})[0].Tag
	s.log(tag, s.daysAgo(3), titrated(10, 10.1), "")
	s.get(at(tag, "")).wants(200, "No ceiling known", "measure the must", "Not enough data", "weaker than 5 g/100 mL").lacks("at most", "should be reached")
	// Mould forbids every use, in one line.
	s.log(tag, s.daysAgo(1), larder.Action{What: larder.MouldSeen}, "")
	page := s.get(at(tag, "")).wants(200, "Mould was seen. Discard all of it")
	if n := strings.Count(page.Body.String(), `class="answer`); n != strings.Count(page.Body.String(), `class="answer no"`) || n == 0 {
		t.Errorf("after mould, %d answers are given and not all are no", n)
	}
	s.log(tag, s.daysAgo(0.5), larder.StageChange{To: larder.Discarded, Reason: "mould"}, "")
	s.get(at(tag, "")).wants(200).lacks(`id="outlook"`)
	s.get(at(tag, "/outlook")).wants(200, "no longer on the shelf")
}

// A date that has passed is told with its doubt, and beside no chance that gainsays it;
// with the target in hand no chance of it is told.
func TestDatesThatHavePassed(t *testing.T) {
	begun := time.Date(2026, 8, 1, 12, 0, 0, 0, time.UTC)
	of := func(now int, target chem.GramsPer100ML, dayAndAcidity ...float64) forecastView {
		in := forecast.Input{StartedAceticAt: begun, CeilingGPer100ML: 6.6, LikelyLowGPer100ML: 4.4, LikelyHighGPer100ML: 5.7, TargetGPer100ML: target, Now: begun.AddDate(0, 0, now)}
		for i := 0; i < len(dayAndAcidity); i += 2 {
			in.Points = append(in.Points, forecast.Point{At: begun.AddDate(0, 0, int(dayAndAcidity[i])), AcidityGPer100ML: chem.GramsPer100ML(dayAndAcidity[i+1]), StdUGPer100ML: 0.1})
		}
		f, err := forecast.Of(in)
		if err != nil {
			t.Fatal(err)
		}
		return forecastOf(f, in.Now)
	}
	if v := of(90, 5, 40, 3.0, 60, 4.4); !strings.HasPrefix(v.Dates, "By this forecast the target, if it is reached at all, is reached by now;") || v.Chance == "" {
		t.Errorf("%q, %q", v.Dates, v.Chance)
	}
	if v := of(200, 4, 40, 3.0, 60, 4.4); !strings.HasPrefix(v.Dates, "By this forecast the rise is over by now;") || v.Chance != "" || v.Caution == "" {
		t.Errorf("in hand: %q, %q", v.Dates, v.Chance)
	}
}

// A wine too strong for the bacteria is told so on the jar's page, in time to cut it.
func TestTooStrongAWineIsTold(t *testing.T) {
	s := newStation(t)
	tag := s.start(larder.NewBatch{Name: "Elder wine", Base: larder.Wine, When: s.daysAgo(1), Ingredients: []larder.Ingredient{{Name: "elder wine", Amount: chem.Amount{VolumeML: 2000}, ABVPercent: new(chem.PercentVol(14))}}})[0].Tag
	s.get(at(tag, "")).wants(200, "About 14.0 % vol is strong for the acetic stage: cut it to 5 to 9 % vol").lacks("The ceiling is not a measurement")
	s.get(at(tag, "/outlook")).wants(200, "The ceiling is not a measurement")
}

// A fermentation that stands still is told to be stuck beside its gravity, where the
// plan asks for that reading.
func TestStuckFermentationIsTold(t *testing.T) {
	s := newStation(t)
	tag := s.start(larder.NewBatch{Name: "Perry", Base: larder.Juice, Stage: larder.Alcoholic, When: s.daysAgo(40)})[0].Tag
	read := func(days float64, sg chem.SpecificGravity) { s.log(tag, s.daysAgo(days), larder.Reading{SG: &sg}, "") }
	read(30, 1.040)
	s.get(at(tag, "")).wants(200, "1.040").lacks("did not move")
	read(9, 1.040)
	s.get(at(tag, "")).wants(200, "It did not move in 21 days, with sugar left: the fermentation is stuck, not over.")
}

// TestPHIsNeverAcidity shows what the meter said, what its calibration makes of
// it, and what cannot be. Pure acetic acid of 3.0 g/100 mL, 0.5 mol/L, has pH
// 2.52 (CRC Handbook, pKa 4.756), so 1.9 is impossible.
func TestPHIsNeverAcidity(t *testing.T) {
	s := newStation(t)
	tag := s.start(larder.NewBatch{Name: "Perry", Base: larder.OtherBase, Stage: larder.Acetic, When: s.daysAgo(20)})[0].Tag
	shown := func(v chem.PH) *chem.PH { return &v }
	_, err := s.db.Bench(context.Background(), act(), larder.NewBench{When: s.daysAgo(0.1), Body: larder.MeterCalibration{Meter: "bench pH", CalibrationInput: chem.CalibrationInput{Points: []chem.CalibrationPoint{
		{Buffer: chem.Tetroxalate, TemperatureC: 20, ShownPH: shown(1.78)}, {Buffer: chem.Phthalate, TemperatureC: 20, ShownPH: shown(4.10)}}}}})
	if err != nil {
		t.Fatal(err)
	}
	s.get(at(tag, "?open=reading")).wants(200, `Meter "bench pH" was calibrated today; a pH is corrected by that.`)
	s.log(tag, s.daysAgo(0.05), larder.Reading{PH: shown(3.2), TempC: new(chem.Celsius(20))}, "")
	s.get(at(tag, "")).wants(200, "Corrected by the calibration in force: 3.1", "pH 3.2 (corrected 3.1").lacks("rough value")
	s.log(tag, s.daysAgo(0.04), titrated(9.9, 9.9, 9.9), "")
	s.log(tag, s.daysAgo(0.03), larder.Reading{PH: shown(2.0), TempC: new(chem.Celsius(20))}, "")
	s.log(tag, s.daysAgo(0.02), titrated(9.9, 9.9, 9.9), "")
	page := s.get(at(tag, "")).wants(200, "is lower than even pure acetic acid")
	page.lacks("acidity from pH")
	s.move(s.now().AddDate(0, 0, 3))
	s.get(at(tag, "?open=reading")).wants(200, "too long ago: a pH will be marked as rough")
	s.log(tag, larder.ExactAt(s.now()), larder.Reading{PH: shown(3.2)}, "")
	s.get(at(tag, "")).wants(200, "take the pH as a rough value")
}

// TestChanceIsNeverSure, whatever the curves say.
func TestChanceIsNeverSure(t *testing.T) {
	for p, want := range map[float64]string{0: "under 5 %", 0.013: "under 5 %", 0.135: "about 15 %", 0.5: "about 50 %", 0.95: "about 95 %", 0.96: "over 95 %", 1: "over 95 %"} {
		if got := chanceText(p); got != want {
			t.Errorf("chance %g is told as %q, want %q", p, got, want)
		}
	}
}

// TestOutlookStaysLight holds the budget of the jar's page with all that an
// outlook may show beside a full history: four titrations with a forecast, and
// sixty readings drawn.
func TestOutlookStaysLight(t *testing.T) {
	s, tag := rising(t)
	for i := range 60 {
		s.log(tag, s.daysAgo(38-float64(i)/2), larder.Reading{PH: new(chem.PH(3.6 - float64(i)/100)), TempC: new(chem.Celsius(18 + float64(i%7))), Instrument: "bench pH"}, "clear, smells sharp and a little of plums; the mother is whole")
	}
	page := s.get(at(tag, "")).wants(200, "should be reached between")
	if n := page.Body.Len(); n > 60_000 {
		t.Errorf("the page has %d bytes, at most 60000", n)
	}
	total := compressed(page.Body.Bytes())
	for _, m := range regexp.MustCompile(`(?:src|href)="(/static/[^"]+)"`).FindAllStringSubmatch(page.Body.String(), -1) {
		total += compressed(s.get(m[1]).Body.Bytes())
	}
	if total > 15_000 {
		t.Errorf("%d bytes compressed in all, at most 15000", total)
	}
	t.Logf("%d bytes, %d compressed with all it needs", page.Body.Len(), total)
}

// A jar that was measured for years opens its outlook within 150 kB: the newest numbers
// are listed, and the rest when it is asked for.
func TestOutlookOfManyYears(t *testing.T) {
	s, tag := rising(t)
	for i := range 400 {
		s.log(tag, s.daysAgo(38-float64(i)/20), larder.Reading{PH: new(chem.PH(3.6 - float64(i)/1000)), TempC: new(chem.Celsius(18 + float64(i%7)))}, "")
	}
	rows := regexp.MustCompile(`<td>(?:measured|computed|forecast[^<]*)</td></tr>`)
	listed := func(p answer) [][]byte { return rows.FindAll(p.Body.Bytes(), -1) }
	page := s.get(at(tag, "/outlook")).wants(200, "The numbers as a table")
	all := s.get(at(tag, "/outlook?all=numbers")).wants(200).lacks("Show all")
	if n, of := len(listed(page)), len(listed(all)); n != listedNumbers || of < 800 {
		t.Errorf("%d of %d numbers are listed, want %d of those of 400 readings at least", n, of, listedNumbers)
	} else {
		page.wants(200, fmt.Sprintf("The newest %d of %d.", n, of), fmt.Sprintf("Show all %d", of)).has(at(tag, "/outlook?all=numbers#numbers"))
	}
	if n := page.Body.Len(); n > 150_000 {
		t.Errorf("the page has %d bytes, at most 150000", n)
	}
	// The newest are those of the end of the whole table.
	end := func(p answer) string {
		_, table, _ := strings.Cut(p.Body.String(), `id="numbers"`)
		table, _, _ = strings.Cut(table, "</table>")
		return table[max(0, len(table)-5000):]
	}
	if end(page) != end(all) || len(end(page)) < 5000 {
		t.Errorf("the table ends with\n%s\nand in full with\n%s", end(page), end(all))
	}
}
