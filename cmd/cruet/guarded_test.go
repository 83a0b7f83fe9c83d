package main

import (
	"io"
	"net/http"
	"strings"
	"testing"

	"cruet/internal/larder"
)

// What guards a station guards the real program too: the names that it answers
// to, on pages and in the API; the tags that may be guessed; the size of a head.
func TestStationIsGuarded(t *testing.T) {
	s := besiege(t, 7)
	s.start()
	ask := func(path string, change func(*http.Request)) (int, string) {
		t.Helper()
		r, err := http.NewRequest("GET", s.base+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		change(r)
		res, err := s.client.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		body, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return res.StatusCode, string(body)
	}
	for path, want := range map[string]int{"/": http.StatusOK, "/api/v1/jars": http.StatusOK} {
		if status, _ := ask(path, func(*http.Request) {}); status != want {
			t.Fatalf("%s: %d, want %d", path, status, want)
		}
		status, body := ask(path, func(r *http.Request) { r.Host = "turned.example" })
		if status != http.StatusMisdirectedRequest || strings.Contains(body, s.jar) {
			t.Errorf("%s under another's name: %d: %s", path, status, body)
		}
		// RFC 6585, 5: a head that is too large is answered with 431.
		if status, _ := ask(path, func(r *http.Request) { r.Header.Set("X-Long", strings.Repeat("x", 200_000)) }); status != http.StatusRequestHeaderFieldsTooLarge {
			t.Errorf("%s with a head of 200 kB: %d", path, status)
		}
	}
	met := 0
	for range 200 {
		tag, err := larder.NewBottleTag()
		if err != nil {
			t.Fatal(err)
		}
		status, _ := ask("/B/"+string(tag), func(*http.Request) {})
		if status == http.StatusTooManyRequests {
			break
		}
		if met++; status != http.StatusNotFound {
			t.Fatalf("a tag of no bottle: %d", status)
		}
	}
	if met > 100 {
		t.Errorf("%d tags were tried, and more may be", met)
	}
}
