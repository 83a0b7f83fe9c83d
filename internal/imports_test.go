// Package internal holds no code: only the test of who may import whom.
package internal

import (
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "cruet/"

// arrows say which of our packages each may import; nothing else may.
var arrows = map[string][]string{
	"cmd/cruet":       {"internal/lazy", "scan", "api", "labels", "labels/readback", "internal/beacon", "internal/spool", "internal/store", "internal/sheet", "internal/web", "internal/calendar", "internal/reckon", "internal/verdict", "internal/forecast", "internal/chart", "internal/larder", "internal/chem"},
	"scan":            {"internal/lazy", "internal/spool", "internal/sheet", "internal/web", "internal/store", "internal/photo", "internal/calendar", "labels", "labels/readback", "internal/chart", "internal/reckon", "internal/verdict", "internal/forecast", "internal/larder", "internal/chem"},
	"api":             {"internal/web", "internal/store", "internal/photo", "labels", "labels/readback", "internal/chart", "internal/reckon", "internal/verdict", "internal/forecast", "internal/larder", "internal/chem"},
	"labels":          {"internal/lazy", "internal/verdict", "internal/larder", "internal/chart", "internal/chem"},
	"labels/readback": {"internal/lazy"},
	"internal/spool":  {"internal/larder"},
	"internal/photo":  {"internal/larder"},
	"internal/beacon": {},
	"internal/lazy":   {},
	"internal/needed": {}, // for tests

	"internal/store/bulk": {"internal/store", "internal/larder", "internal/chem"}, // for benchmarks: no row names it

	"labels/readback/pdfium": {}, // for tests: no row names it, so the program never imports it
	"internal/store":         {"internal/lazy", "internal/photo", "internal/sheet", "internal/verdict", "internal/forecast", "internal/larder", "internal/chem"},
	"internal/web":           {"internal/verdict", "internal/forecast", "internal/larder", "internal/chem"},
	"internal/reckon":        {"internal/lazy", "internal/forecast", "internal/larder", "internal/chem"},
	"internal/verdict":       {"internal/larder", "internal/chem"},
	"internal/forecast":      {"internal/larder", "internal/chem"},
	"internal/chart":         {"internal/larder", "internal/chem"},
	"internal/calendar":      {"internal/larder"},
	"internal/sheet":         {"internal/lazy", "internal/larder", "internal/chem"},
	"internal/larder":        {"internal/lazy", "internal/chem"},
	"internal/chem":          {},
}

// homes say which packages alone may import what lies under a path: HTTP pages,
// the database and PDF each have one place.
var homes = map[string][]string{
	"github.com/gin-gonic/":       {"internal/web", "scan", "api", "cmd/cruet"},
	"github.com/danielgtaylor/":   {"api"},
	"net/http":                    {"internal/web", "scan", "api", "cmd/cruet"},
	"database/sql":                {"internal/store", "internal/store/bulk"},
	"modernc.org/":                {"internal/store"},
	"github.com/jung-kurt/gofpdf": {"labels"},
	"github.com/skip2/go-qrcode":  {"labels", "cmd/cruet"},
	"github.com/spf13/":           {"cmd/cruet"},
	"github.com/bep/":             {"internal/photo"},
	"github.com/arran4/":          {"internal/calendar"},
	"github.com/klippa-app/":      {"labels/readback/pdfium"},
}

// chemMay is all that the sums may stand on besides the standard library.
const chemMay = "gonum.org/v1/gonum/"

// heavy packages weigh more than a megabyte in the program, and lighter ones do. Templates
// may call any method by name, so the linker keeps all of a type that they might meet.
var heavy = map[string]string{
	"gonum.org/v1/gonum/mat":  "its lapack/gonum",
	"gonum.org/v1/gonum/stat": "its mathext and a few sums",
}

// layers never import each other, whatever the table says.
var layers = [][2]string{{"scan", "api"}, {"internal/store", "internal/web"}}

// importsOf parses the import clauses of every Go file of the program, tests
// left out, by package folder. The go command is not asked: its cached answer
// would hide a new import.
func importsOf(t *testing.T, root string) map[string][]string {
	t.Helper()
	found := map[string][]string{}
	for _, top := range []string{"cmd", "labels", "scan", "api", "internal"} {
		dir := filepath.Join(root, top)
		if _, err := os.Stat(dir); os.IsNotExist(err) {
			continue
		}
		err := filepath.WalkDir(dir, func(file string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
				return err
			}
			parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
			if err != nil {
				return err
			}
			name, err := filepath.Rel(root, filepath.Dir(file))
			if err != nil {
				return err
			}
			name = filepath.ToSlash(name)
			if _, seen := found[name]; !seen {
				found[name] = nil // a package even when it imports nothing
			}
			for _, spec := range parsed.Imports {
				what, err := strconv.Unquote(spec.Path.Value)
				if err != nil {
					return err
				}
				found[name] = append(found[name], what)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return found
}

// wrong says what is wrong with one package importing another; empty when nothing is.
func wrong(from, what string) string {
	if ours, ok := strings.CutPrefix(what, module); ok {
		if !slices.Contains(arrows[from], ours) {
			return from + " may not import " + ours
		}
		return ""
	}
	for home, may := range homes {
		if (what == home || strings.HasPrefix(what, strings.TrimSuffix(home, "/")+"/")) && !slices.Contains(may, from) {
			return what + " may be imported by " + strings.Join(may, ", ") + " alone, not by " + from
		}
	}
	for large, lighter := range heavy {
		if what == large || strings.HasPrefix(what, large+"/") {
			return what + " weighs more than a megabyte in the program; use " + lighter
		}
	}
	outside := strings.Contains(strings.SplitN(what, "/", 2)[0], ".")
	if from == "internal/chem" && outside && !strings.HasPrefix(what, chemMay) {
		return "the sums stand on the standard library and gonum only, not on " + what
	}
	return ""
}

func TestImports(t *testing.T) {
	found := importsOf(t, "..")
	for _, name := range []string{"labels", "internal/chem", "internal/larder", "internal/store", "internal/web"} {
		if len(found[name]) == 0 {
			t.Errorf("no imports of %s were found; the test looks in the wrong place", name)
		}
	}
	for _, from := range slices.Sorted(maps.Keys(found)) {
		if _, known := arrows[from]; !known {
			t.Errorf("the package %s is in no row of the table", from)
			continue
		}
		for _, what := range found[from] {
			if complaint := wrong(from, what); complaint != "" {
				t.Error(complaint)
			}
		}
	}
}

// The table itself: its rows name each other, no arrow points back, and the two
// sides of a layer never meet.
func TestArrowsPointOneWay(t *testing.T) {
	var reaches func(from, to string, depth int) bool
	reaches = func(from, to string, depth int) bool {
		return depth < 20 && slices.ContainsFunc(arrows[from], func(next string) bool {
			return next == to || reaches(next, to, depth+1)
		})
	}
	for from, list := range arrows {
		if reaches(from, from, 0) {
			t.Errorf("from %s arrows lead back to it", from)
		}
		for _, to := range list {
			if _, known := arrows[to]; !known || path.Clean(to) != to {
				t.Errorf("%s points to %s, which has no row", from, to)
			}
		}
	}
	for _, pair := range layers {
		if reaches(pair[0], pair[1], 0) || reaches(pair[1], pair[0], 0) {
			t.Errorf("%s and %s reach each other", pair[0], pair[1])
		}
	}
}

// A test that finds nothing must be able to find something.
func TestWrongImportsAreFound(t *testing.T) {
	for _, row := range []struct {
		from, what string
		wrong      bool
	}{
		{"internal/larder", "cruet/internal/store", true},
		{"internal/larder", "cruet/internal/chem", false},
		{"internal/larder", "database/sql", true},
		{"internal/larder", "database/sql/driver", true},
		{"internal/larder", "net/http", true},
		{"internal/store", "database/sql", false},
		{"internal/store", "modernc.org/sqlite", false},
		{"internal/store", "cruet/internal/web", true},
		{"internal/chem", "gonum.org/v1/gonum/mathext", false},
		{"internal/chem", "gonum.org/v1/gonum/stat/distuv", true},
		{"internal/forecast", "gonum.org/v1/gonum/mat", true},
		{"internal/chem", "github.com/google/uuid", true},
		{"internal/chem", "math", false},
		{"scan", "cruet/api", true},
		{"scan", "github.com/gin-gonic/gin", false},
		{"scan", "github.com/jung-kurt/gofpdf", true},
		{"labels", "github.com/jung-kurt/gofpdf", false},
		{"labels", "github.com/gin-gonic/gin", true},
		{"labels", "cruet/internal/store", true},
		{"labels", "net/url", false},
	} {
		if got := wrong(row.from, row.what); (got != "") != row.wrong {
			t.Errorf("%s importing %s: %q", row.from, row.what, got)
		}
	}
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "internal", "larder"), 0o700); err != nil {
		t.Fatal(err)
	}
	source := "package larder\n\nimport _ \"database/sql\"\n"
	if err := os.WriteFile(filepath.Join(dir, "internal", "larder", "bad.go"), []byte(source), 0o600); err != nil {
		t.Fatal(err)
	}
	if found := importsOf(t, dir); len(found["internal/larder"]) != 1 || wrong("internal/larder", found["internal/larder"][0]) == "" {
		t.Errorf("a wrong import in a file was read as %v", found)
	}
}
