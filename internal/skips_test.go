package internal

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// A test that skips itself passes in CI without having run. Only package needed
// may skip one, and it fails instead where CI is set.
func TestOnlyNeededSkips(t *testing.T) {
	root, looked := "..", 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || filepath.ToSlash(filepath.Dir(path)) == "../internal/needed" {
			return err
		}
		files := token.NewFileSet()
		file, err := parser.ParseFile(files, path, nil, 0)
		if err != nil {
			return err
		}
		looked++
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			f, ok := call.Fun.(*ast.SelectorExpr)
			if ok && (f.Sel.Name == "Skip" || f.Sel.Name == "Skipf" || f.Sel.Name == "SkipNow") {
				t.Errorf("%s skips a test by itself; call needed.Program or needed.Missing", files.Position(call.Pos()))
			}
			return true
		})
		return nil
	})
	if err != nil || looked < 100 {
		t.Fatalf("%d files were read, %v", looked, err)
	}
}
