package scan

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"cruet/internal/larder"
)

// inside is what no answer may tell: a path of this machine, a line of source,
// a statement or an error of the database.
var inside = regexp.MustCompile(`(?i:/tmp/|/home/|/root/|\.go:\d|goroutine |cruet\.db|sqlite|sql:|sql logic|no such table|database is closed|syntax error)|SELECT .+ FROM |INSERT INTO `)

// Whatever a station with broken records is asked, by a paired phone or a stranger,
// it tells nothing of its inside.
func TestAnswersTellNothingOfTheInside(t *testing.T) {
	s := stocked(t)
	lot := s.bottled(1)
	if !inside.MatchString("open /tmp/x") || !inside.MatchString("SQL logic error: no such table: jar") {
		t.Fatal("the measure misses what is wrong")
	}
	fill := strings.NewReplacer(":tag", string(s.jars["Pear trimmings/A"]), ":id", lot.Lot.ID, ":n", "1", ":kind", "reading", ":part", "kitchen", ":entry", "1", ":name", strings.Repeat("0", 64), ":code", "K7RM4T12")
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

// What a form holds, however it is mangled, is answered with a page, or sends on
// within this station: never a failure of the station, never a way out of it.
func FuzzForms(f *testing.F) {
	s := stocked(f)
	tag := string(s.jars["Pear trimmings/A"])
	paths := []string{"/start", "/J/" + tag + "/log/reading", "/J/" + tag + "/log/titration", "/J/" + tag + "/log/stage", "/J/" + tag + "/log/feed", "/J/" + tag + "/log/action",
		"/bottle", "/bench/calibration", "/bench/base", "/bench/control", "/pair", "/phones/rules", "/phones/remove", "/setup/kitchen", "/setup/ways", "/setup/bench", "/setup/address", "/labels/paper", "/plans/kitchen"}
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
		// A form that sets the rules may have made this phone a stranger's.
		if err := s.db.SetAccess(r.Context(), larder.DefaultAccess); err != nil {
			t.Fatal(err)
		}
		if err := s.db.SetPassphrase(r.Context(), ""); err != nil {
			t.Fatal(err)
		}
	})
}
