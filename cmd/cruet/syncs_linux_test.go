package main

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	machine "cruet/internal/needed"
)

// stracing is strace, where it may look at other processes.
func stracing(t *testing.T) string {
	t.Helper()
	strace := machine.Program(t, "strace")
	if out, err := exec.Command(strace, "-f", "-o", os.DevNull, "-e", "trace=fsync", "true").CombinedOutput(); err != nil {
		machine.Missing(t, "strace may not look at other processes here: "+string(out))
	}
	return strace
}

// under runs the station under strace from its start.
func (s *siege) under(strace string, options ...string) {
	s.ready = func(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }
	s.slay = func(cmd *exec.Cmd) error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	s.wrap = append([]string{strace, "-f", "-qq"}, options...)
}

// call is one call of the system by the station, as strace saw it: the places of
// its begin and its end among all lines.
type call struct {
	name       string
	fd         string
	data       string // hexadecimal
	begin, end int    // end 0: never
	ok         bool
}

var (
	beginsCall = regexp.MustCompile(`^(\d+) +(\w+)\((\d+)(?:, "((?:\\x[0-9a-f]{2})*)")?`)
	endsCall   = regexp.MustCompile(`^(\d+) +<\.\.\. \w+ resumed`)
	wentWell   = regexp.MustCompile(`\) += \d+$`)
)

// calls reads what strace -f -xx wrote.
func calls(t *testing.T, file string) []*call {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var all []*call
	under := map[string]*call{} // by thread
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, 1<<20)
	for n := 1; lines.Scan(); n++ {
		line := lines.Text()
		if m := endsCall.FindStringSubmatch(line); m != nil && under[m[1]] != nil {
			under[m[1]].end, under[m[1]].ok = n, wentWell.MatchString(line)
			delete(under, m[1])
		} else if m := beginsCall.FindStringSubmatch(line); m != nil {
			c := &call{name: m[2], fd: m[3], data: strings.ReplaceAll(m[4], `\x`, ""), begin: n}
			if strings.Contains(line, "<unfinished ...>") {
				under[m[1]] = c
			} else {
				c.end, c.ok = n, wentWell.MatchString(line)
			}
			all = append(all, c)
		}
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}

// commits tells whether a call writes the header of the frame that ends a
// transaction in a write-ahead log: 24 bytes, whose second four are then not 0
// (SQLite, "Database File Format", 4.1 "WAL File Format").
func (c *call) commits() bool {
	return c.name == "pwrite64" && len(c.data) == 2*24 && c.data[8:16] != "00000000"
}

func (c *call) syncs() bool { return (c.name == "fdatasync" || c.name == "fsync") && c.ok }

// That acts share commits takes nothing from them: of 32 clients that write at
// once, each is answered only after the system said that the frames with its note,
// and the one that ends their transaction, are on disk; and there are at least as
// many syncs as transactions.
func TestSharedCommitsAreSynced(t *testing.T) {
	strace := stracing(t)
	s := besiege(t, 5)
	trace := filepath.Join(t.TempDir(), "trace")
	s.under(strace, "-o", trace, "-e", "trace=fsync,fdatasync,pwrite64,write", "-e", "signal=none", "-s", "4200", "-xx")
	s.start()
	s.client.Transport = uncompressed{s.client.Transport}
	const clients, each = 32, 6
	var all sync.WaitGroup
	for i := range clients {
		all.Go(func() {
			for n := range each {
				mark := fmt.Sprintf("mark-%02d-%02d-", i, n)
				status, body, err := s.send(newDeed("/jars/"+s.jar+"/notes", "application/json", fmt.Appendf(nil, `{"note":%q}`, mark), mark))
				if err != nil || status != http.StatusCreated || !strings.Contains(string(body), mark) {
					t.Errorf("%s: %d, %v: %s", mark, status, err, body)
				}
			}
		})
	}
	all.Wait()
	s.kill()
	seen := calls(t, trace)
	first := func(from int, is func(*call) bool) *call {
		for _, c := range seen {
			if c.begin > from && is(c) {
				return c
			}
		}
		return nil
	}
	commits, syncs := 0, 0
	for _, c := range seen {
		if c.commits() {
			commits++
		}
		if c.syncs() {
			syncs++
		}
	}
	for i := range clients {
		for n := range each {
			mark := hex.EncodeToString(fmt.Appendf(nil, "mark-%02d-%02d-", i, n))
			frame := first(0, func(c *call) bool { return c.name == "pwrite64" && strings.Contains(c.data, mark) })
			answer := first(0, func(c *call) bool {
				return c.name == "write" && strings.HasPrefix(c.data, hex.EncodeToString([]byte("HTTP/1.1 201"))) && strings.Contains(c.data, mark)
			})
			if frame == nil || answer == nil {
				t.Fatalf("client %d, no. %d: strace saw the frame %v, the answer %v", i, n, frame != nil, answer != nil)
			}
			// The header of the last frame comes before its page, which may hold the note.
			end := first(frame.begin-2, func(c *call) bool { return c.commits() && c.fd == frame.fd })
			if end == nil || end.end == 0 {
				t.Fatalf("client %d, no. %d was answered, and its transaction never ended", i, n)
			}
			synced := first(max(frame.end, end.end), func(c *call) bool { return c.syncs() && c.fd == frame.fd })
			if synced == nil || synced.end >= answer.begin {
				t.Errorf("client %d, no. %d was answered before its transaction was on disk", i, n)
			}
		}
	}
	t.Logf("%d acts in %d transactions, %d syncs", clients*each, commits, syncs)
	if syncs < commits {
		t.Errorf("%d transactions and %d syncs: some are in memory alone", commits, syncs)
	}
	if commits < 2 || commits >= clients*each {
		t.Errorf("%d acts in %d transactions: nothing was shared, or nothing seen", clients*each, commits)
	}
}

