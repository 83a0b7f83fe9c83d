//go:build linux

package labels

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"testing"
)

const peakEnv = "CRUET_PRINT_LABELS"

// In the process that TestPeakMemory starts, print as many labels as it asks
// for, tell the most memory that it took, and end.
func init() {
	n, err := strconv.Atoi(os.Getenv(peakEnv))
	if err != nil {
		return
	}
	labels := make([]Label, n)
	for i := range labels {
		l := testJar(i)
		l.Batch = "Pear trimmings"
		labels[i] = l
	}
	if err := Write(io.Discard, Sheet{Date: testDate}, labels); err != nil {
		panic(err)
	}
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		panic(err)
	}
	fmt.Printf("%s\n", regexp.MustCompile(`VmHWM:\s*(\d+) kB`).Find(status))
	os.Exit(0)
}

// However many labels there are, memory stays small.
func TestPeakMemory(t *testing.T) {
	for _, row := range []struct{ labels, mostMB int }{{1000, 40}, {10000, 100}} {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), peakEnv+"="+strconv.Itoa(row.labels))
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		m := regexp.MustCompile(`VmHWM:\s*(\d+) kB`).FindSubmatch(out)
		if m == nil {
			t.Fatalf("no measure in %s", bytes.TrimSpace(out))
		}
		kB, _ := strconv.Atoi(string(m[1]))
		t.Logf("%d labels: at most %d MB", row.labels, kB>>10)
		if kB>>10 > row.mostMB {
			t.Errorf("%d labels took %d MB, want %d at most", row.labels, kB>>10, row.mostMB)
		}
	}
}
