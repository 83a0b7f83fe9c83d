package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "rewrite the goldens in testdata/script")

const scripts = "../../testdata/script"

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"cruet": func() { os.Exit(run(os.Args...)) },
	})
}

// The stories run the real program. Each has a data folder of its own, and
// neither settings nor a time zone of the machine reach it.
func TestScript(t *testing.T) {
	files, err := filepath.Glob(scripts + "/*.txtar")
	if err != nil || len(files) == 0 {
		t.Fatalf("no stories in %s: %v", scripts, err)
	}
	// A story that ends before it halted its station was not told to its end.
	t.Cleanup(func() {
		if n := left.Load(); n > 0 {
			t.Errorf("%d stations were left running", n)
		}
	})
	testscript.Run(t, testscript.Params{
		Dir: scripts, UpdateScripts: *update, RequireUniqueNames: true, RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("HOME", env.WorkDir)
			env.Setenv("XDG_DATA_HOME", filepath.Join(env.WorkDir, "data"))
			env.Setenv("LocalAppData", filepath.Join(env.WorkDir, "data"))
			env.Setenv("CRUET_BY", "ro")
			env.Setenv("TZ", "UTC")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"jsonvar":   jsonVar,
			"fails":     fails,
			"unchanged": unchanged,
			"station":   startStation,
			"halt":      haltStation, // "stop" is testscript's own, and ends the story
			"fetch":     fetch,
			"picture":   makePicture,
			"post":      post,
		},
	})
}

// jsonvar NAME FILE PATH sets an environment variable to the value in a JSON
// file at a path like jars.0.tag.
func jsonVar(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: jsonvar NAME FILE PATH")
	}
	var v any
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[1])), &v))
	for _, step := range strings.Split(args[2], ".") {
		switch x := v.(type) {
		case map[string]any:
			value, ok := x[step]
			if !ok {
				ts.Fatalf("%s: there is no %q", args[2], step)
			}
			v = value
		case []any:
			i, err := strconv.Atoi(step)
			if err != nil || i >= len(x) {
				ts.Fatalf("%s: there is no item %s of %d", args[2], step, len(x))
			}
			v = x[i]
		default:
			ts.Fatalf("%s: nothing is inside %v", args[2], x)
		}
	}
	ts.Setenv(args[0], fmt.Sprint(v))
}

// fails CODE ERROR HINT -- ARGS... runs cruet and wants that exit code, nothing
// on stdout, and on stderr exactly an error and a hint line that match the
// patterns.
func fails(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 4 || args[3] != "--" {
		ts.Fatalf("usage: fails CODE ERROR HINT -- ARGS...")
	}
	err := ts.Exec("cruet", args[4:]...)
	code := 0
	if exit, ok := err.(*exec.ExitError); ok {
		code = exit.ExitCode()
	} else if err != nil {
		ts.Fatalf("running cruet: %v", err)
	}
	stdout, stderr := ts.ReadFile("stdout"), ts.ReadFile("stderr")
	if strconv.Itoa(code) != args[0] {
		ts.Fatalf("exit code %d, want %s; stderr:\n%s", code, args[0], stderr)
	}
	if stdout != "" {
		ts.Fatalf("something was printed on stdout: %s", stdout)
	}
	lines := strings.Split(strings.TrimSuffix(stderr, "\n"), "\n")
	if len(lines) != 2 || !strings.HasPrefix(lines[0], "error: ") || !strings.HasPrefix(lines[1], "hint: ") {
		ts.Fatalf("want an error line and a hint line, have:\n%s", stderr)
	}
	for i, pattern := range args[1:3] {
		if !regexp.MustCompile(pattern).MatchString(lines[i]) {
			ts.Fatalf("%q does not match %q", lines[i], pattern)
		}
	}
}

// unchanged [FIRST] wants the records to be as they were when it was last
// called; FIRST takes the first look.
func unchanged(ts *testscript.TestScript, neg bool, args []string) {
	ts.Check(ts.Exec("cruet", "jars", "--all", "--json"))
	now := ts.ReadFile("stdout")
	ts.Check(ts.Exec("cruet", "check", "--json"))
	now += ts.ReadFile("stdout")
	ts.Check(ts.Exec("cruet", "kitchen", "--json"))
	now += ts.ReadFile("stdout")
	ts.Check(ts.Exec("cruet", "lots", "--json"))
	now += ts.ReadFile("stdout")
	file := ts.MkAbs("before.records")
	if len(args) == 1 && args[0] == "first" {
		ts.Check(os.WriteFile(file, []byte(now), 0o600))
		return
	}
	if ts.ReadFile(file) != now {
		ts.Fatalf("the records changed:\n%s\nthey were:\n%s", now, ts.ReadFile(file))
	}
}

// runningStation is the station of one script.
type runningStation struct {
	cmd    *exec.Cmd
	stdout *bufio.Reader
	said   *bytes.Buffer
	stderr *bytes.Buffer
}

var (
	stations sync.Map     // the *runningStation by its story's *testscript.TestScript
	left     atomic.Int64 // stations that a story left running at its end
)

var servedAt = regexp.MustCompile(`is served at (http://\S+)/`)

