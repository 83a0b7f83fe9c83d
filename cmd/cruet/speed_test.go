package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/store/bulk"
)

var manyEntries = flag.Int("entries", 1_000_000, "how many entries the benchmark's kitchen of many years has")

// hello is the least web server in Go.
const hello = `package main

import ("io"; "net/http"; "os")

func main() {
	http.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { io.WriteString(w, "hello") })
	http.ListenAndServe(os.Args[1], nil)
}
`

// built builds as the README does for a computer that stays on.
func built(b *testing.B, into, what string) string {
	b.Helper()
	out, err := exec.Command("go", "build", "-trimpath", "-tags", "nomsgpack", "-ldflags", "-s -w", "-o", into, what).CombinedOutput()
	if err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	return into
}

// process is a program that serves on a port of this machine.
type process struct {
	cmd *exec.Cmd
	url string
}

// launched starts a program and returns when it has answered.
func launched(b *testing.B, path string, args ...string) process {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	for i := range args {
		args[i] = strings.ReplaceAll(args[i], "ADDRESS", address)
	}
	p := process{exec.Command(path, args...), "http://" + address}
	if err := p.cmd.Start(); err != nil {
		b.Fatal(err)
	}
	for begun := time.Now(); ; time.Sleep(time.Millisecond) {
		if p.get("/") == nil {
			return p
		}
		if time.Since(begun) > time.Minute {
			b.Fatalf("%s does not answer", path)
		}
	}
}

func (p process) get(path string) error {
	res, err := http.Get(p.url + path)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if _, err := io.Copy(io.Discard, res.Body); err != nil {
		return err
	}
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: %s", path, res.Status)
	}
	return nil
}

// stop asks the process to end, as a person would.
func (p process) stop() {
	if p.cmd.Process.Signal(os.Interrupt) != nil {
		_ = p.cmd.Process.Kill() // it may be gone
	}
	_ = p.cmd.Wait()
}

// rssMB is how much memory the process holds, where the system tells.
func (p process) rssMB() float64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(text), "VmRSS:")
	var kB float64
	fmt.Sscan(rest, &kB)
	return kB / 1000
}

// BenchmarkSpeedProcess starts the real program: how long until its first answer,
// against the least web server in Go and against itself with records of many years,
// how much memory it holds under load, and how large it is.
//
//	go test ./cmd/cruet -run XXX -bench SpeedProcess -benchtime 1x
func BenchmarkSpeedProcess(b *testing.B) {
	dir := b.TempDir()
	source := filepath.Join(dir, "hello.go")
	if err := os.WriteFile(source, []byte(hello), 0o600); err != nil {
		b.Fatal(err)
	}
	least := built(b, filepath.Join(dir, "hello"), source)
	cruet := built(b, filepath.Join(dir, "cruet"), ".")
	fill := func(name string, size bulk.Size) (string, []larder.Tag) {
		data := filepath.Join(dir, name)
		live, err := bulk.Fill(context.Background(), data, size, time.Now())
		if err != nil {
			b.Fatal(err)
		}
		return data, live
	}
	empty := filepath.Join(dir, "empty")
	opened := func(data string) { // to whoever asks, as no phone is paired
		db, err := store.Open(context.Background(), data, store.Options{})
		if err == nil {
			err = errors.Join(db.SetAccess(context.Background(), larder.Access{Writers: larder.WritersEveryone, Look: larder.LookAll}), db.Close())
		}
		if err != nil {
			b.Fatal(err)
		}
	}
	old, live := fill("old", bulk.Size{Entries: *manyEntries, Jars: max(20, *manyEntries/100), Live: 10, Bottles: *manyEntries / 10})
	opened(empty)
	opened(old)
	serve := func(data string) func() process {
		return func() process {
			// A backup is made once a day; here each start would make the one that the last cut off.
			return launched(b, cruet, "serve", "--no-backups", "--listen", "ADDRESS", "--address", "larder.local:8080", "--data", data)
		}
	}
	first := func(start func() process) float64 {
		begun := time.Now()
		p := start()
		took := time.Since(begun)
		p.stop()
		return float64(took)
	}
	for b.Loop() {
		const rounds = 15
		var years, fresh [rounds]float64
		for i := range rounds {
			none := first(serve(empty))
			years[i] = first(serve(old)) / none
			fresh[i] = none / first(func() process { return launched(b, least, "ADDRESS") })
		}
		slices.Sort(years[:])
		slices.Sort(fresh[:])
		b.ReportMetric(years[rounds/2], "years/none-start")
		b.ReportMetric(fresh[rounds/2], "of-a-hello-world")

		p := serve(old)()
		b.ReportMetric(p.rssMB(), "MB-after-first-page")
		var wait sync.WaitGroup
		for i := range 8 {
			wait.Go(func() {
				for n := range 50 {
					jar := "/J/" + string(live[(i+n)%len(live)])
					for _, path := range []string{"/", jar, jar + "?open=reading", jar + "/outlook", "/shelf", jar + "/label.pdf"} {
						if err := p.get(path); err != nil {
							b.Error(err)
						}
					}
				}
			})
		}
		wait.Wait()
		b.ReportMetric(p.rssMB(), "MB-under-load")
		p.stop()
	}
	if info, err := os.Stat(cruet); err == nil {
		b.ReportMetric(float64(info.Size())/1e6, "MB-stripped")
	}
}
