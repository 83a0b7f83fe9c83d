package scan

import (
	"context"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	other "github.com/emersion/go-ical"
	"golang.org/x/net/html"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// TestToday tells what needs a hand, the most urgent first, each with its reason
// and the way to do it; and, where nothing stands yet, how to begin.
func TestToday(t *testing.T) {
	s := newStation(t)
	s.get("/").wants(200, "Begin here", "Start a batch", "Print the labels", "Scan a label").has(`href="/start"`, `action="/find"`).lacks("Overdue")
	s = stocked(t)
	windfall := string(s.jars["Windfalls/A"])
	page := s.get("/").wants(200, "Wednesday 25 November", "Must for 3 days; stir every day: wet fruit on top grows mould",
		"Alcoholic for 9 days; strain and add the mother between day 7 and 28 of the batch", "5 jars on the shelf", "1 jar on hold", "Coming days")
	text := words(page.Body.String())
	for i, j := range map[string]string{"Overdue": "Titrate", "Titrate": "Due", "Due 4": "Coming days", "Check the base": "Titrate"} {
		if a, b := strings.Index(text, i), strings.Index(text, j); a < 0 || b < 0 || a > b {
			t.Errorf("%s does not stand before %s: %s", i, j, text)
		}
	}
	page.lacks("Honey") // it is on hold
	page.has(`href="/J/`+windfall+`?open=stage&amp;pick=alcoholic#stage"`, `href="/bench?open=base#base"`, `href="/shelf?hold=1"`)

	// One tap says that it was stirred, and the list is shown again without it.
	key := regexp.MustCompile(`action="/J/` + windfall + `/log/action"><input type="hidden" name="key" value="([^"]+)"`).FindStringSubmatch(page.Body.String())
	if key == nil {
		t.Fatal("no button to log the stirring with one tap")
	}
	v := formOf("action", "stirred", "back", "today", "by", "ro")
	v.Set("key", key[1])
	saved := s.post("/J/"+windfall+"/log/action", v)
	if to := saved.Header().Get("Location"); !strings.HasPrefix(to, "/?saved=") {
		t.Errorf("it leads to %s", to)
	}
	saved.follow().wants(200, "Saved: Stirred, Windfalls A.").lacks("Stirred now")
	s.post("/J/"+windfall+"/log/action", v).follow().wants(200, "Already saved, once")
	s.post("/J/"+windfall+"/log/action", formOf("action", "stirred", "back", "//elsewhere.example")).wants(http.StatusSeeOther)
	if to := s.post("/J/"+windfall+"/log/action", formOf("action", "tasted", "back", "//elsewhere.example")).Header().Get("Location"); !strings.HasPrefix(to, "/J/") {
		t.Errorf("a form may send the phone to %s", to)
	}
}

// loggedLate is a kitchen whose maker begins to log three batches months after they
// were begun, and one of this week.
func loggedLate(t testing.TB) *station {
	s := newStation(t)
	s.start(larder.NewBatch{Name: "Pear trimmings", Base: larder.FruitScraps, When: s.daysAgo(120), Jars: 2, FillML: litres(2.4), Place: "pantry"})
	s.start(larder.NewBatch{Name: "Apple peels", Base: larder.FruitScraps, When: larder.When{At: s.daysAgo(95).At, Precision: larder.About, SpreadDays: 5}, Jars: 3, FillML: litres(2.4)})
	quince := s.start(larder.NewBatch{Name: "Quince juice", Base: larder.Juice, When: s.daysAgo(150), Jars: 2, Stage: larder.Alcoholic, FillML: litres(2.4)})
	s.log(quince[0].Tag, s.daysAgo(130), larder.StageChange{To: larder.Acetic, VolumeML: litres(2), Starter: &larder.Feed{From: larder.FromAir}}, "")
	s.start(larder.NewBatch{Name: "Windfalls", Base: larder.FruitScraps, When: s.daysAgo(6), FillML: litres(2)})
	return s
}

// TestTodayLoggedLate shows one row for each jar whose things are overdue for weeks,
// below what is overdue since yesterday. Nothing is left out: what is folded is named
// and counted, and what guards a jar from mould leads on.
func TestTodayLoggedLate(t *testing.T) {
	s := loggedLate(t)
	page := s.get("/").wants(200, "if there is mould, throw all of it away", "2 more: stir, look for bubbles", "1 more: titrate", "1 more: read the gravity").has(`href="/help/looks"`)
	doc, err := html.Parse(strings.NewReader(page.Body.String()))
	if err != nil {
		t.Fatal(err)
	}
	type row struct{ section, leads, folded string }
	rows := map[row]int{}
	sections, section := []string{}, ""
	var walk func(n *html.Node, folded bool)
	lead := row{}
	walk = func(n *html.Node, folded bool) {
		if n.Type == html.ElementNode {
			folded = folded || n.Data == "details"
			switch {
			case n.Data == "h2" && strings.Contains(nodeText(n), " "):
				section = strings.TrimSpace(nodeText(n))
				sections = append(sections, section)
			case n.Data == "b" && attr(n, "class") == "do" && !folded:
				lead = row{section: section, leads: nodeText(n)}
				rows[lead]++
			case n.Data == "b" && attr(n, "class") == "do":
				rows[row{section, lead.leads, nodeText(n)}]++
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c, folded)
		}
	}
	walk(doc, false)
	weeks := "Overdue for weeks 20"
	want := map[row]int{
		{"Overdue 2", "Stir", ""}: 1, {"Overdue 2", "Look for bubbles", ""}: 1,
		{weeks, "Strain", ""}: 5, {weeks, "Strain", "Stir"}: 5, {weeks, "Strain", "Look for bubbles"}: 5,
		{weeks, "First look", ""}: 1, {weeks, "First look", "Titrate"}: 1,
		{weeks, "Strain and add the mother", ""}: 1, {weeks, "Strain and add the mother", "Read the gravity"}: 1, {weeks, "Check the base", ""}: 1, {"Coming days 1", "Strain", ""}: 1,
	}
	if !maps.Equal(rows, want) || !slices.Equal(sections, []string{"Overdue 2", weeks, "Coming days 1"}) {
		t.Errorf("%v: %v, want %v", sections, rows, want)
	}
	// Each can be done from there, and the log caught up with.
	page.has(`href="/J/` + string(s.jars["Apple peels/C"]) + `/pour/strain"`)
	if n := strings.Count(page.Body.String(), `value="stirred"`); n != 6 {
		t.Errorf("%d jars can be stirred with one tap, want 6", n)
	}
	s.say("/", "de").wants(200, "Seit Wochen überfällig", "2 weitere: rühren, nach Bläschen sehen", "bei Schimmel alles wegwerfen", "Schimmel erkennen").lacks("more:", "mould")
}

func nodeText(n *html.Node) string {
	if n.Type == html.TextNode {
		return n.Data
	}
	text := ""
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		text += nodeText(c)
	}
	return text
}

