package main

import (
	"bytes"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sys/unix"

	machine "cruet/internal/needed"
)

// page posts a form as a browser does that follows no redirect.
func (s *siege) page(path string, v url.Values) (int, string) {
	s.t.Helper()
	return s.browse(path, "application/x-www-form-urlencoded", strings.NewReader(v.Encode()))
}

func (s *siege) browse(path, kind string, body io.Reader) (int, string) {
	s.t.Helper()
	client := http.Client{Transport: s.client.Transport, Timeout: 20 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.Post(s.base+path, kind, body)
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return res.StatusCode, string(text)
}

// noteForm is a note as the page sends it.
func noteForm(text string) url.Values {
	return url.Values{"key": {uuid.Must(uuid.NewV7()).String()}, "note": {text}, "by": {"mk"}}
}

// failsKindly wants a 5xx whose page says what to do and holds what was typed,
// under the same key.
func (s *siege) failsKindly(v url.Values, status int, body string, says ...string) {
	s.t.Helper()
	if status < 500 || status > 599 {
		s.t.Fatalf("status %d, want 5xx", status)
	}
	for _, want := range append(says, "it will be saved once", ">"+v.Get("note")+"</textarea>", `value="`+v.Get("key")+`"`, `value="`+v.Get("by")+`"`) {
		if !strings.Contains(body, want) {
			s.t.Fatalf("the answer %d does not hold %q:\n%s", status, want, body)
		}
	}
	if strings.Contains(body, s.dir) || strings.Contains(body, "sqlite") || strings.Contains(body, "(1") {
		s.t.Errorf("the answer tells of the machine:\n%s", body)
	}
}

// marks counts how often each text stands in the jar's log.
func (s *siege) marks() map[string]int {
	s.t.Helper()
	seen := map[string]int{}
	for next := ""; ; {
		var page struct {
			Entries []struct{ Note string }
			Next    string
		}
		s.get("/jars/"+s.jar+"/entries?limit=200"+next, &page)
		for _, e := range page.Entries {
			seen[e.Note]++
		}
		if page.Next == "" {
			return seen
		}
		next = "&from=" + page.Next
	}
}

// The system refuses to let any file of the station grow past a size (setrlimit's
// RLIMIT_FSIZE, EFBIG): a write that fails under SQLite, in the middle of a page,
// a frame or a picture, at every few hundred bytes. What was answered stays, what
// was refused comes back with all that was typed, and saves once when the limit
// is gone.
func TestWritesFail(t *testing.T) {
	s := besiege(t, 1)
	s.start()
	limit := func(bytes uint64) {
		t.Helper()
		if err := unix.Prlimit(s.cmd.Process.Pid, unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: bytes, Max: unix.RLIM_INFINITY}, nil); err != nil {
			machine.Missing(t, "the limits of another process cannot be set here: "+err.Error())
		}
	}
	answered, refused := map[string]bool{}, []url.Values{}
	for round := range 40 {
		var wal int64
		if info, err := os.Stat(filepath.Join(s.dir, "cruet.db-wal")); err == nil {
			wal = info.Size()
		}
		limit(uint64(wal) + uint64(round*677))
		for n := range 6 {
			v := noteForm(fmt.Sprintf("round %d, no. %d", round, n))
			status, body := s.page("/J/"+s.jar+"/log/note", v)
			if status == http.StatusSeeOther {
				answered[v.Get("note")] = true
				continue
			}
			s.failsKindly(v, status, body, "The station&#39;s disk")
			refused = append(refused, v)
			break
		}
		limit(unix.RLIM_INFINITY)
		if round%8 == 7 { // a station that dies with it
			s.kill()
			s.start()
		}
	}
	// A picture that cannot be written.
	limit(200)
	v := noteForm("a photo that does not fit")
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for name := range v {
		_ = m.WriteField(name, v.Get(name)) // a buffer takes everything
	}
	w, _ := m.CreateFormFile("photo", "x.jpg")
	_, _ = w.Write(s.picture[1])
	_ = m.Close()
	form := b.Bytes()
	status, body := s.browse("/J/"+s.jar+"/photo", m.FormDataContentType(), bytes.NewReader(form))
	s.failsKindly(v, status, body, "The station&#39;s disk", "Choose the picture once more")
	limit(unix.RLIM_INFINITY)
	if status, body := s.browse("/J/"+s.jar+"/photo", m.FormDataContentType(), bytes.NewReader(form)); status != http.StatusSeeOther {
		t.Errorf("the photo, sent again: status %d: %s", status, body)
	}
	if len(answered) == 0 || len(refused) < 20 {
		t.Errorf("%d were answered, %d refused: nothing was tested", len(answered), len(refused))
	}
	t.Logf("%d notes were answered, %d refused", len(answered), len(refused))
	for range 2 {
		for _, v := range refused {
			if status, body := s.page("/J/"+s.jar+"/log/note", v); status != http.StatusSeeOther {
				t.Fatalf("sent again, %s: status %d: %s", v.Get("note"), status, body)
			}
			answered[v.Get("note")] = true
		}
	}
	seen := s.marks()
	for mark := range answered {
		if seen[mark] != 1 {
			t.Errorf("%q stands in the log %d times", mark, seen[mark])
		}
	}
	s.kill()
	s.check()
}

