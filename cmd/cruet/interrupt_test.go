//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// Ctrl-C in the middle of a long print leaves the folder as it was, or with the
// whole file when it came too late: never half of one, nor a temporary one.
func TestInterruptedLabelsLeaveNoHalfFile(t *testing.T) {
	dir := t.TempDir()
	program := func(args ...string) *exec.Cmd {
		cmd := exec.Command("cruet", args...)
		cmd.Dir, cmd.Env = dir, append(os.Environ(), "CRUET_BY=ro", "HOME="+dir, "XDG_DATA_HOME="+filepath.Join(t.TempDir(), "data"))
		return cmd
	}
	first := program("labels", "spare", "200", "-o", "spare.pdf", "--address", "larder.local:8080", "--json")
	out, err := first.Output()
	if err != nil {
		t.Fatal(err)
	}
	var spare struct{ Tags []string }
	if err := json.Unmarshal(out, &spare); err != nil || len(spare.Tags) != 200 {
		t.Fatalf("%v\n%s", err, out)
	}
	if err := os.Remove(filepath.Join(dir, "spare.pdf")); err != nil {
		t.Fatal(err)
	}
	args := []string{"labels", "jars", "-o", "many.pdf", "--force", "--address", "larder.local:8080"}
	for range 20 {
		args = append(args, spare.Tags...)
	}
	print := func(interruptAfter time.Duration) (said string, err error) {
		cmd := program(args...)
		cmd.Env = first.Env
		var stderr bytes.Buffer
		cmd.Stderr = &stderr
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if interruptAfter > 0 {
			time.Sleep(interruptAfter)
			if err := cmd.Process.Signal(os.Interrupt); err != nil && err != os.ErrProcessDone {
				t.Fatal(err)
			}
		}
		err = cmd.Wait()
		return stderr.String(), err
	}
	began := time.Now()
	if said, err := print(0); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	whole, took := size(t, filepath.Join(dir, "many.pdf")), time.Since(began)
	// At any moment of a run: those near its end fall into the writing.
	const moments = 24
	stopped := 0
	for i := range moments {
		if err := os.Remove(filepath.Join(dir, "many.pdf")); err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
		said, err := print(took * time.Duration(i+1) / moments)
		files, readErr := os.ReadDir(dir)
		if readErr != nil {
			t.Fatal(readErr)
		}
		switch {
		case len(files) == 0 && err == nil:
			t.Errorf("moment %d: it says it went well, and there is no file: %s", i, said)
		case len(files) > 1 || len(files) == 1 && files[0].Name() != "many.pdf":
			t.Errorf("moment %d: left %v", i, files)
		// Whole, and yet ended by the signal: it came between the last byte and the end.
		case len(files) == 1 && (err != nil && !bySignal(err) || size(t, filepath.Join(dir, "many.pdf")) != whole):
			t.Errorf("moment %d: a file of %d bytes, want %d: %v %s", i, size(t, filepath.Join(dir, "many.pdf")), whole, err, said)
		}
		if bytes.Contains([]byte(said), []byte("Stopped; nothing was written or printed.")) {
			stopped++
		}
	}
	if stopped == 0 {
		t.Error("no interrupt fell into the laying out of labels; print more of them")
	}
	t.Logf("%d of %d interrupts fell into the laying out, a run takes %v", stopped, moments, took.Round(time.Millisecond))
}

// bySignal tells that a program did not end by itself.
func bySignal(err error) bool {
	var exit *exec.ExitError
	return errors.As(err, &exit) && !exit.Exited()
}

func size(t *testing.T, path string) int64 {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return info.Size()
}
