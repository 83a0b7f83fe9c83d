package scan

import (
	"context"
	"html"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/larder"
	"cruet/internal/web"
)

// stranger takes the phone's cookies away.
func (s *station) stranger() { s.jar = nil }

func (s *station) code() string {
	s.t.Helper()
	made, err := s.db.IssueCode(context.Background(), "the test", larder.PairingCodeLife)
	if err != nil {
		s.t.Fatal(err)
	}
	return made.Code
}

// fields are the inputs of the page's form, as a browser would send them.
func (a answer) fields() url.Values {
	v := url.Values{}
	for _, m := range regexp.MustCompile(`<input[^>]*>`).FindAllString(a.Body.String(), -1) {
		name := regexp.MustCompile(`name="([^"]*)"`).FindStringSubmatch(m)
		value := regexp.MustCompile(`value="([^"]*)"`).FindStringSubmatch(m)
		if name != nil && value != nil {
			v.Set(html.UnescapeString(name[1]), html.UnescapeString(value[1]))
		}
	}
	return v
}

// Who is not paired may look at a jar's page and a bottle's, and at nothing else.
func TestStrangersOnlyLook(t *testing.T) {
	s := stocked(t)
	lot := s.bottled(2)
	tag := s.jars["Pear trimmings/A"]
	s.stranger()
	s.get(at(tag, "")).wants(200, "This phone may look, not write", "Pear trimmings")
	s.get(at(tag, "/outlook")).wants(200)
	s.get("/B/" + string(lot.Bottles[0].Tag)).wants(200).lacks("Pair it")
	s.get("/help/caution").wants(200)
	s.get("/reckon").wants(200)
	for _, path := range []string{"/", "/start", "/lots", "/lots/" + lot.Lot.ID, bottleURL(lot.Bottles[0]), "/labels", "/bench", at(tag, "/label.pdf"), at(tag, "/strike?entry=1"), "/phones", "/setup", "/nowhere", "/find?tag=" + string(tag)} {
		page := s.get(path).wants(403, "Pair this phone", "cruet phones pair").lacks("Pear trimmings")
		if got := page.fields().Get("to"); got != path {
			t.Errorf("%s is forgotten: the page leads on to %q", path, got)
		}
	}
	prints := func() int {
		all, err := s.db.Prints(context.Background(), 99)
		if err != nil {
			t.Fatal(err)
		}
		return len(all)
	}
	if prints() != 0 {
		t.Error("a stranger printed a label")
	}

	if err := s.db.SetAccess(context.Background(), larder.Access{Writers: larder.WritersPaired, Look: larder.LookBottles}); err != nil {
		t.Fatal(err)
	}
	s.get(at(tag, "")).wants(403, "Pair this phone").lacks("Pear trimmings")
	s.get("/B/" + string(lot.Bottles[0].Tag)).wants(200)
	if err := s.db.SetAccess(context.Background(), larder.Access{Writers: larder.WritersPaired, Look: larder.LookAll}); err != nil {
		t.Fatal(err)
	}
	s.get("/").wants(200, "Pear trimmings")
	s.get("/phones").wants(403)
}

// Every route that changes something is closed to who is not paired: the list
// is gin's own.
func TestEveryPostIsRefusedToStrangers(t *testing.T) {
	s := stocked(t)
	s.stranger()
	posts := 0
	for _, r := range s.engine.Routes() {
		if r.Method == "GET" || r.Path == "/pair" || r.Path == "/display" {
			continue
		}
		posts++
		path := strings.NewReplacer(":tag", string(s.jars["Pear trimmings/A"]), ":kind", "reading", ":id", "1", ":n", "1").Replace(r.Path)
		s.post(path, formOf("ph", "3.33", "by", "xx")).wants(403, "Kept, not saved yet", "3.33")
	}
	if posts < 12 {
		t.Errorf("only %d routes were tried", posts)
	}
}

// A kitchen where everyone may write still lets paired phones alone say who may,
// and how it is set up.
func TestSetUpIsNeverForEveryone(t *testing.T) {
	s := stocked(t)
	if err := s.db.SetAccess(context.Background(), larder.Access{Writers: larder.WritersEveryone, Look: larder.LookAll}); err != nil {
		t.Fatal(err)
	}
	s.stranger()
	s.post(at(s.jars["Pear trimmings/A"], "/log/reading"), formOf("ph", "3.3", "by", "xx")).wants(303)
	acts := 0
	for _, r := range s.engine.Routes() {
		path := strings.NewReplacer(":id", "1", ":part", "kitchen").Replace(r.Path)
		if sightOf(path) != manage {
			continue
		}
		if r.Method == "GET" {
			s.get(path).wants(403, "Pair this phone")
			continue
		}
		acts++
		s.post(path, formOf("name", "Theirs", "writers", "everyone", "passphrase", "damsons at midnight")).wants(403, "Kept, not saved yet")
	}
	if acts < 4 {
		t.Errorf("only %d routes were tried", acts)
	}
}

