package web

import (
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"
)

// Hosts are the names and numbers under which this station answers. A page of
// another site whose name was turned to this machine's number ("DNS rebinding")
// still says its own name, and gets nothing.
type Hosts struct {
	mu    sync.Mutex
	named map[string]bool
	own   map[string]bool // this machine's numbers
	until time.Time       // when they are looked up afresh

	interfaces func() ([]net.Addr, error)
}

// ownFor is how long this machine's numbers are taken to be the same.
const ownFor = 5 * time.Second

// NewHosts answers under the numbers of this machine's interfaces, localhost and
// the names given, each a host with or without a port, or a URL.
func NewHosts(names ...string) *Hosts {
	h := &Hosts{interfaces: net.InterfaceAddrs}
	h.Set(names...)
	return h
}

// Set names the hosts afresh.
func (h *Hosts) Set(names ...string) {
	named := map[string]bool{"localhost": true}
	for _, n := range names {
		if host := hostOf(n); host != "" {
			named[host] = true
		}
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.named = named
}

// Allowed tells whether the station answers under host, which may carry a port.
func (h *Hosts) Allowed(host string) bool {
	host = hostOf(host)
	h.mu.Lock()
	defer h.mu.Unlock()
	if host == "" || h.named[host] {
		return host != ""
	}
	if _, err := netip.ParseAddr(host); err != nil {
		return false
	}
	if now := time.Now(); now.After(h.until) {
		all, err := h.interfaces()
		if err != nil {
			return false
		}
		h.own, h.until = map[string]bool{}, now.Add(ownFor)
		for _, a := range all {
			if n, ok := a.(*net.IPNet); ok {
				h.own[hostOf(n.IP.String())] = true
			}
		}
	}
	return h.own[host]
}

// hostOf is the host of "HOST", "HOST:PORT", "[v6]:PORT" or a URL, as it is
// compared: in lower case, without a dot at the end and without a zone.
func hostOf(text string) string {
	if _, rest, ok := strings.Cut(text, "://"); ok {
		text, _, _ = strings.Cut(rest, "/")
	}
	if host, _, err := net.SplitHostPort(text); err == nil {
		text = host
	}
	text = strings.ToLower(strings.TrimSuffix(strings.Trim(text, "[]"), "."))
	if ip, err := netip.ParseAddr(text); err == nil {
		return ip.Unmap().WithZone("").String()
	}
	return text
}

// known answers only under known names.
func (h *Hosts) known(c *gin.Context) {
	if h == nil || h.Allowed(c.Request.Host) {
		c.Next()
		return
	}
	// RFC 9110, 15.5.20: this server is not the one for that host.
	refuse(c, Answer{Status: http.StatusMisdirectedRequest, Kind: OtherName, Title: "This station does not go by that name",
		Detail: fmt.Sprintf("It was called %q. Open it by the address that its terminal shows. To add a name, write it under \"Address\" on the set-up page, or run: cruet kitchen --host NAME", shortened(c.Request.Host))})
}

func shortened(s string) string {
	if len(s) > 100 {
		return s[:100] + "…"
	}
	return s
}
