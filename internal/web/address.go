package web

import (
	"fmt"
	"net"
	"strconv"
	"strings"
)

// Address is HOST:PORT for labels: this machine's address on the local network
// with the port of listen (":8080"). reachable is false when there is none and
// the loopback address has to do, which a phone cannot open.
func Address(listen string) (address string, reachable bool, err error) {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return "", false, fmt.Errorf("%q is not an address to listen on; write it like :8080 or 192.168.1.20:8080", listen)
	}
	if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		return "", false, fmt.Errorf("%q is not a port; it is a number up to 65535", port)
	}
	if ip := net.ParseIP(host); host != "" && (ip == nil || !ip.IsUnspecified()) {
		loopback := strings.EqualFold(host, "localhost") || (ip != nil && ip.IsLoopback())
		return net.JoinHostPort(host, port), !loopback, nil
	}
	if ip := lanIP(); ip != nil {
		return net.JoinHostPort(ip.String(), port), true, nil
	}
	return net.JoinHostPort("127.0.0.1", port), false, nil
}

// lanIP is the first private IPv4 address of an interface that is up: IPv4,
// since its text is shorter and makes a code of fewer, larger modules.
func lanIP() net.IP {
	interfaces, err := net.Interfaces()
	if err != nil {
		return nil
	}
	var other net.IP
	for _, i := range interfaces {
		if i.Flags&net.FlagUp == 0 || i.Flags&net.FlagLoopback != 0 {
			continue
		}
		addresses, err := i.Addrs()
		if err != nil {
			continue
		}
		for _, a := range addresses {
			n, ok := a.(*net.IPNet)
			if !ok || n.IP.To4() == nil || n.IP.IsLinkLocalUnicast() {
				continue
			}
			if n.IP.IsPrivate() {
				return n.IP
			}
			other = n.IP
		}
	}
	return other
}
