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

// TestPeakChild prints as many labels as TestPeakMemory asks for, in a process
// of its own, and tells the most memory that it had.
func TestPeakChild(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv(peakEnv))
	if err != nil {
		t.Skip("run by TestPeakMemory")
	}
	labels := make([]Label, n)
	for i := range labels {
		l := testJar(i)
		l.Batch = "Pear trimmings"
		labels[i] = l
	}
	if err := Write(io.Discard, Sheet{Date: testDate}, labels); err != nil {
		t.Fatal(err)
	}
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	fmt.Printf("%s\n", regexp.MustCompile(`VmHWM:\s*(\d+) kB`).Find(status))
}

// However many labels there are, memory stays small.
func TestPeakMemory(t *testing.T) {
	for _, row := range []struct{ labels, mostMB int }{{1000, 40}, {10000, 100}} {
		cmd := exec.Command(os.Args[0], "-test.run=^TestPeakChild$")
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
