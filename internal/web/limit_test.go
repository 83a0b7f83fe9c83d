package web

import (
	"crypto/tls"
	"fmt"
	"net/http/httptest"
	"testing"
	"time"
)

func TestLimiter(t *testing.T) {
	l := NewLimiter(time.Hour, 3)
	for range 3 {
		if wait, ok := l.Allow("a"); !ok || wait != 0 {
			t.Fatal("the burst is cut short")
		}
	}
	if wait, ok := l.Allow("a"); ok || wait < 3590 || wait > 3600 {
		t.Errorf("beyond the burst: %v, wait %d s", ok, wait)
	}
	if _, spent := l.Spent("a"); !spent {
		t.Error("nothing should be left")
	}
	if _, ok := l.Allow("b"); !ok {
		t.Error("another has to wait")
	}
	if _, spent := l.Spent("c"); spent {
		t.Error("somebody unknown has nothing left")
	}
	// A flood of askers takes no more memory than so many.
	for i := range 3 * askers {
		l.Allow(fmt.Sprint("flood ", i))
	}
	if n := l.known.Len(); n != askers {
		t.Errorf("%d askers are kept, want %d", n, askers)
	}
	quick := NewLimiter(time.Millisecond, 1)
	quick.Allow("a")
	time.Sleep(20 * time.Millisecond)
	if _, ok := quick.Allow("a"); !ok {
		t.Error("what was used does not come back")
	}
}

func TestAsker(t *testing.T) {
	for remote, want := range map[string]string{
		"192.168.1.9:5000":            "192.168.1.9",
		"[::ffff:192.168.1.9]:5000":   "192.168.1.9",
		"[2001:db8:1:2:3:4:5:6]:5000": "2001:db8:1:2::/64",
		"[2001:db8:1:2:ffff::1]:1":    "2001:db8:1:2::/64", // RFC 4291, 2.5.4: 64 bits are the network's
		"[fe80::1%eth0]:1":            "fe80::/64",
		"@":                           "@",
	} {
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = remote
		if got := Asker(r); got != want {
			t.Errorf("%s is counted as %s, want %s", remote, got, want)
		}
	}
}

func TestToken(t *testing.T) {
	r := httptest.NewRequest("GET", "/", nil)
	if Token(r) != "" {
		t.Error("nobody shows a token")
	}
	r.Header.Add("Cookie", "by=ro; phone=old; stock=x")
	ShowToken(r, "new")
	if by, err := r.Cookie("by"); Token(r) != "new" || err != nil || by.Value != "ro" {
		t.Errorf("the cookies are %q", r.Header.Values("Cookie"))
	}
	r.Header.Set("Authorization", "bearer  abc ")
	if Token(r) != "abc" {
		t.Errorf("the token is %q", Token(r))
	}
	r.Header.Set("Authorization", "Basic abc")
	if Token(r) != "new" {
		t.Error("a password is taken for a token")
	}
	if TokenCookie(r, "x").Secure {
		t.Error("over plain HTTP a Secure cookie is lost")
	}
	if r.TLS = new(tls.ConnectionState); !TokenCookie(r, "x").Secure {
		t.Error("over TLS the cookie may travel in the clear")
	}
}
