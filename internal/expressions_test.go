package internal

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// TestExpressionsCompile compiles each expression that waits for its first use, and
// finds none that is put together while the program runs.
func TestExpressionsCompile(t *testing.T) {
	found := 0
	for _, top := range []string{"cmd", "labels", "scan", "api", "internal"} {
		err := filepath.WalkDir(filepath.Join("..", top), func(file string, d fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
				return err
			}
			set := token.NewFileSet()
			parsed, err := parser.ParseFile(set, file, nil, 0)
			if err != nil {
				return err
			}
			ast.Inspect(parsed, func(n ast.Node) bool {
				call, ok := n.(*ast.CallExpr)
				if !ok || !calls(call, "lazy", "RE") {
					return true
				}
				found++
				literal, ok := call.Args[0].(*ast.BasicLit)
				if !ok {
					t.Errorf("%v: the expression does not stand there as it is", set.Position(call.Pos()))
					return true
				}
				expression, err := strconv.Unquote(literal.Value)
				if err == nil {
					_, err = regexp.Compile(expression)
				}
				if err != nil {
					t.Errorf("%v: %v", set.Position(call.Pos()), err)
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if found < 20 {
		t.Errorf("only %d expressions were found; the test looks in the wrong place", found)
	}
}

func calls(call *ast.CallExpr, from, name string) bool {
	what, ok := call.Fun.(*ast.SelectorExpr)
	if !ok || what.Sel.Name != name {
		return false
	}
	home, ok := what.X.(*ast.Ident)
	return ok && home.Name == from
}
