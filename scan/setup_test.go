package scan

import (
	"context"
	"errors"
	"regexp"
	"slices"
	"strings"
	"testing"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/labels"
)

func (s *station) kitchen() larder.Kitchen {
	s.t.Helper()
	k, err := s.db.Kitchen(context.Background())
	if err != nil {
		s.t.Fatal(err)
	}
	return k
}

func TestSetUp(t *testing.T) {
	s := stocked(t)
	s.get("/").has(`href="/setup"`)
	s.get("/setup").wants(200, "The kitchen", "Quince Yard", "Phones and passphrase", "Label papers", "Address").has(`href="/phones"`, `href="/labels/paper"`)
	s.post("/setup/kitchen", formOf("name", "Damson Row", "maker_line", "ask mk", "maker_address", "1 Yard Lane\r\nTown")).follow().wants(200, "The kitchen: saved", "Damson Row")
	s.post("/setup/ways", formOf("market", "US", "units", "us", "time_zone", "America/New_York")).follow().wants(200, "saved", "US units")
	s.post("/setup/bench", formOf("instruments", "bench pH\r\n10 mL burette\r\nBench pH", "base_name", "lye", "base_mol_per_l", "0,1", "base_max_age_days", "20", "calibration_max_age_hours", "12")).follow().wants(200, "saved", "2 instruments")
	s.post("/setup/shelf", formOf("places", "pantry\ncellar")).follow().wants(200, "2 places")
	s.post("/setup/papers", formOf("stock_roll-57x32", "1")).follow().wants(200, "1 paper")
	k := s.kitchen()
	if k.Name != "Damson Row" || k.MakerLine != "ask mk" || k.MakerAddress != "1 Yard Lane Town" || !k.USUnits || k.TimeZone != "America/New_York" || k.Market == "" || !slices.Equal(k.Instruments, []string{"bench pH", "10 mL burette"}) ||
		k.BaseName != "lye" || k.BaseMolPerL != 0.1 || k.BaseMaxAgeDays != 20 || k.CalibrationMaxAgeHours != 12 || !slices.Equal(k.Places, []string{"pantry", "cellar"}) || !slices.Equal(k.Stocks, []string{"roll-57x32"}) {
		t.Errorf("the kitchen is %+v", k)
	}
	// What was set is what the other pages offer.
	tag := s.jars["Windfalls/A"]
	s.get(at(tag, "?open=titration")).wants(200).has(`<datalist id="places"><option value="pantry"><option value="cellar">`, `list="instruments"`, `name="base_mol_per_l" value="0.1"`)
	page := s.get("/labels").wants(200).has(`value="roll-57x32"`)
	if n := strings.Count(page.Body.String(), "<option value=\"roll-57x32\""); n == 0 || strings.Contains(page.Body.String(), `<option value="`+labels.DefaultStock().ID+`"`) {
		t.Error("other papers than those ticked are offered")
	}
}

func TestSetUpBadFields(t *testing.T) {
	s := newStation(t)
	before := s.kitchen()
	for part, c := range map[string]struct {
		form []string
		says []string
	}{
		"kitchen": {[]string{"name", " ", "maker_line", "kept as typed"}, []string{"name is missing"}},
		"ways":    {[]string{"market", "moon", "units", "ells", "time_zone", "Europe/Dubin"}, []string{"Europe/Dubin", "metric or US"}},
		"bench":   {[]string{"base_mol_per_l", "40", "base_max_age_days", "1.5", "calibration_max_age_hours", "soon", "instruments", "kept"}, []string{"0.005 to 2 mol/L", "whole number"}},
		"address": {[]string{"named", "other", "named_address", "larder", "local_name", "a.b", "hosts", "http://x", "public_address", "nowhere"}, []string{"like 192.168.1.20:8080", "one word", "host", "https://example.org"}},
	} {
		page := s.post("/setup/"+part, formOf(c.form...)).wants(422, c.says...)
		for i := 1; i < len(c.form); i += 2 {
			if v := c.form[i]; v != " " && v != "moon" && v != "ells" && !strings.Contains(page.Body.String(), v) {
				t.Errorf("%s: %q was lost", part, v)
			}
		}
		if !strings.Contains(page.Body.String(), `id="`+part+`" open`) || strings.Count(page.Body.String(), `class="fold set" name="part"`) != len(setupForms) {
			t.Errorf("%s is not the one that stands open", part)
		}
	}
	if got := s.kitchen(); got.Name != before.Name || got.NamedAddress != "" || got.BaseMolPerL != 0 {
		t.Errorf("something was saved: %+v", got)
	}
	s.post("/setup/moon", formOf()).wants(404)
}

