package scan

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/web"
)

// today is the clock of the tests.
var today = time.Date(2026, 11, 25, 10, 30, 0, 0, time.UTC)

// station is a kitchen with its pages, on a real database.
type station struct {
	t      testing.TB
	db     *store.DB
	engine *gin.Engine
	pages  *Pages
	jars   map[string]larder.Tag     // by "batch name/letter"
	clock  atomic.Pointer[time.Time] // a browser asks while a test moves it
	dir    string                    // of the database
	jar    []*http.Cookie            // of the phone
	asked  sync.Map                  // each text of SQL that was run
}

// now is what the station's clock shows, and move sets it.
func (s *station) now() time.Time    { return *s.clock.Load() }
func (s *station) move(to time.Time) { s.clock.Store(&to) }

func newStation(t testing.TB) *station {
	t.Helper()
	s := &station{t: t, jars: map[string]larder.Tag{}, dir: t.TempDir()}
	s.move(today)
	s.open()
	t.Cleanup(func() {
		if err := s.db.Close(); err != nil {
			t.Error(err)
		}
	})
	err := s.db.SetKitchen(context.Background(), larder.Kitchen{Name: "Quince Yard", MakerLine: "Quince Yard, ask ro", TimeZone: "Europe/Dublin"})
	if err != nil {
		t.Fatal(err)
	}
	s.jar = []*http.Cookie{s.paired("ro")}
	return s
}

// open opens the records in the station's folder and registers the pages.
func (s *station) open() {
	s.t.Helper()
	db, err := store.Open(context.Background(), s.dir, store.Options{Now: s.now, Seen: func(query string) { s.asked.Store(query, true) }})
	if err != nil {
		s.t.Fatal(err)
	}
	s.db, s.engine = db, web.NewEngine(web.Options{Log: slog.New(slog.DiscardHandler)})
	s.pages = &Pages{DB: db, Address: "192.168.1.20:8080", Now: s.now}
	s.pages.Register(s.engine)
}

// paired pairs a phone by a code, and gives the cookie that it keeps. Take it
// out of s.jar to be a stranger.
func (s *station) paired(name string) *http.Cookie {
	s.t.Helper()
	code, err := s.db.IssueCode(context.Background(), "the test", larder.PairingCodeLife)
	if err != nil {
		s.t.Fatal(err)
	}
	phone, err := s.db.Pair(context.Background(), act(), larder.NewPhone{Code: code.Code, Name: name})
	if err != nil {
		s.t.Fatal(err)
	}
	return web.TokenCookie(httptest.NewRequest("GET", "/", nil), phone.Token)
}

func act() larder.Act { return larder.Act{Key: uuid.Must(uuid.NewV7()), By: "ro"} }

// daysAgo is an exact time before now.
func (s *station) daysAgo(n float64) larder.When {
	return larder.ExactAt(s.now().Add(-time.Duration(n * 24 * float64(time.Hour))))
}

func (s *station) start(n larder.NewBatch) []larder.Jar {
	s.t.Helper()
	if n.TargetGPer100ML == 0 {
		n.TargetGPer100ML = larder.DefaultTarget
	}
	if n.JarSizeML == 0 {
		n.JarSizeML = 3000
	}
	n.Jars = max(n.Jars, 1)
	started, err := s.db.Start(context.Background(), act(), n)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, j := range started.Jars {
		s.jars[n.Name+"/"+j.Letter] = j.Tag
	}
	return started.Jars
}

func (s *station) log(tag larder.Tag, when larder.When, body larder.Body, note string) store.Saved {
	s.t.Helper()
	saved, err := s.db.Append(context.Background(), act(), tag, larder.NewEntry{When: when, Note: note, Body: body})
	if err != nil {
		s.t.Fatalf("jar %s: %v", tag, err)
	}
	return saved
}

func litres(v float64) *chem.Millilitres { return new(chem.Millilitres(v * 1000)) }

// titrated is a titration of 5 mL with base 0.1 mol/L that took these mL.
func titrated(titres ...float64) larder.Titration {
	t := larder.Titration{}
	t.SampleML, t.BaseMolPerL = 2, 0.1
	for _, v := range titres {
		t.Replicates = append(t.Replicates, chem.Replicate{StartML: 0.2, EndML: chem.Millilitres(0.2 + v)})
	}
	return t
}

