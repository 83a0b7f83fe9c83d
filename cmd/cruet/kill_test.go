package main

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/json"
	"flag"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
)

// killRounds is how often TestKilled kills the station: go test ./cmd/cruet -run
// TestKilled -kill 3000. 0: 300 in CI, a few otherwise.
var killRounds = flag.Int("kill", 0, "`ROUNDS` of TestKilled; 0: 300 in CI, 6 otherwise")

// deed is one act as a client sends it: the same bytes each time.
type deed struct {
	key, path, kind string
	body            []byte
	mark            string // a note that no other deed has
	answered        bool   // with 201, whatever became of the station after
}

// writers are how many clients write at once.
const writers = 4

// siege is a station that is killed again and again while clients write.
type siege struct {
	t           *testing.T
	program     string
	wrap        []string              // what the program is run by: a tracer, a namespace; empty: nothing
	ready       func(*exec.Cmd)       // before it starts; nil: nothing to do
	slay        func(*exec.Cmd) error // kills it, with what it runs
	dir         string
	listen      string // the address it is to serve; empty: any
	base        string // of the station that runs now
	cmd         *exec.Cmd
	client      *http.Client
	giver, jar  string
	deeds       [writers][]*deed
	picture     [8][]byte
	r           *rand.Rand
	startedIn   time.Duration
	unfinished  int // sent and not answered when the station died
	hadHappened int // of those, what was on disk all the same
}

// TestKilled kills the real program with SIGKILL at random moments, also while
// it starts, under concurrent writes over HTTP. After each restart all that was
// answered is there; what was not is sent again under the same key, and all is
// there once. That a kill is not a power cut, see TestSyncs.
func TestKilled(t *testing.T) {
	rounds := *killRounds
	if rounds == 0 {
		rounds = 6
		if os.Getenv("CI") == "true" {
			rounds = 300
		}
	}
	seed := uint64(time.Now().UnixNano())
	t.Logf("%d rounds, seed %d", rounds, seed)
	s := besiege(t, seed)
	begun := time.Now()
	for round := range rounds {
		if round > 0 && s.r.IntN(10) == 0 {
			s.killStarting()
		}
		s.start()
		s.lookForAnswered()
		s.sendAgain()
		s.write(round)
		if round%50 == 49 {
			s.check()
		}
	}
	s.start()
	s.lookForAnswered()
	s.sendAgain()
	s.compare()
	s.kill()
	s.check()
	all := 0
	for _, list := range s.deeds {
		all += len(list)
	}
	t.Logf("%d rounds in %v: %d acts, %d of them not answered when the station died, %d of those on disk all the same; a start took %v",
		rounds, time.Since(begun).Round(time.Millisecond), all, s.unfinished, s.hadHappened, (s.startedIn / time.Duration(rounds+1)).Round(time.Millisecond))
	if all < rounds || s.unfinished == 0 {
		t.Errorf("the kills met %d acts, %d of them under way: nothing was tested", all, s.unfinished)
	}
}

// buildProgram is the real program, built by the test.
func buildProgram(t testing.TB) string {
	t.Helper()
	program := filepath.Join(t.TempDir(), "cruet.exe")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		t.Fatalf("building the program: %v\n%s", err, out)
	}
	return program
}

func besiege(t *testing.T, seed uint64) *siege {
	s := &siege{t: t, program: buildProgram(t), dir: t.TempDir(), r: rand.New(rand.NewPCG(seed, 1)), client: &http.Client{Timeout: 20 * time.Second},
		slay: func(cmd *exec.Cmd) error { return cmd.Process.Kill() }}
	for i := range s.picture {
		m := image.NewGray(image.Rect(0, 0, 96, 64))
		for at := range m.Pix {
			m.Pix[at] = uint8(30 * i)
		}
		var b bytes.Buffer
		if err := jpeg.Encode(&b, m, nil); err != nil {
			t.Fatal(err)
		}
		s.picture[i] = b.Bytes()
	}
	s.start()
	s.pair()
	d := newDeed("/batches", "application/json", []byte(`{"name":"Quince","base":"wine","jars":2,"jar_size_ml":10000,"fill_ml":9000}`), "")
	var started struct {
		Jars []struct{ Tag string }
	}
	if status, body, err := s.send(d); err != nil || status != 201 || json.Unmarshal(body, &started) != nil || len(started.Jars) != 2 {
		t.Fatalf("starting a batch: %d, %v: %s", status, err, body)
	}
	s.giver, s.jar = started.Jars[0].Tag, started.Jars[1].Tag
	s.kill()
	t.Cleanup(s.kill)
	return s
}

