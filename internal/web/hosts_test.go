package web

import (
	"encoding/json"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
)

func TestHosts(t *testing.T) {
	h := NewHosts("192.168.1.20:8080", "cruet.local", "https://example.org/vinegar", "Larder.Example.NET.", "")
	h.interfaces = func() ([]net.Addr, error) {
		return []net.Addr{&net.IPNet{IP: net.IPv4(10, 0, 0, 7)}, &net.IPNet{IP: net.ParseIP("fd00::7")}, &net.IPNet{IP: net.IPv4(127, 0, 0, 1)}}, nil
	}
	for _, ok := range []string{"192.168.1.20:8080", "192.168.1.20", "cruet.local:8080", "CRUET.LOCAL", "cruet.local.", "example.org", "larder.example.net:80", "localhost:8080", "10.0.0.7:8080", "[fd00::7]:8080", "[FD00:0::7]", "127.0.0.1:9", "[::ffff:10.0.0.7]:80"} {
		if !h.Allowed(ok) {
			t.Errorf("%s is refused", ok)
		}
	}
	for _, no := range []string{"", "evil.example", "evil.example:8080", "10.0.0.8:8080", "cruet.local.evil.example", "evilcruet.local", "192.168.1.20.evil.example", "192.168.1.200", "0x7f.1", "2130706433", "[fd00::8]", "localhost.evil.example", "127.0.0.1.nip.example"} {
		if h.Allowed(no) {
			t.Errorf("%s is answered", no)
		}
	}
	h.Set("other.local")
	if h.Allowed("cruet.local") || !h.Allowed("other.local") {
		t.Error("the names are not set afresh")
	}
}

// DNS rebinding: a page of evil.example, whose name now leads to this machine, is
// of the same origin as itself, so that only the Host tells it. RFC 9110, 15.5.20
// has 421 for it.
func TestRebindingIsRefused(t *testing.T) {
	e := NewEngine(Options{Log: slog.New(slog.DiscardHandler), Hosts: NewHosts("192.168.1.20:8080")})
	reached := 0
	for _, path := range []string{"/J/:tag", "/api/v1/jars"} {
		e.GET(path, func(c *gin.Context) { reached++; c.String(http.StatusOK, "jar") })
		e.POST(path, func(c *gin.Context) { reached++; c.String(http.StatusOK, "jar") })
	}
	for _, path := range []string{"/J/K7RM4T", "/api/v1/jars"} {
		for _, method := range []string{"GET", "POST"} {
			r := httptest.NewRequest(method, path, strings.NewReader("ph=3"))
			r.Host = "evil.example:8080"
			r.Header.Set("Origin", "http://evil.example:8080")
			r.Header.Set("Sec-Fetch-Site", "same-origin")
			w := httptest.NewRecorder()
			e.ServeHTTP(w, r)
			if w.Code != http.StatusMisdirectedRequest || !strings.Contains(w.Body.String(), "cruet kitchen --host") {
				t.Errorf("%s %s: %d %s", method, path, w.Code, w.Body)
			}
			if strings.HasPrefix(path, "/api/") {
				var problem map[string]any
				if err := json.Unmarshal(w.Body.Bytes(), &problem); err != nil || problem["status"] != 421.0 {
					t.Errorf("a program is told %s (%v)", w.Body, err)
				}
			}
		}
	}
	if reached != 0 {
		t.Errorf("%d requests came through", reached)
	}
	if w := ask(e, "GET", "/J/K7RM4T", ""); w.Code != 200 {
		t.Errorf("by its own number it answers %d", w.Code)
	}
}
