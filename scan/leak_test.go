package scan

import (
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"cruet/internal/larder"
)

// inside is what no answer may tell: a path of this machine, a line of source,
// a statement or an error of the database.
var inside = regexp.MustCompile(`(?i:/tmp/|/home/|/root/|\.go:\d|goroutine |cruet\.db|sqlite|sql:|sql logic|no such table|database is closed|syntax error)|SELECT .+ FROM |INSERT INTO `)

// filledRoutes puts something that is there into the gaps of a route.
func filledRoutes(tag, lot string) *strings.Replacer {
	return strings.NewReplacer(":tag", tag, ":id", lot, ":n", "1", ":kind", "reading", ":part", "kitchen", ":entry", "1", ":name", strings.Repeat("0", 64), ":code", "K7RM4T12")
}

// Whatever a station with broken records is asked, by a paired phone or a stranger,
// it tells nothing of its inside.
func TestAnswersTellNothingOfTheInside(t *testing.T) {
	s := stocked(t)
	lot := s.bottled(1)
	if !inside.MatchString("open /tmp/x") || !inside.MatchString("SQL logic error: no such table: jar") {
		t.Fatal("the measure misses what is wrong")
	}
	fill := filledRoutes(string(s.jars["Pear trimmings/A"]), lot.Lot.ID)
	ask := func(method, path, body string) {
		r := httptest.NewRequest(method, path, strings.NewReader(body))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		w := s.send(r, path)
		if found := inside.FindString(w.Body.String()); found != "" {
			t.Errorf("%s %s (%d) tells %q", method, path, w.Code, found)
		}
		for name, values := range w.Header() {
			if found := inside.FindString(strings.Join(values, " ")); found != "" {
				t.Errorf("%s %s: the header %s tells %q", method, path, name, found)
			}
		}
	}
	all := func() {
		for _, r := range s.engine.Routes() {
			path := fill.Replace(r.Path)
			for _, body := range []string{formOf("by", "ro").Encode(), "%zz", "key=' OR 1=1 --&tag=' OR 1=1 --"} {
				ask(r.Method, path, body)
			}
			ask("GET", path+"?tag=%27%20OR%201=1%20--&open=%00&stock=%27&older=%27&q=%25%27", "")
		}
		ask("GET", "/find?tag="+url.QueryEscape("'; DROP TABLE jar; --"), "")
		ask("GET", "/static/..%2f..%2fetc%2fpasswd", "")
		ask("GET", "/photos/..%2fcruet.db", "")
	}
	paired := s.jar
	all()
	s.jar = nil
	all()
	s.jar = paired
	if err := s.db.Close(); err != nil {
		t.Fatal(err)
	}
	all()
}

// posts are the addresses of all forms, filled in for that jar and lot.
func posts(s *station, tag, lot string) []string {
	fill := filledRoutes(tag, lot)
	// Of a route that holds many forms, some of these are among them.
	gaps := map[string][]string{
		"/log/:kind": {"reading", "titration", "stage", "feed", "action", "note", "hold"}, "/bench/:kind": {"calibration", "base", "control"}, "/plans/:kind": {"kitchen"},
		"/pour/:act": {"strain", "mother", "top-up", "water", "infuse", "split", "move", "join"}, "/finish/:step": slices.Sorted(maps.Keys(finishActs)), "/setup/:part": {"kitchen", "ways", "bench", "shelf", "papers", "address"},
	}
	var paths []string
	for _, r := range s.engine.Routes() {
		if r.Method != http.MethodPost || strings.HasPrefix(r.Path, "/j/") {
			continue
		}
		at := len(paths)
		for gap, forms := range gaps {
			for _, name := range forms {
				if before, ok := strings.CutSuffix(r.Path, gap); ok {
					paths = append(paths, fill.Replace(before+gap[:strings.Index(gap, ":")]+name))
				}
			}
		}
		if at == len(paths) {
			paths = append(paths, fill.Replace(r.Path))
		}
	}
	slices.Sort(paths) // a find of the fuzzer names its path by its place here
	return paths
}

// What a form holds, however it is mangled, is answered with a page, or sends on
// within this station: never a failure of the station, never a way out of it.
func FuzzForms(f *testing.F) {
	s := stocked(f)
	lot := s.bottled(1)
	paths := posts(s, string(s.jars["Pear trimmings/A"]), lot.Lot.ID)
	for i, body := range []string{
		"", "key=x", "key=" + newKey() + "&ph=3.2&by=ro", "ph=1e999&temp_c=-1&temp_c_unit=K", "name=%00&when=about&jars=-1&size_ml=NaN", "start_ml_1=0&end_ml_1=1e309&sample_ml=0",
		"to=//evil.example/&kept=a%3Db&code=K7RM4T12&name=x", "to=%2F%5Cevil.example&kept=%zz", "writers=everyone&look=all&idle_days=9e99&passphrase=%ff%fe", "name=" + strings.Repeat("%F0%9F%8D%90", 200), "hosts=%0A%0Aa%0Ab&named=other&named_address=%5B::1%5D:80",
	} {
		f.Add(i, body)
	}
	f.Fuzz(func(t *testing.T, at int, body string) {
		path := paths[uint(at)%uint(len(paths))]
		r := httptest.NewRequest("POST", path, strings.NewReader(body))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		for _, c := range s.jar[:1] {
			r.AddCookie(c)
		}
		w := httptest.NewRecorder()
		s.engine.ServeHTTP(w, r)
		if w.Code >= 500 {
			t.Fatalf("%s answers %d to %q", path, w.Code, body)
		}
		if to := w.Header().Get("Location"); w.Code == http.StatusSeeOther && (!strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.ContainsAny(to, "\\\r\n")) {
			t.Fatalf("%s sends on to %q for %q", path, to, body)
		}
		if sightOf(path) != manage {
			return
		}
		// A form that sets the rules may have made this phone a stranger's.
		if err := s.db.SetAccess(r.Context(), larder.DefaultAccess); err != nil {
			t.Fatal(err)
		}
		if err := s.db.SetPassphrase(r.Context(), ""); err != nil {
			t.Fatal(err)
		}
	})
}