// pair lets the clients write; by are what the program is run by where only that
// sees the station's records.
func (s *siege) pair(by ...string) {
	s.t.Helper()
	args := append(by, s.program, "phones", "add", "clients", "--json", "--data", s.dir)
	out, err := exec.Command(args[0], args[1:]...).CombinedOutput()
	var made struct{ Token string }
	if err != nil || json.Unmarshal(out, &made) != nil || made.Token == "" {
		s.t.Fatalf("no token: %v: %s", err, out)
	}
	s.client.Transport = bearer(made.Token)
}

// bearer sends a token with each request.
type bearer string

func (b bearer) RoundTrip(r *http.Request) (*http.Response, error) {
	r = r.Clone(r.Context())
	r.Header.Set("Authorization", "Bearer "+string(b))
	return http.DefaultTransport.RoundTrip(r)
}

// CloseIdleConnections is what a killed station does to them.
func (b bearer) CloseIdleConnections() {
	http.DefaultTransport.(*http.Transport).CloseIdleConnections()
}

func newDeed(path, kind string, body []byte, mark string) *deed {
	return &deed{key: uuid.Must(uuid.NewV7()).String(), path: path, kind: kind, body: body, mark: mark}
}

func (s *siege) command() *exec.Cmd {
	args := append(append([]string{}, s.wrap...), s.program, "serve", "--listen", cmp.Or(s.listen, "127.0.0.1:0"), "--data", s.dir)
	cmd := exec.Command(args[0], args[1:]...)
	if s.ready != nil {
		s.ready(cmd)
	}
	cmd.Env = append(os.Environ(), "TZ=UTC", "CRUET_BY=")
	cmd.Stderr = io.Discard
	return cmd
}

// start starts the station and waits until it says where it is.
func (s *siege) start() {
	s.t.Helper()
	begun := time.Now()
	s.cmd = s.command()
	var said bytes.Buffer
	s.cmd.Stderr = &said
	out, err := s.cmd.StdoutPipe()
	if err == nil {
		err = s.cmd.Start()
	}
	if err != nil {
		s.t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if m := servedAt.FindStringSubmatch(lines.Text()); m != nil {
			s.base = m[1]
			go func() { _, _ = io.Copy(io.Discard, out) }()
			s.startedIn += time.Since(begun)
			return
		}
	}
	_ = s.cmd.Wait()
	s.t.Fatalf("the station does not start again: %s", said.String())
}

func (s *siege) kill() {
	if s.cmd == nil {
		return
	}
	_ = s.slay(s.cmd)
	_ = s.cmd.Wait() // says that it was killed
	s.cmd = nil
	s.client.CloseIdleConnections()
}

// killStarting kills a station that has hardly begun, and may be bringing back
// what the last kill left.
func (s *siege) killStarting() {
	s.cmd = s.command()
	if err := s.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	time.Sleep(time.Duration(s.r.IntN(60)) * time.Millisecond)
	s.kill()
}

