// Package beacon tells a kitchen's network where the station is: it answers
// questions of multicast DNS (RFC 6762) for one name, like "cruet.local", so that
// labels which carry the name keep working when the machine's number changes.
package beacon

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"time"

	"github.com/pion/logging"
	"github.com/pion/mdns/v2"
	"golang.org/x/net/dns/dnsmessage"
	"golang.org/x/net/ipv4"
)

// A name is asked for three times, 250 ms apart, before it is taken (RFC 6762,
// 8.1).
const (
	probes     = 3
	probeEvery = 250 * time.Millisecond
)

// TakenError says that another machine of the network goes by the name.
type TakenError struct{ Name, By string }

func (e *TakenError) Error() string {
	return fmt.Sprintf("%s is the name of another machine in this network, %s. Choose another name.", e.Name, e.By)
}

// ErrNowhere says that there is no network to tell the name to.
var ErrNowhere = errors.New("this machine is in no network that the name could be told to")

// Beacon answers for a name until it is closed.
type Beacon struct {
	Name string
	conn *mdns.Conn
}

// Close stops answering.
func (b *Beacon) Close() error { return b.conn.Close() }

// Start takes name ("cruet.local") on the interfaces, if no other machine has it,
// and answers for it. The error is a *TakenError when one has.
func Start(ctx context.Context, name string, on []net.Interface) (*Beacon, error) {
	if len(on) == 0 {
		return nil, ErrNowhere
	}
	ask, err := open("", on)
	if err != nil {
		return nil, err
	}
	by, taken := probe(ctx, ask, name, on)
	if err := ask.Close(); err != nil {
		return nil, fmt.Errorf("asking for the name %s: %w", name, err)
	}
	if taken {
		return nil, &TakenError{name, by}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	conn, err := open(name, on)
	if err != nil {
		return nil, err
	}
	return &Beacon{name, conn}, nil
}

// open answers for name, or for none.
func open(name string, on []net.Interface) (*mdns.Conn, error) {
	group, err := net.ResolveUDPAddr("udp4", mdns.DefaultAddressIPv4)
	if err != nil {
		return nil, err
	}
	l, err := net.ListenUDP("udp4", group) // shares the port with others on this machine
	if err != nil {
		return nil, fmt.Errorf("listening for questions of multicast DNS: %w", err)
	}
	opts := []mdns.ServerOption{mdns.WithInterfaces(on...), mdns.WithRecordTypes(dnsmessage.TypeA), mdns.WithCacheRefresh(false), mdns.WithQueryInterval(probeEvery),
		mdns.WithIncludeLoopback(slices.ContainsFunc(on, isLoopback)), mdns.WithLoggerFactory(quiet{})}
	if name != "" {
		opts = append(opts, mdns.WithLocalNames(name))
	}
	conn, err := mdns.NewServer(ipv4.NewPacketConn(l), nil, opts...)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("answering by multicast DNS: %w", err), l.Close())
	}
	return conn, nil
}

// probe asks whether another machine has the name. An answer of this machine, as
// of its own name service, is none.
func probe(ctx context.Context, ask *mdns.Conn, name string, on []net.Interface) (by string, taken bool) {
	ctx, cancel := context.WithTimeout(ctx, probes*probeEvery)
	defer cancel()
	_, ip, err := ask.QueryAddr(ctx, name)
	if err != nil || slices.Contains(numbers(on), ip.WithZone("").Unmap().String()) {
		return "", false
	}
	return ip.String(), true
}

func numbers(on []net.Interface) []string {
	var out []string
	for _, i := range on {
		all, err := i.Addrs()
		if err != nil {
			continue
		}
		for _, a := range all {
			if n, ok := a.(*net.IPNet); ok {
				out = append(out, n.IP.String())
			}
		}
	}
	return out
}

func isLoopback(i net.Interface) bool { return i.Flags&net.FlagLoopback != 0 }

// Interfaces are those on which a station that listens at host can be found: all
// of the local networks when host is empty or unspecified, else the one that has
// that number. A loopback address is on none.
func Interfaces(host string) ([]net.Interface, error) {
	all, err := net.Interfaces()
	if err != nil {
		return nil, fmt.Errorf("looking for networks: %w", err)
	}
	ip := net.ParseIP(host)
	if host != "" && ip == nil {
		return nil, nil // a name: nobody knows of which network
	}
	any := ip == nil || ip.IsUnspecified()
	return slices.DeleteFunc(all, func(i net.Interface) bool {
		return i.Flags&net.FlagUp == 0 || i.Flags&net.FlagMulticast == 0 || isLoopback(i) ||
			!slices.ContainsFunc(addrs(i), func(a net.IP) bool { return any && a.To4() != nil || a.Equal(ip) })
	}), nil
}

func addrs(i net.Interface) []net.IP {
	all, err := i.Addrs()
	if err != nil {
		return nil
	}
	var out []net.IP
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok {
			out = append(out, n.IP)
		}
	}
	return out
}

// quiet keeps the library's own lines out of the station's log: what matters
// comes back as errors.
type quiet struct{}

func (quiet) NewLogger(string) logging.LeveledLogger {
	l := logging.NewDefaultLoggerFactory()
	l.DefaultLogLevel = logging.LogLevelDisabled
	return l.NewLogger("")
}