// uncompressed asks for answers that can be read in a trace.
type uncompressed struct{ http.RoundTripper }

func (u uncompressed) RoundTrip(r *http.Request) (*http.Response, error) {
	r.Header.Set("Accept-Encoding", "identity")
	return u.RoundTripper.RoundTrip(r)
}

// inject makes the system answer calls of the running station with an I/O error,
// until the returned function is called.
func (s *siege) inject(strace, what string) (end func()) {
	s.t.Helper()
	names, _, _ := strings.Cut(what, ":")
	cmd := exec.Command(strace, "-f", "-qq", "-o", os.DevNull, "-e", "trace="+names, "-e", "inject="+what, "-e", "signal=none", "-p", strconv.Itoa(s.cmd.Process.Pid))
	var said strings.Builder
	cmd.Stderr = &said
	if err := cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	gone := make(chan error, 1)
	go func() { gone <- cmd.Wait() }()
	for begun := time.Now(); !s.traced(); time.Sleep(5 * time.Millisecond) {
		select {
		case err := <-gone:
			machine.Missing(s.t, fmt.Sprintf("strace may not attach to a running program here: %v: %s", err, said.String()))
		default:
		}
		if time.Since(begun) > 20*time.Second {
			s.t.Fatalf("strace does not attach: %s", said.String())
		}
	}
	return func() {
		s.t.Helper()
		_ = cmd.Process.Signal(syscall.SIGINT) // lets the station go; it may be dead
		<-gone
	}
}

// traced tells whether strace has each thread of the station.
func (s *siege) traced() bool {
	tasks, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/status", s.cmd.Process.Pid))
	if err != nil || len(tasks) == 0 {
		return false
	}
	for _, task := range tasks {
		status, err := os.ReadFile(task)
		if err != nil || strings.Contains(string(status), "TracerPid:\t0\n") {
			return false
		}
	}
	return true
}

// A disk that fails under the station, while it writes or while it syncs, at the
// first call or in the middle of a transaction: who typed something is told, in
// pages and in JSON, and gets it back; what was answered stays; once the disk
// works it is saved once, also by a station that died meanwhile.
func TestDiskFails(t *testing.T) {
	strace := stracing(t)
	s := besiege(t, 6)
	s.start()
	answered, refusals := map[string]bool{}, 0
	for round, fault := range []string{
		"fsync,fdatasync:error=EIO", "pwrite64:error=EIO", "pwrite64:error=EIO:when=2", "pwrite64:error=EIO:when=3", "pwrite64:error=EIO:when=5+3",
		"fsync,fdatasync:error=EIO:when=1", "fsync,fdatasync:error=EIO:when=1+2", "pwrite64:error=ENOSPC", "fsync,fdatasync,pwrite64:error=EIO:when=4+",
	} {
		note := func(n int, says ...string) (v url.Values, saved bool) {
			form := noteForm(fmt.Sprintf("round %d, no. %d", round, n))
			status, body := s.page("/J/"+s.jar+"/log/note", form)
			if status == http.StatusSeeOther {
				answered[form.Get("note")] = true
				return form, true
			}
			s.failsKindly(form, status, body, says...)
			return form, false
		}
		if _, saved := note(0); !saved {
			t.Fatal("a disk that works refuses")
		}
		end := s.inject(strace, fault)
		var refused []url.Values
		for n := 1; n <= 8; n++ {
			if form, saved := note(n, "The station&#39;s disk"); !saved {
				refused = append(refused, form)
			}
		}
		if every := !strings.Contains(fault, "when"); len(refused) == 0 || every && len(refused) < 8 {
			t.Errorf("%s: %d of 8 were refused", fault, len(refused))
		}
		refusals += len(refused)
		status, body, err := s.send(newDeed("/jars/"+s.jar+"/notes", "application/json", []byte(`{"note":"in JSON"}`), ""))
		if err != nil || status != http.StatusCreated && (status < 500 || !strings.Contains(string(body), "/problems/")) {
			t.Errorf("%s: %d, %v: %s", fault, status, err, body)
		}
		s.marks() // what is there can be read all the while
		if round%2 == 1 {
			s.kill()
		}
		end()
		if s.cmd == nil {
			s.start()
		}
		for range 2 {
			for _, form := range refused {
				if status, body := s.page("/J/"+s.jar+"/log/note", form); status != http.StatusSeeOther {
					t.Fatalf("%s: sent again, %v: status %d: %s", fault, form.Get("note"), status, body)
				}
				answered[form.Get("note")] = true
			}
		}
	}
	t.Logf("%d notes were refused by a disk that failed", refusals)
	s.kill()
	s.check()
	s.start()
	seen := s.marks()
	for mark := range answered {
		if seen[mark] != 1 {
			t.Errorf("%q stands in the log %d times", mark, seen[mark])
		}
	}
}