func TestAddressIsTakenUpAtOnce(t *testing.T) {
	s := newStation(t)
	moved := 0
	s.pages.Reach = Reach{Port: "8080", Opens: func(string) bool { return false }, Named: func() (string, string) { return "cruet.local", "" }, Moved: func(context.Context) error { moved++; return nil }}
	s.get("/setup").wants(200, "Now the network is told cruet.local", "Old phones may not know")
	s.post("/setup/address", formOf("named", "name", "local_name", "pantry")).follow().wants(200, "Address: saved")
	if k := s.kitchen(); k.NamedAddress != "pantry.local:8080" || k.LocalName != "pantry" || moved != 1 {
		t.Errorf("%q, %q, taken up %d times", k.NamedAddress, k.LocalName, moved)
	}
	s.post("/setup/address", formOf("named", "number", "local_name", "cruet", "hosts", "larder.example.org", "public_address", "https://example.org/vinegar")).wants(303)
	if k := s.kitchen(); k.NamedAddress != "" || k.LocalName != "" || !slices.Equal(k.Hosts, []string{"larder.example.org"}) || k.PublicAddress == "" || moved != 2 {
		t.Errorf("%+v", k)
	}
	s.pages.Reach.Moved = func(context.Context) error { return errors.New("no network") }
	s.post("/setup/address", formOf("named", "number", "local_name", "cruet")).wants(500, "Something failed")
}

// Labels that were printed for another address are found, and those jars alone
// are printed again.
func TestLabelsThatLeadNowhere(t *testing.T) {
	s := stocked(t)
	a, b := s.jars["Pear trimmings/A"], s.jars["Quince juice/A"]
	s.get("/setup").lacks("Labels on jars", "lead nowhere")
	for _, tag := range []larder.Tag{a, b, s.jars["Windfalls/A"]} {
		s.get(at(tag, "/label.pdf")).wants(200)
	}
	s.get("/setup").wants(200, "3 labels for 192.168.1.20:8080 open here").lacks("lead nowhere")
	s.pages.Address = "10.0.0.7:8080"
	s.get(at(b, "/label.pdf")).wants(200)
	page := s.get("/setup").wants(200, "Labels that lead nowhere", "2 labels for 192.168.1.20:8080", "Print these 2 again", "1 label for 10.0.0.7:8080 opens here")
	link := regexpFind(t, page, `class="button main" href="(/labels/jars\.pdf[^"]+)"`)
	if !strings.Contains(link, string(a)) || strings.Contains(link, string(b)) {
		t.Errorf("printed again is %s", link)
	}
	s.get(strings.ReplaceAll(link, "&amp;", "&")).wants(200)
	s.get("/setup").wants(200, "3 labels for 10.0.0.7:8080 open here").lacks("lead nowhere")
	// A name that is still this machine's opens here as well.
	s.pages.Address = "cruet.local:8080"
	s.pages.Reach = Reach{Port: "8080", Opens: func(host string) bool { return host == "10.0.0.7" }}
	s.get("/setup").wants(200, "open here").lacks("lead nowhere")
	s.pages.Reach.Port = "9090"
	s.get("/setup").wants(200, "lead nowhere")
}

// A name makes no denser code than a number does (ISO/IEC 18004: the capitals,
// digits and : / . - all are of the alphanumeric mode).
func TestNameIsNoLongerThanANumber(t *testing.T) {
	tag := larder.Tag(unknown(larder.MinJarTag))
	number, err := labels.NewCode(tag.Link("192.168.1.20:8080"), labels.LevelM)
	if err != nil {
		t.Fatal(err)
	}
	name, err := labels.NewCode(tag.Link("cruet.local:8080"), labels.LevelM)
	if err != nil || name.Version > number.Version {
		t.Errorf("the name makes version %d level %v, the number %d level %v (%v)", name.Version, name.Level, number.Version, number.Level, err)
	}
	for _, r := range strings.TrimPrefix(tag.Link("cruet.local:8080"), "http") {
		if !strings.ContainsRune("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:", r) {
			t.Errorf("%q is not of the alphanumeric mode", r)
		}
	}
}

// The set-up page says what the bench has, and the bench begins with what is named
// there.
func TestSetupTellsOfTheBench(t *testing.T) {
	s := stocked(t)
	now := func() string {
		return regexp.MustCompile(`(?s)<summary><span>Bench.*?</summary>`).FindString(s.get("/setup").Body.String())
	}
	if got := now(); !strings.Contains(got, "none yet") {
		t.Errorf("an empty bench: %q", got)
	}
	s.post("/setup/bench", formOf("instruments", "yellow pen", "base_name", "lye", "base_mol_per_l", "0.1", "base_max_age_days", "", "calibration_max_age_hours", "")).wants(303)
	if got := now(); !strings.Contains(got, "1 instrument, base 0.1 mol/L") {
		t.Errorf("a named base: %q", got)
	}
	s.get("/bench").wants(200).has(`name="base" value="lye"`, `name="meter" value="yellow pen"`)
	for _, b := range []larder.BenchBody{
		larder.BaseCheck{Base: "lye", StatedMolPerL: 0.1},
		larder.MeterCalibration{Meter: "yellow pen", CalibrationInput: chem.CalibrationInput{Points: []chem.CalibrationPoint{
			{Buffer: chem.Tetroxalate, TemperatureC: 25, MV: new(313.0)}, {Buffer: chem.Phthalate, TemperatureC: 25, MV: new(177.5)}}}},
	} {
		if _, err := s.db.Bench(context.Background(), act(), larder.NewBench{Body: b}); err != nil {
			t.Fatal(err)
		}
	}
	if got := now(); !strings.Contains(got, "1 instrument, meter calibrated, base checked") {
		t.Errorf("a checked bench: %q", got)
	}
}