// A real disk that is really full: a small memory disk in a mount namespace of
// the station's own, filled up by another file.
func TestTinyDisk(t *testing.T) {
	unshare := machine.Program(t, "unshare")
	disk := t.TempDir()
	script := `mount -t tmpfs -o size=3m tmpfs "$0" && head -c 1500000 /dev/zero > "$0/filler" && exec "$@"`
	if out, err := exec.Command(unshare, "-Urm", "sh", "-c", script, disk, "true").CombinedOutput(); err != nil {
		machine.Missing(t, "a disk cannot be mounted here: "+string(out))
	}
	s := besiege(t, 2)
	// besiege made records in a folder; here they lie on the small disk.
	data := filepath.Join(disk, "records")
	s.wrap = []string{unshare, "-Urm", "sh", "-c", script, disk}
	s.dir = data
	s.start()
	s.pair(machine.Program(t, "nsenter"), "--preserve-credentials", "-U", "-m", "-t", strconv.Itoa(s.cmd.Process.Pid))
	d := newDeed("/batches", "application/json", []byte(`{"name":"Quince","base":"wine","jars":1,"jar_size_ml":10000,"fill_ml":9000}`), "")
	status, body, err := s.send(d)
	if err != nil || status != 201 {
		t.Fatalf("starting a batch: %d, %v: %s", status, err, body)
	}
	s.jar = regexp.MustCompile(`"tag":"(\w+)"`).FindStringSubmatch(string(body))[1]
	answered := map[string]bool{}
	long := strings.Repeat("pears and quinces, ", 90)
	var full url.Values
	for n := 0; full == nil && n < 2000; n++ {
		v := noteForm(fmt.Sprintf("%sno. %d", long, n))
		status, body := s.page("/J/"+s.jar+"/log/note", v)
		if status == http.StatusSeeOther {
			answered[v.Get("note")] = true
			continue
		}
		if status != http.StatusInsufficientStorage {
			t.Fatalf("on a full disk: status %d: %s", status, body)
		}
		s.failsKindly(v, status, body, "disk is full", "Make room")
		full = v
	}
	if full == nil || len(answered) < 10 {
		t.Fatalf("%d notes fit on the disk, and it is full: %v", len(answered), full != nil)
	}
	t.Logf("the disk was full after %d notes", len(answered))
	if seen := s.marks(); len(seen) < len(answered) {
		t.Errorf("%d of %d notes can be read on a full disk", len(seen), len(answered))
	}
	// Room is made: the file beside the records goes.
	inside := fmt.Sprintf("/proc/%d/root", s.cmd.Process.Pid)
	if err := os.Remove(filepath.Join(inside, disk, "filler")); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if status, body := s.page("/J/"+s.jar+"/log/note", full); status != http.StatusSeeOther {
			t.Fatalf("with room again: status %d: %s", status, body)
		}
	}
	answered[full.Get("note")] = true
	seen := s.marks()
	for mark := range answered {
		if seen[mark] != 1 {
			t.Errorf("%q stands in the log %d times", mark, seen[mark])
		}
	}
	enter := []string{"-t", strconv.Itoa(s.cmd.Process.Pid), "-U", "-m", "--preserve-credentials", s.program, "check", "--data", data}
	if out, err := exec.Command(machine.Program(t, "nsenter"), enter...).CombinedOutput(); err != nil {
		t.Errorf("the check finds: %v\n%s", err, out)
	}
}

