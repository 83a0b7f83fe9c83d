package scan

import (
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"cruet/internal/web"
)

// strict is the station as it is served: with its bounds, its names and its words.
func (s *station) strict() {
	s.engine = web.NewEngine(web.Options{Log: slog.New(slog.DiscardHandler), Bounds: web.NewBounds(), Hosts: web.NewHosts("192.168.1.20"), Say: Words})
	s.pages.Register(s.engine)
}

// TestRefusalsInGerman: who reads German is refused in German.
func TestRefusalsInGerman(t *testing.T) {
	s := stocked(t)
	s.strict()
	ask := func(from, method, path, host string) (page string) {
		r := httptest.NewRequest(method, path, nil)
		r.Host, r.RemoteAddr = host, from+":1"
		r.Header.Set("Accept", "text/html")
		r.Header.Set("Accept-Language", "de-AT,de;q=0.9,en;q=0.5")
		r.Header.Set("Sec-Fetch-Site", "cross-site")
		return s.send(r, path).Body.String()
	}
	missed := ""
	for range 70 {
		missed = ask("192.168.1.9", http.MethodGet, "/J/"+unknown(6), "192.168.1.20")
	}
	often := ""
	for range 700 {
		often = ask("192.168.1.10", http.MethodGet, "/help/caution", "192.168.1.20")
	}
	for want, got := range map[string]string{
		"Zu oft gefragt Von hier wurden viele Kennzeichen versucht": missed, "fragt öfter": often,
		"Diese Station heißt nicht so":          ask("192.168.1.11", http.MethodGet, "/", "vinegar.example"),
		"Eine andere Seite wollte das schicken": ask("192.168.1.11", http.MethodPost, "/start", "192.168.1.20"),
	} {
		text := words(got[strings.Index(got, "<main>")+1:])
		if !strings.Contains(got, `<html lang="de">`) || !strings.Contains(text, want) {
			t.Errorf("it does not say %q: %s", want, got)
		}
		if word := englishRE.FindString(strings.ReplaceAll(text, "cruet kitchen --host NAME", "")); word != "" {
			t.Errorf("it says %q in %q", word, text)
		}
	}
}