// send posts a deed and gives the status and the answer.
func (s *siege) send(d *deed) (int, []byte, error) {
	r, err := http.NewRequest("POST", s.base+"/api/v1"+d.path, bytes.NewReader(d.body))
	if err != nil {
		return 0, nil, err
	}
	r.Header.Set("Content-Type", d.kind)
	r.Header.Set("Idempotency-Key", d.key)
	res, err := s.client.Do(r)
	if err != nil {
		return 0, nil, err
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	return res.StatusCode, body, err
}

// write lets clients write until the station is killed under them.
func (s *siege) write(round int) {
	var all sync.WaitGroup
	for i := range writers {
		r := rand.New(rand.NewPCG(s.r.Uint64(), 2))
		all.Go(func() {
			for n := 0; ; n++ {
				d := s.invent(r, fmt.Sprintf("round %d, client %d, no. %d", round, i, n))
				s.deeds[i] = append(s.deeds[i], d)
				status, body, err := s.send(d)
				// The head of an answer is an answer, even if the rest was cut off.
				d.answered = status == http.StatusCreated
				if status != 0 && !d.answered {
					s.t.Errorf("%s: status %d: %s", d.mark, status, body)
				}
				if err != nil || !d.answered {
					return
				}
			}
		})
	}
	time.Sleep(time.Duration(s.r.IntN(60_000)) * time.Microsecond)
	s.kill()
	all.Wait()
}

// invent is an act of some kind: one row, two sides, or a file and a row.
func (s *siege) invent(r *rand.Rand, mark string) *deed {
	switch r.IntN(6) {
	case 0:
		return newDeed("/jars/"+s.jar+"/transfers", "application/json",
			fmt.Appendf(nil, `{"what":"topped up","feed":{"from":"jar","jar":%q,"volume_ml":0.01},"note":%q}`, s.giver, mark), mark)
	case 1:
		var b bytes.Buffer
		m := multipart.NewWriter(&b)
		_ = m.WriteField("note", mark) // a buffer takes everything
		w, _ := m.CreateFormFile("photo", "x.jpg")
		_, _ = w.Write(s.picture[r.IntN(len(s.picture))])
		_ = m.Close()
		return newDeed("/jars/"+s.jar+"/photos", m.FormDataContentType(), b.Bytes(), mark)
	case 2:
		return newDeed("/jars/"+s.jar+"/readings", "application/json", fmt.Appendf(nil, `{"ph":3.1,"temp_c":20,"note":%q}`, mark), mark)
	}
	return newDeed("/jars/"+s.jar+"/notes", "application/json", fmt.Appendf(nil, `{"note":%q}`, mark), mark)
}

// lookForAnswered asks for every entry of the last round by its id, which is its
// key: what was answered must be there.
func (s *siege) lookForAnswered() {
	s.t.Helper()
	for i := range s.deeds {
		for _, d := range s.fresh(i) {
			res, err := s.client.Get(s.base + "/api/v1/entries/" + d.key)
			if err != nil {
				s.t.Fatal(err)
			}
			body, err := io.ReadAll(res.Body)
			res.Body.Close()
			there := res.StatusCode == http.StatusOK && strings.Contains(string(body), d.mark)
			switch {
			case err != nil:
				s.t.Fatal(err)
			case d.answered && !there:
				s.t.Fatalf("lost: %s was answered, and after the kill there is: %s", d.mark, body)
			case !d.answered:
				s.unfinished++
				if there {
					s.hadHappened++
				}
			}
		}
	}
}

// fresh are a client's deeds of the last round.
func (s *siege) fresh(client int) []*deed {
	list := s.deeds[client]
	if len(list) == 0 {
		return nil
	}
	last, _, _ := strings.Cut(list[len(list)-1].mark, ",")
	first := len(list)
	for first > 0 && strings.HasPrefix(list[first-1].mark, last+",") {
		first--
	}
	return list[first:]
}

// sendAgain does what a client does after a cut: it sends all of the last round
// again, even what was answered.
func (s *siege) sendAgain() {
	s.t.Helper()
	for i := range s.deeds {
		for _, d := range s.fresh(i) {
			status, body, err := s.send(d)
			if err != nil || status != http.StatusCreated {
				s.t.Fatalf("sent again, %s is answered with %d, %v: %s", d.mark, status, err, body)
			}
			var answer struct{ Replayed bool }
			if err := json.Unmarshal(body, &answer); err != nil || (d.answered && !answer.Replayed) {
				s.t.Fatalf("%s was answered before, and is done anew: %s (%v)", d.mark, body, err)
			}
			d.answered = true
		}
	}
}

// check runs the program's own check on the records, while nobody writes.
func (s *siege) check() {
	s.t.Helper()
	if out, err := exec.Command(s.program, "check", "--data", s.dir).CombinedOutput(); err != nil {
		s.t.Fatalf("the check finds: %v\n%s", err, out)
	}
}

// compare reads both jars' whole logs: every deed stands there once, a transfer
// on both sides, and the volumes add up.
func (s *siege) compare() {
	s.t.Helper()
	seen, gave := map[string]int{}, 0
	for _, tag := range []string{s.giver, s.jar} {
		for next := ""; ; {
			var page struct {
				Entries []struct {
					ID, Note, Kind string
					Body           struct{ What string }
				}
				Next string
			}
			s.get("/jars/"+tag+"/entries?limit=200"+next, &page)
			for _, e := range page.Entries {
				seen[e.Note]++
				if tag == s.giver && e.Kind == "transfer" {
					gave++
				}
			}
			if page.Next == "" {
				break
			}
			next = "&from=" + page.Next
		}
	}
	transfers, sent := 0, 0
	for _, list := range s.deeds {
		for _, d := range list {
			sent++
			if n := seen[d.mark]; n != 1 {
				s.t.Errorf("%s stands in the log %d times", d.mark, n)
			}
			delete(seen, d.mark)
			if strings.HasSuffix(d.path, "/transfers") {
				transfers++
			}
		}
	}
	delete(seen, "") // starts, and the givers' sides
	if len(seen) > 0 || gave != transfers {
		s.t.Errorf("not sent by anyone: %v; %d transfers on the giver's side, %d were sent", seen, gave, transfers)
	}
	var jar struct {
		Jar struct {
			State struct {
				VolumeML float64 `json:"volume_ml"`
			}
		}
	}
	s.get("/jars/"+s.giver, &jar)
	if want := 9000 - 0.01*float64(transfers); jar.Jar.State.VolumeML < want-1e-6 || jar.Jar.State.VolumeML > want+1e-6 {
		s.t.Errorf("the giver holds %g mL after %d transfers, want %g", jar.Jar.State.VolumeML, transfers, want)
	}
}

func (s *siege) get(path string, into any) {
	s.t.Helper()
	res, err := s.client.Get(s.base + "/api/v1" + path)
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	if err := json.NewDecoder(res.Body).Decode(into); err != nil || res.StatusCode != 200 {
		s.t.Fatalf("%s: %d, %v", path, res.StatusCode, err)
	}
}
