package larder

import (
	"fmt"
	"net"
	"slices"
	"strconv"
	"strings"
)

// The most lines of a list that a maker sets, and the longest host name of DNS
// (RFC 1035, 2.3.4).
const (
	maxListed   = 50
	maxHostName = 253
	maxDNSLabel = 63
)

// DefaultLocalName is the name that a station announces unless told otherwise.
const DefaultLocalName = "cruet"

// LocalHost is the name that the station announces in its network, like
// "cruet.local" (RFC 6762, 3).
func (k Kitchen) LocalHost() string {
	if k.LocalName == "" {
		return DefaultLocalName + ".local"
	}
	return strings.ToLower(k.LocalName) + ".local"
}

// Lines are the entries of a list typed one a line: trimmed, without empty ones
// and repeats.
func Lines(text string) []string {
	var out []string
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if line != "" && !slices.ContainsFunc(out, func(o string) bool { return strings.EqualFold(o, line) }) {
			out = append(out, line)
		}
	}
	return out
}

// checkSettings says what is wrong with what was set for forms, labels and the
// network.
func (k Kitchen) checkSettings(p *Problems) {
	for field, list := range map[string][]string{"instruments": k.Instruments, "places": k.Places, "stocks": k.Stocks} {
		if len(list) > maxListed {
			p.Add(field, fmt.Sprintf("There are %d lines; %d at most.", len(list), maxListed))
		}
		for _, line := range list {
			checkText(p, field, "Each line", line, MaxNameRunes, true)
		}
	}
	checkText(p, "base_name", "The base's name", k.BaseName, MaxNameRunes, false)
	if k.BaseMolPerL != 0 {
		p.AddError("", k.BaseMolPerL.Check())
	}
	if k.LocalName != "" && !isDNSLabel(k.LocalName) {
		p.Add("local_name", fmt.Sprintf("The name in the network is one word of letters, digits and hyphens, at most %d of them, like cruet; “.local” is added by itself.", maxDNSLabel))
	}
	if err := CheckAddress(k.NamedAddress); k.NamedAddress != "" && err != nil {
		p.Add("named_address", err.Error())
	}
	if len(k.Hosts) > maxListed {
		p.Add("hosts", fmt.Sprintf("There are %d names; %d at most.", len(k.Hosts), maxListed))
	}
	for _, h := range k.Hosts {
		if !isHost(h) {
			p.Add("hosts", fmt.Sprintf("%q is not the name or number of a host. Write one a line, without http:// and without a port, like larder.example.org.", h))
		}
	}
}

// CheckAddress refuses what cannot be the HOST:PORT of a label's code.
func CheckAddress(address string) error {
	host, port, err := net.SplitHostPort(address)
	n, portErr := strconv.Atoi(port)
	bracketed := strings.HasPrefix(address, "[") // as only IPv6 numbers are (RFC 3986, 3.2.2)
	if err != nil || portErr != nil || strconv.Itoa(n) != port || n < 1 || n > 65535 || !isHost(host) || bracketed != strings.Contains(host, ":") {
		return Refuse("", fmt.Sprintf("%q is not an address; write host and port like 192.168.1.20:8080 or larder.local:8080.", address))
	}
	return nil
}

// isHost tells a name of DNS, an IPv4 or an IPv6 number.
func isHost(host string) bool {
	if net.ParseIP(host) != nil {
		return true
	}
	if len(host) > maxHostName {
		return false
	}
	for _, label := range strings.Split(strings.TrimSuffix(host, "."), ".") {
		if !isDNSLabel(label) {
			return false
		}
	}
	return true
}

// isDNSLabel tells a part of a host's name: letters, digits and hyphens, none of
// these at an end (RFC 952 and RFC 1123, 2.1).
func isDNSLabel(s string) bool {
	if s == "" || len(s) > maxDNSLabel || s[0] == '-' || s[len(s)-1] == '-' {
		return false
	}
	for _, r := range s {
		if r != '-' && (r < '0' || r > '9') && (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') {
			return false
		}
	}
	return true
}
