package needed

import (
	"os"
	"testing"
)

// File is the path in an environment variable, of a file that is fetched for
// the tests and is no part of the project.
func File(t testing.TB, variable string) string {
	t.Helper()
	path := os.Getenv(variable)
	if path == "" {
		Missing(t, variable+" names no file")
	}
	if _, err := os.Stat(path); err != nil {
		Missing(t, variable+" names a file that is not there: "+err.Error())
	}
	return path
}
