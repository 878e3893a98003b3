package seed_test

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"platewright/catalog"
	"platewright/catalog/memory"
	"platewright/catalog/pack"
	"platewright/seed"
)

// load reads the embedded package the way the program does.
func load(t *testing.T) *memory.Catalogue {
	t.Helper()
	p, err := pack.OpenFS(seed.FS, "demo", pack.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	c, found, err := pack.ReadMemory(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range found.List() {
		t.Error(f)
	}
	return c
}

func TestNoFindings(t *testing.T) {
	c := load(t)
	c.Check(func(f catalog.Finding) { t.Error(f) })
	for _, tb := range catalog.Tables() {
		if c.Count(tb.Name) == 0 {
			t.Errorf("table %s has no rows", tb.Name)
		}
	}
}

// TestAsExported holds the demo to the form in which packages are written: the
// description says what the tables are, rows stand in the order of their keys,
// values are spelled one way. A catalogue that is read and written again then
// differs from the demo in nothing.
func TestAsExported(t *testing.T) {
	p, err := pack.OpenFS(seed.FS, "demo", pack.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	c, _, err := pack.ReadMemory(p)
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "out")
	if err := pack.WriteFolder(dir, pack.Memory(c), p.Info(), pack.Options{}); err != nil {
		t.Fatal(err)
	}
	written, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range written {
		want, err := os.ReadFile(filepath.Join(dir, f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		got, err := fs.ReadFile(seed.FS, f.Name())
		if err != nil {
			t.Errorf("%s is missing: %v", f.Name(), err)
			continue
		}
		have, would := bytes.Split(got, []byte("\n")), bytes.Split(want, []byte("\n"))
		for i := range max(len(have), len(would)) {
			switch {
			case i >= len(have):
				t.Errorf("%s ends before line %d, %q", f.Name(), i+1, would[i])
			case i >= len(would):
				t.Errorf("%s:%d: %q is left over", f.Name(), i+1, have[i])
			case !bytes.Equal(have[i], would[i]):
				t.Errorf("%s:%d: %q would be written as %q", f.Name(), i+1, have[i], would[i])
			default:
				continue
			}
			break
		}
	}
	kept, err := fs.Glob(seed.FS, "*")
	if err != nil {
		t.Fatal(err)
	}
	if len(kept) != len(written) {
		t.Errorf("the demo has %d files, writing gives %d", len(kept), len(written))
	}
}
