// Package needed is for tests that use what Go does not bring: a browser,
// another decoder, a spooler. On a maker's machine such a test is skipped with
// the reason; in CI, where all of it is installed, it fails instead, so that no
// test is left out unseen. It is the only place that skips a test.
package needed

import (
	"os"
	"os/exec"
	"testing"
)

// Program is the path of the first of these programs that the machine has.
func Program(t testing.TB, names ...string) string {
	t.Helper()
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	Missing(t, names[0]+" is not installed")
	return ""
}

// Missing ends the test: what is a clause that says what the machine lacks.
func Missing(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s, and CI must have it", what)
	}
	t.Skip(what)
}
