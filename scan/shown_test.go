package scan

import (
	"context"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/labels"
)

// everything serves all that a browser can get to see: the pages of a station full
// of hard cases, and under /shown/ what is no page with an address of its own.
// Phones get in as they do by listen.
func everything(t *testing.T) (base string, paths []string) {
	t.Helper()
	s, paths := hard(t)
	shown := refusedForms(t)
	maps.Copy(shown, refusals(t))
	maps.Copy(shown, published(s))
	shown["today-late"] = loggedLate(t).get("/").ResponseRecorder
	known := s.listening()
	base = s.serve(func(w http.ResponseWriter, r *http.Request) {
		name, ok := strings.CutPrefix(r.URL.Path, "/shown/")
		if !ok {
			known(w, r)
			return
		}
		a := shown[name]
		maps.Copy(w.Header(), a.Result().Header)
		w.WriteHeader(a.Code)
		_, _ = w.Write(a.Body.Bytes()) // the browser went away
	})
	for _, name := range slices.Sorted(maps.Keys(shown)) {
		paths = append(paths, "/shown/"+name)
	}
	slices.Sort(paths)
	return base, slices.Compact(paths)
}

// refusedForms are the pages that come back for a form that is wrong, for every
// form that there is: one empty, one with nonsense in it.
func refusedForms(t *testing.T) map[string]*httptest.ResponseRecorder {
	t.Helper()
	s := stocked(t)
	lot := s.bottled(3)
	out := map[string]*httptest.ResponseRecorder{}
	for _, path := range posts(s, string(s.jars["Quince juice/A"]), lot.Lot.ID) {
		for i, v := range []url.Values{formOf("by", "ro"), nonsense()} {
			a := s.post(path, v)
			if a.Code >= 500 {
				t.Errorf("%s answered %d to %v", path, a.Code, v)
			}
			if a.Code >= 400 && strings.Contains(a.Body.String(), "<main") {
				out[fmt.Sprintf("%s-%d", strings.ReplaceAll(strings.Trim(strings.ReplaceAll(path, string(s.jars["Quince juice/A"]), "JAR"), "/"), "/", "-"), i)] = a.ResponseRecorder
			}
			// A form that sets the rules may have made this phone a stranger's.
			if err := s.db.SetAccess(context.Background(), larder.DefaultAccess); err != nil {
				t.Fatal(err)
			}
		}
	}
	out["photo-no-picture"] = s.upload(at(s.jars["Quince juice/A"], "/photo"), formOf(), []byte("no picture")).ResponseRecorder
	out["scan-no-picture"] = s.upload("/scan", formOf(), []byte("no picture")).ResponseRecorder
	if len(out) < 30 {
		t.Fatalf("only %d forms were refused", len(out))
	}
	return out
}

// nonsense is a form in which every field that there is holds what is none of its
// answers.
func nonsense() url.Values {
	v := formOf()
	for _, name := range []string{"ph", "temp_c", "specific_gravity", "brix", "abv_percent_vol", "volume_ml", "fill_ml", "size_ml", "sample_ml", "base_mol_per_l", "start_ml_1", "end_ml_1", "jars", "target_g_per_100ml",
		"when", "to", "stage", "action", "starter", "other", "reason_kind", "count_1", "size_1", "size_ml_1", "buffer_1", "shown_1", "temperature_c_1", "stated_mol_per_l", "from", "what", "lot", "code", "time_zone", "units", "idle_days", "calibration_max_age_hours", "base_max_age_days", "public_address"} {
		v.Set(name, "x-"+strings.Repeat("unlesbar", 6))
	}
	v.Set("name", "<b>Birnen</b>")
	v.Set("by", "ro")
	return v
}

// refusals are what a browser sees where no page is asked for at all.
func refusals(t *testing.T) map[string]*httptest.ResponseRecorder {
	t.Helper()
	s := stocked(t)
	s.strict()
	s.engine.GET("/crash", func(c *gin.Context) { panic("a bug") })
	ask := func(from, method, path, host string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(method, path, nil)
		r.Host, r.RemoteAddr = host, from+":1"
		r.Header.Set("Accept", "text/html")
		r.Header.Set("Sec-Fetch-Site", "cross-site")
		return s.send(r, path).ResponseRecorder
	}
	out := map[string]*httptest.ResponseRecorder{
		"refused-name": ask("192.168.1.9", "GET", "/", strings.Repeat("vinegar.", 12)+"example"), "refused-site": ask("192.168.1.9", "POST", "/start", "192.168.1.20"),
		"refused-crash": ask("192.168.1.9", "GET", "/crash", "192.168.1.20"),
	}
	for range 70 {
		out["refused-guesses"] = ask("192.168.1.9", "GET", "/J/"+unknown(larder.MinJarTag), "192.168.1.20")
	}
	for name, status := range map[string]int{"refused-name": 421, "refused-site": 403, "refused-crash": 500, "refused-guesses": 429} {
		if out[name].Code != status {
			t.Fatalf("%s is answered %d, want %d", name, out[name].Code, status)
		}
	}
	return out
}

// published are pages of bottles as a web host shows them, without the station's
// headers: one like any other, one held, one of a lot that was struck, and the door.
func published(s *station) map[string]*httptest.ResponseRecorder {
	s.t.Helper()
	ctx := context.Background()
	out := map[string]*httptest.ResponseRecorder{}
	page := func(name string, write func(io.Writer) error) {
		w := httptest.NewRecorder()
		w.Header().Set("Content-Type", htmlKind)
		if err := write(w); err != nil {
			s.t.Fatal(err)
		}
		out["published-"+name] = w
	}
	k, err := s.db.Kitchen(ctx)
	if err != nil {
		s.t.Fatal(err)
	}
	lots, err := s.db.Lots(ctx)
	if err != nil || len(lots) < 2 {
		s.t.Fatalf("%d lots (%v), want two at least", len(lots), err)
	}
	for i, l := range lots {
		lot, err := s.db.Lot(ctx, l.Lot.ID)
		if err != nil {
			s.t.Fatal(err)
		}
		record, err := s.pages.filled(ctx, lot, k)
		if err != nil {
			s.t.Fatal(err)
		}
		record.Bottle = lot.Bottles[0]
		p, err := labels.PublicOf(record)
		if err != nil {
			s.t.Fatal(err)
		}
		page(strconv.Itoa(i), func(w io.Writer) error { return labels.WritePublic(w, p) })
		p.Hold, p.Void = true, true
		page(strconv.Itoa(i)+"-held", func(w io.Writer) error { return labels.WritePublic(w, p) })
	}
	page("door", func(w io.Writer) error { return labels.WritePublicDoor(w, k.Name) })
	return out
}
