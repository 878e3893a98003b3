package seed_test

import (
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
	c, fs, err := pack.ReadMemory(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range fs.List() {
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