// What was typed before the phone was paired is sent by itself, once.
func TestPairingLosesNothing(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	s.stranger()
	before := s.entries(tag)
	page := s.post(at(tag, "/log/reading"), formOf("ph", "3,25", "temp_c", "68", "temp_c_unit", "°F", "by", "mk", "note", "smells <sharp> & \"good\""))
	page.wants(403, "Kept, not saved yet", "ph 3,25", "temp c 68 °F", `smells <sharp> & "good"`)
	if s.entries(tag) != before {
		t.Fatal("a stranger wrote")
	}
	form := page.fields()
	if form.Get("name") != "mk" {
		t.Errorf("the initials were typed, and %q is asked for", form.Get("name"))
	}
	form.Set("code", "0000 0000")
	page = s.post("/pair", form).wants(422, "not known", "Kept, not saved yet", "3,25")
	form = page.fields()
	form.Set("code", strings.ToLower(larder.SpacedCode(s.code())))
	saved := s.post("/pair", form)
	saved.follow().wants(200, "Saved: pH 3.25 · 20 °C", "· mk", `smells <sharp> & "good"`).lacks("may look, not write")
	// Sent twice, as by a finger that taps twice: one phone, one entry.
	s.post("/pair", form).follow().wants(200)
	if n := s.entries(tag); n != before+1 {
		t.Errorf("%d entries, want %d", n, before+1)
	}
	if all, _ := s.db.Phones(context.Background()); len(all) != 2 {
		t.Errorf("%d phones, want ro and mk", len(all))
	}

	// A wrong field in what was kept comes back on its own page, filled.
	s.stranger()
	form = s.post(at(tag, "/log/reading"), formOf("ph", "32", "note", "kept")).wants(403).fields()
	form.Set("code", s.code())
	form.Set("name", "jo")
	s.post("/pair", form).wants(422, "32", "kept", "pH").has(`value="32"`)
	s.get("/").wants(200)
}

func TestPairedPhone(t *testing.T) {
	s := newStation(t)
	s.stranger()
	form := s.get("/").wants(403).fields()
	form.Set("code", s.code())
	form.Set("name", "mk")
	answer := s.post("/pair", form)
	if to := answer.Header().Get("Location"); answer.Code != 303 || to != "/" {
		t.Fatalf("%d to %q", answer.Code, to)
	}
	// RFC 6265bis: what the cookie must say to be kept from scripts and other sites.
	cookie := answer.Result().Header.Get("Set-Cookie")
	for _, want := range []string{"phone=", "HttpOnly", "SameSite=Lax", "Path=/", "Max-Age=34560000"} {
		if !strings.Contains(cookie, want) {
			t.Errorf("the cookie %q lacks %s", cookie, want)
		}
	}
	if strings.Contains(cookie, "Secure") {
		t.Errorf("over plain HTTP the cookie %q would be lost", cookie)
	}
	if page := s.get("/start").wants(200); page.fields().Get("by") != "mk" {
		t.Errorf("the initials are %q", page.fields().Get("by"))
	}
	s.get("/pair").wants(200, "paired already, as mk")
	s.get("/phones").wants(200, "mk this phone")
	// Under another cookie jar of the same phone, or after 300 days: still known.
	s.move(s.now().AddDate(0, 0, 300))
	if again := s.get("/").wants(200).Result().Header.Get("Set-Cookie"); !strings.Contains(again, "phone=") {
		t.Error("the cookie of a phone in use does not begin anew")
	}
	// What nobody signed is signed by the phone.
	s.jar = slices.DeleteFunc(s.jar, func(c *http.Cookie) bool { return c.Name == byCookie })
	tag := s.start(larder.NewBatch{Name: "Pears", Base: larder.Juice})[0].Tag
	s.post(at(tag, "/log/reading"), formOf("ph", "3.5", "by", "")).follow().wants(200, "· mk")
}