// A folder that may not be written to is told of at the start, with what to do,
// and nothing in it changes. The superuser may write anywhere, so the program
// runs as nobody then.
func TestReadOnlyFolder(t *testing.T) {
	s := besiege(t, 3)
	before, err := os.ReadFile(filepath.Join(s.dir, "cruet.db"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"cruet.db", "cruet.db-wal", "cruet.db-shm"} {
		if err := os.Chmod(filepath.Join(s.dir, name), 0o444); err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
	}
	chmod := func(mode os.FileMode) {
		t.Helper()
		if err := os.Chmod(s.dir, mode); err != nil {
			t.Fatal(err)
		}
	}
	chmod(0o555)
	t.Cleanup(func() { chmod(0o755) })
	for _, args := range [][]string{{"serve", "--listen", "127.0.0.1:0"}, {"log", s.jar, "--note", "pears"}} {
		cmd := exec.Command(s.program, append(args, "--data", s.dir)...)
		if os.Geteuid() == 0 {
			cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
			openUp(t, s.dir, filepath.Dir(s.program))
		}
		out, err := cmd.CombinedOutput()
		var exit *exec.ExitError
		if err == nil || !asExit(err, &exit) || exit.ExitCode() != 1 {
			t.Fatalf("%v: %v\n%s", args, err, out)
		}
		for _, want := range []string{"error: The station may not write its records", "read-only", "hint: "} {
			if !strings.Contains(string(out), want) {
				t.Errorf("%v does not say %q:\n%s", args, want, out)
			}
		}
	}
	if after, err := os.ReadFile(filepath.Join(s.dir, "cruet.db")); err != nil || !bytes.Equal(before, after) {
		t.Errorf("the records changed (%v)", err)
	}
}

func asExit(err error, exit **exec.ExitError) bool {
	e, ok := err.(*exec.ExitError)
	*exit = e
	return ok
}

// openUp lets any user look into these folders and those above them that the
// test made.
func openUp(t *testing.T, folders ...string) {
	t.Helper()
	for _, dir := range folders {
		for up := dir; len(up) > len(os.TempDir()); up = filepath.Dir(up) {
			info, err := os.Stat(up)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.Chmod(up, info.Mode().Perm()|0o055); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// That an answer means "on disk" and not "in the system's memory": the station
// asks the disk at least once for every act that it answered, one after the
// other, as seen from outside by strace.
func TestSyncs(t *testing.T) {
	strace := machine.Program(t, "strace")
	s := besiege(t, 4)
	trace := filepath.Join(t.TempDir(), "trace")
	if out, err := exec.Command(strace, "-f", "-o", trace, "-e", "trace=fsync,fdatasync", "true").CombinedOutput(); err != nil {
		machine.Missing(t, "strace may not look at other processes here: "+string(out))
	}
	s.ready = func(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }
	s.slay = func(cmd *exec.Cmd) error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	s.wrap = []string{strace, "-f", "-qq", "-o", trace, "-e", "trace=fsync,fdatasync"}
	s.start()
	syncs := func() int {
		t.Helper()
		data, err := os.ReadFile(trace)
		if err != nil {
			t.Fatal(err)
		}
		return len(regexp.MustCompile(`f(data)?sync\([0-9]+.*= 0|<\.\.\. f(data)?sync resumed.*= 0`).FindAll(data, -1))
	}
	before := syncs()
	const acts = 40
	for n := range acts {
		d := newDeed("/jars/"+s.jar+"/notes", "application/json", fmt.Appendf(nil, `{"note":"no. %d"}`, n), strconv.Itoa(n))
		if status, body, err := s.send(d); err != nil || status != 201 {
			t.Fatalf("%d, %v: %s", status, err, body)
		}
	}
	got := syncs() - before
	t.Logf("%d acts were answered after %d syncs", acts, got)
	if got < acts {
		t.Errorf("%d acts were answered after %d syncs: some are in memory alone", acts, got)
	}
}
