package resolve_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"slices"
	"strings"
	"testing"

	"platewright/resolve"
)

// TestCodesListed holds that Codes is closed: it has every constant of the type
// Code that the package declares, each once, and each constant is documented.
func TestCodesListed(t *testing.T) {
	files, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	declared := map[string]string{} // the code by the name of its constant
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ".go") || strings.HasSuffix(f.Name(), "_test.go") {
			continue
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), f.Name(), nil, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range parsed.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok || g.Tok != token.CONST {
				continue
			}
			for _, s := range g.Specs {
				v := s.(*ast.ValueSpec)
				if id, ok := v.Type.(*ast.Ident); !ok || id.Name != "Code" {
					continue
				}
				for i, name := range v.Names {
					declared[name.Name] = strings.Trim(v.Values[i].(*ast.BasicLit).Value, `"`)
					if v.Doc == nil || !strings.HasPrefix(v.Doc.Text(), name.Name+":") {
						t.Errorf("%s does not say what it means", name.Name)
					}
				}
			}
		}
	}
	if len(declared) < 30 {
		t.Fatalf("only %d codes are declared", len(declared))
	}
	for name, code := range declared {
		if !slices.Contains(resolve.Codes, resolve.Code(code)) {
			t.Errorf("%s is not in Codes", name)
		}
	}
	sorted := slices.Clone(resolve.Codes)
	slices.Sort(sorted)
	if len(slices.Compact(sorted)) != len(resolve.Codes) || len(resolve.Codes) != len(declared) {
		t.Errorf("Codes has %d entries for %d constants", len(resolve.Codes), len(declared))
	}
}
