package audit_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"golang.org/x/tools/txtar"

	"platewright/catalog/audit"
	"platewright/catalog/catalogtest"
	"platewright/catalog/memory"
	"platewright/resolve/plate"
)

var update = flag.Bool("update", false, "write the wanted findings of the worlds anew")

// found gives all findings of a catalogue.
func found(t testing.TB, c *memory.Catalogue) []audit.Finding {
	t.Helper()
	var out []audit.Finding
	require.NoError(t, audit.Run(t.Context(), audit.Memory(c), audit.Options{Confusable: plate.Confusable}, func(f audit.Finding) error {
		out = append(out, f)
		return nil
	}))
	return out
}

func line(t testing.TB, f audit.Finding) string {
	t.Helper()
	facts, err := json.Marshal(f.Facts)
	require.NoError(t, err)
	var at []string
	for _, r := range f.Rows {
		s := r.Table + " " + r.Key
		if r.Line > 0 {
			s = fmt.Sprintf("%s:%d", r.File, r.Line)
		}
		at = append(at, s)
	}
	return fmt.Sprintf("%s %s %s %s %s\n", f.ID, f.Severity, f.Kind, facts, strings.Join(at, ", "))
}

// worlds takes a file apart: the world with a mistake, and the one beside it in
// which the tables clean-TABLE.csv stand in the place of TABLE.csv.
func worlds(a *txtar.Archive) (bad, clean []byte, want string) {
	var b, c txtar.Archive
	for _, f := range a.Files {
		name, isClean := strings.CutPrefix(f.Name, "clean-")
		switch {
		case f.Name == "want":
			want = string(f.Data)
			continue
		case isClean:
			c.Files = append(c.Files, txtar.File{Name: name, Data: f.Data})
			continue
		}
		b.Files = append(b.Files, f)
	}
	for _, f := range b.Files {
		if !slices.ContainsFunc(c.Files, func(o txtar.File) bool { return o.Name == f.Name }) {
			c.Files = append(c.Files, f)
		}
	}
	return txtar.Format(&b), txtar.Format(&c), want
}

// Each kind of finding has a world in which it must be found, with the facts that
// the file wants, and one beside it in which there is nothing to find at all.
// The identifiers are among what is wanted: one that changes without its facts
// would bring back what people have accepted.
func TestWorlds(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txtar")
	require.NoError(t, err)
	met := map[audit.Kind]bool{}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(file)
			require.NoError(t, err)
			bad, clean, want := worlds(a)
			var got strings.Builder
			for _, f := range found(t, catalogtest.World(t, bad)) {
				got.WriteString(line(t, f))
				if strings.HasPrefix(filepath.Base(file), string(f.Kind)) {
					met[f.Kind] = true
				}
			}
			if *update {
				a.Files = slices.DeleteFunc(a.Files, func(f txtar.File) bool { return f.Name == "want" })
				a.Files = append(a.Files, txtar.File{Name: "want", Data: []byte(got.String())})
				require.NoError(t, os.WriteFile(file, txtar.Format(a), 0o666))
			} else if d := cmp.Diff(want, got.String()); d != "" {
				t.Errorf("the findings differ (-want +got):\n%s", d)
			}
			for _, f := range found(t, catalogtest.World(t, clean)) {
				t.Errorf("the clean world has a finding: %s", line(t, f))
			}
		})
	}
	for _, k := range audit.Kinds {
		if !met[k] {
			t.Errorf("no world has a finding of the kind %s", k)
		}
	}
}

// A walk that is broken off ends, with the error that broke it off.
func TestRunEndsWithTheErrorOfItsCaller(t *testing.T) {
	a, err := txtar.ParseFile("testdata/contradiction.txtar")
	require.NoError(t, err)
	bad, _, _ := worlds(a)
	c := catalogtest.World(t, bad)
	stop := fmt.Errorf("enough")
	n := 0
	err = audit.Run(t.Context(), audit.Memory(c), audit.Options{}, func(audit.Finding) error { n++; return stop })
	if err != stop || n != 1 {
		t.Errorf("the error is %v after %d findings, want %v after one", err, n, stop)
	}
}

// What is not wanted is not found, and leaves the rest as it is.
func TestWant(t *testing.T) {
	a, err := txtar.ParseFile("testdata/looks-like.txtar")
	require.NoError(t, err)
	bad, _, _ := worlds(a)
	c := catalogtest.World(t, bad)
	all := found(t, c)
	for _, k := range audit.Kinds {
		var got, want bytes.Buffer
		require.NoError(t, audit.Run(t.Context(), audit.Memory(c), audit.Options{Confusable: plate.Confusable, Want: func(x audit.Kind) bool { return x == k }}, func(f audit.Finding) error {
			got.WriteString(line(t, f))
			return nil
		}))
		for _, f := range all {
			if f.Kind == k {
				want.WriteString(line(t, f))
			}
		}
		if got.String() != want.String() {
			t.Errorf("%s: found %s, want %s", k, &got, &want)
		}
	}
}