// stocked fills the station with jars in every stage.
func stocked(t testing.TB) *station {
	s := newStation(t)
	ale := s.start(larder.NewBatch{Name: "Barley", Base: larder.Ale, When: s.daysAgo(150), JarSizeML: 5000, FillML: litres(4.6), Place: "cellar",
		Ingredients: []larder.Ingredient{{Name: "unhopped ale, 6 % vol", Amount: chem.Amount{Value: 5, Unit: "L", VolumeML: 5000}}}})[0].Tag
	s.log(ale, s.daysAgo(149), larder.StageChange{To: larder.Acetic, VolumeML: litres(4.2), Starter: &larder.Feed{From: larder.FromBought, Name: "live cider vinegar", Live: true, Mother: true, VolumeML: litres(0.3)}}, "")
	s.log(ale, s.daysAgo(60), titrated(17.6, 17.7), "")
	s.log(ale, s.daysAgo(50), larder.StageChange{To: larder.Maturing}, "")
	s.log(ale, s.daysAgo(20), titrated(17.9, 18.0, 17.9), "third run slow")
	s.log(ale, s.daysAgo(19), larder.StageChange{To: larder.Finished}, "")

	pears := s.start(larder.NewBatch{Name: "Pear trimmings", Base: larder.FruitScraps, When: larder.When{At: s.now().AddDate(0, 0, -61), Precision: larder.About, SpreadDays: 2},
		Jars: 2, FillML: litres(2.6), Place: "pantry, top shelf", Note: "Peels from the market pears.",
		Ingredients: []larder.Ingredient{{Name: "pears, peels and cores", Amount: chem.Amount{Value: 2.4, Unit: "kg", MassG: 2400}}, {Name: "water", Amount: chem.Amount{Value: 4, Unit: "L", VolumeML: 4000}}, {Name: "sugar", Amount: chem.Amount{Value: 340, Unit: "g", MassG: 340}}}})
	a := pears[0].Tag
	s.log(a, s.daysAgo(56), larder.StageChange{To: larder.Alcoholic}, "bubbles all over")
	s.log(a, s.daysAgo(54), larder.Action{What: larder.Stirred}, "")
	s.log(a, s.daysAgo(50), larder.Reading{SG: new(chem.SpecificGravity(1.012)), TempC: new(chem.Celsius(19.5))}, "")
	s.log(a, s.daysAgo(47), larder.StageChange{To: larder.Acetic, VolumeML: litres(2.2), Starter: &larder.Feed{From: larder.FromJar, Jar: ale, Mother: true, VolumeML: litres(0.2)}}, "")
	s.log(a, s.daysAgo(30), larder.Reading{PH: new(chem.PH(3.6)), Instrument: "bench pH"}, "")
	wrong := s.log(a, s.daysAgo(22), larder.Reading{PH: new(chem.PH(2.3))}, "")
	if _, err := s.db.Strike(context.Background(), larder.Act{Key: uuid.Must(uuid.NewV7()), By: "mk"}, wrong.Entry.ID, "read the wrong jar"); err != nil {
		t.Fatal(err)
	}
	s.log(a, s.daysAgo(14), titrated(9.8, 9.9), "")
	s.log(a, s.daysAgo(3), larder.Reading{PH: new(chem.PH(3.1)), TempC: new(chem.Celsius(20.5)), Instrument: "bench pH"}, "smells sharp, thin mother")
	s.log(pears[1].Tag, s.daysAgo(50), larder.StageChange{To: larder.Discarded, Reason: "blue mould"}, "")

	s.start(larder.NewBatch{Name: "Quince juice", Base: larder.Juice, When: s.daysAgo(9), Stage: larder.Alcoholic, JarSizeML: 8000, FillML: litres(6),
		Ingredients: []larder.Ingredient{{Name: "quince juice", Amount: chem.Amount{Value: 6, Unit: "L", VolumeML: 6000}}}})
	honey := s.start(larder.NewBatch{Name: "Honey", Base: larder.Honey, When: s.daysAgo(75), JarSizeML: 5000, FillML: litres(4)})[0].Tag
	s.log(honey, s.daysAgo(74), larder.StageChange{To: larder.Alcoholic}, "")
	s.log(honey, s.daysAgo(4), larder.Action{What: larder.MouldSeen}, "")
	s.log(honey, s.daysAgo(4), larder.Hold{On: true, Reason: "mould sighting"}, "")
	s.start(larder.NewBatch{Name: "Windfalls", Base: larder.FruitScraps, When: s.daysAgo(3), FillML: litres(2)})
	return s
}

// bottled adds a lot of bottles of the barley jar.
func (s *station) bottled(count int) store.BottledLot {
	s.t.Helper()
	lot, err := s.db.Bottle(context.Background(), act(), larder.NewLot{When: s.daysAgo(5), Pours: []larder.Pour{{Jar: s.jars["Barley/A"]}}, Runs: []larder.Run{{Count: count, SizeML: 250}}})
	if err != nil {
		s.t.Fatal(err)
	}
	return lot
}