// station NAME ARGS... runs cruet serve with ARGS in the background and sets
// NAME to the address that it prints.
func startStation(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 {
		ts.Fatalf("usage: station NAME ARGS...")
	}
	path, err := exec.LookPath("cruet")
	ts.Check(err)
	cmd := exec.Command(path, append([]string{"serve"}, args[1:]...)...)
	for _, name := range []string{"HOME", "XDG_DATA_HOME", "LocalAppData", "CRUET_BY", "TZ", "PATH", "TMPDIR", "WORK"} {
		cmd.Env = append(cmd.Env, name+"="+ts.Getenv(name))
	}
	cmd.Dir = ts.MkAbs(".")
	pipe, err := cmd.StdoutPipe()
	ts.Check(err)
	s := &runningStation{cmd: cmd, stdout: bufio.NewReader(pipe), said: new(bytes.Buffer), stderr: new(bytes.Buffer)}
	cmd.Stderr = s.stderr
	ts.Check(cmd.Start())
	stations.Store(ts, s)
	ts.Defer(func() {
		if now, _ := stations.Load(ts); now == s {
			left.Add(1)
			cmd.Process.Kill()
			cmd.Wait()
		}
	})
	for {
		line, err := s.stdout.ReadString('\n')
		s.said.WriteString(line)
		if m := servedAt.FindStringSubmatch(line); m != nil {
			ts.Setenv(args[0], m[1])
		}
		if strings.HasPrefix(line, "Ctrl-C stops") {
			return
		}
		if err != nil {
			cmd.Wait()
			ts.Fatalf("the station ended: %v\n%s%s", err, s.said, s.stderr)
		}
	}
}

// halt sends SIGINT, or SIGTERM when it is named, wants exit code 0 and leaves
// what the station said in station.stdout and station.stderr.
func haltStation(ts *testscript.TestScript, neg bool, args []string) {
	running, ok := stations.LoadAndDelete(ts)
	if !ok || neg {
		ts.Fatalf("no station runs")
	}
	s := running.(*runningStation)
	var sig os.Signal = os.Interrupt
	if len(args) == 1 && args[0] == "SIGTERM" {
		sig = syscall.SIGTERM
	}
	ts.Check(s.cmd.Process.Signal(sig))
	_, err := io.Copy(s.said, s.stdout)
	ts.Check(err)
	if err := s.cmd.Wait(); err != nil {
		ts.Fatalf("the station did not stop cleanly: %v\n%s", err, s.stderr)
	}
	ts.Check(os.WriteFile(ts.MkAbs("station.stdout"), s.said.Bytes(), 0o600))
	ts.Check(os.WriteFile(ts.MkAbs("station.stderr"), s.stderr.Bytes(), 0o600))
}

// fetch STATUS URL FILE [WORDS] gets a page into a file, with the token in the variable
// TOKEN, if any; again and again until WORDS are on it, of what a station does by itself.
func fetch(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 && len(args) != 4 {
		ts.Fatalf("usage: fetch STATUS URL FILE [WORDS]")
	}
	for begun := time.Now(); ; time.Sleep(20 * time.Millisecond) {
		req, err := http.NewRequest("GET", args[1], nil)
		ts.Check(err)
		body := answered(ts, req, args[0], args[2])
		if len(args) == 3 || bytes.Contains(body, []byte(args[3])) {
			return
		}
		if time.Since(begun) > 20*time.Second {
			ts.Fatalf("%s never says %q:\n%s", args[1], args[3], body)
		}
	}
}

// post STATUS URL FILE NAME=VALUE... sends a form under a fresh key, with the token
// in the variable TOKEN, and keeps the token that a paired phone gets there.
func post(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 3 {
		ts.Fatalf("usage: post STATUS URL FILE NAME=VALUE...")
	}
	form := url.Values{"key": {uuid.Must(uuid.NewV7()).String()}}
	for _, arg := range args[3:] {
		name, value, _ := strings.Cut(arg, "=")
		form.Add(name, value)
	}
	req, err := http.NewRequest("POST", args[1], strings.NewReader(form.Encode()))
	ts.Check(err)
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	answered(ts, req, args[0], args[2])
}

func answered(ts *testscript.TestScript, req *http.Request, status, file string) []byte {
	if token := ts.Getenv("TOKEN"); token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	client := http.Client{Timeout: 30 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.Do(req)
	ts.Check(err)
	defer res.Body.Close()
	for _, c := range res.Cookies() {
		if c.Name == "phone" {
			ts.Setenv("TOKEN", c.Value)
		}
	}
	body, err := io.ReadAll(res.Body)
	ts.Check(err)
	if strconv.Itoa(res.StatusCode) != status {
		ts.Fatalf("%s: status %d, want %s:\n%s", req.URL, res.StatusCode, status, body)
	}
	ts.Check(os.WriteFile(ts.MkAbs(file), body, 0o600))
	return body
}

// makePicture is: picture FILE..., pictures of a jar, each of another brightness.
func makePicture(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: picture FILE...")
	}
	for i, name := range args {
		m := image.NewGray(image.Rect(0, 0, 800, 600))
		for at := range m.Pix {
			m.Pix[at] = uint8(40 * i)
		}
		var b bytes.Buffer
		ts.Check(jpeg.Encode(&b, m, nil))
		ts.Check(os.WriteFile(ts.MkAbs(name), b.Bytes(), 0o600))
	}
}
