package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// permitted is the table of imports: for each package, or folder of packages
// (ending in /), what it may import beside the standard library. An import that
// is not here is a decision about the shape of the program, to be taken in this
// table first.
var permitted = []struct {
	from string
	to   []string
}{
	{"platewright/catalog/shop", []string{"platewright/catalog"}},
	{"platewright/catalog/store", []string{"platewright/catalog", "platewright/catalog/shop", "go.etcd.io/bbolt", "golang.org/x/sys"}},
	{"platewright/catalog/pack", []string{"platewright/catalog", "platewright/catalog/memory", "github.com/xuri/excelize/v2", "golang.org/x/text"}},
	{"platewright/catalog/memory", []string{"platewright/catalog"}},
	{"platewright/catalog/audit", []string{"platewright/catalog", "platewright/catalog/memory"}},
	{"platewright/catalog/catalogtest", []string{"platewright/catalog", "platewright/catalog/memory", "platewright/catalog/pack", "platewright/catalog/shop", "platewright/catalog/store", "golang.org/x/tools", "github.com/stretchr/testify", "github.com/google/go-cmp"}},
	{"platewright/catalog", []string{"github.com/shopspring/decimal", "golang.org/x/text"}},
	{"platewright/resolve/plate", []string{"platewright/catalog"}},
	{"platewright/resolve/measure", []string{"github.com/shopspring/decimal"}},
	{"platewright/resolve/measure/", []string{"platewright/catalog", "platewright/resolve/measure", "github.com/shopspring/decimal"}},
	{"platewright/resolve/purchase", []string{"platewright/catalog", "github.com/shopspring/decimal", "golang.org/x/text"}},
	{"platewright/resolve/order", []string{"golang.org/x/text", "platewright/catalog", "platewright/resolve", "platewright/resolve/purchase", "github.com/shopspring/decimal"}},
	{"platewright/resolve/goods", []string{"platewright/catalog", "platewright/resolve", "platewright/resolve/order", "platewright/resolve/plate"}},
	{"platewright/resolve/", []string{"platewright/catalog", "platewright/resolve", "platewright/resolve/plate", "github.com/shopspring/decimal"}},
	{"platewright/resolve", []string{"platewright/catalog", "platewright/resolve/advise", "platewright/resolve/measure", "platewright/resolve/measure/coil", "platewright/resolve/measure/seal", "platewright/resolve/plate", "github.com/shopspring/decimal"}},
	{"platewright/index", []string{"platewright/catalog", "github.com/blevesearch", "github.com/RoaringBitmap/roaring/v2", "golang.org/x/sys", "golang.org/x/text"}},
	{"platewright/seed", nil},
	{"platewright/cmd/platewright/internal/render", []string{"platewright/catalog", "platewright/catalog/audit", "platewright/index", "platewright/catalog/shop", "platewright/resolve", "platewright/resolve/plate", "platewright/resolve/measure", "platewright/resolve/measure/coil", "platewright/resolve/measure/fault", "platewright/resolve/measure/torque", "platewright/resolve/measure/leak", "platewright/resolve/measure/seal", "platewright/resolve/measure/ring", "platewright/resolve/measure/fluid", "platewright/resolve/alike", "platewright/resolve/goods", "platewright/resolve/order", "platewright/resolve/purchase", "github.com/shopspring/decimal", "codeberg.org/go-pdf/fpdf", "github.com/boombuler/barcode", "golang.org/x/image", "golang.org/x/text"}},
	{"platewright/cmd/platewright/internal/cli", []string{"platewright/catalog", "platewright/catalog/audit", "platewright/resolve/plate", "platewright/catalog/memory", "platewright/catalog/pack", "platewright/catalog/shop", "platewright/catalog/store", "platewright/index", "platewright/resolve", "platewright/seed", "platewright/resolve/measure", "platewright/resolve/measure/coil", "platewright/resolve/measure/fault", "platewright/resolve/measure/torque", "platewright/resolve/measure/leak", "platewright/resolve/measure/seal", "platewright/resolve/measure/ring", "platewright/resolve/measure/fluid", "platewright/resolve/alike", "platewright/resolve/goods", "platewright/resolve/order", "platewright/resolve/purchase", "github.com/shopspring/decimal",
		"platewright/cmd/platewright/internal/render", "github.com/spf13/cobra", "golang.org/x/term", "golang.org/x/text"}},
	{"platewright/cmd/platewright", []string{"platewright/cmd/platewright/internal/cli"}},
	{"platewright/cmd/mkcatalog", []string{"platewright/catalog", "platewright/catalog/memory", "platewright/catalog/pack", "platewright/resolve", "platewright/resolve/plate", "platewright/seed", "platewright/cmd/mkcatalog/internal/synth", "github.com/shopspring/decimal"}},
	{"platewright/cmd/mkcatalog/", []string{"platewright/catalog", "platewright/catalog/memory", "platewright/catalog/pack", "platewright/resolve", "platewright/resolve/plate", "platewright/seed", "platewright/cmd/mkcatalog/internal/synth", "github.com/shopspring/decimal"}},
}

