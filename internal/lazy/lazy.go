// Package lazy compiles regular expressions when they are first used. A command uses
// few of them, and all together would take a millisecond of every start, a fifth of
// what the least program takes to answer its first request.
package lazy

import (
	"regexp"
	"sync"
)

// RE is regexp.MustCompile, at the first call of what it gives. A test compiles each
// expression of the program, so that a wrong one cannot wait to be used.
func RE(expression string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(expression) })
}
