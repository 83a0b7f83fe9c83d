package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"cruet/internal/larder"
	machine "cruet/internal/needed"
	"cruet/internal/store/bulk"
)

// manyLines is how many entries go out and in: go test ./cmd/cruet -run
// TestManyLines -v -lines 1000000.
var manyLines = flag.Int("lines", 0, "`LINES` of TestManyLines; 0: 100,000 in CI, 20,000 otherwise")

// The most that it may take, however many lines there are: what is in use, by Go's
// own account after each collection, and the memory with what waits for the next,
// which comes late where the machine is busy. Of the records' file up to 256 MB are
// mapped besides, which the system takes back when it needs them.
const (
	mostInUseMB = 30
	mostOwnMB   = 300
)

// A kitchen of many entries goes out and comes back, and a maker's own long table
// is read, each by a process whose memory does not grow with them, and with a bar
// on the terminal that tells how far it is.
func TestManyLines(t *testing.T) {
	lines := *manyLines
	if lines == 0 {
		lines = 20_000
		if os.Getenv("CI") == "true" {
			lines = 100_000
		}
	}
	dir, program := t.TempDir(), buildProgram(t)
	in := func(name string) string { return filepath.Join(dir, name) }
	live, err := bulk.Fill(context.Background(), in("old"), bulk.Size{Entries: lines, Jars: max(20, lines/100), Live: 10, Bottles: lines / 10}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(in("table.csv"), ownTable(live, lines), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, step := range []struct {
		bar  string
		args []string
	}{
		{"records", []string{"export", in("out.jsonl"), "--data", in("old")}},
		{"records", []string{"export", in("out"), "--data", in("old")}},
		{"KiB", []string{"import", in("out.jsonl"), "--data", in("lines")}},
		{"KiB", []string{"import", in("out"), "--data", in("tables")}},
		{"KiB", []string{"import", "readings", in("table.csv"), "--preview", "--data", in("old")}},
		{"KiB", []string{"import", "readings", in("table.csv"), "--data", in("old")}},
	} {
		begun := time.Now()
		inUse, own, said, bar := peak(t, program, step.args...)
		name := strings.ReplaceAll(strings.Join(step.args, " "), dir+"/", "")
		t.Logf("%s: at most %d MB in use, %d of its own, %.1f s: %s", name, inUse, own, time.Since(begun).Seconds(), said[strings.LastIndex(said, "\n")+1:])
		if inUse > mostInUseMB || own > mostOwnMB {
			t.Errorf("%s had %d MB in use and %d of its own, want %d and %d at most", name, inUse, own, mostInUseMB, mostOwnMB)
		}
		if !strings.Contains(bar, step.bar) || !strings.Contains(bar, "\r[") || strings.Count(bar, "\r[#") < 2 || !strings.Contains(bar, "\r"+strings.Repeat(" ", 90)+"\r") {
			t.Errorf("%s drew no bar that moves and goes: %q", name, bar)
		}
	}
	// The same, by what a whole export of each says.
	for _, again := range []string{"lines", "tables"} {
		peak(t, program, "export", in(again+".jsonl"), "--data", in(again))
		want, err := os.ReadFile(in("out.jsonl"))
		if err != nil {
			t.Fatal(err)
		}
		if have, err := os.ReadFile(in(again + ".jsonl")); err != nil || !bytes.Equal(have, want) {
			t.Errorf("what was imported from %s is not what was exported (%v)", again, err)
		}
	}
}

// ownTable is a maker's own table of the last two months.
func ownTable(jars []larder.Tag, lines int) []byte {
	var b bytes.Buffer
	b.WriteString("tag,date,ph,temp_c,note\n")
	const span = 60 * 24 * time.Hour // in which all of the shelf's jars stood there
	first := time.Now().Add(-span)
	for n := range lines {
		fmt.Fprintf(&b, "%s,%s,3.%d,2%d,\"line %d, by the window where it is warmest, skin whole, smells of apples and of vinegar\"\n", jars[n%len(jars)], first.Add(span/time.Duration(lines)*time.Duration(n)).Format("2006-01-02 15:04"), n%9, n%7, n)
	}
	return b.Bytes()
}

// peak runs the program with its messages on a terminal of its own and gives the
// most memory in use and of its own, in MB, what it said and what it drew there.
func peak(t *testing.T, program string, args ...string) (inUse, own int, said, drawn string) {
	t.Helper()
	terminal, screen := pseudoTerminal(t)
	defer terminal.Close()
	cmd := exec.Command(program, args...)
	cmd.Env = append(os.Environ(), "TZ=UTC", "CRUET_BY=ro", "GODEBUG=gctrace=1")
	cmd.Stderr = screen
	var out bytes.Buffer
	cmd.Stdout = &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	screen.Close()
	// What the system tells at the end counts the test itself, which it was forked from.
	ended, looked := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(looked)
		for look := time.Tick(10 * time.Millisecond); ; {
			select {
			case <-ended:
				return
			case <-look:
				status, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", cmd.Process.Pid)) // it may be over
				_, rest, _ := strings.Cut(string(status), "RssAnon:")                     // proc(5)
				var kB int
				_, _ = fmt.Sscan(rest, &kB) // 0 when there is no such line
				own = max(own, kB/1000)
			}
		}
	}()
	var seen bytes.Buffer
	_, _ = seen.ReadFrom(terminal) // ends with an error when nobody has it open any more
	close(ended)
	<-looked
	for _, m := range collected.FindAllStringSubmatch(seen.String(), -1) {
		mb, _ := strconv.Atoi(m[1])
		inUse = max(inUse, mb)
	}
	if err := cmd.Wait(); err != nil || own == 0 || inUse == 0 {
		t.Fatalf("%v: %v, %d and %d MB: %s %s", args, err, inUse, own, out.String(), seen.String())
	}
	return inUse, own, strings.TrimSpace(out.String()), seen.String()
}

// collected is the last of three sizes of the heap that Go tells of a collection:
// what is in use after it (package runtime, "gctrace").
var collected = regexp.MustCompile(`gc \d+ @[^\r\n]* \d+->\d+->(\d+) MB`)

// pseudoTerminal opens a terminal that nobody sits at (pts(4)).
func pseudoTerminal(t *testing.T) (terminal, screen *os.File) {
	t.Helper()
	terminal, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		machine.Missing(t, "there are no pseudo-terminals here: "+err.Error())
	}
	fd := int(terminal.Fd())
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err == nil {
		err = unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0)
	}
	if err == nil {
		screen, err = os.OpenFile("/dev/pts/"+strconv.Itoa(n), os.O_RDWR|unix.O_NOCTTY, 0)
	}
	if err != nil {
		t.Fatal(err)
	}
	return terminal, screen
}