// onlyBy are modules that one package alone may import.
var onlyBy = map[string]string{
	"go.etcd.io/bbolt":             "platewright/catalog/store",
	"github.com/xuri/excelize/v2":  "platewright/catalog/pack",
	"github.com/spf13/cobra":       "platewright/cmd/platewright/internal/cli",
	"github.com/blevesearch":       "platewright/index",
	"codeberg.org/go-pdf/fpdf":     "platewright/cmd/platewright/internal/render",
	"github.com/boombuler/barcode": "platewright/cmd/platewright/internal/render",
}

// world is what code that decides must not import from the standard library:
// files, the network, other programs, chance. Dates are reckoned with package
// time, so the clock is looked for by name.
var world = []string{"os", "os/exec", "net", "net/http", "log", "math/rand", "math/rand/v2"}

func TestDecidingReadsNoClock(t *testing.T) {
	for _, p := range packages(t) {
		if p.ImportPath != "platewright/resolve" && !strings.HasPrefix(p.ImportPath, "platewright/resolve/") {
			continue
		}
		for _, f := range p.GoFiles {
			text, err := os.ReadFile(filepath.Join(p.Dir, f))
			require.NoError(t, err)
			for _, clock := range []string{"time.Now", "time.Since", "time.Until", "time.After", "time.Tick", "time.NewT"} {
				if bytes.Contains(text, []byte(clock)) {
					t.Errorf("%s of %s reads the clock by %s", f, p.ImportPath, clock)
				}
			}
		}
	}
}

type listed struct {
	ImportPath string
	Imports    []string
	Dir        string
	GoFiles    []string
}

func TestImportsPointOneWay(t *testing.T) {
	for _, p := range packages(t) {
		to, ok := permittedFor(p.ImportPath)
		if !ok {
			t.Errorf("%s is not in the table of permitted imports; add it", p.ImportPath)
			continue
		}
		for _, i := range p.Imports {
			first, _, _ := strings.Cut(i, "/")
			if !strings.Contains(first, ".") && first != "platewright" {
				continue // the standard library
			}
			if !slices.ContainsFunc(to, func(m string) bool { return within(i, m) }) {
				t.Errorf("%s imports %s, which the table does not permit", p.ImportPath, i)
			}
			for module, by := range onlyBy {
				if within(i, module) && p.ImportPath != by {
					t.Errorf("%s imports %s, which only %s may", p.ImportPath, i, by)
				}
			}
		}
		for _, s := range p.Imports {
			if (p.ImportPath == "platewright/resolve" || strings.HasPrefix(p.ImportPath, "platewright/resolve/")) && slices.Contains(world, s) {
				t.Errorf("%s imports %s: packages that decide know no world", p.ImportPath, s)
			}
		}
	}
}

// The table must be able to fail: an import against the direction is found.
func TestTableRefuses(t *testing.T) {
	for _, x := range []struct{ from, to string }{
		{"platewright/resolve", "platewright/catalog/store"},
		{"platewright/resolve", "platewright/catalog/pack"},
		{"platewright/catalog", "platewright/resolve"},
		{"platewright/catalog/store", "platewright/resolve"},
		{"platewright/catalog/shop", "platewright/catalog/store"},
		{"platewright/catalog/shop", "platewright/resolve"},
		{"platewright/resolve/plate", "platewright/resolve"},
		{"platewright/resolve", "platewright/index"},
		{"platewright/index", "platewright/catalog/store"},
		{"platewright/index", "platewright/resolve"},
		{"platewright/cmd/platewright/internal/render", "platewright/catalog/store"},
	} {
		to, ok := permittedFor(x.from)
		require.True(t, ok, x.from)
		if slices.ContainsFunc(to, func(m string) bool { return within(x.to, m) }) {
			t.Errorf("the table lets %s import %s", x.from, x.to)
		}
	}
}

// within tells whether a package is the one named; of a module from outside it
// may be any package in it.
func within(path, name string) bool {
	if strings.HasPrefix(name, "platewright/") {
		return path == name
	}
	return path == name || strings.HasPrefix(path, name+"/")
}

func permittedFor(path string) ([]string, bool) {
	for _, p := range permitted {
		if path == p.from || strings.HasSuffix(p.from, "/") && strings.HasPrefix(path, p.from) {
			return p.to, true
		}
	}
	return nil, false
}

func packages(t *testing.T) []listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports,Dir,GoFiles", "platewright/...")
	var out, talk bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &talk
	require.NoError(t, cmd.Run(), talk.String())
	var ps []listed
	d := json.NewDecoder(&out)
	for {
		var p listed
		err := d.Decode(&p)
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		ps = append(ps, p)
	}
	require.NotEmpty(t, ps)
	return ps
}