// TestQuietToday says so, and what comes next.
func TestQuietToday(t *testing.T) {
	s := newStation(t)
	s.start(larder.NewBatch{Name: "Cider", Base: larder.Wine, Stage: larder.Acetic, When: s.daysAgo(2)})
	s.get("/").wants(200, "Nothing needs a hand.", "Coming days 1", "First look").lacks("Overdue")
	s = newStation(t)
	s.start(larder.NewBatch{Name: "Cider", Base: larder.Wine, Stage: larder.Maturing, When: s.daysAgo(2)})
	s.get("/").wants(200, "Nothing needs a hand.", "Next: Titrate again, Cider A , 21 Dec – 4 Jan").lacks("Coming days", "Overdue")
}

// TestBenchOnToday asks for a calibration and a check of the base only for a
// measuring that is to come, and for no longer than the last ones do not hold.
func TestBenchOnToday(t *testing.T) {
	s := newStation(t)
	add := func(when larder.When, b larder.BenchBody) {
		t.Helper()
		if _, err := s.db.Bench(context.Background(), act(), larder.NewBench{When: when, Body: b}); err != nil {
			t.Fatal(err)
		}
	}
	calibration := larder.MeterCalibration{Meter: "bench pH", CalibrationInput: chem.CalibrationInput{Points: []chem.CalibrationPoint{
		{Buffer: chem.Tetroxalate, TemperatureC: 20, ShownPH: new(chem.PH(1.70))}, {Buffer: chem.Phthalate, TemperatureC: 20, ShownPH: new(chem.PH(4.03))}}}}
	add(s.daysAgo(40), calibration)
	add(s.daysAgo(31), larder.BaseCheck{Base: "lye", StatedMolPerL: 0.1})
	s.start(larder.NewBatch{Name: "Juice", Base: larder.Juice, When: s.daysAgo(1)})
	s.get("/").wants(200, "Nothing needs a hand").lacks("Calibrate", "Check the base")
	s.start(larder.NewBatch{Name: "Cider", Base: larder.Wine, Stage: larder.Acetic, When: s.daysAgo(23)})
	s.get("/").wants(200, "Calibrate the meter", "Cider A is to be measured; the meter was last calibrated on 16 Oct 2026, and that holds for 24 hours",
		"Check the base", "the base was last checked on 25 Oct 2026, and that holds for 30 days")
	add(s.daysAgo(0.5), calibration)
	add(s.daysAgo(29), larder.BaseCheck{Base: "lye", StatedMolPerL: 0.1})
	s.get("/").wants(200, "Titrate").lacks("Calibrate the meter", "Check the base")
	// The kitchen's limits hold, and its plan may leave the question out.
	k, err := s.db.Kitchen(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	k.BaseMaxAgeDays, k.CalibrationMaxAgeHours = 10, 4
	if err := s.db.SetKitchen(context.Background(), k); err != nil {
		t.Fatal(err)
	}
	s.get("/").wants(200, "Calibrate the meter", "that holds for 4 hours", "that holds for 10 days")
	s.post("/plans/kitchen", formOf("ask:kitchen/check-the-base", "1", "calibration_max_age_hours", "4", "base_max_age_days", "10")).wants(http.StatusSeeOther)
	s.get("/").wants(200, "Check the base").lacks("Calibrate the meter")
}

// planForm is the form of a kind's plan as the page shows it.
func (s *station) planForm(kind larder.Base) url.Values {
	s.t.Helper()
	plans, err := s.db.Plans(context.Background())
	if err != nil {
		s.t.Fatal(err)
	}
	v := formOf()
	for _, step := range plans[kind].Steps(kind) {
		v.Set("from_days:"+string(step.ID), strconv.Itoa(step.Days.First))
		v.Set("until_days:"+string(step.ID), strconv.Itoa(step.Days.Last))
		if step.Repeats {
			v.Set("every_days:"+string(step.ID), strconv.Itoa(step.Days.Every))
		}
		if !step.Days.Off {
			v.Set("ask:"+string(step.ID), "1")
		}
	}
	return v
}

// TestPlans changes a plan, sees it everywhere, is refused what makes no sense,
// and goes back to the usual.
func TestPlans(t *testing.T) {
	s := stocked(t)
	windfall := s.jars["Windfalls/A"]
	s.get("/plans").wants(200, "Fruit scraps", "Strain between day 7 and 14 of the batch", "Titrate between day 21 and 28 of the acetic stage, then every 7 days", "The bench", "older than 24 hours").lacks(">changed<")
	v := s.planForm(larder.FruitScraps)
	v.Set("from_days:must/strain", "2")
	v.Set("until_days:must/strain", "4")
	v.Set("every_days:must/stir", "2")
	v.Del("ask:must/look-for-bubbles")
	s.post("/plans/fruit-scraps", v).follow().wants(200, "The plan for fruit scraps is saved", "3 changed", "Strain between day 2 and 4 of the batch changed", "Look for bubbles not asked for")
	s.get(at(windfall, "")).wants(200, "Strain due", "strain between day 2 and 4 of the batch").lacks("look for bubbles")
	s.get("/").wants(200, "strain between day 2 and 4 of the batch")
	if got := s.get(at(windfall, "/label.pdf")).wants(200).Body.String(); !strings.HasPrefix(got, "%PDF") {
		t.Error("no label")
	}
	s.get(at(s.jars["Quince juice/A"], "")).wants(200, "strain and add the mother between day 7 and 28") // another kind's plan

	for name, row := range map[string]struct{ field, value, want string }{
		"backwards":  {"until_days:must/strain", "1", "Strain: the last day is not before the first"},
		"no number":  {"from_days:acetic/titrate", "soon", "Type a whole number, like 7"},
		"endless":    {"every_days:acetic/titrate", "9000", "repeat it after 1 to 730 days"},
		"never":      {"every_days:acetic/titrate", "0", "repeat it after 1 to 730 days"},
		"before":     {"from_days:acetic/look", "-3", "the first day is 0 to 730"},
		"empty":      {"until_days:must/look-for-bubbles", "", "Type a whole number"},
		"a fraction": {"from_days:must/strain", "2.5", "Type a whole number"},
	} {
		wrong := s.planForm(larder.FruitScraps)
		wrong.Set(row.field, row.value)
		page := s.post("/plans/fruit-scraps", wrong).wants(422, row.want)
		page.has(`name="`+row.field+`" value="`+row.value+`"`, `aria-invalid="true"`)
		if strings.Count(page.Body.String(), "Look for bubbles</b> between") != len(larder.Bases())-1 {
			t.Errorf("%s: the plan lost what was changed before", name)
		}
	}
	s.post("/plans/mead", formOf()).wants(404)
	reset := formOf("reset", "1")
	s.post("/plans/fruit-scraps", reset).follow().wants(200, "is saved").lacks("changed<")
	s.get(at(windfall, "")).wants(200, "between day 7 and 14")

	s.post("/plans/kitchen", formOf("ask:kitchen/calibrate-the-meter", "1", "calibration_max_age_hours", "9999", "base_max_age_days", "20")).wants(422, "A calibration holds for 1 to 744 hours")
	s.post("/plans/kitchen", formOf("ask:kitchen/calibrate-the-meter", "1", "calibration_max_age_hours", "48", "base_max_age_days", "20")).follow().wants(200, "older than 48 hours", "Check the base not asked for")
}

// TestCalendarPage makes, renews and closes the address of the calendar, and a
// reader that knows nothing of this project reads the feed.
func TestCalendarPage(t *testing.T) {
	s := stocked(t)
	s.get("/calendar").wants(200, "Make an address").lacks("calendar.ics")
	s.get("/calendar.ics").wants(404)
	s.get("/calendar.ics?key=").wants(404)
	address := func() string {
		t.Helper()
		m := regexp.MustCompile(`http://192.168.1.20:8080(/calendar\.ics\?key=([A-Z0-9]+))`).FindStringSubmatch(s.get("/calendar").wants(200, "Open it in this phone's calendar").has(`href="webcal://192.168.1.20:8080/calendar.ics?key=`).Body.String())
		if m == nil || len(m[2]) < 26 { // 26 characters of base32 are 130 bits
			t.Fatalf("the address is %v", m)
		}
		return m[1]
	}
	s.post("/calendar", formOf()).wants(http.StatusSeeOther)
	first := address()
	feed := s.get(first).wants(200)
	if got := feed.Header().Get("Content-Type"); got != "text/calendar; charset=utf-8" {
		t.Errorf("it is %s", got)
	}
	cal, err := other.NewDecoder(feed.Body).Decode()
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]string{}
	for _, e := range cal.Events() {
		summary, err := e.Props.Text("SUMMARY")
		if err != nil {
			t.Fatal(err)
		}
		found[summary] = e.Props.Get("DTSTART").Value + " " + e.Props.Get("DTEND").Value + " " + e.Props.Get("URL").Value
	}
	windfall, pear := s.jars["Windfalls/A"], s.jars["Pear trimmings/A"]
	for summary, want := range map[string]string{
		fmt.Sprintf("Strain: Windfalls A (%s)", windfall):   "20261129 20261207 http://192.168.1.20:8080/J/" + string(windfall),
		fmt.Sprintf("Titrate: Pear trimmings A (%s)", pear): "20261118 20261126 http://192.168.1.20:8080/J/" + string(pear),
		"Check the base": "20261118 20261126 http://192.168.1.20:8080/bench?open=base#base",
	} {
		if found[summary] != want {
			t.Errorf("%s is %q, want %q; there is %v", summary, found[summary], want, found)
		}
	}
	// No person and no note is in it.
	for _, secret := range []string{"ro", "mk", "Peels from the market", "mould sighting", "Honey"} {
		if regexp.MustCompile(`\b` + secret + `\b`).MatchString(s.get(first).Body.String()) {
			t.Errorf("the feed tells %q", secret)
		}
	}
	// A guess is refused without a word of what is due. One in 32 keys ends in A.
	wrong := "A"
	if strings.HasSuffix(first, wrong) {
		wrong = "B"
	}
	s.get(first[:len(first)-1]+wrong).wants(404, "There is no calendar at this address").lacks("Pear", "BEGIN")
	form := formOf()
	s.post("/calendar", form).wants(http.StatusSeeOther)
	second := address()
	s.post("/calendar", form).wants(http.StatusSeeOther) // sent twice: still the same one
	if first == second || address() != second {
		t.Errorf("the addresses are %s, %s, %s", first, second, address())
	}
	s.get(first).wants(404)
	s.get(second).wants(200)
	s.post("/calendar", formOf("close", "1")).wants(http.StatusSeeOther)
	s.get(second).wants(404)
}

