package web

import (
	"net"
	"testing"
)

func TestAddress(t *testing.T) {
	for listen, want := range map[string]struct {
		address   string
		reachable bool
	}{
		"192.168.1.20:8080": {"192.168.1.20:8080", true},
		"cellar.local:80":   {"cellar.local:80", true},
		"[fd00::1]:8080":    {"[fd00::1]:8080", true},
		"127.0.0.1:8080":    {"127.0.0.1:8080", false},
		"127.0.1.1:8080":    {"127.0.1.1:8080", false},
		"localhost:8080":    {"localhost:8080", false},
		"LOCALHOST:8080":    {"LOCALHOST:8080", false},
		"[::1]:8080":        {"[::1]:8080", false},
	} {
		address, reachable, err := Address(listen)
		if err != nil || address != want.address || reachable != want.reachable {
			t.Errorf("Address(%s) = %s, %v, %v; want %s, %v", listen, address, reachable, err, want.address, want.reachable)
		}
	}
	for _, listen := range []string{"", "8080", "192.168.1.20", ":http", ":-1", ":65536", "::1:8080", ":8080:1"} {
		if address, _, err := Address(listen); err == nil {
			t.Errorf("Address(%q) = %s, want an error that says how to write it", listen, address)
		}
	}
}

// Listening on every interface, labels name one that a phone can reach, else
// the loopback and say so.
func TestAddressOfThisMachine(t *testing.T) {
	for _, listen := range []string{":8080", "0.0.0.0:8080", "[::]:8080"} {
		address, reachable, err := Address(listen)
		if err != nil {
			t.Fatalf("Address(%s): %v", listen, err)
		}
		host, port, err := net.SplitHostPort(address)
		ip := net.ParseIP(host)
		if err != nil || port != "8080" || ip.To4() == nil || ip.IsUnspecified() || ip.IsLoopback() == reachable {
			t.Errorf("Address(%s) = %s, reachable %v", listen, address, reachable)
		}
		if reachable && !ownAddress(t, ip) {
			t.Errorf("Address(%s) = %s, which is no address of this machine", listen, address)
		}
	}
}

func ownAddress(t *testing.T, ip net.IP) bool {
	t.Helper()
	all, err := net.InterfaceAddrs()
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok && n.IP.Equal(ip) {
			return true
		}
	}
	return false
}