func TestFirstPhoneIsShownTheSetUp(t *testing.T) {
	s := newStation(t)
	all, _ := s.db.Phones(context.Background())
	for _, one := range all {
		if err := s.db.RemovePhone(context.Background(), one.ID); err != nil {
			t.Fatal(err)
		}
	}
	s.stranger()
	code := s.code()
	page := s.get("/PAIR/"+code).wants(200, "Pair this phone").has(`value="` + larder.SpacedCode(code) + `"`)
	form := page.fields()
	form.Set("name", "ro")
	s.post("/pair", form).follow().wants(200, "This phone is paired")
}

// A page to pair a phone leads nowhere else.
func TestPairingLeadsNowhereElse(t *testing.T) {
	for _, to := range []string{"//evil.example/", "///evil.example", "/\t/evil.example", "/%2F/evil.example", "http://evil.example/", "https:evil.example", "/\\evil.example", "evil", "/pair", "/PAIR/x", "/a\r\nSet-Cookie: x=y", "javascript:alert(1)", "/pair/../x"} {
		if got := local(to); got != "" {
			t.Errorf("%q leads to %q", to, got)
		}
		if got := localPath(to); got != "/" && !strings.HasPrefix(strings.ToLower(got), "/pair") {
			t.Errorf("%q leads to %q", to, got)
		}
	}
	for _, to := range []string{"/", "/J/K7RM4T?open=reading", "/lots/L261125A/bottles/1"} {
		if local(to) != to {
			t.Errorf("%q is refused", to)
		}
	}
}

func TestGuessesAreCounted(t *testing.T) {
	s := newStation(t)
	s.stranger()
	code, form := s.code(), formOf("code", "00000000", "name", "xx", "to", "/start", "kept", "name=Pears")
	for range guessesAtOnce {
		s.post("/pair", form).wants(422, "not known")
	}
	form.Set("code", code) // even the right one, or the limit would tell right from wrong
	page := s.post("/pair", form).wants(http.StatusTooManyRequests, "too many tries", "Pears")
	if wait := page.Header().Get("Retry-After"); wait == "" || wait == "0" {
		t.Errorf("Retry-After is %q", wait) // RFC 9110, 10.2.3
	}
	if all, _ := s.db.Phones(context.Background()); len(all) != 1 {
		t.Error("a phone was paired beyond the limit")
	}
}

// The guide is open to anyone and takes a tag, so it counts wrong ones as a label's
// address does.
func TestGuideCountsGuesses(t *testing.T) {
	s := stocked(t)
	s.engine = web.NewEngine(web.Options{Log: slog.New(slog.DiscardHandler), Bounds: web.NewBounds()})
	s.pages.Register(s.engine)
	s.stranger()
	pear := "/help/looks?tag=" + string(s.jars["Pear trimmings/A"])
	s.get(pear).wants(200)
	tries := 0
	for s.get("/help/looks?tag="+unknown(larder.MinJarTag)).Code == http.StatusNotFound && tries < 1000 {
		tries++
	}
	if tries == 0 || tries == 1000 {
		t.Fatalf("after %d guesses the guide answers on", tries)
	}
	if wait := s.get(pear).wants(http.StatusTooManyRequests, "Many tags were tried").Header().Get("Retry-After"); wait == "" {
		t.Error("it is not said when to come back")
	}
	s.get("/help/looks").wants(200)
}

func TestPassphraseAfterARest(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	s.post("/phones/rules", formOf("writers", "paired", "look", "jars", "passphrase", "damsons at midnight", "idle_days", "20")).follow().wants(200, "Saved", "one is set").lacks("damsons")
	s.post(at(tag, "/log/reading"), formOf("ph", "3.3")).wants(303)
	s.move(s.now().Add(21 * 24 * time.Hour))
	s.get("/").wants(200) // looking goes on
	before := s.entries(tag)
	page := s.post(at(tag, "/log/reading"), formOf("ph", "3.4")).wants(403, "Say the passphrase", "3.4")
	form := page.fields()
	form.Set("passphrase", "pears")
	form = s.post("/pair", form).wants(422, "not the kitchen's").lacks(`value="pears"`).fields()
	form.Set("passphrase", "damsons at midnight")
	s.post("/pair", form).follow().wants(200, "Saved: pH 3.4")
	if s.entries(tag) != before+1 {
		t.Error("it was not saved once")
	}
	s.stranger()
	form = formOf("code", s.code(), "name", "mk")
	form = s.post("/pair", form).wants(422, "passphrase is missing").fields()
	form.Set("passphrase", "damsons at midnight")
	s.post("/pair", form).wants(303)
}