// TestCalendarKeys: whatever was asked before, and however often, a key answers from
// the moment when it is shown until it is changed or closed, and then never again.
func TestCalendarKeys(t *testing.T) {
	s := stocked(t)
	shown := regexp.MustCompile(`/calendar\.ics\?key=[A-Z0-9]+`)
	key := func() string { return shown.FindString(s.get("/calendar").Body.String()) }
	var old []string
	for range 20 {
		s.post("/calendar", formOf()).wants(http.StatusSeeOther)
		present := key()
		for range 3 {
			for _, one := range old {
				s.get(one).wants(404).lacks("BEGIN")
			}
			s.get(present).wants(200, "BEGIN:VCALENDAR")
			s.get("/").wants(200)
		}
		old = append(old, present)
	}
	s.post("/calendar", formOf("close", "1")).wants(http.StatusSeeOther)
	if key() != "" {
		t.Error("a closed calendar shows an address")
	}
	for _, one := range old {
		s.get(one).wants(404)
	}
	if now := len(slices.Compact(slices.Sorted(slices.Values(old)))); now != 20 {
		t.Errorf("20 addresses, %d of them different", now)
	}
	// The page that shows the key and the feed are not among those that are kept.
	for one := range s.pages.kept.pages {
		if strings.HasPrefix(one.path, "/calendar") {
			t.Errorf("%s is kept", one.path)
		}
	}
}

