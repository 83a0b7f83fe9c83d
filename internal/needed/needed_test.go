package needed

import (
	"os"
	"os/exec"
	"strings"
	"testing"
)

// Each half runs in a process of its own, since a test that skips or fails ends.
func TestMissing(t *testing.T) {
	if os.Getenv("NEEDED_CHILD") != "" {
		Program(t, "a-program-that-nobody-has")
		return
	}
	for ci, want := range map[string]string{"true": "--- FAIL", "": "--- SKIP"} {
		child := exec.Command(os.Args[0], "-test.run=^TestMissing$", "-test.v")
		child.Env = append(os.Environ(), "NEEDED_CHILD=1", "CI="+ci)
		out, err := child.CombinedOutput()
		if (err != nil) != (ci == "true") || !strings.Contains(string(out), want) || !strings.Contains(string(out), "a-program-that-nobody-has is not installed") {
			t.Errorf("CI=%q: %v\n%s", ci, err, out)
		}
	}
}