func TestPhonesPage(t *testing.T) {
	s := newStation(t)
	page := s.post("/phones/code", formOf()).wants(200, "Pair another phone", "Until 10:40").has("<svg", `viewBox="0 0`)
	shown := regexpFind(t, page, `class="shown">([0-9A-Z]{4}-[0-9A-Z]{4})<`)
	mine := s.jar
	s.stranger()
	s.post("/pair", formOf("code", shown, "name", "mk")).wants(303)
	theirs := s.jar
	s.jar = mine
	s.get("/phones").wants(200, "ro this phone", "mk phone")
	all, _ := s.db.Phones(context.Background())
	s.post("/phones/remove", formOf("id", "2")).follow().wants(200, "may not write any more").lacks("<b>mk</b>")
	s.post("/phones/remove", formOf("id", "two")).wants(422, "did not arrive")
	s.jar = theirs
	s.post("/start", formOf()).wants(403)
	if len(all) != 2 {
		t.Errorf("%d phones", len(all))
	}
	s.jar = mine
	s.post("/phones/rules", formOf("writers", "some", "look", "jars", "idle_days", "x", "passphrase", "short")).wants(422, "paired or everyone", "at least 8")
	s.post("/phones/rules", formOf("writers", "everyone", "look", "jars")).follow().wants(200)
	s.stranger()
	s.get("/").wants(200)
	s.post("/start", formOf()).wants(422)
	s.post("/phones/rules", formOf("writers", "paired", "look", "jars")).wants(403)
}

// In the demo everybody does everything, even the set-up.
func TestDemoIsOpen(t *testing.T) {
	s := newStation(t)
	s.pages.Demo = true
	s.stranger()
	s.get("/").wants(200).lacks("may look, not write")
	s.get("/phones").wants(200)
	s.get("/setup").wants(200)
	s.post("/start", formOf()).wants(422)
}

func TestTokenInAHeaderOpensPages(t *testing.T) {
	s := newStation(t)
	s.stranger()
	made, err := s.db.AddProgram(context.Background(), "scale")
	if err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequest("GET", "/lots", nil)
	r.Header.Set("Authorization", "Bearer "+made.Token)
	s.send(r, "/lots").wants(200)
}

func regexpFind(t *testing.T, a answer, pattern string) string {
	t.Helper()
	m := regexp.MustCompile(pattern).FindStringSubmatch(a.Body.String())
	if m == nil {
		t.Fatalf("%s has no %s", a.path, pattern)
	}
	return m[1]
}

// A picture waits on the station, since no page can hold it.
func TestPairingKeepsAPicture(t *testing.T) {
	s := stocked(t)
	tag := s.jars["Pear trimmings/A"]
	s.stranger()
	before := s.entries(tag)
	form := s.upload(at(tag, "/photo"), formOf("note", "a thin skin", "by", "mk"), jarShot(t, 600, 800, .05)).wants(403, "Kept, not saved yet", "picture 0.").fields()
	form.Set("code", s.code())
	form.Set("name", "mk")
	s.post("/pair", form).follow().wants(200, "Saved: Photo", "a thin skin")
	s.post("/pair", form).follow().wants(200, "Already saved, once: Photo")
	if n := s.entries(tag); n != before+1 {
		t.Errorf("%d entries, want %d", n, before+1)
	}

	// What waits too long, or behind too many, is told as gone, and the phone is paired.
	s.stranger()
	form = s.upload(at(tag, "/photo"), formOf(), jarShot(t, 60, 80, .05)).wants(403).fields()
	for range stashed {
		s.stranger()
		s.upload(at(tag, "/photo"), formOf(), jarShot(t, 60, 80, .05)).wants(403)
	}
	form.Set("code", s.code())
	form.Set("name", "jo")
	s.post("/pair", form).wants(422, "waited too long", "paired now")
	s.get("/").wants(200)
	s.stranger()
	form = s.upload(at(tag, "/photo"), formOf(), jarShot(t, 60, 80, .05)).wants(403).fields()
	s.move(s.now().Add(stashedFor))
	form.Set("code", s.code())
	form.Set("name", "jo")
	s.post("/pair", form).wants(422, "waited too long")
	if n := len(s.pages.stash.kept); n != 0 {
		t.Errorf("%d pictures still wait", n)
	}
}