// given gives some of the lot's bottles away, takes one gift back, and holds and
// releases the lot.
func (s *station) given(lot store.BottledLot) {
	s.t.Helper()
	for i, to := range map[int]string{1: "Ana, next door", 2: "Ana, next door", 3: "the choir supper", 4: "Ben"} {
		if _, err := s.db.Give(context.Background(), act(), lot.Bottles[i].Tag, larder.NewGift{To: to, When: s.daysAgo(float64(4 - i)), Note: "For the salad bowl."}); err != nil {
			s.t.Fatal(err)
		}
	}
	if _, err := s.db.TakeBack(context.Background(), act(), lot.Bottles[4].Tag, "it was bottle 6"); err != nil {
		s.t.Fatal(err)
	}
	for _, n := range []larder.NewLotHold{{On: true, Reason: "a cork crumbled"}, {Reason: "only that one"}} {
		if _, err := s.db.HoldLot(context.Background(), act(), lot.Lot.ID, n); err != nil {
			s.t.Fatal(err)
		}
	}
}

// answer is what the station answered.
type answer struct {
	*httptest.ResponseRecorder
	s    *station
	path string
}

func (s *station) get(path string) answer {
	return s.send(httptest.NewRequest("GET", path, nil), path)
}

func (s *station) post(path string, v url.Values) answer {
	r := httptest.NewRequest("POST", path, strings.NewReader(v.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return s.send(r, path)
}

func (s *station) send(r *http.Request, path string) answer {
	for _, c := range s.jar {
		r.AddCookie(c)
	}
	w := httptest.NewRecorder()
	s.engine.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		s.jar = slices.DeleteFunc(s.jar, func(old *http.Cookie) bool { return old.Name == c.Name })
		s.jar = append(s.jar, c)
	}
	return answer{w, s, path}
}

// wants checks the status and that the page says all of these.
func (a answer) wants(status int, says ...string) answer {
	a.s.t.Helper()
	if a.Code != status {
		a.s.t.Fatalf("%s answered %d, want %d:\n%s", a.path, a.Code, status, words(a.Body.String()))
	}
	text := words(a.Body.String())
	for _, say := range says {
		if !strings.Contains(text, say) {
			a.s.t.Errorf("%s does not say %q:\n%s", a.path, say, text)
		}
	}
	return a
}

func (a answer) lacks(not ...string) answer {
	a.s.t.Helper()
	for _, n := range not {
		if strings.Contains(a.Body.String(), n) {
			a.s.t.Errorf("%s must not hold %q", a.path, n)
		}
	}
	return a
}

// has checks the page's source.
func (a answer) has(source ...string) answer {
	a.s.t.Helper()
	for _, n := range source {
		if !strings.Contains(a.Body.String(), n) {
			a.s.t.Errorf("%s has no %s in its source", a.path, n)
		}
	}
	return a
}

// follow opens the page that a saved form leads to.
func (a answer) follow() answer {
	a.s.t.Helper()
	a.wants(http.StatusSeeOther)
	to, _, _ := strings.Cut(a.Header().Get("Location"), "#") // a browser keeps the fragment to itself
	return a.s.get(to)
}

var (
	tagRE   = regexp.MustCompile(`<[^>]*>`)
	spaceRE = regexp.MustCompile(`\s+`)
	nobr    = strings.NewReplacer("&#39;", "'", "&amp;", "&", "&#34;", `"`, "&lt;", "<", "&gt;", ">", "&#43;", "+")
)

// words is the text of a page.
func words(html string) string {
	return strings.TrimSpace(nobr.Replace(spaceRE.ReplaceAllString(tagRE.ReplaceAllString(html, " "), " ")))
}

// form makes the values of a form with a fresh key.
func formOf(pairs ...string) url.Values {
	v := url.Values{"key": {newKey()}}
	for i := 0; i+1 < len(pairs); i += 2 {
		v.Add(pairs[i], pairs[i+1])
	}
	return v
}

func (s *station) state(tag larder.Tag) larder.State {
	s.t.Helper()
	j, err := s.db.Jar(context.Background(), tag)
	if err != nil {
		s.t.Fatal(err)
	}
	return j.State
}

func (s *station) entries(tag larder.Tag) int {
	s.t.Helper()
	p, err := s.db.History(context.Background(), tag, store.Cursor{}, 1000)
	if err != nil {
		s.t.Fatal(err)
	}
	return len(p.Entries)
}

func at(tag larder.Tag, rest string) string { return fmt.Sprintf("/J/%s%s", tag, rest) }

// reset gives the station a fresh engine to register pages on.
func (s *station) reset() *gin.Engine {
	s.engine = web.NewEngine(web.Options{Log: slog.New(slog.DiscardHandler)})
	return s.engine
}

// unknown is a well-formed tag of that length that nobody was given.
func unknown(length int) string {
	for _, last := range "123456789" {
		tag := strings.Repeat("0", length-2) + string(last)
		check, _ := larder.CheckCharacter(tag)
		if _, _, err := larder.ParseTag(tag + string(check)); err == nil {
			return tag + string(check)
		}
	}
	panic("no such tag")
}
