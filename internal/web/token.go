package web

import (
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// phoneCookie holds a paired phone's token.
const phoneCookie = "phone"

// tokenDays is how long a phone keeps its token: as long as browsers allow
// (RFC 6265bis, 5.5, caps Max-Age at 400 days). Each visit begins it anew.
const tokenDays = 400

// Token is what a request shows to be let in: a program's bearer token (RFC 6750)
// or the cookie of a paired phone.
func Token(r *http.Request) string {
	if scheme, token, ok := strings.Cut(r.Header.Get("Authorization"), " "); ok && strings.EqualFold(scheme, "Bearer") {
		return strings.TrimSpace(token)
	}
	c, err := r.Cookie(phoneCookie)
	if err != nil {
		return ""
	}
	return c.Value
}

// TokenCookie is the cookie that a paired phone keeps. No script sees it, no
// other site's form sends it, and over TLS it never travels in the clear.
func TokenCookie(r *http.Request, token string) *http.Cookie {
	return &http.Cookie{Name: phoneCookie, Value: token, Path: "/", MaxAge: tokenDays * 24 * 3600, HttpOnly: true, SameSite: http.SameSiteLaxMode, Secure: r.TLS != nil}
}

// ShowToken makes r show a token that was given out while it was answered.
func ShowToken(r *http.Request, token string) {
	others := r.Cookies()
	r.Header.Del("Cookie")
	for _, c := range others {
		if c.Name != phoneCookie {
			r.AddCookie(c)
		}
	}
	r.AddCookie(&http.Cookie{Name: phoneCookie, Value: token})
}

// Asker is the network that a request comes from, to count its tries by: an IPv4
// address, or the /64 that one IPv6 host may take any address of.
func Asker(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	ip, err := netip.ParseAddr(host)
	if err != nil {
		return host
	}
	if ip = ip.Unmap().WithZone(""); ip.Is6() {
		if net, err := ip.Prefix(64); err == nil {
			return net.String()
		}
	}
	return ip.String()
}
