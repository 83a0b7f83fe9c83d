package beacon

import (
	"context"
	"errors"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/dns/dnsmessage"

	"cruet/internal/needed"
)

// apart runs the test again in a network of its own, which has nothing but a
// loopback interface: nothing of it is heard elsewhere. inside is true there.
func apart(t *testing.T) (inside bool) {
	t.Helper()
	if os.Getenv("BEACON_APART") != "" {
		return true
	}
	unshare, ip := needed.Program(t, "unshare"), needed.Program(t, "ip")
	if out, err := exec.Command(unshare, "-rn", ip, "link", "set", "lo", "up").CombinedOutput(); err != nil {
		needed.Missing(t, "a network apart cannot be made here ("+strings.TrimSpace(string(out))+")")
	}
	const prepare = `ip link set lo up multicast on && ip addr add 10.55.0.1/24 dev lo && ip route add 224.0.0.0/4 dev lo && exec "$0" -test.run "^$1\$" -test.v -test.count 1`
	cmd := exec.Command(unshare, "-rn", "sh", "-c", prepare, os.Args[0], t.Name())
	cmd.Env = append(os.Environ(), "BEACON_APART=1")
	out, err := cmd.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "--- PASS: "+t.Name()) {
		t.Fatalf("in a network apart: %v\n%s", err, out)
	}
	return false
}

func loopback(t *testing.T) []net.Interface {
	t.Helper()
	lo, err := net.InterfaceByName("lo")
	if err != nil {
		t.Fatal(err)
	}
	return []net.Interface{*lo}
}

// question asks the group as RFC 6762 has it: 224.0.0.251 port 5353 (section 3);
// what asks from another port gets a plain DNS answer back (6.7).
func question(t *testing.T, name string) *dnsmessage.Message {
	t.Helper()
	c, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	q := dnsmessage.Message{Header: dnsmessage.Header{ID: 7}, Questions: []dnsmessage.Question{{Name: dnsmessage.MustNewName(name + "."), Type: dnsmessage.TypeA, Class: dnsmessage.ClassINET}}}
	packed, err := q.Pack()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.WriteToUDP(packed, &net.UDPAddr{IP: net.IPv4(224, 0, 0, 251), Port: 5353}); err != nil {
		t.Fatal(err)
	}
	buffer := make([]byte, 1500)
	if err := c.SetReadDeadline(time.Now().Add(2 * time.Second)); err != nil {
		t.Fatal(err)
	}
	n, _, err := c.ReadFromUDP(buffer)
	if err != nil {
		return nil
	}
	var m dnsmessage.Message
	if err := m.Unpack(buffer[:n]); err != nil {
		t.Fatal(err)
	}
	return &m
}

func TestAnswersForItsName(t *testing.T) {
	if !apart(t) {
		return
	}
	b, err := Start(context.Background(), "cruet.local", loopback(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"cruet.local", "CRUET.LOCAL"} { // names are the same in either case: RFC 6762, 16
		m := question(t, name)
		if m == nil || !m.Response || m.ID != 7 || len(m.Answers) != 1 {
			t.Fatalf("the answer for %s is %+v", name, m)
		}
		a, ok := m.Answers[0].Body.(*dnsmessage.AResource)
		if ip := net.IP(a.A[:]); !ok || !ip.IsLoopback() && ip.String() != "10.55.0.1" {
			t.Errorf("%s is at %v", name, m.Answers[0].Body)
		}
		if ttl := m.Answers[0].Header.TTL; ttl == 0 || ttl > 120 { // RFC 6762, 10: 120 s for a host's name
			t.Errorf("it holds for %d s", ttl)
		}
	}
	if m := question(t, "other.local"); m != nil {
		t.Errorf("another's name is answered: %+v", m)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	if m := question(t, "cruet.local"); m != nil {
		t.Errorf("after the end it answers: %+v", m)
	}
}

// Another machine has the name: it answers with a number that is not ours.
func TestTakenName(t *testing.T) {
	if !apart(t) {
		return
	}
	other, err := net.ListenMulticastUDP("udp4", &loopback(t)[0], &net.UDPAddr{IP: net.IPv4(224, 0, 0, 251), Port: 5353})
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	go func() {
		buffer := make([]byte, 1500)
		for {
			n, from, err := other.ReadFromUDP(buffer)
			if err != nil {
				return
			}
			var m dnsmessage.Message
			if m.Unpack(buffer[:n]) != nil || m.Response || len(m.Questions) != 1 || m.Questions[0].Name.String() != "cruet.local." {
				continue
			}
			m.Response, m.Authoritative = true, true
			m.Answers = []dnsmessage.Resource{{Header: dnsmessage.ResourceHeader{Name: m.Questions[0].Name, Type: dnsmessage.TypeA, Class: dnsmessage.ClassINET, TTL: 120}, Body: &dnsmessage.AResource{A: [4]byte{10, 9, 8, 7}}}}
			m.Questions = nil
			if packed, err := m.Pack(); err == nil {
				_, _ = other.WriteToUDP(packed, from) // a lost answer fails the test below
			}
		}
	}()
	var taken *TakenError
	if b, err := Start(context.Background(), "cruet.local", loopback(t)); !errors.As(err, &taken) || taken.By != "10.9.8.7" || !strings.Contains(taken.Error(), "another name") {
		t.Errorf("it answers as %v, %v", b, err)
	}
	b, err := Start(context.Background(), "cruet-2.local", loopback(t))
	if err != nil {
		t.Fatal(err)
	}
	b.Close()
}

func TestInterfaces(t *testing.T) {
	for _, host := range []string{"127.0.0.1", "::1", "kitchen.example"} {
		if on, err := Interfaces(host); err != nil || len(on) != 0 {
			t.Errorf("%s is told on %v, %v", host, on, err)
		}
	}
	for _, host := range []string{"", "0.0.0.0", "::"} {
		on, err := Interfaces(host)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range on {
			if isLoopback(i) || i.Flags&net.FlagUp == 0 {
				t.Errorf("%q is told on %s", host, i.Name)
			}
		}
	}
	if _, err := Start(context.Background(), "cruet.local", nil); !errors.Is(err, ErrNowhere) {
		t.Errorf("without a network: %v", err)
	}
}