// TestShelfFilter keeps its state in the address, and works as a plain form.
func TestShelfFilter(t *testing.T) {
	s := stocked(t)
	pear := string(s.jars["Pear trimmings/A"])
	all := []string{"Barley", "Pear trimmings", "Quince juice", "Honey", "Windfalls"}
	for path, want := range map[string][]string{
		"/shelf": all, "/shelf?stage=acetic": {"Pear trimmings"}, "/shelf?stage=alcoholic": {"Quince juice", "Honey"}, "/shelf?place=cellar": {"Barley"},
		"/shelf?hold=1": {"Honey"}, "/shelf?q=TRIM": {"Pear trimmings"}, "/shelf?q=quince+juice": {"Quince juice"}, "/shelf?q=" + strings.ToLower(pear[:4]): {"Pear trimmings"},
		"/shelf?q=pantry": {"Pear trimmings"}, "/shelf?stage=acetic&place=cellar": {}, "/shelf?q=nothing": {}, "/shelf?due=1": {"Barley", "Pear trimmings", "Quince juice", "Windfalls"}, "/shelf?batch=3": {"Quince juice"},
		"/shelf?stage=acetic&q=pear&place=&batch=&page=99": {"Pear trimmings"}, "/shelf?batch=x&stage=": all,
	} {
		page := s.get(path).wants(200)
		for _, name := range all {
			if shown, wanted := strings.Contains(page.Body.String(), "<h2><a href=\"/batches/") && strings.Contains(page.Body.String(), ">"+name+"</a>"), strings.Contains(strings.Join(want, ","), name); shown != wanted {
				t.Errorf("%s shows %s: %v", path, name, shown)
			}
		}
		if len(want) == 0 {
			page.wants(200, "No jar is like that")
		}
	}
	page := s.get("/shelf?hold=1&q=on").has(`value="on"`, `name="hold" value="1" checked`, `href="/shelf?hold=1&amp;q=on&amp;stage=alcoholic"`)
	page.has("<details class=\"inner\" open>")
	// The newest reading and a small curve: pH 3.6, then 3.1.
	s.get("/shelf?stage=acetic").wants(200, "3.0 ± 0.2 g/100 mL", "pH 3.1").has(`aria-label="pH 3.60 to 3.10 in 27 days"`)
	s.get("/shelf?stage=finished").has(`aria-label="Acidity `)
	s.get("/shelf?stage=must").lacks("<svg")
}

// TestShelfPages turns over 250 jars in three pages, each once.
func TestShelfPages(t *testing.T) {
	s := newStation(t)
	for i := range 7 {
		s.start(larder.NewBatch{Name: fmt.Sprint("Batch ", i), Base: larder.Juice, Jars: 36, When: s.daysAgo(1)})
	}
	seen, pages, path := map[string]bool{}, 0, "/shelf?stage=must"
	for path != "" {
		page := s.get(path).wants(200, "of 252")
		pages++
		for _, m := range regexp.MustCompile(`class="jarrow" href="/J/(\w+)"`).FindAllStringSubmatch(page.Body.String(), -1) {
			if seen[m[1]] {
				t.Errorf("%s is shown twice", m[1])
			}
			seen[m[1]] = true
		}
		next := regexp.MustCompile(`rel="next" href="([^"]+)"`).FindStringSubmatch(page.Body.String())
		path = ""
		if next != nil {
			path = strings.ReplaceAll(next[1], "&amp;", "&")
		}
	}
	if len(seen) != 252 || pages != 3 {
		t.Errorf("%d jars on %d pages, want 252 on 3", len(seen), pages)
	}
}

// thousand is a station of 1,000 live jars in 200 batches with ten readings each.
func thousand(b *testing.B) *station {
	s := newStation(b)
	for i := range 200 {
		jars := s.start(larder.NewBatch{Name: fmt.Sprintf("Batch %d of the thousand", i), Base: larder.Wine, Stage: larder.Acetic, Jars: 5, When: s.daysAgo(100),
			FillML: litres(2), Place: fmt.Sprintf("cellar, shelf %d", i%12)})
		for _, j := range jars {
			for n := range 9 {
				s.log(j.Tag, s.daysAgo(float64(90-10*n)), larder.Reading{PH: new(chem.PH(3.8 - 0.08*float64(n))), TempC: new(chem.Celsius(20))}, "")
			}
			s.log(j.Tag, s.daysAgo(9), titrated(15, 15.1), "")
		}
	}
	return s
}

// BenchmarkThousandJars measures the pages that list the whole shelf: how long
// the station takes and how much it sends.
func BenchmarkThousandJars(b *testing.B) {
	s := thousand(b)
	for _, path := range []string{"/", "/shelf", "/shelf?page=10", "/shelf?q=batch+17&stage=acetic", "/shelf?due=1", "/calendar.ics"} {
		if path == "/calendar.ics" {
			cal, err := s.db.RenewCalendar(context.Background(), act(), true)
			if err != nil {
				b.Fatal(err)
			}
			path += "?key=" + cal.Token
		}
		b.Run(strings.SplitN(path, "key=", 2)[0], func(b *testing.B) {
			var size, packed int
			for b.Loop() {
				page := s.get(path)
				if page.Code != 200 {
					b.Fatalf("%s answered %d", path, page.Code)
				}
				size, packed = page.Body.Len(), compressed(page.Body.Bytes())
			}
			b.ReportMetric(float64(size), "bytes")
			b.ReportMetric(float64(packed), "packed-bytes")
		})
	}
}
